//! Torque from a sensor on a port of its own, in virtual time: it arrives in the rows at its own moment, and what is late stops the motor.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use acceptance::parts::{Sensor, World, bench, two_steps};
use bench_core::interlock::Condition;
use bench_core::rig::CLOCK_BOUND;
use bench_core::run::{End, Failure, Outcome, Permit};
use truerim::drive::{Composed, StopFlag};
use truerim::recording::Recording;
use truerim::session::{self, Order};

const SENSE: &str = r#"
[rig.sense]
kind = "lines"
port = "/dev/null"
baud = 115200
pattern = "{torque} N·m"
unit = "N·m"
rate = "1 kHz"
delay = "1.5 ms"
way = "1 ms"
time_bound = "2 ms"
"#;

/// Runs it; with a recording if there is one.
fn run(sense: &str, sensor: Sensor, seed: u64) -> (Outcome, Option<Recording>, tempfile::TempDir) {
    let (bench, rig) = bench(sense, seed);
    let (world, taken) = World::new(rig, &bench, Some((sensor, seed)));
    let line = Composed::new(Box::new(world), taken, None, &bench.rig);
    let procedure = two_steps(2);
    let plan = session::plan_for(&procedure, &bench.rig, seed).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recording.h5");
    let order = Order {
        bench: &bench,
        procedure: &procedure,
        plan,
        permit: Permit::granted("test"),
        path: &path,
        real_time: false,
        granted: None,
    };
    let session = session::record_over(order, Box::new(line), &StopFlag::new(), &mut |_| {});
    let recording = session.seal.is_some().then(|| Recording::open(&path).unwrap());
    (session.outcome, recording, folder)
}

/// Root of the mean squared difference of the two torques with one of them moved by `shift` rows.
fn apart(own: &[f64], theirs: &[f64], shift: usize) -> f64 {
    let pairs = own.iter().zip(theirs.iter().skip(shift));
    let (sum, count) = pairs.fold((0.0, 0.0), |(sum, count), (a, b)| {
        (sum + (a - b) * (a - b), count + 1.0)
    });
    f64::sqrt(sum / count)
}

#[test]
fn torque_of_its_own_clock_stands_at_its_own_moment() {
    let (outcome, recording, _folder) = run(SENSE, Sensor::GOOD, 3);
    assert_eq!(outcome.end, End::Completed, "{outcome:?}");
    assert_eq!(outcome.counters.rows_lost, 0);
    let recording = recording.unwrap();
    let rows = 0..recording.rows();
    let own = recording.values("torque", rows.clone()).unwrap().to_vec();
    let theirs = recording.values("rig_torque", rows).unwrap().to_vec();
    assert!(own.len() > 4_000);
    // The virtual rig's own sensor is filtered: 0.5 rows late at 2 kHz (225 us). Rows moved by one either way must fit worse; were the
    // declared delay of 1.5 ms not taken off, they would fit best three rows further on.
    let largest = theirs.iter().fold(0.0_f64, |most, torque| most.max(torque.abs()));
    let [here, later, much_later] = [0, 2, 3].map(|shift| apart(&own, &theirs, shift));
    let earlier = apart(&theirs, &own, 2);
    assert!(here < 0.05 * largest, "{here} of {largest} N·m");
    assert!(
        here < later && here < earlier && later < much_later,
        "{here} {later} {much_later} {earlier}"
    );
    // How well its moments are known stands beside every row: no better than half the way of a line, no worse than declared.
    let bounds = recording.values(CLOCK_BOUND, 0..recording.rows()).unwrap();
    assert!(
        bounds.iter().all(|bound| (0.4e-3..=2e-3).contains(bound)),
        "{bounds}"
    );
    // The sensor's own delay is declared to 10 us; the clocks are no part of that.
    assert!((recording.header().sensor.delay_uncertainty_s - 1e-5).abs() < 1e-12);
}

#[test]
fn what_is_late_stops_the_motor() {
    let silent = Sensor {
        silent_s: 3.0,
        ..Sensor::GOOD
    };
    let garbled = Sensor {
        garbled_s: 3.0,
        ..Sensor::GOOD
    };
    for sensor in [silent, garbled] {
        let (outcome, recording, _folder) = run(SENSE, sensor, 4);
        let End::Tripped(trip) = outcome.end else {
            panic!("{sensor:?}: {outcome:?}");
        };
        assert_eq!(trip.condition, Condition::TorqueMissing, "{sensor:?}");
        // The rig stopped, but nothing measures the torque any more: zero is not vouched for.
        assert!(!outcome.zero_confirmed, "{sensor:?}: {outcome:?}");
        // No later than 20 ms after the first row that nothing is known of, and a line on the way.
        let at_s = trip.tick as f64 * 1e-6;
        assert!((2.99..3.03).contains(&at_s), "{sensor:?}: {at_s} s");
        assert!(recording.is_some());
    }
}

#[test]
fn a_sensor_in_another_unit_never_begins() {
    let other = Sensor {
        unit: "lbf·ft",
        ..Sensor::GOOD
    };
    let (outcome, _, _folder) = run(SENSE, other, 5);
    assert!(
        matches!(
            outcome.end,
            End::Failed(Failure::NoAnswer { asked: "samples", .. })
        ),
        "{outcome:?}"
    );
    assert!(!outcome.was_armed);
}

#[test]
fn readings_placed_worse_than_declared_are_none() {
    // Half a millisecond is asked for where the way alone leaves as much open, and the rig's clock a little more.
    let sense = SENSE.replace("time_bound = \"2 ms\"", "time_bound = \"0.4 ms\"");
    let (outcome, _, _folder) = run(&sense, Sensor::GOOD, 6);
    assert!(!outcome.was_armed, "{outcome:?}");
}
