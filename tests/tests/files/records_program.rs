//! The program and its records, from a measurement to a folder that a third party verifies: one measured unit, and what can go
//! wrong between its file and its record.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

mod pages;
mod refit;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use acceptance::refit_figures::STEPS;
use acceptance::safety::program::{Ended, program};
use acceptance::safety::scene::PROCEDURE;
use serde_json::Value;

/// Runs the program; what it says, whole fits among it, is more than a pipe holds.
fn run(args: Vec<&str>) -> Ended {
    let ended = Command::new(program()).args(args).output().unwrap();
    Ended {
        code: ended.status.code(),
        out: String::from_utf8(ended.stdout).unwrap(),
        err: String::from_utf8(ended.stderr).unwrap(),
    }
}

/// Results of a unit, measured once for all tests, with records in a folder that is not there: so it waits in the outbox.
fn measured() -> &'static (tempfile::TempDir, Ended) {
    static MEASURED: OnceLock<(tempfile::TempDir, Ended)> = OnceLock::new();
    MEASURED.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name).display().to_string();
        let rig = acceptance::recovery::root().join("rigs/belt.toml");
        std::fs::write(at("procedure.toml"), format!("{PROCEDURE}{STEPS}")).unwrap();
        let mut args = vec![
            "measure",
            "--yes",
            "--json",
            "--rig",
            rig.to_str().unwrap(),
            "--procedure",
        ];
        let (procedure, out, records) = (at("procedure.toml"), at("out/run"), at("shared/records.db"));
        args.extend([&procedure, "--out", &out, "--records", &records]);
        let limits = at("kept.toml");
        std::fs::write(&limits, limits_of("1 s")).unwrap();
        args.extend(["--limits", &limits]);
        args.extend([
            "--unit",
            "W-0412",
            "--bench",
            "north",
            "--batch",
            "B-7",
            "--operator",
            "Robin Vale",
        ]);
        let ended = run(args);
        (folder, ended)
    })
}

/// Limits of the latency of the model, by a guard band of 1.65 standard uncertainties.
fn limits_of(above: &str) -> String {
    format!(
        "[limits]\nname = \"end of line\"\nmodel = \"Marten 7\"\noverdue = \"flag\"\n[limits.rule]\nkind = \"guard-band\"\n\
         factor = 1.65\n[[limits.measurand]]\nid = \"latency\"\nreject_above = \"{above}\"\n"
    )
}

/// The kinds of entries of a unit that was measured and judged once.
const ALL_KINDS: [&str; 4] = ["recording", "fit", "limits", "judgement"];

/// A copy of those results for one test.
struct Results {
    folder: tempfile::TempDir,
    records: String,
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => copy(&entry.path(), &target),
            false => drop(std::fs::copy(entry.path(), target).unwrap()),
        }
    }
}

impl Results {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        copy(measured().0.path(), folder.path());
        let records = folder.path().join("shared/records.db").display().to_string();
        let results = Self { folder, records };
        // The note is of the folder that was measured in.
        let note = results.note();
        let text = std::fs::read_to_string(&note).unwrap();
        let there = measured().0.path().display().to_string();
        std::fs::write(
            note,
            text.replace(&there, &results.folder.path().display().to_string()),
        )
        .unwrap();
        results
    }

    /// With the records' folder there.
    fn reachable() -> Self {
        let results = Self::new();
        std::fs::create_dir(results.at("shared")).unwrap();
        results
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn note(&self) -> PathBuf {
        self.at("out/records-outbox/run.json")
    }

    fn records(&self, args: &[&str]) -> Ended {
        let mut all = vec!["records"];
        all.extend(args);
        all.extend(["--records", &self.records, "--by", "Kim Aster"]);
        run(all)
    }

    fn done(&self, args: &[&str]) -> String {
        let ended = self.records(args);
        assert_eq!(ended.code, Some(0), "{args:?}: {}{}", ended.out, ended.err);
        ended.out
    }

    fn json(&self, args: &[&str]) -> Value {
        let mut all = args.to_vec();
        all.push("--json");
        serde_json::from_str(&self.done(&all)).unwrap()
    }

    fn catch_up(&self) -> Ended {
        self.records(&["catch-up", self.at("out").to_str().unwrap()])
    }

    /// The kinds of the unit's entries.
    fn kinds(&self) -> Vec<String> {
        let history = self.json(&["history", "W-0412"]);
        let kinds = history.as_array().unwrap().iter();
        kinds
            .map(|item| item["entry"]["kind"].as_str().unwrap().to_owned())
            .collect()
    }
}

