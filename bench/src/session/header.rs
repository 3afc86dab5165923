//! What a recording says about itself, from the files and from what the rig says.

use bench_core::plan::Plan;
use bench_core::rig::{CLOCK_BOUND, Drive, SETPOINT_AGE, Sense};
use bench_core::run::Permit;
use rig_link::Width;
use rig_link::message::{Channel, Configuration, Identity};
use sha2::{Digest as _, Sha256};

use super::{Bench, SettingsText, Way, parts};
use crate::calibration::reference::{self, Reference};
use crate::drive::clock::today;
use crate::drive::schedule::Granted;
use crate::recording::{
    CLAMPING, ChannelInfo, CountWidth, Header, RigInfo, Sensor, Unit, hexadecimal, lines_name,
};

/// All that is known before the rig has said anything.
pub(super) fn before_contact(
    bench: &Bench,
    procedure: &SettingsText,
    plan: &Plan,
    permit: &Permit,
    created: &str,
    granted: Option<Granted>,
) -> Header {
    let rig = &bench.rig;
    let sensor = &rig.torque_sensor;
    let own = |text: &str| text.to_owned();
    let date = |date: settings_file::Date| date.to_string();
    let (calibrated, due) = (date(sensor.calibrated), date(sensor.due));
    let overdue = due.as_str() < today().as_str();
    let way = match &bench.way {
        Way::LockStep => own("lock-step"),
        Way::Port(port) => port.clone(),
    };
    let mut extra = vec![
        (own("procedure"), own(plan.procedure())),
        (own("permit"), own(permit.by())),
        (own("way"), way),
        (own("mounting_in_rig_file"), own(rig.mounting_in_file.word())),
        (
            own("calibration_overdue"),
            own(if overdue { "yes" } else { "no" }),
        ),
    ];
    if !bench.clamping.trim().is_empty() {
        extra.push((own(CLAMPING), own(bench.clamping.trim())));
    }
    if rig.drive != Drive::Rig || rig.sense != Sense::Rig {
        extra.push((own("drive"), own(rig.drive.word())));
        extra.push((own("sense"), own(rig.sense.word())));
    }
    if let Way::Port(port) = &bench.way {
        extra.extend(parts::latency_timers(rig, port));
    }
    extra.extend(reference::of(rig, &today()).iter().flat_map(Reference::facts));
    if !bench.faults.is_empty() {
        extra.push((own("faults"), bench.faults.join("; ")));
    }
    extra.extend(lines_of_multisines(plan));
    let files = [
        ("rig.toml", &bench.rig_text.text),
        ("procedure.toml", &procedure.text),
    ];
    let files = files.map(|(name, text)| (own(name), text.clone())).into_iter();
    let files: Vec<(String, String)> = files.chain(plan.sources().iter().cloned()).collect();
    extra.extend(files.iter().map(|(name, text)| {
        let digest = Sha256::digest(text.as_bytes());
        (format!("sha256 of {name}"), hexadecimal(&digest))
    }));
    if let Some(granted) = granted {
        extra.push((own("host_scheduling"), granted.to_string()));
    }
    Header {
        run_id: run_id(created, &rig.wheelbase.serial, bench.seed),
        created: own(created),
        software: crate::software(),
        operator: bench.operator.clone(),
        mounting: own(rig.mounting.word()),
        unit: Unit {
            model: rig.wheelbase.model.clone(),
            serial: rig.wheelbase.serial.clone(),
            firmware: rig.wheelbase.firmware.clone(),
        },
        rig: RigInfo {
            name: rig.name.clone(),
            kind: own(rig.kind.word()),
            emergency_stop: own(rig.emergency_stop.word()),
            fixture: rig.fixture.name.clone(),
            fixture_stiffness_nm_per_rad: rig.fixture.stiffness_nm_per_rad,
            full_scale_nm: f64::NAN,
            update_period_s: rig.wheelbase.update_period_s,
            slew_nm_per_s: rig.wheelbase.slew_nm_per_s,
        },
        sensor: Sensor {
            model: sensor.model.clone(),
            serial: sensor.serial.clone(),
            range_nm: sensor.range_nm,
            stiffness_nm_per_rad: sensor.stiffness_nm_per_rad,
            calibrated,
            due,
            certificate: sensor.certificate.clone(),
            gain_uncertainty: sensor.gain_uncertainty,
            zero_uncertainty_nm: sensor.zero_uncertainty_nm,
            delay_uncertainty_s: sensor.delay_uncertainty_s,
        },
        sample_period_ticks: plan.sample_period_us(),
        tick_s: rig_link::TICK_S,
        seed: bench.seed,
        faults: bench.faults.join("; "),
        files,
        channels: Vec::new(),
        extra,
    }
}

