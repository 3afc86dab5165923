//! A whole drive, moment by moment, by Runge and Kutta's fourth-order steps.

use alloc::{string::String, vec::Vec};
use core::fmt;

use crate::{
    car::Car,
    kerb::Kerb,
    manoeuvre::{KERB_AT_S, Manoeuvre},
    motion::{Outside, STATES, State, forces, rate},
    road::{Class, Profile},
    steering::rim_torque_nm,
    tyre::Grip,
};

/// Longest step, s: the wheels hop at some 12 Hz, and slip lags by milliseconds at speed.
const STEP_S: f64 = 0.5e-3;

/// What is driven.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// The car.
    pub car: Car,
    /// What the driver does.
    pub manoeuvre: Manoeuvre,
    /// Speed, steady, m/s; 5 to 100.
    pub speed_m_per_s: f64,
    /// Roughness; a smooth road if none.
    pub road: Option<Class>,
    /// Kerb under the right-hand wheels, for [`Manoeuvre::KerbStrike`].
    pub kerb: Kerb,
    /// Seed of the road.
    pub seed: u64,
    /// Moments a second; 50 to 4000.
    pub rate_hz: f64,
}

/// One moment of a drive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    /// Time, s.
    pub t_s: f64,
    /// Torque at the rim, clockwise, N·m.
    pub torque_nm: f64,
    /// Angle of the rim, rad.
    pub rim_rad: f64,
    /// Slip angle of the front contact, rad.
    pub slip_rad: f64,
    /// Side force of the front axle, N.
    pub side_n: f64,
    /// Pneumatic trail of the front tyres, m.
    pub trail_m: f64,
    /// Load of the front axle, N.
    pub load_n: f64,
}

/// A value outside what the model is for.
#[derive(Clone, Debug, PartialEq)]
pub struct OutOfRange {
    /// Which value.
    pub what: String,
    /// As given.
    pub value: f64,
    /// Least and greatest.
    pub allowed: [f64; 2],
    /// Its unit.
    pub unit: &'static str,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [low, high] = self.allowed;
        let Self {
            what, value, unit, ..
        } = self;
        write!(
            f,
            "{what} of {value} {unit}: the model holds from {low} to {high} {unit}"
        )
    }
}

impl core::error::Error for OutOfRange {}

impl Drive {
    /// The moments from the start to the end, evenly spaced. The first one is at rest, straight ahead.
    ///
    /// # Errors
    /// [`OutOfRange`] for a speed, a rate or a kerb that the model does not hold for.
    pub fn moments(&self) -> Result<Vec<Moment>, OutOfRange> {
        self.check()?;
        let (car, u) = (&self.car, self.speed_m_per_s);
        let duration_s = self.manoeuvre.duration_s();
        let half_contact_m = car.front.half_contact_m;
        let [left, right] = match self.road {
            Some(class) => Profile::tracks(class, u * duration_s, half_contact_m, self.seed),
            None => [Profile::default(), Profile::default()],
        };
        // A rough road comes in over the first tenth of a second, so that the wheels start at rest.
        let comes = |t_s: f64| (10.0 * t_s).min(1.0);
        let outside = |t_s: f64, state: &State| {
            let under = |profile: &Profile| profile.at(u * t_s).map(|v| comes(t_s) * v);
            let mut road = [under(&left), under(&right)];
            if self.manoeuvre == Manoeuvre::KerbStrike {
                let [height, slope] = self.over_kerb(u * (t_s - KERB_AT_S));
                road[1][0] += height;
                road[1][1] += slope;
            }
            Outside {
                rim_rad: self.manoeuvre.rim_rad(car, u, t_s, state),
                arms_s: Manoeuvre::ARMS_S,
                rear_grip: self.manoeuvre.rear_grip(t_s),
                road,
            }
        };
        let step = |t_s: f64, y: &State, h: f64| {
            let slope = |t_s: f64, y: &State| rate(car, u, y, &outside(t_s, y));
            let on = |k: &State, h: f64| -> State { core::array::from_fn(|i| y[i] + h * k[i]) };
            let a = slope(t_s, y);
            let b = slope(t_s + h / 2.0, &on(&a, h / 2.0));
            let c = slope(t_s + h / 2.0, &on(&b, h / 2.0));
            let d = slope(t_s + h, &on(&c, h));
            core::array::from_fn(|i| y[i] + h / 6.0 * (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]))
        };
        let between_s = 1.0 / self.rate_hz;
        let steps = libm::ceil(between_s / STEP_S);
        let mut y = [0.0; STATES];
        let count = libm::floor(duration_s * self.rate_hz) as usize;
        let mut moments = Vec::with_capacity(count + 1);
        for i in 0..=count {
            let t_s = i as f64 * between_s;
            moments.push(self.moment(t_s, &y, &outside(t_s, &y)));
            let h = between_s / steps;
            for k in 0..steps as usize {
                y = step(t_s + k as f64 * h, &y, h);
            }
        }
        Ok(moments)
    }

    /// Kerb under a contact of some length: its mean over five points of it.
    fn over_kerb(&self, way_m: f64) -> [f64; 2] {
        let half = self.car.front.half_contact_m;
        let mut sum = [0.0; 2];
        for part in [-0.8, -0.4, 0.0, 0.4, 0.8] {
            let [height, slope] = self.kerb.at(way_m + part * half);
            sum = [sum[0] + 0.2 * height, sum[1] + 0.2 * slope];
        }
        sum
    }

    fn moment(&self, t_s: f64, y: &State, outside: &Outside) -> Moment {
        let forces = forces(&self.car, y, outside);
        let [left, right] = &forces.wheels;
        let axle = Grip {
            side_n: forces.front_n(),
            aligning_nm: left.grip.aligning_nm + right.grip.aligning_nm,
        };
        Moment {
            t_s,
            torque_nm: rim_torque_nm(&self.car.steering, y[4] / self.car.steering.ratio, &forces.wheels),
            rim_rad: y[4],
            slip_rad: libm::atan(y[2]),
            side_n: axle.side_n,
            trail_m: axle.trail_m(),
            load_n: left.load_n + right.load_n,
        }
    }

    fn check(&self) -> Result<(), OutOfRange> {
        let kerb = &self.kerb;
        let values = [
            ("a speed", self.speed_m_per_s, [5.0, 100.0], "m/s"),
            ("a rate", self.rate_hz, [50.0, 4000.0], "Hz"),
            ("the height of a kerb", kerb.height_m, [0.0, 0.1], "m"),
            ("the length of a tooth", kerb.length_m, [0.1, 5.0], "m"),
            ("the spacing of teeth", kerb.spacing_m, [kerb.length_m, 50.0], "m"),
            ("the number of teeth", f64::from(kerb.teeth), [1.0, 100.0], ""),
        ];
        for (what, value, allowed, unit) in values {
            if !(value >= allowed[0] && value <= allowed[1]) {
                return Err(OutOfRange {
                    what: what.into(),
                    value,
                    allowed,
                    unit,
                });
            }
        }
        Ok(())
    }
}
