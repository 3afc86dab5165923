//! Two passes over the data before anything is written: what is there, and whether it can be used.

use super::super::ExchangeError;
use super::bind::{Binding, Bound};
use super::clean::Cleaner;
use super::clock::{Clock, Grid, PeriodSearch, Place};
use super::counts::{Counts, ON_GRID, Range};
use super::log::{Code, Log};
use super::map::{Levels, Map, Role, Segment, SegmentKind};
use super::source::DataFile;

/// Correlation below which commanded and measured torque are taken to have opposite signs.
const OPPOSITE: f64 = -0.3;
/// Correlation from which the ratio of the two is judged.
const RELATED: f64 = 0.5;
/// Ratios of measured to commanded torque outside which a unit is taken to be wrong, clamped.
const RATIOS: [f64; 2] = [0.05, 20.0];
/// Sample periods that a recording may have, s.
const PERIODS_S: [f64; 2] = [1e-5, 0.1];

/// What the first pass gives.
#[derive(Debug)]
pub(super) struct Survey {
    pub(super) clock: Clock,
    pub(super) ranges: Vec<Range>,
    pub(super) counts: Vec<Counts>,
    pub(super) read: u64,
    pub(super) kept: u64,
    pub(super) first_s: f64,
    pub(super) last_s: f64,
}

/// Sums for the line through measured over commanded torque.
#[derive(Debug, Default)]
struct Relation {
    n: f64,
    mean: [f64; 2],
    square: [f64; 2],
    product: f64,
}

impl Relation {
    fn take(&mut self, x: f64, y: f64) {
        self.n += 1.0;
        let (dx, dy) = (x - self.mean[0], y - self.mean[1]);
        self.mean[0] += dx / self.n;
        self.mean[1] += dy / self.n;
        self.square[0] += dx * (x - self.mean[0]);
        self.square[1] += dy * (y - self.mean[1]);
        self.product += dx * (y - self.mean[1]);
    }

    /// Correlation and slope; `None` if one of the two is constant.
    fn judge(&self) -> Option<(f64, f64)> {
        let r = self.product / (self.square[0] * self.square[1]).sqrt();
        let slope = self.product / self.square[0];
        (r.is_finite() && slope.is_finite()).then_some((r, slope))
    }
}

/// First pass: rows, ranges, period, sign. Turns the measured column if that is asked for.
pub(super) fn first(
    data: &DataFile,
    map: &Map,
    binding: &mut Binding,
    log: &mut Log,
) -> Result<Survey, ExchangeError> {
    let mut ranges = vec![Range::default(); binding.columns.len()];
    let mut relation = Relation::default();
    let mut search = PeriodSearch::default();
    let at = |role| binding.columns.iter().position(|b| b.column.role == role);
    let pair = at(Role::Commanded).zip(at(Role::Measured));
    let (mut first_s, mut last_s) = (f64::NAN, f64::NAN);
    let mut cleaner = Cleaner::open(data, binding, map.time.period_s)?;
    while let Some(clean) = cleaner.next(Some(log))? {
        for t in &clean.t_s {
            if first_s.is_nan() {
                first_s = *t;
            }
            last_s = *t;
            search.take(*t);
        }
        for (range, values) in ranges.iter_mut().zip(&clean.columns) {
            values.iter().for_each(|v| range.take(*v));
        }
        if let Some((x, y)) = pair {
            let both = clean.columns.get(x).zip(clean.columns.get(y));
            let bound = binding.columns.get(x).zip(binding.columns.get(y));
            if let (Some((xs, ys)), Some((bx, by))) = (both, bound) {
                xs.iter()
                    .zip(ys)
                    .for_each(|(x, y)| relation.take(bx.si(*x), by.si(*y)));
            }
        }
    }
    let (read, kept) = (cleaner.read, cleaner.kept);
    let decimals = cleaner.decimals();
    if kept < 2 {
        let what = format!("{kept} of {read} rows can be used, a recording needs more");
        log.once(
            Code::Rows,
            true,
            what,
            "Is this the right file, and is the delimiter right?",
        );
    }
    let before = usize::from(binding.time.is_some());
    let time_decimals = binding
        .time
        .and_then(|(factor, _)| Some(factor * 0.1_f64.powi(decimals.first().copied()?? as i32)));
    let found = search.period();
    let told = match (map.time.period_s, found) {
        (Some(declared), found) => {
            let rows = found.map_or(1, |(_, rows)| rows);
            if let Some((period, _)) = found.filter(|(p, _)| (p / declared - 1.0).abs() > 0.02) {
                let what = format!("rows are {period} s apart, the map says {declared} s");
                log.once(Code::Uneven, true, what, "Correct time.rate or time.unit");
            }
            Some((declared, rows))
        }
        (None, found) => found,
    };
    let (period_s, rows) = told.unwrap_or((1e-3, 1));
    if !(PERIODS_S[0]..=PERIODS_S[1]).contains(&period_s) {
        let what = format!(
            "time: rows are {period_s} s apart, {} to {} s can be used",
            PERIODS_S[0], PERIODS_S[1]
        );
        log.once(Code::Unit, true, what, "Correct time.unit or time.rate");
    }
    let clock = Clock::new(
        period_s.clamp(PERIODS_S[0], PERIODS_S[1]),
        rows,
        time_decimals.unwrap_or(0.0),
        first_s,
        map.time.tolerance_s,
    );
    relate(map, binding, log, relation.judge());
    if kept >= 2 {
        for (bound, range) in binding.columns.iter().zip(&ranges) {
            look_at(bound, range, log);
        }
    }
    let counts = binding.columns.iter().zip(&ranges).enumerate();
    let counts = counts.map(|(i, (bound, range))| {
        let step = bound.column.resolution_si.map(|si| (si / bound.gain).abs());
        let places = decimals.get(before + i).copied().flatten();
        Counts::choose(range, step, bound.whole, places)
    });
    Ok(Survey {
        clock,
        counts: counts.collect(),
        ranges,
        read,
        kept,
        first_s,
        last_s,
    })
}

