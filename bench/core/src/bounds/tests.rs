//! Limits follow from rig and plan: tighter where the plan needs less, never wider than the rig allows.

use alloc::format;
use alloc::string::String;

use proptest::prelude::*;

use super::{Bounds, Need};
use crate::interlock::following::AVERAGED_US;
use crate::interlock::trail::{ACCELERATION_US, FAST_US, MODEL_US, SLOW_US};
use crate::interlock::{Condition, MotionLimits, rim_stuck, sensor_stuck, unasked};
use crate::plan::Plan;
use crate::procedure::Procedure;
use crate::rig::{Mounting, Rig};
use crate::run::RunOptions;

const RIG: &str = include_str!("../../tests/fixtures/rig.toml");

fn rig(mounting: Mounting) -> Rig {
    Rig::mounted("rig.toml", RIG, Some(mounting)).unwrap()
}

fn procedure(mounting: &str, extra: &str, segment: &str) -> String {
    format!(
        "[procedure]\nname = \"p\"\npurpose = \"p\"\nmounting = \"{mounting}\"\nsample_rate = \"4 kHz\"\n\
         ramp = \"0.05 N·m/ms\"\nzero = \"100 ms\"\n{extra}\n[approach]\nlevel = \"5 %\"\nhold = \"100 ms\"\n\
         rest = \"300 ms\"\ngain = [\"40 %\", \"160 %\"]\n[[segment]]\nname = \"s\"\n{segment}\n"
    )
}

fn plan(rig: &Rig, text: &str) -> Plan {
    let procedure = Procedure::from_toml("p.toml", text).unwrap_or_else(|findings| panic!("{findings}"));
    procedure
        .plan(rig, 1)
        .unwrap_or_else(|findings| panic!("{findings}"))
}

fn steps(level_nm: f64) -> String {
    format!(
        "excitation = \"step\"\nlevels = [\"{level_nm} N·m\"]\npreload = \"0 N·m\"\nrepeats = 2\nhold = \"200 ms\"\n\
         rest = \"200 ms\""
    )
}

fn hold(level_nm: f64, hold_ms: u32) -> String {
    format!(
        "excitation = \"hold\"\nlevels = [\"{level_nm} N·m\"]\nrepeats = 1\nhold = \"{hold_ms} ms\"\nrest = \"20 ms\""
    )
}

/// By hand, for a step of 2 N·m on a rig of 7 N·m peak, 15 N·m sensor limit and 4,000 and 20,000 N·m/rad in series.
#[test]
fn the_limits_of_a_step_are_those_that_its_height_gives() {
    let rig = rig(Mounting::Clamped);
    let bounds = Bounds::new(&rig, Some(&plan(&rig, &procedure("clamped", "", &steps(2.0)))));
    let limits = &bounds.limits;
    let close = |seen: f64, expected: f64, within: f64| {
        assert!((seen - expected).abs() <= within, "{seen} {expected}")
    };
    close(limits.torque_nm, 2.0, 1e-12);
    // 2 N·m in 250 µs, and a tenth.
    close(limits.slew_nm_per_s, 8_800.0, 1e-6);
    // 1.25 × (2 + 0.95 × 2) + 0.15 × 7 + 0.1 × 15 = 7.425, and what the corners of ramps at 50 N·m/s add: none near.
    close(limits.sensor_torque_nm, 7.425, 1e-9);
    let give = 7.425 / 3_333.333_333;
    close(limits.rim_window_rad[1], 1.25 * give + 0.2_f64.to_radians(), 1e-9);
    close(limits.rim_window_rad[0], -limits.rim_window_rad[1], 1e-12);
    close(
        limits.rim_speed_rad_s,
        400.0 * core::f64::consts::PI * give + 0.5,
        1e-6,
    );
    close(bounds.judge.rim_acceleration_rad_s2, 4.0 * give / 64e-6, 1e-6);
    assert_eq!((limits.watchdog_us, limits.setpoint_expiry_us), (20_000, 2_000));
    let MotionLimits::Clamped { unexplained_rad, .. } = bounds.judge.motion else {
        panic!("{:?}", bounds.judge.motion)
    };
    close(unexplained_rad, 0.25 * give + 0.05_f64.to_radians(), 1e-9);
    assert!(
        unexplained_rad < 0.5 * limits.rim_window_rad[1],
        "far inside the window"
    );
}

