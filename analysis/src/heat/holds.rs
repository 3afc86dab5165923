//! What torque does while a command is held, and what can be held for good.

use std::ops::Range;

use super::bodies::Warming;
use super::{COPPER_PER_K, HeatRecord};
use crate::estimate::{Check, Contribution, Estimate, Refusal};
use crate::least_squares::Matrix;
use crate::regression;
use crate::statistics::mean_sd;

/// A stretch at one command.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// Stretches of the record, wholly inside.
    pub rows: Range<usize>,
    /// Command, N·m.
    pub command_nm: f64,
}

/// Least fall of torque beyond the bend that counts as derating, a share.
const FALLS: f64 = 0.02;

/// What two lines leave, over what a parabola leaves, at most.
const KINKED: f64 = 0.5;

/// Torque in the direction of the command. Where there are holds either way, friction that holds torque back one way and up the
/// other is in the mean of neither: each is taken with the one that follows it.
fn by_pairs(record: &HeatRecord, holds: &[Hold]) -> Vec<(usize, f64)> {
    let mean = |hold: &Hold| {
        let torque = &record.torque_nm[hold.rows.clone()];
        torque.iter().sum::<f64>() / torque.len().max(1) as f64 * hold.command_nm.signum()
    };
    let both = holds
        .windows(2)
        .filter(|w| w[0].command_nm * w[1].command_nm < 0.0);
    both.map(|w| (w[0].rows.end, 0.5 * (mean(&w[0]) + mean(&w[1]))))
        .collect()
}

/// Torque at the end of holds at one command over that at their start.
///
/// # Errors
/// [`Refusal::TooShort`] for holds of fewer than twenty stretches in all, [`Refusal::WrongSign`] for torque against the command.
pub fn held(record: &HeatRecord, holds: &[Hold]) -> Result<Estimate, Refusal> {
    let all: usize = holds.iter().map(|h| h.rows.len()).sum();
    if all < 20 {
        return Err(Refusal::TooShort {
            what: "torque held at one command".into(),
            got_s: all as f64 * record.step_s,
            needed_s: 20.0 * record.step_s,
        });
    }
    let pairs = by_pairs(record, holds);
    let (first, last, method) = if pairs.len() >= 2 {
        let values: Vec<f64> = pairs.iter().map(|p| p.1).collect();
        let part = (values.len() / 10).max(1);
        (
            mean_sd(&values[..part])?,
            mean_sd(&values[values.len() - part..])?,
            "last over first of holds either way",
        )
    } else {
        let torque: Vec<f64> = holds
            .iter()
            .flat_map(|h| {
                record.torque_nm[h.rows.clone()]
                    .iter()
                    .map(move |t| t * h.command_nm.signum())
            })
            .collect();
        let part = torque.len() / 10;
        (
            mean_sd(&torque[..part])?,
            mean_sd(&torque[torque.len() - part..])?,
            "last over first tenth",
        )
    };
    if first.mean <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "torque held".into(),
            commanded: 1.0,
            measured: first.mean,
        });
    }
    let value = last.mean / first.mean;
    // Scatter within each; single pairs have none of their own and take what noise of their stretches leaves.
    let own = |stats: &crate::statistics::MeanSd| {
        if stats.n > 1 {
            stats.sd / (stats.n as f64).sqrt()
        } else {
            noise(record, holds)
        }
    };
    let u = (own(&last) / first.mean).hypot(value * own(&first) / first.mean);
    let budget = vec![Contribution::type_b("scatter at both ends", u)];
    Estimate::from_budget(value, "1", holds.len(), method, budget)
}

/// Standard deviation of a hold's mean by how its stretches differ from one to the next.
fn noise(record: &HeatRecord, holds: &[Hold]) -> f64 {
    let (mut squares, mut n, mut longest) = (0.0, 0.0_f64, 1_usize);
    for hold in holds {
        let torque = &record.torque_nm[hold.rows.clone()];
        for pair in torque.windows(2) {
            squares += 0.5 * (pair[1] - pair[0]).powi(2);
            n += 1.0;
        }
        longest = longest.max(hold.rows.len());
    }
    (squares / n.max(1.0) / longest as f64).sqrt()
}

