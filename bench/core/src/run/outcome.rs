//! How a run ends.

use alloc::string::String;

use rig_link::{RefusalCode, RigState};

use crate::channels::ChannelFault;
use crate::interlock::Trip;

/// Something outside the rig that ends a run early.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StopCause {
    /// The operator asked for it (Ctrl-C).
    Operator,
    /// The system asked the program to end (SIGTERM, SIGHUP).
    Terminated,
    /// The recording cannot be written any more.
    RecordingFailed(String),
    /// The port vanished or failed.
    LinkLost(String),
    /// A fault of this program.
    ProgramFault(String),
}

impl core::fmt::Display for StopCause {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Operator => write!(f, "stopped by the operator"),
            Self::Terminated => write!(f, "stopped because the system ends this program"),
            Self::RecordingFailed(why) => write!(f, "the recording cannot be written: {why}"),
            Self::LinkLost(why) => write!(f, "the link to the rig is lost: {why}"),
            Self::ProgramFault(why) => write!(f, "a fault of this program: {why}; please report it"),
        }
    }
}

/// Why a run could not begin or go on, without any condition of the interlock having fired.
#[derive(Debug, Clone, PartialEq)]
pub enum Failure {
    /// Nobody answered.
    NoAnswer {
        /// What was asked for.
        asked: &'static str,
        /// How long, in milliseconds, all tries together.
        waited_ms: u64,
    },
    /// The rig speaks another major version.
    Version {
        /// Its version.
        rig: u8,
    },
    /// The rig refused a message.
    Refused {
        /// Which.
        asked: &'static str,
        /// Why.
        code: RefusalCode,
        /// The code's detail.
        detail: i32,
    },
    /// The channels cannot serve.
    Channels(ChannelFault),
    /// The rig applied other limits than were asked for, and wider ones.
    Configuration {
        /// Which limit.
        field: &'static str,
        /// What was asked for.
        asked: i64,
        /// What was applied.
        applied: i64,
    },
    /// The rig tightened a limit so far that it would cut what the plan asks for, without a word.
    CutsPlan {
        /// Which limit.
        field: &'static str,
        /// What the plan needs, counts.
        needed: i64,
        /// What was applied, counts.
        applied: i64,
    },
    /// The rig file calls the rig virtual, the rig says that it is not.
    NotVirtual,
    /// The rig's full scale is not enough for the limits of the rig file.
    FullScale {
        /// Of the rig controller, N·m.
        rig_nm: f64,
        /// Needed, N·m.
        needed_nm: f64,
    },
    /// The rig is not in a state from which it can be armed.
    NotReady(RigState),
    /// The emergency-stop input is open.
    EmergencyStopOpen,
    /// The rim does not rest, or torque is there without a command, before arming.
    NotAtRest {
        /// What was looked at.
        what: &'static str,
        /// What was seen.
        measured: f64,
        /// What is allowed.
        limit: f64,
        /// Unit of both.
        unit: &'static str,
    },
    /// Stop or watchdog did not do their work when tried at zero torque.
    ProofFailed {
        /// Which.
        what: &'static str,
        /// Time seen, in microseconds; `None` when nothing came.
        measured_us: Option<u64>,
        /// Time allowed, in microseconds.
        limit_us: u64,
    },
    /// The plan was played and the rig confirmed zero torque, but the sensor shows some.
    TorqueRemains {
        /// Mean above the zero before, N·m.
        measured_nm: f64,
        /// Allowed, N·m.
        limit_nm: f64,
    },
    /// No permission to make torque.
    NoPermit,
}

