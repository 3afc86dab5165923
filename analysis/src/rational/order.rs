//! How many poles and zeros: cross-validation.
//!
//! Each number of poles and zeros is fitted without one fold and judged by what it predicts of that fold. Folds are the
//! repeats; where there are none, every fifth line. The one that predicts best is taken, where each
//! parameter must earn what one of two standard uncertainties would. Rules that forgo more for fewer parameters are made
//! for prediction: here a zero too few shifts the delay by many of its standard uncertainties, while one too many only
//! widens them.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::RationalOptions;
use super::lines::ResponseLines;
use super::model::{Factor, RationalModel};
use super::refine::{Effort, Line, Refined, refine};
use super::vector::{Aligned, numerator, poles, range};
use crate::estimate::Refusal;

/// Delays tried at the start, as shares of the mean delay of all lines: the rest of that is lag.
const SHARES: [f64; 6] = [1.0, 0.9, 0.75, 0.6, 0.35, 0.0];

/// A fit from its start: to a thousandth of a standard uncertainty.
const WHOLE: Effort = Effort {
    iterations: 80,
    rss_tolerance: 1e-9,
};

/// A fit from that of nearly the same data, of which only the prediction counts.
const AGAIN: Effort = Effort {
    iterations: 50,
    rss_tolerance: 1e-6,
};

/// Poles beyond the best number so far after which no more are tried.
const IN_VAIN: usize = 2;

/// Mean squared residual, in units of the errors, that is as good as none.
const EXACT: f64 = 1e-9;

/// Folds where there are no repeats.
const LINE_FOLDS: usize = 5;

/// Most folds of repeats: more of them go several to a fold, so that many repeats do not take long.
const REPEAT_FOLDS: usize = 5;

/// A candidate whose sum of squares is above this multiple of the least so far, and this much on top, predicts worse
/// whatever the folds say: the prediction differs by what the sums of squares do, and a parameter is worth four of that.
const HOPELESS: (f64, f64) = (2.0, 100.0);

/// Starts of one number of poles that are carried on to a fit.
const CARRIED: usize = 3;

/// Places over the range at which a pole is added to the best fit with one less.
const GROWN: usize = 5;

/// One number of poles and zeros that was tried.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    pub(crate) fit: Refined,
    /// Mean squared misprediction of each fold, in units of the errors; infinite where none was needed to tell.
    pub(crate) folds: Vec<f64>,
}

impl Candidate {
    /// Mean of the folds.
    pub(crate) fn prediction(&self) -> f64 {
        self.folds.iter().sum::<f64>() / self.folds.len() as f64
    }

    fn parameters(&self) -> usize {
        self.fit.parameters.len()
    }
}

/// All candidates that could be fitted, by their number of parameters, and the place of the one chosen.
pub(crate) fn choose(
    data: &ResponseLines,
    options: &RationalOptions,
) -> Result<(Vec<Candidate>, usize), Refusal> {
    let lines = weighted(data, &data.h, 1.0, options);
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut reason = "no start".to_string();
    // A parameter that lies two of its standard uncertainties from where it does not matter lowers the sum of squares of
    // all data by four; of a fold that is the share that one repeat is.
    let folds = data.repeats.len().clamp(1, REPEAT_FOLDS);
    let dear = 4.0 / (2.0 * lines.len() as f64 * folds as f64);
    let cost = |c: &Candidate| c.prediction() + dear * c.parameters() as f64;
    let mut leader = (f64::INFINITY, options.orders[0]);
    let mut least = f64::INFINITY;
    // Fewer poles than are asked for only lead to starts.
    for order in 1..=options.orders[1] {
        if order > leader.1 + IN_VAIN && leader.0.is_finite() {
            break;
        }
        let mut starts = starts(&lines, order, data.bulk_delay_s(), options);
        starts.extend(grown(&lines, &candidates, order));
        let mut before: Option<RationalModel> = None;
        for excess in options.excess[0]..=options.excess[1].min(order) {
            match fit(&lines, order - excess, &starts, before.as_ref(), options) {
                Ok(fit) => {
                    before = Some(fit.model.clone());
                    least = least.min(fit.rss);
                    let folds = if order < options.orders[0] || fit.rss > HOPELESS.0 * least + HOPELESS.1 {
                        vec![f64::INFINITY]
                    } else {
                        validate(data, &fit, options)
                    };
                    let candidate = Candidate { fit, folds };
                    if order >= options.orders[0] && cost(&candidate) < leader.0 {
                        leader = (cost(&candidate), order);
                    }
                    candidates.push(candidate);
                }
                Err(why) => reason = why,
            }
        }
    }
    candidates.retain(|c| c.fit.model.orders().0 >= options.orders[0]);
    candidates.sort_by_key(|c| (c.parameters(), c.fit.model.orders()));
    let best = (0..candidates.len())
        .filter(|i| candidates[*i].prediction().is_finite())
        .min_by(|a, b| cost(&candidates[*a]).total_cmp(&cost(&candidates[*b])));
    let Some(chosen) = best else {
        return Err(Refusal::NotConverged {
            what: "the rational fit of every number of poles".into(),
            iterations: WHOLE.iterations,
            reason,
        });
    };
    Ok((candidates, chosen))
}

