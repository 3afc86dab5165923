//! Response of the clamped belt unit to sines on a preload, against `tests/reference/plant/truth.py` (RK4 at 5 us in
//! numpy on the same equations, versions in the file): setpoint in force to rim torque, everything in between included.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::{PI, TAU};

use virtual_rig::plant::PowerStage;

const TRUTH: &str = include_str!("../../../../tests/reference/plant/belt-1.4-on-1.5-every-1ms.json");

/// The numbers of the list called `name`.
fn list(name: &str) -> Vec<f64> {
    let start = TRUTH.find(&format!("\"{name}\": [")).unwrap();
    let body = &TRUTH[TRUTH[start..].find('[').unwrap() + start + 1..];
    body[..body.find(']').unwrap()]
        .split(',')
        .map(|number| number.trim().parse().unwrap())
        .collect()
}

/// Gain and phase (deg) at `f_hz`, a whole number: one second of settling, one of Fourier projection.
fn response(f_hz: f64) -> (f64, f64) {
    let h = 25e-6;
    let mut plant = common::plant(common::belt(), h);
    plant.set_stage(PowerStage::On);
    let (lead, per_setpoint, per_second) = (16_000_u32, 40, 40_000);
    let mut setpoint = 0.0;
    let (mut u, mut y) = ([0.0; 2], [0.0; 2]);
    for n in 0..lead + 2 * per_second {
        let t = f64::from(n) * h;
        if n.is_multiple_of(per_setpoint) {
            setpoint = if n < lead {
                1.5 * 0.5 * (1.0 - (PI * (t / 0.3).min(1.0)).cos())
            } else {
                1.5 + 1.4 * (TAU * f_hz * (t - 0.4)).sin()
            };
            plant.set_setpoint_nm(setpoint);
        }
        if n >= lead + per_second {
            let (mid, now) = (TAU * f_hz * (t + 0.5 * h), TAU * f_hz * t);
            let flat = (PI * f_hz * h).sin() / (PI * f_hz * h);
            u = [
                u[0] + setpoint * mid.cos() * flat,
                u[1] - setpoint * mid.sin() * flat,
            ];
            y = [
                y[0] + plant.rim_torque_nm() * now.cos(),
                y[1] - plant.rim_torque_nm() * now.sin(),
            ];
        }
        plant.step();
    }
    let phase = (y[1].atan2(y[0]) - u[1].atan2(u[0])).to_degrees();
    (y[0].hypot(y[1]) / u[0].hypot(u[1]), phase)
}

#[test]
fn sines_come_out_as_computed_elsewhere() {
    let (gains, phases) = (list("gain"), list("phase_deg"));
    for f in [2_u8, 5, 20, 50, 80, 93, 110, 140, 167, 200] {
        let index = usize::from(f) - 1;
        let (gain, phase) = response(f64::from(f));
        let off = (phase - phases[index] + 180.0).rem_euclid(360.0) - 180.0;
        println!(
            "{f} Hz: gain {gain:.5} ({:.5}), phase off by {off:.3} deg",
            gains[index]
        );
        common::close(gain / gains[index], 1.0, 5e-4, &format!("gain at {f} Hz"));
        common::close(off, 0.0, 0.03, &format!("phase at {f} Hz"));
    }
}
