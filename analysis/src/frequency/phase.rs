//! Phase with and without delay, group delay, and the frequency at which the phase reaches a level.
//!
//! A delay of some milliseconds turns the phase by many times what a band's polynomial can follow, so the bulk delay is
//! taken out before the phase is unwrapped or smoothed, and put back exactly.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::{FRAC_PI_2, TAU};

use super::FrequencyResponse;
use super::crossing::{BAND_MODEL, SWEPT};
use super::curve::{Piece, random_and_scatter};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};

/// Which phase is meant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhaseOptions {
    /// Level looked for, rad: -π/2 for the -90° frequency.
    pub level_rad: f64,
    /// Pure delay that is taken out first, s; 0 for the phase as it is.
    pub taken_out_s: f64,
    /// Standard uncertainty of that delay, s.
    pub taken_out_u_s: f64,
}

impl Default for PhaseOptions {
    fn default() -> Self {
        Self {
            level_rad: -FRAC_PI_2,
            taken_out_s: 0.0,
            taken_out_u_s: 0.0,
        }
    }
}

/// Group delay at one band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GroupDelay {
    /// Frequency, Hz.
    pub f_hz: f64,
    /// `-dφ/dω`, s, the sensor's delay taken out.
    pub delay_s: f64,
    /// Standard uncertainty from noise and from what a band's own polynomial leaves, s.
    pub u_s: f64,
}

/// Bands on either side through which a phase is smoothed.
const REACH: usize = 8;

impl FrequencyResponse {
    /// Mean bulk delay of the repeats, s.
    pub fn bulk_delay_s(&self) -> f64 {
        self.repeat_delay_s.iter().sum::<f64>() / self.repeat_delay_s.len().max(1) as f64
    }

    /// Unwrapped phase of each band with a delay taken out, rad: what is left of it when the pure delay is known from
    /// elsewhere. The bulk delay is out while the phase is unwrapped, so no turn is lost.
    pub fn phase_without_delay_rad(&self, delay_s: f64) -> Vec<f64> {
        let (values, bulk) = (mean(self), self.bulk_delay_s());
        unwrapped(&self.f_hz, &values, bulk)
            .iter()
            .zip(&self.f_hz)
            .map(|(phase, f)| phase - TAU * f * (bulk - delay_s))
            .collect()
    }

    /// Group delay by a straight line through the phase of `reach` bands on either side; bands without that many usable
    /// neighbours are left out. A wide reach is quiet and flattens resonances: over it the delay should not change.
    pub fn group_delay(&self, reach: usize) -> Vec<GroupDelay> {
        let n = self.f_hz.len();
        let bulk = self.bulk_delay_s();
        let phase = unwrapped(&self.f_hz, &mean(self), bulk);
        let reach = reach.max(1);
        (reach..n.saturating_sub(reach))
            .filter(|b| (b - reach..=b + reach).all(|i| self.usable[i]))
            .filter_map(|b| {
                let part = b - reach..=b + reach;
                let x: Vec<f64> = self.f_hz[part.clone()].iter().map(|f| TAU * f).collect();
                let u: Vec<f64> = self.phase_u_rad[part.clone()]
                    .iter()
                    .map(|u| u.hypot(BAND_MODEL))
                    .collect();
                let piece = Piece::new(&x, &phase[part], &u, 1)?;
                let (_, slope, _) = piece.at(TAU * self.f_hz[b]);
                Some(GroupDelay {
                    f_hz: self.f_hz[b],
                    delay_s: bulk - slope,
                    u_s: piece.slope_u() * overlap(self, b).sqrt(),
                })
            })
            .collect()
    }
}

/// How many neighbouring bands draw on the same spectral lines; at low frequency each is widened to twelve of them.
fn overlap(response: &FrequencyResponse, b: usize) -> f64 {
    let n = response.f_hz.len();
    let (low, high) = (b.saturating_sub(1), (b + 1).min(n - 1));
    let spacing = (response.f_hz[high] - response.f_hz[low]) / (high - low).max(1) as f64;
    (12.0 * response.line_hz / spacing).max(1.0)
}

fn mean(response: &FrequencyResponse) -> Vec<Complex64> {
    response
        .re
        .iter()
        .zip(&response.im)
        .map(|(re, im)| Complex64::new(*re, *im))
        .collect()
}

/// Phase with `delay_s` taken out, unwrapped from the first band.
fn unwrapped(f_hz: &[f64], values: &[Complex64], delay_s: f64) -> Vec<f64> {
    let mut last: Option<(Complex64, f64)> = None;
    f_hz.iter()
        .zip(values)
        .map(|(f, h)| {
            let h = h * Complex64::from_polar(1.0, TAU * f * delay_s);
            let phase = match last {
                Some((before, phase)) => phase + (h * before.conj()).arg(),
                None => h.arg(),
            };
            last = Some((h, phase));
            phase
        })
        .collect()
}

