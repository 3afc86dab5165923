//! Turns to and fro at steady speeds, cut from one long stretch.

use std::ops::Range;

use ndarray::ArrayView1;
use truerim_analysis::friction::SteadyTurn;

use crate::fitting::motion::track::Track;

/// Over which speed is taken, s.
const SPEED_S: f64 = 0.1;
/// Slower than this is rest, rad/s.
const REST: f64 = 0.008;
/// Share of its typical speed by which a steady leg may depart from it.
const STEADY: f64 = 0.05;
/// Left out at both ends of what is steady, s: ringing of the start, and friction that still turns over.
const ENDS_S: f64 = 0.3;
/// Least angle of a leg, rad.
const LEAST_RAD: f64 = 0.2;
/// Share of its angles that both directions must cover.
const SHARED: f64 = 0.5;

/// A turn to and fro at one speed.
pub(super) struct Pair {
    /// In the positive direction.
    pub(super) up: Range<usize>,
    /// In the negative one.
    pub(super) down: Range<usize>,
    /// Speed, positive, rad/s.
    pub(super) speed: f64,
    /// Angle that both cover, rad.
    pub(super) travel: f64,
}

impl Pair {
    pub(super) fn turn<'a>(track: &'a Track, range: &Range<usize>, torque: &'a [f64]) -> SteadyTurn<'a> {
        SteadyTurn {
            fs_hz: track.fs_hz,
            angle_rad: ArrayView1::from(track.rim_rad.get(range.clone()).unwrap_or_default()),
            torque_nm: ArrayView1::from(torque.get(range.clone()).unwrap_or_default()),
        }
    }
}

struct Leg {
    range: Range<usize>,
    speed: f64,
    ends: [f64; 2],
}

/// Pairs of legs of opposite speed over the same angles, each leg once, the nearest in time first; slow ones first.
pub(super) fn pairs(track: &Track) -> Vec<Pair> {
    let legs = legs(track);
    let mut taken = vec![false; legs.len()];
    let mut found = Vec::new();
    for i in 0..legs.len() {
        if taken[i] {
            continue;
        }
        let fits = |j: &usize| {
            let (a, b) = (&legs[i], &legs[*j]);
            !taken[*j]
                && opposite(a, b)
                && shared(a, b) >= SHARED * (a.ends[1] - a.ends[0]).max(b.ends[1] - b.ends[0])
        };
        let Some(j) = (i + 1..legs.len()).find(fits) else {
            continue;
        };
        (taken[i], taken[j]) = (true, true);
        found.push(pair(&legs[i], &legs[j]));
    }
    found.sort_by(|a, b| a.speed.total_cmp(&b.speed));
    found
}

/// Those two legs of opposite speed that share most of their way: of a stretch that begins and ends in the middle of a leg.
pub(super) fn widest(track: &Track) -> Option<Pair> {
    let legs = legs(track);
    let all = legs
        .iter()
        .enumerate()
        .flat_map(|(i, a)| legs[i + 1..].iter().map(move |b| (a, b)));
    let widest = all
        .filter(|(a, b)| opposite(a, b))
        .max_by(|(a, b), (c, d)| shared(a, b).total_cmp(&shared(c, d)));
    widest.map(|(a, b)| pair(a, b))
}

/// Pairs of legs of opposite speed that share an angle of `least_rad` or more, those that share most first, each leg once: of a stretch
/// that begins and ends anywhere in a script that goes on.
pub(super) fn sharing(track: &Track, least_rad: f64) -> Vec<Pair> {
    let legs = legs(track);
    let places = (0..legs.len()).flat_map(|i| (i + 1..legs.len()).map(move |j| [i, j]));
    let mut all: Vec<([usize; 2], f64)> = places
        .filter(|[i, j]| opposite(&legs[*i], &legs[*j]))
        .map(|[i, j]| ([i, j], shared(&legs[i], &legs[j])))
        .filter(|(_, angle)| *angle >= least_rad)
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut taken = vec![false; legs.len()];
    let mut found = Vec::new();
    for ([i, j], _) in all {
        if !taken[i] && !taken[j] {
            (taken[i], taken[j]) = (true, true);
            found.push(pair(&legs[i], &legs[j]));
        }
    }
    found
}

fn opposite(a: &Leg, b: &Leg) -> bool {
    (a.speed + b.speed).abs() <= STEADY * a.speed.abs()
}

fn pair(a: &Leg, b: &Leg) -> Pair {
    let (up, down) = if a.speed > 0.0 { (a, b) } else { (b, a) };
    Pair {
        up: up.range.clone(),
        down: down.range.clone(),
        speed: 0.5 * (up.speed - down.speed),
        travel: shared(a, b),
    }
}

fn shared(a: &Leg, b: &Leg) -> f64 {
    (a.ends[1].min(b.ends[1]) - a.ends[0].max(b.ends[0])).max(0.0)
}

