//! Tests of the report over a made-up document.

use super::sample::{document, measurand, refused};
use super::{html, plots, table, write_report};
use crate::fitting::{Conditions, FitDocument, Quantity, SCHEMA};

/// Every tag that opens closes again, in order. Enough for the XML of the plots; pages have a few tags without end.
fn balanced(text: &str, without_end: &[&str]) {
    let mut open: Vec<String> = Vec::new();
    let mut rest = text;
    while let Some(start) = rest.find('<') {
        let end = rest[start..].find('>').expect("a tag without end") + start;
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        let name: String = tag.chars().take_while(|c| !c.is_whitespace()).collect();
        if tag.starts_with('!') || tag.ends_with('/') || without_end.contains(&name.as_str()) {
            continue;
        }
        match name.strip_prefix('/') {
            Some(name) => assert_eq!(
                open.pop().as_deref(),
                Some(name),
                "near {}",
                &rest[..rest.len().min(80)]
            ),
            None => open.push(name),
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
}

fn hostile() -> FitDocument {
    let mut d = document();
    let text = "\"><script>alert(1)</script>\u{1}&'";
    d.recording.unit.serial = text.into();
    d.recording.operator = text.into();
    d.recording.rig.name = text.into();
    d.recording.mounting = text.into();
    d.recording.files = vec![text.into()];
    d.recording.extra = vec![(text.into(), text.into())];
    d.recording.completion.state = text.into();
    d.recording.completion.cause = text.into();
    d.quality[0].name = text.into();
    d.quality[0].detail = text.into();
    d.quality[0].passed = false;
    for m in &mut d.measurands {
        m.conditions.mounting = text.into();
        m.group = text.into();
        m.name = text.into();
        m.definition = text.into();
    }
    d.measurands.push(measurand(
        Quantity::Overshoot,
        text,
        Conditions::default(),
        refused(text, text),
    ));
    let curves = &mut d.curves;
    for c in [
        &mut curves.steps.as_mut().unwrap().conditions,
        &mut curves.frequency.as_mut().unwrap().conditions,
    ] {
        c.mounting = text.into();
    }
    d
}

#[test]
fn a_page_is_whole_and_needs_nothing_else() {
    let d = document();
    let page = html(&d, &plots(&d).unwrap());
    // The one script of the page is its own, and the page's policy names its hash: any other would not run.
    let (before, rest) = page.split_once("<script>").unwrap();
    let (script, after) = rest.split_once("</script>").unwrap();
    assert_eq!(script, include_str!("plots.js"));
    assert!(before.contains("default-src 'none'") && !after.contains("<script"));
    let page = format!("{before}{after}");
    balanced(&page, &["br", "meta"]);
    for forbidden in ["src=", "url(", "@import", "<link", "http://", "https://"] {
        let found = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!found.contains(forbidden), "{forbidden}");
    }
    // Every link within the page has its target, and no target is there twice.
    for link in page.split("href=\"#").skip(1).filter_map(|s| s.split('"').next()) {
        assert_eq!(page.matches(&format!("id=\"{link}\"")).count(), 1, "{link}");
    }
}

#[test]
fn every_result_is_shown_with_unit_and_interval() {
    let d = document();
    let page = html(&d, &plots(&d).unwrap());
    // 4.031 ms with u = √(38² + 10²) µs = 39.3 µs and t(0.975; 67.5) = 1.996: U = 0.0784 ms, so 3.953 to 4.109 ms.
    assert!(page.contains("<b>4.031</b> ± 0.078\u{a0}ms"), "value");
    assert!(page.contains("3.953 to 4.109\u{a0}ms"), "interval");
    for m in &d.measurands {
        assert!(page.contains(&m.definition.replace('\'', "&#39;")), "{}", m.id);
    }
}

#[test]
fn what_few_look_for_stands_behind_and_a_model_with_its_roots() {
    let d = document();
    let text = table(&d);
    let (first, second) = text.split_once("in more detail").expect("a second table");
    assert!(first.contains("Overshoot") && !first.contains("Dead time"));
    assert!(second.contains("Dead time") && second.contains("a single repeat has no spread"));
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    // 93.4 Hz with u = 0.934 Hz and 7 degrees of freedom: t = 2.365, U = 2.2 Hz.
    assert!(
        text.contains("pole pair at 93.4 ± 2.2 Hz, damping 0.0850 ± 0.0020"),
        "{text}"
    );
    assert!(text.contains("real zero at 66.0 ± 1.6 Hz") && text.contains("check failed, residual"));
    let page = html(&d, &plots(&d).unwrap());
    assert!(page.contains("In more detail: 2 further results"));
    assert!(page.contains("3 poles, 1 zeros and a delay") && page.contains("93.4 ± 2.2 Hz"));
    assert!(!page.contains("What turning shows"));
    let mut turning = d;
    turning.measurands = vec![measurand(
        Quantity::Coulomb,
        "",
        Conditions::default(),
        refused("no_push", "nothing was pushed"),
    )];
    let page = html(&turning, &[]);
    assert!(page.contains("What turning shows") && page.contains("nothing was pushed"));
}

#[test]
fn hostile_text_stays_text() {
    let d = hostile();
    let drawn = plots(&d).unwrap();
    let page = html(&d, &drawn).replace(&format!("<script>{}</script>", include_str!("plots.js")), "");
    assert!(!page.contains("<script"));
    assert!(!page.contains('\u{1}'));
    balanced(&page, &["br", "meta"]);
    for plot in &drawn {
        for svg in [&plot.wide, &plot.narrow] {
            assert!(!svg.contains("<script") && !svg.contains('\u{1}'));
            balanced(svg, &[]);
        }
    }
    assert!(!table(&d).contains('\u{1}'));
}

#[test]
fn a_refused_result_appears_with_its_reason() {
    let mut d = document();
    for (i, m) in d.measurands.iter_mut().enumerate() {
        m.result = refused(
            &format!("code_{i}"),
            &format!("reason number {i} of many, and what to do"),
        );
    }
    let page = html(&d, &plots(&d).unwrap());
    let text = table(&d);
    for i in 0..d.measurands.len() {
        assert!(page.contains(&format!("code_{i}<")), "{i}");
        assert!(page.contains(&format!("reason number {i} of many")), "{i}");
        assert!(text.contains(&format!("reason number {i} of many")), "{i}");
    }
    assert_eq!(text.matches("refused").count(), d.measurands.len());
}

#[test]
fn a_run_that_tripped_says_so_everywhere() {
    let mut d = document();
    d.recording.completion.state = "tripped".into();
    d.recording.completion.cause = "rim speed 6.1 rad/s, limit 5 rad/s".into();
    let page = html(&d, &[]);
    assert!(page.contains("Partial result.") && page.contains("rim speed 6.1 rad/s"));
    assert!(table(&d).contains("partial result: the run ended as tripped (rim speed 6.1 rad/s"));
    assert!(!d.is_sound());
}

#[test]
fn the_table_is_aligned_and_fits() {
    let text = table(&document());
    assert!(text.contains("0 to −2.8 N·m"), "{text}");
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines.iter().all(|l| l.chars().count() <= 100), "{text}");
    let head = lines.iter().find(|l| l.starts_with("measurand")).unwrap();
    let row = lines.iter().find(|l| l.starts_with("Latency  ")).unwrap();
    let column = |line: &str, word: &str| line.find(word).map(|at| line[..at].chars().count()).unwrap();
    assert_eq!(column(head, "unit"), column(row, "ms"));
    assert_eq!(column(head, "value") + 5, column(row, "4.031") + 5);
    assert_eq!(column(head, "conditions"), column(row, "clamped"));
}

