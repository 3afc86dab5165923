//! All resonances of a response: frequency, damping and amplification, by two estimators that must agree.
//!
//! One is the poles of the rational fit, which uses all lines; the other is the circle that a mode draws in the complex
//! plane, which uses the lines around it alone. They share the lines and the pure delay, not the model. Where they differ
//! by more than both uncertainties allow, a check says so: the mode is then not that of a linear system with two or
//! three neighbours (friction, a gap, two modes in one peak).

mod circle;

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal, coverage_factor};
use crate::rational::{RationalFit, ResponseLines, Root};
use circle::{CircleMode, Line, fit};

/// Which modes to list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModeOptions {
    /// Largest damping ratio that is called a resonance; above 0.707 the magnitude of a single mode has no peak.
    pub max_damping: f64,
    /// Lines within this many half-widths `ζ f0` of a mode go into its circle.
    pub reach: f64,
}

impl Default for ModeOptions {
    fn default() -> Self {
        Self {
            max_damping: 0.6,
            reach: 1.5,
        }
    }
}

/// Lines around a mode that are enough for its circle; with fewer, twice the reach is looked at.
const ENOUGH: usize = 12;

/// One resonance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mode {
    /// Undamped natural frequency by the poles, Hz.
    pub frequency: Outcome,
    /// Damping ratio by the poles, 1.
    pub damping: Outcome,
    /// Magnitude of the model there over its gain at zero frequency, 1.
    pub amplification: Outcome,
    /// Frequency by the circle, Hz.
    pub circle_frequency: Outcome,
    /// Damping ratio by the circle, 1.
    pub circle_damping: Outcome,
    /// Whether both estimators gave a result and agree in frequency and damping.
    pub agree: bool,
}

/// All resonances within the range of the lines, by frequency.
///
/// # Errors
/// The refusals of lines that do not belong together, and of the rational fit's readings.
pub fn resonances(
    data: &ResponseLines,
    rational: &RationalFit,
    options: &ModeOptions,
) -> Result<Vec<Mode>, Refusal> {
    data.check()?;
    let [low, high] = rational.range_hz;
    let poles: Vec<Root> = rational
        .poles()?
        .into_iter()
        .filter(|p| {
            let f = p.frequency.value;
            p.at_rad_s.im > 0.0 && p.damping.value <= options.max_damping && low < f && f < high
        })
        .collect();
    poles
        .into_iter()
        .map(|pole| one(data, rational, pole, options))
        .collect()
}

fn one(
    data: &ResponseLines,
    rational: &RationalFit,
    pole: Root,
    options: &ModeOptions,
) -> Result<Mode, Refusal> {
    let (f0, zeta) = (pole.frequency.value, pole.damping.value);
    let at = |reach: f64| fit(&around(data, rational.model.delay_s, f0, zeta, reach), f0, zeta);
    let circle = at(options.reach).and_then(|wide| {
        // What neighbours bend shows when less of them is looked at.
        let narrow = at(0.7 * options.reach)?;
        estimates(&wide, &narrow, rational.repeats)
    });
    let (mut frequency, mut damping) = (pole.frequency, pole.damping);
    let mut agree = false;
    let (circle_frequency, circle_damping): (Outcome, Outcome) = match circle {
        Ok([f, z]) => {
            let (same_f, check_f) = compare(&frequency, &f, "frequency", "Hz")?;
            let (same_z, check_z) = compare(&damping, &z, "damping", "")?;
            agree = same_f && same_z;
            frequency = frequency.with_checks([check_f]);
            damping = damping.with_checks([check_z]);
            (f.into(), z.into())
        }
        Err(refusal) => {
            let check = || Check::new("circle and poles agree", false, format!("no circle: {refusal}"));
            frequency = frequency.with_checks([check()]);
            damping = damping.with_checks([check()]);
            (refusal.clone().into(), refusal.into())
        }
    };
    Ok(Mode {
        amplification: rational.amplification(frequency.value).into(),
        frequency: frequency.into(),
        damping: damping.into(),
        circle_frequency,
        circle_damping,
        agree,
    })
}

/// Lines around a mode with the delay taken out.
fn around(data: &ResponseLines, delay_s: f64, f0: f64, zeta: f64, reach: f64) -> Vec<Line> {
    let take = |half: f64| -> Vec<Line> {
        (0..data.f_hz.len())
            .filter(|i| (data.f_hz[*i] - f0).abs() <= half)
            .map(|i| {
                let turn = Complex64::from_polar(1.0, TAU * data.f_hz[i] * delay_s);
                (data.f_hz[i], data.h[i] * turn, data.u[i].max(f64::MIN_POSITIVE))
            })
            .collect()
    };
    // A sparse excitation shows more of a sharp mode when one looks a little further.
    let near = take(reach * zeta * f0);
    if near.len() < ENOUGH {
        take(2.0 * reach * zeta * f0)
    } else {
        near
    }
}

fn estimates(wide: &CircleMode, narrow: &CircleMode, repeats: usize) -> Result<[Estimate; 2], Refusal> {
    let make = |value: f64, unit: &str, u: f64, other: f64, other_u: f64, what: &str| {
        let explained = (other_u.powi(2) - u.powi(2)).max(0.0);
        let shift = ((other - value).powi(2) - explained).max(0.0).sqrt();
        let budget = vec![
            Contribution::type_a("noise, by the covariance of the fit", u, wide.dof),
            Contribution::rectangular("model: width of the fitted range", shift),
        ];
        let method = format!("{what} of the circle that the mode draws in the complex plane");
        Estimate::from_budget(value, unit, repeats, method, budget)
    };
    Ok([
        make(
            wide.f_hz,
            "Hz",
            wide.u[0],
            narrow.f_hz,
            narrow.u[0],
            "natural frequency",
        )?,
        make(
            wide.damping,
            "1",
            wide.u[1],
            narrow.damping,
            narrow.u[1],
            "damping ratio",
        )?,
    ])
}

/// Whether two estimates agree. Both rest on the same lines, so they are not independent; the wider of both intervals
/// bounds their difference from above when noise alone parts them, the root of the sum of squares when models do.
fn compare(a: &Estimate, b: &Estimate, what: &str, unit: &str) -> Result<(bool, Check), Refusal> {
    let u = a.std_uncertainty.hypot(b.std_uncertainty);
    let limit = coverage_factor(crate::estimate::LEVEL, a.dof.min(b.dof))? * u;
    let apart = (a.value - b.value).abs();
    let agree = apart <= limit;
    let detail = format!(
        "{what} {:.5} {unit} by the poles, {:.5} {unit} by the circle: {apart:.2e} apart, at most {limit:.2e}",
        a.value, b.value
    );
    Ok((agree, Check::new("circle and poles agree", agree, detail)))
}
