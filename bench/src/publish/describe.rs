//! The archive's description: RO-Crate Metadata Specification 1.1 (JSON-LD).

use serde_json::{Value, json};

use super::archive::Members;
use super::sums::sha256;
use super::{FIT, INPUTS, METADATA, PAGE, RECORDING};
use crate::fitting::FitDocument;

/// What the publisher says besides.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct About {
    /// Day of publication, `YYYY-MM-DD`; empty: the day of the recording.
    pub date: String,
    /// Licence, best as a URL; empty: none is stated.
    pub license: String,
    /// Who publishes; empty: not stated.
    pub author: String,
}

/// What a licence says that nobody stated.
const NO_LICENSE: &str = "No licence is stated: ask whoever published this before using it further.";

/// The metadata document of `members`, which do not hold it yet.
pub(crate) fn metadata(
    document: &FitDocument,
    members: &Members,
    about: &About,
) -> Result<String, serde_json::Error> {
    let facts = &document.recording;
    let day = facts.created.get(..10).unwrap_or(&facts.created);
    let date = if about.date.is_empty() { day } else { &about.date };
    let unit = format!("{} {}", facts.unit.model, facts.unit.serial);
    let simulated = if facts.rig.kind == "virtual" {
        ", simulated"
    } else {
        ""
    };
    let parts: Vec<Value> = members.keys().map(|name| json!({"@id": name})).collect();
    let license = if about.license.is_empty() {
        NO_LICENSE
    } else {
        &about.license
    };
    let mut root = json!({
        "@id": "./",
        "@type": "Dataset",
        "name": format!("Test of wheelbase {}{simulated}, {day}", unit.trim()),
        "description": format!(
            "Raw recording, fit with uncertainties, report and inputs of run {}, measured {} on {}. Check and fit it again with: \
             truerim verify FILE",
            facts.run_id, facts.mounting, facts.rig.name
        ),
        "datePublished": date,
        "license": license,
        "identifier": facts.run_id,
        "about": {"@id": "#unit"},
        "mentions": [{"@id": "#measuring"}, {"@id": "#fitting"}],
        "hasPart": parts,
    });
    let mut graph = vec![json!({
        "@id": METADATA,
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        "about": {"@id": "./"},
    })];
    let mut people = Vec::new();
    if !about.author.is_empty() {
        root["author"] = json!({"@id": "#author"});
        people.push(json!({"@id": "#author", "@type": "Person", "name": about.author}));
    }
    graph.push(root);
    graph.extend(members.iter().map(|(name, bytes)| file(name, bytes)));
    graph.extend(people);
    graph.push(json!({
        "@id": "#unit",
        "@type": "IndividualProduct",
        "name": unit.trim(),
        "model": facts.unit.model,
        "serialNumber": facts.unit.serial,
    }));
    graph.push(json!({
        "@id": "#sensor",
        "@type": "IndividualProduct",
        "name": format!("Torque sensor {} {}", facts.sensor.model, facts.sensor.serial),
        "model": facts.sensor.model,
        "serialNumber": facts.sensor.serial,
        "description": format!(
            "calibrated {}, due {}, certificate {}",
            facts.sensor.calibrated, facts.sensor.due, facts.sensor.certificate
        ),
    }));
    let inputs: Vec<Value> = members
        .keys()
        .filter(|name| name.starts_with(INPUTS))
        .map(|name| json!({"@id": name}))
        .collect();
    let results: Vec<Value> = members
        .keys()
        .filter(|name| *name != RECORDING && !name.starts_with(INPUTS))
        .map(|name| json!({"@id": name}))
        .collect();
    let program = |id: &str, p: &crate::fitting::Program| json!({"@id": id, "@type": "SoftwareApplication", "name": p.name, "version": p.version, "softwareVersion": p.version});
    graph.push(program("#recorder", &facts.software));
    graph.push(program("#fitter", &document.software));
    graph.push(json!({
        "@id": "#measuring",
        "@type": "CreateAction",
        "name": "Measuring",
        "startTime": facts.created,
        "object": inputs,
        "instrument": [{"@id": "#recorder"}, {"@id": "#sensor"}],
        "result": {"@id": RECORDING},
    }));
    graph.push(json!({
        "@id": "#fitting",
        "@type": "CreateAction",
        "name": "Fitting",
        "object": {"@id": RECORDING},
        "instrument": {"@id": "#fitter"},
        "result": results,
    }));
    // The context of 1.1 has no word for a hash.
    let context = json!(["https://w3id.org/ro/crate/1.1/context", {"sha256": "https://schema.org/sha256"}]);
    let text = serde_json::to_string_pretty(&json!({"@context": context, "@graph": graph}))?;
    Ok(text + "\n")
}

/// One file: what it is, its size, its hash.
fn file(name: &str, bytes: &[u8]) -> Value {
    let ending = name.rsplit('.').next().unwrap_or("");
    let format = match ending {
        "h5" => "application/x-hdf5",
        "json" => "application/json",
        "html" => "text/html",
        "svg" => "image/svg+xml",
        "csv" => "text/csv",
        "toml" => "application/toml",
        _ => "application/octet-stream",
    };
    let what = match name {
        RECORDING => "Recording: raw counts of every channel, sealed",
        FIT => "Fit: every result with its uncertainty, conditions and method",
        PAGE => "Report: one page that needs no network",
        other if other.starts_with("plots/") => "A plot of the report, or its data",
        other if other.starts_with("tables/") => "A table of the report",
        other if other.starts_with(INPUTS) => "What the run was made from, as it stands in the recording",
        _ => "A further file",
    };
    json!({
        "@id": name,
        "@type": "File",
        "name": what,
        "encodingFormat": format,
        "contentSize": bytes.len().to_string(),
        "sha256": sha256(bytes),
    })
}
