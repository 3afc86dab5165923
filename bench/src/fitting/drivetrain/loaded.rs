//! Ripple that grows with the torque: the drive turns the rim to and fro while the wheelbase holds one level after another.
//!
//! Levels of one sign alone are taken together, zero left out: with them gears and belt stay in contact on one side whichever way
//! the rim turns. Load twists the drivetrain, so that the motor's pattern moves against the rim, by more of a period than its
//! amplitude changes (0.03° of twist are a tenth of a radian of order 200): the mean twist of each leg is added to the rim's angle. The
//! rotor's own angle will not do in its place, since its error over a turn would smear the orders.

use std::collections::BTreeMap;

use truerim_analysis::cogging::{
    LoadLevel, LoadedOrder, OrderFit, OrderOptions, fit_orders, ripple_under_load,
};
use truerim_analysis::estimate::{Contribution, Estimate, Outcome, Refusal};

use super::{One, legs, orders};
use crate::fitting::FittingError;
use crate::fitting::document::Quantity;
use crate::fitting::groups::refused;
use crate::fitting::motion::track::{self, Track};
use crate::fitting::sensor::SensorTerms;
use crate::recording::{Declared, Recording, SegmentRow};

/// Shortest hold that can hold a turn to and fro, s.
const LEAST_S: f64 = 10.0;
/// By how much the speeds of the levels may differ, a share: ripple grows with its frequency towards a resonance.
const ALIKE: f64 = 0.1;

/// Both directions of one level.
struct Level {
    load_nm: f64,
    speed: f64,
    fits: [OrderFit; 2],
}

/// Growth of each order that stands out; nothing for a recording without two levels of one sign.
pub(super) fn of(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
) -> Result<Vec<One>, FittingError> {
    let rows = levels(recording);
    if rows.len() < 2 {
        return Ok(Vec::new());
    }
    let alone = |refusal: Refusal| Ok(vec![One::alone(Quantity::RippleUnderLoad, refusal)]);
    let (mut found, mut wanted): (Vec<Level>, Option<Vec<f64>>) = (Vec::new(), None);
    for row in rows {
        let mut track = track::read(recording, recording.rows_between(row.start_tick, row.end_tick)?)?;
        let widest: Vec<legs::Pair> = legs::widest(&track).into_iter().collect();
        if let Some(refusal) = untwist(&mut track, &widest, declared) {
            return Ok(vec![One::alone(Quantity::RippleUnderLoad, refusal)]);
        }
        let level = orders::slowest(&track, &widest).and_then(|(turned, speed)| {
            let wanted =
                wanted.get_or_insert_with(|| orders::wanted_of(declared, &turned[0], speed, track.fs_hz));
            let options = OrderOptions {
                gain_rel_u: sensor.gain_rel_u,
                ..OrderOptions::default()
            };
            let one = |k: usize| fit_orders(&[&turned[k]], wanted, &options);
            Ok(Level {
                load_nm: row.to_nm,
                speed,
                fits: [one(0)?, one(1)?],
            })
        });
        match level {
            Ok(level) => found.push(level),
            Err(refusal) => return alone(refusal),
        }
    }
    if let Err(refusal) = alike(&found) {
        return alone(refusal);
    }
    let one_way = |k: usize| {
        let levels = found.iter().map(|level| LoadLevel {
            load: level.load_nm,
            fit: &level.fits[k],
        });
        ripple_under_load(&levels.collect::<Vec<_>>(), "N.m")
    };
    let (up, down) = match (one_way(0), one_way(1)) {
        (Ok(up), Ok(down)) => (up, down),
        (Err(refusal), _) | (_, Err(refusal)) => return alone(refusal),
    };
    let speed = found.iter().map(|level| level.speed).fold(0.0, f64::max);
    let pairs = up.iter().zip(&down);
    Ok(pairs
        .filter_map(|(up, down)| both_ways(up, down, speed, declared))
        .collect())
}

