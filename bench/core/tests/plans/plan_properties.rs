//! What holds for the plan of every valid procedure, and for every text given as one.

#![allow(clippy::unwrap_used)] // the helpers of a test may fail it

use std::collections::BTreeSet;

use bench_core::{
    excitation::{ExcitationKind, WavePart},
    plan::{Plan, Role, SETPOINT_STRIDE_US, Shape},
    procedure::Procedure,
    rig::Rig,
};
use proptest::{prelude::*, test_runner::RngSeed};

const RIG: &str = include_str!("../fixtures/rig.toml");
const PROCEDURE: &str = include_str!("../fixtures/procedure.toml");

fn rig() -> Rig {
    Rig::from_toml("r.toml", RIG).unwrap()
}

/// A torque within `most` N·m of zero, in N·m or in percent of 7 N·m.
fn torque(least: f64, most: f64) -> impl Strategy<Value = String> {
    (least..most, any::<bool>()).prop_map(|(nm, percent)| {
        if percent {
            format!("\"{} %\"", nm / 7.0 * 100.0)
        } else {
            format!("\"{nm} N·m\"")
        }
    })
}

fn timing() -> impl Strategy<Value = String> {
    (
        1..4_u32,
        20..200_u32,
        prop::option::of(20..200_u32),
        prop::option::of(0..3000_u32),
    )
        .prop_map(|(repeats, rest_ms, settle_ms, dither_us)| {
            let mut text = format!("repeats = {repeats}\nrest = \"{rest_ms} ms\"\n");
            if let Some(settle_ms) = settle_ms {
                text += &format!("settle = \"{settle_ms} ms\"\n");
            }
            if let Some(dither_us) = dither_us {
                text += &format!("dither = \"{dither_us} us\"\n");
            }
            text
        })
}

fn segment() -> impl Strategy<Value = String> {
    // Away from zero, which is no step.
    let levels = || {
        let either = prop_oneof![torque(0.05, 2.9), torque(-2.9, -0.05)];
        prop::collection::vec(either, 1..5).prop_map(|l| l.join(", "))
    };
    let step = (levels(), prop::option::of(torque(0.0, 3.0)), 5..300_u32, any::<bool>(), timing()).prop_map(
        |(levels, preload, hold_ms, shuffle, timing)| {
            let preload = preload.map(|p| format!("preload = {p}\n")).unwrap_or_default();
            format!(
                "excitation = \"step\"\nlevels = [{levels}]\nhold = \"{hold_ms} ms\"\nshuffle = {shuffle}\n{preload}{timing}"
            )
        },
    );
    let law = prop_oneof![Just("linear"), Just("logarithmic")];
    let chirp = (
        law,
        1.0..20.0_f64,
        21.0..400.0_f64,
        1.0..3.0_f64,
        torque(0.1, 3.0),
        torque(-3.0, 3.0),
        timing(),
    )
        .prop_map(|(law, from, to, duration, amplitude, preload, timing)| {
            format!(
                "excitation = \"chirp\"\nlaw = \"{law}\"\nfrom = \"{from} Hz\"\nto = \"{to} Hz\"\n\
                 duration = \"{duration} s\"\namplitude = {amplitude}\npreload = {preload}\n{timing}"
            )
        });
    let hold = (levels(), 20..300_u32, timing()).prop_map(|(levels, hold_ms, timing)| {
        format!("excitation = \"hold\"\nlevels = [{levels}]\nhold = \"{hold_ms} ms\"\n{timing}")
    });
    prop_oneof![2 => step, 2 => chirp, 2 => hold, 3 => multisine(), 2 => half_sine(), 2 => pseudo_random(), 2 => reversal(),
        2 => staircase()]
}

/// `timing` with realisations for repeats.
fn realisations() -> impl Strategy<Value = String> {
    timing().prop_map(|timing| timing.replace("repeats", "realisations"))
}

/// `periods` with fewer `transient`.
fn periods() -> impl Strategy<Value = String> {
    (1..4_u32, 0..4_u32).prop_map(|(count, transient)| {
        format!("periods = {count}\ntransient = {}\n", transient.min(count - 1))
    })
}

