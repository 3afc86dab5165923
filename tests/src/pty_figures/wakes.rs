//! How late the bench's serial line wakes from a wait in which no bytes come.

use truerim::drive::clock::HostClock;
use truerim::drive::schedule::{Granted, ask_for_real_time};
use truerim::drive::{Line, SerialLine};

use super::Unmeasured;
use super::pty::Pty;
use super::spread::Spread;

/// Lengths of the waits in turn, µs: what the run's deadlines leave between two batches, and longer.
const LENGTHS_US: [u64; 8] = [100, 250, 500, 750, 1_000, 1_500, 3_000, 5_000];

/// Lateness under both kinds of scheduling.
#[derive(Debug, Clone)]
pub struct Wakes {
    /// Without real-time scheduling.
    pub ordinary: Spread,
    /// With it, and what was granted.
    pub real_time: (Spread, Granted),
}

/// Waits `rounds` times for each of the lengths, under each kind of scheduling.
///
/// # Errors
/// [`Unmeasured`] when no pseudo-terminal can be had or it fails.
pub fn measure(rounds: usize) -> Result<Wakes, Unmeasured> {
    let (ordinary, _) = in_a_thread(rounds, || {
        let _ = rustix::mm::munlockall();
        None
    })?;
    let (real_time, granted) = in_a_thread(rounds, || Some(ask_for_real_time()))?;
    let granted = granted.ok_or_else(|| Unmeasured("nothing was asked for".to_owned()))?;
    Ok(Wakes {
        ordinary,
        real_time: (real_time, granted),
    })
}

fn in_a_thread(
    rounds: usize,
    ask: impl FnOnce() -> Option<Granted> + Send,
) -> Result<(Spread, Option<Granted>), Unmeasured> {
    let waited = std::thread::scope(|scope| {
        let waiting = scope.spawn(|| {
            let granted = ask();
            wait_often(rounds).map(|spread| (spread, granted))
        });
        waiting.join()
    });
    waited.map_err(|_| Unmeasured("the waiting thread panicked".to_owned()))?
}

fn wait_often(rounds: usize) -> Result<Spread, Unmeasured> {
    let terminal = Pty::open()?;
    let mut port = SerialLine::open(&terminal.path, 2_000_000)
        .map_err(|error| Unmeasured::from_error("opening the port", &error))?;
    let clock = HostClock::start();
    let mut inbox = Vec::new();
    let mut late_ns = Vec::with_capacity(rounds * LENGTHS_US.len());
    for length_us in std::iter::repeat_n(LENGTHS_US, rounds).flatten() {
        let begun = clock.now();
        port.wait(port.now().plus_us(length_us), &mut inbox)
            .map_err(|error| Unmeasured::from_error("waiting", &error))?;
        let waited_ns = clock.now().0.saturating_sub(begun.0);
        let late = i128::from(waited_ns) - i128::from(length_us) * 1_000;
        late_ns.push(i64::try_from(late).unwrap_or(i64::MAX));
    }
    Spread::of(late_ns).ok_or_else(|| Unmeasured("no waits were asked for".to_owned()))
}
