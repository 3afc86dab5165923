//! The true values against figures from elsewhere: `tests/reference/plant/linear.py` (numpy 2.4.6, scipy 1.17.1, matrices
//! instead of the ladder), closed forms by hand, and the simulated rig itself.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use common::close;
use virtual_rig::describe::{TruthRow, describe, describe_text};
use virtual_rig::plant::Heat;

fn rows(text: &str) -> Vec<TruthRow> {
    describe(&common::read(text, 1))
}

/// All values of rows called `id`.
fn values(rows: &[TruthRow], id: &str) -> Vec<f64> {
    rows.iter()
        .filter(|row| row.id == id)
        .map(|row| row.value)
        .collect()
}

fn value(rows: &[TruthRow], id: &str) -> f64 {
    let values = values(rows, id);
    assert_eq!(values.len(), 1, "{id}: {values:?}");
    values[0]
}

#[test]
fn modes_and_bands_are_those_of_the_matrices() {
    type Expected = (&'static str, &'static [f64], f64, [f64; 5]);
    let expected: [Expected; 3] = [
        (
            common::BELT,
            &[93.028_871_75, 331.413_826_41],
            106.103_295_39,
            [
                1.001_330_962_5,
                49.998_264_717_5,
                154.919_663_021,
                92.635,
                5.091_334_3,
            ],
        ),
        (
            common::GEARED,
            &[48.365_985_79, 386.919_129_22, 549.673_172_83],
            50.207_827_98,
            [
                1.000_671_876_6,
                26.906_591_097_6,
                77.607_253_859,
                47.859,
                3.482_507_7,
            ],
        ),
        (
            common::DIRECT,
            &[162.017_755_81, 723.726_142_57],
            208.382_735_41,
            [
                0.998_234_243_9,
                86.652_624_902_6,
                261.468_428_188,
                161.827,
                9.543_440_3,
            ],
        ),
    ];
    for (text, modes, ideal, [gain, flat, end, peak_hz, peak]) in expected {
        let rows = rows(text);
        let found = values(&rows, "mode");
        assert_eq!(found.len(), modes.len());
        for (found, expected) in found.iter().zip(modes) {
            close(*found, *expected, 1e-6, "mode");
        }
        close(value(&rows, "mode_ideal_clamp"), ideal, 1e-6, "ideal clamp");
        close(value(&rows, "linear_gain"), gain, 1e-9, "gain");
        close(value(&rows, "linear_flat_band"), flat, 1e-6, "flat band");
        close(value(&rows, "linear_bandwidth"), end, 1e-6, "-3 dB");
        close(value(&rows, "linear_resonance"), peak_hz, 0.03, "peak");
        close(value(&rows, "linear_amplification"), peak, 1e-4, "amplification");
    }
}

/// On a disc: two masses free of ground have one mode at 0 and one at sqrt(k·(1/J1 + 1/J2)); with the hub between them
/// the product and the sum of the squares are known.
#[test]
fn free_modes_have_their_sum_and_product() {
    let rows = rows(&common::free(common::DIRECT, 0.015));
    let modes = values(&rows, "mode");
    assert_eq!(modes.len(), 2, "the mode at 0 is none: {modes:?}");
    let [a, b] = [modes[0], modes[1]].map(|hz| (std::f64::consts::TAU * hz).powi(2));
    let (jm, jh, jd, k, ks) = (3.5e-3, 8e-4, 0.015, 6000.0, 15_000.0);
    let sum = k / jm + (k + ks) / jh + ks / jd;
    let product = k * ks * (jm + jh + jd) / (jm * jh * jd);
    close((a + b) / sum, 1.0, 1e-9, "sum");
    close(a * b / product, 1.0, 1e-9, "product");
    close(value(&rows, "disc_inertia"), 0.015, 0.0, "disc");
}

