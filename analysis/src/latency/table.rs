//! The shape sampled on a fine grid, for one size of step and any friction.

use std::f64::consts::SQRT_2;

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

/// Places in a state; what turns between rotor and rig comes only where there is such a thing, the sensor's filter after it.
const ANGLE: usize = 0;
const SPEED: usize = 1;
const BRISTLE: usize = 2;
const HUB: usize = 3;
const SHAFT: usize = 5;

/// Each at the three frictions.
type Lane = [f64; NODES];
type State<const N: usize> = [Lane; N];

impl Table {
    /// Integrates the model up to `until_s` after onset.
    pub(crate) fn new(model: &ShapeModel, demand: Demand, view: View) -> Self {
        let rates = Rates::new(model, demand, view);
        let sensor = match rates.form {
            SensorForm::Pure => 0,
            SensorForm::FirstOrder => 1,
            SensorForm::SecondOrder => 2,
        };
        let rows = match rates.sensor_at + sensor {
            3 => rates.rows::<3>(view.until_s),
            4 => rates.rows::<4>(view.until_s),
            5 => rates.rows::<5>(view.until_s),
            6 => rates.rows::<6>(view.until_s),
            7 => rates.rows::<7>(view.until_s),
            8 => rates.rows::<8>(view.until_s),
            _ => rates.rows::<9>(view.until_s),
        };
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

fn add<const N: usize>(x: &State<N>, k: &State<N>, h: f64) -> State<N> {
    std::array::from_fn(|j| std::array::from_fn(|n| x[j][n] + h * k[j][n]))
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
    /// Place of the sensor's filter in the state.
    sensor_at: usize,
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
            sensor_at: match (view.with_hub, view.with_shaft) {
                (false, _) => HUB,
                (true, false) => SHAFT,
                (true, true) => SHAFT + 2,
            },
            shaft: view.with_shaft.then(|| {
                // In series they are the drive's stiffness.
                let (first, second) = (k * (1.0 + model.stage_ratio), k * (1.0 + 1.0 / model.stage_ratio));
                let w3 = std::f64::consts::TAU * model.shaft_hz;
                [first, second, (first + second) / (w3 * w3)]
            }),
        }
    }

    /// Value and slope (per grid step) at each instant, by Runge and Kutta's rule.
    fn rows<const N: usize>(&self, until_s: f64) -> Vec<[Lane; 2]> {
        let steps = (until_s.max(STEP_S) / STEP_S).ceil() as usize + 2;
        let mut rows = Vec::with_capacity(steps);
        let mut x: State<N> = [[0.0; NODES]; N];
        let half = 0.5 * STEP_S;
        let mut drive = Drive::new(self, half);
        let mut now = drive.next();
        for _ in 0..steps {
            let (mid, next) = (drive.next(), drive.next());
            let k1 = self.at(now, &x);
            let [value, rate] = self.read(&x, &k1);
            rows.push([value, rate.map(|v| v * STEP_S)]);
            let k2 = self.at(mid, &add(&x, &k1, half));
            let k3 = self.at(mid, &add(&x, &k2, half));
            let k4 = self.at(next, &add(&x, &k3, STEP_S));
            for j in 0..N {
                for n in 0..NODES {
                    x[j][n] += STEP_S / 6.0 * (k1[j][n] + 2.0 * (k2[j][n] + k3[j][n]) + k4[j][n]);
                }
            }
            now = next;
        }
        rows
    }

