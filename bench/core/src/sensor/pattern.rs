//! Where in a line the torque stands.
//!
//! A pattern is the line as the instrument writes it, with `{torque}` in place of the number and `{*}` in place of anything that
//! changes and does not matter, up to where what stands behind it comes for the first time. A space stands for any number of blanks, none included; everything else stands for itself. The whole line
//! must fit: a unit written into the pattern is checked in every line.
//!
//! ```
//! use bench_core::sensor::Pattern;
//! let pattern: Pattern = "{*},{*}, {torque} N.m".parse().unwrap();
//! assert_eq!(pattern.read("ST,GS,  -1.250 N.m"), Ok(-1.25));
//! assert!(pattern.read("ST,GS,  -1.250 kg.m").is_err());
//! ```

use alloc::string::{String, ToString};
use alloc::vec::Vec;

/// Longest pattern, bytes.
const LONGEST: usize = 128;

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Literal(String),
    Blanks,
    Torque,
    Anything,
}

/// A pattern. See the module's text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    text: String,
    parts: Vec<Part>,
}

/// What is wrong with a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatternError {
    /// Longer than a line of an instrument.
    TooLong,
    /// No `{torque}`, or more than one.
    NotOneTorque,
    /// A `{` without its `}`, or another word between them.
    UnknownField,
    /// `{*}` right before another field: where does it end?
    FieldsTouch,
}

impl core::fmt::Display for PatternError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::TooLong => "longer than 128 bytes",
            Self::NotOneTorque => "not exactly one {torque}",
            Self::UnknownField => "a field that is neither {torque} nor {*}",
            Self::FieldsTouch => "two fields without anything between them",
        })
    }
}

impl core::error::Error for PatternError {}

impl core::str::FromStr for Pattern {
    type Err = PatternError;

    fn from_str(text: &str) -> Result<Self, PatternError> {
        if text.len() > LONGEST {
            return Err(PatternError::TooLong);
        }
        let mut parts: Vec<Part> = Vec::new();
        let mut rest = text.trim();
        while let Some(first) = rest.chars().next() {
            let (part, behind) = if first == '{' {
                let fields = [("{torque}", Part::Torque), ("{*}", Part::Anything)];
                let known = fields
                    .into_iter()
                    .find_map(|(word, part)| Some((part, rest.strip_prefix(word)?)));
                known.ok_or(PatternError::UnknownField)?
            } else if first.is_whitespace() {
                (Part::Blanks, rest.trim_start())
            } else {
                let end = rest
                    .find(|c: char| c == '{' || c.is_whitespace())
                    .unwrap_or(rest.len());
                let (literal, behind) = rest.split_at(end);
                (Part::Literal(literal.to_string()), behind)
            };
            parts.push(part);
            rest = behind;
        }
        if parts.iter().filter(|part| **part == Part::Torque).count() != 1 {
            return Err(PatternError::NotOneTorque);
        }
        let field = |part: &Part| matches!(part, Part::Torque | Part::Anything);
        if parts.windows(2).any(|two| two.iter().all(field)) {
            return Err(PatternError::FieldsTouch);
        }
        Ok(Self {
            text: text.to_string(),
            parts,
        })
    }
}

impl core::fmt::Display for Pattern {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.text)
    }
}

impl Default for Pattern {
    /// The number alone.
    fn default() -> Self {
        Self {
            text: "{torque}".to_string(),
            parts: Vec::from([Part::Torque]),
        }
    }
}

impl Pattern {
    /// The number in a line, as written.
    ///
    /// # Errors
    /// What of the line does not fit.
    pub fn read(&self, line: &str) -> Result<f64, &'static str> {
        let mut rest = line.trim();
        let mut found = None;
        for (place, part) in self.parts.iter().enumerate() {
            match part {
                Part::Literal(literal) => {
                    rest = rest.strip_prefix(literal.as_str()).ok_or("other words")?;
                }
                Part::Blanks => rest = rest.trim_start(),
                Part::Torque => {
                    let (number, behind) = number(rest).ok_or("no number where the torque should be")?;
                    found = Some(number);
                    rest = behind;
                }
                Part::Anything => rest = self.skip(place, rest)?,
            }
        }
        match found {
            Some(torque) if rest.is_empty() => Ok(torque),
            Some(_) => Err("more than the pattern has"),
            None => Err("no torque"),
        }
    }

    /// Past anything, up to what stands behind it in the pattern for the first time.
    fn skip<'a>(&self, place: usize, rest: &'a str) -> Result<&'a str, &'static str> {
        let end = match self.parts.get(place + 1) {
            Some(Part::Literal(literal)) => rest.find(literal.as_str()),
            Some(Part::Blanks) => Some(rest.find(char::is_whitespace).unwrap_or(rest.len())),
            _ => Some(rest.len()),
        };
        rest.get(end.ok_or("other words")?..).ok_or("other words")
    }
}