/// Judges sign and ratio of measured over commanded torque.
fn relate(map: &Map, binding: &mut Binding, log: &mut Log, judged: Option<(f64, f64)>) {
    let Some((r, slope)) = judged else { return };
    if r < OPPOSITE {
        let what = format!("measured torque goes against the commanded one: correlation {r:.2}");
        if map.repairs.sign {
            let measured = binding
                .columns
                .iter_mut()
                .find(|b| b.column.role == Role::Measured);
            measured.into_iter().for_each(Bound::turn);
            log.once(Code::Sign, false, what, "Repaired: the measured torque is turned");
        } else {
            let remedy =
                "Write sign = \"reversed\" for one of the two, or let --repair turn the measured one";
            log.once(Code::Sign, true, what, remedy);
        }
    }
    let ratio = slope.abs();
    if map.facts.mounting == "clamped" && r.abs() > RELATED && !(RATIOS[0]..=RATIOS[1]).contains(&ratio) {
        let what = format!("measured torque is {ratio:.3} times the commanded one");
        let remedy = "Correct a unit, a scale or a lever arm: a factor of 1,000 is N·m for mN·m";
        log.once(Code::Unit, true, what, remedy);
    }
}

/// Judges the range of a column.
fn look_at(bound: &Bound, range: &Range, log: &mut Log) {
    let word = bound.column.role.word();
    let name = &bound.column.name;
    if range.is_constant() {
        let measured = bound.column.role == Role::Measured;
        let what = format!("{word}: column {name:?} is {} in every row", range.min);
        let remedy = if measured {
            "A torque that was measured is never constant: correct the column in the map"
        } else {
            ""
        };
        log.once(Code::Constant, measured, what, remedy);
    }
    let [low, high] = bound.column.role.plausible();
    let ends = [bound.si(range.min), bound.si(range.max)];
    if range.min <= range.max && ends.iter().any(|si| !(low..=high).contains(si)) {
        let what = format!(
            "{word}: column {name:?} runs from {} to {} {}, {low} to {high} can be meant",
            ends[0],
            ends[1],
            bound.column.role.channel().2
        );
        log.once(Code::Unit, true, what, "Correct the unit or the scale in the map");
    }
}

/// What the second pass gives.
#[derive(Debug, Default)]
pub(super) struct Second {
    /// Rows off the even grid.
    pub(super) uneven: u64,
    /// Largest distance from the grid of the rows on it, s.
    pub(super) worst_s: f64,
    /// Samples missing in gaps.
    pub(super) lost: u64,
    /// Largest distance of a stored number from the given one, SI, by column.
    pub(super) rounding_si: Vec<f64>,
    /// Levels of each segment: `[before, after]` or `[amplitude, preload]`, N·m.
    pub(super) levels: Vec<(f64, f64)>,
}

/// Commanded torque over a segment, as it comes by.
#[derive(Debug, Clone, Copy)]
struct Seen {
    before: f64,
    low: f64,
    high: f64,
    last: f64,
    sum: f64,
    samples: u64,
}

