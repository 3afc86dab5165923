//! What is read off a fitted model, each with its uncertainty.

use realfft::num_complex::Complex64;

use super::RationalFit;
use super::model::RationalModel;
use crate::estimate::{Contribution, Estimate, Refusal};

/// A pole or zero with its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Root {
    /// Its place, rad/s; of a pair the one with positive imaginary part.
    pub at_rad_s: Complex64,
    /// Magnitude over 2π, Hz.
    pub frequency: Estimate,
    /// `-re/magnitude`: damping ratio of a pair, 1 for a stable real root, negative in the right half-plane.
    pub damping: Estimate,
}

/// Tolerance of a crystal that nothing disciplines.
const CLOCK_REL: f64 = 50e-6;

/// Distance, over its magnitude, within which a root of another order counts as the same.
const SAME_ROOT: f64 = 0.2;

/// Points an octave at which a curve of the model is looked at before a crossing is narrowed down.
const GRID: f64 = 96.0;

impl RationalFit {
    /// Pure delay, s: what a rational function of this order does not explain of the phase.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn delay(&self) -> Result<Estimate, Refusal> {
        let mut parts = Vec::new();
        if self.delay_known {
            parts.push(Contribution::type_b("delay given, not fitted", 0.0));
        }
        parts.extend(self.delay_budget.iter().cloned());
        let what = "pure delay beside the rational transfer function";
        self.reading("s", what, parts, |m| Some(m.delay_s))
    }

    /// Gain at zero frequency.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn gain(&self) -> Result<Estimate, Refusal> {
        self.reading("1", "gain at zero frequency", Vec::new(), |m| Some(m.gain))
    }

    /// Magnitude at a frequency over the gain at zero frequency, 1.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn amplification(&self, f_hz: f64) -> Result<Estimate, Refusal> {
        let what = format!("magnitude at {f_hz:.2} Hz over the gain at zero frequency");
        self.reading("1", &what, Vec::new(), |m| {
            Some(m.without_delay(f_hz).norm() / m.gain.abs())
        })
    }

    /// Lowest frequency at which the magnitude leaves the gain at zero frequency by `level_db`: downward for a negative
    /// level (-3 for bandwidth), either way for a positive one (3 for the flat band), Hz.
    ///
    /// # Errors
    /// [`Refusal::NoCrossing`] when that does not happen within the range fitted.
    pub fn leaves(&self, level_db: f64) -> Result<Estimate, Refusal> {
        let level = level_db.abs() / 20.0 * std::f64::consts::LN_10;
        let [low, high] = self.range_hz;
        let excess = move |m: &RationalModel, f: f64| {
            let away = (m.without_delay(f).norm() / m.gain.abs()).ln();
            if level_db < 0.0 {
                -away - level
            } else {
                away.abs() - level
            }
        };
        let what = if level_db < 0.0 {
            format!("first fall of the model's magnitude through {level_db} dB of its gain at zero")
        } else {
            format!("first exit of the model's magnitude from ±{level_db} dB of its gain at zero")
        };
        self.crossing(&what, level_db, move |m| first_zero(low, high, |f| excess(m, f)))
    }

    /// Lowest frequency at which the phase has fallen to `level_rad` (-π/2 for the -90° frequency), with or without the
    /// pure delay, Hz.
    ///
    /// # Errors
    /// [`Refusal::NoCrossing`] when that does not happen within the range fitted.
    pub fn phase_reaches(&self, level_rad: f64, with_delay: bool) -> Result<Estimate, Refusal> {
        let [_, high] = self.range_hz;
        let what = format!(
            "first fall of the model's phase, {} the pure delay, to {:.1} degrees",
            if with_delay { "with" } else { "without" },
            level_rad.to_degrees()
        );
        self.crossing(&what, level_rad, move |m| {
            let turn = |f: f64| std::f64::consts::TAU * f * if with_delay { m.delay_s } else { 0.0 };
            // The rational part's phase is followed from zero, where it is 0 or π by the sign of the gain.
            let step = 2.0_f64.powf(1.0 / GRID);
            let mut f = high * 1e-3;
            let start = m.without_delay(f) * m.gain.signum();
            let (mut phase, mut last) = (start.arg(), start);
            let mut before = (f, phase - turn(f) - level_rad);
            while f < high {
                f = (f * step).min(high);
                let now = m.without_delay(f) * m.gain.signum();
                phase += (now * last.conj()).arg();
                last = now;
                let miss = phase - turn(f) - level_rad;
                if miss <= 0.0 {
                    // Within a 96th of an octave the phase is straight to 1e-4 of itself; one bisection settles the rest.
                    let (from, anchor) = (before, last);
                    let at = |x: f64| {
                        let h = m.without_delay(x) * m.gain.signum();
                        phase + (h * anchor.conj()).arg() - turn(x) - level_rad
                    };
                    return Some(bisect(from.0, f, at));
                }
                before = (f, miss);
            }
            None
        })
    }

    /// Poles by frequency, of a pair the upper one alone.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn poles(&self) -> Result<Vec<Root>, Refusal> {
        self.roots("pole", &RationalModel::pole_places)
    }

    /// Zeros up to ten times the highest line, by frequency, of a pair the upper one alone. Those beyond say nothing but
    /// that the numerator has a lower degree than it was given.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn zeros(&self) -> Result<Vec<Root>, Refusal> {
        let limit = 10.0 * self.range_hz[1] * std::f64::consts::TAU;
        let zeros = self.roots("zero", &RationalModel::zero_places)?;
        Ok(zeros.into_iter().filter(|z| z.at_rad_s.norm() < limit).collect())
    }

    fn roots(&self, what: &str, of: &dyn Fn(&RationalModel) -> Vec<Complex64>) -> Result<Vec<Root>, Refusal> {
        let mut places: Vec<Complex64> = of(&self.model).into_iter().filter(|r| r.im >= 0.0).collect();
        places.sort_by(|a, b| a.norm().total_cmp(&b.norm()));
        places
            .into_iter()
            .map(|place| {
                // The root is followed as the one nearest to where it was, of its own kind.
                let near = move |m: &RationalModel| -> Option<Complex64> {
                    of(m)
                        .into_iter()
                        .filter(|r| r.im >= 0.0)
                        .min_by(|a, b| (a - place).norm().total_cmp(&(b - place).norm()))
                };
                let own = |unit: &str, name: &str, parts, figure: &dyn Fn(Complex64) -> f64| {
                    let of_model = |m: &RationalModel| near(m).map(figure);
                    // The same root with more poles or zeros, where it can be told which one that is.
                    let next = self.next.as_ref().map(|n| &n.fit);
                    let same = |m: &RationalModel| {
                        near(m).is_some_and(|r| (r - place).norm() < SAME_ROOT * place.norm())
                    };
                    let other = next.filter(|n| same(&n.model)).and_then(|n| n.derived(of_model));
                    self.reading_of(unit, name, parts, &of_model, other)
                };
                let f_hz = place.norm() / std::f64::consts::TAU;
                let clock = vec![Contribution::rectangular("rig clock", CLOCK_REL * f_hz)];
                Ok(Root {
                    at_rad_s: place,
                    frequency: own("Hz", &format!("magnitude of a {what}"), clock, &|r| {
                        r.norm() / std::f64::consts::TAU
                    })?,
                    damping: own("1", &format!("damping of a {what}"), Vec::new(), &|r| {
                        -r.re / r.norm()
                    })?,
                })
            })
            .collect()
    }

    fn crossing(
        &self,
        what: &str,
        level: f64,
        figure: impl Fn(&RationalModel) -> Option<f64>,
    ) -> Result<Estimate, Refusal> {
        let value = figure(&self.model).ok_or_else(|| Refusal::NoCrossing {
            what: what.into(),
            level,
            f_min_hz: self.range_hz[0],
            f_max_hz: self.range_hz[1],
        })?;
        let clock = vec![Contribution::rectangular("rig clock", CLOCK_REL * value)];
        self.reading("Hz", what, clock, figure)
    }

    /// A figure with its budget: noise by the covariance, the choice of order by what the best model with more parameters gives.
    fn reading(
        &self,
        unit: &str,
        what: &str,
        parts: Vec<Contribution>,
        figure: impl Fn(&RationalModel) -> Option<f64>,
    ) -> Result<Estimate, Refusal> {
        let other = self.next.as_ref().and_then(|n| n.fit.derived(&figure));
        self.reading_of(unit, what, parts, &figure, other)
    }

    fn reading_of(
        &self,
        unit: &str,
        what: &str,
        parts: Vec<Contribution>,
        figure: &dyn Fn(&RationalModel) -> Option<f64>,
        other: Option<(f64, f64)>,
    ) -> Result<Estimate, Refusal> {
        let none = || Refusal::NotConverged {
            what: what.into(),
            iterations: 0,
            reason: "the figure does not exist for all models within the uncertainty of the fit".into(),
        };
        let (value, u) = self.chosen.fit.derived(figure).ok_or_else(none)?;
        let dof = self.chosen.fit.dof as f64;
        let mut budget = vec![Contribution::type_a(
            "noise, by the covariance of the fit",
            u,
            dof,
        )];
        if let Some((beside, beside_u)) = other {
            // More parameters know less; what that explains of the shift is noise and counted already.
            let explained = (beside_u.powi(2) - u.powi(2)).max(0.0);
            let shift = ((beside - value).powi(2) - explained).max(0.0).sqrt();
            budget.push(Contribution::rectangular("model: more poles or zeros", shift));
        }
        budget.extend(parts);
        let method = format!(
            "{what}; delay and {} poles fitted to {} lines by maximum likelihood",
            self.model.orders().0,
            self.lines
        );
        Ok(Estimate::from_budget(value, unit, self.repeats, method, budget)?
            .with_checks(self.checks.iter().cloned()))
    }
}

/// First upward passage of zero of `excess` on a logarithmic grid, narrowed down.
fn first_zero(low: f64, high: f64, excess: impl Fn(f64) -> f64) -> Option<f64> {
    let steps = ((high / low).log2() * GRID).ceil().max(1.0);
    let at = |i: f64| low * (high / low).powf(i / steps);
    let mut i = 0.0;
    if excess(low) > 0.0 {
        return None;
    }
    while i < steps {
        if excess(at(i + 1.0)) > 0.0 {
            return Some(bisect(at(i), at(i + 1.0), |f| -excess(f)));
        }
        i += 1.0;
    }
    None
}

/// Where `miss` passes from positive to negative.
fn bisect(mut low: f64, mut high: f64, miss: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if miss(mid) > 0.0 {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}
