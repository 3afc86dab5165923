//! Slow loops of torque on a clamped rim: what rotor and rim differ by.

use std::ops::Range;

use ndarray::ArrayView1;
use truerim_analysis::backlash::{BacklashFit, BacklashOptions, LoopRecord, fit_backlash, twist};
use truerim_analysis::estimate::{Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::position::step_counts;
use truerim_analysis::regression;
use truerim_analysis::statistics::mean_sd;

use super::{One, local, micro, slack};
use crate::fitting::FittingError;
use crate::fitting::document::{Conditions, Measurand, Quantity, RigSpring};
use crate::fitting::drivetrain_curves::LoopCurve;
use crate::fitting::groups::{temperature_of, with_checks};
use crate::fitting::motion::{scale, track};
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;
use crate::fitting::twist::no_rotor_angle;
use crate::recording::{Declared, Recording, SegmentRow};

/// Readings of a branch that go into the fit: more carry the same steps of the rotor's encoder.
const BRANCH: usize = 500;
/// Shares of the peak torque over which stiffness is given; the first stands for all.
const RANGES: [[f64; 2]; 4] = [[0.1, 0.8], [0.05, 0.25], [0.25, 0.5], [0.5, 0.8]];
/// Standard uncertainty of the slope of a wheelbase's own angle: an error of up to 0.5 degree once a turn tilts it by
/// 0.9 % where it is steepest (common practice).
const SLOPE: f64 = 0.006;
/// Friction of the hub adds to the rig's spring while it turns over, N·m/rad: by nothing once it slides, by this just behind a
/// reversal (0.1 N·m over 0.05 degree); the drivetrain seems softer by that share of the rig's spring.
const HUB_NM_PER_RAD: f64 = 115.0;
/// Steps of the rotor's encoder tilt a line over `m` of them by about `0.7/m²` (a saw-tooth against a straight line: `1/m²` for
/// whole ones); four flanks meet them differently.
const STEPS_TILT: f64 = 0.7;
const FLANKS: f64 = 4.0;
/// Latency from setpoint to torque where no step told it, s, and its standard uncertainty: 1 to 12 ms are usual.
const ASSUMED_S: [f64; 2] = [6e-3, 3.5e-3];

/// All results of slow loops and their curve; nothing for a recording without any.
pub(crate) fn of(
    recording: &Recording,
    (declared, sensor, spring): (&Declared, &SensorTerms, &RigSpring),
    latency: Option<&Estimate>,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<LoopCurve>), FittingError> {
    let rows: Vec<&SegmentRow> = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "reversal")
        .collect();
    let largest = rows.iter().map(|row| row.amplitude_nm).fold(0.0, f64::max);
    let mut own = rows
        .iter()
        .filter(|row| row.amplitude_nm > 0.99 * largest && row.preload_nm.abs() < 1e-9);
    let Some(first) = own.next() else {
        return Ok((Vec::new(), None));
    };
    // Loops that follow one another are one record; a later repeat starts anew.
    let last = own
        .take_while(|row| (row.segment, row.repeat) == (first.segment, first.repeat))
        .last()
        .unwrap_or(first);
    // From the first tip on: the way there has no history.
    let quarter = (first.end_tick - first.start_tick) / 4;
    let range = recording.rows_between(first.start_tick + quarter, last.end_tick)?;
    let period_s = (first.end_tick - first.start_tick) as f64 * recording.header().tick_s;
    let conditions = Conditions {
        amplitude_nm: Some(largest),
        preload_nm: Some(0.0),
        temperature: temperature_of(recording, std::slice::from_ref(&range))?,
        ..base.clone()
    };
    let (found, curve) = match Loops::read(recording, range, declared, period_s)? {
        Ok(loops) => {
            let late_s = latency.map_or(ASSUMED_S, |e| [e.value, e.std_uncertainty]);
            loops.results((declared, sensor, spring), late_s)
        }
        Err(outcome) => (refused(&outcome), None),
    };
    let n = found
        .iter()
        .filter_map(|one| one.result.estimate())
        .map(|e| e.n)
        .max();
    let curve = curve.map(|curve| LoopCurve {
        conditions: Conditions {
            n: n.unwrap_or(0),
            ..conditions.clone()
        },
        ..curve
    });
    let found = found.into_iter().map(|one| one.measurand(&conditions));
    Ok((found.collect(), curve))
}

