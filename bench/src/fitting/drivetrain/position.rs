//! The wheelbase's own angle against the rim encoder's: step, noise, error once a turn, delay.

use std::f64::consts::TAU;

use ndarray::{Array1, ArrayView1};
use truerim_analysis::cogging::{OrderOptions, Track as Turned, fit_orders};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::friction::PairedDrag;
use truerim_analysis::least_squares::Matrix;
use truerim_analysis::position::{reading_noise, step_counts};
use truerim_analysis::regression;

use super::One;
use super::legs::Pair;
use crate::fitting::FittingError;
use crate::fitting::document::Quantity;
use crate::fitting::groups::refused;
use crate::fitting::motion::track::Track;
use crate::recording::{Declared, Recording};

const ALL: [Quantity; 4] = [
    Quantity::PositionError,
    Quantity::PositionResolution,
    Quantity::PositionNoise,
    Quantity::PositionDelay,
];
/// Least travel for the error once a turn, turns.
const LEAST_TURNS: f64 = 0.9;
/// Orders of an error, the one in question first, up to the highest that is looked at.
const ORDERS: [f64; 3] = [1.0, 2.0, 3.0];
const HIGHEST: f64 = 4.0;
/// Readings looked at for the noise, at most.
const READINGS: usize = 30_000;

/// All results, or the same refusal in place of all.
pub(super) fn of(
    recording: &Recording,
    track: &Track,
    pairs: &[Pair],
    curve: &[PairedDrag],
    declared: &Declared,
) -> Result<Vec<One>, FittingError> {
    let Some(ratio) = declared.ratio.filter(|_| !track.rotor_rad.is_empty()) else {
        let outcome = refused(
            "no_rotor_angle",
            "the position sensor is the wheelbase's own: record a motor_angle channel and declare rig.wheelbase.ratio",
        );
        return Ok(ALL.map(|quantity| One::alone(quantity, outcome.clone())).into());
    };
    let rotor = track.rotor_rad.iter().zip(&track.rim_rad);
    let apart: Vec<f64> = rotor.map(|(rotor, rim)| rotor / ratio - rim).collect();
    let (step, noise) = step_and_noise(recording, track, pairs, ratio)?;
    Ok(vec![
        One::alone(
            Quantity::PositionError,
            once_a_turn(track, pairs, &apart, declared),
        ),
        One::alone(Quantity::PositionResolution, step),
        One::alone(Quantity::PositionNoise, noise),
        One::alone(Quantity::PositionDelay, delay(pairs, curve, &apart)),
    ])
}

/// Amplitude of the first order of the difference, mean of both directions.
fn once_a_turn(
    track: &Track,
    pairs: &[Pair],
    apart: &[f64],
    declared: &Declared,
) -> Result<Estimate, Refusal> {
    // Torque of a belt's pass twists the drivetrain, and lies so near to the first order that it must be taken out.
    let mut wanted = ORDERS.to_vec();
    for order in super::orders::named(declared).iter().map(|named| named.order) {
        let new = wanted.iter().all(|known| (known - order).abs() > 1e-6);
        if new && order <= HIGHEST {
            wanted.push(order);
        }
    }
    let longest = pairs
        .iter()
        .reduce(|a, b| if b.travel > 1.2 * a.travel { b } else { a });
    let travel = longest.map_or(0.0, |pair| pair.travel);
    let Some(pair) = longest.filter(|pair| pair.travel >= LEAST_TURNS * TAU) else {
        return Err(Refusal::NotCovered {
            what: "travel to and fro, for an error once a turn".into(),
            got: travel / TAU,
            needed: LEAST_TURNS,
            unit: "turns".into(),
            remedy: "turn a whole turn and back".into(),
        });
    };
    let line = |range: &std::ops::Range<usize>, direction: f64| {
        let turned = Turned {
            angle_rad: track.rim_rad.get(range.clone()).unwrap_or_default().to_vec(),
            torque_nm: apart.get(range.clone()).unwrap_or_default().to_vec(),
            direction,
            speed_rad_s: direction * pair.speed,
        };
        let fit = fit_orders(&[&turned], &wanted, &OrderOptions::default())?;
        let first = fit.lines.first();
        Ok(first.map_or(([0.0; 2], 0.0), |line| (line.cos_sin_nm, line.u_nm)))
    };
    let ((a, u), (b, v)) = (line(&pair.up, 1.0)?, line(&pair.down, -1.0)?);
    let (x, y) = (0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]));
    let size = x.hypot(y);
    let noise = 0.5 * u.hypot(v);
    let differ = 0.5 * (a[0] - b[0]).hypot(a[1] - b[1]);
    let budget = vec![
        Contribution::type_a("what is left nearby", noise, 40.0),
        Contribution::rectangular("directions differ", differ),
    ];
    if size < 3.0 * noise.hypot(differ) {
        return Err(Refusal::BelowNoise {
            what: "error once a turn".into(),
            found: size,
            bound: size + 2.45 * noise.hypot(differ),
            level: 0.95,
            unit: "rad".into(),
        });
    }
    let method = format!("first order over {:.1} turns to and fro", pair.travel / TAU);
    Estimate::from_budget(size, "rad", 2, method, budget)
}

