//! Gain, offset, deadband, deviations and the rest, with their budgets.

use super::curve::{MapCurve, mean};
use super::lines::{Line, straightest, through_ends, through_zero};
use super::{MapOptions, StaticMap};
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression;
use crate::statistics::{mean_sd, median};

/// Fewest levels a side that a line is laid through.
const FEWEST: usize = 4;
/// Share of the gain below which torque no longer grows with command.
const FLAT: f64 = 0.5;

/// Points of the map that the lines are laid through, and where they are.
struct Range {
    /// Numbers of the levels on the upper side, and on the lower.
    sides: [Vec<usize>; 2],
}

impl Range {
    /// Levels of the given part of the largest command, as far as torque still grows by them.
    fn of(curve: &MapCurve, points: &[(f64, f64)], [from, to]: [f64; 2]) -> Result<Self, Refusal> {
        let largest = curve.largest_nm();
        let [lower, upper] = ends(points, median_slope(points)?);
        // The last level that grows may be the one at which it ends.
        let growing = (lower + 1)..points.len().saturating_sub(upper + 1);
        let within = |sign: f64| -> Vec<usize> {
            let share = |i: &usize| sign * curve.levels[*i].command_nm / largest;
            let part = |i: &usize| share(i) >= from - 1e-9 && share(i) <= to + 1e-9;
            growing.clone().filter(part).collect()
        };
        let sides = [within(1.0), within(-1.0)];
        match sides.iter().map(Vec::len).min() {
            Some(least) if least >= FEWEST => Ok(Self { sides }),
            least => Err(Refusal::NotCovered {
                what: format!(
                    "levels between {:.0} and {:.0} % of the largest command, each side",
                    100.0 * from,
                    100.0 * to
                ),
                got: least.unwrap_or(0) as f64,
                needed: FEWEST as f64,
                unit: "levels".into(),
                remedy: "raise `steps`".into(),
            }),
        }
    }

    /// Slope shared by both sides, and the torque at zero command that each side's line gives: upper, lower.
    fn line(&self, command: &[f64], torque: &[f64]) -> Result<[f64; 3], Refusal> {
        let rows: Vec<(usize, usize)> = (0..2)
            .flat_map(|side| self.sides[side].iter().map(move |i| (side, *i)))
            .collect();
        let mut columns = Matrix::zeros(rows.len(), 3);
        let mut y = Vec::with_capacity(rows.len());
        for (row, (side, i)) in rows.into_iter().enumerate() {
            columns.col_mut(0)[row] = command[i];
            columns.col_mut(1 + side)[row] = 1.0;
            y.push(torque[i]);
        }
        let found = regression::fit(&columns, &y)?.coefficients;
        Ok([found[0], found[1], found[2]])
    }
}

/// What one curve says: gain, offset, deadband.
fn figures([slope, upper, lower]: [f64; 3]) -> [f64; 3] {
    [slope, 0.5 * (upper + lower), 0.5 * (lower - upper) / slope]
}

