//! From step records to a joint fit.

use serde::{Deserialize, Serialize};

use super::outcome::{Fitted, group_results, refused_fit};
use super::prepare::{Guess, Repeat, guess, repeat, unlike_others};
use super::problem::{Choice, ITERATIONS, Joint, Placed, Problem, pure_s};
use super::split::place_apart;
use super::{LatencyFit, LatencyOptions, SensorForm, ShapeModel};
use crate::estimate::Refusal;
use crate::statistics::median;
use crate::step::StepRecord;

/// A repeat whose residual exceeds the usual one by this factor was disturbed.
const DISTURBED: f64 = 4.0;

/// Repeats worse than the usual one by this factor are set aside while the shape is found, for few of them suffice to
/// bend it, and placed with it afterwards. Noise alone makes differences of a tenth.
const SUSPECT: f64 = 2.0;

/// The same while the residual of all is well above the noise.
const SUSPECT_WHEN_BENT: f64 = 1.5;

/// Share of the steps that begin without load that may be disturbed before none of them is used.
const MOST_DISTURBED: f64 = 0.25;

/// Residual over noise from which the shape misses the rises.
const MISSES: f64 = 1.3;

/// Residual over that of all from which a fit without them is better.
const CLEARLY: f64 = 0.8;

/// How often the fit is made again without those that were disturbed; each time the usual residual comes down.
const ROUNDS: usize = 5;

/// A hub is believed in when it lowers the sum of squares by this factor; one that does not only trades delay for lag.
const HUB_COST: f64 = 1.006;

/// Latency of several groups of steps from one fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatencyGroups {
    /// All repeats together. Indices run through the groups in the order given.
    pub pooled: LatencyFit,
    /// Each group alone: its own repeats, the shape of the rise from all.
    pub groups: Vec<LatencyFit>,
}

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
    fit_latency_groups(&[steps], options).pooled
}

