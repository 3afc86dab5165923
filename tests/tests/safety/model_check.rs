//! Every state that bench and rig controller can reach together over a lossy line: none in which the motor may push
//! although the bench was told that it is stopped, none that is armed without both steps; and what must follow a trip
//! does follow. See `acceptance::model` for what is modelled.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use acceptance::model::bench::Phase;
use acceptance::model::line::Way;
use acceptance::model::rig::Rig;
use acceptance::model::search::{Reached, explore};
use acceptance::model::world::World;
use acceptance::model::{Flaw, Parts, ToBench, ToRig};
use bench_core::interlock::{Event, State};
use rig_link::message::{
    ArmConfirm, ArmRequest, ClearTrip, Configuration, Empty, KeepAlive, Stop, WindowReference,
};
use rig_link::{HostMessage, MAX_FRAME, RigMessage, RigState, Splitter, StopMode, StopReason, encode_host};
use virtual_rig::VirtualRig;
use virtual_rig::controller::transition::{Change, after};

/// More states than this would take too long.
const MOST: usize = 2_500_000;

/// Each is gone through completely. Losses, delays, time limits, stops that overtake, the watchdog, the operator and
/// the bench's conditions are in all of them.
fn scenes() -> Vec<(&'static str, Parts)> {
    let real = Parts::real();
    vec![
        ("plain", real),
        ("brake", Parts { brakes: true, ..real }),
        ("inputs of the rig", Parts { inputs: true, ..real }),
        ("doubled frames", Parts { doubles: 1, ..real }),
        ("reboot", Parts { reboots: 1, ..real }),
        ("line cut", Parts { cuts: 1, ..real }),
        (
            "program dies and is started again",
            Parts {
                sessions: 2,
                proves: false,
                losses: Some(1),
                ..real
            },
        ),
    ]
}

