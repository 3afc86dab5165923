//! A torque sensor that is not the rig controller's.

mod port;

pub use port::SensorPort;
pub(crate) use port::ns;

use bench_core::sensor::Reading;

use super::Said;

/// Something that measures torque, on a clock that is known to the host's within a bound.
pub trait Sense {
    /// Hands over the readings that have come since the last call, in the order of their moments. Returns at once.
    fn poll(&mut self, take: &mut dyn FnMut(Reading));

    /// What it said so far, for people: a line each.
    fn account(&self) -> Vec<Said>;
}
