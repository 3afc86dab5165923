//! Quantities of half-sine pulses.

use super::Words;
use crate::fitting::reading::ShownIn;

const PULSE: &str =
    "Pulse terms of IEEE Std 181, half-sine of IEC 60068-2-27 (both from memory); JCGM 100:2008, 4.2";

pub(super) const SHOCK_RETENTION: Words = (
    "shock_retention",
    "Share of a short pulse",
    "Crest of rim torque over the crest commanded, both counted from the torque before a half-sine pulse. Above 100 % the \
     drivetrain rings along. The pulse on a preload whose width is nearest 15 ms stands for all.",
    PULSE,
    ShownIn::Percent,
);

pub(super) const SHOCK_DELAY: Words = (
    "shock_delay",
    "Delay of a short pulse",
    "How much later than commanded the middle between both instants comes at which the pulse has half of its crest, the \
     sensor's delay and half of the time that a setpoint is held taken out.",
    PULSE,
    ShownIn::Milliseconds,
);

pub(super) const SHOCK_WIDTH: Words = (
    "shock_width",
    "Width of a short pulse",
    "Duration at half of the crest over that of the pulse commanded: above 100 % the pulse is smeared.",
    PULSE,
    ShownIn::Percent,
);

pub(super) const SHOCK_AFTER: Words = (
    "shock_after",
    "Left behind a short pulse",
    "Largest torque either way, counted from that before the pulse, once the pulse has ended and its delay has passed, over \
     the crest commanded: smear, ringing, and what friction keeps.",
    PULSE,
    ShownIn::Percent,
);

pub(super) const TRAIN_SWING: Words = (
    "train_swing",
    "Swing kept in a train",
    "Crests less the valleys between them over the crest commanded, in a train of pulses one way, its first pair left out. \
     The train with the shortest spacing stands for all.",
    PULSE,
    ShownIn::Percent,
);

pub(super) const TRAIN_LEFT: Words = (
    "train_left",
    "Left between pulses",
    "Lowest torque between two crests of a train, counted from that before it, over the crests beside it. At 0 % each \
     pulse stands alone, at 100 % they have run into one; below zero torque swings past the preload between them.",
    PULSE,
    ShownIn::Percent,
);
