//! From a record to the rising and falling branches of its loops.

use super::{BacklashOptions, LoopRecord};
use crate::estimate::Refusal;
use crate::statistics::{all_finite, extent};
use crate::turning::turning_points;

/// One way from reversal to reversal, friction settled.
#[derive(Debug, Clone)]
pub(crate) struct Branch {
    /// 1 while torque rises, −1 while it falls.
    pub(crate) sense: f64,
    pub(crate) twist: Vec<f64>,
    pub(crate) torque: Vec<f64>,
    /// With the part left out, for the loop's area.
    pub(crate) whole: Vec<(f64, f64)>,
}

/// A rising and a falling branch.
pub(crate) type Loop = [Branch; 2];

/// Readings taken together into about this many points a branch.
const POINTS: usize = 600;

/// Whole loops of a record, the give in series taken out.
pub(crate) fn loops(
    record: &LoopRecord<'_>,
    options: &BacklashOptions,
) -> Result<(Vec<Loop>, usize), Refusal> {
    let (twist, torque) = (record.twist_rad, record.torque_nm);
    if twist.len() != torque.len() {
        return Err(Refusal::LengthMismatch {
            what: "twist and torque".into(),
            left: twist.len(),
            right: torque.len(),
        });
    }
    all_finite("the twist", twist.iter())?;
    all_finite("the torque", torque.iter())?;
    let torque: Vec<f64> = torque.iter().map(|t| t - options.torque.zero_nm).collect();
    let give = options.series.map_or(0.0, |[k, _]| 1.0 / k);
    let twist: Vec<f64> = twist.iter().zip(&torque).map(|(a, t)| a - t * give).collect();
    let [low, high] = extent(&torque);
    let least = 0.2 * options.rated_nm;
    if !(high > least && low < -least) {
        return Err(Refusal::NotCovered {
            what: "torque of reversals, on the lesser side".into(),
            got: high.min(-low).max(0.0),
            needed: least,
            unit: "N.m".into(),
            remedy: "load the joint both ways".into(),
        });
    }
    let span = high - low;
    let turns = turning_points(&torque, 0.3 * span);
    let together = turns
        .windows(2)
        .map(|w| (w[1] - w[0]) / POINTS)
        .min()
        .unwrap_or(1)
        .max(1);
    let branches: Vec<Branch> = turns
        .windows(2)
        .map(|w| {
            branch(
                &twist[w[0]..=w[1]],
                &torque[w[0]..=w[1]],
                together,
                options.settle_share * span,
            )
        })
        .collect();
    let loops: Vec<Loop> = branches
        .chunks_exact(2)
        .map(|pair| {
            let mut pair = [pair[0].clone(), pair[1].clone()];
            pair.sort_by(|a, b| b.sense.total_cmp(&a.sense));
            pair
        })
        .collect();
    if loops.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "loops of torque at one rim angle (whole ones, between reversals)".into(),
            got: loops.len(),
            needed: 2,
        });
    }
    let least = loops.iter().flatten().map(|b| b.twist.len()).min().unwrap_or(0);
    if least < 100 {
        return Err(Refusal::TooFewSamples {
            what: "a branch of a loop of torque".into(),
            got: least,
            needed: 100,
        });
    }
    Ok((loops, together))
}

fn branch(twist: &[f64], torque: &[f64], together: usize, settle: f64) -> Branch {
    let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
    let whole: Vec<(f64, f64)> = twist
        .chunks(together)
        .zip(torque.chunks(together))
        .map(|(a, t)| (mean(a), mean(t)))
        .collect();
    let first = torque.first().copied().unwrap_or(0.0);
    let last = torque.last().copied().unwrap_or(0.0);
    // Noise may put the reversal a few readings early or late: the last points are left out, too.
    let end = whole.len().saturating_sub(2);
    let settled = whole[..end].iter().filter(|(_, t)| (t - first).abs() > settle);
    let (twist, torque) = settled.copied().unzip();
    Branch {
        sense: (last - first).signum(),
        twist,
        torque,
        whole,
    }
}
