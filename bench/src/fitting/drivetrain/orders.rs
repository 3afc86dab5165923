//! Cogging by orders, from the pair of turns that goes furthest and a faster one.

use std::f64::consts::TAU;

use bench_core::rig::{Drivetrain as Declaration, StageKind};
use ndarray::ArrayView1;
use truerim_analysis::cogging::{
    DirectionPair, Drivetrain, NamedOrder, OrderFit, OrderLine, OrderOptions, SplitLine, Stage,
    Track as Turned, TrackOptions, Turning, find_lines, fit_orders, named_orders, names_of, order_spectrum,
    resample, skew, split_directions, tracks,
};
use truerim_analysis::estimate::{Contribution, Estimate, Outcome, Refusal};

use super::legs::Pair;
use super::{One, over_angle};
use crate::fitting::document::Quantity;
use crate::fitting::drivetrain_curves::{CoggingCurve, OrderMark};
use crate::fitting::motion::track::Track;
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;
use crate::recording::Declared;

/// Least travel of either pair, turns.
const LEAST_TURNS: f64 = 0.9;
/// How much faster the second pair should be, and at least.
const FASTER: [f64; 2] = [2.5, 1.4];
/// Largest shift between the directions that is looked for, rad: lost motion of a worn drivetrain.
const LARGEST_SHIFT: f64 = 0.02;
/// Highest frequency of an order over the sample rate.
const HIGHEST: f64 = 0.2;
/// Lowest first resonance that a driven wheelbase may have, Hz (common practice: 40 to 200 Hz): where one speed alone was
/// turned, an order may have grown by the square of its frequency over this.
const LOWEST_MODE_HZ: f64 = 30.0;
/// Growth beyond which an order at one speed is refused.
const MOST_GROWTH: f64 = 0.3;
/// Share of a correction for growth that is doubted, as half a width.
const DOUBT: f64 = 0.2;
/// Lowest frequency at which growth is looked for, Hz: below it there is none, and short turns part slow orders badly.
const GROWS_FROM_HZ: f64 = 1.0;
/// Points a turn of the spectrum in which undeclared orders are looked for; how far they stand out; least amplitude, N·m; most
/// of them; and how far they lie from a declared one, orders.
pub(super) const POINTS: usize = 4096;
const STANDS_OUT: f64 = 6.0;
const LEAST_NM: f64 = 1e-3;
const MOST_FOUND: usize = 12;
const APART: f64 = 1.5;
/// Orders nearer than this are one.
const SAME: f64 = 1e-6;

/// Amplitude and phase of each order that stands out, the swing that they make together, and the curve over the angle.
pub(super) fn of(
    track: &Track,
    pairs: &[Pair],
    declared: &Declared,
    sensor: &SensorTerms,
) -> (Vec<One>, Option<CoggingCurve>) {
    match orders(track, pairs, declared, sensor) {
        Ok((found, curve)) => (found, curve),
        Err(refusal) => (vec![One::alone(Quantity::Cogging, refusal)], None),
    }
}

fn orders(
    track: &Track,
    pairs: &[Pair],
    declared: &Declared,
    sensor: &SensorTerms,
) -> Result<(Vec<One>, Option<CoggingCurve>), Refusal> {
    let base = base(pairs.iter())?;
    let second = pairs
        .iter()
        .filter(long)
        .filter(|pair| pair.speed >= FASTER[1] * base.speed)
        .min_by(|a, b| {
            let far = |p: &Pair| (p.speed / base.speed / FASTER[0]).ln().abs();
            far(a).total_cmp(&far(b))
        });
    let named = named(declared);
    let base_turns = both(track, base)?;
    let wanted = wanted(&named, declared, &base_turns[0], base.speed, track.fs_hz);
    let slow = Split::of(&base_turns, base.speed, &wanted, sensor)?;
    let fast = match second {
        Some(pair) => Some(Split::of(&both(track, pair)?, pair.speed, &wanted, sensor)?),
        None => None,
    };
    let mut found = Vec::new();
    let mut swing = Vec::new();
    let mut marks = Vec::new();
    for (k, line) in slow.lines.iter().enumerate() {
        let amplitude = match &line.even {
            // Orders that do not stand out are not there.
            Outcome::Refused(refused) if refused.code == "below_noise" => continue,
            Outcome::Refused(_) => line.even.clone(),
            Outcome::Estimate(estimate) => {
                let other = fast.as_ref().and_then(|f| Some((f, f.lines.get(k)?)));
                Outcome::from(standing(estimate, line.order, &slow, other, sensor))
            }
        };
        let group = group(line.order, &named);
        if let Some(estimate) = amplitude.estimate() {
            swing.push((
                line.order,
                estimate.value,
                line.even_phase_rad,
                estimate.std_uncertainty,
            ));
            marks.push(OrderMark {
                order: line.order,
                name: name(line.order, &named),
                amplitude_nm: [estimate.interval[0], estimate.value, estimate.interval[1]],
            });
        }
        let phase = phase(line, &amplitude, &slow);
        found.push(One::of(Quantity::CoggingOrder, &group, amplitude));
        found.push(One::of(Quantity::CoggingPhase, &group, phase));
    }
    found.insert(0, One::alone(Quantity::Cogging, swing_of(&swing)));
    Ok((found, over_angle::of(&base_turns, base.speed, marks)))
}

