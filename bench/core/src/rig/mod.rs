//! The rig as checked values: what is mounted how, on which sensor, and within which limits it may move.

mod limits;
mod mounted;
mod read;
mod roles;

pub use limits::{Limits, WindowFrom};
pub use mounted::{FarSide, Mounted};
pub use roles::{
    CLOCK_BOUND, Drive, DriveKind, ForceFeedback, LATEST_S, OwnPort, SETPOINT_AGE, Sense, SenseKind,
};
use settings_file::Date;

use alloc::{string::String, vec::Vec};
use core::fmt;

/// A rig: a wheelbase on a fixture with its sensor, its link and its limits. Only [`Rig::from_toml`] and
/// [`Rig::mounted`] make one.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Rig {
    /// The file it was read from, as messages name it.
    pub file: String,
    /// Name for people.
    pub name: String,
    /// What is at the far end of the line.
    pub kind: Kind,
    /// How the rim is held in this run: what the file says, or what was asked for instead.
    pub mounting: Mounting,
    /// How the file says that the rim is held.
    pub mounting_in_file: Mounting,
    /// Every mounting that the file describes, the one in force among them.
    pub mountings: Vec<Mounted>,
    /// What the rim is fastened to in the mounting in force.
    pub far_side: FarSide,
    /// What stops the motor without any software.
    pub emergency_stop: EmergencyStop,
    /// The device under test.
    pub wheelbase: Wheelbase,
    /// What is known of its motor, gears and belt.
    pub drivetrain: Option<Drivetrain>,
    /// The torque sensor at the rim.
    pub torque_sensor: TorqueSensor,
    /// What holds the sensor.
    pub fixture: Fixture,
    /// What the rig must never exceed in the mounting in force.
    pub limits: Limits,
    /// How to reach the rig controller.
    pub link: Link,
    /// What pushes.
    pub drive: Drive,
    /// What measures the torque.
    pub sense: Sense,
}

/// In place of a port: there is no rig controller.
pub const NO_PORT: &str = "none";

impl Rig {
    /// Stiffness of sensor and fixture in series, N·m/rad: `1/k = 1/k_sensor + 1/k_fixture`.
    pub fn stiffness_nm_per_rad(&self) -> f64 {
        let (a, b) = (
            self.torque_sensor.stiffness_nm_per_rad,
            self.fixture.stiffness_nm_per_rad,
        );
        a * b / (a + b)
    }

    /// Rim angles outside which it trips on the way to end stops, rad, from where it was armed or from zero as the mounting
    /// says; `None` where the mounting in force declares none.
    pub fn travel_window_rad(&self) -> Option<[f64; 2]> {
        let in_force = self.mountings.iter().find(|m| m.mounting == self.mounting);
        in_force.and_then(|mounted| mounted.travel_window_rad)
    }
}

macro_rules! words {
    ($(#[$meta:meta])* $name:ident { $($(#[$vmeta:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum $name { $($(#[$vmeta])* $variant,)+ }

        impl $name {
            /// Every value with its word in files and reports.
            pub const WORDS: &'static [(&'static str, Self)] = &[$(($word, Self::$variant)),+];

            /// The word for it in files and reports.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}
pub(crate) use words;

mod drivetrain;
pub use drivetrain::{Drivetrain, Span, Stage, StageKind};

words! {
    /// What is at the far end of the line.
    Kind {
        /// The simulated rig.
        Virtual = "virtual",
        /// A rig controller on a serial port.
        Serial = "serial",
    }
}

words! {
    /// How the rim is held.
    Mounting {
        /// To the torque sensor and ground.
        Clamped = "clamped",
        /// Turning freely with a disc of known inertia.
        Free = "free",
        /// Turned through the sensor by a drive.
        BackDriven = "back-driven",
    }
}

words! {
    /// What stops the motor without any software.
    EmergencyStop {
        /// A switch that cuts the motor's supply by wire alone.
        HardWired = "hard-wired",
        /// Nothing; only for a rig without moving parts.
        None = "none",
    }
}

/// The wheelbase under test, as its maker and its operator describe it.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Wheelbase {
    /// Model name.
    pub model: String,
    /// Serial number of the unit; names it in all records.
    pub serial: String,
    /// Version of its firmware.
    pub firmware: String,
    /// Peak rim torque, N·m: percentages in procedures are of this.
    pub peak_torque_nm: f64,
    /// Greatest rate of rim torque that its drive can make, N·m/s.
    pub slew_nm_per_s: f64,
    /// Nominal period at which its firmware takes over a new setpoint, s.
    pub update_period_s: f64,
    /// Motor turns for one turn of the rim; `None` where the rig file does not say, and rotor and rim are not compared.
    pub ratio: Option<f64>,
    /// Greatest difference of rotor and rim angle, both at the rim, from that at rest, which a sound drivetrain shows at
    /// peak torque, rad: backlash, compliance and errors of both sensors included.
    pub lost_motion_rad: f64,
    /// Torque that it holds for good, N·m, if declared: plans beyond it are refused.
    pub sustained_torque_nm: Option<f64>,
    /// How long it holds the peak torque from cold, s; declared with the sustained torque.
    pub peak_time_s: Option<f64>,
}

/// The torque sensor and its calibration.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct TorqueSensor {
    /// Model name.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Measuring range, N·m, either way.
    pub range_nm: f64,
    /// Torsional stiffness, N·m/rad.
    pub stiffness_nm_per_rad: f64,
    /// Day of the calibration.
    pub calibrated: Date,
    /// Day on which the next one is due.
    pub due: Date,
    /// Number of the certificate.
    pub certificate: String,
    /// File of a certificate that this program made; `None` where there is none.
    pub calibration: Option<String>,
    /// Relative standard uncertainty of the sensitivity, 1.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the zero, N·m.
    pub zero_uncertainty_nm: f64,
    /// Standard uncertainty of the declared group delay, s.
    pub delay_uncertainty_s: f64,
    /// Standard deviation of its samples at rest when all is well, N·m; `None` where nobody has said.
    pub noise_nm: Option<f64>,
}

/// What holds the sensor.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Fixture {
    /// Name or number.
    pub name: String,
    /// Torsional stiffness, N·m/rad.
    pub stiffness_nm_per_rad: f64,
}

/// How to reach the rig controller.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Link {
    /// Path of the serial port; `auto` for a virtual rig, `none` where there is no rig controller.
    pub port: String,
    /// Symbols a second.
    pub baud: u32,
}
