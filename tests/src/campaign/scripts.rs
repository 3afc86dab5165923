//! What a case plays: short procedures made for it, and slices of the shipped ones.

use bench_core::excitation::Excitation;
use bench_core::procedure::Procedure;
use bench_core::rig::Mounting;

/// Two seconds on a clamp: first torque, holds both ways, steps, a chirp on a preload, and zeros between.
const CLAMPED: &str = r#"
[procedure]
name = "short, clamped"
purpose = "something to go wrong"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "100 ms"
[approach]
level = "8 %"
hold = "100 ms"
rest = "300 ms"
gain = ["20 %", "160 %"]
[[segment]]
name = "holds"
excitation = "hold"
levels = ["40 %", "-40 %"]
repeats = 1
hold = "150 ms"
rest = "60 ms"
[[segment]]
name = "steps"
excitation = "step"
levels = ["20 %", "-20 %"]
repeats = 1
hold = "100 ms"
rest = "60 ms"
[[segment]]
name = "chirp"
excitation = "chirp"
law = "logarithmic"
from = "5 Hz"
to = "150 Hz"
duration = "500 ms"
amplitude = "15 %"
preload = "20 %"
repeats = 1
rest = "60 ms"
settle = "60 ms"
taper = "50 ms"
"#;

/// Four seconds on a disc: pushes both ways and coasting.
const FREE: &str = r#"
[procedure]
name = "short, free"
purpose = "something to go wrong"
mounting = "free"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "100 ms"
[approach]
level = "0.6 N·m"
hold = "100 ms"
rest = "700 ms"
gain = ["15 %", "160 %"]
[[segment]]
name = "pushes"
excitation = "step"
levels = ["-0.6 N·m", "0.8 N·m"]
shuffle = false
repeats = 1
hold = "80 ms"
rest = "500 ms"
[[segment]]
name = "ramps"
excitation = "hold"
levels = ["-0.7 N·m"]
repeats = 1
hold = "60 ms"
rest = "400 ms"
"#;

/// Three seconds on a drive, which starts to turn when the first torque has been judged.
const BACK_DRIVEN: &str = r#"
[procedure]
name = "short, back-driven"
purpose = "something to go wrong"
mounting = "back-driven"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "100 ms"
[approach]
level = "8 %"
hold = "100 ms"
rest = "300 ms"
gain = ["20 %", "160 %"]
[[segment]]
name = "turned"
excitation = "hold"
levels = ["0 N·m", "0.5 N·m", "-1 N·m"]
repeats = 1
hold = "400 ms"
rest = "100 ms"
"#;

macro_rules! shipped {
    ($($name:literal),+) => {
        [$(($name, include_str!(concat!("../../../procedures/", $name, ".toml")))),+]
    };
}
/// The shipped procedures, except `limit` and `acceptance`, which read traces from files.
const SHIPPED: [(&str, &str); 15] = shipped![
    "quick",
    "coast",
    "drag",
    "response",
    "pulses",
    "drivetrain",
    "free",
    "travel",
    "rolling",
    "around",
    "loaded",
    "static",
    "shock",
    "resolution",
    "heat"
];
/// Pushes to the first stop that a slice keeps; see [`near_stops`].
const PUSHES: u32 = 30;
/// Travel that they pass twice over, 3.5 deg and more each, begun in its middle, give or take what the first torque makes of it, rad.
const NEAR_STOPS_RAD: f64 = 2.1;

fn read(name: &str, text: &str) -> Procedure {
    Procedure::from_toml(name, text).unwrap_or_else(|findings| panic!("{findings}"))
}

/// Every shipped procedure.
#[must_use]
pub fn shipped() -> Vec<Procedure> {
    SHIPPED.iter().map(|(name, text)| read(name, text)).collect()
}

/// The short procedure for a mounting.
#[must_use]
pub fn short(mounting: Mounting) -> Procedure {
    match mounting {
        Mounting::Clamped => read("short", CLAMPED),
        Mounting::Free => read("short", FREE),
        Mounting::BackDriven => read("short", BACK_DRIVEN),
    }
}

/// One segment of a shipped procedure for this mounting, once through, `which` from 0 to 1 naming it; its first two
/// levels or widths or periods, and of long holds the first two seconds. What a slice of it plays is what the whole plays there.
#[must_use]
pub fn slice(mounting: Mounting, which: f64) -> Procedure {
    let fitting: Vec<Procedure> = shipped()
        .into_iter()
        .filter(|procedure| procedure.mounting.value == mounting)
        .collect();
    let segments: usize = fitting.iter().map(|procedure| procedure.segments.len()).sum();
    let mut index = ((which * segments as f64) as usize).min(segments.saturating_sub(1));
    for mut procedure in fitting {
        let here = procedure.segments.len();
        if index >= here {
            index -= here;
            continue;
        }
        procedure.segments = procedure.segments.split_off(index);
        procedure.segments.truncate(1);
        for segment in &mut procedure.segments {
            shorten(&mut segment.excitation);
        }
        return procedure;
    }
    short(mounting)
}

fn shorten(excitation: &mut Excitation) {
    excitation.timing_mut().repeats = 1;
    match excitation {
        Excitation::Step(step) => step.levels.truncate(2),
        Excitation::Hold(hold) => {
            hold.levels.truncate(2);
            hold.hold_us = hold.hold_us.min(2_000_000);
        }
        Excitation::Chirp(_) | Excitation::Trace(_) => {}
        Excitation::Increment(increment) => {
            increment.preloads.truncate(2);
            increment.sizes.truncate(2);
        }
        Excitation::Sine(sine) => sine.periods = sine.periods.min(2),
        Excitation::Multisine(multisine) => multisine.periods.count = multisine.periods.count.min(2),
        Excitation::HalfSine(pulse) => {
            pulse.levels.truncate(2);
            pulse.widths.truncate(2);
        }
        Excitation::PseudoRandom(signal) => signal.periods.count = signal.periods.count.min(2),
        Excitation::Staircase(staircase) => {
            staircase.steps = staircase.steps.min(4);
            staircase.dwell_us = staircase.dwell_us.min(100_000);
        }
        Excitation::Reversal(reversal) => {
            reversal.period_us.value = reversal.period_us.value.min(2_000_000);
            (reversal.periods.count, reversal.periods.transient) = (1, 0);
            reversal.fade = 0;
        }
        Excitation::EndStop(stop) => {
            stop.presses = 1;
            stop.press_us = stop.press_us.min(1_000_000);
            stop.timing.repeats = PUSHES;
        }
    }
}

/// The travel between end stops that few pushes reach, rad, where a procedure goes to them.
#[must_use]
pub fn near_stops(procedure: &Procedure) -> Option<f64> {
    let mut segments = procedure.segments.iter();
    segments
        .any(|segment| matches!(segment.excitation, Excitation::EndStop(_)))
        .then_some(NEAR_STOPS_RAD)
}
