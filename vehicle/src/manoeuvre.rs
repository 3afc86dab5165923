//! What the driver does.

use crate::{GRAVITY_M_PER_S2, car::Car, motion::State};

/// A manoeuvre. Corners are to the left, where the rim's torque is clockwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Manoeuvre {
    /// Lock is wound on steadily until the front tyres have passed their limit, held there, and taken off.
    CornerToLimit,
    /// In a steady corner power makes the rear slide; the driver steers against it.
    SlideAndCatch,
    /// Straight ahead.
    Straight,
    /// Straight ahead, a little lock against the kerb, which the right-hand wheels meet after a second.
    KerbStrike,
}

/// Front slip at the end of winding on, over that at which all of the contact slides.
const PAST: f64 = 1.3;
/// Share of the grip used by the steady corner before a slide.
const STEADY: f64 = 0.55;
/// Share of the rear grip that power leaves.
const LEFT: f64 = 0.5;
/// When the kerb comes, s.
pub const KERB_AT_S: f64 = 1.0;

impl Manoeuvre {
    /// How long it lasts, s.
    pub fn duration_s(self) -> f64 {
        match self {
            Self::CornerToLimit | Self::Straight => 8.0,
            Self::SlideAndCatch => 7.0,
            Self::KerbStrike => 4.0,
        }
    }

    /// Lag of the driver's arms, s (a tenth of a second is usual; from memory).
    pub const ARMS_S: f64 = 0.1;

    /// Angle of the rim aimed at, rad.
    pub fn rim_rad(self, car: &Car, speed_m_per_s: f64, t_s: f64, state: &State) -> f64 {
        let most = car.friction * GRAVITY_M_PER_S2;
        // What a corner at a given sideways acceleration takes, and slip of the front tyres beside it.
        let turned = |across: f64| car.wheelbase_m() * across / (speed_m_per_s * speed_m_per_s);
        let slides = car.front.slides_at(car.friction * car.front_load_n());
        match self {
            Self::CornerToLimit => {
                let aim = car.steering.ratio * (turned(most) + PAST * slides);
                let wound = (ramp(t_s, 0.5, 3.5) - ramp(t_s, 5.0, 7.0)) * aim;
                -wound
            }
            Self::SlideAndCatch => {
                let across = STEADY * most;
                let steady = turned(across) + car.understeer_rad_s2_per_m() * across;
                // Towards where the rear goes; the more the front points into the corner, the more.
                let [_, rear] = crate::motion::wheel_slips(car, speed_m_per_s, state);
                let calm =
                    -across * car.rear_load_n() / GRAVITY_M_PER_S2 / car.rear.cornering_stiffness_n_per_rad;
                let against = (calm - rear).max(0.0) * ramp(t_s, 2.2, 2.4);
                let base = steady * (ramp(t_s, 0.5, 1.5) - ramp(t_s, 5.0, 6.0));
                car.steering.ratio * (against - base)
            }
            Self::Straight => 0.0,
            Self::KerbStrike => 0.1 * ramp(t_s, 0.3, 0.6),
        }
    }

    /// Share of the rear grip left for cornering.
    pub fn rear_grip(self, t_s: f64) -> f64 {
        match self {
            Self::SlideAndCatch => 1.0 - (1.0 - LEFT) * (ramp(t_s, 2.0, 2.2) - ramp(t_s, 2.8, 3.2)),
            _ => 1.0,
        }
    }
}

/// From 0 to 1 between two instants, without corners: half a cosine.
fn ramp(t_s: f64, from_s: f64, to_s: f64) -> f64 {
    let part = ((t_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0);
    0.5 - 0.5 * libm::cos(core::f64::consts::PI * part)
}
