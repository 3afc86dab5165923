//! The controller skeleton in `c/` does what chapter 7 of `PROTOCOL.md` says, step by step in scripted time: every message
//! in every state, every cause of a trip, arming, setpoints, stops, a line that nobody reads.

use rig_link::message::{
    ArmRequest, ClearTrip, Configuration, DescribeChannel, Empty, Hello, HostMessage, KeepAlive,
};
use rig_link::{MAX_FRAME, StopMode, encode_frame};

use crate::scripted_rig::{LIMITS, Rig, setpoints, stop};

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
    let causes: [Cause; 11] = [
        ("RimSpeed", |rig| rig.set("turn", 130)),
        ("RimSpeed", |rig| rig.set("turn", -130)),
        ("RimWindow", |rig| rig.set("rim", 20_100)),
        ("SensorTorque", |rig| rig.set("torque", -10_000)),
        ("SensorTorque", |rig| rig.set("torque", 20_000)),
        ("Temperature", |rig| rig.set("temperature", 8_000)),
        ("SensorFault", |rig| rig.set("temperature", 20_000)),
        ("SensorFault", |rig| rig.set("valid", 0)),
        ("Supply", |rig| rig.set("supply", 17_000)),
        ("Supply", |rig| rig.set("supply", 31_000)),
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
        let status = rig.ask(&HostMessage::StatusRequest(Empty)).join("\n");
        assert!(
            status.contains("credit: 256"),
            "{name}: the queue is empty: {status}"
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
    // A sensor at the end of its range says nothing any more, whatever the limit: 13 N·m of 15.
    let wide = Configuration {
        sensor_torque_limit_mnm: 15_000,
        ..LIMITS
    };
    for end in [12_999, -12_999, 13_000, -13_000] {
        let mut rig = Rig::armed(wide);
        rig.set("torque", end);
        rig.step(1);
        assert_eq!(rig.power == 1, end.abs() < 13_000, "{end}");
        let tripped = rig.take().join("\n").contains("trip: SensorTorque");
        assert_eq!(tripped, end.abs() == 13_000, "{end}");
    }
    // A window from where it was armed, far beside zero; and the other way out of it.
    let mut rig = Rig::new();
    rig.set("rim", 100_000);
    rig.prepare(Configuration {
        setpoint_expiry_us: 1_000_000,
        watchdog_us: 1_000_000,
        ..LIMITS
    });
    rig.arm();
    rig.set("turn", -100);
    rig.step(195);
    assert_eq!(rig.power, 1);
    rig.step(10);
    assert!(rig.take().join("\n").contains("trip: RimWindow"));
    // Samples that nobody takes for longer than the watchdog are none, keep-alives or not.
    let mut rig = Rig::armed(Configuration {
        setpoint_expiry_us: 1_000_000,
        ..LIMITS
    });
    for stamp in 2..200 {
        let feed = rig.frame(&HostMessage::KeepAlive(KeepAlive { host_ns: stamp }));
        rig.bytes(&feed);
        rig.step(20);
    }
    assert_ne!(rig.power, 1);
    assert!(rig.take().join("\n").contains("trip: Internal"));
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
    rig.step(400); // the brake's time
    // A stamp that does not rise feeds nothing.
    assert!(rig.ask(&HostMessage::KeepAlive(KeepAlive { host_ns: 1 }))[0].contains("Echo"));
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
    // Before the last of the queue, or at its very tick (64 entries of half a millisecond each block).
    for tick in [first + 1_000, first + 255 * 500] {
        let said = rig.ask(&setpoints(tick, &[5], false));
        assert!(said[0].contains("OutOfOrder"), "{said:?}");
    }
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
    let status = rig.ask(&HostMessage::StatusRequest(Empty)).join("\n");
    assert!(status.contains("credit: 256"), "{status}");
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