/// The number that a text begins with, and what is behind it: sign, which blanks may follow, digits, a fraction, an exponent.
pub fn number(text: &str) -> Option<(f64, &str)> {
    let (sign, unsigned) = match text.strip_prefix(['+', '-']) {
        Some(unsigned) => (
            if text.starts_with('-') { -1.0 } else { 1.0 },
            unsigned.trim_start(),
        ),
        None => (1.0, text),
    };
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let whole = digits(unsigned);
    let mut end = whole;
    let behind = |end: usize| unsigned.get(end..).unwrap_or_default();
    if let Some(fraction) = behind(end).strip_prefix('.') {
        let places = digits(fraction);
        if whole + places == 0 {
            return None;
        }
        end += 1 + places;
    } else if whole == 0 {
        return None;
    }
    if let Some(exponent) = behind(end).strip_prefix(['e', 'E']) {
        let signed = usize::from(exponent.starts_with(['+', '-']));
        let places = digits(exponent.get(signed..).unwrap_or_default());
        if places > 0 {
            end += 1 + signed + places;
        }
    }
    let value: f64 = unsigned.get(..end)?.parse().ok()?;
    value.is_finite().then_some((sign * value, behind(end)))
}

#[cfg(test)]
mod tests {
    use super::{Pattern, PatternError, number};

    fn pattern(text: &str) -> Pattern {
        text.parse().unwrap()
    }

    #[test]
    fn numbers_as_instruments_write_them() {
        let cases = [
            ("1.5", 1.5, ""),
            ("-  12.50 N", -12.5, " N"),
            ("+0.3e-2V", 0.003, "V"),
            (".25;", 0.25, ";"),
            ("7.", 7.0, ""),
            ("3E", 3.0, "E"),
            ("-4.0e+1x", -40.0, "x"),
        ];
        for (text, value, rest) in cases {
            let (found, behind) = number(text).unwrap();
            assert!(
                (found - value).abs() < 1e-12 && behind == rest,
                "{text}: {found} {behind:?}"
            );
        }
        for text in ["", "-", ".", "OL", "--1", "e5", "1e999"] {
            assert_eq!(number(text), None, "{text}");
        }
    }

    #[test]
    fn the_whole_line_must_fit() {
        let with_unit = pattern("{torque} N·m");
        assert_eq!(with_unit.read("  1.25N·m "), Ok(1.25));
        assert_eq!(with_unit.read("1.25 kN·m"), Err("other words"));
        assert_eq!(with_unit.read("1.25 N·m 7"), Err("more than the pattern has"));
        assert_eq!(
            with_unit.read("OL N·m"),
            Err("no number where the torque should be")
        );
        let fields = pattern("T={torque};F={*};S={*}");
        assert_eq!(fields.read("T=-0.5;F=12.1;S=OK"), Ok(-0.5));
        assert_eq!(fields.read("T=-0.5;F=12.1"), Err("other words"));
        assert_eq!(pattern("{*} {torque}").read("CH1   3.5"), Ok(3.5));
    }

    #[test]
    fn what_is_no_pattern_is_refused() {
        let cases = [
            ("N·m", PatternError::NotOneTorque),
            ("{torque} {torque}", PatternError::NotOneTorque),
            ("{torque}{*}", PatternError::FieldsTouch),
            ("{force}", PatternError::UnknownField),
            ("{torque", PatternError::UnknownField),
        ];
        for (text, error) in cases {
            assert_eq!(text.parse::<Pattern>(), Err(error), "{text}");
        }
        let long = alloc::format!("{{torque}}{}", "x".repeat(200));
        assert_eq!(long.parse::<Pattern>(), Err(PatternError::TooLong));
    }
}
