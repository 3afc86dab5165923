//! States and events of the interlock, as one table.

/// Where the interlock stands. Setpoints may be sent in [`State::Armed`] alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// No torque is permitted and none was asked for.
    Disarmed,
    /// The rig was asked for permission; none is given yet.
    Arming,
    /// Torque is permitted.
    Armed,
    /// A stop is on its way; the rig has not confirmed it yet.
    Stopping,
    /// A condition fired: a stop is on its way or was confirmed; latched.
    Tripped,
}

/// What can happen to the interlock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Event {
    /// The operator permits torque and the rig is asked for it.
    ArmAsked,
    /// The rig confirmed that it is armed.
    ArmGranted,
    /// Arming failed or was refused.
    ArmFailed,
    /// A condition fired.
    ConditionFired,
    /// A stop was asked for: the end of the run, the operator, a failure.
    StopAsked,
    /// The rig confirmed zero torque.
    StopConfirmed,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 5] = [
        Self::Disarmed,
        Self::Arming,
        Self::Armed,
        Self::Stopping,
        Self::Tripped,
    ];

    /// The state after `event`. Every pair is decided here; what makes no sense in a state leads towards zero torque.
    #[must_use]
    pub const fn after(self, event: Event) -> Self {
        match (self, event) {
            // A trip latches: no event of a run leads out of it.
            (Self::Tripped, _) | (_, Event::ConditionFired) => Self::Tripped,
            (Self::Disarmed, Event::ArmAsked) => Self::Arming,
            (Self::Arming, Event::ArmGranted) => Self::Armed,
            (Self::Arming, Event::ArmFailed) | (Self::Stopping, Event::StopConfirmed) => Self::Disarmed,
            // Asked again while arming or armed, confirmed unasked, failed while armed: something is out of step.
            (Self::Arming | Self::Armed, Event::ArmAsked)
            | (Self::Armed, Event::ArmGranted | Event::ArmFailed | Event::StopConfirmed)
            | (Self::Disarmed | Self::Stopping, Event::ArmGranted)
            | (Self::Arming, Event::StopConfirmed)
            | (Self::Disarmed | Self::Arming | Self::Armed | Self::Stopping, Event::StopAsked) => {
                Self::Stopping
            }
            (Self::Stopping, Event::ArmAsked | Event::ArmFailed) => Self::Stopping,
            (Self::Disarmed, Event::ArmFailed | Event::StopConfirmed) => Self::Disarmed,
        }
    }
}

impl Event {
    /// Every event.
    pub const ALL: [Self; 6] = [
        Self::ArmAsked,
        Self::ArmGranted,
        Self::ArmFailed,
        Self::ConditionFired,
        Self::StopAsked,
        Self::StopConfirmed,
    ];
}

#[cfg(test)]
mod tests {
    use super::{Event, State};

    /// The whole table, written out a second time from the rules of DEVELOPERS.md, one row a state.
    #[test]
    fn every_pair_of_state_and_event_leads_where_the_rules_say() {
        use State::{Armed, Arming, Disarmed, Stopping, Tripped};
        // Columns: ArmAsked, ArmGranted, ArmFailed, ConditionFired, StopAsked, StopConfirmed.
        let table = [
            (
                Disarmed,
                [Arming, Stopping, Disarmed, Tripped, Stopping, Disarmed],
            ),
            (Arming, [Stopping, Armed, Disarmed, Tripped, Stopping, Stopping]),
            (Armed, [Stopping, Stopping, Stopping, Tripped, Stopping, Stopping]),
            (
                Stopping,
                [Stopping, Stopping, Stopping, Tripped, Stopping, Disarmed],
            ),
            (Tripped, [Tripped; 6]),
        ];
        assert_eq!(table.len(), State::ALL.len());
        for (state, row) in table {
            for (event, expected) in Event::ALL.into_iter().zip(row) {
                assert_eq!(state.after(event), expected, "{state:?} on {event:?}");
            }
        }
    }

    #[test]
    fn the_only_way_to_armed_is_a_grant_that_was_asked_for() {
        for state in State::ALL {
            for event in Event::ALL {
                if state.after(event) == State::Armed {
                    assert_eq!((state, event), (State::Arming, Event::ArmGranted));
                }
            }
        }
    }

    #[test]
    fn a_stop_leads_to_no_torque_from_every_state() {
        for state in State::ALL {
            assert!(
                matches!(state.after(Event::StopAsked), State::Stopping | State::Tripped),
                "{state:?}"
            );
        }
    }
}
