//! Quantities of small changes on preloads, and of torque that is held.

use super::Words;
use crate::fitting::reading::ShownIn;

const TOLD: &str = "Detection of a change of known size at equal rates of false and of missed ones (normal distribution); \
                    catch trials without a change tell the noise";
const HELD: &str = "Torque less a straight line, over the second half of a hold; spectra by Welch's method (Bendat and Piersol, \
                    Random Data, 4th ed., ch. 11)";

pub(super) const RESOLUTION_UP: Words = (
    "resolution_up",
    "Smallest step up",
    "Smallest change of command away from zero that is told from none at an error rate of 5 % either way, by the means of rim \
     torque before and behind it. The torque sensor's own noise is in it. Of several preloads a middle one stands for all.",
    TOLD,
    ShownIn::Millinewtonmetres,
);

pub(super) const RESOLUTION_DOWN: Words = (
    "resolution_down",
    "Smallest step down",
    "The same towards zero, behind a preload that was reached from zero: friction has turned round first.",
    TOLD,
    ShownIn::Millinewtonmetres,
);

pub(super) const INCREMENT_UP: Words = (
    "increment_up",
    "Share of a small step up",
    "Change of rim torque over the largest of the small changes of command away from zero.",
    "Means before and behind each step, less those of trials without one",
    ShownIn::Percent,
);

pub(super) const INCREMENT_DOWN: Words = (
    "increment_down",
    "Share of a small step down",
    "The same towards zero: behind a reversal friction lets pass what its pre-sliding stiffness leaves beside that of the \
     drivetrain.",
    "Means before and behind each step, less those of trials without one",
    ShownIn::Percent,
);

pub(super) const SINE_GAIN: Words = (
    "sine_gain",
    "Gain of a small sine",
    "Amplitude of rim torque over that of the setpoint for a small sine on a preload, at its frequency alone. The smallest \
     stands for all.",
    "Least squares of sine, cosine and a line over whole periods, of torque and of setpoint alike",
    ShownIn::Percent,
);

pub(super) const SINE_DELAY: Words = (
    "sine_delay",
    "Delay of a small sine",
    "Lag of the phase of a small sine behind the setpoint as it is held, over its frequency; the sensor's delay taken out.",
    "Least squares of sine, cosine and a line over whole periods, of torque and of setpoint alike",
    ShownIn::Milliseconds,
);

pub(super) const GRAIN_RMS: Words = (
    "grain_rms",
    "Grain, RMS",
    "Root mean square of rim torque about its level while a torque is held, the sensor's noise in it; the row at 0 N·m shows \
     how much that is.",
    HELD,
    ShownIn::Millinewtonmetres,
);

pub(super) const GRAIN_PEAK: Words = (
    "grain_peak",
    "Grain, peak",
    "Greatest departure of rim torque from its level in a stretch of half a second, mean of all such stretches.",
    HELD,
    ShownIn::Millinewtonmetres,
);

pub(super) const GRAIN_BAND: Words = (
    "grain_band",
    "Grain in a band",
    "Root mean square of the part of it in one band of frequencies.",
    HELD,
    ShownIn::Millinewtonmetres,
);
