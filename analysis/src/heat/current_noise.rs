//! What noise of the current leaves open of bodies that warm.
//!
//! Temperature follows the current that flows, not the one that is read, so what is left of the temperature does not show it. To first
//! order parameters move by `(JᵀJ)⁻¹ Jᵀ δ`, with `δ` what the model makes of the wrong currents; its weight of each part of the record is
//! found from the end backwards, as each body keeps a share of what came before.

use ndarray::Array2;

use super::HeatRecord;
use super::bodies::{Decay, body, model};
use crate::least_squares::Fit;

/// Step of the logarithm of a constant by which its column is found.
const STEP: f64 = 1e-5;

/// Covariance of the parameters of a fit (logarithms of constants, shares, temperature cold) by the noise of the current.
pub(super) fn covariance(record: &HeatRecord, found: &Fit, bodies: usize) -> Array2<f64> {
    let count = found.parameters.len();
    let mut sum = Array2::zeros((count, count));
    if record.current_u_a <= 0.0 {
        return sum;
    }
    let columns = columns(record, &found.parameters, bodies);
    let variance = found.residual_sd * found.residual_sd;
    // Where nothing is left there is no covariance to take the inverse from.
    if variance <= 0.0 {
        return sum;
    }
    let weights: Vec<Vec<f64>> = (0..count)
        .map(|p| {
            let of_temperature: Vec<f64> = (0..record.temperature_degc.len())
                .map(|i| {
                    (0..count)
                        .map(|q| found.covariance[[p, q]] / variance * columns[q][i])
                        .sum()
                })
                .collect();
            of_parts(record, &found.parameters, bodies, &of_temperature)
        })
        .collect();
    for (part, square) in record.square.iter().enumerate() {
        let copper = record.copper(part / record.parts);
        // Of i² it is 2 i u; what the square of the noise adds is far below.
        let u2 = 4.0 * square * (copper * record.current_u_a).powi(2);
        for p in 0..count {
            for q in 0..count {
                sum[[p, q]] += weights[p][part] * weights[q][part] * u2;
            }
        }
    }
    sum
}

/// Derivatives of the model by each parameter.
fn columns(record: &HeatRecord, p: &[f64], bodies: usize) -> Vec<Vec<f64>> {
    let of_constants = (0..bodies).map(|k| {
        let beside = |by: f64| {
            let mut moved = p.to_vec();
            moved[k] += by;
            model(record, &moved, bodies)
        };
        let (above, below) = (beside(STEP), beside(-STEP));
        above
            .iter()
            .zip(below)
            .map(|(a, b)| (a - b) / (2.0 * STEP))
            .collect()
    });
    let of_shares = (0..bodies).map(|k| body(record, p[k].exp()));
    let cold = std::iter::once(vec![1.0; record.temperature_degc.len()]);
    of_constants.chain(of_shares).chain(cold).collect()
}

/// Weights of the losses in all parts, from weights of the temperatures of all stretches.
fn of_parts(record: &HeatRecord, p: &[f64], bodies: usize, of_temperature: &[f64]) -> Vec<f64> {
    let mut weights = vec![0.0; record.square.len()];
    for k in 0..bodies {
        let Decay { keeps, mean } = Decay::of(record, p[k].exp());
        let mut later = 0.0;
        for part in (0..weights.len()).rev() {
            let own = of_temperature[part / record.parts] / record.parts as f64;
            weights[part] += p[bodies + k] * (own * (1.0 - mean) + later * (1.0 - keeps));
            later = own * mean + later * keeps;
        }
    }
    weights
}
