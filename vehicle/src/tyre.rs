//! The brush tyre: elastic bristles that adhere at the front of the contact and slide at its end, under pressure that falls
//! to both ends as a parabola (Pacejka, Tire and Vehicle Dynamics, 3rd ed., ch. 3; the closed forms from memory, held in a
//! test against the integral over the contact that they come from).

/// A tyre in pure side slip. One value for an axle as well: two tyres side by side have twice the stiffness.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Brush {
    /// Side force per slip at small slip, N/rad.
    pub cornering_stiffness_n_per_rad: f64,
    /// Half the length of the contact, m.
    pub half_contact_m: f64,
}

/// What a tyre does to its wheel. Both have the sign of the slip.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Grip {
    /// Side force, N.
    pub side_n: f64,
    /// Torque that turns the wheel towards its way, N·m.
    pub aligning_nm: f64,
}

impl Grip {
    /// How far behind the middle of the contact the side force acts, m; 0 without one.
    pub fn trail_m(&self) -> f64 {
        if self.side_n == 0.0 {
            0.0
        } else {
            self.aligning_nm / self.side_n
        }
    }
}

impl Brush {
    /// Least slip (tangent of the slip angle) at which all of the contact slides, under a greatest side force (friction
    /// times load) of `most_n`: `3 μF/C`.
    pub fn slides_at(&self, most_n: f64) -> f64 {
        3.0 * most_n / self.cornering_stiffness_n_per_rad
    }

    /// Force and torque at a slip (tangent of the slip angle) under a greatest side force of `most_n`.
    ///
    /// `λ = 1 - |slip|/slides_at` is the part of the contact that adheres, from its front:
    /// `F = μF (1 - λ³)`, `M = μF a λ³ (1 - λ)`; `F = μF`, `M = 0` where all slides. A wheel without load has neither.
    pub fn grip(&self, slip: f64, most_n: f64) -> Grip {
        if most_n <= 0.0 {
            return Grip::default();
        }
        let adheres = (1.0 - libm::fabs(slip) / self.slides_at(most_n)).max(0.0);
        let cube = adheres * adheres * adheres;
        let sign = if slip < 0.0 { -1.0 } else { 1.0 };
        Grip {
            side_n: sign * most_n * (1.0 - cube),
            aligning_nm: sign * most_n * self.half_contact_m * cube * (1.0 - adheres),
        }
    }
}

/// Rate at which the slip of the contact follows that of the wheel, 1/s: a first-order lag over the distance rolled
/// (relaxation length), `dσ/dt = (u/length)(slip - σ)`.
pub fn slip_rate(wheel_slip: f64, contact_slip: f64, speed_m_per_s: f64, length_m: f64) -> f64 {
    libm::fabs(speed_m_per_s) / length_m * (wheel_slip - contact_slip)
}
