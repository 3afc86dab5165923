//! A car as numbers.

use crate::{GRAVITY_M_PER_S2, tyre::Brush};

/// A car on a single track, with two front wheels that follow the road each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Car {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Inertia about the upright axis, kg·m².
    pub yaw_inertia_kg_m2: f64,
    /// From the centre of mass forward to the front axle, m.
    pub to_front_m: f64,
    /// From the centre of mass back to the rear axle, m.
    pub to_rear_m: f64,
    /// Both front tyres together.
    pub front: Brush,
    /// Both rear tyres together.
    pub rear: Brush,
    /// Distance rolled over which side slip builds up, m.
    pub relaxation_m: f64,
    /// Friction of tyre and road.
    pub friction: f64,
    /// Steering geometry.
    pub steering: Steering,
    /// One front wheel on its springs.
    pub corner: Corner,
}

/// Steering geometry, the same on both sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steering {
    /// Turn of the rim for a turn of the wheels.
    pub ratio: f64,
    /// Tilt of the steering axis backwards, rad.
    pub caster_rad: f64,
    /// Tilt of the steering axis inwards, rad.
    pub inclination_rad: f64,
    /// From the steering axis outwards to the middle of the contact, on the ground, m.
    pub scrub_m: f64,
    /// Radius of the tyre under load, m.
    pub tyre_radius_m: f64,
}

impl Steering {
    /// How far ahead of the contact the steering axis meets the ground, m.
    pub fn mechanical_trail_m(&self) -> f64 {
        self.tyre_radius_m * libm::tan(self.caster_rad)
    }
}

/// A front wheel and its quarter of the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Body's part, kg.
    pub sprung_kg: f64,
    /// Wheel, hub and its part of the links, kg.
    pub unsprung_kg: f64,
    /// Spring at the wheel, N/m.
    pub spring_n_per_m: f64,
    /// Damper at the wheel, N·s/m.
    pub damper_n_s_per_m: f64,
    /// Tyre, upright, N/m.
    pub tyre_n_per_m: f64,
}

impl Car {
    /// A small sports saloon with little mechanical trail, so that the tyre's own tells. Invented.
    pub const SALOON: Self = Self {
        mass_kg: 1250.0,
        yaw_inertia_kg_m2: 1700.0,
        to_front_m: 1.15,
        to_rear_m: 1.45,
        front: Brush {
            cornering_stiffness_n_per_rad: 130_000.0,
            half_contact_m: 0.065,
        },
        rear: Brush {
            cornering_stiffness_n_per_rad: 160_000.0,
            half_contact_m: 0.065,
        },
        relaxation_m: 0.35,
        friction: 1.0,
        steering: Steering {
            ratio: 14.0,
            caster_rad: 0.04,
            inclination_rad: 0.2,
            scrub_m: 0.015,
            tyre_radius_m: 0.3,
        },
        corner: Corner {
            sprung_kg: 300.0,
            unsprung_kg: 38.0,
            spring_n_per_m: 28_000.0,
            damper_n_s_per_m: 2_400.0,
            tyre_n_per_m: 210_000.0,
        },
    };

    /// From axle to axle, m.
    pub fn wheelbase_m(&self) -> f64 {
        self.to_front_m + self.to_rear_m
    }

    /// Load on the front axle at rest, N.
    pub fn front_load_n(&self) -> f64 {
        self.mass_kg * GRAVITY_M_PER_S2 * self.to_rear_m / self.wheelbase_m()
    }

    /// Load on the rear axle at rest, N.
    pub fn rear_load_n(&self) -> f64 {
        self.mass_kg * GRAVITY_M_PER_S2 * self.to_front_m / self.wheelbase_m()
    }

    /// Understeer gradient, rad per m/s²: `m/l (b/C_f - a/C_r)` (Gillespie, Fundamentals of Vehicle Dynamics, ch. 6; from
    /// memory).
    pub fn understeer_rad_s2_per_m(&self) -> f64 {
        let (front, rear) = (
            self.front.cornering_stiffness_n_per_rad,
            self.rear.cornering_stiffness_n_per_rad,
        );
        self.mass_kg / self.wheelbase_m() * (self.to_rear_m / front - self.to_front_m / rear)
    }
}