#[test]
fn sectors_of_the_turn_make_a_picture_with_a_panel_for_each_quantity() {
    let mut d = document();
    let conditions = d.measurands[0].conditions.clone();
    let result = d.measurands[0].result.clone();
    let drawn = |d: &FitDocument| plots(d).unwrap().into_iter().find(|p| p.name == "around");
    for quantity in [Quantity::FrictionSector, Quantity::GapSector] {
        for k in 0..12 {
            let group = format!("{}° to {}°", 30 * k, 30 * (k + 1));
            d.measurands
                .push(measurand(quantity, &group, conditions.clone(), result.clone()));
        }
    }
    let plot = drawn(&d).unwrap();
    for svg in [&plot.wide, &plot.narrow] {
        balanced(svg, &[]);
        assert!(svg.contains("Friction less its mean, mN·m") && svg.contains("Backlash less its mean, °"));
        assert!(!svg.contains("Stiffness less its mean") && !svg.contains("NaN"));
    }
    // Two sectors are no picture.
    d.measurands.retain(|m| {
        ![
            "60°", "90°", "120°", "150°", "180°", "210°", "240°", "270°", "300°", "330°",
        ]
        .iter()
        .any(|a| m.group.starts_with(a))
    });
    assert!(drawn(&d).is_none());
}

