//! Curves of what a driver gets: steering traces, the static map, pulses, small steps, warming.

use serde::{Deserialize, Serialize};

use super::document::Conditions;

/// A steering trace as commanded and as it arrived, the delay taken out. Lists of instants have one entry an instant, those of bands
/// one a band.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TraceCurve {
    /// The segment.
    pub group: String,
    /// Conditions.
    pub conditions: Conditions,
    /// Instants from the start of the trace, s.
    pub t_s: Vec<f64>,
    /// Torque commanded, N·m.
    pub commanded_nm: Vec<f64>,
    /// Mean torque of all repeats, N·m.
    pub arrived_nm: Vec<f64>,
    /// One standard deviation of a repeat below, N·m.
    pub low_nm: Vec<f64>,
    /// One above, N·m.
    pub high_nm: Vec<f64>,
    /// The delay that is taken out, sensor included, s.
    pub shift_s: f64,
    /// Crest, floor, and the time either side of both over which means are taken, s; where there is a grip limit.
    pub limit_s: Option<[f64; 3]>,
    /// Drop commanded there, N·m.
    pub drop_nm: Option<f64>,
    /// Lowest and highest frequency of the octaves that have a gain, Hz; from 0 for the slowest.
    pub bands_hz: Vec<[f64; 2]>,
    /// Lower end of the interval, value and upper end of the gain of each.
    pub gain: Vec<[f64; 3]>,
    /// Coherence of each.
    pub coherence: Vec<f64>,
}

/// The static map; every list has one entry a level, commands ascending.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StaticMapCurve {
    /// Conditions.
    pub conditions: Conditions,
    /// Command, N·m.
    pub command_nm: Vec<f64>,
    /// Torque on the way up, mean of cycles, N·m; `None` where the level is only reached downward.
    pub rising_nm: Vec<Option<f64>>,
    /// The same on the way down.
    pub falling_nm: Vec<Option<f64>>,
    /// Slope of the line through both sides.
    pub gain: Option<f64>,
    /// Torque of that line at zero command, N·m.
    pub offset_nm: Option<f64>,
}

/// Half-sine pulses: shares by width, and one train as it arrived.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShockCurve {
    /// Conditions of the headline pulse.
    pub conditions: Conditions,
    /// One line of shares a crest and preload, widest spread of widths first.
    pub lines: Vec<ShockLine>,
    /// The train with the shortest spacing.
    pub train: Option<TrainCurve>,
}

/// Shares of one crest on one preload; lists have one entry a width, ascending.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShockLine {
    /// Crest, N·m, with its sign.
    pub amplitude_nm: f64,
    /// Preload, N·m.
    pub preload_nm: f64,
    /// Width, s.
    pub width_s: Vec<f64>,
    /// Lower end of the interval, value and upper end of the share of the crest that arrives.
    pub retention: Vec<[f64; 3]>,
}

/// A train of pulses; lists have one entry an instant.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TrainCurve {
    /// The segment.
    pub group: String,
    /// From the start of one pulse to the next, s.
    pub spacing_s: f64,
    /// Instants from the start of the first pulse, s.
    pub t_s: Vec<f64>,
    /// Torque commanded, counted from the preload, N·m, shifted by the delay.
    pub commanded_nm: Vec<f64>,
    /// Mean torque of all trains, counted from that before, N·m.
    pub arrived_nm: Vec<f64>,
    /// Delay by which the command is shifted, sensor included, s.
    pub late_s: f64,
}

/// Small steps on preloads.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ResolutionCurve {
    /// Conditions of the headline preload.
    pub conditions: Conditions,
    /// One entry a preload, ascending.
    pub preloads: Vec<PreloadCurve>,
    /// Spectra of torque held; one entry a level, ascending.
    pub grain: Vec<GrainCurve>,
}

/// Small steps on one preload.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PreloadCurve {
    /// Preload, N·m.
    pub preload_nm: f64,
    /// Changes of command, N·m, ascending; towards zero negative.
    pub size_nm: Vec<f64>,
    /// Mean change of torque, N·m.
    pub change_nm: Vec<f64>,
    /// Standard deviation of one trial, N·m.
    pub sd_nm: Vec<f64>,
    /// Change that it takes to be told, N·m.
    pub needed_nm: f64,
}

/// Spectrum of torque about a level; lists have one entry a frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct GrainCurve {
    /// Level, N·m.
    pub level_nm: f64,
    /// Frequency, Hz.
    pub f_hz: Vec<f64>,
    /// Root of the density, N·m/√Hz.
    pub density: Vec<f64>,
}

/// Warming and cooling; lists have one entry an instant.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct HeatCurve {
    /// Conditions of the longest hold.
    pub conditions: Conditions,
    /// Instants from the first sample, s.
    pub t_s: Vec<f64>,
    /// Temperature measured, °C.
    pub temperature_degc: Vec<f64>,
    /// What the bodies fitted say, °C.
    pub model_degc: Vec<f64>,
    /// Torque commanded, N·m.
    pub commanded_nm: Vec<f64>,
    /// Torque measured, N·m.
    pub torque_nm: Vec<f64>,
}
