//! What a plan needs of torque, change and motion.

use alloc::collections::VecDeque;
use core::f64::consts::PI;

use super::margins::{EDGE, LOWEST_MODE_HZ, OVERSHOOT, RESONANCE, RINGS_US};
use crate::excitation::ExcitationKind;
use crate::plan::{Piece, Plan, SETPOINT_STRIDE_US, Shape};
use crate::units::s_from_us;

/// What a plan needs. Without a plan: nothing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Need {
    /// Greatest setpoint either way, N·m.
    pub peak_nm: f64,
    /// Greatest change of the setpoint within one stride, of a curve within [`EDGE`] of it, as a rate, N·m/s.
    pub change_nm_per_s: f64,
    /// What a clamped rim rings to at a gain of 1, N·m.
    pub rings_to_nm: f64,
    /// Greatest push to the left (0 or less) and to the right, N·m·s: from a rim at rest, friction left out.
    pub impulse_nm_s: [f64; 2],
    /// What those pushes would turn a free rim by if nothing slowed it, N·m·s²; over the inertia it is an angle.
    pub travel_nm_s2: [f64; 2],
    /// Longest time between two setpoints, µs.
    pub gap_us: u64,
    /// Length, s.
    pub duration_s: f64,
    /// Whether the rim is brought to its end stops, which push back at setpoint zero.
    pub at_stops: bool,
}

impl Need {
    /// Of a plan.
    #[must_use]
    pub fn of(plan: &Plan) -> Self {
        let mut need = Self {
            peak_nm: plan.peak_nm(),
            rings_to_nm: rings_to_nm(plan.pieces()),
            duration_s: s_from_us(plan.duration_us()),
            at_stops: plan.windows().iter().any(|w| w.kind == ExcitationKind::EndStop),
            ..Self::default()
        };
        let stride_us = u64::from(SETPOINT_STRIDE_US);
        // Before the first setpoint there is none, which is zero torque.
        let (mut last_us, mut last_nm, mut last_change_nm) = (0, 0.0_f64, 0.0_f64);
        let mut push = [0.0_f64; 2];
        let ends = core::iter::once((plan.duration_us(), 0.0));
        for (tick_us, setpoint_nm) in plan.entries().chain(ends) {
            let gap_us = tick_us.saturating_sub(last_us);
            let change_nm = (setpoint_nm - last_nm).abs();
            // Two changes within one stride add up.
            let within_nm = change_nm + if gap_us < stride_us { last_change_nm } else { 0.0 };
            let in_curve = plan.piece_at(tick_us).is_some_and(|p| in_steps(&p.shape));
            let part = if in_curve { EDGE } else { 1.0 };
            need.change_nm_per_s = need
                .change_nm_per_s
                .max(within_nm / (part * s_from_us(stride_us)));
            need.gap_us = need.gap_us.max(gap_us);
            // The greatest sum of any stretch: friction only ever brings a rim nearer to rest, where a new stretch begins.
            let elapsed_s = s_from_us(gap_us);
            let [low, high] = push;
            push = [
                (low + last_nm * elapsed_s).min(0.0),
                (high + last_nm * elapsed_s).max(0.0),
            ];
            let [least, most] = need.impulse_nm_s;
            need.impulse_nm_s = [least.min(push[0]), most.max(push[1])];
            let [left, right] = need.travel_nm_s2;
            need.travel_nm_s2 = [left + push[0] * elapsed_s, right + push[1] * elapsed_s];
            (last_us, last_nm, last_change_nm) = (tick_us, setpoint_nm, change_nm);
        }
        need
    }
}

/// Whether a shape is a curve that setpoints follow in steps, and that is compared with what arrives.
fn in_steps(shape: &Shape) -> bool {
    matches!(
        shape,
        Shape::Wave(_) | Shape::Chirp(_) | Shape::HalfSine(_) | Shape::Trace(_)
    )
}

/// What a clamped rim rings to: the torque itself, [`OVERSHOOT`] of every jump that has not died away, and
/// [`RESONANCE`] times an oscillation about its middle, of a trace what is quicker than the lowest mode.
fn rings_to_nm(pieces: &[Piece]) -> f64 {
    let mut most = 0.0_f64;
    let (mut last_nm, mut last_slope) = (0.0, 0.0);
    let mut jumps: VecDeque<(u64, f64)> = VecDeque::new();
    for piece in pieces {
        let (from_nm, to_nm) = (piece.setpoint_nm(piece.start_us), piece.setpoint_nm(piece.end_us));
        let steady = matches!(piece.shape, Shape::Level(_) | Shape::Ramp { .. });
        let slope = match &piece.shape {
            // It ends as it began, rising.
            Shape::Reversal(reversal) => reversal.rate_nm_per_s(),
            _ if steady => (to_nm - from_nm) / s_from_us(piece.end_us - piece.start_us),
            _ => 0.0,
        };
        // A corner between two slopes rings with the change of slope over the mode's angular frequency.
        let jump = f64::abs(from_nm - last_nm) + f64::abs(slope - last_slope) / (2.0 * PI * LOWEST_MODE_HZ);
        while jumps
            .front()
            .is_some_and(|(at_us, _)| at_us + RINGS_US <= piece.start_us)
        {
            jumps.pop_front();
        }
        jumps.push_back((piece.start_us, jump));
        let ringing: f64 = OVERSHOOT * jumps.iter().map(|(_, jump)| jump).sum::<f64>();
        let own = match &piece.shape {
            // Its tips are corners, twice its rate each.
            Shape::Reversal(reversal) => {
                piece.peak_nm() + OVERSHOOT * 2.0 * reversal.rate_nm_per_s() / (2.0 * PI * LOWEST_MODE_HZ)
            }
            // What is slow is followed; what is quick may meet a resonance.
            Shape::Trace(trace) => trace.peak_nm() + RESONANCE * trace.quick_nm(),
            _ if steady => from_nm.abs().max(to_nm.abs()),
            _ => {
                let [low, high] = span(piece);
                0.5 * (high + low).abs() + RESONANCE * 0.5 * (high - low)
            }
        };
        most = most.max(own + ringing);
        (last_nm, last_slope) = (to_nm, slope);
    }
    most
}

/// Least and greatest setpoint of a piece.
fn span(piece: &Piece) -> [f64; 2] {
    let ticks = (piece.start_us..piece.end_us).step_by(SETPOINT_STRIDE_US as usize);
    ticks.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], tick| {
        let nm = piece.setpoint_nm(tick);
        [low.min(nm), high.max(nm)]
    })
}
