//! Springs, masses, friction, gaps, cogging, angles.

use super::Rows;
use super::linear::LinearModel;
use crate::RigParameters;
use crate::plant::FarSide;

/// Share of the peak torque at which lost motion is taken, either way.
const LOST_MOTION_SHARE: f64 = 0.03;

pub(super) fn dynamics(parameters: &RigParameters, rows: &mut Rows) {
    let mounting = &parameters.plant.mounting;
    let (rig, how) = match mounting.far_side {
        FarSide::Ground { .. } | FarSide::Drive(_) => {
            ("Rig's spring", "1/(1/sensor_stiffness + 1/fixture_stiffness)")
        }
        FarSide::Disc { .. } => ("Spring to the disc", "mounting.sensor_stiffness"),
    };
    rows.add(
        "rig_stiffness",
        rig,
        mounting.stiffness_nm_per_rad(),
        "N.m/rad",
        how,
    );
    let model = LinearModel::new(parameters);
    let masses = match mounting.far_side {
        FarSide::Ground { .. } => "masses and springs in a row, clamped",
        FarSide::Drive(_) => "masses and springs in a row, the drive held",
        FarSide::Disc { .. } => "masses and springs in a row, disc included",
    };
    for (index, hz) in model.modes_hz().into_iter().filter(|hz| *hz > 0.0).enumerate() {
        rows.add("mode", format!("Mode {}, undamped", index + 1), hz, "Hz", masses);
    }
    if let Some(hz) = model.modes_on_ideal_clamp_hz().first() {
        rows.add(
            "mode_ideal_clamp",
            "First mode on an ideal clamp",
            *hz,
            "Hz",
            "the same with the hub held still: what the rig costs is the difference",
        );
    }
    let small =
        "linear model with loop and damping, a small step: no slew limit, friction, gap, hold or dead time";
    if let Some([rise, overshoot]) = model.step() {
        rows.add("linear_rise", "Rise 10 to 90 %, linear", rise, "s", small);
        rows.add("linear_overshoot", "Overshoot, linear", overshoot, "1", small);
    }
    let firmware = &parameters.plant.firmware;
    let delay = firmware.dead_time_s + 0.5 * (firmware.period_s + firmware.jitter_s);
    for (id, name, delay_s, follows) in [
        (
            "quarter_turn",
            "Phase −90°, linear, no delay",
            0.0,
            "masses, springs, dampers and loop",
        ),
        (
            "quarter_turn_delayed",
            "Phase −90°, linear, with delay",
            delay,
            "the same behind the mean latency",
        ),
    ] {
        if let Some(hz) = model.quarter_turn_hz(delay_s) {
            rows.add(id, name, hz, "Hz", follows);
        }
    }
    let bands = model.bands();
    let linear = "linear model with hold, loop, damping; no friction, no gap";
    rows.add(
        "linear_gain",
        "Gain at 1 to 5 Hz, linear",
        bands.gain,
        "1",
        linear,
    );
    rows.add(
        "linear_flat_band",
        "Flat band ±3 dB, linear",
        bands.flat_hz,
        "Hz",
        linear,
    );
    rows.add(
        "linear_bandwidth",
        "Bandwidth −3 dB, linear",
        bands.minus_3_db_hz,
        "Hz",
        linear,
    );
    rows.add(
        "linear_resonance",
        "Resonance, linear",
        bands.peak_hz,
        "Hz",
        linear,
    );
    rows.add(
        "linear_amplification",
        "Amplification there, linear",
        bands.peak,
        "1",
        linear,
    );
}