/// The step, and the noise beside it, from the slowest pair's readings.
fn step_and_noise(
    recording: &Recording,
    track: &Track,
    pairs: &[Pair],
    ratio: f64,
) -> Result<(Outcome, Outcome), FittingError> {
    let Some(slowest) = pairs.first() else {
        let outcome = refused("no_turn", "the drive did not turn to and fro at a steady speed");
        return Ok((outcome.clone(), outcome));
    };
    let from = track.first_row + slowest.up.start * track.rows_together;
    let to = (track.first_row + slowest.up.end * track.rows_together).min(from + READINGS);
    let counts = recording.raw("motor_angle", from..to)?;
    let Some(step) = step_counts(counts.view()) else {
        let outcome = refused(
            "stands_still",
            "the wheelbase's own angle did not change while the rim turned",
        );
        return Ok((outcome.clone(), outcome));
    };
    let scale_rad = recording.channel("motor_angle")?.scale.abs() / ratio * f64::from(step);
    let budget = vec![Contribution::type_b("digits of the reading", 0.0)];
    let resolution = Estimate::from_budget(
        scale_rad,
        "rad",
        counts.len(),
        "greatest common divisor of the differences of readings",
        budget,
    );
    let missing = missing(&counts, step);
    let resolution = resolution.map(|estimate| {
        estimate.with_checks(missing.map(|(missing, passed)| {
            Check::new(
                "no codes missing",
                missing == 0,
                format!("{missing} of {passed} codes between the first and the last never read"),
            )
        }))
    });
    let steps: Array1<f64> = counts.mapv(|c| f64::from(c) / f64::from(step));
    let noise = reading_noise(steps.view()).and_then(|noise| {
        let budget = noise.budget.into_iter().map(|part| Contribution {
            std_uncertainty: part.std_uncertainty * scale_rad,
            ..part
        });
        Estimate::from_budget(
            noise.value * scale_rad,
            "rad",
            noise.n,
            noise.method,
            budget.collect(),
        )
    });
    Ok((resolution.into(), noise.into()))
}

/// Codes that a turn passed and no reading shows, and all that it passed; `None` where it was too fast to show each.
fn missing(counts: &Array1<i32>, step: u32) -> Option<(usize, usize)> {
    let mut seen: Vec<i64> = counts.iter().map(|c| i64::from(*c) / i64::from(step)).collect();
    seen.sort_unstable();
    seen.dedup();
    let (first, last) = (seen.first()?, seen.last()?);
    let passed = (last - first + 1) as usize;
    // Fewer than eight readings a code may miss one by chance.
    (counts.len() >= 8 * passed).then(|| (passed - seen.len(), passed))
}

/// Half of what the difference of the angles differs by between the directions is the gap's half, the twist under drag, and
/// the way turned within the delay: `h = g + c T − v τ`.
fn delay(pairs: &[Pair], curve: &[PairedDrag], apart: &[f64]) -> Result<Estimate, Refusal> {
    let mean = |range: &std::ops::Range<usize>| -> f64 {
        let part = apart.get(range.clone()).unwrap_or_default();
        ArrayView1::from(part).mean().unwrap_or(f64::NAN)
    };
    // Only pairs that gave a drag have a torque; both lists are in the order of speed.
    let rows: Vec<(f64, f64, f64)> = pairs
        .iter()
        .filter_map(|pair| {
            let own = |drag: &&PairedDrag| (drag.speed_rad_s - pair.speed).abs() < 0.01 * pair.speed;
            let drag = curve.iter().find(own)?;
            Some((
                pair.speed,
                drag.friction_nm,
                0.5 * (mean(&pair.up) - mean(&pair.down)),
            ))
        })
        .collect();
    let n = rows.len();
    if n < 5 {
        return Err(Refusal::TooFewRepeats {
            what: "speeds for the delay between two angles".into(),
            got: n,
            needed: 5,
        });
    }
    let mut x = Matrix::zeros(n, 3);
    for (i, (speed, torque, _)) in rows.iter().enumerate() {
        x.col_mut(0)[i] = 1.0;
        x.col_mut(1)[i] = *torque;
        x.col_mut(2)[i] = *speed;
    }
    let y: Vec<f64> = rows.iter().map(|row| row.2).collect();
    let fit = regression::fit(&x, &y)?;
    let u = fit.residual_sd * fit.inverse_gram[[2, 2]].sqrt();
    let budget = vec![Contribution::type_a("scatter of the speeds", u, fit.dof as f64)];
    let method = "slope over speed of half the difference between the directions, twist under drag beside it";
    Estimate::from_budget(-fit.coefficients[2], "s", n, method, budget)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_that_is_never_read_is_missing_and_a_fast_turn_tells_none() {
        // Ten readings a code of steps of three, the fourth left out; by hand 1 of 20.
        let slow: Array1<i32> = (0..200)
            .map(|i| i / 10)
            .filter(|c| *c != 3)
            .map(|c| 3 * c)
            .collect();
        assert_eq!(missing(&slow, 3), Some((1, 20)));
        let whole: Array1<i32> = (0..200).map(|i| 3 * (i / 10)).collect();
        assert_eq!(missing(&whole, 3), Some((0, 20)));
        let fast: Array1<i32> = (0..60).map(|i| 3 * (i / 3)).collect();
        assert_eq!(missing(&fast, 3), None);
    }
}
