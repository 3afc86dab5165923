//! The fit document: everything that a person or another program is told of a recording, and nothing else.

use serde::{Deserialize, Serialize};
use truerim_analysis::estimate::{Check, Estimate, Outcome};

use super::definitions::Family;
use super::facts::RecordingFacts;
use super::reading::ShownIn;
use super::shown::Curves;
use crate::recording::Recording;

/// What `fit.json` calls itself.
pub const SCHEMA: &str = "truerim fit";
/// Version of its layout; a reader refuses a larger one.
pub const SCHEMA_VERSION: u32 = 1;

/// What the analysis says of one recording. Written to `fit.json`; reports are made from it alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitDocument {
    /// [`SCHEMA`].
    pub schema: String,
    /// [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The program that fitted.
    pub software: Program,
    /// The recording it was made from.
    pub recording: RecordingFacts,
    /// The spring that the rig is.
    pub rig_spring: RigSpring,
    /// Results, headline ones first in each family.
    pub measurands: Vec<Measurand>,
    /// Transfer functions fitted to chirps; documents of earlier versions have none.
    #[serde(default)]
    pub models: Vec<ModelFacts>,
    /// What the plots need.
    pub curves: Curves,
    /// Checks on the recording as a whole.
    pub quality: Vec<Check>,
}

impl FitDocument {
    /// The result that stands for a quantity: its headline measurand.
    pub fn headline(&self, quantity: Quantity) -> Option<&Measurand> {
        self.measurands
            .iter()
            .find(|m| m.quantity == quantity && m.headline)
    }

    /// Results of one family in the groups that do not stand for their quantity, group by group in order.
    pub fn other_groups(&self, family: Family) -> Vec<(&str, Vec<&Measurand>)> {
        let mut groups: Vec<(&str, Vec<&Measurand>)> = Vec::new();
        for m in self
            .measurands
            .iter()
            .filter(|m| !m.headline && m.quantity.family() == family)
        {
            match groups.iter_mut().find(|(name, _)| *name == m.group) {
                Some((_, members)) => members.push(m),
                None => groups.push((&m.group, vec![m])),
            }
        }
        groups
    }

    /// The quantities that any of those groups has, each once, in their own order: the columns of a table of groups.
    pub fn other_quantities(&self, family: Family) -> Vec<Quantity> {
        let mut quantities: Vec<Quantity> = self
            .measurands
            .iter()
            .filter(|m| !m.headline && m.quantity.family() == family)
            .map(|m| m.quantity)
            .collect();
        quantities.sort();
        quantities.dedup();
        quantities
    }

    /// Whether the run ended as planned and every check on the recording passed.
    pub fn is_sound(&self) -> bool {
        self.recording.completion.is_complete() && self.quality.iter().all(|check| check.passed)
    }
}

/// A program and its version.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Program {
    /// Name.
    pub name: String,
    /// Released version.
    pub version: String,
    /// Source revision and build profile; empty if not known.
    pub build: String,
}

/// Torsional stiffness between the rim and ground: sensor and fixture in series, `1/k = 1/k_sensor + 1/k_fixture`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct RigSpring {
    /// Torque sensor, N·m/rad, if declared.
    pub sensor_nm_per_rad: Option<f64>,
    /// Fixture, N·m/rad, if declared.
    pub fixture_nm_per_rad: Option<f64>,
    /// Both in series, N·m/rad, if both are declared.
    pub series_nm_per_rad: Option<f64>,
}

impl RigSpring {
    /// What a recording declares.
    pub(super) fn of(recording: &Recording) -> Self {
        let header = recording.header();
        Self::new(
            header.sensor.stiffness_nm_per_rad,
            header.rig.fixture_stiffness_nm_per_rad,
        )
    }

