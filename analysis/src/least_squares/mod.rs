//! Non-linear least squares: damped Gauss–Newton on scaled parameters, with bounds.
//!
//! Levenberg's and Marquardt's damping with Nielsen's update of the damping factor (Madsen, Nielsen and Tingleff,
//! Methods for Non-Linear Least Squares Problems, 2004), each step solved by QR. Parameters are divided by a scale
//! first: without it, sets such as NIST's Kirby2 lose all but two digits. A bound holds a parameter while the
//! gradient points outward.
//!
//! A fit is reported only when Bates and Watts' relative offset (1981) says that the residual is orthogonal to the
//! tangent space, and the Jacobian has full rank there; otherwise the failure is typed.

mod solver;

pub use crate::linear::Matrix;
pub use solver::{minimise, minimise_with_jacobian};

use ndarray::Array2;

use crate::estimate::Refusal;

/// How far to go.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Typical magnitude of each parameter; `None` takes the start values (1 where a start is zero).
    pub scale: Option<Vec<f64>>,
    /// Lower bound of each parameter; `None` for none.
    pub lower: Option<Vec<f64>>,
    /// Upper bound of each parameter; `None` for none.
    pub upper: Option<Vec<f64>>,
    /// Whether a fit that comes to rest with a parameter at a bound fails.
    pub fail_at_bound: bool,
    /// What the damping acts on.
    pub damping: Damping,
    /// Most iterations.
    pub max_iterations: usize,
    /// Relative change of the scaled parameters at which the fit is at rest.
    pub x_tolerance: f64,
    /// Relative reduction of the sum of squares, promised and got, below which the fit is at rest too; zero for never.
    pub rss_tolerance: f64,
    /// Largest relative offset at which a fit at rest counts as converged.
    pub offset_tolerance: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            scale: None,
            lower: None,
            upper: None,
            fail_at_bound: false,
            damping: Damping::ColumnNorms,
            max_iterations: 500,
            x_tolerance: 1e-12,
            rss_tolerance: 0.0,
            offset_tolerance: 1e-4,
        }
    }
}

/// What the damping of a step acts on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damping {
    /// The column norms of the Jacobian (Marquardt): blind to the choice of scale, slow along flat valleys.
    ColumnNorms,
    /// The scaled parameters alike (Levenberg): right when the scales are honest widths of what may be expected.
    Scale,
}

/// A converged fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Parameters.
    pub parameters: Vec<f64>,
    /// Covariance of the parameters, scaled by the residual variance; rows and columns of parameters held by a bound
    /// are zero.
    pub covariance: Array2<f64>,
    /// Which parameters a bound holds.
    pub at_bound: Vec<bool>,
    /// Residual sum of squares.
    pub rss: f64,
    /// Residual standard deviation, `sqrt(rss / dof)`.
    pub residual_sd: f64,
    /// Residuals less free parameters.
    pub dof: usize,
    /// Iterations made.
    pub iterations: usize,
}

impl Fit {
    /// Standard deviation of parameter `i`.
    pub fn sd(&self, i: usize) -> f64 {
        self.covariance[[i, i]].max(0.0).sqrt()
    }
}

/// Why a fit gave no result.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Failure {
    /// Lengths or values that make no sense.
    #[error("the fit was set up wrongly: {0}")]
    Setup(String),
    /// The residuals at the start are not finite.
    #[error("the model gives no finite residual at the start values")]
    BadStart,
    /// Not at rest within the iterations allowed.
    #[error("not at rest after {iterations} iterations (rss {rss:e}, relative offset {offset:e})")]
    TooManyIterations {
        /// Iterations made.
        iterations: usize,
        /// Residual sum of squares reached.
        rss: f64,
        /// Relative offset there.
        offset: f64,
    },
    /// At rest, but not at a minimum.
    #[error(
        "stuck after {iterations} iterations: rss {rss:e} cannot be lowered yet the relative offset is {offset:e}"
    )]
    Stuck {
        /// Iterations made.
        iterations: usize,
        /// Residual sum of squares reached.
        rss: f64,
        /// Relative offset there.
        offset: f64,
    },
    /// A parameter has run to a bound, where that was to be a failure.
    #[error("a parameter ran to the end of its range after {iterations} iterations (rss {rss:e})")]
    AtBound {
        /// Iterations made.
        iterations: usize,
        /// Residual sum of squares reached.
        rss: f64,
    },
    /// The Jacobian has lost rank: some parameter no longer matters.
    #[error("parameters cannot be told apart after {iterations} iterations (rss {rss:e})")]
    Singular {
        /// Iterations made.
        iterations: usize,
        /// Residual sum of squares reached.
        rss: f64,
    },
}

impl Failure {
    /// The refusal of a result named `what` that rests on this fit.
    pub fn refusal(&self, what: impl Into<String>) -> Refusal {
        let iterations = match self {
            Self::Setup(_) | Self::BadStart => 0,
            Self::TooManyIterations { iterations, .. }
            | Self::Stuck { iterations, .. }
            | Self::AtBound { iterations, .. }
            | Self::Singular { iterations, .. } => *iterations,
        };
        Refusal::NotConverged {
            what: what.into(),
            iterations,
            reason: self.to_string(),
        }
    }
}
