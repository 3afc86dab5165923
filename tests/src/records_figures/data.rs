//! An invented factory, as large as is asked for: the same numbers in each run.

use records::Stamp;
use records::content::{Calibration, Fit, Measured, Procedure, Program, Recording, Rig, Unit};

/// Models that units are of.
pub(super) const MODELS: [&str; 4] = ["Marten 5", "Marten 7", "Stoat 9", "Stoat 12"];
/// Benches that they are measured on.
const BENCHES: [&str; 3] = ["north", "south", "east"];

/// Numbers without a pattern that shows: the finaliser of SplitMix64 (Steele, Lea and Flood 2014).
fn scrambled(n: u64) -> u64 {
    let n = n.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let n = (n ^ (n >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let n = (n ^ (n >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    n ^ (n >> 31)
}

/// A number from 0 to 1.
fn share(n: u64) -> f64 {
    (scrambled(n) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Serial number of unit `n`.
#[must_use]
pub(super) fn serial(n: u64) -> String {
    format!("W-{n:07}")
}

/// Model of unit `n`.
#[must_use]
pub(super) fn model(n: u64) -> &'static str {
    MODELS[(n % MODELS.len() as u64) as usize]
}

/// Who enters, on the day of unit `n`.
#[must_use]
pub(super) fn stamp(n: u64) -> Stamp {
    Stamp {
        entered: created(n),
        by: "Robin Vale".into(),
        software: "truerim 0.1.0 release".into(),
    }
}

/// Half a minute from one unit to the next, beginning with a year.
fn created(n: u64) -> String {
    let (seconds, day) = (n * 30 % 86_400, n * 30 / 86_400);
    let (month, day) = (1 + day / 28 % 12, 1 + day % 28);
    format!(
        "2026-{month:02}-{day:02}T{:02}:{:02}:{:02}Z",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

/// Measurement of unit `n`: a recording and its fit with so many measurands. `again` tells measurements of a unit apart.
#[must_use]
pub(super) fn measurement(n: u64, again: u64, measurands: u64) -> (Recording, Fit, Stamp) {
    let seal = records::sha256(format!("{n} {again}"));
    let program = Program {
        name: "truerim".into(),
        version: "0.1.0".into(),
        build: "release".into(),
    };
    let bench = BENCHES[(scrambled(n) % 3) as usize];
    let recording = Recording {
        seal: seal.clone(),
        seal_method: "sha256-objects-1".into(),
        run_id: format!("{}-{again}", serial(n)),
        created: created(n),
        unit: Unit {
            model: model(n).into(),
            serial: serial(n),
            firmware: if n < 60_000 { "1.0" } else { "1.1" }.into(),
        },
        bench: bench.into(),
        rig: Rig {
            name: format!("rig {bench}"),
            kind: "serial".into(),
            fixture: format!("plate {}", n % 2),
            sha256: records::sha256(bench),
        },
        mounting: "clamped".into(),
        operator: "Robin Vale".into(),
        batch: format!("B-{}", n / 500),
        calibration: Calibration {
            sensor: format!("Heron 20 {bench}"),
            certificate: "V-2026-001".into(),
            calibrated: "2026-01-02".into(),
            due: "2028-01-02".into(),
            ..Calibration::default()
        },
        procedure: Procedure {
            name: "response".into(),
            sha256: records::sha256("response"),
        },
        software: program.clone(),
        seed: n,
        samples: 288_212,
        duration_s: 72.05,
        completion: "complete".into(),
        cause: String::new(),
        file: format!("/results/{}/recording.h5", serial(n)),
    };
    let measured = (0..measurands).map(|at| {
        let value = 1.0 + 0.05 * share(n * 1_000 + at * 17 + again);
        let u = 0.004;
        Measured {
            id: format!("measurand_{at:02}"),
            unit: "N.m".into(),
            value: Some(value),
            u: Some(u),
            interval: Some([value - 2.0 * u, value + 2.0 * u]),
            level: Some(0.95),
            n: Some(24),
            dof: Some(31.5),
            temperature_degc: Some(23.25),
            refused: None,
        }
    });
    let fit = Fit {
        seal,
        software: program,
        sound: true,
        failed_checks: Vec::new(),
        measured: measured.collect(),
    };
    (recording, fit, stamp(n))
}
