//! Breakaway: the torque of a slow ramp at which the rim leaves its rest.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use super::axis::{Axis, TorqueScale};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression;
use crate::statistics::{all_finite, mean_sd};

/// Under which conditions a ramp was run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RampConditions {
    /// Rim angle at rest, rad.
    pub position_rad: f64,
    /// Time at rest beforehand, s.
    pub rest_s: f64,
}

/// A torque ramp from rest until the rim turns.
#[derive(Debug, Clone, Copy)]
pub struct Ramp<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Rim angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
    /// Torque at the rim, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
    /// Where and after which rest.
    pub conditions: RampConditions,
}

/// When the rim counts as turning.
#[derive(Debug, Clone, PartialEq)]
pub struct BreakawayOptions {
    /// Units.
    pub axis: Axis,
    /// Zero and gain of the sensor.
    pub torque: TorqueScale,
    /// Speed at which the rim has broken away, rad/s. Below it lies the creep of pre-sliding.
    pub slip_speed_rad_s: f64,
    /// Angle that it must then cover without coming to rest, rad.
    pub slip_rad: f64,
    /// Window over which speed is taken, s.
    pub window_s: f64,
}

impl Default for BreakawayOptions {
    fn default() -> Self {
        Self {
            axis: Axis::Rotary,
            torque: TorqueScale::default(),
            slip_speed_rad_s: 0.02,
            slip_rad: 0.035,
            window_s: 0.05,
        }
    }
}

/// One ramp's result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Breakaway {
    /// Torque at breakaway, signed, less the sensor's zero, N·m.
    pub torque_nm: f64,
    /// By how much it may lie below and above: torques at half and at 2.5 times the slip speed.
    pub bracket_nm: [f64; 2],
    /// Rate of the ramp before, N·m/s.
    pub rate_nm_s: f64,
    /// Conditions.
    pub conditions: RampConditions,
}

/// Finds breakaway in one ramp: the last crossing of the slip speed before the rim has moved by the slip angle; the
/// torque there is read off a straight line through the ramp around it.
///
/// The torque of a ramp lies behind by what pre-sliding creeps and ahead by what the inertia takes: integration of
/// LuGre models of three invented wheelbases puts the true breakaway torque within the bracket for ramps up to
/// 0.1 N·m/s, and the value within 2 % of it at 0.05 N·m/s and below.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`], [`Refusal::NotCovered`] when the
/// rim does not break away or did from the first sample on, [`Refusal::WrongSign`] when it moves against the torque.
pub fn breakaway(ramp: &Ramp<'_>, options: &BreakawayOptions) -> Result<Breakaway, Refusal> {
    let (angle, torque) = (ramp.angle_rad.to_vec(), ramp.torque_nm.to_vec());
    if angle.len() != torque.len() {
        return Err(Refusal::LengthMismatch {
            what: "angle and torque of a ramp".into(),
            left: angle.len(),
            right: torque.len(),
        });
    }
    all_finite("the angle", angle.iter())?;
    all_finite("the torque", torque.iter())?;
    let half = ((0.5 * options.window_s * ramp.fs_hz) as usize).max(1);
    let n = angle.len();
    if n < 8 * half {
        return Err(Refusal::TooFewSamples {
            what: "a ramp until breakaway".into(),
            got: n,
            needed: 8 * half,
        });
    }
    let rest = mean_sd(&angle[..2 * half])?.mean;
    let moved = |i: usize| angle[i] - rest;
    let stays = |got: f64| Refusal::NotCovered {
        what: "movement on a ramp".into(),
        got,
        needed: options.slip_rad,
        unit: options.axis.position().into(),
        remedy: "ramp up to a higher torque".into(),
    };
    let slipped = (0..n)
        .find(|i| moved(*i).abs() >= options.slip_rad)
        .ok_or_else(|| stays((0..n).map(|i| moved(i).abs()).fold(0.0, f64::max)))?;
    let direction = moved(slipped).signum();
    // Slope of a straight line through the window: least noise for a given width.
    let speed = |i: usize| {
        let mut sum = 0.0;
        let mut weight = 0.0;
        for k in 1..=half {
            sum += k as f64 * (angle[i + k] - angle[i - k]);
            weight += 2.0 * (k * k) as f64;
        }
        sum / weight * ramp.fs_hz * direction
    };
    let last = slipped.min(n - 1 - half);
    let crossing = |limit: f64| (half..last).rev().find(|i| speed(*i) < limit);
    let limit = options.slip_speed_rad_s;
    let none = || stays(0.0);
    let at = crossing(limit).ok_or_else(none)?;
    let low = crossing(0.5 * limit).ok_or_else(none)?;
    // A jump past the higher speed within the slip angle leaves the slip itself as the bound.
    let high = crossing(2.5 * limit).unwrap_or(last).max(at);
    // The ramp: a straight line over four windows up to the crossing.
    let from = low.min(at).saturating_sub(8 * half);
    let (rate, reading) = line(&torque[from..=at.max(from + 2).min(n - 1)], ramp.fs_hz)?;
    let to = |i: usize| reading + rate * (i as f64 - at as f64) / ramp.fs_hz - options.torque.zero_nm;
    if to(at) * direction <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "torque at breakaway against the movement".into(),
            commanded: direction,
            measured: to(at),
        });
    }
    Ok(Breakaway {
        torque_nm: to(at),
        bracket_nm: [to(low), to(high)],
        rate_nm_s: rate,
        conditions: ramp.conditions,
    })
}

