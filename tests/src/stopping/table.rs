//! The table: wheelbase, way of stopping, travel from each speed.

use std::fmt::Write as _;

use bench_core::rig::Rig;
use virtual_rig::{Mounting, RigParameters};

use super::{SPEEDS_RAD_S, Stop, Travel, UNITS, Unit, braking_rad, coasting_rad, settle};

/// How the motor is stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// By switching off.
    Coast,
    /// By shorting the windings for the shipped `brake_time`, then switching off.
    Brake,
}

/// One stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Which wheelbase.
    pub unit: &'static str,
    /// How.
    pub way: Way,
    /// From which speed, rad/s.
    pub speed_rad_s: f64,
    /// What the plant did.
    pub plant: Travel,
    /// What the closed form says, rad.
    pub closed_rad: f64,
    /// Angle from the middle to an end stop, rad; where there is one.
    pub to_end_stop_rad: Option<f64>,
}

/// Every unit, way and speed, each over `starts` starting angles.
///
/// # Errors
/// A rig file that cannot be read, a rim that does not come to rest.
pub fn rows(starts: u32) -> Result<Vec<Row>, String> {
    let mut rows = Vec::new();
    for (name, text) in UNITS {
        let rig = RigParameters::mounted(name, text, 1, Some(Mounting::Free))
            .map_err(|findings| findings.to_string())?;
        let declared = Rig::from_toml(name, text).map_err(|findings| findings.to_string())?;
        let brake_time_s = f64::from(declared.limits.brake_us) * 1e-6;
        let unit = Unit::of(&rig.plant)?;
        for way in [Way::Coast, Way::Brake] {
            for speed_rad_s in SPEEDS_RAD_S {
                let (stop, closed_rad) = match way {
                    Way::Coast => (Stop::Coast, coasting_rad(&unit, speed_rad_s)),
                    Way::Brake => (
                        Stop::Brake(brake_time_s),
                        braking_rad(&unit, speed_rad_s, brake_time_s),
                    ),
                };
                rows.push(Row {
                    unit: name,
                    way,
                    speed_rad_s,
                    plant: settle(&rig.plant, speed_rad_s, stop, starts)?,
                    closed_rad,
                    to_end_stop_rad: rig.plant.end_stops.map(|stops| 0.5 * stops.travel_rad),
                });
            }
        }
    }
    Ok(rows)
}

/// The table for the README (`markdown`), or for a terminal: mean and greatest travel of the plant, and the closed form's,
/// in degrees.
pub fn table(rows: &[Row], markdown: bool) -> String {
    let mut text = String::new();
    let cells = |row: &Row| {
        let degrees = |rad: f64| format!("{:.1}", rad.to_degrees());
        [
            degrees(row.plant.mean_rad),
            degrees(row.plant.span_rad[1]),
            degrees(row.closed_rad),
        ]
    };
    // Writing into a String does not fail.
    if markdown {
        text +=
            "| wheelbase, stop | from 5 rad/s | from 10 rad/s | from 20 rad/s |\n| --- | --- | --- | --- |\n";
        for stop in rows.chunks(SPEEDS_RAD_S.len()) {
            let Some(first) = stop.first() else { continue };
            let _ = write!(text, "| {}, {} |", first.unit, word(first.way));
            for row in stop {
                let [mean, most, closed] = cells(row);
                let _ = write!(text, " {mean}°, up to {most}° ({closed}°) |");
            }
            text += "\n";
        }
    } else {
        let _ = writeln!(
            text,
            "{:9} {:6} {:>9} {:>9} {:>9} {:>12}",
            "wheelbase", "stop", "rad/s", "mean deg", "most deg", "closed form"
        );
        for row in rows {
            let [mean, most, closed] = cells(row);
            let _ = writeln!(
                text,
                "{:9} {:6} {:>9.0} {mean:>9} {most:>9} {closed:>12}",
                row.unit,
                word(row.way),
                row.speed_rad_s
            );
        }
    }
    text
}

const fn word(way: Way) -> &'static str {
    match way {
        Way::Coast => "coast",
        Way::Brake => "brake",
    }
}