fn multisine() -> impl Strategy<Value = String> {
    // Periods that are whole numbers of setpoints, and bands that hold a line of each kind.
    let lines = prop_oneof![
        Just("lines = \"spaced\"\n".to_owned()),
        Just("lines = \"odd\"\n".to_owned()),
        (2..6_u32).prop_map(|group| format!("lines = \"odd-random\"\ngroup = {group}\n")),
    ];
    let phases = prop_oneof![Just("optimised"), Just("random")];
    let band = (100..2000_u64, 1..40_u32, 60..400_u32);
    let torques = (torque(0.1, 3.0), torque(-3.0, 3.0), prop::option::of(1..60_u32));
    (lines, phases, band, torques, periods(), realisations()).prop_map(
        |(lines, phases, (strides, from, to), (amplitude, preload, taper_ms), periods, timing)| {
            let taper = taper_ms.map(|ms| format!("taper = \"{} us\"\n", ms * strides as u32 * 2));
            format!(
                "excitation = \"multisine\"\n{lines}phases = \"{phases}\"\nfrom = \"{from} Hz\"\nto = \"{to} Hz\"\n\
                 period = \"{} us\"\namplitude = {amplitude}\npreload = {preload}\n{}{periods}{timing}",
                strides * 250,
                taper.unwrap_or_default()
            )
        },
    )
}

fn half_sine() -> impl Strategy<Value = String> {
    let levels = prop::collection::vec(prop_oneof![torque(0.05, 2.9), torque(-2.9, -0.05)], 1..3);
    let train = (1..5_u32, 60..200_u32, any::<bool>());
    (prop::collection::vec(2..60_u32, 1..4), levels, torque(0.0, 3.0), train, timing()).prop_map(
        |(widths_ms, levels, preload, (count, spacing_ms, alternate), timing)| {
            let widths: Vec<String> = widths_ms.iter().map(|ms| format!("\"{ms} ms\"")).collect();
            let train = if count > 1 {
                format!("count = {count}\nspacing = \"{spacing_ms} ms\"\nalternate = {alternate}\n")
            } else {
                String::new()
            };
            format!(
                "excitation = \"half-sine\"\nwidths = [{}]\nlevels = [{}]\npreload = {preload}\n{train}{timing}",
                widths.join(", "),
                levels.join(", ")
            )
        },
    )
}

fn pseudo_random() -> impl Strategy<Value = String> {
    (3..9_u32, 1..12_u32, torque(0.05, 2.0), torque(-3.0, 3.0), periods(), timing()).prop_map(
        |(order, strides, amplitude, preload, periods, timing)| {
            format!(
                "excitation = \"pseudo-random\"\norder = {order}\nclock = \"{} us\"\namplitude = {amplitude}\n\
                 preload = {preload}\n{periods}{timing}",
                strides * 250
            )
        },
    )
}

fn reversal() -> impl Strategy<Value = String> {
    (100..3000_u32, torque(0.05, 3.0), torque(-3.0, 3.0), periods(), 0..4_u32, timing()).prop_map(
        |(milliseconds, amplitude, preload, periods, fade, timing)| {
            format!(
                "excitation = \"reversal\"\nperiod = \"{milliseconds} ms\"\namplitude = {amplitude}\npreload = {preload}\n\
                 {periods}fade = {fade}\n{timing}"
            )
        },
    )
}

fn staircase() -> impl Strategy<Value = String> {
    (torque(0.05, 3.0), 2..12_u32, 50..300_u32, timing()).prop_map(|(to, steps, dwell_ms, timing)| {
        format!("excitation = \"staircase\"\nto = {to}\nsteps = {steps}\ndwell = \"{dwell_ms} ms\"\n{timing}")
    })
}

fn procedure() -> impl Strategy<Value = Procedure> {
    (prop::collection::vec(segment(), 1..4), 0.5..2000.0_f64, 100..900_u32, torque(0.05, 0.69)).prop_map(
        |(segments, ramp, zero_ms, approach)| {
            let mut text = format!(
                "[procedure]\nname = \"p\"\npurpose = \"x\"\nmounting = \"clamped\"\nsample_rate = \"4 kHz\"\n\
                 ramp = \"{ramp} N·m/s\"\nzero = \"{zero_ms} ms\"\n\
                 [approach]\nlevel = {approach}\nhold = \"200 ms\"\nrest = \"300 ms\"\ngain = [\"50 %\", \"150 %\"]\n"
            );
            for (i, segment) in segments.iter().enumerate() {
                text += &format!("[[segment]]\nname = \"s{i}\"\n{segment}");
            }
            Procedure::from_toml("p.toml", &text).unwrap_or_else(|e| unreachable!("{e}\n{text}"))
        },
    )
}