pub(super) fn of(curve: MapCurve, options: &MapOptions) -> Result<StaticMap, Refusal> {
    let points: Vec<(f64, f64)> = curve.levels.iter().map(|l| (l.command_nm, l.mean_nm())).collect();
    let range = Range::of(&curve, &points, options.gain_range)?;
    let command: Vec<f64> = curve.levels.iter().map(|l| l.command_nm).collect();
    let all: Vec<Vec<f64>> = curve.levels.iter().map(super::Level::torque_nm).collect();
    let each: Vec<[f64; 3]> = (0..curve.cycles)
        .map(|cycle| {
            let torque: Vec<f64> = all.iter().map(|t| t[cycle]).collect();
            Ok(figures(range.line(&command, &torque)?))
        })
        .collect::<Result<_, Refusal>>()?;
    let map: Vec<f64> = points.iter().map(|p| p.1).collect();
    let middle = figures(range.line(&command, &map)?);
    let bend = bends(&range, &command, &map, middle)?;
    let (near, near_each) = near_zero(&curve, &points, options)?;
    let n = curve.cycles;
    let own = |k: usize| -> Result<Vec<Contribution>, Refusal> {
        let values: Vec<f64> = each.iter().map(|f| f[k]).collect();
        Ok(vec![
            Contribution::of_mean("scatter of cycles", &mean_sd(&values)?),
            Contribution::type_a("bends of the map", bend[k], 3.0),
        ])
    };
    let with = |mut budget: Vec<Contribution>, more: Contribution| {
        budget.push(more);
        budget
    };
    let gain_u = |value: f64| Contribution::type_b("sensor gain", options.gain_rel_u * value.abs());
    let zero_u = Contribution::type_b("sensor zero", options.zero_u_nm);
    let line = "line of one slope through both sides of zero, mean of both ways";
    let gain = Estimate::from_budget(middle[0], "1", n, line, with(own(0)?, gain_u(middle[0])));
    let offset = Estimate::from_budget(middle[1], "N.m", n, line, with(own(1)?, zero_u.clone()));
    // A command for a command: the sensor's gain has no part in it.
    let deadband = Estimate::from_budget(
        near[0],
        "N.m",
        n,
        "line of one slope through both sides near zero, mean of both ways",
        vec![
            Contribution::of_mean("scatter of cycles", &mean_sd(&near_each)?),
            Contribution::type_a("bends of the map", near[1], 3.0),
            // A bend grows with the third power of the range: what it makes of the wider one says how much is left of it.
            Contribution::type_b("bends of the map beyond", 0.5 * (middle[2] - near[0]).abs()),
        ],
    );
    let (sd, dof) = curve.scatter_nm()?;
    let repeatability = Estimate::from_budget(
        sd,
        "N.m",
        n,
        "pooled over levels and ways",
        vec![Contribution::type_a(
            "scatter of cycles",
            sd / (2.0 * dof).sqrt(),
            dof,
        )],
    );
    let span = curve.span_nm() * middle[0].abs();
    let mean_u = sd / (n as f64).sqrt();
    let deviation = |line: Option<Line>, method: &str| -> Outcome {
        let Some(line) = line else {
            return Refusal::NotCovered {
                what: "levels of a map, zero among them".into(),
                got: points.len() as f64,
                needed: FEWEST as f64,
                unit: "levels".into(),
                remedy: "raise `steps`".into(),
            }
            .into();
        };
        // The line itself moves with the points that decide it.
        let budget = vec![Contribution::type_a(
            "scatter of cycles",
            1.5_f64.sqrt() * mean_u / span,
            dof,
        )];
        Estimate::from_budget(line.worst / span, "1", n, method, budget).into()
    };
    let independent = deviation(straightest(&points), "line whose largest distance is least");
    let terminal = deviation(through_ends(&points), "line through both ends");
    let zero_based = deviation(
        through_zero(&points),
        "best line through the torque at zero command",
    );
    let end = |level: Option<&super::Level>| -> Result<Outcome, Refusal> {
        let values = level.map(super::Level::torque_nm).unwrap_or_default();
        let stats = mean_sd(&values)?;
        let budget = vec![
            Contribution::of_mean("scatter of cycles", &stats),
            gain_u(stats.mean),
            zero_u.clone(),
        ];
        Ok(Estimate::from_budget(stats.mean, "N.m", n, "settled torque, mean of cycles", budget).into())
    };
    Ok(StaticMap {
        gain: gain.into(),
        offset: offset.into(),
        deadband: deadband.into(),
        hysteresis: hysteresis(&curve, options)?,
        independent,
        terminal,
        zero_based,
        repeatability: repeatability.into(),
        knee: knee(&points, middle, mean_u, n),
        largest: [end(curve.levels.last())?, end(curve.levels.first())?],
        curve,
    })
}

/// Deadband from the levels near zero, with what bends leave open of it, and that of each cycle. Where too few levels lie there, all of
/// the gain's range is taken.
fn near_zero(
    curve: &MapCurve,
    points: &[(f64, f64)],
    options: &MapOptions,
) -> Result<([f64; 2], Vec<f64>), Refusal> {
    let range = match Range::of(curve, points, options.deadband_range) {
        Ok(range) => range,
        Err(_) => Range::of(curve, points, options.gain_range)?,
    };
    let command: Vec<f64> = curve.levels.iter().map(|l| l.command_nm).collect();
    let map: Vec<f64> = points.iter().map(|p| p.1).collect();
    let middle = figures(range.line(&command, &map)?);
    let bend = bends(&range, &command, &map, middle)?;
    let all: Vec<Vec<f64>> = curve.levels.iter().map(super::Level::torque_nm).collect();
    let each = (0..curve.cycles)
        .map(|cycle| {
            let torque: Vec<f64> = all.iter().map(|t| t[cycle]).collect();
            Ok(figures(range.line(&command, &torque)?)[2])
        })
        .collect::<Result<_, Refusal>>()?;
    Ok(([middle[2], bend[2]], each))
}

