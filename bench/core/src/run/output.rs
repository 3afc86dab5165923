//! What a run hands out.

use alloc::vec::Vec;

use rig_link::message::{Channel, Configuration, Event, Identity, Status};

use crate::interlock::Trip;

/// Things that happen in a run, in their order.
#[derive(Debug, Clone, PartialEq)]
pub enum RunEvent {
    /// The rig is known and configured; nothing has moved. A recording is opened now or never.
    Connected {
        /// Who it is.
        identity: Identity,
        /// Its channels, in the order of a row.
        channels: Vec<Channel>,
        /// The limits that it applied.
        configuration: Configuration,
    },
    /// The plan's time zero is this rig tick.
    PlanStarted {
        /// Rig tick of the plan's zero.
        tick: u64,
    },
    /// Something happened on the rig.
    Rig(Event),
    /// The rig's counters.
    Status(Status),
    /// A keep-alive came back.
    RoundTrip {
        /// Host clock when it was written, ns.
        sent_ns: u64,
        /// Host clock when its echo was read, ns.
        received_ns: u64,
        /// Rig tick at which the rig had it.
        rig_received_tick: u64,
        /// Rig tick at which the rig answered.
        rig_sent_tick: u64,
    },
    /// A batch arrived.
    Arrival {
        /// Tick of its last row.
        tick: u64,
        /// Host clock, ns.
        host_ns: u64,
    },
    /// The first small torque passed.
    ApproachPassed {
        /// Measured over commanded.
        gain: f64,
        /// Tick of the verdict.
        tick: u64,
    },
    /// The interlock tripped.
    Tripped(Trip),
    /// The run went on to another phase.
    Phase {
        /// Its name.
        name: &'static str,
        /// Newest rig tick seen.
        tick: u64,
    },
}

/// How far a run is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// What is going on.
    pub phase: &'static str,
    /// Share of the plan played, 0 to 1.
    pub share: f64,
    /// Seconds of the plan left.
    pub left_s: f64,
}
