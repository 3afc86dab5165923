//! The shape sampled on a fine grid, for one size of step and any friction.

use super::shape::{SensorForm, ShapeModel};

/// What the drive is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Demand {
    /// Commanded change, N·m; above 0.
    pub(crate) change_nm: f64,
    /// Share that comes at once, and how much later the rest comes, s; a poll may fall into the short time over which a
    /// rig spreads a jump, and the next poll then finds the rest.
    pub(crate) split: Option<(f64, f64)>,
}

/// How and how long to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct View {
    pub(crate) form: SensorForm,
    pub(crate) sensor_delay_s: f64,
    pub(crate) with_hub: bool,
    /// Whether something turns between two stages of the drive; with a hub alone.
    pub(crate) with_shaft: bool,
    pub(crate) until_s: f64,
    /// Friction is tabulated at zero, this and twice this, N·m.
    pub(crate) friction_node_nm: f64,
}

/// Value and derivatives of the shape at one instant.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Point {
    /// Torque, N·m.
    pub(crate) nm: f64,
    /// Its rate, N·m/s.
    pub(crate) rate: f64,
    /// Its derivative with respect to friction, 1.
    pub(crate) by_friction: f64,
}

/// Torque from onset, as a quadratic in the friction that a repeat has to turn round. Friction changes the torque by far
/// less than the step, so the quadratic is good to a few thousandths of its effect.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    node_nm: f64,
    /// At each instant: value and slope (per grid step) at the three frictions.
    rows: Vec<[[f64; NODES]; 2]>,
}

const NODES: usize = 3;

/// Grid of the table. Lags down to 50 us stay accurate to 1e-4 of the amplitude under Runge–Kutta, and cubic
/// interpolation adds less than 1e-7.
const STEP_S: f64 = 25e-6;

/// Rotor angle and speed, bristle, hub angle and speed, sensor and its rate, shaft angle and speed; each at the three
/// frictions.
const STATES: usize = 9;
type Lane = [f64; NODES];
type State = [Lane; STATES];

impl Table {
    /// Integrates the model up to `until_s` after onset.
    pub(crate) fn new(model: &ShapeModel, demand: Demand, view: View) -> Self {
        let steps = (view.until_s.max(STEP_S) / STEP_S).ceil() as usize + 2;
        let rates = Rates::new(model, demand, view);
        let mut rows = Vec::with_capacity(steps);
        let mut x: State = [[0.0; NODES]; STATES];
        let half = 0.5 * STEP_S;
        let mut now = rates.drive(0.0);
        for i in 0..steps {
            let t = i as f64 * STEP_S;
            let (mid, next) = (rates.drive(t + half), rates.drive(t + STEP_S));
            let k1 = rates.at(now, &x);
            rows.push(rates.read(&x, &k1));
            let k2 = rates.at(mid, &add(&x, &k1, half));
            let k3 = rates.at(mid, &add(&x, &k2, half));
            let k4 = rates.at(next, &add(&x, &k3, STEP_S));
            for j in 0..STATES {
                for n in 0..NODES {
                    x[j][n] += STEP_S / 6.0 * (k1[j][n] + 2.0 * (k2[j][n] + k3[j][n]) + k4[j][n]);
                }
            }
            now = next;
        }
        for row in &mut rows {
            row[1].iter_mut().for_each(|v| *v *= STEP_S);
        }
        Self {
            node_nm: view.friction_node_nm,
            rows,
        }
    }

