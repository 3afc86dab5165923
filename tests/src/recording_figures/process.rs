//! A process about itself and others: memory, processor time, and what it says.

use std::process::Command;

/// A number from a file of `/proc/self`: the one behind `name`.
#[must_use]
pub fn number(file: &str, name: &str) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/self/{file}")).unwrap();
    let line = text.lines().find(|line| line.starts_with(name)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Begins a new count of the greatest resident memory (proc(5): `clear_refs`).
pub fn reset_peak() {
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
}

/// Greatest resident memory since then, kB.
#[must_use]
pub fn peak_kb() -> u64 {
    number("status", "VmHWM:")
}

/// Processor time of all threads that are alive, s; to the nanosecond, unlike what `/proc/self/stat` has.
#[must_use]
pub fn processor_s() -> f64 {
    let threads = std::fs::read_dir("/proc/self/task").unwrap();
    let ns = threads.map(|thread| {
        let text = std::fs::read_to_string(thread.unwrap().path().join("schedstat")).unwrap();
        text.split_whitespace().next().unwrap().parse::<f64>().unwrap()
    });
    ns.sum::<f64>() * 1e-9
}

/// What a process said, as lines of `NAME VALUE`.
pub struct Figures(Vec<(String, f64)>);

impl Figures {
    /// Runs it.
    pub fn of(command: &mut Command) -> Self {
        let output = command.output().unwrap();
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        let complaint = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{told}{complaint}");
        let pair = |line: &str| {
            let (name, value) = line.split_once(' ')?;
            Some((name.to_owned(), value.parse().ok()?))
        };
        Self(told.lines().filter_map(pair).collect())
    }

    /// One of them.
    #[must_use]
    pub fn get(&self, name: &str) -> f64 {
        let found = self.0.iter().find(|(n, _)| n == name);
        found.unwrap_or_else(|| panic!("no {name}")).1
    }
}
