//! What each quantity is called, what it means and where its method comes from. One place, so that table, report and
//! `fit.json` say the same.

mod chirps;
mod drivetrain;
mod heat;
mod motion;
mod shock;
mod small;
mod static_map;
mod steps;
mod traces;
mod turn;

use super::document::Quantity;
use super::reading::ShownIn;

/// Words for one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuantityText {
    /// Stable word: the measurand's id and the report's anchor.
    pub id: &'static str,
    /// Name a person reads.
    pub name: &'static str,
    /// What is meant.
    pub definition: &'static str,
    /// Source of the method.
    pub source: &'static str,
    /// Unit a person reads it in.
    pub shown_in: ShownIn,
}

/// Id, name, definition, source, unit.
type Words = (&'static str, &'static str, &'static str, &'static str, ShownIn);

/// What a result is read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Steps, and what is declared of the rig.
    Steps,
    /// Chirps, and signals of whole periods.
    Chirps,
    /// A rim that turns, free or driven.
    Motion,
    /// Staircases: steady torque.
    Static,
    /// Slow torque or slow turning: gaps, springs, friction over speed, cogging, the position sensor.
    Drivetrain,
    /// Steering traces.
    Traces,
    /// Half-sine pulses and trains of them.
    Shock,
    /// Small steps, small sines and steady torque on preloads.
    Small,
    /// Long holds: warming, and what it takes from torque.
    Heat,
}

impl Quantity {
    /// Every quantity, in the order of a report.
    pub const ALL: [Self; 123] = [
        Self::Latency,
        Self::LatencyJitter,
        Self::LatencyLow,
        Self::LatencyMedian,
        Self::LatencyHigh,
        Self::UpdatePeriod,
        Self::DeadTime,
        Self::ArrivalJitter,
        Self::TransitionDuration,
        Self::RiseToHalf,
        Self::SlewLargest,
        Self::SlewSustained,
        Self::Overshoot,
        Self::Undershoot,
        Self::SettlingTime,
        Self::SteadyGain,
        Self::Bandwidth,
        Self::FlatBand,
        Self::PhaseNinety,
        Self::GroupDelay,
        Self::PhaseDelay,
        Self::DelayAgreement,
        Self::ModelDelay,
        Self::OddDistortion,
        Self::EvenDistortion,
        Self::PeriodNoise,
        Self::Resonance,
        Self::ResonanceDamping,
        Self::Amplification,
        Self::DriveStiffness,
        Self::RotorInertia,
        Self::IdealResonance,
        Self::IdealBandwidth,
        Self::IdealFlatBand,
        Self::StaticGain,
        Self::StaticOffset,
        Self::Deadband,
        Self::StaticHysteresis,
        Self::Linearity,
        Self::LinearityTerminal,
        Self::LinearityZero,
        Self::Repeatability,
        Self::SaturationKnee,
        Self::TorquePositive,
        Self::TorqueNegative,
        Self::Coulomb,
        Self::CoulombPositive,
        Self::CoulombNegative,
        Self::Viscous,
        Self::TorqueOffset,
        Self::TurningInertia,
        Self::Drag,
        Self::CoastCoulomb,
        Self::CoastViscous,
        Self::Backlash,
        Self::LostMotion,
        Self::Hysteresis,
        Self::RangeStiffness,
        Self::MotorBreakaway,
        Self::BeltKnee,
        Self::BeltStiffness,
        Self::BeltBeyond,
        Self::PreslidingStiffness,
        Self::SweepCoulomb,
        Self::SweepViscous,
        Self::Breakaway,
        Self::BreakawayPositive,
        Self::BreakawayNegative,
        Self::StribeckSpeed,
        Self::DragAtSpeed,
        Self::Cogging,
        Self::CoggingOrder,
        Self::CoggingPhase,
        Self::RippleUnderLoad,
        Self::PositionError,
        Self::PositionResolution,
        Self::PositionNoise,
        Self::PositionDelay,
        Self::Travel,
        Self::TravelCentre,
        Self::OwnCentre,
        Self::StopStiffness,
        Self::FrictionVariation,
        Self::FrictionHarmonic,
        Self::FrictionSector,
        Self::TurnedGap,
        Self::TurnedStiffness,
        Self::GapVariation,
        Self::GapSector,
        Self::StiffnessVariation,
        Self::StiffnessSector,
        Self::SpanTension,
        Self::LimitContrast,
        Self::LimitDelay,
        Self::TraceDelay,
        Self::TraceError,
        Self::TracePeakError,
        Self::TraceGain,
        Self::TraceBandGain,
        Self::TraceDistortion,
        Self::TraceClipped,
        Self::ShockRetention,
        Self::ShockDelay,
        Self::ShockWidth,
        Self::ShockAfter,
        Self::TrainSwing,
        Self::TrainLeft,
        Self::ResolutionUp,
        Self::ResolutionDown,
        Self::IncrementUp,
        Self::IncrementDown,
        Self::SineGain,
        Self::SineDelay,
        Self::GrainRms,
        Self::GrainPeak,
        Self::GrainBand,
        Self::TorqueHeld,
        Self::HeatFast,
        Self::HeatSlow,
        Self::SustainedTorque,
        Self::DeratingOnset,
        Self::HeatRecovery,
        Self::SensorDelay,
    ];

