//! A free rim with a disc: pushed by the motor, then coasting.
//!
//! The sensor sees the disc alone, so torque is the command: what the motor makes of it cannot be told here, and every
//! result carries the doubt about the drive's gain.

use std::f64::consts::TAU;
use std::ops::Range;

use bench_core::rig::StageKind;
use ndarray::{ArrayView1, aview1};
use truerim_analysis::estimate::{Check, Estimate, Outcome, Refusal};
use truerim_analysis::friction::{
    CoastDown, CoastOptions, InverseFit, InverseOptions, Motion, TorqueScale, fit_coast_down,
    inverse_dynamics,
};
use truerim_analysis::statistics::extent;

use super::track::{self, Track};
use super::{INVERSE, all_refused, orders, results};
use crate::fitting::FittingError;
use crate::fitting::document::Quantity;
use crate::fitting::drivetrain::named;
use crate::fitting::groups::{refused, with_checks};
use crate::recording::{Declared, Recording, SegmentRow};

/// Relative standard uncertainty of torque made over torque commanded: constants and currents of a drive that was not
/// measured on its clamp.
const DRIVE_GAIN: f64 = 0.05;
/// Standard uncertainty of the drive's own offset, N·m, and of what friction differs by between directions.
const DRIVE_ZERO_NM: f64 = 0.02;
/// Low-pass of the inverse dynamics, Hz: pushes of a tenth of a second pass, the disc's ringing on the sensor does not.
const CORNER_HZ: f64 = 40.0;
/// Slowest speed used, rad/s: above the fall of friction from rest.
const LEAST_RAD_S: f64 = 0.4;
/// Longest delay of the command that is looked for, s, and steps of the search.
const DELAYS: (f64, usize) = (16e-3, 16);
/// A command above this is a push, N·m.
const ON_NM: f64 = 0.01;
/// After the command ends torque takes this long to be gone, s: latency, the drive's ramp, and ringing.
const GONE_S: f64 = 0.025;

/// Behind each change of the command a gap in gears or teeth closes, and the two sides ring, s: the motor's side is slowed by its
/// own friction some 50 rad/s² more than the disc, and crosses half a degree in 20 ms; two periods of the mode come on top.
const CLOSES_S: f64 = 0.05;
/// Periods of an order that the rim must turn through before it is fitted along; what is slower is left to the parabola.
const LEAST_PERIODS: f64 = 1.0;
/// Orders nearer to each other than this over the turns that the rim makes stand for one another.
const APART: f64 = 0.7;

/// What coasting down gives.
const COASTING: [Quantity; 2] = [Quantity::CoastCoulomb, Quantity::CoastViscous];

/// Friction and inertia from pushes and coasting.
pub(super) fn of(
    recording: &Recording,
    declared: &Declared,
) -> Result<Vec<(Quantity, Outcome)>, FittingError> {
    let pushes: Vec<&SegmentRow> = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "step" && row.is_excitation())
        .collect();
    let (Some(first), Some(last)) = (pushes.first(), pushes.last()) else {
        let outcome = refused(
            "no_push",
            "the recording holds no push of the free rim; run procedures/coast.toml",
        );
        return Ok(all_refused(&outcome, &[INVERSE.as_slice(), &COASTING].concat()));
    };
    let second = (1.0 / recording.header().tick_s) as u64;
    let rows = recording.rows_between(
        first.start_tick.saturating_sub(second / 4),
        last.end_tick + 2 * second,
    )?;
    let track = track::read(recording, rows)?;
    let found = match inverse(&track, declared) {
        Err(refusal) => {
            let every = [INVERSE.as_slice(), &COASTING].concat();
            return Ok(all_refused(&refusal.into(), &every));
        }
        Ok(found) => found,
    };
    let inertia = of_the_drive(found.fit.inertia.clone());
    let check = Check::new(
        "torque is the command",
        true,
        format!(
            "aligned with the motion at {:.1} ms; the drive's gain is taken as 1 ± {:.0} %",
            1e3 * found.delay_s,
            100.0 * DRIVE_GAIN
        ),
    );
    let mut list: Vec<(Quantity, Outcome)> = results(found.fit, &check)
        .into_iter()
        .map(|(quantity, outcome)| (quantity, of_the_drive(outcome)))
        .collect();
    list.extend(match inertia.estimate() {
        Some(inertia) => coasts(recording, &pushes, inertia)?,
        None => all_refused(&inertia, &COASTING),
    });
    Ok(list)
}

/// Declared orders of torque that pass the low-pass at the least speed at least, and are seen whole: they are fitted along, or
/// cogging about the place where the rim lies passes for inertia and friction, as every push starts from one of its valleys. They
/// pass the low-pass like the torque, so one that is fast at speed does no harm.
fn orders_seen(track: &Track, declared: &Declared) -> Vec<f64> {
    let [low, high] = extent(&track.rim_rad);
    let mut all: Vec<f64> = named(declared).into_iter().map(|named| named.order).collect();
    all.extend(orders(declared));
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    all.retain(|order| order * LEAST_RAD_S / TAU < CORNER_HZ && order * (high - low) >= LEAST_PERIODS * TAU);
    let apart = APART * TAU / (high - low);
    all.dedup_by(|next, kept| *next - *kept < apart);
    all
}

