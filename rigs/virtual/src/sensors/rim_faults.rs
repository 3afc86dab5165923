//! A rim encoder that jumps, sticks or counts the wrong way.

/// What is wrong with the encoder, in counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct RimFaults {
    /// Added to the counts.
    offset: i32,
    /// Whether it counts the other way.
    inverted: bool,
    /// What it gives whatever the angle is.
    stuck: Option<i32>,
}

impl RimFaults {
    /// What the encoder makes of the true counts.
    pub(super) fn apply(&self, counts: i32) -> i32 {
        self.stuck.unwrap_or_else(|| {
            let turned = if self.inverted {
                counts.wrapping_neg()
            } else {
                counts
            };
            turned.wrapping_add(self.offset)
        })
    }

    pub(super) fn jump(&mut self, by: i32) {
        self.offset = self.offset.wrapping_add(by);
    }

    pub(super) fn stick(&mut self, true_counts: i32) {
        self.stuck = Some(self.apply(true_counts));
    }

    /// Without a jump: from where it is.
    pub(super) fn invert(&mut self, true_counts: i32) {
        let before = self.apply(true_counts);
        self.inverted = !self.inverted;
        let after = self.apply(true_counts);
        self.jump(before.wrapping_sub(after));
    }
}