#[test]
fn records_that_cannot_be_reached_do_not_stop_a_measurement_and_are_caught_up() {
    let (_, ended) = measured();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(ended.err.contains("NOT IN THE RECORDS YET"), "{}", ended.err);
    let summary: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(summary["records"]["added"], false);
    assert_eq!(summary["fit"]["recording"]["unit"]["serial"], "W-0412");

    let results = Results::new();
    assert_eq!(results.catch_up().code, Some(1));
    assert!(results.note().exists());
    std::fs::create_dir(results.at("shared")).unwrap();
    assert_eq!(results.catch_up().code, Some(0));
    assert!(!results.note().exists());
    assert_eq!(results.kinds(), ALL_KINDS);
    let history = results.json(&["history", "W-0412"]);
    let line: Value = serde_json::from_str(history[0]["entry"]["line"].as_str().unwrap()).unwrap();
    let content = &line["content"];
    assert_eq!(
        (&line["by"], &content["operator"]),
        (&"Robin Vale".into(), &"Robin Vale".into())
    );
    assert_eq!(
        (&content["bench"], &content["batch"]),
        (&"north".into(), &"B-7".into())
    );
    // The procedure is named by the digest of its text, which sha256sum has.
    let sums = Command::new("sha256sum")
        .arg(results.at("procedure.toml"))
        .output()
        .unwrap();
    let sum = String::from_utf8(sums.stdout).unwrap();
    assert_eq!(content["procedure"]["sha256"].as_str(), sum.split(' ').next());
    assert_eq!(content["calibration"]["overdue"], false);
    // Who, when, under which calibration, with which versions: all in the entry, by what the recording itself holds.
    let fit: Value =
        serde_json::from_str(&std::fs::read_to_string(results.at("out/run/fit.json")).unwrap()).unwrap();
    let facts = &fit["recording"];
    for (entered, recorded) in [
        (&content["created"], &facts["created"]),
        (&content["seal"], &facts["seal"]),
        (
            &content["calibration"]["certificate"],
            &facts["sensor"]["certificate"],
        ),
        (
            &content["calibration"]["calibrated"],
            &facts["sensor"]["calibrated"],
        ),
        (&content["calibration"]["due"], &facts["sensor"]["due"]),
        (&content["software"]["version"], &facts["software"]["version"]),
        (&content["unit"]["firmware"], &facts["unit"]["firmware"]),
    ] {
        assert_eq!(entered, recorded);
        assert!(entered.as_str().is_some_and(|text| !text.is_empty()), "{content}");
    }
    let of_fit: Value = serde_json::from_str(history[1]["entry"]["line"].as_str().unwrap()).unwrap();
    assert_eq!(
        of_fit["content"]["software"]["version"],
        fit["software"]["version"]
    );
    for line in [&line, &of_fit] {
        let entered = line["entered"].as_str().unwrap();
        assert!(
            records::seconds_of(entered).unwrap()
                >= records::seconds_of(facts["created"].as_str().unwrap()).unwrap()
        );
        assert!(
            line["software"].as_str().unwrap().starts_with("truerim "),
            "{line}"
        );
    }

    // Adding the same again changes nothing, by whichever name.
    let fit = results.at("out/run/fit.json");
    for source in [fit.to_str().unwrap(), results.at("out").to_str().unwrap()] {
        assert!(results.done(&["add", source]).contains("is there as entry 2"));
    }
    assert!(
        results
            .done(&["catch-up", results.at("out").to_str().unwrap()])
            .contains("Nothing waits")
    );
}

