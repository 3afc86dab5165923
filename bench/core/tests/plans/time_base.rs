//! Two simulated devices of known offset, drift, jitter and asymmetry: the truth lies inside the bound stated.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use bench_core::time_base::{OneWay, RoundTrip, Settings, TimeBase};

/// SplitMix64 (Steele, Lea and Flood 2014): enough to draw delays.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    /// Delay of a busy computer: mostly short, sometimes long.
    fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.next()).ln()
    }
}

/// Host time at which everything begins: as the program's own clock, nanoseconds since 1970.
const BEGIN_NS: i64 = 1_800_000_000_000_000_000;

/// A second clock: ahead by `offset_ns` at the beginning and by `drift` more for each second, with a jump.
#[derive(Clone, Copy)]
struct Clock {
    offset_ns: f64,
    drift: f64,
    jump: Option<(f64, f64)>,
}

impl Clock {
    /// Offset at a host time, in seconds from the beginning, ns.
    fn ahead_ns(&self, t_s: f64) -> f64 {
        let jumped = self.jump.filter(|(at, _)| t_s >= *at).map_or(0.0, |(_, by)| by);
        self.offset_ns + self.drift * t_s * 1e9 + jumped
    }

    /// What it shows, in whole microseconds: it counts up, it does not round.
    fn shows_ns(&self, t_s: f64) -> i64 {
        let ns = BEGIN_NS + (t_s * 1e9 + self.ahead_ns(t_s)).floor() as i64;
        ns.div_euclid(1_000) * 1_000
    }
}

fn host_ns(t_s: f64) -> i64 {
    BEGIN_NS + (t_s * 1e9).round() as i64
}

/// How the way divides: shortest time there and back, and what a busy computer adds on average, s.
#[derive(Clone, Copy, Debug)]
struct Way {
    there: f64,
    back: f64,
    jitter: f64,
}

/// Asks every 5 ms for `seconds`; calls `look` after each answer with the time, and returns the shortest round trip, s.
fn follow(
    clock: Clock,
    way: Way,
    seconds: f64,
    random: &mut Random,
    mut look: impl FnMut(f64, &TimeBase),
) -> f64 {
    let mut base = TimeBase::new(Settings::CRYSTAL);
    let (mut t, mut shortest) = (0.0, f64::INFINITY);
    while t < seconds {
        let received = t + way.there + random.exponential(way.jitter);
        let answered = received + random.between(10e-6, 60e-6);
        let returned = answered + way.back + random.exponential(way.jitter);
        base.round_trip(&RoundTrip {
            sent_ns: host_ns(t),
            received_ns: clock.shows_ns(received),
            answered_ns: clock.shows_ns(answered),
            returned_ns: host_ns(returned),
        });
        shortest = f64::min(shortest, returned - t - (answered - received));
        look(returned, &base);
        t = (t + 5e-3).max(returned);
    }
    shortest
}

fn drawn(random: &mut Random) -> (Clock, Way) {
    let clock = Clock {
        offset_ns: random.between(-1e12, 1e12),
        drift: random.between(-100e-6, 100e-6),
        jump: None,
    };
    let way = Way {
        there: random.between(5e-6, 2e-3),
        back: random.between(5e-6, 2e-3),
        jitter: random.between(1e-6, 1e-3),
    };
    (clock, way)
}

/// Error of an offset at a time, ns.
fn error_ns(clock: Clock, base: &TimeBase, t: f64) -> Option<(f64, f64)> {
    let found = base.at(host_ns(t))?;
    Some((found.offset_ns as f64 - clock.ahead_ns(t), found.bound_ns))
}

#[test]
fn the_truth_lies_inside_the_bound_of_round_trips() {
    for seed in 0..60 {
        let mut random = Random(seed);
        let (clock, way) = drawn(&mut random);
        let (mut looks, mut widest, mut drift) = (0, 0.0_f64, None);
        let shortest = follow(clock, way, 4.0, &mut random, |t, base| {
            let Some((error, bound)) = error_ns(clock, base, t) else {
                return;
            };
            looks += 1;
            assert!(
                error.abs() <= bound,
                "seed {seed}, {way:?}, {t} s: off by {error} of {bound} ns"
            );
            if t > 2.0 {
                widest = widest.max(bound);
                drift = base.drift();
            }
            // The way back: what the second clock showed at a time.
            let (host, host_bound) = base.host_of(clock.shows_ns(t)).unwrap();
            let off = (host - host_ns(t)) as f64;
            assert!(
                off.abs() <= host_bound + 1_001.0,
                "seed {seed}: host off by {off} of {host_bound}"
            );
        });
        assert!(looks > 400, "seed {seed}: {looks}");
        // Not so wide that it says nothing: at the end of a line the sum of weights is at most twice that of its middle.
        let least = 0.5 * shortest * 1e9 + 1_000.0;
        assert!(
            widest < 3.0 * least + 0.3 * way.jitter * 1e9,
            "seed {seed}: {widest} for {least} ns, {way:?}"
        );
        let (found, bound) = drift.unwrap();
        assert!(
            (found - clock.drift).abs() <= bound,
            "seed {seed}: drift {found} for {} ± {bound}",
            clock.drift
        );
    }
}

