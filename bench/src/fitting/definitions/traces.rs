//! Quantities of steering traces.

use super::Words;
use crate::fitting::reading::ShownIn;

const ALIGNED: &str = "Least squares of shifted torque on the command, per repeat; JCGM 100:2008, 4.2";

pub(super) const LIMIT_CONTRAST: Words = (
    "limit_contrast",
    "Contrast kept at the grip limit",
    "Drop in rim torque over the drop commanded, from the crest of a steering trace to where its fall behind has ended. \
     Friction holds torque up where the command falls, so it takes from the contrast; noise and scatter of the repeats are in \
     its interval.",
    "Means over a tenth of the time between crest and floor, either side of both, in every repeat",
    ShownIn::Percent,
);

pub(super) const LIMIT_DELAY: Words = (
    "limit_delay",
    "Delay of the drop at the limit",
    "How much later than in the command the middle between crest and floor is passed by the torque, the sensor's delay taken \
     out. Friction delays the beginning of a fall, so it may be longer than the delay of the whole trace.",
    "Crossing of the middle level after one zero-phase low-pass for both (as IEEE Std 181 takes a transition's middle)",
    ShownIn::Milliseconds,
);

pub(super) const TRACE_DELAY: Words = (
    "trace_delay",
    "Delay of the trace",
    "Shift by which torque fits a steering trace best, the sensor's delay taken out, and half of the time for which a setpoint is \
     held. What is slow in a trace weighs most, so rise and friction's hysteresis are in it.",
    ALIGNED,
    ShownIn::Milliseconds,
);

pub(super) const TRACE_ERROR: Words = (
    "trace_error",
    "Error of the trace, RMS",
    "Root mean square of rim torque less command over a steering trace, the delay taken out and nothing else: gain, offset, \
     friction, ringing and noise are in it.",
    ALIGNED,
    ShownIn::NewtonMetres,
);

pub(super) const TRACE_PEAK_ERROR: Words = (
    "trace_peak_error",
    "Error of the trace, greatest",
    "Greatest difference of the mean rim torque of all repeats and the command, the delay taken out.",
    ALIGNED,
    ShownIn::NewtonMetres,
);

pub(super) const TRACE_GAIN: Words = (
    "trace_gain",
    "Gain of the trace",
    "Slope of rim torque over command for a whole steering trace, the delay taken out.",
    ALIGNED,
    ShownIn::Percent,
);

pub(super) const TRACE_BAND_GAIN: Words = (
    "trace_band_gain",
    "Gain of the trace by octave",
    "Root mean square of what follows the command in an octave over that of the command there; beside it the coherence, the \
     share of the torque's power that follows the command linearly.",
    "Spectra of rates, which are at rest at both ends; H1 over short bands (Bendat and Piersol, Random Data, 4th ed., ch. 6)",
    ShownIn::Percent,
);

pub(super) const TRACE_DISTORTION: Words = (
    "trace_distortion",
    "Distortion of the trace",
    "Root mean square of what in the mean of all repeats no linear response to the command explains, over that of the torque; \
     what changes from repeat to repeat is noise and not in it.",
    "Residual of H1 over short bands, less the noise that the repeats show (Pintelon and Schoukens, System Identification, 2nd \
     ed., ch. 4)",
    ShownIn::Percent,
);

pub(super) const TRACE_CLIPPED: Words = (
    "trace_clipped",
    "Share of the trace cut off",
    "Share of a steering trace's time in which more is commanded than arrives at most.",
    "Least squares of torque on a command cut off at one level",
    ShownIn::Percent,
);
