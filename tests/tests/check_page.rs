//! What a check finds, and its page.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::path::PathBuf;

use bench_core::run::Permit;
use truerim::drive::StopFlag;
use truerim::session::checkup::page::page;
use truerim::session::checkup::{
    Extras, Finding, Pressed, Verdict, findings, smallest_torque, watch_emergency_stop,
};
use truerim::session::{self, Bench};

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

#[test]
fn a_sound_rig_is_good_and_the_page_says_so() {
    let bench = belt(&[DECLARED], &[]);
    let torque = smallest_torque(&bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    let pressed = Some(Pressed::Seen { closed_again: true });
    let extras = Extras {
        torque,
        emergency: pressed,
        account: Vec::new(),
    };
    let found = look(&bench, &extras);
    for finding in &found {
        assert_ne!(finding.verdict, Verdict::Bad, "{finding:?}");
        assert_ne!(finding.verdict, Verdict::NotTried, "{finding:?}");
    }
    for name in [
        "proofs",
        "sample rate",
        "torque noise",
        "stop",
        "watchdog",
        "sign and gain",
        "emergency stop",
    ] {
        assert_eq!(of(&found, name).verdict, Verdict::Good, "{:?}", of(&found, name));
    }
    assert!(of(&found, "sample rate").found.starts_with("4000.0 of 4000"));
    let html = page("Belt & plate <A>", "2026-01-01", &found, &[]);
    assert!(html.contains("Belt &amp; plate &lt;A&gt;") && html.ends_with("</html>\n"));
    assert_eq!(html.matches("<tr>").count(), found.len());
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
    assert_eq!(of(&stop, "proofs").verdict, Verdict::Bad);
    assert!(page("x", "y", &stop, &[]).contains("Do not measure"));
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
        torque,
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

#[test]
fn a_torque_sensor_the_wrong_way_round_is_found_by_the_smallest_torque() {
    let bench = belt(&[], &["torque-sensor-drops-out at 0.1 s"]);
    let torque = smallest_torque(&bench, Permit::granted("test"), &StopFlag::new()).unwrap();
    assert!(torque.as_ref().unwrap().gain.is_none());
    let extras = Extras {
        torque,
        ..Extras::default()
    };
    assert_eq!(
        of(&look(&belt(&[], &[]), &extras), "sign and gain").verdict,
        Verdict::Bad
    );
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
