//! Where the fit for the delay starts: peak or corner, prior widths, range, and a delay in the right valley.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::FrequencyResponse;
use super::curve::{gains, reference};
use super::delay::DelayOptions;
use super::polled::Polled;
use super::resonance::first_peak;
use super::two_mass::{DELAY, HOLD, LAG, PARAMETERS, TwoMassModel};
use crate::estimate::Refusal;

/// Highest frequency of the fit over that of the resonance.
pub const REACH: f64 = 2.4;
/// Lowest, likewise.
const FROM: f64 = 0.2;

/// Widths of the prior on the fit parameters, in the order of [`TwoMassModel::to_fit`]. They weigh one residual each.
const PRIOR_SD: [f64; PARAMETERS] = [0.3, 0.3, 0.6, 0.7, 1.0, 1.0, 0.3, 0.5, 0.2, 1.0, 20.0, 0.7];

/// Current control of such drives has 300 to 1,200 Hz: the middle of its time constants, s.
const LAG_S: f64 = 0.27e-3;

/// Natural frequency, Hz, that puts a mode out of reach of any sweep.
const NO_MODE_HZ: f64 = 1e6;

/// Where a fit starts, how wide its prior is, and its range.
#[derive(Clone)]
pub(crate) struct Start {
    pub(crate) model: TwoMassModel,
    pub(crate) sd: [f64; PARAMETERS],
    pub(crate) range_hz: [f64; 2],
    /// Whether there are masses at all; without them gain, lag and delay are left.
    masses: bool,
}

impl Start {
    pub(crate) fn is_free(&self, k: usize, drive: Option<Polled>) -> bool {
        match k {
            HOLD => drive.is_none(),
            0 | LAG | DELAY => true,
            _ => self.masses,
        }
    }

    /// The same without masses.
    pub(crate) fn lag_alone(&self) -> Self {
        let model = TwoMassModel {
            rotor_hz: NO_MODE_HZ,
            hub_hz: NO_MODE_HZ,
            drive_damping_s: 1e-12,
            rig_damping_s: 1e-12,
            bearing_damping_s: 0.0,
            friction: 0.0,
            ..self.model.clone()
        };
        Self {
            model,
            masses: false,
            ..self.clone()
        }
    }
}

pub(crate) fn polled(options: &DelayOptions, slew_share: f64) -> Option<Polled> {
    Some(Polled {
        period_s: options.update_period_s?,
        amplitude_nm: options.amplitude_nm.unwrap_or(0.0),
        slew_nm_per_s: options.slew_nm_per_s.map_or(f64::INFINITY, |s| s * slew_share),
    })
}

/// Start, and whether there is a peak.
pub(crate) fn start(
    response: &FrequencyResponse,
    options: &DelayOptions,
    drive: Option<Polled>,
) -> Result<(Start, bool), Refusal> {
    let magnitudes = gains(response, None);
    let low = [options.fit_hz[0], 2.5 * options.fit_hz[0]];
    let (gain, _, begin) = reference(response, &magnitudes, low)?;
    let top_hz = drive.map_or(options.fit_hz[1], |d| options.fit_hz[1].min(0.97 * d.f_max_hz()));
    let mut sd = PRIOR_SD;
    let mode = |f_hz: f64, damping_s: f64, lag_s: f64| TwoMassModel {
        gain,
        rotor_hz: f_hz,
        hub_hz: 4.0 * f_hz,
        stiffness_ratio: 0.3,
        drive_damping_s: damping_s,
        rig_damping_s: 0.2 * damping_s,
        bearing_damping_s: 0.0,
        lag_s,
        friction: 0.1,
        sliding_gain: 1.0,
        hold_s: if drive.is_some() { 0.0 } else { 0.03 / f_hz },
        delay_s: 0.0,
    };
    let peak = first_peak(response, &magnitudes, begin, gain);
    let (model, range_hz) = match peak {
        Some(b) => {
            let f_hz = response.f_hz[b];
            let damping = (0.5 * gain / magnitudes[b]).clamp(0.005, 0.5);
            (
                mode(f_hz, damping / (std::f64::consts::PI * f_hz), LAG_S),
                [FROM * f_hz, REACH * f_hz],
            )
        }
        None => {
            // Half the gain of a single lag is at sqrt(3) of its corner; masses then matter little.
            let corner = (begin..magnitudes.len()).find(|b| magnitudes[*b] < 0.5 * gain);
            let f_hz = corner.map_or(options.fit_hz[1], |b| response.f_hz[b]);
            (sd[1], sd[7]) = (1.0, 1.0);
            let lag_s = 3.0_f64.sqrt() / (TAU * f_hz);
            (mode(4.0 * f_hz, 0.1 * lag_s, lag_s), [FROM * f_hz, f64::INFINITY])
        }
    };
    let range_hz = [options.fit_hz[0].max(range_hz[0]), top_hz.min(range_hz[1])];
    let mut start = Start {
        model,
        sd,
        range_hz,
        masses: true,
    };
    start.model.delay_s = scan(response, &start, drive);
    Ok((start, peak.is_some()))
}

/// Bands of a range, with what the drive does at each.
pub(crate) fn bands(
    response: &FrequencyResponse,
    range_hz: [f64; 2],
    drive: Option<Polled>,
) -> Vec<(usize, Complex64)> {
    (0..response.f_hz.len())
        .filter(|b| (range_hz[0]..=range_hz[1]).contains(&response.f_hz[*b]) && response.usable[*b])
        .map(|b| {
            (
                b,
                drive.map_or(Complex64::from(1.0), |d| d.response(response.f_hz[b])),
            )
        })
        .collect()
}

/// The delay, on a grid around the bulk delay, at which the model of the start fits best: a fit that starts half a turn
/// away would end in the wrong valley.
fn scan(response: &FrequencyResponse, start: &Start, drive: Option<Polled>) -> f64 {
    let bulk = response.repeat_delay_s.iter().sum::<f64>() / response.repeat_delay_s.len().max(1) as f64;
    let turns: Vec<(f64, Complex64)> = bands(response, start.range_hz, drive)
        .into_iter()
        .map(|(b, drive)| {
            let (f, measured) = (response.f_hz[b], Complex64::new(response.re[b], response.im[b]));
            (
                f,
                start.model.response(f, measured.norm(), drive) * measured.conj() / measured.norm_sqr(),
            )
        })
        .collect();
    let fits = |delay_s: f64| {
        turns
            .iter()
            .map(|(f, h)| (h * Complex64::from_polar(1.0, -TAU * f * delay_s)).arg().cos())
            .sum::<f64>()
    };
    let step_s = 0.05 / start.range_hz[1];
    let reach = (3.0 * start.range_hz[1] / start.model.rotor_hz.min(start.range_hz[1]) / 0.05) as i32;
    (-reach..=reach)
        .map(|i| bulk + f64::from(i) * step_s)
        .max_by(|a, b| fits(*a).total_cmp(&fits(*b)))
        .unwrap_or(bulk)
}