    /// What it is read off.
    pub fn family(self) -> Family {
        match self {
            Self::Bandwidth
            | Self::FlatBand
            | Self::PhaseNinety
            | Self::GroupDelay
            | Self::PhaseDelay
            | Self::ModelDelay
            | Self::OddDistortion
            | Self::EvenDistortion
            | Self::PeriodNoise
            | Self::Resonance
            | Self::ResonanceDamping
            | Self::Amplification
            | Self::DriveStiffness
            | Self::RotorInertia
            | Self::IdealResonance
            | Self::IdealBandwidth
            | Self::IdealFlatBand => Family::Chirps,
            Self::StaticGain
            | Self::StaticOffset
            | Self::Deadband
            | Self::StaticHysteresis
            | Self::Linearity
            | Self::LinearityTerminal
            | Self::LinearityZero
            | Self::Repeatability
            | Self::SaturationKnee
            | Self::TorquePositive
            | Self::TorqueNegative => Family::Static,
            Self::Coulomb
            | Self::CoulombPositive
            | Self::CoulombNegative
            | Self::Viscous
            | Self::TorqueOffset
            | Self::TurningInertia
            | Self::Drag
            | Self::CoastCoulomb
            | Self::CoastViscous => Family::Motion,
            Self::Backlash
            | Self::LostMotion
            | Self::Hysteresis
            | Self::RangeStiffness
            | Self::MotorBreakaway
            | Self::BeltKnee
            | Self::BeltStiffness
            | Self::BeltBeyond
            | Self::PreslidingStiffness
            | Self::SweepCoulomb
            | Self::SweepViscous
            | Self::Breakaway
            | Self::BreakawayPositive
            | Self::BreakawayNegative
            | Self::StribeckSpeed
            | Self::DragAtSpeed
            | Self::Cogging
            | Self::CoggingOrder
            | Self::CoggingPhase
            | Self::RippleUnderLoad
            | Self::PositionError
            | Self::PositionResolution
            | Self::PositionNoise
            | Self::PositionDelay
            | Self::Travel
            | Self::TravelCentre
            | Self::OwnCentre
            | Self::StopStiffness
            | Self::FrictionVariation
            | Self::FrictionHarmonic
            | Self::FrictionSector
            | Self::TurnedGap
            | Self::TurnedStiffness
            | Self::GapVariation
            | Self::GapSector
            | Self::StiffnessVariation
            | Self::StiffnessSector
            | Self::SpanTension => Family::Drivetrain,
            Self::LimitContrast
            | Self::LimitDelay
            | Self::TraceDelay
            | Self::TraceError
            | Self::TracePeakError
            | Self::TraceGain
            | Self::TraceBandGain
            | Self::TraceDistortion
            | Self::TraceClipped => Family::Traces,
            Self::ShockRetention
            | Self::ShockDelay
            | Self::ShockWidth
            | Self::ShockAfter
            | Self::TrainSwing
            | Self::TrainLeft => Family::Shock,
            Self::ResolutionUp
            | Self::ResolutionDown
            | Self::IncrementUp
            | Self::IncrementDown
            | Self::SineGain
            | Self::SineDelay
            | Self::GrainRms
            | Self::GrainPeak
            | Self::GrainBand => Family::Small,
            Self::TorqueHeld
            | Self::HeatFast
            | Self::HeatSlow
            | Self::SustainedTorque
            | Self::DeratingOnset
            | Self::HeatRecovery => Family::Heat,
            _ => Family::Steps,
        }
    }

    /// Whether it is read off chirps or signals of whole periods rather than steps.
    pub fn is_by_frequency(self) -> bool {
        self.family() == Family::Chirps
    }

