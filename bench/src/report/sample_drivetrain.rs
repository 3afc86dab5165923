//! Made-up curves of the drivetrain, for tests.

use std::f64::consts::TAU;

use super::sample::conditions;
use crate::fitting::{CoggingCurve, Conditions, FrictionCurve, LoopCurve, OrderMark, StopCurve};

pub(super) fn loops() -> LoopCurve {
    let torque_nm: Vec<f64> = (0..1200)
        .map(|i| 4.0 * (TAU * f64::from(i) / 400.0).sin())
        .collect();
    let twist = |i: usize| {
        let (nm, rises) = (torque_nm[i], (i + 100) % 400 < 200);
        nm / 900.0 + if rises { -2e-4 } else { 2e-4 } + 3e-4 * f64::from(i32::from(nm > 0.0))
    };
    LoopCurve {
        conditions: conditions(1.4, 0.0, 3),
        twist_rad: (0..torque_nm.len()).map(twist).collect(),
        small_nm: 0.21,
        middle_rad: Some(1.5e-4),
        flanks: vec![[[-1e-3, -0.7], [-5e-3, -3.9]], [[1e-3, 0.7], [5e-3, 3.9]]],
        at_nm: (1..20).map(|i| 0.2 * f64::from(i)).collect(),
        stiffness: (1..20)
            .map(|i| {
                if i < 16 {
                    [890.0, 900.0, 910.0]
                } else {
                    [430.0, 450.0, 470.0]
                }
            })
            .collect(),
        torque_nm,
    }
}

/// Both stops of 900°, 200 N·m/rad, with friction of 0.25 N·m.
pub(super) fn stops() -> Vec<StopCurve> {
    let stop = |sign: f64, group: &str| {
        let phase = |i: u32| f64::from(i) / 150.0;
        let torque: Vec<f64> = (0..450)
            .map(|i| 1.4 * (1.0 - (2.0 * phase(i).fract() - 1.0).abs()))
            .collect();
        let angle = |i: u32| {
            let friction = if phase(i).fract() < 0.5 { 0.25 } else { -0.25 };
            let nm = torque[i as usize] - friction;
            sign * (450f64.to_radians() + nm.max(0.0) / 200.0)
        };
        StopCurve {
            conditions: Conditions {
                mounting: "free".into(),
                amplitude_nm: None,
                preload_nm: None,
                rig_spring_nm_per_rad: None,
                ..conditions(0.0, 0.0, 450)
            },
            group: group.into(),
            angle_rad: (0..450).map(angle).collect(),
            torque_nm: torque.iter().map(|nm| sign * nm).collect(),
            contact_rad: [449.96, 450.0, 450.04].map(|a| (sign * a).to_radians()),
            stiffness_nm_per_rad: 200.0,
        }
    };
    vec![stop(1.0, "positive stop"), stop(-1.0, "negative stop")]
}

/// A wheelbase that a drive turns, with the same words for temperature and rig as all others.
fn turned(n: usize) -> Conditions {
    Conditions {
        mounting: "back-driven".into(),
        amplitude_nm: None,
        preload_nm: None,
        rig_spring_nm_per_rad: None,
        ..conditions(0.0, 0.0, n)
    }
}

pub(super) fn friction() -> FrictionCurve {
    let speeds = [0.02, 0.05, 0.1, 0.35, 0.7, 2.0];
    let at = |v: &f64| 0.25 + 0.06 * (-(v / 0.1f64).powi(2)).exp() + 0.012 * v;
    let drawn: Vec<f64> = (0..80).map(|i| 0.01 * 200f64.powf(f64::from(i) / 79.0)).collect();
    FrictionCurve {
        conditions: turned(speeds.len()),
        speed_rad_s: speeds.to_vec(),
        positive_nm: speeds.iter().map(at).collect(),
        negative_nm: speeds.iter().map(|v| -at(v)).collect(),
        band_nm: vec![0.004; speeds.len()],
        as_measured_nm: speeds.iter().map(|v| at(v) + 0.002).collect(),
        model_positive_nm: drawn.iter().map(at).collect(),
        model_negative_nm: drawn.iter().map(|v| -at(v)).collect(),
        model_rad_s: drawn,
    }
}

pub(super) fn cogging() -> CoggingCurve {
    let angle_rad: Vec<f64> = (0..4096).map(|i| TAU * f64::from(i) / 4096.0).collect();
    let cogging = |a: &f64| 0.03 * (90.0 * a).cos() + 0.02 * (9.0 * a).cos();
    let order: Vec<f64> = (1..140).map(f64::from).collect();
    let line = |order: f64, name: &str, nm: f64| OrderMark {
        order,
        name: name.into(),
        amplitude_nm: [0.95 * nm, nm, 1.05 * nm],
    };
    CoggingCurve {
        conditions: turned(2),
        speed_rad_s: 0.2,
        positive_nm: angle_rad.iter().map(|a| cogging(a) + 0.25).collect(),
        negative_nm: angle_rad.iter().map(|a| cogging(a) - 0.25).collect(),
        amplitude_nm: order
            .iter()
            .map(|n| match *n as u32 {
                90 => 0.03,
                9 => 0.02,
                _ => 4e-4,
            })
            .collect(),
        order,
        lines: vec![line(9.0, "turn of the motor", 0.02), line(90.0, "poles", 0.03)],
        angle_rad,
    }
}
