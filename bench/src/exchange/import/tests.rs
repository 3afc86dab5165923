//! The pieces against closed forms, over many seeds.
#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use std::collections::BTreeMap;

use super::clock::{Clock, Grid, PeriodSearch, Place};
use super::counts::{Counts, Range};
use super::map::StepSearch;
use super::resample::Resampler;
use super::steps::StepFinder;

/// A small generator (xorshift), so that every run sees the same cases.
struct Random(u64);

impl Random {
    fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// Between 0 and 1.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn range_of(values: &[f64]) -> Range {
    let mut range = Range::default();
    values.iter().for_each(|v| range.take(*v));
    range
}

#[test]
fn the_grid_of_a_converter_is_found_and_loses_nothing() {
    for seed in 1..=200 {
        let mut random = Random::new(seed);
        let scale = 10_f64.powf(-6.0 + 5.0 * random.share()) * if seed % 2 == 0 { 1.0 } else { -1.0 };
        let offset = if seed % 3 == 0 { random.share() } else { 0.0 };
        let bits = 13 + seed % 12;
        let counts: Vec<i64> = (0..3000)
            .map(|_| (random.next() >> (64 - bits)) as i64 - (1 << (bits - 1)))
            .collect();
        let values: Vec<f64> = counts.iter().map(|c| scale * *c as f64 + offset).collect();
        let found = Counts::choose(&range_of(&values), None, false, None);
        assert!(found.on_grid, "seed {seed}");
        for value in &values {
            assert!(found.off(*value) < 1e-3, "seed {seed}: {}", found.off(*value));
            let back = found.step * f64::from(found.count(*value)) + found.base;
            assert!((back - value).abs() < 1e-6 * scale.abs(), "seed {seed}");
        }
        // Few values share a coarser step than the converter's: never a finer one than an eighth.
        let ratio = scale.abs() / found.step;
        assert!(
            (0.99..8.01).contains(&ratio) && (ratio - ratio.round()).abs() < 1e-6,
            "seed {seed}: {ratio}"
        );
    }
}

#[test]
fn what_is_on_no_grid_keeps_a_billionth() {
    for seed in 1..=200 {
        let mut random = Random::new(seed);
        let size = 10_f64.powf(-9.0 + 18.0 * random.share());
        let values: Vec<f64> = (0..500).map(|_| size * (random.share() - 0.3)).collect();
        let range = range_of(&values);
        let found = Counts::choose(&range, None, false, None);
        assert!(!found.on_grid, "seed {seed}");
        let largest = values.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        for value in &values {
            let back = found.step * f64::from(found.count(*value)) + found.base;
            assert!((back - value).abs() <= largest * 2_f64.powi(-30), "seed {seed}");
        }
    }
}

#[test]
fn two_levels_do_not_make_a_coarse_grid() {
    let found = Counts::choose(&range_of(&[0.0, 1.4]), None, false, None);
    assert!(found.on_grid && found.step < 1.4 / 4000.0, "{found:?}");
    assert!(found.off(1.4) < 1e-9 && found.off(0.0) < 1e-9);
    // Declared steps are taken as they are; so are those of decimals.
    assert!((Counts::choose(&range_of(&[0.0, 1.4]), Some(0.1), false, None).step - 0.1).abs() < 1e-15);
    assert!((Counts::choose(&range_of(&[0.0, 1.4]), None, false, Some(3)).step - 1e-3).abs() < 1e-18);
}

#[test]
fn the_clock_follows_times_rounded_to_few_digits() {
    for (period, digit) in [
        (250e-6, 1e-6),
        (250e-6, 1e-4),
        (1e-3, 1e-3),
        (1.0 / 3000.0, 1e-6),
        (1.0 / 48_000.0, 1e-7),
    ] {
        let times: Vec<f64> = (0..60_000)
            .map(|i| (f64::from(i) * period / digit).round() * digit)
            .collect();
        let mut search = PeriodSearch::default();
        times.iter().for_each(|t| search.take(*t));
        let (found, rows) = search.period().unwrap();
        assert_eq!(rows, 60_000);
        let clock = Clock::new(found, rows, digit, times[0], None);
        assert!(
            (clock.period_s / period - 1.0).abs() < 1e-6,
            "{period}: {}",
            clock.period_s
        );
        let on_micro = (period * 1e6 - (period * 1e6).round()).abs() < 1e-9;
        assert_eq!((clock.tick_s - 1e-6).abs() < 1e-18, on_micro, "{period}");
        let mut grid = Grid::new(clock);
        for (i, t) in (0_u64..).zip(&times) {
            let tick = i * u64::from(clock.period_ticks);
            assert_eq!(grid.put(*t), Place::Next { tick }, "{period} {digit} {i}");
        }
    }
}

