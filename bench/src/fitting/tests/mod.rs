//! Fitting of recordings whose torque is a closed form.

mod periods;
mod synthetic;

use super::cut::cut;
use super::{FitDocument, FitOptions, Quantity, fit_recording};
use crate::recording::Completion;
use synthetic::{GAIN, SETPOINT_SCALE, Synthetic, TAU_S};

fn fitted(synthetic: Synthetic) -> FitDocument {
    let dir = tempfile::tempdir().unwrap();
    let recording = synthetic.write(&dir.path().join("run.h5"));
    fit_recording(&recording, &FitOptions::default()).unwrap()
}

fn check(document: &FitDocument, name: &str) -> bool {
    document.quality.iter().find(|c| c.name == name).unwrap().passed
}

fn code(document: &FitDocument, quantity: Quantity) -> String {
    document
        .headline(quantity)
        .unwrap()
        .result
        .refused()
        .unwrap()
        .code
        .clone()
}

#[test]
fn a_cut_has_its_zero_where_the_setpoint_came_into_force() {
    let dir = tempfile::tempdir().unwrap();
    let recording = Synthetic::new()
        .steps(0.0, 2.0, 4)
        .chirps(1.0, 1.5, 1)
        .write(&dir.path().join("run.h5"));
    let cuts = cut(&recording).unwrap();
    assert_eq!((cuts.steps.len(), cuts.chirps.len()), (4, 1));
    for (k, step) in cuts.steps.iter().enumerate() {
        // Starts at 700,000 + 350,000 k plus dithers 0, 377, 754, 131 and those of the repeats before; samples at 100 + 250 j.
        let start = [700_000_u64, 1_050_377, 1_401_131, 1_751_262][k];
        assert_eq!(step.row.start_tick, start);
        let samples = step.samples(&recording).unwrap();
        let first = samples.t_s[0];
        assert!((-0.030..-0.02975).contains(&first), "{first}");
        assert!((samples.t_s[samples.t_s.len() - 1] - 0.150).abs() < 2.5e-4);
        for (t, nm) in samples.t_s.iter().zip(&samples.setpoint_nm) {
            assert!(
                (nm - if *t >= 0.0 { 2.0 } else { 0.0 }).abs() < SETPOINT_SCALE,
                "{t}"
            );
        }
        // A delay of 4 ms and a time constant of 1.5 ms: 63 % of 0.95 · 2 N·m at 5.5 ms.
        let late = samples.t_s.iter().position(|t| *t >= 0.0055).unwrap();
        let due = 1.9 * (1.0 - (-(samples.t_s[late] - 0.004) / TAU_S).exp());
        assert!((samples.torque_nm[late] - due).abs() < 0.002);
        assert!(step.as_planned());
    }
    let chirp = &cuts.chirps[0];
    // Start at 2,202,... : its age when first sampled is (100 − start) modulo 250.
    let start = i64::try_from(chirp.row.start_tick).unwrap();
    assert!((chirp.input_age_s - ((100 - start).rem_euclid(250)) as f64 * 1e-6).abs() < 1e-12);
    // Rest at the preload on both sides: 300 ms before, 60 ms behind.
    let [from_s, to_s] = chirp.span_s;
    assert!((from_s + 0.3).abs() < 3e-4);
    assert!((to_s - 6.06).abs() < 5e-4);
    assert_eq!(chirp.samples(&recording).unwrap().t_s.len(), chirp.rows.len());
}