/// Latency over several groups of repeats with one shape of the rise for all, as [`fit_latency`]; within a group all
/// records must command the same change.
///
/// Steps of different sizes tell slew limit (a ramp that grows with the step) from lag (which does not), which steps of
/// one size cannot. Friction may differ from repeat to repeat, as it does where the rotor came to rest from different
/// sides. A rig that limits the slew of its setpoint spreads a jump; a poll that falls into it takes over a part and the
/// next, one declared update period later, the rest. Such repeats are kept out of the shape and placed with it
/// afterwards: leaving them out would leave out the shortest waits. The groups' own results use the common shape and need the fewest repeats of `options` each.
pub fn fit_latency_groups(groups: &[&[StepRecord<'_>]], options: &LatencyOptions) -> LatencyGroups {
    let mut records = LatencyRecords::new(options.clone());
    for steps in groups {
        records.next_group();
        for step in *steps {
            records.push(step);
        }
    }
    records.fit()
}

/// Steps given one at a time, for recordings that need not be held whole: of each record the part around its rise is
/// kept, and the record may be dropped.
#[derive(Debug, Clone)]
pub struct LatencyRecords {
    options: LatencyOptions,
    lengths: Vec<usize>,
    repeats: Vec<Repeat>,
    left_out: Vec<(usize, String)>,
    /// Why the first record that cannot be used cannot.
    reason: Option<Refusal>,
    /// Change that the group's first record commands, N·m.
    change_nm: Option<f64>,
    /// What forbids any result.
    fatal: Option<Refusal>,
}

impl LatencyRecords {
    /// No record yet.
    pub fn new(options: LatencyOptions) -> Self {
        Self {
            options,
            lengths: Vec::new(),
            repeats: Vec::new(),
            left_out: Vec::new(),
            reason: None,
            change_nm: None,
            fatal: None,
        }
    }

    /// Begins a group: what is pushed from here on commands one and the same change.
    pub fn next_group(&mut self) {
        self.lengths.push(0);
        self.change_nm = None;
    }

    /// Takes a record into the group begun last; one that cannot be used is left out with its reason.
    pub fn push(&mut self, step: &StepRecord<'_>) {
        let index = self.lengths.iter().sum();
        match self.lengths.last_mut() {
            Some(length) => *length += 1,
            None => self.lengths.push(1),
        }
        let right = step.to_nm - step.from_nm;
        let left = *self.change_nm.get_or_insert(right);
        if (right - left).abs() > 1e-6 * left.abs() {
            self.fatal.get_or_insert(Refusal::RecordsDiffer {
                what: "commanded change in N·m".into(),
                left,
                right,
            });
        }
        match repeat(index, step, &self.options) {
            Ok(mut repeat) => {
                repeat.shorten();
                self.repeats.push(repeat);
            }
            Err(refusal) => {
                self.left_out.push((index, refusal.to_string()));
                self.reason.get_or_insert(refusal);
            }
        }
    }

    /// A gap in the drive disturbs steps that begin without load, some so little that they pass for whole and bend the
    /// shape. Where too many of them stand out, or the shape misses all and does not without them, none is used.
    fn attempts(&self, left_out: &mut Vec<(usize, String)>) -> Result<Fitted<'_>, Refusal> {
        let before = left_out.len();
        let fitted = attempt(self.repeats.clone(), self.reason.clone(), &self.options, left_out);
        let unloaded = |index: usize| self.repeats.iter().any(|r| r.index == index && !r.loaded);
        let dropped = left_out[before..].iter().filter(|(i, _)| unloaded(*i)).count();
        let (loaded, others): (Vec<Repeat>, Vec<Repeat>) =
            self.repeats.iter().cloned().partition(|r| r.loaded);
        let many = dropped as f64 > MOST_DISTURBED * others.len() as f64;
        let residual_nm = fitted.as_ref().map_or(f64::INFINITY, |f| f.joint.residual_rms_nm);
        let misses = fitted.as_ref().is_ok_and(|f| residual_nm > MISSES * f.noise_nm);
        if others.is_empty() || loaded.len() < self.options.min_repeats.max(2) || !(many || misses) {
            return fitted;
        }
        let mut left_out_too = left_out[..before].to_vec();
        left_out_too.extend(others.iter().map(|r| {
            let reason = format!(
                "begins without load, where {dropped} of {} such steps were disturbed or all of them bend the rise: a gap in \
                 the drive",
                others.len()
            );
            (r.index, reason)
        }));
        let apart = attempt(loaded, self.reason.clone(), &self.options, &mut left_out_too);
        let better = apart
            .as_ref()
            .is_ok_and(|f| f.joint.residual_rms_nm < CLEARLY * residual_nm);
        if !many && !better {
            return fitted;
        }
        *left_out = left_out_too;
        apart
    }

    /// Fits all records together, as [`fit_latency_groups`].
    pub fn fit(self) -> LatencyGroups {
        let mut left_out = self.left_out.clone();
        let fitted = match self.fatal.clone() {
            Some(refusal) => Err(refusal),
            None => self.attempts(&mut left_out),
        };
        left_out.sort_by_key(|(index, _)| *index);
        match fitted {
            Ok(fitted) => group_results(&fitted, &self.lengths, &left_out),
            Err(refusal) => refused_fit(&refusal, &self.lengths, &left_out, &self.options),
        }
    }
}

fn too_few(got: usize, needed: usize) -> Refusal {
    Refusal::TooFewRepeats {
        what: "latency".into(),
        got,
        needed,
    }
}

fn attempt<'o>(
    mut repeats: Vec<Repeat>,
    reason: Option<Refusal>,
    options: &'o LatencyOptions,
    left_out: &mut Vec<(usize, String)>,
) -> Result<Fitted<'o>, Refusal> {
    let needed = options.min_repeats.max(2);
    if repeats.len() < needed {
        // When nothing at all was usable, why matters more than how many.
        return Err(reason
            .filter(|_| repeats.is_empty())
            .unwrap_or_else(|| too_few(repeats.len(), needed)));
    }
    let (changes_nm, members) = classes(&mut repeats);
    let noise_nm = median(&repeats.iter().map(|r| r.noise_nm).collect::<Vec<_>>())?;
    let start = guess(&repeats, &changes_nm, &members, options)?;
    let onset = |r: &Repeat| r.t50_s - start.classes[r.class].rise_s;
    let beyond = |r: &&Repeat| onset(r) + start.classes[r.class].needed_s > r.end_s;
    let late: Vec<&Repeat> = repeats.iter().filter(beyond).collect();
    if 2 * late.len() > repeats.len() {
        let (delay_s, window_s) = (onset(late[0]), late[0].end_s);
        return Err(Refusal::DelayBeyondWindow { delay_s, window_s });
    }
    let fitter = Fitter {
        noise_nm,
        options,
        start: &start,
    };
    let unlike = unlike_others(&repeats, &members)?;
    let mut aside: Vec<Repeat> = Vec::new();
    // Where most are unlike, there is no usual.
    if repeats.len() - unlike.iter().filter(|u| **u).count() >= needed {
        let mut good = Vec::new();
        for (repeat, unlike) in repeats.into_iter().zip(unlike) {
            if unlike {
                aside.push(repeat);
            } else {
                good.push(repeat);
            }
        }
        repeats = good;
    }
    let mut joint = fitter.first(&repeats)?;
    let mut choice = Choice {
        with_hub: joint.with_hub,
        ..fitter.usual()
    };
    for round in 0..ROUNDS {
        let usual = median(&joint.repeat_rms_nm)?;
        let bent = joint.residual_rms_nm > 2.0 * noise_nm;
        let worse = if bent { SUSPECT_WHEN_BENT } else { SUSPECT };
        let limit = worse * usual.max(noise_nm);
        let rms = joint.repeat_rms_nm.clone();
        let kept: Vec<bool> = rms.iter().map(|rms| *rms <= limit).collect();
        if round > 0 && kept.iter().all(|k| *k) {
            break;
        }
        let (mut good, mut placed) = (Vec::new(), Vec::new());
        for (i, repeat) in repeats.into_iter().enumerate() {
            if kept[i] {
                placed.push(joint.placed[i]);
                good.push(repeat);
            } else {
                aside.push(repeat);
            }
        }
        repeats = good;
        if repeats.len() < needed.min(3) {
            return Err(too_few(repeats.len(), needed));
        }
        let rough = round + 2 < ROUNDS && !kept.iter().all(|k| *k);
        joint = fitter.again(&repeats, &joint, &placed, Choice { rough, ..choice })?;
        choice.with_hub = joint.with_hub;
    }
    let alternatives = fitter.alternatives(&repeats, &joint);
    let usual = median(&joint.repeat_rms_nm)?.max(0.5 * noise_nm);
    let mut apart = Vec::new();
    for repeat in aside {
        let (rms, placed) = place_apart(&fitter, &repeat, &joint, choice, SUSPECT * usual);
        if rms <= DISTURBED * usual {
            apart.push((repeat, placed));
        } else {
            left_out.push((
                repeat.index,
                format!("residual {rms} N·m against {usual} N·m usually: disturbed"),
            ));
        }
    }
    if repeats.len() + apart.len() < needed {
        return Err(too_few(repeats.len() + apart.len(), needed));
    }
    Ok(Fitted {
        repeats,
        apart,
        joint,
        alternatives,
        noise_nm,
        classes: start.classes,
        options,
    })
}

