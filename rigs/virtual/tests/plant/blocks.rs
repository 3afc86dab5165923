//! Blocks of the plant and of the sensors against closed forms.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::{PI, SQRT_2, TAU};

use common::close;
use virtual_rig::plant::Thermal;
use virtual_rig::plant::{
    CurrentLoop, DriveParameters, FarSide, Firmware, FirmwareParameters, Heat, HeatParameters, Mounting,
    MountingParameters, PowerStage, RippleOrder, ripple_energy_j, ripple_nm,
};
use virtual_rig::sensors::{LowPass, TorqueSensor, TorqueSensorParameters};

/// A winding of this resistance, everything else as when cold.
fn cold(resistance_ohm: f64) -> Thermal {
    Thermal {
        resistance_ohm,
        flux: 1.0,
        peak_share: 1.0,
    }
}

/// Poll and hold: a setpoint that changes at a random moment is late by dead time + U(0, period).
#[test]
fn firmware_delays_uniformly_over_its_period() {
    let h = 5e-6;
    let parameters = FirmwareParameters {
        period_s: 1e-3,
        clock_error: 30e-6,
        phase: 0.3,
        dead_time_s: 3.5e-3,
        jitter_s: 0.0,
        smoothing_s: 0.0,
        deadband_nm: 0.0,
        resolution_nm: 0.0,
    };
    let mut firmware = Firmware::new(parameters);
    let mut delays = Vec::new();
    let (mut changed, mut setpoint, mut seen) = (0.0, 0.0, 0.0);
    for n in 0..2_000_000_u64 {
        let now = n as f64 * h;
        if n.is_multiple_of(1_999) {
            changed = now;
            setpoint = 1.0 - setpoint;
        }
        let demand = firmware.step(now, h, |_| setpoint, || 0.0);
        if (demand - seen).abs() > 0.5 {
            delays.push(now + 0.5 * h - changed);
            seen = demand;
        }
    }
    let n = delays.len() as f64;
    let mean = delays.iter().sum::<f64>() / n;
    let sd = (delays.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n).sqrt();
    assert!(n > 950.0);
    close(mean, 3.5e-3 + 0.5e-3, 30e-6, "mean delay");
    close(sd, 1e-3 / 12_f64.sqrt(), 15e-6, "spread");
    assert!(delays.iter().all(|&d| d > 3.5e-3 - h && d < 4.5e-3 + 2.0 * h));
}

/// A deadband is counted from its end, and what is beyond is rounded to whole steps: by hand.
#[test]
fn firmware_has_a_deadband_and_steps() {
    let mut parameters = FirmwareParameters {
        period_s: 1e-3,
        clock_error: 0.0,
        phase: 0.0,
        dead_time_s: 0.0,
        jitter_s: 0.0,
        smoothing_s: 0.0,
        deadband_nm: 0.03,
        resolution_nm: 0.0,
    };
    for (asked, taken) in [(0.02, 0.0), (-0.03, 0.0), (0.05, 0.02), (-1.0, -0.97)] {
        close(parameters.taken_for_nm(asked), taken, 1e-12, "deadband");
    }
    parameters.resolution_nm = 0.05;
    for (asked, taken) in [(0.05, 0.0), (0.06, 0.05), (-0.2, -0.15), (1.0, 0.95)] {
        close(parameters.taken_for_nm(asked), taken, 1e-12, "steps");
    }
    let mut firmware = Firmware::new(parameters);
    let mut demand = 0.0;
    for n in 0..100_u64 {
        demand = firmware.step(n as f64 * 25e-6, 25e-6, |_| -0.2, || 0.0);
    }
    close(demand, -0.15, 1e-12, "what it asks for");
}

/// The rate of the firmware's clock shows as drift of its phase: 100 ppm over 10 s is one period.
#[test]
fn firmware_clock_drifts_by_its_error() {
    let parameters = FirmwareParameters {
        period_s: 1e-3,
        clock_error: 100e-6,
        phase: 0.0,
        dead_time_s: 0.0,
        jitter_s: 0.0,
        smoothing_s: 0.0,
        deadband_nm: 0.0,
        resolution_nm: 0.0,
    };
    let mut firmware = Firmware::new(parameters);
    let h = 25e-6;
    for n in 0..200_000_u64 {
        firmware.step(n as f64 * h, h, |_| 0.0, || 0.0);
    }
    close(
        firmware.time_since_poll_s(5.0),
        0.5e-3,
        1.01 * h,
        "phase after 5 s",
    );
}

