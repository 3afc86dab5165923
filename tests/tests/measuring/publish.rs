//! A published measurement: the same bytes each time, and every member that was changed, is missing or was added is named.
#![allow(clippy::unwrap_used)] // a test

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::pairs::quicker;
use acceptance::recovery::root;
use bench_core::run::{End, Permit};
use serde_json::Value;
use truerim::drive::StopFlag;
use truerim::fitting::{FitOptions, fit_recording};
use truerim::publish::{About, PublishError, check, publish};
use truerim::recording::Recording;
use truerim::report::write_report;
use truerim::session::{self, Bench};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

/// A short measurement as `truerim measure` leaves it.
fn measured(folder: &Path) {
    let mut procedure = quicker().unwrap();
    let (steps, _) = procedure.text.split_once("[[segment]]\nname = \"chirp").unwrap();
    procedure.text = steps.to_owned();
    let bench = Bench::open(&root().join("rigs/belt.toml"), None, None, 5, String::new()).unwrap();
    let plan = session::plan_for(&procedure, &bench.rig, 5).unwrap();
    let (permit, stop) = (Permit::granted("test"), StopFlag::new());
    let path = folder.join("recording.h5");
    let done = session::record(&bench, &procedure, plan, permit, &path, &stop, &mut |_| {}).unwrap();
    assert_eq!(done.outcome.end, End::Completed);
    let document = fit_recording(&Recording::open(&path).unwrap(), &FitOptions::default()).unwrap();
    write_report(folder, &document).unwrap();
    std::fs::write(folder.join("notes.txt"), "private").unwrap();
}

type Members = BTreeMap<String, Vec<u8>>;

fn members(path: &Path) -> Members {
    let mut archive = ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    (0..archive.len())
        .map(|index| {
            let mut member = archive.by_index(index).unwrap();
            let mut bytes = Vec::new();
            member.read_to_end(&mut bytes).unwrap();
            (member.name().unwrap().into_owned(), bytes)
        })
        .collect()
}

