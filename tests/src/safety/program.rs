//! The real program against a real virtual rig: two processes and a pseudo-terminal, in real time.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use truerim::recording::Recording;

/// Longest wait for anything.
const PATIENCE: Duration = Duration::from_secs(30);
/// Between two looks.
const LOOK: Duration = Duration::from_millis(20);

/// One run in real time after the other: two on a small computer would disturb each other.
pub fn alone() -> MutexGuard<'static, ()> {
    static ONE: Mutex<()> = Mutex::new(());
    ONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Looks until there is something; panics when there is nothing for too long.
#[allow(clippy::disallowed_methods)] // two processes in real time: here nothing but time can be waited for
pub fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(began.elapsed() < PATIENCE, "no {what} within {PATIENCE:?}");
        std::thread::sleep(LOOK);
    }
}

/// The program, beside this test.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| crate::program::under_test().unwrap_or_else(|why| panic!("{why}")))
}

/// How a command of the program ended.
#[derive(Debug)]
pub struct Ended {
    /// Exit code; `None` when a signal killed it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// A process that is killed with its value, so that no failed test leaves one behind.
pub struct Process {
    child: Child,
}

impl Process {
    /// Starts the program with these arguments, and nobody at its standard input.
    pub fn start<S: AsRef<OsStr>>(args: impl IntoIterator<Item = S>) -> Self {
        let mut command = Command::new(program());
        command
            .args(args)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        Self {
            child: command.spawn().unwrap(),
        }
    }

    /// Sends it a signal, by name.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill")
            .arg(format!("-{name}"))
            .arg(self.child.id().to_string())
            .status();
        assert!(sent.unwrap().success(), "no signal {name}");
    }

    /// Whether it has ended.
    pub fn has_ended(&mut self) -> Option<ExitStatus> {
        self.child.try_wait().unwrap()
    }

    /// Waits for its end and reads while it does: a pipe holds 64 KiB, and whoever writes more waits for a reader.
    pub fn end(mut self) -> Ended {
        let out = read_aside(self.child.stdout.take());
        let err = read_aside(self.child.stderr.take());
        let status = wait_for("end of the program", || self.has_ended());
        Ended {
            code: status.code(),
            out: out.join().unwrap(),
            err: err.join().unwrap(),
        }
    }
}

/// Reads to the end on a thread of its own; nothing where there is nothing to read.
fn read_aside(from: Option<impl Read + Send + 'static>) -> JoinHandle<String> {
    std::thread::spawn(move || {
        let mut text = String::new();
        if let Some(mut from) = from {
            from.read_to_string(&mut text).unwrap();
        }
        text
    })
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Runs a command of the program to its end.
pub fn run<S: AsRef<OsStr>>(args: impl IntoIterator<Item = S>) -> Ended {
    Process::start(args).end()
}

/// `truerim virtual`, with the port that it printed.
pub struct ServedRig {
    process: Process,
    /// The port to open.
    pub port: String,
}

impl ServedRig {
    /// Starts it.
    pub fn start(rig: &Path) -> Self {
        let mut process = Process::start([OsStr::new("virtual"), OsStr::new("--rig"), rig.as_os_str()]);
        let out = process.child.stdout.take().unwrap();
        let (sender, receiver) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let mut line = String::new();
            let _ = BufReader::new(out).read_line(&mut line);
            let _ = sender.send(line);
        });
        let port = receiver.recv_timeout(PATIENCE).unwrap().trim().to_owned();
        assert!(port.starts_with("/dev/"), "no port: {port:?}");
        Self { process, port }
    }

    /// Pulls the plug.
    pub fn kill(mut self) {
        self.process.child.kill().unwrap();
        self.process.child.wait().unwrap();
    }
}

/// Waits until a recording shows that the first small torque passed and larger ones follow, or the program has ended.
pub fn wait_until_driven(process: &mut Process, recording: &Path) -> bool {
    wait_for("torque in the recording", || {
        if process.has_ended().is_some() {
            return Some(false);
        }
        let live = recording
            .exists()
            .then(|| Recording::open(recording).ok())
            .flatten()?;
        let passed = live
            .events()
            .iter()
            .find(|event| event.code == "approach-passed")?
            .tick;
        // The rest after it is over: the hold has begun.
        let rows = live.rows();
        let last = live.ticks(rows.checked_sub(1)?..rows).ok()?;
        (*last.first()? > passed + 600_000).then_some(true)
    })
}