/// What must hold in every state.
type Always = (&'static str, fn(&World) -> bool);

const ALWAYS: [Always; 6] = [
    ("once the rig has confirmed the stop it is not armed", |world| {
        !world.bench.believes_stopped() || world.rig.state != RigState::Armed
    }),
    (
        "the rig arms on both steps of the session whose limits it applies",
        |world| !world.rig.armed_wrongly,
    ),
    (
        "a session in whose plan the rig tripped never arms it again",
        |world| !world.rig.armed_again,
    ),
    ("a trip of the bench latches", |world| {
        !world.bench.latched || world.bench.interlock == State::Tripped
    }),
    ("the plan is played while the interlock is armed alone", |world| {
        world.bench.phase != Phase::Playing || world.bench.interlock == State::Armed
    }),
    ("a run that is over permits nothing", |world| {
        world.bench.phase != Phase::Finished || world.bench.interlock != State::Armed
    }),
];

/// What must follow: when the first holds and nothing more goes wrong, the second comes.
type Follows = (&'static str, fn(&World) -> bool, fn(&World) -> bool);

const FOLLOWS: [Follows; 4] = [
    (
        "when the bench permits nothing any more the rig leaves armed, line or no line",
        |world| {
            let asks = matches!(world.bench.interlock, State::Arming | State::Armed);
            world.rig.state == RigState::Armed && (!asks || world.bench.is_over())
        },
        |world| world.rig.state != RigState::Armed,
    ),
    (
        "a trip of the rig becomes known to a bench that runs, while there is a line",
        |world| world.up && world.rig.state == RigState::Tripped,
        |world| {
            world.bench.is_over()
                || world.rig.state != RigState::Tripped
                || world.bench.seen_trips == world.rig.trips
        },
    ),
    (
        "a bench whose rig is not armed permits nothing for long",
        |world| world.bench.armed() && world.rig.state != RigState::Armed,
        |world| !world.bench.armed() || world.rig.state == RigState::Armed,
    ),
    (
        "without a line both sides end without torque",
        |world| !world.up,
        |world| world.rig.state != RigState::Armed && (world.bench.is_over() || !world.bench.armed()),
    ),
];

/// How the property of this name is broken, if it is.
fn broken(name: &str, parts: &Parts, reached: &Reached) -> Option<String> {
    let always = ALWAYS.iter().filter(|(own, _)| *own == name);
    let follows = FOLLOWS.iter().filter(|(own, ..)| *own == name);
    always
        .map(|(_, holds)| reached.first(|world| !holds(world)))
        .chain(follows.map(|(_, begin, goal)| reached.never(parts, begin, goal)))
        .next()
        .unwrap_or_else(|| panic!("no property is called {name:?}"))
}

fn names() -> impl Iterator<Item = &'static str> {
    let always = ALWAYS.iter().map(|(name, _)| *name);
    always.chain(FOLLOWS.iter().map(|(name, ..)| *name))
}

#[test]
fn nothing_that_bench_and_rig_can_reach_breaks_a_property() {
    for (scene, parts) in scenes() {
        let reached = explore(&parts, MOST).unwrap_or_else(|why| panic!("{scene}: {why}"));
        println!(
            "{scene}: {} states, {} steps, depth {}",
            reached.worlds.len(),
            reached.steps,
            reached.depth
        );
        // The whole way is in it: proofs, plan, planned end, and ends for a cause.
        for phase in [Phase::Playing, Phase::After, Phase::Watching, Phase::Finished] {
            let seen = reached.worlds.iter().any(|world| world.bench.phase == phase);
            assert!(seen, "{scene}: {phase:?} is not reached");
        }
        for name in names() {
            if let Some(way) = broken(name, &parts, &reached) {
                panic!("{scene}: not true that {name}: {way}");
            }
        }
    }
}

/// A table of the interlock in which a trip does not latch.
fn unlatched(state: State, event: Event) -> State {
    match (state, event) {
        (State::Tripped, Event::StopConfirmed) => State::Disarmed,
        _ => state.after(event),
    }
}

/// A table of the interlock in which a stop leaves it armed.
fn unstopped(state: State, event: Event) -> State {
    match (state, event) {
        (State::Armed, Event::StopAsked) => State::Armed,
        _ => state.after(event),
    }
}

/// A table of the rig in which a trip leaves it armed.
fn untripped(state: RigState, change: Change) -> RigState {
    match (state, change) {
        (RigState::Armed, Change::Tripped) => RigState::Armed,
        _ => after(state, change),
    }
}

/// A table of the rig that goes from the latch straight to armed.
fn rearmed(state: RigState, change: Change) -> RigState {
    match (state, change) {
        (RigState::Tripped, Change::TripCleared) => RigState::Armed,
        _ => after(state, change),
    }
}

#[test]
fn each_property_finds_what_is_broken_on_purpose() {
    let real = Parts {
        proves: false,
        ..Parts::real()
    };
    let flaw = |flaw| Parts {
        flaw: Some(flaw),
        ..real
    };
    let [confirmed, both_steps, never_again, latches, plays_armed, over] = ALWAYS.map(|(name, _)| name);
    let [leaves_armed, known, not_for_long, no_line] = FOLLOWS.map(|(name, ..)| name);
    let broken_parts = [
        (confirmed, flaw(Flaw::StopKeepsChallenge)),
        (confirmed, flaw(Flaw::AskingIsBelieved)),
        (
            both_steps,
            Parts {
                doubles: 1,
                ..flaw(Flaw::AnyChallengeServes)
            },
        ),
        (
            both_steps,
            Parts {
                rig: rearmed,
                ..Parts::real()
            },
        ),
        (never_again, flaw(Flaw::TripIsTakenForProof)),
        (
            latches,
            Parts {
                bench: unlatched,
                ..real
            },
        ),
        (plays_armed, flaw(Flaw::ConditionStopsNothing)),
        (
            over,
            Parts {
                bench: unstopped,
                ..real
            },
        ),
        (
            leaves_armed,
            Parts {
                cuts: 1,
                ..flaw(Flaw::WatchdogSleeps)
            },
        ),
        (
            leaves_armed,
            Parts {
                rig: untripped,
                ..real
            },
        ),
        (known, flaw(Flaw::ReportsAreNotRead)),
        (not_for_long, flaw(Flaw::ReportsAreNotRead)),
        (
            no_line,
            Parts {
                cuts: 1,
                ..flaw(Flaw::SilenceIsNotNoticed)
            },
        ),
    ];
    for name in names() {
        assert!(
            broken_parts.iter().any(|(own, _)| *own == name),
            "nothing breaks: {name}"
        );
    }
    for (name, parts) in broken_parts {
        let what = parts
            .flaw
            .map_or("a table".to_owned(), |flaw| format!("{flaw:?}"));
        let reached = explore(&parts, MOST).unwrap_or_else(|why| panic!("{what}: {why}"));
        println!("{what}: {} states; {name}", reached.worlds.len());
        assert!(
            broken(name, &parts, &reached).is_some(),
            "{what} is not found by: {name}"
        );
    }
}

/// The real controller, and what it said last.
struct Real {
    rig: VirtualRig,
    splitter: Splitter,
    crc: u32,
    challenges: Vec<u32>,
    state: RigState,
    trips: u32,
}

impl Real {
    fn new(seed: u64) -> Self {
        let text = include_str!("../../../rigs/belt.toml");
        let mut rig = VirtualRig::from_toml("belt.toml", text, seed).unwrap();
        rig.advance_to(1_000);
        Self {
            rig,
            splitter: Splitter::new(),
            crc: 0,
            challenges: Vec::new(),
            state: RigState::Idle,
            trips: 0,
        }
    }

    /// Sends a message, and a request for the state behind it; half a millisecond goes by.
    fn send(&mut self, message: &HostMessage) {
        for message in [message, &HostMessage::StatusRequest(Empty)] {
            let mut frame = [0; MAX_FRAME];
            let length = encode_host(message, 0, &mut frame).unwrap();
            self.rig.receive(&frame[..length]);
        }
        self.wait(500);
    }

    fn wait(&mut self, us: u64) {
        self.rig.advance_to(self.rig.tick() + us);
        let mut said = Vec::new();
        self.rig.transmit(&mut said);
        let Self {
            splitter,
            crc,
            challenges,
            state,
            trips,
            ..
        } = self;
        splitter.feed(&said, |frame| match RigMessage::parse(frame.unwrap()).unwrap() {
            RigMessage::Configured(configured) => *crc = configured.crc,
            RigMessage::ArmChallenge(challenge) => challenges.push(challenge.challenge),
            RigMessage::Status(status) => (*state, *trips) = (status.state, status.trips),
            _ => {}
        });
    }
}

/// The limits of the walks: coasting, and a watchdog of 20 ms.
fn limits() -> Configuration {
    Configuration {
        sample_period_us: 250,
        torque_limit_raw: 1_000,
        slew_limit_raw_per_ms: u16::MAX,
        rim_speed_limit_mrad_s: 5_000,
        window_low_urad: -200_000,
        window_high_urad: 200_000,
        window_reference: WindowReference::Arming,
        sensor_torque_limit_mnm: 15_000,
        temperature_limit_cdeg: 8_000,
        watchdog_us: 20_000,
        setpoint_expiry_us: 10_000,
        stop_mode: StopMode::Coast,
        brake_us: 0,
    }
}

/// The model's rig is the real controller as far as its states go: the same messages and silences, in any order, lead
/// both to the same state and count of trips.
#[test]
fn the_model_of_the_rig_goes_where_the_real_controller_goes() {
    let parts = Parts::real();
    let mut seen = [0_u32; 5];
    let mut random = 0x1234_5678_u64;
    let mut draw = |below: u64| {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (random >> 33) % below
    };
    for walk in 0..400 {
        let (mut real, mut model, mut out) = (Real::new(walk), Rig::new(), Way::new());
        let mut numbers: Vec<u8> = Vec::new();
        let (mut stamp, mut steps) = (0_u8, String::new());
        for _ in 0..28 {
            out.clear();
            // What an orderly bench would send comes often, or hardly a walk would get to Armed.
            let step = draw(14);
            steps += &format!(" {step}");
            let (message, to_model) = match step {
                0 => (HostMessage::Configure(limits()), ToRig::Configure { session: 1 }),
                1..=3 => {
                    let configuration_crc = real.crc;
                    (
                        HostMessage::ArmRequest(ArmRequest { configuration_crc }),
                        ToRig::ArmRequest { session: 1 },
                    )
                }
                4..=6 => {
                    // The newest challenge, sometimes one before it, or none that was ever given.
                    let back = usize::from(draw(4) == 0);
                    let place = numbers.len().checked_sub(1 + back);
                    let challenge = place.and_then(|at| real.challenges.get(at)).copied();
                    let number = place.and_then(|at| numbers.get(at)).copied();
                    let confirm = ArmConfirm {
                        challenge: challenge.unwrap_or(0),
                        configuration_crc: real.crc,
                    };
                    let to_model = ToRig::ArmConfirm {
                        number: number.unwrap_or(u8::MAX),
                        session: 1,
                        to_play: false,
                    };
                    (HostMessage::ArmConfirm(confirm), to_model)
                }
                7..=9 => {
                    stamp += u8::from(draw(3) > 0); // else a copy of the last one
                    let host_ns = u64::from(stamp);
                    (
                        HostMessage::KeepAlive(KeepAlive { host_ns }),
                        ToRig::KeepAlive { stamp },
                    )
                }
                10 => {
                    let stop = Stop {
                        mode: StopMode::Coast,
                        reason: StopReason::Test,
                    };
                    (HostMessage::Stop(stop), ToRig::Stop)
                }
                11 | 12 => {
                    let off = u8::from(draw(3) == 0);
                    let trips = model.trips + off;
                    let clear = ClearTrip {
                        trips: real.trips + u32::from(off),
                    };
                    (HostMessage::ClearTrip(clear), ToRig::ClearTrip { trips })
                }
                _ => {
                    real.wait(25_000);
                    model.starve(&parts, &mut out);
                    (HostMessage::StatusRequest(Empty), ToRig::StatusRequest)
                }
            };
            real.send(&message);
            model.carry_out(&parts, to_model, &mut out);
            if matches!(message, HostMessage::Configure(_)) {
                real.send(&HostMessage::StartSampling(Empty)); // in the model one with the other
            }
            numbers.extend(out.iter().filter_map(|said| match said {
                ToBench::Challenge { number } => Some(number),
                _ => None,
            }));
            let got = (model.state, u32::from(model.trips), numbers.len());
            let wanted = (real.state, real.trips, real.challenges.len());
            assert_eq!(got, wanted, "walk {walk}:{steps}");
            seen[usize::from(model.state.code())] += 1;
        }
    }
    println!("states seen: {seen:?}");
    // It coasts: Stopping does not occur; the others do, and often.
    assert!(
        seen[0] > 50 && seen[1] > 500 && seen[2] > 200 && seen[4] > 200,
        "{seen:?}"
    );
}
