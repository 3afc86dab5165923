//! Traces of torque from a file: recorded in a car or computed.
//!
//! The core reads no files: a procedure names them ([`Trace::file`]), whoever reads them supplies their samples
//! ([`crate::procedure::Procedure::with_traces`]), and a plan without them is refused.

use alloc::{format, string::String, sync::Arc, vec::Vec};
use settings_file::{Frequency, Section, write_number};

use super::{ExcitationKind, Timing, crest, spline::Spline};
use crate::{
    plan::{Against, Facts, Layout, SETPOINT_STRIDE_US, Shape},
    procedure::{Level, Placed, Sign, read_level},
    rig::Mounting,
    units::{s_from_us, show_nm, show_slew, show_us},
};

/// Fewest samples of a trace.
const FEWEST: usize = 16;
/// Longest trace, s.
const LONGEST_S: f64 = 600.0;
/// Longest time between two samples, s: 20 Hz and all above would be made up.
const WIDEST_S: f64 = 0.05;
/// Hold at the last torque while the rig rings down, µs; part of the window.
const AFTER_US: u64 = 200_000;
/// What a clamped drivetrain cannot follow without ringing is quicker than this, µs: one period of the lowest mode.
const SLOW_US: u64 = 33_000;

/// How the size of a trace is settled.
#[derive(Clone, Debug, PartialEq)]
pub enum Size {
    /// The file's torque times this.
    Scale(Placed<f64>),
    /// The greatest torque either way becomes this.
    Peak(Placed<Level>),
}

/// Where the time of a trace's samples comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum TraceTime {
    /// A column, and how many seconds its unit has.
    Column {
        /// Its name.
        name: Placed<String>,
        /// Its unit, s.
        unit_s: f64,
    },
    /// One row a period of this rate, Hz.
    Rate(f64),
}

/// Samples of a trace, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceSamples {
    t_s: Vec<f64>,
    torque: Vec<f64>,
    text: String,
}

/// Why a list of samples is no trace; `row` counts from 0.
#[derive(Clone, Debug, PartialEq)]
pub enum TraceProblem {
    /// Too few.
    Few {
        /// How many there are.
        count: usize,
        /// How many are needed.
        needed: usize,
    },
    /// A value that is no finite number.
    NotFinite {
        /// Its row.
        row: usize,
    },
    /// Time does not go on, or by less than a setpoint period.
    Close {
        /// The later row.
        row: usize,
        /// Time since the one before, s.
        step_s: f64,
    },
    /// Too long between two.
    Gap {
        /// The later row.
        row: usize,
        /// Time since the one before, s.
        step_s: f64,
        /// Longest allowed, s.
        most_s: f64,
    },
    /// Longer than a trace may be.
    Long {
        /// Its length, s.
        length_s: f64,
        /// Longest allowed, s.
        most_s: f64,
    },
}

impl TraceSamples {
    /// Checks samples: instants in s and torques in the file's unit, as long as each other (what is longer is cut).
    ///
    /// # Errors
    /// The first [`TraceProblem`].
    pub fn new(t_s: Vec<f64>, torque: Vec<f64>) -> Result<Self, TraceProblem> {
        let count = t_s.len().min(torque.len());
        if count < FEWEST {
            return Err(TraceProblem::Few {
                count,
                needed: FEWEST,
            });
        }
        let rows = t_s.iter().zip(&torque);
        if let Some(row) = rows
            .clone()
            .position(|(t, nm)| !(t.is_finite() && nm.is_finite()))
        {
            return Err(TraceProblem::NotFinite { row });
        }
        // Rounded to milliseconds or less, a step may look a little shorter than it is.
        let least_s = 0.9 * s_from_us(SETPOINT_STRIDE_US.into());
        for (row, pair) in (1..).zip(t_s.windows(2).take(count - 1)) {
            let step_s = pair[1] - pair[0];
            if step_s < least_s {
                return Err(TraceProblem::Close { row, step_s });
            }
            if step_s > WIDEST_S {
                let most_s = WIDEST_S;
                return Err(TraceProblem::Gap { row, step_s, most_s });
            }
        }
        let length_s = t_s[count - 1] - t_s[0];
        if length_s > LONGEST_S {
            let most_s = LONGEST_S;
            return Err(TraceProblem::Long { length_s, most_s });
        }
        Ok(Self {
            t_s,
            torque,
            text: String::new(),
        })
    }