/// The states that a program leaves when it dies between beginning a run and having its receipt.
#[test]
fn whatever_a_crash_leaves_is_caught_up_once() {
    // Before the recording: nothing is lost, and nothing is made up.
    let results = Results::reachable();
    std::fs::remove_dir_all(results.at("out/run")).unwrap();
    let ended = results.catch_up();
    assert_eq!(ended.code, Some(1));
    assert!(ended.err.contains("holds no recording"), "{}", ended.err);
    assert!(results.note().exists());

    // In the middle of the run: the recording has no seal, so it waits for somebody to recover it, and then it is fitted and added.
    let results = Results::reachable();
    let [recording, recovered] = ["out/run/recording.h5", "recovered.h5"].map(|name| results.at(name));
    let killed = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/recordings/schema-1.2-killed.h5");
    std::fs::copy(killed, &recording).unwrap();
    std::fs::remove_file(results.at("out/run/fit.json")).unwrap();
    let ended = results.catch_up();
    assert!(
        ended.code == Some(1) && ended.err.contains("recover"),
        "{}",
        ended.err
    );
    assert!(results.note().exists());
    let paths = [&recording, &recovered].map(|path| path.to_str().unwrap());
    let ended = run(vec!["recover", paths[0], paths[1]]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    std::fs::rename(&recovered, &recording).unwrap();
    let ended = results.catch_up();
    println!("{}{}", ended.out, ended.err);
    assert_eq!(results.json(&["units"]).as_array().unwrap().len(), 1);

    // In the middle of writing the fit: it is made again from the recording.
    let results = Results::reachable();
    let fit = results.at("out/run/fit.json");
    let then = std::fs::read(&fit).unwrap();
    std::fs::write(&fit, &then[..then.len() / 2]).unwrap();
    assert_eq!(results.catch_up().code, Some(0));
    assert_eq!(std::fs::read(&fit).unwrap(), then);

    // After the recording was sealed, before the fit was written; then before the fit was added; then before the note was taken.
    let results = Results::reachable();
    let fit = results.at("out/run/fit.json");
    let then = std::fs::read(&fit).unwrap();
    std::fs::remove_file(&fit).unwrap();
    let note = std::fs::read(results.note()).unwrap();
    // As if it died between adding and judging.
    let mut without: Value = serde_json::from_slice(&note).unwrap();
    without.as_object_mut().unwrap().remove("limits").unwrap();
    std::fs::write(results.note(), without.to_string()).unwrap();
    assert_eq!(results.catch_up().code, Some(0));
    assert_eq!(std::fs::read(&fit).unwrap(), then);
    assert_eq!(results.kinds(), ["recording", "fit"]);
    std::fs::write(results.note(), note).unwrap();
    std::fs::remove_file(results.at("out/run/record.json")).unwrap();
    assert_eq!(results.catch_up().code, Some(0));
    assert_eq!(results.kinds(), ALL_KINDS);
    // The receipt is there again, and notes what the records have.
    let out = results.at("out");
    let verified = results.json(&["verify", "--receipts", out.to_str().unwrap()]);
    assert_eq!(
        (&verified["noted"], verified["findings"].as_array().unwrap().len()),
        (&2.into(), 0)
    );
}

#[test]
fn what_was_changed_since_it_was_sealed_is_not_recorded() {
    let results = Results::reachable();
    let fit = results.at("out/run/fit.json");
    let other = std::fs::read_to_string(&fit).unwrap();
    let seal = &other[other.find("\"seal\":\"").unwrap() + 8..][..64];
    std::fs::write(&fit, other.replace(seal, &"0".repeat(64))).unwrap();
    let ended = results.records(&["add", results.at("out/run").to_str().unwrap()]);
    assert_eq!(ended.code, Some(1));
    assert!(
        ended.err.contains("not of the recording beside it"),
        "{}",
        ended.err
    );
}

#[test]
fn a_unit_is_judged_corrected_noted_and_exported_for_others_to_verify() {
    let results = Results::reachable();
    assert_eq!(results.catch_up().code, Some(0));
    let limits = |above: &str| {
        std::fs::write(results.at("limits.toml"), limits_of(above)).unwrap();
        let ended = results.records(&[
            "judge",
            "W-0412",
            "--limits",
            results.at("limits.toml").to_str().unwrap(),
        ]);
        ended.code
    };
    let history = results.json(&["history", "W-0412"]);
    let line: Value = serde_json::from_str(history[1]["entry"]["line"].as_str().unwrap()).unwrap();
    let latency = line["content"]["measured"]
        .as_array()
        .unwrap()
        .iter()
        .find(|m| m["id"] == "latency")
        .unwrap();
    let (value, u) = (latency["value"].as_f64().unwrap(), latency["u"].as_f64().unwrap());
    let codes = [3.0, 0.0, -3.0].map(|by| limits(&format!("{} s", value + by * u)));
    assert_eq!(codes, [Some(0), Some(11), Some(10)]);
    results.done(&["note", "belt replaced before", "--unit", "W-0412"]);
    results.done(&["correct", "1", "--reason", "wrong list", "--set", "batch=B-8"]);
    assert_eq!(
        results
            .records(&["correct", "1", "--reason", "x", "--set", "latency=1"])
            .code,
        Some(1)
    );
    let units = results.json(&["units", "--batch", "B-8"]);
    assert_eq!(
        (&units[0]["serial"], &units[0]["verdict"]),
        (&"W-0412".into(), &"fail".into())
    );
    assert_eq!(
        results.json(&["units", "--batch", "B-7"]),
        Value::Array(Vec::new())
    );
    let values = results.json(&["values", "Marten 7", "--measurand", "latency"]);
    assert_eq!(values["series"][0]["points"][0]["value"].as_f64(), Some(value));
    for table in [
        &["history", "W-0412"][..],
        &["units"],
        &["models"],
        &["benches", "--from", "2020-01-01"],
        &["changes", "W-0412"],
    ] {
        assert!(!results.done(table).is_empty());
    }

    let out = results.at("exported");
    let exported = results.json(&["export", "W-0412", "--out", out.to_str().unwrap()]);
    assert_eq!(
        (&exported["recordings"], &exported["fits"]),
        (&1.into(), &1.into())
    );
    let verify = |folder: &Path| {
        let script = Command::new("python3")
            .arg(folder.join("verify.py"))
            .output()
            .unwrap();
        (
            script.status.success(),
            String::from_utf8_lossy(&script.stdout).into_owned(),
        )
    };
    let (sound, said) = verify(&out);
    assert!(
        sound && said.contains(exported["link"].as_str().unwrap()),
        "{said}"
    );
    let sums = Command::new("sha256sum")
        .args(["-c", "--quiet", "SHA256SUMS"])
        .current_dir(&out)
        .status();
    assert!(sums.unwrap().success());
    // A value of an entry, of a fit, and of the chain: each is found, also by who makes the list of files anew.
    for (file, from, to, says) in [
        (
            "entries.jsonl",
            "Robin Vale",
            "Robyn Vale",
            "entry 1 is not the one",
        ),
        (
            "entries.jsonl",
            "\"verdict\":\"fail\"",
            "\"verdict\":\"pass\"",
            "is not the one",
        ),
        (
            "recordings/1/fit.json",
            "\"value\":0.00",
            "\"value\":0.01",
            "does not say what any entry",
        ),
        ("chain.txt", "\n2 ", "\n2 0", "chain.txt leads to"),
    ] {
        let spoilt = results.at("spoilt");
        copy(&out, &spoilt);
        let text = std::fs::read_to_string(spoilt.join(file)).unwrap();
        assert!(text.contains(from), "{file} has no {from}");
        std::fs::write(spoilt.join(file), text.replacen(from, to, 1)).unwrap();
        let (sound, said) = verify(&spoilt);
        assert!(!sound && said.contains(&format!("{file} was changed")), "{said}");
        assert!(said.contains(says), "{says}: {said}");
        std::fs::remove_dir_all(spoilt).unwrap();
    }
    assert_eq!(results.json(&["verify"])["findings"], Value::Array(Vec::new()));
}