/// Temperature from which torque falls while the command stays: two straight lines over temperature that meet.
///
/// # Errors
/// [`Refusal::TooFewSamples`] below thirty stretches, [`Refusal::NotCovered`] where torque follows to the highest temperature.
pub fn derating(record: &HeatRecord, holds: &[Hold]) -> Result<Estimate, Refusal> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for sign in [1.0, -1.0] {
        let own: Vec<usize> = holds
            .iter()
            .filter(|h| sign * h.command_nm > 0.0)
            .flat_map(|h| h.rows.clone())
            .collect();
        // Friction and the sensor's zero differ from way to way: each by its own first quarter.
        let part = own.len() / 4;
        if part == 0 {
            continue;
        }
        let first = own[..part].iter().map(|i| record.torque_nm[*i]).sum::<f64>() / part as f64;
        points.extend(
            own.iter()
                .map(|i| (record.temperature_degc[*i], record.torque_nm[*i] / first)),
        );
    }
    if points.len() < 30 {
        return Err(Refusal::TooFewSamples {
            what: "derating".into(),
            got: points.len(),
            needed: 30,
        });
    }
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let y: Vec<f64> = points.iter().map(|p| p.1).collect();
    let bent = |at: f64| {
        let mut columns = Matrix::zeros(points.len(), 3);
        for (i, (t, _)) in points.iter().enumerate() {
            columns.col_mut(0)[i] = 1.0;
            columns.col_mut(1)[i] = t - points[0].0;
            columns.col_mut(2)[i] = (t - at).max(0.0);
        }
        regression::fit(&columns, &y)
    };
    let (low, high) = (points[0].0, points[points.len() - 1].0);
    let mut best: Option<(f64, f64, f64)> = None;
    let steps = 400;
    for i in 1..steps {
        let at = low + (high - low) * f64::from(i) / f64::from(steps);
        let Ok(fit) = bent(at) else { continue };
        let left: f64 = fit.residuals.iter().map(|r| r * r).sum();
        if best.is_none_or(|known| left < known.0) {
            best = Some((left, at, fit.coefficients[2]));
        }
    }
    let not_seen = || Refusal::NotCovered {
        what: "derating: torque followed the command as far as the winding warmed".into(),
        got: high,
        needed: high,
        unit: "°C".into(),
        remedy: "it sets in above that, if at all, or at larger torques".into(),
    };
    let (left, at, bend) = best.ok_or_else(not_seen)?;
    // Magnets that warm behind the winding bend the line too, but evenly.
    let mut columns = Matrix::zeros(points.len(), 3);
    for (i, (t, _)) in points.iter().enumerate() {
        let x = (t - low) / (high - low).max(f64::MIN_POSITIVE);
        (
            columns.col_mut(0)[i],
            columns.col_mut(1)[i],
            columns.col_mut(2)[i],
        ) = (1.0, x, x * x);
    }
    let even: f64 = regression::fit(&columns, &y)?
        .residuals
        .iter()
        .map(|r| r * r)
        .sum();
    if -bend * (high - at) < FALLS || left > KINKED * even {
        return Err(not_seen());
    }
    let n = points.len() as f64;
    let sd = (left / (n - 4.0)).sqrt();
    let beyond = points.iter().filter(|p| p.0 > at).count() as f64;
    // Where two lines meet is as uncertain as their levels there over the change of slope.
    let u = sd / bend.abs() * (1.0 / beyond.max(1.0) + 1.0 / (n - beyond).max(1.0)).sqrt() * 2.0;
    let budget = vec![
        Contribution::type_a("scatter of torque", u, (n - 4.0).max(1.0)),
        Contribution::rectangular("grid of temperatures", 0.5 * (high - low) / f64::from(steps)),
    ];
    Estimate::from_budget(at, "degC", points.len(), "two straight lines that meet", budget)
}

/// Time behind stretch `from` in which half of the rise above `cold_degc` has gone.
///
/// # Errors
/// [`Refusal::TooShort`] where the record ends before.
pub fn recovery(record: &HeatRecord, from: usize, cold_degc: f64) -> Result<Estimate, Refusal> {
    let t = &record.temperature_degc;
    let last = t.len().saturating_sub(1);
    let from = from.min(last);
    // The winding falls at once: what it was at the end is between the stretches before and behind.
    let hot = t[from.saturating_sub(1)] - cold_degc;
    let half = cold_degc + 0.5 * hot;
    let too_short = || Refusal::TooShort {
        what: "cooling until half of the rise has gone".into(),
        got_s: (last - from) as f64 * record.step_s,
        needed_s: 2.0 * (last - from) as f64 * record.step_s,
    };
    let Some(behind) = (from..=last).find(|i| t[*i] <= half) else {
        return Err(too_short());
    };
    let (left, right) = (t[behind.saturating_sub(1)], t[behind]);
    let part = if left > right {
        (left - half) / (left - right)
    } else {
        1.0
    };
    let value = (behind as f64 - 0.5 - from as f64 + part) * record.step_s;
    let rate = ((left - right) / record.step_s).max(f64::MIN_POSITIVE);
    let ends = last.saturating_sub(20)..last;
    let noise: Vec<f64> = ends.map(|i| (t[i + 1] - t[i]) / 2.0_f64.sqrt()).collect();
    let sd = mean_sd(&noise).map_or(0.0, |s| s.sd);
    let budget = vec![
        Contribution::type_b("noise of the temperature", 1.2 * sd / rate),
        Contribution::rectangular("ends of stretches", 0.5 * record.step_s),
    ];
    Estimate::from_budget(value.max(0.0), "s", 1, "passage of half of the rise", budget)
}

