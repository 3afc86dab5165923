//! Travel between end stops: slow presses of a free rim onto each.

use ndarray::aview1;
use truerim_analysis::end_stop::{EndStopFit, EndStopOptions, Presses, fit_end_stop, travel};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};

use super::One;
use super::orders::named;
use crate::fitting::FittingError;
use crate::fitting::document::{Conditions, Measurand, Quantity};
use crate::fitting::drivetrain_curves::StopCurve;
use crate::fitting::groups::{refused, with_checks};
use crate::fitting::motion::track::{self, Track};
use crate::recording::{Declared, Recording, SegmentRow};

/// Word of the excitation in recordings.
pub(crate) const END_STOP: &str = "end-stop";
/// Relative standard uncertainty of torque made over torque commanded, where nothing measured it.
const DRIVE_GAIN: f64 = 0.05;
/// Standard uncertainty of the drive's own offset and of half of what friction differs by between directions, N·m.
const DRIVE_ZERO_NM: f64 = 0.02;
/// Amplitude of cogging, N·m, that is assumed at a stop, where one angle alone cannot show it (common practice: 0.1 to 0.4 N·m from
/// peak to peak, all orders together), and its order where the rig file names none that is higher.
const COGGING_NM: f64 = 0.05;
const COGGING_ORDER: f64 = 200.0;
/// Samples together: 20 ms, slow beside a press and quick beside nothing in it.
const TOGETHER_S: f64 = 0.02;

/// What takes both stops.
const OF_BOTH: [Quantity; 3] = [Quantity::Travel, Quantity::TravelCentre, Quantity::OwnCentre];

/// Whether a recording is one of end stops.
pub(crate) fn is_one(recording: &Recording) -> bool {
    recording.segments().iter().any(|row| row.excitation == END_STOP)
        || recording.header().files.iter().any(|(_, text)| plays(text))
}

/// Whether a procedure file plays end stops: a run that ended on the way to the first has no row of them.
fn plays(text: &str) -> bool {
    text.lines().any(|line| {
        let line = line.split('#').next().unwrap_or_default();
        line.split_once('=')
            .is_some_and(|(key, value)| key.trim() == "excitation" && value.trim() == "\"end-stop\"")
    })
}

/// One side: its fit, and what the wheelbase's own angle reads more than the rim's there.
struct Side {
    fit: EndStopFit,
    own_rad: Option<f64>,
    /// Towards the stop: angle, rad, and torque, N·m, in means over some samples.
    presses: [Vec<f64>; 2],
}

/// Travel, centre and stiffness of both stops, and the presses onto each.
pub(crate) fn of(
    recording: &Recording,
    declared: &Declared,
    conditions: &Conditions,
) -> Result<(Vec<Measurand>, Vec<StopCurve>), FittingError> {
    // Of a run that ended early, rows of what was planned stand there without samples.
    let mut rows: Vec<&SegmentRow> = Vec::new();
    for row in recording.segments() {
        if row.excitation == END_STOP
            && row.is_excitation()
            && !recording.rows_between(row.start_tick, row.end_tick)?.is_empty()
        {
            rows.push(row);
        }
    }
    let positive = side(recording, declared, &rows, 1.0)?;
    let negative = side(recording, declared, &rows, -1.0)?;
    let (mut found, mut curves) = (Vec::new(), Vec::new());
    match (&positive, &negative) {
        (Ok(a), Ok(b)) => {
            let both = travel(&a.fit, &b.fit);
            let own = own_centre(&both.centre, a, b);
            let results = OF_BOTH.into_iter().zip([both.travel, both.centre, own]);
            found.extend(results.map(|(quantity, result)| One::alone(quantity, result)));
        }
        (Err(outcome), _) | (_, Err(outcome)) => {
            found.extend(OF_BOTH.map(|quantity| One::alone(quantity, outcome.clone())));
        }
    }
    for (side, group, sign) in [
        (&positive, "positive stop", 1.0),
        (&negative, "negative stop", -1.0),
    ] {
        if let Ok(side) = side {
            curves.push(side.curve(group, sign, conditions));
        }
        let result = match side {
            Ok(side) => with_checks(
                Outcome::from(side.fit.stiffness.clone()),
                side.fit.checks.iter().cloned(),
            ),
            Err(outcome) => outcome.clone(),
        };
        found.push(One::of(Quantity::StopStiffness, group, result));
    }
    let found = found.into_iter().map(|one| one.measurand(conditions));
    Ok((found.collect(), curves))
}

impl Side {
    fn curve(&self, group: &str, sign: f64, conditions: &Conditions) -> StopCurve {
        let of = |values: &[f64]| -> Vec<f64> { values.iter().map(|x| super::micro(sign * x)).collect() };
        let contact = &self.fit.contact;
        let [low, high] = contact.interval;
        let ends = if sign > 0.0 { [low, high] } else { [-high, -low] };
        StopCurve {
            conditions: Conditions {
                n: self.presses[0].len(),
                ..conditions.clone()
            },
            group: group.to_owned(),
            angle_rad: of(&self.presses[0]),
            torque_nm: of(&self.presses[1]),
            contact_rad: [ends[0], sign * contact.value, ends[1]],
            stiffness_nm_per_rad: self.fit.stiffness.value,
        }
    }
}

