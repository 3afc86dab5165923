//! Steady friction over speed: Coulomb by direction, Stribeck's fall and viscous rise.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

use super::axis::{Axis, TorqueScale};
use super::points::DragPoint;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Fit, Matrix, Options, minimise};
use crate::regression;

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct StribeckOptions {
    /// Units.
    pub axis: Axis,
    /// Zero and gain of the sensor.
    pub torque: TorqueScale,
    /// Significance at which Stribeck's fall must stand out before its parameters are given.
    pub significance: f64,
    /// Largest relative standard uncertainty of the Stribeck speed at which it still counts as told apart.
    pub speed_rel_u_max: f64,
}

impl Default for StribeckOptions {
    fn default() -> Self {
        Self {
            axis: Axis::Rotary,
            torque: TorqueScale::default(),
            significance: 0.01,
            speed_rel_u_max: 0.5,
        }
    }
}

/// `T(v) = sgn(v) (T_c + F exp(−(v/v_s)²)) + b v + zero`, with `T_c` and `F` of their own in either direction: so the
/// sensor's zero, which shifts `T_c` alone, does not bend the curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StribeckModel {
    /// Coulomb torque in the positive and in the negative direction, both positive, N·m.
    pub coulomb_nm: [f64; 2],
    /// Stribeck's fall, from speed zero to high speeds, in either direction, N·m.
    pub fall_nm: [f64; 2],
    /// Stribeck speed, rad/s.
    pub speed_rad_s: f64,
    /// Viscous friction, N·m·s/rad.
    pub viscous: f64,
    /// The sensor's zero, N·m, as declared.
    pub zero_nm: f64,
}

impl StribeckModel {
    /// Steady torque at a speed that is not zero.
    pub fn torque_nm(&self, speed_rad_s: f64) -> f64 {
        let (sign, k) = if speed_rad_s >= 0.0 { (1.0, 0) } else { (-1.0, 1) };
        let fall = self.fall_nm[k] * (-(speed_rad_s / self.speed_rad_s).powi(2)).exp();
        sign * (self.coulomb_nm[k] + fall) + self.viscous * speed_rad_s + self.zero_nm
    }
}

/// What a sweep over speeds says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StribeckFit {
    /// Coulomb torque, mean of both directions: free of the sensor's zero.
    pub coulomb: Outcome,
    /// In the positive direction.
    pub coulomb_positive: Outcome,
    /// In the negative direction, as a positive number.
    pub coulomb_negative: Outcome,
    /// Half the difference of the two.
    pub asymmetry: Outcome,
    /// Viscous friction.
    pub viscous: Outcome,
    /// Speed at which Stribeck's fall has come down to 1/e.
    pub stribeck_speed: Outcome,
    /// Breakaway over Coulomb torque, extrapolated to speed zero.
    pub breakaway_ratio: Outcome,
    /// Breakaway torque, the curve's value at speed zero, mean of both directions: free of the sensor's zero.
    pub breakaway: Outcome,
    /// In the positive direction.
    pub breakaway_positive: Outcome,
    /// In the negative direction, as a positive number.
    pub breakaway_negative: Outcome,
    /// The curve.
    pub model: StribeckModel,
    /// Points less curve over their uncertainty, in the order of the points.
    pub residuals: Vec<f64>,
    /// Quality checks on the whole.
    pub checks: Vec<Check>,
}

const POSITIVE: usize = 0;
const NEGATIVE: usize = 1;
const FALL: usize = 2;
const SPEED: usize = 4;
const VISCOUS: usize = 5;
const COUNT: usize = 6;

