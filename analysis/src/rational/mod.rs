//! Delay times a rational transfer function in continuous time, fitted to a frequency response.
//!
//! Poles start by vector fitting (Gustavsen and Semlyen 1999; the iteration of Sanathanan and Koerner 1963 in partial
//! fractions, which stays well conditioned over decades where powers of s do not). Then delay, poles and numerator are
//! fitted together by maximum likelihood: least squares of the complex misfit over each line's error (Pintelon and
//! Schoukens, System Identification, 2nd ed., ch. 9), with their covariance. The number of poles is chosen by
//! cross-validation. Every figure read off the model carries the covariance, and how much it moves with one pole more.
//!
//! The rational part is of minimum phase: zeros lie in the left half-plane, as those do that stem from dampers and springs
//! on the way from a torque to a torque. That is what tells delay from lag (Bode 1945): a zero on the right would pass
//! for delay, and over a limited range of frequency data can hardly object.
//!
//! A response with friction or backlash is no linear system; the fit then gives the linear system that lies nearest
//! in the errors given, and its check on the residuals says so.

mod lines;
mod model;
mod on_lines;
mod order;
mod polynomial;
mod readings;
mod refine;
mod vector;

pub use lines::ResponseLines;
pub use model::{Factor, RationalModel};
pub use readings::Root;

use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Refusal};
use order::{Candidate, choose};

/// What to fit and what is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RationalOptions {
    /// Fewest and most poles to try.
    pub orders: [usize; 2],
    /// Fewest and most poles more than zeros. Torque through an inertia has at least one; a numerator with more freedom
    /// than the system has zeros trades them for delay.
    pub excess: [usize; 2],
    /// Pure delay, s, if it is known; otherwise it is fitted.
    pub delay_s: Option<f64>,
    /// Relative error that is added to each line's own: what the lines may be wrong by beyond noise.
    pub floor_rel: f64,
}

impl Default for RationalOptions {
    fn default() -> Self {
        Self {
            orders: [1, 8],
            excess: [1, 4],
            delay_s: None,
            floor_rel: 0.0,
        }
    }
}

/// How one order did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderScore {
    /// Number of poles.
    pub poles: usize,
    /// Number of zeros.
    pub zeros: usize,
    /// Mean squared misprediction of what was left out, in units of the errors: 1 is perfect.
    pub prediction: f64,
    /// Mean squared residual of the fit to everything, per degree of freedom.
    pub residual: f64,
}

/// A fitted model with what was asked of it. The readings are methods.
#[derive(Debug, Clone)]
pub struct RationalFit {
    /// The model.
    pub model: RationalModel,
    /// All orders that could be fitted.
    pub scores: Vec<OrderScore>,
    /// Lowest and highest line, Hz.
    pub range_hz: [f64; 2],
    /// Mean squared residual per degree of freedom, in units of the errors: 1 where noise alone is left.
    pub residual: f64,
    /// Number of lines.
    pub lines: usize,
    /// Number of repeats behind the lines, at least 1.
    pub repeats: usize,
    /// Checks on the fit.
    pub checks: Vec<Check>,
    chosen: Candidate,
    /// The best of those with more parameters.
    next: Option<Candidate>,
    delay_budget: Vec<crate::estimate::Contribution>,
    delay_known: bool,
}

/// Root of the mean squared residual beyond which noise alone is not what is left.
const MOST_RESIDUAL: f64 = 1.5;

/// Fits all orders asked for and chooses one.
///
/// # Errors
/// [`Refusal::OutOfRange`] for orders that make no sense, [`Refusal::TooFewSamples`] for fewer than three times as many
/// lines as the highest order has parameters, the refusals of lines that do not belong together, and
/// [`Refusal::NotConverged`] when no order comes to rest.
///
/// # Example
/// ```
/// use truerim_analysis::rational::{Factor, RationalModel, RationalOptions, ResponseLines, fit_rational};
/// let truth = RationalModel {
///     gain: 2.0,
///     delay_s: 3.5e-3,
///     poles: vec![Factor::Real { corner_hz: 19.894368 }],
///     zeros: Vec::new(),
/// };
/// let f_hz: Vec<f64> = (1..=60).map(f64::from).collect();
/// let h: Vec<_> = f_hz.iter().map(|f| truth.at(*f)).collect();
/// let u = vec![1e-3; 60];
/// let data = ResponseLines { f_hz, h, u, repeats: Vec::new(), delay_budget: Vec::new() };
/// let options = RationalOptions { orders: [1, 3], ..RationalOptions::default() };
/// let fit = fit_rational(&data, &options)?;
/// assert_eq!(fit.model.orders(), (1, 0));
/// assert!((fit.model.delay_s - 3.5e-3).abs() < 1e-9);
/// # Ok::<(), truerim_analysis::estimate::Refusal>(())
/// ```
pub fn fit_rational(data: &ResponseLines, options: &RationalOptions) -> Result<RationalFit, Refusal> {
    data.check()?;
    let [low, high] = options.orders;
    if low == 0 || low > high || high > 20 {
        return Err(Refusal::OutOfRange {
            what: format!("the number of poles, {low} to {high},"),
            value: if low == 0 { 0.0 } else { high as f64 },
            low: 1.0,
            high: 20.0,
            unit: "1".into(),
        });
    }
    let needed = 3 * (2 * high + 2);
    if data.f_hz.len() < needed {
        return Err(Refusal::TooFewSamples {
            what: format!("lines for {high} poles"),
            got: data.f_hz.len(),
            needed,
        });
    }
    let (candidates, at) = choose(data, options)?;
    let per_dof = |c: &Candidate| c.fit.rss / c.fit.dof as f64;
    let scores: Vec<OrderScore> = candidates
        .iter()
        .map(|c| OrderScore {
            poles: c.fit.model.orders().0,
            zeros: c.fit.model.orders().1,
            prediction: c.prediction(),
            residual: per_dof(c),
        })
        .collect();
    let chosen = candidates[at].clone();
    let next = candidates[at + 1..]
        .iter()
        .filter(|c| c.fit.parameters.len() > chosen.fit.parameters.len() && c.prediction().is_finite())
        .min_by(|a, b| a.prediction().total_cmp(&b.prediction()))
        .cloned();
    let residual = per_dof(&chosen);
    let top = high > low && chosen.fit.model.orders().0 == high;
    let checks = vec![
        Check::new(
            "residual of the rational fit",
            residual < MOST_RESIDUAL.powi(2),
            format!(
                "{:.2} times the errors given, with {} poles; at most {MOST_RESIDUAL}",
                residual.sqrt(),
                chosen.fit.model.orders().0
            ),
        ),
        Check::new(
            "order below the highest tried",
            !top,
            format!("{} poles of {} to {}", chosen.fit.model.orders().0, low, high),
        ),
    ];
    Ok(RationalFit {
        model: chosen.fit.model.clone(),
        scores,
        range_hz: [data.f_hz[0], data.f_hz[data.f_hz.len() - 1]],
        residual,
        lines: data.f_hz.len(),
        repeats: data.repeats.len().max(1),
        checks,
        chosen,
        next,
        delay_budget: data.delay_budget.clone(),
        delay_known: options.delay_s.is_some(),
    })
}