fn pieces_are_right(plan: &Plan, rig: &Rig) -> Result<(), TestCaseError> {
    let mut end_us = 0;
    let mut torque_nm = 0.0;
    for piece in plan.pieces() {
        prop_assert_eq!(piece.start_us, end_us, "contiguous");
        prop_assert!(piece.end_us > piece.start_us);
        end_us = piece.end_us;
        let jump_nm: f64 = piece.setpoint_nm(piece.start_us) - torque_nm;
        // Only the approach, steps and pseudo-random signals jump: in their own piece, and back from the first and the
        // last in the rest behind them.
        let kind = plan
            .windows()
            .iter()
            .find(|w| w.segment == piece.segment)
            .map(|w| w.kind);
        let may_jump = match piece.role {
            Role::Approach => true,
            Role::Excitation => matches!(kind, Some(ExcitationKind::Step | ExcitationKind::PseudoRandom)),
            Role::Rest => piece.segment == 0 || kind == Some(ExcitationKind::PseudoRandom),
            Role::Ramp | Role::Zero => false,
        };
        prop_assert!(
            jump_nm.abs() < 1e-9 || may_jump,
            "{:?} jumps by {}",
            piece,
            jump_nm
        );
        torque_nm = piece.setpoint_nm(piece.end_us);
        if let Shape::Ramp { from_nm, to_nm } = piece.shape {
            let rate = (to_nm - from_nm).abs() / ((piece.end_us - piece.start_us) as f64 * 1e-6);
            prop_assert!(rate <= rig.limits.slew_nm_per_s);
        }
    }
    prop_assert_eq!(end_us, plan.duration_us());
    prop_assert!(torque_nm.abs() < 1e-12);
    Ok(())
}

fn entries_are_right(plan: &Plan, rig: &Rig) -> Result<(), TestCaseError> {
    let entries: Vec<(u64, f64)> = plan.entries().collect();
    let (first, last) = (entries[0], entries[entries.len() - 1]);
    prop_assert!(
        first.0 == 0 && first.1.abs() < 1e-12 && last.1.abs() < 1e-12,
        "{:?} {:?}",
        first,
        last
    );
    prop_assert!(plan.duration_us() - last.0 <= u64::from(SETPOINT_STRIDE_US));
    let mut next = plan.next_entry_us(0);
    for pair in entries.windows(2) {
        let ((a_us, a_nm), (b_us, b_nm)) = (pair[0], pair[1]);
        prop_assert!(
            a_us < b_us && b_us - a_us <= u64::from(SETPOINT_STRIDE_US),
            "{} {}",
            a_us,
            b_us
        );
        prop_assert_eq!(next, Some(a_us));
        prop_assert_eq!(plan.next_entry_us(a_us + 1), Some(b_us));
        next = plan.next_entry_us(a_us + 1);
        // Within a piece the setpoint keeps to the slew limit, but for edges that the rig spreads as it does steps.
        let piece = plan.piece_at(a_us).unwrap();
        let edges = matches!(&piece.shape, Shape::Wave(wave) if wave.part == WavePart::Whole)
            && plan
                .windows()
                .iter()
                .any(|w| w.segment == piece.segment && w.kind == ExcitationKind::PseudoRandom);
        if b_us < piece.end_us && !edges {
            let most_nm = rig.limits.slew_nm_per_s * (b_us - a_us) as f64 * 1e-6;
            prop_assert!(
                (b_nm - a_nm).abs() <= most_nm * (1.0 + 1e-9) + 1e-12,
                "{:?}",
                piece
            );
        }
    }
    prop_assert_eq!(plan.next_entry_us(last.0 + 1), None);
    let greatest_nm = entries.iter().map(|e| e.1.abs()).fold(0.0, f64::max);
    prop_assert!(greatest_nm <= plan.peak_nm() * (1.0 + 1e-12));
    prop_assert!(plan.peak_nm() <= rig.limits.torque_nm * (1.0 + 1e-12));
    prop_assert!(plan.setpoint_nm(plan.duration_us()).abs() < 1e-12);
    prop_assert!(plan.setpoint_nm(u64::MAX).abs() < 1e-12);
    Ok(())
}

