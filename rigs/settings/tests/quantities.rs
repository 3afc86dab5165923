//! Units against their definitions, and reading against printing.

use proptest::{prelude::*, test_runner::RngSeed};
use settings_file::{
    Angle, BackEmf, Damping, Frequency, HeatCapacity, Inductance, Inertia, Quantity, Ratio, Resistance,
    Settings, Slew, Speed, Stiffness, Temperature, TemperatureCoefficient, Time, Torque, TorqueConstant,
    parse_quantity, positive, print_quantity, write_number,
};

fn si<Q: Quantity>(text: &str) -> f64 {
    parse_quantity::<Q>(text).map_or(f64::NAN, |amount| amount.si)
}

#[test]
#[allow(clippy::float_cmp)] // decimal units are read with one rounding, so equality is what is promised
fn units_are_those_of_the_si() {
    assert_eq!(si::<Torque>("250 mN·m"), 0.25);
    for text in ["7 N·m", "7 N.m", "7Nm", "7 N m", " 7  N⋅m ", "7 N*m", "+7e0 N·m"] {
        assert_eq!(si::<Torque>(text), 7.0, "{text}");
    }
    assert_eq!(si::<Time>("250 us"), 0.000_25);
    assert_eq!(si::<Time>("250 µs"), 0.000_25);
    assert_eq!(si::<Time>("250 \u{3bc}s"), 0.000_25);
    assert_eq!(si::<Time>("20 ms"), 0.02);
    assert_eq!(si::<Time>("2 min"), 120.0);
    assert_eq!(si::<Frequency>("4 kHz"), 4000.0);
    assert_eq!(si::<Slew>("4 N·m/ms"), 4000.0);
    assert_eq!(si::<Ratio>("0.1 %"), 0.001);
    assert_eq!(si::<Ratio>("−10 %"), -0.1);
    assert_eq!(si::<Ratio>("0.5 1"), 0.5);
    assert_eq!(si::<Temperature>("80 °C"), 80.0);
    assert_eq!(si::<Temperature>("80 degC"), 80.0);
    assert_eq!(si::<Inertia>("25 g·cm²"), 2.5e-6);
    assert_eq!(si::<Inertia>("0.002 kg.m2"), 0.002);
    assert_eq!(si::<Inertia>("0.002 kg·m^2"), 0.002);
    assert_eq!(si::<Resistance>("0.8 Ω"), 0.8);
    assert_eq!(si::<Inductance>("1.2 mH"), 0.0012);
    assert_eq!(si::<Angle>("180 deg"), core::f64::consts::PI);
    assert_eq!(si::<Angle>("180°"), core::f64::consts::PI);
    // 1 rpm = 2 pi / 60 rad/s = 0.104719755 (SI brochure, 9th edition, table 8 for the minute)
    assert!((si::<Speed>("1 rpm") - 0.104_719_755).abs() < 1e-9);
    // 1 N·m/deg = 57.295779513 N·m/rad
    assert!((si::<Stiffness>("1 N·m/deg") - 57.295_779_513).abs() < 1e-9);
}

#[test]
fn what_is_not_a_quantity_is_refused() {
    for text in [
        "",
        " ",
        "N·m",
        "7",
        "7 m",
        "7 s",
        "x7 N·m",
        "7 7 N·m",
        "--7 N·m",
        "inf N·m",
        "1e400 N·m",
        "7,0 N·m",
        "7 N m s",
    ] {
        assert!(parse_quantity::<Torque>(text).is_err(), "{text:?}");
    }
}

#[test]
fn numbers_for_people() {
    for (value, text) in [
        (0.0, "0"),
        (-0.0, "0"),
        (7.0, "7"),
        (0.1 + 0.2, "0.3"),
        (1e-6, "0.000001"),
        (123_456.7, "123457"),
        (-2.5, "-2.5"),
    ] {
        assert_eq!(write_number(value), text);
    }
}

fn round_trip<Q: Quantity>(value: f64) -> Result<(), TestCaseError> {
    for unit in Q::UNITS {
        let printed = print_quantity(value, unit);
        let back =
            parse_quantity::<Q>(&printed).map_err(|e| TestCaseError::fail(format!("{printed}: {e}")))?;
        prop_assert_eq!(back.unit, unit);
        prop_assert!(
            (back.si - value).abs() <= 8.0 * f64::EPSILON * value.abs(),
            "{} read as {}",
            printed,
            back.si
        );
        if std::ptr::eq(unit, &raw const Q::UNITS[0]) {
            prop_assert_eq!(back.si.to_bits(), value.to_bits());
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(11), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn reading_undoes_printing(value in prop_oneof![-1e6..1e6f64, -1e-6..1e-6f64]) {
        round_trip::<Torque>(value)?;
        round_trip::<Angle>(value)?;
        round_trip::<Speed>(value)?;
        round_trip::<Time>(value)?;
        round_trip::<Frequency>(value)?;
        round_trip::<Inertia>(value)?;
        round_trip::<Stiffness>(value)?;
        round_trip::<Damping>(value)?;
        round_trip::<Slew>(value)?;
        round_trip::<Temperature>(value)?;
        round_trip::<Ratio>(value)?;
        round_trip::<TorqueConstant>(value)?;
        round_trip::<BackEmf>(value)?;
        round_trip::<HeatCapacity>(value)?;
        round_trip::<TemperatureCoefficient>(value)?;
    }

    #[test]
    fn any_text_is_read_or_refused_without_a_panic(text in any::<String>()) {
        let _ = parse_quantity::<Torque>(&text);
        let _ = parse_quantity::<Temperature>(&text);
    }

    #[test]
    fn any_file_is_read_or_refused_without_a_panic(
        text in r#"(\[{1,2}[a-c.]{1,4}\]{1,2}\n|[a-c]{1,2} ?= ?("[^"\n]{0,8}"|[0-9e.+_-]{1,6}|\[.{0,6}\]|\{.{0,6}\}|true|2026-0[1-9]-[0-9]{2})\n|.{0,8}\n){0,12}"#
    ) {
        let Ok(settings) = Settings::parse("f", &text) else { return Ok(()) };
        let root = settings.root();
        for key in ["a", "b", "c"] {
            root.quantity::<Torque>(key, 0.0..=1.0);
            root.pair::<Time>(key, positive());
            root.text(key);
            root.integer(key, 3..);
            root.number(key, ..=2.0);
            root.boolean(key);
            root.date(key);
            root.choice(key, &[("x", 1)]);
            let inner = root.section(key);
            for s in root.sections(key, ..).iter().chain([&inner]) {
                s.quantities::<Angle>("a", settings_file::any(), 1..);
                s.optional_text("b");
            }
        }
        // Reading the same key in eight ways cannot all have gone well.
        prop_assert!(settings.finish(()).is_err());
    }
}
