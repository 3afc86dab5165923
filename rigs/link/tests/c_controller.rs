//! The controller skeleton in `c/` does what chapter 7 of `PROTOCOL.md` says, step by step in scripted time: every message
//! in every state, every cause of a trip, arming, setpoints, stops, a line that nobody reads.
#![allow(missing_docs, clippy::unwrap_used, clippy::panic)]

mod second_codec;

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

use rig_link::message::{
    ArmConfirm, ArmRequest, ClearTrip, Configuration, DescribeChannel, Empty, Hello, HostMessage, KeepAlive,
    RigMessage, Setpoints, Stop, WindowReference,
};
use rig_link::{MAX_FRAME, Splitter, StopMode, StopReason, encode_frame, encode_host};

fn program() -> &'static PathBuf {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let files = [
            "link_frame.c",
            "link_message.c",
            "controller.c",
            "controller_line.c",
            "controller_messages.c",
            "controller_play.c",
            "controller_script.c",
        ];
        let options = ["-O1", "-fsanitize=undefined", "-fno-sanitize-recover=all"];
        second_codec::build("controller-script", &files, &options)
    })
}

/// The controller with what it is made to do and what it has said.
struct Rig {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
    sequence: u16,
    stamp: u64,
    power: i32,
    counts: i32,
    crc: u32,
    challenge: u32,
    tick: u64,
}