/// Rows behind each change of the command, in which a gap closes; none for a drivetrain without gears.
fn closing(track: &Track, declared: &Declared) -> Vec<Range<usize>> {
    if !declared
        .drivetrain
        .as_ref()
        .is_some_and(|d| d.has(StageKind::Gears))
    {
        return Vec::new();
    }
    let rows = (CLOSES_S * track.fs_hz) as usize;
    let on: Vec<bool> = track.setpoint_nm.iter().map(|nm| nm.abs() > ON_NM).collect();
    let changes = on.windows(2).enumerate().filter(|(_, w)| w[0] != w[1]);
    changes.map(|(i, _)| i..i + rows).collect()
}

/// Gain and zero are those of the drive here: the budget shall say so.
fn of_the_drive(outcome: Outcome) -> Outcome {
    let Outcome::Estimate(mut estimate) = outcome else {
        return outcome;
    };
    for part in &mut estimate.budget {
        part.source = part
            .source
            .replace("of the torque sensor", "of the drive, assumed");
    }
    Outcome::Estimate(estimate)
}

struct Aligned {
    fit: InverseFit,
    delay_s: f64,
}

/// Inverse dynamics with the command as late as the motion says: the delay that leaves least.
fn inverse(track: &Track, declared: &Declared) -> Result<Aligned, Refusal> {
    let options = InverseOptions {
        torque: TorqueScale {
            zero_nm: 0.0,
            zero_u_nm: DRIVE_ZERO_NM,
            gain_rel_u: DRIVE_GAIN,
        },
        corner_hz: CORNER_HZ,
        least_speed: LEAST_RAD_S,
        orders: orders_seen(track, declared),
        place: true,
        left_out: closing(track, declared),
        ..InverseOptions::default()
    };
    let at = |delay_s: f64, options: &InverseOptions| -> Result<InverseFit, Refusal> {
        let effort = track.setpoint_late(delay_s);
        let motion = Motion {
            fs_hz: track.fs_hz,
            position: aview1(&track.rim_rad),
            effort: ArrayView1::from(&effort),
        };
        inverse_dynamics(&motion, options)
    };
    // Few and short pushes leave too little once a gap has closed.
    let options = match at(0.0, &options) {
        Err(Refusal::TooFewSamples { .. }) => InverseOptions {
            left_out: Vec::new(),
            ..options
        },
        _ => options,
    };
    let (longest, steps) = DELAYS;
    let step = longest / steps as f64;
    let tried: Vec<f64> = (0..=steps)
        .map(|i| at(i as f64 * step, &options).map(|fit| fit.residual_rms))
        .collect::<Result<_, _>>()?;
    let best = (0..tried.len())
        .min_by(|a, b| tried[*a].total_cmp(&tried[*b]))
        .unwrap_or(0);
    // A parabola through the squares of the three about the least.
    let delay_s = if best > 0 && best < steps {
        let [a, b, c] = [best - 1, best, best + 1].map(|i| tried[i] * tried[i]);
        (best as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)) * step
    } else {
        best as f64 * step
    };
    let last = InverseOptions {
        unfitted: true,
        ..options.clone()
    };
    Ok(Aligned {
        fit: at(delay_s, &last)?,
        delay_s,
    })
}

/// Friction from each coast-down behind a push.
fn coasts(
    recording: &Recording,
    pushes: &[&SegmentRow],
    inertia: &Estimate,
) -> Result<Vec<(Quantity, Outcome)>, FittingError> {
    let header = recording.header();
    let ticks = |s: f64| (s / header.tick_s) as u64;
    let mut tracks = Vec::new();
    for (i, push) in pushes.iter().enumerate() {
        let from = push.end_tick + ticks(GONE_S);
        let until = pushes
            .get(i + 1)
            .map_or(from + ticks(3.0), |next| next.start_tick);
        if until > from {
            tracks.push(track::read(recording, recording.rows_between(from, until)?)?);
        }
    }
    let runs: Vec<CoastDown<'_>> = tracks
        .iter()
        .map(|track| CoastDown {
            fs_hz: track.fs_hz,
            angle_rad: aview1(&track.rim_rad),
        })
        .collect();
    let options = CoastOptions {
        axis: Default::default(),
        inertia: inertia.value,
        inertia_u: inertia.std_uncertainty,
        least_speed: LEAST_RAD_S,
        angle_sd: recording.channel("rim_angle")?.scale.abs() / 12.0_f64.sqrt(),
    };
    Ok(match fit_coast_down(&runs, &options) {
        Ok(fit) => {
            let with = |outcome: Outcome| with_checks(outcome, fit.checks.iter().cloned());
            vec![
                (Quantity::CoastCoulomb, with(fit.coulomb.clone())),
                (Quantity::CoastViscous, with(fit.viscous.clone())),
            ]
        }
        Err(refusal) => all_refused(&refusal.into(), &COASTING),
    })
}
