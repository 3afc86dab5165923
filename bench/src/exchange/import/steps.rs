//! Steps found in the commanded torque of data without a plan.

use std::collections::BTreeMap;

use super::map::StepSearch;
use crate::recording::SegmentRow;

/// Longest time over which a jump may be spread and still be a step, s.
const SPREAD_S: f64 = 0.005;

/// A stretch of constant command.
#[derive(Debug, Clone, Copy)]
struct Level {
    nm: f64,
    from_tick: u64,
    last_tick: u64,
}

/// Follows the commanded torque, sample by sample, and says when a step is over.
#[derive(Debug)]
pub(super) struct StepFinder {
    search: StepSearch,
    tolerance_nm: f64,
    tick_s: f64,
    period_ticks: u64,
    now: Option<Level>,
    before: Option<Level>,
    repeats: BTreeMap<(i64, i64), u32>,
    /// Steps found.
    pub(super) found: u32,
}

impl StepFinder {
    pub(super) fn new(search: StepSearch, tolerance_nm: f64, tick_s: f64, period_ticks: u32) -> Self {
        Self {
            search,
            tolerance_nm,
            tick_s,
            period_ticks: u64::from(period_ticks),
            now: None,
            before: None,
            repeats: BTreeMap::new(),
            found: 0,
        }
    }

    fn lasted_s(&self, level: &Level) -> f64 {
        self.tick_s * (level.last_tick - level.from_tick + self.period_ticks) as f64
    }

    /// Takes a sample; a step whose level has just been left is handed out.
    pub(super) fn take(&mut self, tick: u64, command_nm: f64) -> Option<SegmentRow> {
        let gap = self
            .now
            .is_some_and(|level| tick - level.last_tick > self.period_ticks);
        let fresh = Level {
            nm: command_nm,
            from_tick: tick,
            last_tick: tick,
        };
        match &mut self.now {
            Some(level) if !gap && (command_nm - level.nm).abs() <= self.tolerance_nm => {
                level.last_tick = tick;
                None
            }
            _ => {
                let done = self.end();
                if gap {
                    self.before = None;
                }
                self.now = Some(fresh);
                done
            }
        }
    }

    /// Ends the level in force: it becomes the one before, and a step if there is one before it.
    pub(super) fn end(&mut self) -> Option<SegmentRow> {
        let level = self.now.take()?;
        // Levels that do not last are part of the jump to the next one.
        if self.lasted_s(&level) < self.search.rest_s {
            return None;
        }
        let before = self.before.replace(level)?;
        let spread_s = self.tick_s * (level.from_tick - before.last_tick - self.period_ticks) as f64;
        if (level.nm - before.nm).abs() < self.search.least_nm || spread_s > SPREAD_S {
            return None;
        }
        let micro = |nm: f64| (1e6 * nm).round() as i64;
        let duration_s = self.lasted_s(&level);
        let repeat = self
            .repeats
            .entry((micro(before.nm), micro(level.nm)))
            .or_insert(0);
        let row = SegmentRow {
            name: "step found".into(),
            excitation: "step".into(),
            role: "excite".into(),
            segment: 0,
            repeat: *repeat,
            // The command changed at some time between two samples: the middle is the least wrong.
            start_tick: before.last_tick + self.period_ticks.div_ceil(2),
            end_tick: level.last_tick,
            from_nm: before.nm,
            to_nm: level.nm,
            amplitude_nm: level.nm - before.nm,
            preload_nm: before.nm,
            f_start_hz: f64::NAN,
            f_end_hz: f64::NAN,
            duration_s,
            hold_us: u32::try_from(self.period_ticks).unwrap_or(u32::MAX),
        };
        *repeat += 1;
        self.found += 1;
        Some(row)
    }
}