/// First order with slew limit: a ramp of slope s lags by 1/(2 pi f); a step decays as exp(-2 pi f t).
#[test]
fn current_loop_is_first_order_behind_the_slew_limit() {
    let belt = common::belt();
    let (h, f) = (25e-6, belt.torque.loop_hz);
    let mut control = CurrentLoop::new(belt.torque, belt.motor, h);
    let mut t = 0.0;
    for n in 1..=400_u32 {
        control.step(PowerStage::On, 6.0, 0.0, &cold(0.8));
        t = f64::from(n) * h;
        let tau = 1.0 / (TAU * f);
        let s = 2000.0;
        let ends = 6.0 / s;
        let expected = if t <= ends {
            s * (t - tau * (1.0 - (-t / tau).exp()))
        } else {
            let at_end = s * (ends - tau * (1.0 - (-ends / tau).exp()));
            6.0 - (6.0 - at_end) * (-(t - ends) / tau).exp()
        };
        close(control.torque_nm(), expected, 1e-3, &format!("torque at {t} s"));
    }
    assert!(t > 9e-3);
    for n in 1..=100_u32 {
        control.step(PowerStage::Coast, 6.0, 0.0, &cold(0.8));
        let expected = 6.0 * (-TAU * f * f64::from(n) * h).exp();
        close(
            control.torque_nm(),
            expected,
            1e-6,
            "decay of the current with the stage off",
        );
    }
    assert!(
        control.torque_nm().abs() < 0.01,
        "under 0.01 N·m 2.5 ms after switching off"
    );
}

/// Full torque is there up to (V - R i) / K_e N; beyond it falls to nothing at V/(K_e N): 19.5 and 29.6 rad/s for the
/// belt unit with a stiff supply (20 and 30 by the table that its values were taken from).
#[test]
fn voltage_limits_torque_at_speed() {
    let mut belt = common::belt();
    belt.motor.supply_resistance_ohm = 0.0;
    let settle = |speed: f64| {
        let mut control = CurrentLoop::new(belt.torque, belt.motor, 25e-6);
        for _ in 0..4000 {
            control.step(PowerStage::On, 20.0, speed, &cold(0.8));
        }
        control.torque_nm()
    };
    let peak_a = 7.0 / (0.09 * 9.0 * 0.92);
    let knee = (24.0 - 0.8 * peak_a) / 0.81;
    close(knee, 20.35, 0.01, "knee");
    close(settle(knee - 0.1), 7.0, 1e-9, "below the knee");
    close(
        settle(25.0),
        0.7452 * (24.0 - 0.81 * 25.0) / 0.8,
        1e-9,
        "beyond it",
    );
    close(settle(24.0 / 0.81), 0.0, 1e-9, "no-load speed");
    let mut control = CurrentLoop::new(belt.torque, belt.motor, 25e-6);
    for _ in 0..4000 {
        control.step(PowerStage::Brake, 5.0, 4.0, &cold(0.8));
    }
    close(
        control.torque_nm(),
        -0.7452 * 0.81 * 4.0 / 0.8,
        1e-9,
        "shorted windings",
    );
}

