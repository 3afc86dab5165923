//! `PROTOCOL.md` and the crate say the same: examples, codes, figures.

use std::collections::BTreeMap;

use crate::literals::{self, bytes};
use rig_link::frame::{CHECKSUM, HEADER, MAX_RAW, MAX_STUFFED};
use rig_link::{
    ChannelKind, EventCode, HostMessage, MAX_FRAME, RefusalCode, RigMessage, RigState, StopMode, StopReason,
    TripCause, Unit, Width, WindowReference, decode_frame, encode_host, encode_rig,
};

const DOCUMENT: &str = include_str!("../../PROTOCOL.md");

/// One example: `> sequence name …` in words, then its bytes.
#[derive(Debug, Default)]
struct Example {
    block: String,
    from_host: bool,
    sequence: u16,
    name: String,
    raw: Vec<u8>,
    wire: Vec<u8>,
}

fn examples() -> Vec<Example> {
    let mut all: Vec<Example> = Vec::new();
    let (mut block, mut part) = (None, "");
    for line in DOCUMENT.lines() {
        if let Some(fence) = line.strip_prefix("```") {
            block = matches!(fence, "frame" | "session").then(|| fence.to_owned());
            continue;
        }
        let Some(block) = &block else { continue };
        if line.starts_with(['>', '<']) {
            let mut words = line.split_whitespace();
            all.push(Example {
                from_host: words.next() == Some(">"),
                sequence: words.next().unwrap().parse().unwrap(),
                name: words.next().unwrap().to_owned(),
                block: block.clone(),
                ..Example::default()
            });
            part = "words";
            continue;
        }
        let mut rest = line;
        for label in ["raw", "wire"] {
            if let Some(after) = line.strip_prefix(label) {
                (part, rest) = (label, after);
            }
        }
        let example = all.last_mut().unwrap();
        match part {
            "raw" => example.raw.extend(bytes(rest)),
            "wire" => example.wire.extend(bytes(rest)),
            _ => {}
        }
    }
    all
}

/// The variant's name, as `Debug` writes it in front of its fields.
fn variant(message: &impl std::fmt::Debug) -> String {
    let text = format!("{message:?}");
    text.split('(').next().unwrap_or_default().to_owned()
}

#[test]
fn every_example_decodes_to_the_message_named_and_encodes_to_the_same_bytes() {
    let all = examples();
    assert!(all.len() > 50, "{} examples found", all.len());
    for example in &all {
        let what = format!("{} {} in a {}", example.sequence, example.name, example.block);
        let (delimiter, stuffed) = example.wire.split_last().unwrap();
        assert_eq!(*delimiter, 0, "{what}");
        let mut raw = [0; MAX_RAW];
        let frame = decode_frame(stuffed, &mut raw).unwrap_or_else(|error| panic!("{what}: {error}"));
        assert_eq!(frame.sequence, example.sequence, "{what}");
        let mut out = [0; MAX_FRAME];
        let (name, length) = if example.from_host {
            let message = HostMessage::parse(frame).unwrap_or_else(|error| panic!("{what}: {error}"));
            (
                variant(&message),
                encode_host(&message, frame.sequence, &mut out).unwrap(),
            )
        } else {
            let message = RigMessage::parse(frame).unwrap_or_else(|error| panic!("{what}: {error}"));
            (
                variant(&message),
                encode_rig(&message, frame.sequence, &mut out).unwrap(),
            )
        };
        assert_eq!(name, example.name, "{what}");
        assert_eq!(&out[..length], example.wire, "{what}");
        if example.block == "frame" {
            let body = HEADER + frame.payload.len() + CHECKSUM;
            assert_eq!(raw[..body], example.raw, "{what}");
        }
    }
}

#[test]
fn chapter_five_shows_the_literal_frames_of_the_tests() {
    let shown: BTreeMap<String, (u16, Vec<u8>)> = examples()
        .into_iter()
        .filter(|example| example.block == "frame")
        .map(|example| (example.name, (example.sequence, example.wire)))
        .collect();
    let batch = literals::batch();
    let host = literals::host().into_iter().map(|literal| {
        (
            literal.name,
            literal.sequence,
            literal.wire,
            variant(&literal.message),
        )
    });
    let rig = literals::rig(&batch).into_iter().map(|literal| {
        (
            literal.name,
            literal.sequence,
            literal.wire,
            variant(&literal.message),
        )
    });
    let mut compared = 0;
    for (name, sequence, wire, of_message) in host.chain(rig) {
        assert_eq!(name, of_message);
        assert_eq!(shown.get(name), Some(&(sequence, bytes(wire))), "{name}");
        compared += 1;
    }
    assert_eq!(compared, shown.len());
}

/// Cells of the table rows below a heading, up to the next heading.
fn rows_below(heading: &str) -> Vec<Vec<&'static str>> {
    let mut lines = DOCUMENT.lines().skip_while(|line| *line != heading);
    assert!(lines.next().is_some(), "no heading {heading}");
    lines
        .take_while(|line| !line.starts_with('#'))
        .filter_map(|line| line.strip_prefix("| ")?.strip_suffix('|'))
        .map(|row| row.split('|').map(str::trim).collect())
        .skip(2) // titles and rule
        .collect()
}

