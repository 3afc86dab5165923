//! The closed form of a stop.
//!
//! One inertia `J` (rotor, shaft, hub, disc) is slowed by `A + B·ω`: Coulomb friction `T_c` of both sides, viscous friction
//! `b`, and, while the windings are shorted, `D·ω` with `D = Φ²·K_t·K_e·N²·η/R`. From `ω₀`:
//!
//! ```text
//! ω(t) = (ω₀ + A/B)·exp(−B·t/J) − A/B          until ω = 0
//! θ(ω) = (J/B)·[ω₀ − ω − (A/B)·ln((A + B·ω₀)/(A + B·ω))]
//! ```
//!
//! Where `D·ω` is more than the peak torque `T_p`, which the power stage holds it to, `T_p` stands in its place.
//!
//! A gear's teeth rub the more the more they carry, `μ·|T_mesh|`. Slowing down, the mesh drives the motor's side:
//! `T_mesh = T_c,m + μ·T_mesh + (b_m + D)·ω − (J_m/J)·F` with `F` the whole torque that slows, again a straight line in ω,
//! so that `A` and `B` only get other values. (With `T_p` in place of `D·ω` as well.)
//!
//! Left out: the rise of friction at the lowest speeds (Stribeck), which shortens the travel by less than
//! `J·v_s²·(T_s − T_c)/(2·T_c·T_s)`, below 0.02° here; cogging and eccentricity, whose energy is given back but for the moment
//! at which the rim rests; the current's rise, which takes away as much braking at first as it leaves on at the end.

use virtual_rig::plant::{COPPER_PER_K, FarSide, PlantParameters};

/// What slows the rim down in one way: `A + B·ω`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coasting {
    /// The whole inertia, kg·m².
    pub inertia_kg_m2: f64,
    /// A, N·m; above 0.
    pub constant_nm: f64,
    /// B, N·m·s/rad; above 0.
    pub per_speed_nm_s_per_rad: f64,
}

impl Coasting {
    /// Angle from `from_rad_s` down to `to_rad_s`, rad.
    pub fn angle_rad(&self, from_rad_s: f64, to_rad_s: f64) -> f64 {
        let (a, b) = (self.constant_nm, self.per_speed_nm_s_per_rad);
        let log = ((a + b * from_rad_s) / (a + b * to_rad_s)).ln();
        self.inertia_kg_m2 / b * (from_rad_s - to_rad_s - a / b * log)
    }

    /// Time from `from_rad_s` down to `to_rad_s`, s.
    pub fn time_s(&self, from_rad_s: f64, to_rad_s: f64) -> f64 {
        let (a, b) = (self.constant_nm, self.per_speed_nm_s_per_rad);
        self.inertia_kg_m2 / b * ((a + b * from_rad_s) / (a + b * to_rad_s)).ln()
    }

    /// Speed that is left after `time_s`, rad/s; 0 when it has come to rest.
    pub fn speed_after_rad_s(&self, from_rad_s: f64, time_s: f64) -> f64 {
        let ratio = self.constant_nm / self.per_speed_nm_s_per_rad;
        let left = (-self.per_speed_nm_s_per_rad * time_s / self.inertia_kg_m2).exp();
        ((from_rad_s + ratio) * left - ratio).max(0.0)
    }
}

/// What the closed form takes of a unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Whole inertia, and the rotor's, at the rim, kg·m².
    pub inertia_kg_m2: f64,
    /// See above.
    pub rotor_kg_m2: f64,
    /// Coulomb friction of the motor's side and of both, N·m.
    pub motor_coulomb_nm: f64,
    /// See above.
    pub coulomb_nm: f64,
    /// Viscous friction of the motor's side and of all, N·m·s/rad.
    pub motor_viscous: f64,
    /// See above.
    pub viscous: f64,
    /// Friction per torque in the mesh μ, 1.
    pub load_share: f64,
    /// D, N·m·s/rad: windings shorted, at the temperature of the air.
    pub brake: f64,
    /// T_p, N·m.
    pub peak_nm: f64,
}

impl Unit {
    /// From a unit on its disc.
    ///
    /// # Errors
    /// The unit stands on another mounting.
    pub fn of(plant: &PlantParameters) -> Result<Self, String> {
        let FarSide::Disc { inertia_kg_m2: disc } = plant.mounting.far_side else {
            return Err("only a free rim goes on turning".to_owned());
        };
        let gear = plant.gear;
        let (motor, output) = (&plant.motor_friction, &plant.output_friction);
        let m = &plant.motor;
        let rotor_kg_m2 = m.ratio * m.ratio * plant.rotor_kg_m2;
        let air = plant.heat.ambient_degc - 20.0;
        let flux = 1.0 - m.flux_loss_per_k * air;
        let resistance = m.resistance_ohm * (1.0 + COPPER_PER_K * air);
        Ok(Self {
            inertia_kg_m2: rotor_kg_m2 + gear.map_or(0.0, |gear| gear.shaft_kg_m2) + plant.hub_kg_m2 + disc,
            rotor_kg_m2,
            motor_coulomb_nm: motor.coulomb_nm,
            coulomb_nm: motor.coulomb_nm + output.coulomb_nm,
            motor_viscous: motor.viscous_nm_s_per_rad,
            viscous: motor.viscous_nm_s_per_rad
                + output.viscous_nm_s_per_rad
                + gear.map_or(0.0, |gear| gear.shaft_viscous_nm_s_per_rad),
            load_share: gear.map_or(0.0, |gear| gear.load_share),
            brake: flux
                * flux
                * m.torque_constant_nm_per_a
                * m.back_emf_v_s_per_rad
                * m.ratio
                * m.ratio
                * m.efficiency
                / resistance,
            peak_nm: plant.torque.peak_nm * flux,
        })
    }

    /// What slows it while the motor's side takes `held_nm + damping·ω` besides its friction.
    pub fn slowed_by(&self, held_nm: f64, damping: f64) -> Coasting {
        let mesh = self.load_share / (1.0 - self.load_share);
        let norm = 1.0 + mesh * self.rotor_kg_m2 / self.inertia_kg_m2;
        let constant = self.coulomb_nm + held_nm + mesh * (self.motor_coulomb_nm + held_nm);
        let per_speed = self.viscous + damping + mesh * (self.motor_viscous + damping);
        Coasting {
            inertia_kg_m2: self.inertia_kg_m2,
            constant_nm: constant / norm,
            per_speed_nm_s_per_rad: per_speed / norm,
        }
    }
}

/// Travel of a rim that coasts from `speed_rad_s`, rad.
pub fn coasting_rad(unit: &Unit, speed_rad_s: f64) -> f64 {
    unit.slowed_by(0.0, 0.0).angle_rad(speed_rad_s, 0.0)
}

/// Travel of a rim that is braked from `speed_rad_s` for at most `brake_time_s` and then coasts, rad.
pub fn braking_rad(unit: &Unit, speed_rad_s: f64, brake_time_s: f64) -> f64 {
    let (mut speed, mut left_s, mut travel) = (speed_rad_s, brake_time_s, 0.0);
    let knee = unit.peak_nm / unit.brake;
    let phases = [
        (unit.slowed_by(unit.peak_nm, 0.0), knee),
        (unit.slowed_by(0.0, unit.brake), 0.0),
    ];
    for (phase, until) in phases {
        if speed > until && left_s > 0.0 {
            let time = phase.time_s(speed, until).min(left_s);
            let next = phase.speed_after_rad_s(speed, time).max(until);
            travel += phase.angle_rad(speed, next);
            left_s -= time;
            speed = next;
        }
    }
    travel + coasting_rad(unit, speed)
}