fn packed(path: &Path, members: &Members) {
    let mut archive = ZipWriter::new(std::fs::File::create(path).unwrap());
    for (name, bytes) in members {
        archive
            .start_file(name.as_str(), SimpleFileOptions::default())
            .unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap();
}

fn python() -> Option<PathBuf> {
    std::env::var_os("TRUERIM_PYTHON").map(PathBuf::from)
}

/// Hashes by another program, put right in both lists, as somebody would who wants to hide a change.
fn hidden(path: &Path) {
    let script = "
import hashlib, json, sys, zipfile
path = sys.argv[1]
with zipfile.ZipFile(path) as z: files = {n: z.read(n) for n in z.namelist()}
crate = json.loads(files['ro-crate-metadata.json'])
for e in crate['@graph']:
    if e['@type'] == 'File':
        e['sha256'] = hashlib.sha256(files[e['@id']]).hexdigest()
        e['contentSize'] = str(len(files[e['@id']]))
files['ro-crate-metadata.json'] = json.dumps(crate).encode()
files['SHA256SUMS'] = ''.join(f'{hashlib.sha256(b).hexdigest()}  {n}\\n' for n, b in files.items() if n != 'SHA256SUMS').encode()
with zipfile.ZipFile(path, 'w') as z:
    for n, b in files.items(): z.writestr(n, b)
";
    let python = python().unwrap_or_else(|| "python3".into());
    assert!(
        Command::new(python)
            .args(["-c", script])
            .arg(path)
            .status()
            .unwrap()
            .success()
    );
}

#[test]
fn a_published_measurement_is_checked_to_the_last_file() {
    let folder = tempfile::tempdir().unwrap();
    let run = folder.path().join("run");
    std::fs::create_dir(&run).unwrap();
    measured(&run);
    let about = About {
        license: "https://spdx.org/licenses/CC-BY-4.0".into(),
        ..About::default()
    };
    let [first, second, damaged] = ["1.zip", "2.zip", "3.zip"].map(|name| folder.path().join(name));
    let done = publish(&run, &first, &about).unwrap();
    publish(&run, &second, &about).unwrap();
    assert_eq!(std::fs::read(&first).unwrap(), std::fs::read(&second).unwrap());
    assert_eq!(done.left_out, [run.join("notes.txt")]);
    let all = members(&first);
    for name in [
        "recording.h5",
        "fit.json",
        "report.html",
        "inputs/rig.toml",
        "inputs/procedure.toml",
        "plots/steps.svg",
    ] {
        assert!(all.contains_key(name), "{name} of {:?}", all.keys());
    }

    let sound = check(&first, true).unwrap();
    assert!(sound.is_sound(), "{:?}", sound.troubles);
    assert!(sound.results.unwrap() > 10 && sound.members == all.len());

    // As the specification of RO-Crate 1.1 has it: a description of the description, a root, and every file described.
    let crate_: Value = serde_json::from_slice(&all["ro-crate-metadata.json"]).unwrap();
    let graph = crate_["@graph"].as_array().unwrap();
    let by_id = |id: &str| graph.iter().find(|e| e["@id"] == id).unwrap();
    let own = by_id("ro-crate-metadata.json");
    assert_eq!(own["conformsTo"]["@id"], "https://w3id.org/ro/crate/1.1");
    assert_eq!(
        (&own["about"]["@id"], &own["@type"]),
        (&"./".into(), &"CreativeWork".into())
    );
    let dataset = by_id("./");
    for key in ["name", "description", "datePublished", "license"] {
        assert!(
            dataset[key].as_str().is_some_and(|text| !text.is_empty()),
            "{key}"
        );
    }
    let parts = dataset["hasPart"].as_array().unwrap();
    assert!(
        parts
            .iter()
            .all(|part| by_id(part["@id"].as_str().unwrap())["@type"] == "File")
    );
    let values = graph.iter().flat_map(|e| e.as_object().unwrap().values());
    let single = values.flat_map(|v| v.as_array().cloned().unwrap_or_else(|| vec![v.clone()]));
    let references: Vec<String> = single
        .filter_map(|v| v["@id"].as_str().map(str::to_owned))
        .collect();
    for id in references.iter().filter(|id| !id.starts_with("https://")) {
        assert!(
            graph.iter().any(|e| e["@id"] == id.as_str()),
            "{id} is referred to and not described"
        );
    }

    // Any member: a byte more, gone, or one too many.
    for name in all.keys() {
        let told = |members: &Members| -> Vec<String> {
            packed(&damaged, members);
            let found = check(&damaged, false).unwrap();
            found.troubles.into_iter().map(|t| t.member).collect()
        };
        let mut changed = all.clone();
        changed.get_mut(name).unwrap().push(b' ');
        assert!(told(&changed).contains(name), "{name} changed");
        let mut without = all.clone();
        without.remove(name);
        assert!(told(&without).contains(name), "{name} missing");
    }
    let mut more = all.clone();
    more.insert("plots/more.svg".into(), b"<svg/>".to_vec());
    packed(&damaged, &more);
    let found = check(&damaged, false).unwrap();
    assert!(
        found
            .troubles
            .iter()
            .any(|t| t.member == "plots/more.svg" && t.what.contains("was added"))
    );

    // With both lists put right, the recording still tells: another number in the fit, another input, another page.
    let value = |text: &str| {
        let mut fit: Value = serde_json::from_str(text).unwrap();
        let result = &mut fit["measurands"][0]["result"]["value"];
        *result = (result.as_f64().unwrap() * 1.001).into();
        serde_json::to_vec(&fit).unwrap()
    };
    let mut doctored = all.clone();
    doctored.insert(
        "fit.json".into(),
        value(std::str::from_utf8(&all["fit.json"]).unwrap()),
    );
    doctored.get_mut("inputs/rig.toml").unwrap().push(b'\n');
    packed(&damaged, &doctored);
    hidden(&damaged);
    let found = check(&damaged, true).unwrap();
    let told = |member: &str, words: &str| {
        let mut all = found.troubles.iter();
        assert!(
            all.any(|t| t.member == member && t.what.contains(words)),
            "{member}: {:?}",
            found.troubles
        );
    };
    told("fit.json", "/measurands/0/result/value");
    told("inputs/rig.toml", "is not what the recording keeps");
    told("report.html", "is not the page");
    assert_eq!(found.troubles.len(), 3, "{:?}", found.troubles);

    // What is no whole measurement is not published.
    std::fs::remove_file(run.join("report.html")).unwrap();
    assert!(matches!(
        publish(&run, &second, &about),
        Err(PublishError::Missing {
            name: "report.html",
            ..
        })
    ));
    std::fs::write(folder.path().join("no.zip"), b"PK\x03\x04 and no more").unwrap();
    assert!(matches!(
        check(&folder.path().join("no.zip"), true),
        Err(PublishError::Archive { .. })
    ));
}