/// Slope per second and value at the last sample of a straight line.
fn line(y: &[f64], fs_hz: f64) -> Result<(f64, f64), Refusal> {
    let n = y.len();
    let mut x = Matrix::zeros(n, 2);
    x.col_mut(0).fill(1.0);
    for (i, v) in x.col_mut(1).iter_mut().enumerate() {
        *v = (i as f64 - (n - 1) as f64) / fs_hz;
    }
    let fit = regression::fit(&x, y)?;
    Ok((fit.coefficients[1], fit.coefficients[0]))
}

/// What many ramps say together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BreakawaySummary {
    /// Mean of both directions: free of the sensor's zero.
    pub mean: Outcome,
    /// In the positive direction.
    pub positive: Outcome,
    /// In the negative direction, as a positive number.
    pub negative: Outcome,
    /// Standard deviation between positions, scatter of repeats taken out; needs repeats at positions.
    pub position_spread: Outcome,
    /// Growth per tenfold rest.
    pub per_decade_of_rest: Outcome,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// Sums up ramps of both directions, at several positions, after several rests.
///
/// The mean is over positions, each counted alike; its uncertainty is the scatter between positions, so it holds for
/// positions not tried. The bracket of a ramp is common to all and is not averaged away. Breakaway grows with the
/// logarithm of the rest (Armstrong-Hélouvry et al. 1994, section 2.3); the growth is given when rests span a factor
/// of three.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below three ramps in a direction.
pub fn summarise_breakaway(
    ramps: &[Breakaway],
    options: &BreakawayOptions,
) -> Result<BreakawaySummary, Refusal> {
    let (axis, scale) = (options.axis, options.torque);
    let of = |sign: f64| -> Vec<&Breakaway> { ramps.iter().filter(|r| r.torque_nm * sign > 0.0).collect() };
    let method = "torque of slow ramps at the slip speed";
    let mut sides = Vec::new();
    for sign in [1.0, -1.0] {
        let ramps = of(sign);
        if ramps.len() < 3 {
            return Err(Refusal::TooFewRepeats {
                what: "breakaway in one direction".into(),
                got: ramps.len(),
                needed: 3,
            });
        }
        let means = by_position(&ramps).iter().map(|p| p.1).collect::<Vec<_>>();
        // With a single position the repeats themselves are the scatter.
        let values = if means.len() > 2 {
            means
        } else {
            ramps.iter().map(|r| r.torque_nm.abs()).collect()
        };
        let stats = mean_sd(&values)?;
        let bracket = ramps
            .iter()
            .map(|r| 0.5 * (r.bracket_nm[1] - r.bracket_nm[0]).abs())
            .sum::<f64>()
            / ramps.len() as f64;
        let u = stats.sd / (stats.n as f64).sqrt();
        sides.push((stats.mean, u, stats.n as f64 - 1.0, bracket, ramps.len()));
    }
    let estimate = |value: f64, budget: Vec<Contribution>, n: usize| {
        Estimate::from_budget(value, axis.effort(), n, method, budget)
    };
    let one = |side: &(f64, f64, f64, f64, usize)| -> Result<Outcome, Refusal> {
        let mut budget = vec![
            Contribution::type_a("scatter between positions", side.1, side.2),
            Contribution::rectangular("creep before and run-up after breakaway", side.3),
        ];
        budget.extend(scale.zero());
        budget.extend(scale.gain(side.0));
        Ok(estimate(side.0, budget, side.4)?.into())
    };
    let (p, m) = (&sides[0], &sides[1]);
    let mean = 0.5 * (p.0 + m.0);
    // What a position does to one direction it may do to the other: positions tried both ways are averaged first.
    let (up, down) = (by_position(&of(1.0)), by_position(&of(-1.0)));
    let both: Vec<f64> = up
        .iter()
        .filter_map(|a| down.iter().find(|b| b.0 == a.0).map(|b| 0.5 * (a.1 + b.1)))
        .collect();
    let (u, dof) = if both.len() > 2 {
        let stats = mean_sd(&both)?;
        (stats.sd / (stats.n as f64).sqrt(), stats.n as f64 - 1.0)
    } else {
        (0.5 * (p.1 + m.1), p.2.min(m.2))
    };
    let mut budget = vec![
        Contribution::type_a("scatter between positions", u, dof),
        Contribution::rectangular("creep before and run-up after breakaway", 0.5 * (p.3 + m.3)),
    ];
    budget.extend(scale.gain(mean));
    let steep = ramps.iter().map(|r| r.rate_nm_s.abs()).fold(0.0, f64::max);
    let width = 0.5 * (p.3 + m.3) / mean;
    Ok(BreakawaySummary {
        mean: estimate(mean, budget, p.4 + m.4)?.into(),
        positive: one(p)?,
        negative: one(m)?,
        position_spread: position_spread(ramps, axis).into(),
        per_decade_of_rest: rest(ramps, axis).into(),
        checks: vec![Check::new(
            "ramps slow enough",
            width < 0.05,
            format!(
                "bracket ± {:.1} % of breakaway, limit 5 %; fastest ramp {steep:.3} {}/s",
                100.0 * width,
                axis.effort()
            ),
        )],
    })
}

