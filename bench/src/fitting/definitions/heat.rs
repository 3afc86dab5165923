//! Quantities of warming.

use super::Words;
use crate::fitting::reading::ShownIn;

const BODIES: &str = "One or two bodies warmed by the square of the current times copper's resistance at the temperature \
                      measured (0.393 % a kelvin, as in IEC 60034-1's rule); least squares over warming and cooling";

pub(super) const TORQUE_HELD: Words = (
    "torque_held",
    "Torque held",
    "Torque in the last tenth of the longest hold over that in its first tenth, command unchanged: what warming takes.",
    "Means over both tenths",
    ShownIn::Percent,
);

pub(super) const HEAT_FAST: Words = (
    "heat_fast",
    "Warming, fast time constant",
    "Time constant of the body that warms first, the winding; of all, where one body explains the record as well.",
    BODIES,
    ShownIn::Seconds,
);

pub(super) const HEAT_SLOW: Words = (
    "heat_slow",
    "Warming, slow time constant",
    "Time constant of the body that warms behind it, the case.",
    BODIES,
    ShownIn::Seconds,
);

pub(super) const SUSTAINED_TORQUE: Words = (
    "sustained_torque",
    "Sustained torque",
    "Command that, held for good, warms the winding by 50 K above where it was cold, copper's resistance at that temperature \
     in it. What of it arrives is told by the static map and by the torque held.",
    BODIES,
    ShownIn::NewtonMetres,
);

pub(super) const DERATING_ONSET: Words = (
    "derating_onset",
    "Onset of derating",
    "Temperature from which rim torque falls by more than it did before, command unchanged.",
    "Two straight lines of torque over temperature that meet; least squares",
    ShownIn::Celsius,
);

pub(super) const HEAT_RECOVERY: Words = (
    "heat_recovery",
    "Half of the rise gone",
    "Time behind the longest hold in which half of the rise in temperature has gone, at zero torque.",
    "First passage of half the rise, by straight lines between means over a second",
    ShownIn::Seconds,
);