#[test]
fn plots_are_well_formed_and_named() {
    let d = document();
    let drawn = plots(&d).unwrap();
    assert_eq!(
        drawn.iter().map(|p| p.name).collect::<Vec<_>>(),
        [
            "steps",
            "latency",
            "frequency",
            "static-map",
            "trace",
            "shock",
            "resolution",
            "heat",
            "loops",
            "stops",
            "friction",
            "cogging"
        ]
    );
    for plot in &drawn {
        for svg in [&plot.wide, &plot.narrow] {
            balanced(svg, &[]);
            assert!(svg.contains("<title>") && svg.contains("role=\"img\"") && !svg.contains("NaN"));
            let turned = ["friction", "cogging"].contains(&plot.name);
            let conditions = if plot.name == "stops" {
                // Its own, from the samples' conditions.
                [
                    "free",
                    "all presses",
                    "rim not held",
                    "31.2 °C",
                    "n = ",
                    "n = 450",
                ]
            } else if turned {
                [
                    "back-driven",
                    "setpoint zero",
                    "no preload",
                    "31.2 °C",
                    "n = ",
                    "no resonance on the rig&#39;s spring",
                ]
            } else {
                [
                    "clamped",
                    "1.4 N·m",
                    "31.2 °C",
                    "n = ",
                    "3330 N·m/rad",
                    "93.4 ± 1.3 Hz",
                ]
            };
            for condition in conditions {
                assert!(svg.contains(condition), "{}: {condition}", plot.name);
            }
        }
    }
}

/// What a legend names can be hidden: each entry has a look of its own, and something in a panel has it.
#[test]
fn every_entry_of_a_legend_stands_for_something_of_its_own() {
    for plot in plots(&document()).unwrap() {
        for svg in [&plot.wide, &plot.narrow] {
            let keys = svg.matches("<g class=\"key s").count();
            assert!(keys > 0, "{}", plot.name);
            for place in 0..keys {
                // Once in the legend itself, and in a panel.
                let found = svg.matches(&format!(" class=\"s{place}\"")).count();
                assert!(found > 1, "{}: entry {place} of {keys}", plot.name);
            }
        }
    }
}

#[test]
fn nothing_to_draw_draws_nothing() {
    let mut d = document();
    d.curves = crate::fitting::Curves::default();
    d.measurands.clear();
    assert!(plots(&d).unwrap().is_empty());
    assert!(html(&d, &[]).contains("</html>"));
}