impl Drop for Rig {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const LIMITS: Configuration = Configuration {
    sample_period_us: 250,
    torque_limit_raw: 8_000,
    slew_limit_raw_per_ms: 65_535,
    rim_speed_limit_mrad_s: 5_000,
    window_low_urad: -200_000,
    window_high_urad: 200_000,
    window_reference: WindowReference::Arming,
    sensor_torque_limit_mnm: 10_000,
    temperature_limit_cdeg: 8_000,
    watchdog_us: 20_000,
    setpoint_expiry_us: 10_000,
    stop_mode: StopMode::Brake,
    brake_us: 500_000,
};

impl Rig {
    fn new() -> Self {
        let mut child = Command::new(program())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (input, output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        Self {
            child,
            input,
            output: BufReader::new(output),
            sequence: 0,
            stamp: 0,
            power: 0,
            counts: 0,
            crc: 0,
            challenge: 0,
            tick: 1_000,
        }
    }

    /// One command; the bytes that it answers with.
    fn command(&mut self, command: &str) -> Vec<u8> {
        writeln!(self.input, "{command}").unwrap();
        let mut line = String::new();
        self.output.read_line(&mut line).unwrap();
        let mut words = line.split_whitespace();
        let mut number = || words.next().and_then(|word| word.parse().ok());
        self.power = number().unwrap_or_else(|| panic!("{command:.60}: {line:?}"));
        self.counts = number().unwrap();
        let text = words.next().unwrap_or_default().as_bytes();
        let pairs = text.chunks(2).map(|pair| std::str::from_utf8(pair).unwrap());
        pairs.map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
    }

    fn set(&mut self, what: &str, value: i32) {
        self.command(&format!("set {what} {value}"));
    }

    fn step(&mut self, steps: u64) {
        self.tick += 250 * steps;
        self.command(&format!("step {steps}"));
    }

    fn bytes(&mut self, bytes: &[u8]) {
        let mut text = String::from("rx ");
        second_codec::hex(bytes, &mut text);
        self.command(&text);
    }

    fn frame(&mut self, message: &HostMessage) -> Vec<u8> {
        let mut out = [0; MAX_FRAME];
        self.sequence += 1;
        let length = encode_host(message, self.sequence, &mut out).unwrap();
        out[..length].to_vec()
    }

    /// All that has been written, each message as `Debug` shows it; batches of samples are left out.
    fn take(&mut self) -> Vec<String> {
        let mut said = Vec::new();
        loop {
            let bytes = self.command("take");
            if bytes.is_empty() {
                return said;
            }
            let mut splitter = Splitter::new();
            let (mut crc, mut challenge) = (None, None);
            splitter.feed(&bytes, |frame| {
                let message = RigMessage::parse(frame.unwrap()).unwrap();
                match &message {
                    RigMessage::Samples(_) => return,
                    RigMessage::Configured(configured) => crc = Some(configured.crc),
                    RigMessage::ArmChallenge(given) => challenge = Some(given.challenge),
                    _ => {}
                }
                said.push(format!("{message:?}"));
            });
            self.crc = crc.unwrap_or(self.crc);
            self.challenge = challenge.unwrap_or(self.challenge);
        }
    }

    /// Sends, makes one step, and returns what came of it.
    fn ask(&mut self, message: &HostMessage) -> Vec<String> {
        self.take();
        let frame = self.frame(message);
        self.bytes(&frame);
        self.step(1);
        self.take()
    }

    fn feed(&mut self) -> Vec<String> {
        self.stamp += 1;
        self.ask(&HostMessage::KeepAlive(KeepAlive { host_ns: self.stamp }))
    }

    fn confirm(&self) -> HostMessage {
        HostMessage::ArmConfirm(ArmConfirm {
            challenge: self.challenge,
            configuration_crc: self.crc,
        })
    }

    fn request(&self) -> HostMessage {
        HostMessage::ArmRequest(ArmRequest {
            configuration_crc: self.crc,
        })
    }

    fn ready(limits: Configuration) -> Self {
        let mut rig = Self::new();
        rig.step(1);
        rig.ask(&HostMessage::Configure(limits));
        rig.ask(&HostMessage::StartSampling(Empty));
        rig
    }

    fn armed(limits: Configuration) -> Self {
        let mut rig = Self::ready(limits);
        rig.feed();
        let request = rig.request();
        rig.ask(&request);
        let confirm = rig.confirm();
        let said = rig.ask(&confirm);
        assert!(
            said[0].contains("state: Armed") && said[1].contains("code: Armed"),
            "{said:?}"
        );
        rig
    }

    /// Armed, and pushing 1,000 counts from the next step on.
    fn pushing() -> Self {
        let mut rig = Self::armed(LIMITS);
        let tick = rig.tick + 500;
        let said = rig.ask(&setpoints(tick, &[1_000; 30], false));
        assert_eq!(said, Vec::<String>::new());
        rig.step(2);
        assert_eq!((rig.power, rig.counts), (1, 1_000));
        rig.take();
        rig
    }

    fn in_state(state: &str) -> Self {
        match state {
            "Idle" => {
                let mut rig = Self::new();
                rig.step(1);
                rig
            }
            "Ready" => Self::ready(LIMITS),
            "Armed" => Self::armed(LIMITS),
            "Stopping" => {
                let mut rig = Self::pushing();
                rig.set("turn", 100); // 4 rad/s
                let stop = stop(StopMode::Brake);
                let said = rig.ask(&stop);
                assert!(said[0].contains("mode: Brake, state: Stopping"), "{said:?}");
                assert_eq!(rig.power, 2);
                rig
            }
            _ => {
                let mut rig = Self::pushing();
                rig.set("stop", 0);
                rig.step(200);
                rig.set("stop", 1);
                rig.step(100);
                rig
            }
        }
    }
}

fn setpoints(tick: u64, values: &[i16], ends: bool) -> HostMessage {
    HostMessage::Setpoints(Setpoints::new(tick, 500, ends, values).unwrap())
}

fn stop(mode: StopMode) -> HostMessage {
    HostMessage::Stop(Stop {
        mode,
        reason: StopReason::Test,
    })
}

/// The table of 7.2, column by column: what answers, first part of its text.
#[test]
fn every_message_in_every_state_is_answered_as_the_table_says() {
    let states = ["Idle", "Ready", "Armed", "Stopping", "Tripped"];
    type Row = (&'static str, fn(&Rig) -> HostMessage, [&'static str; 5]);
    const WRONG: &str = "code: WrongState, detail: ";
    let rows: [Row; 11] = [
        (
            "Hello",
            |_| {
                HostMessage::Hello(Hello {
                    major: 1,
                    minor: 0,
                    nonce: 9,
                })
            },
            ["Identity"; 5],
        ),
        (
            "DescribeChannel",
            |_| HostMessage::DescribeChannel(DescribeChannel { index: 1 }),
            ["Channel"; 5],
        ),
        (
            "StatusRequest",
            |_| HostMessage::StatusRequest(Empty),
            ["Status"; 5],
        ),
        (
            "KeepAlive",
            |_| HostMessage::KeepAlive(KeepAlive { host_ns: 99 }),
            ["Echo"; 5],
        ),
        (
            "Configure",
            |_| HostMessage::Configure(LIMITS),
            ["Configured", "Configured", WRONG, WRONG, WRONG],
        ),
        (
            "StartSampling",
            |_| HostMessage::StartSampling(Empty),
            [WRONG, "Status", "Status", "Status", "Status"],
        ),
        (
            "StopSampling",
            |_| HostMessage::StopSampling(Empty),
            ["Status", "Status", WRONG, "Status", "Status"],
        ),
        (
            "ArmRequest",
            Rig::request,
            [WRONG, "ArmChallenge", WRONG, WRONG, WRONG],
        ),
        (
            "ArmConfirm",
            Rig::confirm,
            [WRONG, "code: WrongChallenge, detail: 0", WRONG, WRONG, WRONG],
        ),
        (
            "Setpoints",
            |rig| setpoints(rig.tick + 1_000, &[1], false),
            [WRONG, WRONG, "", WRONG, WRONG],
        ),
        (
            "ClearTrip",
            |_| HostMessage::ClearTrip(ClearTrip { trips: 1 }),
            [WRONG, WRONG, WRONG, WRONG, "Status(Status { tick"],
        ),
    ];
    for (name, message, answers) in rows {
        for (code, (state, answer)) in states.into_iter().zip(answers).enumerate() {
            let mut rig = Rig::in_state(state);
            let message = message(&rig);
            let said = rig.ask(&message);
            let expected = if answer == WRONG {
                format!("{WRONG}{code}")
            } else {
                answer.to_owned()
            };
            let first = said.first().map_or("", String::as_str);
            assert!(
                first.contains(&expected),
                "{name} in {state}: {said:?}, not {expected}"
            );
            assert_eq!(said.is_empty(), answer.is_empty(), "{name} in {state}: {said:?}");
        }
    }
    let mut rig = Rig::in_state("Tripped");
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 2 }))[0].contains("CauseRemains, detail: 0"));
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("state: Ready"));
    assert!(
        rig.ask(&HostMessage::Hello(Hello {
            major: 2,
            minor: 0,
            nonce: 1
        }))[0]
            .contains("code: Version, detail: 1")
    );
    assert!(
        rig.ask(&HostMessage::DescribeChannel(DescribeChannel { index: 5 }))[0]
            .contains("OutOfRange, detail: 0")
    );
    let bad = Configuration {
        watchdog_us: 999,
        ..LIMITS
    };
    assert!(rig.ask(&HostMessage::Configure(bad))[0].contains("OutOfRange, detail: 9"));
    // Tightened, never widened; periods rounded up to the step.
    let wide = Configuration {
        sample_period_us: 260,
        torque_limit_raw: 30_000,
        ..LIMITS
    };
    let said = rig.ask(&HostMessage::Configure(wide));
    assert!(
        said[0].contains("sample_period_us: 500, torque_limit_raw: 20000"),
        "{said:?}"
    );
}

