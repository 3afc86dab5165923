//! One speed's drag: the mean torque over whole periods of whatever repeats with the angle.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use crate::estimate::Refusal;
use crate::statistics::{all_finite, mean_sd};

/// A turn at one speed, in one direction. The run-up must be left out.
#[derive(Debug, Clone, Copy)]
pub struct SteadyTurn<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
    /// Torque that turns the rim, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
}

impl SteadyTurn<'_> {
    /// Refuses angles and torques that do not belong together or are no numbers.
    pub(super) fn check(&self) -> Result<(), Refusal> {
        let (left, right) = (self.angle_rad.len(), self.torque_nm.len());
        if left != right {
            let what = "angle and torque".into();
            return Err(Refusal::LengthMismatch { what, left, right });
        }
        all_finite("the angle", self.angle_rad.iter())?;
        all_finite("the torque", self.torque_nm.iter())
    }
}

/// Mean drag at one speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DragPoint {
    /// Mean speed, signed, rad/s.
    pub speed_rad_s: f64,
    /// Mean torque, N·m; of the sign of the speed, but for the sensor's zero.
    pub torque_nm: f64,
    /// Standard uncertainty of that mean, N·m, without what is common to all speeds (zero, gain).
    pub u_nm: f64,
    /// Whole periods averaged.
    pub periods: usize,
}

/// Least number of whole periods, so that their scatter says something.
const PERIODS: usize = 4;
/// Largest relative spread of the speed from period to period.
const STEADY: f64 = 0.1;

/// Averages a turn over whole periods of `period_rad`: one turn of the rim takes everything out that repeats with it;
/// with less travel, a whole number of cogging periods of the motor takes out the largest part. The uncertainty is the
/// scatter of the means of single periods.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for a period that is not positive,
/// [`Refusal::NotCovered`] below four whole periods, [`Refusal::RecordsDiffer`] when the speed of the periods spreads
/// by more than a tenth.
pub fn drag_point(turn: &SteadyTurn<'_>, period_rad: f64) -> Result<DragPoint, Refusal> {
    let (angle, torque) = (turn.angle_rad, turn.torque_nm);
    turn.check()?;
    if !(period_rad > 0.0 && period_rad.is_finite() && turn.fs_hz > 0.0) {
        return Err(Refusal::OutOfRange {
            what: "the period over which drag is averaged (and the sample rate)".into(),
            value: period_rad.min(turn.fs_hz),
            low: f64::MIN_POSITIVE,
            high: f64::INFINITY,
            unit: "rad".into(),
        });
    }
    let Some((&first, &last)) = angle.first().zip(angle.last()) else {
        return Err(Refusal::TooFewSamples {
            what: "drag at one speed".into(),
            got: 0,
            needed: PERIODS,
        });
    };
    let direction = (last - first).signum();
    // Instants, in samples, at which each period begins, by a straight line through the sixteenth of a period around
    // it: boundaries on whole samples, or on the steps of an encoder, would let part of the periodic torque in.
    let moved: Vec<f64> = angle.iter().map(|a| (a - first) * direction).collect();
    let reach = period_rad / 16.0;
    let mut marks = Vec::new();
    let mut from = 0;
    loop {
        let mark = reach + period_rad * marks.len() as f64;
        let Some(to) = (from..moved.len()).find(|i| moved[*i] >= mark + reach) else {
            break;
        };
        from = (from..to).find(|i| moved[*i] >= mark - reach).unwrap_or(from);
        marks.push(crossing(&moved[from..=to], mark) + from as f64);
    }
    if marks.is_empty() {
        marks.push(0.0);
    }
    let periods = marks.len() - 1;
    if periods < PERIODS {
        return Err(Refusal::NotCovered {
            what: "drag at one speed, whole periods of what repeats with the angle".into(),
            got: periods as f64,
            needed: PERIODS as f64,
            unit: "periods".into(),
            remedy: "turn further, or average over a shorter period".into(),
        });
    }
    // Running integral of the torque by trapezoids, read between samples.
    let mut integral = vec![0.0];
    for i in 1..torque.len() {
        integral.push(integral[i - 1] + 0.5 * (torque[i - 1] + torque[i]));
    }
    let read = |at: f64| {
        let i = (at as usize).min(torque.len() - 2);
        let part = at - i as f64;
        integral[i] + part * (torque[i] + 0.5 * part * (torque[i + 1] - torque[i]))
    };
    let (mut means, mut speeds) = (Vec::new(), Vec::new());
    for pair in marks.windows(2) {
        let count = pair[1] - pair[0];
        if count < 16.0 {
            return Err(Refusal::TooFewSamples {
                what: "one period of drag".into(),
                got: count.max(0.0) as usize,
                needed: 16,
            });
        }
        means.push((read(pair[1]) - read(pair[0])) / count);
        speeds.push(period_rad * turn.fs_hz / count);
    }
    let (torque, speed) = (mean_sd(&means)?, mean_sd(&speeds)?);
    if speed.sd > STEADY * speed.mean {
        return Err(Refusal::RecordsDiffer {
            what: "the speed of single periods of one turn (rad/s)".into(),
            left: speed.mean - speed.sd,
            right: speed.mean + speed.sd,
        });
    }
    let span = marks[periods] - marks[0];
    Ok(DragPoint {
        speed_rad_s: direction * period_rad * periods as f64 * turn.fs_hz / span,
        torque_nm: torque.mean,
        u_nm: torque.sd / (periods as f64).sqrt(),
        periods,
    })
}

/// Sample, counted from the first, at which a straight line through `y` reaches `level`.
fn crossing(y: &[f64], level: f64) -> f64 {
    let n = y.len() as f64;
    let middle = 0.5 * (n - 1.0);
    let mean = y.iter().sum::<f64>() / n;
    let slope = y
        .iter()
        .enumerate()
        .map(|(i, v)| (i as f64 - middle) * v)
        .sum::<f64>()
        / (n * (n * n - 1.0) / 12.0);
    if slope > 0.0 {
        (middle + (level - mean) / slope).clamp(0.0, n - 1.0)
    } else {
        middle
    }
}