fn long(pair: &&Pair) -> bool {
    pair.travel >= LEAST_TURNS * TAU
}

/// The pair that shows cogging best.
fn base<'p>(pairs: impl Iterator<Item = &'p Pair> + Clone) -> Result<&'p Pair, Refusal> {
    // Slow ones come first; a later one must go clearly further to be preferred.
    let found = pairs.clone().filter(long).reduce(|a, b| {
        let further = b.travel > 1.2 * a.travel;
        if further { b } else { a }
    });
    found.ok_or_else(|| Refusal::NotCovered {
        what: "travel to and fro at one speed, for cogging".into(),
        got: pairs.map(|p| p.travel).fold(0.0, f64::max) / TAU,
        needed: LEAST_TURNS,
        unit: "turns".into(),
        remedy: "run procedures/rolling.toml with a drive that turns a whole turn and back".into(),
    })
}

/// Both directions of the pair that shows cogging best, and its speed.
pub(super) fn slowest(track: &Track, pairs: &[Pair]) -> Result<([Turned; 2], f64), Refusal> {
    let base = base(pairs.iter())?;
    Ok((both(track, base)?, base.speed))
}

/// Orders to look for in a turn: declared ones, and those that stand out beside them.
pub(super) fn wanted_of(declared: &Declared, turned: &Turned, speed: f64, fs_hz: f64) -> Vec<f64> {
    wanted(&named(declared), declared, turned, speed, fs_hz)
}

/// Name of an order's group.
pub(super) fn group_of(order: f64, declared: &Declared) -> String {
    group(order, &named(declared))
}

/// Torque by orders in either direction as the pair shows it that is turned slowly, and the orders.
pub(super) fn slowly<'p>(
    track: &Track,
    pairs: impl Iterator<Item = &'p Pair> + Clone,
    declared: &Declared,
) -> Result<([OrderFit; 2], Vec<f64>), Refusal> {
    let base = base(pairs)?;
    let turned = both(track, base)?;
    let wanted = wanted(&named(declared), declared, &turned[0], base.speed, track.fs_hz);
    let options = OrderOptions::default();
    let one = |turned: &Turned| fit_orders(&[turned], &wanted, &options);
    Ok(([one(&turned[0])?, one(&turned[1])?], wanted))
}

/// Every order that the declared drivetrain explains; none where nothing is declared.
pub(in crate::fitting) fn named(declared: &Declared) -> Vec<NamedOrder> {
    let own = declared.drivetrain.as_ref().map(drivetrain);
    own.map(|own| named_orders(&own)).unwrap_or_default()
}

/// What an order comes from; empty where nothing declared makes it.
fn name(order: f64, named: &[NamedOrder]) -> String {
    let names: Vec<String> = names_of(order, SAME, named).into_iter().map(|n| n.name).collect();
    names.join(" or ")
}

/// `order 90: poles (uneven slots)`.
fn group(order: f64, named: &[NamedOrder]) -> String {
    let name = name(order, named);
    let name = if name.is_empty() { "not declared" } else { &name };
    format!("order {}: {name}", plain(order, 5))
}

