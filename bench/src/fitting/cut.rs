//! Cutting a recording by its segment table.
//!
//! A step is cut from a little before its start to the end of its hold, a chirp with the rest on both sides. Time is 0
//! at the tick at which the first setpoint came into force. A repeat with a gap, or one that the run did not finish, is
//! kept apart with the reason: nothing is filled in.
//!
//! A cut says where its samples are; they are read when a fit wants them ([`Cut::samples`]) and dropped again, so that a
//! long recording takes no more memory than a short one.

use std::ops::Range;

use ndarray::{Array1, ArrayView1};

use super::FittingError;
use super::parts;
use super::periods;
use crate::recording::{MULTISINE, PSEUDO_RANDOM, Recording, SegmentRow};

/// Kept before a step, s.
const BEFORE_STEP_S: f64 = 0.030;
/// Kept at most before and behind a chirp, s.
const AROUND_CHIRP_S: f64 = 0.3;
/// How far the setpoint may be from the plan, counts: half a count of rounding on either side, and a little.
pub(crate) const COUNTS: f64 = 1.5;

/// Longest time over which the rig may spread a jump, s.
const SPREAD_S: f64 = 0.005;

/// One repeat of one excitation: where it is, and whether it was played as planned.
#[derive(Debug, Clone)]
pub(crate) struct Cut {
    /// Its row in the segment table.
    pub(crate) row: SegmentRow,
    /// Rows of the recording.
    pub(crate) rows: Range<usize>,
    /// Instants of its first and last sample from the setpoint coming into force, s.
    pub(crate) span_s: [f64; 2],
    /// How long a setpoint had been in force when the first sample saw it, s.
    pub(crate) input_age_s: f64,
    /// By how much the setpoint in force fell short of, or departed from, the plan, N·m; within `tolerance_nm` if all
    /// is well.
    pub(crate) departure_nm: f64,
    /// Rates at which the setpoint went through a jump, N·m/s: one for each sample that saw it on its way.
    pub(crate) jump_rates_nm_per_s: Vec<f64>,
    /// What a departure is held against, N·m.
    pub(crate) tolerance_nm: f64,
}

/// The samples of one repeat, scaled.
#[derive(Debug, Clone)]
pub(crate) struct Samples {
    /// Time from the setpoint coming into force, s.
    pub(crate) t_s: Array1<f64>,
    /// Setpoint in force, N·m.
    pub(crate) setpoint_nm: Array1<f64>,
    /// Rim torque, N·m.
    pub(crate) torque_nm: Array1<f64>,
}

impl Cut {
    /// Whether the setpoint in force was what the procedure asked for.
    pub(crate) fn as_planned(&self) -> bool {
        self.departure_nm <= self.tolerance_nm
    }

    /// Reads its samples.
    pub(crate) fn samples(&self, recording: &Recording) -> Result<Samples, FittingError> {
        let ticks = recording.ticks(self.rows.clone())?;
        Ok(Samples {
            t_s: seconds(&ticks.view(), &self.row, recording.header().tick_s),
            setpoint_nm: recording.values("setpoint", self.rows.clone())?,
            torque_nm: recording.values("torque", self.rows.clone())?,
        })
    }
}

/// What the segment table gives.
#[derive(Debug, Default)]
pub(crate) struct Cuts {
    /// Steps, in order of playing.
    pub(crate) steps: Vec<Cut>,
    /// Chirps, in order of playing.
    pub(crate) chirps: Vec<Cut>,
    /// Realisations of multisines, each over its whole periods.
    pub(crate) multisines: Vec<Cut>,
    /// Repeats of pseudo-random signals, each over its whole periods.
    pub(crate) pseudo_random: Vec<Cut>,
    /// Largest torque of anything that was played to be looked at, N·m.
    pub(crate) largest_nm: f64,
    /// Repeats left out, in words, with the reason.
    pub(crate) left_out: Vec<String>,
}

impl Cuts {
    /// Names why a family has no repeats: none in the procedure, or none left.
    pub(crate) fn why_absent(&self, kind: &str, advice: &str) -> String {
        match self.left_out.first() {
            Some(first) => format!(
                "no {kind} can be used: {} repeats were left out, the first: {first}; record again",
                self.left_out.len()
            ),
            None => format!("the recording holds no {kind}; {advice}"),
        }
    }

    /// All of them.
    pub(crate) fn iter(&self) -> impl Iterator<Item = &Cut> {
        let periodic = self.multisines.iter().chain(&self.pseudo_random);
        self.steps.iter().chain(&self.chirps).chain(periodic)
    }
}