#[test]
fn the_report_is_written_and_its_json_reads_back() {
    let d = document();
    let kept = std::env::var_os("TRUERIM_REPORT_PREVIEW").map(std::path::PathBuf::from);
    let temporary = tempfile::tempdir().unwrap();
    let dir = kept.as_deref().unwrap_or(temporary.path());
    let files = write_report(dir, &d).unwrap();
    let names: Vec<_> = files
        .iter()
        .map(|f| f.strip_prefix(dir).unwrap().to_str().unwrap())
        .collect();
    assert_eq!(
        names,
        [
            "report.html",
            "fit.json",
            "plots/steps.svg",
            "plots/latency.svg",
            "plots/frequency.svg",
            "plots/static-map.svg",
            "plots/trace.svg",
            "plots/shock.svg",
            "plots/resolution.svg",
            "plots/heat.svg",
            "plots/loops.svg",
            "plots/stops.svg",
            "plots/friction.svg",
            "plots/cogging.svg",
            "tables/results.csv",
            "tables/results.json",
            "tables/budget.csv",
            "tables/budget.json",
            "tables/checks.csv",
            "tables/checks.json"
        ]
    );
    let read = |name: &str| std::fs::read_to_string(dir.join(name)).unwrap();
    let results: Vec<serde_json::Value> = serde_json::from_str(&read("tables/results.json")).unwrap();
    assert_eq!(results.len(), d.measurands.len());
    assert_eq!(
        (&results[0]["id"], &results[0]["unit"]),
        (&"latency".into(), &"s".into())
    );
    let csv = read("tables/results.csv");
    assert_eq!(csv.lines().count(), 1 + d.measurands.len());
    assert_eq!(csv.lines().next().unwrap().split(',').count(), 19);
    let refused = d.measurands.iter().position(|m| m.estimate().is_none()).unwrap();
    assert!(results[refused]["value"].is_null() && results[refused]["reason"].is_string());
    let json = read("fit.json");
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(value["schema"], SCHEMA);
    assert_eq!(value["measurands"][0]["id"], "latency");
    assert_eq!(value["measurands"][0]["result"]["status"], "estimate");
    let again: FitDocument = serde_json::from_str(&json).unwrap();
    assert!(again == d, "not the same to the last bit");
}

#[test]
fn a_result_whose_own_check_failed_is_named_in_the_short_words() {
    let mut d = document();
    let page = |d: &FitDocument| html(d, &[]);
    assert!(!page(&d).contains("Read with care"));
    if let truerim_analysis::estimate::Outcome::Estimate(e) = &mut d.measurands[0].result {
        e.checks[0].passed = false;
        e.checks[0].detail = "9 times the noise".into();
    }
    assert!(page(&d).contains("Read with care: Latency</strong>"));
    assert!(page(&d).contains("check failed, residual: 9 times the noise"));
}

#[test]
fn what_the_driver_gets_comes_before_what_a_turning_rim_shows() {
    let mut d = document();
    let short = |d: &FitDocument| {
        let page = html(d, &[]);
        page.split("</section>").next().unwrap().to_owned()
    };
    assert!(!short(&d).contains("As the rim turns"));
    let latency = d.measurands[0].clone();
    for quantity in [Quantity::Coulomb, Quantity::TurningInertia] {
        let conditions = latency.conditions.clone();
        let result = latency.result.clone();
        d.measurands
            .push(super::sample::measurand(quantity, "", conditions, result));
    }
    let text = short(&d);
    let turning = text.find("As the rim turns, friction takes").unwrap();
    assert!(text[turning..].contains("and all that turns has an inertia of"));
    assert!(turning > text.find("Torque begins").unwrap(), "{text}");
}

#[test]
fn a_run_on_a_free_rim_speaks_of_what_it_was_for() {
    let mut d = document();
    let latency = d.measurands[0].clone();
    let made = |quantity, result| super::sample::measurand(quantity, "", latency.conditions.clone(), result);
    let clamp_it = || refused("mounting", "clamp it");
    d.measurands = vec![
        made(Quantity::Latency, clamp_it()),
        made(Quantity::Bandwidth, clamp_it()),
        made(Quantity::Travel, latency.result.clone()),
    ];
    let page = |d: &FitDocument| html(d, &[]);
    let text = page(&d);
    assert!(text.contains("The rim turns <a"), "{text}");
    assert!(!text.contains("No latency can be given"), "{text}");
    d.measurands[2].result = refused("no_contact", "no stop was met");
    assert!(page(&d).contains("No latency can be given: clamp it"));
}

