//! Two fits of one recording, field by field.

use serde_json::Value;

/// Numbers nearer than this share are the same: another processor may round the last digits otherwise.
const SAME: f64 = 1e-9;

/// What differs between two fit documents. Which program fitted, and what the file is called, is no result.
pub(crate) fn differences(published: &Value, again: &Value) -> Vec<String> {
    let mut found = Vec::new();
    walk("", published, again, &mut found);
    found
}

/// Facts of the program and of the file's name.
fn is_no_result(path: &str) -> bool {
    path == "/software" || path == "/recording/file"
}

fn walk(path: &str, a: &Value, b: &Value, found: &mut Vec<String>) {
    if is_no_result(path) {
        return;
    }
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            let mut names: Vec<&String> = a.keys().chain(b.keys()).collect();
            names.sort();
            names.dedup();
            for name in names {
                let absent = &Value::Null;
                // A field that one version does not write and one that it writes as nothing say the same.
                let (x, y) = (a.get(name).unwrap_or(absent), b.get(name).unwrap_or(absent));
                walk(&format!("{path}/{name}"), x, y, found);
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            if a.len() != b.len() {
                found.push(format!(
                    "{path}: {} entries published, {} found",
                    a.len(),
                    b.len()
                ));
                return;
            }
            for (index, (x, y)) in a.iter().zip(b).enumerate() {
                walk(&format!("{path}/{index}"), x, y, found);
            }
        }
        (Value::Number(x), Value::Number(y)) => {
            let (x, y) = (x.as_f64().unwrap_or(f64::NAN), y.as_f64().unwrap_or(f64::NAN));
            let same = (x - y).abs() <= SAME * x.abs().max(y.abs());
            if !same {
                found.push(format!("{path}: {x} published, {y} found"));
            }
        }
        (x, y) if x == y => {}
        (x, y) => found.push(format!("{path}: {} published, {} found", short(x), short(y))),
    }
}

fn short(value: &Value) -> String {
    let text = value.to_string();
    if text.chars().count() > 60 {
        text.chars().take(60).chain(['…']).collect()
    } else {
        text
    }
}
