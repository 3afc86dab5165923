//! Pure delay from magnitude and phase together.
//!
//! The phase alone cannot tell delay from lag; with the magnitude it can, because the lag of a minimum-phase system is
//! fixed by its magnitude (Bode 1945). So a model of the drivetrain times a delay is fitted to the complex response. What
//! is declared of the drive, its polling period and its slew rate, goes into the model: at the amplitude of the sweep the
//! slew limit delays by up to half a period more, the more the higher the frequency.
//!
//! Of a lag that is short against the lowest period that is seen, the magnitude says little: a lag of 0.3 ms costs 4 % at
//! 150 Hz, as much as a little more damping does. Its length is therefore held near what current control of such drives
//! has, and what is left of the doubt is in the uncertainty of the delay.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::FrequencyResponse;
use super::polled::Polled;
use super::start::{Start, bands, polled, start};
use super::two_mass::{DELAY, PARAMETERS, TwoMassModel};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Damping, Failure, Options, minimise};
use crate::statistics::mean_sd;

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DelayOptions {
    /// Widest range of the fit, Hz. It is cut to a fifth of the resonance (or corner) and to [`super::REACH`] times the
    /// resonance: below friction rules, beyond further modes.
    pub fit_hz: [f64; 2],
    /// Period at which the firmware polls and holds the setpoint, s, if declared. Holding lowers the magnitude without
    /// lag; not knowing by how much costs certainty.
    pub update_period_s: Option<f64>,
    /// Greatest rate of the drive's torque, N·m/s, if declared; infinite for one that follows at once.
    pub slew_nm_per_s: Option<f64>,
    /// Its relative standard uncertainty.
    pub slew_rel_u: f64,
    /// Amplitude of the sweep, N·m; without it a slew limit cannot be allowed for.
    pub amplitude_nm: Option<f64>,
    /// Relative error of the model, at 48 bands an octave, that is added to each band's own error. The model's errors
    /// are alike in neighbouring bands; this is large enough that a fit to many of them is not too sure.
    pub model_floor: f64,
}

impl Default for DelayOptions {
    fn default() -> Self {
        Self {
            fit_hz: [2.0, 250.0],
            update_period_s: None,
            slew_nm_per_s: None,
            slew_rel_u: 0.1,
            amplitude_nm: None,
            model_floor: 1e-2,
        }
    }
}

/// Error of the delay for a system that is unlike the model, s: a chain of two modes whose zero does not come from the
/// dampers of its modes reads 0.09 ms long.
const UNLIKE_S: f64 = 100e-6;

/// Share of the resonance's period by which the delay may be off where the range ends before twice the resonance: lag, hub and
/// delay can hardly be told there. A direct drive that rings at 162 Hz, seen to 250 Hz, reads 0.25 ms short, 0.04 periods.
const SHORT_REACH: [f64; 2] = [2.0, 0.06];

/// Extra delay of a drive that is just fast enough for its steps, in periods: its rectangular bound where no slew rate is
/// declared (half a period for the highest step, `8/(3π)` of it for the fundamental).
const UNKNOWN_SLEW: f64 = 0.42;

/// Name of the check that the model describes the response; where it fails, the delay stands for little.
pub const DESCRIBES: &str = "model with delay describes the response";

/// Root mean square residual in units of the errors given up to which the model describes the response.
const MOST_RESIDUAL: f64 = 2.0;

/// A fit at rest.
struct Fitted {
    model: TwoMassModel,
    rss: f64,
    delay_u_s: f64,
    dof: f64,
    /// Root mean square residual in units of the errors.
    residual: f64,
}

/// Sums of squares closer than this do not decide for the masses.
const UNDECIDED: f64 = 6.0;

/// Pure delay from setpoint to torque, s: queue, link and, on average, half the update period, for which a setpoint
/// waits or is held. The declared sensor delay is already out.
pub fn phase_delay(response: &FrequencyResponse, options: &DelayOptions) -> Outcome {
    estimate(response, options).into()
}

