//! Chirps: a sine whose frequency sweeps, linearly or by equal ratios in equal times.

use alloc::format;
use core::f64::consts::{PI, TAU};
use settings_file::{Frequency, Section, Time, write_number};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level, read_level_or_zero},
    rig::words,
    units::{s_from_us, show_nm, show_slew, us_from_s},
};
use core::fmt;

words! {
    /// How the frequency of a chirp grows.
    Law {
        /// By equal differences in equal times.
        Linear = "linear",
        /// By equal ratios in equal times: as much time for each octave.
        Logarithmic = "logarithmic",
    }
}

/// The frequency of a chirp over time, in closed form.
///
/// Over `0 <= t <= T`, with `k = f1/f0`:
/// linear `f = f0 + (f1-f0) t/T`, phase `2π (f0 t + (f1-f0) t²/(2T))`;
/// logarithmic `f = f0 k^(t/T)`, phase `2π f0 T/ln k (k^(t/T) - 1)`.
/// Outside, the formulas simply go on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    /// How the frequency grows.
    pub law: Law,
    /// Frequency at the beginning `f0`, Hz; above 0.
    pub from_hz: f64,
    /// Frequency at the end `f1`, Hz; above `from_hz`.
    pub to_hz: f64,
    /// Duration `T`, s; above 0.
    pub duration_s: f64,
}

impl Sweep {
    /// Frequency at `t_s`, Hz.
    pub fn frequency_hz(&self, t_s: f64) -> f64 {
        let part = t_s / self.duration_s;
        match self.law {
            Law::Linear => self.from_hz + (self.to_hz - self.from_hz) * part,
            Law::Logarithmic => self.from_hz * libm::exp(self.log_ratio() * part),
        }
    }

    /// Phase at `t_s`, rad, 0 at the beginning and never wrapped: 2π times the integral of the frequency.
    pub fn phase_rad(&self, t_s: f64) -> f64 {
        match self.law {
            Law::Linear => {
                TAU * (self.from_hz * t_s + (self.to_hz - self.from_hz) * t_s * t_s / (2.0 * self.duration_s))
            }
            Law::Logarithmic => {
                let log_ratio = self.log_ratio();
                // expm1 keeps its digits where the exponent is small.
                TAU * self.from_hz * self.duration_s / log_ratio
                    * libm::expm1(log_ratio * t_s / self.duration_s)
            }
        }
    }

    fn log_ratio(&self) -> f64 {
        libm::log(self.to_hz / self.from_hz)
    }
}

/// The torque of a chirp as a function of the time since its start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChirpTorque {
    /// Its frequency.
    pub sweep: Sweep,
    /// Torque on which it rides, N·m.
    pub preload_nm: f64,
    /// Its amplitude, N·m.
    pub amplitude_nm: f64,
    /// Time over which the amplitude rises at the beginning and falls at the end, as half a cosine, s; at most half
    /// the duration.
    pub taper_s: f64,
}

impl ChirpTorque {
    /// The torque at `t_s`, N·m; the preload outside `0..=duration`.
    pub fn at(&self, t_s: f64) -> f64 {
        self.preload_nm + self.amplitude_nm * self.weight(t_s) * libm::sin(self.sweep.phase_rad(t_s))
    }

    /// Part of the amplitude at `t_s`, 0 to 1.
    fn weight(&self, t_s: f64) -> f64 {
        let from_end_s = t_s.min(self.sweep.duration_s - t_s);
        if from_end_s <= 0.0 {
            0.0
        } else if from_end_s < self.taper_s {
            (1.0 - libm::cos(PI * from_end_s / self.taper_s)) / 2.0
        } else {
            1.0
        }
    }
}

/// Hold at the preload after each chirp while the rig rings down, µs; part of the window.
const AFTER_US: u64 = 100_000;

/// Repeated chirps on a preload.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Chirp {
    /// How the frequency grows.
    pub law: Law,
    /// Frequency at the beginning, Hz.
    pub from_hz: f64,
    /// Frequency at the end, Hz.
    pub to_hz: Placed<f64>,
    /// Duration of one chirp, µs.
    pub duration_us: u64,
    /// Amplitude.
    pub amplitude: Placed<Level>,
    /// Torque on which it rides, either way. One above the amplitude keeps gears and belt in contact.
    pub preload: Placed<Level>,
    /// Rise and fall of the amplitude at both ends, µs.
    pub taper_us: u64,
    /// Repeats and rests.
    pub timing: Timing,
}

