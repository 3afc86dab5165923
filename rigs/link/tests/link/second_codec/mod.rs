//! The C codec as a process, and this crate's words for the same things.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use rig_link::message::{Configuration, MessageError};
use rig_link::{
    Frame, FrameError, HostMessage, MAX_FRAME, RigMessage, Splitter, Width, encode_host, encode_rig,
};

/// The codec and the program that shows what it understands.
pub(crate) const CODEC: &[&str] = &["link_frame.c", "link_message.c", "link_dump.c"];

/// Compiles C files, warnings being errors; `extra` are further options.
pub(crate) fn build(name: &str, files: &[&str], extra: &[&str]) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("c");
    let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".to_owned());
    let output = Command::new(&compiler)
        .args([
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-pedantic",
            "-Wconversion",
        ])
        .args(extra)
        .arg("-o")
        .arg(&program)
        .args(files.iter().map(|file| folder.join(file)))
        .output();
    let output = output.unwrap_or_else(|error| {
        panic!(
            "no C compiler `{compiler}` ({error}): install one (tools/prepare tests does) or name it in CC"
        )
    });
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{compiler}:\n{said}");
    program
}

/// What the program prints about `bytes`.
pub(crate) fn run(program: &Path, bytes: &[u8]) -> String {
    let mut child = Command::new(program)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let bytes = bytes.to_vec();
    let feeding = std::thread::spawn(move || input.write_all(&bytes));
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "the C codec failed:\n{said}");
    feeding.join().unwrap().unwrap();
    String::from_utf8(output.stdout).unwrap()
}

/// The same from this crate.
pub(crate) fn dump(bytes: &[u8]) -> String {
    let (mut splitter, mut text) = (Splitter::new(), String::new());
    splitter.feed(bytes, |result| {
        match result {
            Ok(frame) => show(frame, &mut text),
            Err(error) => text.push_str(match error {
                FrameError::Stuffing => "stuffing",
                FrameError::Length(_) | FrameError::NoRoom => "length",
                FrameError::Checksum { .. } => "checksum",
                FrameError::Version(_) => "version",
            }),
        }
        text.push('\n');
    });
    writeln!(text, "bad={}", splitter.bad_frames()).unwrap();
    text
}

fn show(frame: Frame<'_>, text: &mut String) {
    write!(text, "{} ", frame.sequence).unwrap();
    let mut out = [0; MAX_FRAME];
    let shown = if frame.kind < 0x80 {
        HostMessage::parse(frame).map(|message| {
            host(&message, text);
            encode_host(&message, frame.sequence, &mut out).unwrap()
        })
    } else {
        RigMessage::parse(frame).map(|message| {
            rig(&message, frame, text);
            encode_rig(&message, frame.sequence, &mut out).unwrap()
        })
    };
    match shown {
        Ok(length) => {
            text.push_str(" = ");
            hex(&out[..length], text);
        }
        Err(MessageError::UnknownKind(kind)) => {
            write!(text, "unknown {kind} {}", frame.payload.len()).unwrap();
        }
        Err(MessageError::Malformed { kind, length }) => write!(text, "malformed {kind} {length}").unwrap(),
    }
}

pub(crate) fn hex(bytes: &[u8], text: &mut String) {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    for byte in bytes {
        text.push(char::from(DIGITS[usize::from(byte >> 4)]));
        text.push(char::from(DIGITS[usize::from(byte & 15)]));
    }
}

fn configuration(m: &Configuration, text: &mut String) {
    write!(
        text,
        " sample_period_us={} torque_limit_raw={} slew_limit_raw_per_ms={} rim_speed_limit_mrad_s={} \
         window_low_urad={} window_high_urad={} window_reference={} sensor_torque_limit_mnm={} \
         temperature_limit_cdeg={} watchdog_us={} setpoint_expiry_us={} stop_mode={} brake_us={}",
        m.sample_period_us,
        m.torque_limit_raw,
        m.slew_limit_raw_per_ms,
        m.rim_speed_limit_mrad_s,
        m.window_low_urad,
        m.window_high_urad,
        m.window_reference.code(),
        m.sensor_torque_limit_mnm,
        m.temperature_limit_cdeg,
        m.watchdog_us,
        m.setpoint_expiry_us,
        m.stop_mode.code(),
        m.brake_us
    )
    .unwrap();
}

fn host(message: &HostMessage, text: &mut String) {
    match message {
        HostMessage::Hello(m) => write!(
            text,
            "Hello major={} minor={} nonce={}",
            m.major, m.minor, m.nonce
        ),
        HostMessage::DescribeChannel(m) => write!(text, "DescribeChannel index={}", m.index),
        HostMessage::Configure(m) => {
            text.push_str("Configure");
            configuration(m, text);
            Ok(())
        }
        HostMessage::StartSampling(_) => write!(text, "StartSampling"),
        HostMessage::StopSampling(_) => write!(text, "StopSampling"),
        HostMessage::StatusRequest(_) => write!(text, "StatusRequest"),
        HostMessage::ArmRequest(m) => write!(text, "ArmRequest configuration_crc={}", m.configuration_crc),
        HostMessage::ArmConfirm(m) => write!(
            text,
            "ArmConfirm challenge={} configuration_crc={}",
            m.challenge, m.configuration_crc
        ),
        HostMessage::KeepAlive(m) => write!(text, "KeepAlive host_ns={}", m.host_ns),
        HostMessage::Setpoints(m) => {
            write!(text, "Setpoints first_tick={}", m.first_tick()).unwrap();
            // The period is not kept apart from the ticks, which end at the end of time.
            if m.values().len() > 1 {
                text.push_str(" period_us=");
                write!(text, "{}", period_of(m)).unwrap();
            }
            write!(text, " ends={} values=", u8::from(m.ends())).unwrap();
            for (index, value) in m.values().iter().enumerate() {
                write!(text, "{}{value}", if index == 0 { "" } else { "," }).unwrap();
            }
            Ok(())
        }
        HostMessage::Stop(m) => write!(text, "Stop mode={} reason={}", m.mode.code(), m.reason.code()),
        HostMessage::ClearTrip(m) => write!(text, "ClearTrip trips={}", m.trips),
    }
    .unwrap();
}

