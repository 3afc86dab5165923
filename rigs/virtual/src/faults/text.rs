//! A fault as one line of text: `KIND at START [size SIZE]`, such as `clamp-slip at 1.5 s size 0.2 N·m`.

use std::fmt;

use settings_file::{AmountError, Time, nearest, parse_quantity, write_number};

use super::{Fault, FaultKind, KINDS, KindInfo, LATEST_START_S, ticks};

/// How a fault is written.
const FORM: &str = "write it like \"clamp-slip at 1.5 s size 0.2 N·m\"";

/// Why a text is not a fault.
#[derive(Debug, Clone, PartialEq)]
pub enum FaultTextError {
    /// A kind that nobody knows; the nearest ones, or all where none is near.
    UnknownKind {
        /// What was written.
        written: String,
        /// Kinds that may have been meant.
        near: Vec<&'static str>,
    },
    /// No `at` with a time behind the kind.
    NoStart {
        /// What stands there instead.
        found: String,
    },
    /// The start is no time.
    Start {
        /// What was written.
        written: String,
        /// What is wrong.
        why: AmountError,
    },
    /// The start is outside its range.
    StartOutside {
        /// What was written.
        written: String,
    },
    /// The kind needs a size.
    NoSize(&'static KindInfo),
    /// The kind has no size.
    NeedsNoSize(&'static KindInfo),
    /// The size is not of the kind's quantity.
    Size {
        /// The kind.
        info: &'static KindInfo,
        /// What was written.
        written: String,
        /// What is wrong.
        why: AmountError,
    },
    /// The size is outside its range.
    SizeOutside {
        /// The kind.
        info: &'static KindInfo,
        /// What was written.
        written: String,
    },
    /// The size may be left out only for a drive whose teeth are known.
    NoTeeth(&'static KindInfo),
}

impl fmt::Display for FaultTextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownKind { written, near } if near.len() == KINDS.len() => {
                write!(
                    f,
                    "no fault is called \"{written}\"; the kinds are {}",
                    near.join(", ")
                )
            }
            Self::UnknownKind { written, near } => {
                write!(
                    f,
                    "no fault is called \"{written}\"; did you mean {}?",
                    near.join(", ")
                )
            }
            Self::NoStart { found } if found.is_empty() => write!(f, "it does not say when; {FORM}"),
            Self::NoStart { found } => write!(f, "\"{found}\" where \"at\" and a time are due; {FORM}"),
            Self::Start { written, why } => write!(f, "the start \"{written}\" {why}; {FORM}"),
            Self::StartOutside { written } => write!(
                f,
                "the start \"{written}\" is outside 0 to {} s after the rig is switched on",
                write_number(LATEST_START_S)
            ),
            Self::NoSize(info) => {
                write!(f, "{} needs a size: {}; {FORM}", info.word, info.size_text())
            }
            Self::NeedsNoSize(info) => write!(f, "{} has no size; leave it out", info.word),
            Self::Size { info, written, why } => {
                write!(
                    f,
                    "the size \"{written}\" of {} {why}; allowed: {}",
                    info.word,
                    info.size_text()
                )
            }
            Self::SizeOutside { info, written } => write!(
                f,
                "the size \"{written}\" of {} is outside its range; allowed: {}",
                info.word,
                info.size_text()
            ),
            Self::NoTeeth(info) => write!(
                f,
                "{} needs a size here, as virtual.drive.teeth is not given; allowed: {}",
                info.word,
                info.size.map_or_else(String::new, |size| size.range_text())
            ),
        }
    }
}

impl std::error::Error for FaultTextError {}