impl Chirp {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let from_hz = s.quantity::<Frequency>("from", 0.01..=5e3);
        let to_hz = s.quantity::<Frequency>("to", 0.01..=1e4);
        let duration_s = s.quantity::<Time>("duration", 0.1..=600.0);
        let taper_s = s.quantity_or::<Time>("taper", 0.001..=60.0, duration_s / 20.0);
        if s.has("from") && s.has("to") && to_hz <= from_hz {
            let allowed = Some(format!("above {} Hz", write_number(from_hz)));
            s.report(
                "to",
                "not above the frequency at the beginning",
                allowed,
                "raise it, or lower `from`",
            );
        }
        if s.has("duration") && s.has("from") && duration_s * from_hz < 1.0 {
            let allowed = Some(format!("{} s or more", write_number(1.0 / from_hz)));
            let problem = "shorter than one period of the lowest frequency";
            s.report("duration", problem, allowed, "lengthen it, or raise `from`");
        }
        if s.has("taper") && s.has("duration") && taper_s > duration_s / 2.0 {
            let allowed = Some(format!("at most {} s", write_number(duration_s / 2.0)));
            s.report("taper", "more than half the duration", allowed, "shorten it");
        }
        Self {
            law: s.choice("law", Law::WORDS).unwrap_or(Law::Logarithmic),
            from_hz,
            to_hz: Placed::of(s, "to", to_hz),
            duration_us: us_from_s(duration_s),
            amplitude: read_level(s, "amplitude", Sign::Positive),
            preload: read_level_or_zero(s, "preload", Sign::Any),
            taper_us: us_from_s(taper_s),
            timing: Timing::read(s),
        }
    }

    /// The torque of one chirp on a wheelbase of the given peak torque.
    pub fn torque(&self, peak_torque_nm: f64) -> ChirpTorque {
        ChirpTorque {
            sweep: Sweep {
                law: self.law,
                from_hz: self.from_hz,
                to_hz: self.to_hz.value,
                duration_s: s_from_us(self.duration_us),
            },
            preload_nm: self.preload.value.nm(peak_torque_nm),
            amplitude_nm: self.amplitude.value.nm(peak_torque_nm),
            taper_s: s_from_us(self.taper_us),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        let preload_nm = against.nm(&self.preload);
        let amplitude_nm = against.nm(&self.amplitude);
        if preload_nm.abs() > 0.0 {
            against.held_rim("a preload");
        }
        // Half a period of the slowest oscillation pushes one way.
        let slowest_hz = self.from_hz.min(self.to_hz.value);
        let push_nm_s = 2.0 * amplitude_nm.abs() / (TAU * slowest_hz);
        against.spun_up(&self.amplitude.place, "a chirp", push_nm_s);
        against.setpoint(
            &self.amplitude.place,
            "preload and amplitude together",
            preload_nm.abs() + amplitude_nm,
        );
        against.highest_frequency(&self.to_hz);
        // Bound of the slope of taper times sine: |w'| + |w| 2 pi f, with w' at most pi / (2 taper).
        let steepest_per_nm = TAU * self.to_hz.value + PI / (2.0 * s_from_us(self.taper_us));
        let most_nm = against.rig.limits.slew_nm_per_s / steepest_per_nm;
        let slew = steepest_per_nm * amplitude_nm;
        against.slews(&self.amplitude.place, slew, most_nm, "lower it, or lower `to`");
        self.notes(against, preload_nm, amplitude_nm);
    }

    /// What does not forbid the chirp but should be known beside its result.
    fn notes(&self, against: &mut Against<'_>, preload_nm: f64, amplitude_nm: f64) {
        let able_hz = against.rig.wheelbase.slew_nm_per_s / (TAU * amplitude_nm);
        if able_hz < self.to_hz.value {
            against.note(format!(
                "above {} Hz the amplitude of {} asks for more than the wheelbase's own {}",
                write_number(libm::round(able_hz)),
                show_nm(amplitude_nm),
                show_slew(against.rig.wheelbase.slew_nm_per_s)
            ));
        }
        against.resonance_note("chirp", preload_nm, amplitude_nm);
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let torque = self.torque(layout.peak_torque_nm());
        for _ in 0..self.timing.repeats {
            if layout.is_full() {
                return;
            }
            layout.prepare(&self.timing, torque.preload_nm);
            layout.excite(self.duration_us, Shape::Chirp(torque));
            layout.rest(AFTER_US);
            layout.window(Facts {
                amplitude_nm: torque.amplitude_nm,
                preload_nm: torque.preload_nm,
                after_us: AFTER_US,
                sweep: Some(torque.sweep),
                ..Facts::between(ExcitationKind::Chirp, torque.preload_nm, torque.preload_nm)
            });
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INSTANTS_S: [f64; 7] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0];

    fn sweep(law: Law) -> Sweep {
        Sweep {
            law,
            from_hz: 2.0,
            to_hz: 22.0,
            duration_s: 2.0,
        }
    }

    #[test]
    fn linear_chirp_of_scipy() {
        // scipy.signal.chirp(t, 2, 2, 22, "linear") is the cosine of the same phase.
        let cosine = [1.0, 0.382_683_4, 0.0, -0.382_683_4, 1.0, 0.0, 1.0];
        let sine = [0.0, -0.923_879_5, 1.0, 0.923_879_5, 0.0, 1.0, 0.0];
        for ((t_s, c), s) in INSTANTS_S.iter().zip(cosine).zip(sine) {
            let phase_rad = sweep(Law::Linear).phase_rad(*t_s);
            assert!((libm::cos(phase_rad) - c).abs() < 1e-7, "{t_s}");
            assert!((libm::sin(phase_rad) - s).abs() < 1e-7, "{t_s}");
        }
    }

    #[test]
    fn logarithmic_chirp_of_scipy() {
        // scipy.signal.chirp(t, 2, 2, 22, "logarithmic"); frequencies 2 * 11^(t/2).
        let cosine = [
            1.0,
            -0.867_016_0,
            -0.683_638_6,
            -0.908_983_2,
            0.658_622_6,
            -0.835_975_5,
            -0.418_399_2,
        ];
        let hz = [2.0, 2.699_007, 3.642_321, 4.915_325, 6.633_250, 12.080_211, 22.0];
        for ((t_s, c), f) in INSTANTS_S.iter().zip(cosine).zip(hz) {
            let chirp = sweep(Law::Logarithmic);
            assert!((libm::cos(chirp.phase_rad(*t_s)) - c).abs() < 1e-6, "{t_s}");
            assert!((chirp.frequency_hz(*t_s) - f).abs() < 1e-6, "{t_s}");
        }
    }

    #[test]
    fn the_derivative_of_the_phase_is_the_frequency() {
        for law in [Law::Linear, Law::Logarithmic] {
            for (from_hz, to_hz, duration_s) in [(2.0, 22.0, 2.0), (0.5, 300.0, 8.0), (1.0, 1.01, 5.0)] {
                let chirp = Sweep {
                    law,
                    from_hz,
                    to_hz,
                    duration_s,
                };
                for i in 1..100 {
                    let t_s = duration_s * f64::from(i) / 100.0;
                    let h = 1e-5;
                    let slope = (chirp.phase_rad(t_s + h) - chirp.phase_rad(t_s - h)) / (2.0 * h * TAU);
                    let f = chirp.frequency_hz(t_s);
                    assert!((slope - f).abs() < 1e-6 * f, "{law} {t_s}: {slope} {f}");
                }
            }
        }
    }

    #[test]
    fn the_taper_begins_and_ends_at_the_preload() {
        let torque = ChirpTorque {
            sweep: sweep(Law::Logarithmic),
            preload_nm: 1.5,
            amplitude_nm: 1.4,
            taper_s: 0.4,
        };
        for t_s in [-1.0, 0.0, 2.0, 3.0] {
            assert!((torque.at(t_s) - 1.5).abs() < 1e-12, "{t_s}");
        }
        // Half-way through the taper half the amplitude is left.
        let expected = 1.5 + 0.7 * libm::sin(torque.sweep.phase_rad(0.2));
        assert!((torque.at(0.2) - expected).abs() < 1e-12);
        let expected = 1.5 + 1.4 * libm::sin(torque.sweep.phase_rad(1.0));
        assert!((torque.at(1.0) - expected).abs() < 1e-12);
    }
}
