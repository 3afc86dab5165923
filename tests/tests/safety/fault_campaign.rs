//! A slice of the fault campaign: every kind of fault in every mounting at least once, and fault-free runs of the
//! short shipped procedures. The whole is `cargo run --release -p acceptance --bin fault-campaign -- --runs 20000 --quiet-hours 20`.

use std::collections::BTreeSet;

use acceptance::campaign::quiet;
use acceptance::campaign::scripts::{near_stops, short, slice};
use acceptance::campaign::units::{MOUNTINGS, Unit};
use acceptance::campaign::verdict::judge;
use acceptance::campaign::{Case, Class, Only, Verdict, play, table, work};
use bench_core::rig::Mounting;
use bench_core::run::End;
use virtual_rig::faults::{FaultKind, KINDS};

const SEED: u64 = 20_260;
/// Shipped procedures of a minute or two; the campaign plays them all.
const MINUTES: [&str; 5] = ["quick", "coast", "drag", "response", "pulses"];

/// One case of every kind in every mounting; wheelbase, moment and size are the seed's.
fn verdicts() -> Vec<Verdict> {
    let cells: Vec<Only> = KINDS
        .iter()
        .flat_map(|info| {
            MOUNTINGS.map(|mounting| Only {
                kind: Some(info.kind),
                mounting: Some(mounting),
                unit: None,
            })
        })
        .collect();
    work::spread(cells.len(), |index| {
        judge(&Case::numbered(SEED, index as u64, cells[index]))
    })
}

#[test]
fn no_fault_gets_past() {
    let verdicts = verdicts();
    println!(
        "{}\n{}",
        table::by_mounting(&verdicts),
        table::unnoticed(&verdicts)
    );
    let kinds: BTreeSet<&str> = verdicts.iter().map(|v| v.played.case.info.word).collect();
    assert_eq!((verdicts.len(), kinds.len()), (3 * KINDS.len(), KINDS.len()));
    // No rim beyond its budget, no torque after any end, no armed rig left without a word.
    let failures = table::failures(&verdicts, 20);
    assert!(failures.is_empty(), "\n{failures}");
    // A judgement that lets everything through would show here.
    let noticed = verdicts.iter().filter(|v| v.class == Class::Noticed).count();
    assert!(
        3 * noticed > 2 * verdicts.len(),
        "{noticed} of {}",
        verdicts.len()
    );
    // Who ignores stops has to be told of.
    let ignored = |v: &&Verdict| v.played.case.info.kind == FaultKind::IgnoreStop;
    assert!(verdicts.iter().filter(ignored).all(Verdict::warned));
}

/// A clamped direct unit in a chirp through its resonance, where the rim moves further than twice the static twist, while the torque
/// sensor begins to drift: noticed, and what the rim did until then it does without the drift too.
#[test]
fn what_a_rim_does_anyway_is_not_the_faults() {
    let case = Case::new(0x7473_6ac9_9659_179b, Only::default());
    let verdict = judge(&case);
    let twin = play(&case, false);
    let seen = &verdict.played.seen;
    let furthest = |kept: &[[f32; 2]]| {
        kept.iter()
            .fold(0.0_f32, |most, [place, _]| most.max(place.abs()))
    };
    let (with, without) = (&seen.kept[..], &twin.seen.kept[..seen.kept.len()]);
    let budget_rad = verdict.budget.total_rad();
    println!("{} rad of {budget_rad}", seen.travel_rad);
    assert_eq!(verdict.class, Class::Noticed);
    assert!(verdict.budget.is_passed(&verdict.played));
    assert!((furthest(with) - furthest(without)).abs() < 1e-6 && furthest(with) > 0.003);
    assert!(verdict.failures.is_empty(), "{:?}", verdict.failures);
}

#[test]
fn nothing_trips_without_a_fault() {
    let pairings: Vec<(Unit, &str)> = Unit::ALL
        .into_iter()
        .flat_map(|unit| MINUTES.map(|name| (unit, name)))
        .collect();
    let runs = work::spread(pairings.len(), |index| {
        let (unit, name) = pairings[index];
        quiet::one(unit, name, SEED + index as u64)
    });
    println!("{}", table::quiet(&runs));
    for run in &runs {
        assert_eq!(run.wrong, None, "{}", run.command());
    }
    let pairs: BTreeSet<(String, &str)> = runs
        .iter()
        .map(|run| (run.procedure.clone(), run.unit.word()))
        .collect();
    assert_eq!(pairs.len(), pairings.len());
}

#[test]
fn the_short_procedures_go_through_without_a_fault() {
    let cells: Vec<Only> = Unit::ALL
        .into_iter()
        .flat_map(|unit| {
            MOUNTINGS.map(|mounting| Only {
                kind: None,
                mounting: Some(mounting),
                unit: Some(unit),
            })
        })
        .collect();
    let ends = work::spread(2 * cells.len(), |index| {
        let mut case = Case::numbered(SEED, index as u64, cells[index / 2]);
        case.slice = None;
        (play(&case, false).outcome.end, case.command())
    });
    for (end, command) in ends {
        assert_eq!(end, End::Completed, "{command}");
    }
    for mounting in MOUNTINGS {
        assert_eq!(short(mounting).mounting.value, mounting);
    }
}

/// A slice of the way to the end stops reaches both, and presses on them; one that did not would turn on and end at a limit.
#[test]
fn slices_of_the_way_to_the_end_stops_reach_them() {
    let which = (0..40)
        .map(|k| (f64::from(k) + 0.5) / 40.0)
        .find(|which| near_stops(&slice(Mounting::Free, *which)).is_some())
        .expect("travel.toml has slices");
    let ends = work::spread(Unit::ALL.len(), |index| {
        let only = Only {
            mounting: Some(Mounting::Free),
            unit: Some(Unit::ALL[index]),
            kind: None,
        };
        let mut case = Case::numbered(SEED, 5, only);
        case.slice = Some(which);
        let played = play(&case, false);
        (played.outcome.end, played.seen.travel_rad, case.command())
    });
    for (end, travel_rad, command) in ends {
        assert_eq!(end, End::Completed, "{command}");
        assert!(travel_rad > 0.9, "{travel_rad} rad: {command}");
    }
}

/// A case is its seed: played twice it is the same to the last bit.
#[test]
fn a_case_is_repeated_by_its_seed() {
    let case = Case::numbered(SEED, 3, Only::default());
    let (once, again) = (
        play(&case, true),
        play(&Case::new(case.seed, Only::default()), true),
    );
    assert_eq!(once.outcome, again.outcome);
    assert_eq!(once.seen.kept, again.seen.kept);
    assert!(case.command().contains("--replay 0x"));
}
