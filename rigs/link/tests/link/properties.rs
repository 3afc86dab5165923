//! Properties over arbitrary messages and arbitrary bytes.

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;
use proptest::test_runner::RngSeed;
use rig_link::frame::{MAX_RAW, MAX_STUFFED};
use rig_link::message::{
    ArmChallenge, ArmConfirm, ArmRequest, Capabilities, Channel, ClearTrip, Configuration, Configured,
    DescribeChannel, Echo, Empty, Event, Hello, HostMessage, Identity, KeepAlive, Name, Refused, RigMessage,
    SamplesBuilder, Setpoints, Status, Stop, Stopped,
};
use rig_link::{
    ChannelKind, EventCode, FrameError, MAX_CHANNELS, MAX_FRAME, MAX_SETPOINTS, RefusalCode, RigState,
    Splitter, StopMode, StopReason, TripCause, Unit, Width, WindowReference, decode_frame, encode_host,
    encode_rig,
};

fn configuration() -> impl Strategy<Value = Configuration> {
    let first = (
        any::<(u32, u16, u16, u32)>(),
        any::<(i32, i32)>(),
        select(WindowReference::ALL),
    );
    let second = (any::<(u32, i16, u32, u32)>(), select(StopMode::ALL), any::<u32>());
    (first, second).prop_map(
        |((rates, window, reference), (limits, stop_mode, brake_us))| Configuration {
            sample_period_us: rates.0,
            torque_limit_raw: rates.1,
            slew_limit_raw_per_ms: rates.2,
            rim_speed_limit_mrad_s: rates.3,
            window_low_urad: window.0,
            window_high_urad: window.1,
            window_reference: reference,
            sensor_torque_limit_mnm: limits.0,
            temperature_limit_cdeg: limits.1,
            watchdog_us: limits.2,
            setpoint_expiry_us: limits.3,
            stop_mode,
            brake_us,
        },
    )
}

fn setpoints() -> impl Strategy<Value = Setpoints> {
    (
        any::<u64>(),
        1..=u32::MAX,
        any::<bool>(),
        vec(any::<i16>(), 1..=MAX_SETPOINTS),
    )
        .prop_map(|(tick, period, ends, values)| Setpoints::new(tick, period, ends, &values).unwrap())
}

fn host_message() -> impl Strategy<Value = HostMessage> {
    prop_oneof![
        any::<(u8, u8, u32)>().prop_map(|(major, minor, nonce)| HostMessage::Hello(Hello {
            major,
            minor,
            nonce
        })),
        any::<u8>().prop_map(|index| HostMessage::DescribeChannel(DescribeChannel { index })),
        configuration().prop_map(HostMessage::Configure),
        Just(HostMessage::StartSampling(Empty)),
        Just(HostMessage::StopSampling(Empty)),
        Just(HostMessage::StatusRequest(Empty)),
        any::<u32>().prop_map(|crc| HostMessage::ArmRequest(ArmRequest {
            configuration_crc: crc
        })),
        any::<(u32, u32)>().prop_map(|(challenge, configuration_crc)| {
            HostMessage::ArmConfirm(ArmConfirm {
                challenge,
                configuration_crc,
            })
        }),
        any::<u64>().prop_map(|host_ns| HostMessage::KeepAlive(KeepAlive { host_ns })),
        setpoints().prop_map(HostMessage::Setpoints),
        (select(StopMode::ALL), select(StopReason::ALL))
            .prop_map(|(mode, reason)| HostMessage::Stop(Stop { mode, reason })),
        any::<u32>().prop_map(|trips| HostMessage::ClearTrip(ClearTrip { trips })),
    ]
}

fn finite() -> impl Strategy<Value = f64> {
    any::<f64>().prop_filter("finite and not zero", |value| {
        value.is_finite() && value.abs() > 0.0
    })
}

fn identity() -> impl Strategy<Value = Identity> {
    let numbers = (
        any::<(u8, u8, u32, u32, u64, u16)>(),
        1..=MAX_CHANNELS as u8,
        any::<(u16, u32)>(),
        finite(),
    );
    (numbers, any::<(String, String, String)>()).prop_map(|((head, channels, tail, scale), texts)| Identity {
        major: head.0,
        minor: head.1,
        nonce: head.2,
        boot_id: head.3,
        tick: head.4,
        capabilities: Capabilities(head.5),
        channels,
        queue_capacity: tail.0,
        min_sample_period_us: tail.1,
        full_scale_nm: scale.abs(),
        model: Name::new(&texts.0),
        serial: Name::new(&texts.1),
        firmware: Name::new(&texts.2),
    })
}