    /// Rates of change of a state. What is there and what not is asked outside the loops over the frictions.
    #[inline]
    fn at<const N: usize>(&self, drive_nm: f64, x: &State<N>) -> State<N> {
        let mut out = [[0.0; NODES]; N];
        let of = |f: &dyn Fn(usize) -> f64| -> Lane { std::array::from_fn(f) };
        out[ANGLE] = x[SPEED];
        // Dahl friction: the rise does not last long enough to tell a Stribeck curve.
        out[BRISTLE] = of(&|n| (x[SPEED][n] - x[SPEED][n].abs() * x[BRISTLE][n]) / self.presliding);
        // Torque on the rotor's side of the drive, on the rim's side of it, and through the rig.
        let (rotor_side, rim_side, rig): (Lane, Lane, Lane) = if self.with_hub {
            let held = of(&|n| x[HUB][n] + self.rig_lead_s * x[HUB + 1][n]);
            if let Some([first, second, inertia]) = self.shaft {
                let lead_s = self.drive_loss / self.ratio;
                let through = |k: f64, twist: f64, rate: f64| k * (twist + lead_s * rate);
                let rotor_side =
                    of(&|n| through(first, x[ANGLE][n] - x[SHAFT][n], x[SPEED][n] - x[SHAFT + 1][n]));
                let rim_side =
                    of(&|n| through(second, x[SHAFT][n] - x[HUB][n], x[SHAFT + 1][n] - x[HUB + 1][n]));
                out[SHAFT] = x[SHAFT + 1];
                out[SHAFT + 1] = of(&|n| (rotor_side[n] - rim_side[n]) / inertia);
                (rotor_side, rim_side, held)
            } else {
                let drive = of(&|n| {
                    self.ratio * (x[ANGLE][n] - x[HUB][n]) + self.drive_loss * (x[SPEED][n] - x[HUB + 1][n])
                });
                (drive, drive, held)
            }
        } else {
            let lead_s = self.massless_lead();
            let torque = of(&|n| self.series * (x[ANGLE][n] + lead_s * x[SPEED][n]));
            (torque, torque, torque)
        };
        out[SPEED] = of(&|n| {
            (drive_nm - self.friction[n] * x[BRISTLE][n] - self.rotor_loss * x[SPEED][n] - rotor_side[n])
                / self.rotor_inertia
        });
        if self.with_hub {
            out[HUB] = x[HUB + 1];
            out[HUB + 1] = of(&|n| (rim_side[n] - rig[n]) / self.hub_inertia);
        }
        let at = self.sensor_at;
        match self.form {
            SensorForm::Pure => {}
            SensorForm::FirstOrder => out[at] = of(&|n| (rig[n] - x[at][n]) / self.sensor_delay_s),
            SensorForm::SecondOrder => {
                let w = self.corner;
                out[at] = x[at + 1];
                out[at + 1] = of(&|n| w * (w * (rig[n] - x[at][n]) - SQRT_2 * x[at + 1][n]));
            }
        }
        out
    }

    /// Damping of both springs in series over their stiffness, as far as it is small.
    fn massless_lead(&self) -> f64 {
        self.rig_lead_s * self.series + self.drive_loss / self.ratio * (1.0 - self.series)
    }

    /// Torque that the sensor shows, and its rate.
    fn read<const N: usize>(&self, x: &State<N>, rates: &State<N>) -> [Lane; 2] {
        if self.form != SensorForm::Pure {
            return [x[self.sensor_at], rates[self.sensor_at]];
        }
        let of = |x: &State<N>, n: usize| {
            if self.with_hub {
                x[HUB][n] + self.rig_lead_s * x[HUB + 1][n]
            } else {
                self.series * (x[ANGLE][n] + self.massless_lead() * x[SPEED][n])
            }
        };
        [
            std::array::from_fn(|n| of(x, n)),
            std::array::from_fn(|n| of(rates, n)),
        ]
    }
}

/// The limited ramp after the first-order lag, in closed form, from one instant to the next.
struct Drive {
    step_s: f64,
    lag_s: f64,
    /// What is left of a lag after one step.
    left: f64,
    /// Rate, when it begins, and what is left of the lag's answer to it.
    knots: Vec<(f64, f64, f64)>,
    steps: f64,
}

impl Drive {
    fn new(rates: &Rates, step_s: f64) -> Self {
        Self {
            step_s,
            lag_s: rates.lag_s,
            left: (-step_s / rates.lag_s).exp(),
            knots: rates
                .knots
                .iter()
                .map(|(at, rate)| (*rate, *at, f64::NAN))
                .collect(),
            steps: 0.0,
        }
    }

    fn next(&mut self) -> f64 {
        let t = self.steps * self.step_s;
        self.steps += 1.0;
        let mut sum = 0.0;
        for (rate, at, rest) in &mut self.knots {
            let since = t - *at;
            if since > 0.0 {
                // The exponential once, then from one instant to the next.
                *rest = if rest.is_nan() {
                    (-since / self.lag_s).exp()
                } else {
                    *rest * self.left
                };
                sum += *rate * (since + self.lag_s * (*rest - 1.0));
            }
        }
        sum
    }
}