#[test]
fn other_groups_keep_their_refusals_and_reasons() {
    let mut d = document();
    let at = d.measurands.iter().position(|m| !m.headline).unwrap();
    d.measurands[at].result = refused("too_small", "the step drowns in noise; use a larger one");
    for text in [html(&d, &[]), table(&d)] {
        assert!(text.contains("the step drowns in noise"), "{text}");
        assert!(text.contains("refused"));
    }
}

#[test]
fn a_simulated_unit_is_called_one() {
    let mut d = document();
    assert!(html(&d, &[]).contains("Test of a simulated wheelbase") && table(&d).contains("(simulated)"));
    d.recording.rig.kind = "serial".into();
    assert!(!html(&d, &[]).contains("simulated") && !table(&d).contains("simulated"));
}

#[test]
fn imported_data_and_what_was_repaired_are_told_at_the_head() {
    let mut d = document();
    let head = |d: &FitDocument| {
        let page = html(d, &plots(d).unwrap());
        page.split("</header>").next().unwrap().to_owned()
    };
    assert!(!head(&d).contains("Imported data"));
    d.recording.rig.kind = "imported".into();
    let repairs = "3 cells that are no number, their rows left out; 7 rows <off> the even grid";
    d.recording.extra = vec![
        ("imported_file".into(), "bench.csv".into()),
        ("imported_repairs".into(), repairs.into()),
        (
            "imported_resampling".into(),
            "torque linear, at most about 0.002 N.m off".into(),
        ),
    ];
    let text = head(&d);
    for word in [
        "Imported data.",
        "bench.csv",
        "Repaired on import: 3 cells that are no number",
        "&lt;off&gt;",
        "Resampled: torque linear",
        "class=\"alert\"",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
    d.recording.extra = vec![("imported_repairs".into(), "none".into())];
    let text = head(&d);
    assert!(
        text.contains("Nothing was repaired.") && !text.contains("Resampled"),
        "{text}"
    );
    d.recording.extra.clear();
    assert!(
        head(&d).contains("is not said"),
        "silence is no statement that nothing was done"
    );
}

#[test]
fn the_driver_comes_first_then_the_drivetrain_then_the_data() {
    let mut d = document();
    for quantity in [
        Quantity::StaticGain,
        Quantity::LimitContrast,
        Quantity::Coulomb,
        Quantity::Backlash,
    ] {
        let result = refused("not_played", "it was not played");
        d.measurands
            .push(measurand(quantity, "", Conditions::default(), result));
    }
    let page = html(&d, &plots(&d).unwrap());
    let place = |id: &str| page.find(&format!("<section id=\"{id}\"")).unwrap();
    let order = [
        "short",
        "driver",
        "frequency",
        "static",
        "traces",
        "motion",
        "drivetrain",
        "quality",
        "budget",
        "definitions",
        "provenance",
        "cautions",
    ];
    for pair in order.windows(2) {
        assert!(place(pair[0]) < place(pair[1]), "{pair:?}");
    }
    assert!(
        page.contains("<th scope=\"row\">Warm-up</th>"),
        "what the temperature did stands with the data"
    );
}

/// SHA-256 of the script by another program: `openssl dgst -sha256 -binary plots.js | base64` for "abc" in RFC 6234's example.
#[test]
fn the_policy_writes_hashes_as_browsers_read_them() {
    use sha2::{Digest as _, Sha256};
    let text = super::html::page::base64(&Sha256::digest("abc"));
    assert_eq!(text, "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    assert_eq!(super::html::page::base64(b"fo"), "Zm8=");
    assert_eq!(super::html::page::base64(b"f"), "Zg==");
}
