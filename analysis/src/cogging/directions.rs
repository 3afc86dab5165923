//! Both directions: what they share, what they do not, and how far their angles are apart.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::orders::{OrderFit, OrderLine};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression;

/// The same orders fitted in both directions at one speed.
#[derive(Debug, Clone, Copy)]
pub struct DirectionPair<'a> {
    /// Speed, positive, rad/s.
    pub speed_rad_s: f64,
    /// Turning in the positive direction.
    pub positive: &'a OrderFit,
    /// Turning in the negative one.
    pub negative: &'a OrderFit,
}

/// By how much the pattern of torque is shifted between the directions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Skew {
    /// Shift that does not depend on speed, rad: lost motion, or magnetic hysteresis.
    pub constant: Outcome,
    /// Delay of the torque against the angle, s: channels that are not read at one instant.
    pub time: Outcome,
    /// Shift at each speed with its standard uncertainty, rad.
    pub per_speed_rad: Vec<[f64; 3]>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// Shift of one pair: the angle that turns the phases of all orders onto one another. The pattern of the positive
/// direction lies `shift` further on.
fn shift(pair: &DirectionPair<'_>, largest: f64) -> Result<(f64, f64, f64, usize), Refusal> {
    let lines: Vec<(f64, f64, f64)> = both(pair.positive, pair.negative)
        .filter(|(p, m)| p.stands() && m.stands())
        .map(|(p, m)| {
            let (a, b) = (p.phasor(), m.phasor());
            let phase = (b * a.conj()).arg();
            let variance = (p.u_nm / a.norm()).powi(2) + (m.u_nm / b.norm()).powi(2);
            (p.order, phase, variance)
        })
        .collect();
    if lines.is_empty() {
        return Err(Refusal::TooFewRepeats {
            what: "skew between directions (orders that stand out in both)".into(),
            got: 0,
            needed: 1,
        });
    }
    let misfit = |d: f64| {
        let square = |(n, phase, v): &(f64, f64, f64)| (2.0 * (0.5 * (phase - n * d)).sin()).powi(2) / v;
        lines.iter().map(square).sum::<f64>()
    };
    // The misfit has a dip a period of the highest order: look through the allowed range finely, then close in.
    let highest = lines.iter().map(|l| l.0).fold(0.0, f64::max);
    let count = (16.0 * largest * highest).ceil().max(16.0) as i64;
    let mut best = (-count..=count)
        .map(|i| largest * i as f64 / count as f64)
        .min_by(|a, b| misfit(*a).total_cmp(&misfit(*b)))
        .unwrap_or(0.0);
    let information: f64 = lines.iter().map(|(n, _, v)| n * n / v).sum();
    for _ in 0..20 {
        let slope: f64 = lines
            .iter()
            .map(|(n, phase, v)| n * (phase - n * best).sin() / v)
            .sum();
        best += slope / information;
    }
    if best.abs() > largest {
        return Err(Refusal::OutOfRange {
            what: "skew between directions".into(),
            value: best,
            low: -largest,
            high: largest,
            unit: "rad".into(),
        });
    }
    Ok((best, information.powf(-0.5), misfit(best), lines.len()))
}

fn both<'a>(
    positive: &'a OrderFit,
    negative: &'a OrderFit,
) -> impl Iterator<Item = (&'a OrderLine, &'a OrderLine)> {
    positive.lines.iter().filter_map(|p| {
        negative
            .lines
            .iter()
            .find(|m| (m.order - p.order).abs() < 1e-9)
            .map(|m| (p, m))
    })
}