fn channel() -> impl Strategy<Value = Channel> {
    let codes = (0..MAX_CHANNELS as u8, select(ChannelKind::ALL), select(Unit::ALL));
    let range = prop_oneof![
        (i16::MIN..0, 0..=i16::MAX).prop_map(|(low, high)| (Width::I16, i32::from(low), i32::from(high))),
        (i32::MIN..0, 0..=i32::MAX).prop_map(|(low, high)| (Width::I32, low, high)),
    ];
    (codes, range, finite(), finite(), any::<(u32, String)>()).prop_map(
        |(codes, range, scale, offset, rest)| Channel {
            index: codes.0,
            kind: codes.1,
            width: range.0,
            unit: codes.2,
            scale,
            offset,
            raw_min: range.1,
            raw_max: range.2,
            group_delay_ns: rest.0,
            name: Name::new(&rest.1),
        },
    )
}

fn status() -> impl Strategy<Value = Status> {
    let codes = (select(RigState::ALL), select(TripCause::ALL));
    (any::<(u64, bool, bool, u16, i32)>(), codes, any::<[u32; 6]>()).prop_map(|(own, codes, counts)| Status {
        tick: own.0,
        state: codes.0,
        trip: codes.1,
        sampling: own.1,
        emergency_stop_closed: own.2,
        credit: own.3,
        trips: counts[0],
        underruns: counts[1],
        late_setpoints: counts[2],
        expired: counts[3],
        bad_frames: counts[4],
        lost_batches: counts[5],
        armed_angle_urad: own.4,
    })
}

fn rig_message() -> impl Strategy<Value = RigMessage<'static>> {
    prop_oneof![
        identity().prop_map(RigMessage::Identity),
        channel().prop_map(RigMessage::Channel),
        (configuration(), any::<u32>())
            .prop_map(|(applied, crc)| RigMessage::Configured(Configured { applied, crc })),
        any::<(u32, u32)>()
            .prop_map(|(challenge, valid_us)| RigMessage::ArmChallenge(ArmChallenge { challenge, valid_us })),
        status().prop_map(RigMessage::Status),
        any::<(u64, u64, u64)>().prop_map(|(host_ns, received_tick, sent_tick)| {
            RigMessage::Echo(Echo {
                host_ns,
                received_tick,
                sent_tick,
            })
        }),
        (any::<(u64, u32, i32)>(), select(EventCode::ALL)).prop_map(|((tick, number, detail), code)| {
            RigMessage::Event(Event {
                tick,
                number,
                code,
                detail,
            })
        }),
        (any::<(u8, u16, i32)>(), select(RefusalCode::ALL)).prop_map(|((kind, sequence, detail), code)| {
            RigMessage::Refused(Refused {
                kind,
                sequence,
                code,
                detail,
            })
        }),
        (any::<u64>(), select(StopMode::ALL), select(RigState::ALL))
            .prop_map(|(tick, mode, state)| RigMessage::Stopped(Stopped { tick, mode, state })),
    ]
}

/// Kind, sequence and payload of a frame.
type Found = (u8, u16, Vec<u8>);

/// Everything that a splitter says of `bytes`: kinds of frames found, and errors.
fn split(splitter: &mut Splitter, bytes: &[u8]) -> (Vec<Found>, Vec<FrameError>) {
    let (mut frames, mut errors) = (Vec::new(), Vec::new());
    splitter.feed(bytes, |result| match result {
        Ok(frame) => frames.push((frame.kind, frame.sequence, frame.payload.to_vec())),
        Err(error) => errors.push(error),
    });
    (frames, errors)
}