/// Every cause of 7.10: power off in the very step in which it shows, latched, told with its code.
#[test]
fn every_cause_trips_in_its_step_and_stays_latched() {
    type Cause = (&'static str, fn(&mut Rig));
    let causes: [Cause; 9] = [
        ("RimSpeed", |rig| rig.set("turn", 130)),
        ("RimWindow", |rig| rig.set("rim", 20_100)),
        ("SensorTorque", |rig| rig.set("torque", -10_000)),
        ("SensorTorque", |rig| rig.set("torque", 20_000)),
        ("Temperature", |rig| rig.set("temperature", 8_000)),
        ("SensorFault", |rig| rig.set("temperature", 20_000)),
        ("SensorFault", |rig| rig.set("valid", 0)),
        ("Supply", |rig| rig.set("supply", 17_000)),
        ("EmergencyStop", |rig| rig.set("stop", 0)),
    ];
    for (name, make) in causes {
        let mut rig = Rig::pushing();
        make(&mut rig);
        // A leap of the angle is a speed too, and that has the lower code.
        let name = if name == "RimWindow" { "RimSpeed" } else { name };
        // Speed is the mean over a millisecond.
        rig.step(if name == "RimSpeed" { 4 } else { 1 });
        assert_ne!(rig.power, 1, "{name}");
        assert_eq!(rig.counts, 0, "{name}");
        let said = rig.take().join("\n");
        assert!(said.contains(&format!("trip: {name}")), "{name}: {said}");
        assert!(
            said.contains("code: Tripped") && said.contains("code: Disarmed, detail: 4"),
            "{said}"
        );
        rig.step(4_000);
        assert_eq!(
            (rig.power, rig.counts),
            (0, 0),
            "{name}: the brake is off at the latest after its time"
        );
        let request = rig.request();
        assert!(rig.ask(&request)[0].contains("WrongState, detail: 4"), "{name}");
    }
    // The window by itself, reached slowly.
    let mut rig = Rig::armed(Configuration {
        setpoint_expiry_us: 1_000_000,
        watchdog_us: 1_000_000,
        ..LIMITS
    });
    rig.set("turn", 100);
    rig.step(195);
    assert_eq!(rig.power, 1);
    rig.step(10);
    assert!(rig.take().join("\n").contains("trip: RimWindow"));
    // A fault of the board trips from Ready too.
    let mut rig = Rig::in_state("Ready");
    rig.command("fault 1");
    rig.step(1);
    assert!(rig.take().join("\n").contains("trip: Internal"));
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("CauseRemains, detail: 10"));
    rig.command("fault 0");
    rig.step(1);
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("state: Ready"));
}

