//! The course of a run, phase by phase.

use crate::time::HostNs;

/// What arming is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Purpose {
    /// To prove at zero torque that a stop is carried out.
    ProveStop,
    /// To prove at zero torque that the rig's watchdog fires.
    ProveWatchdog,
    /// To play the plan.
    Play,
}

/// Where a run is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Phase {
    /// Not begun.
    Idle,
    /// Asks who is there.
    Greeting {
        /// To be echoed.
        nonce: u32,
    },
    /// Asks for one channel after the other.
    Describing {
        /// The channel asked for.
        index: u8,
    },
    /// Clears what an earlier program left behind, until the rig takes limits.
    Settling {
        /// When to ask for its state again.
        again: HostNs,
    },
    /// Sends limits and rates.
    Configuring,
    /// Waits for the first samples.
    Starting,
    /// Clears a trip that an earlier run or a proof left behind.
    Clearing {
        /// When to ask again if the cause remains.
        again: HostNs,
    },
    /// Takes the zeros, without torque.
    Baseline {
        /// Until this rig tick.
        until_tick: Option<u64>,
    },
    /// Waits for a challenge.
    Asking(Purpose),
    /// Waits for permission.
    Confirming(Purpose),
    /// Waits for the rig to confirm a stop at zero torque.
    ProvingStop {
        /// When the stop was handed out.
        asked: HostNs,
    },
    /// Keeps silent until the watchdog fires at zero torque.
    ProvingWatchdog {
        /// Since when.
        since: HostNs,
    },
    /// Plays the plan.
    Playing,
    /// The plan is played; waits for the rig to confirm the stop.
    Ending,
    /// Takes the zeros again, without torque.
    After {
        /// Until this rig tick.
        until_tick: u64,
    },
    /// Stopping for a cause, until the rig confirms or all tries are used up.
    Halting {
        /// Since when.
        since: HostNs,
        /// When to send again.
        resend: HostNs,
    },
    /// Zero torque is confirmed; records what the rim does afterwards.
    Watching {
        /// Until when.
        until: HostNs,
        /// Whether the torque is being averaged: the second half.
        averaging: bool,
    },
    /// Over.
    Finished,
}

impl Phase {
    /// Its name for people and files.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Greeting { .. } => "greeting",
            Self::Describing { .. } => "channels",
            Self::Settling { .. } => "the rig's state",
            Self::Configuring => "configuring",
            Self::Starting => "first samples",
            Self::Clearing { .. } => "clearing a trip",
            Self::Baseline { .. } => "zeros before",
            Self::Asking(Purpose::Play) | Self::Confirming(Purpose::Play) => "arming",
            Self::Asking(Purpose::ProveStop)
            | Self::Confirming(Purpose::ProveStop)
            | Self::ProvingStop { .. } => "proving the stop",
            Self::Asking(Purpose::ProveWatchdog)
            | Self::Confirming(Purpose::ProveWatchdog)
            | Self::ProvingWatchdog { .. } => "proving the watchdog",
            Self::Playing => "playing",
            Self::Ending => "ending",
            Self::After { .. } => "zeros after",
            Self::Halting { .. } => "stopping",
            Self::Watching { .. } => "watching the rim come to rest",
            Self::Finished => "finished",
        }
    }

    /// Whether nothing moves yet: from the first zeros to the first setpoint.
    pub(super) const fn at_rest(self) -> bool {
        matches!(
            self,
            Self::Baseline { .. }
                | Self::Asking(_)
                | Self::Confirming(_)
                | Self::ProvingStop { .. }
                | Self::ProvingWatchdog { .. }
                | Self::Starting
                | Self::Clearing { .. }
        )
    }

    /// Whether samples are expected to stream in.
    pub(super) const fn streams(self) -> bool {
        !matches!(
            self,
            Self::Idle
                | Self::Greeting { .. }
                | Self::Describing { .. }
                | Self::Settling { .. }
                | Self::Configuring
                | Self::Finished
                | Self::Halting { .. }
                | Self::Watching { .. }
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything between the first samples and the first setpoint is judged as at rest, arming and both proofs included, however
    /// short it is.
    #[test]
    fn nothing_moves_from_the_first_zeros_to_the_first_setpoint() {
        let purposes = [Purpose::ProveStop, Purpose::ProveWatchdog, Purpose::Play];
        for purpose in purposes {
            assert!(Phase::Asking(purpose).at_rest() && Phase::Confirming(purpose).at_rest());
        }
        assert!(Phase::Starting.at_rest());
        assert!(!Phase::Playing.at_rest() && !Phase::Ending.at_rest() && !Phase::Idle.at_rest());
    }
}
