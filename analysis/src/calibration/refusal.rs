//! Why readings make no calibration.

/// What is wrong with the readings, with the place, the value, the limit and what to do. Series, mountings and steps
/// are counted from 1.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrationRefusal {
    /// Fewer readings than the method needs.
    #[error("{what}: {got} {things}, at least {needed} are needed; take more")]
    TooFew {
        /// What they were to serve for.
        what: &'static str,
        /// What is counted.
        things: &'static str,
        /// Found.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// A series does not have a reading for each step.
    #[error("series {series} has {got} {direction} readings for {steps} steps; take one at every step")]
    StepMissing {
        /// Which series.
        series: usize,
        /// Rising or falling.
        direction: &'static str,
        /// Readings found.
        got: usize,
        /// Steps.
        steps: usize,
    },
    /// Loads that do not rise from step to step.
    #[error(
        "step {step} has {load} N·m after {before} N·m: loads must rise from step to step; hang the weights in order of size and list them so"
    )]
    WrongOrder {
        /// The step.
        step: usize,
        /// Its torque.
        load: f64,
        /// The torque before.
        before: f64,
    },
    /// Two steps with the same load.
    #[error("steps {} and {step} have the same load of {load} N·m; list each load once", .step - 1)]
    Duplicate {
        /// The second of them.
        step: usize,
        /// Its torque.
        load: f64,
    },
    /// Loads in both directions in one calibration.
    #[error(
        "step {step} has {load} N·m, of another sign than the steps before, or none; calibrate each direction by itself"
    )]
    SignMix {
        /// The step.
        step: usize,
        /// Its torque.
        load: f64,
    },
    /// A reading whose sign is not that of its load.
    #[error(
        "series {series}, step {step}: the reading {reading} has another sign than at the other steps; look at the direction of the arm and at the zero"
    )]
    ReadingSign {
        /// Which series.
        series: usize,
        /// The step.
        step: usize,
        /// The reading less the zero.
        reading: f64,
    },
    /// Reversibility asked for without falling readings.
    #[error(
        "reversibility was asked for, but series {series} has no falling readings; unload step by step and take them"
    )]
    NoFalling {
        /// Which series.
        series: usize,
    },
    /// Readings that bend more than the sensor's data sheet says.
    #[error(
        "the readings deviate from a straight line by {found_pct:.3} % at step {step}; the sensor is declared with {stated_pct:.3} %, and repeats scatter by {scatter_pct:.3} %: something else bends, such as an arm that is loose or rubs; tighten it and begin again"
    )]
    LooseByLine {
        /// The worst step.
        step: usize,
        /// Its deviation from the straight line, %.
        found_pct: f64,
        /// Declared, %.
        stated_pct: f64,
        /// Repeatability, %.
        scatter_pct: f64,
    },
    /// Falling readings that come back otherwise than the data sheet says.
    #[error(
        "rising and falling readings differ by {found_pct:.3} % at step {step}; the sensor is declared with {stated_pct:.3} %, and repeats scatter by {scatter_pct:.3} %: something slips or rubs, such as a loose arm; tighten it and begin again"
    )]
    LooseByHysteresis {
        /// The worst step.
        step: usize,
        /// Their difference, %.
        found_pct: f64,
        /// Declared, %.
        stated_pct: f64,
        /// Repeatability, %.
        scatter_pct: f64,
    },
    /// A value that is no number, or is out of the range in which it has a meaning.
    #[error("{what} is {value}; it must be {allowed}")]
    Value {
        /// Which.
        what: &'static str,
        /// Found.
        value: f64,
        /// Allowed.
        allowed: &'static str,
    },
    /// Readings that do not tell the coefficients of a model apart.
    #[error("{what}: the readings cannot tell its coefficients apart; spread them further")]
    Confounded {
        /// The model.
        what: &'static str,
    },
}

impl CalibrationRefusal {
    /// A number that must be finite and in a range.
    pub(super) fn unless(
        good: bool,
        what: &'static str,
        value: f64,
        allowed: &'static str,
    ) -> Result<(), Self> {
        if good && value.is_finite() {
            Ok(())
        } else {
            Err(Self::Value { what, value, allowed })
        }
    }
}
