//! Which lines of a multisine's period carry power.

use alloc::{format, string::String, vec::Vec};
use core::fmt;
use settings_file::{Frequency, Place, Section, write_number};

use crate::{
    plan::Random,
    procedure::Placed,
    rig::words,
    units::{US_PER_S, s_from_us},
};

words! {
    /// How lines are chosen.
    LineChoice {
        /// Every line of a band that is a multiple of the spacing.
        Spaced = "spaced",
        /// Every odd line of a band.
        Odd = "odd",
        /// The odd lines of a band without one of each group, drawn by the seed.
        OddRandom = "odd-random",
        /// The frequencies that are listed.
        Listed = "listed",
    }
}

/// The lines of a multisine: multiples of one over its period.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Lines {
    /// The multiples of `spacing` from `first` to `last`.
    Spaced {
        /// Lowest line of the band.
        first: u32,
        /// Highest line of the band.
        last: u32,
        /// From one line to the next.
        spacing: u32,
    },
    /// Odd lines from `first` to `last`; of each whole group of `group` neighbours one is left out at random, none where
    /// `group` is 0 (random odd grid; Pintelon and Schoukens, System Identification, 2nd ed., 4.3.1).
    Odd {
        /// Lowest line of the band.
        first: u32,
        /// Highest line of the band.
        last: u32,
        /// Lines in a group.
        group: u32,
    },
    /// These, ascending.
    Listed(Vec<u32>),
}

/// How far a frequency may be off a multiple of one over the period, as a share of it: rounding of a decimal.
const OFF: f64 = 1e-9;

impl Lines {
    /// Reads `lines` and what belongs to it; without a period, µs, that is right in itself nothing can be said of them.
    pub(super) fn read(s: &Section<'_>, period_us: Option<u64>) -> Self {
        let choice = s.choice("lines", LineChoice::WORDS);
        let (Some(choice), Some(period_s)) = (choice, period_us.map(s_from_us)) else {
            // Which keys belong here depends on the choice.
            for key in ["from", "to", "spacing", "group", "frequencies"] {
                s.leave_to_others(key);
            }
            return Self::Listed(Vec::new());
        };
        if choice == LineChoice::Listed {
            return Self::listed(s, period_s);
        }
        let from_hz = s.quantity::<Frequency>("from", 0.01..=5e3);
        let to_hz = s.quantity::<Frequency>("to", 0.01..=1e4);
        let both = s.has("from") && s.has("to");
        if both && to_hz < from_hz {
            let allowed = Some(format!("{} Hz or more", write_number(from_hz)));
            s.report(
                "to",
                "below the lowest frequency",
                allowed,
                "raise it, or lower `from`",
            );
        }
        let first = libm::ceil(from_hz * period_s * (1.0 - OFF)).max(1.0) as u32;
        let last = libm::floor(to_hz * period_s * (1.0 + OFF)) as u32;
        let lines = match choice {
            LineChoice::Spaced | LineChoice::Listed => Self::Spaced {
                first,
                last,
                spacing: spacing(s, period_s),
            },
            LineChoice::Odd => Self::Odd {
                first,
                last,
                group: 0,
            },
            LineChoice::OddRandom => Self::Odd {
                first,
                last,
                group: u32::try_from(s.integer_or("group", 2..=10, 3)).unwrap_or(3),
            },
        };
        if both && from_hz <= to_hz && lines.chosen(&mut Random::new(0)).is_empty() {
            let allowed = Some(format!(
                "a band that holds {}",
                match lines {
                    Self::Spaced { spacing, .. } =>
                        format!("a multiple of {} Hz", show_hz(spacing, period_s)),
                    _ => format!("an odd multiple of {} Hz", show_hz(1, period_s)),
                }
            ));
            let problem = "no line of this period lies in the band";
            s.report("to", problem, allowed, "widen the band, or lengthen `period`");
        }
        lines
    }

