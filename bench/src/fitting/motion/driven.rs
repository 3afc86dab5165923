//! A rim that a drive turns through the torque sensor, the wheelbase at setpoint zero.
//!
//! The sensor reads what the wheelbase does to the drive: the torque that turns the wheelbase is its negative.

use std::f64::consts::TAU;

use ndarray::{ArrayView1, aview1};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::friction::{
    DragPoint, InverseOptions, Motion, SteadyTurn, drag_point, inverse_dynamics,
};

use super::track::{self, Track};
use super::{INVERSE, all_refused, orders, results, scale};
use crate::fitting::FittingError;
use crate::fitting::document::Quantity;
use crate::fitting::sensor::SensorTerms;
use crate::recording::{Declared, Recording, SegmentRow};

/// Low-pass of the inverse dynamics, Hz.
const CORNER_HZ: f64 = 15.0;
/// Share of the top speed above which the drive counts as steady.
const STEADY: f64 = 0.9;
/// Slowest speed used, as a share of the top speed.
const LEAST: f64 = 0.3;
/// Least motor turns in a turn of the rim: with fewer, or none declared, an eighth of a turn stands for what repeats, which is
/// a guess, and a check says so.
const LEAST_RATIO: f64 = 4.0;
const GUESSED_RATIO: f64 = 8.0;
/// Over which speed is taken, s.
const SPEED_S: f64 = 0.05;

/// The longest stretch at setpoint zero, in which the drive turns the rim.
pub(in crate::fitting) fn turned_at_zero(recording: &Recording) -> Option<&SegmentRow> {
    let at_zero = |row: &&SegmentRow| {
        row.excitation == "hold" && row.is_excitation() && row.to_nm.abs().max(row.from_nm.abs()) < 1e-6
    };
    let holds = recording.segments().iter().filter(at_zero);
    holds.max_by_key(|row| row.end_tick.saturating_sub(row.start_tick))
}

/// Drag at the drive's speed, and friction and inertia where speed and acceleration tell them apart.
pub(super) fn of(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
) -> Result<Vec<(Quantity, Outcome)>, FittingError> {
    let Some(row) = turned_at_zero(recording) else {
        let outcome = super::refused(
            "no_turn",
            "the recording holds no stretch at setpoint zero while the drive turns; run procedures/drag.toml",
        );
        return Ok(all_refused(
            &outcome,
            &[&[Quantity::Drag], INVERSE.as_slice()].concat(),
        ));
    };
    let track = track::read(recording, recording.rows_between(row.start_tick, row.end_tick)?)?;
    let effort: Vec<f64> = track.torque_nm.iter().map(|nm| -nm).collect();
    let speed = speed(&track);
    let top = speed.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    let mut list = vec![(
        Quantity::Drag,
        drag(&track, &effort, &speed, top, declared, sensor).into(),
    )];
    let options = InverseOptions {
        torque: scale(sensor),
        corner_hz: CORNER_HZ,
        least_speed: (LEAST * top).max(0.05),
        orders: orders(declared),
        ..InverseOptions::default()
    };
    let motion = Motion {
        fs_hz: track.fs_hz,
        position: aview1(&track.rim_rad),
        effort: ArrayView1::from(&effort),
    };
    let check = Check::new(
        "turned at setpoint zero",
        true,
        format!(
            "{:.1} s, up to {top:.2} rad/s",
            track.rim_rad.len() as f64 / track.fs_hz
        ),
    );
    list.extend(match inverse_dynamics(&motion, &options) {
        Ok(fit) => results(fit, &check),
        Err(refusal) => all_refused(&refusal.into(), &INVERSE),
    });
    Ok(list)
}

/// Rim speed over [`SPEED_S`].
fn speed(track: &Track) -> Vec<f64> {
    let half = ((0.5 * SPEED_S * track.fs_hz) as usize).max(1);
    let n = track.rim_rad.len();
    (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(half), (i + half).min(n - 1));
            (track.rim_rad[b] - track.rim_rad[a]) * track.fs_hz / (b - a).max(1) as f64
        })
        .collect()
}

/// Mean of both directions: half the difference of the torques, from which the sensor's zero is gone.
fn drag(
    track: &Track,
    effort: &[f64],
    speed: &[f64],
    top: f64,
    declared: &Declared,
    sensor: &SensorTerms,
) -> Result<Estimate, Refusal> {
    let ratio = declared.ratio.filter(|ratio| *ratio >= LEAST_RATIO);
    let period_rad = TAU / ratio.unwrap_or(GUESSED_RATIO);
    let side = |sign: f64| -> Result<DragPoint, Refusal> {
        let (a, b) = longest_run(speed, |v| sign * v >= STEADY * top);
        let turn = SteadyTurn {
            fs_hz: track.fs_hz,
            angle_rad: ArrayView1::from(track.rim_rad.get(a..b).unwrap_or_default()),
            torque_nm: ArrayView1::from(effort.get(a..b).unwrap_or_default()),
        };
        drag_point(&turn, period_rad)
    };
    let (up, down) = (side(1.0)?, side(-1.0)?);
    let value = 0.5 * (up.torque_nm - down.torque_nm);
    let periods = up.periods + down.periods;
    let budget = vec![
        Contribution::type_a(
            "scatter of periods",
            0.5 * up.u_nm.hypot(down.u_nm),
            periods as f64 - 2.0,
        ),
        Contribution::type_b("torque gain", value.abs() * sensor.gain_rel_u),
    ];
    let method = format!(
        "half the difference of the mean torques at {:.3} and {:.3} rad/s, over {} and {} periods",
        up.speed_rad_s, down.speed_rad_s, up.periods, down.periods
    );
    let known = Check::new(
        "what repeats with the angle is known",
        ratio.is_some(),
        match ratio {
            Some(ratio) => format!("averaged over whole turns of the motor, ratio {ratio}"),
            None => format!(
                "no ratio of {LEAST_RATIO} or more is declared; averaged over 1/{GUESSED_RATIO} of a turn"
            ),
        },
    );
    Ok(Estimate::from_budget(value, "N.m", periods, method, budget)?.with_checks([known]))
}

/// Longest stretch over which `holds`.
fn longest_run(values: &[f64], holds: impl Fn(f64) -> bool) -> (usize, usize) {
    let (mut best, mut from) = ((0, 0), None);
    for i in 0..=values.len() {
        if values.get(i).is_some_and(|v| holds(*v)) {
            from.get_or_insert(i);
        } else if let Some(start) = from.take()
            && i - start > best.1 - best.0
        {
            best = (start, i);
        }
    }
    best
}