/// The period as the frame carries it.
fn period_of(m: &rig_link::message::Setpoints) -> u32 {
    let mut out = [0; MAX_FRAME];
    let length = encode_host(&HostMessage::Setpoints(*m), 0, &mut out).unwrap();
    let mut raw = [0; rig_link::frame::MAX_RAW];
    let frame = rig_link::decode_frame(&out[..length - 1], &mut raw).unwrap();
    u32::from_le_bytes(frame.payload[8..12].try_into().unwrap())
}

fn rig(message: &RigMessage<'_>, frame: Frame<'_>, text: &mut String) {
    let named = |name: &str, text: &mut String| hex(name.as_bytes(), text);
    match message {
        RigMessage::Identity(m) => {
            write!(
                text,
                "Identity major={} minor={} nonce={} boot_id={} tick={} capabilities={} channels={} \
                 queue_capacity={} min_sample_period_us={} full_scale_nm={} model=",
                m.major,
                m.minor,
                m.nonce,
                m.boot_id,
                m.tick,
                m.capabilities.0,
                m.channels,
                m.queue_capacity,
                m.min_sample_period_us,
                m.full_scale_nm.to_bits()
            )
            .unwrap();
            named(m.model.as_str(), text);
            text.push_str(" serial=");
            named(m.serial.as_str(), text);
            text.push_str(" firmware=");
            named(m.firmware.as_str(), text);
            Ok(())
        }
        RigMessage::Channel(m) => {
            write!(
                text,
                "Channel index={} kind={} width={} unit={} scale={} offset={} raw_min={} raw_max={} \
                 group_delay_ns={} name=",
                m.index,
                m.kind.code(),
                m.width.code(),
                m.unit.code(),
                m.scale.to_bits(),
                m.offset.to_bits(),
                m.raw_min,
                m.raw_max,
                m.group_delay_ns
            )
            .unwrap();
            named(m.name.as_str(), text);
            Ok(())
        }
        RigMessage::Configured(m) => {
            text.push_str("Configured");
            configuration(&m.applied, text);
            let out_of_range = m.applied.first_out_of_range().map_or(-1, i32::from);
            write!(
                text,
                " crc={} own_crc={} out_of_range={out_of_range}",
                m.crc,
                m.applied.crc()
            )
        }
        RigMessage::ArmChallenge(m) => {
            write!(
                text,
                "ArmChallenge challenge={} valid_us={}",
                m.challenge, m.valid_us
            )
        }
        RigMessage::Status(m) => write!(
            text,
            "Status tick={} state={} trip={} sampling={} emergency_stop_closed={} credit={} trips={} \
             underruns={} late_setpoints={} expired={} bad_frames={} lost_batches={} armed_angle_urad={}",
            m.tick,
            m.state.code(),
            m.trip.code(),
            u8::from(m.sampling),
            u8::from(m.emergency_stop_closed),
            m.credit,
            m.trips,
            m.underruns,
            m.late_setpoints,
            m.expired,
            m.bad_frames,
            m.lost_batches,
            m.armed_angle_urad
        ),
        RigMessage::Samples(m) => {
            let (row_bytes, rows) = (m.row_bytes(), m.rows());
            let period = u32::from_le_bytes(frame.payload[8..12].try_into().unwrap());
            write!(
                text,
                "Samples first_tick={} period_us={period} state={} credit={} row_bytes={row_bytes} rows={rows} counts=",
                m.first_tick,
                m.state.code(),
                m.credit
            )
            .unwrap();
            let widths = vec![Width::I16; row_bytes / 2];
            let mut row = vec![0; widths.len()];
            let mut first = true;
            if row_bytes % 2 == 0 {
                m.for_each_row(&widths, &mut row, |_, counts| {
                    for count in counts {
                        write!(text, "{}{count}", if first { "" } else { "," }).unwrap();
                        first = false;
                    }
                })
                .unwrap();
            } else {
                odd_rows(&frame.payload[17..], row_bytes, text);
            }
            text.push_str(" bytes=");
            hex(&frame.payload[17..], text);
            Ok(())
        }
        RigMessage::Echo(m) => write!(
            text,
            "Echo host_ns={} received_tick={} sent_tick={}",
            m.host_ns, m.received_tick, m.sent_tick
        ),
        RigMessage::Event(m) => write!(
            text,
            "Event tick={} number={} code={} detail={}",
            m.tick,
            m.number,
            m.code.code(),
            m.detail
        ),
        RigMessage::Refused(m) => write!(
            text,
            "Refused kind={} sequence={} code={} detail={}",
            m.kind,
            m.sequence,
            m.code.code(),
            m.detail
        ),
        RigMessage::Stopped(m) => {
            write!(
                text,
                "Stopped tick={} mode={} state={}",
                m.tick,
                m.mode.code(),
                m.state.code()
            )
        }
    }
    .unwrap();
}

/// Rows that no channels can fill are read two bytes at a time too.
fn odd_rows(bytes: &[u8], row_bytes: usize, text: &mut String) {
    let mut first = true;
    for row in bytes.chunks_exact(row_bytes) {
        for pair in row.chunks_exact(2) {
            let count = i16::from_le_bytes([pair[0], pair[1]]);
            write!(text, "{}{count}", if first { "" } else { "," }).unwrap();
            first = false;
        }
    }
}
