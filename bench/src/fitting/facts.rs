//! What a recording says about itself, in a form that JSON can hold.

use serde::{Deserialize, Serialize};

use super::document::Program;
use crate::recording::Completion;

/// Where the data come from.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct RecordingFacts {
    /// Name of the file.
    pub file: String,
    /// Identifier of the run.
    pub run_id: String,
    /// Start, RFC 3339.
    pub created: String,
    /// The program that recorded.
    pub software: Program,
    /// Who ran it.
    pub operator: String,
    /// `clamped`, `free` or `back-driven`.
    pub mounting: String,
    /// The unit under test.
    pub unit: UnitFacts,
    /// The rig.
    pub rig: RigFacts,
    /// The torque sensor and its calibration.
    pub sensor: SensorFacts,
    /// Names of the files the run was made from (their text is in the recording).
    pub files: Vec<String>,
    /// SHA-256 of each of those, 64 hexadecimal digits; documents of earlier versions have none.
    #[serde(default)]
    pub file_sha256: Vec<(String, String)>,
    /// Seed of random excitation and simulated noise.
    pub seed: u64,
    /// Samples per second.
    pub sample_rate_hz: f64,
    /// From the first to the last sample, s.
    pub duration_s: f64,
    /// Number of samples.
    pub samples: u64,
    /// How the run ended.
    pub completion: Ending,
    /// SHA-256 seal, 64 hexadecimal digits; `None` if the recording is not sealed.
    pub seal: Option<String>,
    /// Version of the way of hashing.
    pub seal_method: Option<String>,
    /// Further names and values.
    pub extra: Vec<(String, String)>,
}

/// The unit under test.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct UnitFacts {
    /// Model name.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Firmware version and settings.
    pub firmware: String,
}

/// The rig.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct RigFacts {
    /// Name of the rig.
    pub name: String,
    /// `virtual` or `serial`.
    pub kind: String,
    /// `hard-wired` or `none`.
    pub emergency_stop: String,
    /// Name of the fixture.
    pub fixture: String,
    /// Torque at full scale of the setpoint, N·m.
    pub full_scale_nm: f64,
    /// Declared period at which the firmware looks for setpoints, s.
    pub update_period_s: Option<f64>,
}

/// The torque sensor and its calibration. A number that the rig file does not declare is `None`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SensorFacts {
    /// Model name.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Rated torque, N·m.
    pub range_nm: Option<f64>,
    /// Date of calibration.
    pub calibrated: String,
    /// Date it runs out.
    pub due: String,
    /// Certificate number.
    pub certificate: String,
    /// Standard uncertainty of the gain, relative.
    pub gain_uncertainty: Option<f64>,
    /// Standard uncertainty of the zero, N·m.
    pub zero_uncertainty_nm: Option<f64>,
    /// Declared group delay, s.
    pub group_delay_s: Option<f64>,
    /// Standard uncertainty of the group delay, s.
    pub delay_uncertainty_s: Option<f64>,
}

/// How a run ended.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ending {
    /// `complete`, `tripped`, `stopped`, `failed` or `unknown` (the recording was never finished).
    pub state: String,
    /// Why; empty when complete.
    pub cause: String,
}

impl Ending {
    /// Whether the whole procedure was played.
    pub fn is_complete(&self) -> bool {
        self.state == "complete"
    }

    /// How a recording says it ended; `None` is one that was never finished.
    pub fn of(completion: Option<&Completion>) -> Self {
        match completion {
            Some(completion) => {
                let (state, cause) = completion.parts();
                Self {
                    state: state.into(),
                    cause: cause.into(),
                }
            }
            None => Self {
                state: "unknown".into(),
                cause: "the recording was not finished; recover it before relying on it".into(),
            },
        }
    }
}
