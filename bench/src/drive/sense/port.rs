//! A sensor on a serial port, read by a thread of its own.
//!
//! The thread that drives the motor waits for the rig; a second port would have to be looked at in between, and what it brought would be
//! stamped late. So this one waits for the sensor alone, stamps what comes, and hands readings over through a ring that neither side
//! waits at. A ring that is full loses readings: the torque is then unknown for a while, which stops the motor.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use bench_core::rig::{OwnPort, Sense as Declared};
use bench_core::sensor::{Account, Lines, Reading, Scpi};
use bench_core::time::HostNs;

use super::Sense;
use crate::drive::clock::HostClock;
use crate::drive::{Line, LineError, Said, SerialLine};

/// Readings that may wait to be taken.
const RING: usize = 4_096;
/// Longest wait: how soon the thread notices that it is to end, µs.
const LOOK_US: u64 = 20_000;
/// A rate may differ from the declared one by this share, as what places readings in time takes it (`bench_core::sensor::lines`).
const RATE_OFF: f64 = 5e-3;
/// Time between two accounts, µs.
const ACCOUNT_US: u64 = 100_000;

/// What talks to the sensor.
enum Talk {
    Lines(Box<Lines>),
    Scpi(Box<Scpi>),
}

/// What the thread tells besides readings.
#[derive(Debug, Default, Clone)]
struct Told {
    account: Account,
    rate_hz: Option<f64>,
    failed: Option<String>,
}

/// A sensor on a port of its own.
pub struct SensorPort {
    port: String,
    declared_hz: f64,
    readings: rtrb::Consumer<Reading>,
    told: Arc<Mutex<Told>>,
    over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl SensorPort {
    /// Opens the port of a sensor and begins to listen; `None` where the rig controller measures the torque. `clock` is the one that the
    /// rig's line stamps with too.
    ///
    /// # Errors
    /// [`LineError`] when the port cannot be opened or no thread can be had.
    pub fn open(declared: &Declared, clock: HostClock) -> Result<Option<Self>, LineError> {
        let (own, talk) = match declared {
            Declared::Rig => return Ok(None),
            Declared::Lines(own, lines) => (own, Talk::Lines(Box::new(Lines::new(lines.clone())))),
            Declared::Scpi(own, scpi) => (own, Talk::Scpi(Box::new(Scpi::new(scpi.clone())))),
        };
        let declared_hz = declared.declared().map_or(0.0, |(rate_hz, _)| rate_hz);
        Self::begin(own, declared_hz, talk, clock).map(Some)
    }

    fn begin(own: &OwnPort, declared_hz: f64, talk: Talk, clock: HostClock) -> Result<Self, LineError> {
        let line = SerialLine::with_clock(&own.port, own.baud, clock)?;
        let (into, readings) = rtrb::RingBuffer::new(RING);
        let told = Arc::new(Mutex::new(Told::default()));
        let over = Arc::new(AtomicBool::new(false));
        let (shared, ends) = (Arc::clone(&told), Arc::clone(&over));
        let thread = std::thread::Builder::new()
            .name("torque sensor".to_owned())
            .spawn(move || listen(line, talk, into, &shared, &ends))
            .map_err(|source| LineError::Io {
                port: own.port.clone(),
                doing: "starting to listen",
                source,
            })?;
        Ok(Self {
            port: own.port.clone(),
            declared_hz,
            readings,
            told,
            over,
            thread: Some(thread),
        })
    }

    /// Readings a second by this computer's clock, once known; of a sensor that sends by itself.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        self.told.lock().ok().and_then(|told| told.rate_hz)
    }

    /// What was heard so far, and why nothing more comes, if so.
    #[must_use]
    pub fn told(&self) -> (Account, Option<String>) {
        let told = self.told.lock().map(|told| told.clone()).unwrap_or_default();
        (told.account, told.failed)
    }
}

impl Sense for SensorPort {
    fn poll(&mut self, take: &mut dyn FnMut(Reading)) {
        while let Ok(reading) = self.readings.pop() {
            take(reading);
        }
    }

    fn account(&self) -> Vec<Said> {
        let (account, failed) = self.told();
        words(&self.port, self.declared_hz, &account, failed.as_deref())
    }
}

/// An account in words.
#[must_use]
pub(crate) fn words(port: &str, declared_hz: f64, account: &Account, failed: Option<&str>) -> Vec<Said> {
    let read = format!("torque sensor on {port}: {} readings", account.readings);
    let mut all = vec![if account.readings > 0 {
        Said::fact(read)
    } else {
        Said::amiss(read)
    }];
    if let Some(identity) = &account.identity {
        all.push(Said::fact(format!("it says that it is {identity}")));
    }
    if let Some((found_hz, loose_hz)) = account.heard.rate_hz() {
        let words = format!("it sends {found_hz:.1} lines a second, {declared_hz:.1} declared");
        let off_hz = (found_hz - declared_hz).abs();
        all.push(if off_hz > RATE_OFF * declared_hz + loose_hz {
            Said::amiss(words)
        } else {
            Said::fact(words)
        });
    }
    if let Some((text, why)) = &account.misfit {
        let (count, plural) = (account.misfits, if account.misfits == 1 { "" } else { "s" });
        all.push(Said::amiss(format!(
            "{count} line{plural} not read, the latest \"{text}\": {why}"
        )));
    }
    if let Some(error) = &account.error {
        all.push(Said::amiss(format!("its error: {error}")));
    }
    if account.jumps > 0 {
        all.push(Said::amiss(format!(
            "{} times lines were lost on the way",
            account.jumps
        )));
    }
    all.extend(failed.map(Said::amiss));
    all
}

