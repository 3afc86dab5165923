//! The map of the workspace holds: which way crates depend, what the core may not touch, where time is read, and how
//! long a file may be.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Longest file, lines.
const LONGEST: usize = 600;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A crate of this workspace.
struct Own {
    folder: PathBuf,
    /// Crates of this workspace that it is built on; those of its tests alone not counted.
    needs: BTreeSet<String>,
    /// Those of its tests and benches.
    tests_need: BTreeSet<String>,
}

/// The crates of this workspace as cargo sees them.
fn crates() -> BTreeMap<String, Own> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let output = Command::new(cargo)
        .args(["metadata", "--no-deps", "--offline", "--format-version", "1"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let names: BTreeSet<&str> = packages.iter().map(|p| p["name"].as_str().unwrap()).collect();
    let crates = packages.iter().map(|package| {
        let needs = |for_tests: bool| {
            let all = package["dependencies"].as_array().unwrap().iter();
            let kind = all.filter(|need| (need["kind"].as_str() == Some("dev")) == for_tests);
            let own = kind
                .filter_map(|need| need["name"].as_str())
                .filter(|name| names.contains(name));
            own.map(str::to_owned).collect()
        };
        let manifest = Path::new(package["manifest_path"].as_str().unwrap());
        let own = Own {
            folder: manifest.parent().unwrap().to_owned(),
            needs: needs(false),
            tests_need: needs(true),
        };
        (package["name"].as_str().unwrap().to_owned(), own)
    });
    crates.collect()
}

#[test]
fn crates_depend_one_way() {
    let crates = crates();
    let expected: BTreeMap<&str, &[&str]> = BTreeMap::from([
        ("rig-link", &[][..]),
        ("settings-file", &[]),
        ("truerim-analysis", &[]),
        ("quality", &[]),
        ("vehicle", &["truerim-analysis"]),
        ("records", &["quality", "settings-file"]),
        ("virtual-rig", &["rig-link", "settings-file"]),
        ("bench-core", &["rig-link", "settings-file"]),
        (
            "truerim",
            &[
                "bench-core",
                "quality",
                "records",
                "rig-link",
                "settings-file",
                "truerim-analysis",
                "vehicle",
                "virtual-rig",
            ],
        ),
    ]);
    for (name, allowed) in &expected {
        let own = crates.get(*name).unwrap_or_else(|| panic!("no crate {name}"));
        for need in own.needs.iter().chain(&own.tests_need) {
            assert!(
                allowed.contains(&need.as_str()),
                "{name} must not depend on {need}"
            );
        }
    }
    // A crate that this test does not know has no place on the map yet.
    for name in crates.keys() {
        assert!(
            expected.contains_key(name.as_str()) || name == "acceptance",
            "unknown crate {name}"
        );
    }
}

/// Every Rust file below a folder.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in
            std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                files.push(path);
            }
        }
    }
    files.sort();
    files
}

/// The lines of a file that are no comment, counted from 1.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let numbered = text.lines().enumerate().map(|(index, line)| (index + 1, line));
    numbered.map(|(number, line)| (number, line.split("//").next().unwrap_or(line)))
}

/// Whether `word` stands in `line` and is not the end of a longer one.
fn has_word(line: &str, word: &str) -> bool {
    line.match_indices(word).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_')
    })
}

#[test]
fn the_core_knows_no_operating_system() {
    let crates = crates();
    for name in ["rig-link", "settings-file", "bench-core", "vehicle"] {
        let source = crates[name].folder.join("src");
        let lib = std::fs::read_to_string(source.join("lib.rs")).unwrap();
        assert!(
            code(&lib).any(|(_, line)| line.trim() == "#![no_std]"),
            "{name} is not no_std"
        );
        for file in sources(&source) {
            let text = std::fs::read_to_string(&file).unwrap();
            for (number, line) in code(&text) {
                let std = has_word(line, "std::") || has_word(line, "extern crate std");
                assert!(!std, "{}:{number}: {line}", file.display());
            }
        }
    }
}

/// What reads a clock, or waits by one.
const CLOCKS: [&str; 10] = [
    "Instant",
    "SystemTime",
    "UNIX_EPOCH",
    "clock_gettime",
    "jiff",
    "Zoned",
    "thread::sleep",
    "thread::park_timeout",
    "recv_timeout",
    "wait_timeout",
];
/// Where that is allowed, from the root.
const MAY_READ: [&str; 2] = ["bench/src/drive/clock.rs", "rigs/virtual/src/serve/clock.rs"];

#[test]
fn clocks_are_read_in_two_files() {
    let root = root().canonicalize().unwrap();
    let mut found = BTreeSet::new();
    for (name, own) in crates() {
        if name == "acceptance" {
            continue;
        }
        for file in sources(&own.folder.join("src")) {
            let text = std::fs::read_to_string(&file).unwrap();
            let place = file
                .canonicalize()
                .unwrap()
                .strip_prefix(&root)
                .unwrap()
                .display()
                .to_string();
            for (number, line) in code(&text) {
                let Some(clock) = CLOCKS.iter().find(|clock| has_word(line, clock)) else {
                    continue;
                };
                assert!(
                    MAY_READ.contains(&place.as_str()),
                    "{place}:{number} uses {clock}: {line}"
                );
                found.insert(place.clone());
            }
        }
    }
    // Both are found: the search finds what it looks for.
    assert_eq!(found.iter().map(String::as_str).collect::<Vec<_>>(), MAY_READ);
}

#[test]
fn no_file_is_longer_than_can_be_read() {
    for own in crates().values() {
        for file in sources(&own.folder.join("src")) {
            let lines = std::fs::read_to_string(&file).unwrap().lines().count();
            assert!(lines <= LONGEST, "{} has {lines} lines", file.display());
        }
    }
}
