//! The campaign's tables, in Markdown.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use bench_core::rig::Mounting;
use virtual_rig::faults::{KINDS, KindInfo};

use super::budget::{REACTION_S, greatest_nm, loose_kg_m2, stop_rad};
use super::quiet::Quiet;
use super::units::{MOUNTINGS, Unit};
use super::verdict::{Class, SHIFT_MS, TRACE_SHARE, Verdict};
use super::{scripts, sizes};

/// The value below which a share of the sorted values lies.
fn quantile(sorted: &[u64], share: f64) -> f64 {
    let last = sorted.len().saturating_sub(1);
    let index = (share * last as f64).ceil() as usize;
    sorted.get(index.min(last)).map_or(0.0, |us| *us as f64 * 1e-3)
}

fn percent(part: usize, whole: usize) -> String {
    if whole == 0 {
        return "–".to_owned();
    }
    let share = 100.0 * part as f64 / whole as f64;
    if part == whole {
        "100 %".to_owned()
    } else {
        format!("{share:.1} %")
    }
}

/// `motion 12, torque 3`, the most frequent first.
fn counts(names: impl Iterator<Item = String>, most: usize) -> String {
    let mut by_name: BTreeMap<String, usize> = BTreeMap::new();
    for name in names {
        *by_name.entry(name).or_default() += 1;
    }
    let mut sorted: Vec<(String, usize)> = by_name.into_iter().collect();
    sorted.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let left: usize = sorted.iter().skip(most).map(|(_, n)| n).sum();
    let mut parts: Vec<String> = sorted
        .iter()
        .take(most)
        .map(|(name, n)| format!("{name} {n}"))
        .collect();
    if left > 0 {
        parts.push(format!("others {left}"));
    }
    parts.join(", ")
}

fn greatest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, f64::max)
}

fn row(out: &mut String, name: &str, of: &[&Verdict], most: usize) {
    let noticed: Vec<&&Verdict> = of.iter().filter(|v| v.class == Class::Noticed).collect();
    let by_rig = noticed.iter().filter(|v| v.by_rig()).count();
    // Time to zero torque of runs that had torque to take away.
    let mut times: Vec<u64> = noticed
        .iter()
        .filter(|v| v.played.seen.driven.is_some())
        .map(|v| v.played.to_zero_us())
        .collect();
    times.sort_unstable();
    let names = noticed.iter().filter_map(|v| v.played.detected_by());
    let _ = writeln!(
        out,
        "| {name} | {} | {} | {by_rig} | {} | {:.1} | {:.1} | {:.1} | {:.2} | {:.1} | {:.1} |",
        of.len(),
        percent(noticed.len(), of.len()),
        counts(names, most),
        quantile(&times, 0.5),
        quantile(&times, 0.999),
        quantile(&times, 1.0),
        greatest(of.iter().map(|v| v.played.seen.travel_rad.to_degrees())),
        greatest(of.iter().map(|v| v.played.seen.speed_rad_s)),
        greatest(of.iter().map(|v| v.played.seen.motor_nm)),
    );
}

const HEAD: &str = "runs | noticed | by the rig first | by what | zero after, p50, ms | p99.9 | worst | greatest travel, deg | \
                    speed, rad/s | motor, N·m |\n";
const LINE: &str = " --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n";

/// One line for each kind of fault.
#[must_use]
pub fn by_kind(verdicts: &[Verdict]) -> String {
    let mut out = format!("| fault | {HEAD}| --- |{LINE}");
    for info in &KINDS {
        let of: Vec<&Verdict> = verdicts.iter().filter(|v| is(v, info)).collect();
        if !of.is_empty() {
            row(&mut out, info.word, &of, 6);
        }
    }
    out
}

