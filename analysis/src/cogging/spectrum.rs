//! The order spectrum: which orders there are.

use realfft::RealFftPlanner;
use serde::{Deserialize, Serialize};

use super::resample::AngleGrid;
use crate::estimate::Refusal;
use crate::statistics::median;

/// Amplitudes over orders.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderSpectrum {
    /// Orders per turn.
    pub order: Vec<f64>,
    /// Amplitude of a sine that falls on the line, N·m.
    pub amplitude_nm: Vec<f64>,
    /// Phase φ of `A cos(n θ − φ)`, rad, about θ = 0.
    pub phase_rad: Vec<f64>,
    /// Median of the amplitudes nearby, N·m: what noise looks like here.
    pub floor_nm: Vec<f64>,
    /// Mean torque, N·m.
    pub mean_nm: f64,
    /// Whole turns behind it.
    pub turns: usize,
    /// Orders nearer than this cannot be parted.
    pub resolution: f64,
}

/// A line that stands out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpectrumLine {
    /// Order, between lines where its neighbours say so.
    pub order: f64,
    /// Half-width within which the order lies.
    pub order_u: f64,
    /// Amplitude, N·m.
    pub amplitude_nm: f64,
    /// Its standard uncertainty from the floor around it.
    pub amplitude_u_nm: f64,
    /// Phase φ, rad.
    pub phase_rad: f64,
    /// Its standard uncertainty, rad.
    pub phase_u_rad: f64,
}

/// Discrete Fourier transform over whole turns, so that whole orders fall on lines; Hann's window when `windowed`, for
/// orders that do not, which widens lines to `2/turns`.
///
/// # Errors
/// [`Refusal::NotCovered`] below one whole turn.
pub fn order_spectrum(grid: &AngleGrid, windowed: bool) -> Result<OrderSpectrum, Refusal> {
    let turns = grid.torque_nm.len() / grid.points_per_turn;
    if turns == 0 {
        return Err(Refusal::NotCovered {
            what: "an order spectrum".into(),
            got: grid.turns(),
            needed: 1.0,
            unit: "turns".into(),
            remedy: "turn further, or fit known orders instead".into(),
        });
    }
    let n = turns * grid.points_per_turn;
    let torque = &grid.torque_nm[..n];
    let mean = torque.iter().sum::<f64>() / n as f64;
    let mut weight = 0.0;
    let mut input: Vec<f64> = torque
        .iter()
        .enumerate()
        .map(|(i, t)| {
            let w = if windowed {
                0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()
            } else {
                1.0
            };
            weight += w;
            (t - mean) * w
        })
        .collect();
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut output = plan.make_output_vec();
    // Lengths are the plan's own, so it cannot fail.
    if plan.process(&mut input, &mut output).is_err() {
        return Err(Refusal::LengthMismatch {
            what: "a Fourier transform".into(),
            left: input.len(),
            right: n,
        });
    }
    let order: Vec<f64> = (0..output.len()).map(|k| k as f64 / turns as f64).collect();
    let amplitude: Vec<f64> = output
        .iter()
        .enumerate()
        .map(|(k, c)| c.norm() * if k == 0 { 1.0 } else { 2.0 } / weight)
        .collect();
    // Phase about angle zero, not about the first point: T = Re(C exp(i n (θ − first))).
    let phase = output
        .iter()
        .zip(&order)
        .map(|(c, n)| wrap(n * grid.first_rad - c.arg()))
        .collect();
    let reach = 6 * turns.max(2);
    let floor = (0..amplitude.len())
        .map(|k| {
            let part =
                &amplitude[k.saturating_sub(reach).max(1).min(k)..(k + reach + 1).min(amplitude.len())];
            median(part).unwrap_or(0.0)
        })
        .collect();
    Ok(OrderSpectrum {
        order,
        amplitude_nm: amplitude,
        phase_rad: phase,
        floor_nm: floor,
        mean_nm: mean,
        turns,
        resolution: if windowed { 2.0 } else { 1.0 } / turns as f64,
    })
}

/// To −π … π.
pub(crate) fn wrap(phase: f64) -> f64 {
    let turned = (phase + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU);
    turned - std::f64::consts::PI
}

/// Lines that are local maxima and stand out of the floor by `factor` (six is exceeded by chance about once in 10¹¹
/// lines of noise: amplitudes of noise follow Rayleigh's law, of median 1.18 σ), the largest first.
pub fn find_lines(spectrum: &OrderSpectrum, factor: f64) -> Vec<SpectrumLine> {
    let a = &spectrum.amplitude_nm;
    let mut lines: Vec<SpectrumLine> = (1..a.len().saturating_sub(1))
        .filter(|k| a[*k] >= a[k - 1] && a[*k] > a[k + 1] && a[*k] > factor * spectrum.floor_nm[*k])
        .map(|k| {
            // Median of Rayleigh's law: σ √(2 ln 2), σ that of cosine and sine alike.
            let sigma = spectrum.floor_nm[k] / (2.0 * 2.0_f64.ln()).sqrt();
            SpectrumLine {
                order: spectrum.order[k],
                order_u: 0.5 * spectrum.resolution,
                amplitude_nm: a[k],
                amplitude_u_nm: sigma,
                phase_rad: spectrum.phase_rad[k],
                phase_u_rad: sigma / a[k],
            }
        })
        .collect();
    lines.sort_by(|x, y| y.amplitude_nm.total_cmp(&x.amplitude_nm));
    lines
}
