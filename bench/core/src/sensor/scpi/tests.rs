//! An instrument by hand: each answer a line, each moment a number.

use super::{Scale, Scpi, ScpiSettings};
use crate::sensor::Reading;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

const MS: i64 = 1_000_000;

fn scpi(identity: &str) -> Scpi {
    Scpi::new(ScpiSettings {
        query: "READ?".to_string(),
        setup: ["CONF:TORQ".to_string()].to_vec(),
        identity: identity.to_string(),
        end: "\n",
        scale: Scale {
            nm: 0.5,
            offset_nm: 0.0,
        },
        rate_hz: 100.0,
        delay_s: 1e-3,
        patience_s: 0.02,
    })
}

fn asks(scpi: &mut Scpi, now: i64) -> String {
    let mut out = Vec::new();
    scpi.poll_transmit(now, &mut out);
    String::from_utf8(out).unwrap()
}

fn says(scpi: &mut Scpi, now: i64, text: &str) -> Vec<Reading> {
    let mut readings = Vec::new();
    scpi.receive(now, text.as_bytes(), |reading| readings.push(reading));
    readings
}

/// Set up, so that the next question is for a reading.
fn ready() -> Scpi {
    let mut scpi = scpi("Demo");
    assert_eq!(asks(&mut scpi, 0), "*CLS\n*IDN?\n");
    says(&mut scpi, MS, "Demo,T-1,0007,1.2\n");
    assert_eq!(asks(&mut scpi, MS), "CONF:TORQ\nSYST:ERR?\n");
    says(&mut scpi, 2 * MS, "0,\"No error\"\r\n");
    scpi
}

#[test]
fn a_reading_lies_in_the_middle_between_question_and_answer() {
    let mut scpi = ready();
    assert_eq!(asks(&mut scpi, 3 * MS), "READ?\n");
    assert_eq!(asks(&mut scpi, 4 * MS), ""); // one question at a time
    assert_eq!(says(&mut scpi, 5 * MS, "+2.5"), []); // half a line
    let readings = says(&mut scpi, 7 * MS, "00E+00\n");
    // Asked at 3, answered at 7 ms: in the middle at 5 ± 2 ms, less 1 ms of delay; 2.5 at 0.5 N·m each.
    let expected = Reading {
        moment_ns: 4 * MS,
        bound_ns: 2e6,
        torque_nm: 1.25,
    };
    assert_eq!(readings, [expected]);
    // Not before its time: 100 questions a second.
    assert_eq!(scpi.deadline_ns(), 13 * MS);
    assert_eq!(asks(&mut scpi, 12 * MS), "");
    assert_eq!(asks(&mut scpi, 13 * MS), "READ?\n");
}

#[test]
fn what_is_no_reading_is_none_and_the_error_queue_is_asked() {
    for (answer, why) in [
        ("9.91E37", "beyond the range, or no number"),
        ("-9.90000E+37", "beyond the range, or no number"),
        ("1.5 lbf.ft", "more than a number"),
        ("1.5,2.5", "more than a number"),
        ("OVLD", "no number"),
    ] {
        let mut scpi = ready();
        asks(&mut scpi, 3 * MS);
        assert_eq!(
            says(&mut scpi, 4 * MS, &(answer.to_string() + "\n")),
            [],
            "{answer}"
        );
        assert_eq!(scpi.account().misfit, Some((answer.to_string(), why)), "{answer}");
        assert_eq!(asks(&mut scpi, 5 * MS), "SYST:ERR?\n", "{answer}");
        says(&mut scpi, 6 * MS, "-222,\"Data out of range\"\n");
        assert_eq!(
            scpi.account().error.as_deref(),
            Some("-222,\"Data out of range\"")
        );
        assert_eq!(asks(&mut scpi, 7 * MS), "SYST:ERR?\n");
        says(&mut scpi, 8 * MS, "0,\"No error\"\n");
        assert_eq!(asks(&mut scpi, 9 * MS), "READ?\n");
    }
}

#[test]
fn a_late_answer_is_not_taken_for_that_to_the_next_question() {
    let mut scpi = ready();
    asks(&mut scpi, 3 * MS);
    assert_eq!(scpi.deadline_ns(), 23 * MS);
    assert_eq!(asks(&mut scpi, 23 * MS), ""); // given up; a pause in which it may still come
    assert_eq!(says(&mut scpi, 25 * MS, "1.0\n"), []);
    assert_eq!(
        scpi.account().misfit,
        Some(("1.0".to_string(), "nothing was asked"))
    );
    assert_eq!(asks(&mut scpi, 28 * MS), "READ?\n");
    assert_eq!(says(&mut scpi, 29 * MS, "2.0\n").len(), 1);
}

#[test]
fn another_instrument_is_not_read() {
    let mut scpi = scpi("Demo");
    asks(&mut scpi, 0);
    says(&mut scpi, MS, "Other,X-2,1,1\n");
    assert_eq!(asks(&mut scpi, 100 * MS), "");
    assert!(scpi.account().error.is_some());
    assert_eq!(scpi.deadline_ns(), i64::MAX);
}

#[test]
fn an_error_queue_without_end_is_a_failure() {
    let mut scpi = ready();
    asks(&mut scpi, 3 * MS);
    says(&mut scpi, 4 * MS, "?\n");
    for turn in 0..200 {
        let now = (5 + turn) * MS;
        asks(&mut scpi, now);
        says(&mut scpi, now, "-113,\"Undefined header\"\n");
    }
    assert_eq!(scpi.deadline_ns(), i64::MAX);
}
