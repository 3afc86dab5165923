//! When torque arrives: the firmware's update period and phase from the arrivals themselves.
//!
//! A setpoint waits until the firmware looks. With its period T, torque arrives at `φ + k T` whenever the setpoint was
//! sent, so the instants of arrival, on the rig's clock, fall on one comb though the delays do not: the comb's period is that
//! at which the arrivals, as angles of it, point most nearly one way (Rayleigh's test; Mardia and Jupp, Directional Statistics,
//! 6.3). The comb then gives each repeat its delay without that repeat's noise. Delays lie between the dead time D and
//! D + T; the largest and the smallest of them pin D down to what is left of T between them, about `2T/n`, where the mean of
//! n waits that scatter over T is known to `T/sqrt(12 n)`.

use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use super::LatencyFit;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::statistics::{extent, mean_sd};

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ArrivalOptions {
    /// Update period, s, if declared: the search is then kept within 2 % of it.
    pub period_s: Option<f64>,
    /// Relative standard uncertainty of the rig's clock.
    pub clock_rel_u: f64,
    /// Fewest repeats.
    pub min_repeats: usize,
}

impl Default for ArrivalOptions {
    fn default() -> Self {
        Self {
            period_s: None,
            clock_rel_u: 50e-6,
            min_repeats: 12,
        }
    }
}

/// What the pattern of arrivals says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arrivals {
    /// Update period of the firmware, s.
    pub period: Outcome,
    /// Dead time: delay of a setpoint that comes just in time to be seen, s.
    pub dead_time: Outcome,
    /// Dead time and half the period: the mean delay of setpoints that come at any time, s.
    pub latency: Outcome,
    /// Standard deviation of the waits of setpoints that come at any time, `T/sqrt(12)`, s.
    pub wait_jitter: Outcome,
    /// Jitter that the waits do not explain: scatter of the arrivals about the comb, s. The noise of one delay is in it.
    pub other_jitter_s: f64,
    /// Wait of each repeat, s, in the order given; `None` where there is no delay.
    pub wait_s: Vec<Option<f64>>,
    /// Length of the mean arrow of the arrivals, 1 for a perfect comb.
    pub concentration: f64,
}

/// Arrivals among which the comb is looked for at first.
const FOUND_AMONG: usize = 256;

/// Arrow below which a comb is not believed in.
const LEAST_CONCENTRATION: f64 = 0.85;

/// Chance, over all periods tried, below which a comb is no accident.
const ACCIDENT: f64 = 1e-3;

/// Steps of the search beyond which a period is another one, and share of the best arrow that such a one may reach: where
/// arrivals lie on a grid of their own, several periods fit.
const APART: f64 = 16.0;
const RIVAL: f64 = 0.9;

/// Periods tried, over the range of the delays: a range of n uniform waits falls short of 0.7 T with a chance of
/// `n 0.7^(n-1)`, 20 % for 12 and 1 % for 20 repeats (a longer period is then refused, not misread).
const SEARCH: [f64; 2] = [0.97, 1.45];

/// Finds the comb. `at_s` are the instants at which the setpoints came into force, on the rig's clock; `fit` the latency fit
/// of the same steps, in the same order.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewRepeats`], [`Refusal::Ambiguous`] when several periods fit
/// and none is declared (with one declared the period alone is refused, as the delays hardly depend on it), and [`Refusal::NoPattern`] when the
/// arrivals lie on no comb: the firmware does not poll, its clock wanders, or other jitter is as large as its period.
pub fn arrivals(at_s: &[f64], fit: &LatencyFit, options: &ArrivalOptions) -> Result<Arrivals, Refusal> {
    let delays = &fit.per_repeat_s;
    if at_s.len() != delays.len() {
        return Err(Refusal::LengthMismatch {
            what: "instants of setpoints and delays".into(),
            left: at_s.len(),
            right: delays.len(),
        });
    }
    crate::statistics::all_finite("the instants of setpoints", at_s.iter())?;
    let used: Vec<(f64, f64)> = at_s
        .iter()
        .zip(delays)
        .filter_map(|(t, d)| d.map(|d| (*t, d)))
        .collect();
    let needed = options.min_repeats.max(5);
    if used.len() < needed {
        return Err(Refusal::TooFewRepeats {
            what: "pattern of arrivals".into(),
            got: used.len(),
            needed,
        });
    }
    let comb = Comb::find(&used, options)?;
    let shared: Vec<Contribution> = fit
        .latency
        .estimate()
        .map(|e| {
            // The scatter of the waits is what the comb takes out; the rest of the budget stays.
            let stays = |c: &&Contribution| c.source != "scatter of repeats";
            e.budget.iter().filter(stays).cloned().collect()
        })
        .unwrap_or_default();
    comb.results(&used, at_s, delays, &shared, options)
}