/// The same refusal in place of what loops give.
fn refused(outcome: &Outcome) -> Vec<One> {
    [Quantity::Backlash, Quantity::LostMotion, Quantity::Hysteresis]
        .map(|quantity| One::alone(quantity, outcome.clone()))
        .into()
}

/// Means over short blocks of whole loops.
struct Loops {
    twist_rad: Vec<f64>,
    rotor_rad: Vec<f64>,
    rim_rad: Vec<f64>,
    torque_nm: Vec<f64>,
    setpoint_nm: Vec<f64>,
    /// Step of the rotor's angle at the rim, rad.
    step_rad: f64,
    /// Time of a loop, s.
    period_s: f64,
}

impl Loops {
    fn read(
        recording: &Recording,
        range: Range<usize>,
        declared: &Declared,
        period_s: f64,
    ) -> Result<Result<Self, Outcome>, FittingError> {
        let track = track::read(recording, range.clone())?;
        let Some(ratio) = declared.ratio.filter(|_| !track.rotor_rad.is_empty()) else {
            return Ok(Err(no_rotor_angle()));
        };
        let counts = recording.raw("motor_angle", range)?;
        let step = step_counts(counts.view()).map_or(1.0, f64::from);
        let step_rad = step * recording.channel("motor_angle")?.scale.abs() / ratio;
        let both = twist(
            ArrayView1::from(&track.rim_rad),
            ArrayView1::from(&track.rotor_rad),
            ratio,
            true,
        );
        let twist_rad = match both {
            Ok(twist) => twist,
            Err(refusal) => return Ok(Err(refusal.into())),
        };
        let together = ((0.5 * period_s * track.fs_hz) as usize / BRANCH).max(1);
        let means = |x: &[f64]| -> Vec<f64> {
            let whole = x.chunks_exact(together);
            whole.map(|c| c.iter().sum::<f64>() / together as f64).collect()
        };
        let rotor: Vec<f64> = track.rotor_rad.iter().map(|a| a / ratio).collect();
        Ok(Ok(Self {
            twist_rad: means(&twist_rad),
            rotor_rad: means(&rotor),
            rim_rad: means(&track.rim_rad),
            torque_nm: means(&track.torque_nm),
            setpoint_nm: means(&track.setpoint_nm),
            step_rad,
            period_s,
        }))
    }

    fn results(
        &self,
        (declared, sensor, spring): (&Declared, &SensorTerms, &RigSpring),
        late_s: [f64; 2],
    ) -> (Vec<One>, Option<LoopCurve>) {
        let largest = self.torque_nm.iter().fold(0.0_f64, |m, t| m.max(t.abs()));
        let rated = declared.peak_nm.unwrap_or(largest);
        let quantisation = self.step_rad / 12.0_f64.sqrt();
        let mut options = BacklashOptions::new(rated, [quantisation, 1e-3]);
        options.ranges = RANGES.into();
        options.torque = scale(sensor);
        // Steps of the rotor's encoder lie at the same place in every loop, so that loops alike do not show them.
        options.twist_u_rad = quantisation / 3.0;
        let record = LoopRecord {
            twist_rad: ArrayView1::from(&self.twist_rad),
            torque_nm: ArrayView1::from(&self.torque_nm),
            position_rad: 0.0,
        };
        let fit = match fit_backlash(std::slice::from_ref(&record), &options) {
            Ok(fit) => fit,
            Err(refusal) => return (refused(&refusal.into()), Some(self.curve(&options, None))),
        };
        // Readings at one torque meet one place of a step, whatever is averaged there.
        let read = |outcome: &Outcome, readings: f64| {
            let tilted = doubted(outcome, SLOPE, "slope of the rotor's own angle");
            let Outcome::Estimate(estimate) = tilted else {
                return tilted;
            };
            let steps = quantisation * readings.sqrt();
            let steps = Contribution::type_b("steps of the rotor's encoder", steps);
            estimate.with_contribution(steps).into()
        };
        let with = |outcome: Outcome| with_checks(outcome, fit.checks.iter().cloned());
        let mut found = vec![
            One::alone(Quantity::Backlash, with(read(&fit.gap, 0.0))),
            One::alone(Quantity::LostMotion, with(read(&fit.lost_motion, 1.0))),
            One::alone(Quantity::Hysteresis, with(read(&width(&fit), 2.0))),
        ];
        for (k, ([low, high], outcome)) in fit.stiffness.iter().enumerate() {
            let (low, high) = (low * rated, high * rated);
            let result = with(stiffness(outcome, high - low, self.step_rad, spring));
            found.push(if k == 0 {
                One::alone(Quantity::RangeStiffness, result)
            } else {
                let group = format!("{} to {} N·m", plain(low, 3), plain(high, 3));
                One::of(Quantity::RangeStiffness, &group, result)
            });
        }
        found.extend(slack::of(&record, &options, &fit, self.step_rad, declared));
        let breakaway = match fit.stiffness.first() {
            Some((_, Outcome::Estimate(k))) => self.breakaway(sensor, k.value, late_s).into(),
            Some((_, refused)) => refused.clone(),
            None => Refusal::TooFewRepeats {
                what: "ranges of stiffness".into(),
                got: 0,
                needed: 1,
            }
            .into(),
        };
        found.push(One {
            quantity: Quantity::MotorBreakaway,
            group: None,
            result: breakaway,
        });
        (found, Some(self.curve(&options, Some(&fit))))
    }

