//! The line to a rig on a port, with the parts that its file puts around it.

use std::path::Path;

use bench_core::rig::{Drive, ForceFeedback, NO_PORT, Rig};

use crate::drive::clock::HostClock;
use crate::drive::force::{Player, Push};
use crate::drive::sense::{Sense, SensorPort};
use crate::drive::{Composed, Line, LineError, SerialLine, ports};

/// Opens everything that the rig file names: the rig controller on `port`, a sensor on its own, a force-feedback device.
pub(super) fn line(rig: &Rig, port: &str) -> Result<Box<dyn Line>, LineError> {
    let clock = HostClock::start();
    // Before anything is open: a bridge may fall silent for a moment after it.
    for port in [Some(port), rig.sense.port().map(|own| own.port.as_str())] {
        if let Some(path) = port.and_then(|port| ports::resolve(port).ok()) {
            let _ = ports::lower_latency(Path::new(&path));
        }
    }
    let inner: Box<dyn Line> = match &rig.drive {
        Drive::ForceFeedback(device) if port == NO_PORT => desk(rig, device, clock)?,
        _ => Box::new(SerialLine::with_clock(port, rig.link.baud, clock)?),
    };
    let sense = SensorPort::open(&rig.sense, clock)?.map(|sensor| Box::new(sensor) as Box<dyn Sense>);
    let player = match &rig.drive {
        Drive::Rig => None,
        Drive::ForceFeedback(device) => Some(Player::new(push(device)?, device.clone())),
    };
    if sense.is_none() && player.is_none() {
        return Ok(inner);
    }
    Ok(Box::new(Composed::new(inner, sense, player, rig)))
}

#[cfg(target_os = "linux")]
fn push(device: &ForceFeedback) -> Result<Box<dyn Push>, LineError> {
    use crate::drive::force::Wheel;
    let wheel = Wheel::open(device).map_err(|source| not_taken(device, source))?;
    Ok(Box::new(wheel))
}

#[cfg(target_os = "linux")]
fn desk(rig: &Rig, device: &ForceFeedback, clock: HostClock) -> Result<Box<dyn Line>, LineError> {
    use crate::drive::force::{Axis, Desk};
    let axis_rad = device.axis_rad.unwrap_or_default(); // a rig file without it is refused
    let axis = Axis::open(&device.device, axis_rad).map_err(|source| not_taken(device, source))?;
    let (scale_rad, full_scale_nm) = (axis.scale_rad, device.full_scale_nm.abs());
    let angle = Box::new(move || axis.counts());
    Ok(Box::new(Desk::new(rig, full_scale_nm, angle, scale_rad, clock)))
}

#[cfg(not(target_os = "linux"))]
fn push(device: &ForceFeedback) -> Result<Box<dyn Push>, LineError> {
    Err(not_taken(device, elsewhere()))
}

#[cfg(not(target_os = "linux"))]
fn desk(_: &Rig, device: &ForceFeedback, _: HostClock) -> Result<Box<dyn Line>, LineError> {
    Err(not_taken(device, elsewhere()))
}

#[cfg(not(target_os = "linux"))]
fn elsewhere() -> std::io::Error {
    std::io::Error::new(
        std::io::ErrorKind::Unsupported,
        "force feedback is driven on Linux alone so far; use a rig controller",
    )
}

fn not_taken(device: &ForceFeedback, source: std::io::Error) -> LineError {
    LineError::Device {
        device: device.device.clone(),
        source,
    }
}

/// What the ports' latency timers are at, and why no lower, for the recording: name and value.
pub(super) fn latency_timers(rig: &Rig, port: &str) -> Vec<(String, String)> {
    let both = [
        ("", Some(port)),
        ("sensor_", rig.sense.port().map(|own| own.port.as_str())),
    ];
    both.into_iter()
        .filter_map(|(name, port)| {
            let path = ports::resolve(port?).ok()?;
            Some(ports::latency_timer(Path::new(&path)).facts(name))
        })
        .flatten()
        .collect()
}