/// Positions to the milliradian, with mean magnitude, squares within and count.
fn by_position(ramps: &[&Breakaway]) -> Vec<(i64, f64, f64, usize)> {
    let mut groups: std::collections::BTreeMap<i64, Vec<f64>> = std::collections::BTreeMap::new();
    for r in ramps {
        let place = (r.conditions.position_rad * 1e3).round() as i64;
        groups.entry(place).or_default().push(r.torque_nm.abs());
    }
    groups
        .into_iter()
        .map(|(place, values)| {
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let within = values.iter().map(|v| (v - mean).powi(2)).sum();
            (place, mean, within, values.len())
        })
        .collect()
}

/// One-way analysis of variance over positions, each direction about its own mean.
fn position_spread(ramps: &[Breakaway], axis: Axis) -> Result<Estimate, Refusal> {
    let mut cells: std::collections::BTreeMap<i64, Vec<f64>> = std::collections::BTreeMap::new();
    for sign in [1.0, -1.0] {
        let side: Vec<&Breakaway> = ramps.iter().filter(|r| r.torque_nm * sign > 0.0).collect();
        let mean = side.iter().map(|r| r.torque_nm.abs()).sum::<f64>() / side.len() as f64;
        for r in side {
            let place = (r.conditions.position_rad * 1e3).round() as i64;
            cells.entry(place).or_default().push(r.torque_nm.abs() - mean);
        }
    }
    let (total, groups) = (ramps.len() as f64, cells.len() as f64);
    let (mut between, mut within, mut squares_n) = (0.0, 0.0, 0.0);
    for cell in cells.values() {
        let n = cell.len() as f64;
        let mean = cell.iter().sum::<f64>() / n;
        between += n * mean * mean;
        within += cell.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        squares_n += n * n / total;
    }
    let (dof_b, dof_w) = (groups - 1.0, total - groups - 1.0);
    if dof_w < 2.0 || dof_b < 2.0 {
        return Err(Refusal::TooFewRepeats {
            what: "spread of breakaway between positions (repeats at three positions)".into(),
            got: groups.min(total - groups).max(0.0) as usize,
            needed: 3,
        });
    }
    let (mb, mw) = (between / dof_b, within / dof_w);
    let per = (total - squares_n) / dof_b;
    let variance = (mb - mw) / per;
    let u_variance = (2.0 * (mb * mb / dof_b + mw * mw / dof_w)).sqrt() / per;
    if variance < 2.0 * u_variance {
        return Err(Refusal::BelowNoise {
            what: "spread of breakaway between positions".into(),
            found: variance.max(0.0).sqrt(),
            bound: (variance.max(0.0) + 1.645 * u_variance).sqrt(),
            level: 0.95,
            unit: axis.effort().into(),
        });
    }
    let sd = variance.sqrt();
    let budget = vec![Contribution::type_a(
        "analysis of variance",
        u_variance / (2.0 * sd),
        dof_b,
    )];
    Estimate::from_budget(
        sd,
        axis.effort(),
        total as usize,
        "standard deviation between positions",
        budget,
    )
}

