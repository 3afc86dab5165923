//! What can fire.

/// A condition that takes torque away. [`super::words`] says what each means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Condition {
    /// The rim left its window.
    RimWindow,
    /// The rim is too fast.
    RimSpeed,
    /// The rim becomes faster or slower than anything that it is fastened to can make it.
    RimAcceleration,
    /// A clamped rim is not where the measured torque twists sensor and fixture to.
    MotionUnexplained,
    /// A rim that may move moves faster than the setpoints so far, or the drive, can have made it.
    MotionUnexpected,
    /// The rim moves although the setpoint has been zero for long enough to settle.
    MotionAtZero,
    /// Measured torque is too high.
    SensorTorque,
    /// Measured torque is not what the setpoint asks for, on the average.
    TorqueAstray,
    /// Torque is there although none is commanded.
    TorqueUnasked,
    /// Torque acts on a free rim that its sensor does not show.
    TorqueUnaccounted,
    /// Measured torque changes faster than motor and rig can make it.
    TorqueLeap,
    /// The torque sensor gives one and the same count.
    SensorStuck,
    /// The rim encoder gives one and the same count although the torque must move the rim.
    RimStuck,
    /// Rotor and rim are further apart than backlash and twist make them.
    RotorAstray,
    /// Too hot.
    Temperature,
    /// The supply voltage is out of its range.
    Supply,
    /// A sensor that the bench judges by is at the end of its range.
    Saturated,
    /// A sensor on a port of its own gave no torque for a row.
    TorqueMissing,
    /// A measured value is not a finite number.
    NotFinite,
    /// No sample for too long, or samples that are too old when they arrive.
    StaleSamples,
    /// A frame or a sample is missing, or a frame was damaged on its way, here or at the rig.
    SequenceGap,
    /// The rig's clock went back, or rows come at another period than agreed.
    ClockJump,
    /// The rig's clock runs faster or slower than the host's, by more than any crystal does.
    ClockDrift,
    /// The rig does not answer keep-alives.
    Watchdog,
    /// The host woke too late to be relied on.
    DeadlineMissed,
    /// What the run hands out is not recorded in time.
    RecordingStalled,
    /// The rig's emergency-stop input opened.
    EmergencyStop,
    /// The rig controller stopped by itself: its own limit, its watchdog, its expiry.
    RigStopped,
    /// The rig controller rebooted.
    Rebooted,
    /// The rig controller ran out of setpoints.
    Underrun,
    /// The rig controller refused setpoints, or they came too late.
    SetpointsLost,
    /// The first small torque came out with the wrong sign.
    WrongSign,
    /// The first small torque came out too small or too large.
    WrongGain,
}

impl Condition {
    /// Every condition, in the order in which documents list them.
    pub const ALL: [Self; 33] = [
        Self::RimWindow,
        Self::RimSpeed,
        Self::RimAcceleration,
        Self::MotionUnexplained,
        Self::MotionUnexpected,
        Self::MotionAtZero,
        Self::SensorTorque,
        Self::TorqueAstray,
        Self::TorqueUnasked,
        Self::TorqueUnaccounted,
        Self::TorqueLeap,
        Self::SensorStuck,
        Self::RimStuck,
        Self::RotorAstray,
        Self::Temperature,
        Self::Supply,
        Self::Saturated,
        Self::TorqueMissing,
        Self::NotFinite,
        Self::StaleSamples,
        Self::SequenceGap,
        Self::ClockJump,
        Self::ClockDrift,
        Self::Watchdog,
        Self::DeadlineMissed,
        Self::RecordingStalled,
        Self::EmergencyStop,
        Self::RigStopped,
        Self::Rebooted,
        Self::Underrun,
        Self::SetpointsLost,
        Self::WrongSign,
        Self::WrongGain,
    ];

    /// Short name for files and messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::RimWindow => "rim-window",
            Self::RimSpeed => "rim-speed",
            Self::RimAcceleration => "rim-acceleration",
            Self::MotionUnexplained => "motion-unexplained",
            Self::MotionUnexpected => "motion-unexpected",
            Self::MotionAtZero => "motion-at-zero",
            Self::SensorTorque => "sensor-torque",
            Self::TorqueAstray => "torque-astray",
            Self::TorqueUnasked => "torque-unasked",
            Self::TorqueUnaccounted => "torque-unaccounted",
            Self::TorqueLeap => "torque-leap",
            Self::SensorStuck => "sensor-stuck",
            Self::RimStuck => "rim-stuck",
            Self::RotorAstray => "rotor-astray",
            Self::Temperature => "temperature",
            Self::Supply => "supply",
            Self::Saturated => "saturated",
            Self::TorqueMissing => "torque-missing",
            Self::NotFinite => "not-finite",
            Self::StaleSamples => "stale-samples",
            Self::SequenceGap => "sequence-gap",
            Self::ClockJump => "clock-jump",
            Self::ClockDrift => "clock-drift",
            Self::Watchdog => "watchdog",
            Self::DeadlineMissed => "deadline-missed",
            Self::RecordingStalled => "recording-stalled",
            Self::EmergencyStop => "emergency-stop",
            Self::RigStopped => "rig-stopped",
            Self::Rebooted => "rebooted",
            Self::Underrun => "underrun",
            Self::SetpointsLost => "setpoints-lost",
            Self::WrongSign => "wrong-sign",
            Self::WrongGain => "wrong-gain",
        }
    }
}
