//! From a recording to typed results. The recording is the only input; nothing here can move a motor.
//!
//! The result is a [`FitDocument`]: measurands with uncertainty and conditions, the curves that plots need, and checks
//! on the recording. What the data cannot support stays in its place as a refusal with its reason.

mod agreement;
mod axis;
mod belt;
mod by_frequency;
mod curves;
mod cut;
mod definitions;
mod delays;
mod document;
mod driver_curves;
mod drivetrain;
mod drivetrain_curves;
mod error;
mod facts;
mod fit;
mod gather;
mod groups;
mod heat;
mod ideal;
mod model;
mod motion;
mod multisines;
mod parts;
mod peaks;
mod periods;
mod quality;
mod reading;
mod scan;
mod sensor;
mod shock;
mod shown;
mod small;
mod spread;
mod static_map;
mod steps;
mod sweeps;
#[cfg(test)]
mod tests;
mod traces;
mod twist;

pub use axis::{AxisFit, AxisRequest, AxisResult, fit_axis};
pub use belt::{BeltReport, NotCompared, SIGNIFICANCE, compare_belts};
pub use definitions::{Family, QuantityText};
pub use document::{
    Conditions, DelayCurve, FitDocument, FrequencyCurve, LOWEST_DB, LatencyCurve, Measurand, ModelFacts,
    Program, Quantity, RigSpring, RootFacts, SCHEMA, SCHEMA_VERSION, StepCurves, Temperature,
};
pub use driver_curves::{
    GrainCurve, HeatCurve, PreloadCurve, ResolutionCurve, ShockCurve, ShockLine, StaticMapCurve, TraceCurve,
    TrainCurve,
};
pub use drivetrain_curves::{CoggingCurve, FrictionCurve, LoopCurve, OrderMark, StopCurve};
pub use error::FittingError;
pub use facts::{Ending, RecordingFacts, RigFacts, SensorFacts, UnitFacts};
pub(crate) use fit::Source;
pub use fit::{FitOptions, fit_recording};
pub use reading::{Reading, ShownIn, plain};
pub use shown::Curves;