/// Dead zone and one-sided contact.
#[test]
fn drive_has_a_gap_and_teeth_that_do_not_pull() {
    let geared = DriveParameters {
        slack_nm: f64::INFINITY,
        stiffness_nm_per_rad: 250.0,
        damping_nm_s_per_rad: 0.25,
        backlash_rad: 0.007,
    };
    close(geared.torque_nm(0.0034, 3.0), 0.0, 0.0, "inside the gap");
    close(geared.torque_nm(0.0055, 0.0), 0.5, 1e-12, "beyond it");
    close(geared.torque_nm(-0.0055, 0.0), -0.5, 1e-12, "on the other side");
    close(geared.torque_nm(0.0036, -10.0), 0.0, 0.0, "flying apart");
    let belt = DriveParameters {
        backlash_rad: 0.0,
        ..geared
    };
    close(belt.torque_nm(0.001, 1.0), 0.5, 1e-12, "without a gap");
    // 2 r F0 = 2 · 0.06 m · 60 N = 7.2 N·m at 0.008 rad of 900 N·m/rad; 0.002 rad more of one span of 450 N·m/rad (by hand).
    let slack = DriveParameters {
        stiffness_nm_per_rad: 900.0,
        damping_nm_s_per_rad: 0.0,
        slack_nm: 7.2,
        ..belt
    };
    for sign in [1.0, -1.0] {
        close(
            slack.torque_nm(0.008 * sign, 0.0),
            7.2 * sign,
            1e-12,
            "both spans",
        );
        close(slack.torque_nm(0.01 * sign, 0.0), 8.1 * sign, 1e-12, "one span");
        let energy = 0.5 * 7.2 * 0.008 + 0.5 * (7.2 + 8.1) * 0.002;
        close(
            slack.energy_j(0.01 * sign),
            energy,
            1e-12,
            "area under both lines",
        );
    }
}

/// Springs in series, and the slope of the ripple's energy.
#[test]
fn springs_add_in_series_and_ripple_comes_from_its_energy() {
    let mounting = MountingParameters {
        sensor_nm_per_rad: 4000.0,
        fixture_nm_per_rad: 20_000.0,
        damping_nm_s_per_rad: 0.0,
        far_side: FarSide::Ground { holding_nm: 60.0 },
    };
    close(mounting.stiffness_nm_per_rad(), 10_000.0 / 3.0, 1e-9, "series");
    let orders = [
        RippleOrder {
            order: 540.0,
            amplitude_nm: 0.04,
            torque_share: 0.0,
            phase_rad: 0.3,
        },
        RippleOrder {
            order: 0.8,
            amplitude_nm: 0.02,
            torque_share: 0.0,
            phase_rad: -1.0,
        },
    ];
    for k in 0..50 {
        let (angle, d) = (f64::from(k) * 0.0123, 1e-6);
        let slope = (ripple_energy_j(&orders, angle + d) - ripple_energy_j(&orders, angle - d)) / (2.0 * d);
        close(ripple_nm(&orders, angle, 5.0), -slope, 1e-7, "torque");
    }
    let share = [RippleOrder {
        order: 90.0,
        amplitude_nm: 0.0,
        torque_share: 0.005,
        phase_rad: PI / 2.0,
    }];
    close(ripple_nm(&share, 0.0, 10.0), 0.05, 1e-12, "torque-proportional");
}

/// A clamp that slips carries its holding torque, and stays where it slipped to.
#[test]
fn clamp_slips_at_its_holding_torque() {
    let mut mounting = Mounting::new(MountingParameters {
        sensor_nm_per_rad: 4000.0,
        fixture_nm_per_rad: 20_000.0,
        damping_nm_s_per_rad: 0.0,
        far_side: FarSide::Ground { holding_nm: 10.0 },
    });
    close(mounting.torque_nm(0.002, 0.0), 20.0 / 3.0, 1e-9, "held");
    mounting.push(10.0, 0.006, 25e-6);
    close(mounting.torque_nm(0.006, 0.0), 10.0, 1e-9, "slipping");
    close(
        mounting.torque_nm(0.003, 0.0),
        0.0,
        1e-9,
        "relaxed where it slipped to",
    );
}

