//! A virtual rig in this process. Its clock is the only one: waiting means simulating.

use bench_core::time::HostNs;
use virtual_rig::VirtualRig;

use super::{Line, LineError};

/// The host's clock runs ahead of the rig's by this, so that a time of zero never has to be negative.
const NS_PER_TICK: u64 = 1_000;

/// A virtual rig as a line.
pub struct LockStep {
    rig: VirtualRig,
}

impl LockStep {
    /// Takes a rig that was just switched on.
    #[must_use]
    pub const fn new(rig: VirtualRig) -> Self {
        Self { rig }
    }

    /// The rig, for a look at its physical state.
    #[must_use]
    pub const fn rig(&self) -> &VirtualRig {
        &self.rig
    }

    /// The rig, for faults by hand.
    pub const fn rig_mut(&mut self) -> &mut VirtualRig {
        &mut self.rig
    }
}

impl Line for LockStep {
    fn now(&self) -> HostNs {
        HostNs(self.rig.tick().saturating_mul(NS_PER_TICK))
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let before = inbox.len();
        self.rig.transmit(inbox); // answers to what was written in this very tick
        if inbox.len() > before {
            return Ok(());
        }
        // Up to the deadline or the next output, whichever is first, but always on: time must not stand still.
        let deadline = until.0.div_ceil(NS_PER_TICK);
        let next = self.rig.next_output_tick().min(deadline).max(self.rig.tick() + 1);
        self.rig.advance_to(next);
        self.rig.transmit(inbox);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8], _discard_first: bool) -> Result<(), LineError> {
        self.rig.receive(bytes); // nothing is ever queued unsent here
        Ok(())
    }
}
