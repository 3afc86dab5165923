//! What a perfect measurement would find of a drivetrain: slow loops on the clamp, and slow turns on a drive. All in closed form
//! from the rig file.

use std::f64::consts::FRAC_PI_2;

use truerim::fitting::{Quantity, plain};
use virtual_rig::parameters::RigParameters;

use super::Truth;

/// Amplitude of the loops of `procedures/drivetrain.toml` and share at which lost motion is read, both of the peak torque.
const LOOPS: f64 = 0.95;
const SMALL: f64 = 0.03;
/// Least amplitude of an order that a measurement must find, N·m.
const LEAST_NM: f64 = 0.005;

const IN_SERIES: &str = "rig file: drive stages in series";
const GAPS: &str = "rig file: gaps of the stages together";
const HUB: &str = "rig file: gap, spring, and LuGre at vanishing speed on the hub's way to and fro";
const LOADED: &str = "rig file: both sides, the motor's as the teeth's load raises it";
const RIPPLE: &str = "rig file: amplitude, as the teeth's load raises it";

/// Springs of the drive in series, N·m/rad.
pub(super) fn stiffness(parameters: &RigParameters) -> f64 {
    let plant = &parameters.plant;
    let mesh = plant
        .gear
        .as_ref()
        .map_or(0.0, |gear| 1.0 / gear.mesh.stiffness_nm_per_rad);
    1.0 / (mesh + 1.0 / plant.drive.stiffness_nm_per_rad)
}

/// Share of the torque in the mesh that friction adds.
fn load_share(parameters: &RigParameters) -> f64 {
    parameters.plant.gear.as_ref().map_or(0.0, |gear| gear.load_share)
}

/// Friction of the hub on its small way to and fro, N·m, in the middle of a loop and `off_nm` further on. LuGre's bristle at
/// vanishing speed follows `dz/dθ = 1 − z/z_s`, `z_s = T_s/σ₀`: behind a reversal `z = z_s − (z_s + z₀) exp(−θ/z_s)`, and a loop of
/// width `D` turns at `z₀ = z_s tanh(D/2z_s)`.
fn hub_friction_nm(parameters: &RigParameters, off_nm: f64) -> f64 {
    let plant = &parameters.plant;
    let output = &plant.output_friction;
    let rig = plant.mounting.stiffness_nm_per_rad();
    let largest_nm = (LOOPS * plant.torque.peak_nm - plant.motor_friction.breakaway_nm)
        / (1.0 + load_share(parameters))
        - output.coulomb_nm;
    let way = |nm: f64| nm / rig;
    let reach = output.breakaway_nm / output.stiffness_nm_per_rad;
    let turns_at = reach * (way(largest_nm) / reach).tanh();
    let behind = way(largest_nm) + way(off_nm);
    output.stiffness_nm_per_rad * (reach - (reach + turns_at) * (-behind / reach).exp())
}

/// End stops.
pub(super) fn stops(parameters: &RigParameters) -> Vec<Truth> {
    const FILE: &str = "rig file: end stops";
    let Some(stops) = parameters.plant.end_stops else {
        return Vec::new();
    };
    let mut all = vec![Truth::of(Quantity::Travel, stops.travel_rad, FILE)];
    for group in ["positive stop", "negative stop"] {
        all.push(Truth {
            group: group.to_owned(),
            ..Truth::of(Quantity::StopStiffness, stops.stiffness_nm_per_rad, FILE)
        });
    }
    all
}

/// Turns under load: springs and gaps in series, straight.
pub(super) fn under_load(parameters: &RigParameters) -> Vec<Truth> {
    let mut all = vec![Truth::of(
        Quantity::TurnedStiffness,
        stiffness(parameters),
        IN_SERIES,
    )];
    let gap = gap(parameters);
    if gap > 0.0 {
        all.push(Truth::of(Quantity::TurnedGap, gap, GAPS));
    }
    all
}

/// Gaps of the stages together, rad.
fn gap(parameters: &RigParameters) -> f64 {
    let plant = &parameters.plant;
    plant.drive.backlash_rad + plant.gear.as_ref().map_or(0.0, |gear| gear.mesh.backlash_rad)
}