impl Fault {
    /// Reads `KIND at START [size SIZE]`, START counted from when the rig is switched on. `tooth_rad` is what a belt
    /// slips by where no size is given.
    ///
    /// # Errors
    /// What is wrong, with what is allowed.
    ///
    /// ```
    /// use virtual_rig::{Fault, FaultKind};
    /// let fault = Fault::from_text("clamp-slip at 1.5 s size 200 mN·m", None).unwrap();
    /// assert_eq!((fault.kind, fault.start_tick), (FaultKind::ClampSlip, 1_500_000));
    /// assert_eq!(fault.to_string(), "clamp-slip at 1.5 s size 0.2 N·m");
    /// let error = Fault::from_text("clamp-slips at 1.5 s", None).unwrap_err();
    /// assert!(error.to_string().contains("did you mean clamp-slip"));
    /// ```
    pub fn from_text(text: &str, tooth_rad: Option<f64>) -> Result<Self, FaultTextError> {
        let text = text.trim();
        let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let info =
            KINDS
                .iter()
                .find(|info| info.word == word)
                .ok_or_else(|| FaultTextError::UnknownKind {
                    written: word.to_owned(),
                    near: near(word),
                })?;
        let no_start = || FaultTextError::NoStart {
            found: rest.trim().to_owned(),
        };
        let times = rest
            .trim()
            .strip_prefix("at")
            .filter(|times| times.starts_with(char::is_whitespace))
            .ok_or_else(no_start)?;
        let (start, size) = match times.split_once(" size") {
            Some((start, size)) => (start.trim(), Some(size.trim())),
            None => (times.trim(), None),
        };
        let start_s = parse_quantity::<Time>(start)
            .map_err(|why| FaultTextError::Start {
                written: start.to_owned(),
                why,
            })?
            .si;
        if !(0.0..=LATEST_START_S).contains(&start_s) {
            return Err(FaultTextError::StartOutside {
                written: start.to_owned(),
            });
        }
        Ok(Self {
            kind: info.kind,
            start_tick: ticks(start_s),
            size: size_of(info, size, tooth_rad)?,
        })
    }
}

fn size_of(
    info: &'static KindInfo,
    written: Option<&str>,
    tooth_rad: Option<f64>,
) -> Result<f64, FaultTextError> {
    match (&info.size, written) {
        (None, None) => Ok(0.0),
        (None, Some(_)) => Err(FaultTextError::NeedsNoSize(info)),
        (Some(size), None) if size.left_out.is_some() => tooth_rad.ok_or(FaultTextError::NoTeeth(info)),
        (Some(_), None) => Err(FaultTextError::NoSize(info)),
        (Some(size), Some(written)) => {
            let si = size.quantity.parse(written).map_err(|why| FaultTextError::Size {
                info,
                written: written.to_owned(),
                why,
            })?;
            let [low, high] = size.range;
            if (low..=high).contains(&si) {
                Ok(si)
            } else {
                Err(FaultTextError::SizeOutside {
                    info,
                    written: written.to_owned(),
                })
            }
        }
    }
}

/// The kinds that `word` may have been meant to be: a slip of the pen, or one that shares a part with it; all where
/// there is none.
fn near(word: &str) -> Vec<&'static str> {
    let words = || KINDS.iter().map(|info| info.word);
    if let Some(found) = nearest(word, words()) {
        return vec![found];
    }
    let shares = |other: &str| {
        word.split(['-', '_', ' '])
            .filter(|part| part.len() > 2)
            .any(|part| {
                other
                    .split('-')
                    .any(|own| own.starts_with(part) || part.starts_with(own))
            })
    };
    let sharing: Vec<&str> = words().filter(|other| shares(other)).collect();
    if sharing.is_empty() {
        words().collect()
    } else {
        sharing
    }
}

impl fmt::Display for Fault {
    /// As [`Fault::from_text`] reads it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let info: &KindInfo = FaultKind::info(self.kind);
        write!(f, "{} at {} s", info.word, self.start_tick as f64 / 1e6)?;
        match &info.size {
            Some(size) => write!(f, " size {}", size.quantity.show(self.size)),
            None => Ok(()),
        }
    }
}