/// Shift at each speed, parted into what is constant and what grows with speed. `largest_rad` is the largest shift
/// looked for; keep it below half a period of the strongest order, beyond which shifts are ambiguous.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] without pairs or orders that stand out, [`Refusal::OutOfRange`] for a shift beyond the
/// range. Parts are refused with [`Refusal::Confounded`] when there is but one speed.
pub fn skew(pairs: &[DirectionPair<'_>], largest_rad: f64) -> Result<Skew, Refusal> {
    if pairs.is_empty() {
        return Err(Refusal::TooFewRepeats {
            what: "skew between directions".into(),
            got: 0,
            needed: 1,
        });
    }
    let (mut per_speed, mut squares, mut dof) = (Vec::new(), 0.0, 0.0);
    for pair in pairs {
        let (value, u, misfit, lines) = shift(pair, largest_rad)?;
        per_speed.push([pair.speed_rad_s, value, u]);
        squares += misfit;
        dof += lines as f64 - 1.0;
    }
    let chance = if dof > 0.0 {
        ChiSquared::new(dof).map_or(f64::NAN, |d| d.sf(squares))
    } else {
        1.0
    };
    let slowest = per_speed.iter().map(|p| p[0]).fold(f64::INFINITY, f64::min);
    let fastest = per_speed.iter().map(|p| p[0]).fold(0.0, f64::max);
    let (constant, time) = if fastest < 2.0 * slowest {
        let refusal = Refusal::Confounded {
            what: "constant shift between directions".into(),
            with: "a delay of the torque against the angle".into(),
            measure: "fastest over slowest speed".into(),
            value: fastest / slowest,
            limit: 2.0,
            remedy: "turn at two speeds, one at least twice the other".into(),
        };
        (Outcome::from(refusal.clone()), Outcome::from(refusal))
    } else {
        parts(&per_speed)?
    };
    Ok(Skew {
        constant,
        time,
        per_speed_rad: per_speed,
        checks: vec![Check::new(
            "one shift for all orders",
            chance >= 0.01,
            format!("so far apart by chance in {:.1} %, at least 1 %", 100.0 * chance),
        )],
    })
}

/// `shift = constant + 2 τ ω`, weighted.
fn parts(per_speed: &[[f64; 3]]) -> Result<(Outcome, Outcome), Refusal> {
    let n = per_speed.len();
    let mut x = Matrix::zeros(n, 2);
    let mut y = Vec::new();
    for (i, [speed, value, u]) in per_speed.iter().enumerate() {
        x.col_mut(0)[i] = 1.0 / u;
        x.col_mut(1)[i] = 2.0 * speed / u;
        y.push(value / u);
    }
    // Two speeds and two unknowns leave nothing over: a row of no weight lets the solver run.
    let (x, y) = if n == 2 { padded(&x, &y) } else { (x, y) };
    let fit = regression::fit(&x, &y)?;
    // Uncertainties are those of the shifts; scatter beyond them counts when it can be seen.
    let scale = if n > 3 { fit.residual_sd.max(1.0) } else { 1.0 };
    let dof = if n > 3 { (n - 2) as f64 } else { f64::INFINITY };
    let one = |i: usize, unit: &str| {
        let u = scale * fit.inverse_gram[[i, i]].sqrt();
        let budget = vec![Contribution::type_a("shifts at the speeds", u, dof)];
        let method = "straight line of the shift between directions over speed";
        Estimate::from_budget(fit.coefficients[i], unit, n, method, budget)
    };
    Ok((one(0, "rad")?.into(), one(1, "s")?.into()))
}

fn padded(x: &Matrix, y: &[f64]) -> (Matrix, Vec<f64>) {
    let mut more = Matrix::zeros(x.rows() + 1, x.cols());
    for j in 0..x.cols() {
        more.col_mut(j)[..x.rows()].copy_from_slice(x.col(j));
    }
    let mut rhs = y.to_vec();
    rhs.push(0.0);
    (more, rhs)
}

/// One order parted by direction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SplitLine {
    /// Periods per turn.
    pub order: f64,
    /// Amplitude of the part that both directions share: cogging, N·m.
    pub even: Outcome,
    /// Phase of that part, rad.
    pub even_phase_rad: f64,
    /// Amplitude of the part that changes sign with the direction: friction that depends on the angle, N·m.
    pub odd: Outcome,
}

/// Halves of sum and difference of both directions, order by order, the shift between them taken out first. Half the
/// difference of the mean torques is friction; see the fits' `means_nm`.
///
/// The shift's uncertainty, too, enters the odd part: there a shift left in looks like friction.
pub fn split_directions(
    positive: &OrderFit,
    negative: &OrderFit,
    shift_rad: f64,
    shift_u_rad: f64,
) -> Vec<SplitLine> {
    both(positive, negative)
        .map(|(p, m)| {
            let n = p.order;
            let turned = |line: &OrderLine, half: f64| line.phasor() * Complex64::from_polar(1.0, n * half);
            let (a, b) = (turned(p, 0.5 * shift_rad), turned(m, -0.5 * shift_rad));
            let noise = 0.5 * p.u_nm.hypot(m.u_nm);
            let (even, odd) = (0.5 * (a + b), 0.5 * (a - b));
            let shifted = 0.5 * n * shift_u_rad;
            let refused = [p, m].into_iter().find_map(|l| {
                let refused = l.amplitude.refused()?;
                (refused.code == "confounded").then(|| Outcome::Refused(refused.clone()))
            });
            let one = |part: Complex64, other: Complex64, name: &str| {
                refused
                    .clone()
                    .unwrap_or_else(|| amplitude(n, part.norm(), noise, shifted * other.norm(), name).into())
            };
            SplitLine {
                order: n,
                even: one(even, odd, "even"),
                even_phase_rad: -even.arg(),
                odd: one(odd, even, "odd"),
            }
        })
        .collect()
}

fn amplitude(order: f64, size: f64, noise: f64, shifted: f64, name: &str) -> Result<Estimate, Refusal> {
    let u = noise.hypot(shifted);
    if size < 3.0 * u {
        return Err(Refusal::BelowNoise {
            what: format!("{name} part of order {order}"),
            found: size,
            bound: size + 2.45 * u,
            level: 0.95,
            unit: "N.m".into(),
        });
    }
    let value = (size * size - noise * noise).max(0.0).sqrt();
    // The noise of a line was judged by some twenty neighbours in either direction.
    let budget = vec![
        Contribution::type_a("torque left over nearby", noise, 40.0),
        Contribution::type_b("shift between directions", shifted),
    ];
    Estimate::from_budget(value, "N.m", 2, format!("{name} part of both directions"), budget)
}
