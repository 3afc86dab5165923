//! Gap and stiffness around the turn: the drive turns the rim to and fro while the wheelbase holds one level after another, either way.

use std::f64::consts::TAU;

use truerim_analysis::around::Variation;
use truerim_analysis::backlash::{LoadedTurn, TwistAround, twist_around};
use truerim_analysis::estimate::{Check, Outcome};

use super::legs::{self, Pair};
use super::{One, loaded::longest_holds, uneven};
use crate::fitting::FittingError;
use crate::fitting::document::Quantity;
use crate::fitting::groups::{refused, with_checks};
use crate::fitting::motion::{scale, track};
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;
use crate::recording::{Declared, Recording, SegmentRow};

/// By how much the speeds of what counts as one repeat may differ, a share.
const ALIKE: f64 = 0.1;

/// A whole turn to and fro at one level.
struct Turn {
    load_nm: f64,
    speed: f64,
    /// Forward and back: angle by the rotor, twist, torque.
    ways: [[Vec<f64>; 3]; 2],
}

/// All of it; nothing for a recording without two levels of either sign.
pub(super) fn of(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
) -> Result<Vec<One>, FittingError> {
    let rows = levels(recording);
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let Some(ratio) = declared.ratio else {
        return Ok(vec![One::alone(Quantity::TurnedGap, no_rotor())]);
    };
    let mut levels = Vec::new();
    for row in rows {
        let track = track::read(recording, recording.rows_between(row.start_tick, row.end_tick)?)?;
        if track.rotor_rad.len() != track.rim_rad.len() {
            return Ok(vec![One::alone(Quantity::TurnedGap, no_rotor())]);
        }
        let pairs = legs::sharing(&track, uneven::LEAST * TAU);
        levels.push(turns(&track, &pairs, row.to_nm, ratio));
    }
    let mut repeats = together(levels);
    on_the_rim(&mut repeats);
    in_one_turn(&mut repeats);
    let lists: Vec<Vec<LoadedTurn<'_>>> = repeats
        .iter()
        .map(|repeat| repeat.iter().flat_map(loaded).collect())
        .collect();
    Ok(match twist_around(&lists, &scale(sensor)) {
        Ok(found) => told(found, repeats.len()),
        Err(refusal) => vec![One::alone(Quantity::TurnedGap, refusal)],
    })
}

fn no_rotor() -> Outcome {
    refused(
        "no_rotor_angle",
        "gap and stiffness are in how far rotor and rim differ: record the rotor's angle and declare rig.wheelbase.ratio",
    )
}

/// The longest hold of each level other than zero; none unless there are two levels of either sign.
fn levels(recording: &Recording) -> Vec<&SegmentRow> {
    let mut all = longest_holds(recording);
    all.remove(&0);
    let of_sign = |sign: i64| all.keys().filter(|level| level.signum() == sign).count();
    if of_sign(1) >= 2 && of_sign(-1) >= 2 {
        all.into_values().collect()
    } else {
        Vec::new()
    }
}

/// Turns to and fro at one level.
fn turns(track: &track::Track, pairs: &[Pair], load_nm: f64, ratio: f64) -> Vec<Turn> {
    let way = |range: &std::ops::Range<usize>| {
        let part = |list: &[f64]| list.get(range.clone()).unwrap_or_default().to_vec();
        let rim = part(&track.rim_rad);
        let rotor: Vec<f64> = part(&track.rotor_rad).iter().map(|rotor| rotor / ratio).collect();
        let apart = rotor.iter().zip(&rim).map(|(rotor, rim)| rotor - rim).collect();
        [rotor, apart, part(&track.torque_nm)]
    };
    pairs
        .iter()
        .map(|pair| Turn {
            load_nm,
            speed: pair.speed,
            ways: [way(&pair.up), way(&pair.down)],
        })
        .collect()
}

/// Turns at one speed at all levels are one repeat.
fn together(mut levels: Vec<Vec<Turn>>) -> Vec<Vec<Turn>> {
    let Some(first) = levels.pop() else {
        return Vec::new();
    };
    let mut repeats = Vec::new();
    for turn in first {
        let alike = |other: &Turn| (other.speed / turn.speed - 1.0).abs() <= ALIKE;
        let places: Vec<usize> = levels
            .iter()
            .filter_map(|level| level.iter().position(alike))
            .collect();
        if places.len() < levels.len() {
            continue;
        }
        let others = levels
            .iter_mut()
            .zip(places)
            .map(|(level, place)| level.remove(place));
        let mut repeat: Vec<Turn> = others.collect();
        repeat.push(turn);
        repeats.push(repeat);
    }
    repeats
}