/// Cuts everything that fits look at and that the run finished.
pub(crate) fn cut(recording: &Recording) -> Result<Cuts, FittingError> {
    let mut cuts = Cuts::default();
    let rows: Vec<&SegmentRow> = recording
        .segments()
        .iter()
        .filter(|row| row.is_excitation())
        .collect();
    let torques = rows
        .iter()
        .flat_map(|row| [row.amplitude_nm.abs() + row.preload_nm.abs(), row.to_nm.abs()]);
    cuts.largest_nm = torques.filter(|nm| nm.is_finite()).fold(0.0, f64::max);
    for (i, row) in rows.iter().enumerate() {
        let is_step = row.excitation == "step";
        if !is_step && row.excitation != "chirp" {
            continue;
        }
        let earliest = i
            .checked_sub(1)
            .and_then(|k| rows.get(k))
            .map_or(0, |r| r.end_tick);
        let latest = rows.get(i + 1).map_or(u64::MAX, |r| r.start_tick);
        match one(recording, row, is_step, (earliest, latest))? {
            Ok(cut) if is_step => cuts.steps.push(cut),
            Ok(cut) => cuts.chirps.push(cut),
            Err(reason) => {
                cuts.left_out
                    .push(format!("{}, repeat {}: {reason}", row.name, row.repeat + 1));
            }
        }
    }
    for (kind, list) in [
        (MULTISINE, &mut cuts.multisines),
        (PSEUDO_RANDOM, &mut cuts.pseudo_random),
    ] {
        let (found, left_out) = periods::cut(recording, kind)?;
        *list = found;
        cuts.left_out.extend(left_out);
    }
    Ok(cuts)
}

/// Seconds since the first setpoint came into force.
fn seconds(ticks: &ArrayView1<'_, u64>, row: &SegmentRow, tick_s: f64) -> Array1<f64> {
    ticks.mapv(|tick| tick_s * (tick as f64 - row.start_tick as f64))
}

/// How old the setpoint is that a sample at a tick shows, where each is in force for `held` ticks from the row's start on, ticks.
pub(crate) fn age_ticks(tick: u64, row: &SegmentRow, held: u64) -> u64 {
    let behind = i128::from(tick) - i128::from(row.start_tick);
    // Not negative, and below `held`.
    behind.rem_euclid(i128::from(held.max(1))) as u64
}

fn one(
    recording: &Recording,
    row: &SegmentRow,
    is_step: bool,
    (earliest, latest): (u64, u64),
) -> Result<Result<Cut, String>, FittingError> {
    let header = recording.header();
    let period = u64::from(header.sample_period_ticks);
    let in_ticks = |s: f64| (s / header.tick_s).round() as u64;
    if row.end_tick <= row.start_tick {
        return Ok(Err("its end is not behind its start in the segment table".into()));
    }
    let (before, behind) = if is_step {
        (BEFORE_STEP_S, 0.0)
    } else {
        (AROUND_CHIRP_S, AROUND_CHIRP_S)
    };
    let from = row.start_tick.saturating_sub(in_ticks(before)).max(earliest);
    let to = row
        .end_tick
        .saturating_add(in_ticks(behind))
        .min(latest)
        .max(row.end_tick);
    let wide = recording.rows_between(from, to)?;
    let ticks = recording.ticks(wide.clone())?;
    let (Some(&first), Some(&last)) = (ticks.first(), ticks.last()) else {
        return Ok(Err("no sample of it was recorded".into()));
    };
    if last.saturating_add(period) < row.end_tick || first > row.start_tick {
        return Ok(Err("the recording does not hold all of it".into()));
    }
    let all_setpoints = recording.values("setpoint", wide.clone())?;
    let scale_nm = recording.channel("setpoint")?.scale.abs();
    let tolerance_nm = COUNTS * scale_nm;
    let kept = at_rest(&ticks, &all_setpoints, row, tolerance_nm);
    let ticks = ticks.slice(ndarray::s![kept.clone()]);
    if let Some(i) = (1..ticks.len()).find(|i| ticks[*i] - ticks[i - 1] != period) {
        let lost = (ticks[i] - ticks[i - 1]) / period.max(1) - 1;
        return Ok(Err(format!(
            "{lost} samples are missing at tick {}",
            ticks[i - 1]
        )));
    }
    let rows = wide.start + kept.start..wide.start + kept.end;
    let ticks = ticks.to_owned();
    let setpoint_nm = all_setpoints.slice(ndarray::s![kept]);
    let mut row = row.clone();
    let mut age = None;
    if let Some(given) = parts::given(recording, rows.clone(), &ticks)? {
        if is_step {
            let moved =
                |i: usize| (setpoint_nm[i] - row.from_nm).abs() > tolerance_nm && ticks[i] >= row.start_tick;
            row = parts::step(&row, &given, moved, header.tick_s);
        } else if let Some([apart, seen]) = parts::pace(&given, &ticks) {
            row.hold_us = (apart as f64 * header.tick_s * 1e6).round() as u32;
            age = Some(seen.min(period));
        }
    }
    let row = &row;
    let t_s = seconds(&ticks.view(), row, header.tick_s);
    let held_ticks = in_ticks(f64::from(row.hold_us) * 1e-6).max(1);
    let departure_nm = departure(row, is_step, &t_s, &setpoint_nm, tolerance_nm);
    // A chirp's crest is sampled as it falls: a fiftieth of its amplitude is the sampling, not clipping.
    let sampling_nm = if is_step {
        0.0
    } else {
        0.02 * row.amplitude_nm.abs()
    };
    let planned = age_ticks(ticks.first().copied().unwrap_or(0), row, period.min(held_ticks));
    Ok(Ok(Cut {
        row: row.clone(),
        rows,
        span_s: [t_s.first(), t_s.last()].map(|t| t.copied().unwrap_or(0.0)),
        input_age_s: age.unwrap_or(planned) as f64 * header.tick_s,
        departure_nm,
        jump_rates_nm_per_s: if is_step {
            jump_rates(row, &t_s, &setpoint_nm)
        } else {
            Vec::new()
        },
        tolerance_nm: tolerance_nm + sampling_nm,
    }))
}

