//! The rig's own part in a clamped response: marked, refused, or taken out by a stated model.
//!
//! A clamped wheelbase is held by sensor and fixture, which give way. Up to a fifth of the rig's lowest mode that changes the
//! torque by no more than about four per cent (an undamped mode raises what lies a fifth below it by 1/(1 - 1/25));
//! beyond, results are the rig's as much as the wheelbase's. [`ClampModel`] says what an ideal clamp would have shown;
//! how well it says so follows from how well its figures are known.

mod model;

pub use model::{ClampModel, Known};

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::frequency::{FrequencyResponse, phase_error_rad};

/// Share of the rig's lowest mode up to which a result needs no correction.
pub const RIG_SHARE: f64 = 0.2;

/// Relative standard uncertainty of a correction beyond which the corrected response is not given.
pub const MOST_UNCERTAIN: f64 = 0.1;

/// What a band of a corrected response is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Trust {
    /// Up to a fifth of the rig's lowest mode.
    Free,
    /// Beyond, but the model knows its correction.
    Corrected,
    /// The correction is less certain than a tenth; the band is marked as not usable.
    Rig,
}

/// A response as an ideal clamp would have shown it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CorrectedResponse {
    /// The response; errors include the correction's, bands that the rig decides are not usable.
    pub response: FrequencyResponse,
    /// Ideal clamp over rig, `[re, im]` a band.
    pub correction: Vec<[f64; 2]>,
    /// Standard uncertainty of the correction over its magnitude, magnitude and phase together, a band.
    pub correction_rel_u: Vec<f64>,
    /// What each band is worth.
    pub trust: Vec<Trust>,
    /// Frequency up to which the rig does not matter, Hz.
    pub free_hz: f64,
}

/// Corrects a response to an ideal clamp. The corrected curve may be read like any other; errors of neighbouring bands then
/// share what the model's figures leave open, so a reading's own interval does not hold it: use [`correct_reading`].
///
/// # Errors
/// [`Refusal::OutOfRange`] for figures that no system has.
pub fn correct_response(
    response: &FrequencyResponse,
    model: &ClampModel,
) -> Result<CorrectedResponse, Refusal> {
    model.check()?;
    let free_hz = RIG_SHARE * model.rig_mode_hz();
    let mut out = response.clone();
    let (mut correction, mut correction_rel_u, mut trust) = (Vec::new(), Vec::new(), Vec::new());
    for (b, f) in response.f_hz.iter().enumerate() {
        let (c, u, turn) = model.correction(*f);
        let of = |h: [f64; 2]| {
            let h = Complex64::new(h[0], h[1]) * c;
            [h.re, h.im]
        };
        [out.re[b], out.im[b]] = of([response.re[b], response.im[b]]);
        for repeat in &mut out.repeats {
            repeat[b] = of(repeat[b]);
        }
        out.gain_rel_u[b] = response.gain_rel_u[b].hypot(u);
        out.phase_u_rad[b] = response.phase_u_rad[b].hypot(turn).min(phase_error_rad(0.0, 1.0));
        let uncertain = u.hypot(turn);
        let worth = if *f <= free_hz {
            Trust::Free
        } else if uncertain <= MOST_UNCERTAIN {
            Trust::Corrected
        } else {
            Trust::Rig
        };
        out.usable[b] &= worth != Trust::Rig;
        correction.push([c.re, c.im]);
        correction_rel_u.push(uncertain);
        trust.push(worth);
    }
    let lost = trust.iter().filter(|t| **t == Trust::Rig).count();
    out.checks.push(Check::new(
        "the rig does not decide",
        lost == 0,
        format!(
            "{lost} of {} bands where the correction is less certain than 10 %",
            trust.len()
        ),
    ));
    Ok(CorrectedResponse {
        response: out,
        correction,
        correction_rel_u,
        trust,
        free_hz,
    })
}

/// A reading of the corrected response (bandwidth, flat band, resonance) with what the model's figures leave open: each figure
/// is moved by its uncertainty, the response corrected and read again; the shifts enter the budget as one contribution each.
///
/// # Errors
/// As [`correct_response`]; the refusal of the reading itself comes back as the outcome.
pub fn correct_reading(
    response: &FrequencyResponse,
    model: &ClampModel,
    read: impl Fn(&FrequencyResponse) -> Outcome,
) -> Result<Outcome, Refusal> {
    let outcome = read(&correct_response(response, model)?.response);
    let Some(estimate) = outcome.estimate() else {
        return Ok(outcome);
    };
    let mut budget = estimate.budget.clone();
    for (name, moved) in model.moved() {
        let other = read(&correct_response(response, &moved)?.response);
        let shift = match other.estimate() {
            Some(other) => (other.value - estimate.value).abs(),
            // A figure that may as well make the reading impossible: the reading does not stand.
            None => return Ok(other),
        };
        if shift > 0.0 {
            budget.push(Contribution::type_b(format!("clamp model: {name}"), shift));
        }
    }
    let method = format!("{}, corrected to an ideal clamp", estimate.method);
    let made = Estimate::from_budget(estimate.value, &estimate.unit, estimate.n, method, budget)?;
    Ok(made.with_checks(estimate.checks.iter().cloned()).into())
}

/// Marks a reading of the uncorrected response: a check that fails where the rig has a say, and a refusal where it has the
/// word, at or beyond its own mode.
///
/// # Errors
/// [`Refusal::RigDecides`] for a frequency at or above the rig's lowest mode.
pub fn judge_reading(estimate: Estimate, rig_mode_hz: f64) -> Result<Estimate, Refusal> {
    let f_hz = estimate.value;
    if f_hz >= rig_mode_hz {
        return Err(Refusal::RigDecides { f_hz, rig_mode_hz });
    }
    let limit = RIG_SHARE * rig_mode_hz;
    let detail =
        format!("at {f_hz:.1} Hz; the rig's lowest mode is {rig_mode_hz:.1} Hz, a fifth of it {limit:.1} Hz");
    Ok(estimate.with_checks([Check::new(
        "below a fifth of the rig's lowest mode",
        f_hz <= limit,
        detail,
    )]))
}

impl ClampModel {
    /// The model with one figure after the other moved up by its standard uncertainty.
    fn moved(&self) -> Vec<(&'static str, Self)> {
        let mut all = Vec::new();
        let mut with = |name: &'static str, known: Known, set: fn(&mut Self) -> &mut Known| {
            if known.u > 0.0 {
                let mut model = self.clone();
                set(&mut model).value += known.u;
                all.push((name, model));
            }
        };
        with("stiffness of the rig", self.rig_stiffness, |m| {
            &mut m.rig_stiffness
        });
        with("damping of the rig", self.rig_damping, |m| &mut m.rig_damping);
        with("inertia of the hub", self.hub_inertia, |m| &mut m.hub_inertia);
        with("stiffness of the drive", self.drive_stiffness, |m| {
            &mut m.drive_stiffness
        });
        with("damping of the drive", self.drive_damping, |m| {
            &mut m.drive_damping
        });
        with("inertia of the rotor", self.rotor_inertia, |m| {
            &mut m.rotor_inertia
        });
        with("damping of the rotor", self.rotor_damping, |m| {
            &mut m.rotor_damping
        });
        all
    }
}