/// Sorts repeats by the size of the step; returns the sizes and who belongs to each.
fn classes(repeats: &mut [Repeat]) -> (Vec<f64>, Vec<Vec<usize>>) {
    let (mut sizes, mut members): (Vec<f64>, Vec<Vec<usize>>) = (Vec::new(), Vec::new());
    for (i, repeat) in repeats.iter_mut().enumerate() {
        let same = |size: &f64| (size - repeat.change_nm).abs() <= 1e-6 * size;
        let class = sizes.iter().position(same).unwrap_or_else(|| {
            sizes.push(repeat.change_nm);
            members.push(Vec::new());
            sizes.len() - 1
        });
        repeat.class = class;
        members[class].push(i);
    }
    (sizes, members)
}

/// Sum of squares of a fit, dearer with a hub.
fn cost(joint: &Joint) -> f64 {
    joint.rss * if joint.with_hub { HUB_COST } else { 1.0 }
}

pub(crate) struct Fitter<'a> {
    pub(crate) noise_nm: f64,
    pub(crate) options: &'a LatencyOptions,
    pub(crate) start: &'a Guess,
}

impl Fitter<'_> {
    fn usual(&self) -> Choice {
        Choice {
            form: self.options.sensor_form,
            rough: false,
            with_hub: true,
            window: 1.0,
        }
    }

    /// The best of a few starts: the split between ramp and lag is the part that a guess can get wrong.
    fn first(&self, repeats: &[Repeat]) -> Result<Joint, Refusal> {
        let mut best: Option<Joint> = None;
        let mut failure = None;
        let declared = self.options.slew_nm_per_s.is_some();
        let slews: &[f64] = if declared { &[1.0] } else { &[1.0, 4.0, 0.5] };
        // With a hub between drive and rig or without: the residual decides, and a hub must earn its place.
        for with_hub in [true, false] {
            for slew in slews {
                let mut model = self.start.model.clone();
                model.slew_nm_per_s *= slew;
                let placed: Vec<Placed> = repeats.iter().map(|r| self.guessed(r, *slew)).collect();
                let choice = Choice {
                    with_hub,
                    rough: true,
                    ..self.usual()
                };
                let problem = self.problem(repeats, &placed, choice);
                match problem.fit(&model, &placed, 0.0) {
                    Ok(joint) => {
                        if best.as_ref().is_none_or(|b| cost(&joint) < cost(b)) {
                            best = Some(joint);
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
                iterations: ITERATIONS,
                reason,
            }
        })
    }

    pub(crate) fn problem<'r>(
        &'r self,
        repeats: &'r [Repeat],
        placed: &[Placed],
        choice: Choice,
    ) -> Problem<'r> {
        Problem::new(
            repeats,
            &self.start.classes,
            placed,
            self.noise_nm,
            &self.start.model,
            self.options,
            choice,
        )
    }

    /// Fits again from a fit at rest, with other repeats, window or sensor form. The prior stays at the first guess.
    fn refit(
        &self,
        repeats: &[Repeat],
        model: &ShapeModel,
        placed: &[Placed],
        choice: Choice,
    ) -> Result<Joint, Refusal> {
        self.problem(repeats, placed, choice)
            .fit(model, placed, pure_s(choice.form, self.options))
            .map_err(|f| f.refusal("the joint fit of the rise"))
    }

    /// Fits again, to a minimum unless `choice` says otherwise. Repeats that are now set aside, or a rough first fit, may
    /// have drawn the shape somewhere from where it does not find back, or made it look like one without hub; so the
    /// first guess, with a hub, is tried as well.
    fn again(
        &self,
        repeats: &[Repeat],
        from: &Joint,
        placed: &[Placed],
        choice: Choice,
    ) -> Result<Joint, Refusal> {
        let onward = self.refit(repeats, &from.model, placed, choice);
        if choice.rough {
            return onward;
        }
        let guessed: Vec<Placed> = repeats.iter().map(|r| self.guessed(r, 1.0)).collect();
        let with_hub = Choice {
            with_hub: true,
            ..choice
        };
        let anew = self.refit(repeats, &self.start.model, &guessed, with_hub);
        match (onward, anew) {
            (Ok(a), Ok(b)) => Ok(if cost(&b) < cost(&a) { b } else { a }),
            (a, Err(_)) => a,
            (Err(_), b) => b,
        }
    }

    /// Where a repeat would be with the first guess of the shape, its slew rate times `slew`.
    fn guessed(&self, repeat: &Repeat, slew: f64) -> Placed {
        let class = &self.start.classes[repeat.class];
        let ramp_s = class.change_nm / self.start.model.slew_nm_per_s;
        Placed {
            delay_s: repeat.t50_s - class.rise_s - 0.5 * (1.0 / slew - 1.0) * ramp_s,
            base_nm: 0.0,
            friction_nm: 0.0,
        }
    }

    /// Shift of the mean delay under choices that could as well have been made.
    fn alternatives(&self, repeats: &[Repeat], joint: &Joint) -> Vec<(String, f64)> {
        let mean = |j: &Joint| j.placed.iter().map(|p| p.delay_s).sum::<f64>() / j.placed.len() as f64;
        let usual = Choice {
            with_hub: joint.with_hub,
            ..self.usual()
        };
        let shift = |choice: Choice| -> Option<f64> {
            let other = self.refit(repeats, &joint.model, &joint.placed, choice).ok()?;
            Some(mean(&other) - mean(joint))
        };
        let mut shifts = Vec::new();
        let window = Choice { window: 0.8, ..usual };
        shifts.extend(shift(window).map(|s| ("end of the fitted window".to_string(), s)));
        if self.options.sensor_form_known {
            return shifts;
        }
        let form = match self.options.sensor_form {
            SensorForm::SecondOrder => SensorForm::FirstOrder,
            SensorForm::FirstOrder | SensorForm::Pure => SensorForm::SecondOrder,
        };
        let form = Choice { form, ..usual };
        shifts.extend(shift(form).map(|s| ("form of the sensor's filter".to_string(), s)));
        shifts
    }
}
