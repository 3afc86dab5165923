//! Quantities of the drivetrain: gap, spring and friction of a clamped one, friction over speed, cogging and position sensor
//! of a driven one.

use super::Words;
use crate::fitting::reading::ShownIn;

const LOOPS: &str = "Slow loops of torque, rotor angle against rim angle: dead zone between two springs (Nordin and Gutman, \
                     Automatica 38, 2002, 1633), flanks by orthogonal regression";
const CURVE: &str = "Stribeck's curve (Armstrong-Hélouvry, Dupont and Canudas de Wit, Automatica 30, 1994, 1083) by weighted \
                     least squares, drag from both directions over the same angles";
const ORDERS: &str = "Regression on known orders over the angle in both directions, their shift taken out (after Heins and \
                      others, IEEE Trans. Industry Applications 47, 2011)";
const SENSOR: &str = "Rotor angle over the ratio against the rig's rim encoder";

pub(super) const BACKLASH: Words = (
    "backlash",
    "Backlash",
    "Free angle between rotor and rim, at the rim: the gap between the springs of both senses.",
    LOOPS,
    ShownIn::Degrees,
);

pub(super) const LOST_MOTION: Words = (
    "lost_motion",
    "Lost motion",
    "Distance of the mid-lines of the loop of twist at +3 % and −3 % of the peak torque, rotor against rim, at the rim.",
    "Trade practice for reducers, read off slow loops without a model",
    ShownIn::Degrees,
);

pub(super) const HYSTERESIS: Words = (
    "hysteresis",
    "Hysteresis loss",
    "Width of the loop of twist over rim torque at zero torque, at the rim: the gap, and what friction of the hub holds.",
    "Trade practice for reducers, read off slow loops without a model",
    ShownIn::Degrees,
);