#[test]
fn values_by_hand() {
    let geared = rows(common::GEARED);
    for (id, expected) in [
        ("dead_time", 6e-3),
        ("latency_mean", 7e-3),
        ("latency_sd", 2e-3 / 12_f64.sqrt()),
        ("sensor_delay", 225.079e-6),
        ("rig_stiffness", 10_000.0 / 3.0),
        ("gain", 0.996),
        ("coulomb", 0.22),
        ("breakaway", 0.308),
        ("viscous", 0.011),
        ("load_friction", 0.04),
        ("backlash", 0.4_f64.to_radians()),
        ("stiffness", 250.0),
        ("lost_motion", 0.4_f64.to_radians() + 0.18 / 250.0),
        ("inertia", 2.4e-3 + 1.6e-4 + 6e-4),
        ("angle_step", 0.09_f64.to_radians()),
        ("travel", 900_f64.to_radians()),
        ("peak_current", 6.7797),
        ("no_load_speed", 48.0),
    ] {
        close(value(&geared, id) / expected, 1.0, 1e-5, id);
    }
    let amplitudes = values(&geared, "cogging");
    assert_eq!(amplitudes, [0.06, 0.03, 0.02, 0.02, 0.02, 0.01, 0.01]);
    let direct = rows(common::DIRECT);
    close(value(&direct, "brake"), 0.9 * 0.6 / 0.45, 1e-12, "brake");
    // 16 N·m: 17.8 A, 1.5·i²·R = 213 W at 20 °C; full torque up to 33 rad/s less what the leads take.
    close(value(&direct, "peak_loss"), 213.3 * 1.007_86, 0.1, "loss");
    close(
        value(&direct, "full_torque_speed"),
        (27.7 - 0.473_54 * 17.777_8) / 0.6,
        0.01,
        "knee",
    );
    let shifted = rows(&common::BELT.replace("jitter = \"0 ms\"", "jitter = \"0.6 ms\""));
    close(value(&shifted, "latency_mean"), 4.3e-3, 1e-12, "with jitter");
    close(
        value(&shifted, "latency_sd"),
        (1.36_f64 / 12.0).sqrt() * 1e-3,
        1e-12,
        "with jitter",
    );
}

/// Released after a pulse of heat the two nodes decay with the time constants given, and the sustained torque ends where
/// it should.
#[test]
fn heat_is_what_the_nodes_do() {
    for text in [common::BELT, common::GEARED, common::DIRECT] {
        let rows = rows(text);
        let unit = common::unit(text);
        let (air, r) = (unit.heat.ambient_degc, unit.motor.resistance_ohm);
        let (fast, slow) = (value(&rows, "heat_fast"), value(&rows, "heat_slow"));
        let mut heat = Heat::new(unit.heat, r);
        let step = fast / 5_000.0;
        let run = |heat: &mut Heat, seconds: f64, a2: f64| {
            for _ in 0..(seconds / step).round() as u64 {
                heat.step(a2, step);
            }
        };
        run(&mut heat, fast, 10.0);
        run(&mut heat, 12.0 * fast, 0.0); // the fast part is gone
        let first = heat.case_degc() - air;
        run(&mut heat, slow, 0.0);
        close(
            (heat.case_degc() - air) / first * 1_f64.exp(),
            1.0,
            2e-3,
            "left after the slow constant",
        );
        let a = 1.0 / (unit.heat.winding_case_k_per_w * unit.heat.winding_j_per_k);
        let c = 1.0 / (unit.heat.case_air_k_per_w * unit.heat.case_j_per_k);
        close(fast * slow * a * c, 1.0, 1e-12, "product of the two");
        let held = value(&rows, "sustained_torque");
        let mut heat = Heat::new(unit.heat, r);
        let limit = unit.derating.map_or(air + 90.0, |derating| derating.from_degc);
        // Flux at the end: from the case's temperature there.
        let through = (limit - air) / (unit.heat.winding_case_k_per_w + unit.heat.case_air_k_per_w);
        let flux = 1.0 - unit.motor.flux_loss_per_k * (air + through * unit.heat.case_air_k_per_w - 20.0);
        let current = held / flux / unit.motor.rim_nm_per_a();
        run(&mut heat, 40.0 * slow, unit.motor.loss_factor * current * current);
        close(heat.winding_degc(), limit, 0.05, "winding in the end");
    }
}

