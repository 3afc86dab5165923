//! Quantities of the static map.

use super::Words;
use crate::fitting::reading::ShownIn;

const MAP: &str = "Staircase up and down on both sides of zero, mean of both ways; least squares over 10 to 70 % of the \
                   largest command (terms of IEC 61298-2)";
const LINES: &str = "Terms of IEC 61298-2: conformity independent, terminal-based, zero-based; in percent of the span from \
                     the lowest to the highest command, times the gain";

pub(super) const GAIN: Words = (
    "static_gain",
    "Static gain",
    "Steady torque at the rim by command: the slope of the line through both sides of zero.",
    MAP,
    ShownIn::Percent,
);

pub(super) const OFFSET: Words = (
    "static_offset",
    "Static offset",
    "Steady torque at zero command by the same line. The sensor's zero is part of its uncertainty.",
    MAP,
    ShownIn::NewtonMetres,
);

pub(super) const DEADBAND: Words = (
    "deadband",
    "Smallest effective command",
    "Command that it takes before torque follows: half the distance between the commands at which the lines of both sides \
     reach the offset. Friction is not in it, as the mean of both ways is taken: on one way half of the hysteresis comes on \
     top. Below zero, small commands are amplified, or friction grows with load, as that of gears does.",
    "Staircase up and down on both sides of zero, mean of both ways; least squares over 10 to 45 % of the largest command (terms \
     of IEC 61298-2)",
    ShownIn::NewtonMetres,
);

pub(super) const HYSTERESIS: Words = (
    "static_hysteresis",
    "Static hysteresis",
    "Largest difference of steady torque between the way down and the way up at one command: what friction \
     still holds either way once ringing behind each step up or down has shaken out its part.",
    "Terms of IEC 61298-2",
    ShownIn::NewtonMetres,
);

pub(super) const LINEARITY: Words = (
    "linearity",
    "Linearity, independent",
    "Largest distance of the map from the line that is nearest to it at its worst. The torque sensor's own deviation is in it.",
    LINES,
    ShownIn::Percent,
);

pub(super) const LINEARITY_TERMINAL: Words = (
    "linearity_terminal",
    "Linearity, terminal-based",
    "Largest distance of the map from the line through both its ends.",
    LINES,
    ShownIn::Percent,
);

pub(super) const LINEARITY_ZERO: Words = (
    "linearity_zero",
    "Linearity, zero-based",
    "Largest distance of the map from the best line through its torque at zero command.",
    LINES,
    ShownIn::Percent,
);

pub(super) const REPEATABILITY: Words = (
    "repeatability",
    "Repeatability, static",
    "Standard deviation of steady torque from cycle to cycle, at one command reached the same way, without touching the \
     fixture between.",
    "Pooled over levels and ways; terms of IEC 61298-2",
    ShownIn::NewtonMetres,
);

pub(super) const KNEE: Words = (
    "saturation_knee",
    "Saturation",
    "Command above which torque grows by less than half the gain, the nearer side of zero.",
    "Line of the gain up to the mean torque of the levels that have gone flat",
    ShownIn::NewtonMetres,
);

pub(super) const TORQUE_POSITIVE: Words = (
    "torque_positive",
    "Largest torque, positive",
    "Settled torque at the highest level of the staircase.",
    MAP,
    ShownIn::NewtonMetres,
);

pub(super) const TORQUE_NEGATIVE: Words = (
    "torque_negative",
    "Largest torque, negative",
    "Settled torque at the lowest level of the staircase.",
    MAP,
    ShownIn::NewtonMetres,
);