    fn listed(s: &Section<'_>, period_s: f64) -> Self {
        let Some(entry) = s.entry("frequencies", "[\"1 Hz\", \"3 Hz\", …]") else {
            return Self::Listed(Vec::new());
        };
        let mut lines: Vec<u32> = Vec::new();
        for element in entry.elements(1..=10_000) {
            let f_hz = element.quantity::<Frequency>(0.01..=1e4);
            let line = whole_line(f_hz, period_s).unwrap_or_else(|nearest| {
                let problem = format!("no multiple of {} Hz, one over the period", show_hz(1, period_s));
                let nearest = show_hz(nearest, period_s);
                let allowed = Some(format!("the nearest is {nearest} Hz"));
                element.report(
                    problem,
                    allowed,
                    format!("write \"{nearest} Hz\", or change `period`"),
                );
                0
            });
            if line > 0 && lines.contains(&line) {
                element.report("listed twice", None, "remove it");
            }
            lines.push(line);
        }
        lines.retain(|line| *line > 0);
        lines.sort_unstable();
        lines.dedup();
        Self::Listed(lines)
    }

    /// The lines that carry power, ascending; random ones are drawn.
    pub(super) fn chosen(&self, random: &mut Random) -> Vec<u32> {
        match self {
            Self::Listed(lines) => lines.clone(),
            Self::Spaced { first, last, spacing } => {
                (*first..=*last).filter(|line| line % spacing == 0).collect()
            }
            Self::Odd { first, last, group } => {
                let odd: Vec<u32> = (*first..=*last).filter(|line| line % 2 == 1).collect();
                if *group < 2 {
                    return odd;
                }
                let mut lines = Vec::with_capacity(odd.len());
                for part in odd.chunks(*group as usize) {
                    // A short group at the end keeps all its lines.
                    let left_out =
                        (part.len() == *group as usize).then(|| random.up_to(u64::from(*group) - 1) as usize);
                    let kept = part.iter().enumerate().filter(|(i, _)| Some(*i) != left_out);
                    lines.extend(kept.map(|(_, line)| *line));
                }
                lines
            }
        }
    }

    /// The highest line of the band, whether it carries power or not; 0 for none.
    pub(super) fn last(&self) -> u32 {
        match self {
            Self::Listed(lines) => lines.last().copied().unwrap_or(0),
            Self::Spaced { last, .. } | Self::Odd { last, .. } => *last,
        }
    }

    /// Where the highest frequency stands in the file.
    pub(super) fn place(&self, s: &Section<'_>) -> Place {
        match self {
            Self::Listed(_) => s.place("frequencies"),
            _ => s.place("to"),
        }
    }
}

/// The multiple of one over the period that a frequency is, or the nearest one.
fn whole_line(f_hz: f64, period_s: f64) -> Result<u32, u32> {
    let lines = f_hz * period_s;
    let nearest = libm::round(lines).max(1.0);
    if (lines - nearest).abs() <= OFF * nearest {
        Ok(nearest as u32)
    } else {
        Err(nearest as u32)
    }
}

fn show_hz(line: u32, period_s: f64) -> String {
    write_number(f64::from(line) / period_s)
}

/// `spacing` in lines; 1 where left out.
fn spacing(s: &Section<'_>, period_s: f64) -> u32 {
    let Some(spacing_hz) = s.optional_quantity::<Frequency>("spacing", 0.001..=1e3) else {
        return 1;
    };
    whole_line(spacing_hz, period_s).unwrap_or_else(|nearest| {
        let problem = format!("no multiple of {} Hz, one over the period", show_hz(1, period_s));
        let nearest_hz = show_hz(nearest, period_s);
        let allowed = Some(format!("the nearest is {nearest_hz} Hz"));
        s.report(
            "spacing",
            problem,
            allowed,
            format!("write \"{nearest_hz} Hz\", or change `period`"),
        );
        nearest
    })
}

/// The highest frequency of a period's line with its place, for the checks against a rig.
pub(super) fn highest(lines: &Lines, period_us: u64, place: Place) -> Placed<f64> {
    Placed {
        value: f64::from(lines.last()) * US_PER_S / period_us.max(1) as f64,
        place,
    }
}