/// Counts the rotor's angle from where the rim's is zero, on the mean of all turns.
fn on_the_rim(repeats: &mut [Vec<Turn>]) {
    let ways = || repeats.iter().flatten().flat_map(|turn| &turn.ways);
    let (sum, n) = ways()
        .flat_map(|way| &way[1])
        .fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    let apart = sum / f64::max(n, 1.0);
    for way in repeats.iter_mut().flatten().flat_map(|turn| &mut turn.ways) {
        way[0].iter_mut().for_each(|angle| *angle -= apart);
    }
}

/// Legs begin anywhere and may be of more than a turn; all are put into one turn, which begins where the first does, less whole turns.
fn in_one_turn(repeats: &mut [Vec<Turn>]) {
    let first = repeats.first().and_then(|repeat| repeat.first());
    let Some(lowest) = first.and_then(|turn| turn.ways[0][0].iter().copied().reduce(f64::min)) else {
        return;
    };
    let from = lowest - TAU * (lowest / TAU).round();
    for way in repeats.iter_mut().flatten().flat_map(|turn| &mut turn.ways) {
        way[0]
            .iter_mut()
            .for_each(|angle| *angle = from + (*angle - lowest).rem_euclid(TAU));
    }
}

fn loaded(turn: &Turn) -> [LoadedTurn<'_>; 2] {
    let way = |k: usize| LoadedTurn {
        load_nm: turn.load_nm,
        forward: k == 0,
        angle_rad: &turn.ways[k][0],
        apart_rad: &turn.ways[k][1],
        torque_nm: &turn.ways[k][2],
    };
    [way(0), way(1)]
}

fn told(found: TwistAround, repeats: usize) -> Vec<One> {
    let [low, high] = found.between_nm;
    let held = Check::new(
        "torques held",
        high >= 1.5 * low,
        format!(
            "{} and {} N·m either way, the greater 1.5 times the smaller or more; {repeats} turns to and fro at each",
            plain(low, 3),
            plain(high, 3)
        ),
    );
    let with = |outcome: Outcome| with_checks(outcome, [held.clone()]);
    let mut all = vec![
        One::alone(Quantity::TurnedGap, with(found.gap)),
        One::alone(Quantity::TurnedStiffness, with(found.stiffness)),
    ];
    all.extend(varying(
        found.gap_over_angle,
        Quantity::GapVariation,
        Quantity::GapSector,
    ));
    all.extend(varying(
        found.stiffness_over_angle,
        Quantity::StiffnessVariation,
        Quantity::StiffnessSector,
    ));
    all
}

fn varying(found: Variation, swing: Quantity, sector: Quantity) -> Vec<One> {
    let check = uneven::chance_check(&found);
    let mut all = vec![One::alone(swing, with_checks(found.swing, [check]))];
    all.extend(
        found
            .sectors
            .into_iter()
            .map(|(ends, estimate)| One::of(sector, &uneven::sector_name(ends), estimate)),
    );
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turn(load_nm: f64, speed: f64, from: f64) -> Turn {
        let way = || [vec![from, from + 6.0], vec![0.0; 2], vec![load_nm; 2]];
        Turn {
            load_nm,
            speed,
            ways: [way(), way()],
        }
    }

    #[test]
    fn turns_of_one_speed_at_every_level_are_one_repeat() {
        let levels = vec![
            vec![turn(1.0, 0.2, 0.0), turn(1.0, 0.5, 0.0), turn(1.0, 1.0, 0.0)],
            vec![turn(-1.0, 0.5, 0.1 - TAU), turn(-1.0, 0.205, 0.0)],
        ];
        let mut repeats = together(levels);
        // The second level's order decides; nothing there goes with 1 rad/s.
        let speeds: Vec<Vec<f64>> = repeats
            .iter()
            .map(|r| r.iter().map(|t| t.speed).collect())
            .collect();
        assert_eq!(speeds, [[0.5, 0.5], [0.2, 0.205]]);
        in_one_turn(&mut repeats);
        // From 0.1 in the turn before, and on into the next.
        let angles = &repeats[0][1].ways[0][0];
        assert!(
            (angles[0] - 0.1).abs() < 1e-12 && (angles[1] - 6.1).abs() < 1e-12,
            "{angles:?}"
        );
        let mut long = vec![vec![turn(1.0, 0.5, -TAU), turn(1.0, 0.5, 3.0)]];
        in_one_turn(&mut long);
        assert!(long[0][0].ways[0][0][0].abs() < 1e-12);
        assert!((long[0][1].ways[0][0][1] - (9.0 - TAU)).abs() < 1e-12);
        // A rotor that counts from elsewhere.
        let mut turned = vec![vec![turn(1.0, 0.5, 2.0)]];
        turned[0][0]
            .ways
            .iter_mut()
            .for_each(|way| way[1] = vec![0.7, 0.9]);
        on_the_rim(&mut turned);
        assert!((turned[0][0].ways[1][0][0] - 1.2).abs() < 1e-12);
        assert!(together(Vec::new()).is_empty());
    }
}
