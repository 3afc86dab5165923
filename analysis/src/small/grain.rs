//! How restless torque is while it is held.

use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::spectra::{WelchOptions, welch};
use crate::statistics::{all_finite, mean_sd};

/// Length of a stretch, s.
pub const STRETCH_S: f64 = 0.5;
/// Bands, Hz: what steering moves by, what is harsh, and what is heard (bounds as the literature on steering wheels uses them,
/// from memory).
pub const BANDS_HZ: [[f64; 2]; 3] = [[2.0, 30.0], [30.0, 100.0], [100.0, 300.0]];

/// What torque held at one level says.
#[derive(Debug, Clone, PartialEq)]
pub struct Grain {
    /// Root mean square about a straight line, N·m.
    pub rms: Outcome,
    /// Greatest departure in a stretch, N·m.
    pub peak: Outcome,
    /// Root mean square of each of [`BANDS_HZ`] that the sample rate shows, N·m.
    pub bands: Vec<([f64; 2], Outcome)>,
    /// Frequencies, Hz, and root of the density, N·m/√Hz.
    pub spectrum: Vec<(f64, f64)>,
}

/// A stretch less its straight line.
fn level(stretch: &[f64]) -> Vec<f64> {
    let n = stretch.len() as f64;
    let x = |i: usize| i as f64 - 0.5 * (n - 1.0);
    let mean = stretch.iter().sum::<f64>() / n;
    let square = n * (n * n - 1.0) / 12.0;
    let slope = stretch.iter().enumerate().map(|(i, v)| x(i) * v).sum::<f64>() / square.max(1.0);
    stretch
        .iter()
        .enumerate()
        .map(|(i, v)| v - mean - slope * x(i))
        .collect()
}

/// Reads holds at one level.
///
/// # Errors
/// [`Refusal::TooShort`] where fewer than four stretches of [`STRETCH_S`] are there, [`Refusal::NonFinite`].
pub fn grain(holds: &[Vec<f64>], fs_hz: f64, gain_rel_u: f64) -> Result<Grain, Refusal> {
    for hold in holds {
        all_finite("torque held", hold.iter())?;
    }
    let length = (STRETCH_S * fs_hz).round().max(2.0) as usize;
    let stretches: Vec<Vec<f64>> = holds
        .iter()
        .flat_map(|h| h.chunks_exact(length).map(level))
        .collect();
    if stretches.len() < 4 {
        return Err(Refusal::TooShort {
            what: "torque held".into(),
            got_s: stretches.len() as f64 * STRETCH_S,
            needed_s: 4.0 * STRETCH_S,
        });
    }
    let power = |s: &Vec<f64>| s.iter().map(|v| v * v).sum::<f64>() / (s.len() as f64 - 2.0).max(1.0);
    let powers: Vec<f64> = stretches.iter().map(power).collect();
    let peaks: Vec<f64> = stretches
        .iter()
        .map(|s| s.iter().map(|v| v.abs()).fold(0.0, f64::max))
        .collect();
    let options = WelchOptions {
        fs_hz,
        segment: length,
        overlap: 0,
    };
    let spectra: Vec<(Vec<f64>, Vec<f64>)> = stretches
        .iter()
        .map(|s| welch(s, &options))
        .collect::<Result<_, _>>()?;
    let resolution = fs_hz / length as f64;
    let bands = BANDS_HZ
        .into_iter()
        .filter(|[_, high]| *high <= 0.5 * fs_hz)
        .map(|range| {
            let inside = |f: f64| f >= range[0] && f < range[1];
            let each: Vec<f64> = spectra
                .iter()
                .map(|(f, p)| {
                    let own = f.iter().zip(p).filter(|(f, _)| inside(**f));
                    own.map(|(_, p)| p * resolution).sum()
                })
                .collect();
            (
                range,
                root(&each, gain_rel_u, "density summed over the band").into(),
            )
        })
        .collect();
    let f_hz = spectra.first().map(|s| s.0.clone()).unwrap_or_default();
    let n = spectra.len() as f64;
    let spectrum = f_hz
        .iter()
        .enumerate()
        .skip(1)
        .map(|(k, f)| (*f, (spectra.iter().map(|s| s.1[k]).sum::<f64>() / n).sqrt()))
        .collect();
    let peak = mean_sd(&peaks)?;
    let peak = Estimate::from_budget(
        peak.mean,
        "N.m",
        peak.n,
        "mean over stretches of half a second",
        vec![
            Contribution::of_mean("scatter of stretches", &peak),
            Contribution::type_b("sensor gain", peak.mean * gain_rel_u),
        ],
    );
    Ok(Grain {
        rms: root(
            &powers,
            gain_rel_u,
            "root of the mean square about a straight line",
        )
        .into(),
        peak: peak.into(),
        bands,
        spectrum,
    })
}

/// Root of a mean of powers.
fn root(powers: &[f64], gain_rel_u: f64, method: &str) -> Result<Estimate, Refusal> {
    let stats = mean_sd(powers)?;
    let value = stats.mean.max(0.0).sqrt();
    let n = stats.n as f64;
    let scatter = stats.sd / n.sqrt() / (2.0 * value).max(f64::MIN_POSITIVE);
    let budget = vec![
        Contribution::type_a("scatter of stretches", scatter, n - 1.0),
        Contribution::type_b("sensor gain", value * gain_rel_u),
    ];
    Estimate::from_budget(value, "N.m", stats.n, method, budget)
}
