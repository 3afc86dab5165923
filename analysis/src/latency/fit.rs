//! From step records to a latency with its budget.

use super::prepare::{Guess, Repeat, guess, repeat};
use super::problem::{Joint, Problem};
use super::{LatencyFit, LatencyOptions, SensorForm, ShapeModel};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::statistics::{mean_sd, median};
use crate::step::StepRecord;

/// A repeat whose residual exceeds the usual one by this factor was disturbed.
const DISTURBED: f64 = 4.0;

/// A hub is believed in when it lowers the residual by this factor; one that does not only trades delay for lag.
const HUB_COST: f64 = 1.003;

/// Latency over repeats of one step (all records must command the same change).
///
/// Needs at least three samples before the setpoint in every record, a rise that ends within the record, and repeats
/// whose starts were dithered against the firmware's update period; with a fixed phase the mean is biased by up to one
/// period and nothing in the data shows it.
///
/// Records that cannot be used are left out with a reason; when too few are left, all outcomes are refusals. What the
/// result leaves open is in its budget: scatter of the repeats (type A), the shape of the rise, the choice of window
/// and sensor form, the declared sensor delay and the clock (type B).
pub fn fit_latency(steps: &[StepRecord<'_>], options: &LatencyOptions) -> LatencyFit {
    let mut left_out = Vec::new();
    match attempt(steps, options, &mut left_out) {
        Ok(mut fit) => {
            fit.left_out = left_out;
            fit
        }
        Err(refusal) => LatencyFit {
            latency: refusal.clone().into(),
            jitter: refusal.clone().into(),
            dead_time: options.update_period_s.map(|_| refusal.into()),
            per_repeat_s: vec![None; steps.len()],
            left_out,
            model: None,
            residual_rms_nm: None,
            noise_rms_nm: None,
            curve_t_s: Vec::new(),
            curve_model_nm: Vec::new(),
            curve_measured_nm: Vec::new(),
            checks: Vec::new(),
        },
    }
}

fn attempt(
    steps: &[StepRecord<'_>],
    options: &LatencyOptions,
    left_out: &mut Vec<(usize, String)>,
) -> Result<LatencyFit, Refusal> {
    let needed = options.min_repeats.max(2);
    let too_few = |got| Refusal::TooFewRepeats {
        what: "latency".into(),
        got,
        needed,
    };
    let first = steps.first().ok_or_else(|| too_few(0))?;
    let change = first.to_nm - first.from_nm;
    let mut repeats = Vec::new();
    let mut reason = None;
    for (index, step) in steps.iter().enumerate() {
        let other = step.to_nm - step.from_nm;
        if (other - change).abs() > 1e-6 * change.abs() {
            return Err(Refusal::RecordsDiffer {
                what: "commanded change in N·m".into(),
                left: change,
                right: other,
            });
        }
        match repeat(index, step, options) {
            Ok(repeat) => repeats.push(repeat),
            Err(refusal) => {
                left_out.push((index, refusal.to_string()));
                reason.get_or_insert(refusal);
            }
        }
    }
    if repeats.len() < needed {
        // When nothing at all was usable, why matters more than how many.
        return Err(reason
            .filter(|_| repeats.is_empty())
            .unwrap_or_else(|| too_few(repeats.len())));
    }
    let commanded_nm = change.abs();
    let noise_nm = median(&repeats.iter().map(|r| r.noise_nm).collect::<Vec<_>>())?;
    let start = guess(&repeats, commanded_nm, options)?;
    let beyond = |r: &&Repeat| r.t50_s - start.rise_s + start.window_s > r.t_s[r.t_s.len() - 1];
    let late: Vec<&Repeat> = repeats.iter().filter(beyond).collect();
    if 2 * late.len() > repeats.len() {
        let (delay_s, window_s) = (late[0].t50_s - start.rise_s, late[0].t_s[late[0].t_s.len() - 1]);
        return Err(Refusal::DelayBeyondWindow { delay_s, window_s });
    }
    let fitter = Fitter {
        commanded_nm,
        noise_nm,
        options,
        start: &start,
    };
    let mut joint = fitter.first(&repeats)?;
    let usual = median(&joint.repeat_rms_nm)?;
    let disturbed: Vec<bool> = joint
        .repeat_rms_nm
        .iter()
        .map(|rms| *rms > DISTURBED * usual)
        .collect();
    if disturbed.iter().any(|d| *d) {
        for (i, _) in disturbed.iter().enumerate().filter(|(_, d)| **d) {
            let rms = joint.repeat_rms_nm[i];
            left_out.push((
                repeats[i].index,
                format!("residual {rms} N·m against {usual} N·m usually: disturbed"),
            ));
        }
        let kept = |i: &usize| !disturbed[*i];
        joint.delays_s = (0..repeats.len())
            .filter(kept)
            .map(|i| joint.delays_s[i])
            .collect();
        repeats = (0..repeats.len())
            .filter(kept)
            .map(|i| repeats[i].clone())
            .collect();
        if repeats.len() < needed {
            return Err(too_few(repeats.len()));
        }
    }
    let window_s = start.window_s;
    let again = fitter.refit(&repeats, &joint, window_s, options);
    // The first fit used nearly the same samples; it stands when the second wanders along a valley without rest.
    let joint = if again.is_err() && joint.bases_nm.len() == repeats.len() {
        joint
    } else {
        again?
    };
    let alternatives = fitter.alternatives(&repeats, &joint, window_s);
    outcome(steps.len(), &repeats, &joint, &alternatives, &fitter)
}

struct Fitter<'a> {
    commanded_nm: f64,
    noise_nm: f64,
    options: &'a LatencyOptions,
    start: &'a Guess,
}

impl Fitter<'_> {
    /// The best of a few starts: the split between ramp and lag is the part that a guess can get wrong.
    fn first(&self, repeats: &[Repeat]) -> Result<Joint, Refusal> {
        let mut best: Option<Joint> = None;
        let mut failure = None;
        // With a hub between drive and rig or without: the residual decides, and a hub must earn its place.
        for with_hub in [true, false] {
            for ramp in [1.0, 0.25, 2.0] {
                let mut model = self.start.model.clone();
                let rise_s = self.start.rise_s + 0.5 * (ramp - 1.0) * model.ramp_s;
                model.ramp_s *= ramp;
                let delays: Vec<f64> = repeats.iter().map(|r| r.t50_s - rise_s).collect();
                let window_s = self.start.window_s;
                match self
                    .problem(repeats, &delays, window_s, &model, self.options, with_hub)
                    .fit(&model, &delays)
                {
                    Ok(joint) => {
                        // A residual at the level of the noise leaves nothing for another start to find.
                        let enough = joint.residual_rms_nm < 1.5 * self.noise_nm;
                        let cost = |j: &Joint| j.residual_rms_nm * if j.with_hub { HUB_COST } else { 1.0 };
                        if best.as_ref().is_none_or(|b| cost(&joint) < cost(b)) {
                            best = Some(joint);
                        }
                        if enough {
                            break;
                        }
                    }
                    Err(f) => failure = Some(f),
                }
            }
        }
        best.ok_or_else(|| {
            let reason = failure.map_or_else(|| "no start was tried".into(), |f| f.to_string());
            Refusal::NotConverged {
                what: "the joint fit of the rise".into(),
                iterations: 120,
                reason,
            }
        })
    }

    fn problem<'r>(
        &self,
        repeats: &'r [Repeat],
        delays: &[f64],
        window_s: f64,
        model: &ShapeModel,
        options: &LatencyOptions,
        with_hub: bool,
    ) -> Problem<'r> {
        Problem::new(
            repeats,
            delays,
            window_s,
            self.commanded_nm,
            self.noise_nm,
            model,
            options,
            with_hub,
        )
    }

    /// Fits again from a fit at rest, with another window or sensor form. The prior stays at the first guess.
    fn refit(
        &self,
        repeats: &[Repeat],
        from: &Joint,
        window_s: f64,
        options: &LatencyOptions,
    ) -> Result<Joint, Refusal> {
        let pure = if options.sensor_form == SensorForm::Pure {
            options.sensor_delay_s
        } else {
            0.0
        };
        let delays: Vec<f64> = from.delays_s.iter().map(|d| d + pure).collect();
        self.problem(
            repeats,
            &delays,
            window_s,
            &self.start.model,
            options,
            from.with_hub,
        )
        .fit(&from.model, &delays)
        .map_err(|f| f.refusal("the joint fit of the rise"))
    }

    /// Shift of the mean delay under choices that could as well have been made.
    fn alternatives(&self, repeats: &[Repeat], joint: &Joint, window_s: f64) -> Vec<(String, f64)> {
        let mean = |j: &Joint| j.delays_s.iter().sum::<f64>() / j.delays_s.len() as f64;
        let base = mean(joint);
        let mut shifts = Vec::new();
        if let Ok(other) = self.refit(repeats, joint, 0.75 * window_s, self.options) {
            shifts.push(("end of the fitted window".to_string(), mean(&other) - base));
        }
        if self.options.sensor_form_known {
            return shifts;
        }
        let sensor_form = match self.options.sensor_form {
            SensorForm::SecondOrder => SensorForm::FirstOrder,
            SensorForm::FirstOrder | SensorForm::Pure => SensorForm::SecondOrder,
        };
        let options = LatencyOptions {
            sensor_form,
            ..self.options.clone()
        };
        if let Ok(other) = self.refit(repeats, joint, window_s, &options) {
            shifts.push(("form of the sensor's filter".to_string(), mean(&other) - base));
        }
        shifts
    }
}

