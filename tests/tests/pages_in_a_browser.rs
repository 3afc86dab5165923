//! Pages as people meet them: opened in a real browser, used by keyboard and pointer, in light and dark, on a telephone and on paper,
//! with nothing asked of a network. What is looked at stands in `tests/python/browse_pages.py`.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // a test

use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::pairs::{measure, quicker};
use truerim::compare::{CompareOptions, Group, compare};
use truerim::fitting::FitOptions;
use truerim::report::{write_comparison, write_report};

#[test]
fn pages_work_in_a_browser() {
    // Pictures and prints stay where this variable says, for whoever wants to look at them.
    let kept = std::env::var_os("TRUERIM_PAGES").map(PathBuf::from);
    let temporary = tempfile::tempdir().unwrap();
    let folder = kept.as_deref().unwrap_or(temporary.path());
    let procedure = quicker().unwrap();
    let measured = |stiffness, seed| {
        measure(
            stiffness,
            &procedure,
            &FitOptions::default(),
            seed,
            temporary.path(),
        )
        .unwrap()
    };
    let (then, now) = (measured(900.0, 31), measured(810.0, 32));
    let report = folder.join("report");
    write_report(&report, &then).unwrap();
    let groups = [("before", then), ("after", now)].map(|(name, document)| Group {
        name: name.into(),
        documents: vec![document],
    });
    let comparison = compare(&groups, &[], &CompareOptions::default()).unwrap();
    let against = folder.join("comparison");
    write_comparison(&against, &comparison, &groups).unwrap();
    let pages = [report.join("report.html"), against.join("comparison.html")];
    for page in &pages {
        let bytes = std::fs::metadata(page).unwrap().len();
        assert!(bytes < 3_000_000, "{} has {bytes} bytes", page.display());
    }
    let looks = folder.join("looks");
    std::fs::create_dir_all(&looks).unwrap();
    let python = std::env::var("TRUERIM_PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/browse_pages.py");
    let output = Command::new(python)
        .arg(script)
        .args(kept.as_ref().map(|_| "--keep"))
        .arg(&looks)
        .args(&pages)
        .output()
        .unwrap();
    let (out, problems) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert_eq!(
        out.trim(),
        "done",
        "{problems}\nrun tools/prepare tests, and set TRUERIM_PYTHON to the absolute path of target/python/bin/python"
    );
}
