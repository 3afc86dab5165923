//! The thread that drives the motor asks for no memory and gives none back from the moment the rig is armed until a
//! stop is written: an allocator may wait for a lock, for the kernel, or for another thread. Counted by an allocator
//! of this test's own, so that these tests have a program to themselves.
#![allow(unsafe_code)] // an allocator cannot be written without; the proof is beside it
#![allow(clippy::unwrap_used)] // helpers count as production code

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::path::Path;

use bench_core::run::{End, Permit};
use bench_core::time::HostNs;
use rig_link::{HostMessage, RigMessage, RigState, Splitter};
use truerim::drive::{Line, LineError, LockStep, StopFlag};
use truerim::session::{Bench, Order, SettingsText, plan_for, record_over};
use virtual_rig::VirtualRig;

/// What this thread asked the allocator for while it was to be watched.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Asked {
    allocated: u64,
    freed: u64,
}

thread_local! {
    // Without a destructor and with constant beginnings: using them allocates nothing.
    static WATCHED: Cell<bool> = const { Cell::new(false) };
    static ASKED: Cell<Asked> = const { Cell::new(Asked { allocated: 0, freed: 0 }) };
}

/// The system's allocator, watched.
struct Watching;

fn note(allocated: u64, freed: u64) {
    if WATCHED.get() {
        let mut asked = ASKED.get();
        asked.allocated += allocated;
        asked.freed += freed;
        ASKED.set(asked);
    }
}

// SAFETY: every call goes on to the system's allocator unchanged, so that its guarantees hold; `note` neither
// allocates nor unwinds: it reads and writes thread-local cells that have no destructor and need no set-up.
unsafe impl GlobalAlloc for Watching {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        note(1, 0);
        // SAFETY: the caller's promise is passed on.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        note(0, 1);
        // SAFETY: the caller's promise is passed on.
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        note(1, 0);
        // SAFETY: the caller's promise is passed on.
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        note(1, 1);
        // SAFETY: the caller's promise is passed on.
        unsafe { System.realloc(pointer, layout, size) }
    }
}

#[global_allocator]
static ALLOCATOR: Watching = Watching;

/// A line that watches this thread while the rig is armed: from the delivery of the bytes that say so until the call
/// that writes a stop. What the line underneath does itself counts only when `own_too`.
struct Watched<'a, L: Line> {
    line: L,
    own_too: bool,
    from_rig: Splitter,
    to_rig: Splitter,
    armed: bool,
    seen: &'a mut Seen,
}

#[derive(Debug, Default)]
struct Seen {
    armings: u32,
    waits: u64,
    setpoints: u64,
    asked: Asked,
}

impl<'a, L: Line> Watched<'a, L> {
    fn new(line: L, own_too: bool, seen: &'a mut Seen) -> Self {
        ASKED.set(Asked::default());
        Self {
            line,
            own_too,
            from_rig: Splitter::new(),
            to_rig: Splitter::new(),
            armed: false,
            seen,
        }
    }

    /// Runs the line underneath, watched or not.
    fn under<T>(&mut self, call: impl FnOnce(&mut L) -> T) -> T {
        WATCHED.set(self.armed && self.own_too);
        let done = call(&mut self.line);
        WATCHED.set(false);
        done
    }
}

impl<L: Line> Line for Watched<'_, L> {
    fn now(&self) -> HostNs {
        self.line.now()
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let before = inbox.len();
        let waited = self.under(|line| line.wait(until, inbox));
        let (mut armed, mut over) = (false, false);
        self.from_rig
            .feed(inbox.get(before..).unwrap_or_default(), |frame| {
                if let Ok(Ok(RigMessage::Status(status))) = frame.map(RigMessage::parse) {
                    armed |= status.state == RigState::Armed;
                    over |= status.state != RigState::Armed;
                }
            });
        if armed && !over && !self.armed {
            self.seen.armings += 1;
            self.armed = true;
        } else if over {
            self.armed = false; // the rig's own watchdog, while it was proved
        }
        self.seen.waits += u64::from(self.armed);
        WATCHED.set(self.armed);
        waited
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        WATCHED.set(false);
        let (mut stop, mut setpoints) = (false, 0);
        self.to_rig
            .feed(bytes, |frame| match frame.map(HostMessage::parse) {
                Ok(Ok(HostMessage::Stop(_))) => stop = true,
                Ok(Ok(HostMessage::Setpoints(_))) => setpoints += 1,
                _ => {}
            });
        self.seen.setpoints += setpoints;
        let written = self.under(|line| line.write(bytes, discard_first));
        self.armed &= !stop;
        WATCHED.set(self.armed);
        written
    }
}

impl<L: Line> Drop for Watched<'_, L> {
    fn drop(&mut self) {
        WATCHED.set(false);
        self.seen.asked = ASKED.get();
    }
}

/// Shorter than the 10 s that the recorder's queue holds, as a rig in lock-step runs faster than any disk.
const PROCEDURE: &str = r#"
[procedure]
name = "short"
purpose = "counting"
mounting = "clamped"
sample_rate = "4 kHz"
zero = "500 ms"

[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]

[[segment]]
name = "steps"
excitation = "step"
levels = ["20 %", "-20 %"]
hold = "250 ms"
rest = "250 ms"
repeats = 3
"#;

fn bench(port: Option<String>) -> Bench {
    let rig = Path::new(env!("CARGO_MANIFEST_DIR")).join("../rigs/belt.toml");
    Bench::open(&rig, None, port, 5, "test".to_owned()).unwrap()
}

/// Records a run over `line`, as the program does in real time.
fn recorded(bench: &Bench, line: Box<dyn Line + '_>) -> (End, u64) {
    let procedure = SettingsText {
        file: "short.toml".to_owned(),
        text: PROCEDURE.to_owned(),
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recording.h5");
    let order = Order {
        bench,
        procedure: &procedure,
        plan: plan_for(&procedure, &bench.rig, 5).unwrap(),
        permit: Permit::granted("test"),
        path: &path,
        real_time: true,
        granted: None,
    };
    let mut drawn = 0_u64;
    let session = record_over(order, line, &StopFlag::new(), &mut |_| drawn += 1);
    assert!(session.recording_error.is_none(), "{:?}", session.recording_error);
    (session.outcome.end, session.outcome.counters.rows)
}

#[test]
fn an_armed_run_in_lock_step_asks_for_no_memory_and_frees_none() {
    let bench = bench(None);
    let rig = VirtualRig::from_toml("belt.toml", &bench.rig_text.text, 5).unwrap();
    let mut seen = Seen::default();
    // The virtual rig is no part of the bench: what it asks for does not count.
    let line = Watched::new(LockStep::new(rig), false, &mut seen);
    let (end, rows) = recorded(&bench, Box::new(line));
    assert_eq!(end, End::Completed);
    // It was armed for both proofs and for the plan, and looked at in every turn between.
    assert_eq!(seen.armings, 3, "{seen:?}");
    assert!(seen.waits > 3_000 && seen.setpoints > 100, "{seen:?}");
    assert!(rows > 12_000, "{rows}");
    assert_eq!(seen.asked, Asked::default(), "{seen:?}");
}
