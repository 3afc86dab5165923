//! End stops: where a rim meets its stop and how stiff that is, from slow presses onto it.
//!
//! A rim that leans on a stop is held by the stop's spring and by friction, which follows each reversal like a bristle at
//! vanishing speed (Canudas de Wit, Olsson, Åström and Lischinsky, IEEE Trans. Automatic Control 40 (1995) 419):
//!
//! ```text
//! T = k (θ − θ₀) + F φ        dφ/dθ = (sgn(dθ) − φ)/z
//! ```
//!
//! with `T` the torque that presses, `θ₀` the angle of contact, `k` the stop's stiffness, `F` the torque at which friction
//! slides and `z` the angle over which it turns round. For a given `z` the torque is linear in all else (what was before the
//! first sample included), so `z` alone is searched for. Rising and falling torque differ by friction, the mid-line between
//! them is the stop's.

use ndarray::{Array2, ArrayView1};
use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::{LinearFit, fit};
use crate::statistics::{all_finite, extent, mean_sd};
use crate::turning::turning_points;

/// Presses onto one stop, one behind the other, from the deepest point of the first on.
#[derive(Debug, Clone, Copy)]
pub struct Presses<'a> {
    /// Angle towards the stop, rad: rising as it is pressed.
    pub angle_rad: ArrayView1<'a, f64>,
    /// Torque towards the stop, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
}

/// What is known beside the presses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndStopOptions {
    /// Step of the angle, rad.
    pub angle_step_rad: f64,
    /// Relative standard uncertainty of the torque's gain.
    pub gain_rel_u: f64,
    /// Standard uncertainty of the torque's zero, and of half of what friction differs by between the directions, N·m.
    pub zero_u_nm: f64,
    /// Amplitude of torque that repeats with the angle (cogging), N·m, and its periods per turn: a stop is met at one angle
    /// alone, where nothing parts it from the stop.
    pub repeats: [f64; 2],
}

/// One end stop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EndStopFit {
    /// Angle of contact towards the stop, rad.
    pub contact: Estimate,
    /// Stiffness, N·m/rad.
    pub stiffness: Estimate,
    /// Torque at which friction slides on the stop, N·m.
    pub friction_nm: f64,
    /// Angle over which friction turns round, rad.
    pub turns_over_rad: f64,
    /// Root mean square of what is left, N·m.
    pub residual_nm: f64,
    /// Checks.
    pub checks: Vec<Check>,
}

/// Both stops.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TravelFit {
    /// Way from one contact to the other, rad.
    pub travel: Outcome,
    /// Middle between the contacts, from the angle's zero, rad.
    pub centre: Outcome,
}

/// Least number of samples.
const LEAST: usize = 60;
/// Least number of samples of one of them.
const LEAST_PRESS: usize = 15;
/// Least movement on a stop, in steps of the angle.
const STEPS: f64 = 20.0;
/// Share of the pressing torque's range that the stop's own spring has to hold.
const HOLDS: f64 = 0.2;
/// Angles over which friction may turn round, rad (0.006° to 1.7°).
const TURNS_OVER: [f64; 2] = [1e-4, 3e-2];
/// Left over of the torque's range beyond which the model is doubted.
const LEFT: f64 = 0.04;

/// Columns of the regression.
const ANGLE: usize = 0;
const ONE: usize = 1;
const FRICTION: usize = 2;