/// Fits the curve to the points of both directions: Levenberg–Marquardt with bounds from several starts, of which the
/// best end is kept. Points are weighted by their uncertainties; when they scatter by more than these allow, the
/// covariance is scaled up to the scatter.
///
/// Stribeck's fall is kept when an F test against Coulomb and viscous friction alone says so; otherwise its speed and
/// the breakaway ratio are refused, and what a fall hidden in the noise could move enters the others' budgets.
///
/// # Errors
/// [`Refusal::TooFewSamples`] below eight points or four in a direction, [`Refusal::NonFinite`],
/// [`Refusal::WrongSign`] when drag does not oppose the motion, [`Refusal::NotCovered`] when the speeds span less
/// than a factor of ten, [`Refusal::NotConverged`].
pub fn fit_stribeck(points: &[DragPoint], options: &StribeckOptions) -> Result<StribeckFit, Refusal> {
    let data = Data::new(points, options)?;
    let plain = data.plain()?;
    let full = data.full(&plain)?;
    let free = (data.v.len() - COUNT) as f64;
    let gain = ((plain.rss - full.rss) / 3.0).max(0.0) / (full.rss / free).max(f64::MIN_POSITIVE);
    let by_chance = FisherSnedecor::new(3.0, free).map_or(f64::NAN, |f| f.sf(gain));
    let falls = by_chance < options.significance && full.parameters[FALL] + full.parameters[FALL + 1] > 0.0;
    data.results(&plain, &full, falls, by_chance)
}

struct Data<'o> {
    v: Vec<f64>,
    t: Vec<f64>,
    u: Vec<f64>,
    options: &'o StribeckOptions,
}

impl<'o> Data<'o> {
    fn new(points: &[DragPoint], options: &'o StribeckOptions) -> Result<Self, Refusal> {
        let v: Vec<f64> = points.iter().map(|p| p.speed_rad_s).collect();
        let t: Vec<f64> = points
            .iter()
            .map(|p| p.torque_nm - options.torque.zero_nm)
            .collect();
        crate::statistics::all_finite("the speeds", v.iter())?;
        crate::statistics::all_finite("the drag torques", t.iter())?;
        let largest = points.iter().map(|p| p.u_nm).fold(0.0, f64::max);
        if let Some(index) = points.iter().position(|p| !p.u_nm.is_finite() || p.u_nm < 0.0) {
            return Err(Refusal::NonFinite {
                what: "the uncertainty of a drag torque".into(),
                index,
            });
        }
        // A point without scatter counts as a tenth of the worst, not as exact.
        let floor = if largest > 0.0 { 0.1 * largest } else { 1.0 };
        let u = points.iter().map(|p| p.u_nm.max(floor)).collect();
        let sides = [1.0, -1.0].map(|s| v.iter().filter(|v| **v * s > 0.0).count());
        if v.len() < 8 || sides[0].min(sides[1]) < 4 {
            return Err(Refusal::TooFewSamples {
                what: "a friction curve (four in either direction)".into(),
                got: sides[0].min(sides[1]),
                needed: 4,
            });
        }
        let sizes = || v.iter().map(|v| v.abs());
        let (low, high) = (sizes().fold(f64::INFINITY, f64::min), sizes().fold(0.0, f64::max));
        if high < 10.0 * low {
            return Err(Refusal::NotCovered {
                what: "the speeds of a friction curve, fastest over slowest".into(),
                got: high / low,
                needed: 10.0,
                unit: "times".into(),
                remedy: "add slower or faster turns, or viscous and Coulomb friction cannot be parted".into(),
            });
        }
        let drag: f64 = v.iter().zip(&t).map(|(v, t)| v.signum() * t).sum::<f64>() / v.len() as f64;
        if drag <= 0.0 {
            return Err(Refusal::WrongSign {
                what: "mean drag in the direction of motion, N·m".into(),
                commanded: 1.0,
                measured: drag,
            });
        }
        Ok(Self { v, t, u, options })
    }

