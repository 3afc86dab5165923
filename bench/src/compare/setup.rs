//! What differs between the set-ups of the groups, and what it does to a comparison.

use super::document::{GroupFacts, MemberFacts, Severity, Warning};
use super::group::{Clamping, Group, Remounting, clamping, clusters};
use super::rows::WARMER_K;
use crate::fitting::{FitDocument, plain};

/// A group as the comparison names it.
pub(crate) fn group_facts(group: &Group, remounting: Remounting) -> GroupFacts {
    let all: Vec<&FitDocument> = group.documents.iter().collect();
    GroupFacts {
        name: group.name.clone(),
        members: group
            .documents
            .iter()
            .map(|document| MemberFacts {
                file: document.recording.file.clone(),
                run_id: document.recording.run_id.clone(),
                created: document.recording.created.clone(),
                unit: unit(document),
                seal: document.recording.seal.clone(),
                clamping: match clamping(document, remounting) {
                    Clamping::Named(_) => Some(word(document, remounting)),
                    Clamping::NotStated => None,
                },
            })
            .collect(),
        clampings: clusters(&all, remounting).len(),
    }
}

fn word(document: &FitDocument, remounting: Remounting) -> String {
    match remounting {
        Remounting::AsRecorded => extra(document, crate::recording::CLAMPING),
        Remounting::EveryRun => "its own".into(),
        Remounting::Never => "one for all".into(),
    }
}

/// Model and serial number.
pub(super) fn unit(document: &FitDocument) -> String {
    let unit = &document.recording.unit;
    format!("{} {}", unit.model, unit.serial).trim().to_owned()
}

fn extra(document: &FitDocument, name: &str) -> String {
    let all = &document.recording.extra;
    let found = all.iter().find(|(n, _)| n == name);
    found.map_or_else(String::new, |(_, value)| value.clone())
}

fn sha256_of(document: &FitDocument, file: &str) -> String {
    let all = &document.recording.file_sha256;
    let found = all.iter().find(|(n, _)| n == file);
    found.map_or_else(String::new, |(_, digest)| digest.clone())
}

/// One fact that should be the same everywhere.
struct Fact {
    code: &'static str,
    severity: Severity,
    what: &'static str,
    meaning: &'static str,
    of: fn(&FitDocument) -> String,
}