fn drivetrain(declared: &Declaration) -> Drivetrain {
    let stage = |stage: &bench_core::rig::Stage| match stage.kind {
        StageKind::Gears => Stage::Gears {
            driving: stage.driving,
            driven: stage.driven,
        },
        StageKind::Belt => Stage::Belt {
            driving: stage.driving,
            driven: stage.driven,
            belt: stage.belt,
        },
    };
    Drivetrain {
        poles: declared.poles,
        slots: declared.slots,
        stages: declared.stages.iter().map(stage).collect(),
    }
}

/// The longest piece of each direction.
fn both(track: &Track, pair: &Pair) -> Result<[Turned; 2], Refusal> {
    let one = |range: &std::ops::Range<usize>| -> Result<Turned, Refusal> {
        let turning = Turning {
            fs_hz: track.fs_hz,
            angle_rad: ArrayView1::from(track.rim_rad.get(range.clone()).unwrap_or_default()),
            torque_nm: ArrayView1::from(track.torque_nm.get(range.clone()).unwrap_or_default()),
        };
        let found = tracks(&turning, &TrackOptions::default())?;
        let longest = found
            .pieces
            .into_iter()
            .max_by(|a, b| a.turns().total_cmp(&b.turns()));
        longest.ok_or_else(|| Refusal::TooFewSamples {
            what: "a turn in one direction".into(),
            got: 0,
            needed: 1,
        })
    };
    Ok([one(&pair.up)?, one(&pair.down)?])
}

/// Declared orders, and those that stand out beside them.
fn wanted(named: &[NamedOrder], declared: &Declared, turned: &Turned, speed: f64, fs_hz: f64) -> Vec<f64> {
    let highest = HIGHEST * fs_hz * TAU / speed;
    let mut wanted: Vec<f64> = named.iter().map(|n| n.order).collect();
    wanted.extend(declared.ratio);
    wanted.push(1.0);
    wanted.retain(|order| *order <= highest);
    wanted.sort_by(f64::total_cmp);
    wanted.dedup_by(|a, b| (*a - *b).abs() < SAME);
    // Where the samples are too few for a spectrum there are the declared ones alone.
    let spectrum = resample(turned, POINTS).and_then(|grid| order_spectrum(&grid, true));
    let lines = spectrum
        .map(|spectrum| find_lines(&spectrum, STANDS_OUT))
        .unwrap_or_default();
    for line in lines.iter().take(4 * MOST_FOUND) {
        let known = wanted.iter().any(|order| (order - line.order).abs() < APART);
        if !known && line.order > APART && line.order < highest && line.amplitude_nm > LEAST_NM {
            wanted.push(line.order.round());
        }
        if wanted.len() >= named.len() + 2 + MOST_FOUND {
            break;
        }
    }
    wanted.sort_by(f64::total_cmp);
    wanted
}

/// Both directions at one speed, parted.
struct Split {
    speed: f64,
    lines: Vec<SplitLine>,
    up: OrderFit,
    down: OrderFit,
    shift_u: f64,
}

impl Split {
    fn of(turned: &[Turned; 2], speed: f64, wanted: &[f64], sensor: &SensorTerms) -> Result<Self, Refusal> {
        let options = OrderOptions {
            gain_rel_u: sensor.gain_rel_u,
            ..OrderOptions::default()
        };
        let (up, down) = (
            fit_orders(&[&turned[0]], wanted, &options)?,
            fit_orders(&[&turned[1]], wanted, &options)?,
        );
        let pair = DirectionPair {
            speed_rad_s: speed,
            positive: &up,
            negative: &down,
        };
        let shift = skew(&[pair], LARGEST_SHIFT)?;
        let (shift_rad, shift_u) = shift.per_speed_rad.first().map_or((0.0, 0.0), |s| (s[1], s[2]));
        Ok(Self {
            speed,
            lines: split_directions(&up, &down, shift_rad, shift_u),
            up,
            down,
            shift_u,
        })
    }

    fn frequency_hz(&self, order: f64) -> f64 {
        order * self.speed / TAU
    }

    fn u_nm(&self, order: f64) -> f64 {
        let of = |fit: &OrderFit| {
            let own = |line: &&OrderLine| (line.order - order).abs() < SAME;
            fit.lines.iter().find(own).map_or(0.0, |line| line.u_nm)
        };
        0.5 * of(&self.up).hypot(of(&self.down))
    }
}