/// The part of a stretch in which nothing but the excitation and rest at its first and last torque was commanded.
fn at_rest(
    ticks: &Array1<u64>,
    setpoint_nm: &Array1<f64>,
    row: &SegmentRow,
    tolerance_nm: f64,
) -> Range<usize> {
    let begins = ticks.iter().position(|t| *t >= row.start_tick).unwrap_or(0);
    let ends = ticks
        .iter()
        .position(|t| *t >= row.end_tick)
        .unwrap_or(ticks.len());
    let moved = |i: &usize, rest_nm: f64| (setpoint_nm[*i] - rest_nm).abs() > tolerance_nm;
    let from = (0..begins)
        .rev()
        .find(|i| moved(i, row.from_nm))
        .map_or(0, |i| i + 1);
    let to = (ends..ticks.len())
        .find(|i| moved(i, row.to_nm))
        .unwrap_or(ticks.len());
    from..to
}

/// How near to either level a setpoint is as good as there, as a share of the step.
const THERE: f64 = 0.02;

/// Rates of a step's samples between both levels.
fn jump_rates(row: &SegmentRow, t_s: &Array1<f64>, setpoint_nm: &ArrayView1<'_, f64>) -> Vec<f64> {
    let change_nm = row.to_nm - row.from_nm;
    let behind = t_s.iter().zip(setpoint_nm).filter(|(t, _)| **t > 0.0);
    behind
        .map(|(t, nm)| (*t, (nm - row.from_nm) / change_nm))
        .take_while(|(_, share)| *share < 1.0 - THERE)
        .filter(|(_, share)| *share > THERE)
        .map(|(t, share)| share * change_nm.abs() / t)
        .collect()
}

/// A step: the greatest distance of the setpoint from the level asked for, once it is there; a slew limit of the rig may
/// spread the jump, but not over more than [`SPREAD_S`]. A chirp: what its crest lacks on the side that lacks more.
fn departure(
    row: &SegmentRow,
    is_step: bool,
    t_s: &Array1<f64>,
    setpoint_nm: &ArrayView1<'_, f64>,
    tolerance_nm: f64,
) -> f64 {
    if is_step {
        let away = t_s
            .iter()
            .zip(setpoint_nm)
            .map(|(t, nm)| (*t, (nm - row.to_nm).abs()));
        let held = away.skip_while(|(t, far)| *t < SPREAD_S && (*t < 0.0 || *far > tolerance_nm));
        return held.map(|(_, far)| far).fold(0.0, f64::max);
    }
    let crest = |sign: f64| {
        let beyond = setpoint_nm.iter().map(|nm| sign * (nm - row.preload_nm));
        (row.amplitude_nm.abs() - beyond.fold(0.0, f64::max)).max(0.0)
    };
    crest(1.0).max(crest(-1.0))
}
