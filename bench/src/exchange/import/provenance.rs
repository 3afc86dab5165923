//! What an imported recording says about itself: the header, and where everything came from.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use settings_file::write_number;
use sha2::{Digest, Sha256};

use super::super::ExchangeError;
use super::bind::Binding;
use super::map::{Map, Role};
use super::source::DataFile;
use super::survey::{Second, Survey};
use super::write;
use crate::recording::{Header, RigInfo, Unit, hexadecimal};

/// Word in `rig_kind` of a recording whose data were recorded by other means.
pub(super) const IMPORTED: &str = "imported";

/// Name, size and SHA-256 of the data file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Identity {
    pub(super) name: String,
    pub(super) bytes: u64,
    pub(super) sha256: String,
}

/// Reads the file once for its digest.
pub(super) fn identity(path: &Path) -> Result<Identity, ExchangeError> {
    let io = |e| ExchangeError::io("read", path, e);
    let mut file = File::open(path).map_err(io)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0_u8; 1 << 16];
    let mut bytes = 0;
    loop {
        match file.read(&mut buffer).map_err(io)? {
            0 => break,
            n => {
                bytes += n as u64;
                hash.update(buffer.get(..n).unwrap_or_default());
            }
        }
    }
    Ok(Identity {
        name: path
            .file_name()
            .unwrap_or(path.as_os_str())
            .to_string_lossy()
            .into_owned(),
        bytes,
        sha256: hexadecimal(&hash.finalize()),
    })
}

/// The header of the recording. `repairs` are sentences.
pub(super) fn header(
    identity: &Identity,
    data: &DataFile,
    map: &Map,
    binding: &Binding,
    survey: &Survey,
    second: &Second,
    repairs: &[String],
) -> Header {
    let facts = &map.facts;
    let or = |text: &str, instead: &str| if text.is_empty() { instead } else { text }.to_owned();
    let commanded = binding
        .columns
        .iter()
        .zip(&survey.ranges)
        .find(|(b, _)| b.column.role == Role::Commanded)
        .map_or(0.0, |(b, range)| b.si(range.min).abs().max(b.si(range.max).abs()));
    let mut sensor = facts.sensor.clone();
    if map.steps.is_some() {
        // Where between two samples the command changed is not known: evenly spread over a period.
        let unknown_s = survey.clock.period_s / 12_f64.sqrt();
        sensor.delay_uncertainty_s = sensor.delay_uncertainty_s.hypot(unknown_s);
    }
    let short = identity.sha256.get(..8).unwrap_or_default();
    Header {
        run_id: format!("{}-imported-{short}", facts.unit_serial),
        created: or(&facts.started, "start not known"),
        software: crate::software(),
        operator: facts.operator.clone(),
        mounting: facts.mounting.clone(),
        unit: Unit {
            model: facts.unit_model.clone(),
            serial: facts.unit_serial.clone(),
            firmware: facts.unit_firmware.clone(),
        },
        rig: RigInfo {
            name: or(&facts.rig_name, "not known"),
            kind: IMPORTED.to_owned(),
            emergency_stop: "not known".to_owned(),
            fixture: facts.fixture.clone(),
            fixture_stiffness_nm_per_rad: facts.fixture_stiffness_nm_per_rad,
            full_scale_nm: facts.full_scale_nm.unwrap_or(commanded),
            update_period_s: facts.update_period_s,
            slew_nm_per_s: facts.slew_nm_per_s,
        },
        sensor,
        sample_period_ticks: survey.clock.period_ticks,
        tick_s: survey.clock.tick_s,
        files: vec![("map.toml".to_owned(), map.text.clone())],
        channels: write::channels(binding, &survey.counts),
        extra: extra(identity, data, map, binding, survey, second, repairs),
        // Without seed and faults: nothing of it was simulated here.
        ..Header::default()
    }
}

/// Rows of `/extra`, named in `SCHEMA.md`.
fn extra(
    identity: &Identity,
    data: &DataFile,
    map: &Map,
    binding: &Binding,
    survey: &Survey,
    second: &Second,
    repairs: &[String],
) -> Vec<(String, String)> {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut add = |name: &str, value: String| rows.push((name.to_owned(), value));
    add("origin", IMPORTED.to_owned());
    add("imported_file", identity.name.clone());
    add("imported_file_bytes", identity.bytes.to_string());
    add("imported_file_sha256", identity.sha256.clone());
    add("imported_format", data.kind().to_owned());
    add("imported_map", map.file.clone());
    add(
        "imported_rows",
        format!("{} read, {} used", survey.read, survey.kept),
    );
    let columns: Vec<String> = binding
        .columns
        .iter()
        .map(|bound| {
            let c = &bound.column;
            let lever = c
                .lever_m
                .map_or(String::new(), |m| format!(" on a lever of {} m", write_number(m)));
            let sign = if bound.gain * c.scale < 0.0 {
                ", sign turned"
            } else {
                ""
            };
            format!(
                "{} from {:?} in {} × {}{lever}{sign}",
                c.role.channel().0,
                c.name,
                bound.unit,
                write_number(c.scale)
            )
        })
        .collect();
    add("imported_columns", columns.join("; "));
    let source = match &map.time.column {
        Some((name, _)) => format!("from column {name:?}"),
        None => "from the row number".to_owned(),
    };
    add(
        "imported_time",
        format!(
            "{source}, time of tick 0: {} s, period {} s, rows at most {} µs off the even grid",
            survey.clock.origin_s,
            survey.clock.period_s,
            write_number(1e6 * second.worst_s)
        ),
    );
    let rounding: Vec<String> = binding
        .columns
        .iter()
        .zip(&second.rounding_si)
        .zip(&survey.counts)
        .map(|((bound, off), counts)| {
            let (name, _, unit) = bound.column.role.channel();
            let how = if counts.on_grid {
                "on the data's own grid"
            } else {
                "in fine steps"
            };
            format!(
                "{name} in steps of {} {unit}, {how}, at most {} {unit} off",
                write_number((counts.step * bound.gain).abs()),
                write_number(*off)
            )
        })
        .collect();
    add("imported_counts", rounding.join("; "));
    let done = if repairs.is_empty() {
        "none".to_owned()
    } else {
        repairs.join("; ")
    };
    add("imported_repairs", done);
    if !map.facts.recorded_with.is_empty() {
        add("recorded_with", map.facts.recorded_with.clone());
    }
    if let Some(inertia) = map.facts.disc_inertia_kgm2 {
        add("disc_inertia_kgm2", inertia.to_string());
    }
    if let Some(ratio) = map.facts.motor_ratio {
        add("motor_ratio", ratio.to_string());
    }
    if let Some(stages) = map.facts.stages {
        add("drive_stages", stages.to_string());
    }
    if map.steps.is_some() {
        add(
            "imported_steps",
            "found in the commanded torque; each begins half way between two samples, which widens the uncertainty \
             of the sensor's delay by period/√12"
                .to_owned(),
        );
    }
    rows
}