    /// The loops as they are drawn, with the lines that were laid through them.
    fn curve(&self, options: &BacklashOptions, fit: Option<&BacklashFit>) -> LoopCurve {
        let first = fit.and_then(|fit| fit.stiffness.first());
        let flanks = first.and_then(|(range, outcome)| {
            let k = outcome.estimate()?.value;
            let ends = range.map(|share| share * options.rated_nm);
            [-1.0, 1.0]
                .map(|side| local::flank(&self.twist_rad, &self.torque_nm, ends.map(|nm| side * nm), k))
                .into_iter()
                .collect()
        });
        let branches = local::branches(&self.twist_rad, &self.torque_nm, &self.setpoint_nm);
        let (at_nm, stiffness) = local::stiffness(&branches, self.step_rad).into_iter().unzip();
        // A ten-millionth of a radian: a hundredth of an encoder's step and less.
        let fine = |x: &f64| (x * 1e7).round() / 1e7;
        LoopCurve {
            conditions: Conditions::default(),
            twist_rad: self.twist_rad.iter().map(fine).collect(),
            torque_nm: self.torque_nm.iter().map(|nm| micro(*nm)).collect(),
            small_nm: options.small_share * options.rated_nm,
            middle_rad: fit.and_then(|fit| fit.positions.first()).map(|p| p.middle_rad),
            flanks: flanks.unwrap_or_default(),
            at_nm,
            stiffness,
        }
    }