/// Lines with errors that include the floor, times `factor`.
fn weighted(data: &ResponseLines, h: &[Complex64], factor: f64, options: &RationalOptions) -> Vec<Line> {
    (0..data.f_hz.len())
        .map(|i| {
            let floor = options.floor_rel * data.h[i].norm();
            (
                data.f_hz[i],
                h[i],
                factor * data.u[i].hypot(floor).max(f64::MIN_POSITIVE),
            )
        })
        .collect()
}

/// The lines with a delay taken out.
fn aligned(lines: &[Line], delay_s: f64) -> Vec<Aligned> {
    lines
        .iter()
        .map(|(f, h, u)| (*f, h * Complex64::from_polar(1.0, TAU * f * delay_s), *u))
        .collect()
}

/// Delays and poles to start from, the best first.
fn starts(lines: &[Line], order: usize, bulk_s: f64, options: &RationalOptions) -> Vec<(f64, Vec<Factor>)> {
    let delays = match options.delay_s {
        Some(delay_s) => vec![delay_s],
        None => SHARES.iter().map(|s| s * bulk_s).collect(),
    };
    let mut all: Vec<(f64, Vec<Factor>, f64)> = delays
        .into_iter()
        .filter_map(|delay_s| poles(&aligned(lines, delay_s), order).map(|(p, rss)| (delay_s, p, rss)))
        .collect();
    all.sort_by(|a, b| a.2.total_cmp(&b.2));
    all.into_iter().take(CARRIED).map(|(d, p, _)| (d, p)).collect()
}

/// The best fit with fewer poles, and the missing ones at a few places over the range: what is found step by step is not lost
/// where poles that are found at once lie far off.
fn grown(lines: &[Line], candidates: &[Candidate], order: usize) -> Vec<(f64, Vec<Factor>)> {
    let below = candidates.iter().map(|c| (c.fit.model.orders().0, &c.fit));
    let nearer =
        |a: &(usize, &Refined), b: &(usize, &Refined)| a.0.cmp(&b.0).then(b.1.rss.total_cmp(&a.1.rss));
    let Some((poles, best)) = below.max_by(nearer) else {
        return Vec::new();
    };
    let (low_hz, high_hz) = range(lines);
    (0..GROWN)
        .map(|i| {
            let corner_hz = low_hz * (high_hz / low_hz).powf((i as f64 + 0.5) / GROWN as f64);
            let one_more = |factors: Vec<Factor>, _| with_real(&factors, corner_hz);
            let factors = (poles..order).fold(best.model.poles.clone(), one_more);
            (best.model.delay_s, factors)
        })
        .collect()
}

/// Poles with a real one more. Two real ones are held as a pair, which may become a complex one.
fn with_real(poles: &[Factor], corner_hz: f64) -> Vec<Factor> {
    let mut poles = poles.to_vec();
    let real = poles.iter_mut().find_map(|factor| match factor {
        Factor::Real { corner_hz } => Some((*corner_hz, factor)),
        Factor::Pair { .. } => None,
    });
    match real {
        Some((other_hz, factor)) => {
            let f_hz = (other_hz * corner_hz).sqrt();
            *factor = Factor::Pair {
                f_hz,
                damping: 0.5 * (other_hz + corner_hz) / f_hz,
            };
        }
        None => poles.push(Factor::Real { corner_hz }),
    }
    poles
}

