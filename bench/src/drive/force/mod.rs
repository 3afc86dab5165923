//! A wheelbase that takes torque as a force-feedback device of this computer.
//!
//! - [`Push`] is what such a device can do, and [`player`] plays a run's setpoints on it at their ticks.
//! - `evdev` is the device through Linux's input subsystem; other systems have no such module.
//! - [`desk`] stands in for the rig controller where there is none.

pub mod desk;
#[cfg(target_os = "linux")]
pub mod evdev;
pub mod player;

pub use desk::Desk;
#[cfg(target_os = "linux")]
pub use evdev::{Axis, Wheel};
pub use player::Player;

/// Something that pushes at a level until told otherwise, or until nobody has told it anything for a while.
///
/// Dropping it must leave the motor without torque.
pub trait Push {
    /// Puts a level in force: ±32,767 is the device's full scale. `renew` tells the device that somebody is still there; without that it
    /// drops the level by itself after a time.
    ///
    /// # Errors
    /// What the system said; the device may be gone.
    fn set(&mut self, level: i16, renew: bool) -> std::io::Result<()>;

    /// No torque, now.
    ///
    /// # Errors
    /// What the system said; the device may be gone.
    fn release(&mut self) -> std::io::Result<()>;

    /// What it is, for people.
    fn name(&self) -> String;
}
