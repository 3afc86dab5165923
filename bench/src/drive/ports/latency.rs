//! The latency timer of USB serial bridges.
//!
//! A bridge may hold a short packet back until its timer has run out, 16 ms as a rule where nobody sets it: the bench's reaction, and the clock alignment of
//! its round trips, then contain that wait. Some drivers of Linux show the timer below `/sys/bus/usb-serial`; ports without one (a
//! microcontroller's own USB, a pseudo-terminal, a plain serial line) have nothing to set.

use std::path::{Path, PathBuf};

/// Shortest time that bridges take, ms.
const SHORTEST_MS: u32 = 1;
/// Where Linux shows the timers.
const DEVICES: &str = "/sys/bus/usb-serial/devices";

/// What became of a timer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LatencyTimer {
    /// The port has none.
    None,
    /// It is as short as can be already, ms.
    Short(u32),
    /// It was set from the first to the second, ms.
    Set(u32, u32),
    /// It is at so many ms and cannot be set; why.
    Left(u32, String),
}

impl std::fmt::Display for LatencyTimer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::None => f.write_str("the port has no latency timer"),
            Self::Short(ms) => write!(f, "USB latency timer {ms} ms"),
            Self::Set(was, now) => write!(f, "USB latency timer set from {was} to {now} ms"),
            Self::Left(ms, why) => write!(f, "USB latency timer left at {ms} ms: {why}"),
        }
    }
}

fn timer(devices: &Path, port: &Path) -> Option<PathBuf> {
    let node = std::fs::canonicalize(port).ok()?;
    let file = devices.join(node.file_name()?).join("latency_timer");
    file.exists().then_some(file)
}

fn read(file: &Path) -> Option<u32> {
    std::fs::read_to_string(file).ok()?.trim().parse().ok()
}

/// The timer of a port, ms; `None` where it has none.
#[must_use]
pub fn latency_timer_ms(port: &Path) -> Option<u32> {
    read(&timer(Path::new(DEVICES), port)?)
}

/// Sets a port's timer as short as can be. It is done before the port is opened: some bridges fall silent for a moment.
#[must_use]
pub fn lower_latency(port: &Path) -> LatencyTimer {
    lower_in(Path::new(DEVICES), port)
}

fn lower_in(devices: &Path, port: &Path) -> LatencyTimer {
    let found = timer(devices, port).and_then(|file| read(&file).map(|was| (file, was)));
    let Some((file, was)) = found else {
        return LatencyTimer::None;
    };
    if was <= SHORTEST_MS {
        return LatencyTimer::Short(was);
    }
    match std::fs::write(&file, SHORTEST_MS.to_string()) {
        Ok(()) => match read(&file) {
            Some(now) if now < was => LatencyTimer::Set(was, now),
            _ => LatencyTimer::Left(was, "its driver takes no other".to_owned()),
        },
        Err(error) => LatencyTimer::Left(
            was,
            format!("{error}; as root: echo {SHORTEST_MS} > {}", file.display()),
        ),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::{LatencyTimer, lower_in, read};
    use std::path::Path;

    #[test]
    fn a_timer_is_lowered_where_there_is_one() {
        let folder = tempfile::tempdir().unwrap();
        let port = folder.path().join("ttyUSB3");
        std::fs::write(&port, "").unwrap();
        assert_eq!(lower_in(folder.path(), &port), LatencyTimer::None);
        let devices = folder.path().join("devices");
        let file = devices.join("ttyUSB3/latency_timer");
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&file, "16\n").unwrap();
        assert_eq!(lower_in(&devices, &port), LatencyTimer::Set(16, 1));
        assert_eq!(read(&file), Some(1));
        assert_eq!(lower_in(&devices, &port), LatencyTimer::Short(1));
        // By its stable name, a link, as well.
        let link = folder.path().join("by-id");
        std::os::unix::fs::symlink(&port, &link).unwrap();
        assert_eq!(lower_in(&devices, &link), LatencyTimer::Short(1));
        assert_eq!(lower_in(&devices, Path::new("/dev/nothing")), LatencyTimer::None);
    }
}
