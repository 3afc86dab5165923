//! The table of fault kinds: complete, readable from files and from text, documented; and every kind shows outside.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers count as production code

use crate::common;
use std::collections::HashSet;

use common::bench::{Bench, Said, configuration};
use rig_link::message::Empty;
use rig_link::{HostMessage, StopMode};
use virtual_rig::faults::{KINDS, KindInfo, SizeQuantity};
use virtual_rig::{Fault, FaultKind, RigParameters, VirtualRig};

/// A size within the range that cannot be overlooked.
fn telling_size(info: &KindInfo) -> f64 {
    let Some(size) = info.size else { return 0.0 };
    match info.kind {
        FaultKind::ClampSlip => 0.5,
        FaultKind::BytesLost | FaultKind::BytesFlipped | FaultKind::BytesDoubled => 0.01,
        FaultKind::RimStruck => 2.0,
        FaultKind::BytesDelayed => 3e-3,
        FaultKind::SupplySags => 8.0,
        FaultKind::BeltSlips => 0.05,
        _ => match size.quantity {
            SizeQuantity::Torque => -2.0,
            SizeQuantity::Angle => 0.1,
            SizeQuantity::Share => 0.01,
            SizeQuantity::Time => 0.1,
            SizeQuantity::Kelvin => 500.0,
            SizeQuantity::Speed | SizeQuantity::Voltage => 5.0,
        },
    }
}

/// What stands outside: everything that was said, and where motor and rim are.
#[derive(Debug, PartialEq)]
struct Outside {
    said: Vec<Said>,
    bad: u32,
    motor_nm: f64,
    rim_rad: f64,
    rim_rad_s: f64,
}

/// The rig holds 3 N·m for 100 ms, then again with the fault, then is stopped.
fn course(fault: Option<Fault>, open_first: bool) -> [Outside; 2] {
    let mut rig = VirtualRig::new(common::rig(31), 31);
    // Said of itself in either case, so that only the fault makes a difference.
    rig.add_fault(Fault {
        kind: FaultKind::EmergencyStopReleased,
        start_tick: 0,
        size: 0.0,
    });
    let mut bench = Bench::with(rig);
    bench.arm(configuration());
    let before = bench.hold(12_288, 100_000);
    if open_first {
        bench.rig.set_emergency_stop_closed(false);
    }
    let see = |bench: &Bench, said| Outside {
        said,
        bad: bench.bad,
        motor_nm: bench.rig.motor_torque_nm(),
        rim_rad: bench.rig.rim_angle_rad(),
        rim_rad_s: bench.rig.rim_speed_rad_s(),
    };
    let first = see(&bench, before);
    if let Some(mut fault) = fault {
        fault.start_tick = bench.rig.tick() + 1_000;
        bench.rig.add_fault(fault);
    }
    let mut after = bench.hold(-12_288, 60_000);
    after.extend(bench.stop(StopMode::Brake));
    after.extend(bench.send(HostMessage::StatusRequest(Empty)));
    let second = see(&bench, after);
    [first, second]
}

#[test]
fn every_kind_changes_what_can_be_seen_from_outside_and_nothing_before_its_start() {
    for info in &KINDS {
        let open_first = info.kind == FaultKind::EmergencyStopReleased;
        let fault = Fault {
            kind: info.kind,
            start_tick: 0,
            size: telling_size(info),
        };
        let sound = course(None, open_first);
        let faulty = course(Some(fault), open_first);
        assert_eq!(sound[0], faulty[0], "{}: before its start", info.word);
        assert_ne!(sound[1], faulty[1], "{}", info.word);
        assert_eq!(
            faulty,
            course(Some(fault), open_first),
            "{}: the same again",
            info.word
        );
    }
}

