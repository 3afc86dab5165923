//! One axis: range, scale and where its numbers stand.

/// Range and scale of an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Axis {
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) logarithmic: bool,
    /// Least distance between two numbers, px.
    pub(crate) spacing: f64,
}

impl Axis {
    /// A linear axis. An empty or backward range becomes one around its start.
    pub(crate) fn linear(low: f64, high: f64, spacing: f64) -> Self {
        let (low, high) = if high > low {
            (low, high)
        } else {
            (low - 0.5, low + 0.5)
        };
        Self {
            low,
            high,
            logarithmic: false,
            spacing,
        }
    }

    /// A logarithmic axis from a positive value.
    pub(crate) fn logarithmic(low: f64, high: f64) -> Self {
        let low = low.max(1e-6);
        Self {
            low,
            high: high.max(low * 1.01),
            logarithmic: true,
            spacing: 30.0,
        }
    }

    /// A linear axis around all finite `values`, with a margin of `margin` of the range on both sides.
    pub(crate) fn around(values: impl Iterator<Item = f64>, margin: f64, spacing: f64) -> Self {
        let (low, high) = values
            .filter(|v| v.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            });
        if low > high {
            return Self::linear(0.0, 1.0, spacing);
        }
        let pad = margin * (high - low);
        Self::linear(low - pad, high + pad, spacing)
    }

    /// Where `value` lies: 0 at the low end, 1 at the high end.
    pub(crate) fn share(&self, value: f64) -> f64 {
        if self.logarithmic {
            (value.max(1e-12) / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        }
    }

    /// Whether `value` lies on the axis (a rounding error outside counts as on it).
    pub(crate) fn holds(&self, value: f64) -> bool {
        value.is_finite() && (-1e-9..=1.0 + 1e-9).contains(&self.share(value))
    }

    /// `value` moved to the nearer end if it is off the axis.
    pub(crate) fn clamp(&self, value: f64) -> f64 {
        value.clamp(self.low, self.high)
    }

    /// Values and labels of the grid lines on an axis `length` px long. A label may be empty.
    pub(crate) fn ticks(&self, length: f64) -> Vec<(f64, String)> {
        if self.logarithmic {
            self.log_ticks(length)
        } else {
            self.linear_ticks(length)
        }
    }

    fn linear_ticks(&self, length: f64) -> Vec<(f64, String)> {
        let step = round_step((self.high - self.low) * self.spacing / length.max(1.0));
        let places = usize::try_from(-(step.log10() + 1e-9).floor() as i32)
            .unwrap_or(0)
            .min(9);
        let first = (self.low / step - 1e-9).ceil() as i64;
        let last = (self.high / step + 1e-9).floor() as i64;
        (first..=last.min(first + 100))
            .map(|k| {
                let value = k as f64 * step;
                let text = format!("{:.places$}", value.abs());
                (value, if k < 0 { format!("−{text}") } else { text })
            })
            .collect()
    }

    /// 1, 2, 5 of each decade are named where there is room; the others are lines only.
    fn log_ticks(&self, length: f64) -> Vec<(f64, String)> {
        let per_decade = length / (self.high / self.low).log10();
        let named: &[i32] = if per_decade > 4.0 * self.spacing {
            &[1, 2, 5]
        } else {
            &[1]
        };
        let decades = self.low.log10().floor() as i32..=self.high.log10().ceil() as i32;
        decades
            .flat_map(|d| (1..10).map(move |m| (m, f64::from(m) * 10f64.powi(d))))
            .filter(|(_, value)| self.holds(*value))
            .map(|(m, value)| {
                (
                    value,
                    if named.contains(&m) {
                        format!("{value}")
                    } else {
                        String::new()
                    },
                )
            })
            .collect()
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is not below `at_least`.
fn round_step(at_least: f64) -> f64 {
    if !at_least.is_finite() || at_least <= 0.0 {
        return 1.0;
    }
    let power = 10f64.powf(at_least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= at_least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_round_and_inside() {
        let ticks = Axis::linear(-0.13, 1.62, 50.0).ticks(300.0);
        let labels: Vec<&str> = ticks.iter().map(|t| t.1.as_str()).collect();
        assert_eq!(labels, ["0.0", "0.5", "1.0", "1.5"]);
        let ticks = Axis::linear(-30.0, 10.0, 50.0).ticks(200.0);
        let labels: Vec<&str> = ticks.iter().map(|t| t.1.as_str()).collect();
        assert_eq!(labels, ["−30", "−20", "−10", "0", "10"]);
    }

    #[test]
    fn decades_are_named_by_one_two_five() {
        let ticks = Axis::logarithmic(0.5, 300.0).ticks(600.0);
        let labels: Vec<&str> = ticks
            .iter()
            .map(|t| t.1.as_str())
            .filter(|l| !l.is_empty())
            .collect();
        assert_eq!(labels, ["0.5", "1", "2", "5", "10", "20", "50", "100", "200"]);
        assert_eq!(ticks.len(), 5 + 9 + 9 + 3); // 0.5–0.9, 1–9, 10–90, 100–300
    }

    #[test]
    fn a_range_without_extent_still_draws() {
        let axis = Axis::around([2.0, 2.0].into_iter(), 0.1, 40.0);
        assert!(axis.holds(2.0) && (axis.share(2.0) - 0.5).abs() < 1e-12);
        assert!(Axis::around([f64::NAN].into_iter(), 0.1, 40.0).high.is_finite());
    }
}
