//! One message of each kind, field by field, with the frame that it must be on the wire.
//!
//! The bytes come from the plain codec in `python/`, which was written from `PROTOCOL.md` and shares no code with this
//! crate; they are the examples of chapter 5. Fields that could be mistaken for each other have different values.

use rig_link::message::{
    ArmChallenge, ArmConfirm, ArmRequest, Capabilities, Channel, ClearTrip, Configuration, Configured,
    DescribeChannel, Echo, Empty, Event, Hello, HostMessage, Identity, KeepAlive, Name, Refused, RigMessage,
    SamplesBuilder, Setpoints, Status, Stop, Stopped,
};
use rig_link::{
    ChannelKind, EventCode, RefusalCode, RigState, StopMode, StopReason, TripCause, Unit, Width,
    WindowReference,
};

/// A message's name, sequence and frame, closing delimiter included.
pub(crate) struct Literal<M> {
    pub(crate) name: &'static str,
    pub(crate) sequence: u16,
    pub(crate) message: M,
    pub(crate) wire: &'static str,
}

fn literal<M>(name: &'static str, sequence: u16, message: M, wire: &'static str) -> Literal<M> {
    Literal {
        name,
        sequence,
        message,
        wire,
    }
}

/// Bytes of a line of hexadecimal pairs.
pub(crate) fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace()
        .map(|pair| u8::from_str_radix(pair, 16).unwrap())
        .collect()
}

const CONFIGURATION_CRC: u32 = 0xDEAA_5C27;

pub(crate) fn configuration() -> Configuration {
    Configuration {
        sample_period_us: 250,
        torque_limit_raw: 16_384,
        slew_limit_raw_per_ms: 65_535,
        rim_speed_limit_mrad_s: 5_000,
        window_low_urad: -200_000,
        window_high_urad: 200_000,
        window_reference: WindowReference::Arming,
        sensor_torque_limit_mnm: 25_000,
        temperature_limit_cdeg: 8_000,
        watchdog_us: 20_000,
        setpoint_expiry_us: 10_000,
        stop_mode: StopMode::Brake,
        brake_us: 500_000,
    }
}

pub(crate) fn host() -> Vec<Literal<HostMessage>> {
    vec![
        literal(
            "Hello",
            1,
            HostMessage::Hello(Hello {
                major: 1,
                minor: 0,
                nonce: 0x1234_5678,
            }),
            "04 01 01 01 02 01 09 78 56 34 12 8C 1D CD 80 00",
        ),
        literal(
            "DescribeChannel",
            2,
            HostMessage::DescribeChannel(DescribeChannel { index: 1 }),
            "04 01 02 02 04 01 16 EB 02 7F 00",
        ),
        literal(
            "Configure",
            3,
            HostMessage::Configure(configuration()),
            "04 01 03 03 02 FA 01 01 01 06 40 FF FF 88 13 01 08 C0 F2 FC FF 40 0D 03 04 01 A8 61 01 05 40 1F 20 4E \
             01 03 10 27 01 05 01 20 A1 07 05 9A 05 1A 2D 00",
        ),
        literal(
            "StartSampling",
            4,
            HostMessage::StartSampling(Empty),
            "04 01 04 04 05 B9 24 76 45 00",
        ),
        literal(
            "StopSampling",
            5,
            HostMessage::StopSampling(Empty),
            "04 01 05 05 05 B0 2E 95 F3 00",
        ),
        literal(
            "StatusRequest",
            6,
            HostMessage::StatusRequest(Empty),
            "04 01 0C 06 05 92 2A 62 5A 00",
        ),
        literal(
            "ArmRequest",
            7,
            HostMessage::ArmRequest(ArmRequest {
                configuration_crc: CONFIGURATION_CRC,
            }),
            "04 01 06 07 09 27 5C AA DE AD D0 64 A8 00",
        ),
        literal(
            "ArmConfirm",
            8,
            HostMessage::ArmConfirm(ArmConfirm {
                challenge: 0xC0FF_EE01,
                configuration_crc: CONFIGURATION_CRC,
            }),
            "04 01 07 08 0C 01 EE FF C0 27 5C AA DE 13 AE 48 01 00",
        ),
        literal(
            "KeepAlive",
            9,
            HostMessage::KeepAlive(KeepAlive {
                host_ns: 1_500_000_000,
            }),
            "04 01 08 09 01 04 2F 68 59 01 01 01 05 54 60 C3 FB 00",
        ),
        literal(
            "Setpoints",
            10,
            HostMessage::Setpoints(Setpoints::new(5_000_000, 500, false, &[0, 328, -328, 32_767]).unwrap()),
            "04 01 09 0A 04 40 4B 4C 01 01 01 01 03 F4 01 01 01 02 04 01 0B 48 01 B8 FE FF 7F 8A AD 29 06 00",
        ),
        literal(
            "Stop",
            11,
            HostMessage::Stop(Stop {
                mode: StopMode::Brake,
                reason: StopReason::Operator,
            }),
            "04 01 0A 0B 07 01 02 05 C1 A0 6B 00",
        ),
        literal(
            "ClearTrip",
            12,
            HostMessage::ClearTrip(ClearTrip { trips: 3 }),
            "04 01 0B 0C 02 03 01 01 05 F7 E1 ED 83 00",
        ),
    ]
}

/// The rows of the Samples example: channels of 2, 2 and 4 bytes.
pub(crate) fn batch() -> SamplesBuilder {
    let widths = [Width::I16, Width::I16, Width::I32];
    let mut batch = SamplesBuilder::new(250);
    batch.push(2_000_250, &widths, &[0, -3, 70_000]).unwrap();
    batch.push(2_000_500, &widths, &[328, 5, -70_000]).unwrap();
    batch
}