/// The presses onto one stop, from the deepest point of the first on; a refusal where there are fewer than two.
fn side(
    recording: &Recording,
    declared: &Declared,
    rows: &[&SegmentRow],
    sign: f64,
) -> Result<Result<Side, Outcome>, FittingError> {
    let own: Vec<&&SegmentRow> = rows
        .iter()
        .filter(|row| sign * (row.from_nm + row.to_nm) > 0.0)
        .collect();
    let which = if sign > 0.0 { "positive" } else { "negative" };
    // A press has two parts, up and down.
    let (Some(first), Some(last)) = (own.first(), own.get(3).and(own.last())) else {
        return Ok(Err(refused(
            "no_contact",
            format!(
                "the {which} stop was not pressed on twice: {}; no contact was seen within the travel that was allowed; begin near the \
                 middle, allow more pushes or a wider rig.mountings.free.travel_window; a rim that turns without end has no travel",
                how_it_ended(recording)
            ),
        )));
    };
    let track = track::read(recording, recording.rows_between(first.end_tick, last.end_tick)?)?;
    let together = ((TOGETHER_S * track.fs_hz) as usize).max(1);
    let means = |values: &[f64]| -> Vec<f64> {
        let whole = values.chunks_exact(together);
        whole
            .map(|c| sign * c.iter().sum::<f64>() / together as f64)
            .collect()
    };
    let (angle, torque) = (means(&track.rim_rad), means(&track.setpoint_nm));
    let order = named(declared)
        .iter()
        .map(|named| named.order)
        .fold(COGGING_ORDER, f64::max)
        .min(MOST_ORDER);
    let options = EndStopOptions {
        angle_step_rad: recording.channel("rim_angle")?.scale.abs(),
        gain_rel_u: DRIVE_GAIN,
        zero_u_nm: DRIVE_ZERO_NM,
        repeats: [COGGING_NM, order],
    };
    let presses = Presses {
        angle_rad: aview1(&angle),
        torque_nm: aview1(&torque),
    };
    Ok(match fit_end_stop(&presses, &options) {
        Ok(fit) => Ok(Side {
            fit,
            own_rad: own_reading(&track, declared),
            presses: [angle, torque],
        }),
        Err(refusal) => Err(refusal.into()),
    })
}

/// Highest order that cogging of the assumed amplitude is taken to have.
const MOST_ORDER: f64 = 600.0;

fn how_it_ended(recording: &Recording) -> String {
    match recording.completion().map(|completion| completion.parts()) {
        Some((state, "")) => format!("the run is {state}"),
        Some((_, cause)) => format!("the run ended: {cause}"),
        None => "the recording was not finished".to_owned(),
    }
}

/// By how much the wheelbase's own angle, over its ratio, is ahead of the rim encoder's while it leans on a stop: torque up and
/// down twists the drivetrain by the same either way of its mean, and on both stops by opposite amounts.
fn own_reading(track: &Track, declared: &Declared) -> Option<f64> {
    let ratio = declared.ratio.filter(|_| !track.rotor_rad.is_empty())?;
    let apart = track.rotor_rad.iter().zip(&track.rim_rad);
    let n = track.rim_rad.len().max(1) as f64;
    Some(apart.map(|(rotor, rim)| rotor / ratio - rim).sum::<f64>() / n)
}

fn own_centre(centre: &Outcome, a: &Side, b: &Side) -> Outcome {
    let (Some(up), Some(down)) = (a.own_rad, b.own_rad) else {
        return refused(
            "no_rotor_angle",
            "the wheelbase's own angle was not recorded, or rig.wheelbase.ratio is not declared",
        );
    };
    let Outcome::Estimate(centre) = centre else {
        return centre.clone();
    };
    let mut budget = centre.budget.clone();
    // Twist cancels as far as both stops are pressed alike.
    budget.push(Contribution::rectangular(
        "twist of the drivetrain, of both stops unlike",
        TWIST_UNLIKE * 0.5 * (up - down).abs(),
    ));
    let made: Result<Estimate, Refusal> = Estimate::from_budget(
        centre.value + 0.5 * (up + down),
        "rad",
        centre.n,
        "centre by the rim encoder, and what the wheelbase's own angle is ahead of it at both stops",
        budget,
    );
    let differs = Check::new(
        "both angles agree on the centre",
        true,
        format!(
            "the wheelbase's own angle is ahead by {:.3}° at the positive stop and {:.3}° at the negative one, twist included",
            up.to_degrees(),
            down.to_degrees()
        ),
    );
    with_checks(made.into(), [differs])
}

/// Share of the twist by which both stops may differ.
const TWIST_UNLIKE: f64 = 0.2;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_procedure_that_plays_end_stops_is_known_by_its_text() {
        assert!(plays("[[segment]]\n  excitation = \"end-stop\"   # on the way\n"));
        assert!(!plays("# excitation = \"end-stop\"\nexcitation = \"step\"\n"));
        assert!(!plays(""));
    }
}