#[test]
fn an_oscillation_may_find_a_resonance_and_gets_room_for_it() {
    let rig = rig(Mounting::Clamped);
    let chirp = "excitation = \"chirp\"\nlaw = \"logarithmic\"\nfrom = \"1 Hz\"\nto = \"300 Hz\"\nduration = \"2 s\"\n\
                 amplitude = \"0.5 N·m\"\npreload = \"0.7 N·m\"\nrepeats = 1\nrest = \"60 ms\"\nsettle = \"300 ms\"\n\
                 taper = \"100 ms\"";
    let bounds = Bounds::new(&rig, Some(&plan(&rig, &procedure("clamped", "", chirp))));
    // 1.25 × (0.7 + 10 × 0.5) + 1.05 + 1.5; the sampled amplitude is a little less than the nominal one.
    let nm = bounds.limits.sensor_torque_nm;
    assert!((9.5..=9.8).contains(&nm), "{nm}");
}

/// By hand: 1 N·m sin(π · 0.25/20) = 39.26 mN·m from the first setpoint to the second, in a tenth of 250 µs, and a tenth more.
/// A limit that takes the whole of it would make the pulse later than its setpoints.
#[test]
fn a_pulse_reaches_each_of_its_setpoints_in_a_tenth_of_their_time() {
    let rig = rig(Mounting::Clamped);
    let pulse = "excitation = \"half-sine\"\nwidths = [\"20 ms\"]\nlevels = [\"1 N·m\"]\npreload = \"0.7 N·m\"\nrepeats = 1\n\
                 rest = \"60 ms\"\nsettle = \"150 ms\"";
    let bounds = Bounds::new(&rig, Some(&plan(&rig, &procedure("clamped", "", pulse))));
    let expected = 1.1 * (core::f64::consts::PI * 0.25 / 20.0).sin() / 25e-6;
    let seen = bounds.limits.slew_nm_per_s;
    assert!((seen - expected).abs() < 1e-3 * expected, "{seen} {expected}");
}

#[test]
fn a_tighter_procedure_gets_tighter_limits() {
    let rig = rig(Mounting::Clamped);
    let of = |extra: &str, segment: &str| {
        Bounds::new(&rig, Some(&plan(&rig, &procedure("clamped", extra, segment))))
    };
    let (small, large) = (of("", &steps(1.0)), of("", &steps(2.5)));
    assert!(small.limits.torque_nm < large.limits.torque_nm);
    assert!(small.limits.slew_nm_per_s < large.limits.slew_nm_per_s);
    assert!(small.limits.sensor_torque_nm < large.limits.sensor_torque_nm);
    assert!(small.limits.rim_speed_rad_s < large.limits.rim_speed_rad_s);
    assert!(small.limits.rim_window_rad[1] < large.limits.rim_window_rad[1]);
    assert!(small.judge.leap.rate_nm_per_s < large.judge.leap.rate_nm_per_s);
    assert!(small.judge.rim_acceleration_rad_s2 < large.judge.rim_acceleration_rad_s2);
    // The procedure's own limits are taken where they are tighter still.
    let own = "[limits]\nsensor_torque = \"4.5 N·m\"\nrim_speed = \"1 rad/s\"\ntemperature = \"50 °C\"";
    let own = of(own, &steps(1.0));
    assert!((own.limits.sensor_torque_nm - 4.5).abs() < 1e-12);
    assert!((own.limits.rim_speed_rad_s - 1.0).abs() < 1e-12);
    assert_eq!(
        (own.limits.temperature_degc, own.judge.temperature_degc),
        (50.0, 50.0)
    );
}

#[test]
fn a_free_rim_may_be_as_fast_as_the_pushes_make_the_bare_disc() {
    let rig = rig(Mounting::Free);
    let plan = plan(&rig, &procedure("free", "", &hold(0.5, 100)));
    let bounds = Bounds::new(&rig, Some(&plan));
    // Two ramps of 10 ms and 100 ms at 0.5 N·m are 55 mN·m·s; the first torque is 0.35 N·m for 100 ms, and nothing but
    // friction, which is left out, slows the rim in between: 35 mN·m·s more. 0.011 - 2 × 5e-5 kg·m².
    let push = bounds.need.impulse_nm_s[1];
    assert!((push - 0.090).abs() < 3e-4, "{push}");
    let expected = (1.25 * push / 0.0109 + 0.1 * 10.0_f64).min(10.0);
    assert!((bounds.limits.rim_speed_rad_s - expected).abs() < 1e-9);
    let MotionLimits::Free { inertia_kg_m2, .. } = bounds.judge.motion else {
        panic!("{:?}", bounds.judge.motion)
    };
    assert!((inertia_kg_m2 - 0.0109).abs() < 1e-12);
    assert!(bounds.judge.follow.is_none());
}

