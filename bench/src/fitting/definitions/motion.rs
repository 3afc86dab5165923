//! Quantities of a rim that turns.

use super::Words;
use crate::fitting::reading::ShownIn;

const INVERSE: &str = "Inverse dynamics by least squares, torque and regressors through one low-pass (Gautier, Janot and \
                       Vandanjon, IEEE Trans. Control Systems Technology 21, 2013, 428)";

pub(super) const COULOMB: Words = (
    "coulomb",
    "Coulomb friction",
    "Friction that does not depend on speed, mean of both directions, at the rim.",
    INVERSE,
    ShownIn::NewtonMetres,
);

pub(super) const COULOMB_POSITIVE: Words = (
    "coulomb_positive",
    "Coulomb friction, positive",
    "Friction that does not depend on speed while the rim turns in the positive direction. It rests on the zero of \
     torque.",
    INVERSE,
    ShownIn::NewtonMetres,
);

pub(super) const COULOMB_NEGATIVE: Words = (
    "coulomb_negative",
    "Coulomb friction, negative",
    "Friction that does not depend on speed while the rim turns in the negative direction. It rests on the zero of \
     torque.",
    INVERSE,
    ShownIn::NewtonMetres,
);

pub(super) const VISCOUS: Words = (
    "viscous",
    "Viscous friction",
    "Growth of friction with speed, at the rim.",
    INVERSE,
    ShownIn::NewtonMetreSecondsPerRadian,
);

pub(super) const TORQUE_OFFSET: Words = (
    "torque_offset",
    "Offset of torque",
    "Torque that turns one way at setpoint zero: zero of sensor or drive and half the difference of friction by \
     direction together, which no motion can part.",
    INVERSE,
    ShownIn::NewtonMetres,
);

pub(super) const TURNING_INERTIA: Words = (
    "turning_inertia",
    "Inertia that turns",
    "Inertia at the rim of all that the torque turns: free, the wheelbase and the disc together; back-driven, the \
     wheelbase alone.",
    INVERSE,
    ShownIn::KilogramSquareMetres,
);

pub(super) const DRAG: Words = (
    "drag",
    "Drag when turned",
    "Mean torque that it takes to turn the wheelbase at setpoint zero at the drive's steady speed, mean of both \
     directions: Coulomb and viscous friction at that speed together.",
    "Mean over whole periods of what repeats with the angle",
    ShownIn::NewtonMetres,
);

pub(super) const COAST_COULOMB: Words = (
    "coast_coulomb",
    "Coulomb friction, coasting",
    "Friction that does not depend on speed, from how the rim slows down by itself.",
    "Closed form of the coasting angle by least squares",
    ShownIn::NewtonMetres,
);

pub(super) const COAST_VISCOUS: Words = (
    "coast_viscous",
    "Viscous friction, coasting",
    "Growth of friction with speed, from how the rim slows down by itself.",
    "Closed form of the coasting angle by least squares",
    ShownIn::NewtonMetreSecondsPerRadian,
);
