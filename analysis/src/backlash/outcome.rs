//! From loops at several rim angles to results.

use serde::{Deserialize, Serialize};

use super::branches::loops;
use super::single::{Single, read};
use super::{BacklashOptions, LoopRecord};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal, coverage_factor};
use crate::statistics::mean_sd;

/// What slow reversals say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BacklashFit {
    /// Gap, rad: mean over rim angles. Refused with an upper bound when it does not stand out.
    pub gap: Outcome,
    /// Upper bound of the gap (one-sided, 95 %), rad, whether or not it stands out.
    pub gap_bound_rad: f64,
    /// Distance of the mid-lines at ± the small share of rated torque, rad.
    pub lost_motion: Outcome,
    /// Width of the loop at zero torque, rad.
    pub hysteresis: Outcome,
    /// Half the vertical width of the loop, N·m; negative when the loop runs the other way round, as friction outside
    /// the joint makes it do.
    pub friction: Outcome,
    /// Energy lost a loop, J.
    pub loop_energy: Outcome,
    /// Stiffness over each range of torque asked for, N·m/rad.
    pub stiffness: Vec<([f64; 2], Outcome)>,
    /// Rim angle by rim angle.
    pub positions: Vec<PositionResult>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// One rim angle's means over its loops, with standard uncertainties.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PositionResult {
    /// Rim angle, rad.
    pub position_rad: f64,
    /// Loops.
    pub loops: usize,
    /// Gap and its standard uncertainty, rad.
    pub gap_rad: [f64; 2],
    /// Lost motion and its standard uncertainty, rad; none where the joint jumps over the small torques.
    pub lost_motion_rad: Option<[f64; 2]>,
    /// Middle of the gap, rad.
    pub middle_rad: f64,
}

/// All readings of one kind, by rim angle and loop.
type Readings = Vec<Vec<f64>>;