#[test]
fn silence_and_old_setpoints_end_the_torque_in_their_time() {
    let mut rig = Rig::armed(Configuration {
        setpoint_expiry_us: 1_000_000,
        ..LIMITS
    });
    // Two steps of arming have gone since the feed: 80 steps are 20 ms.
    rig.step(78);
    assert_eq!(rig.power, 1);
    rig.step(1);
    assert!(rig.power != 1 && rig.take().join("\n").contains("trip: Watchdog"));
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("CauseRemains, detail: 1"));
    // A stamp that does not rise feeds nothing.
    assert!(rig.ask(&HostMessage::KeepAlive(KeepAlive { host_ns: 1 }))[0].contains("Echo"));
    rig.step(400); // the brake's time
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("CauseRemains, detail: 1"));
    rig.feed();
    assert!(rig.ask(&HostMessage::ClearTrip(ClearTrip { trips: 1 }))[0].contains("state: Ready"));

    let mut rig = Rig::armed(LIMITS);
    let tick = rig.tick + 500;
    rig.ask(&setpoints(tick, &[1_000], false));
    rig.step(2 + 39);
    assert_eq!((rig.power, rig.counts), (1, 1_000));
    assert!(rig.take().join("\n").contains("code: Underrun"));
    rig.step(1);
    assert!(rig.power != 1 && rig.take().join("\n").contains("trip: SetpointExpired"));
}