/// Slow loops on the clamp.
pub(super) fn loops(parameters: &RigParameters) -> Vec<Truth> {
    let plant = &parameters.plant;
    let k = stiffness(parameters);
    let gap = gap(parameters);
    let small_nm = SMALL * plant.torque.peak_nm;
    let bend = 0.5 * (hub_friction_nm(parameters, small_nm) - hub_friction_nm(parameters, -small_nm));
    let mut all = vec![
        Truth::of(Quantity::LostMotion, gap + 2.0 * (small_nm + bend) / k, HUB),
        Truth::of(
            Quantity::Hysteresis,
            gap + 2.0 * hub_friction_nm(parameters, 0.0) / k,
            HUB,
        ),
        Truth::of(Quantity::RangeStiffness, k, IN_SERIES),
        Truth::of(
            Quantity::MotorBreakaway,
            plant.motor_friction.breakaway_nm,
            "rig file: friction.motor",
        ),
    ];
    if gap > 0.0 {
        all.push(Truth::of(Quantity::Backlash, gap, GAPS));
    }
    all
}

/// Small loops on a free rim: the bristles of both sides, `u = σ_m x_m + σ_h x_h`, the rotor's way longer by the twist that carries
/// the hub's part, `x_m = x_h (1 + σ_h/k)`. Nothing where a gap lies between.
pub(super) fn small_loops(parameters: &RigParameters) -> Option<Truth> {
    let plant = &parameters.plant;
    let (motor, output) = (&plant.motor_friction, &plant.output_friction);
    let (m, h) = (motor.stiffness_nm_per_rad, output.stiffness_nm_per_rad);
    let value = m * (1.0 + h / stiffness(parameters)) + h;
    let source = "rig file: bristles of both sides and the drive's twist";
    (plant.gear.is_none()).then(|| Truth::of(Quantity::PreslidingStiffness, value, source))
}

/// Slow turns on a drive. Driven from the rim the mesh carries the motor's friction and what it adds to it:
/// `T = T_m + μ T`.
pub(super) fn turns(parameters: &RigParameters) -> Vec<Truth> {
    let plant = &parameters.plant;
    let raised = 1.0 / (1.0 - load_share(parameters));
    let (motor, output) = (&plant.motor_friction, &plant.output_friction);
    let shaft = plant
        .gear
        .as_ref()
        .map_or(0.0, |gear| gear.shaft_viscous_nm_s_per_rad);
    let mut all = vec![
        Truth::of(
            Quantity::SweepCoulomb,
            raised * motor.coulomb_nm + output.coulomb_nm,
            LOADED,
        ),
        Truth::of(
            Quantity::SweepViscous,
            raised * motor.viscous_nm_s_per_rad + output.viscous_nm_s_per_rad + shaft,
            LOADED,
        ),
        Truth::of(
            Quantity::Breakaway,
            raised * motor.breakaway_nm + output.breakaway_nm,
            LOADED,
        ),
        Truth::of(
            Quantity::StribeckSpeed,
            motor.stribeck_rad_s,
            "rig file: friction.motor and friction.output alike",
        ),
    ];
    let mut orders: Vec<(f64, f64, f64)> = plant
        .ripple
        .iter()
        .map(|r| (r.order, raised * r.amplitude_nm, r.phase_rad))
        .collect();
    let bearing = &plant.bearing;
    orders.push((1.0, bearing.amplitude_nm, bearing.phase_rad));
    orders.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (order, amplitude_nm, phase_rad) in orders.into_iter().filter(|o| o.1 >= LEAST_NM) {
        // Ripple is a sine in the file, and the fit's phase that of a cosine behind: sin(nθ + φ) = cos(nθ − (π/2 − φ)).
        let phase = FRAC_PI_2 - phase_rad;
        let phase = phase.sin().atan2(phase.cos());
        let group = format!("order {}", plain(order, 5));
        all.push(Truth {
            group: group.clone(),
            ..Truth::of(Quantity::CoggingOrder, amplitude_nm, RIPPLE)
        });
        all.push(Truth {
            group,
            ..Truth::of(Quantity::CoggingPhase, phase, "rig file: phase")
        });
    }
    let (own, rim) = (&parameters.sensors.motor, &parameters.sensors.rim);
    let apart = |f: fn(f64) -> f64| {
        own.error_rad * f(own.error_phase_rad) - rim.run_out_rad * f(rim.run_out_phase_rad)
    };
    all.push(Truth::of(
        Quantity::PositionError,
        apart(f64::sin).hypot(apart(f64::cos)),
        "rig file: the sensor's error less the encoder's run-out",
    ));
    all.push(Truth::of(
        Quantity::PositionNoise,
        own.noise_rad,
        "rig file: sensors.motor_position",
    ));
    all
}
