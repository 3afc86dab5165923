//! Quantities of the whole turn: travel between end stops, friction over the angle, and a belt's span.

use super::Words;
use crate::fitting::reading::ShownIn;

const STOPS: &str = "Slow presses onto each stop by a free rim: spring and bristle friction (Canudas de Wit, Olsson, Åström and \
                     Lischinsky, IEEE Trans. Automatic Control 40, 1995, 419) by least squares";
const OVER_ANGLE: &str = "Half the difference of the torques of both directions over the same angles, at several speeds; what \
                          they share against what they scatter (analysis of variance)";

const UNDER_LOAD: &str = "How far rotor and rim differ while a drive turns the rim to and fro and the wheelbase holds two torques of either \
                          sign: linear least squares at each angle over torque, its sign and the direction; turns at several \
                          speeds are repeats";

pub(super) const TRAVEL: Words = (
    "travel",
    "Travel between end stops",
    "Angle of the rim from contact with one end stop to contact with the other.",
    STOPS,
    ShownIn::Degrees,
);

pub(super) const TRAVEL_CENTRE: Words = (
    "travel_centre",
    "Centre of the travel",
    "Middle between both contacts, counted from the zero of the rim encoder: zero where the travel is symmetrical about it.",
    STOPS,
    ShownIn::Degrees,
);

pub(super) const OWN_CENTRE: Words = (
    "own_centre",
    "Centre of the travel, by the wheelbase's own angle",
    "What the wheelbase's own angle reads in the middle between both contacts, over its ratio: its error once a turn is in it.",
    STOPS,
    ShownIn::Degrees,
);

pub(super) const STOP_STIFFNESS: Words = (
    "stop_stiffness",
    "Stiffness of an end stop",
    "Torque per angle of the rim on the stop, command at the rim, up to the torque that the procedure presses with.",
    STOPS,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const FRICTION_VARIATION: Words = (
    "friction_variation",
    "Variation of friction over the turn",
    "Swing from least to greatest of what the friction at slow steady speeds does once and twice a turn.",
    OVER_ANGLE,
    ShownIn::Millinewtonmetres,
);

pub(super) const FRICTION_HARMONIC: Words = (
    "friction_harmonic",
    "Variation of friction, amplitude",
    "Amplitude of the part of the friction that comes back so many times a turn.",
    OVER_ANGLE,
    ShownIn::Millinewtonmetres,
);

pub(super) const FRICTION_SECTOR: Words = (
    "friction_sector",
    "Friction over a sector, less the mean",
    "Friction over a part of the turn less that over the whole turn, mean of the speeds.",
    OVER_ANGLE,
    ShownIn::Millinewtonmetres,
);

pub(super) const TURNED_GAP: Words = (
    "turned_gap",
    "Backlash, turned under load",
    "Angle between rotor (over its ratio) and rim that the sign of the torque moves and its size does not, mean over the turn. Friction slides \
     while the rim turns and hides no part of it; what a spring gives more below the torques held than between them counts to it.",
    UNDER_LOAD,
    ShownIn::Degrees,
);

pub(super) const TURNED_STIFFNESS: Words = (
    "turned_stiffness",
    "Stiffness, turned under load",
    "Torque per angle between rotor and rim, between the smaller and the greater torque held, mean over the turn.",
    UNDER_LOAD,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const GAP_VARIATION: Words = (
    "gap_variation",
    "Variation of the backlash over the turn",
    "Swing from least to greatest of what the backlash does once and twice a turn.",
    UNDER_LOAD,
    ShownIn::Degrees,
);

pub(super) const GAP_SECTOR: Words = (
    "gap_sector",
    "Backlash over a sector, less the mean",
    "Backlash over a part of the turn less that over the whole turn, mean of the speeds.",
    UNDER_LOAD,
    ShownIn::Degrees,
);

pub(super) const STIFFNESS_VARIATION: Words = (
    "stiffness_variation",
    "Variation of the stiffness over the turn",
    "Swing from least to greatest of what the stiffness does once and twice a turn.",
    UNDER_LOAD,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const STIFFNESS_SECTOR: Words = (
    "stiffness_sector",
    "Stiffness over a sector, less the mean",
    "Stiffness over a part of the turn less that over the whole turn, mean of the speeds.",
    UNDER_LOAD,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const SPAN_TENSION: Words = (
    "span_tension",
    "Tension of the belt's span, as declared",
    "Tension of a span that was plucked: 4 m L² f² of the declared frequency f, free length L and mass per length m. Nothing that this \
     run measured enters; it is that of the day on which the span was plucked, and of that span alone.",
    "Fundamental of a string; a belt's stiffness raises its frequency and is left out",
    ShownIn::Newtons,
);
