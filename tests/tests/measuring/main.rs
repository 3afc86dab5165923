//! Whole measurements: the virtual rig in lock-step, the recording, the fits, and what is made of them.

mod belts;
mod calibration;
mod compare;
mod driver;
mod drivetrain;
mod excitations;
mod publish;
mod recovery;