    /// The shape at `t_s` after onset with friction `friction_nm`; nothing before onset, the last value after the end.
    pub(crate) fn at(&self, t_s: f64, friction_nm: f64) -> Point {
        if t_s <= 0.0 {
            return Point::default();
        }
        let s = t_s / STEP_S;
        let i = (s as usize).min(self.rows.len() - 2);
        let s = (s - i as f64).min(1.0);
        let ([a, da], [b, db]) = (self.rows[i], self.rows[i + 1]);
        // Quadratic through the nodes: weights and their derivatives.
        let q = friction_nm / self.node_nm;
        let w = [0.5 * (q - 1.0) * (q - 2.0), q * (2.0 - q), 0.5 * q * (q - 1.0)];
        let dw = [q - 1.5, 2.0 - 2.0 * q, q - 0.5];
        // Cubic Hermite in time.
        let (s2, s3) = (s * s, s * s * s);
        let h = [
            2.0 * s3 - 3.0 * s2 + 1.0,
            s3 - 2.0 * s2 + s,
            3.0 * s2 - 2.0 * s3,
            s3 - s2,
        ];
        let g = [
            6.0 * (s2 - s),
            3.0 * s2 - 4.0 * s + 1.0,
            6.0 * (s - s2),
            3.0 * s2 - 2.0 * s,
        ];
        let mut point = Point::default();
        for n in 0..NODES {
            let v = h[0] * a[n] + h[1] * da[n] + h[2] * b[n] + h[3] * db[n];
            point.nm += w[n] * v;
            point.by_friction += dw[n] * v;
            point.rate += w[n] * (g[0] * a[n] + g[1] * da[n] + g[2] * b[n] + g[3] * db[n]);
        }
        point.by_friction /= self.node_nm;
        point.rate /= STEP_S;
        point
    }
}

fn add(x: &State, k: &State, h: f64) -> State {
    let mut y = *x;
    for j in 0..STATES {
        for n in 0..NODES {
            y[j][n] += h * k[j][n];
        }
    }
    y
}

/// Coefficients of the equations of motion. The rig's stiffness is the unit of stiffness, so angles are in N·m.
struct Rates {
    form: SensorForm,
    sensor_delay_s: f64,
    /// Corner of the second-order sensor filter, rad/s.
    corner: f64,
    lag_s: f64,
    /// When the demand's rate changes, and by how much.
    knots: Vec<(f64, f64)>,
    friction: Lane,
    ratio: f64,
    rotor_inertia: f64,
    hub_inertia: f64,
    drive_loss: f64,
    rotor_loss: f64,
    rig_lead_s: f64,
    presliding: f64,
    /// Both springs in series.
    series: f64,
    /// Without a hub the rotor alone moves, on both springs in series.
    with_hub: bool,
    /// Stiffness of both stages and inertia between them.
    shaft: Option<[f64; 3]>,
}

impl Rates {
    fn new(model: &ShapeModel, demand: Demand, view: View) -> Self {
        let k = model.stiffness_ratio;
        let series = k / (1.0 + k);
        let (w, w2) = (
            std::f64::consts::TAU * model.resonance_hz,
            std::f64::consts::TAU * model.hub_hz,
        );
        let slew = model.slew_nm_per_s;
        let ramp_s = model.gain * demand.change_nm / slew;
        let knots = match demand.split {
            Some((share, later_s)) if share * ramp_s < later_s => vec![
                (0.0, slew),
                (share * ramp_s, -slew),
                (later_s, slew),
                (later_s + (1.0 - share) * ramp_s, -slew),
            ],
            _ => vec![(0.0, slew), (ramp_s, -slew)],
        };
        // A delay shorter than the grid resolves is as good as pure.
        let form = if view.sensor_delay_s < 2.0 * STEP_S {
            SensorForm::Pure
        } else {
            view.form
        };
        let node = view.friction_node_nm;
        Self {
            form,
            sensor_delay_s: view.sensor_delay_s,
            corner: 2.0_f64.sqrt() / view.sensor_delay_s,
            lag_s: model.lag_s,
            knots,
            friction: [0.0, node, 2.0 * node],
            ratio: k,
            rotor_inertia: series / (w * w),
            hub_inertia: (1.0 + k) / (w2 * w2),
            drive_loss: 2.0 * model.drive_damping * k / w,
            rotor_loss: 2.0 * model.rotor_damping * series / w,
            rig_lead_s: model.rig_lead_s,
            presliding: model.presliding_nm / series,
            series,
            with_hub: view.with_hub,
            shaft: view.with_shaft.then(|| {
                // In series they are the drive's stiffness.
                let (first, second) = (k * (1.0 + model.stage_ratio), k * (1.0 + 1.0 / model.stage_ratio));
                let w3 = std::f64::consts::TAU * model.shaft_hz;
                [first, second, (first + second) / (w3 * w3)]
            }),
        }
    }

