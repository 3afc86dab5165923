//! From a recording to typed results. The recording is the only input; nothing here can move a motor.
//!
//! The result is a [`FitDocument`]: measurands with uncertainty and conditions, the curves that plots need, and checks
//! on the recording. What the data cannot support stays in its place as a refusal with its reason.

mod definitions;
mod document;
mod facts;
mod reading;

pub use definitions::QuantityText;
pub use document::{
    Conditions, Curves, FitDocument, FrequencyCurve, LatencyCurve, Measurand, Program, Quantity, RigSpring,
    SCHEMA, SCHEMA_VERSION, StepCurves, Temperature,
};
pub use facts::{Ending, RecordingFacts, RigFacts, SensorFacts, UnitFacts};
pub use reading::{Reading, ShownIn, plain};