fn windows_are_right(plan: &Plan) -> Result<(), TestCaseError> {
    let mut end_us = plan.approach().decide_by_us;
    for w in plan.windows() {
        prop_assert!(end_us <= w.cut_from_us && w.cut_from_us <= w.start_us, "{:?}", w);
        prop_assert!(w.start_us < w.end_us && w.end_us <= w.cut_to_us && w.cut_to_us < plan.duration_us());
        end_us = w.cut_to_us;
        let piece = plan.piece_at(w.start_us).unwrap();
        prop_assert_eq!(
            (piece.role, piece.segment, piece.repeat),
            (Role::Excitation, w.segment, w.repeat)
        );
        prop_assert_eq!((piece.start_us, piece.end_us), (w.start_us, w.end_us));
        for t_us in [w.cut_from_us, w.start_us.saturating_sub(1).max(w.cut_from_us)] {
            prop_assert!(
                t_us == w.start_us || (plan.setpoint_nm(t_us) - w.from_nm).abs() < 1e-12,
                "{:?}",
                w
            );
        }
        for t_us in [w.end_us, w.cut_to_us - 1] {
            prop_assert!(
                w.end_us == w.cut_to_us || (plan.setpoint_nm(t_us) - w.to_nm).abs() < 1e-12,
                "{:?}",
                w
            );
        }
        match w.kind {
            ExcitationKind::Chirp => {
                let sweep = w.sweep.unwrap();
                prop_assert!(((w.end_us - w.start_us) as f64 * 1e-6 - sweep.duration_s).abs() < 1e-6);
            }
            ExcitationKind::Step
            | ExcitationKind::Hold
            | ExcitationKind::Staircase
            | ExcitationKind::Increment => {
                prop_assert!((plan.setpoint_nm(w.start_us) - w.to_nm).abs() < 1e-12);
                prop_assert!((plan.setpoint_nm(w.end_us - 1) - w.to_nm).abs() < 1e-12);
            }
            ExcitationKind::HalfSine => {
                let crest_nm = plan.setpoint_nm((w.start_us + w.end_us) / 2) - w.preload_nm;
                prop_assert!((crest_nm - w.amplitude_nm).abs() < 1e-9, "{:?}", w);
            }
            // The generated procedures have no files.
            ExcitationKind::Trace => {}
            ExcitationKind::Sine => {
                // A quarter of a period into the second one the whole amplitude is there.
                let sweep = w.sweep.unwrap();
                let quarter_us = (1.25e6 / sweep.from_hz).round() as u64;
                let crest_nm = plan.setpoint_nm(w.start_us + quarter_us) - w.preload_nm;
                prop_assert!(
                    (crest_nm - w.amplitude_nm).abs() < 1e-3 * w.amplitude_nm,
                    "{:?}",
                    w
                );
            }
            ExcitationKind::EndStop => {
                // Halfway between its ends.
                let middle_nm = plan.setpoint_nm((w.start_us + w.end_us) / 2);
                prop_assert!((middle_nm - 0.5 * (w.from_nm + w.to_nm)).abs() < 1e-5, "{:?}", w);
            }
            ExcitationKind::Reversal => {
                // A quarter up, a quarter back, as far down: by definition of a triangle.
                let (start_us, length_us) = (w.start_us, w.end_us - w.start_us);
                for (quarter, share) in [(0, 0.0), (1, 1.0), (2, 0.0), (3, -1.0)] {
                    let beside_nm = plan.setpoint_nm(start_us + quarter * length_us / 4) - w.preload_nm;
                    let rounding_nm = 4e-6 * w.amplitude_nm * 1e6 / length_us as f64;
                    let miss_nm = (beside_nm - share * w.amplitude_nm).abs();
                    prop_assert!(miss_nm <= rounding_nm + 1e-9, "{:?}", w);
                }
            }
            ExcitationKind::Multisine | ExcitationKind::PseudoRandom => {
                // Whole numbers of setpoints and samples: nothing leaks.
                let period_us = w.end_us - w.start_us;
                prop_assert!(period_us % 250 == 0 && period_us % u64::from(plan.sample_period_us()) == 0);
                prop_assert_eq!(w.tones.is_some(), w.kind == ExcitationKind::Multisine);
                for tick_us in (w.start_us..w.end_us).step_by(1750) {
                    let beside_nm = plan.setpoint_nm(tick_us) - w.preload_nm;
                    prop_assert!(beside_nm.abs() <= w.amplitude_nm * (1.0 + 1e-9), "{:?}", w);
                }
            }
        }
    }
    Ok(())
}

