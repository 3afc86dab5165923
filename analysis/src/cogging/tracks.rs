//! From a recording to pieces of one direction whose angle can be trusted.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Refusal};
use crate::statistics::{extent, median};
use crate::turning::turning_points;
use crate::zero_phase::LowPass;

/// A slow turn, or several to and fro. Angles and torques that are missing are NaN.
#[derive(Debug, Clone, Copy)]
pub struct Turning<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
    /// Torque that turns the rim, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
}

/// What is known of the angle.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackOptions {
    /// Step of the angle, rad.
    pub step_rad: f64,
    /// Corner of the low-pass that takes the steps out, Hz: above the ripple of the speed, below the rate of steps.
    pub smooth_hz: f64,
    /// Longest run of missing samples that is bridged, s.
    pub longest_gap_s: f64,
    /// Shortest travel of a piece, rad.
    pub least_travel_rad: f64,
}

impl Default for TrackOptions {
    fn default() -> Self {
        Self {
            step_rad: 3.5e-4,
            smooth_hz: 10.0,
            longest_gap_s: 0.02,
            least_travel_rad: 0.5,
        }
    }
}

/// A piece of one direction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Track {
    /// Angle, strictly monotonic, rad.
    pub angle_rad: Vec<f64>,
    /// Torque, N·m.
    pub torque_nm: Vec<f64>,
    /// 1 or −1.
    pub direction: f64,
    /// Mean speed, signed, rad/s.
    pub speed_rad_s: f64,
}

impl Track {
    /// Turns covered.
    pub fn turns(&self) -> f64 {
        match (self.angle_rad.first(), self.angle_rad.last()) {
            (Some(a), Some(b)) => (b - a).abs() / std::f64::consts::TAU,
            _ => 0.0,
        }
    }
}

/// The pieces, and what was done to the angle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tracks {
    /// Pieces in the order of time.
    pub pieces: Vec<Track>,
    /// Samples at which counts went missing, and the angle put back, rad.
    pub restored: Vec<(usize, f64)>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

impl Tracks {
    /// The pieces of one direction.
    pub fn of(&self, direction: f64) -> Vec<&Track> {
        self.pieces
            .iter()
            .filter(|p| p.direction * direction > 0.0)
            .collect()
    }
}

/// Prepares a recording: bridges missing samples, leaves out single wild readings, puts jumps back that no speed
/// explains (counts gone missing), takes the encoder's steps out of the angle without shifting it, and cuts where the
/// motion turns round. Speed ripple stays as it is, since everything after this goes by the angle.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFewSamples`], [`Refusal::OutOfRange`] for options that make no sense,
/// [`Refusal::NonFinite`] for a gap too long to bridge, [`Refusal::NotCovered`] when no piece is long enough.
pub fn tracks(turning: &Turning<'_>, options: &TrackOptions) -> Result<Tracks, Refusal> {
    let (fs, n) = (turning.fs_hz, turning.angle_rad.len());
    if n != turning.torque_nm.len() {
        return Err(Refusal::LengthMismatch {
            what: "angle and torque".into(),
            left: n,
            right: turning.torque_nm.len(),
        });
    }
    if !(options.step_rad >= 0.0 && options.longest_gap_s >= 0.0 && options.least_travel_rad > 0.0) {
        return Err(Refusal::OutOfRange {
            what: "the step of the angle, the longest gap or the least travel".into(),
            value: options
                .step_rad
                .min(options.longest_gap_s)
                .min(options.least_travel_rad),
            low: 0.0,
            high: f64::INFINITY,
            unit: "rad or s".into(),
        });
    }
    let longest = (options.longest_gap_s * fs).ceil() as usize;
    let filter = LowPass::butterworth(4, options.smooth_hz, fs)?;
    if n < 2 * filter.reach().max(16) {
        return Err(Refusal::TooFewSamples {
            what: "cogging".into(),
            got: n,
            needed: 2 * filter.reach().max(16),
        });
    }
    let mut angle = turning.angle_rad.to_vec();
    let wild = drop_wild(&mut angle, options.step_rad);
    bridge("the angle", &mut angle, longest)?;
    let mut torque = turning.torque_nm.to_vec();
    bridge("the torque", &mut torque, longest)?;
    let restored = restore(&mut angle, fs, options);
    let smooth = filter.run(&angle)?;
    // The smoothed end follows the continuation of the record, not the motion.
    let ends = (0.5 * fs / options.smooth_hz).ceil() as usize;
    let hysteresis = (20.0 * options.step_rad).max(1e-3 * options.least_travel_rad);
    let mut cuts = vec![ends];
    cuts.extend(
        turning_points(&smooth, hysteresis)
            .into_iter()
            .filter(|i| *i > ends && *i + ends < n),
    );
    cuts.push(n - ends);
    let mut pieces = Vec::new();
    let mut longest_travel = 0.0_f64;
    for pair in cuts.windows(2) {
        if let Some(track) = monotonic(&smooth[pair[0]..pair[1]], &torque[pair[0]..pair[1]], fs) {
            let travel = track.turns() * std::f64::consts::TAU;
            longest_travel = longest_travel.max(travel);
            if travel >= options.least_travel_rad {
                pieces.push(track);
            }
        }
    }
    if pieces.is_empty() {
        return Err(Refusal::NotCovered {
            what: "travel in one direction".into(),
            got: longest_travel,
            needed: options.least_travel_rad,
            unit: "rad".into(),
            remedy: "turn further without turning round".into(),
        });
    }
    let checks = vec![
        Check::new(
            "no counts lost",
            restored.is_empty(),
            format!("{} jumps of the angle put back", restored.len()),
        ),
        Check::new("no wild angles", wild == 0, format!("{wild} readings left out")),
    ];
    Ok(Tracks {
        pieces,
        restored,
        checks,
    })
}