/// Lowest frequency at which the smoothed phase falls through a level, Hz.
pub fn phase_frequency(response: &FrequencyResponse, options: &PhaseOptions) -> Outcome {
    read(response, options).into()
}

/// A crossing: frequency, slope of the phase against ln(f), random error of the phase there, band before it.
struct Found {
    f_hz: f64,
    slope: f64,
    u_rad: f64,
    band: usize,
}

fn read(response: &FrequencyResponse, options: &PhaseOptions) -> Result<Estimate, Refusal> {
    let bulk = response.bulk_delay_s();
    let found = find(response, &mean(response), bulk, options, REACH)?;
    let value = found.f_hz;
    let per_rad = value / found.slope.abs();
    let repeats: Vec<f64> = response
        .repeats
        .iter()
        .zip(&response.repeat_delay_s)
        .filter_map(|(r, own)| {
            // A repeat's response is aligned with the mean; its own delay belongs to the phase.
            let h: Vec<Complex64> = r
                .iter()
                .zip(&response.f_hz)
                .map(|(h, f)| {
                    Complex64::new(h[0], h[1]) * Complex64::from_polar(1.0, -TAU * f * (own - bulk))
                })
                .collect();
            find(response, &h, *own, options, REACH).ok().map(|c| c.f_hz)
        })
        .collect();
    let mut budget = random_and_scatter(
        found.u_rad * per_rad,
        2.0 * response.averages[found.band],
        &repeats,
    )?;
    let shift = find(response, &mean(response), bulk, options, REACH / 2).map_or(0.0, |c| c.f_hz - value);
    budget.push(Contribution::rectangular(
        "smoothing over neighbouring bands",
        shift,
    ));
    let of_delay = |u_s: f64| TAU * value * u_s * per_rad;
    budget.push(Contribution::type_b(
        "declared sensor delay",
        of_delay(response.output_delay_u_s),
    ));
    if options.taken_out_s.abs() > 0.0 {
        budget.push(Contribution::type_b(
            "delay taken out",
            of_delay(options.taken_out_u_s),
        ));
    }
    budget.push(Contribution::rectangular(
        "sweep against steady sines",
        value * SWEPT,
    ));
    let method = format!(
        "first fall of the smoothed phase through {:.1} degrees, a delay of {:.4} ms taken out",
        options.level_rad.to_degrees(),
        1e3 * options.taken_out_s
    );
    let every = Check::new(
        "every repeat crosses",
        repeats.len() == response.repeats.len(),
        format!(
            "{} of {} repeats cross alone",
            repeats.len(),
            response.repeats.len()
        ),
    );
    Ok(
        Estimate::from_budget(value, "Hz", response.repeats.len(), method, budget)?
            .with_checks([every])
            .with_checks(response.checks.iter().cloned()),
    )
}

fn find(
    response: &FrequencyResponse,
    values: &[Complex64],
    bulk_s: f64,
    options: &PhaseOptions,
    reach: usize,
) -> Result<Found, Refusal> {
    let n = values.len();
    let none = || Refusal::NoCrossing {
        what: "phase".into(),
        level: options.level_rad,
        f_min_hz: response.f_hz.first().copied().unwrap_or(0.0),
        f_max_hz: response.f_hz.last().copied().unwrap_or(0.0),
    };
    let phase = unwrapped(&response.f_hz, values, bulk_s);
    let turn = |f: f64| TAU * f * (bulk_s - options.taken_out_s);
    let miss = |b: usize| phase[b] - turn(response.f_hz[b]) - options.level_rad;
    // Two bands in a row: one noisy band is not a crossing.
    let b = (0..n.saturating_sub(2))
        .find(|b| miss(*b) > 0.0 && miss(b + 1) <= 0.0 && miss(b + 2) <= 0.0)
        .ok_or_else(none)?;
    let (first, last) = (b.saturating_sub(reach - 1), (b + reach).min(n - 1));
    let piece = Piece::through(response, &phase, &response.phase_u_rad, first..=last)?.ok_or_else(none)?;
    let at = |x: f64| piece.at(x).0 - turn(x.exp()) - options.level_rad;
    let (mut low, mut high) = (
        response.f_hz[b.saturating_sub(1)].ln(),
        response.f_hz[(b + 2).min(n - 1)].ln(),
    );
    if at(low) <= 0.0 || at(high) > 0.0 {
        return Err(none());
    }
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if at(mid) > 0.0 {
            low = mid;
        } else {
            high = mid;
        }
    }
    let (_, slope, u_rad) = piece.at(low);
    Ok(Found {
        f_hz: low.exp(),
        slope: slope - turn(low.exp()),
        u_rad,
        band: b,
    })
}
