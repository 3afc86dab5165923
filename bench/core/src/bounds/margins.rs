//! Margins between what a plan needs and what is allowed, each with its reason. Shares are plain numbers.

/// Greatest torque over setpoint: the bench is there to find a gain that is off, but a quarter is wrong.
pub const GAIN: f64 = 1.25;
/// Friction that holds the drivetrain's twist, and cogging, as a share of the peak torque: 3 to 11 % (common practice).
pub const FRICTION: f64 = 0.15;
/// The same for a rim that a drive turns, which shows breakaway of both sides and cogging at once: up to 16 % of the
/// peak torque of a small geared unit.
pub const DRIVEN_FRICTION: f64 = 0.25;
/// The sensor's zero, as a share of the rig's limit of measured torque: what is accepted at rest before arming.
pub const ZERO: f64 = 0.1;
/// A clamped step overshoots by up to this share of its height (lightly damped modes: 40 to 95 %).
pub const OVERSHOOT: f64 = 0.95;
/// An oscillation may come out this much larger at a resonance: a damping of 5 %, the least that clamped wheelbases show
/// with their friction. Before it is measured nobody knows where it lies.
pub const RESONANCE: f64 = 10.0;
/// Lowest frequency of a clamped mode, Hz (common practice: 40 to 200 Hz): what a corner between ramps excites is the
/// change of slope over `2πf`.
pub const LOWEST_MODE_HZ: f64 = 30.0;
/// Highest frequency of a first clamped mode, Hz.
pub const HIGHEST_MODE_HZ: f64 = 200.0;
/// Ringing of jumps that are less than this apart adds up, µs: three time constants of a slow decay.
pub const RINGS_US: u64 = 100_000;
/// Above the greatest change in a setpoint stride, so that rounding never cuts a step.
pub const CHANGE_MARGIN: f64 = 1.1;
/// Data-sheet stiffness over the true one: mounting faces and bolts give too.
pub const STIFFNESS_ERROR: f64 = 1.25;
/// A value of a curve is reached within this share of the time for which it is held. Where the slew limit takes longer, edges
/// arrive the later the higher they are, and that would pass for distortion and delay by the wheelbase.
pub const EDGE: f64 = 0.1;
/// What a clamped rim may be off its springs besides, rad (0.05°): run-out and settling of the clamp.
pub const CLAMPED_SLACK_RAD: f64 = 0.05 / 180.0 * core::f64::consts::PI;
/// What a clamped rim's window is wider than its give, rad (0.2°).
pub const WINDOW_SLACK_RAD: f64 = 0.2 / 180.0 * core::f64::consts::PI;
/// What a clamped rim may be faster than its ringing, rad/s: encoder steps over a control period.
pub const SPEED_SLACK_RAD_S: f64 = 0.5;
/// What a free rim may be faster than the setpoints can have made it, as a share of the rig's limit of rim speed:
/// cogging wells and ringing of the hub against the disc, up to 0.6 rad/s each.
pub const FREE_SLACK: f64 = 0.1;
/// Torque on a free disc from its own bearing and imbalance, and what the sensor's zero may have moved since the run
/// began: a share of the peak torque, and so much besides, N·m.
pub const OUTSIDE: f64 = 0.01;
/// See [`OUTSIDE`].
pub const OUTSIDE_NM: f64 = 0.1;
/// Share of the measured torque by which it may differ from inertia times acceleration: the sensor's gain, and delays
/// while torque changes. Twice the inertia's declared uncertainty comes on top.
pub const OUTSIDE_SHARE: f64 = 0.15;
/// A drive's greatest speed and acceleration over its declared ones.
pub const DRIVE_MARGIN: f64 = 1.25;
/// Motion at setpoint zero, as a share of the rig's limit of rim speed.
pub const ZERO_SPEED: f64 = 0.05;
/// Time at setpoint zero after which the rim must have settled, µs.
pub const ZERO_SETTLE_US: u64 = 400_000;
/// Noise of the torque sensor from sample to sample, as a share of its range.
pub const NOISE: f64 = 0.01;
/// Change of the setpoint that may leave the torque's count as it is, as a share of the greatest setpoint.
pub const STUCK: f64 = 0.1;
/// Torque whose effect on the rim need not show, as a share of the peak torque.
pub const RIM_STUCK: f64 = 0.05;
/// A setpoint stays in force for so many times of the plan's longest time between two, and no longer.
pub const EXPIRY_GAPS: u64 = 8;
/// Shortest expiry, µs.
pub const LEAST_EXPIRY_US: u32 = 2_000;
