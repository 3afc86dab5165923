//! Violating samples over a pseudo-terminal, in real time. That stops come is asserted; when they come is not: a
//! shared computer may be slow, and bounds on time are tested in virtual time.

#![cfg(unix)]

use std::path::Path;

use acceptance::pty_figures::stops;

#[test]
fn a_violating_sample_brings_a_stop_over_a_pseudo_terminal() {
    let rig = Path::new(env!("CARGO_MANIFEST_DIR")).join("../rigs/belt.toml");
    let trials = 6;
    let measured = stops::measure(&rig, trials, 3).unwrap();
    for scheduled in std::iter::once(&measured.ordinary).chain(&measured.real_time) {
        for kind in [&scheduled.stops, &scheduled.echoes] {
            println!("{kind:?}");
            // A trial is void when this computer stalled for so long that the run had stopped already; not all may be.
            assert_eq!(kind.missing, 0, "a violating sample without a stop");
            assert_eq!(kind.times.len() + kind.void.len(), trials);
            assert!(!kind.times.is_empty(), "{:?}", kind.void);
        }
        // What the device sent broke a limit, and the run saw it: stops for a stalled computer alone would prove nothing.
        let seen = |cause| scheduled.stops.causes.contains_key(cause);
        assert!(
            seen("sensor-torque") || seen("rim-speed"),
            "{:?}",
            scheduled.stops.causes
        );
    }
}
