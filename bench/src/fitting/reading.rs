//! Numbers as a person reads them: as many digits as the uncertainty bears, in the unit of the trade.

use serde::{Deserialize, Serialize};
use truerim_analysis::estimate::Estimate;

/// The unit a person reads a quantity in. Values stay SI until they are written out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ShownIn {
    /// ms, from s.
    Milliseconds,
    /// Hz.
    Hertz,
    /// N·m.
    NewtonMetres,
    /// N·m/ms, from N·m/s.
    NewtonMetresPerMillisecond,
    /// N·m/rad.
    NewtonMetresPerRadian,
    /// N·m·s/rad.
    NewtonMetreSecondsPerRadian,
    /// kg·m².
    KilogramSquareMetres,
    /// °, from rad.
    Degrees,
    /// rad/s.
    RadiansPerSecond,
    /// %, from a share.
    Percent,
    /// mN·m, from N·m.
    Millinewtonmetres,
    /// s.
    Seconds,
    /// °C.
    Celsius,
    /// N.
    Newtons,
    /// A number without unit.
    Plain,
}

impl ShownIn {
    /// The unit as written; empty for a plain number.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Milliseconds => "ms",
            Self::Hertz => "Hz",
            Self::NewtonMetres => "N·m",
            Self::NewtonMetresPerMillisecond => "N·m/ms",
            Self::NewtonMetresPerRadian => "N·m/rad",
            Self::NewtonMetreSecondsPerRadian => "N·m·s/rad",
            Self::KilogramSquareMetres => "kg·m²",
            Self::Degrees => "°",
            Self::RadiansPerSecond => "rad/s",
            Self::Percent => "%",
            Self::Millinewtonmetres => "mN·m",
            Self::Seconds => "s",
            Self::Celsius => "°C",
            Self::Newtons => "N",
            Self::Plain => "",
        }
    }

    /// What an SI value is multiplied by.
    pub fn factor(self) -> f64 {
        match self {
            Self::Milliseconds | Self::Millinewtonmetres => 1e3,
            Self::Percent => 1e2,
            Self::Degrees => 180.0 / std::f64::consts::PI,
            Self::NewtonMetresPerMillisecond => 1e-3,
            Self::Hertz
            | Self::NewtonMetres
            | Self::NewtonMetresPerRadian
            | Self::NewtonMetreSecondsPerRadian
            | Self::KilogramSquareMetres
            | Self::RadiansPerSecond
            | Self::Seconds
            | Self::Celsius
            | Self::Newtons
            | Self::Plain => 1.0,
        }
    }
}

/// One estimate written out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// The value.
    pub value: String,
    /// Half width of the interval, or the wider side of an interval that is not symmetrical.
    pub half_width: String,
    /// Lower end of the interval.
    pub low: String,
    /// Upper end of the interval.
    pub high: String,
    /// Whether the interval lies evenly around the value, so that `value ± half_width` says it all.
    pub symmetrical: bool,
    /// The unit; empty for a plain number.
    pub unit: &'static str,
}

impl Reading {
    /// Writes out `estimate` in the unit of `shown_in`.
    pub fn of(estimate: &Estimate, shown_in: ShownIn) -> Self {
        let k = shown_in.factor();
        let [low, high] = estimate.interval;
        Self::from_interval(k * estimate.value, k * low, k * high, shown_in.unit())
    }

    /// Writes out `value` with its interval, both already in `unit`.
    pub fn from_interval(value: f64, low: f64, high: f64, unit: &'static str) -> Self {
        let (below, above) = (value - low, high - value);
        let half = below.abs().max(above.abs());
        let places = decimals(half).unwrap_or_else(|| decimals_of_value(value));
        let write = |x: f64| fixed(x, places);
        Self {
            value: write(value),
            half_width: write(half),
            low: write(low),
            high: write(high),
            symmetrical: (below - above).abs() <= 0.05 * half,
            unit,
        }
    }

    /// What stands in the ± column: the half width, or the interval where it is not symmetrical.
    pub fn spread(&self) -> String {
        if self.symmetrical {
            self.half_width.clone()
        } else {
            self.interval()
        }
    }

    /// The interval in words, without unit.
    pub fn interval(&self) -> String {
        format!("{} to {}", self.low, self.high)
    }

    /// The unit with the space before it; a percent sign too takes a space (ISO 80000-1).
    pub fn spaced_unit(&self) -> String {
        if self.unit.is_empty() {
            String::new()
        } else {
            format!("\u{a0}{}", self.unit)
        }
    }
}