    /// Whether it stands in a second table, behind what most readers look for.
    pub fn is_detail(self) -> bool {
        matches!(
            self,
            Self::LatencyLow
                | Self::LatencyMedian
                | Self::LatencyHigh
                | Self::UpdatePeriod
                | Self::DeadTime
                | Self::ArrivalJitter
                | Self::RiseToHalf
                | Self::SlewLargest
                | Self::SlewSustained
                | Self::Undershoot
                | Self::PhaseNinety
                | Self::GroupDelay
                | Self::ModelDelay
                | Self::Amplification
                | Self::DriveStiffness
                | Self::RotorInertia
                | Self::IdealResonance
                | Self::IdealBandwidth
                | Self::IdealFlatBand
                | Self::LinearityTerminal
                | Self::LinearityZero
                | Self::CoulombPositive
                | Self::CoulombNegative
                | Self::TorqueOffset
                | Self::CoastCoulomb
                | Self::CoastViscous
                | Self::BreakawayPositive
                | Self::BreakawayNegative
                | Self::StribeckSpeed
                | Self::BeltKnee
                | Self::BeltStiffness
                | Self::BeltBeyond
                | Self::PositionDelay
                | Self::OwnCentre
                | Self::SineDelay
        )
    }

    /// Its words.
    pub fn text(self) -> QuantityText {
        let (id, name, definition, source, shown_in) = match self {
            Self::Latency => steps::LATENCY,
            Self::LatencyJitter => steps::LATENCY_JITTER,
            Self::LatencyLow => steps::LATENCY_LOW,
            Self::LatencyMedian => steps::LATENCY_MEDIAN,
            Self::LatencyHigh => steps::LATENCY_HIGH,
            Self::UpdatePeriod => steps::UPDATE_PERIOD,
            Self::DeadTime => steps::DEAD_TIME,
            Self::ArrivalJitter => steps::ARRIVAL_JITTER,
            Self::TransitionDuration => steps::TRANSITION_DURATION,
            Self::RiseToHalf => steps::RISE_TO_HALF,
            Self::SlewLargest => steps::SLEW_LARGEST,
            Self::SlewSustained => steps::SLEW_SUSTAINED,
            Self::Overshoot => steps::OVERSHOOT,
            Self::Undershoot => steps::UNDERSHOOT,
            Self::SettlingTime => steps::SETTLING_TIME,
            Self::SteadyGain => steps::STEADY_GAIN,
            Self::Bandwidth => chirps::BANDWIDTH,
            Self::FlatBand => chirps::FLAT_BAND,
            Self::PhaseNinety => chirps::PHASE_NINETY,
            Self::GroupDelay => chirps::GROUP_DELAY,
            Self::PhaseDelay => chirps::PHASE_DELAY,
            Self::DelayAgreement => chirps::DELAY_AGREEMENT,
            Self::ModelDelay => chirps::MODEL_DELAY,
            Self::OddDistortion => chirps::ODD_DISTORTION,
            Self::EvenDistortion => chirps::EVEN_DISTORTION,
            Self::PeriodNoise => chirps::PERIOD_NOISE,
            Self::Resonance => chirps::RESONANCE,
            Self::ResonanceDamping => chirps::RESONANCE_DAMPING,
            Self::Amplification => chirps::AMPLIFICATION,
            Self::DriveStiffness => chirps::DRIVE_STIFFNESS,
            Self::RotorInertia => chirps::ROTOR_INERTIA,
            Self::IdealResonance => chirps::IDEAL_RESONANCE,
            Self::IdealBandwidth => chirps::IDEAL_BANDWIDTH,
            Self::IdealFlatBand => chirps::IDEAL_FLAT_BAND,
            Self::StaticGain => static_map::GAIN,
            Self::StaticOffset => static_map::OFFSET,
            Self::Deadband => static_map::DEADBAND,
            Self::StaticHysteresis => static_map::HYSTERESIS,
            Self::Linearity => static_map::LINEARITY,
            Self::LinearityTerminal => static_map::LINEARITY_TERMINAL,
            Self::LinearityZero => static_map::LINEARITY_ZERO,
            Self::Repeatability => static_map::REPEATABILITY,
            Self::SaturationKnee => static_map::KNEE,
            Self::TorquePositive => static_map::TORQUE_POSITIVE,
            Self::TorqueNegative => static_map::TORQUE_NEGATIVE,
            Self::Coulomb => motion::COULOMB,
            Self::CoulombPositive => motion::COULOMB_POSITIVE,
            Self::CoulombNegative => motion::COULOMB_NEGATIVE,
            Self::Viscous => motion::VISCOUS,
            Self::TorqueOffset => motion::TORQUE_OFFSET,
            Self::TurningInertia => motion::TURNING_INERTIA,
            Self::Drag => motion::DRAG,
            Self::CoastCoulomb => motion::COAST_COULOMB,
            Self::CoastViscous => motion::COAST_VISCOUS,
            Self::Backlash => drivetrain::BACKLASH,
            Self::LostMotion => drivetrain::LOST_MOTION,
            Self::Hysteresis => drivetrain::HYSTERESIS,
            Self::RangeStiffness => drivetrain::RANGE_STIFFNESS,
            Self::MotorBreakaway => drivetrain::MOTOR_BREAKAWAY,
            Self::BeltKnee => drivetrain::BELT_KNEE,
            Self::BeltStiffness => drivetrain::BELT_STIFFNESS,
            Self::BeltBeyond => drivetrain::BELT_BEYOND,
            Self::PreslidingStiffness => drivetrain::PRESLIDING_STIFFNESS,
            Self::SweepCoulomb => drivetrain::SWEEP_COULOMB,
            Self::SweepViscous => drivetrain::SWEEP_VISCOUS,
            Self::Breakaway => drivetrain::BREAKAWAY,
            Self::BreakawayPositive => drivetrain::BREAKAWAY_POSITIVE,
            Self::BreakawayNegative => drivetrain::BREAKAWAY_NEGATIVE,
            Self::StribeckSpeed => drivetrain::STRIBECK_SPEED,
            Self::DragAtSpeed => drivetrain::DRAG_AT_SPEED,
            Self::Cogging => drivetrain::COGGING,
            Self::CoggingOrder => drivetrain::COGGING_ORDER,
            Self::CoggingPhase => drivetrain::COGGING_PHASE,
            Self::RippleUnderLoad => drivetrain::RIPPLE_UNDER_LOAD,
            Self::PositionError => drivetrain::POSITION_ERROR,
            Self::PositionResolution => drivetrain::POSITION_RESOLUTION,
            Self::PositionNoise => drivetrain::POSITION_NOISE,
            Self::PositionDelay => drivetrain::POSITION_DELAY,
            Self::Travel => turn::TRAVEL,
            Self::TravelCentre => turn::TRAVEL_CENTRE,
            Self::OwnCentre => turn::OWN_CENTRE,
            Self::StopStiffness => turn::STOP_STIFFNESS,
            Self::FrictionVariation => turn::FRICTION_VARIATION,
            Self::FrictionHarmonic => turn::FRICTION_HARMONIC,
            Self::FrictionSector => turn::FRICTION_SECTOR,
            Self::TurnedGap => turn::TURNED_GAP,
            Self::TurnedStiffness => turn::TURNED_STIFFNESS,
            Self::GapVariation => turn::GAP_VARIATION,
            Self::GapSector => turn::GAP_SECTOR,
            Self::StiffnessVariation => turn::STIFFNESS_VARIATION,
            Self::StiffnessSector => turn::STIFFNESS_SECTOR,
            Self::SpanTension => turn::SPAN_TENSION,
            Self::LimitContrast => traces::LIMIT_CONTRAST,
            Self::LimitDelay => traces::LIMIT_DELAY,
            Self::TraceDelay => traces::TRACE_DELAY,
            Self::TraceError => traces::TRACE_ERROR,
            Self::TracePeakError => traces::TRACE_PEAK_ERROR,
            Self::TraceGain => traces::TRACE_GAIN,
            Self::TraceBandGain => traces::TRACE_BAND_GAIN,
            Self::TraceDistortion => traces::TRACE_DISTORTION,
            Self::TraceClipped => traces::TRACE_CLIPPED,
            Self::ShockRetention => shock::SHOCK_RETENTION,
            Self::ShockDelay => shock::SHOCK_DELAY,
            Self::ShockWidth => shock::SHOCK_WIDTH,
            Self::ShockAfter => shock::SHOCK_AFTER,
            Self::TrainSwing => shock::TRAIN_SWING,
            Self::TrainLeft => shock::TRAIN_LEFT,
            Self::ResolutionUp => small::RESOLUTION_UP,
            Self::ResolutionDown => small::RESOLUTION_DOWN,
            Self::IncrementUp => small::INCREMENT_UP,
            Self::IncrementDown => small::INCREMENT_DOWN,
            Self::SineGain => small::SINE_GAIN,
            Self::SineDelay => small::SINE_DELAY,
            Self::GrainRms => small::GRAIN_RMS,
            Self::GrainPeak => small::GRAIN_PEAK,
            Self::GrainBand => small::GRAIN_BAND,
            Self::TorqueHeld => heat::TORQUE_HELD,
            Self::HeatFast => heat::HEAT_FAST,
            Self::HeatSlow => heat::HEAT_SLOW,
            Self::SustainedTorque => heat::SUSTAINED_TORQUE,
            Self::DeratingOnset => heat::DERATING_ONSET,
            Self::HeatRecovery => heat::HEAT_RECOVERY,
            Self::SensorDelay => steps::SENSOR_DELAY,
        };
        QuantityText {
            id,
            name,
            definition,
            source,
            shown_in,
        }
    }
}
