//! The controller's program with a line to it, in scripted time: what it is made to do, and what it says.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

use rig_link::message::{
    ArmConfirm, ArmRequest, Configuration, Empty, HostMessage, KeepAlive, RigMessage, Setpoints, Stop,
    WindowReference,
};
use rig_link::{MAX_FRAME, Splitter, StopMode, StopReason, encode_host};

use crate::second_codec;

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
pub(crate) struct Rig {
    pub(crate) child: Child,
    pub(crate) input: ChildStdin,
    pub(crate) output: BufReader<ChildStdout>,
    pub(crate) sequence: u16,
    pub(crate) stamp: u64,
    pub(crate) power: i32,
    pub(crate) counts: i32,
    pub(crate) crc: u32,
    pub(crate) challenge: u32,
    pub(crate) tick: u64,
}

impl Drop for Rig {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) const LIMITS: Configuration = Configuration {
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
    pub(crate) fn new() -> Self {
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
    pub(crate) fn command(&mut self, command: &str) -> Vec<u8> {
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

    pub(crate) fn set(&mut self, what: &str, value: i32) {
        self.command(&format!("set {what} {value}"));
    }

    pub(crate) fn step(&mut self, steps: u64) {
        self.tick += 250 * steps;
        self.command(&format!("step {steps}"));
    }

    pub(crate) fn bytes(&mut self, bytes: &[u8]) {
        let mut text = String::from("rx ");
        second_codec::hex(bytes, &mut text);
        self.command(&text);
    }

    pub(crate) fn frame(&mut self, message: &HostMessage) -> Vec<u8> {
        let mut out = [0; MAX_FRAME];
        self.sequence += 1;
        let length = encode_host(message, self.sequence, &mut out).unwrap();
        out[..length].to_vec()
    }

    /// All that has been written, each message as `Debug` shows it; batches of samples are left out.
    pub(crate) fn take(&mut self) -> Vec<String> {
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
    pub(crate) fn ask(&mut self, message: &HostMessage) -> Vec<String> {
        self.take();
        let frame = self.frame(message);
        self.bytes(&frame);
        self.step(1);
        self.take()
    }

    pub(crate) fn feed(&mut self) -> Vec<String> {
        self.stamp += 1;
        self.ask(&HostMessage::KeepAlive(KeepAlive { host_ns: self.stamp }))
    }

    pub(crate) fn confirm(&self) -> HostMessage {
        HostMessage::ArmConfirm(ArmConfirm {
            challenge: self.challenge,
            configuration_crc: self.crc,
        })
    }

    pub(crate) fn request(&self) -> HostMessage {
        HostMessage::ArmRequest(ArmRequest {
            configuration_crc: self.crc,
        })
    }

    pub(crate) fn ready(limits: Configuration) -> Self {
        let mut rig = Self::new();
        rig.prepare(limits);
        rig
    }

    /// Configures it and has it sample.
    pub(crate) fn prepare(&mut self, limits: Configuration) {
        self.step(1);
        self.ask(&HostMessage::Configure(limits));
        self.ask(&HostMessage::StartSampling(Empty));
    }

    pub(crate) fn armed(limits: Configuration) -> Self {
        let mut rig = Self::ready(limits);
        rig.arm();
        rig
    }

    /// Both steps of arming.
    pub(crate) fn arm(&mut self) {
        self.feed();
        let request = self.request();
        self.ask(&request);
        let confirm = self.confirm();
        let said = self.ask(&confirm);
        assert!(
            said[0].contains("state: Armed") && said[1].contains("code: Armed"),
            "{said:?}"
        );
    }

    /// Armed, and pushing 1,000 counts from the next step on.
    pub(crate) fn pushing() -> Self {
        let mut rig = Self::armed(LIMITS);
        let tick = rig.tick + 500;
        let said = rig.ask(&setpoints(tick, &[1_000; 30], false));
        assert_eq!(said, Vec::<String>::new());
        rig.step(2);
        assert_eq!((rig.power, rig.counts), (1, 1_000));
        rig.take();
        rig
    }

    pub(crate) fn in_state(state: &str) -> Self {
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

pub(crate) fn setpoints(tick: u64, values: &[i16], ends: bool) -> HostMessage {
    HostMessage::Setpoints(Setpoints::new(tick, 500, ends, values).unwrap())
}

pub(crate) fn stop(mode: StopMode) -> HostMessage {
    HostMessage::Stop(Stop {
        mode,
        reason: StopReason::Test,
    })
}