/// Fits the presses onto one stop.
///
/// The uncertainty holds the scatter about the model and from press to press, the torque's gain and zero, and what cogging may add
/// to the slope and to the torque at this one place (`A n` and `A`, at an unknown phase: over the root of two), which every press
/// shares.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`],
/// [`Refusal::TooFewRepeats`] below two presses; [`Refusal::NotCovered`] when the rim
/// moved by less than twenty steps of its angle, and when no spring beyond friction's holds a fifth of the torque: no
/// contact was seen.
pub fn fit_end_stop(presses: &Presses<'_>, options: &EndStopOptions) -> Result<EndStopFit, Refusal> {
    let (angle, torque) = (presses.angle_rad.to_vec(), presses.torque_nm.to_vec());
    if angle.len() != torque.len() {
        return Err(Refusal::LengthMismatch {
            what: "angle and torque of presses".into(),
            left: angle.len(),
            right: torque.len(),
        });
    }
    if angle.len() < LEAST {
        return Err(Refusal::TooFewSamples {
            what: "presses onto an end stop".into(),
            got: angle.len(),
            needed: LEAST,
        });
    }
    all_finite("the angle", angle.iter())?;
    all_finite("the torque", torque.iter())?;
    let [low, high] = extent(&angle);
    let [least, most] = extent(&torque);
    let moved = high - low;
    if moved < STEPS * options.angle_step_rad || moved <= 0.0 {
        return Err(Refusal::NotCovered {
            what: "movement on an end stop, in steps of the angle".into(),
            got: moved / options.angle_step_rad.max(f64::MIN_POSITIVE),
            needed: STEPS,
            unit: "steps".into(),
            remedy: "press harder, or read the angle with a finer encoder".into(),
        });
    }
    // From the deepest point, where the angle is known best.
    let depth: Vec<f64> = angle.iter().map(|a| a - high).collect();
    let z = best(&depth, &torque);
    let solved = at(&depth, &torque, z)?;
    let c = &solved.coefficients;
    let (stiffness, friction) = (c[ANGLE], c[FRICTION]);
    let spread = covariance(&depth, &torque, z, &solved)?;
    let n = angle.len();
    let loops = per_press(&depth, &torque, z, &solved, most - least)?;
    let held = stiffness * moved / (most - least).max(f64::MIN_POSITIVE);
    let u_stiffness = loops.u[0].hypot(spread[[ANGLE, ANGLE]].max(0.0).sqrt());
    if held < HOLDS || stiffness < 3.0 * u_stiffness {
        return Err(Refusal::NotCovered {
            what: "torque that a stop holds of the press, beyond friction's own spring".into(),
            got: held.max(0.0),
            needed: HOLDS,
            unit: "of its range".into(),
            remedy:
                "no contact was seen: give more pushes, so that the rim comes to its stop, or press harder"
                    .into(),
        });
    }
    let contact = high - c[ONE] / stiffness;
    // dθ₀ = (−dc₁ + (c₁/k) dk)/k
    let lever = c[ONE] / stiffness;
    let of_fit = (spread[[ONE, ONE]] + lever * lever * spread[[ANGLE, ANGLE]]
        - 2.0 * lever * spread[[ONE, ANGLE]])
    .max(0.0)
    .sqrt()
        / stiffness;
    let [assumed_nm, order] = options.repeats;
    // What is left over and comes back with each press is such torque too.
    let cogging_nm = assumed_nm.max(std::f64::consts::SQRT_2 * solved.residual_sd);
    let slope = cogging_nm * order * std::f64::consts::FRAC_1_SQRT_2;
    let level = cogging_nm * std::f64::consts::FRAC_1_SQRT_2;
    let method = format!(
        "slow presses, rising and falling torque, friction of {friction:.2} N·m that turns round over {:.3}° taken out",
        z.to_degrees()
    );
    let dof = n as f64 - 5.0;
    let contact = Estimate::from_budget(
        contact,
        "rad",
        n,
        method.clone(),
        vec![
            Contribution::type_a("scatter about the model", of_fit, dof),
            Contribution::type_a("scatter of presses", loops.u[1], loops.dof),
            Contribution::type_b(
                "zero of torque, friction by direction",
                options.zero_u_nm / stiffness,
            ),
            Contribution::type_b(
                "torque that repeats with the angle, assumed",
                (level / stiffness).hypot(slope * lever / stiffness),
            ),
            Contribution::rectangular("step of the angle", 0.5 * options.angle_step_rad),
        ],
    )?;
    let stiffness = Estimate::from_budget(
        stiffness,
        "N.m/rad",
        n,
        method,
        vec![
            Contribution::type_a(
                "scatter about the model",
                spread[[ANGLE, ANGLE]].max(0.0).sqrt(),
                dof,
            ),
            Contribution::type_a("scatter of presses", loops.u[0], loops.dof),
            Contribution::type_b("gain of the drive, assumed", stiffness * options.gain_rel_u),
            Contribution::type_b("slope of torque that repeats with the angle, assumed", slope),
        ],
    )?;
    let left = solved.residual_sd / (most - least).max(f64::MIN_POSITIVE);
    Ok(EndStopFit {
        contact,
        stiffness,
        friction_nm: friction,
        turns_over_rad: z,
        residual_nm: solved.residual_sd,
        checks: vec![Check::new(
            "spring and friction",
            left < LEFT,
            format!(
                "{:.2} % of the torque's range left over, limit {:.0} %; pressed over {:.3}°",
                100.0 * left,
                100.0 * LEFT,
                moved.to_degrees()
            ),
        )],
    })
}

/// Travel and centre from both contacts, each in its own direction; zero is the angle's.
///
/// # Errors
/// None by itself: what cannot be combined is refused in its place.
pub fn travel(positive: &EndStopFit, negative: &EndStopFit) -> TravelFit {
    let (a, b) = (&positive.contact, &negative.contact);
    let combined = |value: f64, share: f64| -> Outcome {
        let side = |fit: &Estimate, which: &str| {
            fit.budget
                .iter()
                .map(|c| Contribution {
                    source: format!("{}, {which}", c.source),
                    std_uncertainty: share * c.std_uncertainty,
                    ..c.clone()
                })
                .collect::<Vec<_>>()
        };
        let budget = [side(a, "positive"), side(b, "negative")].concat();
        let made = Estimate::from_budget(
            value,
            "rad",
            2,
            "contacts of both stops, each by slow presses",
            budget,
        );
        made.map(|e| e.with_checks([positive.checks.as_slice(), negative.checks.as_slice()].concat()))
            .into()
    };
    TravelFit {
        travel: combined(a.value + b.value, 1.0),
        centre: combined(0.5 * (a.value - b.value), 0.5),
    }
}