impl core::fmt::Display for Failure {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NoAnswer { asked, waited_ms } => write!(
                f,
                "the rig did not answer {asked} within {waited_ms} ms; check the port, the bit rate, the supply, and that nothing else has the port open"
            ),
            Self::Version { rig } => write!(
                f,
                "the rig speaks version {rig} of the rig link, this bench {}; use matching versions",
                rig_link::PROTOCOL_MAJOR
            ),
            Self::Refused { asked, code, detail } => {
                write!(
                    f,
                    "the rig refused {asked}: {code:?} (detail {detail}); see PROTOCOL.md for the code"
                )
            }
            Self::Channels(fault) => write!(f, "{fault}; correct the rig controller's channel descriptions"),
            Self::Configuration {
                field,
                asked,
                applied,
            } => write!(
                f,
                "the rig applied {field} = {applied} where {asked} was asked for, which is wider; nothing was armed; update the rig controller's firmware"
            ),
            Self::CutsPlan {
                field,
                needed,
                applied,
            } => write!(
                f,
                "the rig lowered the {field} to {applied} counts where the plan needs {needed}: it would cut setpoints silently; nothing was armed; lower the procedure's levels or raise the rig controller's own limit"
            ),
            Self::NotVirtual => write!(
                f,
                "the rig file says kind = \"virtual\", but the far side is real hardware; use a rig file with kind = \"serial\""
            ),
            Self::FullScale { rig_nm, needed_nm } => write!(
                f,
                "the rig's full scale is {rig_nm} N·m, the rig file allows {needed_nm} N·m; lower rig.limits.torque"
            ),
            Self::NotReady(state) => {
                write!(
                    f,
                    "the rig is {state:?} and cannot be armed; power it off and on, and try again"
                )
            }
            Self::EmergencyStopOpen => {
                write!(
                    f,
                    "the emergency stop is pressed or its wire is open; release it and start again"
                )
            }
            Self::NotAtRest {
                what,
                measured,
                limit,
                unit,
            } => write!(
                f,
                "before arming, {what} was {measured:.4} {unit} (allowed: up to {limit:.4} {unit}); wait until the rim rests, zero the sensor, or check the mounting"
            ),
            Self::ProofFailed {
                what,
                measured_us: Some(measured),
                limit_us,
            } => write!(
                f,
                "the rig's {what} took {measured} us at zero torque (allowed: {limit_us} us); do not run this rig before its firmware is mended"
            ),
            Self::ProofFailed {
                what,
                measured_us: None,
                limit_us,
            } => write!(
                f,
                "the rig's {what} did not come within {limit_us} us at zero torque; do not run this rig before its firmware is mended"
            ),
            Self::TorqueRemains {
                measured_nm,
                limit_nm,
            } => write!(
                f,
                "the rig says that it stopped, but the sensor still shows {measured_nm:.3} N·m (allowed: up to {limit_nm:.3} N·m); cut the motor's supply before you touch the rim, then look for a motor that pushes by itself or a sensor whose zero moved"
            ),
            Self::NoPermit => write!(f, "nobody permitted torque; confirm at the prompt"),
        }
    }
}

impl core::error::Error for Failure {}

/// How a run ended.
#[derive(Debug, Clone, PartialEq)]
pub enum End {
    /// As planned.
    Completed,
    /// A condition of the interlock fired.
    Tripped(Trip),
    /// Something outside the rig ended it.
    Stopped(StopCause),
    /// It could not begin or go on.
    Failed(Failure),
}

impl core::fmt::Display for End {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Completed => write!(f, "completed"),
            Self::Tripped(trip) => write!(f, "tripped: {trip}"),
            Self::Stopped(cause) => write!(f, "{cause}"),
            Self::Failed(failure) => write!(f, "{failure}"),
        }
    }
}

/// What the proofs at zero torque showed, each `None` when it was not tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Proofs {
    /// Host time from writing the stop to reading its confirmation, in microseconds.
    pub stop_round_trip_us: Option<u64>,
    /// Rig time from the last keep-alive to the watchdog's trip, in microseconds.
    pub watchdog_us: Option<u64>,
}

/// Counters of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counters {
    /// Sample rows received.
    pub rows: u64,
    /// Sample rows missing between the first and the last.
    pub rows_lost: u64,
    /// Sample rows whose tick was not above the one before; never handed out.
    pub rows_out_of_order: u64,
    /// Frames from the rig that failed their checks.
    pub bad_frames: u32,
    /// Frames from the rig missing by their sequence.
    pub frames_lost: u32,
    /// Frames from the rig of a kind that this version does not know.
    pub unknown_frames: u32,
    /// Setpoints sent.
    pub setpoints: u64,
    /// Latest that the bench woke after one of its deadlines, in microseconds.
    pub latest_wake_us: u64,
}

/// The whole outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// How it ended.
    pub end: End,
    /// Whether the rig confirmed zero torque, and the sensor, as far as it still speaks
    /// ([`Outcome::torque_after_nm`]), did not disagree. If not, and [`Outcome::was_armed`], only the
    /// hard-wired emergency stop is left.
    pub zero_confirmed: bool,
    /// Whether the rig was ever armed in this run.
    pub was_armed: bool,
    /// Mean torque above the zero once the ringing after the stop was over, N·m; `None` when no sample came any more.
    pub torque_after_nm: Option<f64>,
    /// What the proofs showed.
    pub proofs: Proofs,
    /// Counters.
    pub counters: Counters,
}
