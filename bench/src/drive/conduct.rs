//! The one loop that carries bytes between a line and a run.

use std::panic::{AssertUnwindSafe, catch_unwind};

use bench_core::channels::SampleRow;
use bench_core::run::{Counters, End, Outcome, Progress, Proofs, Run, RunEvent, StopCause};
use bench_core::time::HostNs;
use rig_link::message::Stop;
use rig_link::{HostMessage, MAX_FRAME, StopMode, StopReason, encode_host, frame::DELIMITER};

use super::signals::StopFlag;
use super::{Line, LineError};

/// Longest wait between two looks at the stop flag, µs.
const LOOK_US: u64 = 5_000;
/// Bytes of room made beforehand, so that the loop need not allocate.
const ROOM: usize = 64 * 1024;

/// Takes what a run hands out. An error ends the run with zero torque.
pub trait Sink {
    /// One sample row, judged already, in the order of ticks.
    ///
    /// # Errors
    /// Why it cannot be kept.
    fn row(&mut self, row: &SampleRow) -> Result<(), String>;

    /// One event, in order.
    ///
    /// # Errors
    /// Why it cannot be kept.
    fn event(&mut self, now: HostNs, event: &RunEvent) -> Result<(), String>;

    /// Whether everything so far could be kept; asked in every turn of the loop.
    ///
    /// # Errors
    /// Why it could not.
    fn check(&mut self) -> Result<(), String> {
        Ok(())
    }

    /// Parts that wait to be written and the most that may, once that many waited and one more came: the interlock's
    /// business then, not an ordinary failure. Asked after an error.
    fn stalled(&self) -> Option<(usize, usize)> {
        None
    }

    /// How far the run is; called at every turn, so it must return at once.
    fn progress(&mut self, progress: Progress) {
        let _ = progress;
    }

    /// The loop woke when the time of a wait had come, or later, by `late_us`.
    fn woke(&mut self, late_us: u64) {
        let _ = late_us;
    }
}

/// Runs to the end. Whatever happens on the way, a panic of this program included, the last thing on the line is a
/// stop.
pub fn conduct(run: &mut Run, line: &mut dyn Line, sink: &mut dyn Sink, stop: &StopFlag) -> Outcome {
    match catch_unwind(AssertUnwindSafe(|| turn_over(run, line, sink, stop))) {
        Ok(outcome) => outcome,
        Err(panic) => {
            let sent = emergency_stop(line).is_ok();
            let what = panic
                .downcast_ref::<&str>()
                .map(|text| (*text).to_owned())
                .or_else(|| panic.downcast_ref::<String>().cloned())
                .unwrap_or_else(|| "panic".to_owned());
            let cause = format!(
                "{what} ({})",
                if sent {
                    "a stop was sent"
                } else {
                    "no stop could be sent"
                }
            );
            Outcome {
                end: End::Stopped(StopCause::ProgramFault(cause)),
                zero_confirmed: false,
                was_armed: true,
                torque_after_nm: None,
                proofs: Proofs::default(),
                counters: Counters::default(),
            }
        }
    }
}

/// A stop past everything, without a run.
fn emergency_stop(line: &mut dyn Line) -> Result<(), LineError> {
    let mut bytes = Vec::with_capacity(3 * MAX_FRAME);
    for sequence in 0..3 {
        let stop = HostMessage::Stop(Stop {
            mode: StopMode::Brake,
            reason: StopReason::Failure,
        });
        let mut frame = [0; MAX_FRAME];
        if let Ok(length) = encode_host(&stop, sequence, &mut frame) {
            bytes.push(DELIMITER);
            bytes.extend_from_slice(frame.get(..length).unwrap_or_default());
        }
    }
    line.write(&bytes, true)
}

fn turn_over(run: &mut Run, line: &mut dyn Line, sink: &mut dyn Sink, stop: &StopFlag) -> Outcome {
    let mut inbox = Vec::with_capacity(ROOM);
    let mut outbox = Vec::with_capacity(ROOM);
    run.start(line.now());
    loop {
        transmit(run, line, &mut outbox);
        if let Err(why) = hand_over(run, line.now(), sink) {
            match sink.stalled() {
                Some((waiting, capacity)) => run.recording_stalled(line.now(), waiting, capacity),
                None => run.stop(line.now(), StopCause::RecordingFailed(why)),
            }
            transmit(run, line, &mut outbox);
        }
        if let Some(outcome) = run.outcome().cloned() {
            // What the last step put out; the outcome stands whatever becomes of it.
            transmit(run, line, &mut outbox);
            let _ = hand_over(run, line.now(), sink);
            return outcome;
        }
        if let Some(cause) = stop.wanted() {
            run.stop(line.now(), cause); // again in every turn: only the first counts
            transmit(run, line, &mut outbox);
        }
        sink.progress(run.progress());
        let until = run.deadline().min(line.now().plus_us(LOOK_US));
        inbox.clear();
        let waited = line.wait(until, &mut inbox);
        let now = line.now();
        if now >= until {
            sink.woke(now.us_since(until));
        }
        match waited {
            Ok(()) if inbox.is_empty() => run.wake(now),
            Ok(()) => run.receive(now, &inbox),
            Err(error) => run.stop(now, StopCause::LinkLost(error.to_string())),
        }
    }
}

fn transmit(run: &mut Run, line: &mut dyn Line, outbox: &mut Vec<u8>) {
    outbox.clear();
    if let Some(discard_first) = run.poll_transmit(outbox)
        && let Err(error) = line.write(outbox, discard_first)
    {
        run.stop(line.now(), StopCause::LinkLost(error.to_string()));
    }
}

fn hand_over(run: &mut Run, now: HostNs, sink: &mut dyn Sink) -> Result<(), String> {
    while let Some(event) = run.poll_event() {
        sink.event(now, &event)?;
    }
    while let Some(row) = run.poll_row() {
        sink.row(&row)?;
    }
    sink.check()
}
