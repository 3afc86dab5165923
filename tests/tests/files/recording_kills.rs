//! A process that records a run is killed at 200 random moments: whatever was called safe is there, and recovery makes
//! a clean file of it without touching the damaged one.
#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test ends with the first surprise; a random moment is waited for"
)]

use std::path::Path;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use acceptance::kills::{self, Victim, Word};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use tempfile::tempdir;
use truerim::recording::{Recording, recover, verify};

const KILLS: u64 = 200;
const CHILD: &str = "recording_kills::child_that_records_until_it_is_killed";

/// Not a test by itself: the process that is killed.
#[test]
fn child_that_records_until_it_is_killed() {
    if let Some(path) = std::env::var_os(kills::PATH) {
        kills::record(Path::new(&path));
    }
}

/// What the same run leaves when nobody kills it.
struct Whole {
    ticks: Vec<u64>,
    counts: Vec<(String, Vec<i32>)>,
    /// How often it told what was safe.
    words: usize,
    /// From the start of making the file to the first flush, µs.
    making_us: u64,
    /// How long sealing took, µs.
    sealing_us: u64,
}

impl Whole {
    fn record(path: &Path) -> Self {
        let mut child = Victim::start(CHILD, path);
        let mut said = Vec::new();
        while let Some(word) = child.listen() {
            said.push((Instant::now(), word));
        }
        let words = said
            .iter()
            .filter(|(_, word)| matches!(word, Word::Safe(_)))
            .count();
        let when = |wanted: fn(&Word) -> bool| said.iter().find(|(_, word)| wanted(word)).unwrap().0;
        let first = when(|word| matches!(word, Word::Safe(_)));
        let making = first - when(|word| *word == Word::Creating);
        let sealing = when(|word| *word == Word::Sealed) - when(|word| *word == Word::Sealing);
        let us = |span: Duration| u64::try_from(span.as_micros()).unwrap().max(1);
        assert!(verify(path).unwrap().is_intact());
        let recording = Recording::open(path).unwrap();
        let rows = recording.rows();
        assert!(rows > 8_000 && words > 10, "{rows} {words}");
        Self {
            ticks: recording.ticks(0..rows).unwrap().to_vec(),
            counts: counts(&recording),
            words,
            making_us: us(making),
            sealing_us: us(sealing),
        }
    }

    /// Nothing but the first rows of this run.
    fn begins_with(&self, recording: &Recording) {
        let rows = recording.rows();
        assert_eq!(recording.ticks(0..rows).unwrap().to_vec(), self.ticks[..rows]);
        for ((name, all), (other, part)) in self.counts.iter().zip(counts(recording)) {
            assert_eq!(*name, other);
            assert_eq!(part, all[..rows], "{name}");
        }
    }
}

fn counts(recording: &Recording) -> Vec<(String, Vec<i32>)> {
    let raw = |name: &str| recording.raw(name, 0..recording.rows()).unwrap().to_vec();
    let channels = recording.header().channels.iter();
    channels.map(|c| (c.name.clone(), raw(&c.name))).collect()
}

/// What a kill left behind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Left {
    Nothing,
    Live,
    Sealed,
}

/// Kills one run at a random moment of the stretch that `number` is for.
fn kill(number: u64, path: &Path, whole: &Whole) -> Victim {
    let mut random = ChaCha8Rng::seed_from_u64(number);
    let mut below = |limit: u64| random.next_u64() % limit;
    let mut child = Victim::start(CHILD, path);
    let wait_for =
        |child: &mut Victim, wanted: Word| while child.listen().is_some_and(|word| word != wanted) {};
    match number % 4 {
        // Before the first flush: while the rig is asked, and while the file is made.
        0 => {
            wait_for(&mut child, Word::Creating);
            std::thread::sleep(Duration::from_micros(below(whole.making_us)));
        }
        // While sealing, and after.
        1 => {
            wait_for(&mut child, Word::Sealing);
            std::thread::sleep(Duration::from_micros(below(whole.sealing_us * 5 / 4)));
        }
        // While recording.
        _ => {
            for _ in 0..=below(whole.words as u64) {
                child.listen();
            }
            std::thread::sleep(Duration::from_micros(below(15_000)));
        }
    }
    let sealed = child.kill();
    assert!(!sealed || path.exists());
    child
}

fn judge(path: &Path, child: &Victim, whole: &Whole) -> Left {
    if !path.exists() {
        assert_eq!(child.safe, 0, "called safe, and no file is there");
        return Left::Nothing;
    }
    let recording = Recording::open(path).unwrap();
    let rows = recording.rows();
    assert!(rows >= child.safe, "{rows} rows of {} that were safe", child.safe);
    whole.begins_with(&recording);
    if !recording.is_live() {
        assert_eq!(rows, whole.ticks.len());
        assert!(verify(path).unwrap().is_intact());
        return Left::Sealed;
    }
    drop(recording);
    let before = std::fs::read(path).unwrap();
    let out = path.with_extension("recovered.h5");
    let recovered = recover(path, &out).unwrap();
    assert_eq!(
        std::fs::read(path).unwrap(),
        before,
        "the damaged file was touched"
    );
    assert_eq!(
        (
            recovered.rows,
            recovered.unreadable_rows,
            recovered.unreadable_note_bytes
        ),
        (rows as u64, 0, 0)
    );
    let clean = Recording::open(&out).unwrap();
    assert_eq!(clean.rows(), rows);
    whole.begins_with(&clean);
    assert!(verify(&out).unwrap().is_intact());
    for file in [path, &out] {
        std::fs::remove_file(file).unwrap();
    }
    Left::Live
}

#[test]
fn a_run_killed_at_any_moment_leaves_all_that_was_safe() {
    let directory = tempdir().unwrap();
    let whole = Whole::record(&directory.path().join("whole.h5"));
    let left = Mutex::new(Vec::new());
    let next = std::sync::atomic::AtomicU64::new(0);
    std::thread::scope(|scope| {
        for _ in 0..3 {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if number >= KILLS {
                        break;
                    }
                    let path = directory.path().join(format!("{number}.h5"));
                    let child = kill(number, &path, &whole);
                    let found = judge(&path, &child, &whole);
                    left.lock().unwrap().push(found);
                }
            });
        }
    });
    let left = left.into_inner().unwrap();
    let count = |which| left.iter().filter(|one| **one == which).count();
    let counts = [Left::Nothing, Left::Live, Left::Sealed].map(count);
    println!(
        "{KILLS} kills: {} before the file was there, {} live, {} sealed",
        counts[0], counts[1], counts[2]
    );
    assert_eq!(left.len() as u64, KILLS);
    // Half of the kills come after a first flush and before sealing is asked for.
    assert!(counts[1] >= 50, "{counts:?}");
}