#[test]
fn asymmetry_is_not_averaged_away_and_the_bound_knows_it() {
    // All of the way is there, none of it back: the error is half of it, however many round trips there are.
    let clock = Clock {
        offset_ns: 7e9,
        drift: 40e-6,
        jump: None,
    };
    let way = Way {
        there: 2e-3,
        back: 0.0,
        jitter: 2e-6,
    };
    let mut last = None;
    follow(clock, way, 5.0, &mut Random(1), |t, base| {
        last = error_ns(clock, base, t);
        if let Some((error, bound)) = last {
            assert!(error.abs() <= bound, "{t} s: {error} of {bound} ns");
        }
    });
    let (error, bound) = last.unwrap();
    // Half of 2 ms, and the stamps are too old by up to a microsecond.
    assert!((error - 1e6).abs() < 5e3, "{error}");
    assert!(bound < 2.5e6, "{bound}");
}

#[test]
fn a_jump_begins_a_new_piece() {
    for seed in 0..30 {
        let mut random = Random(1_000 + seed);
        let (mut clock, way) = drawn(&mut random);
        let by = random.between(20e6, 60e6) * if random.next() < 0.5 { -1.0 } else { 1.0 };
        let at = random.between(1.0, 2.0);
        clock.jump = Some((at, by));
        let mut last = None;
        follow(clock, way, 3.5, &mut random, |t, base| {
            // Until it is seen, two groups of eight later, nobody can know.
            if t < at || t > at + 0.3 {
                let (error, bound) = error_ns(clock, base, t).unwrap_or_default();
                assert!(
                    error.abs() <= bound,
                    "seed {seed}, {t} s, jump at {at}: {error} of {bound}"
                );
            }
            last = Some(base.clone());
        });
        let base = last.unwrap();
        assert_eq!(base.jumps(), 1, "seed {seed}");
        // Afterwards, the time of the jump is known to be unknown.
        for step in 0..300 {
            let t = 0.5 + 0.01 * f64::from(step);
            let (error, bound) = error_ns(clock, &base, t).unwrap();
            assert!(
                error.abs() <= bound,
                "seed {seed}, {t} s, jump at {at}: {error} of {bound}"
            );
        }
    }
}

#[test]
fn a_single_mark_far_from_all_others_is_left_out() {
    let clock = Clock {
        offset_ns: -3e9,
        drift: -20e-6,
        jump: None,
    };
    let mut settings = Settings::CRYSTAL;
    settings.group = 1;
    let mut base = TimeBase::new(settings);
    for look in 0..200_u32 {
        let t = 0.01 * f64::from(look);
        let wrong = if look % 50 == 25 { 80_000_000 } else { 0 };
        base.round_trip(&RoundTrip {
            sent_ns: host_ns(t),
            received_ns: clock.shows_ns(t + 1e-4) + wrong,
            answered_ns: clock.shows_ns(t + 1.2e-4) + wrong,
            returned_ns: host_ns(t + 2.2e-4),
        });
    }
    assert_eq!((base.refused(), base.jumps()), (4, 0));
    let (error, bound) = error_ns(clock, &base, 1.0).unwrap();
    assert!(error.abs() <= bound && bound < 150_000.0, "{error} of {bound}");
}

/// A sensor that sends a line each millisecond by its own clock; what arrives is picked up in frames of 1 ms.
fn stream(seed: u64, lost: Option<u32>, mut look: impl FnMut(f64, f64, &TimeBase)) -> TimeBase {
    const PERIOD_S: f64 = 1e-3;
    let mut random = Random(seed);
    let fast = random.between(-100e-6, 100e-6);
    let begin = random.between(0.0, 1e-3);
    let way = random.between(50e-6, 700e-6);
    let jitter = random.between(1e-6, 2e-3);
    let mut settings = Settings::CRYSTAL;
    settings.group = 64;
    let mut base = TimeBase::new(settings);
    let (mut count, mut arrived) = (0_i64, 0.0_f64);
    for line in 0..4_000_u32 {
        let sent = begin + f64::from(line) * PERIOD_S / (1.0 + fast);
        if lost == Some(line) {
            continue;
        }
        // Lines do not overtake each other, and the computer looks on its own grid: up to 1 ms more.
        let there = sent + way + random.exponential(jitter);
        arrived = f64::max(arrived, (there * 1e3).ceil() * 1e-3);
        base.one_way(
            &OneWay {
                sent_ns: count * 1_000_000,
                arrived_ns: host_ns(arrived),
            },
            2_000_000,
        );
        look(sent, count as f64 * PERIOD_S, &base);
        count += 1;
    }
    base
}

#[test]
fn lines_that_only_arrive_are_placed_within_what_is_declared_of_their_way() {
    for seed in 0..60 {
        let mut looks = 0;
        let base = stream(seed, None, |sent, device, base| {
            let Some((host, bound)) = base.host_of((device * 1e9).round() as i64) else {
                return;
            };
            looks += 1;
            let off = (host - host_ns(sent)) as f64;
            assert!(
                off.abs() <= bound,
                "seed {seed}, {sent} s: off by {off} of {bound} ns"
            );
            if sent > 1.0 {
                assert!(bound < 2.5e6, "seed {seed}, {sent} s: {bound}");
            }
        });
        assert!(looks > 3_800 && base.jumps() == 0, "seed {seed}: {looks}");
    }
}

#[test]
fn a_line_lost_shows_as_a_jump_where_the_way_is_known_better_than_the_period() {
    let mut random = Random(5);
    let mut settings = Settings::CRYSTAL;
    settings.group = 16;
    let mut base = TimeBase::new(settings);
    for line in (0..3_000_i64).filter(|line| *line != 1_500) {
        let count = line - i64::from(line > 1_500);
        let arrived = line as f64 * 10e-3 + 1e-4 + random.exponential(2e-4);
        base.one_way(
            &OneWay {
                sent_ns: count * 10_000_000,
                arrived_ns: host_ns(arrived),
            },
            1_000_000,
        );
    }
    assert_eq!(base.jumps(), 1);
}
