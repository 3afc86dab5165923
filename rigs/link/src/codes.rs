//! Codes on the wire. Each enum lists every value of its byte; any other value is refused when parsed.

/// Makes an enum that is one byte on the wire.
macro_rules! wire_codes {
    ($(#[$meta:meta])* $name:ident { $($(#[$vmeta:meta])* $variant:ident = $code:literal,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[repr(u8)]
        pub enum $name { $($(#[$vmeta])* $variant = $code,)* }

        impl $name {
            /// Every value, in the order of the codes.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The value that `code` stands for, if any.
            #[must_use]
            pub const fn from_code(code: u8) -> Option<Self> {
                match code { $($code => Some(Self::$variant),)* _ => None }
            }

            /// The byte on the wire.
            #[must_use]
            pub const fn code(self) -> u8 {
                self as u8
            }
        }
    };
}

wire_codes! {
    /// What the rig controller is doing. Only [`RigState::Armed`] can make torque; `Stopping` can only brake.
    RigState {
        /// Powered up or rebooted: not configured, zero torque.
        Idle = 0,
        /// Configured, zero torque.
        Ready = 1,
        /// Plays setpoints.
        Armed = 2,
        /// Braking the motor to rest after a stop; setpoints are ignored.
        Stopping = 3,
        /// Stopped by one of its own limits or by the emergency-stop input; latched until cleared.
        Tripped = 4,
    }
}

wire_codes! {
    /// Why the rig controller tripped.
    TripCause {
        /// It did not.
        None = 0,
        /// No fresh keep-alive within the watchdog time.
        Watchdog = 1,
        /// The setpoint in force grew older than the expiry time.
        SetpointExpired = 2,
        /// Rim faster than the limit.
        RimSpeed = 3,
        /// Rim angle outside the window.
        RimWindow = 4,
        /// Measured torque beyond the limit, or the torque sensor at the end of its range.
        SensorTorque = 5,
        /// Temperature beyond the limit.
        Temperature = 6,
        /// The emergency-stop input opened.
        EmergencyStop = 7,
        /// A sensor gave no valid value.
        SensorFault = 8,
        /// Supply voltage out of range.
        Supply = 9,
        /// A fault of the controller itself.
        Internal = 10,
    }
}

wire_codes! {
    /// How the motor is brought to zero torque.
    StopMode {
        /// Zero torque at once; motion coasts.
        Coast = 0,
        /// Brake, then zero torque. A rig without a brake coasts, and says so.
        Brake = 1,
    }
}

wire_codes! {
    /// Why the bench sends a stop; for the rig's log only.
    StopReason {
        /// The run ended as planned.
        Finished = 0,
        /// A condition of the bench's interlock fired.
        Interlock = 1,
        /// The operator asked for it.
        Operator = 2,
        /// The bench program is ending or failed.
        Failure = 3,
        /// A test of the stop itself.
        Test = 4,
    }
}

wire_codes! {
    /// From where the rim window is counted.
    WindowReference {
        /// From the rim angle channel's zero.
        Zero = 0,
        /// From the rim angle at the moment of arming.
        Arming = 1,
    }
}

wire_codes! {
    /// What a channel measures.
    ChannelKind {
        /// Setpoint in force at the tick, after the rig's own limits.
        Setpoint = 0,
        /// Rim torque from the torque sensor.
        Torque = 1,
        /// Rim angle.
        RimAngle = 2,
        /// Motor (rotor) angle, referred to the motor shaft.
        MotorAngle = 3,
        /// Motor current.
        Current = 4,
        /// Motor or case temperature.
        Temperature = 5,
        /// Supply voltage.
        Supply = 6,
        /// Anything else; recorded, not used.
        Other = 7,
    }
}

wire_codes! {
    /// Unit of `raw * scale + offset`.
    Unit {
        /// Dimensionless.
        One = 0,
        /// N·m.
        NewtonMetre = 1,
        /// rad.
        Radian = 2,
        /// A.
        Ampere = 3,
        /// Degree Celsius.
        Celsius = 4,
        /// V.
        Volt = 5,
        /// rad/s.
        RadianPerSecond = 6,
    }
}

impl Unit {
    /// The unit as UDUNITS writes it.
    #[must_use]
    pub const fn udunits(self) -> &'static str {
        match self {
            Self::One => "1",
            Self::NewtonMetre => "N.m",
            Self::Radian => "rad",
            Self::Ampere => "A",
            Self::Celsius => "degC",
            Self::Volt => "V",
            Self::RadianPerSecond => "rad s-1",
        }
    }
}

wire_codes! {
    /// Width of a channel's raw counts in a sample row.
    Width {
        /// Signed 16-bit.
        I16 = 2,
        /// Signed 32-bit.
        I32 = 4,
    }
}

wire_codes! {
    /// What happened on the rig.
    EventCode {
        /// Booted: the first event after power-up or reset.
        Booted = 0,
        /// Torque is permitted from now on.
        Armed = 1,
        /// Torque is no longer permitted; the detail is the [`RigState`] entered.
        Disarmed = 2,
        /// Tripped; the detail is the [`TripCause`].
        Tripped = 3,
        /// A setpoint was reduced to a limit; the detail is the raw setpoint asked for.
        SetpointLimited = 4,
        /// The last queued setpoint came into force with nothing behind it.
        Underrun = 5,
        /// A setpoint arrived after its own tick and was discarded; the detail is how late, in microseconds.
        LateSetpoint = 6,
        /// A frame failed its checks; the detail counts them since boot.
        BadFrame = 7,
        /// The armed rig had nothing to play for [`crate::ARM_IDLE_US`] and disarmed itself.
        ArmIdle = 8,
        /// The emergency-stop input opened (detail 0) or closed (detail 1).
        EmergencyStopInput = 9,
        /// Braking ended; the motor coasts.
        BrakeReleased = 10,
        /// A stop was carried out; the detail is the [`StopMode`] really used.
        Stopped = 11,
    }
}

wire_codes! {
    /// Why a message was refused.
    RefusalCode {
        /// Kind not known to this rig; the detail is the kind.
        UnknownKind = 1,
        /// Payload too short, too long or with a value that has no meaning; the detail is its length.
        Malformed = 2,
        /// Not allowed in the present state; the detail is the [`RigState`].
        WrongState = 3,
        /// A value out of range; the detail is the index of the field, counted from 0.
        OutOfRange = 4,
        /// The challenge is wrong, used, or too old.
        WrongChallenge = 5,
        /// The configuration is not the one the bench believes in; the detail is the applied one's CRC.
        WrongConfiguration = 6,
        /// No room in the setpoint queue; the detail is the credit.
        QueueFull = 7,
        /// Setpoint ticks do not rise; the detail is the low 31 bits of the last queued tick.
        OutOfOrder = 8,
        /// A trip's cause is there (still, or when arming); the detail is the [`TripCause`], 0 when the message names
        /// another trip than the one latched.
        CauseRemains = 9,
        /// The emergency-stop input is open.
        EmergencyStopOpen = 10,
        /// The bench's major version is not this rig's; the detail is the rig's.
        Version = 11,
        /// A setpoint stream must end with zero torque; the detail is the raw value found.
        NotZero = 12,
    }
}
