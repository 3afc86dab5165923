//! The bench without I/O or clocks: rig and procedure as checked values, the plan of a run, its interlock and its
//! course. Time is an argument; what comes out are bytes, samples and the next deadline.
#![no_std]

extern crate alloc;

pub mod bounds;
pub mod channels;
pub mod excitation;
pub mod interlock;
pub mod plan;
pub mod procedure;
pub mod rig;
pub mod run;
pub mod sensor;
pub mod time;
pub mod time_base;
pub mod units;