    /// Puts a sensor and a fixture in series. Values that are not finite and positive count as not declared.
    pub fn new(sensor_nm_per_rad: f64, fixture_nm_per_rad: f64) -> Self {
        let declared = |k: f64| (k.is_finite() && k > 0.0).then_some(k);
        let (sensor, fixture) = (declared(sensor_nm_per_rad), declared(fixture_nm_per_rad));
        let series = sensor.zip(fixture).map(|(a, b)| 1.0 / (1.0 / a + 1.0 / b));
        Self {
            sensor_nm_per_rad: sensor,
            fixture_nm_per_rad: fixture,
            series_nm_per_rad: series,
        }
    }
}

/// What is measured. Its name, definition and source are in [`Quantity::text`](super::Quantity::text).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Mean delay from the setpoint coming into force to torque onset.
    Latency,
    /// Standard deviation of that delay over repeats.
    LatencyJitter,
    /// Latency that 5 % of the repeats fall short of.
    LatencyLow,
    /// Median of the latency.
    LatencyMedian,
    /// Latency that 95 % of the repeats fall short of.
    LatencyHigh,
    /// Period at which torque can begin.
    UpdatePeriod,
    /// Latency without the wait for the update.
    DeadTime,
    /// Scatter of the arrivals about their comb.
    ArrivalJitter,
    /// Time from 10 to 90 % of the step.
    TransitionDuration,
    /// Time from onset to half of the step.
    RiseToHalf,
    /// Steepest rise of torque.
    SlewLargest,
    /// Rise kept over half the step.
    SlewSustained,
    /// Largest excursion beyond the level reached.
    Overshoot,
    /// Largest excursion short of the level after the peak.
    Undershoot,
    /// Time to stay within the settling band.
    SettlingTime,
    /// Torque reached per torque commanded.
    SteadyGain,
    /// Frequency at which the magnitude has fallen by 3 dB.
    Bandwidth,
    /// Frequency up to which the magnitude stays within ±3 dB.
    FlatBand,
    /// Frequency at which the phase has fallen by 90 degrees.
    PhaseNinety,
    /// Slope of the phase around 10 Hz.
    GroupDelay,
    /// Pure delay from the phase.
    PhaseDelay,
    /// Latency less the delay from the phase.
    DelayAgreement,
    /// Pure delay beside the rational model.
    ModelDelay,
    /// Torque at odd lines that were not played.
    OddDistortion,
    /// Torque at even lines that were not played.
    EvenDistortion,
    /// Torque that differs from period to period.
    PeriodNoise,
    /// First resonance, clamped.
    Resonance,
    /// Its damping ratio.
    ResonanceDamping,
    /// Its gain over that at low frequency.
    Amplification,
    /// Torque per twist between rotor and rim.
    DriveStiffness,
    /// Inertia that rings at the first resonance.
    RotorInertia,
    /// First resonance on an ideal clamp.
    IdealResonance,
    /// Bandwidth on an ideal clamp.
    IdealBandwidth,
    /// Flat band on an ideal clamp.
    IdealFlatBand,
    /// Steady torque by command.
    StaticGain,
    /// Steady torque at zero command.
    StaticOffset,
    /// Command before torque follows.
    Deadband,
    /// Difference of steady torque between ways down and up.
    StaticHysteresis,
    /// Distance of the map from the nearest line.
    Linearity,
    /// The same from the line through both ends.
    LinearityTerminal,
    /// The same from the best line through zero command.
    LinearityZero,
    /// Spread of steady torque from cycle to cycle.
    Repeatability,
    /// Command above which torque hardly grows.
    SaturationKnee,
    /// Torque at the largest command.
    TorquePositive,
    /// Torque at the lowest command.
    TorqueNegative,
    /// Coulomb friction, mean of both directions.
    Coulomb,
    /// Coulomb friction in the positive direction.
    CoulombPositive,
    /// Coulomb friction in the negative direction.
    CoulombNegative,
    /// Viscous friction.
    Viscous,
    /// Torque that turns one way.
    TorqueOffset,
    /// Inertia of all that turns.
    TurningInertia,
    /// Torque that it takes to turn the wheelbase steadily.
    Drag,
    /// Coulomb friction from coasting down.
    CoastCoulomb,
    /// Viscous friction from coasting down.
    CoastViscous,
    /// Free angle between rotor and rim.
    Backlash,
    /// Distance of the mid-lines of a loop at small torque.
    LostMotion,
    /// Width of a loop at zero torque.
    Hysteresis,
    /// Torque per twist over a range of torque.
    RangeStiffness,
    /// Breakaway torque of the motor's side.
    MotorBreakaway,
    /// Torque from which a belt's slack span carries nothing.
    BeltKnee,
    /// Torque per twist below it.
    BeltStiffness,
    /// Torque per twist beyond it.
    BeltBeyond,
    /// Torque per angle that friction gives before it slides.
    PreslidingStiffness,
    /// Coulomb friction from several speeds.
    SweepCoulomb,
    /// Viscous friction from several speeds.
    SweepViscous,
    /// Breakaway torque, mean of both directions.
    Breakaway,
    /// Breakaway torque in the positive direction.
    BreakawayPositive,
    /// Breakaway torque in the negative direction.
    BreakawayNegative,
    /// Speed over which friction falls from rest.
    StribeckSpeed,
    /// Torque that it takes to turn the wheelbase at one of several speeds.
    DragAtSpeed,
    /// Swing of torque over the angle.
    Cogging,
    /// Amplitude of one order.
    CoggingOrder,
    /// Phase of one order.
    CoggingPhase,
    /// Growth of one order with the torque.
    RippleUnderLoad,
    /// Error once a turn of the wheelbase's own angle.
    PositionError,
    /// Smallest step of the wheelbase's own angle.
    PositionResolution,
    /// Noise of the wheelbase's own angle.
    PositionNoise,
    /// Delay of the wheelbase's own angle.
    PositionDelay,
    /// Angle from one end stop to the other.
    Travel,
    /// Middle between the end stops, from the rim encoder's zero.
    TravelCentre,
    /// The same, from the zero of the wheelbase's own angle.
    OwnCentre,
    /// Torque per angle of an end stop.
    StopStiffness,
    /// Swing of friction over the angle.
    FrictionVariation,
    /// Amplitude of friction's variation by harmonic of a turn.
    FrictionHarmonic,
    /// Friction over a part of a turn.
    FrictionSector,
    /// Gap of a drivetrain that is turned under load.
    TurnedGap,
    /// Stiffness of one that is turned under load.
    TurnedStiffness,
    /// Swing of the gap over the angle.
    GapVariation,
    /// Gap over a part of a turn.
    GapSector,
    /// Swing of the stiffness over the angle.
    StiffnessVariation,
    /// Stiffness over a part of a turn.
    StiffnessSector,
    /// Tension of a belt's span from its declared frequency.
    SpanTension,
    /// Drop at the grip limit that arrives.
    LimitContrast,
    /// Delay of that drop.
    LimitDelay,
    /// Delay of a steering trace.
    TraceDelay,
    /// Root mean square of its error.
    TraceError,
    /// Greatest error.
    TracePeakError,
    /// Its gain.
    TraceGain,
    /// Its gain in one octave.
    TraceBandGain,
    /// What no linear response explains of it.
    TraceDistortion,
    /// Share of it that is cut off.
    TraceClipped,
    /// Share of a half-sine's crest that arrives.
    ShockRetention,
    /// Delay of its middle.
    ShockDelay,
    /// Its duration over that commanded.
    ShockWidth,
    /// What is left behind it.
    ShockAfter,
    /// Swing kept within a train of them.
    TrainSwing,
    /// What is left between them.
    TrainLeft,
    /// Smallest step up that is told from noise.
    ResolutionUp,
    /// Smallest step down.
    ResolutionDown,
    /// Share of a small step up that arrives.
    IncrementUp,
    /// Share of a small step down.
    IncrementDown,
    /// Gain of a small sine.
    SineGain,
    /// Its delay.
    SineDelay,
    /// Root mean square of the torque about a held level.
    GrainRms,
    /// Its greatest departure.
    GrainPeak,
    /// Its part in one band.
    GrainBand,
    /// Share of the torque at first that is left at the end of a hold.
    TorqueHeld,
    /// Faster time constant of warming.
    HeatFast,
    /// Slower time constant.
    HeatSlow,
    /// Torque that warms by a stated rise in the end.
    SustainedTorque,
    /// Temperature from which less torque arrives.
    DeratingOnset,
    /// Time in which half of the rise goes again.
    HeatRecovery,
    /// Declared delay of the torque sensor, taken out of the others.
    SensorDelay,
}