    /// The same with the text that they were read from, so that a recording can keep it.
    #[must_use]
    pub fn of_text(self, text: String) -> Self {
        Self { text, ..self }
    }

    /// The text that they were read from; empty where they were not read from any.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Number of samples.
    pub fn count(&self) -> usize {
        self.t_s.len().min(self.torque.len())
    }

    /// Values at every setpoint from the first sample to the last, by a cubic spline through all samples.
    fn resampled(&self) -> Vec<f64> {
        let spline = Spline::natural(&self.t_s, &self.torque);
        let first_s = self.t_s.first().copied().unwrap_or(0.0);
        let length_s = self.t_s.last().copied().unwrap_or(0.0) - first_s;
        let stride_s = s_from_us(SETPOINT_STRIDE_US.into());
        let count = libm::floor(length_s / stride_s + 1e-6) as usize + 1;
        spline.on_grid(first_s, stride_s, count)
    }
}

/// A trace on the time line: values that are held for a setpoint period each.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceTorque {
    values_nm: Arc<[f64]>,
}

impl TraceTorque {
    /// The values, N·m.
    pub fn values_nm(&self) -> &[f64] {
        &self.values_nm
    }

    /// Length, µs.
    pub fn length_us(&self) -> u64 {
        self.values_nm.len() as u64 * u64::from(SETPOINT_STRIDE_US)
    }

    /// Torque `into_us` after the start, N·m; the last one for ever.
    pub fn at(&self, into_us: u64) -> f64 {
        let index = (into_us / u64::from(SETPOINT_STRIDE_US)) as usize;
        let last = self.values_nm.last();
        self.values_nm.get(index).or(last).copied().unwrap_or(0.0)
    }

    /// First and last torque, N·m.
    pub fn ends_nm(&self) -> [f64; 2] {
        [self.values_nm.first(), self.values_nm.last()].map(|v| v.copied().unwrap_or(0.0))
    }

    /// Greatest torque either way, N·m.
    pub fn peak_nm(&self) -> f64 {
        crest::peak(&self.values_nm)
    }

    /// Greatest change from one setpoint to the next, as a rate, N·m/s.
    pub fn steepest_nm_per_s(&self) -> f64 {
        let changes = self.values_nm.windows(2).map(|pair| (pair[1] - pair[0]).abs());
        changes.fold(0.0, f64::max) / s_from_us(SETPOINT_STRIDE_US.into())
    }

    /// Greatest distance from the mean over one period of the lowest clamped mode around each value, N·m: what may ring. The
    /// torque counts as held before and behind.
    pub fn quick_nm(&self) -> f64 {
        let half = (SLOW_US / 2 / u64::from(SETPOINT_STRIDE_US)) as usize;
        let mut sums = Vec::with_capacity(self.values_nm.len() + 2 * half + 1);
        let [first, last] = self.ends_nm();
        let held = |nm: f64| core::iter::repeat_n(nm, half);
        let mut sum = 0.0;
        sums.push(sum);
        for nm in held(first)
            .chain(self.values_nm.iter().copied())
            .chain(held(last))
        {
            sum += nm;
            sums.push(sum);
        }
        let width = 2 * half + 1;
        let means = sums
            .iter()
            .skip(width)
            .zip(&sums)
            .map(|(b, a)| (b - a) / width as f64);
        let beside = means
            .zip(self.values_nm.iter())
            .map(|(mean, nm)| (nm - mean).abs());
        beside.fold(0.0, f64::max)
    }
}

