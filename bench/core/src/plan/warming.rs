//! Whether a plan asks for more than the wheelbase is declared to hold.
//!
//! Warming follows the square of torque as a first-order lag: the mean square over the time constant may not pass that of the
//! torque that can be held for good. The constant follows from the time that the peak may be held from cold,
//! `1 − exp(−t/τ) = (sustained/peak)²`: what motor drives guard themselves by (I²t; common practice).

use super::{Piece, Shape};
use crate::{rig::Wheelbase, units::s_from_us};

/// Parts of a piece whose torque changes.
const PARTS: u64 = 64;

/// Where a plan passes what is declared.
pub(super) struct Passes {
    /// When, µs.
    pub(super) at_us: u64,
    /// The segment, counted from 1; 0 for the approach.
    pub(super) segment: usize,
    /// Root of the greatest mean square, N·m.
    pub(super) greatest_nm: f64,
}

/// The first instant at which a plan passes what is declared, with the greatest mean square of all; `None` where it does not, or
/// nothing is declared.
pub(super) fn passes(pieces: &[Piece], wheelbase: &Wheelbase) -> Option<Passes> {
    let (sustained_nm, peak_time_s) = wheelbase.sustained_torque_nm.zip(wheelbase.peak_time_s)?;
    let share = (sustained_nm / wheelbase.peak_torque_nm).powi(2);
    let constant_s = peak_time_s / -libm::log1p(-share);
    let (mut state, mut found, mut greatest) = (0.0_f64, None, 0.0_f64);
    for piece in pieces {
        let length_us = piece.end_us - piece.start_us;
        let parts = match piece.shape {
            Shape::Level(_) => 1,
            _ => PARTS.min(length_us.max(1)),
        };
        let keeps = libm::exp(-s_from_us(length_us) / parts as f64 / constant_s);
        for part in 0..parts {
            let middle_us = piece.start_us + length_us * (2 * part + 1) / (2 * parts);
            let nm = piece.setpoint_nm(middle_us);
            state = nm * nm + (state - nm * nm) * keeps;
            greatest = greatest.max(state);
            if state > sustained_nm * sustained_nm && found.is_none() {
                found = Some((piece.start_us + length_us * (part + 1) / parts, piece.segment));
            }
        }
    }
    found.map(|(at_us, segment)| Passes {
        at_us,
        segment,
        greatest_nm: libm::sqrt(greatest),
    })
}
