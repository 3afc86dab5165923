//! The latency timer of USB serial bridges.
//!
//! A bridge may hold a short packet back until its timer has run out, 16 ms as a rule where nobody sets it: the bench's reaction, and the clock alignment of
//! its round trips, then contain that wait. Some drivers of Linux show the timer below `/sys/bus/usb-serial`; ports without one (a
//! microcontroller's own USB, a pseudo-terminal, a plain serial line) have nothing to set.
//!
//! The ioctl `TIOCSSERIAL` with the flag for low latency would do it for whoever may open the port, without root. It wants unsafe code; rustix
//! and serialport do not offer it, so the file below `/sys` is the one way here, and `docs/fixture.md` has the rule for udev.

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
    let write = |file: &Path, text: &str| std::fs::write(file, text);
    lower_in(Path::new(DEVICES), port, &write)
}

/// A port's timer as it stands, nothing set: for what is written down while the port is in use.
#[must_use]
pub fn latency_timer(port: &Path) -> LatencyTimer {
    let as_it_is = |_: &Path, _: &str| Err(std::io::Error::other("it was not permitted to be set"));
    lower_in(Path::new(DEVICES), port, &as_it_is)
}

impl LatencyTimer {
    /// For a recording, under a name that begins like this: its time, and why it is no shorter where it might be.
    #[must_use]
    pub fn facts(&self, name: &str) -> Vec<(String, String)> {
        let time = |ms: u32| (format!("{name}usb_latency_timer_ms"), ms.to_string());
        match self {
            Self::None => Vec::new(),
            Self::Short(ms) | Self::Set(_, ms) => vec![time(*ms)],
            Self::Left(ms, _) => vec![time(*ms), (format!("{name}usb_latency_timer"), self.to_string())],
        }
    }
}

fn lower_in(devices: &Path, port: &Path, write: &dyn Fn(&Path, &str) -> std::io::Result<()>) -> LatencyTimer {
    let found = timer(devices, port).and_then(|file| read(&file).map(|was| (file, was)));
    let Some((file, was)) = found else {
        return LatencyTimer::None;
    };
    if was <= SHORTEST_MS {
        return LatencyTimer::Short(was);
    }
    match write(&file, &SHORTEST_MS.to_string()) {
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
    use super::{LatencyTimer, read};
    use std::path::Path;

    fn lower_in(devices: &Path, port: &Path) -> LatencyTimer {
        super::lower_in(devices, port, &|file, text| std::fs::write(file, text))
    }

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

    #[test]
    fn one_that_stays_long_is_told_with_what_to_do() {
        let folder = tempfile::tempdir().unwrap();
        let (port, devices) = (folder.path().join("ttyUSB3"), folder.path().join("devices"));
        let file = devices.join("ttyUSB3/latency_timer");
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&port, "").unwrap();
        std::fs::write(&file, "16\n").unwrap();
        let refused = |_: &Path, _: &str| Err(std::io::ErrorKind::PermissionDenied.into());
        let left = super::lower_in(&devices, &port, &refused);
        let words = left.to_string();
        assert!(
            words.contains("left at 16 ms") && words.contains("as root: echo 1 > "),
            "{words}"
        );
        assert!(words.contains("latency_timer"), "{words}");
        // A driver that takes it and does nothing.
        let ignored = super::lower_in(&devices, &port, &|_, _| Ok(()));
        assert!(
            matches!(&ignored, LatencyTimer::Left(16, why) if why.contains("driver")),
            "{ignored}"
        );
        // What a recording has of each.
        let name = |text: &str| text.to_owned();
        let time = |ms: &str| (name("usb_latency_timer_ms"), name(ms));
        assert_eq!(LatencyTimer::None.facts(""), []);
        assert_eq!(LatencyTimer::Short(1).facts(""), [time("1")]);
        assert_eq!(LatencyTimer::Set(16, 1).facts(""), [time("1")]);
        assert_eq!(left.facts(""), [time("16"), (name("usb_latency_timer"), words)]);
        assert_eq!(left.facts("sensor_")[0].0, "sensor_usb_latency_timer_ms");
        // A file that holds no number is no timer.
        std::fs::write(&file, "fast").unwrap();
        assert_eq!(super::lower_in(&devices, &port, &refused), LatencyTimer::None);
    }
}