/// One number of zeros from the best of a few starts: those of the number of poles, and the fit with one zero more.
fn fit(
    lines: &[Line],
    zeros: usize,
    starts: &[(f64, Vec<Factor>)],
    before: Option<&RationalModel>,
    options: &RationalOptions,
) -> Result<Refined, String> {
    let more = before.map(|m| (m.delay_s, m.poles.clone()));
    let mut models: Vec<(RationalModel, f64)> = starts
        .iter()
        .cloned()
        .chain(more)
        .filter_map(|(delay_s, factors)| {
            let (mut model, rss) = numerator(&aligned(lines, delay_s), &factors, zeros)?;
            model.delay_s = delay_s;
            Some((model, rss))
        })
        .collect();
    models.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut best: Option<Refined> = None;
    let mut why = "no poles to start from".to_string();
    for (model, _) in models.iter().take(2) {
        match refine(lines, model, options.delay_s.is_some(), WHOLE) {
            Ok(fit) if best.as_ref().is_none_or(|b| fit.rss < b.rss) => best = Some(fit),
            Ok(_) => {}
            Err(failure) => why = failure.to_string(),
        }
    }
    best.ok_or(why)
}

/// Mean squared misprediction of each fold; infinite where the fit without it fails.
fn validate(data: &ResponseLines, from: &Refined, options: &RationalOptions) -> Vec<f64> {
    let known = options.delay_s.is_some();
    let square = |model: &RationalModel, lines: &[Line]| -> f64 {
        let miss = lines.iter().map(|(f, h, u)| ((model.at(*f) - h) / u).norm_sqr());
        miss.sum::<f64>() / (2.0 * lines.len() as f64)
    };
    let judge = |train: &[Line], test: &[Line]| {
        // A start that leaves nothing is a minimum, and a search could only call it stuck.
        if square(&from.model, train) < EXACT {
            return square(&from.model, test);
        }
        match refine(train, &from.model, known, AGAIN) {
            Ok(fit) => square(&fit.model, test),
            Err(_) => f64::INFINITY,
        }
    };
    let n = data.repeats.len();
    if n < 2 {
        let lines = weighted(data, &data.h, 1.0, options);
        return (0..LINE_FOLDS)
            .map(|fold| {
                let part = |inside: bool| -> Vec<Line> {
                    let own = |i: usize| (i % LINE_FOLDS == fold) == inside;
                    let kept = lines.iter().enumerate().filter(|(i, _)| own(*i));
                    kept.map(|(_, l)| *l).collect()
                };
                judge(&part(false), &part(true))
            })
            .collect();
    }
    let (all, folds) = (n as f64, n.min(REPEAT_FOLDS));
    (0..folds)
        .map(|fold| {
            let inside = |r: &usize| r % folds == fold;
            let mean = |kept: &dyn Fn(&usize) -> bool| -> (Vec<Complex64>, f64) {
                let part: Vec<usize> = (0..n).filter(|r| kept(r)).collect();
                let count = part.len() as f64;
                let of_line = |i| part.iter().map(|r| data.repeats[*r][i]).sum::<Complex64>() / count;
                ((0..data.f_hz.len()).map(of_line).collect(), (all / count).sqrt())
            };
            let (others, wider) = mean(&|r| !inside(r));
            let (own, widest) = mean(&inside);
            let train = weighted(data, &others, wider, options);
            let test = weighted(data, &own, widest, options);
            judge(&train, &test)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Real roots at 3 and 12 Hz are those of a pair at 6 Hz with a damping ratio of 1.25 (their product and sum).
    #[test]
    fn a_second_real_pole_makes_a_pair_of_both() {
        let pair = |f_hz, damping| Factor::Pair { f_hz, damping };
        let real = |corner_hz| Factor::Real { corner_hz };
        assert_eq!(
            with_real(&[pair(40.0, 0.1), real(3.0)], 12.0),
            [pair(40.0, 0.1), pair(6.0, 1.25)]
        );
        assert_eq!(with_real(&[pair(40.0, 0.1)], 12.0), [pair(40.0, 0.1), real(12.0)]);
        let both: Vec<f64> = pair(6.0, 1.25).roots().iter().map(|root| root.re / TAU).collect();
        assert!(
            (both[0] + 3.0).abs() < 1e-12 && (both[1] + 12.0).abs() < 1e-12,
            "{both:?}"
        );
    }
}