/// One line for what was played: the short procedure of a mounting, or a slice of a shipped one.
#[must_use]
pub fn by_script(verdicts: &[Verdict]) -> String {
    let mut scripts: BTreeMap<(&str, String), Vec<&Verdict>> = BTreeMap::new();
    for verdict in verdicts {
        let case = &verdict.played.case;
        let name = case.slice.map_or_else(
            || "made for it".to_owned(),
            |which| scripts::slice(case.mounting, which).file,
        );
        scripts
            .entry((case.mounting.word(), name))
            .or_default()
            .push(verdict);
    }
    let mut out = "| mounting | procedure | runs | noticed | went through | torque alone | within limits | beyond | beyond the budget | \
                   greatest travel, deg | speed, rad/s |\n\
                   | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
        .to_owned();
    for ((mounting, name), of) in scripts {
        let class = |class: Class| of.iter().filter(|v| v.class == class).count();
        let over = |v: &&&Verdict| v.budget.is_passed(&v.played);
        let _ = writeln!(
            out,
            "| {mounting} | {name} | {} | {} | {} | {} | {} | {} | {} | {:.2} | {:.1} |",
            of.len(),
            percent(class(Class::Noticed), of.len()),
            of.len() - class(Class::Noticed),
            class(Class::TorqueAlone),
            class(Class::WithinLimits),
            class(Class::Beyond),
            of.iter().filter(over).count(),
            greatest(of.iter().map(|v| v.played.seen.travel_rad.to_degrees())),
            greatest(of.iter().map(|v| v.played.seen.speed_rad_s)),
        );
    }
    out
}

/// One line for each kind and mounting.
#[must_use]
pub fn by_mounting(verdicts: &[Verdict]) -> String {
    let mut out = format!("| fault, mounting | {HEAD}| --- |{LINE}");
    for info in &KINDS {
        for mounting in MOUNTINGS {
            let of: Vec<&Verdict> = verdicts
                .iter()
                .filter(|v| is(v, info) && v.played.case.mounting == mounting)
                .collect();
            if !of.is_empty() {
                row(&mut out, &format!("{}, {mounting}", info.word), &of, 4);
            }
        }
    }
    out
}

fn is(verdict: &Verdict, info: &KindInfo) -> bool {
    verdict.played.case.info.kind == info.kind
}

/// Runs that went through, by kind and class.
#[must_use]
pub fn unnoticed(verdicts: &[Verdict]) -> String {
    let mut out = String::from(
        "| fault, mounting | went through | no trace | torque alone | rim moved, within limits | beyond | greatest \
         difference of the rim, deg | of the motor, N·m | sizes that moved the rim |\n| --- | --- | --- | --- | --- | --- | --- | --- \
         | --- |\n",
    );
    for info in &KINDS {
        for mounting in MOUNTINGS {
            let of: Vec<&Verdict> = verdicts
                .iter()
                .filter(|v| is(v, info) && v.played.case.mounting == mounting && v.class != Class::Noticed)
                .collect();
            if of.is_empty() {
                continue;
            }
            let class = |class| of.iter().filter(|v| v.class == class).count();
            let moved = of
                .iter()
                .filter(|v| matches!(v.class, Class::WithinLimits | Class::Beyond))
                .map(|v| v.played.size);
            let (least, most) = moved.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), size| {
                (a.min(size), b.max(size))
            });
            let sizes = match (info.size, least.is_finite()) {
                (Some(size), true) => {
                    let round = |v: f64| (v * 1e4).round() / 1e4;
                    format!(
                        "{} to {}",
                        size.quantity.show(round(least)),
                        size.quantity.show(round(most))
                    )
                }
                _ => "–".to_owned(),
            };
            let _ = writeln!(
                out,
                "| {}, {mounting} | {} | {} | {} | {} | {} | {:.2} | {:.2} | {sizes} |",
                info.word,
                of.len(),
                class(Class::NoTrace),
                class(Class::TorqueAlone),
                class(Class::WithinLimits),
                class(Class::Beyond),
                greatest(of.iter().map(|v| v.differs[0].to_degrees())),
                greatest(of.iter().map(|v| v.differs[1])),
            );
        }
    }
    out
}