fn estimate(response: &FrequencyResponse, options: &DelayOptions) -> Result<Estimate, Refusal> {
    let drive = polled(options, 1.0);
    let (mut start, peaked) = start(response, options, drive)?;
    let refusal = |f: Failure| f.refusal("the model with delay");
    let mut fitted = fit(response, options, &start, drive).map_err(refusal)?;
    let mut apart = 0.0;
    if !peaked {
        // Nothing rings: masses are believed in when the data ask for them, and what else would come out is in the budget.
        let simple = start.lag_alone();
        if let Ok(alone) = fit(response, options, &simple, drive)
            && alone.rss < fitted.rss + UNDECIDED
        {
            apart = fitted.model.delay_s - alone.model.delay_s;
            (start, fitted) = (simple, alone);
        }
    }
    let value = fitted.model.delay_s;
    // What the model does not describe shows as a shift when the range is cut where a further mode matters most. The
    // narrower range knows less; what that explains of the shift is in the fit's own uncertainty already.
    let mut narrower = start.clone();
    narrower.range_hz[1] *= 0.75;
    let cut = fit(response, options, &narrower, drive).map_or(0.0, |f| {
        let shift = f.model.delay_s - value;
        let explained = f.delay_u_s.powi(2) - fitted.delay_u_s.powi(2);
        (shift.powi(2) - explained.max(0.0)).max(0.0).sqrt()
    });
    let mean = response.repeat_delay_s.iter().sum::<f64>() / response.repeat_delay_s.len().max(1) as f64;
    let repeats: Vec<f64> = response.repeat_delay_s.iter().map(|d| value + d - mean).collect();
    // The repeats share the fitted shape, so their scatter is that of the waits and adds in full.
    let scatter = mean_sd(&repeats)?;
    let mut budget = vec![
        Contribution::type_a(
            "noise and model errors, delay against lag",
            fitted.delay_u_s,
            fitted.dof,
        ),
        Contribution::of_mean("scatter of repeats", &scatter),
        Contribution::rectangular("model: upper end of the fitted range", cut),
        Contribution::rectangular("model: masses or none", apart),
        Contribution::type_b("declared sensor delay", response.output_delay_u_s),
        Contribution::rectangular("model: systems unlike rotor and hub", UNLIKE_S),
    ];
    let rings_hz = fitted.model.rotor_hz;
    if peaked && start.range_hz[1] < SHORT_REACH[0] * rings_hz {
        let half_width = SHORT_REACH[1] / rings_hz;
        budget.push(Contribution::rectangular(
            "range ends before twice the resonance",
            half_width,
        ));
    }
    let (known, slew) = match (options.slew_nm_per_s, options.amplitude_nm, drive) {
        (Some(slew), Some(_), Some(_)) if slew.is_finite() => {
            let slower = fit(
                response,
                options,
                &start,
                polled(options, 1.0 - options.slew_rel_u),
            )
            .map_or(0.0, |f| f.model.delay_s - value);
            budget.push(Contribution::type_b(
                "declared slew rate of the drive",
                slower.abs(),
            ));
            (true, format!("{slew} N·m/s, with the polling in the model"))
        }
        (Some(slew), _, Some(_)) if slew.is_infinite() => (true, "none: the drive follows at once".into()),
        _ => {
            let period_s = options.update_period_s.unwrap_or(fitted.model.hold_s);
            budget.push(Contribution::rectangular(
                "slew rate of the drive not declared",
                UNKNOWN_SLEW * period_s,
            ));
            let missing = "slew rate, polling period or amplitude is not declared: the delay may hold up to half a \
                           polling period of ramp";
            (false, missing.into())
        }
    };
    let known = Check::new("the drive's slew rate and polling are declared", known, slew);
    let detail = format!(
        "residual {:.2} times the errors given, {:.0} to {:.0} Hz",
        fitted.residual, start.range_hz[0], start.range_hz[1]
    );
    let method = "two masses on springs with friction, current control and polled drive, times delay, fitted to the \
                  complex response; mean over repeats";
    let describes = Check::new(DESCRIBES, fitted.residual < MOST_RESIDUAL, detail);
    Ok(
        Estimate::from_budget(value, "s", response.repeats.len(), method, budget)?
            .with_checks([describes, known])
            .with_checks(response.checks.iter().cloned()),
    )
}