fn check_codes<T: std::fmt::Debug>(name: &str, all: &[T], code: impl Fn(&T) -> u8) {
    let stated: Vec<(String, String)> = rows_below(&format!("### {name}"))
        .iter()
        .map(|cells| (cells[0].to_owned(), cells[1].to_owned()))
        .collect();
    let own: Vec<(String, String)> = all
        .iter()
        .map(|value| (code(value).to_string(), format!("{value:?}")))
        .collect();
    assert_eq!(stated, own, "{name}");
}

#[test]
fn chapter_six_lists_every_code() {
    check_codes("RigState", RigState::ALL, |value| value.code());
    check_codes("TripCause", TripCause::ALL, |value| value.code());
    check_codes("StopMode", StopMode::ALL, |value| value.code());
    check_codes("StopReason", StopReason::ALL, |value| value.code());
    check_codes("WindowReference", WindowReference::ALL, |value| value.code());
    check_codes("ChannelKind", ChannelKind::ALL, |value| value.code());
    check_codes("Unit", Unit::ALL, |value| value.code());
    check_codes("Width", Width::ALL, |value| value.code());
    check_codes("EventCode", EventCode::ALL, |value| value.code());
    check_codes("RefusalCode", RefusalCode::ALL, |value| value.code());
}

#[test]
fn chapter_nine_lists_every_figure() {
    let own: &[(&str, u64)] = &[
        ("PROTOCOL_MAJOR", u64::from(rig_link::PROTOCOL_MAJOR)),
        ("PROTOCOL_MINOR", u64::from(rig_link::PROTOCOL_MINOR)),
        ("HEADER", HEADER as u64),
        ("CHECKSUM", CHECKSUM as u64),
        ("MAX_PAYLOAD", rig_link::MAX_PAYLOAD as u64),
        ("MAX_RAW", MAX_RAW as u64),
        ("MAX_STUFFED", MAX_STUFFED as u64),
        ("MAX_FRAME", MAX_FRAME as u64),
        ("TICKS_PER_S", rig_link::TICKS_PER_S),
        (
            "FULL_SCALE_COUNTS",
            u64::from(rig_link::FULL_SCALE_COUNTS.unsigned_abs()),
        ),
        ("MAX_SETPOINTS", rig_link::MAX_SETPOINTS as u64),
        ("MAX_CHANNELS", rig_link::MAX_CHANNELS as u64),
        ("CHALLENGE_VALID_US", u64::from(rig_link::CHALLENGE_VALID_US)),
        ("ARM_IDLE_US", rig_link::ARM_IDLE_US),
        ("HORIZON_US", rig_link::HORIZON_US),
    ];
    let stated: Vec<(&str, u64)> = rows_below("## 9. Figures")
        .iter()
        .map(|cells| (cells[0], cells[1].parse().unwrap()))
        .collect();
    assert_eq!(stated, own);
}

#[test]
fn the_ranges_of_a_configuration_are_those_of_its_table() {
    let good = literals::configuration();
    assert_eq!(good.first_out_of_range(), None);
    let rows = rows_below("### 5.3 Configure (0x03)");
    let index_of = |field: &str| {
        let place = rows.iter().position(|cells| cells[3] == field).unwrap();
        u8::try_from(place).unwrap()
    };
    type Change = fn(&mut rig_link::message::Configuration);
    let bad: &[(&str, Change)] = &[
        ("sample_period_us", |c| c.sample_period_us = 0),
        ("sample_period_us", |c| c.sample_period_us = 1_000_001),
        ("torque_limit_raw", |c| c.torque_limit_raw = 32_768),
        ("slew_limit_raw_per_ms", |c| c.slew_limit_raw_per_ms = 0),
        ("rim_speed_limit_mrad_s", |c| c.rim_speed_limit_mrad_s = 0),
        ("window_high_urad", |c| c.window_high_urad = c.window_low_urad),
        ("sensor_torque_limit_mnm", |c| c.sensor_torque_limit_mnm = 0),
        ("watchdog_us", |c| c.watchdog_us = 999),
        ("watchdog_us", |c| c.watchdog_us = 1_000_001),
        ("setpoint_expiry_us", |c| c.setpoint_expiry_us = 499),
        ("setpoint_expiry_us", |c| c.setpoint_expiry_us = 1_000_001),
        ("brake_us", |c| c.brake_us = 10_000_001),
    ];
    for (field, change) in bad {
        let mut configuration = good;
        change(&mut configuration);
        assert_eq!(
            configuration.first_out_of_range(),
            Some(index_of(field)),
            "{field}"
        );
    }
    let mut edge = good;
    edge.sample_period_us = 1;
    edge.torque_limit_raw = 0;
    edge.watchdog_us = 1_000;
    edge.setpoint_expiry_us = 500;
    edge.brake_us = 0;
    assert_eq!(edge.first_out_of_range(), None);
}