pub(super) fn statics(parameters: &RigParameters, rows: &mut Rows) {
    let plant = &parameters.plant;
    let (motor, output) = (&plant.motor_friction, &plant.output_friction);
    rows.add(
        "coulomb",
        "Coulomb friction at the rim",
        motor.coulomb_nm + output.coulomb_nm,
        "N.m",
        "friction.motor.coulomb + friction.output.coulomb",
    );
    rows.add(
        "breakaway",
        "Breakaway torque at the rim",
        motor.breakaway_nm + output.breakaway_nm,
        "N.m",
        "coulomb · breakaway_ratio of both sides, slowly loaded",
    );
    rows.add(
        "breakaway_motor",
        "Breakaway torque of the motor's side",
        motor.breakaway_nm,
        "N.m",
        "coulomb · breakaway_ratio: a clamped unit's command passes this first",
    );
    rows.add(
        "viscous",
        "Viscous friction at the rim",
        motor.viscous_nm_s_per_rad
            + output.viscous_nm_s_per_rad
            + plant.gear.map_or(0.0, |gear| gear.shaft_viscous_nm_s_per_rad),
        "N.m.s/rad",
        "viscous of both sides and of the shaft",
    );
    if let Some(gear) = &plant.gear {
        rows.add(
            "load_friction",
            "Friction per transmitted torque",
            gear.load_share,
            "1",
            "gear.load_friction: not seen without load",
        );
    }
    let mesh = plant.gear.map(|gear| gear.mesh);
    let backlash = plant.drive.backlash_rad + mesh.map_or(0.0, |mesh| mesh.backlash_rad);
    let stiffness = 1.0
        / (1.0 / plant.drive.stiffness_nm_per_rad + mesh.map_or(0.0, |mesh| 1.0 / mesh.stiffness_nm_per_rad));
    let stages = if mesh.is_some() { "gear and drive" } else { "drive" };
    rows.add(
        "backlash",
        "Backlash",
        backlash,
        "rad",
        format!("backlash of {stages}"),
    );
    rows.add(
        "stiffness",
        "Torsional stiffness, rim to motor",
        stiffness,
        "N.m/rad",
        format!("stiffness of {stages} in series; the rig's spring is not in it"),
    );
    rows.add(
        "lost_motion",
        "Lost motion at ±3 % of the peak",
        backlash + 2.0 * LOST_MOTION_SHARE * plant.torque.peak_nm / stiffness,
        "rad",
        "backlash + 2 · 0.03 · peak/stiffness",
    );
    let reflected = plant.reflected_kg_m2();
    let shaft = plant.gear.map_or(0.0, |gear| gear.shaft_kg_m2);
    rows.add(
        "rotor_inertia",
        "Rotor's inertia at the rim",
        reflected,
        "kg.m2",
        "ratio² · inertia.rotor",
    );
    rows.add(
        "inertia",
        "Inertia at the rim",
        reflected + shaft + plant.hub_kg_m2,
        "kg.m2",
        if shaft > 0.0 {
            "rotor + shaft_ratio² · gear.shaft + inertia.hub"
        } else {
            "rotor + inertia.hub"
        },
    );
    if let FarSide::Disc { inertia_kg_m2 } = plant.mounting.far_side {
        rows.add(
            "disc_inertia",
            "Disc's inertia",
            inertia_kg_m2,
            "kg.m2",
            "mountings.free.disc",
        );
    }
    let m = &plant.motor;
    let brake = m.rim_nm_per_a() * m.back_emf_v_s_per_rad * m.ratio / m.resistance_ohm;
    rows.add(
        "brake",
        "Torque per speed, windings shorted",
        brake,
        "N.m.s/rad",
        "K_t · K_e · ratio² · efficiency/R at 20 °C, up to the peak torque",
    );
}

pub(super) fn cogging(parameters: &RigParameters, rows: &mut Rows) {
    let plant = &parameters.plant;
    for order in &plant.ripple {
        let number = order.order;
        if order.amplitude_nm > 0.0 {
            rows.add(
                "cogging",
                format!("Cogging, order {number}"),
                order.amplitude_nm,
                "N.m",
                format!(
                    "ripple: amplitude, without current; phase {:.0} deg; {:.3} deg a cycle",
                    order.phase_rad.to_degrees(),
                    360.0 / number
                ),
            );
        }
        if order.torque_share > 0.0 {
            rows.add(
                "ripple",
                format!("Ripple per torque, order {number}"),
                order.torque_share,
                "1",
                format!(
                    "ripple: torque_share; phase {:.0} deg",
                    order.phase_rad.to_degrees()
                ),
            );
        }
    }
    if plant.bearing.amplitude_nm > 0.0 {
        rows.add(
            "cogging",
            "Bearing, order 1",
            plant.bearing.amplitude_nm,
            "N.m",
            "bearing.eccentricity",
        );
    }
}

pub(super) fn angles(parameters: &RigParameters, rows: &mut Rows) {
    let plant = &parameters.plant;
    let (motor, rim) = (&parameters.sensors.motor, &parameters.sensors.rim);
    rows.add(
        "ratio",
        "Motor turns per rim turn",
        plant.motor.ratio,
        "1",
        "motor.ratio",
    );
    rows.add(
        "angle_step",
        "Wheelbase's angle step at the rim",
        motor.step_rad / motor.ratio,
        "rad",
        "360 deg/(counts_per_motor_turn · ratio)",
    );
    rows.add(
        "angle_error",
        format!("Wheelbase's angle error, order {}", motor.error_order),
        motor.error_rad,
        "rad",
        format!(
            "sensors.motor_position.error, an amplitude; phase {:.0} deg",
            motor.error_phase_rad.to_degrees()
        ),
    );
    rows.add(
        "angle_noise",
        "Wheelbase's angle noise (rms)",
        motor.noise_rad,
        "rad",
        "sensors.motor_position.noise",
    );
    rows.add(
        "rim_step",
        "Rig's encoder step",
        rim.step_rad(),
        "rad",
        "360 deg/counts_per_turn",
    );
    if rim.run_out_rad > 0.0 {
        rows.add(
            "rim_run_out",
            "Rig's encoder error, once a turn",
            rim.run_out_rad,
            "rad",
            "sensors.rim_encoder.run_out, an amplitude: the rig's, not the unit's",
        );
    }
    if let Some(stops) = &plant.end_stops {
        rows.add(
            "travel",
            "Travel between stops",
            stops.travel_rad,
            "rad",
            "end_stops.travel",
        );
        rows.add(
            "stop_stiffness",
            "Stiffness of a stop",
            stops.stiffness_nm_per_rad,
            "N.m/rad",
            "end_stops.stiffness",
        );
    }
}
