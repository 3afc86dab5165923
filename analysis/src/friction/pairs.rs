//! One speed's drag from a turn to and fro over the same angles.

use serde::{Deserialize, Serialize};

use super::points::{DragPoint, SteadyTurn};
use crate::estimate::Refusal;
use crate::statistics::mean_sd;

/// What both directions of a turn over the same angles say.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairedDrag {
    /// Mean speed, positive, rad/s.
    pub speed_rad_s: f64,
    /// Half the difference of the torques, N·m: friction, free of cogging and of the sensor's zero.
    pub friction_nm: f64,
    /// Half their sum, N·m: what cogging leaves over these angles, the sensor's zero, and half of what friction differs by
    /// between the directions.
    pub even_nm: f64,
    /// Standard uncertainty of the friction, N·m, without the sensor's gain.
    pub u_nm: f64,
    /// Standard deviation over the angle of half the difference, N·m: ripple of friction, and what of cogging the
    /// directions do not share.
    pub ripple_nm: f64,
    /// Angle that both cover, rad.
    pub travel_rad: f64,
}

/// Blocks of angle whose scatter is the uncertainty.
const BLOCKS: usize = 16;
/// Bins in a block, at most, and readings in a bin, at least.
const BINS: usize = 32;
const READINGS: usize = 6;
/// Share of the ripple by which the mean may be off: ripple that rings along with the rotor takes energy, which the drive
/// pays for as drag, `n r/2k` times what the directions do not share of it: 2 % for a soft drivetrain (270 per rad of 0.04 N·m on
/// 900 N·m/rad), and as much again for what is not known of it.
const RINGING: f64 = 0.04;

/// Halves of difference and sum of both directions, angle by angle, over the angles that both cover. Cogging is the same in
/// both and cancels whatever the travel, so no whole periods are needed.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::WrongSign`] when the turns do not go opposite ways,
/// [`Refusal::RecordsDiffer`] when their speeds differ by more than a tenth, [`Refusal::TooFewSamples`] when the angles that
/// both cover hold too little.
pub fn paired_drag(positive: &SteadyTurn<'_>, negative: &SteadyTurn<'_>) -> Result<PairedDrag, Refusal> {
    let (up, down) = (Side::of(positive)?, Side::of(negative)?);
    if !(up.speed > 0.0 && down.speed < 0.0) {
        return Err(Refusal::WrongSign {
            what: "speed of the turn that goes back, rad/s".into(),
            commanded: -1.0,
            measured: if up.speed > 0.0 { down.speed } else { up.speed },
        });
    }
    if (up.speed + down.speed).abs() > 0.1 * up.speed {
        return Err(Refusal::RecordsDiffer {
            what: "the speeds to and fro (rad/s)".into(),
            left: up.speed,
            right: -down.speed,
        });
    }
    let (low, high) = (up.low.max(down.low), up.high.min(down.high));
    let share = (high - low).max(0.0) / (up.high - up.low).max(down.high - down.low);
    let least = (share * positive.angle_rad.len().min(negative.angle_rad.len()) as f64) as usize;
    let bins = (least / (READINGS * BLOCKS)).min(BINS);
    if bins == 0 {
        return Err(Refusal::TooFewSamples {
            what: "the angles that a turn covers to and fro".into(),
            got: least,
            needed: READINGS * BLOCKS,
        });
    }
    let count = bins * BLOCKS;
    let (a, b) = (
        binned(positive, low, high, count)?,
        binned(negative, low, high, count)?,
    );
    let friction: Vec<f64> = a.iter().zip(&b).map(|(a, b)| 0.5 * (a - b)).collect();
    let even: Vec<f64> = a.iter().zip(&b).map(|(a, b)| 0.5 * (a + b)).collect();
    let blocks: Vec<f64> = friction
        .chunks(bins)
        .map(|block| block.iter().sum::<f64>() / block.len() as f64)
        .collect();
    let (all, of_blocks) = (mean_sd(&friction)?, mean_sd(&blocks)?);
    Ok(PairedDrag {
        speed_rad_s: 0.5 * (up.speed - down.speed),
        friction_nm: all.mean,
        even_nm: mean_sd(&even)?.mean,
        u_nm: (of_blocks.sd / (BLOCKS as f64).sqrt()).hypot(RINGING * all.sd),
        ripple_nm: all.sd,
        travel_rad: high - low,
    })
}

/// Points of a friction curve, two a pair. What both directions share is put to its mean over all pairs, by travel: over
/// few angles cogging does not average out, and would else pass for friction of one direction.
pub fn points_of(pairs: &[PairedDrag]) -> Vec<DragPoint> {
    let travel: f64 = pairs.iter().map(|p| p.travel_rad).sum();
    let even = pairs.iter().map(|p| p.travel_rad * p.even_nm).sum::<f64>() / travel;
    let side = |p: &PairedDrag, sign: f64| DragPoint {
        speed_rad_s: sign * p.speed_rad_s,
        torque_nm: sign * p.friction_nm + even,
        u_nm: p.u_nm,
        periods: BLOCKS,
    };
    pairs.iter().flat_map(|p| [side(p, 1.0), side(p, -1.0)]).collect()
}

/// Speed and ends of one turn.
struct Side {
    speed: f64,
    low: f64,
    high: f64,
}

impl Side {
    fn of(turn: &SteadyTurn<'_>) -> Result<Self, Refusal> {
        turn.check()?;
        let angle = turn.angle_rad;
        let Some((&first, &last)) = angle.first().zip(angle.last()).filter(|_| angle.len() > 1) else {
            return Err(Refusal::TooFewSamples {
                what: "a turn to and fro".into(),
                got: angle.len(),
                needed: 2,
            });
        };
        Ok(Self {
            speed: (last - first) * turn.fs_hz / (angle.len() - 1) as f64,
            low: first.min(last),
            high: first.max(last),
        })
    }
}

/// Mean torque in equal bins of angle.
fn binned(turn: &SteadyTurn<'_>, low: f64, high: f64, count: usize) -> Result<Vec<f64>, Refusal> {
    let mut sums = vec![(0.0, 0_u32); count];
    for (angle, torque) in turn.angle_rad.iter().zip(turn.torque_nm) {
        let at = (angle - low) / (high - low) * count as f64;
        if at >= 0.0
            && let Some(bin) = sums.get_mut(at as usize)
        {
            bin.0 += torque;
            bin.1 += 1;
        }
    }
    if let Some(empty) = sums.iter().position(|(_, n)| *n == 0) {
        return Err(Refusal::TooFewSamples {
            what: format!("bin {} of {count} of the angles that a turn covers", empty + 1),
            got: 0,
            needed: 1,
        });
    }
    Ok(sums.into_iter().map(|(sum, n)| sum / f64::from(n)).collect())
}
