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

/// Time behind the instant `end_s` of the record in which half of the rise above `cold_degc` has gone.
///
/// # Errors
/// [`Refusal::TooFewSamples`] where fewer than two stretches lie before, [`Refusal::TooShort`] where the record ends before.
pub fn recovery(record: &HeatRecord, end_s: f64, cold_degc: f64) -> Result<Estimate, Refusal> {
    let (t, step_s) = (&record.temperature_degc, record.step_s);
    let middle_s = |i: usize| (i as f64 + 0.5) * step_s;
    let whole = ((end_s / step_s).floor().max(0.0) as usize).min(t.len());
    if whole < 2 {
        return Err(Refusal::TooFewSamples {
            what: "the temperature at the end of a hold".into(),
            got: whole,
            needed: 2,
        });
    }
    // Laid on from the last two stretches wholly before the end.
    let rising = (t[whole - 1] - t[whole - 2]) / step_s;
    let hot_degc = t[whole - 1] + rising * (end_s - middle_s(whole - 1));
    let half = cold_degc + 0.5 * (hot_degc - cold_degc);
    let length_s = t.len() as f64 * step_s;
    let Some(behind) = (whole..t.len()).find(|i| t[*i] <= half) else {
        return Err(Refusal::TooShort {
            what: "cooling until half of the rise has gone".into(),
            got_s: length_s - end_s,
            needed_s: 2.0 * (length_s - end_s),
        });
    };
    let (left, right) = (t[behind - 1], t[behind]);
    let rate = ((left - right) / step_s).max(f64::MIN_POSITIVE);
    let value = middle_s(behind) - (half - right) / rate - end_s;
    let ends = t.len().saturating_sub(21)..t.len() - 1;
    let noise: Vec<f64> = ends.map(|i| (t[i + 1] - t[i]) / 2.0_f64.sqrt()).collect();
    let sd = mean_sd(&noise).map_or(0.0, |s| s.sd);
    let budget = vec![
        Contribution::type_b("noise of the temperature", 1.5 * sd / rate),
        Contribution::rectangular(
            "temperature at the end of the hold",
            0.25 * (rising * step_s).abs() / rate,
        ),
    ];
    Estimate::from_budget(value.max(0.0), "s", 1, "passage of half of the rise", budget)
}

/// Command that warms the winding by `rise_k` in the end.
///
/// # Errors
/// [`Refusal::TooFewSamples`] below twenty stretches of holds, [`Refusal::WrongSign`] where they warm nothing.
pub fn sustained(
    record: &HeatRecord,
    holds: &[Hold],
    warming: &Warming,
    rise_k: f64,
) -> Result<Estimate, Refusal> {
    let rows: Vec<usize> = holds.iter().flat_map(|h| h.rows.clone()).collect();
    if rows.len() < 20 {
        return Err(Refusal::TooFewSamples {
            what: "command by current".into(),
            got: rows.len(),
            needed: 20,
        });
    }
    let ratios: Vec<f64> = rows
        .iter()
        .map(|i| record.command_nm[*i].abs() / record.current(*i).max(f64::MIN_POSITIVE))
        .collect();
    let ratio = mean_sd(&ratios)?;
    let hot = 1.0 + COPPER_PER_K * (warming.cold_degc + rise_k - 20.0);
    let [per_loss, per_loss_u] = warming.rise_per_loss;
    if per_loss <= 0.0 || ratio.mean <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "rise in temperature by the current".into(),
            commanded: 1.0,
            measured: per_loss,
        });
    }
    let ampere = (rise_k / (per_loss * hot)).sqrt();
    let value = ampere * ratio.mean;
    let seen = rows
        .iter()
        .map(|i| record.temperature_degc[*i] - warming.cold_degc)
        .fold(0.0, f64::max);
    let check = Check::new(
        "rise seen",
        seen >= 0.2 * rise_k,
        format!("{seen:.1} K of {rise_k:.0} K, a fifth at least"),
    );
    let budget = vec![
        Contribution::type_a(
            "rise in the end by loss",
            0.5 * value * per_loss_u / per_loss,
            warming.dof,
        ),
        Contribution::type_a(
            "command by current",
            ampere * ratio.sd / (ratio.n as f64).sqrt(),
            ratio.n as f64 - 1.0,
        ),
    ];
    let method = "rise in the end by loss in hot copper, times command by current";
    Estimate::from_budget(value, "N.m", holds.len(), method, budget).map(|e| e.with_checks([check]))
}