/// The range of sizes of each kind on each wheelbase.
#[must_use]
pub fn size_ranges() -> String {
    let mut out = String::from("| fault | geared | belt | direct |\n| --- | --- | --- | --- |\n");
    for info in &KINDS {
        let ranges = Unit::ALL.map(|unit| {
            let plant = unit.parameters(unit.text(), Mounting::Clamped, 1).plant;
            sizes::draw(info, &plant).text(info)
        });
        let [geared, belt, direct] = ranges;
        let _ = writeln!(out, "| {} | {geared} | {belt} | {direct} |", info.word);
    }
    out
}

/// The budget of a loose rim at each wheelbase's greatest torque, with its parts.
#[must_use]
pub fn budgets() -> String {
    let mut out = String::from(
        "| wheelbase, mounting | J, kg·m² | a, rad/s² | w_L, rad/s | w, rad/s | w²/2a, deg | to the window's end, deg | stop by \
         brake, deg | by coasting, deg |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for unit in Unit::ALL {
        for mounting in [Mounting::Clamped, Mounting::Free] {
            let plant = unit.parameters(unit.text(), mounting, 1).plant;
            let limits = unit.rig(unit.text(), mounting).limits;
            let inertia = loose_kg_m2(&plant);
            let acceleration = greatest_nm(&plant) / inertia;
            let limit = limits.rim_speed_rad_s;
            let speed = limit + acceleration * REACTION_S;
            let _ = writeln!(
                out,
                "| {}, {mounting}{} | {inertia:.4} | {acceleration:.0} | {limit:.0} | {speed:.1} | {:.2} | {:.0} | {:.1} | {:.0} |",
                unit.word(),
                if mounting == Mounting::Clamped {
                    ", slipping"
                } else {
                    ""
                },
                (speed * speed / (2.0 * acceleration)).to_degrees(),
                limits.rim_window_rad[1].to_degrees(),
                stop_rad(&plant, true, speed, inertia).to_degrees(),
                stop_rad(&plant, false, speed, inertia).to_degrees(),
            );
        }
    }
    out
}

/// What must never be, with the commands that repeat it; at most `most` of them.
#[must_use]
pub fn failures(verdicts: &[Verdict], most: usize) -> String {
    let wrong: Vec<&Verdict> = verdicts.iter().filter(|v| !v.failures.is_empty()).collect();
    let mut out = String::new();
    for verdict in wrong.iter().take(most) {
        let case = &verdict.played.case;
        let _ = writeln!(
            out,
            "- {} of {}, {}, {}, at {}: {}; ended as {}; `{}`",
            case.info.word,
            case.info
                .size
                .map_or_else(String::new, |size| size.quantity.show(verdict.played.size)),
            case.unit.word(),
            case.mounting,
            verdict.played.moment.word(),
            verdict.failures.join("; "),
            verdict
                .played
                .detected_by()
                .unwrap_or_else(|| "completed".to_owned()),
            case.command(),
        );
    }
    if wrong.len() > most {
        let _ = writeln!(out, "- and {} more", wrong.len() - most);
    }
    out
}

/// Bench time and trips of fault-free runs.
#[must_use]
pub fn quiet(runs: &[Quiet]) -> String {
    let mut groups: BTreeMap<(String, String, &str), (usize, f64, usize)> = BTreeMap::new();
    for run in runs {
        let key = (run.procedure.clone(), run.mounting.clone(), run.unit.word());
        let group = groups.entry(key).or_default();
        group.0 += 1;
        group.1 += run.time_s;
        group.2 += usize::from(run.wrong.is_some());
    }
    let mut out = String::from(
        "| procedure | mounting | wheelbase | runs | bench time, h | trips |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for ((procedure, mounting, unit), (runs, time_s, trips)) in groups {
        let _ = writeln!(
            out,
            "| {procedure} | {mounting} | {unit} | {runs} | {:.2} | {trips} |",
            time_s / 3600.0
        );
    }
    out
}

