//! A number with its unit, read into SI and printed again.

use alloc::{format, string::String, vec::Vec};
use core::fmt;

use crate::units::ALL;

/// A unit: its symbol, other ways to write it, and its size in SI as `value · mul / div`.
///
/// Two factors rather than one keep decimal units exact: 250 µs is 250 / 1,000,000, correctly rounded.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// The symbol that messages use.
    pub symbol: &'static str,
    /// Other accepted spellings.
    pub also: &'static [&'static str],
    /// Multiplier towards SI.
    pub mul: f64,
    /// Divisor towards SI.
    pub div: f64,
}

impl Unit {
    /// `value` of this unit in SI.
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.mul / self.div
    }

    /// An SI value in this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        si * self.div / self.mul
    }

    fn is_written(&self, text: &str) -> bool {
        let text = normalise(text);
        normalise(self.symbol) == text || self.also.iter().any(|s| normalise(s) == text)
    }
}

/// A kind of quantity with its units, the SI one first. Temperatures stay in °C and ratios in 1.
pub trait Quantity {
    /// What messages call it.
    const NAME: &'static str;
    /// A value as it may be written.
    const EXAMPLE: &'static str;
    /// Accepted units; never empty.
    const UNITS: &'static [Unit];
}

/// A quantity read from text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// Value in SI (°C for temperatures).
    pub si: f64,
    /// The unit it was written in.
    pub unit: &'static Unit,
}

/// Why a text is not a quantity of the wanted kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AmountError {
    /// No number at the beginning, or not one number.
    NoNumber,
    /// A decimal comma.
    Comma,
    /// A number that is infinite or beyond what can be held.
    NotFinite,
    /// A number without a unit; carries the accepted units.
    NoUnit(String),
    /// A unit that nobody knows; carries the unit and the accepted ones.
    UnknownUnit(String, String),
    /// A unit of another kind of quantity; carries the unit, that kind, and the accepted units.
    OtherQuantity(String, &'static str, String),
}

impl fmt::Display for AmountError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoNumber => write!(f, "does not begin with a number"),
            Self::Comma => write!(f, "has a comma in its number; write a decimal point"),
            Self::NotFinite => write!(f, "is not a finite number"),
            Self::NoUnit(units) => write!(f, "has no unit; write it with one of {units}"),
            Self::UnknownUnit(unit, units) => {
                write!(f, "has the unknown unit \"{unit}\"; write it with one of {units}")
            }
            Self::OtherQuantity(unit, other, units) => {
                write!(
                    f,
                    "has the unit \"{unit}\" of a {other}; write it with one of {units}"
                )
            }
        }
    }
}

impl core::error::Error for AmountError {}

/// One spelling for the many ways to write a unit: ASCII, `.` between factors, plain digits as powers.
fn normalise(unit: &str) -> String {
    let mut out = String::with_capacity(unit.len());
    for c in unit.chars() {
        match c {
            '·' | '⋅' | '*' | '.' => out.push('.'),
            '²' => out.push('2'),
            '^' | ' ' | '\u{a0}' => {}
            'µ' | 'μ' => out.push('u'),
            '°' => out.push_str("deg"),
            'Ω' | '\u{2126}' => out.push_str("ohm"),
            c => out.push(c),
        }
    }
    out
}

/// Splits a text into its leading number and the rest, both trimmed.
fn split(text: &str) -> (&str, &str) {
    let mut end = 0;
    let mut chars = text.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        let exponent = matches!(c, 'e' | 'E')
            && chars
                .peek()
                .is_some_and(|(_, next)| next.is_ascii_digit() || matches!(next, '+' | '-' | '−'));
        if c.is_ascii_digit() || matches!(c, '+' | '-' | '−' | '.' | ',') || exponent {
            end = at + c.len_utf8();
        } else {
            break;
        }
    }
    let (number, unit) = text.split_at(end);
    (number, unit.trim())
}

/// Reads a quantity such as `7 N·m`, `-10 %` or `250us`: a number, then a unit of the wanted kind.
///
/// # Errors
/// Says which part is wrong; never panics, whatever the text.
///
/// ```
/// use settings_file::{parse_quantity, Torque};
/// assert_eq!(parse_quantity::<Torque>("250 mN·m").unwrap().si, 0.25);
/// assert!(parse_quantity::<Torque>("250").is_err());
/// ```
pub fn parse_quantity<Q: Quantity>(text: &str) -> Result<Amount, AmountError> {
    let (number, written) = split(text.trim());
    if number.is_empty() {
        return Err(AmountError::NoNumber);
    }
    if number.contains(',') {
        return Err(AmountError::Comma);
    }
    let value: f64 = number
        .replace('−', "-")
        .parse()
        .map_err(|_| AmountError::NoNumber)?;
    let units = || Q::UNITS.iter().map(|u| u.symbol).collect::<Vec<_>>().join(", ");
    if written.is_empty() {
        return Err(AmountError::NoUnit(units()));
    }
    let Some(unit) = Q::UNITS.iter().find(|u| u.is_written(written)) else {
        let other = ALL
            .iter()
            .find(|(_, list)| list.iter().any(|u| u.is_written(written)));
        return Err(match other {
            Some((name, _)) => AmountError::OtherQuantity(written.into(), name, units()),
            None => AmountError::UnknownUnit(written.chars().take(20).collect(), units()),
        });
    };
    let si = unit.to_si(value);
    if si.is_finite() {
        Ok(Amount { si, unit })
    } else {
        Err(AmountError::NotFinite)
    }
}

/// Prints an SI value in a unit with every digit it has, so that reading it again gives the same value (to the last
/// bit in the SI unit, to a few roundings in the others).
pub fn print_quantity(si: f64, unit: &Unit) -> String {
    format!("{} {}", unit.from_si(si), unit.symbol)
}

/// A number for people: at most six significant digits, no trailing zeros.
///
/// ```
/// assert_eq!(settings_file::write_number(0.1 + 0.2), "0.3");
/// assert_eq!(settings_file::write_number(1234.5678), "1234.57");
/// ```
pub fn write_number(value: f64) -> String {
    // Printing with five decimals of the mantissa and reading it back rounds without needing a power function.
    match format!("{value:.5e}").parse::<f64>() {
        Ok(rounded) if rounded.is_finite() && rounded != 0.0 => format!("{rounded}"),
        _ => format!("{}", value + 0.0),
    }
}
