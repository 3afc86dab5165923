//! Where the numbers come from, and what they do not say.

use crate::fitting::{FitDocument, plain};
use crate::report::{escape, words};

pub(super) fn section(document: &FitDocument) -> String {
    let r = &document.recording;
    let s = &r.sensor;
    let joined = |parts: &[&str]| {
        parts
            .iter()
            .filter(|p| !p.is_empty())
            .copied()
            .collect::<Vec<_>>()
            .join(", ")
    };
    let stiffness = |k: Option<f64>| {
        k.map_or("not declared".into(), |k| {
            format!("{} N·m/rad", words::thousands(k))
        })
    };
    let percent = |u: Option<f64>| u.map_or("not declared".into(), |u| format!("{} %", plain(100.0 * u, 2)));
    let spring = &document.rig_spring;
    let rows: Vec<(&str, String)> = vec![
        ("Unit", joined(&[&r.unit.model, &r.unit.serial])),
        ("Firmware and settings", r.unit.firmware.clone()),
        (
            "Rig",
            joined(&[
                &r.rig.name,
                &r.rig.kind,
                &format!("full scale {} N·m", plain(r.rig.full_scale_nm, 3)),
            ]),
        ),
        (
            "Fixture",
            joined(&[&r.rig.fixture, &stiffness(spring.fixture_nm_per_rad)]),
        ),
        (
            "Torque sensor",
            joined(&[
                &s.model,
                &s.serial,
                &s.range_nm
                    .map_or(String::new(), |nm| format!("range {} N·m", plain(nm, 3))),
                &stiffness(spring.sensor_nm_per_rad),
            ]),
        ),
        (
            "Rig spring",
            match spring.series_nm_per_rad {
                Some(k) => format!(
                    "{} N·m/rad: 1/k = 1/k(sensor) + 1/k(fixture), from declared values, no interval",
                    words::thousands(k)
                ),
                None => "not known: sensor or fixture stiffness is not declared".into(),
            },
        ),
        (
            "Calibration",
            joined(&[
                &prefixed("certificate ", &s.certificate),
                &prefixed("calibrated ", &s.calibrated),
                &prefixed("due ", &s.due),
            ]),
        ),
        (
            "Standard uncertainties of the sensor",
            format!(
                "gain {}, zero {}, group delay {} ± {}",
                percent(s.gain_uncertainty),
                s.zero_uncertainty_nm
                    .map_or("not declared".into(), |u| format!("{} mN·m", plain(1e3 * u, 2))),
                s.group_delay_s
                    .map_or("not declared".into(), |d| format!("{} ms", plain(1e3 * d, 3))),
                s.delay_uncertainty_s
                    .map_or("not declared".into(), |u| format!("{} ms", plain(1e3 * u, 2))),
            ),
        ),
        (
            "Recorded by",
            joined(&[
                &r.software.name,
                &r.software.version,
                &r.software.build,
                &prefixed("operator ", &r.operator),
            ]),
        ),
        (
            "Recorded",
            joined(&[
                &r.created,
                &format!("{} s at {} samples/s", plain(r.duration_s, 3), r.sample_rate_hz),
            ]),
        ),
        (
            "Fitted by",
            joined(&[
                &document.software.name,
                &document.software.version,
                &document.software.build,
            ]),
        ),
        ("Procedure and rig files", r.files.join(", ")),
        ("Seed", r.seed.to_string()),
        ("Recording", r.file.clone()),
        ("Run", r.run_id.clone()),
        (
            "End of the run",
            joined(&[&r.completion.state, &r.completion.cause]),
        ),
        (
            "Seal",
            match &r.seal {
                Some(seal) => joined(&[seal, r.seal_method.as_deref().unwrap_or("")]),
                None => "none: the recording could have been changed".into(),
            },
        ),
    ];
    let known = rows.into_iter().map(|(name, value)| (name.to_owned(), value));
    let further = r.extra.iter().cloned();
    let rows: String = known
        .chain(further)
        .map(|(name, value)| {
            let value = words::or_unknown(&value, "not stated");
            format!(
                "<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n",
                escape(&name),
                escape(&value)
            )
        })
        .collect();
    format!("<table class=\"provenance\">\n<tbody>\n{rows}</tbody>\n</table>\n")
}

fn prefixed(prefix: &str, text: &str) -> String {
    if text.is_empty() {
        String::new()
    } else {
        format!("{prefix}{text}")
    }
}

/// At the head of the page: that the data were imported, from what, and what was done to them. Empty for others.
pub(super) fn import_note(document: &FitDocument) -> String {
    let r = &document.recording;
    if r.rig.kind != "imported" {
        return String::new();
    }
    let extra = |name: &str| {
        let found = r.extra.iter().find(|(n, value)| n == name && !value.is_empty());
        found.map(|(_, value)| value.as_str())
    };
    let repairs = match extra("imported_repairs") {
        Some("none") => "Nothing was repaired.".to_owned(),
        Some(repairs) => format!("Repaired on import: {repairs}."),
        None => "What was repaired is not said in the recording.".to_owned(),
    };
    let resampled = extra("imported_resampling").map_or(String::new(), |how| format!(" Resampled: {how}."));
    format!(
        "<p class=\"alert\" role=\"note\"><strong>Imported data.</strong> Recorded by other means; read from {}. \
         {}{}</p>\n",
        escape(extra("imported_file").unwrap_or("a file that is not named")),
        escape(&repairs),
        escape(&resampled)
    )
}

pub(super) fn cautions(document: &FitDocument) -> String {
    let mut items = vec![
        "What is rendered is reported; what is felt is not claimed.".to_owned(),
        "The interlock is no safety function. It does not replace the hard-wired emergency stop.".into(),
        "Friction, backlash and clipping make every result hold only at its amplitude, preload, rim angle and \
         temperature."
            .into(),
        "Repeats were played without touching the fixture. Unclamping and clamping again usually spreads results \
         further, and so does another unit; compare only with that in mind."
            .into(),
        "Sensor and fixture are springs in line with the drivetrain: every dynamic result belongs to wheelbase and \
         rig together."
            .into(),
    ];
    if document.recording.rig.kind == "virtual" {
        items.insert(
            0,
            "This unit is simulated. Nothing was measured on hardware.".into(),
        );
    }
    if document.recording.rig.kind == "imported" {
        items.insert(
            0,
            "The data were recorded by other means and imported: what the rig, the sensor and the clock were is what \
             the map declares, and the bench has watched none of it."
                .into(),
        );
    }
    let items: String = items
        .iter()
        .map(|item| format!("<li>{}</li>\n", escape(item)))
        .collect();
    format!("<ul>\n{items}</ul>\n")
}
