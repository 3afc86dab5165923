//! Every key that the reader of `[virtual]` knows stands in every rig file, with a comment that gives a range or a reason.
//!
//! What the reader knows it says itself: a key that it does not know makes it list the others of that table.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers count as production code

use crate::common;
use std::collections::BTreeMap;

use virtual_rig::RigParameters;

/// A key that no table has.
const STRANGER: &str = "qqqqqqqqqqqq";

/// Lines of the file's `[virtual]` part by table: key and comment, whether in force or commented out.
fn written(text: &str) -> BTreeMap<String, Vec<(String, String)>> {
    let mut tables: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
    let mut table = String::new();
    for line in text.lines() {
        let bare = line.trim_start_matches("# ").trim();
        if bare.starts_with('[') && bare.contains(']') {
            let name = bare.split(']').next().unwrap().trim_matches(['[', ' ']);
            name.clone_into(&mut table);
        } else if let Some((key, rest)) = bare.split_once(" = ")
            && !key.contains(' ')
            && table.starts_with("virtual")
        {
            let comment = rest.split_once(" # ").map_or("", |(_, comment)| comment);
            tables
                .entry(table.clone())
                .or_default()
                .push((key.to_owned(), comment.to_owned()));
        }
    }
    tables
}

/// The keys of each table of the file, by the reader's own account.
fn known(text: &str) -> BTreeMap<String, Vec<String>> {
    let mut strange = String::new();
    for line in text.lines() {
        strange += line;
        strange.push('\n');
        if line.starts_with("[virtual") || line.starts_with("[[virtual") {
            strange += &format!("{STRANGER} = 1\n");
        }
    }
    let findings = RigParameters::from_toml("rig.toml", &strange, 1).unwrap_err();
    let mut tables = BTreeMap::new();
    for finding in findings.iter() {
        let (table, key) = finding.place.key.rsplit_once('.').unwrap();
        assert_eq!(key, STRANGER, "{finding}");
        let table = table.split('[').next().unwrap().to_owned();
        let keys = finding.allowed.clone().unwrap();
        tables.insert(table, keys.split(", ").map(str::to_owned).collect());
    }
    tables
}

#[test]
fn every_key_that_is_read_is_documented_in_every_file() {
    let mut missing = Vec::new();
    for (file, text) in [
        ("belt", common::BELT),
        ("geared", common::GEARED),
        ("direct", common::DIRECT),
    ] {
        let (tables, known) = (written(text), known(text));
        assert!(known.len() > 15, "{known:?}");
        for (table, keys) in &known {
            let lines = tables.get(table).map(Vec::as_slice).unwrap_or_default();
            for key in keys {
                let below = format!("{table}.{key}");
                // Tables are documented by their own keys, or are left out of this unit.
                let is_table =
                    known.keys().any(|other| other.starts_with(&below)) || TABLES.contains(&key.as_str());
                let documented = lines
                    .iter()
                    .any(|(name, comment)| name == key && comment.len() > 3);
                let free = EXEMPT.contains(&below.as_str());
                if !is_table && !documented && !free {
                    missing.push(format!("{file}.toml: {below}"));
                }
            }
        }
    }
    assert!(
        missing.is_empty(),
        "no comment with a range or a reason:\n{}",
        missing.join("\n")
    );
}

/// Tables that a unit may leave out.
const TABLES: [&str; 6] = ["gear", "bearing", "uneven", "end_stops", "derating", "faults"];
/// Free texts of the controller's type plate, and what the first line of the ripple table says for all its orders.
const EXEMPT: [&str; 6] = [
    "virtual.controller.model",
    "virtual.controller.serial",
    "virtual.controller.firmware",
    "virtual.ripple.amplitude",
    "virtual.ripple.torque_share",
    "virtual.ripple.phase",
];