/// The amplitude turned infinitely slowly. Below a resonance ripple grows as `1/(1 − (f/f₀)²)`, so the inverse amplitude falls
/// along a straight line in the square of the speed: two speeds give where it starts.
fn standing(
    estimate: &Estimate,
    order: f64,
    slow: &Split,
    other: Option<(&Split, &SplitLine)>,
    sensor: &SensorTerms,
) -> Result<Estimate, Refusal> {
    let amplitude = estimate.value;
    let mut budget = estimate.budget.clone();
    let mut value = amplitude;
    let frequency = slow.frequency_hz(order);
    let faster = other.and_then(|(fast, line)| Some((fast, line.even.estimate()?)));
    match faster {
        _ if frequency < GROWS_FROM_HZ => {}
        Some((fast, other)) => {
            let weight = slow.speed.powi(2) / (fast.speed.powi(2) - slow.speed.powi(2));
            let inverse = 1.0 / amplitude + weight * (1.0 / amplitude - 1.0 / other.value);
            value = 1.0 / inverse;
            let change = amplitude - value;
            budget.push(Contribution::type_a(
                "amplitude at the other speed",
                weight * fast.u_nm(order) * (value / other.value).powi(2),
                20.0,
            ));
            budget.push(Contribution::rectangular(
                "growth towards a resonance",
                DOUBT * change,
            ));
        }
        None => budget.push(Contribution::rectangular(
            "growth towards a resonance, not known",
            growth(order, slow.speed)? * amplitude,
        )),
    }
    if sensor.gain_rel_u > 0.0 {
        budget.push(Contribution::type_b(
            "gain of the torque sensor",
            value * sensor.gain_rel_u,
        ));
    }
    let method = "regression on orders in both directions, turned at two speeds where there are";
    Estimate::from_budget(value, "N.m", estimate.n, method, budget)
}

/// Share by which an order may have grown towards a resonance where one speed alone was turned.
///
/// # Errors
/// [`Refusal::NotCovered`] where that is more than [`MOST_GROWTH`].
pub(super) fn growth(order: f64, speed: f64) -> Result<f64, Refusal> {
    let frequency = order * speed / TAU;
    if frequency < GROWS_FROM_HZ {
        return Ok(0.0);
    }
    let growth = (frequency / LOWEST_MODE_HZ).powi(2);
    if growth > MOST_GROWTH {
        return Err(Refusal::NotCovered {
            what: format!(
                "slowness for order {order}, whose ripple comes at {frequency:.0} Hz; frequency over it"
            ),
            got: LOWEST_MODE_HZ / frequency,
            needed: MOST_GROWTH.powf(-0.5),
            unit: "1".into(),
            remedy: "turn slower, or at two speeds".into(),
        });
    }
    Ok(growth)
}

fn phase(line: &SplitLine, amplitude: &Outcome, slow: &Split) -> Outcome {
    let Some(estimate) = amplitude.estimate() else {
        return amplitude.clone();
    };
    let noise = slow.u_nm(line.order) / estimate.value;
    let budget = vec![
        Contribution::type_a("torque left over nearby", noise, 40.0),
        Contribution::type_b("shift between the directions", 0.5 * line.order * slow.shift_u),
    ];
    let method = "mean of both directions, their shift taken out";
    Estimate::from_budget(line.even_phase_rad, "rad", 2, method, budget).into()
}

/// Greatest less least of the sum of orders over two turns.
fn swing_of(orders: &[(f64, f64, f64, f64)]) -> Outcome {
    if orders.is_empty() {
        return Refusal::TooFewRepeats {
            what: "orders of cogging that stand out".into(),
            got: 0,
            needed: 1,
        }
        .into();
    }
    let highest = orders.iter().map(|o| o.0).fold(1.0, f64::max);
    let points = (2.0 * 16.0 * highest).ceil() as usize;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..points {
        let angle = 2.0 * TAU * i as f64 / points as f64;
        let torque: f64 = orders
            .iter()
            .map(|(n, a, phi, _)| a * (n * angle - phi).cos())
            .sum();
        (low, high) = (low.min(torque), high.max(torque));
    }
    let u = 2.0 * orders.iter().map(|o| o.3 * o.3).sum::<f64>().sqrt();
    let budget = vec![Contribution::type_b("amplitudes of the orders", u)];
    let method = "sum of the orders that stand out, over two turns";
    Estimate::from_budget(high - low, "N.m", orders.len(), method, budget).into()
}
