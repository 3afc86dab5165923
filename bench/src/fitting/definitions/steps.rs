//! Quantities of steps.

use super::Words;
use crate::fitting::reading::ShownIn;

const STEP: &str = "IEEE Std 181-2011 and IEC 60469:2013 (state levels, transition, overshoot, settling)";

pub(super) const LATENCY: Words = (
    "latency",
    "Latency",
    "Pure delay from the instant the setpoint came into force on the rig to the onset of rim torque: the \
     mean over repeats, those of all sizes of step together where it stands for the unit. The rise that follows \
     is not part of it; the torque sensor's delay is taken out.",
    "Least squares of one shape for all steps and a delay for each repeat (variable projection, Golub and \
     Pereyra 1973)",
    ShownIn::Milliseconds,
);

pub(super) const LATENCY_JITTER: Words = (
    "latency_jitter",
    "Latency jitter",
    "Standard deviation of the latency from one repeat to the next. A command that waits to be polled \
     spreads by the polling period over the square root of 12.",
    "Spread of the fitted delays of the single repeats",
    ShownIn::Milliseconds,
);

pub(super) const TRANSITION_DURATION: Words = (
    "transition_duration",
    "Transition duration",
    "Time in which the torque goes from 10 to 90 % of the way between the level left and the level \
     reached.",
    STEP,
    ShownIn::Milliseconds,
);

pub(super) const OVERSHOOT: Words = (
    "overshoot",
    "Overshoot",
    "Largest excursion beyond the level reached, as a share of the step. Clamped, it is mostly the rotor \
     ringing on the springs of drivetrain, sensor and fixture.",
    STEP,
    ShownIn::Percent,
);

pub(super) const SETTLING_TIME: Words = (
    "settling_time",
    "Settling time",
    "Time from the setpoint coming into force until the torque stays within the settling band (2 % of the \
     step, or four times the noise if that is wider), noise left out. Where a peak of the ringing just meets the edge of the \
     band, the interval spans half a period. The torque sensor's delay is taken out.",
    STEP,
    ShownIn::Milliseconds,
);

pub(super) const STEADY_GAIN: Words = (
    "steady_gain",
    "Steady gain",
    "Settled change of rim torque as a share of the commanded change. Friction takes its part of it.",
    STEP,
    ShownIn::Percent,
);

pub(super) const SENSOR_DELAY: Words = (
    "sensor_delay",
    "Sensor delay taken out",
    "Declared group delay of torque sensor, amplifier and filter. Every delay above has it taken out and \
     carries its uncertainty.",
    "Declared in the rig description",
    ShownIn::Milliseconds,
);

const ARRIVALS: &str =
    "Comb of the arrivals by Rayleigh's test (Mardia and Jupp, Directional Statistics, 6.3)";
const QUANTILE: &str = "Quantile of the fitted delays of the single repeats, interval by the bootstrap (Efron and Tibshirani 1993)";

pub(super) const LATENCY_LOW: Words = (
    "latency_p05",
    "Latency, 5 % below",
    "The latency that 5 % of the repeats fall short of. With starts spread evenly over the update period it lies a \
     twentieth of a period above the dead time.",
    QUANTILE,
    ShownIn::Milliseconds,
);

pub(super) const LATENCY_MEDIAN: Words = (
    "latency_median",
    "Latency, median",
    "The latency that half of the repeats fall short of.",
    QUANTILE,
    ShownIn::Milliseconds,
);

pub(super) const LATENCY_HIGH: Words = (
    "latency_p95",
    "Latency, 95 % below",
    "The latency that 95 % of the repeats fall short of.",
    QUANTILE,
    ShownIn::Milliseconds,
);

pub(super) const UPDATE_PERIOD: Words = (
    "update_period",
    "Update period",
    "Period at which torque can begin, from the instants at which it does: a setpoint waits for the firmware to look, \
     so arrivals fall on a comb whenever the setpoints were sent. Half of it is the mean wait, a part of the latency.",
    ARRIVALS,
    ShownIn::Milliseconds,
);

pub(super) const DEAD_TIME: Words = (
    "dead_time",
    "Dead time",
    "Latency of a setpoint that comes just in time to be looked at: what link, queue, calculation and current control \
     take, without the wait. Latency is this and half the update period.",
    ARRIVALS,
    ShownIn::Milliseconds,
);

pub(super) const ARRIVAL_JITTER: Words = (
    "arrival_jitter",
    "Jitter beyond the wait",
    "Scatter of the arrivals about the comb, one standard deviation: what varies from step to step beside the wait for \
     the update. The noise of one fitted delay is in it.",
    ARRIVALS,
    ShownIn::Milliseconds,
);

pub(super) const RISE_TO_HALF: Words = (
    "rise_to_half",
    "Rise to half",
    "Time from the onset of torque to half of the way between the levels: slew limit, current control and the rotor \
     on its springs. Setpoint to half the torque takes latency and this together.",
    "First passage of the 50 % reference level (IEEE Std 181-2011) less the fitted delay, repeat by repeat",
    ShownIn::Milliseconds,
);

pub(super) const SLEW_LARGEST: Words = (
    "slew_largest",
    "Slew rate, largest",
    "Steepest slope of the rim torque within the transition, as the torque sensor's band shows it; what chords between \
     samples fall short of it is made good. Ringing on the springs of drivetrain and rig adds to what the drive does.",
    STEP,
    ShownIn::NewtonMetresPerMillisecond,
);

pub(super) const SLEW_SUSTAINED: Words = (
    "slew_sustained",
    "Slew rate, sustained",
    "Half the change of the step over the shortest time in which the rim torque rises by it: a rate that is kept, not \
     one of a single pair of samples.",
    STEP,
    ShownIn::NewtonMetresPerMillisecond,
);

pub(super) const UNDERSHOOT: Words = (
    "undershoot",
    "Undershoot after the peak",
    "Largest excursion short of the level reached after the first peak, as a share of the step.",
    STEP,
    ShownIn::Percent,
);