/// Repeats of a trace.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Trace {
    /// The file, as the procedure names it: relative to the procedure's own folder.
    pub file: Placed<String>,
    /// The column of torque.
    pub column: Placed<String>,
    /// What a value of that column is in N·m.
    pub unit_nm: f64,
    /// Where time comes from.
    pub time: TraceTime,
    /// Its size.
    pub size: Size,
    /// Repeats and rests.
    pub timing: Timing,
    /// The samples, once supplied.
    pub samples: Option<Arc<TraceSamples>>,
}

impl Trace {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let text = |key: &str, default: &str| {
            let value = s.optional_text(key).unwrap_or_else(|| default.into());
            Placed::of(s, key, value)
        };
        let time = if s.has("rate") {
            if s.has("time") || s.has("time_unit") {
                let fix = "keep `rate` for a file without time, or `time` for one with it";
                s.report("rate", "beside a column of time", None, fix);
                s.leave_to_others("time");
                s.leave_to_others("time_unit");
            }
            TraceTime::Rate(s.quantity::<Frequency>("rate", 20.0..=4000.0))
        } else {
            TraceTime::Column {
                name: text("time", "time"),
                unit_s: s.choice_or("time_unit", &[("s", 1.0), ("ms", 1e-3), ("us", 1e-6)], 1.0),
            }
        };
        let size = if s.has("peak") {
            if s.has("scale") {
                let fix = "keep the one that is meant";
                s.report("scale", "beside `peak`, which settles the size", None, fix);
                s.leave_to_others("scale");
            }
            Size::Peak(read_level(s, "peak", Sign::NotZero))
        } else {
            let scale = s.number_or("scale", -1e3..=1e3, 1.0);
            if scale == 0.0 {
                s.report(
                    "scale",
                    "leaves no torque",
                    None,
                    "give a number that is not zero",
                );
            }
            Size::Scale(Placed::of(s, "scale", scale))
        };
        Self {
            file: Placed::of(s, "file", s.text("file")),
            column: text("column", "rim_torque"),
            unit_nm: s.choice_or(
                "unit",
                &[("N·m", 1.0), ("Nm", 1.0), ("mN·m", 1e-3), ("1", 1.0)],
                1.0,
            ),
            time,
            size,
            timing: Timing::read(s),
            samples: None,
        }
    }

    /// The place of what settles the size.
    fn size_place(&self) -> &settings_file::Place {
        match &self.size {
            // Where the size was left to the file, the file is what can be changed.
            Size::Scale(scale) if scale.place.line == 0 => &self.file.place,
            Size::Scale(scale) => &scale.place,
            Size::Peak(peak) => &peak.place,
        }
    }

    /// The torque on a wheelbase of the given peak torque; nothing before the samples are supplied, or where all are zero and a
    /// peak is asked for.
    pub fn torque(&self, peak_torque_nm: f64) -> Option<TraceTorque> {
        let mut values = self.samples.as_ref()?.resampled();
        let scale = match &self.size {
            Size::Scale(scale) => self.unit_nm * scale.value,
            Size::Peak(level) => level.value.nm(peak_torque_nm) / crest::peak(&values),
        };
        values.iter_mut().for_each(|v| *v *= scale);
        let usable = values.iter().all(|v| v.is_finite());
        usable.then(|| TraceTorque {
            values_nm: values.into(),
        })
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        if against.rig.mounting != Mounting::Clamped {
            let problem = format!(
                "a trace needs a clamped rim, this one is {}",
                against.rig.mounting
            );
            against.segment_finding(
                "excitation",
                problem,
                None,
                "clamp the rim, or leave the segment out",
            );
            return;
        }
        let Some(torque) = self.torque(against.rig.wheelbase.peak_torque_nm) else {
            let (problem, fix) = if self.samples.is_none() {
                (
                    "its samples were not read",
                    "read the procedure from a file, beside which this one is looked for",
                )
            } else {
                (
                    "it has no torque that could be brought to a peak",
                    "choose another column, or another file",
                )
            };
            against.finding(&self.file.place, problem, None, fix);
            return;
        };
        let place = self.size_place().clone();
        let peak_nm = torque.peak_nm();
        if !against.setpoint(&place, "the trace at its peak", peak_nm) {
            return;
        }
        let steepest = torque.steepest_nm_per_s();
        let limit = against.rig.limits.slew_nm_per_s;
        against.slews(
            &place,
            steepest,
            peak_nm * limit / steepest,
            "lower it, or smooth the file",
        );
        let quick_nm = torque.quick_nm();
        let able = against.rig.wheelbase.slew_nm_per_s;
        if steepest > able && steepest <= limit {
            against.note(format!(
                "the trace changes by up to {}, more than the wheelbase's own {}",
                show_slew(steepest),
                show_slew(able)
            ));
        }
        against.note(format!(
            "{} samples over {}, up to {}; what may ring is up to {}",
            self.samples.as_ref().map_or(0, |samples| samples.count()),
            show_us(torque.length_us()),
            show_nm(peak_nm),
            show_nm(libm::round(quick_nm * 1e4) / 1e4)
        ));
        if quick_nm > 0.0 {
            let most = (against.limits.sensor_torque_nm - peak_nm) / quick_nm;
            if most < 100.0 {
                against.note(format!(
                    "a resonance that amplifies it by more than {} may trip the rig's sensor torque limit",
                    write_number(libm::round(most * 10.0) / 10.0)
                ));
            }
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let Some(torque) = self.torque(layout.peak_torque_nm()) else {
            return;
        };
        let [first_nm, last_nm] = torque.ends_nm();
        for _ in 0..self.timing.repeats {
            if layout.is_full() {
                return;
            }
            layout.prepare(&self.timing, first_nm);
            layout.excite(torque.length_us(), Shape::Trace(torque.clone()));
            layout.jump_to(last_nm);
            layout.rest(AFTER_US);
            layout.window(Facts {
                amplitude_nm: torque.peak_nm(),
                after_us: AFTER_US,
                ..Facts::between(ExcitationKind::Trace, first_nm, last_nm)
            });
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_trace_is_told_with_its_row() {
        let even = |n: usize| (0..n).map(|i| i as f64 * 1e-3).collect::<Vec<_>>();
        let new = |t: Vec<f64>| {
            let torque = alloc::vec![1.0; t.len()];
            TraceSamples::new(t, torque)
        };
        assert!(new(even(16)).is_ok());
        assert_eq!(
            new(even(15)),
            Err(TraceProblem::Few {
                count: 15,
                needed: 16
            })
        );
        let mut bad = even(20);
        bad[7] = f64::NAN;
        assert_eq!(new(bad), Err(TraceProblem::NotFinite { row: 7 }));
        let mut bad = even(20);
        bad[9] = bad[8];
        assert!(matches!(new(bad), Err(TraceProblem::Close { row: 9, .. })));
        let gap = (0..20)
            .map(|i| if i > 4 { 1.0 } else { 0.0 } + f64::from(i) * 1e-3)
            .collect();
        assert!(matches!(new(gap), Err(TraceProblem::Gap { row: 5, .. })));
        let long = (0..20_000).map(|i| f64::from(i) * 0.04).collect();
        assert!(matches!(new(long), Err(TraceProblem::Long { .. })));
    }

    #[test]
    fn quick_is_what_does_not_last_a_period_of_the_lowest_mode() {
        // By hand: a pulse of one value among 133 leaves 1 - 1/133; a ramp keeps its own mean but at its ends.
        let mut values = alloc::vec![0.0; 4000];
        values[2000] = 1.0;
        let pulse = TraceTorque {
            values_nm: values.into(),
        };
        let width = (2 * (SLOW_US / 500) + 1) as f64;
        assert!((pulse.quick_nm() - (1.0 - 1.0 / width)).abs() < 1e-12);
        let ramp: Vec<f64> = (0..4000).map(|i| f64::from(i) * 1e-3).collect();
        let half = (width - 1.0) / 2.0;
        let at_end = 1e-3 * half * (half + 1.0) / 2.0 / width;
        let ramp = TraceTorque {
            values_nm: ramp.into(),
        };
        assert!((ramp.quick_nm() - at_end).abs() < 1e-12);
    }
}
