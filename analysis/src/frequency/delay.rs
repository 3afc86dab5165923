//! Pure delay from magnitude and phase together.
//!
//! The phase alone cannot tell delay from lag; with the magnitude it can, because the lag of a minimum-phase system is
//! fixed by its magnitude (Bode 1945). So a minimum-phase rational model times a delay is fitted to the complex response.

use serde::{Deserialize, Serialize};

use super::FrequencyResponse;
use super::curve::{gains, reference};
use super::rational::{PARAMETERS, RationalModel};
use super::resonance::first_peak;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Damping, Failure, Options, minimise};
use crate::statistics::mean_sd;

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DelayOptions {
    /// Range of the fit, Hz.
    pub fit_hz: [f64; 2],
    /// Period at which the firmware polls and holds the setpoint, s, if declared. Holding lowers the magnitude without
    /// lag; not knowing by how much costs certainty.
    pub update_period_s: Option<f64>,
    /// Relative error of the model that is taken for granted: bands known better than this do not get more weight.
    pub model_floor: f64,
}

impl Default for DelayOptions {
    fn default() -> Self {
        Self {
            fit_hz: [2.0, 250.0],
            update_period_s: None,
            model_floor: 1e-3,
        }
    }
}

/// Widths of the prior on the fit parameters (logarithms; delay in ms). They weigh one residual each.
const PRIOR_SD: [f64; PARAMETERS] = [0.3, 1.0, 1.0, 0.3, 1.5, 0.4, 1.0, 20.0, 0.7];

/// Sums of squares closer than this do not decide between models (Akaike's criterion for two parameters is 4).
const UNDECIDED: f64 = 6.0;

/// Error of the delay for a system that is unlike the model, s: a single lag of 8 ms reads 0.022 ms short.
const UNLIKE_S: f64 = 40e-6;

/// Natural frequency, Hz, that puts a mode out of reach of any sweep.
const NO_MODE_HZ: f64 = 1e6;

/// A fit at rest.
struct Fitted {
    model: RationalModel,
    second: bool,
    rss: f64,
    delay_u_s: f64,
    dof: f64,
    /// Root mean square residual in units of the errors.
    residual: f64,
}

/// Pure delay from setpoint to torque, s: queue, link and, on average, half the update period, for which a setpoint
/// waits or is held. The declared sensor delay is already out.
pub fn phase_delay(response: &FrequencyResponse, options: &DelayOptions) -> Outcome {
    estimate(response, options).into()
}

fn estimate(response: &FrequencyResponse, options: &DelayOptions) -> Result<Estimate, Refusal> {
    let start = start(response, options)?;
    let refusal = |f: Failure| f.refusal("the model with delay");
    // A further mode or none: what the data favour, and if they hardly do, the shift is in the budget.
    let [with, without] = [true, false].map(|second| fit(response, options, options.fit_hz, &start, second));
    let (fitted, other) = match (with, without) {
        (Ok(with), Ok(without)) if without.rss < with.rss => (without, Some(with)),
        (Ok(with), without) => (with, without.ok()),
        (Err(_), without) => (without.map_err(refusal)?, None),
    };
    let value = fitted.model.delay_s;
    let close = other.filter(|o| o.rss < fitted.rss + UNDECIDED);
    let further = close.map_or(0.0, |o| o.model.delay_s - value);
    // What the model does not describe shows as a shift when the range is cut where a further mode matters most.
    let narrower = [options.fit_hz[0], 0.75 * options.fit_hz[1]];
    let shift = fit(response, options, narrower, &fitted.model, fitted.second)
        .map_or(0.0, |f| f.model.delay_s - value);
    let mean = response.repeat_delay_s.iter().sum::<f64>() / response.repeat_delay_s.len().max(1) as f64;
    let repeats: Vec<f64> = response.repeat_delay_s.iter().map(|d| value + d - mean).collect();
    // The repeats share the fitted shape, so their scatter is that of the waits and adds in full.
    let scatter = mean_sd(&repeats)?;
    let n = scatter.n as f64;
    let mut budget = vec![
        Contribution::type_a("random error from the coherence", fitted.delay_u_s, fitted.dof),
        Contribution::type_a("scatter of repeats", scatter.sd / n.sqrt(), n - 1.0),
    ];
    budget.push(Contribution::rectangular(
        "model: upper end of the fitted range",
        shift,
    ));
    budget.push(Contribution::rectangular("model: further mode or none", further));
    budget.push(Contribution::type_b(
        "declared sensor delay",
        response.output_delay_u_s,
    ));
    budget.push(Contribution::rectangular(
        "model: systems unlike rotor and hub",
        UNLIKE_S,
    ));
    let detail = format!("residual {:.2} times the errors given", fitted.residual);
    let method =
        "minimum-phase rational model times delay, fitted to the complex response; mean over repeats";
    Ok(
        Estimate::from_budget(value, "s", response.repeats.len(), method, budget)?
            .with_checks([Check::new(
                "model with delay describes the response",
                fitted.residual < 5.0,
                detail,
            )])
            .with_checks(response.checks.iter().cloned()),
    )
}