/// Every row can be read: a unit, a reason, no two rows that say the same.
#[test]
fn the_text_holds_every_row() {
    for text in [
        common::BELT.to_owned(),
        common::GEARED.to_owned(),
        common::DIRECT.to_owned(),
        common::free(common::GEARED, 0.009),
    ] {
        let rows = rows(&text);
        let written = describe_text(&rows);
        println!("{written}");
        assert_eq!(written.lines().count(), rows.len());
        for row in &rows {
            assert!(row.value.is_finite(), "{row:?}");
            assert!(!row.follows.is_empty() && written.contains(&row.name), "{row:?}");
            assert_eq!(
                rows.iter().filter(|other| other.name == row.name).count(),
                1,
                "{row:?}"
            );
        }
        assert!(rows.len() > 40);
    }
    assert!(describe_text(&rows(common::BELT)).contains(" 4 ms "));
}

/// Turning rims, rise and phase: against `tests/reference/plant/parameters.py` (scipy 1.17.1: `signal.step` on matrices,
/// `eigvals` on the disc, `quad` over friction).
#[test]
fn rims_that_turn_and_small_steps_are_those_of_the_reference() {
    type Expected = (&'static str, f64, f64, [f64; 2], [f64; 2], [f64; 2]);
    let expected: [Expected; 3] = [
        (
            common::GEARED,
            0.009,
            25.00,
            [0.2398, 0.4371],
            [3.169e-3, 0.6668],
            [49.75, 30.55],
        ),
        (
            common::BELT,
            0.011,
            39.92,
            [0.2504, 0.4571],
            [1.480e-3, 0.7850],
            [93.57, 55.20],
        ),
        (
            common::DIRECT,
            0.015,
            83.93,
            [0.7192, 1.1782],
            [0.8997e-3, 0.8875],
            [162.0, 128.7],
        ),
    ];
    for (text, disc, deaf_hz, coast, [rise, overshoot], [quarter, delayed]) in expected {
        let free = rows(&common::free(text, disc));
        close(
            value(&free, "antiresonance") / deaf_hz,
            1.0,
            1e-3,
            "antiresonance",
        );
        for (got, want) in values(&free, "coast_down").iter().zip(coast) {
            close(got / want, 1.0, 1e-3, "coast-down");
        }
        let clamped = rows(text);
        close(value(&clamped, "linear_rise") / rise, 1.0, 5e-3, "rise");
        close(
            value(&clamped, "linear_overshoot") / overshoot,
            1.0,
            5e-3,
            "overshoot",
        );
        close(
            value(&clamped, "quarter_turn") / quarter,
            1.0,
            1e-3,
            "-90 degrees",
        );
        close(
            value(&clamped, "quarter_turn_delayed") / delayed,
            1.0,
            1e-3,
            "-90 degrees, delayed",
        );
    }
    // By hand: 0.25 N·m, Stribeck's rise of a quarter of it at half its speed, viscous.
    let belt = rows(common::BELT);
    let at = |speed: f64| {
        let name = format!("Friction torque at {speed} rad/s");
        belt.iter().find(|row| row.name == name).unwrap().value
    };
    close(
        at(0.05),
        0.25 * (1.0 + 0.25 * (-0.25_f64).exp()) + 0.012 * 0.05,
        1e-12,
        "slow",
    );
    close(at(10.0), 0.25 + 0.12, 1e-12, "fast");
    // A drive's own speeds are told too.
    let driven = rows(&common::back_driven(
        common::BELT,
        "speeds = [\"0.7 rad/s\", \"-0.7 rad/s\"]\nangle = \"360 deg\"\nacceleration = \"5 rad/s²\"\nrepeats = true",
    ));
    assert!(
        driven
            .iter()
            .any(|row| row.name == "Friction torque at 0.7 rad/s")
    );
}
