//! What a check finds, and its page.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::path::PathBuf;

use acceptance::program::under_test;
use acceptance::safety::{Meddler, Watched};
use bench_core::run::Permit;
use truerim::drive::StopFlag;
use truerim::drive::{Line, LockStep, Said};
use truerim::session::checkup::page::page;
use truerim::session::checkup::{
    Extras, Finding, Pressed, Smallest, Verdict, findings, smallest_torque, smallest_torque_over,
    watch_emergency_stop,
};
use truerim::session::{self, Bench};
use virtual_rig::{RigParameters, VirtualRig};

/// The belt unit, with what a test changes of its file.
fn belt(change: &[(&str, &str)], faults: &[&str]) -> Bench {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut text = std::fs::read_to_string(root.join("rigs/belt.toml")).unwrap();
    for (from, to) in change {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("rig.toml");
    std::fs::write(&path, text).unwrap();
    let faults: Vec<String> = faults.iter().map(|fault| (*fault).to_owned()).collect();
    let bench = Bench::open(&path, None, None, 5, "test".to_owned()).unwrap();
    bench.with_faults(&faults).unwrap()
}

fn look(bench: &Bench, extras: &Extras) -> Vec<Finding> {
    let checked = session::check(bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    findings(bench, &checked, extras)
}

fn of<'a>(findings: &'a [Finding], name: &str) -> &'a Finding {
    let found = findings.iter().find(|finding| finding.name == name);
    found.unwrap_or_else(|| panic!("no {name}: {findings:#?}"))
}

/// 2 mN·m in 1 kHz (the belt unit's sensor); what its own filter leaves of it is less.
const DECLARED: (&str, &str) = (
    "delay_uncertainty = \"10 us\"",
    "delay_uncertainty = \"10 us\"\nnoise = \"2.5 mN·m\"",
);

/// A zero that friction in the clamped drivetrain may move by this much: the belt unit is all right then.
const ZEROED: (&str, &str) = ("zero_uncertainty = \"5 mN·m\"", "zero_uncertainty = \"20 mN·m\"");

