//! Files with one mistake each: reading them, and what must be said.

#![allow(clippy::panic)] // the helpers of a test may fail it
#![allow(dead_code)] // each test uses its part

pub(crate) mod signals;

use settings_file::Findings;

/// A rig file with nothing wrong.
pub(crate) const RIG: &str = include_str!("../../fixtures/rig.toml");

pub(crate) type Row = (&'static str, &'static str, &'static [&'static str]);

/// Makes each change to a file with nothing wrong, and looks for the fragments in the one finding that must follow.
pub(crate) fn run(good: &str, rows: &[Row], read: impl Fn(&str) -> Result<(), Findings>) {
    read(good).unwrap_or_else(|findings| panic!("the fixture itself: {findings}"));
    for (from, to, fragments) in rows {
        assert!(good.contains(from), "the fixture has no {from:?}");
        let Err(findings) = read(&good.replacen(from, to, 1)) else {
            panic!("accepted {to:?}")
        };
        let text = findings.to_string();
        assert_eq!(findings.len(), 1, "{to:?}: {text}");
        for fragment in *fragments {
            assert!(text.contains(fragment), "{to:?}: {text:?} lacks {fragment:?}");
        }
    }
}
