//! What each condition compares, what it means and what to do.

use super::condition::Condition;

/// How a run can end early without a condition: name, on what, after what, mounting. For documents.
pub const ENDINGS: [[&str; 4]; 4] = [
    [
        "operator stop",
        "Ctrl-C, or the system asks the program to end",
        "at once",
        "every",
    ],
    [
        "recording failed",
        "the recording cannot be written: full disk, failing disk",
        "at once",
        "every",
    ],
    ["link lost", "the port vanished or failed", "at once", "every"],
    [
        "program fault",
        "a fault of the bench program",
        "at once",
        "every",
    ],
];

impl Condition {
    /// What is compared with the limit in force, for how long before it fires, and on which mounting: for documents.
    #[must_use]
    pub const fn terms(self) -> [&'static str; 3] {
        match self {
            Self::RimWindow => ["rim angle outside the window in force", "one sample", "every"],
            Self::RimSpeed => [
                "rim speed over 2 ms above the limit in force",
                "one sample",
                "every",
            ],
            Self::RimAcceleration => [
                "change of the mean rim speed from 8 ms to 8 ms above the limit in force",
                "one sample",
                "every",
            ],
            Self::MotionUnexplained => [
                "rim angle beyond what measured torque over the stiffness of sensor and fixture explains",
                "one sample",
                "clamped",
            ],
            Self::MotionUnexpected => [
                "rim speed over 4 ms beyond what the setpoints so far can have made; over 16 ms beyond the drive's",
                "one sample",
                "free, back-driven",
            ],
            Self::MotionAtZero => [
                "rim speed over 16 ms above 5 % of `rim_speed`; free: a rise by that, or no fall by 0.5 rad/s in a second",
                "0.4 s at setpoint zero; fall: 0.5 s, slower than 0.3 rad/s 0.75 s",
                "clamped, free",
            ],
            Self::SensorTorque => ["measured torque above the limit in force", "one sample", "every"],
            Self::TorqueAstray => [
                "torque less setpoint above 15 % of the peak torque (back-driven: 25 %) and 25 % of the setpoint",
                "mean over 0.1 s",
                "clamped, back-driven",
            ],
            Self::TorqueUnasked => [
                "torque at setpoint zero above 15 % of the peak torque (back-driven: 25 %), mean over 5 ms",
                "60 ms at setpoint zero",
                "every",
            ],
            Self::TorqueUnaccounted => [
                "torque on the disc, measured less inertia times acceleration, beyond 1 % of the peak + 0.1 N·m + 15 % of the measured",
                "mean over 50 ms",
                "free",
            ],
            Self::TorqueLeap => [
                "change of torque from sample to sample beyond what drive and ringing can make",
                "one sample",
                "every",
            ],
            Self::SensorStuck => [
                "one torque count from a sensor that was lively at rest, or while the setpoint moves by 10 % of the greatest",
                "20 ms and 40 samples; 50 ms",
                "every",
            ],
            Self::RimStuck => [
                "one rim count while torque changes by 4 encoder steps' worth and 5 % of the peak; free: under 5 %",
                "25 ms; free: 20 ms",
                "every",
            ],
            Self::RotorAstray => [
                "rotor less rim angle above `rig.wheelbase.lost_motion`",
                "one sample",
                "every, with a rotor channel and `rig.wheelbase.ratio`",
            ],
            Self::Temperature => ["temperature above the limit in force", "one sample", "every"],
            Self::Supply => [
                "supply voltage outside `rig.limits.supply`",
                "one sample",
                "every, with a supply channel",
            ],
            Self::Saturated => [
                "torque, rim angle, temperature or supply at the end of its range",
                "one sample",
                "every",
            ],
            Self::TorqueMissing => [
                "no reading of a torque sensor on its own port for a row",
                "20 ms behind the row",
                "every, with such a sensor",
            ],
            Self::NotFinite => [
                "a value, or a setpoint to be sent, is no number",
                "one sample",
                "every",
            ],
            Self::StaleSamples => ["no sample, or samples that are late", "30 ms", "every"],
            Self::SequenceGap => ["a frame or a sample is missing or damaged", "one", "every"],
            Self::ClockJump => [
                "the rig's ticks go back, or its sample period changes",
                "one batch",
                "every",
            ],
            Self::ClockDrift => [
                "the rig's clock against this computer's, beyond what round trips leave open: 0.05 %",
                "0.1 s",
                "every",
            ],
            Self::Watchdog => ["no echo of a keep-alive", "30 ms", "every"],
            Self::DeadlineMissed => ["the bench woke late", "15 ms", "every"],
            Self::RecordingStalled => ["the recorder's queue is full", "at once", "every"],
            Self::EmergencyStop => ["the rig's emergency-stop input opened", "at once", "every"],
            Self::RigStopped => ["the rig tripped or disarmed itself", "at once", "every"],
            Self::Rebooted => ["the rig restarted", "at once", "every"],
            Self::Underrun => ["the rig ran out of setpoints", "at once", "every"],
            Self::SetpointsLost => ["the rig refused setpoints, or they were late", "at once", "every"],
            Self::WrongSign => ["first small torque: sign", "its second half", "every"],
            Self::WrongGain => [
                "first small torque: gain outside the procedure's range",
                "its second half",
                "every",
            ],
        }
    }

