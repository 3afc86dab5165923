//! Multisines: sums of sines at chosen lines of a period, repeated whole, with other phases in each realisation.

use alloc::{format, sync::Arc, vec::Vec};
use core::f64::consts::{PI, TAU};
use core::{fmt, ops::Bound};
use settings_file::{Section, Time, write_number};

use super::{
    ExcitationKind, Lines, Periods, Timing, Wave, WavePart, WaveTorque,
    crest::{self, Synthesis},
    lines, timing,
};
use crate::{
    plan::{Against, Facts, Layout, Random, SETPOINT_STRIDE_US, Shape},
    procedure::{Level, Placed, Sign, read_level, read_level_or_zero},
    rig::words,
    units::{s_from_us, show_nm, show_slew, us_from_s},
};

words! {
    /// Where the phases of a multisine come from.
    Phases {
        /// Drawn by the seed, then made to have a low crest factor.
        Optimised = "optimised",
        /// Drawn by the seed.
        Random = "random",
        /// Those of a sweep through the lines, the same in all realisations.
        Schroeder = "schroeder",
    }
}

/// What one realisation of a multisine is made of: `preload + Σ amplitude cos(2π line t/period + phase)`, `t` from the
/// start of a period, taken at each setpoint and held.
#[derive(Clone, Debug, PartialEq)]
pub struct Tones {
    /// Length of the period, µs.
    pub period_us: u64,
    /// The lines that carry power, as multiples of one over the period; ascending, the same in all realisations.
    pub lines: Vec<u32>,
    /// The highest line of the band, whether it carries power or not.
    pub last_line: u32,
    /// Amplitude of each line, N·m.
    pub amplitude_nm: f64,
    /// Phase of each line, rad.
    pub phases_rad: Vec<f64>,
}

impl Tones {
    /// Frequency of a line, Hz.
    pub fn frequency_hz(&self, line: u32) -> f64 {
        f64::from(line) / s_from_us(self.period_us)
    }
}

/// A realisation, ready to be played.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Realisation {
    pub(crate) tones: Arc<Tones>,
    pub(crate) wave: Wave,
}

/// To three decimals.
fn rounded(value: f64) -> f64 {
    libm::round(value * 1e3) / 1e3
}

/// A period is longer than this, s.
const SHORTEST_S: f64 = 0.01;
/// Slope as a share of the rig's slew limit beyond which the limit shows: an edge then takes that share of a setpoint.
const MOST_OF_LIMIT: f64 = 0.2;
/// Most realisations of a segment.
const MOST_REALISATIONS: i64 = 50;

/// Repeated periods of a sum of sines on a preload, in several realisations.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Multisine {
    /// Length of the period, µs; its lines are the multiples of one over it.
    pub period_us: Placed<u64>,
    /// Which lines carry power.
    pub lines: Lines,
    /// The highest frequency of the band, Hz.
    pub highest_hz: Placed<f64>,
    /// Where the phases come from.
    pub phases: Phases,
    /// Greatest torque beside the preload in any realisation. All lines of all realisations have one amplitude.
    pub amplitude: Placed<Level>,
    /// Torque on which it rides, either way.
    pub preload: Placed<Level>,
    /// Rise before the first period and fall behind the last one, µs.
    pub taper_us: u64,
    /// Periods of each realisation.
    pub periods: Periods,
    /// Realisations (as repeats) and rests.
    pub timing: Timing,
}

