//! Stopping is not standing still: the plant's travel after a stop against the closed form, and the README's table against
//! both. A few seconds.

#![allow(clippy::unwrap_used)] // helpers of a test may fail it

use std::sync::LazyLock;

use acceptance::recovery::root;
use acceptance::stopping::{Row, UNITS, Unit, Way, braking_rad, coasting_rad, rows, table};
use virtual_rig::{Mounting, RigParameters};

/// As the binary prints it without further arguments.
const STARTS: u32 = 24;

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| rows(STARTS).unwrap());

/// Energy that cogging and eccentricity may hold at one angle more than at another, J: `2·Σ a/n`.
fn well_j(rig: &RigParameters) -> f64 {
    let ripple: f64 = rig
        .plant
        .ripple
        .iter()
        .map(|order| order.amplitude_nm / order.order)
        .sum();
    2.0 * (ripple + rig.plant.bearing.amplitude_nm)
}

/// The mean within 2 % and 0.3° of the closed form; each stop within what cogging's energy can do besides, which is
/// `E/(T_c + …)` of travel at most where the rim comes to rest.
#[test]
fn the_plant_travels_as_far_as_the_closed_form_says() {
    for row in ROWS.iter() {
        let text = UNITS.iter().find(|(name, _)| *name == row.unit).unwrap().1;
        let rig = RigParameters::mounted(row.unit, text, 1, Some(Mounting::Free)).unwrap();
        let unit = Unit::of(&rig.plant).unwrap();
        let tolerance = 0.02 * row.closed_rad + 0.3_f64.to_radians();
        let off = row.plant.mean_rad - row.closed_rad;
        assert!(off.abs() < tolerance, "{row:?}");
        let rest = match row.way {
            Way::Coast => unit.coulomb_nm,
            // While it is braked hard, most of the energy goes where the rim is fast.
            Way::Brake => unit.coulomb_nm + unit.brake * row.closed_rad.min(1.0),
        };
        let slack = tolerance + well_j(&rig) / rest;
        for travel in row.plant.span_rad {
            assert!(
                (travel - row.closed_rad).abs() < slack,
                "{row:?}: beyond {slack} rad"
            );
        }
    }
}

/// The closed form itself against figures by hand: without viscous friction `J·ω²/(2·T_c)`; a brake without friction
/// `J·ω/D`; a brake of a millisecond is none; and the flat part while the brake is held at the peak torque.
#[test]
fn the_closed_form_has_its_limits() {
    let unit = Unit {
        inertia_kg_m2: 0.02,
        rotor_kg_m2: 0.004,
        motor_coulomb_nm: 0.06,
        coulomb_nm: 0.1,
        motor_viscous: 0.0,
        viscous: 1e-7,
        load_share: 0.0,
        brake: 1.0,
        peak_nm: 1e3,
    };
    let close = |got: f64, expected: f64, part: f64| {
        assert!((got / expected - 1.0).abs() < part, "{got} is not {expected}");
    };
    close(coasting_rad(&unit, 10.0), 0.02 * 100.0 / 0.2, 1e-4);
    let nearly_free = Unit {
        coulomb_nm: 1e-5,
        ..unit
    };
    close(braking_rad(&nearly_free, 10.0, 10.0), 0.2, 1e-3);
    close(braking_rad(&unit, 10.0, 1e-9), coasting_rad(&unit, 10.0), 1e-5);
    let held = Unit {
        peak_nm: 0.5,
        ..nearly_free
    };
    // From 10 to 0.5 rad/s at 0.5 N·m, then exponentially.
    close(
        braking_rad(&held, 10.0, 10.0),
        0.02 * (100.0 - 0.25) / (2.0 * 0.5) + 0.02 * 0.5,
        1e-3,
    );
    // Teeth: the direct sum, found by going round until nothing changes.
    let geared = Unit {
        load_share: 0.1,
        ..unit
    };
    let (mut mesh, mut all) = (0.0, 0.0);
    for _ in 0..100 {
        all = 0.1 + 0.1 * mesh;
        mesh = 0.06 + 0.1 * mesh - 0.004 / 0.02 * all;
    }
    close(geared.slowed_by(0.0, 0.0).constant_nm, all, 1e-9);
}

/// A brake stops sooner than friction, and a faster rim goes on further.
#[test]
fn the_table_is_in_order() {
    for (coast, brake) in ROWS
        .iter()
        .filter(|row| row.way == Way::Coast)
        .zip(ROWS.iter().filter(|row| row.way == Way::Brake))
    {
        assert!(
            brake.plant.span_rad[1] < coast.plant.span_rad[0],
            "{brake:?} {coast:?}"
        );
    }
    for stop in ROWS.chunks(3) {
        assert!(
            stop.windows(2)
                .all(|pair| pair[1].plant.mean_rad > 1.5 * pair[0].plant.mean_rad)
        );
    }
}

#[test]
fn the_readme_shows_the_table() {
    let table = table(&ROWS, true);
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    assert!(
        readme.contains(&table),
        "README.md must hold this table:\n{table}"
    );
}