#[test]
fn what_was_put_in_comes_out() {
    let d = fitted(
        Synthetic::new()
            .steps(0.0, 2.0, 8)
            .steps(1.0, 2.0, 8)
            .steps(-1.0, -2.0, 8),
    );
    let groups: Vec<&str> = d
        .measurands
        .iter()
        .filter(|m| m.quantity == Quantity::Latency)
        .map(|m| m.group.as_str())
        .collect();
    assert_eq!(groups, ["all steps", "1 to 2 N·m", "−1 to −2 N·m", "0 to 2 N·m"]);
    let within = |quantity, truth: f64, most: f64| {
        let e = d
            .headline(quantity)
            .unwrap()
            .estimate()
            .unwrap_or_else(|| panic!("{quantity:?} is refused"));
        assert!(
            (e.value - truth).abs() <= most,
            "{quantity:?}: {} for {truth}",
            e.value
        );
    };
    within(Quantity::TransitionDuration, 9.0_f64.ln() * TAU_S, 60e-6);
    within(Quantity::SteadyGain, GAIN, 0.002);
    // exp(-t/τ) = 0.02: 4 ms + 3.912 · 1.5 ms.
    within(Quantity::SettlingTime, 0.004 + 50.0_f64.ln() * TAU_S, 0.4e-3);
    within(Quantity::Overshoot, 0.0, 0.006);
    within(Quantity::SensorDelay, 0.0, 1e-12);
    within(Quantity::Latency, 0.004, 0.1e-3);
    // All delays are 4 ms, so every quantile is; half of an exponential rise is reached after τ ln 2.
    for quantity in [
        Quantity::LatencyLow,
        Quantity::LatencyMedian,
        Quantity::LatencyHigh,
    ] {
        within(quantity, 0.004, 0.1e-3);
    }
    within(Quantity::RiseToHalf, 2.0_f64.ln() * TAU_S, 0.1e-3);
    // It never falls short again; half of 0.95 N·m takes τ ln 2 from the onset on.
    within(Quantity::Undershoot, 0.0, 0.006);
    within(Quantity::SlewSustained, 0.475 / (2.0_f64.ln() * TAU_S), 35.0);
    // Steepest at the onset: 0.95 N·m / τ, less what the two sample intervals round off.
    within(Quantity::SlewLargest, 0.95 / TAU_S * (1.0 - 0.25 / 1.5), 60.0);
    // Nothing waits for a poll; steps on a grid of their own fall into step with many periods.
    for quantity in [Quantity::UpdatePeriod, Quantity::DeadTime] {
        assert_eq!(code(&d, quantity), "ambiguous");
    }
    // Latency is taken over all steps, the rest over the largest from a preload.
    let m = d.headline(Quantity::Latency).unwrap();
    assert_eq!((m.id.as_str(), m.group.as_str()), ("latency", "all steps"));
    assert_eq!(m.conditions.n, 24);
    assert_eq!((m.conditions.amplitude_nm, m.conditions.preload_nm), (None, None));
    assert!(m.conditions.temperature.is_some() && m.conditions.rig_spring_nm_per_rad.is_some());
    assert_eq!(d.curves.latency.as_ref().unwrap().per_repeat_s.len(), 24);
    let of_group = |id: &str| d.measurands.iter().find(|m| m.id == id).unwrap();
    let group = of_group("latency@1 to 2 N·m");
    assert!(!group.headline && (group.estimate().unwrap().value - 0.004).abs() < 0.1e-3);
    let m = d.headline(Quantity::TransitionDuration).unwrap();
    assert_eq!(m.conditions.n, 8);
    assert_eq!(
        (m.conditions.amplitude_nm, m.conditions.preload_nm),
        (Some(1.0), Some(1.0))
    );
    // 1/(1/4000 + 1/20000).
    assert!((m.conditions.rig_spring_nm_per_rad.unwrap() - 10_000.0 / 3.0).abs() < 1e-9);
    // The group was played from about 4 to 7 s at 30 °C + 0.1 °C/s.
    let t = m.conditions.temperature.clone().unwrap();
    assert!(t.min_degc > 30.3 && t.max_degc < 30.7, "{t:?}");
    let curves = d.curves.steps.unwrap();
    let at = |t: f64| curves.t_s.iter().position(|s| *s >= t).unwrap();
    assert!((curves.median_nm[at(-0.001)] - 0.95).abs() < 0.002);
    assert!((curves.median_nm[at(0.0055)] - (0.95 + 0.95 * 0.632)).abs() < 0.08);
    assert_eq!(curves.repeats_nm.len(), 8);
    assert!(d.quality.iter().all(|c| c.passed), "{:?}", d.quality);
}

#[test]
fn a_recording_without_chirps_or_steps_gives_refusals() {
    let d = fitted(Synthetic::new().steps(0.0, 2.0, 6));
    for quantity in [
        Quantity::Bandwidth,
        Quantity::FlatBand,
        Quantity::PhaseDelay,
        Quantity::Resonance,
    ] {
        assert_eq!(code(&d, quantity), "no_chirp");
    }
    assert_eq!(code(&d, Quantity::DelayAgreement), "delay_missing");
    let empty = fitted(Synthetic::new());
    assert_eq!(code(&empty, Quantity::Latency), "no_steps");
    assert!(empty.curves.steps.is_none() && empty.curves.frequency.is_none());
    let text = serde_json::to_string(&empty).unwrap();
    assert!(serde_json::from_str::<FitDocument>(&text).unwrap() == empty);
}