#[test]
fn setpoints_are_taken_whole_or_refused_whole() {
    let mut rig = Rig::armed(LIMITS);
    let now = rig.tick;
    for (message, answer) in [
        (setpoints(now + 1_000, &[1, 2], true), "NotZero, detail: 2"),
        (setpoints(now + 20_000_000, &[1], false), "OutOfRange, detail: 0"),
        (
            setpoints(now + 9_999_000, &[1; 5], false),
            "OutOfRange, detail: 1",
        ),
    ] {
        let said = rig.ask(&message);
        assert!(said[0].contains(answer), "{said:?}");
    }
    rig.feed();
    let first = rig.tick + 5_000;
    for block in 0..4_u64 {
        assert!(
            rig.ask(&setpoints(first + block * 32_000, &[5; 64], false))
                .is_empty()
        );
    }
    let said = rig.ask(&setpoints(first + 200_000, &[5], false));
    assert!(said[0].contains("QueueFull, detail: 0"), "{said:?}");
    let said = rig.ask(&setpoints(first + 1_000, &[5], false));
    assert!(said[0].contains("OutOfOrder"), "{said:?}");
    // Entries that are late are counted; the rest plays.
    let mut rig = Rig::armed(LIMITS);
    let late = rig.tick - 600;
    let said = rig.ask(&setpoints(late, &[7; 8], false)).join("\n");
    assert!(said.contains("code: LateSetpoint, detail: 850"), "{said}");
    rig.step(1);
    assert_eq!(rig.counts, 7);
    // Beyond the limit is cut to it, and told; slew spreads a change.
    let mut rig = Rig::armed(Configuration {
        slew_limit_raw_per_ms: 4_000,
        ..LIMITS
    });
    let tick = rig.tick + 250;
    let said = rig.ask(&setpoints(tick, &[30_000; 30], false)).join("\n");
    let rise: Vec<i32> = (0..8)
        .map(|_| {
            rig.step(1);
            rig.counts
        })
        .collect();
    assert_eq!(rise, [2_000, 3_000, 4_000, 5_000, 6_000, 7_000, 8_000, 8_000]);
    assert!(said.contains("code: SetpointLimited, detail: 30000"), "{said}");
}

#[test]
fn a_stop_overtakes_what_came_before_it_and_empties_the_queue() {
    let mut rig = Rig::pushing();
    // Frames of before and a half frame stand in front of it; it is carried out before any step.
    let tick = rig.tick + 30_000;
    let mut bytes = rig.frame(&setpoints(tick, &[2_000; 4], false));
    bytes.extend([5, 1, 2, 0]);
    bytes.extend(rig.frame(&stop(StopMode::Coast)));
    rig.bytes(&bytes);
    assert_eq!((rig.power, rig.counts), (0, 0));
    rig.step(1);
    let said = rig.take();
    let stopped = said.iter().position(|text| text.contains("Stopped(Stopped"));
    let refused = said
        .iter()
        .position(|text| text.contains("WrongState, detail: 1"));
    assert!(stopped < refused && stopped.is_some(), "{said:?}");
    // Arming again plays nothing of before.
    rig.feed();
    let request = rig.request();
    rig.ask(&request);
    let confirm = rig.confirm();
    assert!(rig.ask(&confirm)[0].contains("credit: 256"));
    rig.step(60);
    assert_eq!(rig.counts, 0);
    // One whose payload means nothing stops as the limits say.
    let mut rig = Rig::pushing();
    let mut out = [0; MAX_FRAME];
    let length = encode_frame(0x0A, 9, &[7, 7, 7], &mut out).unwrap();
    rig.bytes(&out[..length]);
    assert_eq!(rig.power, 2);
    rig.step(81); // at rest for 20 ms
    assert_eq!(rig.power, 0);
    let said = rig.take().join("\n");
    assert!(
        said.contains("mode: Brake, state: Stopping") && said.contains("code: BrakeReleased"),
        "{said}"
    );
}