/// What is said before the run is what the plan holds.
fn told_is_right(plan: &Plan, rig: &Rig) -> Result<(), TestCaseError> {
    let told = plan.delivered(rig);
    let ends_us = plan.approach().decide_by_us;
    let told_us: u64 = told.iter().map(|segment| segment.duration_us).sum();
    prop_assert_eq!(ends_us + told_us, plan.duration_us());
    prop_assert_eq!(plan.summary().duration_us, plan.duration_us());
    for segment in &told {
        let own = plan.windows().iter().filter(|w| w.segment == segment.segment);
        prop_assert_eq!(segment.excitations * segment.parts, own.count());
        let lengths: BTreeSet<u64> = segment.signals.iter().map(|s| s.length_us).collect();
        prop_assert_eq!(lengths.len(), segment.signals.len());
        for signal in &segment.signals {
            let total: f64 = signal.bands.iter().map(|b| b.rms_nm * b.rms_nm).sum();
            // Holding each value takes a little from high frequencies, and the images lie beyond.
            prop_assert!(
                total <= signal.rms_nm * signal.rms_nm * (1.0 + 1e-9),
                "{:?}",
                signal
            );
            prop_assert!(
                signal.crest_factor[0] <= signal.crest_factor[1] && signal.crest_factor[0] >= 1.0 - 1e-9
            );
            prop_assert!(signal.peak_nm / signal.rms_nm <= signal.crest_factor[1] * (1.0 + 1e-9));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, rng_seed: RngSeed::Fixed(5), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_plan_is_contiguous_within_limits_and_zero_at_both_ends(procedure in procedure(), seed in any::<u64>()) {
        let rig = rig();
        // Some of the random steps ring beyond the sensor's limit or some chirps exceed the slew limit; those that
        // are accepted must be right.
        let Ok(plan) = procedure.plan(&rig, seed) else { return Err(TestCaseError::reject("refused")) };
        pieces_are_right(&plan, &rig)?;
        entries_are_right(&plan, &rig)?;
        windows_are_right(&plan)?;
        told_is_right(&plan, &rig)?;
        prop_assert!(plan.summary().to_string().lines().count() > plan.summary().segments.len());
        prop_assert_eq!(procedure.plan(&rig, seed), Ok(plan));
    }

    #[test]
    fn every_change_to_a_file_is_accepted_or_refused_with_a_place(
        cut in 0.0..1.0_f64, length in 0..30_usize, insert in "[\\[\\]=\"a-z0-9 .%-]{0,6}", which in any::<bool>(),
    ) {
        let good: Vec<char> = if which { RIG } else { PROCEDURE }.chars().collect();
        let from = (cut * good.len() as f64) as usize;
        let to = (from + length).min(good.len());
        let text: String = good[..from].iter().copied().chain(insert.chars()).chain(good[to..].iter().copied()).collect();
        let findings = if which {
            Rig::from_toml("f", &text).map(|_| ())
        } else {
            Procedure::from_toml("f", &text).and_then(|p| p.plan(&rig(), 1)).map(|_| ())
        };
        if let Err(findings) = findings {
            prop_assert!(!findings.is_empty());
            for finding in &findings {
                prop_assert!(finding.place.line >= 1 && finding.place.line <= text.lines().count().max(1), "{}", finding);
                prop_assert!(!finding.problem.is_empty() && !finding.fix.is_empty());
            }
        }
    }
}
