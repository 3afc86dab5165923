//! The program itself, as a process of its own: this file's program is it too.

use std::fs::File;
use std::path::Path;
use std::process::{Child, Command};

use truerim::recording::{Completion, Recording, verify};

/// Commands that are the program's.
pub(crate) const COMMANDS: [&str; 3] = ["record", "check", "ports"];

/// A run of the program and where its words go.
pub(crate) struct Started {
    child: Child,
    words: String,
}

/// How it ended, and what it said.
pub(crate) struct Ended {
    pub(crate) code: Option<i32>,
    pub(crate) words: String,
}

/// Starts it.
pub(crate) fn start(words: &str, args: &[&str]) -> Started {
    let words = format!("/tmp/{words}.txt");
    let both = File::create(&words).unwrap();
    let mut command = Command::new("/init");
    command.args(args).stdout(both.try_clone().unwrap()).stderr(both);
    Started {
        child: command.spawn().unwrap(),
        words,
    }
}

impl Started {
    /// Whether it has ended.
    pub(crate) fn has_ended(&mut self) -> bool {
        self.child.try_wait().unwrap().is_some()
    }

    /// What it has said so far.
    pub(crate) fn end_now(&self) -> String {
        std::fs::read_to_string(&self.words).unwrap_or_default()
    }

    /// Waits for its end.
    pub(crate) fn end(mut self) -> Ended {
        let code = self.child.wait().unwrap().code();
        let words = std::fs::read_to_string(&self.words).unwrap();
        Ended { code, words }
    }
}

impl Ended {
    /// Fails with all that it said unless it ended like that.
    pub(crate) fn must(&self, code: i32, says: &[&str]) {
        let words = &self.words;
        assert_eq!(self.code, Some(code), "{words}");
        for part in says {
            assert!(words.contains(part), "no \"{part}\" in:\n{words}");
        }
    }
}

/// A recording that a loss cut short: kept, sealed as stopped for that reason, unchanged since, with torque in it.
pub(crate) fn kept(folder: &str, cause: &str) -> usize {
    let path = Path::new(folder).join("recording.h5");
    assert!(verify(&path).unwrap().is_intact(), "{folder}");
    let recording = Recording::open(&path).unwrap();
    match recording.completion() {
        Some(Completion::Stopped { cause: told }) => assert!(told.contains(cause), "{told}"),
        other => panic!("{folder}: {other:?}"),
    }
    let torque = recording.values("torque", 0..recording.rows()).unwrap();
    assert!(
        torque.iter().any(|nm| nm.abs() > 0.3),
        "{folder}: no torque in it"
    );
    recording.rows()
}