/// Every fact that is compared; what is empty is not known and differs from nothing.
const FACTS: [Fact; 13] = [
    Fact {
        code: "mounting",
        severity: Severity::Spoils,
        what: "The mounting",
        meaning: "results of two mountings are two quantities and are not compared",
        of: |d| d.recording.mounting.clone(),
    },
    Fact {
        code: "simulated",
        severity: Severity::Spoils,
        what: "The kind of rig",
        meaning: "a simulated unit, a real one and imported data do not stand for each other",
        of: |d| d.recording.rig.kind.clone(),
    },
    Fact {
        code: "procedure",
        severity: Severity::Spoils,
        what: "The procedure (SHA-256 of its file)",
        meaning: "levels, preloads, order and rests may differ, and friction makes results depend on them; play one file",
        of: |d| sha256_of(d, "procedure.toml"),
    },
    Fact {
        code: "rig",
        severity: Severity::Spoils,
        what: "Rig, fixture or its spring",
        meaning: "every dynamic result belongs to wheelbase and rig together; measure on one rig",
        of: |d| {
            let spring = d.rig_spring.series_nm_per_rad;
            let spring = spring.map_or_else(
                || "spring not declared".into(),
                |k| format!("{} N·m/rad", plain(k, 4)),
            );
            format!("{}, {}, {spring}", d.recording.rig.name, d.recording.rig.fixture)
        },
    },
    Fact {
        code: "sensor_filter",
        severity: Severity::Spoils,
        what: "The filter of the torque sensor (declared delay)",
        meaning: "delays are corrected for it, overshoot, noise and what arrives at high frequencies are not; set both alike",
        of: |d| {
            let delay = d.recording.sensor.group_delay_s;
            delay.map_or_else(String::new, |s| format!("{} ms", plain(1e3 * s, 4)))
        },
    },
    Fact {
        code: "calibration",
        severity: Severity::Caution,
        what: "Torque sensor or certificate",
        meaning: "its gain no longer cancels, and its uncertainty stands in the differences",
        of: |d| {
            let s = &d.recording.sensor;
            format!("{}, certificate {} of {}", s.serial, s.certificate, s.calibrated)
        },
    },
    Fact {
        code: "wheelbase",
        severity: Severity::Caution,
        what: "The model of the wheelbase",
        meaning: "percentages of peak torque are other torques on another model; compare what was played alike",
        of: |d| d.recording.unit.model.clone(),
    },
    Fact {
        code: "firmware",
        severity: Severity::Caution,
        what: "Firmware or settings of the wheelbase",
        meaning: "a difference may be the firmware's and not the unit's",
        of: |d| d.recording.unit.firmware.clone(),
    },
    Fact {
        code: "rig_controller",
        severity: Severity::Caution,
        what: "The rig controller or its firmware",
        meaning: "its delay to the setpoint in force may differ",
        of: |d| {
            let parts = [
                "rig_controller",
                "rig_controller_serial",
                "rig_controller_firmware",
            ];
            let parts = parts.map(|name| extra(d, name));
            parts.join(" ").trim().to_owned()
        },
    },
    Fact {
        code: "sample_rate",
        severity: Severity::Caution,
        what: "The sample rate",
        meaning: "edges and peaks are read more finely on one side",
        of: |d| format!("{} Hz", plain(d.recording.sample_rate_hz, 6)),
    },
    Fact {
        code: "sources",
        severity: Severity::Caution,
        what: "What a trace or map of the procedure says (SHA-256)",
        meaning: "what was played differs although the procedure is the same",
        of: |d| {
            let all = d.recording.file_sha256.iter();
            let further = all.filter(|(name, _)| name != "procedure.toml" && name != "rig.toml");
            let parts: Vec<String> = further.map(|(name, digest)| format!("{name} {digest}")).collect();
            parts.join(", ")
        },
    },
    Fact {
        code: "faults",
        severity: Severity::Caution,
        what: "The faults scripted",
        meaning: "one side was disturbed on purpose",
        of: |d| {
            let faults = extra(d, "faults");
            if faults.is_empty() { "none".into() } else { faults }
        },
    },
    Fact {
        code: "fitted_by",
        severity: Severity::Caution,
        what: "The program that fitted",
        meaning: "methods may differ between versions; fit all recordings again with one",
        of: |d| format!("{} {}", d.software.name, d.software.version),
    },
];

/// All warnings, the worst first.
pub(crate) fn warnings(groups: &[Group], remount_open: bool) -> Vec<Warning> {
    let mut found: Vec<Warning> = FACTS.iter().filter_map(|fact| differs(fact, groups)).collect();
    found.extend(temperature(groups));
    found.extend(several_units(groups));
    for (code, text, is) in STANDING {
        found.extend(standing(groups, code, text, is));
    }
    if remount_open {
        found.push(caution(
            "remounting_unknown",
            "The rim was clamped anew between the groups, or nothing says that it was not, and no runs tell what that does to a \
             result: it is not in the intervals. Name runs of one unit with the rim clamped anew before each (--remounted), or \
             measure with --clamping."
                .into(),
        ));
    }
    found.sort_by_key(|warning| warning.severity);
    found
}

fn caution(code: &str, text: String) -> Warning {
    Warning {
        code: code.into(),
        severity: Severity::Caution,
        text,
    }
}

/// The values of a fact by group, if they are not all the same.
fn differs(fact: &Fact, groups: &[Group]) -> Option<Warning> {
    let by_group: Vec<(&str, Vec<String>)> = groups
        .iter()
        .map(|group| {
            let mut own: Vec<String> = group.documents.iter().map(fact.of).collect();
            own.retain(|value| !value.is_empty());
            own.sort();
            own.dedup();
            (group.name.as_str(), own)
        })
        .collect();
    let mut all: Vec<&String> = by_group.iter().flat_map(|(_, own)| own).collect();
    all.sort();
    all.dedup();
    if all.len() < 2 {
        return None;
    }
    let listed: Vec<String> = by_group
        .iter()
        .map(|(name, own)| {
            let own: Vec<String> = own.iter().map(|value| shortened(value)).collect();
            format!(
                "{name}: {}",
                if own.is_empty() {
                    "not stated".into()
                } else {
                    own.join(" / ")
                }
            )
        })
        .collect();
    Some(Warning {
        code: fact.code.into(),
        severity: fact.severity,
        text: format!("{} differs ({}): {}.", fact.what, listed.join("; "), fact.meaning),
    })
}

