//! Repeats whose jump reached the drive in two parts.
//!
//! A rig that limits the slew of its setpoint spreads a jump over a short time. When the firmware looks just then, it
//! takes over a part, and the rest one update period later. Such repeats are those with the shortest waits, so leaving
//! them out would make the mean late. Their onset is as good as any other: it is fitted with the common shape, driven in
//! two parts.

use super::fit::Fitter;
use super::prepare::Repeat;
use super::problem::{Choice, Joint, Placed, pure_s};
use super::table::Table;

/// Shares tried, evenly spaced.
const SHARES: usize = 24;

/// Places a repeat that was set aside: as it is, or, if that leaves a residual above `suspect_nm`, as one that came in
/// two parts, whichever fits better; the latter needs a declared update period. Returns the residual, root mean square in
/// N·m, and the place.
pub(crate) fn place_apart(
    fitter: &Fitter<'_>,
    repeat: &Repeat,
    joint: &Joint,
    choice: Choice,
    suspect_nm: f64,
) -> (f64, Placed) {
    let pure = pure_s(choice.form, fitter.options);
    let n = joint.placed.len() as f64;
    let friction_nm = joint.placed.iter().map(|p| p.friction_nm).sum::<f64>() / n;
    let earliest = joint
        .placed
        .iter()
        .map(|p| p.delay_s)
        .fold(f64::INFINITY, f64::min);
    let at = |delay_s: f64| Placed {
        delay_s,
        base_nm: 0.0,
        friction_nm,
    };
    let whole = at(repeat.t50_s - fitter.start.classes[repeat.class].rise_s);
    let problem = fitter.problem(std::slice::from_ref(repeat), &[whole], choice);
    let best = |table: &Table, from: Placed| -> (f64, Placed) {
        let from = Placed {
            delay_s: from.delay_s + pure,
            ..from
        };
        let mut placed = problem.place(0, table, from, 12);
        let rms = problem.rms_nm(0, table, placed);
        placed.delay_s -= pure;
        (rms, placed)
    };
    let as_it_is = best(&joint.tables[repeat.class], whole);
    let Some(period_s) = fitter.options.update_period_s.filter(|_| as_it_is.0 > suspect_nm) else {
        return as_it_is;
    };
    // What comes in two parts was taken over at once, so it belongs to the earliest.
    let start = at(earliest);
    let problem = fitter.problem(std::slice::from_ref(repeat), &[start], choice);
    let best = |share: f64| -> (f64, Placed) {
        let table = problem.split_table(0, &joint.model, (share, period_s));
        let from = Placed {
            delay_s: start.delay_s + pure,
            ..start
        };
        let placed = problem.place(0, &table, from, 12);
        (problem.rms_nm(0, &table, placed), placed)
    };
    let mut at = (f64::INFINITY, 0.0, start);
    for i in 0..SHARES {
        let share = (i as f64 + 0.5) / SHARES as f64;
        let (rms, placed) = best(share);
        if rms < at.0 {
            at = (rms, share, placed);
        }
    }
    // Golden section would do as well; halving steps around the best share is short and never leaves its neighbourhood.
    let mut step = 0.5 / SHARES as f64;
    for _ in 0..8 {
        for share in [at.1 - step, at.1 + step] {
            if share > 0.0 && share < 1.0 {
                let (rms, placed) = best(share);
                if rms < at.0 {
                    at = (rms, share, placed);
                }
            }
        }
        step *= 0.5;
    }
    let (rms, _, mut placed) = at;
    placed.delay_s -= pure;
    if rms < as_it_is.0 { (rms, placed) } else { as_it_is }
}
