//! The crate needs neither the standard library nor an allocator.
//!
//! A build for a bare target would show it where one is installed; this reads the sources instead.

use std::fs;
use std::path::Path;

fn sources(folder: &Path, into: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            into.push((path.display().to_string(), fs::read_to_string(&path).unwrap()));
        }
    }
}

/// Whether `code` names the crate `name`: as a path, an import or an `extern crate`.
fn names_crate(code: &str, name: &str) -> bool {
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(name).any(|(start, _)| {
        let before = code[..start].chars().next_back();
        let after = &code[start + name.len()..];
        let whole = !before.is_some_and(is_word) && !after.starts_with(is_word);
        whole && (after.trim_start().starts_with("::") || code[..start].trim_end().ends_with("crate"))
    })
}

#[test]
fn no_source_imports_the_standard_library_or_an_allocator() {
    let mut all = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut all);
    assert!(all.len() >= 10, "{} sources found", all.len());
    for (path, text) in &all {
        for (number, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            for name in ["std", "alloc"] {
                assert!(!names_crate(code, name), "{path}:{}: {line}", number + 1);
            }
        }
    }
    let root = all.iter().find(|(path, _)| path.ends_with("src/lib.rs")).unwrap();
    assert!(
        root.1.lines().any(|line| line == "#![no_std]"),
        "lib.rs is not no_std"
    );
}

#[test]
fn the_search_finds_what_it_is_for() {
    for bad in [
        "use std::vec::Vec;",
        "extern crate alloc;",
        "    alloc::vec![0]",
        "let x: std :: string",
    ] {
        assert!(names_crate(bad, "std") || names_crate(bad, "alloc"), "{bad}");
    }
    for good in [
        "use core::fmt;",
        "#![no_std]",
        "let allocated = 1;",
        "my_std::x()",
    ] {
        assert!(!names_crate(good, "std") && !names_crate(good, "alloc"), "{good}");
    }
}
