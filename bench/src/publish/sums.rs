//! Hashes of members, as `sha256sum` writes and reads them.

use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};

use super::archive::Members;
use crate::recording::hexadecimal;

/// SHA-256 as 64 hexadecimal digits.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// One line a member: hash, two blanks, name.
pub(crate) fn text(members: &Members) -> String {
    members
        .iter()
        .map(|(name, bytes)| format!("{}  {name}\n", sha256(bytes)))
        .collect()
}

/// Hashes by name, and the lines that are none.
pub(crate) fn read(text: &str) -> (BTreeMap<String, String>, Vec<String>) {
    let mut sums = BTreeMap::new();
    let mut odd = Vec::new();
    for line in text.lines().filter(|line| !line.is_empty()) {
        match line.split_once("  ") {
            Some((sum, name)) if sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit()) => {
                sums.insert(name.to_owned(), sum.to_ascii_lowercase());
            }
            _ => odd.push(line.to_owned()),
        }
    }
    (sums, odd)
}
