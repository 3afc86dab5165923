//! Numbers of a file as counts with scale and offset.
//!
//! Values of a converter lie on a grid: whole multiples of one step. Where the numbers of a column do, the counts are
//! stored and nothing is lost. Whole numbers and numbers written with few decimals are on such a grid by themselves;
//! for floating-point columns it is looked for. A column without a grid is stored in steps of at most a billionth of its
//! largest magnitude (2⁻³⁰).

use std::collections::BTreeSet;

/// Distinct values kept of a column.
const KEPT: usize = 8192;
/// Rounding of double and of single precision, as shares of a column's largest magnitude; a few roundings each.
const ROUNDINGS: [f64; 2] = [16.0 * f64::EPSILON, 2.0 * f32::EPSILON as f64];
/// Least step that is looked for, roundings: a finer one cannot be told from them.
const LEAST: f64 = 50.0;
/// How far, in steps, a value may be from the grid.
pub(super) const ON_GRID: f64 = 0.01;
/// Nearest to zero, in steps, at which a grid is taken to hold zero.
const SNAP: f64 = 1e-6;
/// Fewest steps over a column's span that a found grid has; a coarser one is divided, as a torque that jumps between two
/// levels says nothing of its resolution.
const FEWEST: f64 = 4096.0;
/// Largest count.
const MOST: f64 = i32::MAX as f64;

/// What is gathered of a column in the first pass.
#[derive(Debug, Clone)]
pub(super) struct Range {
    pub(super) min: f64,
    pub(super) max: f64,
    distinct: BTreeSet<u64>,
}

impl Default for Range {
    fn default() -> Self {
        Self {
            min: f64::INFINITY,
            max: f64::NEG_INFINITY,
            distinct: BTreeSet::new(),
        }
    }
}

/// Bits whose order is that of the numbers.
fn ordered(value: f64) -> u64 {
    let bits = (value + 0.0).to_bits();
    if bits >> 63 == 0 { bits | 1 << 63 } else { !bits }
}

fn unordered(bits: u64) -> f64 {
    f64::from_bits(if bits >> 63 == 1 { bits & !(1 << 63) } else { !bits })
}

impl Range {
    pub(super) fn take(&mut self, value: f64) {
        self.min = self.min.min(value);
        self.max = self.max.max(value);
        if self.distinct.len() < KEPT {
            self.distinct.insert(ordered(value));
        }
    }

    pub(super) fn is_constant(&self) -> bool {
        self.max <= self.min
    }

    fn largest(&self) -> f64 {
        self.min.abs().max(self.max.abs())
    }
}

/// How a number becomes a count: number = `step` · count + `base`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Counts {
    pub(super) step: f64,
    pub(super) base: f64,
    /// Whether the numbers are on this grid, as far as is known.
    pub(super) on_grid: bool,
}

impl Counts {
    pub(super) fn count(&self, value: f64) -> i32 {
        ((value - self.base) / self.step).round().clamp(-MOST, MOST) as i32
    }

    /// Distance of a number from the grid, in steps.
    pub(super) fn off(&self, value: f64) -> f64 {
        let steps = (value - self.base) / self.step;
        (steps - steps.round()).abs()
    }

    /// The finest steps that hold the column's range.
    pub(super) fn fine(range: &Range) -> Self {
        let largest = range.largest().max(f64::MIN_POSITIVE / f64::EPSILON);
        Self {
            step: (largest.log2().ceil() - 30.0).exp2(),
            base: 0.0,
            on_grid: false,
        }
    }

    /// Steps for a column: `declared` if the map says so (in the file's numbers), else those of whole or decimal
    /// numbers, else those found, else fine ones.
    pub(super) fn choose(range: &Range, declared: Option<f64>, whole: bool, decimals: Option<u32>) -> Self {
        let on = |step: f64| Self {
            step,
            base: 0.0,
            on_grid: true,
        };
        let fits = |counts: Self| {
            let ends = [range.min, range.max].map(|v| ((v - counts.base) / counts.step).abs());
            (ends[0].max(ends[1]) < MOST).then_some(counts)
        };
        if let Some(step) = declared {
            // The grid may not hold zero.
            let base = range.min - (range.min / step).round() * step;
            let base = if base.abs() < SNAP * step { 0.0 } else { base };
            return fits(Self { base, ..on(step) }).unwrap_or_else(|| Self::fine(range));
        }
        if whole {
            return fits(on(1.0)).unwrap_or_else(|| Self::fine(range));
        }
        if let Some(decimal) = decimals.and_then(|places| fits(on(1.0 / 10_f64.powi(places as i32)))) {
            return decimal;
        }
        search(range).and_then(fits).unwrap_or_else(|| Self::fine(range))
    }
}

/// Looks for the step that all differences are whole multiples of, as exact as doubles are, then as singles are.
fn search(range: &Range) -> Option<Counts> {
    ROUNDINGS
        .iter()
        .find_map(|rounding| search_to(range, rounding * range.largest()))
}

fn search_to(range: &Range, rounding: f64) -> Option<Counts> {
    let values: Vec<f64> = range.distinct.iter().map(|bits| unordered(*bits)).collect();
    let span = range.max - range.min;
    if values.len() < 2 || span <= 0.0 {
        return None;
    }
    let least = (span / MOST).max(LEAST * rounding);
    let mut pairs = values.windows(2).map(|pair| Length {
        value: pair[1] - pair[0],
        error: rounding,
    });
    let mut shortest = pairs.next()?;
    for length in pairs {
        shortest = common(shortest, length, least)?;
    }
    let step = shortest.value;
    // Over the whole span the step is known best.
    let mut step = span / (span / step).round();
    let base = range.min - (range.min / step).round() * step;
    let base = if base.abs() < SNAP * step { 0.0 } else { base };
    if span / step < FEWEST {
        step /= (FEWEST * step / span).log2().ceil().exp2();
    }
    Some(Counts {
        step,
        base,
        on_grid: true,
    })
}

/// A length with its greatest error.
#[derive(Debug, Clone, Copy)]
struct Length {
    value: f64,
    error: f64,
}

/// The common step of two lengths by Euclid's way, its error kept along; `None` if it is below `least`.
fn common(a: Length, b: Length, least: f64) -> Option<Length> {
    let (mut large, mut small) = if a.value < b.value { (b, a) } else { (a, b) };
    loop {
        if small.value < least {
            return None;
        }
        let times = (large.value / small.value).round();
        let rest = Length {
            value: (large.value - times * small.value).abs(),
            error: large.error + times * small.error,
        };
        if rest.error > 0.1 * small.value {
            return None;
        }
        if rest.value <= 2.0 * rest.error {
            // A whole number of steps makes out one of them better.
            let shared = Length {
                value: large.value / times,
                error: large.error / times,
            };
            return Some(if shared.error < small.error { shared } else { small });
        }
        (large, small) = (small, rest);
    }
}
