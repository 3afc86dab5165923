//! Whatever comes over the line in whatever order: torque in the armed state only, a trip latched until it is cleared.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers count as production code

use crate::common;
use common::bench::{Bench, configuration, rows};
use proptest::prelude::*;
use rig_link::message::{
    ArmConfirm, ArmRequest, ClearTrip, Configuration, Empty, KeepAlive, Setpoints, Stop,
};
use rig_link::{HostMessage, RigState, StopMode, StopReason};

#[derive(Debug, Clone)]
enum Act {
    Send(HostMessage),
    Arm,
    Live(u64),
    Wait(u64),
    Play(i16, usize),
    Garbage(Vec<u8>),
    Clear,
    EmergencyStop(bool),
}

fn act() -> impl Strategy<Value = Act> {
    let mode = prop_oneof![Just(StopMode::Coast), Just(StopMode::Brake)];
    prop_oneof![
        3 => Just(Act::Arm),
        3 => (0_u64..30_000).prop_map(Act::Live),
        2 => (0_u64..30_000).prop_map(Act::Wait),
        4 => (any::<i16>(), 1_usize..30).prop_map(|(raw, count)| Act::Play(raw, count)),
        1 => proptest::collection::vec(any::<u8>(), 0..80).prop_map(Act::Garbage),
        2 => Just(Act::Clear),
        1 => any::<bool>().prop_map(Act::EmergencyStop),
        1 => mode.prop_map(|mode| Act::Send(HostMessage::Stop(Stop { mode, reason: StopReason::Test }))),
        1 => any::<u64>().prop_map(|host_ns| Act::Send(HostMessage::KeepAlive(KeepAlive { host_ns }))),
        1 => any::<u32>().prop_map(|crc| Act::Send(HostMessage::ArmRequest(ArmRequest { configuration_crc: crc }))),
        1 => any::<u32>().prop_map(|challenge| {
            Act::Send(HostMessage::ArmConfirm(ArmConfirm { challenge, configuration_crc: 0 }))
        }),
        1 => Just(Act::Send(HostMessage::StopSampling(Empty))),
        1 => Just(Act::Send(HostMessage::Configure(Configuration { torque_limit_raw: 9_000, ..configuration() }))),
    ]
}

/// Does one thing; what of it was heard in rows of samples.
fn perform(bench: &mut Bench, act: &Act, crc: &mut u32) -> Vec<(u64, Vec<i32>)> {
    let said = match act {
        Act::Send(message) => bench.send(*message),
        Act::Arm => {
            if matches!(bench.rig.truth().state, RigState::Idle | RigState::Ready) {
                *crc = bench.configure(configuration());
                bench.send(HostMessage::StartSampling(Empty));
                bench.live(5_000);
                let asked = bench.send(HostMessage::ArmRequest(ArmRequest {
                    configuration_crc: *crc,
                }));
                if let [common::bench::Said::Challenge(challenge)] = asked.as_slice() {
                    bench.confirm(*challenge, *crc);
                }
            }
            Vec::new()
        }
        Act::Live(us) => bench.live(*us),
        Act::Wait(us) => bench.wait(*us),
        Act::Play(raw, count) => {
            let first = bench.rig.tick() + 1_000;
            bench.send(HostMessage::Setpoints(
                Setpoints::new(first, 1_000, false, &vec![*raw; *count]).unwrap(),
            ))
        }
        Act::Garbage(bytes) => {
            bench.rig.receive(bytes);
            bench.rig.receive(&[0]);
            bench.hear()
        }
        Act::Clear => {
            let trips = bench.status().trips;
            bench.send(HostMessage::ClearTrip(ClearTrip { trips }))
        }
        Act::EmergencyStop(closed) => {
            bench.rig.set_emergency_stop_closed(*closed);
            bench.hear()
        }
    };
    rows(&said)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn torque_in_the_armed_state_only(seed in 0_u64..1000, acts in proptest::collection::vec(act(), 1..40)) {
        let mut bench = Bench::new(seed);
        let mut crc = 0;
        let mut unarmed_since = Some(0);
        let mut braked = 0;
        for act in &acts {
            let before = bench.rig.truth().state;
            let seen = perform(&mut bench, act, &mut crc);
            let after = bench.rig.truth().state;
            if before == RigState::Tripped && !matches!(act, Act::Clear) {
                prop_assert_eq!(after, RigState::Tripped, "only clearing leads out");
            }
            if after == RigState::Armed {
                unarmed_since = None;
                prop_assert!(matches!(act, Act::Arm) || before == RigState::Armed, "armed by {act:?}");
            } else if before == RigState::Armed || unarmed_since.is_none() {
                // It may have left the state at any moment of this act.
                unarmed_since = Some(bench.rig.tick());
            }
            if let Some(since) = unarmed_since {
                let quiet: Vec<_> = seen.iter().filter(|(tick, _)| *tick > since).collect();
                prop_assert!(quiet.iter().all(|(_, row)| row[0] == 0), "setpoint outside Armed");
                let brake = bench.rig.truth().state;
                if matches!(brake, RigState::Stopping | RigState::Tripped) {
                    braked = bench.rig.tick();
                }
                // A brake that is let go leaves its current to the winding, which takes a few milliseconds as well.
                if bench.rig.tick() > since.max(braked) + 5_000 {
                    let torque = bench.rig.motor_torque_nm();
                    prop_assert!(
                        torque.abs() < 0.01 || matches!(brake, RigState::Stopping | RigState::Tripped),
                        "{} N·m in {:?}", torque, brake
                    );
                }
            }
            prop_assert!(bench.rig.truth().plant.rim_torque_nm().is_finite());
        }
    }
}
