//! Ripple under load: what grows with the torque, and what does not.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::orders::OrderFit;
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};

/// Orders fitted at one load.
#[derive(Debug, Clone, Copy)]
pub struct LoadLevel<'a> {
    /// Current, A, or torque, N·m; signed.
    pub load: f64,
    /// The orders there.
    pub fit: &'a OrderFit,
}

/// One order over the load: `C = C₀ + G · load`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadedOrder {
    /// Periods per turn.
    pub order: f64,
    /// Amplitude without load, N·m: cogging.
    pub unloaded: Outcome,
    /// Growth of the amplitude, N·m per unit of load: gains of the current sensors that differ, back-EMF shape, mesh.
    pub growth: Outcome,
}

/// Parts every order that all levels have into what is there without load and what grows with it, as complex
/// amplitudes over the load, weighted. That alone tells cogging from current gains that differ, when both fall on one
/// order (twice the electrical frequency is the pole count). `load_unit` is that of the loads, "A" or "N.m".
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below two levels; [`Refusal::NotCovered`] when they do not differ.
pub fn ripple_under_load(levels: &[LoadLevel<'_>], load_unit: &str) -> Result<Vec<LoadedOrder>, Refusal> {
    let Some(first) = levels.first().filter(|_| levels.len() >= 2) else {
        return Err(Refusal::TooFewRepeats {
            what: "ripple under load (levels)".into(),
            got: levels.len(),
            needed: 2,
        });
    };
    let loads = || levels.iter().map(|l| l.load);
    let (low, high) = (
        loads().fold(f64::INFINITY, f64::min),
        loads().fold(f64::NEG_INFINITY, f64::max),
    );
    let most = low.abs().max(high.abs());
    if (high - low).is_nan() || high - low <= 0.2 * most {
        return Err(Refusal::NotCovered {
            what: "span of the loads over the largest".into(),
            got: (high - low) / most,
            needed: 0.2,
            unit: "1".into(),
            remedy: "hold, say, 0, 25 and 50 % of the peak torque".into(),
        });
    }
    Ok(first
        .fit
        .lines
        .iter()
        .map(|line| one(line.order, levels, load_unit))
        .collect())
}

fn one(order: f64, levels: &[LoadLevel<'_>], load_unit: &str) -> LoadedOrder {
    let mut points: Vec<(f64, Complex64, f64)> = Vec::new();
    for level in levels {
        let line = level.fit.lines.iter().find(|l| (l.order - order).abs() < 1e-9);
        match line {
            Some(l) if l.amplitude.refused().is_none_or(|r| r.code != "confounded") => {
                points.push((level.load, l.phasor(), l.u_nm.max(f64::MIN_POSITIVE)));
            }
            Some(l) => {
                return LoadedOrder {
                    order,
                    unloaded: l.amplitude.clone(),
                    growth: l.amplitude.clone(),
                };
            }
            None => {}
        }
    }
    if points.len() < 2 {
        let refusal = Refusal::TooFewRepeats {
            what: format!("order {order} under load (levels that have it)"),
            got: points.len(),
            needed: 2,
        };
        return LoadedOrder {
            order,
            unloaded: refusal.clone().into(),
            growth: refusal.into(),
        };
    }
    // Weighted straight line with complex ordinates.
    let sum =
        |f: &dyn Fn(&(f64, Complex64, f64)) -> f64| points.iter().map(|p| f(p) / (p.2 * p.2)).sum::<f64>();
    let (s, sx, sxx) = (sum(&|_| 1.0), sum(&|p| p.0), sum(&|p| p.0 * p.0));
    let weighted = |f: &dyn Fn(&(f64, Complex64, f64)) -> Complex64| {
        points.iter().map(|p| f(p) / (p.2 * p.2)).sum::<Complex64>()
    };
    let (sy, sxy) = (weighted(&|p| p.1), weighted(&|p| p.1 * p.0));
    let det = s * sxx - sx * sx;
    let (c0, g) = ((sy * sxx - sxy * sx) / det, (sxy * s - sy * sx) / det);
    let misfit = points
        .iter()
        .map(|(x, c, u)| ((c - c0 - g * x) / u).norm_sqr())
        .sum::<f64>();
    // Two per level, less the four of the line; scatter beyond the levels' own uncertainties widens the result.
    let dof = 2.0 * points.len() as f64 - 4.0;
    let scale = if dof > 0.0 {
        (misfit / dof).sqrt().max(1.0)
    } else {
        1.0
    };
    let per = format!("N.m/{load_unit}");
    let growth_unit = if load_unit == "N.m" { "1" } else { &per };
    let estimate = |c: Complex64, variance: f64, unit: &str, what: &str| -> Outcome {
        let u = scale * variance.sqrt();
        if c.norm() < 3.0 * u {
            return Refusal::BelowNoise {
                what: format!("{what} of order {order}"),
                found: c.norm(),
                bound: c.norm() + 2.45 * u,
                level: 0.95,
                unit: unit.into(),
            }
            .into();
        }
        let value = (c.norm_sqr() - u * u).sqrt();
        let budget = vec![Contribution::type_a("orders at the levels", u, 20.0)];
        Estimate::from_budget(
            value,
            unit,
            points.len(),
            "complex amplitude over the load",
            budget,
        )
        .into()
    };
    LoadedOrder {
        order,
        unloaded: estimate(c0, sxx / det, "N.m", "torque without load"),
        growth: estimate(g, s / det, growth_unit, "growth with the load"),
    }
}
