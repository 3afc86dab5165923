//! The table of expected numbers that `tests/reference/quality/make.py` writes, and how near is near.

#![allow(dead_code, clippy::unwrap_used, clippy::panic)] // each test uses its part, and may fail here

use std::collections::BTreeMap;

/// One case: its inputs and what is expected.
pub(crate) struct Case(BTreeMap<&'static str, Vec<f64>>);

impl Case {
    /// A list.
    pub(crate) fn list(&self, name: &str) -> &[f64] {
        self.0
            .get(name)
            .unwrap_or_else(|| panic!("no {name} in {:?}", self.0.keys()))
    }

    /// One number.
    pub(crate) fn number(&self, name: &str) -> f64 {
        self.list(name)[0]
    }

    /// Whether there is one of that name.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }
}

/// All cases whose name begins with `prefix`, at least one.
pub(crate) fn cases(prefix: &str) -> Vec<Case> {
    let table = include_str!("../../data/reference.csv");
    let mut found: BTreeMap<&str, Case> = BTreeMap::new();
    for line in table.lines().filter(|line| !line.starts_with('#')) {
        let [case, name, numbers]: [&str; 3] = line.split(',').collect::<Vec<_>>().try_into().unwrap();
        if case.trim_end_matches(|c: char| c.is_ascii_digit()) == prefix {
            let numbers = numbers.split_whitespace().map(|n| n.parse().unwrap()).collect();
            let case = found.entry(case).or_insert_with(|| Case(BTreeMap::new()));
            case.0.insert(name, numbers);
        }
    }
    assert!(!found.is_empty(), "no case {prefix}");
    found.into_values().collect()
}

/// Fails unless `value` is `expected` within an absolute `tolerance`.
#[track_caller]
pub(crate) fn near(value: f64, expected: f64, tolerance: f64) {
    assert!(
        (value - expected).abs() <= tolerance,
        "{value} is not {expected} within {tolerance}"
    );
}

/// Fails unless `value` is `expected` within a share of it.
#[track_caller]
pub(crate) fn near_share(value: f64, expected: f64, share: f64) {
    near(value, expected, share * expected.abs());
}

/// Standard normal numbers from a seed (Box and Muller 1958).
pub(crate) fn normals(n: usize, seed: u64) -> Vec<f64> {
    use rand_chacha::rand_core::{Rng, SeedableRng};
    let mut chance = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut uniform = move || ((chance.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
    let pairs = (0..n.div_ceil(2)).map(move |_| {
        let (radius, angle) = (
            (-2.0 * uniform().ln()).sqrt(),
            2.0 * std::f64::consts::PI * uniform(),
        );
        [radius * angle.cos(), radius * angle.sin()]
    });
    pairs.flatten().take(n).collect()
}