impl std::fmt::Display for Reading {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let unit = if self.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", self.unit)
        };
        if self.symmetrical {
            write!(f, "{} ± {}{unit}", self.value, self.half_width)
        } else {
            write!(f, "{} ({}){unit}", self.value, self.interval())
        }
    }
}

/// Decimal places that leave two significant digits of `u`; negative when they end before the decimal point, `None`
/// when `u` is zero or not finite.
fn decimals(u: f64) -> Option<i32> {
    if !u.is_finite() || u <= 0.0 {
        return None;
    }
    let exponent = u.log10().floor() as i32;
    let places = 1 - exponent;
    // 0.0996 rounds up to 0.10: one place fewer keeps it at two digits.
    let rounded = (u * 10f64.powi(places)).round();
    Some(if rounded >= 100.0 { places - 1 } else { places })
}

/// Decimal places of a value that is stated without uncertainty: four significant digits.
fn decimals_of_value(value: f64) -> i32 {
    if value.abs() > 0.0 && value.is_finite() {
        3 - value.abs().log10().floor() as i32
    } else {
        0
    }
}

/// `x` with `places` decimal places; negative places round to tens, hundreds, …
fn fixed(x: f64, places: i32) -> String {
    let text = match usize::try_from(places.min(12)) {
        Ok(places) => format!("{x:.places$}"),
        Err(_) => {
            let scale = 10f64.powi(-places);
            format!("{:.0}", (x / scale).round() * scale)
        }
    };
    // No "-0.00", and a minus sign that reads as one.
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => text,
    }
}

/// A value without uncertainty (a setting, a declared value) to `digits` significant digits, trailing zeros dropped.
pub fn plain(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return "—".into();
    }
    if value.abs() < f64::MIN_POSITIVE {
        return "0".into();
    }
    let text = fixed(value, digits - 1 - value.abs().log10().floor() as i32);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn say(value: f64, half: f64, unit: &'static str) -> String {
        Reading::from_interval(value, value - half, value + half, unit).to_string()
    }

    // Expected strings were worked out by hand from JCGM 100, 7.2.6: two digits of the uncertainty, value to match.
    #[test]
    fn digits_follow_the_uncertainty() {
        assert_eq!(say(4.0312, 0.087, "ms"), "4.031 ± 0.087 ms");
        assert_eq!(say(93.4567, 1.26, "Hz"), "93.5 ± 1.3 Hz");
        assert_eq!(say(61.249, 0.0996, "%"), "61.25 ± 0.10 %");
        assert_eq!(say(1234.5, 118.0, "Hz"), "1230 ± 120 Hz");
        assert_eq!(say(1234.6, 9.96, "Hz"), "1235 ± 10 Hz");
        assert_eq!(say(0.043_21, 0.000_41, ""), "0.04321 ± 0.00041");
        assert_eq!(say(-0.0004, 0.12, "ms"), "0.00 ± 0.12 ms");
        assert_eq!(say(-2.5, 0.12, "N·m"), "−2.50 ± 0.12 N·m");
    }

    #[test]
    fn a_value_without_uncertainty_keeps_four_digits() {
        assert_eq!(say(3.5, 0.0, "ms"), "3.500 ± 0.000 ms");
    }

    #[test]
    fn an_uneven_interval_is_written_out() {
        let r = Reading::from_interval(0.2887, 0.2501, 0.3402, "ms");
        assert_eq!(r.to_string(), "0.289 (0.250 to 0.340) ms");
        assert_eq!(r.spread(), "0.250 to 0.340");
    }

    #[test]
    fn plain_values_drop_trailing_zeros() {
        assert_eq!(plain(1.4, 3), "1.4");
        assert_eq!(plain(3333.333, 3), "3330");
        assert_eq!(plain(0.0, 3), "0");
        assert_eq!(plain(-0.35, 3), "−0.35");
        assert_eq!(plain(f64::NAN, 3), "—");
        assert_eq!(plain(20.0, 3), "20");
        assert_eq!(plain(400.0, 3), "400");
    }

    #[test]
    fn estimates_are_read_in_the_unit_of_the_trade() {
        use truerim_analysis::estimate::{Contribution, Estimate};
        let budget = vec![Contribution::type_b("declared", 0.000_044_4)];
        let e = Estimate::from_budget(0.004_031_2, "s", 1, "hand", budget).unwrap();
        // 1.959964 · 0.0444 ms = 0.0870 ms.
        assert_eq!(
            Reading::of(&e, ShownIn::Milliseconds).to_string(),
            "4.031 ± 0.087 ms"
        );
    }
}
