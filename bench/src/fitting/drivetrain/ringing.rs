//! What ringing costs: ripple that shakes the rotor at speed takes energy out of the turn, and the drive pays for it.
//!
//! Cogging has a potential, so turned slowly it takes nothing on the mean. At speed the drivetrain answers it: the rotor swings
//! about the even turn by `x(θ)`, most near the first resonance or where a gap rattles, dampers and friction eat the swing, and
//! the power comes through the cogging itself, whose mean over the turn is then `⟨F⟩ = −⟨F dx/dθ⟩`: a power balance, to
//! first order in the swing, whatever springs, dampers and gaps are like. Both factors are measured: `F` turned slowly, `x` by the
//! wheelbase's own sensor. It is drag of the ripple, not viscous friction, though it grows with the speed.

use std::f64::consts::TAU;

use truerim_analysis::cogging::{OrderFit, OrderOptions, Track as Turned, fit_orders};
use truerim_analysis::friction::PairedDrag;

use super::legs::Pair;
use super::orders;
use crate::fitting::motion::track::Track;
use crate::recording::Declared;

/// Lowest frequency of an order that can shake the rotor, Hz: a fifth of the lowest first resonance of wheelbases and less.
/// Slower ones are left out, as the sensor's own errors are among them.
const SHAKES_FROM_HZ: f64 = 5.0;
/// Least orders' travel, turns.
const LEAST_TURNS: f64 = 0.2;
/// Doubt about the loss, as half a width: ripple has grown a little even turned slowly, and the two angles may not be read at
/// one instant.
const DOUBT: f64 = 0.2;

/// Takes the loss out of every pair's friction, with its doubt; whether it could be known.
pub(super) fn taken_out(
    track: &Track,
    pairs: &[(&Pair, PairedDrag)],
    declared: &Declared,
) -> Option<Vec<PairedDrag>> {
    let ratio = declared
        .ratio
        .filter(|_| track.rotor_rad.len() == track.rim_rad.len())?;
    let (slow, wanted) = orders::slowly(track, pairs.iter().map(|(pair, _)| *pair), declared).ok()?;
    let swing: Vec<f64> = track
        .rotor_rad
        .iter()
        .zip(&track.rim_rad)
        .map(|(rotor, rim)| rotor / ratio - rim)
        .collect();
    let lost = |pair: &Pair| -> f64 {
        let sides = [(&pair.up, &slow[0]), (&pair.down, &slow[1])];
        let of = sides
            .map(|(range, ripple)| lost_nm(track, &swing, range, pair.speed, ripple, &wanted).unwrap_or(0.0));
        0.5 * (of[0] + of[1])
    };
    let all = pairs.iter().map(|(pair, drag)| {
        let lost = lost(pair);
        PairedDrag {
            friction_nm: drag.friction_nm - lost,
            u_nm: drag.u_nm.hypot(DOUBT * lost / 3.0_f64.sqrt()),
            ..*drag
        }
    });
    Some(all.collect())
}

/// Torque that ringing costs in one direction, N·m, positive where it costs.
fn lost_nm(
    track: &Track,
    swing: &[f64],
    range: &std::ops::Range<usize>,
    speed: f64,
    ripple: &OrderFit,
    wanted: &[f64],
) -> Option<f64> {
    let angle = track.rim_rad.get(range.clone())?;
    let swing = swing.get(range.clone())?;
    let (first, last) = (*angle.first()?, *angle.last()?);
    if (last - first).abs() < LEAST_TURNS * TAU {
        return None;
    }
    let shakes: Vec<f64> = wanted
        .iter()
        .copied()
        .filter(|order| order * speed / TAU >= SHAKES_FROM_HZ)
        .collect();
    if shakes.is_empty() {
        return None;
    }
    let turned = Turned {
        angle_rad: angle.to_vec(),
        torque_nm: swing.to_vec(),
        direction: (last - first).signum(),
        speed_rad_s: speed,
    };
    let found = fit_orders(&[&turned], &shakes, &OrderOptions::default()).ok()?;
    let mut lost = 0.0;
    for line in &found.lines {
        let force = ripple
            .lines
            .iter()
            .find(|l| (l.order - line.order).abs() < 1e-9)?;
        let ([fc, fs], [xc, xs]) = (force.cos_sin_nm, line.cos_sin_nm);
        // ⟨(fc cos nθ + fs sin nθ) · n (xs cos nθ − xc sin nθ)⟩, in the direction of motion.
        lost += turned.direction * 0.5 * line.order * (fc * xs - fs * xc);
    }
    Some(lost)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Turned at 1 rad/s through a turn, with a swing of `b` a quarter of a period ahead or behind the ripple.
    fn turn(direction: f64, ahead: f64) -> (Track, Vec<f64>) {
        let rim_rad: Vec<f64> = (0..6283).map(|i| direction * f64::from(i) * 1e-3).collect();
        let swing = rim_rad.iter().map(|a| 2e-4 * ahead * (90.0 * a).sin()).collect();
        let track = Track {
            fs_hz: 1000.0,
            rim_rad,
            ..Track::default()
        };
        (track, swing)
    }

    #[test]
    fn a_swing_costs_the_work_that_cogging_does_on_it() {
        for direction in [1.0, -1.0] {
            let (track, swing) = turn(direction, direction);
            let slow = Turned {
                angle_rad: track.rim_rad.clone(),
                torque_nm: track.rim_rad.iter().map(|a| 0.03 * (90.0 * a).cos()).collect(),
                direction,
                speed_rad_s: 0.2,
            };
            let ripple = fit_orders(&[&slow], &[90.0], &OrderOptions::default()).unwrap();
            let lost = |swing: &[f64], speed| lost_nm(&track, swing, &(0..6283), speed, &ripple, &[90.0]);
            // ⟨F dx/dθ⟩ = a b n / 2 = 0.03 · 2e-4 · 90 / 2, by hand; it costs whichever way the rim turns.
            let found = lost(&swing, 1.0).unwrap();
            assert!((found - 2.7e-4).abs() < 1e-6, "{found}");
            // In step with the ripple it does no work; turned slowly, nothing shakes.
            let in_step: Vec<f64> = track.rim_rad.iter().map(|a| 2e-4 * (90.0 * a).cos()).collect();
            assert!(lost(&in_step, 1.0).unwrap().abs() < 1e-6);
            assert_eq!(lost(&swing, 0.2), None);
        }
    }
}
