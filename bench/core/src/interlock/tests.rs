//! What trips, and what does not; and that nothing gets around it.

use proptest::prelude::*;

use super::{
    Condition, Event, FollowLimits, Interlock, Judge, JudgeLimits, LeapLimits, MotionLimits, Rest,
    RimStuckLimits, RotorLimits, State, Trip,
};
use crate::channels::Reading;

const LIMITS: JudgeLimits = JudgeLimits {
    torque_nm: 7.0,
    sensor_torque_nm: 15.0,
    rim_speed_rad_s: 5.0,
    rim_acceleration_rad_s2: 9_000.0,
    rim_window_rad: [-0.05, 0.06],
    temperature_degc: 80.0,
    supply_v: [18.0, 30.0],
    zero_settle_us: 400_000,
    motion: MotionLimits::Clamped {
        stiffness_nm_per_rad: 3_333.0,
        unexplained_rad: 1.0, // as good as none: the other limits of motion are looked at here
        zero_speed_rad_s: 0.25,
    },
    disc: None,
    follow: Some(FollowLimits {
        difference_nm: 100.0,
        share: 0.25,
    }),
    unasked_nm: 100.0,
    leap: LeapLimits {
        rate_nm_per_s: 1e6,
        noise_nm: 0.2,
    },
    stuck_nm: 0.7,
    rim_stuck: RimStuckLimits::Held {
        stiffness_nm_per_rad: 3_333.0,
        change_nm: 100.0,
    },
    rotor: Some(RotorLimits {
        ratio: 9.0,
        lost_motion_rad: 0.035,
    }),
};

const REST: Rest = Rest {
    torque_nm: 1.0,
    rim_angle_rad: 0.0,
    window_from_rad: 0.0,
    rim_step_rad: 6e-6,
};

fn at_rest(tick: u64) -> Reading {
    Reading {
        motor_angle_rad: Some(0.5),
        temperature_degc: Some(25.0),
        supply_v: Some(24.0),
        ..Reading::new(tick, 1.0, 1.0, 0.0)
    }
}

/// The first condition that a change of one reading after 100 good ones breaks.
fn found(change: impl FnOnce(&mut Reading)) -> Option<Condition> {
    let mut judge = Judge::new(LIMITS);
    judge.begin(REST);
    for index in 0..100 {
        assert_eq!(judge.look(&at_rest(index * 250)), None);
    }
    let mut reading = at_rest(100 * 250);
    change(&mut reading);
    judge.look(&reading).map(|trip| trip.condition)
}

#[test]
fn each_limit_trips_beyond_and_not_at_it() {
    let torque = |nm: f64| found(|reading| reading.torque_nm = nm);
    assert_eq!(torque(15.0), None);
    for nm in [15.001, -15.001] {
        assert_eq!(torque(nm), Some(Condition::SensorTorque));
    }
    let temperature = |degc: f64| found(|reading| reading.temperature_degc = Some(degc));
    assert_eq!(temperature(80.0), None);
    assert_eq!(temperature(80.01), Some(Condition::Temperature));
    assert_eq!(found(|reading| reading.temperature_degc = None), None);
    let supply = |volt: f64| found(|reading| reading.supply_v = Some(volt));
    assert_eq!((supply(18.0), supply(30.0)), (None, None));
    assert_eq!(supply(17.99), Some(Condition::Supply));
    assert_eq!(supply(30.01), Some(Condition::Supply));
    assert_eq!(found(|reading| reading.supply_v = None), None);
    let rotor = |rad: f64| found(|reading| reading.motor_angle_rad = Some(0.5 + 9.0 * rad));
    assert_eq!(
        (rotor(0.0349), rotor(-0.0351)),
        (None, Some(Condition::RotorAstray))
    );
    assert_eq!(
        found(|reading| reading.saturated = true),
        Some(Condition::Saturated)
    );
    // A torque that was not measured is at the end of its range as well, and told as what it is.
    let missing = found(|reading| (reading.saturated, reading.torque_missing) = (true, true));
    assert_eq!(missing, Some(Condition::TorqueMissing));
}

#[test]
fn no_value_that_is_not_finite_passes() {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let not_finite = Some(Condition::NotFinite);
        assert_eq!(found(|reading| reading.setpoint_nm = value), not_finite);
        assert_eq!(found(|reading| reading.torque_nm = value), not_finite);
        assert_eq!(found(|reading| reading.rim_angle_rad = value), not_finite);
        assert_eq!(
            found(|reading| reading.temperature_degc = Some(value)),
            not_finite
        );
        assert_eq!(found(|reading| reading.motor_angle_rad = Some(value)), not_finite);
        assert_eq!(found(|reading| reading.supply_v = Some(value)), not_finite);
    }
}

/// The condition, and the time in µs, at which a rim that turns at a steady speed from the start trips.
fn turning(rad_s: f64, period_us: u64, setpoint_nm: f64) -> Option<(Condition, u64)> {
    let mut judge = Judge::new(LIMITS);
    judge.begin(REST);
    (0..20_000_u64).find_map(|index| {
        let tick = index * period_us;
        let rim_angle_rad = rad_s * tick as f64 * 1e-6;
        let reading = Reading {
            setpoint_nm,
            rim_angle_rad,
            motor_angle_rad: None,
            ..at_rest(tick)
        };
        judge.look(&reading).map(|trip| (trip.condition, tick))
    })
}