fn legs(track: &Track) -> Vec<Leg> {
    let half = ((0.5 * SPEED_S * track.fs_hz) as usize).max(1);
    let n = track.rim_rad.len();
    let speed: Vec<f64> = (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(half), (i + half).min(n.saturating_sub(1)));
            (track.rim_rad[b] - track.rim_rad[a]) * track.fs_hz / (b - a).max(1) as f64
        })
        .collect();
    let sign = |v: f64| if v.abs() < REST { 0.0 } else { v.signum() };
    let mut found = Vec::new();
    let mut from = 0;
    for i in 1..=n {
        if i < n && (sign(speed[i]) - sign(speed[from])).abs() < 0.5 {
            continue;
        }
        if sign(speed[from]).abs() > 0.5 {
            found.extend(leg(track, &speed, from..i));
        }
        from = i;
    }
    found
}

/// The steady part of a stretch of one direction.
fn leg(track: &Track, speed: &[f64], range: Range<usize>) -> Option<Leg> {
    let own = &speed[range.clone()];
    let mut sorted = own.to_vec();
    let middle = sorted.len() / 2;
    let (_, typical, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    let typical = *typical;
    let steady = |v: &f64| (v - typical).abs() <= STEADY * typical.abs();
    let ends = (ENDS_S * track.fs_hz) as usize;
    let first = range.start + own.iter().position(steady)? + ends;
    let last = (range.start + own.iter().rposition(steady)?).checked_sub(ends)?;
    if last <= first {
        return None;
    }
    let (a, b) = (track.rim_rad[first], track.rim_rad[last]);
    ((b - a).abs() >= LEAST_RAD).then(|| Leg {
        range: first..last,
        speed: (b - a) * track.fs_hz / (last - first) as f64,
        ends: [a.min(b), a.max(b)],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Angles of legs at the given speeds over the given angles, a second of rest between.
    fn track(legs: &[(f64, f64)]) -> Track {
        let fs_hz = 200.0;
        let mut rim_rad = vec![0.0; 200];
        let mut at = 0.0;
        for (speed, angle) in legs {
            let count = (angle / speed.abs() * fs_hz) as usize;
            rim_rad.extend((1..=count).map(|i| at + speed * i as f64 / fs_hz));
            at += speed * count as f64 / fs_hz;
            rim_rad.extend(std::iter::repeat_n(at, 200));
        }
        Track {
            fs_hz,
            rim_rad,
            ..Track::default()
        }
    }

    #[test]
    fn legs_of_opposite_speed_over_the_same_angles_are_pairs() {
        // The fast pair is nested about the slow one; the last leg has no other to go with.
        let track = track(&[
            (-0.5, 3.0),
            (0.2, 6.0),
            (-0.2, 6.0),
            (0.5, 3.0),
            (0.05, 0.5),
            (-0.05, 0.5),
            (1.0, 4.0),
        ]);
        let found = pairs(&track);
        let speeds: Vec<f64> = found.iter().map(|p| (100.0 * p.speed).round() / 100.0).collect();
        assert_eq!(speeds, [0.05, 0.2, 0.5]);
        // 0.3 s at either end of what is steady are left out, and a little of where a window of 0.1 s meets rest.
        for (pair, angle) in found.iter().zip([0.5, 6.0, 3.0]) {
            let left_out = angle - pair.travel;
            assert!((0.6..0.75).contains(&(left_out / pair.speed)), "{left_out}");
            assert!(track.rim_rad[pair.up.start] < track.rim_rad[pair.up.end]);
            assert!(track.rim_rad[pair.down.start] > track.rim_rad[pair.down.end]);
        }
    }

    #[test]
    fn a_cut_leg_is_not_taken_where_whole_ones_are_there() {
        // Begins and ends within a leg: of three whole ones' company the nearest pair is a cut and a whole one.
        let track = track(&[(0.5, 2.0), (-0.5, 3.0), (0.5, 3.0), (-0.5, 1.9)]);
        let found = widest(&track).unwrap();
        assert!((3.0 - found.travel) / found.speed < 0.8, "{}", found.travel);
        assert!(pairs(&track)[0].travel < 2.0);
        assert!(widest(&Track::default()).is_none());
        // Each leg once: the two whole ones; what is left of both cut ones shares 1.9 rad and no more.
        let of = |least: f64| sharing(&track, least).len();
        assert_eq!([of(2.4), of(1.0), of(3.0)], [1, 2, 0]);
    }

    #[test]
    fn legs_elsewhere_and_short_ones_are_no_pairs() {
        // To 1 rad, on to 3, back to 2: nowhere to and fro at one speed; then too short to have a steady part.
        let apart = track(&[(0.5, 1.0), (0.3, 2.0), (-0.5, 1.0), (0.4, 0.3), (-0.4, 0.3)]);
        assert!(pairs(&apart).is_empty());
        assert!(pairs(&Track::default()).is_empty());
    }
}
