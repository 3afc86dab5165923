//! Gap and stiffness around the turn: a drive turns the rim to and fro while the wheelbase holds one torque after another, either way.
//!
//! While the rim turns friction slides, so that it shifts torque by the same amount wherever the rim is, and hides no part of the
//! twist, as it does in loops on a clamp. At each angle the difference `Δ` of rotor (at the rim) and rim is
//! `Δ = e + c·T + ½·g·sgn(load) + q·direction`: `e` is what the angles' sensors differ by there (by the rotor's angle: the rotor is
//! elsewhere for either sign, and so is its sensor's error), `T` the torque through the sensor,
//! `c` the compliance at the torques held, `g` the gap with all that both sides' springs give below those torques, and `q` what
//! friction of the rim's side, and delays between the angles, add by direction. Two torques of either sign, each turned both ways, leave
//! half of the eight differences over.
//!
//! Where a spring is straight, `g` is the gap. Turns at several speeds are repeats ([`crate::around`]).

use crate::around::{COUNT, REPEATS, Told, Variation, Window, variation, whole_turn};
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::friction::TorqueScale;
use crate::least_squares::Matrix;
use crate::regression;
use crate::statistics::{all_finite, extent, mean_sd};

/// One turn one way at one torque held.
#[derive(Debug, Clone, Copy)]
pub struct LoadedTurn<'a> {
    /// Commanded torque, N·m; its sign counts.
    pub load_nm: f64,
    /// Whether the rim turned in the positive direction.
    pub forward: bool,
    /// Angle by the rotor, over the ratio, rad, within one turn for all: with it the error of the rotor's own sensor, mostly the larger one
    /// by far, is the same whichever way the drivetrain is twisted.
    pub angle_rad: &'a [f64],
    /// Rotor over ratio less rim, rad.
    pub apart_rad: &'a [f64],
    /// Torque through the sensor, N·m, of the wheelbase on what turns it.
    pub torque_nm: &'a [f64],
}

/// What turns under load say of gap and stiffness.
#[derive(Debug, Clone, PartialEq)]
pub struct TwistAround {
    /// Gap, mean over the turn, rad; refused with a bound where none stands out.
    pub gap: Outcome,
    /// Stiffness between the torques held, mean over the turn, N·m/rad.
    pub stiffness: Outcome,
    /// Torques between which it is, N·m, without sign.
    pub between_nm: [f64; 2],
    /// Variation of the gap, rad.
    pub gap_over_angle: Variation,
    /// Variation of the stiffness, N·m/rad.
    pub stiffness_over_angle: Variation,
}

const METHOD: &str = "twist of turns under load, both ways, against the torque";
/// Unknowns of a bin.
const UNKNOWNS: usize = 4;
/// Part of what both angles differ by that may be the rim encoder's, and not the rotor's. A guess: encoders of rigs are far better than what
/// wheelbases have.
const OF_RIM: f64 = 0.1;