    /// Half the difference between rising and falling torque of command less what the drivetrain's spring `k` carries, at equal
    /// rotor angles near the middle. Ripple and the encoder's errors are the same in both; what remains is friction of the
    /// motor's side. The spring's torques differ by where the rim is alone.
    fn breakaway(
        &self,
        sensor: &SensorTerms,
        k: f64,
        [late_s, late_u_s]: [f64; 2],
    ) -> Result<Estimate, Refusal> {
        let rate = self.setpoint_nm.iter().fold(0.0_f64, |m, v| m.max(*v)) * 4.0 / self.period_s;
        let gain = self.gain()?;
        let ends = |m: (f64, f64), v: &f64| (m.0.min(*v), m.1.max(*v));
        let ends = self
            .rotor_rad
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), ends);
        let (middle, half) = (0.5 * (ends.0 + ends.1), 0.5 * (ends.1 - ends.0));
        let mut bins = vec![[(0.0, 0.0_f64); 2]; BINS];
        for i in 1..self.setpoint_nm.len().saturating_sub(1) {
            let rises = self.setpoint_nm[i + 1] - self.setpoint_nm[i - 1];
            let at = ((self.rotor_rad[i] - middle) / half / MIDDLE + 1.0) / 2.0 * BINS as f64;
            if at < 0.0 || rises.abs() <= 0.0 {
                continue;
            }
            let side = usize::from(rises < 0.0);
            if let Some(bin) = bins.get_mut(at as usize) {
                bin[side].0 += gain * self.setpoint_nm[i] + k * self.rim_rad[i];
                bin[side].1 += 1.0;
            }
        }
        let halves: Vec<f64> = bins
            .iter()
            .filter(|bin| bin[0].1 > 2.0 && bin[1].1 > 2.0)
            .map(|[up, down]| 0.5 * (up.0 / up.1 - down.0 / down.1))
            .collect();
        let all = mean_sd(&halves)?;
        // Torque answers a little late, so that rising torque seems to need more.
        let value = all.mean - gain * rate * late_s;
        let budget = vec![
            Contribution::of_mean("scatter over the rotor angle", &all),
            Contribution::type_b("latency", gain * rate * late_u_s),
            Contribution::type_b("torque gain", value.abs() * sensor.gain_rel_u),
            Contribution::rectangular("friction of the hub in the drive's gain", HUB_SHARE * value),
        ];
        let method = "half the difference of rising and falling torque at equal rotor angles";
        Estimate::from_budget(value, "N.m", all.n, method, budget)
    }

    /// Torque made over torque commanded: the slope of the loops' mid-line, as the mean of both branches' slopes.
    fn gain(&self) -> Result<f64, Refusal> {
        let slope = |rising: bool| -> Result<f64, Refusal> {
            let most = self.setpoint_nm.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            let inner = 1..self.setpoint_nm.len().saturating_sub(1);
            let (x, y): (Vec<f64>, Vec<f64>) = inner
                .filter(|i| {
                    let rises = self.setpoint_nm[i + 1] > self.setpoint_nm[i - 1];
                    rises == rising && self.setpoint_nm[*i].abs() <= 0.5 * most
                })
                .map(|i| (self.setpoint_nm[i], self.torque_nm[i]))
                .unzip();
            if x.len() < 20 {
                return Err(Refusal::TooFewSamples {
                    what: "the middle of a branch of a loop".into(),
                    got: x.len(),
                    needed: 20,
                });
            }
            regression::slope(&x, &y)
        };
        Ok(0.5 * (slope(true)? + slope(false)?))
    }
}

/// Share of the rotor's way either side of the middle at which its branches are compared.
const MIDDLE: f64 = 0.3;
/// Parts of that way.
const BINS: usize = 8;
/// Share by which friction of the hub may bend the drive's gain.
const HUB_SHARE: f64 = 0.05;

/// Width of the loop at zero torque: its size, whichever way round it runs.
fn width(fit: &BacklashFit) -> Outcome {
    match &fit.hysteresis {
        Outcome::Estimate(e) => {
            Estimate::from_budget(e.value.abs(), &e.unit, e.n, e.method.clone(), e.budget.clone()).into()
        }
        refused @ Outcome::Refused(_) => refused.clone(),
    }
}

/// An estimate with a share of it doubted besides.
fn doubted(outcome: &Outcome, share: f64, source: &str) -> Outcome {
    match outcome {
        Outcome::Estimate(e) => {
            let doubt = Contribution::type_b(source, (share * e.value).abs());
            e.clone().with_contribution(doubt).into()
        }
        refused @ Outcome::Refused(_) => refused.clone(),
    }
}

/// The stiffness over a range `span_nm` wide with what is known of hub and encoder.
fn stiffness(outcome: &Outcome, span_nm: f64, step_rad: f64, spring: &RigSpring) -> Outcome {
    let tilted = doubted(outcome, SLOPE * 1.3, "slope of the rotor's own angle");
    let (Outcome::Estimate(raw), Some(rig)) = (&tilted, spring.series_nm_per_rad) else {
        return tilted;
    };
    // The middle of what the hub may do, and as much either way.
    let hub = 0.5 * HUB_NM_PER_RAD / rig;
    let value = raw.value * (1.0 + hub);
    let steps = span_nm / raw.value / step_rad;
    let mut budget = raw.budget.clone();
    budget.push(Contribution::rectangular(
        "friction of the hub before it slides, assumed",
        value * hub,
    ));
    budget.push(Contribution::type_b(
        "steps of the rotor's encoder",
        value * STEPS_TILT / (steps * steps) / FLANKS.sqrt(),
    ));
    let made = Estimate::from_budget(value, &raw.unit, raw.n, raw.method.clone(), budget);
    made.map(|estimate| estimate.with_checks(raw.checks.clone()))
        .into()
}