pub(crate) fn rig(batch: &SamplesBuilder) -> Vec<Literal<RigMessage<'_>>> {
    vec![
        literal(
            "Identity",
            1,
            RigMessage::Identity(Identity {
                major: 1,
                minor: 0,
                nonce: 0x1234_5678,
                boot_id: 0x5EED_0001,
                tick: 1_000_000,
                capabilities: Capabilities(Capabilities::BRAKE | Capabilities::EMERGENCY_STOP_INPUT),
                channels: 5,
                queue_capacity: 256,
                min_sample_period_us: 250,
                full_scale_nm: 20.0,
                model: Name::new("demo-rig"),
                serial: Name::new("R-0001"),
                firmware: Name::new("0.1.0"),
            }),
            "04 01 81 01 02 01 06 78 56 34 12 01 06 ED 5E 40 42 0F 01 01 01 01 02 03 02 05 03 01 FA 01 01 01 01 \
             01 01 01 01 0B 34 40 64 65 6D 6F 2D 72 69 67 01 01 01 01 01 01 01 01 01 01 01 01 01 01 01 07 52 2D \
             30 30 30 31 01 01 01 01 01 01 01 01 01 06 30 2E 31 2E 30 01 01 01 01 01 01 01 01 01 01 05 D4 2C 3D \
             09 00",
        ),
        literal(
            "Channel",
            2,
            RigMessage::Channel(Channel {
                index: 1,
                kind: ChannelKind::Current,
                width: Width::I16,
                unit: Unit::Ampere,
                scale: 0.001,
                offset: -0.25,
                raw_min: -32_000,
                raw_max: 31_000,
                group_delay_ns: 125_000,
                name: Name::new("motor-current"),
            }),
            "04 01 82 02 0D 01 04 02 03 FC A9 F1 D2 4D 62 50 3F 01 01 01 01 01 03 D0 BF 06 83 FF FF 18 79 01 04 \
             48 E8 01 0E 6D 6F 74 6F 72 2D 63 75 72 72 65 6E 74 01 01 05 AB B3 3E F5 00",
        ),
        literal(
            "Configured",
            3,
            RigMessage::Configured(Configured {
                applied: configuration(),
                crc: CONFIGURATION_CRC,
            }),
            "04 01 83 03 02 FA 01 01 01 06 40 FF FF 88 13 01 08 C0 F2 FC FF 40 0D 03 04 01 A8 61 01 05 40 1F 20 4E 01 \
             03 10 27 01 05 01 20 A1 07 09 27 5C AA DE 07 CA C9 25 00",
        ),
        literal(
            "ArmChallenge",
            4,
            RigMessage::ArmChallenge(ArmChallenge {
                challenge: 0xC0FF_EE01,
                valid_us: 2_000_000,
            }),
            "04 01 84 04 08 01 EE FF C0 80 84 1E 05 03 5E 44 2C 00",
        ),
        literal(
            "Status",
            5,
            RigMessage::Status(Status {
                tick: 2_000_000,
                state: RigState::Tripped,
                trip: TripCause::RimSpeed,
                sampling: true,
                emergency_stop_closed: false,
                credit: 256,
                trips: 1,
                underruns: 2,
                late_setpoints: 6,
                expired: 5,
                bad_frames: 7,
                lost_batches: 8,
                armed_angle_urad: -1_200,
            }),
            "04 01 85 05 04 80 84 1E 01 01 01 01 04 04 03 01 01 03 01 01 01 01 02 02 01 01 02 06 01 01 02 05 01 \
             01 02 07 01 01 02 08 01 01 09 50 FB FF FF 81 51 79 3B 00",
        ),
        literal(
            "Samples",
            6,
            RigMessage::Samples(batch.message(RigState::Stopping, 256).unwrap()),
            "04 01 86 06 04 7A 85 1E 01 01 01 01 02 FA 01 01 02 03 04 01 08 02 01 06 FD FF 70 11 01 04 48 01 05 09 90 \
             EE FE FF E5 55 7D EA 00",
        ),
        literal(
            "Echo",
            7,
            RigMessage::Echo(Echo {
                host_ns: 1_500_000_000,
                received_tick: 2_100_000,
                sent_tick: 2_100_180,
            }),
            "04 01 87 07 01 04 2F 68 59 01 01 01 04 20 0B 20 01 01 01 01 04 D4 0B 20 01 01 01 01 05 E7 CB 63 E2 00",
        ),
        literal(
            "Event",
            8,
            RigMessage::Event(Event {
                tick: 2_200_000,
                number: 2,
                code: EventCode::Tripped,
                detail: 7,
            }),
            "04 01 88 08 04 C0 91 21 01 01 01 01 02 02 01 01 03 03 07 01 01 05 10 3C 06 F9 00",
        ),
        literal(
            "Refused",
            9,
            RigMessage::Refused(Refused {
                kind: 9,
                sequence: 10,
                code: RefusalCode::WrongState,
                detail: 1,
            }),
            "04 01 89 09 03 09 0A 03 03 01 01 01 05 13 A2 D5 4B 00",
        ),
        literal(
            "Stopped",
            10,
            RigMessage::Stopped(Stopped {
                tick: 2_300_000,
                mode: StopMode::Brake,
                state: RigState::Stopping,
            }),
            "04 01 8A 0A 04 60 18 23 01 01 01 01 07 01 03 CD B5 CA 0C 00",
        ),
    ]
}