    /// Coulomb by direction and viscous friction alone, over a fixed fall when `fall` is given.
    fn plain(&self) -> Result<Fit, Refusal> {
        let n = self.v.len();
        let mut x = Matrix::zeros(n, 3);
        for i in 0..n {
            let w = 1.0 / self.u[i];
            x.col_mut(POSITIVE)[i] = if self.v[i] > 0.0 { w } else { 0.0 };
            x.col_mut(NEGATIVE)[i] = if self.v[i] > 0.0 { 0.0 } else { -w };
            x.col_mut(2)[i] = self.v[i] * w;
        }
        let y: Vec<f64> = self.t.iter().zip(&self.u).map(|(t, u)| t / u).collect();
        let fit = regression::fit(&x, &y)?;
        let c = &fit.coefficients;
        let mut covariance = ndarray::Array2::zeros((COUNT, COUNT));
        let place = [POSITIVE, NEGATIVE, VISCOUS];
        for i in 0..3 {
            for j in 0..3 {
                covariance[[place[i], place[j]]] = fit.residual_sd.powi(2) * fit.inverse_gram[[i, j]];
            }
        }
        Ok(Fit {
            parameters: vec![c[0], c[1], 0.0, 0.0, self.slowest(), c[2]],
            covariance,
            at_bound: vec![false; COUNT],
            rss: fit.residual_sd.powi(2) * fit.dof as f64,
            residual_sd: fit.residual_sd,
            dof: fit.dof,
            iterations: 0,
        })
    }

    fn slowest(&self) -> f64 {
        self.v.iter().map(|v| v.abs()).fold(f64::INFINITY, f64::min)
    }

    fn fastest(&self) -> f64 {
        self.v.iter().map(|v| v.abs()).fold(0.0, f64::max)
    }

    fn residuals(&self, p: &[f64], out: &mut [f64]) {
        let model = model_of(p, 0.0);
        for (i, out) in out.iter_mut().enumerate() {
            *out = (model.torque_nm(self.v[i]) - self.t[i]) / self.u[i];
        }
    }

    fn full(&self, plain: &Fit) -> Result<Fit, Refusal> {
        let (low, high) = (0.3 * self.slowest(), self.fastest());
        let coulomb = plain.parameters[POSITIVE]
            .max(plain.parameters[NEGATIVE])
            .max(1e-9);
        let options = Options {
            lower: Some(vec![0.0, 0.0, -coulomb, -coulomb, low, f64::NEG_INFINITY]),
            upper: Some(vec![
                f64::INFINITY,
                f64::INFINITY,
                5.0 * coulomb,
                5.0 * coulomb,
                high,
                f64::INFINITY,
            ]),
            max_iterations: 200,
            x_tolerance: 1e-10,
            rss_tolerance: 1e-10,
            offset_tolerance: 1e-2,
            ..Options::default()
        };
        let mut best: Option<Fit> = None;
        let mut failure = None;
        for k in 0..8 {
            let speed = low * (high / low).powf((f64::from(k) + 0.5) / 8.0);
            for fall in [0.05, 0.5] {
                let (c, f) = (0.9 * coulomb, fall * coulomb);
                let start = [c, c, f, f, speed, plain.parameters[VISCOUS]];
                let scale = Some(vec![
                    coulomb,
                    coulomb,
                    0.5 * coulomb,
                    0.5 * coulomb,
                    speed,
                    coulomb / high,
                ]);
                let options = Options {
                    scale,
                    ..options.clone()
                };
                match minimise(&mut |p, r| self.residuals(p, r), self.v.len(), &start, &options) {
                    Ok(fit) if best.as_ref().is_none_or(|b| fit.rss < b.rss) => best = Some(fit),
                    Ok(_) => {}
                    Err(error) => failure = Some(error),
                }
            }
        }
        match (best, failure) {
            // Every start may run into a flat valley when there is no fall at all: then the plain curve is the fit.
            (Some(fit), _) if fit.rss <= plain.rss => Ok(fit),
            (None, Some(failure)) if plain.rss > self.v.len() as f64 * 4.0 => {
                Err(failure.refusal("the friction curve"))
            }
            _ => Ok(plain.clone()),
        }
    }