/// Second pass: even time, counts, levels of segments.
pub(super) fn second(
    data: &DataFile,
    map: &Map,
    binding: &Binding,
    survey: &mut Survey,
    log: &mut Log,
) -> Result<Second, ExchangeError> {
    let mut grid = Grid::new(survey.clock);
    let mut out = Second::default();
    let mut off_si: Vec<f64> = vec![0.0; binding.columns.len()];
    let mut left_grid = vec![false; binding.columns.len()];
    let commanded = binding
        .columns
        .iter()
        .position(|b| b.column.role == Role::Commanded);
    let nothing = Seen {
        before: f64::NAN,
        low: f64::INFINITY,
        high: f64::NEG_INFINITY,
        last: f64::NAN,
        sum: 0.0,
        samples: 0,
    };
    let mut seen = vec![nothing; map.segments.len()];
    let (mut current, mut before_nm) = (0, f64::NAN);
    let mut cleaner = Cleaner::open(data, binding, map.time.period_s)?;
    while let Some(clean) = cleaner.next(None)? {
        for (i, t) in clean.t_s.iter().enumerate() {
            match grid.put(*t) {
                Place::Next { .. } => {}
                Place::AfterGap { lost, .. } => {
                    out.lost += lost;
                    log.count(Code::Gap, || {
                        format!("before {}: {lost} samples are missing", clean.place(i))
                    });
                }
                Place::Off { by_s } => {
                    out.uneven += 1;
                    log.count(Code::Uneven, || {
                        format!("{}: {:.1} µs off", clean.place(i), 1e6 * by_s)
                    });
                }
            }
            let command =
                commanded.and_then(|c| Some(binding.columns.get(c)?.si(*clean.columns.get(c)?.get(i)?)));
            let Some(command) = command else { continue };
            while map.segments.get(current).is_some_and(|s| s.to_s <= *t) {
                current += 1;
            }
            let inside = map.segments.get(current).is_some_and(|s| s.from_s <= *t);
            if let (true, Some(seen)) = (inside, seen.get_mut(current)) {
                if seen.last.is_nan() {
                    seen.before = before_nm;
                }
                seen.low = seen.low.min(command);
                seen.high = seen.high.max(command);
                seen.last = command;
                seen.sum += command;
                seen.samples += 1;
            }
            before_nm = command;
        }
        for (c, values) in clean.columns.iter().enumerate() {
            let (Some(counts), Some(bound)) = (survey.counts.get(c), binding.columns.get(c)) else {
                continue;
            };
            for value in values {
                let off = counts.off(*value);
                if let Some(most) = off_si.get_mut(c) {
                    *most = most.max(off * (counts.step * bound.gain).abs());
                }
                if let Some(left) = left_grid.get_mut(c) {
                    *left |= counts.on_grid && off > ON_GRID;
                }
            }
        }
    }
    for (c, left) in left_grid.iter().enumerate() {
        let declared = binding
            .columns
            .get(c)
            .is_some_and(|b| b.column.resolution_si.is_some());
        if let (true, Some(counts), Some(range), Some(off), Some(bound)) = (
            *left && !declared,
            survey.counts.get_mut(c),
            survey.ranges.get(c),
            off_si.get_mut(c),
            binding.columns.get(c),
        ) {
            *counts = Counts::fine(range);
            *off = 0.5 * (counts.step * bound.gain).abs();
        }
    }
    out.worst_s = grid.worst_s;
    out.rounding_si = off_si;
    out.levels = map
        .segments
        .iter()
        .zip(&seen)
        .map(|(segment, seen)| levels(segment, seen, survey, log))
        .collect();
    Ok(out)
}

/// A segment's levels, declared or as seen; notes what the data do not hold.
fn levels(segment: &Segment, seen: &Seen, survey: &Survey, log: &mut Log) -> (f64, f64) {
    let period = survey.clock.period_s;
    let outside = segment.from_s < survey.first_s - period || segment.to_s > survey.last_s + 1.5 * period;
    if outside || seen.last.is_nan() {
        log.count(Code::Segment, || {
            format!(
                "{}: {} to {} s, the data are from {} to {} s",
                segment.place, segment.from_s, segment.to_s, survey.first_s, survey.last_s
            )
        });
    }
    match (segment.levels, segment.kind) {
        (Levels::Declared(a, b), _) => (a, b),
        (Levels::Measured, SegmentKind::Chirp | SegmentKind::PseudoRandom) => {
            (0.5 * (seen.high - seen.low), 0.5 * (seen.high + seen.low))
        }
        // Whole periods of sines, which sum to nothing; the crest is on one side alone.
        (Levels::Measured, SegmentKind::Multisine) => {
            let mean = seen.sum / seen.samples as f64;
            ((seen.high - mean).max(mean - seen.low), mean)
        }
        (Levels::Measured, _) => (
            if seen.before.is_nan() {
                seen.last
            } else {
                seen.before
            },
            seen.last,
        ),
    }
}