/// `φ + k T`.
struct Comb {
    period_s: f64,
    /// Instant of a tooth near the middle of the arrivals, s.
    tooth_s: f64,
    concentration: f64,
    /// Standard uncertainties of period and tooth, and scatter about the comb, s.
    period_u_s: f64,
    tooth_u_s: f64,
    scatter_s: f64,
    /// Least and largest period of those that fit as well, s.
    rivals_s: Option<[f64; 2]>,
}

impl Comb {
    fn find(used: &[(f64, f64)], options: &ArrivalOptions) -> Result<Self, Refusal> {
        let n = used.len() as f64;
        let middle = used.iter().map(|(t, d)| t + d).sum::<f64>() / n;
        let arrived: Vec<f64> = used.iter().map(|(t, d)| t + d - middle).collect();
        let bounds = |x: &mut dyn Iterator<Item = f64>| {
            x.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            })
        };
        let (first, last) = bounds(&mut arrived.iter().copied());
        let (least, most) = bounds(&mut used.iter().map(|u| u.1));
        let range = most - least;
        let none = |concentration: f64| Refusal::NoPattern {
            what: "the arrivals of torque".into(),
            concentration,
            limit: LEAST_CONCENTRATION,
        };
        let (short, long) = match options.period_s {
            Some(period) => (0.98 * period, 1.02 * period),
            None => (SEARCH[0] * range, SEARCH[1] * range),
        };
        if !(short > 0.0 && last > first) {
            return Err(none(0.0));
        }
        let arrow_of = |part: &[f64], f: f64| {
            let (s, c) = part.iter().fold((0.0, 0.0), |(s, c), a| {
                let (sin, cos) = (TAU * f * a).sin_cos();
                (s + sin, c + cos)
            });
            ((s * s + c * c).sqrt() / part.len() as f64, s.atan2(c))
        };
        // The finer the comb is to be found, the more periods must be tried, each over all arrivals: so it is found among the first
        // ones, and followed through ever more of them.
        let mut count = arrived.len().min(FOUND_AMONG);
        let part = &arrived[..count];
        let (first, last) = bounds(&mut part.iter().copied());
        if last <= first {
            return Err(none(0.0));
        }
        // A quarter of the width of the arrow's peak.
        let mut step = 0.25 / (last - first);
        let tried = (((1.0 / short - 1.0 / long) / step).ceil() as usize).clamp(1, MOST_TRIED);
        // The best, and what may be its like; a better one ends most of those before.
        let mut top = (1.0 / long, 0.0);
        let mut alike: Vec<(f64, f64)> = Vec::new();
        for i in 0..=tried {
            let trial = 1.0 / long + i as f64 * step;
            let length = arrow_of(part, trial).0;
            if length > top.1 {
                top = (trial, length);
            }
            if length > RIVAL * top.1 {
                alike.push((trial, length));
            }
        }
        alike.retain(|t| t.1 > RIVAL * top.1);
        let (mut f, mut best) = top;
        let mut rivals_s = None;
        if alike.iter().any(|t| (t.0 - top.0).abs() > APART * step) {
            let (slow, fast) = bounds(&mut alike.iter().map(|t| t.0));
            let between = [1.0 / fast, 1.0 / slow];
            if best < LEAST_CONCENTRATION {
                return Err(none(best));
            }
            let Some(declared) = options.period_s else {
                return Err(ambiguous(between));
            };
            // Which of them it is makes little of a delay; the one declared is followed.
            let near = |t: &&(f64, f64)| (t.0 - 1.0 / declared).abs();
            if let Some(nearest) = alike.iter().min_by(|a, b| near(a).total_cmp(&near(b))).copied() {
                // The crest that it lies on the side of.
                (f, best) = alike
                    .iter()
                    .filter(|t| (t.0 - nearest.0).abs() <= APART * step)
                    .copied()
                    .fold(nearest, |a, b| if b.1 > a.1 { b } else { a });
            }
            rivals_s = Some(between);
        }
        while count < arrived.len() {
            count = (2 * count).min(arrived.len());
            let part = &arrived[..count];
            let (first, last) = bounds(&mut part.iter().copied());
            let (middle, finer) = (f, 0.25 / (last - first));
            let reach = (2.0 * step / finer).ceil() as i32;
            step = finer;
            best = 0.0;
            for i in -reach..=reach {
                let trial = middle + f64::from(i) * step;
                let length = arrow_of(part, trial).0;
                if length > best {
                    (best, f) = (length, trial);
                }
            }
        }
        let arrow = |f: f64| arrow_of(&arrived, f);
        // Uphill by halving steps.
        let mut step = 0.5 * step;
        while step > 1e-12 * f {
            let better = [f - step, f + step].into_iter().find(|t| arrow(*t).0 > best);
            match better {
                Some(t) => (f, best) = (t, arrow(t).0),
                None => step *= 0.5,
            }
        }
        let chance = tried as f64 * (-n * best * best).exp();
        if best < LEAST_CONCENTRATION || chance > ACCIDENT {
            return Err(none(best));
        }
        let (period, phase) = (1.0 / f, arrow(f).1);
        // A straight line through the arrivals against the number of their tooth.
        let offset = phase / TAU * period;
        let teeth: Vec<f64> = arrived.iter().map(|a| ((a - offset) / period).round()).collect();
        let mean_k = teeth.iter().sum::<f64>() / n;
        let spread: f64 = teeth.iter().map(|k| (k - mean_k).powi(2)).sum();
        let slope = teeth
            .iter()
            .zip(&arrived)
            .map(|(k, a)| (k - mean_k) * a)
            .sum::<f64>()
            / spread;
        let mean_a = arrived.iter().sum::<f64>() / n;
        let rest: f64 = teeth
            .iter()
            .zip(&arrived)
            .map(|(k, a)| (a - mean_a - slope * (k - mean_k)).powi(2))
            .sum();
        let scatter_s = (rest / (n - 2.0)).sqrt();
        Ok(Self {
            period_s: slope,
            tooth_s: middle + mean_a - slope * mean_k,
            concentration: best,
            period_u_s: scatter_s / spread.sqrt(),
            tooth_u_s: scatter_s / n.sqrt(),
            scatter_s,
            rivals_s,
        })
    }

    /// Delay that the comb gives an arrival seen at `seen_s` of a setpoint of instant `at_s`.
    fn delay_s(&self, at_s: f64, seen_s: f64) -> f64 {
        let k = ((seen_s - self.tooth_s) / self.period_s).round();
        self.tooth_s + k * self.period_s - at_s
    }

    fn results(
        &self,
        used: &[(f64, f64)],
        at_s: &[f64],
        delays: &[Option<f64>],
        shared: &[Contribution],
        options: &ArrivalOptions,
    ) -> Result<Arrivals, Refusal> {
        let n = used.len();
        let dof = n as f64 - 2.0;
        let clean: Vec<f64> = used.iter().map(|(t, d)| self.delay_s(*t, t + d)).collect();
        let [least, most] = extent(&clean);
        // Above zero by the gap that no setpoint happened to fall into; below by noise alone.
        let gap = (self.period_s - (most - least)).max(0.0);
        let dead = 0.5 * (least + most - self.period_s);
        let check = Check::new(
            "arrivals lie on a comb",
            true,
            format!(
                "arrow {:.3}, at least {LEAST_CONCENTRATION}; scatter {:.1} µs about a period of {:.3} µs",
                self.concentration,
                1e6 * self.scatter_s,
                1e6 * self.period_s
            ),
        );
        let uniform = used_evenly(&clean, dead, self.period_s)?;
        let mut budget = vec![
            Contribution::rectangular("setpoints left a gap in the waits", 0.5 * gap),
            Contribution::type_a("phase of the comb", self.tooth_u_s, dof),
        ];
        budget.extend(shared.iter().cloned());
        let make = |value: f64, unit: &str, method: &str, budget: Vec<Contribution>| {
            Estimate::from_budget(value, unit, n, method, budget)
                .map(|e| e.with_checks([check.clone(), uniform.clone()]))
        };
        let of_period = |share: f64| {
            vec![
                Contribution::type_a("scatter about the comb", share * self.period_u_s, dof),
                Contribution::type_b("rig clock", share * options.clock_rel_u * self.period_s),
            ]
        };
        let rival = |share: f64| {
            self.rivals_s.map(|[short, long]| {
                let far = (long - self.period_s).max(self.period_s - short);
                Contribution::rectangular("other periods fit as well", share * far)
            })
        };
        // Dead time and mean follow from the middle of the delays, half a period below it or at it.
        budget.extend(rival(0.5));
        let mut both = budget.clone();
        both.extend(of_period(0.5));
        let root12 = 12.0_f64.sqrt();
        let waits = at_s
            .iter()
            .zip(delays)
            .map(|(t, d)| d.map(|d| self.delay_s(*t, t + d) - dead))
            .collect();
        Ok(Arrivals {
            period: match self.rivals_s {
                Some(between) => ambiguous(between).into(),
                None => make(
                    self.period_s,
                    "s",
                    "period of the comb on which the arrivals lie",
                    of_period(1.0),
                )?
                .into(),
            },
            dead_time: make(dead, "s", "least delay on the comb of arrivals", budget)?.into(),
            latency: make(
                dead + 0.5 * self.period_s,
                "s",
                "dead time and half the update period, by the comb of arrivals",
                both,
            )?
            .into(),
            wait_jitter: make(
                self.period_s / root12,
                "s",
                "update period over the root of twelve",
                of_period(1.0 / root12)
                    .into_iter()
                    .chain(rival(1.0 / root12))
                    .collect(),
            )?
            .into(),
            other_jitter_s: self.scatter_s,
            wait_s: waits,
            concentration: self.concentration,
        })
    }
}