fn fit(
    response: &FrequencyResponse,
    options: &DelayOptions,
    start: &Start,
    drive: Option<Polled>,
) -> Result<Fitted, Failure> {
    let bands = bands(response, start.range_hz, drive);
    if bands.len() < 2 * PARAMETERS {
        return Err(Failure::Setup(format!(
            "{} usable bands from {:.0} to {:.0} Hz, at least {} are needed",
            bands.len(),
            start.range_hz[0],
            start.range_hz[1],
            2 * PARAMETERS
        )));
    }
    let octaves = match (bands.first(), bands.last()) {
        (Some(first), Some(last)) => (response.f_hz[last.0] / response.f_hz[first.0]).log2(),
        _ => 1.0,
    };
    let floor = options.model_floor * (bands.len() as f64 / (48.0 * octaves)).sqrt();
    let prior = start.model.to_fit();
    let free: Vec<usize> = (0..PARAMETERS).filter(|k| start.is_free(*k, drive)).collect();
    let of_free = |all: &[f64; PARAMETERS]| -> Vec<f64> { free.iter().map(|k| all[*k]).collect() };
    let model_of = |p: &[f64]| {
        let mut all = prior;
        for (k, p) in free.iter().zip(p) {
            all[*k] = *p;
        }
        TwoMassModel::from_fit(&all)
    };
    let data: Vec<(f64, Complex64, f64, f64, Complex64)> = bands
        .iter()
        .map(|(b, drive)| {
            let h = Complex64::new(response.re[*b], response.im[*b]);
            let size = h.norm();
            (
                response.f_hz[*b],
                h,
                size,
                size * response.gain_rel_u[*b].hypot(floor),
                *drive,
            )
        })
        .collect();
    let mut residuals = |p: &[f64], out: &mut [f64]| {
        let model = model_of(p);
        for (i, (f, measured, size, u, drive)) in data.iter().enumerate() {
            let miss = (model.response(*f, *size, *drive) - measured) / u;
            (out[2 * i], out[2 * i + 1]) = (miss.re, miss.im);
        }
        for (i, k) in free.iter().enumerate() {
            out[2 * data.len() + i] = (p[i] - prior[*k]) / start.sd[*k];
        }
    };
    let settings = Options {
        scale: Some(of_free(&start.sd)),
        damping: Damping::Scale,
        max_iterations: 200,
        x_tolerance: 1e-7,
        rss_tolerance: 1e-6,
        offset_tolerance: 0.3,
        ..Options::default()
    };
    let count = 2 * data.len() + free.len();
    let delay = free.iter().position(|k| *k == DELAY).unwrap_or(0);
    let fit = minimise(&mut residuals, count, &of_free(&prior), &settings)?;
    let mut misses = vec![0.0; count];
    residuals(&fit.parameters, &mut misses);
    let of_data = &misses[..2 * data.len()];
    // Residuals below the errors given do not make the delay better known than those errors allow.
    let inflate = if fit.residual_sd > 0.0 {
        (1.0 / fit.residual_sd).max(1.0)
    } else {
        1.0
    };
    Ok(Fitted {
        model: model_of(&fit.parameters),
        rss: fit.rss,
        delay_u_s: 1e-3 * fit.sd(delay) * inflate,
        dof: fit.dof as f64,
        residual: (of_data.iter().map(|m| m * m).sum::<f64>() / of_data.len() as f64).sqrt(),
    })
}