/// Holds repeats, each of turns both ways at two torques or more of either sign, against each other.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::NotCovered`] for a repeat that lacks a torque or a direction or where
/// turns share less than four fifths of a turn, [`Refusal::TooFewRepeats`] below three repeats, [`Refusal::TooFewSamples`] when fewer
/// than three have something at every angle, [`Refusal::WrongSign`] where torque does not twist, and what [`regression::fit`] refuses
/// where torques do not differ.
pub fn twist_around(repeats: &[Vec<LoadedTurn<'_>>], torque: &TorqueScale) -> Result<TwistAround, Refusal> {
    for turn in repeats.iter().flatten() {
        check(turn)?;
    }
    for repeat in repeats {
        covers(repeat)?;
    }
    let ranges = repeats.iter().flatten().map(|turn| extent(turn.angle_rad.iter()));
    let window = Window::of(ranges, repeats.len(), "gap and stiffness")?;
    let Curves {
        gaps,
        compliances,
        twist_rad,
        apart_rad,
    } = Curves::of(repeats, &window)?;
    let stiffnesses: Vec<Vec<f64>> = compliances
        .iter()
        .map(|curve| curve.iter().map(|c| 1.0 / c).collect())
        .collect();
    let gain = |value: f64| torque.gain(value);
    let loads = || repeats.iter().flatten().map(|turn| turn.load_nm.abs());
    let between_nm = [loads().fold(f64::INFINITY, f64::min), loads().fold(0.0, f64::max)];
    // The zero may wander from one torque held to the next; what it has of its own at all of them cancels.
    let zero = |per_nm: f64| {
        (torque.zero_u_nm > 0.0).then(|| {
            let source = "zero of the torque sensor, from one torque to the next";
            Contribution::type_b(source, per_nm.abs() * torque.zero_u_nm)
        })
    };
    let means = whole_turn(&compliances, &window, |c| 1.0 / c)?;
    let stiffness = mean_of(&means, "N.m/rad", |k| {
        gain(k)
            .into_iter()
            .chain(zero(k / (between_nm[1] - between_nm[0])))
            .collect()
    })?;
    // An error once a turn of the rim's encoder is met further on by as much as both signs are twisted apart, or as torque twists: its
    // slope is its amplitude.
    let slope = OF_RIM * apart_rad;
    let gap_floor = twist_rad * slope;
    let stiffness_floor = stiffness.value * slope;
    let encoder = |swing: f64| {
        let source = "error of the rim's encoder, as a tenth of what the angles differ by";
        Contribution::rectangular(source, swing)
    };
    let levels = whole_turn(&gaps, &window, |gap| gap)?;
    let gap = mean_of(&levels, "rad", |_| {
        zero(2.0 / stiffness.value).into_iter().collect()
    })?;
    Ok(TwistAround {
        gap: beyond_nought(gap),
        stiffness: stiffness.into(),
        between_nm,
        gap_over_angle: variation(
            &gaps,
            &window,
            &Told {
                what: "the gap",
                unit: "rad",
                method: METHOD,
                floor: gap_floor,
                beyond: &|_| vec![encoder(2.0 * gap_floor)],
            },
        )?,
        stiffness_over_angle: variation(
            &stiffnesses,
            &window,
            &Told {
                what: "the stiffness",
                unit: "N.m/rad",
                method: METHOD,
                floor: stiffness_floor,
                beyond: &|value| {
                    gain(value)
                        .into_iter()
                        .chain([encoder(2.0 * stiffness_floor)])
                        .collect()
                },
            },
        )?,
    })
}

/// What each repeat says, bin by bin.
struct Curves {
    gaps: Vec<Vec<f64>>,
    compliances: Vec<Vec<f64>>,
    /// By how much both signs are twisted apart, mean of the repeats.
    twist_rad: f64,
    /// Half the swing of what the angles differ by, the largest of the repeats.
    apart_rad: f64,
}

impl Curves {
    /// Of all repeats that have something at every angle.
    fn of(repeats: &[Vec<LoadedTurn<'_>>], window: &Window) -> Result<Self, Refusal> {
        let (mut gaps, mut compliances, mut twists) = (Vec::new(), Vec::new(), Vec::new());
        let (mut apart_rad, mut hole) = (0.0_f64, None);
        for repeat in repeats {
            match curves(repeat, window) {
                Ok([error, compliance, gap]) => {
                    twists.push(twist(&gap, &compliance, repeat));
                    apart_rad = apart_rad.max(half_swing(&error));
                    gaps.push(gap);
                    compliances.push(compliance);
                }
                Err(found @ Refusal::TooFewSamples { .. }) => hole = Some(found),
                Err(other) => return Err(other),
            }
        }
        match hole {
            Some(hole) if gaps.len() < REPEATS => Err(hole),
            _ => Ok(Self {
                gaps,
                compliances,
                twist_rad: mean_sd(&twists)?.mean,
                apart_rad,
            }),
        }
    }
}

fn check(turn: &LoadedTurn<'_>) -> Result<(), Refusal> {
    for (what, list) in [
        ("rim angle", turn.angle_rad),
        ("twist", turn.apart_rad),
        ("torque", turn.torque_nm),
    ] {
        all_finite(what, list.iter())?;
        if list.len() != turn.angle_rad.len() {
            return Err(Refusal::LengthMismatch {
                what: format!("rim angle and {what}"),
                left: turn.angle_rad.len(),
                right: list.len(),
            });
        }
    }
    Ok(())
}

/// Whether a repeat has what its four unknowns need: two torques of either sign, each turned both ways.
fn covers(repeat: &[LoadedTurn<'_>]) -> Result<(), Refusal> {
    for (positive, forward) in [(true, true), (true, false), (false, true), (false, false)] {
        let mut loads: Vec<i64> = repeat
            .iter()
            .filter(|turn| (turn.load_nm > 0.0) == positive && turn.forward == forward)
            .map(|turn| (turn.load_nm * 1e6).round() as i64)
            .collect();
        loads.sort_unstable();
        loads.dedup();
        if loads.len() < 2 {
            return Err(Refusal::NotCovered {
                what: format!(
                    "{} torques turned {}",
                    if positive { "positive" } else { "negative" },
                    if forward { "forward" } else { "back" }
                ),
                got: loads.len() as f64,
                needed: 2.0,
                unit: "torques".into(),
                remedy: "hold two torques of either sign, each for a whole turn to and fro".into(),
            });
        }
    }
    Ok(())
}

/// By how much both signs are twisted apart, rad, at the mean torque.
fn twist(gap: &[f64], compliance: &[f64], repeat: &[LoadedTurn<'_>]) -> f64 {
    let mean = |list: &mut dyn Iterator<Item = f64>| {
        let (sum, n) = list.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
        sum / f64::max(n, 1.0)
    };
    let load = mean(&mut repeat.iter().map(|turn| turn.load_nm.abs()));
    mean(&mut gap.iter().copied()) + 2.0 * load * mean(&mut compliance.iter().copied())
}

fn half_swing(curve: &[f64]) -> f64 {
    let [least, most] = extent(curve.iter());
    0.5 * (most - least)
}

/// What the angles differ by, compliance and gap in each bin of the angle.
fn curves(repeat: &[LoadedTurn<'_>], window: &Window) -> Result<[Vec<f64>; 3], Refusal> {
    let bins: Vec<Vec<[f64; 2]>> = repeat
        .iter()
        .map(|turn| {
            let both = turn.apart_rad.iter().zip(turn.torque_nm);
            window.bins(turn.angle_rad.iter().zip(both).map(|(a, (d, t))| (*a, [*d, *t])))
        })
        .collect::<Result<_, _>>()?;
    let [mut error, mut compliance, mut gap] = [(); 3].map(|()| Vec::with_capacity(COUNT));
    for bin in 0..COUNT {
        let mut x = Matrix::zeros(repeat.len(), UNKNOWNS);
        let mut y = Vec::with_capacity(repeat.len());
        for (row, (turn, means)) in repeat.iter().zip(&bins).enumerate() {
            let [apart, torque] = means[bin];
            x.col_mut(0)[row] = 1.0;
            x.col_mut(1)[row] = torque;
            x.col_mut(2)[row] = 0.5 * turn.load_nm.signum();
            x.col_mut(3)[row] = if turn.forward { 1.0 } else { -1.0 };
            y.push(apart);
        }
        let found = regression::fit(&x, &y)?.coefficients;
        if found[1] <= 0.0 {
            return Err(Refusal::WrongSign {
                what: "twist by the torque".into(),
                commanded: 1.0,
                measured: found[1],
            });
        }
        error.push(found[0]);
        compliance.push(found[1]);
        gap.push(found[2]);
    }
    Ok([error, compliance, gap])
}

/// Mean of repeats, with what they do not show.
fn mean_of(
    levels: &[f64],
    unit: &str,
    beyond: impl Fn(f64) -> Vec<Contribution>,
) -> Result<Estimate, Refusal> {
    let s = mean_sd(levels)?;
    let scatter = Contribution::of_mean("scatter of turns", &s);
    let budget = std::iter::once(scatter).chain(beyond(s.mean)).collect();
    Estimate::from_budget(s.mean, unit, s.n, METHOD, budget)
}

/// A gap; a bound where it does not stand out of its uncertainty.
fn beyond_nought(gap: Estimate) -> Outcome {
    if gap.interval[0] > 0.0 {
        return gap.into();
    }
    Refusal::BelowNoise {
        what: "the gap".into(),
        found: gap.value,
        bound: gap.interval[1].max(0.0),
        level: 0.95,
        unit: "rad".into(),
    }
    .into()
}