    fn at(&self, drive_nm: f64, x: &State) -> State {
        let mut out = [[0.0; NODES]; STATES];
        for n in 0..NODES {
            let (angle, speed, bristle) = (x[0][n], x[1][n], x[2][n]);
            let (hub_angle, hub_speed) = (x[3][n], x[4][n]);
            // Dahl friction: the rise does not last long enough to tell a Stribeck curve.
            out[2][n] = (speed - speed.abs() * bristle) / self.presliding;
            let rig_held = hub_angle + self.rig_lead_s * hub_speed;
            // Torque on the rotor's side of the drive, on the rim's side of it, and through the rig.
            let (rotor_side, rim_side, rig) = if let Some([first, second, inertia]) = self.shaft {
                let lead_s = self.drive_loss / self.ratio;
                let through = |k: f64, twist: f64, rate: f64| k * (twist + lead_s * rate);
                let rotor_side = through(first, angle - x[7][n], speed - x[8][n]);
                let rim_side = through(second, x[7][n] - hub_angle, x[8][n] - hub_speed);
                out[7][n] = x[8][n];
                out[8][n] = (rotor_side - rim_side) / inertia;
                (rotor_side, rim_side, rig_held)
            } else if self.with_hub {
                let drive = self.ratio * (angle - hub_angle) + self.drive_loss * (speed - hub_speed);
                (drive, drive, rig_held)
            } else {
                let torque = self.series * (angle + self.massless_lead() * speed);
                (torque, torque, torque)
            };
            out[0][n] = speed;
            out[1][n] = (drive_nm - self.friction[n] * bristle - self.rotor_loss * speed - rotor_side)
                / self.rotor_inertia;
            out[3][n] = hub_speed;
            out[4][n] = (rim_side - rig) / self.hub_inertia;
            match self.form {
                SensorForm::Pure => {}
                SensorForm::FirstOrder => out[5][n] = (rig - x[5][n]) / self.sensor_delay_s,
                SensorForm::SecondOrder => {
                    let w = self.corner;
                    out[5][n] = x[6][n];
                    out[6][n] = w * (w * (rig - x[5][n]) - 2.0_f64.sqrt() * x[6][n]);
                }
            }
        }
        out
    }

    /// Damping of both springs in series over their stiffness, as far as it is small.
    fn massless_lead(&self) -> f64 {
        self.rig_lead_s * self.series + self.drive_loss / self.ratio * (1.0 - self.series)
    }

    /// Torque that the sensor shows, and its rate.
    fn read(&self, x: &State, rates: &State) -> [Lane; 2] {
        match self.form {
            SensorForm::FirstOrder | SensorForm::SecondOrder => [x[5], rates[5]],
            SensorForm::Pure => {
                let of = |x: &State, n: usize| {
                    if self.with_hub {
                        x[3][n] + self.rig_lead_s * x[4][n]
                    } else {
                        self.series * (x[0][n] + self.massless_lead() * x[1][n])
                    }
                };
                [
                    std::array::from_fn(|n| of(x, n)),
                    std::array::from_fn(|n| of(rates, n)),
                ]
            }
        }
    }

    /// The limited ramp after the first-order lag, in closed form.
    fn drive(&self, t: f64) -> f64 {
        let lagged = |t: f64| {
            if t > 0.0 {
                t + self.lag_s * (-t / self.lag_s).exp_m1()
            } else {
                0.0
            }
        };
        self.knots.iter().map(|(at, rate)| rate * lagged(t - at)).sum()
    }
}