/// By how much gain, offset and deadband change when one level after another is left out on both sides (jackknife): what bends
/// of the map (ripple of the motor at its small twist, say) leave open.
fn bends(range: &Range, command: &[f64], map: &[f64], middle: [f64; 3]) -> Result<[f64; 3], Refusal> {
    let count = range.sides.iter().map(Vec::len).min().unwrap_or(0);
    let mut square = [0.0; 3];
    for left_out in 0..count {
        let sides = range.sides.clone().map(|mut side| {
            side.remove(left_out);
            side
        });
        let found = figures(Range { sides }.line(command, map)?);
        for (s, (f, m)) in square.iter_mut().zip(found.iter().zip(middle)) {
            *s += (f - m).powi(2);
        }
    }
    let share = (count as f64 - 1.0) / count as f64;
    Ok(square.map(|s| (share * s).sqrt()))
}

fn hysteresis(curve: &MapCurve, options: &MapOptions) -> Result<Outcome, Refusal> {
    let mut widest: Option<Vec<f64>> = None;
    for level in &curve.levels {
        let difference = level.difference_nm();
        let wider = widest
            .as_ref()
            .is_none_or(|known| mean(&difference).abs() > mean(known).abs());
        if !difference.is_empty() && wider {
            widest = Some(difference);
        }
    }
    let Some(widest) = widest else {
        return Ok(Refusal::NotCovered {
            what: "levels reached both ways".into(),
            got: 0.0,
            needed: 1.0,
            unit: "levels".into(),
            remedy: "play a staircase up and down".into(),
        }
        .into());
    };
    let (n, value) = (widest.len(), mean(&widest));
    let (sd, dof) = curve.scatter_nm()?;
    let budget = vec![
        Contribution::type_a("scatter of cycles", (2.0 / n as f64).sqrt() * sd, dof),
        Contribution::type_b("sensor gain", options.gain_rel_u * value.abs()),
    ];
    let method = "largest difference between the ways down and up at one level";
    Ok(Estimate::from_budget(value.abs(), "N.m", n, method, budget).into())
}

/// How many levels at the lowest commands, and how many at the highest, no longer grow with command.
fn ends(points: &[(f64, f64)], gain: f64) -> [usize; 2] {
    let flat = |w: &&[(f64, f64)]| (w[1].1 - w[0].1) / (w[1].0 - w[0].0) < FLAT * gain;
    [
        points.windows(2).take_while(flat).count(),
        points.windows(2).rev().take_while(flat).count(),
    ]
}

/// Median of the slopes between neighbouring levels.
fn median_slope(points: &[(f64, f64)]) -> Result<f64, Refusal> {
    let slopes: Vec<f64> = points
        .windows(2)
        .map(|w| (w[1].1 - w[0].1) / (w[1].0 - w[0].0))
        .collect();
    median(&slopes)
}

/// Where the outermost levels of a side have gone flat: the command at which the line of the gain meets the mean of their torque.
fn knee(points: &[(f64, f64)], [gain, offset, _]: [f64; 3], mean_u: f64, n: usize) -> Outcome {
    let [lower, upper] = ends(points, gain);
    let at = |flat: &[(f64, f64)]| -> Option<f64> {
        let torque = flat.iter().map(|p| p.1).sum::<f64>() / flat.len() as f64;
        (!flat.is_empty()).then(|| ((torque - offset) / gain).abs())
    };
    let sides = [at(&points[..lower]), at(&points[points.len() - upper..])];
    let nearer = sides.into_iter().flatten().min_by(f64::total_cmp);
    match nearer {
        None => Refusal::NoSaturation {
            largest_nm: points.iter().map(|p| p.0.abs()).fold(0.0, f64::max),
        }
        .into(),
        Some(command) => {
            let step = points.windows(2).map(|w| w[1].0 - w[0].0).fold(0.0, f64::max);
            let budget = vec![
                Contribution::type_b("scatter of cycles", mean_u / gain.abs()),
                Contribution::rectangular("distance of levels", 0.25 * step),
            ];
            Estimate::from_budget(
                command,
                "N.m",
                n,
                "line of the gain up to the mean of the flat levels",
                budget,
            )
            .into()
        }
    }
}
