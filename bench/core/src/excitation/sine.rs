//! Sines of one frequency and several amplitudes on a preload.

use alloc::{format, vec::Vec};
use core::f64::consts::{PI, TAU};
use settings_file::{Frequency, Section, write_number};

use super::{ChirpTorque, ExcitationKind, Law, Sweep, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level_or_zero, read_levels},
    units::us_from_s,
};

/// A few periods of a sine at each of several amplitudes.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Sine {
    /// Amplitudes; above zero.
    pub amplitudes: Vec<Placed<Level>>,
    /// Frequency, Hz.
    pub frequency_hz: Placed<f64>,
    /// Whole periods that are read; one more at each end rises and falls.
    pub periods: u32,
    /// Torque on which they ride, either way.
    pub preload: Placed<Level>,
    /// Repeats (of all amplitudes) and rests.
    pub timing: Timing,
}

impl Sine {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            amplitudes: read_levels(s, "amplitudes", Sign::Positive, 1..=20),
            frequency_hz: Placed::of(s, "frequency", s.quantity::<Frequency>("frequency", 0.1..=1e3)),
            periods: u32::try_from(s.integer("periods", 1..=1000)).unwrap_or(1),
            preload: read_level_or_zero(s, "preload", Sign::Any),
            timing: Timing::read(s),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        against.held_rim("a sine");
        against.highest_frequency(&self.frequency_hz);
        let preload_nm = against.nm(&self.preload);
        // Bound of the slope of rise times sine: |w'| + |w| 2 pi f, with w' at most pi f/2.
        let steepest_per_nm = (TAU + 0.5 * PI) * self.frequency_hz.value;
        let most_nm = against.rig.limits.slew_nm_per_s / steepest_per_nm;
        for amplitude in &self.amplitudes {
            let nm = against.nm(amplitude);
            let what = "preload and amplitude together";
            if against.setpoint(&amplitude.place, what, preload_nm.abs() + nm) {
                let fix = format!(
                    "lower it, or the frequency of {} Hz",
                    write_number(self.frequency_hz.value)
                );
                against.slews(&amplitude.place, steepest_per_nm * nm, most_nm, &fix);
            }
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        let (f, preload_nm) = (self.frequency_hz.value, self.preload.value.nm(peak_nm));
        let duration_s = f64::from(self.periods + 2) / f;
        for _ in 0..self.timing.repeats {
            for (level, amplitude) in self.amplitudes.iter().enumerate() {
                if layout.is_full() {
                    return;
                }
                let torque = ChirpTorque {
                    sweep: Sweep {
                        law: Law::Linear,
                        from_hz: f,
                        to_hz: f,
                        duration_s,
                    },
                    preload_nm,
                    amplitude_nm: amplitude.value.nm(peak_nm),
                    taper_s: 1.0 / f,
                };
                layout.prepare(&self.timing, preload_nm);
                layout.excite(us_from_s(duration_s), Shape::Chirp(torque));
                layout.window(Facts {
                    level,
                    amplitude_nm: torque.amplitude_nm,
                    preload_nm,
                    sweep: Some(torque.sweep),
                    ..Facts::between(ExcitationKind::Sine, preload_nm, preload_nm)
                });
                layout.ramp_to(0.0);
            }
            layout.next_repeat();
        }
    }
}
