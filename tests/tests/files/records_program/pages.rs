//! Judged at once, looked at on pages, taken away as a table.

use serde_json::Value;

use super::{Results, limits_of, measured, run};
use acceptance::safety::program::Ended;

/// On the terminal, on the page, beside the fit, in the records and by the exit code; how often, and by what, one look tells.
#[test]
fn a_measurement_is_judged_at_once() {
    let (folder, ended) = measured();
    let summary: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(
        (&summary["judgement"]["verdict"], &summary["exit_code"]),
        (&"pass".into(), &0.into())
    );
    let run = folder.path().join("out/run");
    let page = std::fs::read_to_string(run.join("report.html")).unwrap();
    assert!(page.contains("<strong class=\"good\">PASS</strong> by end of line"));
    let results = Results::reachable();
    assert_eq!(results.catch_up().code, Some(0));
    let history = results.json(&["history", "W-0412"]);
    let line: Value = serde_json::from_str(history[3]["entry"]["line"].as_str().unwrap()).unwrap();
    assert_eq!(line["content"], summary["judgement"]);
    // Drawn again, the page still says it.
    let again = results.at("out/run/report.html");
    std::fs::remove_file(&again).unwrap();
    let folder = results.at("out/run");
    assert_eq!(
        run_program(&["report", folder.join("fit.json").to_str().unwrap()]).code,
        Some(0)
    );
    assert_eq!(std::fs::read_to_string(&again).unwrap(), page);

    // Limits that it does not keep, without records; and limits of another model, before anything moves.
    let rig = acceptance::recovery::root().join("rigs/belt.toml");
    let measure = |limits: &str, out: &str| {
        std::fs::write(results.at("limits.toml"), limits).unwrap();
        let (procedure, out, limits) = (
            results.at("procedure.toml"),
            results.at(out),
            results.at("limits.toml"),
        );
        let paths = [&rig, &procedure, &out, &limits].map(|path| path.to_str().unwrap().to_owned());
        let [rig, procedure, out, limits] = &paths;
        run_program(&[
            "measure",
            "--yes",
            "--rig",
            rig,
            "--procedure",
            procedure,
            "--out",
            out,
            "--limits",
            limits,
        ])
    };
    let failed = measure(&limits_of("0.01 ms"), "failed");
    assert_eq!(failed.code, Some(10), "{}", failed.err);
    assert!(
        failed.out.contains(": FAIL") && failed.out.contains("latency"),
        "{}",
        failed.out
    );
    let other = measure(&limits_of("1 s").replace("Marten 7", "Heron 2"), "other");
    assert_eq!(other.code, Some(2), "{}", other.err);
    assert!(
        other.err.contains("limits for the model Heron 2") && !results.at("other").exists(),
        "{}",
        other.err
    );
}

fn run_program(args: &[&str]) -> Ended {
    run(args.to_vec())
}

#[test]
fn pages_of_units_benches_and_models_are_written_and_filtered() {
    let results = Results::reachable();
    assert_eq!(results.catch_up().code, Some(0));
    results.done(&["note", "belt replaced <before>", "--unit", "W-0412"]);
    results.done(&["correct", "1", "--reason", "wrong list", "--set", "batch=B-8"]);
    let file = results.at("pages/page.html");
    let limits = results.at("kept.toml");
    let page = |args: &[&str]| {
        let mut all = vec!["page", "--out", file.to_str().unwrap()];
        all.extend(args);
        let told = results.json(&all);
        (
            told["measurements"].as_u64().unwrap(),
            std::fs::read_to_string(&file).unwrap(),
        )
    };
    let (count, unit) = page(&["--unit", "W-0412", "--limits", limits.to_str().unwrap()]);
    assert_eq!(count, 1);
    for words in [
        "Marten 7 W-0412",
        "<figure id=\"life-0\">",
        "belt replaced &lt;before&gt;",
        "batch is B-8: wrong list",
        "batch was B-7",
        "end of line",
        "<span class=\"good\">pass</span>",
    ] {
        assert!(unit.contains(words), "{words}");
    }
    assert_eq!(page(&["--unit", "W-0412", "--bench", "south"]).0, 0);
    let (count, bench) = page(&["--bench", "north"]);
    assert_eq!(count, 1);
    for words in [
        "<h1>north</h1>",
        "<figure id=\"units-by-month\">",
        ">Robin Vale<",
        "W-0412",
    ] {
        assert!(bench.contains(words), "{words}");
    }
    let out = file.to_str().unwrap();
    let told = |args: &[&str]| {
        let mut all = vec!["page", "--out", out];
        all.extend(args);
        results.records(&all)
    };
    assert!(
        told(&["--bench", "south"])
            .err
            .contains("nothing was measured on this bench")
    );
    assert!(told(&["--model", "Marten 7"]).err.contains("too few for a page"));
    let nothing = told(&[]);
    assert_eq!(nothing.code, Some(2), "{}", nothing.err);

    let table = results.at("tables/values.parquet");
    results.done(&["values", "Marten 7", "--parquet", table.to_str().unwrap()]);
    let bytes = std::fs::read(table).unwrap();
    assert!(bytes.starts_with(b"PAR1") && bytes.ends_with(b"PAR1"));
}
