//! The rig's states and what leads from one to another, as one table (PROTOCOL.md 7). The conditions under which
//! something happens at all are with what happens; here is only where it leads.

use rig_link::RigState;

/// Every state, in the order of their codes.
pub const STATES: [RigState; 5] = [
    RigState::Idle,
    RigState::Ready,
    RigState::Armed,
    RigState::Stopping,
    RigState::Tripped,
];

/// What changes the state, once it may happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Change {
    /// Power-up or reset.
    Booted,
    /// Limits were applied (7.4).
    Configured,
    /// Both steps of arming were taken and every check passed (7.6).
    Armed,
    /// A stop without a brake (7.8).
    StoppedCoasting,
    /// A stop with the brake (7.8).
    StoppedBraking,
    /// The brake is off: at rest, or its time is over (7.10).
    BrakeReleased,
    /// Ten seconds of nothing to play (7.7).
    ArmIdle,
    /// A limit, a fault, the emergency stop or silence of the bench (7.10).
    Tripped,
    /// The latch was opened (7.9) on a rig that has been configured.
    TripCleared,
    /// The latch was opened on a rig that has not.
    TripClearedUnconfigured,
}

impl Change {
    /// Every change.
    pub const ALL: [Self; 10] = [
        Self::Booted,
        Self::Configured,
        Self::Armed,
        Self::StoppedCoasting,
        Self::StoppedBraking,
        Self::BrakeReleased,
        Self::ArmIdle,
        Self::Tripped,
        Self::TripCleared,
        Self::TripClearedUnconfigured,
    ];
}

/// The state after `change`. Every pair is decided here; a change that cannot happen in a state leaves it.
#[must_use]
pub const fn after(state: RigState, change: Change) -> RigState {
    use RigState::{Armed, Idle, Ready, Stopping, Tripped};
    match (state, change) {
        (_, Change::Booted) | (Tripped, Change::TripClearedUnconfigured) => Idle,
        (_, Change::Tripped) => Tripped,
        (Idle | Ready, Change::Configured)
        | (Armed | Stopping, Change::StoppedCoasting)
        | (Stopping, Change::BrakeReleased)
        | (Armed, Change::ArmIdle)
        | (Tripped, Change::TripCleared) => Ready,
        (Ready, Change::Armed) => Armed,
        (Armed, Change::StoppedBraking) => Stopping,
        (
            Idle | Ready | Armed | Stopping | Tripped,
            Change::Configured
            | Change::Armed
            | Change::StoppedCoasting
            | Change::StoppedBraking
            | Change::BrakeReleased
            | Change::ArmIdle
            | Change::TripCleared
            | Change::TripClearedUnconfigured,
        ) => state,
    }
}

#[cfg(test)]
mod tests {
    use rig_link::RigState::{Armed, Idle, Ready, Stopping, Tripped};

    use super::{Change, STATES, after};

    /// Written out a second time from PROTOCOL.md 7, one row a change; columns in the order of the states.
    #[test]
    fn every_pair_leads_where_the_protocol_says() {
        let table = [
            (Change::Booted, [Idle; 5]),
            (Change::Configured, [Ready, Ready, Armed, Stopping, Tripped]),
            (Change::Armed, [Idle, Armed, Armed, Stopping, Tripped]),
            (Change::StoppedCoasting, [Idle, Ready, Ready, Ready, Tripped]),
            (Change::StoppedBraking, [Idle, Ready, Stopping, Stopping, Tripped]),
            (Change::BrakeReleased, [Idle, Ready, Armed, Ready, Tripped]),
            (Change::ArmIdle, [Idle, Ready, Ready, Stopping, Tripped]),
            (Change::Tripped, [Tripped; 5]),
            (Change::TripCleared, [Idle, Ready, Armed, Stopping, Ready]),
            (
                Change::TripClearedUnconfigured,
                [Idle, Ready, Armed, Stopping, Idle],
            ),
        ];
        assert_eq!(table.map(|(change, _)| change), Change::ALL);
        for (change, row) in table {
            for (state, expected) in STATES.into_iter().zip(row) {
                assert_eq!(after(state, change), expected, "{state:?} on {change:?}");
            }
        }
    }
}