#[test]
fn chirps_through_gain_and_delay_give_that_gain_and_delay() {
    let d = fitted(Synthetic::new().chirps(1.0, 1.5, 3));
    let curve = d.curves.frequency.as_ref().expect("a frequency response");
    for (f, db) in curve
        .f_hz
        .iter()
        .zip(&curve.gain_db)
        .filter(|(f, _)| (1.0..200.0).contains(*f))
    {
        assert!((db - 20.0 * GAIN.log10()).abs() < 0.2, "{db} dB at {f} Hz");
    }
    for (f, phase) in curve
        .f_hz
        .iter()
        .zip(&curve.phase_deg)
        .filter(|(f, _)| (1.0..200.0).contains(*f))
    {
        assert!(
            (phase + 360.0 * f * 0.004).abs() < 0.5 + 0.01 * f,
            "{phase}° at {f} Hz"
        );
    }
    assert_eq!(code(&d, Quantity::Latency), "no_steps");
    let value = |quantity| {
        d.headline(quantity)
            .unwrap()
            .estimate()
            .map(|e| (e.value, e.std_uncertainty))
    };
    // A pure delay of 4 ms: a quarter turn at 1/(4 · 4 ms), and the same group delay everywhere.
    let (ninety, u) = value(Quantity::PhaseNinety).unwrap();
    assert!((ninety - 62.5).abs() < 0.5 && u < 1.5, "{ninety} ± {u}");
    let (group, u) = value(Quantity::GroupDelay).unwrap();
    assert!((group - 0.004).abs() < 3.0 * u.max(2e-5), "{group} ± {u}");
    // There is no rotor channel to see a twist by.
    assert_eq!(code(&d, Quantity::DriveStiffness), "no_rotor_angle");
    assert_eq!(code(&d, Quantity::IdealResonance), "part_missing");
}

#[test]
fn a_gap_leaves_its_repeat_out_and_no_other() {
    let lost = Synthetic {
        lost: Some((1_080_000, 1_085_000)),
        ..Synthetic::new().steps(0.0, 2.0, 6)
    };
    let d = fitted(lost);
    let m = d.headline(Quantity::TransitionDuration).unwrap();
    assert_eq!(m.estimate().unwrap().n, 5);
    assert!(!check(&d, "lost samples") && !check(&d, "whole repeats") && check(&d, "completion"));
    let detail = &d
        .quality
        .iter()
        .find(|c| c.name == "lost samples")
        .unwrap()
        .detail;
    assert!(detail.starts_with("20 samples"), "{detail}");
}

#[test]
fn a_clipped_setpoint_refuses_what_it_touches() {
    let d = fitted(Synthetic {
        most_nm: 1.5,
        ..Synthetic::new().steps(0.0, 2.0, 6).steps(0.0, 1.0, 6)
    });
    assert!(!check(&d, "clipped setpoint"));
    // The group that was played as planned stands for the quantity.
    assert_eq!(d.headline(Quantity::SteadyGain).unwrap().group, "0 to 1 N·m");
    let other = d
        .measurands
        .iter()
        .find(|m| m.id == "steady_gain@0 to 2 N·m")
        .unwrap();
    assert_eq!(other.result.refused().unwrap().code, "clipped_setpoint");
}

#[test]
fn a_tripped_run_gives_what_it_can_and_says_so() {
    let cause = "rim speed 6.1 rad/s, limit 5 rad/s".to_owned();
    let d = fitted(Synthetic {
        until: 2_500_000,
        completion: Completion::Tripped { cause },
        ..Synthetic::new().steps(0.0, 2.0, 12)
    });
    // Steps begin every 350 ms from 700 ms on: five end before 2.5 s, the sixth is cut short.
    assert_eq!(
        d.headline(Quantity::TransitionDuration)
            .unwrap()
            .estimate()
            .unwrap()
            .n,
        5
    );
    assert!(!check(&d, "completion") && !d.is_sound());
    assert!(d.recording.completion.cause.contains("6.1 rad/s"));
}

#[test]
fn the_same_recording_gives_the_same_document() {
    let dir = tempfile::tempdir().unwrap();
    let recording = Synthetic::new()
        .steps(1.0, 2.0, 6)
        .write(&dir.path().join("run.h5"));
    let fit = || serde_json::to_string(&fit_recording(&recording, &FitOptions::default()).unwrap()).unwrap();
    assert_eq!(fit(), fit());
}

#[test]
fn a_jump_that_the_rig_spreads_a_little_is_as_planned_and_one_that_sags_is_not() {
    let dir = tempfile::tempdir().unwrap();
    // The synthetic rig plays levels as they come, so a spread is a row of levels of its own.
    let play = |name: &str, levels: &[(u64, f64)]| {
        let mut synthetic = Synthetic::new().steps(0.0, 2.0, 1);
        let start = synthetic.rows[0].start_tick;
        let jump = synthetic.levels.iter().position(|l| l.0 == start).unwrap();
        let played = levels.iter().map(|(after, nm)| (start + after, *nm));
        synthetic.levels.splice(jump..=jump, played);
        let recording = synthetic.write(&dir.path().join(name));
        cut(&recording).unwrap().steps[0].as_planned()
    };
    assert!(play("jump.h5", &[(0, 2.0)]));
    assert!(play("spread.h5", &[(0, 0.7), (300, 1.3), (700, 2.0)]));
    assert!(!play("late.h5", &[(0, 1.0), (6_000, 2.0)]));
    assert!(!play("sag.h5", &[(0, 2.0), (90_000, 1.9), (91_000, 2.0)]));
}