/// Either way, and whatever is asked for: the setpoint goes the other way, to zero, and back.
#[test]
fn a_runaway_ignores_setpoints_in_either_direction() {
    for size in [4.0, -4.0] {
        let mut bench = Bench::with(VirtualRig::new(common::rig(32), 32));
        bench.arm(configuration());
        bench.hold(8_192, 50_000);
        bench.rig.add_fault(Fault {
            kind: FaultKind::TorqueRunaway,
            start_tick: bench.rig.tick(),
            size,
        });
        bench.hold(8_192, 20_000);
        for raw in [-16_384, 0, 16_384] {
            bench.hold(raw, 20_000);
            let motor = bench.rig.motor_torque_nm();
            assert!((motor - size).abs() < 0.05, "{motor} N·m where {size} run away");
        }
        bench.stop(StopMode::Coast);
        bench.wait(5_000);
        assert!(
            bench.rig.motor_torque_nm().abs() < 0.01,
            "without power it cannot"
        );
    }
}

#[test]
fn the_table_is_complete_and_its_words_are_one_style() {
    let kinds: HashSet<FaultKind> = KINDS.iter().map(|info| info.kind).collect();
    let words: HashSet<&str> = KINDS.iter().map(|info| info.word).collect();
    assert_eq!((kinds.len(), words.len()), (KINDS.len(), KINDS.len()));
    for info in &KINDS {
        assert_eq!(info.kind.info(), info);
        // The word is the variant's name.
        let name = format!("{:?}", info.kind);
        let kebab = name.char_indices().fold(String::new(), |mut text, (at, letter)| {
            if letter.is_ascii_uppercase() && at > 0 {
                text.push('-');
            }
            text.push(letter.to_ascii_lowercase());
            text
        });
        assert_eq!(kebab, info.word);
        assert!(info.meaning.len() > 20);
        if let Some(size) = info.size {
            assert!(size.range[0] < size.range[1]);
            let shown = size.quantity.show(size.range[1]);
            let read = size.quantity.parse(&shown).unwrap();
            assert!((read / size.range[1] - 1.0).abs() < 1e-5, "{shown}");
        }
    }
}

fn in_file(text: &str, info: &KindInfo, size: Option<&str>) -> Result<Vec<Fault>, String> {
    let size = size.map_or(String::new(), |size| format!("size = \"{size}\"\n"));
    let entry = format!(
        "\n[[virtual.faults]]\nkind = \"{}\"\nstart = \"1.5 s\"\n{size}",
        info.word
    );
    RigParameters::from_toml("rig.toml", &format!("{text}{entry}"), 1)
        .map(|rig| rig.faults)
        .map_err(|findings| findings.to_string())
}

/// Files and text agree on every kind, on its size, and on what is no size of it.
#[test]
fn files_and_text_read_every_kind_alike() {
    let tooth = common::belt().tooth_rad;
    for info in &KINDS {
        let text = |size: Option<&str>| {
            let size = size.map_or(String::new(), |size| format!(" size {size}"));
            Fault::from_text(&format!("{} at 1.5 s{size}", info.word), tooth)
                .map_err(|error| error.to_string())
        };
        let Some(size) = info.size else {
            let fault = text(None).unwrap();
            assert_eq!((fault.kind, fault.start_tick), (info.kind, 1_500_000));
            assert_eq!(in_file(common::BELT, info, None).unwrap(), [fault]);
            assert!(text(Some("1 N·m")).unwrap_err().contains("no size"));
            assert!(
                in_file(common::BELT, info, Some("1 N·m"))
                    .unwrap_err()
                    .contains("unknown key")
            );
            assert_eq!(Fault::from_text(&fault.to_string(), None), Ok(fault));
            continue;
        };
        for si in size.range {
            let shown = size.quantity.show(si);
            let fault = text(Some(&shown)).unwrap();
            assert_eq!(in_file(common::BELT, info, Some(&shown)).unwrap(), [fault]);
            assert_eq!(Fault::from_text(&fault.to_string(), None), Ok(fault), "{fault}");
        }
        let beyond = size.quantity.show(size.range[1] + 1.0);
        let error = text(Some(&beyond)).unwrap_err();
        assert!(
            error.contains(&size.range_text()) && error.contains(&beyond),
            "{error}"
        );
        assert!(in_file(common::BELT, info, Some(&beyond)).is_err());
        assert!(text(Some("1 kg")).unwrap_err().contains("unit"));
        let missing = (text(None).is_err(), in_file(common::BELT, info, None).is_err());
        assert_eq!(
            missing,
            (size.left_out.is_none(), size.left_out.is_none()),
            "{}",
            info.word
        );
    }
}

