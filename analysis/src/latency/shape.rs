//! The shape of the rise: torque at the sensor after a setpoint has come into force without delay.

use serde::{Deserialize, Serialize};

/// How the declared sensor delay arises. All have that delay at low frequency; they bend the onset differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorForm {
    /// A pipeline or a linear-phase filter: the waveform arrives late but unbent.
    Pure,
    /// A first-order lag with that time constant.
    FirstOrder,
    /// A second-order Butterworth low-pass, the usual amplifier with its anti-alias filter.
    SecondOrder,
}

/// Parameters of the shared shape: a rotor driven through ramp and lag, on a spring (belt, gears, shaft) to a hub, which
/// the rig's spring holds. Only the delay is a measurand here; the others are what the fit needed to tell delay from
/// rise, and beyond the first peak they are not to be relied on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeModel {
    /// Torque reached per torque commanded, before friction.
    pub gain: f64,
    /// Duration of the ramp that the slew limit makes of the step, s.
    pub ramp_s: f64,
    /// Time constant of the first-order lag (current loop), s.
    pub lag_s: f64,
    /// Natural frequency of the rotor on drive and rig springs in series, the hub taken as massless, Hz.
    pub resonance_hz: f64,
    /// Damping ratio of that mode by the drive spring's own damping, if it alone moved.
    pub drive_damping: f64,
    /// Damping ratio of that mode by damping of the rotor.
    pub rotor_damping: f64,
    /// Friction on the rotor as a fraction of the commanded change.
    pub friction: f64,
    /// Pre-sliding travel as a fraction of the rotor's travel under the commanded change.
    pub presliding: f64,
    /// Natural frequency of the hub between both springs, the rotor held, Hz.
    pub hub_hz: f64,
    /// Stiffness of the drive as a multiple of the rig's.
    pub stiffness_ratio: f64,
}

/// Number of shape parameters.
pub(crate) const PARAMETERS: usize = 10;

impl ShapeModel {
    /// Logarithms, in which the fit works: all parameters are positive and known by their order of magnitude.
    pub(crate) fn to_logs(&self) -> [f64; PARAMETERS] {
        [
            self.gain,
            self.ramp_s,
            self.lag_s,
            self.resonance_hz,
            self.drive_damping,
            self.rotor_damping,
            self.friction,
            self.presliding,
            self.hub_hz,
            self.stiffness_ratio,
        ]
        .map(f64::ln)
    }

    pub(crate) fn from_logs(p: &[f64]) -> Self {
        let value = |i: usize| p[i].exp();
        Self {
            gain: value(0),
            ramp_s: value(1),
            lag_s: value(2),
            resonance_hz: value(3),
            drive_damping: value(4),
            rotor_damping: value(5),
            friction: value(6),
            presliding: value(7),
            hub_hz: value(8),
            stiffness_ratio: value(9),
        }
    }
}

/// The shape sampled on a fine grid from onset, with its slope, for a commanded change of 1.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    step_s: f64,
    value: Vec<f64>,
    slope: Vec<f64>,
}

/// Grid of the table. Lags down to 50 us stay accurate to 1e-4 of the amplitude under Runge–Kutta, and cubic
/// interpolation adds less than 1e-7.
const STEP_S: f64 = 25e-6;

/// State: rotor angle and speed, bristle, hub angle and speed, sensor and its rate.
type State = [f64; 7];