    /// Sum of squares at a fixed Stribeck speed over its least: a parameter is told apart when both ends of the
    /// range are clearly worse.
    fn profile_closes(&self, full: &Fit, scale: f64) -> bool {
        [0.3 * self.slowest(), self.fastest()].iter().all(|speed| {
            let mut p = full.parameters.clone();
            p[SPEED] = *speed;
            let free = [POSITIVE, NEGATIVE, FALL, FALL + 1, VISCOUS];
            let start: Vec<f64> = free.iter().map(|i| p[*i]).collect();
            let options = Options {
                max_iterations: 100,
                x_tolerance: 1e-9,
                offset_tolerance: f64::INFINITY,
                ..Options::default()
            };
            let fit = minimise(
                &mut |q, r| {
                    let mut all = p.clone();
                    for (i, v) in free.iter().zip(q) {
                        all[*i] = *v;
                    }
                    self.residuals(&all, r);
                },
                self.v.len(),
                &start,
                &options,
            );
            // 3.84: the 95 % point of chi-squared with one degree of freedom.
            fit.is_ok_and(|fit| fit.rss - full.rss > 3.84 * scale)
        })
    }

    fn results(&self, plain: &Fit, full: &Fit, falls: bool, by_chance: f64) -> Result<StribeckFit, Refusal> {
        let used = if falls { full } else { plain };
        let dof = used.dof as f64;
        let excess = ChiSquared::new(dof).map_or(f64::NAN, |d| d.sf(used.rss));
        // Scatter beyond the points' own uncertainties scales the covariance (Birge); scatter below it does not.
        let scatters = excess < 0.05;
        let scale = if scatters {
            1.0
        } else {
            1.0 / used.residual_sd.max(f64::MIN_POSITIVE)
        };
        let p = &used.parameters;
        let hidden = |i: usize| (full.parameters[i] - plain.parameters[i]).abs();
        let (axis, torque) = (self.options.axis, self.options.torque);
        let n = self.v.len();
        let spread = |weights: &[(usize, f64)]| {
            let mut variance = 0.0;
            for (i, a) in weights {
                for (j, b) in weights {
                    variance += a * b * used.covariance[[*i, *j]];
                }
            }
            variance.max(0.0).sqrt() * scale
        };
        let estimate =
            |value: f64, unit: &str, weights: &[(usize, f64)], hidden: f64, common: Vec<Contribution>| {
                let mut budget = vec![Contribution::type_a(
                    "scatter of the points",
                    spread(weights),
                    dof,
                )];
                if !falls && hidden > 0.0 {
                    budget.push(Contribution::rectangular(
                        "a Stribeck fall hidden in the noise",
                        hidden,
                    ));
                }
                budget.extend(common);
                Estimate::from_budget(
                    value,
                    unit,
                    n,
                    "weighted least squares of the friction curve",
                    budget,
                )
            };
        let gain = |value: f64| torque.gain(value).into_iter();
        let side = |i: usize| {
            let common = gain(p[i]).chain(torque.zero()).collect();
            estimate(p[i], axis.effort(), &[(i, 1.0)], hidden(i), common).map(Outcome::from)
        };
        let mean = 0.5 * (p[POSITIVE] + p[NEGATIVE]);
        let half = 0.5 * (p[POSITIVE] - p[NEGATIVE]);
        let both = [(POSITIVE, 0.5), (NEGATIVE, 0.5)];
        let coulomb = estimate(
            mean,
            axis.effort(),
            &both,
            0.5 * (hidden(POSITIVE) + hidden(NEGATIVE)),
            gain(mean).collect(),
        )?;
        let asymmetry = estimate(
            half,
            axis.effort(),
            &[(POSITIVE, 0.5), (NEGATIVE, -0.5)],
            0.0,
            gain(half).chain(torque.zero()).collect(),
        )?;
        let viscous = estimate(
            p[VISCOUS],
            axis.viscous(),
            &[(VISCOUS, 1.0)],
            hidden(VISCOUS),
            gain(p[VISCOUS]).collect(),
        )?;
        let speed_u = spread(&[(SPEED, 1.0)]);
        let closes = falls && self.profile_closes(full, 1.0 / (scale * scale));
        let told = closes && speed_u <= self.options.speed_rel_u_max * p[SPEED] && !full.at_bound[SPEED];
        let apart = |what: &str| {
            let (measure, value, limit) = if falls {
                (
                    "relative uncertainty of the Stribeck speed",
                    speed_u / p[SPEED],
                    self.options.speed_rel_u_max,
                )
            } else {
                (
                    "chance of such a fall without any",
                    by_chance,
                    self.options.significance,
                )
            };
            Refusal::Confounded {
                what: what.into(),
                with: "Coulomb and viscous friction".into(),
                measure: measure.into(),
                value,
                limit,
                remedy: "add slower turns (below the Stribeck speed) and more of them".into(),
            }
        };
        let stribeck_speed = if told {
            estimate(p[SPEED], axis.speed(), &[(SPEED, 1.0)], 0.0, vec![]).into()
        } else {
            Outcome::from(apart("the Stribeck speed"))
        };
        let ratio = if told {
            let fall = 0.5 * (p[FALL] + p[FALL + 1]);
            let (a, b) = (0.5 / mean, -0.5 * fall / (mean * mean));
            let weights = [(FALL, a), (FALL + 1, a), (POSITIVE, b), (NEGATIVE, b)];
            estimate(1.0 + fall / mean, "1", &weights, 0.0, vec![]).into()
        } else {
            Outcome::from(apart("the breakaway ratio"))
        };
        let at_rest = |weights: &[(usize, f64)], zero: Option<Contribution>| -> Result<Outcome, Refusal> {
            if !told {
                return Ok(apart("the breakaway torque").into());
            }
            let value = weights.iter().map(|(i, w)| w * p[*i]).sum::<f64>();
            let common = gain(value).chain(zero).collect();
            Ok(estimate(value, axis.effort(), weights, 0.0, common)?.into())
        };
        let breakaway = at_rest(&[both[0], both[1], (FALL, 0.5), (FALL + 1, 0.5)], None)?;
        let breakaway_positive = at_rest(&[(POSITIVE, 1.0), (FALL, 1.0)], torque.zero())?;
        let breakaway_negative = at_rest(&[(NEGATIVE, 1.0), (FALL + 1, 1.0)], torque.zero())?;
        let mut residuals = vec![0.0; n];
        self.residuals(p, &mut residuals);
        residuals.iter_mut().for_each(|r| *r = -*r);
        let tied = tied(used, falls);
        let checks = vec![
            Check::new(
                "points lie on the curve",
                !scatters,
                format!(
                    "{:.2} times their uncertainties; so much by chance in {:.1} %, at least 5 %",
                    used.residual_sd,
                    100.0 * excess
                ),
            ),
            Check::new(
                "parameters told apart",
                tied.abs() < 0.98 && (!falls || told),
                format!(
                    "strongest correlation {tied:.3}, limit 0.98; Stribeck speed bounded on both sides: {closes}"
                ),
            ),
        ];
        Ok(StribeckFit {
            coulomb: coulomb.into(),
            coulomb_positive: side(POSITIVE)?,
            coulomb_negative: side(NEGATIVE)?,
            asymmetry: asymmetry.into(),
            viscous: viscous.into(),
            stribeck_speed,
            breakaway_ratio: ratio,
            breakaway,
            breakaway_positive,
            breakaway_negative,
            model: model_of(p, torque.zero_nm),
            residuals,
            checks,
        })
    }
}

fn model_of(p: &[f64], zero_nm: f64) -> StribeckModel {
    StribeckModel {
        coulomb_nm: [p[POSITIVE], p[NEGATIVE]],
        fall_nm: [p[FALL], p[FALL + 1]],
        speed_rad_s: p[SPEED],
        viscous: p[VISCOUS],
        zero_nm,
    }
}

/// Strongest correlation between two parameters.
fn tied(fit: &Fit, falls: bool) -> f64 {
    let used: &[usize] = if falls {
        &[POSITIVE, NEGATIVE, FALL, FALL + 1, SPEED, VISCOUS]
    } else {
        &[POSITIVE, NEGATIVE, VISCOUS]
    };
    let mut most = 0.0_f64;
    for (k, i) in used.iter().enumerate() {
        for j in &used[k + 1..] {
            let scale = fit.sd(*i) * fit.sd(*j);
            let r = if scale > 0.0 {
                fit.covariance[[*i, *j]] / scale
            } else {
                0.0
            };
            if r.abs() > most.abs() {
                most = r;
            }
        }
    }
    most
}