/// Which lines of its period each multisine excites, as multiples of one over it: random ones follow from the procedure and
/// the seed, and whoever reads the recording with another program should not have to draw them again.
fn lines_of_multisines(plan: &Plan) -> Vec<(String, String)> {
    let first_periods = plan.windows().iter().filter(|w| w.repeat == 0 && w.part == 0);
    first_periods
        .filter_map(|window| {
            let tones = window.tones.as_deref()?;
            let lines: Vec<String> = tones.lines.iter().map(u32::to_string).collect();
            Some((lines_name(window.segment), lines.join(" ")))
        })
        .collect()
}

/// Adds what the rig says of itself.
pub(super) fn on_contact(
    header: &mut Header,
    identity: &Identity,
    channels: &[Channel],
    configuration: &Configuration,
) {
    header.rig.full_scale_nm = identity.full_scale_nm;
    header.channels = channels.iter().map(channel_info).collect();
    if header.faults.is_empty()
        && let Some(account) = super::faults::admitted(identity.firmware.as_str())
    {
        account.clone_into(&mut header.faults);
        header.extra.push(("faults".to_owned(), account.to_owned()));
    }
    let mut add = |name: &str, value: String| header.extra.push((name.to_owned(), value));
    add("rig_controller", identity.model.as_str().to_owned());
    add("rig_controller_serial", identity.serial.as_str().to_owned());
    add("rig_controller_firmware", identity.firmware.as_str().to_owned());
    add(
        "rig_link_version",
        format!("{}.{}", identity.major, identity.minor),
    );
    add("rig_limits_applied", format!("{configuration:?}"));
}

fn channel_info(channel: &Channel) -> ChannelInfo {
    use rig_link::ChannelKind::{
        Current, MotorAngle, Other, RimAngle, Setpoint, Supply, Temperature, Torque,
    };
    let long_name = match channel.kind {
        Setpoint => "setpoint in force",
        Torque => "rim torque",
        RimAngle => "rim angle",
        MotorAngle => "motor angle",
        Current => "motor current",
        Temperature => "temperature",
        Supply => "supply voltage",
        Other => channel.name.as_str(),
    };
    // The link has no unit of time, and these two are the bench's own.
    let (long_name, units) = match channel.name.as_str() {
        SETPOINT_AGE if channel.kind == Other => ("time for which the setpoint had been in force", "s"),
        CLOCK_BOUND if channel.kind == Other => ("bound of the error in time that the clocks leave", "s"),
        _ => (long_name, channel.unit.udunits()),
    };
    ChannelInfo {
        name: channel.name.as_str().to_owned(),
        long_name: long_name.to_owned(),
        units: units.to_owned(),
        width: match channel.width {
            Width::I16 => CountWidth::I16,
            Width::I32 => CountWidth::I32,
        },
        scale: channel.scale,
        offset: channel.offset,
        group_delay_s: f64::from(channel.group_delay_ns) * 1e-9,
        raw_min: channel.raw_min,
        raw_max: channel.raw_max,
    }
}

/// An identifier that two runs do not share: when, which unit, which seed, and a little of a hash over all three and
/// this process.
fn run_id(created: &str, serial: &str, seed: u64) -> String {
    let digest = Sha256::digest(format!("{created}|{serial}|{seed}|{}", std::process::id()));
    let tail: String = hexadecimal(&digest).chars().take(8).collect();
    let day: String = created.chars().filter(char::is_ascii_digit).take(14).collect();
    format!("{serial}-{day}-{tail}")
}
