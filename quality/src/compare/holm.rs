//! Many tests at once.

use crate::Refusal;

/// Adjusted p-values by Holm's step-down method (Scandinavian Journal of Statistics 6, 1979): rejecting where the
/// adjusted value is at most α keeps the probability of any false rejection at α, however the tests depend on each
/// other. In the order given.
///
/// # Errors
/// [`Refusal::OutOfRange`] for a value outside 0 to 1.
pub fn holm(p: &[f64]) -> Result<Vec<f64>, Refusal> {
    for value in p {
        Refusal::unless_within("a p-value", *value, 0.0, 1.0)?;
    }
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![0.0; p.len()];
    let mut largest = 0.0_f64;
    for (rank, index) in order.into_iter().enumerate() {
        largest = largest.max((p.len() - rank) as f64 * p[index]).min(1.0);
        adjusted[index] = largest;
    }
    Ok(adjusted)
}

/// Which of the hypotheses Holm's method rejects at `alpha`.
///
/// # Errors
/// As [`holm`]; [`Refusal::OutOfRange`] for `alpha`.
pub fn holm_rejects(p: &[f64], alpha: f64) -> Result<Vec<bool>, Refusal> {
    Refusal::unless_probability("alpha", alpha)?;
    Ok(holm(p)?.into_iter().map(|p| p <= alpha).collect())
}
