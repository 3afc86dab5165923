//! What the drive of a back-driven mounting does: legs, each at its own speed over its own angle.
//!
//! After `start` the drive turns by the first angle at the first speed (its sign is the direction), starting and ending at
//! rest with `acceleration`; rests for `pause`; turns at the next speed, and so on, over and over or once. A leg takes
//! `angle/|v| + |v|/acceleration`. The speed is piecewise linear in time, the angle its exact integral.
//!
//! The drive is an ideal one: it holds its speed whatever the torque. Nothing on the link commands it; a later message
//! that carried speed, acceleration and an expiry as setpoints have one would replace the script by what arrives, and
//! a drive without a fresh message would ramp to rest.
//!
//! rad, rad/s, rad/s², s.

/// The script of the drive.
#[derive(Debug, Clone, PartialEq)]
pub struct TurningParameters {
    /// Rest before the first leg, s; 0 or more.
    pub start_s: f64,
    /// Speed of each leg, rad/s; not 0.
    pub speeds_rad_s: Vec<f64>,
    /// Angle of each leg, rad, as many as speeds; above 0, at least `v²/acceleration`.
    pub angles_rad: Vec<f64>,
    /// Acceleration, rad/s²; above 0.
    pub acceleration_rad_s2: f64,
    /// Rest after each leg, s; 0 or more.
    pub pause_s: f64,
    /// Whether it starts anew after the last leg.
    pub repeats: bool,
}

impl TurningParameters {
    /// Speed, rad/s, and angle, rad, of each leg.
    pub fn legs(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.speeds_rad_s
            .iter()
            .copied()
            .zip(self.angles_rad.iter().copied())
    }

    /// Time of one leg without its pause, s.
    pub fn leg_s(&self, speed_rad_s: f64, angle_rad: f64) -> f64 {
        angle_rad / speed_rad_s.abs() + speed_rad_s.abs() / self.acceleration_rad_s2
    }

    /// The least and the greatest angle at the ends of the legs of one pass, and the angle at its end, rad.
    pub fn excursion_rad(&self) -> ([f64; 2], f64) {
        let (mut least, mut greatest, mut at) = (0.0_f64, 0.0_f64, 0.0_f64);
        for (speed, angle) in self.legs() {
            at += angle.copysign(speed);
            least = least.min(at);
            greatest = greatest.max(at);
        }
        ([least, greatest], at)
    }
}

/// One leg with its beginning.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Leg {
    start_s: f64,
    from_rad: f64,
    speed_rad_s: f64,
    angle_rad: f64,
    turns_s: f64,
}

/// The script laid out in time.
#[derive(Debug, Clone)]
pub struct Turning {
    parameters: TurningParameters,
    legs: Vec<Leg>,
    pass_s: f64,
    pass_rad: f64,
}

impl Turning {
    /// Lays the legs out.
    pub fn new(parameters: TurningParameters) -> Self {
        let (mut start_s, mut from_rad) = (0.0, 0.0);
        let legs = parameters
            .legs()
            .map(|(speed_rad_s, angle_rad)| {
                let turns_s = parameters.leg_s(speed_rad_s, angle_rad);
                let leg = Leg {
                    start_s,
                    from_rad,
                    speed_rad_s,
                    angle_rad,
                    turns_s,
                };
                start_s += turns_s + parameters.pause_s;
                from_rad += angle_rad.copysign(speed_rad_s);
                leg
            })
            .collect();
        Self {
            parameters,
            legs,
            pass_s: start_s,
            pass_rad: from_rad,
        }
    }

    /// Angle and speed at `time_s` since the rig was switched on.
    pub fn at(&self, time_s: f64) -> [f64; 2] {
        let mut t = time_s - self.parameters.start_s;
        if t <= 0.0 {
            return [0.0, 0.0];
        }
        let mut base = 0.0;
        if self.parameters.repeats {
            let passes = (t / self.pass_s).floor();
            t -= passes * self.pass_s;
            base = passes * self.pass_rad;
        }
        let place = self.legs.partition_point(|leg| leg.start_s <= t);
        match place.checked_sub(1).and_then(|index| self.legs.get(index)) {
            Some(leg) => {
                let [angle, speed] = self.within(leg, t - leg.start_s);
                [base + angle, speed]
            }
            None => [base, 0.0],
        }
    }

    fn within(&self, leg: &Leg, t: f64) -> [f64; 2] {
        let (v, a) = (leg.speed_rad_s, self.parameters.acceleration_rad_s2);
        let ramp = v.abs() / a;
        let whole = leg.angle_rad.copysign(v);
        let left = leg.turns_s - t;
        if t < ramp {
            let speed = (a * t).copysign(v);
            [leg.from_rad + 0.5 * speed * t, speed]
        } else if left > ramp {
            [leg.from_rad + v * (t - 0.5 * ramp), v]
        } else if left > 0.0 {
            let speed = (a * left).copysign(v);
            [leg.from_rad + whole - 0.5 * speed * left, speed]
        } else {
            [leg.from_rad + whole, 0.0]
        }
    }
}