proptest! {
    // The same cases on every run.
    #![proptest_config(ProptestConfig { cases: 1_000, rng_seed: RngSeed::Fixed(17), ..ProptestConfig::default() })]

    #[test]
    fn host_messages_come_back(message in host_message(), sequence in any::<u16>()) {
        let (mut out, mut raw) = ([0; MAX_FRAME], [0; MAX_RAW]);
        let length = encode_host(&message, sequence, &mut out).unwrap();
        let frame = decode_frame(&out[..length - 1], &mut raw).unwrap();
        prop_assert_eq!(frame.sequence, sequence);
        prop_assert_eq!(HostMessage::parse(frame), Ok(message));
    }

    #[test]
    fn rig_messages_come_back(message in rig_message(), sequence in any::<u16>()) {
        let (mut out, mut raw) = ([0; MAX_FRAME], [0; MAX_RAW]);
        let length = encode_rig(&message, sequence, &mut out).unwrap();
        let frame = decode_frame(&out[..length - 1], &mut raw).unwrap();
        prop_assert_eq!(frame.sequence, sequence);
        prop_assert_eq!(RigMessage::parse(frame), Ok(message));
    }

    #[test]
    fn batches_come_back(
        start in 0_u64..1 << 60,
        period in 1_u32..,
        widths in vec(select(Width::ALL), 1..=MAX_CHANNELS),
        rows in vec(any::<[i16; MAX_CHANNELS]>(), 1..40),
        state in select(RigState::ALL),
        credit in any::<u16>(),
    ) {
        let mut batch = SamplesBuilder::new(period);
        let mut pushed = Vec::new();
        for (tick, row) in (start..).step_by(period as usize).zip(&rows) {
            let counts: Vec<i32> = row.iter().take(widths.len()).map(|&count| i32::from(count)).collect();
            if batch.push(tick, &widths, &counts).is_ok() {
                pushed.push((tick, counts));
            }
        }
        let message = RigMessage::Samples(batch.message(state, credit).unwrap());
        let (mut out, mut raw) = ([0; MAX_FRAME], [0; MAX_RAW]);
        let length = encode_rig(&message, 1, &mut out).unwrap();
        let back = RigMessage::parse(decode_frame(&out[..length - 1], &mut raw).unwrap());
        prop_assert_eq!(back, Ok(message));
        let Ok(RigMessage::Samples(samples)) = back else { return Err(TestCaseError::fail("not samples")) };
        let mut seen = Vec::new();
        let mut row = [0; MAX_CHANNELS];
        samples.for_each_row(&widths, &mut row, |tick, counts| seen.push((tick, counts.to_vec())));
        prop_assert_eq!(seen, pushed);
    }

    #[test]
    fn any_bytes_are_survived(bytes in vec(any::<u8>(), 0..2_000), kind in any::<u8>()) {
        let mut splitter = Splitter::new();
        let (frames, errors) = split(&mut splitter, &bytes);
        prop_assert_eq!(splitter.bad_frames() as usize, errors.len());
        prop_assert!(frames.is_empty(), "random bytes made {:?}", frames);
        let payload = bytes.get(..bytes.len().min(496)).unwrap();
        let frame = rig_link::Frame { kind, sequence: 0, payload };
        let _ = (HostMessage::parse(frame), RigMessage::parse(frame));
        let mut raw = [0; MAX_RAW];
        prop_assert!(decode_frame(&bytes, &mut raw).is_err());
    }

    #[test]
    fn a_frame_behind_garbage_and_a_delimiter_is_found(
        garbage in vec(any::<u8>(), 0..1_500),
        message in host_message(),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut wire = garbage;
        wire.push(0);
        let mut out = [0; MAX_FRAME];
        let length = encode_host(&message, 77, &mut out).unwrap();
        wire.extend(&out[..length]);
        // However the stream is cut into reads.
        let (head, tail) = wire.split_at(cut.index(wire.len()));
        let mut splitter = Splitter::new();
        let (mut frames, _) = split(&mut splitter, head);
        frames.extend(split(&mut splitter, tail).0);
        prop_assert_eq!(frames.len(), 1);
        let (kind, sequence, payload) = &frames[0];
        prop_assert_eq!(*sequence, 77);
        let frame = rig_link::Frame { kind: *kind, sequence: *sequence, payload };
        prop_assert_eq!(HostMessage::parse(frame), Ok(message));
    }

    #[test]
    fn a_stop_behind_a_half_sent_frame_and_a_delimiter_is_found(
        message in host_message(),
        cut in any::<prop::sample::Index>(),
    ) {
        let (mut half, mut stop) = ([0; MAX_FRAME], [0; MAX_FRAME]);
        let length = encode_host(&message, 1, &mut half).unwrap();
        let stopping = HostMessage::Stop(Stop { mode: StopMode::Brake, reason: StopReason::Interlock });
        let stop_length = encode_host(&stopping, 2, &mut stop).unwrap();
        let sent = cut.index(length - 1);
        let wire = [&half[..sent], &[0], &stop[..stop_length]].concat();
        let (frames, errors) = split(&mut Splitter::new(), &wire);
        prop_assert_eq!(frames.len(), 1, "{:?}", errors);
        prop_assert_eq!(frames[0].0, rig_link::message::STOP_KIND);
        prop_assert_eq!(errors.len(), usize::from(sent > 0));
    }

    #[test]
    fn a_run_without_delimiters_is_one_bad_frame(extra in 1_usize..5_000, fill in 1_u8..) {
        let mut splitter = Splitter::new();
        let wire = [vec![fill; MAX_STUFFED + extra], vec![0]].concat();
        let (frames, errors) = split(&mut splitter, &wire);
        prop_assert!(frames.is_empty());
        prop_assert_eq!(errors, vec![FrameError::Length(MAX_STUFFED + 1)]);
        prop_assert_eq!(splitter.bad_frames(), 1);
    }
}