fn outcome(
    count: usize,
    repeats: &[Repeat],
    joint: &Joint,
    alternatives: &[(String, f64)],
    fitter: &Fitter<'_>,
) -> Result<LatencyFit, Refusal> {
    let options = fitter.options;
    let stats = mean_sd(&joint.delays_s)?;
    let n = stats.n as f64;
    let window_s = repeats
        .iter()
        .map(|r| r.t_s[r.t_s.len() - 1])
        .fold(f64::INFINITY, f64::min);
    if stats.mean > window_s {
        return Err(Refusal::DelayBeyondWindow {
            delay_s: stats.mean,
            window_s,
        });
    }
    let mut budget = vec![
        Contribution::type_a("scatter of repeats", stats.sd / n.sqrt(), n - 1.0),
        Contribution::type_b("shape of the rise", joint.shape_u_s),
        Contribution::type_b("declared sensor delay", options.sensor_delay_u_s),
        Contribution::rectangular("clock resolution", options.tick_s),
    ];
    for (source, shift) in alternatives {
        budget.push(Contribution::rectangular(format!("model: {source}"), *shift));
    }
    let checks = vec![
        Check::new(
            "residual of the rise",
            joint.residual_rms_nm < 3.0 * fitter.noise_nm.max(1e-4 * fitter.commanded_nm),
            format!(
                "{:.3e} N·m root mean square, noise {:.3e} N·m",
                joint.residual_rms_nm, fitter.noise_nm
            ),
        ),
        Check::new(
            "delay is causal",
            joint
                .delays_s
                .iter()
                .all(|d| *d > -3.0 * joint.noise_u_s - options.tick_s),
            format!(
                "least delay {:.3e} s",
                joint.delays_s.iter().copied().fold(f64::INFINITY, f64::min)
            ),
        ),
    ];
    let method = "joint least squares of one rise model and one delay a repeat";
    let latency = Estimate::from_budget(stats.mean, "s", stats.n, method, budget.clone())?
        .with_checks(checks.iter().cloned());
    let dead_time = options.update_period_s.map(|period| {
        let method = format!("{method}, less half the update period of {period} s");
        Estimate::from_budget(stats.mean - 0.5 * period, "s", stats.n, method, budget)
            .map(|e| e.with_checks(checks.iter().cloned()))
            .into()
    });
    let mut per_repeat_s = vec![None; count];
    for (repeat, delay) in repeats.iter().zip(&joint.delays_s) {
        per_repeat_s[repeat.index] = Some(*delay);
    }
    let (curve_t_s, curve_model_nm, curve_measured_nm) = curve(repeats, joint, fitter);
    Ok(LatencyFit {
        latency: Outcome::Estimate(latency),
        jitter: jitter(&joint.delays_s, joint.noise_u_s).into(),
        dead_time,
        per_repeat_s,
        left_out: Vec::new(),
        model: Some(joint.model.clone()),
        residual_rms_nm: Some(joint.residual_rms_nm),
        noise_rms_nm: Some(fitter.noise_nm),
        curve_t_s,
        curve_model_nm,
        curve_measured_nm,
        checks,
    })
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

/// Aligned mean and model on the grid of the samples, for display.
fn curve(repeats: &[Repeat], joint: &Joint, fitter: &Fitter<'_>) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let Some(first) = repeats.first() else {
        return Default::default();
    };
    let cell_s = 0.5 * (first.t_s[1] - first.t_s[0]);
    let lead = 2e-3_f64.max(4.0 * cell_s);
    let cells = ((fitter.start.window_s + lead) / cell_s).ceil() as usize;
    let mut sums = vec![(0.0, 0.0, 0.0); cells];
    for ((repeat, delay), base) in repeats.iter().zip(&joint.delays_s).zip(&joint.bases_nm) {
        for (t, y) in repeat.t_s.iter().zip(&repeat.y_nm) {
            let cell = (t - delay + lead) / cell_s;
            if cell >= 0.0 && (cell as usize) < cells {
                let sum = &mut sums[cell as usize];
                *sum = (sum.0 + 1.0, sum.1 + t - delay, sum.2 + y - base);
            }
        }
    }
    let pure = if fitter.options.sensor_form == SensorForm::Pure {
        fitter.options.sensor_delay_s
    } else {
        0.0
    };
    let mut lists: (Vec<f64>, Vec<f64>, Vec<f64>) = Default::default();
    for (n, t, y) in sums.into_iter().filter(|s| s.0 > 0.0) {
        lists.0.push(t / n);
        lists.1.push(fitter.commanded_nm * joint.table.at(t / n - pure).0);
        lists.2.push(y / n);
    }
    lists
}