#[test]
fn without_a_plan_no_setpoint_is_allowed() {
    for mounting in [Mounting::Clamped, Mounting::Free, Mounting::BackDriven] {
        let rig = rig(mounting);
        let bounds = Bounds::new(&rig, None);
        assert_eq!((bounds.limits.torque_nm, bounds.judge.torque_nm), (0.0, 0.0));
        assert!((bounds.limits.sensor_torque_nm - rig.limits.sensor_torque_nm).abs() < 1e-12);
        assert_eq!(bounds.need, Need::default());
    }
}

#[test]
fn every_limit_is_told_with_its_derivation_on_every_mounting() {
    for (mounting, word) in [
        (Mounting::Clamped, "clamped"),
        (Mounting::Free, "free"),
        (Mounting::BackDriven, "back-driven"),
    ] {
        let rig = rig(mounting);
        let plan = plan(&rig, &procedure(word, "", &hold(0.5, 100)));
        for bounds in [Bounds::new(&rig, Some(&plan)), Bounds::new(&rig, None)] {
            let rows = bounds.table(&rig, &RunOptions::default());
            for condition in Condition::ALL {
                assert!(
                    rows.iter().any(|row| row.name == condition.name()),
                    "{}",
                    condition.name()
                );
            }
            for name in [
                "setpoint",
                "slew",
                "setpoint expiry",
                "rig's watchdog",
                "operator stop",
            ] {
                assert!(rows.iter().any(|row| row.name == name), "{name}");
            }
            for row in &rows {
                let text = format!("{} {}", row.limit, row.derivation);
                assert!(
                    !text.contains("NaN") && !text.contains("inf"),
                    "{}: {text}",
                    row.name
                );
            }
        }
    }
    let rig = rig(Mounting::Clamped);
    let bounds = Bounds::new(&rig, Some(&plan(&rig, &procedure("clamped", "", &steps(2.0)))));
    let rows = bounds.table(&rig, &RunOptions::default());
    let torque = rows.iter().find(|row| row.name == "sensor-torque").unwrap();
    assert_eq!(torque.limit, "7.425 N·m");
    assert!(torque.derivation.contains("= 7.425 N·m"), "{}", torque.derivation);
    assert!(
        torque.derivation.ends_with("in force: the plan's"),
        "{}",
        torque.derivation
    );
}