/// Torque that warms the winding by `rise_k` in the end. Torque by current is laid over the rise in a straight line, as far as
/// holds show it.
///
/// # Errors
/// [`Refusal::TooFewSamples`] below twenty stretches of holds, [`Refusal::WrongSign`] where they warm nothing.
pub fn sustained(
    record: &HeatRecord,
    holds: &[Hold],
    warming: &Warming,
    rise_k: f64,
) -> Result<Estimate, Refusal> {
    let pairs = by_pairs(record, holds);
    let rise = |i: usize| record.temperature_degc[i.min(record.square.len() - 1)] - warming.cold_degc;
    let current = |rows: Range<usize>| {
        let square: f64 = record.square[rows.clone()].iter().sum();
        (square / rows.len().max(1) as f64).sqrt()
    };
    let ratios: Vec<(f64, f64)> = if pairs.len() >= 2 {
        let both = holds
            .windows(2)
            .filter(|w| w[0].command_nm * w[1].command_nm < 0.0);
        both.zip(&pairs)
            .map(|(w, (at, torque))| {
                let i = 0.5 * (current(w[0].rows.clone()) + current(w[1].rows.clone()));
                (rise(*at), torque / i)
            })
            .collect()
    } else {
        holds
            .iter()
            .flat_map(|h| {
                h.rows.clone().map(|i| {
                    let torque = record.torque_nm[i] * h.command_nm.signum();
                    (rise(i), torque / record.square[i].sqrt())
                })
            })
            .collect()
    };
    if ratios.len() < 2 {
        return Err(Refusal::TooFewSamples {
            what: "torque by current over the rise".into(),
            got: ratios.len(),
            needed: 2,
        });
    }
    let n = ratios.len() as f64;
    let (mx, my) = (
        ratios.iter().map(|r| r.0).sum::<f64>() / n,
        ratios.iter().map(|r| r.1).sum::<f64>() / n,
    );
    let xx: f64 = ratios.iter().map(|r| (r.0 - mx).powi(2)).sum();
    let xy: f64 = ratios.iter().map(|r| (r.0 - mx) * (r.1 - my)).sum();
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    let per_ampere = my + slope * (rise_k - mx);
    let left: f64 = ratios
        .iter()
        .map(|r| (r.1 - my - slope * (r.0 - mx)).powi(2))
        .sum();
    let sd = (left / (n - 2.0).max(1.0)).sqrt();
    let ratio_u = sd * (1.0 / n + (rise_k - mx).powi(2) / xx.max(f64::MIN_POSITIVE)).sqrt();
    let hot = 1.0 + COPPER_PER_K * (warming.cold_degc + rise_k - 20.0);
    let [per_loss, per_loss_u] = warming.rise_per_loss;
    if per_loss <= 0.0 || per_ampere <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "rise in temperature by the current".into(),
            commanded: 1.0,
            measured: per_loss,
        });
    }
    let ampere = (rise_k / (per_loss * hot)).sqrt();
    let value = ampere * per_ampere;
    let seen = ratios.iter().map(|r| r.0).fold(0.0, f64::max);
    let check = Check::new(
        "rise seen",
        seen >= 0.25 * rise_k,
        format!("{seen:.1} K of {rise_k:.0} K, a quarter at least"),
    );
    let budget = vec![
        Contribution::type_a(
            "rise in the end by loss",
            0.5 * value * per_loss_u / per_loss,
            warming.dof,
        ),
        Contribution::type_a("torque by current", ampere * ratio_u, (n - 2.0).max(1.0)),
        // How torque by current goes on beyond what was seen, winding and case not in step.
        Contribution::rectangular(
            "torque by current beyond",
            0.5 * ampere * (slope * (rise_k - seen).max(0.0)).abs(),
        ),
    ];
    let method = "rise in the end by loss in hot copper, times torque by current at that rise";
    Estimate::from_budget(value, "N.m", holds.len(), method, budget).map(|e| e.with_checks([check]))
}