/// Adds the mean twist between rotor and rim of each leg to its angle; without any stage there is none. A refusal where the twist
/// is not known.
fn untwist(track: &mut Track, pairs: &[legs::Pair], declared: &Declared) -> Option<Outcome> {
    let direct = declared.drivetrain.as_ref().is_some_and(|d| d.stages.is_empty());
    match declared
        .ratio
        .filter(|_| track.rotor_rad.len() == track.rim_rad.len())
    {
        Some(ratio) => {
            for leg in pairs.iter().flat_map(|pair| [pair.up.clone(), pair.down.clone()]) {
                let (rotor, rim) = (track.rotor_rad.get(leg.clone()), track.rim_rad.get_mut(leg));
                let Some((rotor, rim)) = rotor.zip(rim) else {
                    continue;
                };
                let count = rim.len().max(1) as f64;
                let twist = rotor.iter().zip(&*rim).map(|(r, h)| r / ratio - h).sum::<f64>() / count;
                rim.iter_mut().for_each(|angle| *angle += twist);
            }
            None
        }
        None if direct => None,
        None => Some(refused(
            "no_rotor_angle",
            "load twists the drivetrain and moves the motor's ripple against the rim; record the rotor's angle and declare \
             rig.wheelbase.ratio to tell it from ripple that grows",
        )),
    }
}

/// The longest hold of each level in µN·m, of those that can hold a turn to and fro.
pub(super) fn longest_holds(recording: &Recording) -> BTreeMap<i64, &SegmentRow> {
    let mut all: BTreeMap<i64, &SegmentRow> = BTreeMap::new();
    let holds = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "hold" && row.is_excitation() && row.duration_s >= LEAST_S);
    for row in holds {
        let level = (row.to_nm * 1e6).round() as i64;
        let longest = all.entry(level).or_insert(row);
        if row.duration_s > longest.duration_s {
            *longest = row;
        }
    }
    all
}

/// The longest hold of each level, of the sign that has more levels.
fn levels(recording: &Recording) -> Vec<&SegmentRow> {
    let all = longest_holds(recording);
    let of_sign = |sign: i64| -> Vec<&SegmentRow> {
        let own = all.iter().filter(|(level, _)| level.signum() == sign);
        own.map(|(_, row)| *row).collect()
    };
    let (negative, positive) = (of_sign(-1), of_sign(1));
    if negative.len() > positive.len() {
        negative
    } else {
        positive
    }
}

fn alike(levels: &[Level]) -> Result<(), Refusal> {
    let speeds = || levels.iter().map(|level| level.speed);
    let (low, high) = (
        speeds().fold(f64::INFINITY, f64::min),
        speeds().fold(0.0, f64::max),
    );
    if high <= (1.0 + ALIKE) * low {
        return Ok(());
    }
    Err(Refusal::NotCovered {
        what: "likeness of the speeds at which the levels were turned, slowest over fastest".into(),
        got: low / high,
        needed: 1.0 / (1.0 + ALIKE),
        unit: "1".into(),
        remedy: "let each level last for a whole turn to and fro at one speed".into(),
    })
}

/// Mean of both directions, with their difference as doubt; nothing where neither stands out.
fn both_ways(up: &LoadedOrder, down: &LoadedOrder, speed: f64, declared: &Declared) -> Option<One> {
    let group = orders::group_of(up.order, declared);
    let quiet = |outcome: &Outcome| outcome.refused().is_some_and(|r| r.code == "below_noise");
    let outcome = match (&up.growth, &down.growth) {
        (a, b) if quiet(a) && quiet(b) => return None,
        (Outcome::Estimate(a), Outcome::Estimate(b)) => {
            let value = 0.5 * (a.value + b.value);
            let grows = match orders::growth(up.order, speed) {
                Ok(share) => share * value,
                Err(refusal) => return Some(One::of(Quantity::RippleUnderLoad, &group, refusal)),
            };
            let budget = vec![
                Contribution::rectangular("growth towards a resonance, not known", grows),
                Contribution::type_a(
                    "orders at the levels",
                    0.5 * a.std_uncertainty.hypot(b.std_uncertainty),
                    40.0,
                ),
                Contribution::rectangular(
                    "difference between the directions",
                    0.5 * (a.value - b.value).abs(),
                ),
            ];
            let method = "complex amplitude over the commanded torque, mean of both directions";
            Estimate::from_budget(value, "1", a.n + b.n, method, budget).into()
        }
        (Outcome::Refused(_), _) => up.growth.clone(),
        (_, Outcome::Refused(_)) => down.growth.clone(),
    };
    Some(One::of(Quantity::RippleUnderLoad, &group, outcome))
}
