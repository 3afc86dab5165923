//! The least spread that an estimate without bias can have.
//!
//! *Latency*, a mean over steps that each wait a part of the firmware's period, evenly spread: the waits leave
//! `period / sqrt(12 n)` whatever the estimator of a mean; sensor noise adds less than a thousandth of a millisecond beside it.
//!
//! *Bandwidth*, by the Cramér-Rao bound for noise alone: a sine of amplitude `A g` seen in `N` samples of noise `s` has a relative
//! error of its magnitude of `s sqrt(2/N) / (A g)` (Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993,
//! ex. 3.14, from memory), and the frequency at which a curve of slope `d ln g / d ln f` passes a level is off by that over
//! the slope. `N` are the samples within the third of an octave through which the reading lays its curve.

use bench_core::excitation::ExcitationKind;

use super::planned;
use super::scene::Scene;

/// Octaves through which a level is read: eight bands on either side, 48 to the octave.
const READ_OCTAVES: f64 = 17.0 / 48.0;
/// Magnitude at -3 dB.
const LEVEL: f64 = 0.708;

/// Steps, chirps and the rates of a procedure on a unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Played {
    /// Number of steps.
    pub(super) steps: usize,
    /// Number of chirps.
    chirps: usize,
    /// Their amplitude, N·m.
    amplitude_nm: f64,
    /// Time that they take for an octave, s.
    octave_s: f64,
    /// Samples per second.
    fs_hz: f64,
}

/// What the scene's procedure plays.
pub(super) fn played(scene: &Scene) -> Result<Played, String> {
    let (_, _, plan) = planned(scene, 1)?;
    let of = |kind: ExcitationKind| plan.windows().iter().filter(move |w| w.kind == kind);
    let octaves = |w: &bench_core::plan::Window| w.sweep.map_or(1.0, |s| (s.to_hz / s.from_hz).log2().abs());
    let chirp = of(ExcitationKind::Chirp).next();
    Ok(Played {
        steps: of(ExcitationKind::Step).count(),
        chirps: of(ExcitationKind::Chirp).count(),
        amplitude_nm: chirp.map_or(0.0, |w| w.amplitude_nm),
        octave_s: chirp.map_or(0.0, |w| (w.end_us - w.start_us) as f64 * 1e-6 / octaves(w)),
        fs_hz: 1e6 / f64::from(plan.sample_period_us()),
    })
}

impl Played {
    /// Least spread of a mean over waits of up to `period_s`, s.
    pub(super) fn latency_s(&self, period_s: f64) -> f64 {
        period_s / (12.0 * self.steps as f64).sqrt()
    }

    /// Least spread of the frequency `f_hz` at which the magnitude of a mode at `mode_hz` has fallen by 3 dB, Hz.
    pub(super) fn bandwidth_hz(&self, f_hz: f64, mode_hz: f64, noise_nm: f64) -> f64 {
        let samples = READ_OCTAVES * self.octave_s * self.fs_hz * self.chirps as f64;
        let relative = noise_nm * (2.0 / samples).sqrt() / (self.amplitude_nm * LEVEL);
        // |H|² = 1/((1 − r²)² + (2ζr)²), which is half of what it is at low frequency, so the sum is 2.
        let r2 = (f_hz / mode_hz).powi(2);
        let slope = r2 * (r2 - 1.0);
        f_hz * relative / slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 1 ms/sqrt(12·96) = 29.46 µs; 17/48 octave of 8 s over log2(600) octaves, 4 times at 4,000 a second, are 4,912
    /// samples; 2 mN·m·sqrt(2/4912)/(1.4·0.708 N·m) = 4.071e-5; r² = 2.78 for 165 over 99 Hz, slope 4.94: 1.36 mHz.
    #[test]
    fn the_least_spreads_are_those_by_hand() {
        let played = Played {
            steps: 96,
            chirps: 4,
            amplitude_nm: 1.4,
            octave_s: 8.0 / 600.0_f64.log2(),
            fs_hz: 4_000.0,
        };
        assert!((played.latency_s(1e-3) - 29.46e-6).abs() < 0.01e-6);
        assert!((played.bandwidth_hz(165.0, 99.0, 2e-3) - 1.36e-3).abs() < 0.01e-3);
    }
}
