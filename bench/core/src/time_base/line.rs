//! A straight line through marks, with a bound of its error.

use super::Mark;

/// A straight line through marks, weighted by one over the square of their widths.
///
/// An estimate by least squares is a sum `Σ wᵢ(t) · offsetᵢ` with `Σ wᵢ = 1` and `Σ wᵢ·tᵢ = t`. Where the true offset is a straight line,
/// it passes unchanged, and what is left is `Σ wᵢ(t) · eᵢ` with `|eᵢ| ≤ halfᵢ`: at most `Σ |wᵢ(t)| · halfᵢ`, whatever
/// the errors have in common. Times are seconds from `origin_ns`, so that nothing is lost to rounding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    origin_ns: i64,
    offset_ns: i64,
    /// Weighted mean of time from the origin, s, and of offset from `offset_ns`, ns.
    mean_s: f64,
    mean_ns: f64,
    /// Sum of weights, and of weights times squared time from the mean, s².
    weight: f64,
    spread: f64,
    /// ns a second: parts in 10⁹.
    slope: f64,
}

/// Spread of the marks in time, as a share of their weight, below which no slope is told, s².
const LEAST_SPREAD_S2: f64 = 1e-9;

impl Line {
    /// The line through marks that are spread over time; `None` for fewer than two, or all at one time.
    pub fn through<'a>(marks: impl Iterator<Item = &'a Mark> + Clone) -> Option<Self> {
        let first = marks.clone().next()?;
        let (origin_ns, offset_ns) = (first.at_ns, first.offset_ns);
        let mut line = Self {
            origin_ns,
            offset_ns,
            mean_s: 0.0,
            mean_ns: 0.0,
            weight: 0.0,
            spread: 0.0,
            slope: 0.0,
        };
        let mut product = 0.0;
        // Means and sums of squares updated mark by mark (Welford, with weights): no large numbers are subtracted.
        for mark in marks {
            let w = weight(mark);
            let (t, y) = (line.time_s(mark.at_ns), (mark.offset_ns - offset_ns) as f64);
            line.weight += w;
            let (dt, dy) = (t - line.mean_s, y - line.mean_ns);
            line.mean_s += w / line.weight * dt;
            line.mean_ns += w / line.weight * dy;
            line.spread += w * dt * (t - line.mean_s);
            product += w * dt * (y - line.mean_ns);
        }
        if line.weight.is_nan() || line.spread.is_nan() || line.spread <= LEAST_SPREAD_S2 * line.weight {
            return None;
        }
        line.slope = product / line.spread;
        Some(line)
    }

    fn time_s(&self, at_ns: i64) -> f64 {
        (at_ns - self.origin_ns) as f64 * 1e-9
    }

    /// Offset of the second clock at a host time, ns.
    #[must_use]
    pub fn offset_ns(&self, at_ns: i64) -> i64 {
        let from_mean = self.mean_ns + self.slope * (self.time_s(at_ns) - self.mean_s);
        self.offset_ns.saturating_add(libm::round(from_mean) as i64)
    }

    /// Rate of the second clock less that of the host's, 1: drift.
    #[must_use]
    pub fn drift(&self) -> f64 {
        self.slope * 1e-9
    }

    /// Bound of the offset's error at a host time, ns. `marks` are those that the line was laid through.
    pub fn bound_ns<'a>(&self, at_ns: i64, marks: impl Iterator<Item = &'a Mark>) -> f64 {
        let t = self.time_s(at_ns) - self.mean_s;
        let share = |mark: &Mark| {
            let slope = (self.time_s(mark.at_ns) - self.mean_s) * t / self.spread;
            libm::fabs(weight(mark) * (1.0 / self.weight + slope)) * mark.half_ns
        };
        marks.map(share).sum()
    }

    /// Bound of the drift's error, 1.
    pub fn drift_bound<'a>(&self, marks: impl Iterator<Item = &'a Mark>) -> f64 {
        let share = |mark: &Mark| {
            let arm = (self.time_s(mark.at_ns) - self.mean_s) / self.spread;
            libm::fabs(weight(mark) * arm) * mark.half_ns * 1e-9
        };
        marks.map(share).sum()
    }
}

fn weight(mark: &Mark) -> f64 {
    // In µs, to stay near 1.
    let half = mark.half_ns * 1e-3;
    1.0 / (half * half)
}

#[cfg(test)]
mod tests {
    use super::{Line, Mark};

    fn mark(at_s: f64, offset_ns: i64, half_ns: f64) -> Mark {
        Mark {
            at_ns: 1_700_000_000_000_000_000 + (at_s * 1e9) as i64,
            offset_ns,
            half_ns,
            delay_ns: 0,
        }
    }

    // Expected values: weighted least squares by hand. Three marks at 0, 1 and 2 s, offsets 10, 14, 12 ns, equal widths of 3 ns:
    // slope 1 ns/s, value at 1 s 12 ns. Weights at 1 s are 1/3 each: bound 3 ns; at 3 s they are −2/3, 1/3, 4/3: bound 7 ns.
    #[test]
    fn line_and_bound_by_hand() {
        let marks = [mark(0.0, 10, 3.0), mark(1.0, 14, 3.0), mark(2.0, 12, 3.0)];
        let line = Line::through(marks.iter()).unwrap();
        assert!((line.drift() - 1e-9).abs() < 1e-18);
        assert_eq!(line.offset_ns(marks[1].at_ns), 12);
        assert_eq!(line.offset_ns(mark(3.0, 0, 1.0).at_ns), 14);
        assert!((line.bound_ns(marks[1].at_ns, marks.iter()) - 3.0).abs() < 1e-9);
        assert!((line.bound_ns(mark(3.0, 0, 1.0).at_ns, marks.iter()) - 7.0).abs() < 1e-9);
        // Arms −1/2, 0, 1/2 a second: bound 3 ns/s.
        assert!((line.drift_bound(marks.iter()) - 3e-9).abs() < 1e-18);
    }

    #[test]
    fn a_narrow_mark_counts_for_more_than_wide_ones() {
        // Weights 1 and 1/100: the mean lies at (0·1 + 2·0.01)/1.01 s, and the line passes through both anyway.
        let marks = [mark(0.0, 0, 1_000.0), mark(2.0, 8_000, 10_000.0)];
        let line = Line::through(marks.iter()).unwrap();
        assert_eq!(line.offset_ns(marks[0].at_ns), 0);
        assert_eq!(line.offset_ns(marks[1].at_ns), 8_000);
        // At the narrow mark the line is that mark.
        assert!((line.bound_ns(marks[0].at_ns, marks.iter()) - 1_000.0).abs() < 1e-6);
    }

    #[test]
    fn marks_at_one_time_tell_no_slope() {
        let marks = [mark(0.0, 10, 3.0), mark(0.0, 12, 3.0)];
        assert_eq!(Line::through(marks.iter()), None);
        assert_eq!(Line::through(marks[..1].iter()), None);
    }
}
