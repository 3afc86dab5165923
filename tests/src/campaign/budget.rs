//! How far a rim may travel before a fault has been noticed and the stop has done its work.
//!
//! A rim that is held (clamped and not slipped, or on a drive) moves by what its springs give:
//! `theta = 2·T/k`, twice the static twist of the greatest torque, plus what a blow puts into the spring,
//! `dw·sqrt(J/k)`. A belt that slips by `s` leaves its spring twisted by so much: its torque `k_d·s` counts with `T`,
//! and so does what a hand holds.
//!
//! A rim that is loose (free, or its clamp slipping) is accelerated by the torque on it until something fires. From
//! there on, with the reaction time `t_r` of the rig controller,
//!
//! ```text
//! w     = w_L + a·t_r          speed when the torque has ended; a = T/J
//! theta = reach + w_L·t_r + a·t_r²/2 + stop(w)
//! ```
//!
//! `reach` is how far it can come before something fires: `w_L²/2a` where the torque is known, so that reach and
//! reaction together are the familiar `w²/2a`; never more than the way to the end of the rim window. Where the speed
//! limit would only be met beyond the window, `w_L` is what `a` makes of that way. `stop(w)` is what the stop itself
//! lets the rim coast: `w·J/b` with shorted windings, `b = N²·K_t·K_e/R`; without a brake `w²/2d`, `d` from Coulomb
//! friction alone. It is stated apart, because no reaction, however fast, makes it smaller.

use virtual_rig::RigParameters;
use virtual_rig::faults::FaultKind;
use virtual_rig::plant::{FarSide, PlantParameters};

use super::play::Played;

/// From the sample that shows too much to no torque, s: what the rig controller promises (2 ms) and one look at its
/// sensors.
pub const REACTION_S: f64 = 2.25e-3;

/// A budget with its parts, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    /// Until something fires.
    pub reach_rad: f64,
    /// Until the torque has ended.
    pub reaction_rad: f64,
    /// Until the rim rests.
    pub stop_rad: f64,
}

impl Budget {
    /// All of it, rad.
    #[must_use]
    pub fn total_rad(&self) -> f64 {
        self.reach_rad + self.reaction_rad + self.stop_rad
    }

    /// Whether the rim travelled further.
    #[must_use]
    pub fn is_passed(&self, played: &Played) -> bool {
        played.seen.travel_rad > self.total_rad()
    }
}

/// Greatest torque that motor and ripple make, N·m.
#[must_use]
pub fn greatest_nm(plant: &PlantParameters) -> f64 {
    let ripple: f64 = plant.ripple.iter().map(|order| order.amplitude_nm).sum();
    plant.torque.peak_nm + ripple + plant.bearing.amplitude_nm
}

/// Inertia of all that turns with a loose rim, kg·m².
#[must_use]
pub fn loose_kg_m2(plant: &PlantParameters) -> f64 {
    let shaft = plant.gear.map_or(0.0, |gear| gear.shaft_kg_m2);
    let disc = match plant.mounting.far_side {
        FarSide::Disc { inertia_kg_m2 } => inertia_kg_m2,
        FarSide::Ground { .. } | FarSide::Drive(_) => 0.0,
    };
    plant.reflected_kg_m2() + plant.hub_kg_m2 + shaft + disc
}

/// What the stop itself lets the rim travel from a speed, rad.
#[must_use]
pub fn stop_rad(plant: &PlantParameters, brakes: bool, speed_rad_s: f64, inertia_kg_m2: f64) -> f64 {
    let friction_nm = plant.motor_friction.coulomb_nm + plant.output_friction.coulomb_nm;
    let coast = speed_rad_s * speed_rad_s * inertia_kg_m2 / (2.0 * friction_nm);
    if !brakes {
        return coast;
    }
    let motor = &plant.motor;
    let brake_nm_s = motor.ratio * motor.ratio * motor.torque_constant_nm_per_a * motor.back_emf_v_s_per_rad
        / motor.resistance_ohm;
    coast.min(speed_rad_s * inertia_kg_m2 / brake_nm_s)
}

/// Whether nothing holds the rim.
#[must_use]
pub fn is_loose(parameters: &RigParameters, played: &Played) -> bool {
    match parameters.plant.mounting.far_side {
        FarSide::Disc { .. } => true,
        FarSide::Ground { .. } => played.seen.crept_rad > 1e-4,
        FarSide::Drive(_) => false,
    }
}

/// The budget of a run.
#[must_use]
pub fn budget(parameters: &RigParameters, played: &Played) -> Budget {
    let plant = &parameters.plant;
    let torque_nm = greatest_nm(plant);
    let drive = plant.drive.stiffness_nm_per_rad;
    let (blow, added_nm) = match played.case.info.kind {
        FaultKind::RimStruck => (played.size.abs(), 0.0),
        FaultKind::BeltSlips => {
            // All of the twist's energy in what turns with the rim.
            let turned = loose_kg_m2(plant) - plant.reflected_kg_m2();
            let slip = played.size.abs();
            (slip * (drive / turned).sqrt(), drive * slip)
        }
        // A hand twists the springs by what it holds.
        FaultKind::RimGrabbed => (0.0, played.size),
        _ => (0.0, 0.0),
    };
    if !is_loose(parameters, played) {
        // The softest spring decides for the drivetrain's share of the hub's motion, the mounting's for the rim.
        let k = plant.mounting.stiffness_nm_per_rad();
        return Budget {
            reach_rad: 2.0 * (torque_nm + added_nm) / k,
            reaction_rad: if added_nm > 0.0 {
                0.0
            } else {
                blow * (loose_kg_m2(plant) / k).sqrt()
            },
            stop_rad: 0.0,
        };
    }
    let inertia = loose_kg_m2(plant);
    let acceleration = torque_nm / inertia;
    let [low, high] = played.limits.rim_window_rad;
    let window_rad = (high - low).max(0.0);
    let [angle, speed] = played.seen.at_onset;
    let to_end = (high - angle).max(angle - low).clamp(0.0, window_rad);
    let known_nm = match played.case.info.kind {
        FaultKind::TorqueRunaway => {
            let friction_nm = plant.motor_friction.coulomb_nm + plant.output_friction.coulomb_nm;
            Some(played.size.abs() - friction_nm).filter(|net| *net > 0.0)
        }
        _ => None,
    };
    let limit = played.limits.rim_speed_rad_s;
    let reach = known_nm.map_or(to_end, |net| {
        (inertia * (limit * limit + speed * speed) / (2.0 * net)).min(to_end)
    });
    let met = limit
        .min((2.0 * acceleration * to_end + speed * speed).sqrt())
        .max(speed.abs() + blow);
    let after = met + acceleration * REACTION_S;
    Budget {
        reach_rad: reach,
        reaction_rad: met * REACTION_S + 0.5 * acceleration * REACTION_S * REACTION_S,
        stop_rad: stop_rad(plant, played.case.brakes, after, inertia),
    }
}
