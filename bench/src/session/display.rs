//! How far a run is, shown by a thread of its own: drawing writes to a terminal, which may wait for anything.

use std::time::Duration;

use bench_core::run::Progress;
use rtrb::{Consumer, Producer, RingBuffer};

use crate::drive::clock::rest;
use crate::drive::schedule::back_to_ordinary;

/// Time between two looks.
const LOOK: Duration = Duration::from_millis(100);
/// Snapshots that may wait; one that finds no room is passed over, as a newer one follows.
const PLACES: usize = 64;
/// Least change of the share played that is worth telling.
const STEP: f64 = 1e-3;

/// The end that tells.
pub(super) struct Shown {
    ring: Producer<Progress>,
    told: Option<Progress>,
}

/// The end that shows.
pub(super) struct Shows {
    ring: Consumer<Progress>,
}

/// Both ends.
pub(super) fn pair() -> (Shown, Shows) {
    let (producer, consumer) = RingBuffer::new(PLACES);
    let shown = Shown {
        ring: producer,
        told: None,
    };
    (shown, Shows { ring: consumer })
}

impl Shown {
    /// Tells how far the run is. Returns at once, whatever the other end does.
    pub(super) fn tell(&mut self, progress: Progress) {
        let news = self.told.is_none_or(|told| {
            told.phase != progress.phase
                || (told.share - progress.share).abs() >= STEP
                || (told.left_s - progress.left_s).abs() >= 1.0
        });
        if news && self.ring.push(progress).is_ok() {
            self.told = Some(progress);
        }
    }
}

impl Shows {
    /// Shows what is told, the newest only, until the other end is gone.
    pub(super) fn run(mut self, on_progress: &mut dyn FnMut(Progress)) {
        back_to_ordinary();
        loop {
            let last = self.ring.is_abandoned();
            let mut newest = None;
            while let Ok(progress) = self.ring.pop() {
                newest = Some(progress);
            }
            if let Some(progress) = newest {
                on_progress(progress);
            }
            if last {
                return;
            }
            rest(LOOK);
        }
    }
}

#[cfg(test)]
mod tests {
    use bench_core::run::Progress;

    use super::{PLACES, pair};

    #[test]
    fn the_newest_is_shown_and_nobody_waits_for_a_display_that_is_stuck() {
        let (mut shown, shows) = pair();
        let progress = |share| Progress {
            phase: "playing",
            share,
            left_s: 0.0,
        };
        // More than there is room for, while nobody looks: returns all the same.
        for index in 0..3 * PLACES {
            shown.tell(progress(index as f64 / (3.0 * PLACES as f64)));
        }
        drop(shown);
        let mut seen = Vec::new();
        shows.run(&mut |progress| seen.push(progress.share));
        assert_eq!(seen.len(), 1);
        let newest = (PLACES - 1) as f64 / (3.0 * PLACES as f64);
        assert!((seen[0] - newest).abs() < 1e-12, "{seen:?}");
    }

    #[test]
    fn what_cannot_be_told_apart_is_told_once() {
        let (mut shown, shows) = pair();
        for index in 0..1_000_i32 {
            shown.tell(Progress {
                phase: if index < 500 { "arming" } else { "playing" },
                share: 0.25 + f64::from(index) * 1e-9,
                left_s: 10.0,
            });
        }
        assert_eq!(shows.ring.slots(), 2);
    }
}
