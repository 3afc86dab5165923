//! Pages as people meet them: opened in a real browser, used by keyboard and pointer, in light and dark, on a telephone and on paper,
//! with nothing asked of a network. What is looked at stands in `tests/python/browse_pages.py`, how every number is read in
//! `read_numbers.py` beside it, in the report of the acceptance procedure.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // a test

use std::path::{Path, PathBuf};
use std::process::Command;

use acceptance::changed::shipped;
use acceptance::pairs::{STIFFNESS_NM_PER_RAD, measure, quicker};
use bench_core::run::Permit;
use records::limits::Limits;
use records::{Filter, Stamp, Store};
use truerim::archive::{BenchWanted, bench_sheet, demo_sheet, enter_year, limits_files, unit_sheet};
use truerim::compare::{CompareOptions, Group, compare};
use truerim::drive::ports::{Port, Usb};
use truerim::drive::{Said, StopFlag};
use truerim::fitting::FitOptions;
use truerim::report::records_page::{bench_page, records_page, unit_page};
use truerim::report::{write_comparison, write_report};
use truerim::session::checkup::page::page;
use truerim::session::checkup::{Extras, Pressed, findings};
use truerim::session::{self, Bench};

/// Pages of a model, a bench and a unit of an invented factory's year.
fn records_pages(folder: &Path, records: &Path) -> Vec<PathBuf> {
    let stamp = Stamp {
        entered: "2026-01-05T08:00:00Z".to_owned(),
        by: "test".to_owned(),
        software: "test".to_owned(),
    };
    let address = records.join("records.db").display().to_string().parse().unwrap();
    let mut store = Store::open(&address, true, &stamp).unwrap();
    let entered = enter_year(&mut store, 100, 2, &stamp).unwrap();
    let limits = &limits_files()[1];
    let of_model = Limits::from_toml(&limits.file, &limits.text).unwrap();
    let (all, wanted) = (Filter::default(), BenchWanted::default());
    let unit = store.unit(&entered.odd[0], None).unwrap();
    let model = demo_sheet(&mut store, limits).unwrap();
    let bench = bench_sheet(&mut store, "bench 1", &all, &wanted).unwrap();
    let unit = unit_sheet(&mut store, &unit, &all, Some(&of_model), &[]).unwrap();
    let made = [
        ("model", records_page(&model)),
        ("bench", bench_page(&bench)),
        ("unit", unit_page(&unit)),
    ];
    let write = |(name, page): (&str, Result<String, _>)| {
        let path = folder.join(format!("{name}.html"));
        std::fs::write(&path, page.unwrap()).unwrap();
        path
    };
    made.into_iter().map(write).collect()
}

/// The page of a check in which there is something of every kind: a rig that ignores stops, a long name, a port with a longer one.
fn check_page(folder: &Path) -> PathBuf {
    let rig = Path::new(env!("CARGO_MANIFEST_DIR")).join("../rigs/belt.toml");
    let bench = Bench::open(&rig, None, None, 5, "test".to_owned()).unwrap();
    let bench = bench.with_faults(&["ignore-stop at 0 s".to_owned()]).unwrap();
    let checked = session::check(&bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    let port = Port {
        path: PathBuf::from("/dev/ttyUSB0"),
        stable: Some(PathBuf::from(
            "/dev/serial/by-id/usb-Demo_Instruments_Serial_Bridge_with_a_long_name_0123456789ABCDEF-if00-port0",
        )),
        usb: Some(Usb {
            vendor: 0x1209,
            product: 1,
            serial: Some("0123456789ABCDEF".to_owned()),
            words: "Demo Instruments Serial Bridge".to_owned(),
        }),
    };
    let extras = Extras {
        emergency: Some(Ok(Pressed::NotSeen)),
        account: vec![Said::amiss("it sends 900.0 lines a second, 1000.0 declared")],
        ..Extras::default()
    };
    let found = findings(&bench, &checked, &extras);
    let path = folder.join("check.html");
    std::fs::write(
        &path,
        page("A rig <with> a & b", "2026-01-05T08:00:00Z", &found, &[port]),
    )
    .unwrap();
    path
}

#[test]
fn pages_work_in_a_browser() {
    // Pictures and prints stay where this variable says, for whoever wants to look at them.
    let kept = std::env::var_os("TRUERIM_PAGES").map(PathBuf::from);
    let temporary = tempfile::tempdir().unwrap();
    let folder = kept.as_deref().unwrap_or(temporary.path());
    let (quick, acceptance) = (quicker().unwrap(), shipped("acceptance").unwrap());
    let options = FitOptions::default();
    let measured =
        |stiffness, procedure, seed| measure(stiffness, procedure, &options, seed, temporary.path()).unwrap();
    // Side by side: the acceptance procedure takes as long as both others.
    let (then, now, accepted) = std::thread::scope(|scope| {
        let both = scope.spawn(|| (measured(900.0, &quick, 31), measured(810.0, &quick, 32)));
        let accepted = measured(STIFFNESS_NM_PER_RAD, &acceptance, 33);
        let (then, now) = both.join().unwrap();
        (then, now, accepted)
    });
    // In the largest page the numbers are read; the smaller ones are used as people do.
    let whole = folder.join("acceptance");
    write_report(&whole, &accepted).unwrap();
    let report = folder.join("report");
    write_report(&report, &then).unwrap();
    let groups = [("before", then), ("after", now)].map(|(name, document)| Group {
        name: name.into(),
        documents: vec![document],
    });
    let comparison = compare(&groups, &[], &CompareOptions::default()).unwrap();
    let against = folder.join("comparison");
    write_comparison(&against, &comparison, &groups).unwrap();
    let mut pages = vec![
        whole.join("report.html"),
        report.join("report.html"),
        against.join("comparison.html"),
    ];
    pages.extend(records_pages(folder, temporary.path()));
    pages.push(check_page(folder));
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
        .arg("--numbers")
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
