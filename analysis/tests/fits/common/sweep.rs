//! A sweep through a linear chain behind a polling firmware, by exact modal stepping.
//!
//! Every block has known poles, so the chain is a sum of first-order modes with residues in closed form, and each mode
//! steps exactly while its input is constant: nothing here is an approximation that the analysis could share.

use super::Random;
use ndarray::ArrayView1;
use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use truerim_analysis::frequency::SweepRecord;

/// Steps a sample; the rig samples at 4,000 /s.
pub const STEPS: usize = 16;
pub const FS_HZ: f64 = 4000.0;
const STEP_S: f64 = 1.0 / (FS_HZ * STEPS as f64);
/// The firmware polls every 1 ms.
const POLL: usize = 4 * STEPS;
/// 3.5 ms from poll to current.
const DEAD: usize = 14 * STEPS;
/// Steps by which a sample follows the change of the setpoint.
const AGE: usize = STEPS / 2;
pub const AGE_S: f64 = AGE as f64 * STEP_S;
/// Poll phases fall on the steps, so a polled value is 0 to 15 steps old: on average half a step less than the half
/// interval that belongs to the setpoint's own hold.
pub const DELAY_S: f64 = 3.5e-3 + 0.5e-3 - 0.5 * STEP_S;
pub const SENSOR_DELAY_S: f64 = std::f64::consts::SQRT_2 / (TAU * 1000.0);

#[derive(Clone)]
pub struct Chain {
    pub f1_hz: f64,
    pub zeta1: f64,
    pub lead_s: f64,
    pub second: bool,
    /// Greatest rate of the drive's torque, N·m/s.
    pub slew_nm_per_s: f64,
}

impl Chain {
    fn poles(&self) -> Vec<Complex64> {
        let pair = |f: f64, z: f64| Complex64::new(-z, (1.0 - z * z).sqrt()) * TAU * f;
        let mut poles = vec![Complex64::from(-TAU * 500.0)];
        let mut add = |p: Complex64| poles.extend([p, p.conj()]);
        add(pair(self.f1_hz, self.zeta1));
        if self.second {
            add(pair(327.0, 0.12));
        }
        add(pair(1000.0, 0.5_f64.sqrt()));
        poles
    }

    /// Response without delay, with the hold of the poll, without the sensor's filter, against the held setpoint: the
    /// firmware takes the setpoint's values at instants, so the hold of the setpoint is not in the torque.
    pub fn truth(&self, f_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * f_hz);
        let poles = self.poles();
        let x = PI * f_hz * 1e-3;
        let held = PI * f_hz / FS_HZ;
        let holds = (x.sin() / x) / (held.sin() / held);
        poles[..poles.len() - 2]
            .iter()
            .fold((1.0 + s * self.lead_s) * holds, |h, p| h / (1.0 - s / p))
    }

    /// Frequency at which the truth, against its mean from 1 to 5 Hz, first passes `level`.
    pub fn crossing(&self, level: f64) -> f64 {
        let reference = (0..=100)
            .map(|i| self.truth(5.0_f64.powf(f64::from(i) / 100.0)).norm())
            .sum::<f64>()
            / 101.0;
        let out = |f: f64| {
            let g = self.truth(f).norm() / reference;
            if level < 1.0 { g < level } else { g > level }
        };
        let mut f = 1.0;
        while !out(f) && f < 400.0 {
            f += 0.003;
        }
        f
    }

    /// Setpoints and samples of one sweep: amplitude, noise, all from one seed.
    pub fn sweep(&self, amplitude: f64, noise: f64, seed: u64) -> (Vec<f64>, Vec<f64>) {
        let mut random = Random::new(seed);
        let seconds = 20.0;
        let rest = 800 + (400.0 * random.uniform()) as usize;
        let phase = (POLL as f64 * random.uniform()) as usize % POLL;
        let n = 86_400;
        let rate = (300.0_f64 / 0.5).ln() / seconds;
        let setpoint = |i: usize| {
            let t = (i as f64 - rest as f64) / FS_HZ;
            if !(0.0..seconds).contains(&t) {
                return 0.0;
            }
            // Faded over half a second at either end, as a procedure does to spare the drive.
            let fade = (t / 0.5).min((seconds - t) / 0.02).min(1.0);
            amplitude * fade * (TAU * 0.5 / rate * ((rate * t).exp() - 1.0)).sin()
        };
        let input: Vec<f64> = (0..n).map(setpoint).collect();
        let poles = self.poles();
        // Conjugate poles give conjugate states, so the real pole and one of each pair are enough.
        let kept: Vec<usize> = (0..poles.len()).filter(|i| poles[*i].im >= 0.0).collect();
        let product: Complex64 = poles.iter().map(|p| -p).product();
        let modes: Vec<(Complex64, Complex64, Complex64)> = kept
            .iter()
            .map(|i| {
                let p = poles[*i];
                let others: Complex64 = (0..poles.len())
                    .filter(|j| j != i)
                    .map(|j| p - poles[j])
                    .product();
                let twice = if p.im > 0.0 { 2.0 } else { 1.0 };
                let step = (p * STEP_S).exp();
                (
                    step,
                    (step - 1.0) / p,
                    twice * (1.0 + self.lead_s * p) * product / others,
                )
            })
            .collect();
        let mut states = vec![Complex64::default(); modes.len()];
        let mut polled = vec![0.0; DEAD];
        let mut output = Vec::with_capacity(n);
        let (mut now, mut torque) = (0.0, 0.0);
        for k in 0..n * STEPS {
            if k % POLL == phase {
                now = input[k / STEPS];
            }
            let before: f64 = torque;
            let most = self.slew_nm_per_s * STEP_S;
            torque += (polled[k % DEAD] - torque).clamp(-most, most);
            // A ramp counts with its mean over the step.
            let drive = if most.is_finite() {
                0.5 * (before + torque)
            } else {
                torque
            };
            polled[k % DEAD] = now;
            if k % STEPS == AGE {
                let y: f64 = states.iter().zip(&modes).map(|(x, m)| (x * m.2).re).sum();
                output.push(y + noise * random.normal());
            }
            for (x, m) in states.iter_mut().zip(&modes) {
                *x = *x * m.0 + m.1 * drive;
            }
        }
        (input, output)
    }
}

/// Sweeps as a fit takes them.
pub fn records(sweeps: &[(Vec<f64>, Vec<f64>)]) -> Vec<SweepRecord<'_>> {
    sweeps
        .iter()
        .map(|(u, y)| SweepRecord {
            fs_hz: FS_HZ,
            input_nm: ArrayView1::from(u),
            output_nm: ArrayView1::from(y),
            input_hold_s: 1.0 / FS_HZ,
            input_age_s: AGE_S,
        })
        .collect()
}