/// Hashes by their first twelve digits.
fn shortened(value: &str) -> String {
    let is_hash = |word: &str| word.len() == 64 && word.bytes().all(|b| b.is_ascii_hexdigit());
    let words: Vec<&str> = value
        .split(' ')
        .map(|word| {
            if is_hash(word) {
                word.get(..12).unwrap_or(word)
            } else {
                word
            }
        })
        .collect();
    words.join(" ")
}

/// Mean temperature of a fit's results, °C.
fn warmth(document: &FitDocument) -> Option<f64> {
    let all = document.measurands.iter();
    let found: Vec<f64> = all
        .filter_map(|m| m.conditions.temperature.as_ref().map(|t| t.mean_degc))
        .collect();
    (!found.is_empty()).then(|| found.iter().sum::<f64>() / found.len() as f64)
}

fn temperature(groups: &[Group]) -> Option<Warning> {
    let found: Vec<(&str, f64)> = groups
        .iter()
        .flat_map(|group| group.documents.iter().map(move |d| (group.name.as_str(), d)))
        .filter_map(|(name, document)| Some((name, warmth(document)?)))
        .collect();
    let warmest = found.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let coldest = found.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))?;
    (warmest.1 - coldest.1 > WARMER_K).then(|| {
        caution(
            "temperature",
            format!(
                "Temperatures lie {:.1} K apart ({:.1} °C in {}, {:.1} °C in {}), more than {WARMER_K} K: friction, damping and torque \
                 per current change with it; measure both warmed up alike.",
                warmest.1 - coldest.1,
                coldest.1,
                coldest.0,
                warmest.1,
                warmest.0
            ),
        )
    })
}

fn several_units(groups: &[Group]) -> Option<Warning> {
    let mixed: Vec<&str> = groups
        .iter()
        .filter(|group| {
            let mut units: Vec<String> = group.documents.iter().map(unit).collect();
            units.sort();
            units.dedup();
            units.len() > 1
        })
        .map(|group| group.name.as_str())
        .collect();
    (!mixed.is_empty()).then(|| {
        caution(
            "several_units",
            format!(
                "More than one unit stands in {}: what one unit differs from the next by counts as scatter there.",
                mixed.join(", ")
            ),
        )
    })
}

type Standing = (&'static str, &'static str, fn(&FitDocument) -> bool);

/// What is amiss with single runs.
const STANDING: [Standing; 4] = [
    (
        "partial",
        "did not end as planned: what it lacks is missing from its means",
        |d| !d.recording.completion.is_complete(),
    ),
    (
        "unsealed",
        "is not sealed: it could have been changed since it was measured",
        |d| d.recording.seal.is_none(),
    ),
    (
        "calibration_overdue",
        "was recorded outside the validity of its calibration, or a date of it is missing",
        |d| d.quality.iter().any(|c| c.name == "calibration" && !c.passed),
    ),
    (
        "checks_failed",
        "failed a check on its data; its report says which",
        |d| {
            let own = ["calibration", "completion", "seal"];
            d.quality
                .iter()
                .any(|c| !c.passed && !own.contains(&c.name.as_str()))
        },
    ),
];

fn standing(groups: &[Group], code: &str, text: &str, is: fn(&FitDocument) -> bool) -> Option<Warning> {
    let found: Vec<String> = groups
        .iter()
        .flat_map(|group| group.documents.iter().map(move |d| (group, d)))
        .filter(|(_, document)| is(document))
        .map(|(group, document)| format!("{} in {}", document.recording.run_id, group.name))
        .collect();
    (!found.is_empty()).then(|| caution(code, format!("Run {} {text}.", found.join(", run "))))
}