/// The document `docs/fault-campaign.md`.
#[must_use]
pub fn document(verdicts: &[Verdict], quiet_runs: &[Quiet], seed: u64) -> String {
    let wrong = verdicts.iter().filter(|v| !v.failures.is_empty()).count();
    let beyond = verdicts.iter().filter(|v| v.class == Class::Beyond).count();
    let over = verdicts.iter().filter(|v| v.budget.is_passed(&v.played)).count();
    let warned = verdicts.iter().filter(|v| v.warned()).count();
    let hours = quiet_runs.iter().fold(0.0, |sum, run| sum + run.time_s) / 3600.0;
    let trips = quiet_runs.iter().filter(|run| run.wrong.is_some()).count();
    let failures = failures(verdicts, 40);
    format!(
        "# Fault campaign\n\n\
         Written by `cargo run --release -p acceptance --bin fault-campaign -- --runs {} --seed {seed} --quiet-hours {hours:.0} \
         --markdown docs/fault-campaign.md`.\n\n\
         Each run is a whole one (greeting, proofs, arming, first torque, segments) against a virtual rig in lock-step, in which \
         one thing goes wrong. Kind, wheelbase, mounting, moment (arming, first torque, ramp, hold, chirp, zero check, rest), \
         size and way of stopping are drawn from the run's seed. Nine in ten play a short procedure made for the mounting, the \
         others a slice of a shipped one. Travel is what the rim really did from the onset until it came to rest, on a drive \
         against the drive. Rules and derivations are in `tests/src/campaign`.\n\n\
         {} runs: {} noticed, {} without a trace, {} in which the torque alone was another one, {} in which the \
         rim went another way within the limits, {beyond} beyond them; {over} travelled further than the \
         budget; {wrong} in which something was as it must never be. In {warned} runs zero torque could not be confirmed of a rig \
         that had been armed, and the program said that only the emergency stop is left.\n\n\
         ## By fault\n\n{}\n\
         *Noticed*: the run stopped, or was refused before it began, by what is named. *By the rig first*: the rig controller \
         ended the torque before the bench told it to. *Zero after*: from the onset to the last torque of a motor that had power, \
         of runs in which it made any.\n\n\
         ## Runs that went through\n\n{}\n\
         Each was laid beside the same run without the fault. *No trace*: rim within 0.1 deg and motor within {:.0} % of peak of \
         it, if up to {SHIFT_MS} ms earlier or later. *Torque alone*: the motor's was another one, and the rim stayed within 0.1 deg. \
         *Within limits*: the rim went another way, but never beyond the limits of speed and window nor the budget. \
         *Beyond*: it was; that is a failure.\n\n\
         ## Budgets of a loose rim\n\n{}\n\
         With w = w_L + a·t_r and t_r = {:.2} ms. A rim may reach the window's end before it is fast; where the torque is known \
         w²/2a replaces that way. What the stop itself lets the rim travel from w is stated apart: no reaction makes it smaller. A \
         held rim may move by 2·T/k and by what a blow puts into the spring.\n\n\
         ## What must never be\n\n{}\n\
         ## Nothing wrong\n\n\
         Fault-free runs of every shipped procedure on every wheelbase, {hours:.1} h of bench time, {trips} trips.\n\n{}\n\
         ## By what was played\n\n{}\n\
         Slices of `travel` are played with end stops 120 deg apart, which fewer pushes reach. `limit` and `acceptance`, which play traces \
         from files, are not among them.\n\n\
         ## Sizes\n\n{}\n\
         ## By fault and mounting\n\n{}",
        verdicts.len(),
        verdicts.len(),
        verdicts.iter().filter(|v| v.class == Class::Noticed).count(),
        verdicts.iter().filter(|v| v.class == Class::NoTrace).count(),
        verdicts.iter().filter(|v| v.class == Class::TorqueAlone).count(),
        verdicts.iter().filter(|v| v.class == Class::WithinLimits).count(),
        by_kind(verdicts),
        unnoticed(verdicts),
        100.0 * TRACE_SHARE,
        budgets(),
        1e3 * REACTION_S,
        if failures.is_empty() {
            "None of the runs.\n".to_owned()
        } else {
            failures
        },
        quiet(quiet_runs),
        by_script(verdicts),
        size_ranges(),
        by_mounting(verdicts),
    )
}