/// Makes readings missing that are alone in being far from their neighbours.
fn drop_wild(angle: &mut [f64], step: f64) -> usize {
    let original = angle.to_vec();
    let mut count = 0;
    for i in 2..original.len().saturating_sub(2) {
        let around = [original[i - 2], original[i - 1], original[i + 1], original[i + 2]];
        if !original[i].is_finite() || around.iter().any(|v| !v.is_finite()) {
            continue;
        }
        let [low, high] = extent(around.iter());
        let reach = 4.0 * step + 2.0 * (high - low);
        if original[i] > high + reach || original[i] < low - reach {
            angle[i] = f64::NAN;
            count += 1;
        }
    }
    count
}

/// Straight lines over runs of missing samples.
fn bridge(what: &str, x: &mut [f64], longest: usize) -> Result<(), Refusal> {
    let mut i = 0;
    while i < x.len() {
        if x[i].is_finite() {
            i += 1;
            continue;
        }
        let to = (i..x.len()).find(|k| x[*k].is_finite()).unwrap_or(x.len());
        if i == 0 || to == x.len() || to - i > longest {
            return Err(Refusal::NonFinite {
                what: what.into(),
                index: i,
            });
        }
        let (a, b) = (x[i - 1], x[to]);
        let width = (to - i + 1) as f64;
        for (k, v) in x[i..to].iter_mut().enumerate() {
            *v = a + (b - a) * (k + 1) as f64 / width;
        }
        i = to;
    }
    Ok(())
}

/// Puts steps of the angle back that neither the encoder's own step nor the speed around them explains.
fn restore(angle: &mut [f64], fs: f64, options: &TrackOptions) -> Vec<(usize, f64)> {
    let n = angle.len();
    // The speed on either side, over a while in which it cannot change much.
    let window = ((0.5 * fs / options.smooth_hz).ceil() as usize).clamp(4, n / 4);
    let differences: Vec<f64> = angle.windows(2).map(|w| w[1] - w[0]).collect();
    let typical = median(&differences.iter().map(|d| d.abs()).collect::<Vec<_>>()).unwrap_or(0.0);
    let mut found = Vec::new();
    for i in window..n - window {
        let jump = differences[i - 1];
        if jump.abs() <= 2.0 * options.step_rad + 2.0 * typical {
            continue;
        }
        let slope = |a: usize, b: usize| (angle[b] - angle[a]) / (b - a) as f64;
        let expected = 0.5 * (slope(i - window, i - 1) + slope(i, i + window - 1));
        let lost = jump - expected;
        if lost.abs() > 3.0 * options.step_rad + 3.0 * expected.abs() {
            found.push((i, -lost));
            angle[i..].iter_mut().for_each(|a| *a -= lost);
        }
    }
    found
}

/// The longest part with strictly monotonic angles; samples that stand still or step back are left out.
fn monotonic(angle: &[f64], torque: &[f64], fs: f64) -> Option<Track> {
    let (first, last) = (*angle.first()?, *angle.last()?);
    let direction = (last - first).signum();
    let (mut a, mut t) = (vec![first], vec![*torque.first()?]);
    let mut reached = first * direction;
    for (x, y) in angle.iter().zip(torque).skip(1) {
        if x * direction > reached {
            reached = x * direction;
            a.push(*x);
            t.push(*y);
        }
    }
    (a.len() > 16).then(|| Track {
        speed_rad_s: (last - first) * fs / (angle.len() - 1) as f64,
        angle_rad: a,
        torque_nm: t,
        direction,
    })
}
