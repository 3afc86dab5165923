//! The tables of a report as files: CSV for a spreadsheet, JSON for a program. Values are SI; their unit stands beside them.

use serde_json::{Map, Value, json};

use super::write::csv_line;
use crate::fitting::FitDocument;
use truerim_analysis::estimate::{Check, Kind};

/// One table.
pub(super) struct Table {
    /// File name without ending.
    pub(super) name: &'static str,
    head: &'static [&'static str],
    rows: Vec<Vec<Value>>,
}

impl Table {
    /// As RFC 4180 has it, the names of the columns first.
    pub(super) fn csv(&self) -> String {
        let cell = |value: &Value| match value {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        let head: Vec<String> = self.head.iter().map(|name| (*name).to_owned()).collect();
        let rows = self
            .rows
            .iter()
            .map(|row| row.iter().map(cell).collect::<Vec<_>>());
        std::iter::once(head)
            .chain(rows)
            .map(|cells| csv_line(&cells))
            .collect()
    }

    /// A list of objects, one a row.
    pub(super) fn json(&self) -> Result<String, serde_json::Error> {
        let object = |row: &Vec<Value>| -> Value {
            let names = self.head.iter().map(|name| (*name).to_owned());
            Value::Object(names.zip(row.iter().cloned()).collect::<Map<_, _>>())
        };
        let rows: Vec<Value> = self.rows.iter().map(object).collect();
        Ok(serde_json::to_string_pretty(&rows)? + "\n")
    }
}

/// Results, the contributions to their uncertainties, and checks.
pub(super) fn tables(document: &FitDocument) -> Vec<Table> {
    vec![results(document), budget(document), checks(document)]
}

fn results(document: &FitDocument) -> Table {
    let rows = document.measurands.iter().map(|m| {
        let e = m.estimate();
        let refused = m.result.refused();
        let c = &m.conditions;
        vec![
            json!(m.id),
            json!(m.name),
            json!(m.group),
            json!(m.headline),
            json!(e.map(|e| e.value)),
            json!(e.map(|e| e.interval[0])),
            json!(e.map(|e| e.interval[1])),
            json!(e.map(|e| e.std_uncertainty)),
            json!(e.map(|e| e.dof).filter(|dof| dof.is_finite())),
            json!(e.map(|e| e.unit.as_str())),
            json!(e.map(|e| e.n)),
            json!(c.mounting),
            json!(c.amplitude_nm),
            json!(c.preload_nm),
            json!(c.temperature.as_ref().map(|t| t.mean_degc)),
            json!(c.rig_spring_nm_per_rad),
            json!(e.map(|e| e.method.as_str())),
            json!(refused.map(|r| r.code.as_str())),
            json!(refused.map(|r| r.message.as_str())),
        ]
    });
    Table {
        name: "results",
        head: &[
            "id",
            "name",
            "group",
            "headline",
            "value",
            "low_95",
            "high_95",
            "std_uncertainty",
            "dof",
            "unit",
            "n",
            "mounting",
            "amplitude_nm",
            "preload_nm",
            "temperature_degc",
            "rig_spring_nm_per_rad",
            "method",
            "refused",
            "reason",
        ],
        rows: rows.collect(),
    }
}

fn budget(document: &FitDocument) -> Table {
    let rows = document
        .measurands
        .iter()
        .filter_map(|m| m.estimate().map(|e| (m, e)))
        .flat_map(|(m, e)| e.budget.iter().map(move |part| (m, e, part)))
        .map(|(m, e, part)| {
            vec![
                json!(m.id),
                json!(part.source),
                json!(match part.kind {
                    Kind::A => "A",
                    Kind::B => "B",
                }),
                json!(part.std_uncertainty),
                json!(part.dof),
                json!(e.unit),
            ]
        });
    Table {
        name: "budget",
        head: &["id", "contribution", "type", "std_uncertainty", "dof", "unit"],
        rows: rows.collect(),
    }
}

fn checks(document: &FitDocument) -> Table {
    let row = |of: &str, check: &Check| {
        vec![
            json!(of),
            json!(check.name),
            json!(check.passed),
            json!(check.detail),
        ]
    };
    let whole = document.quality.iter().map(|check| row("recording", check));
    let own = document
        .measurands
        .iter()
        .filter_map(|m| m.estimate().map(|e| (m, e)))
        .flat_map(|(m, e)| e.checks.iter().map(|check| row(&m.id, check)));
    Table {
        name: "checks",
        head: &["of", "check", "passed", "found"],
        rows: whole.chain(own).collect(),
    }
}
