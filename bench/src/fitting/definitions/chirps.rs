//! Quantities of chirps.

use super::Words;
use crate::fitting::reading::ShownIn;

const SWEEP: &str = "Bendat and Piersol, Random Data, 4th ed., ch. 6 and 9 (H1 estimator, random errors)";

const RATIONAL: &str = "Delay times a rational transfer function of minimum phase by maximum likelihood (Pintelon and Schoukens, \
                        System Identification, 2nd ed., ch. 9)";
const CLAMP: &str =
    "Two inertias on springs: the rig's spring declared, the drivetrain's measured; JCGM 100:2008, 5.1.2";

pub(super) const BANDWIDTH: Words = (
    "bandwidth",
    "Bandwidth, −3 dB",
    "Lowest frequency at which the magnitude from setpoint to rim torque has fallen 3 dB below its value \
     at low frequency. A lightly damped resonance raises this figure; read it with the flat band.",
    SWEEP,
    ShownIn::Hertz,
);

pub(super) const FLAT_BAND: Words = (
    "flat_band",
    "Flat band, ±3 dB",
    "Frequency at which the magnitude first leaves ±3 dB around its value at low frequency, upwards or \
     downwards.",
    SWEEP,
    ShownIn::Hertz,
);

pub(super) const PHASE_DELAY: Words = (
    "phase_delay",
    "Delay from phase",
    "Pure delay that remains in the phase of the frequency response once drivetrain, friction and the \
     drive's declared polling and slew rate are accounted for; an independent look at the latency. Half \
     the polling period, for which a setpoint waits on average, is part of it; the drive's ramp is not.",
    "Fit of a low-order model times a delay to the complex response (Pintelon and Schoukens, System \
     Identification, 2nd ed.)",
    ShownIn::Milliseconds,
);

pub(super) const DELAY_AGREEMENT: Words = (
    "delay_agreement",
    "Latency less delay from phase",
    "Difference of the two delays. Zero within its interval means that steps and chirps agree; \
     contributions that both share cancel.",
    "JCGM 100:2008, 5.2 (correlated contributions)",
    ShownIn::Milliseconds,
);

pub(super) const RESONANCE: Words = (
    "resonance",
    "First clamped resonance",
    "Natural frequency of the linear mode nearest to the response around its first peak, from the peak over \
     1.35 to 1.35 times it, all bands weighted alike. Clamped, the rotor rings on the springs of \
     drivetrain, torque sensor and fixture in series: the rig is part of it. Friction makes it depend on \
     amplitude and preload, so it holds at those stated.",
    "Second-order fit to the complex response around the first peak (Pintelon and Schoukens, System \
     Identification, 2nd ed.)",
    ShownIn::Hertz,
);

pub(super) const RESONANCE_DAMPING: Words = (
    "resonance_damping",
    "Damping of the resonance",
    "Damping ratio of that nearest mode: 0 rings for ever, 1 does not ring. It contains what friction \
     takes at the stated amplitude and preload; a smaller amplitude is damped more.",
    "Second-order fit to the complex response around the first peak (Pintelon and Schoukens, System \
     Identification, 2nd ed.)",
    ShownIn::Plain,
);

pub(super) const PHASE_NINETY: Words = (
    "phase_ninety",
    "−90° frequency",
    "Lowest frequency at which the phase from setpoint to rim torque, delay included and the sensor's taken out, has \
     fallen by 90 degrees. Beyond it feedback of torque works against what it was meant to damp.",
    "Unwrapped phase with the bulk delay taken out, smoothed by a quadratic through neighbouring bands",
    ShownIn::Hertz,
);

pub(super) const GROUP_DELAY: Words = (
    "group_delay",
    "Group delay at 10 Hz",
    "Delay of the envelope of a slow signal: the slope of the phase over the octave around 10 Hz, delay and rise \
     together.",
    "Straight line through the unwrapped phase of neighbouring bands (−dφ/dω)",
    ShownIn::Milliseconds,
);

pub(super) const MODEL_DELAY: Words = (
    "model_delay",
    "Delay beside the rational model",
    "Pure delay that a rational transfer function of the order chosen leaves in the phase. What acts beyond the \
     fitted range (current control, the drive's ramp, its hold) looks like delay there and is in it, so it is longer than \
     the latency; read it with the model's residual.",
    RATIONAL,
    ShownIn::Milliseconds,
);

pub(super) const DRIVE_STIFFNESS: Words = (
    "drive_stiffness",
    "Stiffness of the drivetrain",
    "Rim torque per twist between rotor and rim while the preload keeps gears and belt in contact. Friction of the hub \
     before it slides is in it.",
    "Least squares of twist on torque, both through one zero-phase low-pass below the first resonance",
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const ROTOR_INERTIA: Words = (
    "rotor_inertia",
    "Inertia of the rotor at the rim",
    "Inertia that rings on drivetrain, sensor and fixture in series at the first resonance; a stiff-mounted hub adds a \
     small part of its own. Friction that has not begun to slide stiffens the spring and lowers this figure.",
    "Two inertias on springs: k over the square of the natural angular frequency",
    ShownIn::KilogramSquareMetres,
);

pub(super) const IDEAL_RESONANCE: Words = (
    "ideal_resonance",
    "Resonance on an ideal clamp",
    "First resonance of rotor and drivetrain if rim and ground were one: what belongs to the wheelbase alone. Refused \
     where the rig's springs give more than the drivetrain does, as the rig then decides.",
    CLAMP,
    ShownIn::Hertz,
);

const LINEAR: &str = "Best linear approximation from random-phase multisines (Pintelon and Schoukens, System Identification, \
                      2nd ed., ch. 4)";

pub(super) const ODD_DISTORTION: Words = (
    "odd_distortion",
    "Odd distortion",
    "Torque at odd lines that were not played, over the linear response: what friction, gaps and clipping make alike in \
     both directions. It holds for this amplitude, preload and band.",
    LINEAR,
    ShownIn::Percent,
);

pub(super) const EVEN_DISTORTION: Words = (
    "even_distortion",
    "Even distortion",
    "Torque at even lines, none of which was played, over the linear response: what is not alike in both directions.",
    LINEAR,
    ShownIn::Percent,
);

pub(super) const PERIOD_NOISE: Words = (
    "period_noise",
    "Noise in one period",
    "Torque in the band played that differs from one period to the next, over the linear response: sensor noise and what \
     does not repeat.",
    LINEAR,
    ShownIn::Percent,
);

pub(super) const IDEAL_BANDWIDTH: Words = (
    "ideal_bandwidth",
    "Bandwidth on an ideal clamp",
    "Bandwidth if rim and ground were one: the response is corrected by the model of rotor, drivetrain and hub whose figures \
     this recording gives, and read again. What those figures leave open is in its budget.",
    CLAMP,
    ShownIn::Hertz,
);

pub(super) const IDEAL_FLAT_BAND: Words = (
    "ideal_flat_band",
    "Flat band on an ideal clamp",
    "Flat band if rim and ground were one, by the same model.",
    CLAMP,
    ShownIn::Hertz,
);

pub(super) const AMPLIFICATION: Words = (
    "amplification",
    "Amplification at the resonance",
    "Greatest magnitude of that nearest mode over the gain at low frequency, at the stated amplitude and preload.",
    "Second-order fit to the complex response around the first peak (Pintelon and Schoukens, System \
     Identification, 2nd ed.)",
    ShownIn::Plain,
);
