//! The whole plant against scipy's LSODA on the same equations: `tests/reference/plant/step_and_sine.py`, which wrote
//! the numbers (versions in the head of each file), and the order of convergence towards them.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

mod common;

use virtual_rig::plant::PowerStage;

const STEP: &str = include_str!("../../../tests/reference/plant/step.txt");
const SINE: &str = include_str!("../../../tests/reference/plant/sine.txt");

/// Rows of [time, rim torque, hub angle, motor angle, motor torque].
fn rows(text: &str) -> Vec<[f64; 5]> {
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let mut row = [0.0; 5];
            for (place, field) in row.iter_mut().zip(line.split_whitespace()) {
                *place = field.parse().unwrap();
            }
            row
        })
        .collect()
}

fn step_setpoint(k: u64) -> f64 {
    if k >= 5 { 3.5 } else { 0.0 }
}

fn sine_setpoint(k: u64) -> f64 {
    1.5 + 1.4 * (std::f64::consts::TAU * 40.0 * k as f64 * 1e-3).sin()
}

/// Largest difference of each column to the reference, with physics in steps of `step_us`.
fn differences(text: &str, setpoint: fn(u64) -> f64, step_us: f64) -> [f64; 5] {
    let mut plant = common::plant(common::belt(), step_us * 1e-6);
    plant.set_stage(PowerStage::On);
    let per_row = (1000.0 / step_us).round() as u64;
    let mut worst = [0.0_f64; 5];
    for (k, row) in rows(text).iter().enumerate() {
        let got = [
            plant.time_s(),
            plant.rim_torque_nm(),
            plant.rim_angle_rad(),
            plant.motor_angle_rad(),
            plant.motor_torque_nm(),
        ];
        for ((worst, got), expected) in worst.iter_mut().zip(got).zip(row) {
            *worst = worst.max((got - expected).abs());
        }
        plant.set_setpoint_nm(setpoint(k as u64));
        for _ in 0..per_row {
            plant.step();
        }
    }
    worst
}

#[test]
fn step_agrees_with_scipy() {
    let at_25 = differences(STEP, step_setpoint, 25.0);
    // The torque peaks at 5.85 N·m: 0.2 % at the shipped step, 0.01 % at a fine one.
    assert!(at_25[1] < 0.012 && at_25[4] < 0.02, "{at_25:?}");
    let at_1 = differences(STEP, step_setpoint, 1.0);
    assert!(at_1[1] < 0.0008 && at_1[4] < 1e-4, "{at_1:?}");
}

#[test]
fn sine_agrees_with_scipy() {
    let at_25 = differences(SINE, sine_setpoint, 25.0);
    assert!(at_25[1] < 0.012 && at_25[4] < 0.02, "{at_25:?}");
    let at_1 = differences(SINE, sine_setpoint, 1.0);
    assert!(at_1[1] < 0.0008 && at_1[4] < 1e-4, "{at_1:?}");
}

/// The order claimed is one: halving the step halves the error.
#[test]
fn halving_the_step_halves_the_error() {
    for (text, setpoint) in [(STEP, step_setpoint as fn(u64) -> f64), (SINE, sine_setpoint)] {
        let errors = [50.0, 25.0, 12.5, 6.25].map(|step| differences(text, setpoint, step)[1]);
        println!("rim torque errors at 50, 25, 12.5, 6.25 us: {errors:?}");
        for pair in errors.windows(2) {
            let order = (pair[0] / pair[1]).log2();
            assert!((0.8..2.2).contains(&order), "order {order}: {errors:?}");
        }
    }
}