/// One result with what it means and under which conditions it holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurand {
    /// Unique in the document: the quantity's word, and the group after `@` where the group is not the headline.
    pub id: String,
    /// What is measured.
    pub quantity: Quantity,
    /// Whether this one stands for the quantity in a summary.
    pub headline: bool,
    /// The group of repeats it was found from, in words: `0.35 to 1.05 N·m`; empty if it has none.
    pub group: String,
    /// Name a person reads.
    pub name: String,
    /// What is meant, in one or two sentences.
    pub definition: String,
    /// Where the method comes from.
    pub source: String,
    /// Unit a person reads it in.
    pub shown_in: ShownIn,
    /// Under which conditions it holds.
    pub conditions: Conditions,
    /// The value or the reason why there is none.
    pub result: Outcome,
}

impl Measurand {
    /// The estimate, if there is one.
    pub fn estimate(&self) -> Option<&Estimate> {
        self.result.estimate()
    }
}

/// Delay times a rational transfer function of minimum phase, `gain · exp(-s delay) · Π zeros / Π poles`, each factor 1 at
/// zero frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelFacts {
    /// The group in words.
    pub group: String,
    /// Conditions.
    pub conditions: Conditions,
    /// Number of poles.
    pub poles: usize,
    /// Number of zeros.
    pub zeros: usize,
    /// Lowest and highest frequency fitted, Hz.
    pub range_hz: [f64; 2],
    /// Root of the mean squared residual in units of the errors of the response: 1 where noise alone is left.
    pub residual: f64,
    /// Number of bands fitted.
    pub lines: usize,
    /// Numbers of poles and zeros that were tried.
    pub orders_tried: usize,
    /// Gain at zero frequency.
    pub gain: Outcome,
    /// Pure delay, s.
    pub delay: Outcome,
    /// Poles, then zeros, by frequency; those beyond ten times the range say nothing and are left out.
    pub roots: Vec<RootFacts>,
    /// Checks on the fit.
    pub checks: Vec<Check>,
}