pub(super) const RANGE_STIFFNESS: Words = (
    "range_stiffness",
    "Stiffness of the drivetrain over a range",
    "Torque per twist between rotor and rim over a range of torque, both senses.",
    LOOPS,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const MOTOR_BREAKAWAY: Words = (
    "motor_breakaway",
    "Breakaway of the motor's side",
    "Torque at the rim that friction on the motor's side takes while the rotor creeps: half of what command less \
     transmitted torque differ by between rising and falling torque, at one rotor angle.",
    "Slow loops, rising against falling branch at equal rotor angles",
    ShownIn::NewtonMetres,
);

const KNEE: &str = "Broken line through slow loops, both branches, friction between them taken out";

pub(super) const BELT_KNEE: Words = (
    "belt_knee",
    "Knee of the belt",
    "Torque at the rim beyond which a belt's slack span carries nothing and stiffness falls: higher with more tension, of which it \
     is no measure in newtons.",
    KNEE,
    ShownIn::NewtonMetres,
);

pub(super) const BELT_STIFFNESS: Words = (
    "belt_stiffness",
    "Stiffness of the drivetrain with both spans",
    "Torque per twist between rotor and rim below the belt's knee.",
    KNEE,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const BELT_BEYOND: Words = (
    "belt_stiffness_beyond",
    "Stiffness of the drivetrain with one span",
    "Torque per twist between rotor and rim beyond the belt's knee.",
    KNEE,
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const PRESLIDING_STIFFNESS: Words = (
    "presliding_stiffness",
    "Stiffness before sliding",
    "Torque per angle of the rim that friction of both sides gives like a spring before it slides, small loops about one place.",
    "Bristle hysteresis at vanishing speed (Canudas de Wit, Olsson, Åström and Lischinsky, IEEE Trans. Automatic Control 40, \
     1995, 419) by least squares, cycle by cycle",
    ShownIn::NewtonMetresPerRadian,
);

pub(super) const BREAKAWAY: Words = (
    "breakaway",
    "Breakaway torque",
    "Torque that turns the wheelbase out of rest, mean of both directions: the friction curve at speed zero.",
    CURVE,
    ShownIn::NewtonMetres,
);

pub(super) const BREAKAWAY_POSITIVE: Words = (
    "breakaway_positive",
    "Breakaway torque, positive",
    "Torque that turns the wheelbase out of rest in the positive direction. It rests on the zero of torque.",
    CURVE,
    ShownIn::NewtonMetres,
);

pub(super) const BREAKAWAY_NEGATIVE: Words = (
    "breakaway_negative",
    "Breakaway torque, negative",
    "Torque that turns the wheelbase out of rest in the negative direction. It rests on the zero of torque.",
    CURVE,
    ShownIn::NewtonMetres,
);

pub(super) const SWEEP_COULOMB: Words = (
    "sweep_coulomb",
    "Coulomb friction, over speeds",
    "Friction that does not depend on speed, mean of both directions, at the rim, from the drag at several speeds.",
    CURVE,
    ShownIn::NewtonMetres,
);

pub(super) const SWEEP_VISCOUS: Words = (
    "sweep_viscous",
    "Viscous friction, over speeds",
    "Growth of friction with speed, at the rim, from the drag at several speeds.",
    CURVE,
    ShownIn::NewtonMetreSecondsPerRadian,
);

pub(super) const STRIBECK_SPEED: Words = (
    "stribeck_speed",
    "Stribeck speed",
    "Speed at which the fall of friction from rest has come down to 1/e.",
    CURVE,
    ShownIn::RadiansPerSecond,
);

pub(super) const DRAG_AT_SPEED: Words = (
    "drag_at_speed",
    "Drag at a speed",
    "Torque that it takes to turn the wheelbase at a steady speed, half the difference of both directions over the same \
     angles.",
    "Halves of difference and sum of both directions, angle by angle",
    ShownIn::NewtonMetres,
);

pub(super) const COGGING: Words = (
    "cogging",
    "Cogging, peak to peak",
    "Swing over the angle of the torque that both directions share, made up from the orders below, turned slowly.",
    ORDERS,
    ShownIn::NewtonMetres,
);

pub(super) const COGGING_ORDER: Words = (
    "cogging_order",
    "Amplitude",
    "Amplitude of one order, in periods a turn of the rim, of the torque that both directions share, turned slowly: what it \
     grows by when ripple meets a resonance is taken out where two speeds show it.",
    ORDERS,
    ShownIn::NewtonMetres,
);

pub(super) const COGGING_PHASE: Words = (
    "cogging_phase",
    "Phase",
    "Phase φ of the torque A cos(n θ − φ) that the wheelbase makes, θ the rim encoder's angle.",
    ORDERS,
    ShownIn::Degrees,
);

pub(super) const RIPPLE_UNDER_LOAD: Words = (
    "ripple_under_load",
    "Ripple under load",
    "Amplitude of an order that comes and goes with the commanded torque, over that torque: current sensors whose gains differ, \
     the shape of the back-EMF, a commutator, teeth under load. Cogging does not grow with it, even at the same order.",
    "Complex amplitude of the order over the angle at several levels, the twist taken out, straight over the level (weighted least squares)",
    ShownIn::Percent,
);

pub(super) const POSITION_ERROR: Words = (
    "position_error",
    "Position error, once a turn",
    "Amplitude of what the wheelbase's own angle differs by from the rim encoder's once a turn of the rim. An eccentric \
     coupling of the encoder looks the same.",
    SENSOR,
    ShownIn::Degrees,
);

pub(super) const POSITION_RESOLUTION: Words = (
    "position_resolution",
    "Resolution of the position sensor",
    "Smallest step of the wheelbase's own angle, at the rim.",
    "Greatest common divisor of the differences of readings",
    ShownIn::Degrees,
);

pub(super) const POSITION_NOISE: Words = (
    "position_noise",
    "Noise of the position sensor",
    "Standard deviation of one reading of the wheelbase's own angle ahead of its steps, at the rim.",
    "Flicker between neighbouring readings at a steady slow speed",
    ShownIn::Degrees,
);

pub(super) const POSITION_DELAY: Words = (
    "position_delay",
    "Delay of the position sensor",
    "By how much the wheelbase's own angle comes later than the rim encoder's.",
    "Difference of both angles between the directions, over speed and torque",
    ShownIn::Milliseconds,
);
