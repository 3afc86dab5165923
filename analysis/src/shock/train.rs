//! Trains of pulses one way: how much of the swing between them is left.

use super::crest::{crest, valley};
use super::{LATEST_S, Levelled, PulseRecord, PulseTerms, STANDS_OUT, check, over_pulses};
use crate::estimate::{Contribution, Outcome, Refusal};
use std::f64::consts::PI;

/// Trains of one width, height and spacing.
#[derive(Debug, Clone, PartialEq)]
pub struct TrainRecord {
    /// Pulses of a train; three or more.
    pub count: usize,
    /// From the start of one to the start of the next, s; at least the width.
    pub spacing_s: f64,
    /// Each train from a rest before it on.
    pub trains: Vec<PulseRecord>,
}

/// What became of the trains.
#[derive(Debug, Clone, PartialEq)]
pub struct Train {
    /// Swing from crests to the valleys between them over the crest commanded.
    pub swing: Outcome,
    /// Lowest torque between two crests, counted from the preload, over the crests beside it; below zero it swings past the
    /// preload.
    pub left: Outcome,
    /// Delay at which trains lie best on the command, sensor included, s.
    pub late_s: f64,
    /// Mean of all trains from the first setpoint on, less the level before, N·m, with its sign; at the sample rate.
    pub mean_nm: Vec<f64>,
}

impl TrainRecord {
    /// The commanded train at an instant, of a crest of one.
    pub fn command(&self, width_s: f64, t_s: f64) -> f64 {
        if t_s < 0.0 {
            return 0.0;
        }
        let number = (t_s / self.spacing_s).floor();
        let into = t_s - number * self.spacing_s;
        if number < self.count as f64 && into < width_s {
            (PI * into / width_s).sin()
        } else {
            0.0
        }
    }
}

/// Delay at which a train resembles the command most: over whole samples.
fn late(levelled: &Levelled, record: &TrainRecord, terms: &PulseTerms) -> f64 {
    let most = (LATEST_S * levelled.fs_hz).round() as usize;
    let resembles = |lag: usize| -> f64 {
        let shift = lag as f64 / levelled.fs_hz;
        let rows = levelled.y.iter().enumerate();
        rows.map(|(i, y)| y * record.command(terms.width_s, levelled.time(i as f64) - shift))
            .sum()
    };
    let sums: Vec<f64> = (0..=most).map(resembles).collect();
    let best = (0..=most)
        .max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
        .unwrap_or(0);
    best as f64 / levelled.fs_hz
}

/// One train: swing over the crest commanded, valley over crest.
fn one(
    levelled: &Levelled,
    record: &TrainRecord,
    terms: &PulseTerms,
    late_s: f64,
) -> Result<[f64; 2], Refusal> {
    let middle = |k: usize| k as f64 * record.spacing_s + 0.5 * terms.width_s + late_s;
    let around = |t: f64| {
        let half = 0.5 * record.spacing_s;
        levelled.index(t - half)..levelled.index(t + half)
    };
    let crests: Vec<(f64, f64)> = (0..record.count)
        .filter_map(|k| {
            let window = around(middle(k));
            crest(&levelled.y, window.start, window.end)
        })
        .collect();
    if crests.len() < record.count {
        return Err(Refusal::TooShort {
            what: "a train of pulses".into(),
            got_s: levelled.last_s(),
            needed_s: middle(record.count),
        });
    }
    // The first pulse meets a drivetrain at rest, the others what those before left.
    let pairs = crests.windows(2).skip(usize::from(record.count > 3));
    let (mut swing, mut share, mut n) = (0.0, 0.0, 0.0);
    for pair in pairs {
        let (from, to) = (pair[0].0.ceil() as usize, pair[1].0.floor() as usize);
        let low = valley(&levelled.y, from, to).map_or(0.0, |v| v.1);
        let high = 0.5 * (pair[0].1 + pair[1].1);
        if high < STANDS_OUT * levelled.noise_nm || high <= 0.0 {
            return Err(Refusal::too_small(high.max(0.0), levelled.noise_nm, STANDS_OUT));
        }
        swing += (high - low) / terms.amplitude_nm.abs();
        share += low / high;
        n += 1.0;
    }
    Ok([swing / n, share / n])
}

/// Reads trains of one width, height, direction and spacing.
///
/// # Errors
/// As [`super::shock`]; [`Refusal::OutOfRange`] for trains of fewer than three pulses or a spacing below the width.
pub fn trains(record: &TrainRecord, terms: &PulseTerms) -> Result<Train, Refusal> {
    check(terms, record.trains.len())?;
    if record.count < 3 {
        let got = record.count as f64;
        return Err(Refusal::out_of_range(
            "pulses in a train",
            got,
            3.0,
            f64::INFINITY,
            "pulses",
        ));
    }
    if record.spacing_s < terms.width_s {
        return Err(Refusal::out_of_range(
            "the spacing of pulses",
            record.spacing_s,
            terms.width_s,
            f64::INFINITY,
            "s",
        ));
    }
    let levelled: Vec<Levelled> = record
        .trains
        .iter()
        .map(|t| Levelled::of(t, terms))
        .collect::<Result<_, _>>()?;
    let lates: Vec<f64> = levelled.iter().map(|l| late(l, record, terms)).collect();
    let late_s = lates.iter().sum::<f64>() / lates.len() as f64;
    let each: Vec<[f64; 2]> = levelled
        .iter()
        .map(|l| one(l, record, terms, late_s))
        .collect::<Result<_, _>>()?;
    let column = |k: usize| -> Vec<f64> { each.iter().map(|e| e[k]).collect() };
    let mean = |k: usize| column(k).iter().sum::<f64>() / each.len() as f64;
    let noise =
        levelled.iter().map(|l| l.noise_nm).sum::<f64>() / (levelled.len() as f64 * terms.amplitude_nm.abs());
    let lifted = |by: f64| Contribution::rectangular("noise at crests and valleys", by * noise);
    let swing = over_pulses(
        &column(0),
        (
            "1",
            "crests less the valleys between them, the first pair left out",
        ),
        [
            Contribution::type_b("sensor gain", mean(0) * terms.gain_rel_u),
            lifted(2.0),
        ],
    );
    let left = over_pulses(
        &column(1),
        (
            "1",
            "valleys over the crests beside them, the first pair left out",
        ),
        [lifted(1.5 / mean(0).max(noise))],
    );
    Ok(Train {
        swing: swing.into(),
        left: left.into(),
        late_s,
        mean_nm: mean_of(&levelled, terms),
    })
}

/// Mean of all trains on one grid from the first setpoint on, by straight lines between samples.
fn mean_of(levelled: &[Levelled], terms: &PulseTerms) -> Vec<f64> {
    let last_s = levelled
        .iter()
        .map(Levelled::last_s)
        .fold(f64::INFINITY, f64::min);
    let count = (last_s * terms.fs_hz).floor().max(0.0) as usize;
    let sign = terms.amplitude_nm.signum();
    let at = |l: &Levelled, i: usize| {
        let place = (i as f64 / l.fs_hz - l.first_s) * l.fs_hz;
        let left = (place.floor().max(0.0) as usize).min(l.y.len().saturating_sub(2));
        l.y[left] + (place - left as f64) * (l.y[left + 1] - l.y[left])
    };
    let n = levelled.len() as f64;
    (0..count)
        .map(|i| sign * levelled.iter().map(|l| at(l, i)).sum::<f64>() / n)
        .collect()
}
