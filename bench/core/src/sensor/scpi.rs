//! An instrument that is asked.
//!
//! Messages are lines of ASCII; a query ends in `?` and is answered by one line (IEEE 488.2-1992, chapters 7 and 8). Common commands are
//! `*CLS` (clears the error queue) and `*IDN?` (identification); `SYSTem:ERRor?` takes one error off the queue and answers `0,"No error"` when it is empty
//! (SCPI-1999, volume 2, 21.8). Numbers are in the forms NR1, NR2 and NR3 of IEEE 488.2, 8.7; 9.9E37 and −9.9E37 stand for infinity and 9.91E37 for not a number
//! (SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5). These standards are quoted from memory.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::pattern::number;
use super::text::{Cut, Cutter};
use super::{Account, Reading, Scale};

/// Numbers from here on stand for infinity or for no number.
const NO_NUMBER: f64 = 9.9e37;
/// Errors taken off the queue at most before the instrument counts as one that cannot be set up.
const MOST_ERRORS: u32 = 32;

/// What is declared of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct ScpiSettings {
    /// The query for a reading, without its end.
    pub query: String,
    /// Commands before the first one.
    pub setup: Vec<String>,
    /// What the answer to `*IDN?` must begin with; empty: anything.
    pub identity: String,
    /// End of a message to the instrument.
    pub end: &'static str,
    /// Torque of what is answered.
    pub scale: Scale,
    /// Questions a second at most.
    pub rate_hz: f64,
    /// Group delay: from the torque to the moment at which it is answered with, s.
    pub delay_s: f64,
    /// Longest that an answer may take, s.
    pub patience_s: f64,
}

/// Where the talk stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Identify,
    SetUp,
    /// The error queue is emptied; how many were in it.
    Errors(u32),
    Read,
    Failed,
}

/// Asks such an instrument. What to write comes out of [`Self::poll_transmit`]; one question is on the way at a time.
#[derive(Debug, Clone)]
pub struct Scpi {
    settings: ScpiSettings,
    cutter: Cutter,
    step: Step,
    /// When the question on the way was written, ns.
    asked_ns: Option<i64>,
    next_ns: i64,
    account: Account,
}

impl Scpi {
    /// Nothing asked yet.
    #[must_use]
    pub fn new(settings: ScpiSettings) -> Self {
        Self {
            settings,
            cutter: Cutter::new(),
            step: Step::Identify,
            asked_ns: None,
            next_ns: i64::MIN,
            account: Account::default(),
        }
    }

    /// When [`Self::poll_transmit`] has something to say next, ns.
    #[must_use]
    pub fn deadline_ns(&self) -> i64 {
        match (self.step, self.asked_ns) {
            (Step::Failed, _) => i64::MAX,
            (_, Some(asked)) => asked.saturating_add(self.patience_ns()),
            (_, None) => self.next_ns,
        }
    }

    fn patience_ns(&self) -> i64 {
        (self.settings.patience_s * 1e9) as i64
    }

    /// Appends what is to be written at `now_ns`, which must be written at once: the answer's moment is counted from it.
    pub fn poll_transmit(&mut self, now_ns: i64, out: &mut Vec<u8>) {
        if let Some(asked) = self.asked_ns {
            if now_ns < asked.saturating_add(self.patience_ns()) {
                return;
            }
            // Half an answer may still come: it must not be taken for that to the next question.
            self.account.misfit("", "no answer in time");
            self.asked_ns = None;
            self.next_ns = now_ns.saturating_add(self.patience_ns() / 4);
            return;
        }
        if now_ns < self.next_ns {
            return;
        }
        let end = self.settings.end;
        let mut say = |text: &str| {
            out.extend_from_slice(text.as_bytes());
            out.extend_from_slice(end.as_bytes());
        };
        match self.step {
            Step::Identify => {
                say("*CLS");
                say("*IDN?");
            }
            Step::SetUp => {
                self.settings.setup.iter().for_each(|command| say(command));
                self.step = Step::Errors(0);
                say("SYST:ERR?");
            }
            Step::Errors(_) => say("SYST:ERR?"),
            Step::Read => say(&self.settings.query),
            Step::Failed => return,
        }
        self.cutter.restart();
        self.asked_ns = Some(now_ns);
        self.next_ns = now_ns.saturating_add((1e9 / self.settings.rate_hz) as i64);
    }

    /// Takes bytes that were there at `now_ns` and hands over the reading in them.
    pub fn receive(&mut self, now_ns: i64, bytes: &[u8], mut on_reading: impl FnMut(Reading)) {
        let mut answers: Vec<Option<String>> = Vec::new();
        self.cutter.feed(bytes, |cut| {
            answers.push(match cut {
                Cut::Line(line) => Some(line.trim().to_string()),
                Cut::Spoilt => None,
            });
        });
        for answer in answers {
            // What nobody asked for, or comes after it was given up, answers nothing.
            let Some(asked_ns) = self.asked_ns.take() else {
                self.account
                    .misfit(answer.as_deref().unwrap_or_default(), "nothing was asked");
                continue;
            };
            let Some(answer) = answer else {
                self.account.misfit("", "too long, or no text");
                continue;
            };
            self.take(asked_ns, now_ns, &answer, &mut on_reading);
        }
    }

    fn take(&mut self, asked_ns: i64, now_ns: i64, answer: &str, on_reading: &mut dyn FnMut(Reading)) {
        match self.step {
            Step::Identify => {
                self.account.identity = Some(answer.to_string());
                if answer.starts_with(self.settings.identity.as_str()) {
                    self.step = Step::SetUp;
                    self.next_ns = now_ns;
                } else {
                    self.account.error = Some("another instrument than rig.sense.identity names".to_string());
                    self.step = Step::Failed;
                }
            }
            Step::SetUp | Step::Errors(_) => self.take_error(now_ns, answer),
            Step::Read => match self.torque_nm(answer) {
                Ok(torque_nm) => {
                    self.account.readings = self.account.readings.saturating_add(1);
                    let way_ns = now_ns - asked_ns;
                    on_reading(Reading {
                        moment_ns: asked_ns + way_ns / 2 - (self.settings.delay_s * 1e9) as i64,
                        // It was read between question and answer.
                        bound_ns: 0.5 * way_ns as f64,
                        torque_nm,
                    });
                }
                Err(why) => {
                    self.account.misfit(answer, why);
                    // It may say why.
                    self.step = Step::Errors(0);
                    self.next_ns = now_ns;
                }
            },
            Step::Failed => {}
        }
    }

    fn take_error(&mut self, now_ns: i64, answer: &str) {
        let taken = match self.step {
            Step::Errors(taken) => taken,
            _ => 0,
        };
        let clear = number(answer).is_some_and(|(code, _)| code.abs() < 0.5);
        if clear {
            self.step = Step::Read;
        } else {
            self.account.error = Some(answer.to_string());
            // One that never ends is no error queue.
            self.step = if taken >= MOST_ERRORS {
                Step::Failed
            } else {
                Step::Errors(taken + 1)
            };
        }
        self.next_ns = now_ns;
    }

    fn torque_nm(&self, answer: &str) -> Result<f64, &'static str> {
        let (written, rest) = number(answer).ok_or("no number")?;
        if !rest.trim().is_empty() {
            return Err("more than a number"); // a unit that nobody declared, or a second value
        }
        if written.abs() >= NO_NUMBER {
            return Err("beyond the range, or no number");
        }
        self.settings.scale.torque_nm(written).ok_or("no finite number")
    }

    /// What was heard so far.
    #[must_use]
    pub const fn account(&self) -> &Account {
        &self.account
    }
}

#[cfg(test)]
mod tests;