impl Table {
    /// Integrates the model up to `until_s` after onset.
    pub(crate) fn new(
        model: &ShapeModel,
        form: SensorForm,
        sensor_delay_s: f64,
        until_s: f64,
        with_hub: bool,
    ) -> Self {
        let steps = (until_s.max(STEP_S) / STEP_S).ceil() as usize + 2;
        // A delay shorter than the grid resolves is as good as pure.
        let form = if sensor_delay_s < 2.0 * STEP_S {
            SensorForm::Pure
        } else {
            form
        };
        let rates = Rates::new(model, form, sensor_delay_s, with_hub);
        let (mut value, mut slope) = (Vec::with_capacity(steps), Vec::with_capacity(steps));
        let mut x: State = [0.0; 7];
        for i in 0..steps {
            let t = i as f64 * STEP_S;
            let k1 = rates.at(t, &x);
            let (now, rate) = match form {
                SensorForm::Pure if with_hub => (x[3], x[4]),
                SensorForm::Pure => (rates.series * x[0], rates.series * x[1]),
                SensorForm::FirstOrder => (x[5], k1[5]),
                SensorForm::SecondOrder => (x[5], x[6]),
            };
            value.push(model.gain * now);
            slope.push(model.gain * rate);
            let half = 0.5 * STEP_S;
            let k2 = rates.at(t + half, &add(&x, &k1, half));
            let k3 = rates.at(t + half, &add(&x, &k2, half));
            let k4 = rates.at(t + STEP_S, &add(&x, &k3, STEP_S));
            for j in 0..x.len() {
                x[j] += STEP_S / 6.0 * (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j]);
            }
        }
        Self {
            step_s: STEP_S,
            value,
            slope,
        }
    }

    /// Value and slope at `t` after onset; nothing before it, the last value after the end.
    pub(crate) fn at(&self, t: f64) -> (f64, f64) {
        if t <= 0.0 {
            return (0.0, 0.0);
        }
        let h = self.step_s;
        let i = (t / h) as usize;
        if i + 1 >= self.value.len() {
            return (self.value[self.value.len() - 1], 0.0);
        }
        let s = t / h - i as f64;
        let (a, b) = (self.value[i], self.value[i + 1]);
        let (da, db) = (self.slope[i] * h, self.slope[i + 1] * h);
        // Cubic Hermite.
        let (c, d) = (3.0 * (b - a) - 2.0 * da - db, 2.0 * (a - b) + da + db);
        (
            a + s * (da + s * (c + s * d)),
            (da + s * (2.0 * c + 3.0 * s * d)) / h,
        )
    }
}

fn add(x: &State, k: &State, h: f64) -> State {
    std::array::from_fn(|i| x[i] + h * k[i])
}

/// Coefficients of the equations of motion, with the rig's stiffness as the unit of stiffness and the hub's deflection
/// under the commanded change as the unit of angle.
struct Rates<'m> {
    model: &'m ShapeModel,
    form: SensorForm,
    sensor_delay_s: f64,
    /// Corner of the second-order sensor filter, rad/s.
    corner: f64,
    rotor_inertia: f64,
    hub_inertia: f64,
    drive_loss: f64,
    rotor_loss: f64,
    presliding: f64,
    /// Both springs in series.
    series: f64,
    /// Without a hub the rotor alone moves, on both springs in series.
    with_hub: bool,
}

impl<'m> Rates<'m> {
    fn new(model: &'m ShapeModel, form: SensorForm, sensor_delay_s: f64, with_hub: bool) -> Self {
        let k = model.stiffness_ratio;
        let series = k / (1.0 + k);
        let (w, w2) = (
            std::f64::consts::TAU * model.resonance_hz,
            std::f64::consts::TAU * model.hub_hz,
        );
        Self {
            model,
            form,
            sensor_delay_s,
            corner: 2.0_f64.sqrt() / sensor_delay_s,
            rotor_inertia: series / (w * w),
            hub_inertia: (1.0 + k) / (w2 * w2),
            drive_loss: 2.0 * model.drive_damping * k / w,
            rotor_loss: 2.0 * model.rotor_damping * series / w,
            presliding: model.presliding / series,
            series,
            with_hub,
        }
    }

    fn at(&self, t: f64, x: &State) -> State {
        let m = self.model;
        let [angle, speed, bristle, hub, hub_speed, sensor, sensor_rate] = *x;
        // Dahl friction: the rise does not last long enough to tell a Stribeck curve.
        let bristle_rate = (speed - speed.abs() * bristle) / self.presliding;
        let (drive, hub) = if self.with_hub {
            (
                m.stiffness_ratio * (angle - hub) + self.drive_loss * (speed - hub_speed),
                hub,
            )
        } else {
            (self.series * angle, self.series * angle)
        };
        let accel =
            (self.drive(t) - m.friction * bristle - self.rotor_loss * speed - drive) / self.rotor_inertia;
        let hub_accel = (drive - hub) / self.hub_inertia;
        let (ds, dds) = match self.form {
            SensorForm::Pure => (0.0, 0.0),
            SensorForm::FirstOrder => ((hub - sensor) / self.sensor_delay_s, 0.0),
            SensorForm::SecondOrder => {
                let w = self.corner;
                (
                    sensor_rate,
                    w * w * (hub - sensor) - 2.0_f64.sqrt() * w * sensor_rate,
                )
            }
        };
        [speed, accel, bristle_rate, hub_speed, hub_accel, ds, dds]
    }

    /// The limited ramp after the first-order lag, in closed form.
    fn drive(&self, t: f64) -> f64 {
        let (ramp, lag) = (self.model.ramp_s, self.model.lag_s);
        let lagged = |t: f64| {
            if t > 0.0 {
                t + lag * (-t / lag).exp_m1()
            } else {
                0.0
            }
        };
        (lagged(t) - lagged(t - ramp)) / ramp
    }
}