#[test]
fn a_sound_rig_is_good_and_the_page_says_so() {
    let bench = belt(&[DECLARED, ZEROED], &[]);
    let torque = smallest_torque(&bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    let pressed = Some(Ok(Pressed::Seen { closed_again: true }));
    let extras = Extras {
        torque: torque.map(Ok),
        emergency: pressed,
        account: Vec::new(),
    };
    let found = look(&bench, &extras);
    for finding in &found {
        assert_eq!(finding.verdict, Verdict::Good, "{finding:?}");
    }
    for name in [
        "proofs",
        "sample rate",
        "rig clock",
        "torque noise",
        "stop",
        "watchdog",
    ] {
        of(&found, name);
    }
    assert!(of(&found, "sample rate").found.starts_with("4000.0 of 4000"));
    let html = page("Belt & plate <A>", "2026-01-01", &found, &[]);
    assert!(html.contains("Belt &amp; plate &lt;A&gt;") && html.ends_with("</html>\n"));
    assert_eq!(html.matches("<tr>").count(), found.len());
    assert!(!html.contains("What to do") && html.contains("as it should be."));
    // Self-contained: nothing is loaded from anywhere.
    for word in ["http", "src=", "href=", "@import", "url("] {
        assert!(!html.contains(word), "{word}");
    }
}

#[test]
fn what_is_wrong_is_told_with_what_to_do() {
    // A sensor that is noisier than declared.
    let bench = belt(
        &[(
            "delay_uncertainty = \"10 us\"",
            "delay_uncertainty = \"10 us\"\nnoise = \"0.3 mN·m\"",
        )],
        &[],
    );
    let noise = look(&bench, &Extras::default());
    assert_eq!(of(&noise, "torque noise").verdict, Verdict::Bad);
    assert!(of(&noise, "torque noise").advice.contains("cable"));
    assert_eq!(of(&noise, "sign and gain").verdict, Verdict::NotTried);
    // A weight left on it.
    let bench = belt(&[("# load = \"0 N·m\"", "load = \"0.2 N·m\"")], &[]);
    let zero = look(&bench, &Extras::default());
    assert_eq!(of(&zero, "torque zero").verdict, Verdict::Attention);
    let told: f64 = of(&zero, "torque zero")
        .found
        .split(' ')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    // Friction and cogging hold a little more or less at rest.
    assert!((told - 0.2).abs() < 0.05, "{told}");
    // A rig that ignores stops fails its proof.
    let bench = belt(&[], &["ignore-stop at 0 s"]);
    let stop = look(&bench, &Extras::default());
    assert_eq!(of(&stop, "stop").verdict, Verdict::Bad);
    assert!(of(&stop, "stop").advice.contains("do not arm"));
    assert_eq!(of(&stop, "proofs").verdict, Verdict::Bad);
    // It never came to the watchdog: nothing is known of that.
    assert_eq!(of(&stop, "watchdog").verdict, Verdict::NotTried);
    let html = page("x", "y", &stop, &[]);
    assert!(html.contains("Do not measure"));
    // What is wrong stands before what is not.
    let at = |words: &str| html.find(words).unwrap();
    assert!(at("What to do") < at("✕ bad") && at("✕ bad") < at("! attention"));
    assert!(at("– not tried") < at("As it should be") && at("As it should be") < at("✓ good"));
}

#[test]
fn each_thing_that_is_wrong_is_found_as_that() {
    // No filter to speak of in front of the converter: white noise up to half the sample rate.
    let wide = [
        ("amplifier = \"1 kHz\"", "amplifier = \"2 kHz\""),
        ("\nnoise = \"2 mN·m\"", "\nnoise = \"5 mN·m\""),
    ];
    let bench = belt(&wide, &[]);
    let open = look(&bench, &Extras::default());
    assert_eq!(of(&open, "sensor filter").verdict, Verdict::Attention);
    assert!(of(&open, "sensor filter").advice.contains("anti-alias"));
    // A slow way: 5 ms there and 5 ms back.
    let slow = look(
        &belt(&[], &["bytes-delayed at 0 s size 5 ms"]),
        &Extras::default(),
    );
    assert_eq!(of(&slow, "round trip").verdict, Verdict::Attention, "{slow:#?}");
    assert!(of(&slow, "round trip").advice.contains("latency timer"));
    // A way that loses bytes: samples are missing, and the run says so.
    let lossy = look(
        &belt(&[], &["bytes-lost at 0.3 s size 0.05 %"]),
        &Extras::default(),
    );
    assert_eq!(of(&lossy, "proofs").verdict, Verdict::Bad, "{lossy:#?}");
    // Another controller than the rig file's: it cannot do what is permitted.
    let mut weak = belt(&[], &[]);
    weak.rig.limits.torque_nm = 8.5;
    let weak = look(&weak, &Extras::default());
    let proofs = of(&weak, "proofs");
    assert_eq!(proofs.verdict, Verdict::Bad);
    assert!(proofs.found.contains("full scale"), "{proofs:?}");
    // Half of the smallest torque is missing.
    let bench = belt(&[], &[]);
    let torque = smallest_torque(&bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    let torque = torque.map(|mut smallest| {
        smallest.gain = Some(0.5);
        smallest
    });
    let extras = Extras {
        torque: torque.map(Ok),
        ..Extras::default()
    };
    let half = look(&bench, &extras);
    assert_eq!(of(&half, "sign and gain").verdict, Verdict::Attention);
    assert!(of(&half, "sign and gain").found.contains("50.0 %"));
    // Whatever is not good says what to do.
    for finding in [open, slow, lossy, half].iter().flatten() {
        assert!(
            finding.verdict == Verdict::Good || finding.advice.len() > 10,
            "{finding:?}"
        );
    }
}

/// A belt unit of which one thing that no rig file can say is not as it should be.
fn line(bench: &Bench, change: impl FnOnce(&mut RigParameters)) -> Box<dyn Line> {
    let text = &bench.rig_text;
    let mut parameters = RigParameters::mounted(&text.file, &text.text, bench.seed, None).unwrap();
    change(&mut parameters);
    Box::new(LockStep::new(VirtualRig::new(parameters, bench.seed)))
}

/// Names of what is not good, and not merely untried.
fn amiss(findings: &[Finding]) -> Vec<&str> {
    let amiss = |finding: &&Finding| matches!(finding.verdict, Verdict::Bad | Verdict::Attention);
    findings
        .iter()
        .filter(amiss)
        .map(|finding| finding.name.as_str())
        .collect()
}

fn smallest(bench: &Bench, line: Box<dyn Line>) -> Smallest {
    smallest_torque_over(bench, line, Permit::granted("test"), &StopFlag::new()).unwrap()
}

#[test]
fn each_thing_alone_leads_to_its_own_line() {
    let sound = [DECLARED, ZEROED];
    let bench = belt(&sound, &[]);
    let well = smallest(&bench, line(&bench, |_| {}));
    let extras = |torque| Extras {
        torque: Some(Ok(torque)),
        emergency: Some(Ok(Pressed::Seen { closed_again: true })),
        account: vec![Said::fact("torque sensor on /dev/demo: 400 readings")],
    };
    let good = extras(well);
    assert_eq!(amiss(&look(&bench, &good)), [""; 0]);

    // The sensor counts the other way, and that alone.
    let turned = smallest(&bench, line(&bench, |rig| rig.sensors.torque.gain_error = -2.0));
    let found = look(&bench, &extras(turned));
    assert_eq!(amiss(&found), ["sign and gain"]);
    let sign = of(&found, "sign and gain");
    assert_eq!(sign.verdict, Verdict::Bad);
    assert!(
        sign.found.contains("wrong-sign") && sign.advice.contains("turn the sign"),
        "{sign:?}"
    );
    // A third of the torque: a full scale or an arm.
    let weak = smallest(&bench, line(&bench, |rig| rig.sensors.torque.gain_error = -0.67));
    let found = look(&bench, &extras(weak));
    assert_eq!(amiss(&found), ["sign and gain"]);
    assert!(
        of(&found, "sign and gain").advice.contains("full scale"),
        "{found:#?}"
    );

    // A watchdog that never fires: the rig is told of one of a second, and the bench believes it is its own.
    let text = &bench.rig_text;
    let parameters = RigParameters::mounted(&text.file, &text.text, bench.seed, None).unwrap();
    let meddler = Meddler::default().loosen(|limits| limits.watchdog_us = 1_000_000);
    let asleep = Watched::new(VirtualRig::new(parameters, bench.seed), meddler);
    let (permit, stop) = (Permit::granted("test"), StopFlag::new());
    let checked = session::check_over(&bench, Box::new(asleep), None, permit, &stop);
    let found = findings(&bench, &checked, &good);
    assert_eq!(amiss(&found), ["proofs", "watchdog"]);
    assert_eq!(of(&found, "stop").verdict, Verdict::Good);
    let watchdog = of(&found, "watchdog");
    assert!(
        watchdog.verdict == Verdict::Bad && watchdog.advice.contains("keep-alives"),
        "{watchdog:?}"
    );

    // Of files and faults: what, its line, and a word of the advice.
    let noisy = "delay_uncertainty = \"10 us\"\nnoise = \"1 mN·m\"";
    // Louder than what really moves in the drivetrain, and declared to be.
    let loud = [
        ("\nnoise = \"2 mN·m\"", "\nnoise = \"5 mN·m\""),
        (DECLARED.0, "delay_uncertainty = \"10 us\"\nnoise = \"8 mN·m\""),
    ];
    let wide = ("amplifier = \"1 kHz\"", "amplifier = \"2 kHz\"");
    let weight = ("# load = \"0 N·m\"", "load = \"0.2 N·m\"");
    type Case<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str, &'a str);
    let cases: [Case<'_>; 6] = [
        (&[(DECLARED.0, noisy), ZEROED], "", "torque noise", "cable"),
        (
            &[loud[0], loud[1], ZEROED, wide],
            "",
            "sensor filter",
            "anti-alias",
        ),
        (&[DECLARED, ZEROED, weight], "", "torque zero", "zero the sensor"),
        (&sound, "clock-drifts at 0 s size 0.03 %", "rig clock", "crystal"),
        (
            &sound,
            "bytes-delayed at 0 s size 5 ms",
            "round trip",
            "latency timer",
        ),
        (
            &[ZEROED],
            "torque-sensor-drops-out at 0 s",
            "torque noise",
            "connected",
        ),
    ];
    for (change, fault, name, word) in cases {
        let faults: Vec<&str> = Some(fault)
            .filter(|fault| !fault.is_empty())
            .into_iter()
            .collect();
        let found = look(&belt(change, &faults), &good);
        assert_eq!(amiss(&found), [name], "{fault}: {found:#?}");
        assert!(of(&found, name).advice.contains(word), "{:?}", of(&found, name));
    }

    // What a part says of itself.
    let mut said = extras(smallest(&bench, line(&bench, |_| {})));
    said.account
        .push(Said::amiss("it sends 900.0 lines a second, 1000.0 declared"));
    assert_eq!(amiss(&look(&bench, &said)), ["part"]);
    // What could not be done is told, and hides nothing else.
    let undone = Extras {
        torque: Some(Err("not permitted".to_owned())),
        emergency: Some(Err("the port is gone".to_owned())),
        account: Vec::new(),
    };
    let found = look(&bench, &undone);
    for (name, why) in [
        ("sign and gain", "not permitted"),
        ("emergency stop", "the port is gone"),
    ] {
        let finding = of(&found, name);
        assert_eq!(
            (finding.verdict, finding.found.as_str()),
            (Verdict::NotTried, why)
        );
    }
}

#[test]
fn the_program_ends_with_a_code_that_says_whether_to_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let text =
        std::fs::read_to_string(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../rigs/belt.toml")).unwrap();
    let check = |text: &str, more: &[&str]| {
        let (rig, page) = (folder.path().join("rig.toml"), folder.path().join("page.html"));
        std::fs::write(&rig, text).unwrap();
        let _ = std::fs::remove_file(&page);
        let output = std::process::Command::new(under_test().unwrap())
            .args(["check", "--yes", "--json", "--rig"])
            .arg(&rig)
            .arg("--page")
            .arg(&page)
            .args(more)
            .output()
            .unwrap();
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        let told: serde_json::Value =
            serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{errors}"));
        // There is a page however it ended.
        assert!(std::fs::read_to_string(page).unwrap().contains("Check of"));
        (
            output.status.code().unwrap(),
            told["findings"].to_string(),
            errors,
        )
    };
    // Something to look at is no reason to stop.
    let (code, findings, errors) = check(&text, &["--torque"]);
    assert_eq!(code, 0, "{errors}");
    assert!(
        findings.contains("\"attention\"") && !findings.contains("\"bad\""),
        "{findings}"
    );
    // Something bad is, though the proofs were completed.
    let noisy = text.replacen(DECLARED.0, &DECLARED.1.replace("2.5", "0.3"), 1);
    let (code, findings, errors) = check(&noisy, &[]);
    assert_eq!(code, 5, "{findings}");
    assert!(errors.contains("mended: torque noise"), "{errors}");
    // A proof that failed, and a torque that was asked for in vain.
    let (code, findings, errors) = check(&text, &["--torque", "--fault", "ignore-stop at 0 s"]);
    assert_eq!(code, 5, "{errors}");
    assert!(findings.contains("nothing is pushed before"), "{findings}");
}

#[test]
fn the_emergency_stop_is_seen_when_it_is_pressed() {
    let press = |faults: &[&str]| watch_emergency_stop(&belt(&[], faults), 5).unwrap();
    let both = ["emergency-stop at 1 s", "emergency-stop-released at 2 s"];
    assert_eq!(press(&both), Pressed::Seen { closed_again: true });
    assert_eq!(press(&both[..1]), Pressed::Seen { closed_again: false });
    assert_eq!(press(&[]), Pressed::NotSeen);
    let without = belt(
        &[("emergency_stop_input = true", "emergency_stop_input = false")],
        &[],
    );
    assert_eq!(watch_emergency_stop(&without, 5).unwrap(), Pressed::NoInput);
}