fn ambiguous([shortest, longest]: [f64; 2]) -> Refusal {
    Refusal::Ambiguous {
        what: "periods of the arrivals of torque".into(),
        from_ms: 1e3 * shortest,
        to_ms: 1e3 * longest,
    }
}

/// Periods tried at most; more than this are a run of hours whose comb must be declared.
const MOST_TRIED: usize = 4_000_000;

/// Whether the waits fill the period evenly (Kolmogorov and Smirnov, 1 %): starts that are not dithered against the
/// firmware lock to it, and the mean of their delays is then not that of setpoints that come at any time.
fn used_evenly(delays: &[f64], dead_s: f64, period_s: f64) -> Result<Check, Refusal> {
    let mut share: Vec<f64> = delays.iter().map(|d| (d - dead_s) / period_s).collect();
    share.sort_by(f64::total_cmp);
    let n = share.len() as f64;
    let worst = share
        .iter()
        .enumerate()
        .map(|(i, s)| (s - i as f64 / n).abs().max(((i + 1) as f64 / n - s).abs()))
        .fold(0.0, f64::max);
    let mean = mean_sd(&share)?.mean;
    let limit = 1.628 / n.sqrt();
    Ok(Check::new(
        "setpoints came at all phases of the update period",
        worst < limit,
        format!("largest distance from even {worst:.3}, at most {limit:.3}; mean wait {mean:.2} periods"),
    ))
}
