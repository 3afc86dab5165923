//! Which columns explain values: forward by one or two, exchanged for better ones, backward by one.

use super::spans::{Span, dot, effect};
use crate::distributions::student_two_sided;

/// Most columns looked for; a series that needs more is not described by shifts and drifts.
const MOST: usize = 12;
/// Pairs more parallel than this (squared cosine) are not taken together.
const ALIKE: f64 = 0.9;

/// Places of the columns that explain `values` beside a constant, each significant at `alpha` over the number of columns.
pub(super) fn search(values: &[f64], columns: &[&[f64]], alpha: f64) -> Vec<usize> {
    let each = alpha / columns.len().max(1) as f64;
    let mut chosen: Vec<usize> = Vec::new();
    // Every round adds; what is dropped may come back, so rounds are bounded.
    for _ in 0..MOST {
        let Some(added) = forward(values, columns, &chosen, each) else {
            break;
        };
        let before = chosen.clone();
        chosen.extend(added);
        exchange(values, columns, &mut chosen);
        backward(values, columns, &mut chosen, each);
        if chosen == before || chosen.len() >= MOST {
            break;
        }
    }
    chosen
}

/// The best single column if it is significant; or the best pair, if both of it are, each beside the other.
fn forward(values: &[f64], columns: &[&[f64]], chosen: &[usize], each: f64) -> Option<Vec<usize>> {
    let span = Span::beside(values.len(), chosen.iter().map(|i| columns[*i]));
    let left = span.rest(values);
    let squares = dot(&left, &left);
    let dof = values.len() as f64 - span.rank() as f64;
    let open: Vec<(usize, Vec<f64>)> = (0..columns.len())
        .filter(|i| !chosen.contains(i))
        .filter_map(|i| span.new_part(columns[i]).map(|new| (i, new)))
        .collect();
    let own: Vec<f64> = open.iter().map(|(_, new)| dot(new, new)).collect();
    let pull: Vec<f64> = open.iter().map(|(_, new)| dot(new, &left)).collect();
    let gain: Vec<f64> = pull.iter().zip(&own).map(|(b, g)| b * b / g).collect();
    // What is taken off by one more column, as the p of its t.
    let p = |taken: f64, after: f64, dof: f64| {
        if dof < 1.0 {
            return 1.0;
        }
        student_two_sided(
            (taken.max(0.0) / (after / dof).max(f64::MIN_POSITIVE)).sqrt(),
            dof,
        )
    };
    let single = (0..open.len()).max_by(|a, b| gain[*a].total_cmp(&gain[*b]))?;
    if p(gain[single], squares - gain[single], dof - 1.0) > each {
        return None;
    }
    let mut best: Option<(f64, [usize; 2])> = None;
    for i in 0..open.len() {
        for j in 0..i {
            let both = dot(&open[i].1, &open[j].1);
            if both * both > ALIKE * own[i] * own[j] {
                continue;
            }
            let determinant = own[i] * own[j] - both * both;
            let taken = (pull[i] * pull[i] * own[j] - 2.0 * pull[i] * pull[j] * both
                + pull[j] * pull[j] * own[i])
                / determinant;
            if best.is_none_or(|(most, _)| taken > most) {
                best = Some((taken, [i, j]));
            }
        }
    }
    if let Some((taken, [i, j])) = best {
        let beside = |other: usize| p(taken - gain[other], squares - taken, dof - 2.0) <= each;
        if beside(i) && beside(j) {
            return Some(vec![open[i].0, open[j].0]);
        }
    }
    Some(vec![open[single].0])
}

/// Drops the least significant column until all are significant beside the others.
fn backward(values: &[f64], columns: &[&[f64]], chosen: &mut Vec<usize>, each: f64) {
    loop {
        let p = |at: usize| {
            let others = chosen.iter().filter(|o| **o != chosen[at]).map(|o| columns[*o]);
            effect(values, columns[chosen[at]], &Span::beside(values.len(), others)).map_or(1.0, |e| e.p)
        };
        let worst = (0..chosen.len())
            .map(|at| (p(at), at))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match worst {
            Some((p, at)) if p > each => {
                chosen.remove(at);
            }
            _ => break,
        }
    }
}

/// What each column would take off the squares that the others leave; zero if nothing of it is new.
fn gains(values: &[f64], columns: &[&[f64]], others: &Span) -> Vec<f64> {
    let left = others.rest(values);
    let gain = |column: &&[f64]| {
        let new = others.new_part(column)?;
        Some(dot(&new, &left).powi(2) / dot(&new, &new))
    };
    columns.iter().map(|c| gain(c).unwrap_or(0.0)).collect()
}

/// Exchanges each column for the one that explains most in its place, until none is better: a ramp taken early for what is a
/// step is set right when the rest is known.
fn exchange(values: &[f64], columns: &[&[f64]], chosen: &mut [usize]) {
    for _ in 0..MOST {
        let mut changed = false;
        for at in 0..chosen.len() {
            let others = chosen.iter().filter(|o| **o != chosen[at]).map(|o| columns[*o]);
            let gains = gains(values, columns, &Span::beside(values.len(), others));
            let open = (0..columns.len()).filter(|i| !chosen.contains(i));
            let best = open.max_by(|a, b| gains[*a].total_cmp(&gains[*b]));
            if let Some(best) = best.filter(|b| gains[*b] > gains[chosen[at]] * (1.0 + 1e-9)) {
                chosen[at] = best;
                changed = true;
            }
        }
        if !changed {
            break;
        }
    }
}

/// Columns that explain nearly as much in the place of `chosen[at]`: likelihoods differ by less than a factor of twenty, that
/// is, the squares that are left by less than 2 ln 20 = 6 variances.
pub(super) fn alternatives(values: &[f64], columns: &[&[f64]], chosen: &[usize], at: usize) -> Vec<usize> {
    let others = chosen.iter().filter(|o| **o != chosen[at]).map(|o| columns[*o]);
    let others = Span::beside(values.len(), others);
    let left = others.rest(values);
    let gains = gains(values, columns, &others);
    let own = gains[chosen[at]];
    let dof = values.len() as f64 - others.rank() as f64 - 1.0;
    let variance = (dot(&left, &left) - own) / dof.max(1.0);
    (0..columns.len())
        .filter(|i| !chosen.contains(i) && gains[*i] > own - 6.0 * variance)
        .collect()
}