fn start(response: &FrequencyResponse, options: &DelayOptions) -> Result<RationalModel, Refusal> {
    let magnitudes = gains(response, None);
    let low = [options.fit_hz[0], 2.5 * options.fit_hz[0]];
    let (gain, _, begin) = reference(response, &magnitudes, low)?;
    let (resonance_hz, damping) = match first_peak(response, &magnitudes, begin, gain) {
        Some(b) => (response.f_hz[b], (0.5 * gain / magnitudes[b]).clamp(0.005, 0.5)),
        None => {
            let corner = (begin..magnitudes.len()).find(|b| magnitudes[*b] < 0.5 * gain);
            (corner.map_or(options.fit_hz[1], |b| response.f_hz[b]), 0.7)
        }
    };
    let bulk = response.repeat_delay_s.iter().sum::<f64>() / response.repeat_delay_s.len().max(1) as f64;
    let lag_s = 0.02 / resonance_hz;
    // The bulk delay is the mean slope of the phase over the range; the resonance turns it by half a turn.
    let own = 0.5 / options.fit_hz[1].max(2.0 * resonance_hz) + lag_s;
    Ok(RationalModel {
        gain,
        lead_s: lag_s,
        lag_s,
        resonance_hz,
        damping,
        second_hz: 4.0 * resonance_hz,
        second_damping: 0.2,
        hold_s: options.update_period_s.unwrap_or(0.03 / resonance_hz),
        delay_s: bulk - own,
    })
}

fn fit(
    response: &FrequencyResponse,
    options: &DelayOptions,
    range_hz: [f64; 2],
    start: &RationalModel,
    second: bool,
) -> Result<Fitted, Failure> {
    let bands: Vec<usize> = (0..response.f_hz.len())
        .filter(|b| (range_hz[0]..=range_hz[1]).contains(&response.f_hz[*b]) && response.usable[*b])
        .collect();
    if bands.len() < 2 * PARAMETERS {
        return Err(Failure::Setup(format!(
            "{} usable bands, at least {} are needed",
            bands.len(),
            2 * PARAMETERS
        )));
    }
    let mut prior = start.to_fit();
    if !second {
        prior[5] = NO_MODE_HZ.ln();
    }
    let fixed = |k: &usize| {
        (*k == PARAMETERS - 1 && options.update_period_s.is_some()) || (!second && (*k == 5 || *k == 6))
    };
    let free: Vec<usize> = (0..PARAMETERS).filter(|k| !fixed(k)).collect();
    let of_free = |all: &[f64; PARAMETERS]| -> Vec<f64> { free.iter().map(|k| all[*k]).collect() };
    let model_of = |p: &[f64]| {
        let mut all = prior;
        for (k, p) in free.iter().zip(p) {
            all[*k] = *p;
        }
        RationalModel::from_fit(&all)
    };
    let mut residuals = |p: &[f64], out: &mut [f64]| {
        let model = model_of(p);
        for (i, b) in bands.iter().enumerate() {
            let h = model.response(response.f_hz[*b]);
            let size = response.re[*b].hypot(response.im[*b]);
            let u = size * response.gain_rel_u[*b].max(options.model_floor);
            out[2 * i] = (h.re - response.re[*b]) / u;
            out[2 * i + 1] = (h.im - response.im[*b]) / u;
        }
        for (i, k) in free.iter().enumerate() {
            out[2 * bands.len() + i] = (p[i] - prior[*k]) / PRIOR_SD[*k];
        }
    };
    let count = 2 * bands.len() + free.len();
    let settings = Options {
        scale: Some(of_free(&PRIOR_SD)),
        damping: Damping::Scale,
        max_iterations: 200,
        x_tolerance: 1e-9,
        rss_tolerance: 1e-6,
        offset_tolerance: 0.3,
        ..Options::default()
    };
    let mut best: Option<(f64, crate::least_squares::Fit)> = None;
    let mut failure = None;
    // The phase at the top of the range must start within half a turn; a few starts make sure that one does.
    for turn in [0.0, -0.5, 0.5] {
        let mut first = prior;
        first[7] += turn * 1e3 / range_hz[1];
        match minimise(&mut residuals, count, &of_free(&first), &settings) {
            Ok(fit) if best.as_ref().is_none_or(|b| fit.rss < b.0) => best = Some((fit.rss, fit)),
            Ok(_) => {}
            Err(f) => failure = Some(f),
        }
    }
    let delay = free.iter().position(|k| *k == 7).unwrap_or(0);
    let (rss, fit) = best.ok_or_else(|| failure.unwrap_or(Failure::BadStart))?;
    // Residuals below the errors given do not make the delay better known than those errors allow.
    let inflate = if fit.residual_sd > 0.0 {
        (1.0 / fit.residual_sd).max(1.0)
    } else {
        1.0
    };
    Ok(Fitted {
        model: model_of(&fit.parameters),
        second,
        rss,
        delay_u_s: 1e-3 * fit.sd(delay) * inflate,
        dof: fit.dof as f64,
        residual: fit.residual_sd,
    })
}
