//! Backlash, lost motion, hysteresis and stiffness from slow reversals of torque.
//!
//! One side of the joint is held, the other turned slowly to and fro. What goes in is the twist across the joint:
//!
//! - rim angle less rotor angle over the ratio where both are measured ([`twist`]): nothing of the motor's own give or of
//!   the rig is in it;
//! - rotor angle over the ratio against torque with the rim clamped to the sensor, or rim angle against torque with the
//!   motor held: then what gives in series, sensor and fixture, is taken out by its declared stiffness.
//!
//! Model: `T = k dz(θ − θ₀, b) ± T_f`, a dead zone `b` wide between two springs, with friction that changes sign with the
//! direction: horizontal width is gap, vertical width is friction (Nordin and Gutman, Automatica 38 (2002) 1633). The
//! branches outside the gap are straight lines in it, fitted together by orthogonal regression. Beside it stand the
//! trade's definitions for reducers, read off the branches without a model: lost motion is the distance of the
//! mid-lines at ± 3 % of rated torque, hysteresis loss the width at zero torque, stiffness the slope over a range.
//!
//! The gap may come out negative when there is none; a gap that does not stand out of its uncertainty is refused with
//! an upper bound.

mod around;
mod branches;
mod outcome;
mod single;

pub use around::{LoadedTurn, TwistAround, twist_around};
pub(crate) use branches::{Branch, loops};
pub use outcome::{BacklashFit, PositionResult, fit_backlash};

use ndarray::ArrayView1;

use crate::estimate::Refusal;
use crate::friction::TorqueScale;

/// Several whole loops at one rim angle.
#[derive(Debug, Clone, Copy)]
pub struct LoopRecord<'a> {
    /// Twist across the joint, rad; positive torque twists it the positive way.
    pub twist_rad: ArrayView1<'a, f64>,
    /// Torque through the joint, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
    /// Rim angle, rad.
    pub position_rad: f64,
}

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct BacklashOptions {
    /// Rated torque, N·m, of which shares are taken.
    pub rated_nm: f64,
    /// Share of it at which lost motion is read.
    pub small_share: f64,
    /// Ranges of it over which stiffness is given.
    pub ranges: Vec<[f64; 2]>,
    /// Stiffness of what gives in series and is no part of the joint, N·m/rad, with its standard uncertainty; `None`
    /// when the twist is free of it.
    pub series: Option<[f64; 2]>,
    /// Standard deviation of one reading of the twist, rad, and of the torque, N·m.
    pub noise: [f64; 2],
    /// Standard uncertainty of a difference of twists over the width of the gap, rad: the encoder's own error.
    pub twist_u_rad: f64,
    /// Zero and gain of the sensor.
    pub torque: TorqueScale,
    /// Share of the torque's span after a reversal in which friction is still turning over, left out.
    pub settle_share: f64,
    /// Share of the largest torque next to the gap that is left out of the flanks.
    pub edge_share: f64,
}

impl BacklashOptions {
    /// The usual shares for a rated torque and the noise of a reading of twist (rad) and torque (N·m).
    pub fn new(rated_nm: f64, noise: [f64; 2]) -> Self {
        Self {
            rated_nm,
            small_share: 0.03,
            ranges: vec![[0.05, 0.25], [0.25, 0.5], [0.5, 1.0]],
            series: None,
            noise,
            twist_u_rad: 0.0,
            torque: TorqueScale::default(),
            settle_share: 0.15,
            edge_share: 0.05,
        }
    }

    fn check(&self) -> Result<(), Refusal> {
        let shares = |v: f64| v > 0.0 && v < 1.0;
        let ranges = self.ranges.iter().all(|r| r[0] >= 0.0 && r[1] > r[0]);
        let fine = self.rated_nm > 0.0
            && self.rated_nm.is_finite()
            && [self.small_share, self.settle_share, self.edge_share]
                .into_iter()
                .all(shares)
            && ranges
            && self.noise.iter().all(|v| *v >= 0.0 && v.is_finite())
            && self.noise[0] + self.noise[1] > 0.0
            && self.series.is_none_or(|[k, u]| k > 0.0 && u >= 0.0);
        if fine {
            return Ok(());
        }
        Err(Refusal::OutOfRange {
            what: "an option of a backlash fit (rated torque and series stiffness above zero, shares between 0 and 1, \
                   rising ranges, some noise); the rated torque"
                .into(),
            value: self.rated_nm,
            low: f64::MIN_POSITIVE,
            high: f64::INFINITY,
            unit: "N.m".into(),
        })
    }
}

/// Twist between rotor and rim where both are measured: rotor angle over `ratio` (turns of the rotor per turn of the rim)
/// less rim angle when the motor drives against a held rim (`motor_drives`), the other way round when the rim is
/// turned against a held motor. The first sample is zero.
///
/// # Errors
/// [`Refusal::LengthMismatch`]; [`Refusal::OutOfRange`] for a ratio of zero.
pub fn twist(
    rim_rad: ArrayView1<'_, f64>,
    rotor_rad: ArrayView1<'_, f64>,
    ratio: f64,
    motor_drives: bool,
) -> Result<Vec<f64>, Refusal> {
    if rim_rad.len() != rotor_rad.len() {
        return Err(Refusal::LengthMismatch {
            what: "rim and rotor angle".into(),
            left: rim_rad.len(),
            right: rotor_rad.len(),
        });
    }
    if !(ratio.abs() > 0.0 && ratio.is_finite()) {
        return Err(Refusal::OutOfRange {
            what: "the ratio".into(),
            value: ratio,
            low: f64::MIN_POSITIVE,
            high: f64::INFINITY,
            unit: "1".into(),
        });
    }
    let sign = if motor_drives { 1.0 } else { -1.0 };
    let all: Vec<f64> = rim_rad
        .iter()
        .zip(rotor_rad)
        .map(|(rim, rotor)| sign * (rotor / ratio - rim))
        .collect();
    let first = all.first().copied().unwrap_or(0.0);
    Ok(all.into_iter().map(|t| t - first).collect())
}
