//! The computer that the figures belong to.

use serde_json::{Value, json};

/// What tells one computer from another, as far as it can be read.
#[derive(Debug, Clone)]
pub struct Host {
    /// Kernel and its version.
    pub kernel: String,
    /// Processors that this process may use.
    pub processors: usize,
}

impl Host {
    /// Reads it.
    #[must_use]
    pub fn read() -> Self {
        let word = |path: &str| {
            std::fs::read_to_string(path).map_or_else(|_| "unknown".to_owned(), |text| text.trim().to_owned())
        };
        Self {
            kernel: format!(
                "{} {}",
                word("/proc/sys/kernel/ostype"),
                word("/proc/sys/kernel/osrelease")
            ),
            processors: std::thread::available_parallelism().map_or(0, usize::from),
        }
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({ "kernel": self.kernel, "processors": self.processors })
    }
}

/// Mean number of tasks that wanted to run, over the last minute; `None` where the system does not say.
#[must_use]
pub fn load_average() -> Option<f64> {
    std::fs::read_to_string("/proc/loadavg")
        .ok()?
        .split_whitespace()
        .next()?
        .parse()
        .ok()
}
