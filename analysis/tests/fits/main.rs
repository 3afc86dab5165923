//! Fits against closed forms, published values, and independent programs.

mod backlash;
mod calibration;
mod clamp;
mod closed_forms;
mod cogging;
mod cogging_recovery;
mod common;
#[path = "common/drivetrain.rs"]
mod drivetrain;
mod estimate;
mod frequency;
mod frequency_bound;
mod friction;
mod friction_coast;
mod friction_motion;
mod friction_rest;
mod heat;
mod inertia;
mod latency;
mod latency_bound;
mod latency_drive;
mod latency_pattern;
mod latency_refusals;
mod modes;
mod multisine;
mod nist_strd;
mod phase;
mod position;
mod rational;
mod shock;
mod small;
mod spectra;
mod static_map;
mod step;
mod trace;
