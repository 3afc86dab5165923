//! What warmth does: flux, derating, copper loss, drift; and the smaller errors of firmware and encoder.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::TAU;

use common::close;
use virtual_rig::plant::{CurrentLoop, DeratingParameters, Firmware, Heat, PowerStage, Thermal};
use virtual_rig::sensors::{RimEncoderParameters, TorqueSensor};

const HOT: Thermal = Thermal {
    resistance_ohm: 0.6,
    flux: 0.9,
    peak_share: 1.0,
};

/// The firmware controls the current: torque follows the flux. Back-EMF falls with it, so the no-load speed rises; the
/// shorted motor brakes by the square.
#[test]
fn torque_and_back_emf_follow_the_flux() {
    let unit = common::unit(common::DIRECT);
    let settle = |stage: PowerStage, speed: f64| {
        let mut control = CurrentLoop::new(unit.torque, unit.motor, 25e-6);
        for _ in 0..4000 {
            control.step(stage, 10.0, speed, &HOT);
        }
        (control.torque_nm(), control.current_a())
    };
    let (torque, current) = settle(PowerStage::On, 0.0);
    close(torque, 9.0, 1e-9, "torque");
    close(current, 10.0 / 0.9, 1e-9, "current");
    let (torque, _) = settle(PowerStage::On, 27.7 / (0.6 * 0.9));
    close(torque, 0.0, 1e-9, "no-load speed");
    let (torque, current) = settle(PowerStage::Brake, 2.0);
    close(current, -0.6 * 0.9 * 2.0 / 0.6, 1e-9, "shorted current");
    close(torque, -0.9 * 0.81 * 0.6 * 2.0 / 0.6, 1e-9, "shorted torque");
}

/// From the whole peak to what is left in a straight line.
#[test]
fn derating_is_a_straight_line() {
    let derating = DeratingParameters {
        from_degc: 100.0,
        to_degc: 130.0,
        left: 0.5,
    };
    for (degc, share) in [
        (20.0, 1.0),
        (100.0, 1.0),
        (115.0, 0.75),
        (130.0, 0.5),
        (180.0, 0.5),
    ] {
        close(derating.peak_share(degc), share, 1e-12, "share");
    }
    let unit = common::unit(common::DIRECT);
    let mut control = CurrentLoop::new(unit.torque, unit.motor, 25e-6);
    let derated = Thermal {
        peak_share: 0.75,
        ..HOT
    };
    for _ in 0..4000 {
        control.step(PowerStage::On, 16.0, 0.0, &derated);
    }
    close(control.torque_nm(), 0.9 * 0.75 * 16.0, 1e-9, "derated peak");
}

/// Held at a level, the winding comes to ϑ_a + P·R_th with copper that warms, P = f·i²·R(ϑ): the sustained torques of
/// 1.5, 4.4 and 10.2 N·m end 80 to 95 K above air, as their table says.
#[test]
fn sustained_torque_warms_by_80_to_95_k() {
    for (name, text, level) in [
        ("geared", common::GEARED, 1.5),
        ("belt", common::BELT, 4.4),
        ("direct", common::DIRECT, 10.2),
    ] {
        let unit = common::unit(text);
        let current = level / unit.motor.rim_nm_per_a();
        let (r, a, air) = (unit.motor.resistance_ohm, 0.003_93, unit.heat.ambient_degc);
        let power = unit.motor.loss_factor * current * current * r;
        let total = unit.heat.winding_case_k_per_w + unit.heat.case_air_k_per_w;
        let rise = power * (1.0 + a * (air - 20.0)) * total / (1.0 - power * a * total);
        let mut heat = Heat::new(unit.heat, r);
        for _ in 0..2_000_000 {
            heat.step(unit.motor.loss_factor * current * current, 0.02);
        }
        println!("{name}: {rise:.1} K at {level} N·m");
        close(heat.winding_degc() - air, rise, 1e-6 * rise, name);
        assert!((80.0..95.0).contains(&rise), "{name}: {rise} K");
    }
}

/// The whole plant: at the peak the winding of the geared unit warms by P/C_w at first, 2.2 K/s.
#[test]
fn the_plant_warms_as_its_current_says() {
    let unit = common::unit(common::GEARED);
    let mut plant = common::plant(unit.clone(), 25e-6);
    plant.set_stage(PowerStage::On);
    plant.set_setpoint_nm(3.0);
    for _ in 0..40_000 {
        plant.step();
    }
    let before = plant.winding_degc();
    for _ in 0..40_000 {
        plant.step();
    }
    let current = 3.0 / unit.motor.rim_nm_per_a();
    let rate = current * current * 1.2 * (1.0 + 0.003_93 * 4.2) / 25.0;
    // Less what has begun to leave for the case: some 3 K over 1.5 K/W.
    close(
        plant.winding_degc() - before,
        rate - 3.3 / 1.5 / 25.0,
        0.03,
        "K in the second second",
    );
    close(plant.current_a(), current, 1e-3, "current");
}

/// A first-order lag at each read: after n reads of a step 1 − exp(−n·T/τ).
#[test]
fn smoothing_is_a_first_order_lag() {
    let mut parameters = common::unit(common::GEARED).firmware;
    parameters.smoothing_s = 7e-3;
    parameters.dead_time_s = 0.0;
    parameters.phase = 0.0;
    let mut firmware = Firmware::new(parameters);
    let h = 25e-6;
    for n in 0..8_000_u32 {
        let demand = firmware.step(f64::from(n) * h, h, |_| 2.0, || 0.0);
        let reads = f64::from(n / 80 + 1);
        close(
            demand,
            2.0 * (1.0 - (-reads * 2e-3 / 7e-3).exp()),
            1e-9,
            "smoothed",
        );
    }
}

/// The zero wanders by the hour and by the kelvin; the encoder errs once a turn.
#[test]
fn zero_drifts_and_the_coupling_runs_out() {
    let parameters = common::read(common::DIRECT, 1).sensors;
    let mut quiet = parameters.torque;
    quiet.noise_nm = 0.0;
    let mut sensor = TorqueSensor::new(quiet, 25e-6, common::random());
    let scale = 50.0 / 8e6;
    close(f64::from(sensor.counts()) * scale, 0.008, scale, "at first");
    sensor.drift(1800.0, 30.0);
    // Half an hour at 5 mN·m an hour; 30 K of the case, a fifth of it, at 10 mN·m a kelvin.
    close(
        f64::from(sensor.counts()) * scale,
        0.008 + 0.0025 + 0.06,
        scale,
        "later",
    );
    let rim = RimEncoderParameters {
        counts_per_turn: 1 << 20,
        run_out_rad: 1e-3,
        run_out_phase_rad: 0.4,
    };
    for k in 0..50 {
        let angle = f64::from(k) * 0.37;
        let read = f64::from(rim.counts(angle)) * TAU / f64::from(1 << 20);
        close(read, angle + 1e-3 * (angle + 0.4).sin(), 6.1e-6, "rim angle");
    }
}