#[test]
fn arming_takes_both_steps_in_time_and_every_condition() {
    // Wrong limits, an open stop, a cause that is there, no sampling, no feed.
    let mut rig = Rig::ready(LIMITS);
    let wrong = HostMessage::ArmRequest(ArmRequest {
        configuration_crc: rig.crc ^ 1,
    });
    assert!(rig.ask(&wrong)[0].contains("WrongConfiguration"));
    let request = rig.request();
    assert!(rig.ask(&request)[0].contains("ArmChallenge"));
    let confirm = rig.confirm();
    assert!(
        rig.ask(&confirm)[0].contains("WrongState, detail: 1"),
        "nobody has fed it"
    );
    rig.feed();
    assert!(rig.ask(&confirm)[0].contains("WrongChallenge"), "it was used up");
    let first = rig.challenge;
    rig.ask(&request);
    assert_ne!(rig.challenge, first);
    rig.step(8_004);
    rig.feed();
    let confirm = rig.confirm();
    assert!(rig.ask(&confirm)[0].contains("WrongChallenge"), "it is too old");
    rig.set("torque", 12_000);
    assert!(rig.ask(&request)[0].contains("CauseRemains, detail: 5"));
    rig.set("torque", 0);
    rig.set("stop", 0);
    rig.step(1);
    assert!(rig.ask(&request)[0].contains("EmergencyStopOpen"));
    rig.set("stop", 1);
    rig.step(40);
    assert!(
        rig.ask(&request)[0].contains("EmergencyStopOpen"),
        "closed for less than 20 ms"
    );
    rig.step(60);
    assert!(rig.ask(&request)[0].contains("ArmChallenge"));
    rig.ask(&HostMessage::StopSampling(Empty));
    assert!(
        rig.ask(&request)[0].contains("WrongState, detail: 1"),
        "no samples"
    );
    // Armed with nothing to play for ten seconds, it disarms by itself.
    let mut rig = Rig::armed(Configuration {
        watchdog_us: 1_000_000,
        ..LIMITS
    });
    for _ in 0..11 {
        rig.feed();
        rig.step(3_700);
    }
    assert_eq!(rig.power, 0);
    rig.take();
    assert!(rig.ask(&HostMessage::StatusRequest(Empty))[0].contains("state: Ready"));
}

/// Nobody takes what is written: the step goes on, samples are lost first and counted, a stop still works.
#[test]
fn a_line_that_nobody_reads_holds_nothing_up() {
    let patient = Configuration {
        watchdog_us: 1_000_000,
        setpoint_expiry_us: 1_000_000,
        ..LIMITS
    };
    let mut rig = Rig::armed(patient);
    let tick = rig.tick + 250;
    rig.ask(&setpoints(tick, &[1_000; 30], false));
    let hello = rig.frame(&HostMessage::Hello(Hello {
        major: 1,
        minor: 0,
        nonce: 1,
    }));
    for _ in 0..40 {
        rig.bytes(&hello);
    }
    rig.step(40);
    assert_eq!(rig.power, 1);
    for _ in 0..60 {
        rig.bytes(&hello);
        rig.step(1);
    }
    let stop = rig.frame(&stop(StopMode::Coast));
    rig.bytes(&stop);
    assert_eq!((rig.power, rig.counts), (0, 0));
    rig.step(400);
    rig.take();
    rig.step(1); // what was stored is answered now
    let said = rig.ask(&HostMessage::StatusRequest(Empty)).join("\n");
    let lost = said
        .split("lost_batches: ")
        .nth(1)
        .unwrap()
        .split(',')
        .next()
        .unwrap();
    assert!(lost.parse::<u32>().unwrap() > 10, "{said}");
    // Garbage of any length is counted and leaves the rest as it was.
    rig.bytes(&[1; 3_000]);
    rig.bytes(&[0]);
    let mut other = hello.clone();
    other[1] ^= 2;
    rig.bytes(&other);
    let said = rig.ask(&HostMessage::StatusRequest(Empty)).join("\n");
    assert!(said.contains("state: Ready"), "{said}");
}