#[test]
fn a_belt_slips_one_tooth_where_nothing_else_is_said() {
    for (text, teeth) in [(common::BELT, 144.0), (common::GEARED, 72.0)] {
        let info = FaultKind::BeltSlips.info();
        let [fault] = in_file(text, info, None).unwrap()[..] else {
            panic!("one fault")
        };
        assert!((fault.size - std::f64::consts::TAU / teeth).abs() < 1e-12);
        let tooth = common::unit(text).tooth_rad;
        assert_eq!(Fault::from_text("belt-slips at 1.5 s", tooth), Ok(fault));
    }
    // A joint has no teeth to slip by.
    assert!(
        in_file(common::DIRECT, FaultKind::BeltSlips.info(), None)
            .unwrap_err()
            .contains("size")
    );
    let error = Fault::from_text("belt-slips at 1 s", None)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("virtual.drive.teeth") && error.contains("-400 to 400 deg"),
        "{error}"
    );
}

#[test]
fn what_is_wrong_with_a_text_is_said() {
    for (text, parts) in [
        ("belt at 1 s", &["\"belt\"", "belt-slips", "belt-breaks"][..]),
        ("clamp-slips at 1 s", &["did you mean clamp-slip?"]),
        (
            "gremlin at 1 s",
            &["\"gremlin\"", "clamp-slip", "reboot", "clock-jumps"],
        ),
        ("reboot", &["does not say when", "at 1.5 s"]),
        ("reboot on 1 s", &["\"on 1 s\"", "\"at\""]),
        ("reboot at noon", &["\"noon\"", "number"]),
        ("reboot at 3 N·m", &["\"3 N·m\"", "torque"]),
        ("reboot at -1 s", &["\"-1 s\"", "0 to 86400 s"]),
        ("", &["\"\""]),
        ("clamp-slip at 1 s", &["needs a size", "0 to 100 N·m"]),
        ("clamp-slip at 1 s size", &["number", "0 to 100 N·m"]),
        (
            "clamp-slip at 1 s size 5 deg",
            &["\"5 deg\"", "angle", "0 to 100 N·m"],
        ),
    ] {
        let error = Fault::from_text(text, None).unwrap_err().to_string();
        for part in parts {
            assert!(error.contains(part), "{text}: {error} lacks {part}");
        }
    }
}

fn document(name: &str) -> String {
    std::fs::read_to_string(format!("{}/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// FAULTS.md and the end of every rig file list the kinds as the table has them.
#[test]
fn the_documents_list_every_kind_as_it_is() {
    let mut table = "| kind | size | what it does |\n| --- | --- | --- |\n".to_owned();
    let mut lines = String::new();
    for info in &KINDS {
        table += &format!("| `{}` | {} | {} |\n", info.word, info.size_text(), info.meaning);
        lines += &format!("#   {} [{}]: {}\n", info.word, info.size_text(), info.meaning);
    }
    assert!(
        document("FAULTS.md").contains(&table),
        "FAULTS.md must hold this table:\n{table}"
    );
    for file in ["belt", "geared", "direct"] {
        let text = document(&format!("../{file}.toml"));
        assert!(
            text.ends_with(&lines),
            "{file}.toml must end with these lines:\n{lines}"
        );
    }
}
