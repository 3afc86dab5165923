//! One way to write a value as JSON, so that equal values have equal digests.

use serde::Serialize;
use serde_json::Value;
use sha2::{Digest, Sha256};

/// A value as JSON with keys in the order of their bytes, without spaces; numbers in the shortest form that reads back to the
/// last bit, texts as UTF-8 with only what must be escaped escaped.
#[must_use]
pub fn canonical(value: &impl Serialize) -> String {
    let mut out = String::new();
    // What is recorded are structs of texts and numbers: they have a JSON form.
    write(&serde_json::to_value(value).unwrap_or(Value::Null), &mut out);
    out
}

fn write(value: &Value, out: &mut String) {
    match value {
        Value::Object(map) => {
            let mut keys: Vec<(&String, &Value)> = map.iter().collect();
            keys.sort_by_key(|(key, _)| key.as_str());
            out.push('{');
            for (index, (key, value)) in keys.into_iter().enumerate() {
                if index > 0 {
                    out.push(',');
                }
                out.push_str(&Value::String(key.clone()).to_string());
                out.push(':');
                write(value, out);
            }
            out.push('}');
        }
        Value::Array(all) => {
            out.push('[');
            for (index, one) in all.iter().enumerate() {
                if index > 0 {
                    out.push(',');
                }
                write(one, out);
            }
            out.push(']');
        }
        plain => out.push_str(&plain.to_string()),
    }
}

/// SHA-256 of some bytes, 64 lower-case hexadecimal digits.
#[must_use]
pub fn sha256(bytes: impl AsRef<[u8]>) -> String {
    const DIGITS: [char; 16] = [
        '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
    ];
    let digest = Sha256::digest(bytes.as_ref());
    let digits = digest.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    digits
        .filter_map(|digit| DIGITS.get(usize::from(digit)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{canonical, sha256};

    /// FIPS 180-2, appendix B.1: the message "abc".
    #[test]
    fn the_digest_is_the_standards() {
        assert_eq!(
            sha256("abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    /// The order of keys, the escapes and the spaces of RFC 8785, 3.2, on values that both write alike.
    #[test]
    fn equal_values_are_written_alike() {
        let one: serde_json::Value =
            serde_json::from_str(r#"{ "b": [1, 0.1, null], "a": {"\u00b5": "N\u00b7m\n", "A": true} }"#)
                .unwrap();
        assert_eq!(
            canonical(&one),
            "{\"a\":{\"A\":true,\"µ\":\"N·m\\n\"},\"b\":[1,0.1,null]}"
        );
    }
}
