//! What can fire, what it means and what to do.

/// A condition that takes torque away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Condition {
    /// The rim left its window.
    RimWindow,
    /// The rim is too fast.
    RimSpeed,
    /// Measured torque is too high.
    SensorTorque,
    /// The rim moves although the setpoint has been zero for long enough to settle.
    MotionAtZero,
    /// Measured torque is not what the setpoint asks for, on the average.
    TorqueAstray,
    /// The torque sensor gives one and the same count while the setpoint changes.
    SensorStuck,
    /// Too hot.
    Temperature,
    /// The torque sensor, the rim encoder or the temperature sensor is at the end of its range.
    Saturated,
    /// A measured value is not a finite number.
    NotFinite,
    /// No sample for too long, or samples that are too old when they arrive.
    StaleSamples,
    /// A frame or a sample is missing, or a frame was damaged on its way, here or at the rig.
    SequenceGap,
    /// The rig's clock went back, or rows come at another period than agreed.
    ClockJump,
    /// The rig does not answer keep-alives.
    Watchdog,
    /// The host woke too late to be relied on.
    DeadlineMissed,
    /// The rig controller stopped by itself: its own limit, its watchdog, its emergency-stop input.
    RigStopped,
    /// The rig controller rebooted.
    Rebooted,
    /// The rig controller refused setpoints, or they came too late or ran out.
    SetpointsLost,
    /// The first small torque came out with the wrong sign.
    WrongSign,
    /// The first small torque came out too small or too large.
    WrongGain,
}

impl Condition {
    /// Every condition.
    pub const ALL: [Self; 19] = [
        Self::RimWindow,
        Self::RimSpeed,
        Self::SensorTorque,
        Self::MotionAtZero,
        Self::TorqueAstray,
        Self::SensorStuck,
        Self::Temperature,
        Self::Saturated,
        Self::NotFinite,
        Self::StaleSamples,
        Self::SequenceGap,
        Self::ClockJump,
        Self::Watchdog,
        Self::DeadlineMissed,
        Self::RigStopped,
        Self::Rebooted,
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
            Self::SensorTorque => "sensor-torque",
            Self::MotionAtZero => "motion-at-zero",
            Self::TorqueAstray => "torque-astray",
            Self::SensorStuck => "sensor-stuck",
            Self::Temperature => "temperature",
            Self::Saturated => "saturated",
            Self::NotFinite => "not-finite",
            Self::StaleSamples => "stale-samples",
            Self::SequenceGap => "sequence-gap",
            Self::ClockJump => "clock-jump",
            Self::Watchdog => "watchdog",
            Self::DeadlineMissed => "deadline-missed",
            Self::RigStopped => "rig-stopped",
            Self::Rebooted => "rebooted",
            Self::SetpointsLost => "setpoints-lost",
            Self::WrongSign => "wrong-sign",
            Self::WrongGain => "wrong-gain",
        }
    }

    /// What is compared with which limit, for how long before it fires, and on which mounting: for documents.
    #[must_use]
    pub const fn terms(self) -> [&'static str; 3] {
        match self {
            Self::RimWindow => ["rim angle outside `rig.limits.rim_window`", "one sample", "every"],
            Self::RimSpeed => [
                "rim speed over 2 ms above `rig.limits.rim_speed`",
                "one sample",
                "every",
            ],
            Self::SensorTorque => [
                "measured torque above `rig.limits.sensor_torque`",
                "one sample",
                "every",
            ],
            Self::MotionAtZero => [
                "rim speed over 16 ms above 5 % of `rig.limits.rim_speed`",
                "0.4 s at setpoint zero",
                "every",
            ],
            Self::TorqueAstray => [
                "torque less setpoint above 15 % of `rig.limits.torque` and 25 % of the setpoint",
                "mean over 0.1 s",
                "clamped",
            ],
            Self::SensorStuck => [
                "one torque count while the setpoint moves by 10 % of `rig.limits.torque`",
                "50 ms",
                "clamped",
            ],
            Self::Temperature => [
                "temperature above `rig.limits.temperature`",
                "one sample",
                "every",
            ],
            Self::Saturated => [
                "torque or rim angle at the end of its range",
                "one sample",
                "every",
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
            Self::Watchdog => ["no echo of a keep-alive", "30 ms", "every"],
            Self::DeadlineMissed => ["the bench woke late", "15 ms", "every"],
            Self::RigStopped => ["the rig tripped or disarmed itself", "at once", "every"],
            Self::Rebooted => ["the rig restarted", "at once", "every"],
            Self::SetpointsLost => [
                "the rig refused setpoints, or they were late or ran out",
                "at once",
                "every",
            ],
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
            Self::SensorTorque => {
                "the torque sensor saw more than allowed: lower the levels, or check the sensor's scale"
            }
            Self::MotionAtZero => {
                "the rim moved without a command: look for a hand on the rim, a loose clamp or a wheelbase that centres by itself"
            }
            Self::TorqueAstray => {
                "the torque is not what was asked for: look for a loose clamp, a broken belt, a wheelbase that pushes by itself, or a torque sensor that lies"
            }
            Self::SensorStuck => {
                "the torque sensor does not change any more: check its wiring and its converter"
            }
            Self::Temperature => "let the wheelbase cool down; shorten the procedure or lower its levels",
            Self::Saturated => {
                "a sensor is at the end of its range and says nothing any more: check its wiring and range"
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
            Self::Watchdog => "the rig did not answer: check the cable and the controller",
            Self::DeadlineMissed => {
                "this computer was too busy: close other programs, or permit real-time scheduling"
            }
            Self::RigStopped => {
                "the rig controller stopped by itself, as it should: remove the cause it names"
            }
            Self::Rebooted => "the rig controller restarted: check its supply",
            Self::SetpointsLost => {
                "the rig did not get its setpoints in time: check the cable and the load of this computer"
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

/// A condition that fired, with what was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trip {
    /// Which.
    pub condition: Condition,
    /// What was seen, in `unit`.
    pub measured: f64,
    /// What is allowed, in `unit`.
    pub limit: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// Rig tick of the sample, or of the newest sample when something else than a sample showed it.
    pub tick: u64,
    /// What more is known, such as the limit on which the rig itself tripped; else empty.
    pub detail: &'static str,
}

impl core::fmt::Display for Trip {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}", self.condition.name())?;
        if !self.detail.is_empty() {
            write!(f, " ({})", self.detail)?;
        }
        if !self.unit.is_empty() {
            let unit = self.unit;
            write!(
                f,
                ": {:.4} {unit} against a limit of {:.4} {unit}",
                self.measured, self.limit
            )?;
        }
        write!(f, ", at rig tick {} us; {}", self.tick, self.condition.advice())
    }
}
