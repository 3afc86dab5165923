//! What each quantity is called, what it means and where its method comes from. One place, so that table, report and
//! `fit.json` say the same.

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

const STEP: &str = "IEEE Std 181-2011 and IEC 60469:2013 (state levels, transition, overshoot, settling)";
const SWEEP: &str = "Bendat and Piersol, Random Data, 4th ed., ch. 6 and 9 (H1 estimator, random errors)";

impl Quantity {
    /// Every quantity, in the order of a report.
    pub const ALL: [Self; 13] = [
        Self::Latency,
        Self::LatencyJitter,
        Self::TransitionDuration,
        Self::Overshoot,
        Self::SettlingTime,
        Self::SteadyGain,
        Self::Bandwidth,
        Self::FlatBand,
        Self::PhaseDelay,
        Self::DelayAgreement,
        Self::Resonance,
        Self::ResonanceDamping,
        Self::SensorDelay,
    ];

    /// Whether it is read off chirps rather than steps.
    pub fn is_by_frequency(self) -> bool {
        matches!(
            self,
            Self::Bandwidth | Self::FlatBand | Self::PhaseDelay | Self::Resonance | Self::ResonanceDamping
        )
    }

    /// Its words.
    pub fn text(self) -> QuantityText {
        let (id, name, definition, source, shown_in) = match self {
            Self::Latency => (
                "latency",
                "Latency",
                "Pure delay from the instant the setpoint came into force on the rig to the onset of rim torque: the \
                 mean over repeats, those of all sizes of step together where it stands for the unit. The rise that follows \
                 is not part of it; the torque sensor's delay is taken out.",
                "Least squares of one shape for all steps and a delay for each repeat (variable projection, Golub and \
                 Pereyra 1973)",
                ShownIn::Milliseconds,
            ),
            Self::LatencyJitter => (
                "latency_jitter",
                "Latency jitter",
                "Standard deviation of the latency from one repeat to the next. A command that waits to be polled \
                 spreads by the polling period over the square root of 12.",
                "Spread of the fitted delays of the single repeats",
                ShownIn::Milliseconds,
            ),
            Self::TransitionDuration => (
                "transition_duration",
                "Transition duration",
                "Time in which the torque goes from 10 to 90 % of the way between the level left and the level \
                 reached.",
                STEP,
                ShownIn::Milliseconds,
            ),
            Self::Overshoot => (
                "overshoot",
                "Overshoot",
                "Largest excursion beyond the level reached, as a share of the step. Clamped, it is mostly the rotor \
                 ringing on the springs of drivetrain, sensor and fixture.",
                STEP,
                ShownIn::Percent,
            ),
            Self::SettlingTime => (
                "settling_time",
                "Settling time",
                "Time from the setpoint coming into force until the torque stays within the settling band (2 % of the \
                 step, or four times the noise if that is wider). The torque sensor's delay is taken out.",
                STEP,
                ShownIn::Milliseconds,
            ),
            Self::SteadyGain => (
                "steady_gain",
                "Steady gain",
                "Settled change of rim torque as a share of the commanded change. Friction takes its part of it.",
                STEP,
                ShownIn::Percent,
            ),
            Self::Bandwidth => (
                "bandwidth",
                "Bandwidth, −3 dB",
                "Lowest frequency at which the magnitude from setpoint to rim torque has fallen 3 dB below its value \
                 at low frequency. A lightly damped resonance raises this figure; read it with the flat band.",
                SWEEP,
                ShownIn::Hertz,
            ),
            Self::FlatBand => (
                "flat_band",
                "Flat band, ±3 dB",
                "Frequency at which the magnitude first leaves ±3 dB around its value at low frequency, upwards or \
                 downwards.",
                SWEEP,
                ShownIn::Hertz,
            ),
            Self::PhaseDelay => (
                "phase_delay",
                "Delay from phase",
                "Pure delay that remains in the phase of the frequency response once drivetrain, friction and the \
                 drive's declared polling and slew rate are accounted for; an independent look at the latency. Half \
                 the polling period, for which a setpoint waits on average, is part of it; the drive's ramp is not.",
                "Fit of a low-order model times a delay to the complex response (Pintelon and Schoukens, System \
                 Identification, 2nd ed.)",
                ShownIn::Milliseconds,
            ),
            Self::DelayAgreement => (
                "delay_agreement",
                "Latency less delay from phase",
                "Difference of the two delays. Zero within its interval means that steps and chirps agree; \
                 contributions that both share cancel.",
                "JCGM 100:2008, 5.2 (correlated contributions)",
                ShownIn::Milliseconds,
            ),
            Self::Resonance => (
                "resonance",
                "First clamped resonance",
                "Natural frequency of the linear mode nearest to the response around its first peak, from the peak over \
                 1.35 to 1.35 times it, all bands weighted alike. Clamped, the rotor rings on the springs of \
                 drivetrain, torque sensor and fixture in series: the rig is part of it. Friction makes it depend on \
                 amplitude and preload, so it holds at those stated.",
                "Second-order fit to the complex response around the first peak (Pintelon and Schoukens, System \
                 Identification, 2nd ed.)",
                ShownIn::Hertz,
            ),
            Self::ResonanceDamping => (
                "resonance_damping",
                "Damping of the resonance",
                "Damping ratio of that nearest mode: 0 rings for ever, 1 does not ring. It contains what friction \
                 takes at the stated amplitude and preload; a smaller amplitude is damped more.",
                "Second-order fit to the complex response around the first peak (Pintelon and Schoukens, System \
                 Identification, 2nd ed.)",
                ShownIn::Plain,
            ),
            Self::SensorDelay => (
                "sensor_delay",
                "Sensor delay taken out",
                "Declared group delay of torque sensor, amplifier and filter. Every delay above has it taken out and \
                 carries its uncertainty.",
                "Declared in the rig description",
                ShownIn::Milliseconds,
            ),
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
