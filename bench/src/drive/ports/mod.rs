//! Serial ports with what they are.
//!
//! A port's path changes from one plugging in to the next; its name below `/dev/serial/by-id` and its USB identity do not. A rig file may give either in
//! place of a path: `usb:0403:6001`, or with the serial number behind it `usb:0403:6001:A1B2C3`.

mod latency;

pub use latency::{LatencyTimer, latency_timer, latency_timer_ms, lower_latency};

use std::path::{Path, PathBuf};

use serialport::SerialPortType;

/// What a USB device says that it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Usb {
    /// Vendor's number.
    pub vendor: u16,
    /// Product's number.
    pub product: u16,
    /// Serial number, where there is one.
    pub serial: Option<String>,
    /// Maker and product in words, where it has them.
    pub words: String,
}

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Path to open it by now.
    pub path: PathBuf,
    /// A name that stays, where the system gives one.
    pub stable: Option<PathBuf>,
    /// What is on USB.
    pub usb: Option<Usb>,
}

impl Port {
    /// Time for which its bridge may hold a short packet back, ms; `None` where it has no such timer.
    #[must_use]
    pub fn latency_timer_ms(&self) -> Option<u32> {
        latency_timer_ms(&self.path)
    }
}

impl std::fmt::Display for Port {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.path.display())?;
        match &self.usb {
            Some(usb) => {
                write!(f, ", usb:{:04x}:{:04x}", usb.vendor, usb.product)?;
                if let Some(serial) = &usb.serial {
                    write!(f, ":{serial}")?;
                }
                if !usb.words.is_empty() {
                    write!(f, " ({})", usb.words)?;
                }
            }
            None => f.write_str(", not on USB")?,
        }
        if let Some(stable) = &self.stable {
            write!(f, ", stable name {}", stable.display())?;
        }
        Ok(())
    }
}

/// The serial ports of this computer, by path. A system that cannot tell has none.
#[must_use]
pub fn list() -> Vec<Port> {
    // The library takes for granted that there is such a folder.
    if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    let stable = stable_names(Path::new("/dev/serial/by-id"));
    let mut ports: Vec<Port> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|found| {
            let path = device_of(&found.port_name);
            Port {
                stable: stable
                    .iter()
                    .find(|(_, to)| *to == path)
                    .map(|(name, _)| name.clone()),
                usb: match found.port_type {
                    SerialPortType::UsbPort(usb) => Some(Usb {
                        vendor: usb.vid,
                        product: usb.pid,
                        serial: usb.serial_number,
                        words: [usb.manufacturer, usb.product]
                            .into_iter()
                            .flatten()
                            .collect::<Vec<_>>()
                            .join(" "),
                    }),
                    _ => None,
                },
                path,
            }
        })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    ports.dedup_by(|a, b| a.path == b.path);
    ports
}

/// Where no udev runs, ports are told by their place below `/sys`.
fn device_of(name: &str) -> PathBuf {
    match name.strip_prefix("/sys/class/tty/") {
        Some(node) => Path::new("/dev").join(node),
        None => PathBuf::from(name),
    }
}

/// Names in a folder of links, and what they lead to.
fn stable_names(folder: &Path) -> Vec<(PathBuf, PathBuf)> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .filter_map(|entry| Some((entry.path(), std::fs::canonicalize(entry.path()).ok()?)))
        .collect()
}

/// The path of a port given by its path or by what is on USB.
///
/// # Errors
/// What was found instead of exactly one.
pub fn resolve(asked: &str) -> Result<String, String> {
    resolve_among(asked, list)
}

fn resolve_among(asked: &str, list: impl FnOnce() -> Vec<Port>) -> Result<String, String> {
    let Some(identity) = asked.strip_prefix("usb:") else {
        return Ok(asked.to_owned());
    };
    let mut parts = identity.splitn(3, ':');
    let mut number = || u16::from_str_radix(parts.next()?, 16).ok();
    let (Some(vendor), Some(product)) = (number(), number()) else {
        return Err(format!(
            "{asked} is no USB identity; write usb:VENDOR:PRODUCT with four hexadecimal digits each"
        ));
    };
    let serial = parts.next();
    let ports = list();
    let fits = |port: &&Port| {
        port.usb.as_ref().is_some_and(|usb| {
            (usb.vendor, usb.product) == (vendor, product)
                && serial.is_none_or(|serial| usb.serial.as_deref() == Some(serial))
        })
    };
    let found: Vec<&Port> = ports.iter().filter(fits).collect();
    match found.as_slice() {
        [one] => Ok(one.path.display().to_string()),
        [] => Err(format!(
            "no port is {asked}; there are: {}",
            all_of(&ports.iter().collect::<Vec<_>>())
        )),
        several => Err(format!(
            "{} ports are {asked}: {}; add the serial number, or give a stable name",
            several.len(),
            all_of(several)
        )),
    }
}

fn all_of(ports: &[&Port]) -> String {
    if ports.is_empty() {
        return "none".to_owned();
    }
    let each: Vec<String> = ports.iter().map(ToString::to_string).collect();
    each.join("; ")
}

#[cfg(test)]
mod tests {
    use super::{Port, Usb, resolve_among};
    use std::path::PathBuf;

    fn ports() -> Vec<Port> {
        let port = |path: &str, product, serial: &str| Port {
            path: PathBuf::from(path),
            stable: None,
            usb: Some(Usb {
                vendor: 0x1209,
                product,
                serial: Some(serial.to_owned()),
                words: String::new(),
            }),
        };
        vec![
            port("/dev/ttyACM0", 1, "A"),
            port("/dev/ttyACM1", 2, "B"),
            port("/dev/ttyACM2", 2, "C:D"),
        ]
    }

    #[test]
    fn a_port_is_found_by_what_it_is_or_not_at_all() {
        let resolve = |asked: &str| resolve_among(asked, ports);
        assert_eq!(resolve("/dev/ttyS7").unwrap(), "/dev/ttyS7");
        assert_eq!(resolve("usb:1209:0001").unwrap(), "/dev/ttyACM0");
        assert_eq!(resolve("usb:1209:0002:C:D").unwrap(), "/dev/ttyACM2");
        let two = resolve("usb:1209:0002").unwrap_err();
        assert!(two.contains("2 ports") && two.contains("/dev/ttyACM1"), "{two}");
        let none = resolve("usb:1209:0003").unwrap_err();
        assert!(
            none.contains("no port is") && none.contains("/dev/ttyACM0"),
            "{none}"
        );
        assert!(resolve("usb:xyz").unwrap_err().contains("hexadecimal"));
    }
}
