//! From a joint fit to latencies with their budgets.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::fit::LatencyGroups;
use super::prepare::{Class, Repeat};
use super::problem::{Joint, Placed, pure_s};
use super::{LatencyFit, LatencyOptions};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::statistics::mean_sd;

/// A joint fit with all that results need.
pub(crate) struct Fitted<'o> {
    /// Repeats behind the shape.
    pub(crate) repeats: Vec<Repeat>,
    /// Repeats set aside while the shape was found, placed afterwards.
    pub(crate) apart: Vec<(Repeat, Placed)>,
    pub(crate) joint: Joint,
    /// Shift of the mean under choices that could as well have been made.
    pub(crate) alternatives: Vec<(String, f64)>,
    pub(crate) noise_nm: f64,
    pub(crate) classes: Vec<Class>,
    pub(crate) options: &'o LatencyOptions,
}

/// Share of the time that the rise takes to come out of the noise by which a drive unlike the model shifts the onset: a geared
/// unit of two stages with three masses read 0.2 ms late, of 1 ms.
const HIDDEN_SHARE: f64 = 0.25;

/// All outcomes refused.
pub(crate) fn refused_fit(
    refusal: &Refusal,
    lengths: &[usize],
    left_out: &[(usize, String)],
    options: &LatencyOptions,
) -> LatencyGroups {
    let fit = |count: usize, left_out: Vec<(usize, String)>| LatencyFit {
        latency: refusal.clone().into(),
        jitter: refusal.clone().into(),
        dead_time: options.update_period_s.map(|_| refusal.clone().into()),
        per_repeat_s: vec![None; count],
        left_out,
        model: None,
        residual_rms_nm: None,
        noise_rms_nm: None,
        curve_t_s: Vec::new(),
        curve_model_nm: Vec::new(),
        curve_measured_nm: Vec::new(),
        checks: Vec::new(),
    };
    LatencyGroups {
        pooled: fit(lengths.iter().sum(), left_out.to_vec()),
        groups: spans(lengths)
            .map(|span| fit(span.len(), within(left_out, &span)))
            .collect(),
    }
}

/// Results of all repeats and of each group.
pub(crate) fn group_results(
    fitted: &Fitted<'_>,
    lengths: &[usize],
    left_out: &[(usize, String)],
) -> LatencyGroups {
    let all = 0..lengths.iter().sum();
    let groups: Vec<_> = spans(lengths).collect();
    LatencyGroups {
        pooled: fitted.result(&all, &groups, left_out.to_vec()),
        groups: groups
            .iter()
            .map(|span| fitted.result(span, &[], within(left_out, span)))
            .collect(),
    }
}

type Span = std::ops::Range<usize>;

fn spans(lengths: &[usize]) -> impl Iterator<Item = Span> + '_ {
    lengths.iter().scan(0, |at, len| {
        *at += len;
        Some(*at - len..*at)
    })
}

fn within(left_out: &[(usize, String)], span: &Span) -> Vec<(usize, String)> {
    left_out
        .iter()
        .filter(|(i, _)| span.contains(i))
        .map(|(i, reason)| (i - span.start, reason.clone()))
        .collect()
}