    /// What it means, and what to do.
    #[must_use]
    pub const fn advice(self) -> &'static str {
        match self {
            Self::RimWindow => {
                "the rim turned further than the fixture lets it: look for a slipped clamp or a loose coupling before arming again"
            }
            Self::RimSpeed => {
                "the rim turned faster than allowed: look for a slipped clamp or a wrong mounting"
            }
            Self::RimAcceleration => {
                "the rim was jerked: look for a blow, a hand, a slipped clamp or a rim encoder that jumps"
            }
            Self::MotionUnexplained => {
                "the rim moved further than its torque can twist the rig: look for a slipped clamp, a loose coupling or a rim encoder that jumps, and check the declared stiffness"
            }
            Self::MotionUnexpected => {
                "the rim moves as nothing that was commanded can make it: look for a hand on the rim, a wheelbase that pushes by itself, or a wrong inertia or drive speed in the rig file"
            }
            Self::MotionAtZero => {
                "the rim moved without a command: look for a hand on the rim, a loose clamp, an unbalanced disc or a wheelbase that centres by itself"
            }
            Self::SensorTorque => {
                "the torque sensor saw more than this run can make: look for a wheelbase that pushes by itself, or check the sensor's scale; lower the levels if they are too near the limit"
            }
            Self::TorqueAstray => {
                "the torque is not what was asked for: look for a loose clamp, a broken belt, a wheelbase that pushes by itself, or a torque sensor that lies"
            }
            Self::TorqueUnasked => {
                "torque is there without a command: look for a wheelbase that pushes by itself, a hand on the rim, or a sensor whose zero moved"
            }
            Self::TorqueUnaccounted => {
                "something else than the wheelbase turns or holds the disc: look for a hand, a cable or a rubbing guard, and check the disc's declared inertia"
            }
            Self::TorqueLeap => {
                "the torque changed faster than this wheelbase can make it: look for a clamp that let go, or a fault of the sensor's wiring or converter"
            }
            Self::SensorStuck => {
                "the torque sensor does not change any more: check its wiring and its converter"
            }
            Self::RimStuck => {
                "the rim encoder does not count any more: check its wiring, its coupling to the rim and the clamp"
            }
            Self::RotorAstray => {
                "rotor and rim do not belong together any more: look for a belt that slipped or broke, a loose pulley or joint"
            }
            Self::Temperature => "let the wheelbase cool down; shorten the procedure or lower its levels",
            Self::Supply => {
                "the supply is not what the wheelbase needs: check the supply and its cable, and whether it takes back the motor's energy"
            }
            Self::Saturated => {
                "a sensor is at the end of its range and says nothing any more: check its wiring and range"
            }
            Self::TorqueMissing => {
                "the torque sensor sent nothing that could be read, or nothing in time: check its cable and supply, rig.sense.pattern and unit, and \
                 whether rig.sense.time_bound can be kept; what the sensor's port says of it is told beside this"
            }
            Self::NotFinite => {
                "a channel's scale or offset gives no number: check the rig's channel descriptions"
            }
            Self::StaleSamples => {
                "samples came late or not at all: check the cable and the load of this computer"
            }
            Self::SequenceGap => {
                "data were lost on the line: check the cable, the bit rate and the sample rate"
            }
            Self::ClockJump => {
                "the rig's clock is not to be trusted: its recording would not be either; check the controller"
            }
            Self::ClockDrift => {
                "the rig's clock runs faster or slower than this computer's by more than crystals do, and with it everything it measures: check the controller's oscillator and clock settings"
            }
            Self::Watchdog => "the rig did not answer: check the cable and the controller",
            Self::DeadlineMissed => {
                "this computer was too busy: close other programs, or permit real-time scheduling"
            }
            Self::RecordingStalled => {
                "what was measured could not be kept in time: check the disk and the load of this computer"
            }
            Self::EmergencyStop => {
                "the emergency stop was pressed or its wire is open: remove the cause; releasing it starts nothing"
            }
            Self::RigStopped => {
                "the rig controller stopped by itself, as it should: remove the cause it names"
            }
            Self::Rebooted => "the rig controller restarted: check its supply",
            Self::Underrun => "setpoints did not come in time: check the cable and the load of this computer",
            Self::SetpointsLost => {
                "the rig did not take setpoints: check the cable, the load of this computer and the rig controller"
            }
            Self::WrongSign => {
                "torque came out the wrong way round: check the sensor's sign and the motor's direction before anything larger is sent"
            }
            Self::WrongGain => {
                "the first small torque is not what was asked for: check that the rim is clamped, the sensor's scale and the wheelbase's own gain setting"
            }
        }
    }
}