/// Slope over the logarithm of the rest, with a level of its own for each direction and position.
fn rest(ramps: &[Breakaway], axis: Axis) -> Result<Estimate, Refusal> {
    let rests = || ramps.iter().map(|r| r.conditions.rest_s);
    let (low, high) = (rests().fold(f64::INFINITY, f64::min), rests().fold(0.0, f64::max));
    if low <= 0.0 || high < 3.0 * low {
        return Err(Refusal::NotCovered {
            what: "rests before breakaway, longest over shortest".into(),
            got: if low > 0.0 { high / low } else { 0.0 },
            needed: 3.0,
            unit: "times".into(),
            remedy: "ramp after rests of, say, 1 s, 3 s and 10 s".into(),
        });
    }
    let mut cells: std::collections::BTreeMap<(bool, i64), Vec<(f64, f64)>> =
        std::collections::BTreeMap::new();
    for r in ramps {
        let key = (
            r.torque_nm > 0.0,
            (r.conditions.position_rad * 1e3).round() as i64,
        );
        let point = (r.conditions.rest_s.log10(), r.torque_nm.abs());
        cells.entry(key).or_default().push(point);
    }
    // Taking each cell's mean out of both is the same as fitting its level along.
    let (mut x, mut y) = (Vec::new(), Vec::new());
    for cell in cells.values() {
        let n = cell.len() as f64;
        let mean = cell
            .iter()
            .fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
        x.extend(cell.iter().map(|p| p.0 - mean.0));
        y.extend(cell.iter().map(|p| p.1 - mean.1));
    }
    let sxx: f64 = x.iter().map(|v| v * v).sum();
    let dof = ramps.len() as f64 - cells.len() as f64 - 1.0;
    if sxx <= 1e-6 || dof < 3.0 {
        return Err(Refusal::TooFewRepeats {
            what: "growth of breakaway with rest (several rests at one position)".into(),
            got: dof.max(0.0) as usize,
            needed: 3,
        });
    }
    let slope = x.iter().zip(&y).map(|(x, y)| x * y).sum::<f64>() / sxx;
    let rss: f64 = x.iter().zip(&y).map(|(x, y)| (y - slope * x).powi(2)).sum();
    let budget = vec![Contribution::type_a(
        "scatter of ramps",
        (rss / dof / sxx).sqrt(),
        dof,
    )];
    Estimate::from_budget(
        slope,
        axis.effort(),
        ramps.len(),
        "slope over log10 of the rest, within positions",
        budget,
    )
}
