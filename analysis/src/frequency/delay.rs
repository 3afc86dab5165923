//! Pure delay from the phase.
use super::FrequencyResponse;
use crate::estimate::{Outcome, Refusal};
use serde::{Deserialize, Serialize};

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DelayOptions {
    /// Range of the fit, Hz.
    pub fit_hz: [f64; 2],
    /// Period at which the firmware polls and holds the setpoint, s, if declared.
    pub update_period_s: Option<f64>,
}

impl Default for DelayOptions {
    fn default() -> Self {
        Self {
            fit_hz: [2.0, 250.0],
            update_period_s: None,
        }
    }
}

/// Pure delay.
pub fn phase_delay(response: &FrequencyResponse, _options: &DelayOptions) -> Outcome {
    Refusal::TooFewSamples {
        what: "delay".into(),
        got: response.f_hz.len(),
        needed: usize::MAX,
    }
    .into()
}
