//! Every curve that a fit document may hold.

use serde::{Deserialize, Serialize};

use super::document::{FrequencyCurve, LatencyCurve, StepCurves};
use super::driver_curves::{HeatCurve, ResolutionCurve, ShockCurve, StaticMapCurve, TraceCurve};
use super::drivetrain_curves::{CoggingCurve, FrictionCurve, LoopCurve, StopCurve};

/// Curves for plots; absent where there is nothing to show.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Curves {
    /// Steps of the headline group over one another.
    pub steps: Option<StepCurves>,
    /// Latency of each repeat of the headline group.
    pub latency: Option<LatencyCurve>,
    /// Frequency response of the headline chirps.
    pub frequency: Option<FrequencyCurve>,
    /// Steady torque over command.
    #[serde(default)]
    pub static_map: Option<StaticMapCurve>,
    /// The first steering trace; documents of earlier versions have none.
    #[serde(default)]
    pub trace: Option<TraceCurve>,
    /// Half-sine pulses by width.
    #[serde(default)]
    pub shock: Option<ShockCurve>,
    /// Small steps on preloads.
    #[serde(default)]
    pub resolution: Option<ResolutionCurve>,
    /// Warming and cooling.
    #[serde(default)]
    pub heat: Option<HeatCurve>,
    /// Slow loops of torque over twist; documents of earlier versions have none of the drivetrain.
    #[serde(default)]
    pub loops: Option<LoopCurve>,
    /// Presses onto end stops, one entry a stop; empty where there are none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stops: Vec<StopCurve>,
    /// Friction over speed.
    #[serde(default)]
    pub friction: Option<FrictionCurve>,
    /// Torque over the angle, and its orders.
    #[serde(default)]
    pub cogging: Option<CoggingCurve>,
}