/// Friction's share along the way: from nothing, and what is left of the first sample's.
fn friction(depth: &[f64], z: f64) -> [Vec<f64>; 2] {
    let (mut made, mut left) = (0.0, 1.0);
    let mut last = depth.first().copied().unwrap_or_default();
    let mut both = [Vec::with_capacity(depth.len()), Vec::with_capacity(depth.len())];
    for d in depth {
        let way = d - last;
        last = *d;
        let decay = (-way.abs() / z).exp();
        let s = if way == 0.0 { made } else { way.signum() };
        made = s + (made - s) * decay;
        left *= decay;
        both[0].push(made);
        both[1].push(left);
    }
    both
}

fn matrix(columns: &[&[f64]]) -> Matrix {
    let mut x = Matrix::zeros(columns.first().map_or(0, |c| c.len()), columns.len());
    for (j, column) in columns.iter().enumerate() {
        x.col_mut(j).copy_from_slice(column);
    }
    x
}

fn at(depth: &[f64], torque: &[f64], z: f64) -> Result<LinearFit, Refusal> {
    let [made, left] = friction(depth, z);
    let x = matrix(&[depth, &vec![1.0; depth.len()], &made, &left]);
    fit(&x, torque)
}

/// The angle over which friction turns round that leaves least: a coarse search, then by golden section, over its logarithm.
fn best(depth: &[f64], torque: &[f64]) -> f64 {
    // Where friction turns round over far more than the way, its column is a straight line like the spring's: no choice then.
    let left = |log: f64| at(depth, torque, log.exp()).map_or(f64::INFINITY, |f| f.residual_sd);
    let [low, high] = TURNS_OVER.map(f64::ln);
    let many = 24;
    let step = (high - low) / f64::from(many);
    let mut found = (f64::INFINITY, low);
    for i in 0..=many {
        let log = low + step * f64::from(i);
        let sd = left(log);
        if sd < found.0 {
            found = (sd, log);
        }
    }
    let (mut a, mut b) = ((found.1 - step).max(low), (found.1 + step).min(high));
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..30 {
        let (c, d) = (b - golden * (b - a), a + golden * (b - a));
        if left(c) < left(d) {
            b = d;
        } else {
            a = c;
        }
    }
    (0.5 * (a + b)).exp()
}

/// What presses scatter: standard uncertainties of the mean of stiffness and contact, and their degrees of freedom.
struct PerPress {
    u: [f64; 2],
    dof: f64,
}

/// Stiffness and contact of every press, from one deepest point to the next, with friction as found from all.
fn per_press(
    depth: &[f64],
    torque: &[f64],
    z: f64,
    solved: &LinearFit,
    range_nm: f64,
) -> Result<PerPress, Refusal> {
    let [made, left] = friction(depth, z);
    let c = &solved.coefficients;
    let without: Vec<f64> = (0..depth.len())
        .map(|i| torque[i] - c[FRICTION] * made[i] - c[FRICTION + 1] * left[i])
        .collect();
    let mut ends = vec![0];
    let turns = turning_points(torque, 0.5 * range_nm);
    let middle = 0.5 * (torque.iter().sum::<f64>() / torque.len() as f64 + extent(torque)[1]);
    ends.extend(turns.into_iter().filter(|i| torque[*i] > middle));
    ends.push(depth.len());
    let (mut stiffness, mut contact) = (Vec::new(), Vec::new());
    for pair in ends.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        if b < a + LEAST_PRESS {
            continue;
        }
        let x = matrix(&[&depth[a..b], &vec![1.0; b - a]]);
        let line = fit(&x, &without[a..b])?.coefficients;
        stiffness.push(line[0]);
        contact.push(-line[1] / line[0]);
    }
    if stiffness.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "presses onto an end stop".into(),
            got: stiffness.len(),
            needed: 2,
        });
    }
    let n = stiffness.len() as f64;
    let of = |values: &[f64]| mean_sd(values).map(|s| s.sd / n.sqrt());
    Ok(PerPress {
        u: [of(&stiffness)?, of(&contact)?],
        dof: n - 1.0,
    })
}

/// Covariance of stiffness, level and friction with the search for `z` in it: its column is the slope of the model over `ln z`.
fn covariance(depth: &[f64], torque: &[f64], z: f64, solved: &LinearFit) -> Result<Array2<f64>, Refusal> {
    let n = depth.len();
    let c = &solved.coefficients;
    let [made, left] = friction(depth, z);
    let [more, rest] = friction(depth, z * 1.01);
    let slope: Vec<f64> = (0..n)
        .map(|i| (c[2] * (more[i] - made[i]) + c[3] * (rest[i] - left[i])) / 0.01)
        .collect();
    let x = matrix(&[depth, &vec![1.0; n], &made, &left, &slope]);
    let wide = fit(&x, torque)?;
    let scale = solved.residual_sd * solved.residual_sd;
    Ok(wide.inverse_gram * scale)
}
