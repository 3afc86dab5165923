//! How near the delay of one repeat comes to the Cramér–Rao bound.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::rises::*;
use crate::common::{Columns, interpolate};

/// Bound of one delay with its base unknown and the shape known, from samples up to `until_s` after onset: noise over the root
/// of what the slope has beside a constant (Kay, Fundamentals of Statistical Signal Processing, 1993, 3.7).
fn bound(shape: &[f64], t: &[f64], delay_s: f64, until_s: f64) -> f64 {
    let h = 5e-6;
    let slope: Vec<f64> = t
        .iter()
        .filter(|t| **t < delay_s + until_s)
        .map(|t| {
            let at = |t: f64| interpolate(GRID_S, shape, t);
            (at(t - delay_s + h) - at(t - delay_s - h)) / (2.0 * h)
        })
        .collect();
    let n = slope.len() as f64;
    let (sum, squares) = slope.iter().fold((0.0, 0.0), |(a, b), s| (a + s, b + s * s));
    NOISE_NM / (squares - sum * sum / n).sqrt()
}

/// Spread of the delays about their own mean error, which the shape of the rise decides, against the bound: 240 repeats.
/// Friction of each repeat is fitted as well, which the bound does not charge for.
#[test]
fn delays_scatter_as_little_as_noise_allows() {
    let rises = Columns::read("rise/rise.csv");
    let shape = rises.column("linear_1.75");
    let (mut squares, mut count, mut bounds) = (0.0, 0.0, 0.0);
    for seed in 0..4 {
        let repeats = Repeats::new(shape, 1.75, 60, 70 + seed);
        let fit = repeats.fit(&options());
        let errors: Vec<f64> = fit
            .per_repeat_s
            .iter()
            .zip(&repeats.waits)
            .map(|(found, wait)| found.unwrap() - DEAD_S - wait)
            .collect();
        let mean = errors.iter().sum::<f64>() / 60.0;
        squares += errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>();
        count += 59.0;
        // The fit looks at four fifths of the way from half-way to peak; this one passes half-way 2.65 ms and peaks
        // 6.05 ms after onset.
        for (t, wait) in repeats.t.iter().zip(&repeats.waits) {
            bounds += bound(shape, t, DEAD_S + wait, 5.4e-3).powi(2) / 240.0;
        }
    }
    let ratio = (squares / count / bounds).sqrt();
    println!(
        "bound {:.3} µs, spread over bound {ratio:.3}",
        1e6 * bounds.sqrt()
    );
    // 1.28 here; 240 draws scatter by 0.06 of it.
    assert!((0.9..1.45).contains(&ratio), "{ratio}");
}