/// A pole or a zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RootFacts {
    /// `pole` or `zero`.
    pub kind: String,
    /// Whether it stands for a complex pair.
    pub pair: bool,
    /// Magnitude over 2π, Hz.
    pub frequency: Outcome,
    /// Damping ratio; 1 for a real root.
    pub damping: Outcome,
}

/// Conditions that a result holds under. What is not known is `None`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Conditions {
    /// `clamped`, `free` or `back-driven`.
    pub mounting: String,
    /// Change that a step asks for, with its sign, or amplitude of a chirp, N·m.
    pub amplitude_nm: Option<f64>,
    /// Constant torque that the excitation stands on, N·m.
    pub preload_nm: Option<f64>,
    /// Temperature while the group was played.
    pub temperature: Option<Temperature>,
    /// Usable repeats.
    pub n: usize,
    /// Spring of the rig, N·m/rad, beside every dynamic result.
    pub rig_spring_nm_per_rad: Option<f64>,
}

/// A temperature over a stretch of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Temperature {
    /// The channel's name as a person reads it.
    pub channel: String,
    /// Mean, °C.
    pub mean_degc: f64,
    /// Lowest, °C.
    pub min_degc: f64,
    /// Highest, °C.
    pub max_degc: f64,
}

/// Steps of one group on one time axis. Every list has one entry an instant.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StepCurves {
    /// The group in words.
    pub group: String,
    /// Conditions.
    pub conditions: Conditions,
    /// Instants from the setpoint coming into force, sensor delay taken out, s.
    pub t_s: Vec<f64>,
    /// Median over repeats, N·m.
    pub median_nm: Vec<f64>,
    /// 5 % of the repeats lie below, N·m.
    pub p05_nm: Vec<f64>,
    /// 5 % of the repeats lie above, N·m.
    pub p95_nm: Vec<f64>,
    /// Some single repeats, evenly picked, N·m.
    pub repeats_nm: Vec<Vec<f64>>,
    /// Torque commanded before, N·m.
    pub from_nm: f64,
    /// Torque commanded after, N·m.
    pub to_nm: f64,
    /// Mean level left, N·m.
    pub low_nm: f64,
    /// Mean level reached, N·m.
    pub high_nm: f64,
    /// Mean instant of 10 %, s.
    pub t10_s: f64,
    /// Mean instant of 90 %, s.
    pub t90_s: f64,
    /// Fitted latency, s, if there is one.
    pub latency_s: Option<f64>,
    /// The fitted rise, instants, s.
    pub model_t_s: Vec<f64>,
    /// The fitted rise, N·m.
    pub model_nm: Vec<f64>,
}

