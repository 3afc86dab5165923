//! The linear model's answer to a step, and where its phase has turned by 90 degrees.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::complex::Complex;
use super::linear::{LinearModel, boundary};

/// Step of the integration, s, and how long it goes on.
const STEP_S: f64 = 1e-6;
const LONGEST_S: f64 = 0.05;

impl LinearModel {
    /// Rise from 10 to 90 % of the final torque, s, and overshoot over it, 1, of a small step of the demand, clamped: current
    /// loop, masses, springs and dampers; no slew limit, hold or dead time. `None` where no torque is left in the end.
    ///
    /// The current's exact exponential drives the chain, which is stepped by drift – kick – drift.
    pub(super) fn step(&self) -> Option<[f64; 2]> {
        if self.disc_kg_m2.is_some() {
            return None;
        }
        let n = self.chain.len();
        let (mut angle, mut speed) = (vec![0.0; n + 1], vec![0.0; n + 1]);
        let torque = |angle: &[f64], speed: &[f64], k: usize| {
            let link = &self.chain[k];
            link.stiffness * (angle[k] - angle[k + 1]) + link.damping * (speed[k] - speed[k + 1])
        };
        let (mut low, mut high, mut most) = (None, None, 0.0_f64);
        let steps = (LONGEST_S / STEP_S) as u32;
        for step in 0..steps {
            let middle = (f64::from(step) + 0.5) * STEP_S;
            let motor = -(-TAU * self.loop_hz * middle).exp_m1();
            for k in 0..n {
                angle[k] += 0.5 * STEP_S * speed[k];
            }
            let springs: Vec<f64> = (0..n).map(|k| torque(&angle, &speed, k)).collect();
            for (k, link) in self.chain.iter().enumerate() {
                let before = if k == 0 { motor } else { springs[k - 1] };
                speed[k] += STEP_S * (before - springs[k] - link.viscous * speed[k]) / link.inertia_kg_m2;
            }
            for k in 0..n {
                angle[k] += 0.5 * STEP_S * speed[k];
            }
            let now = torque(&angle, &speed, n - 1);
            let time = f64::from(step + 1) * STEP_S;
            low = low.or((now >= 0.1).then_some(time));
            high = high.or((now >= 0.9).then_some(time));
            most = most.max(now);
        }
        Some([high? - low?, most - 1.0])
    }

    /// Where the phase has turned by 90 degrees, Hz, behind a further delay of `delay_s`; current loop included.
    pub(super) fn quarter_turn_hz(&self, delay_s: f64) -> Option<f64> {
        let turned = |hz: f64| {
            let g: Complex = self.mechanics(Complex::new(0.0, TAU * hz));
            let angle = -g.im.atan2(g.re) + (hz / self.loop_hz).atan() + TAU * hz * delay_s;
            // Between -90 and 270 degrees: what comes first is looked for.
            if angle < -FRAC_PI_2 { angle + TAU } else { angle }
        };
        let mut hz = 0.5;
        while hz < 5_000.0 {
            if turned(hz) >= FRAC_PI_2 {
                return Some(boundary(hz / 1.001, hz, |hz| turned(hz) < FRAC_PI_2));
            }
            hz *= 1.001;
        }
        None
    }
}