impl Drop for SensorPort {
    fn drop(&mut self) {
        self.over.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn listen(
    mut line: SerialLine,
    mut talk: Talk,
    mut into: rtrb::Producer<Reading>,
    told: &Mutex<Told>,
    over: &AtomicBool,
) {
    let mut inbox = Vec::with_capacity(4_096);
    let mut outbox = Vec::new();
    let mut account_due = line.now();
    while !over.load(Ordering::SeqCst) {
        let turn = one_turn(&mut line, &mut talk, &mut into, &mut inbox, &mut outbox);
        if turn.is_err() || line.now() >= account_due {
            account_due = line.now().plus_us(ACCOUNT_US);
            if let Ok(mut told) = told.lock() {
                (told.account, told.rate_hz) = match &talk {
                    Talk::Lines(lines) => (lines.account().clone(), lines.rate_hz()),
                    Talk::Scpi(scpi) => (scpi.account().clone(), None),
                };
                told.failed = turn.as_ref().err().map(ToString::to_string);
            }
        }
        if turn.is_err() {
            return;
        }
    }
}

fn one_turn(
    line: &mut SerialLine,
    talk: &mut Talk,
    into: &mut rtrb::Producer<Reading>,
    inbox: &mut Vec<u8>,
    outbox: &mut Vec<u8>,
) -> Result<(), LineError> {
    let mut until = line.now().plus_us(LOOK_US);
    if let Talk::Scpi(scpi) = talk {
        outbox.clear();
        scpi.poll_transmit(ns(line.now()), outbox);
        if !outbox.is_empty() {
            line.write(outbox, false)?;
        }
        until = until.min(HostNs(u64::try_from(scpi.deadline_ns()).unwrap_or(0)));
    }
    inbox.clear();
    line.wait(until, inbox)?;
    let now = ns(line.now());
    let mut take = |reading| {
        let _ = into.push(reading); // a full ring: see the module's text
    };
    match talk {
        Talk::Lines(lines) => lines.receive(now, inbox, &mut take),
        Talk::Scpi(scpi) => scpi.receive(now, inbox, &mut take),
    }
    Ok(())
}

/// A host time as the sensors' code has it.
pub(crate) fn ns(now: HostNs) -> i64 {
    i64::try_from(now.0).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::words;
    use bench_core::sensor::lines::LinesSettings;
    use bench_core::sensor::{Account, Lines, Scale};

    /// What a sensor declared with 1,000 lines a second is said to do when it sends one each `period_ns`.
    fn account(period_ns: i64, line: &str) -> Account {
        let mut lines = Lines::new(LinesSettings {
            pattern: "{torque} N·m".parse().unwrap(),
            scale: Scale {
                nm: 1.0,
                offset_nm: 0.0,
            },
            rate_hz: 1_000.0,
            delay_s: 0.0,
            way_s: 1e-3,
        });
        for number in 0..2_000 {
            lines.receive(number * period_ns, line.as_bytes(), |_| {});
        }
        lines.account().clone()
    }

    fn amiss(account: &Account, failed: Option<&str>) -> Vec<String> {
        let all = words("/dev/demo", 1_000.0, account, failed);
        all.into_iter()
            .filter(|said| said.amiss)
            .map(|said| said.words)
            .collect()
    }

    #[test]
    fn a_rate_beside_the_declared_one_is_amiss_and_a_rounded_one_is_not() {
        let line = "0.5 N·m\n";
        // 1,000 and 996 lines a second.
        for period_ns in [1_000_000, 1_004_000] {
            assert_eq!(amiss(&account(period_ns, line), None), [""; 0], "{period_ns}");
        }
        let fast = amiss(&account(900_000, line), None);
        assert!(
            fast.iter()
                .any(|words| words == "it sends 1111.1 lines a second, 1000.0 declared"),
            "{fast:?}"
        );
    }

    #[test]
    fn whatever_is_not_a_plain_fact_is_amiss() {
        assert_eq!(
            amiss(&Account::default(), None),
            ["torque sensor on /dev/demo: 0 readings"]
        );
        // The first line may be half a one and counts for nothing.
        let other = amiss(&account(1_000_000, "0.5 lbf·ft\n"), Some("the port is gone"));
        assert!(
            other[0].contains("0 readings") && other[1].contains("1999 lines not read"),
            "{other:?}"
        );
        assert_eq!(other[2], "the port is gone");
    }
}