/// One node heated by constant power is the sum of two exponentials; their sum of rises is P·(R_wc + R_ca).
#[test]
fn heat_comes_to_its_closed_form() {
    let parameters = HeatParameters {
        winding_case_k_per_w: 0.8,
        case_air_k_per_w: 1.4,
        winding_j_per_k: 80.0,
        case_j_per_k: 600.0,
        ambient_degc: 22.0,
    };
    // Copper's own rise makes the power depend on temperature; the final state solves it in closed form.
    let (i2, r20, a) = (16.0, 0.8, 0.003_93);
    let mut heat = Heat::new(parameters, r20);
    for _ in 0..4_000_000 {
        heat.step(i2, 5e-3);
    }
    let total = 0.8 + 1.4;
    let rise = i2 * r20 * (1.0 + a * 2.0) * total / (1.0 - i2 * r20 * a * total);
    close(heat.winding_degc(), 22.0 + rise, 1e-6, "final winding");
    close(heat.case_degc(), 22.0 + rise * 1.4 / total, 1e-6, "final case");
    // At first all heat stays in the winding: P/C_w.
    let mut heat = Heat::new(parameters, r20);
    for _ in 0..1000 {
        heat.step(i2, 1e-3);
    }
    close(
        heat.winding_degc() - 22.0,
        i2 * r20 * 1.007_86 / 80.0,
        1.5e-3,
        "first second",
    );
}

/// The Butterworth filter: group delay at low frequency, half power at the corner, noise bandwidth.
#[test]
fn amplifier_is_a_second_order_butterworth() {
    let (fc, h) = (1000.0, 25e-6);
    // Response by projection of a sine.
    let response = |f: f64| {
        let mut filter = LowPass::new(fc, h);
        let per_s = 40_000_u32;
        let (mut re, mut im) = (0.0, 0.0);
        for n in 0..2 * per_s {
            let phase = TAU * f * f64::from(n) * h;
            let y = filter.step(phase.sin());
            if n >= per_s {
                re += y * phase.sin();
                im += y * phase.cos();
            }
        }
        let half = f64::from(per_s) / 2.0;
        (re / half, im / half)
    };
    for f in [10.0, 100.0, 500.0, 1000.0, 2000.0] {
        let (re, im) = response(f);
        let x = f / fc;
        let expected = 1.0 / (1.0 + x.powi(4)).sqrt();
        close(re.hypot(im), expected, 4e-3, &format!("gain at {f} Hz"));
    }
    let (re, im) = response(10.0);
    close(-im.atan2(re) / (TAU * 10.0), SQRT_2 / (TAU * fc), 2e-8, "delay");
}

fn sensor() -> TorqueSensorParameters {
    TorqueSensorParameters {
        range_nm: 20.0,
        counts_at_range: 8_000_000,
        gain_error: 0.01,
        zero_nm: 0.5,
        noise_nm: 0.0,
        drift_nm_per_h: 0.0,
        zero_nm_per_k: 0.0,
        case_share: 0.0,
        load_nm: 0.0,
        amplifier_hz: 1000.0,
        declared_delay_s: 225e-6,
    }
}

#[test]
fn torque_sensor_has_its_errors_and_its_end() {
    let mut quiet = TorqueSensor::new(sensor(), 25e-6, common::random());
    for _ in 0..4000 {
        quiet.step(5.0);
    }
    assert_eq!(quiet.counts(), 2_220_000); // (5 · 1.01 + 0.5)/20 · 8e6
    for _ in 0..4000 {
        quiet.step(-50.0);
    }
    assert_eq!(quiet.counts(), -8_000_000);
    quiet.stick();
    for _ in 0..4000 {
        quiet.step(0.0);
    }
    assert_eq!(quiet.counts(), -8_000_000);
}

/// The noise after the amplifier has the standard deviation declared, over many seeds.
#[test]
fn torque_noise_is_as_strong_as_declared() {
    let mut squares = 0.0;
    let mut n = 0.0;
    for seed in 0..20 {
        let noisy = TorqueSensorParameters {
            noise_nm: 2e-3,
            gain_error: 0.0,
            zero_nm: 0.0,
            ..sensor()
        };
        let random = virtual_rig::random::generator(seed, virtual_rig::random::Stream::TorqueNoise);
        let mut noisy = TorqueSensor::new(noisy, 25e-6, random);
        for k in 0..40_000 {
            noisy.step(0.0);
            if k > 400 && k % 10 == 0 {
                squares += (f64::from(noisy.counts()) * 2.5e-6).powi(2);
                n += 1.0;
            }
        }
    }
    close((squares / n).sqrt(), 2e-3, 0.04e-3, "standard deviation");
}
