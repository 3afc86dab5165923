//! The time line under construction.

use alloc::{string::String, vec::Vec};

use super::{
    piece::{Piece, Role, Shape},
    random::Random,
    window::{Facts, Window},
};
use crate::{
    excitation::{Periods, Timing},
    units::us_from_s,
};

/// Most pieces of a plan; also bounds its memory to some ten megabytes.
pub(crate) const MOST_PIECES: usize = 100_000;
/// Longest plan, µs: four hours.
pub(crate) const LONGEST_US: u64 = 4 * 3600 * 1_000_000;
/// Longest stretch before an excitation that its window takes in, µs.
const MOST_BEFORE_US: u64 = 100_000;

/// Appends pieces at the end of the time line and keeps the torque reached.
pub(crate) struct Layout<'p> {
    peak_torque_nm: f64,
    ramp_nm_per_s: f64,
    random: Random,
    name: &'p str,
    segment: usize,
    repeat: usize,
    now_us: u64,
    torque_nm: f64,
    dither_us: u64,
    before_us: u64,
    excitation_us: [u64; 2],
    full: bool,
    pub(super) pieces: Vec<Piece>,
    pub(super) windows: Vec<Window>,
}

impl<'p> Layout<'p> {
    pub(super) fn new(peak_torque_nm: f64, ramp_nm_per_s: f64, seed: u64) -> Self {
        Self {
            peak_torque_nm,
            ramp_nm_per_s,
            random: Random::new(seed),
            name: "approach",
            segment: 0,
            repeat: 0,
            now_us: 0,
            torque_nm: 0.0,
            dither_us: 0,
            before_us: 0,
            excitation_us: [0; 2],
            full: false,
            pieces: Vec::new(),
            windows: Vec::new(),
        }
    }

    /// Peak torque of the wheelbase, N·m.
    pub(crate) fn peak_torque_nm(&self) -> f64 {
        self.peak_torque_nm
    }

    /// Whether the plan has outgrown its bounds; what is appended from now on is lost, and the plan refused.
    pub(crate) fn is_full(&self) -> bool {
        self.full
    }

    /// The end of the time line so far, µs.
    pub(super) fn now_us(&self) -> u64 {
        self.now_us
    }

    /// Goes on to the next segment.
    pub(super) fn begin_segment(&mut self, name: &'p str) {
        self.name = name;
        self.segment += 1;
        self.repeat = 0;
    }

    /// Goes on to the next repeat.
    pub(crate) fn next_repeat(&mut self) {
        self.repeat += 1;
    }

    /// Puts a list in random order.
    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        self.random.shuffle(list);
    }

    fn push(&mut self, length_us: u64, role: Role, shape: Shape) {
        let end_us = self.now_us.saturating_add(length_us);
        if self.pieces.len() >= MOST_PIECES || end_us > LONGEST_US {
            self.full = true;
        }
        if self.full || length_us == 0 {
            return;
        }
        let (segment, repeat) = (self.segment, self.repeat);
        self.pieces.push(Piece {
            start_us: self.now_us,
            end_us,
            segment,
            repeat,
            role,
            shape,
        });
        self.now_us = end_us;
    }

    /// Stays where it is.
    pub(super) fn stay(&mut self, length_us: u64, role: Role) {
        self.push(length_us, role, Shape::Level(self.torque_nm));
    }

    /// Waits at the present torque.
    pub(crate) fn rest(&mut self, length_us: u64) {
        self.stay(length_us, Role::Rest);
    }

    /// Goes to a torque at the procedure's ramp rate; nothing if it is there already.
    pub(crate) fn ramp_to(&mut self, to_nm: f64) {
        let from_nm = self.torque_nm;
        let way_nm = (to_nm - from_nm).abs();
        if way_nm > 0.0 {
            // At least a microsecond, rounded up so that the rate is never exceeded.
            let length_us = us_from_s(way_nm / self.ramp_nm_per_s).saturating_add(1);
            self.push(length_us, Role::Ramp, Shape::Ramp { from_nm, to_nm });
        }
        self.torque_nm = to_nm;
    }

    /// The next piece begins at this torque, without a way there.
    pub(crate) fn jump_to(&mut self, to_nm: f64) {
        self.torque_nm = to_nm;
    }

    /// Rests at zero, goes to the preload, rests there; the last rest is longer by a random part of the dither.
    pub(crate) fn prepare(&mut self, timing: &Timing, preload_nm: f64) {
        self.dither_us = self.random.up_to(timing.dither_us);
        if preload_nm.abs() > 0.0 {
            self.rest(timing.rest_us);
            self.ramp_to(preload_nm);
            self.rest(timing.settle_us + self.dither_us);
        } else {
            self.rest(timing.rest_us + self.dither_us);
        }
    }

    /// The excitation itself; its window takes in the rest before it. The torque is then what it was.
    pub(crate) fn excite(&mut self, length_us: u64, shape: Shape) {
        // The rest before it begins with what is left of a ramp's ringing; its last three quarters will do.
        self.before_us = match self.pieces.last() {
            Some(piece) if piece.role == Role::Rest => (piece.end_us - piece.start_us) * 3 / 4,
            _ => 0,
        };
        self.excite_as_it_is(length_us, shape);
    }

    /// A further part of the excitation, whose window begins with it.
    pub(crate) fn excite_on(&mut self, length_us: u64, shape: Shape) {
        self.before_us = 0;
        self.excite_as_it_is(length_us, shape);
    }

    fn excite_as_it_is(&mut self, length_us: u64, shape: Shape) {
        self.excitation_us = [self.now_us, self.now_us.saturating_add(length_us)];
        self.push(length_us, Role::Excitation, shape);
    }

    /// The way to a periodic excitation or from it.
    pub(crate) fn approach_by(&mut self, length_us: u64, shape: Shape) {
        self.push(length_us, Role::Ramp, shape);
    }

    /// Whole periods, each a piece and a window of its own; the first ones are marked as transient.
    pub(crate) fn excite_by_periods(
        &mut self,
        periods: Periods,
        period_us: u64,
        shape: &Shape,
        facts: &dyn Fn() -> Facts,
    ) {
        for part in 0..periods.count {
            if self.full {
                return;
            }
            if part == 0 {
                self.excite(period_us, shape.clone());
            } else {
                self.excite_on(period_us, shape.clone());
            }
            self.window(Facts {
                part,
                transient: part < periods.transient,
                ..facts()
            });
        }
    }

    /// Notes the excitation just laid as one that fits look at.
    pub(crate) fn window(&mut self, facts: Facts) {
        if self.full {
            return;
        }
        let [start_us, end_us] = self.excitation_us;
        self.windows.push(Window {
            segment: self.segment,
            repeat: self.repeat,
            level: facts.level,
            name: String::from(self.name),
            kind: facts.kind,
            start_us,
            end_us,
            cut_from_us: start_us - self.before_us.min(MOST_BEFORE_US),
            cut_to_us: end_us + facts.after_us,
            from_nm: facts.from_nm,
            to_nm: facts.to_nm,
            amplitude_nm: facts.amplitude_nm,
            preload_nm: facts.preload_nm,
            dither_us: self.dither_us,
            sweep: facts.sweep,
            tones: facts.tones,
            part: facts.part as usize,
            transient: facts.transient,
        });
    }
}