#[test]
fn what_the_documents_say_of_conditions_is_what_is_in_force() {
    use Condition::{
        DeadlineMissed, MotionAtZero, MotionUnexpected, RimAcceleration, RimSpeed, RimStuck, SensorStuck,
        StaleSamples, TorqueAstray, TorqueUnasked, Watchdog,
    };
    let rig = rig(Mounting::Clamped);
    let plan = plan(&rig, &procedure("clamped", "", &steps(2.0)));
    let (judge, options) = (Bounds::new(&rig, Some(&plan)).judge, RunOptions::default());
    let follow = judge.follow.unwrap();
    let peak_nm = rig.wheelbase.peak_torque_nm;
    let percent = |share: f64| format!("{:.0} %", share * 100.0);
    let ms = |us: u64| format!("{} ms", us / 1_000);
    let s = |us: f64| format!("{} s", us / 1e6);
    for (condition, place, number) in [
        (RimSpeed, 0, ms(FAST_US)),
        (RimAcceleration, 0, ms(ACCELERATION_US)),
        (MotionUnexpected, 0, ms(MODEL_US)),
        (MotionUnexpected, 0, ms(SLOW_US)),
        (MotionAtZero, 0, ms(SLOW_US)),
        (MotionAtZero, 1, s(judge.zero_settle_us as f64)),
        (TorqueAstray, 0, percent(follow.difference_nm / peak_nm)),
        (TorqueAstray, 0, percent(super::margins::DRIVEN_FRICTION)),
        (TorqueUnasked, 0, percent(super::margins::DRIVEN_FRICTION)),
        (TorqueAstray, 0, percent(follow.share)),
        (TorqueAstray, 1, s(AVERAGED_US)),
        (TorqueUnasked, 0, percent(judge.unasked_nm / peak_nm)),
        (TorqueUnasked, 0, ms(unasked::AVERAGED_US as u64)),
        (TorqueUnasked, 1, ms(unasked::SETTLED_US)),
        (SensorStuck, 0, percent(judge.stuck_nm / judge.torque_nm)),
        (SensorStuck, 1, ms(sensor_stuck::STUCK_US)),
        (SensorStuck, 1, ms(sensor_stuck::SAME_US)),
        (SensorStuck, 1, format!("{} samples", sensor_stuck::SAME_COUNTS)),
        (RimStuck, 0, format!("{} encoder steps", rim_stuck::STEPS)),
        (RimStuck, 0, percent(super::margins::RIM_STUCK)),
        (RimStuck, 1, ms(rim_stuck::HELD_US)),
        (RimStuck, 1, ms(rim_stuck::FREE_US)),
        (StaleSamples, 1, ms(options.stale_us)),
        (Watchdog, 1, ms(options.stale_us)),
        (DeadlineMissed, 1, ms(options.slack_us)),
    ] {
        let text = condition.terms()[place];
        assert!(
            text.contains(&number),
            "{}: {text:?} does not say {number}",
            condition.name()
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(11),
        failure_persistence: None,
        cases: 64,
        ..ProptestConfig::default()
    })]

    /// Whatever the plan: no limit is wider than what is allowed, the setpoint's is the plan's peak, and the plan itself
    /// stays inside all that bounds setpoints.
    #[test]
    fn no_limit_is_wider_than_allowed_nor_tighter_than_the_plan(
        level_nm in 0.1_f64..3.0,
        preload_nm in 0.0_f64..2.0,
        hold_ms in 5_u32..300,
        rest_ms in 20_u32..100,
        mounting in prop_oneof![Just(Mounting::Clamped), Just(Mounting::BackDriven)],
    ) {
        let rig = rig(mounting);
        let segment = format!(
            "excitation = \"step\"\nlevels = [\"{level_nm:.3} N·m\", \"-{level_nm:.3} N·m\"]\n\
             preload = \"{preload_nm:.3} N·m\"\nrepeats = 2\nhold = \"{hold_ms} ms\"\nrest = \"{rest_ms} ms\""
        );
        let text = procedure(mounting.word(), "", &segment);
        let Ok(plan) = Procedure::from_toml("p.toml", &text).unwrap().plan(&rig, 3) else { return Ok(()) };
        let Bounds { allowed, limits, judge, .. } = Bounds::new(&rig, Some(&plan));
        prop_assert!(limits.torque_nm <= allowed.torque_nm && (limits.torque_nm - plan.peak_nm()).abs() < 1e-12);
        prop_assert!(limits.slew_nm_per_s <= allowed.slew_nm_per_s);
        prop_assert!(limits.sensor_torque_nm <= allowed.sensor_torque_nm);
        prop_assert!(limits.rim_speed_rad_s <= allowed.rim_speed_rad_s);
        prop_assert!(limits.rim_window_rad[0] >= allowed.rim_window_rad[0]);
        prop_assert!(limits.rim_window_rad[1] <= allowed.rim_window_rad[1]);
        prop_assert!(limits.setpoint_expiry_us <= allowed.setpoint_expiry_us);
        prop_assert!(limits.watchdog_us <= allowed.watchdog_us);
        prop_assert!(limits.temperature_degc <= allowed.temperature_degc);
        prop_assert!(judge.sensor_torque_nm >= plan.peak_nm());
        let mut last = (0, 0.0);
        for (tick, nm) in plan.entries() {
            prop_assert!(nm.abs() <= limits.torque_nm);
            prop_assert!(tick - last.0 <= u64::from(limits.setpoint_expiry_us));
            let rate = f64::abs(nm - last.1) / 250e-6;
            prop_assert!(rate <= limits.slew_nm_per_s || limits.slew_nm_per_s >= allowed.slew_nm_per_s);
            last = (tick, nm);
        }
    }
}