impl Fitted<'_> {
    fn result(&self, span: &Span, groups: &[Span], left_out: Vec<(usize, String)>) -> LatencyFit {
        let mut per_repeat_s = vec![None; span.len()];
        let whole = self.repeats.iter().zip(&self.joint.placed);
        let apart = self.apart.iter().map(|(repeat, placed)| (repeat, placed));
        for (repeat, placed) in whole.chain(apart) {
            if span.contains(&repeat.index) {
                per_repeat_s[repeat.index - span.start] = Some(placed.delay_s);
            }
        }
        let delays: Vec<f64> = per_repeat_s.iter().flatten().copied().collect();
        let checks = self.checks(&delays);
        let estimates = self.latency(&per_repeat_s, &delays, groups, span, &checks);
        let (latency, dead_time) = match estimates {
            Ok((latency, dead)) => (latency.into(), dead.map(Outcome::from)),
            Err(refusal) => (
                Outcome::from(refusal.clone()),
                self.options.update_period_s.map(|_| refusal.into()),
            ),
        };
        let jitter = self
            .needed(&delays)
            .and_then(|()| jitter(&delays, self.joint.noise_u_s));
        let (curve_t_s, curve_model_nm, curve_measured_nm) = self.curve(span);
        LatencyFit {
            latency,
            jitter: jitter.into(),
            dead_time,
            per_repeat_s,
            left_out,
            model: Some(self.joint.model.clone()),
            residual_rms_nm: Some(self.joint.residual_rms_nm),
            noise_rms_nm: Some(self.noise_nm),
            curve_t_s,
            curve_model_nm,
            curve_measured_nm,
            checks,
        }
    }

    fn needed(&self, delays: &[f64]) -> Result<(), Refusal> {
        let needed = self.options.min_repeats.max(2);
        if delays.len() < needed {
            return Err(Refusal::TooFewRepeats {
                what: "latency".into(),
                got: delays.len(),
                needed,
            });
        }
        Ok(())
    }

    fn checks(&self, delays: &[f64]) -> Vec<Check> {
        let (joint, noise_nm) = (&self.joint, self.noise_nm);
        let smallest = self
            .classes
            .iter()
            .map(|c| c.change_nm)
            .fold(f64::INFINITY, f64::min);
        let least = delays.iter().copied().fold(f64::INFINITY, f64::min);
        vec![
            Check::new(
                "residual of the rise",
                joint.residual_rms_nm < 3.0 * noise_nm.max(1e-4 * smallest),
                format!(
                    "{:.3e} N·m root mean square, noise {noise_nm:.3e} N·m",
                    joint.residual_rms_nm
                ),
            ),
            Check::new(
                "delay is causal",
                least > -3.0 * joint.noise_u_s - self.options.tick_s,
                format!("least delay {least:.3e} s"),
            ),
        ]
    }

    fn latency(
        &self,
        per_repeat_s: &[Option<f64>],
        delays: &[f64],
        groups: &[Span],
        span: &Span,
        checks: &[Check],
    ) -> Result<(Estimate, Option<Estimate>), Refusal> {
        self.needed(delays)?;
        let (options, joint) = (self.options, &self.joint);
        let stats = mean_sd(delays)?;
        let window_s = self.repeats.iter().map(|r| r.end_s).fold(f64::INFINITY, f64::min);
        if stats.mean > window_s {
            return Err(Refusal::DelayBeyondWindow {
                delay_s: stats.mean,
                window_s,
            });
        }
        let mut budget = vec![
            Contribution::of_mean("scatter of repeats", &stats),
            Contribution::type_b("shape of the rise", joint.shape_u_s),
            Contribution::type_b("declared sensor delay", options.sensor_delay_u_s),
            Contribution::rectangular("clock resolution", options.tick_s),
        ];
        // One spring from rotor to rim is what the model has.
        if options.drive_stages.is_none_or(|stages| stages > 1) {
            let half_width = HIDDEN_SHARE * self.hidden_s();
            budget.push(Contribution::rectangular(
                "onset below the noise, structure of the drive",
                half_width,
            ));
        }
        for (source, shift) in &self.alternatives {
            budget.push(Contribution::rectangular(format!("model: {source}"), *shift));
        }
        let parts: Vec<Vec<f64>> = groups
            .iter()
            .map(|g| {
                let g = g.start - span.start..g.end - span.start;
                per_repeat_s[g].iter().flatten().copied().collect()
            })
            .filter(|part: &Vec<f64>| part.len() > 1)
            .collect();
        let mut checks = checks.to_vec();
        if parts.len() > 1 {
            let (check, part) = between(&parts)?;
            checks.push(check);
            budget.extend(part);
        }
        let method = "joint least squares of one rise model and one delay a repeat";
        let latency = Estimate::from_budget(stats.mean, "s", stats.n, method, budget.clone())?
            .with_checks(checks.iter().cloned());
        let dead = options.update_period_s.map(|period| {
            let method = format!("{method}, less half the update period of {period} s");
            Estimate::from_budget(stats.mean - 0.5 * period, "s", stats.n, method, budget)
                .map(|e| e.with_checks(checks.iter().cloned()))
        });
        Ok((latency, dead.transpose()?))
    }

    /// How long the rise, as fitted, stays below the noise of all repeats of its size together. A drivetrain that begins
    /// otherwise than the model, by a further small mass say, shows in nothing that comes later, and shifts the onset by a
    /// part of this.
    fn hidden_s(&self) -> f64 {
        const STEP_S: f64 = 10e-6;
        let of_class = |class: usize| -> Option<f64> {
            let count = self.repeats.iter().filter(|r| r.class == class).count();
            let level = self.joint.residual_rms_nm / (count as f64).sqrt();
            let until = (self.classes[class].window_s / STEP_S) as usize;
            let mut rise = (1..until).map(|i| i as f64 * STEP_S);
            rise.find(|t| self.joint.tables[class].at(*t, 0.0).nm > level)
        };
        (0..self.classes.len())
            .filter_map(of_class)
            .fold(f64::INFINITY, f64::min)
            .min(1.0)
    }

    /// Aligned mean and model on the grid of the samples, for display: the repeats of `span` that are of the size of
    /// its first.
    fn curve(&self, span: &Span) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let mine: Vec<(&Repeat, &Placed)> = self
            .repeats
            .iter()
            .zip(&self.joint.placed)
            .filter(|(r, _)| span.contains(&r.index))
            .collect();
        let Some((first, _)) = mine.first() else {
            return Default::default();
        };
        let class = first.class;
        let mine: Vec<_> = mine.iter().filter(|(r, _)| r.class == class).collect();
        let friction = mine.iter().map(|(_, p)| p.friction_nm).sum::<f64>() / mine.len() as f64;
        let cell_s = 0.5 * (first.t_s[1] - first.t_s[0]);
        let lead = 2e-3_f64.max(4.0 * cell_s);
        let cells = ((self.classes[class].window_s + lead) / cell_s).ceil() as usize;
        let mut sums = vec![(0.0, 0.0, 0.0); cells];
        for (repeat, placed) in mine {
            for (t, y) in repeat.t_s.iter().zip(&repeat.y_nm) {
                let since = t - placed.delay_s;
                let cell = (since + lead) / cell_s;
                if cell >= 0.0 && (cell as usize) < cells {
                    let sum = &mut sums[cell as usize];
                    *sum = (sum.0 + 1.0, sum.1 + since, sum.2 + y - placed.base_nm);
                }
            }
        }
        let pure = pure_s(self.options.sensor_form, self.options);
        let mut lists: (Vec<f64>, Vec<f64>, Vec<f64>) = Default::default();
        for (n, t, y) in sums.into_iter().filter(|s| s.0 > 0.0) {
            lists.0.push(t / n);
            lists
                .1
                .push(self.joint.tables[class].at(t / n - pure, friction).nm);
            lists.2.push(y / n);
        }
        lists
    }
}