#[test]
fn gaps_and_jumps_of_time_are_told_apart() {
    let clock = Clock::new(1e-3, 1000, 1e-6, 0.0, None);
    let mut grid = Grid::new(clock);
    assert_eq!(grid.put(0.0), Place::Next { tick: 0 });
    assert_eq!(grid.put(0.004), Place::AfterGap { tick: 4_000, lost: 3 });
    // A gap that ends off the grid begins a new one.
    assert_eq!(grid.put(0.0074), Place::AfterGap { tick: 7_400, lost: 2 });
    assert_eq!(grid.put(0.0084), Place::Next { tick: 8_400 });
    assert!(matches!(grid.put(0.0088), Place::Off { .. }));
}

/// A sine at uneven times: the resampled values are off by no more than the estimate, and that is of the right size:
/// (h²/8)·ω², the bound of a straight line.
#[test]
fn resampling_is_as_good_as_it_says() {
    let omega = 100.0;
    let clock = Clock::new(1e-3, 1000, 1e-6, 0.0, None);
    let mut random = Random::new(3);
    let mut even = Resampler::new(clock, Some(1), 2);
    let mut worst = 0.0_f64;
    let mut rows = 0;
    for i in 0..3000 {
        let t = 1e-3 * (f64::from(i) + 0.8 * (random.share() - 0.5));
        let held = f64::from(i / 100);
        even.take(t.max(0.0), vec![(omega * t).sin(), held], |tick, values| {
            let at = tick as f64 * 1e-6;
            worst = worst.max((values[0] - (omega * at).sin()).abs());
            assert!((values[1] - values[1].round()).abs() < 1e-12);
            rows += 1;
            Ok::<(), ()>(())
        })
        .unwrap();
    }
    assert!(rows > 2990, "{rows}");
    let bound = (1.8e-3_f64).powi(2) / 8.0 * omega * omega;
    assert!(worst <= 1.1 * even.worst[0], "{worst} {}", even.worst[0]);
    assert!(even.worst[0] <= 1.1 * bound, "{} {bound}", even.worst[0]);
    assert_eq!(even.lost, 0);
}

#[test]
fn long_stretches_are_not_bridged() {
    let clock = Clock::new(1e-3, 1000, 1e-6, 0.0, None);
    let mut even = Resampler::new(clock, None, 1);
    let mut ticks = Vec::new();
    for t in [0.0, 0.0012, 0.002, 0.0092, 0.0101, 0.0112] {
        even.take(t, vec![t], |tick, values| {
            assert!((values[0] - tick as f64 * 1e-6).abs() < 1e-12);
            ticks.push(tick);
            Ok::<(), ()>(())
        })
        .unwrap();
    }
    assert_eq!(ticks, [0, 1_000, 2_000, 10_000, 11_000]);
    assert_eq!(even.lost, 7);
}

#[test]
fn steps_are_found_and_ramps_are_not() {
    let search = StepSearch {
        least_nm: 0.2,
        rest_s: 0.05,
    };
    let mut finder = StepFinder::new(search, 1e-3, 1e-6, 1000);
    let mut found = Vec::new();
    for i in 0..1000_u64 {
        let nm = match i {
            0..100 => 0.0,
            100..200 => 1.0,
            200..203 => 1.5, // on the way
            203..300 => 2.0,
            300..400 => 2.0 - 0.01 * (i - 299) as f64, // a ramp
            400..500 => 1.0,
            500..600 => 1.1, // too small
            _ => -1.0,
        };
        found.extend(finder.take(1000 * i, nm));
    }
    found.extend(finder.end());
    let seen: BTreeMap<u64, (f64, f64)> = found
        .iter()
        .map(|r| (r.start_tick, (r.from_nm, r.to_nm)))
        .collect();
    let due = BTreeMap::from([
        (99_500, (0.0, 1.0)),
        (199_500, (1.0, 2.0)),
        (599_500, (1.1, -1.0)),
    ]);
    assert_eq!(seen, due);
    assert!(found.iter().all(|r| r.repeat == 0));
}