/// Latency of each repeat.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LatencyCurve {
    /// The group in words.
    pub group: String,
    /// Conditions.
    pub conditions: Conditions,
    /// Delay of each repeat in order of playing, s; `None` where the repeat could not be used.
    pub per_repeat_s: Vec<Option<f64>>,
    /// Declared period at which the firmware looks for setpoints, s.
    pub update_period_s: Option<f64>,
}

/// Frequency response in bands; every list has one entry a band, frequencies ascending.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct FrequencyCurve {
    /// The group in words.
    pub group: String,
    /// What was played: `chirp`, `multisine` or `pseudo-random`.
    #[serde(default = "chirp")]
    pub excitation: String,
    /// Conditions.
    pub conditions: Conditions,
    /// Centre of the band, Hz.
    pub f_hz: Vec<f64>,
    /// Magnitude, dB re 1 N·m/N·m.
    pub gain_db: Vec<f64>,
    /// Lower end of the 95 % error band, dB.
    pub gain_low_db: Vec<f64>,
    /// Upper end, dB.
    pub gain_high_db: Vec<f64>,
    /// Unwrapped phase with the delay in it, sensor delay taken out, degrees.
    pub phase_deg: Vec<f64>,
    /// Half width of the 95 % error band of the phase, degrees.
    pub phase_band_deg: Vec<f64>,
    /// Phase with the fitted pure delay taken out; `None` if no delay could be fitted.
    pub phase_without_delay_deg: Option<Vec<f64>>,
    /// Ordinary coherence.
    pub coherence: Vec<f64>,
    /// Coherence below which a band is not used.
    pub least_coherence: f64,
    /// Gain at low frequency that −3 dB and ±3 dB refer to, dB.
    pub reference_db: Option<f64>,
    /// −3 dB bandwidth, Hz.
    pub bandwidth_hz: Option<f64>,
    /// End of the flat band, Hz.
    pub flat_band_hz: Option<f64>,
    /// First resonance: frequency and its 95 % interval, Hz.
    pub resonance_hz: Option<[f64; 3]>,
    /// Delay of the envelope of a slow signal at that frequency, slope of the phase through neighbouring bands.
    #[serde(default)]
    pub group_delay: DelayCurve,
    /// What distortion puts on one realisation, dB re 1 N·m/N·m, where multisines tell; [`LOWEST_DB`] where none shows.
    #[serde(default)]
    pub distortion_db: Option<Vec<f64>>,
    /// What noise puts on one period, likewise.
    #[serde(default)]
    pub noise_db: Option<Vec<f64>>,
}

/// Group delay over frequency; every list has one entry a frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DelayCurve {
    /// Frequency, Hz, ascending.
    pub f_hz: Vec<f64>,
    /// Delay, s.
    pub delay_s: Vec<f64>,
    /// Half width of the 95 % error band, s.
    pub band_s: Vec<f64>,
}

/// What documents of earlier versions were made from.
fn chirp() -> String {
    "chirp".into()
}

/// Lowest level in a [`FrequencyCurve`], dB: stands for nothing at all.
pub const LOWEST_DB: f64 = -120.0;