/// Fits loops at one or more rim angles.
///
/// Each loop is fitted by itself; at three rim angles and more the uncertainty is the scatter between them, otherwise
/// that of loops, so it holds for what repeats. When the flanks bend, the gap is taken from their inner half, and what
/// the bend moves it by enters its budget.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] without records or with fewer than two loops at a rim angle, or three in all;
/// [`Refusal::OutOfRange`] for options that make no sense; [`Refusal::LengthMismatch`], [`Refusal::NonFinite`],
/// [`Refusal::NotCovered`] when torque does not reach a fifth of the rated both ways, [`Refusal::TooFewSamples`],
/// [`Refusal::NotConverged`].
pub fn fit_backlash(records: &[LoopRecord<'_>], options: &BacklashOptions) -> Result<BacklashFit, Refusal> {
    options.check()?;
    let mut all: Vec<Vec<Single>> = Vec::new();
    for record in records {
        let (loops, together) = loops(record, options)?;
        // Readings taken together have less noise.
        let noise = options.noise.map(|sd| sd / (together as f64).sqrt());
        all.push(
            loops
                .iter()
                .map(|l| read(l, options, noise))
                .collect::<Result<_, _>>()?,
        );
    }
    let count: usize = all.iter().map(Vec::len).sum();
    if count < 3 {
        return Err(Refusal::TooFewRepeats {
            what: "loops of torque".into(),
            got: count,
            needed: 3,
        });
    }
    results(records, &all, options)
}

struct Pooled {
    mean: f64,
    u: f64,
    dof: f64,
    /// Standard deviation of a loop.
    within: f64,
    source: &'static str,
}

fn pool(readings: &Readings) -> Result<Pooled, Refusal> {
    let (mut squares, mut dof, mut count) = (0.0, 0.0, 0.0);
    let mut means = Vec::new();
    for place in readings {
        let s = mean_sd(place)?;
        squares += s.sd.powi(2) * (s.n as f64 - 1.0);
        dof += s.n as f64 - 1.0;
        count += s.n as f64;
        means.push(s.mean);
    }
    let within = (squares / dof).sqrt();
    let between = mean_sd(&means)?;
    let places = means.len() as f64;
    Ok(if means.len() > 2 {
        Pooled {
            mean: between.mean,
            u: between.sd / places.sqrt(),
            dof: places - 1.0,
            within,
            source: "scatter between rim angles",
        }
    } else {
        Pooled {
            mean: between.mean,
            u: within / count.sqrt(),
            dof,
            within,
            source: "scatter of loops",
        }
    })
}

fn of(all: &[Vec<Single>], f: impl Fn(&Single) -> f64) -> Readings {
    all.iter().map(|place| place.iter().map(&f).collect()).collect()
}

/// Readings at small torques, which a joint may jump over.
fn small(
    all: &[Vec<Single>],
    what: &str,
    options: &BacklashOptions,
    f: impl Fn(&Single) -> Option<f64>,
) -> Result<Readings, Refusal> {
    let found: Option<Readings> = all.iter().map(|place| place.iter().map(&f).collect()).collect();
    found.ok_or_else(|| Refusal::NotCovered {
        what: format!("torques about zero, for {what}: the joint jumps over them; readings there"),
        got: 0.0,
        needed: 4.0,
        unit: format!("within {:.3} N.m", options.small_share * options.rated_nm),
        remedy: "load it slower, or sample faster".into(),
    })
}

fn results(
    records: &[LoopRecord<'_>],
    all: &[Vec<Single>],
    options: &BacklashOptions,
) -> Result<BacklashFit, Refusal> {
    let count: usize = all.iter().map(Vec::len).sum();
    let torque = options.torque;
    let bend = pool(&of(all, |s| s.bend[0]))?;
    let chance = all
        .iter()
        .flatten()
        .map(|s| s.bend[1].powi(2))
        .sum::<f64>()
        .sqrt()
        / count as f64;
    let bends = bend.mean.abs() > 3.0 * chance.max(bend.within / (count as f64).sqrt());
    let gaps = of(all, |s| if bends { s.gap + s.bend[0] } else { s.gap });
    let gap = pool(&gaps)?;
    let mut budget = vec![
        Contribution::type_a(gap.source, gap.u, gap.dof),
        Contribution::type_b("angle over the width of the gap", options.twist_u_rad),
    ];
    if bends {
        budget.push(Contribution::rectangular("bend of the flanks", bend.mean));
    }
    let method = "orthogonal regression of the flanks of slow loops";
    let gap_estimate = Estimate::from_budget(gap.mean, "rad", count, method, budget)?;
    // One-sided: the two-sided quantile at 90 %.
    let bound = gap.mean.max(0.0) + coverage_factor(0.90, gap_estimate.dof)? * gap_estimate.std_uncertainty;
    let stands = gap_estimate.interval[0] > 0.0;
    let gap_outcome = if stands {
        Outcome::from(gap_estimate)
    } else {
        Refusal::BelowNoise {
            what: "the gap".into(),
            found: gap.mean,
            bound,
            level: 0.95,
            unit: "rad".into(),
        }
        .into()
    };
    let plain = |readings: Readings, unit: &str, method: &str, more: &dyn Fn(f64) -> Vec<Contribution>| {
        let p = pool(&readings)?;
        let mut budget = vec![Contribution::type_a(p.source, p.u, p.dof)];
        budget.extend(more(p.mean));
        Estimate::from_budget(p.mean, unit, count, method, budget)
    };
    let angle = |_: f64| {
        vec![Contribution::type_b(
            "angle over the width of the gap",
            options.twist_u_rad,
        )]
    };
    let gain = |v: f64| torque.gain(v).into_iter().collect::<Vec<_>>();
    let stiffness = options.ranges.iter().enumerate().map(|(k, range)| {
        let outcome = stiffness(all, k, *range, options);
        (*range, Outcome::from(outcome))
    });
    let lost = small(all, "lost motion", options, |s| s.lost_motion)
        .and_then(|readings| pool(&readings))
        .ok();
    let positions = records.iter().zip(all).zip(&gaps).map(|((record, place), gaps)| {
        let n = place.len() as f64;
        let mean = |f: &dyn Fn(&Single) -> f64| place.iter().map(f).sum::<f64>() / n;
        PositionResult {
            position_rad: record.position_rad,
            loops: place.len(),
            gap_rad: [gaps.iter().sum::<f64>() / n, gap.within / n.sqrt()],
            lost_motion_rad: lost.as_ref().map(|lost| {
                let mean = mean(&|s| s.lost_motion.unwrap_or(f64::NAN));
                [mean, lost.within / n.sqrt()]
            }),
            middle_rad: mean(&|s| s.middle),
        }
    });
    let residual = all.iter().flatten().map(|s| s.residual).sum::<f64>() / count as f64;
    let read = "read off the branches of slow loops";
    Ok(BacklashFit {
        gap: gap_outcome,
        gap_bound_rad: bound,
        lost_motion: small(all, "lost motion", options, |s| s.lost_motion)
            .and_then(|readings| plain(readings, "rad", read, &angle))
            .into(),
        hysteresis: small(all, "hysteresis", options, |s| s.hysteresis)
            .and_then(|readings| plain(readings, "rad", read, &angle))
            .into(),
        friction: plain(of(all, |s| s.friction), "N.m", method, &gain)?.into(),
        loop_energy: plain(of(all, |s| s.area), "J", "area of slow loops", &gain)?.into(),
        stiffness: stiffness.collect(),
        positions: positions.collect(),
        checks: vec![
            Check::new(
                "flanks are straight",
                !bends,
                format!(
                    "their inner half moves the gap by {:.2e} rad, {:.2e} rad by chance",
                    bend.mean, chance
                ),
            ),
            Check::new(
                "flanks within the noise",
                residual < 3.0,
                format!("{residual:.2} times the declared noise, limit 3"),
            ),
        ],
    })
}

fn stiffness(
    all: &[Vec<Single>],
    k: usize,
    range: [f64; 2],
    options: &BacklashOptions,
) -> Result<Estimate, Refusal> {
    let count: usize = all.iter().map(Vec::len).sum();
    let largest = range[1] * options.rated_nm;
    if all.iter().flatten().any(|s| s.compliance[k].is_none()) {
        return Err(Refusal::NotCovered {
            what: "torque for the stiffness of a range".into(),
            got: 0.0,
            needed: largest,
            unit: "N.m".into(),
            remedy: "load the joint further, or ask for a lower range".into(),
        });
    }
    let c = pool(&of(all, |s| s.compliance[k].unwrap_or(f64::NAN)))?;
    // Less than nothing is left when the joint is far stiffer than what is in series.
    if c.mean <= 2.0 * c.u {
        return Err(Refusal::BelowNoise {
            what: "the joint's give".into(),
            found: c.mean,
            bound: c.mean.max(0.0) + 1.645 * c.u,
            level: 0.95,
            unit: "rad/N.m".into(),
        });
    }
    let k = 1.0 / c.mean;
    let mut budget = vec![Contribution::type_a(c.source, k * k * c.u, c.dof)];
    if let Some([series, u]) = options.series {
        budget.push(Contribution::type_b(
            "stiffness in series",
            (k / series).powi(2) * u,
        ));
    }
    budget.extend(options.torque.gain(k));
    let method = "orthogonal regression of slow loops over a range of torque";
    Estimate::from_budget(k, "N.m/rad", count, method, budget)
}