impl Multisine {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let period_s = s.quantity::<Time>("period", (Bound::Excluded(SHORTEST_S), Bound::Included(60.0)));
        let period_us = us_from_s(period_s);
        // One out of range comes as the shortest.
        let is_sound = period_s > SHORTEST_S;
        let lines = Lines::read(s, is_sound.then_some(period_us));
        let taper_s = s.quantity_or::<Time>("taper", 0.001..=60.0, (period_s / 20.0).max(0.001));
        if s.has("taper") && is_sound && taper_s > period_s {
            let allowed = Some(format!("at most {} s", write_number(period_s)));
            s.report("taper", "longer than the period", allowed, "shorten it");
        }
        let timing = Timing::counted(s, "realisations", MOST_REALISATIONS);
        let phases = s.choice_or("phases", Phases::WORDS, Phases::Optimised);
        if phases == Phases::Schroeder && timing.repeats > 1 {
            let problem = "more than one, but these phases are the same in all";
            let fix = "write 1 and more `periods`, or `phases = \"optimised\"`";
            s.report("realisations", problem, Some("1".into()), fix);
        }
        let stride_us = u64::from(SETPOINT_STRIDE_US);
        Self {
            highest_hz: lines::highest(&lines, period_us, lines.place(s)),
            period_us: Placed::of(s, "period", period_us),
            lines,
            phases,
            amplitude: read_level(s, "amplitude", Sign::Positive),
            preload: read_level_or_zero(s, "preload", Sign::Any),
            // In whole setpoints, so that the periods keep step with them.
            taper_us: us_from_s(taper_s).div_ceil(stride_us) * stride_us,
            periods: Periods::read(s),
            timing,
        }
    }

    /// The realisations on a wheelbase of the given peak torque. A pure function of the settings, the seed and the
    /// segment's number; none where the period is no whole number of setpoints or sample periods, or has no line.
    pub(crate) fn realisations(
        &self,
        peak_torque_nm: f64,
        sample_period_us: u32,
        seed: u64,
        segment: usize,
    ) -> Vec<Realisation> {
        let period_us = self.period_us.value;
        let common_us = timing::common_us(sample_period_us);
        let points = period_us / u64::from(SETPOINT_STRIDE_US);
        if !period_us.is_multiple_of(common_us) || 2 * u64::from(self.lines.last()) > points {
            return Vec::new();
        }
        let mut random = Random::of(seed, segment as u64);
        let lines = self.lines.chosen(&mut random);
        if lines.is_empty() {
            return Vec::new();
        }
        let synthesis = Synthesis::new(points as usize);
        let mut phases = || match self.phases {
            Phases::Schroeder => crest::schroeder_phases(lines.len()),
            Phases::Random => lines.iter().map(|_| TAU * random.unit()).collect(),
            Phases::Optimised => {
                crest::clipped_phases(&lines, lines.iter().map(|_| TAU * random.unit()).collect())
            }
        };
        let plain: Vec<(Vec<f64>, Vec<f64>)> = (0..self.timing.repeats)
            .map(|_| {
                let phases_rad = phases();
                let values = synthesis.sum(&lines, &phases_rad);
                (phases_rad, values)
            })
            .collect();
        // Realisations of different power would be different measurements, so the highest peak scales them all.
        let highest = plain
            .iter()
            .map(|(_, values)| crest::peak(values))
            .fold(0.0, f64::max);
        if highest <= 0.0 {
            return Vec::new();
        }
        let amplitude_nm = self.amplitude.value.nm(peak_torque_nm) / highest;
        let scaled = |(phases_rad, values): (Vec<f64>, Vec<f64>)| Realisation {
            tones: Arc::new(Tones {
                period_us,
                lines: lines.clone(),
                last_line: self.lines.last(),
                amplitude_nm,
                phases_rad,
            }),
            wave: Wave::new(
                SETPOINT_STRIDE_US.into(),
                values.iter().map(|v| amplitude_nm * v).collect(),
            ),
        };
        plain.into_iter().map(scaled).collect()
    }

    pub(super) fn check(&self, against: &mut Against<'_>, realisations: &[Realisation]) {
        timing::whole(against, &self.period_us, "the period");
        against.highest_frequency(&self.highest_hz);
        let (preload_nm, amplitude_nm) = (against.nm(&self.preload), against.nm(&self.amplitude));
        if preload_nm.abs() > 0.0 {
            against.held_rim("a preload");
        }
        against.setpoint(
            &self.amplitude.place,
            "preload and amplitude together",
            preload_nm.abs() + amplitude_nm,
        );
        let waves = || realisations.iter().map(|r| &r.wave);
        let push_nm_s = waves()
            .map(|wave| wave.greatest_push_nm_s(self.periods.count + 2))
            .fold(0.0, f64::max);
        against.spun_up(&self.amplitude.place, "a multisine", push_nm_s);
        let stride_s = s_from_us(SETPOINT_STRIDE_US.into());
        let change_nm = waves().map(Wave::greatest_change_nm).fold(0.0, f64::max);
        // Bound of the slope of taper times wave, as for a chirp.
        let slew = change_nm / stride_s + amplitude_nm * PI / (2.0 * s_from_us(self.taper_us));
        let most_nm = amplitude_nm * against.rig.limits.slew_nm_per_s / slew;
        let fix = "lower it, or leave high lines out";
        against.slews(&self.amplitude.place, slew, most_nm, fix);
        self.notes(against, realisations, change_nm / stride_s);
        against.resonance_note("multisine", preload_nm, amplitude_nm);
        self.count_notes(against);
    }

    fn notes(&self, against: &mut Against<'_>, realisations: &[Realisation], slew: f64) {
        let crests = realisations
            .iter()
            .map(|r| crest::crest_factor(r.wave.values_nm()));
        if let Some(Realisation { tones, wave }) = realisations.first() {
            let ends = [tones.lines.first(), tones.lines.last()];
            let [first, last] = ends.map(|line| line.map_or(0.0, |line| tones.frequency_hz(*line)));
            against.note(format!(
                "{} lines from {} to {} Hz, {} root mean square, crest factor at most {}",
                tones.lines.len(),
                write_number(first),
                write_number(last),
                show_nm(rounded(crest::root_mean_square(wave.values_nm()))),
                write_number(rounded(crests.fold(0.0, f64::max)))
            ));
        }
        let limit = against.rig.limits.slew_nm_per_s;
        if slew > MOST_OF_LIMIT * limit {
            against.note(format!(
                "it changes by up to {}, more than a fifth of {}'s slew limit: the highest edges then arrive later than \
                 low ones, and that passes for distortion",
                show_slew(slew),
                against.rig.file
            ));
        }
        let able = against.rig.wheelbase.slew_nm_per_s;
        if slew > able {
            against.note(format!(
                "it changes by up to {}, more than the wheelbase's own {}",
                show_slew(slew),
                show_slew(able)
            ));
        }
    }

    /// What too few periods or realisations cannot tell.
    fn count_notes(&self, against: &mut Against<'_>) {
        if self.periods.count - self.periods.transient < 2 {
            against
                .note("with fewer than two periods that count, noise cannot be told from distortion".into());
        }
        if self.timing.repeats < 2 {
            against.note("with one realisation, distortion cannot be told from the linear response".into());
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>, realisations: &[Realisation]) {
        let preload_nm = self.preload.value.nm(layout.peak_torque_nm());
        for realisation in realisations {
            if layout.is_full() {
                return;
            }
            let shape = |part| {
                Shape::Wave(WaveTorque {
                    wave: realisation.wave.clone(),
                    preload_nm,
                    part,
                })
            };
            layout.prepare(&self.timing, preload_nm);
            layout.approach_by(self.taper_us, shape(WavePart::Rise));
            let tones = Some(realisation.tones.clone());
            layout.excite_by_periods(
                self.periods,
                self.period_us.value,
                &shape(WavePart::Whole),
                &|| Facts {
                    amplitude_nm: realisation.wave.peak_nm(),
                    preload_nm,
                    tones: tones.clone(),
                    ..Facts::between(ExcitationKind::Multisine, preload_nm, preload_nm)
                },
            );
            layout.approach_by(self.taper_us, shape(WavePart::Fall));
            layout.jump_to(preload_nm);
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}
