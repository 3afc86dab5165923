//! What happened, as plain numbers on the thread that drives the motor and in words on the one that writes.

use std::sync::Arc;

use bench_core::excitation::ExcitationKind;
use bench_core::interlock::Trip;
use bench_core::plan::{Plan, SETPOINT_STRIDE_US, Window};
use rig_link::message::Event;

use crate::recording::{Entry, EventRow, RecordingError, RecordingWriter, SegmentRow, Source};

/// Something that happened, not yet in words.
#[derive(Debug, Clone)]
pub(super) struct Note {
    /// Rig tick, as well as it is known.
    pub(super) tick: u64,
    /// Host time, ns.
    pub(super) host_ns: i64,
    /// What it was.
    pub(super) what: What,
}

/// What happened.
#[derive(Debug, Clone)]
pub(super) enum What {
    /// The plan's zero is at the note's tick.
    PlanStarted(Arc<Plan>),
    /// Something on the rig.
    Rig(Event),
    /// The first small torque passed, with this share of the command.
    ApproachPassed(f64),
    /// The interlock tripped.
    Tripped(Trip),
    /// The run went on to another phase.
    Phase(&'static str),
}

impl Entry for Note {
    fn write(self, writer: &mut RecordingWriter) -> Result<(), RecordingError> {
        let (source, code, text) = match &self.what {
            What::PlanStarted(_) => (
                Source::Bench,
                "plan-zero".to_owned(),
                "the plan begins at this tick".to_owned(),
            ),
            What::Rig(event) => (
                Source::Rig,
                kebab(&format!("{:?}", event.code)),
                format!(
                    "rig event {}: {:?}, detail {}",
                    event.number, event.code, event.detail
                ),
            ),
            What::ApproachPassed(gain) => (
                Source::Bench,
                "approach-passed".to_owned(),
                format!("first small torque: {gain:.3} of the command, right sign"),
            ),
            What::Tripped(trip) => (
                Source::Bench,
                format!("trip-{}", trip.condition.name()),
                trip.to_string(),
            ),
            What::Phase(name) => (Source::Bench, "phase".to_owned(), (*name).to_owned()),
        };
        writer.event(&EventRow {
            tick: self.tick,
            host_ns: self.host_ns,
            source,
            code,
            text,
        })?;
        match &self.what {
            What::PlanStarted(plan) => plan
                .windows()
                .iter()
                .try_for_each(|window| writer.segment(&segment_row(window, self.tick))),
            _ => Ok(()),
        }
    }
}

fn segment_row(window: &Window, zero: u64) -> SegmentRow {
    let (first_hz, last_hz) = frequencies_hz(window);
    SegmentRow {
        name: window.name.clone(),
        excitation: window.kind.word().to_owned(),
        role: if window.transient {
            "transient"
        } else {
            "excitation"
        }
        .to_owned(),
        segment: u32::try_from(window.segment).unwrap_or(u32::MAX),
        repeat: u32::try_from(window.repeat).unwrap_or(u32::MAX),
        start_tick: zero + window.start_us,
        end_tick: zero + window.end_us,
        from_nm: window.from_nm,
        to_nm: window.to_nm,
        amplitude_nm: if window.kind == ExcitationKind::Hold {
            f64::NAN
        } else {
            window.amplitude_nm
        },
        preload_nm: window.preload_nm,
        f_start_hz: first_hz,
        f_end_hz: last_hz,
        duration_s: (window.end_us - window.start_us) as f64 * 1e-6,
        hold_us: SETPOINT_STRIDE_US,
    }
}

/// Lowest or first and highest or last frequency, Hz; NaN for what has none.
fn frequencies_hz(window: &Window) -> (f64, f64) {
    if let Some(sweep) = window.sweep {
        return (sweep.from_hz, sweep.to_hz);
    }
    let tones = window.tones.as_deref();
    let of = |line: fn(&[u32]) -> Option<&u32>| {
        let found = tones.and_then(|tones| line(&tones.lines).map(|line| tones.frequency_hz(*line)));
        found.unwrap_or(f64::NAN)
    };
    (of(<[u32]>::first), of(<[u32]>::last))
}

/// `SetpointLimited` → `setpoint-limited`.
fn kebab(name: &str) -> String {
    let mut out = String::with_capacity(name.len() + 4);
    for letter in name.chars() {
        if letter.is_ascii_uppercase() && !out.is_empty() {
            out.push('-');
        }
        out.push(letter.to_ascii_lowercase());
    }
    out
}