#[test]
fn speed_and_window_are_seen_at_every_sample_rate() {
    for period_us in [50, 100, 250, 1_000, 2_000, 5_000, 10_000] {
        // 5.1 rad/s reach the window's end at 11.8 ms.
        let (condition, at_us) = turning(5.1, period_us, 1.0).unwrap();
        if period_us <= 5_000 {
            assert_eq!(condition, Condition::RimSpeed, "{period_us} µs");
            assert!(at_us <= 2_000.max(period_us), "{period_us} µs: {at_us}");
        }
        // Half the speed: only the window can trip, 0.06 rad after 24 ms one way, 0.05 rad after 20 ms the other.
        let (condition, at_us) = turning(2.5, period_us, 1.0).unwrap();
        assert_eq!(condition, Condition::RimWindow);
        assert!(
            (24_000..=24_000 + period_us).contains(&at_us),
            "{period_us} µs: {at_us}"
        );
        let (condition, at_us) = turning(-2.5, period_us, 1.0).unwrap();
        assert_eq!(condition, Condition::RimWindow);
        assert!(
            (20_000..=20_000 + period_us).contains(&at_us),
            "{period_us} µs: {at_us}"
        );
    }
}

#[test]
fn motion_at_zero_setpoint_counts_once_it_has_settled() {
    let mut judge = Judge::new(LIMITS);
    let mut first = None;
    for index in 0..4_000_u64 {
        let tick = index * 250;
        // Zero from the start, and a rim that creeps at 0.3 rad/s all the time; nothing is known of a window.
        let rim_angle_rad = 0.3 * tick as f64 * 1e-6;
        let reading = Reading {
            setpoint_nm: 0.0,
            rim_angle_rad,
            motor_angle_rad: None,
            ..at_rest(tick)
        };
        if let Some(trip) = judge.look(&reading) {
            first = first.or(Some((trip.condition, tick)));
        }
    }
    assert_eq!(first, Some((Condition::MotionAtZero, 400_000)));
    // With torque asked for the same motion is the window's business.
    assert_eq!(
        turning(0.3, 250, 1.0).map(|(condition, _)| condition),
        Some(Condition::RimWindow)
    );
}

#[test]
fn one_encoder_step_is_no_speed() {
    // 16 bits a turn: 96 µrad, in one sample of 250 µs 0.38 rad/s, over 2 ms 0.05.
    let step_rad = core::f64::consts::TAU / 65_536.0;
    assert_eq!(found(|reading| reading.rim_angle_rad = step_rad), None);
}

fn armed() -> Interlock {
    let mut interlock = Interlock::new(LIMITS);
    interlock.apply(Event::ArmAsked);
    assert_eq!(interlock.apply(Event::ArmGranted), State::Armed);
    interlock
}

#[test]
fn the_first_trip_is_latched_and_no_event_leads_out() {
    let mut interlock = armed();
    let hot = Reading {
        temperature_degc: Some(90.0),
        ..at_rest(0)
    };
    let trip = interlock.judge(&hot, false).unwrap();
    assert_eq!(trip.condition, Condition::Temperature);
    let other = Trip {
        condition: Condition::Watchdog,
        ..trip
    };
    assert_eq!(interlock.raise(other), None);
    let cool = at_rest(250);
    for event in Event::ALL {
        assert_eq!(interlock.judge(&cool, false), None);
        assert_eq!(interlock.apply(event), State::Tripped);
        assert_eq!(interlock.bound(1.0), None);
    }
    assert_eq!(
        interlock.trip().map(|trip| trip.condition),
        Some(Condition::Temperature)
    );
}

#[test]
fn samples_trip_while_armed_and_at_rest_before_but_neither_earlier_nor_later() {
    let hot = Reading {
        temperature_degc: Some(90.0),
        ..at_rest(0)
    };
    let mut interlock = Interlock::new(LIMITS);
    // Without zeros there is nothing to judge by.
    assert_eq!(interlock.judge(&hot, true), None);
    interlock.begin(REST);
    assert_eq!(interlock.judge(&hot, false), None);
    assert_eq!(interlock.state(), State::Disarmed);
    let trip = interlock.judge(&hot, true).unwrap();
    assert_eq!(trip.condition, Condition::Temperature);
    assert_eq!(interlock.apply(Event::ArmAsked), State::Tripped);
}

#[test]
fn every_condition_has_a_name_of_its_own_and_says_what_to_do() {
    for (index, condition) in Condition::ALL.into_iter().enumerate() {
        let name = condition.name();
        assert!(name.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{name}");
        assert!(
            condition.advice().contains([':', ';']),
            "{name}: {}",
            condition.advice()
        );
        assert!(
            Condition::ALL
                .iter()
                .skip(index + 1)
                .all(|other| other.name() != name)
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(7),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn what_may_be_sent_is_bounded_and_only_while_armed(
        events in prop::collection::vec(0..Event::ALL.len(), 0..12),
        wanted_nm in prop_oneof![any::<f64>(), -10.0..10.0],
    ) {
        let mut interlock = Interlock::new(LIMITS);
        for event in events {
            interlock.apply(Event::ALL[event]);
            match interlock.bound(wanted_nm) {
                Some(nm) => {
                    prop_assert_eq!(interlock.state(), State::Armed);
                    prop_assert!(wanted_nm.is_finite() && nm.abs() <= 7.0);
                    prop_assert!(wanted_nm.abs() > 7.0 || (nm - wanted_nm).abs() < 1e-12);
                }
                None => prop_assert!(interlock.state() != State::Armed || !wanted_nm.is_finite()),
            }
        }
    }
}
