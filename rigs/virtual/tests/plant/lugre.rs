//! The friction block against published and independently computed values.
//!
//! Parameters: Canudas de Wit et al., IEEE Trans. Automatic Control 40 (1995), table I, in linear units (N, m): the
//! block does not care. Displacements computed with scipy's Radau, rtol 1e-9.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common::close;
use virtual_rig::plant::{Friction, FrictionParameters};

fn published() -> FrictionParameters {
    FrictionParameters {
        coulomb_nm: 1.0,
        breakaway_nm: 1.5,
        stribeck_rad_s: 0.001,
        stiffness_nm_per_rad: 1e5,
        damping_nm_s_per_rad: 1e5_f64.sqrt(),
        damping_speed_rad_s: f64::INFINITY,
        viscous_nm_s_per_rad: 0.4,
    }
}

/// LU-1: steady friction in closed form, and the block coming to it.
#[test]
fn steady_friction_is_the_published_curve() {
    let speeds = [1e-4, 5e-4, 1e-3, 2e-3, 5e-3, 0.1];
    let expected = [1.4950649, 1.3896004, 1.1843397, 1.0099578, 1.0020000, 1.0400000];
    for (speed, expected) in speeds.into_iter().zip(expected) {
        for sign in [1.0, -1.0] {
            close(
                published().steady_nm(sign * speed),
                sign * expected,
                1e-7,
                "steady",
            );
            let mut friction = Friction::new(published());
            let mut torque = 0.0;
            // Long enough for the slowest bristle rate, sigma0 v/g = 7 1/s.
            for _ in 0..200_000 {
                torque = friction.step(sign * speed, 25e-6);
            }
            close(torque, sign * expected, 1e-7, "after settling");
        }
    }
    close(published().steady_nm(0.0029863166), 1.0012615, 1e-7, "least");
    assert!(published().steady_nm(0.00297) > published().steady_nm(0.0029863166));
    assert!(published().steady_nm(0.00300) > published().steady_nm(0.0029863166));
}

/// A mass of 1 kg under the force `force(t)`, stepped as the plant steps its masses; displacements at `times`.
fn displacements(force: impl Fn(f64) -> f64, times: &[f64], h: f64) -> Vec<f64> {
    let (mut x, mut v) = (0.0, 0.0);
    let mut friction = Friction::new(published());
    let mut found = Vec::new();
    let mut n = 0_u64;
    for &time in times {
        let until = (time / h).round() as u64;
        while n < until {
            x += 0.5 * h * v;
            v += h * (force((n as f64 + 0.5) * h) - friction.step(v, h));
            x += 0.5 * h * v;
            n += 1;
        }
        found.push(x);
    }
    found
}

fn loop_force(t: f64) -> f64 {
    let p = 1.425;
    match t {
        t if t < 10.0 => p * t / 10.0,
        t if t < 15.0 => p,
        t if t < 35.0 => p - 2.0 * p * (t - 15.0) / 20.0,
        t if t < 40.0 => -p,
        t if t < 60.0 => -p + 2.0 * p * (t - 40.0) / 20.0,
        _ => p,
    }
}

/// LU-2: pre-sliding displacement, hysteresis, and the loop that closes.
#[test]
fn presliding_loop_is_the_computed_one() {
    let times = [5.0, 10.0, 15.0, 25.0, 35.0, 60.0];
    let expected_um = [9.656751, 44.857931, 45.311859, 35.298932, -9.563512];
    let found = displacements(loop_force, &times, 25e-6);
    for ((found, expected), time) in found.iter().zip(expected_um).zip(times) {
        close(found * 1e6, expected, 0.01, &format!("at {time} s"));
    }
    close(found[5], found[1], 1e-14, "closing");
}

/// LU-3: stiffness of the first tenth of a newton.
#[test]
fn first_movement_has_the_bristles_stiffness() {
    let found = displacements(loop_force, &[0.1 / 0.1425], 25e-6);
    close(found[0] * 1e6, 1.0301, 0.0103, "displacement at 0.1 N");
}
