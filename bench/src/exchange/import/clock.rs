//! The even grid of time that rows are on, told from the time column.

use super::source::BATCH_ROWS;

/// Times kept to tell the usual step from.
const FIRST: usize = 2 * BATCH_ROWS;
/// Share of a period by which a row may be off the grid without being declared uneven.
const TOLERANCE: f64 = 0.05;
/// The same for times that are written with few decimals.
const MOST_TOLERANCE: f64 = 0.25;
/// Times beyond this are not from the start of a run but from an epoch, s.
const LATEST_S: f64 = 1e7;
/// Nominal length of a tick, s.
const TICK_S: f64 = 1e-6;

/// Tells the period from times in order.
#[derive(Debug, Default)]
pub(super) struct PeriodSearch {
    first: Vec<f64>,
    usual_s: Option<f64>,
    start_s: f64,
    last_s: f64,
    run: u64,
    longest: (f64, u64),
    breaks: u64,
    seen: u64,
}

impl PeriodSearch {
    pub(super) fn take(&mut self, t_s: f64) {
        self.seen += 1;
        if self.usual_s.is_none() {
            self.first.push(t_s);
            if self.first.len() >= FIRST {
                self.settle();
            }
            return;
        }
        self.follow(t_s);
    }

    /// The usual step is the median of the first ones.
    fn settle(&mut self) {
        let first = std::mem::take(&mut self.first);
        let mut steps: Vec<f64> = first.windows(2).map(|w| w[1] - w[0]).collect();
        steps.sort_by(f64::total_cmp);
        let Some(usual) = steps.get(steps.len() / 2) else {
            return;
        };
        self.usual_s = Some(*usual);
        for t in first {
            self.follow(t);
        }
    }

    fn follow(&mut self, t_s: f64) {
        let usual = self.usual_s.unwrap_or(0.0);
        let step = t_s - self.last_s;
        if self.run == 0 || step > 1.75 * usual || step < 0.25 * usual {
            self.breaks += u64::from(self.run > 0);
            self.end_run();
            self.start_s = t_s;
            self.run = 1;
        } else {
            self.run += 1;
        }
        self.last_s = t_s;
    }

    fn end_run(&mut self) {
        if self.run > self.longest.1 {
            self.longest = (self.last_s - self.start_s, self.run);
        }
    }

    /// Period over the longest stretch without a gap, and the number of rows in it.
    pub(super) fn period(mut self) -> Option<(f64, u64)> {
        if self.usual_s.is_none() {
            self.settle();
        }
        self.end_run();
        let (span, rows) = self.longest;
        let period = if rows >= 2 {
            span / (rows - 1) as f64
        } else {
            self.usual_s?
        };
        (period.is_finite() && period > 0.0).then_some((period, rows))
    }
}

/// How file time becomes ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clock {
    pub(super) period_s: f64,
    pub(super) tick_s: f64,
    pub(super) period_ticks: u32,
    /// File time of tick 0, s.
    pub(super) origin_s: f64,
    /// How far a row may be off the grid, s.
    pub(super) tolerance_s: f64,
}

impl Clock {
    /// A clock for rows `period_s` apart, told from `rows` rows whose times are written to `digit_s`.
    ///
    /// A tick is a microsecond if the period is a whole number of them as well as can be told; else it is the period
    /// divided by a whole number, near a microsecond.
    pub(super) fn new(
        period_s: f64,
        rows: u64,
        digit_s: f64,
        first_s: f64,
        declared_tolerance_s: Option<f64>,
    ) -> Self {
        let micro = period_s / TICK_S;
        let whole = micro.round().max(1.0);
        let drift = (micro - whole).abs() * rows as f64;
        let (period_s, tick_s) = if drift <= 1.5 + digit_s / TICK_S {
            (whole * TICK_S, TICK_S)
        } else {
            (period_s, period_s / whole)
        };
        let written = (0.55 * digit_s).min(MOST_TOLERANCE * period_s);
        let tolerance_s = declared_tolerance_s.unwrap_or((TOLERANCE * period_s).max(written));
        let from_start = (0.0..LATEST_S).contains(&first_s);
        Self {
            period_s,
            tick_s,
            period_ticks: whole as u32,
            origin_s: if from_start { 0.0 } else { first_s },
            tolerance_s,
        }
    }

    /// The tick nearest to a time of the file; 0 for one before the origin.
    pub(super) fn tick(&self, t_s: f64) -> u64 {
        ((t_s - self.origin_s) / self.tick_s).round().max(0.0) as u64
    }
}

/// Where a row falls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Place {
    /// On the grid, right behind the row before (or the first).
    Next { tick: u64 },
    /// Behind a gap, in which so many rows are missing.
    AfterGap { tick: u64, lost: u64 },
    /// Off the grid by so much, s.
    Off { by_s: f64 },
}

/// Puts rows on the grid, one after another.
#[derive(Debug)]
pub(super) struct Grid {
    clock: Clock,
    /// Time and tick of the first row of the stretch.
    anchor: Option<(f64, u64)>,
    index: u64,
    last_s: f64,
    last_tick: u64,
    /// Largest distance from the grid of rows on it, s.
    pub(super) worst_s: f64,
}

impl Grid {
    pub(super) fn new(clock: Clock) -> Self {
        Self {
            clock,
            anchor: None,
            index: 0,
            last_s: f64::NEG_INFINITY,
            last_tick: 0,
            worst_s: 0.0,
        }
    }

    /// Puts the next row, whose time is later than that of the one before.
    pub(super) fn put(&mut self, t_s: f64) -> Place {
        let period = self.clock.period_s;
        let Some((start_s, start_tick)) = self.anchor else {
            return Place::Next {
                tick: self.begin(t_s, 0),
            };
        };
        let since = self.last_s;
        let step = t_s - since;
        let place = ((t_s - start_s) / period).round();
        let off = t_s - start_s - place * period;
        let index = place.max(0.0) as u64;
        if off.abs() <= self.clock.tolerance_s && index > self.index {
            let lost = index - self.index - 1;
            self.index = index;
            self.last_s = t_s;
            self.worst_s = self.worst_s.max(off.abs());
            let tick = start_tick + index * u64::from(self.clock.period_ticks);
            self.last_tick = tick;
            return match lost {
                0 => Place::Next { tick },
                lost => Place::AfterGap { tick, lost },
            };
        }
        if step > 1.5 * period {
            let lost = (step / period).round() as u64 - 1;
            let earliest = self.last_tick + u64::from(self.clock.period_ticks) + 1;
            let tick = self.begin(t_s, earliest);
            return Place::AfterGap {
                tick,
                lost: lost.max(1),
            };
        }
        self.last_s = t_s;
        self.index = self.index.max(index);
        Place::Off { by_s: off }
    }

    fn begin(&mut self, t_s: f64, earliest: u64) -> u64 {
        let tick = self.clock.tick(t_s).max(earliest);
        self.anchor = Some((t_s, tick));
        self.index = 0;
        self.last_s = t_s;
        self.last_tick = tick;
        tick
    }
}