/// What the means of groups differ by beyond the scatter within them: a sign that one shape does not fit all sizes of
/// step alike. Judged by analysis of variance at 5 %; when it is more than chance, the excess (DerSimonian and Laird
/// 1986) enters by what it moves the mean of all.
fn between(parts: &[Vec<f64>]) -> Result<(Check, Option<Contribution>), Refusal> {
    let k = parts.len() as f64;
    let (mut within, mut dof, mut total) = (0.0, 0.0, 0.0);
    let mut means = Vec::new();
    for part in parts {
        let stats = mean_sd(part)?;
        let n = stats.n as f64;
        within += (n - 1.0) * stats.sd.powi(2);
        dof += n - 1.0;
        total += n;
        means.push((n, stats.mean));
    }
    let variance = (within / dof).max(f64::MIN_POSITIVE);
    let mean = means.iter().map(|(n, m)| n * m).sum::<f64>() / total;
    let squares = means.iter().map(|(n, m)| n * (m - mean).powi(2)).sum::<f64>();
    let ratio = squares / (k - 1.0) / variance;
    let chance = FisherSnedecor::new(k - 1.0, dof).map_or(f64::NAN, |f| f.sf(ratio));
    let agree = chance > 0.05;
    let detail = format!(
        "F ratio {ratio:.2}; as much or more by chance in {:.1} %, at least 5 %",
        100.0 * chance
    );
    // Weights n/N of the groups in the mean.
    let n2 = means.iter().map(|(n, _)| n * n).sum::<f64>() / total;
    let excess = ((squares - (k - 1.0) * variance) / (total - n2)).max(0.0);
    let u = (excess * n2 / total).sqrt();
    let part = Contribution::type_a("spread between groups beyond chance", u, k - 1.0);
    Ok((
        Check::new("groups agree", agree, detail),
        (!agree).then_some(part),
    ))
}

/// Spread of the delay itself: the scatter of the fitted delays less what their own noise puts in. Its uncertainty uses
/// the fourth moment, since the delays of a polled command are far from normal (Kendall and Stuart, 10.1).
fn jitter(delays_s: &[f64], noise_u_s: f64) -> Result<Estimate, Refusal> {
    let stats = mean_sd(delays_s)?;
    let n = stats.n as f64;
    let variance = stats.sd.powi(2);
    let fourth = delays_s.iter().map(|d| (d - stats.mean).powi(4)).sum::<f64>() / n;
    let own = (variance - noise_u_s.powi(2)).max(0.0).sqrt();
    let spread = ((fourth - variance * variance * (n - 3.0) / (n - 1.0)).max(0.0) / n).sqrt();
    // d(sd) = d(variance) / (2 sd); with nothing left above the noise, the noise itself bounds what could hide there.
    let u = if own > noise_u_s {
        spread / (2.0 * own)
    } else {
        spread.sqrt().max(noise_u_s / (2.0 * n).sqrt())
    };
    let budget = vec![
        Contribution::type_a("scatter of repeats", u, n - 1.0),
        Contribution::type_b("noise of one delay", noise_u_s / (2.0 * n).sqrt()),
    ];
    let mut estimate = Estimate::from_budget(
        own,
        "s",
        stats.n,
        "standard deviation of the delays over repeats, noise taken out",
        budget,
    )?;
    estimate.interval[0] = estimate.interval[0].max(0.0);
    Ok(estimate)
}
