//! Curves of the drivetrain: slow loops, friction over speed, torque over the angle.

use serde::{Deserialize, Serialize};

use super::document::Conditions;

/// Slow loops of torque between a held rim and the rotor. What is not known is `None` or empty.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LoopCurve {
    /// Conditions.
    pub conditions: Conditions,
    /// Rotor angle over the ratio less rim angle, in the order of playing, rad.
    pub twist_rad: Vec<f64>,
    /// Torque at the rim at the same instants, N·m.
    pub torque_nm: Vec<f64>,
    /// Torque either side of zero at which lost motion is read, N·m.
    pub small_nm: f64,
    /// Middle of the loops at zero torque, rad.
    pub middle_rad: Option<f64>,
    /// The line of the stiffness on either side: twist (rad) and torque (N·m) of both ends.
    pub flanks: Vec<[[f64; 2]; 2]>,
    /// Amounts of torque at which the stiffness is given, ascending, N·m.
    pub at_nm: Vec<f64>,
    /// Stiffness there, over both sides and ways: lower end of the 95 % interval from their scatter and the
    /// encoder's steps, value, upper end, N·m/rad.
    pub stiffness: Vec<[f64; 3]>,
}

/// Slow presses of a free rim onto one end stop.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StopCurve {
    /// Conditions; `n` counts the samples.
    pub conditions: Conditions,
    /// Which stop, as results name it: `positive stop`, `negative stop`.
    pub group: String,
    /// Angle of the rim in the order of playing, means over 20 ms, rad.
    pub angle_rad: Vec<f64>,
    /// Torque commanded at the same instants, N·m.
    pub torque_nm: Vec<f64>,
    /// Angle of contact: lower end of its 95 % interval, value, upper end, rad.
    pub contact_rad: [f64; 3],
    /// Stiffness of the stop, N·m/rad.
    pub stiffness_nm_per_rad: f64,
}

/// Friction over speed; lists of pairs have one entry a speed, ascending.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct FrictionCurve {
    /// Conditions; `n` counts the pairs.
    pub conditions: Conditions,
    /// Speed of the rim, rad/s, positive.
    pub speed_rad_s: Vec<f64>,
    /// Torque that turns the wheelbase the positive way, what ringing costs taken out, N·m.
    pub positive_nm: Vec<f64>,
    /// The same the other way: negative.
    pub negative_nm: Vec<f64>,
    /// Half width of the 95 % interval of both, N·m.
    pub band_nm: Vec<f64>,
    /// Half the difference of both directions as measured, what ringing costs still in it, N·m.
    pub as_measured_nm: Vec<f64>,
    /// Speeds of the fitted curve, ascending, rad/s; empty where none could be fitted.
    pub model_rad_s: Vec<f64>,
    /// The fitted curve the positive way, N·m.
    pub model_positive_nm: Vec<f64>,
    /// The same the other way.
    pub model_negative_nm: Vec<f64>,
}

/// Torque over the angle of a wheelbase that is turned slowly.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct CoggingCurve {
    /// Conditions.
    pub conditions: Conditions,
    /// Speed, rad/s.
    pub speed_rad_s: f64,
    /// Angle of the rim, ascending and even, rad.
    pub angle_rad: Vec<f64>,
    /// Torque that turns the wheelbase the positive way there, N·m.
    pub positive_nm: Vec<f64>,
    /// The same the other way.
    pub negative_nm: Vec<f64>,
    /// Orders of the spectrum, periods a turn of the rim, ascending; empty where less than a turn was covered both ways.
    pub order: Vec<f64>,
    /// Amplitude of half the sum of both directions at each, N·m.
    pub amplitude_nm: Vec<f64>,
    /// Orders that stand out, ascending.
    pub lines: Vec<OrderMark>,
}

/// An order that stands out.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct OrderMark {
    /// Periods a turn of the rim.
    pub order: f64,
    /// What of the declared drivetrain it comes from; empty if nothing does.
    pub name: String,
    /// Lower end of the interval, value and upper end of its amplitude, N·m.
    pub amplitude_nm: [f64; 3],
}
