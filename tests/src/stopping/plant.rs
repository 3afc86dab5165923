//! The same stop on the virtual plant.

use virtual_rig::plant::{Plant, PlantParameters, PowerStage};
use virtual_rig::random::{Stream, generator};

/// Step, s.
const STEP_S: f64 = 25e-6;
/// A rim slower than this for [`REST_S`] rests, rad/s.
const REST_RAD_S: f64 = 0.02;
/// See above, s.
const REST_S: f64 = 0.1;
/// Longest that a rim may take to rest, s.
const LONGEST_S: f64 = 20.0;
/// Part of a turn from one starting angle to the next: the golden section leaves no order out.
const NEXT_START: f64 = 0.381_966_011_250_105;
/// Turns that the starting angles are spread over: orders below 1 have their period too.
const SPREAD_TURNS: f64 = 16.0;

/// How a motor is stopped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stop {
    /// The power stage goes off.
    Coast,
    /// The windings are shorted for at most this long, s, then the power stage goes off.
    Brake(f64),
}

/// Travel over several starting angles, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travel {
    /// Mean.
    pub mean_rad: f64,
    /// Least and greatest.
    pub span_rad: [f64; 2],
}

/// Lets a unit turn at `speed_rad_s` without current, stops it, and returns how far its rim goes on, over `starts` starting
/// angles. End stops are taken out: what the rim would do if it did not hit one.
///
/// # Errors
/// A rim that does not come to rest.
pub fn settle(
    parameters: &PlantParameters,
    speed_rad_s: f64,
    stop: Stop,
    starts: u32,
) -> Result<Travel, String> {
    let mut parameters = parameters.clone();
    parameters.end_stops = None;
    let mut travels = Vec::new();
    for start in 0..starts {
        let turn = (f64::from(start) * NEXT_START).fract() * SPREAD_TURNS;
        travels.push(one(&parameters, speed_rad_s, stop, turn * std::f64::consts::TAU)?);
    }
    let mean_rad = travels.iter().sum::<f64>() / f64::from(starts.max(1));
    let least = travels.iter().copied().fold(f64::INFINITY, f64::min);
    let most = travels.iter().copied().fold(0.0, f64::max);
    Ok(Travel {
        mean_rad,
        span_rad: [least, most],
    })
}

/// How far the rim gets beyond `start_rad`, rad.
fn one(parameters: &PlantParameters, speed_rad_s: f64, stop: Stop, start_rad: f64) -> Result<f64, String> {
    let mut plant = Plant::new(parameters.clone(), STEP_S, generator(1, Stream::Firmware));
    let motion = [start_rad, speed_rad_s];
    plant.set_motion(motion, motion);
    plant.set_far_motion(motion);
    let steps = |time_s: f64| (time_s / STEP_S).round() as u64;
    let braked = match stop {
        Stop::Coast => 0,
        Stop::Brake(time_s) => steps(time_s),
    };
    let (mut furthest, mut resting) = (start_rad, 0);
    for step in 0..steps(LONGEST_S) {
        plant.set_stage(if step < braked {
            PowerStage::Brake
        } else {
            PowerStage::Coast
        });
        plant.step();
        furthest = furthest.max(plant.rim_angle_rad());
        let slow = plant.rim_speed_rad_s().abs() < REST_RAD_S && plant.far_speed_rad_s().abs() < REST_RAD_S;
        resting = if slow { resting + 1 } else { 0 };
        if resting >= steps(REST_S) {
            return Ok(furthest - start_rad);
        }
    }
    Err(format!(
        "not at rest {LONGEST_S} s after a stop from {speed_rad_s} rad/s"
    ))
}
