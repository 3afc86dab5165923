//! Marks gathered while they come, in pieces between jumps.

use alloc::collections::VecDeque;

use super::filter::LeastDelayed;
use super::line::Line;
use super::{Mark, OneWay, RoundTrip};

/// Pieces that are kept: the present one and those before, for what is asked of a moment ago.
const PIECES: usize = 4;
/// Marks of one piece; older ones go.
const MARKS: usize = 512;

/// How marks are gathered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Marks in a group of which the least delayed is kept; 8 as in RFC 5905.
    pub group: usize,
    /// Time over which the line is laid, ns: older marks go.
    pub span_ns: i64,
    /// Most that the second clock's rate is off, 1; crystals are off by 20 to 100 ppm.
    pub rate: f64,
    /// Most that the rate wanders from a constant within the span, 1.
    pub wander: f64,
    /// One count of the second clock, ns.
    pub resolution_ns: u32,
}

impl Settings {
    /// For a rig controller or another crystal clock that counts microseconds. Rates wander with temperature: 0.2 ppm over 20 s
    /// stands for 5 K a minute of an ordinary crystal's 0.1 ppm/K near its turning point (from memory of data sheets), and makes
    /// 2 µs.
    pub const CRYSTAL: Self = Self {
        group: 8,
        span_ns: 20_000_000_000,
        rate: 5e-4,
        wander: 2e-7,
        resolution_ns: 1_000,
    };
}

/// How far the second clock is ahead at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Second clock less host clock, ns.
    pub offset_ns: i64,
    /// Bound of its error either way, ns.
    pub bound_ns: f64,
}

impl Offset {
    /// Standard uncertainty, s: the bound as a rectangular distribution (JCGM 100, 4.3.7).
    #[must_use]
    pub fn std_uncertainty_s(&self) -> f64 {
        self.bound_ns * 1e-9 / libm::sqrt(3.0)
    }
}

#[derive(Debug, Clone, Default)]
struct Piece {
    marks: VecDeque<Mark>,
    line: Option<Line>,
}

impl Piece {
    fn push(&mut self, mark: Mark, span_ns: i64) {
        self.marks.push_back(mark);
        while self.marks.len() > MARKS
            || (self.marks.len() > 2
                && self
                    .marks
                    .front()
                    .is_some_and(|first| mark.at_ns - first.at_ns > span_ns))
        {
            self.marks.pop_front();
        }
        self.line = Line::through(self.marks.iter());
    }

    /// By the line, or by the nearest mark where that is known better: near the first marks a line says little.
    fn at(&self, at_ns: i64, settings: &Settings) -> Option<Offset> {
        let far = |mark: &Mark| (mark.at_ns - at_ns).abs();
        let nearest = self.marks.iter().min_by_key(|mark| far(mark))?;
        let by_mark = Offset {
            offset_ns: nearest.offset_ns,
            bound_ns: nearest.half_ns + settings.rate * far(nearest) as f64,
        };
        let (Some(line), Some(first), Some(last)) = (&self.line, self.marks.front(), self.marks.back())
        else {
            return Some(by_mark);
        };
        let span = (at_ns.max(last.at_ns) - at_ns.min(first.at_ns)) as f64;
        let by_line = Offset {
            offset_ns: line.offset_ns(at_ns),
            bound_ns: line.bound_ns(at_ns, self.marks.iter()) + 0.5 * settings.wander * span,
        };
        Some(if by_line.bound_ns <= by_mark.bound_ns {
            by_line
        } else {
            by_mark
        })
    }
}

/// Offset and drift of a second clock, followed while marks come in. See the module's text for what its bound means.
#[derive(Debug, Clone)]
pub struct TimeBase {
    settings: Settings,
    filter: LeastDelayed,
    pieces: VecDeque<Piece>,
    /// A mark that the present piece cannot explain. One alone is a bad mark; two that agree are a jump.
    doubtful: Option<Mark>,
    jumps: u32,
    refused: u32,
}

impl TimeBase {
    /// Nothing known yet.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self {
            filter: LeastDelayed::new(settings.group),
            settings,
            pieces: VecDeque::new(),
            doubtful: None,
            jumps: 0,
            refused: 0,
        }
    }

    /// Takes a round trip; stamps that cannot be true are counted and left out.
    pub fn round_trip(&mut self, pair: &RoundTrip) {
        match pair.mark(self.settings.resolution_ns) {
            Some(mark) => self.mark(mark),
            None => self.refused = self.refused.saturating_add(1),
        }
    }

    /// Takes a one-way stamp; of each group the least delayed was on the way for `most_ns` at most.
    pub fn one_way(&mut self, stamp: &OneWay, most_ns: u32) {
        self.mark(stamp.mark(most_ns));
    }

    fn mark(&mut self, mark: Mark) {
        if let Some(best) = self.filter.push(mark) {
            self.keep(best);
        }
    }

    fn keep(&mut self, mark: Mark) {
        let Some(known) = self.pieces.back_mut() else {
            self.begin([Some(mark), None]);
            return;
        };
        let explained = known.at(mark.at_ns, &self.settings).is_some_and(|known| {
            let apart = (mark.offset_ns - known.offset_ns) as f64;
            libm::fabs(apart) <= mark.half_ns + known.bound_ns
        });
        if explained {
            known.push(mark, self.settings.span_ns);
            self.refused = self
                .refused
                .saturating_add(u32::from(self.doubtful.take().is_some()));
            return;
        }
        match self.doubtful.take() {
            Some(doubtful) if doubtful.agrees(&mark, self.settings.rate) => {
                self.jumps = self.jumps.saturating_add(1);
                self.begin([Some(doubtful), Some(mark)]);
            }
            before => {
                self.refused = self.refused.saturating_add(u32::from(before.is_some()));
                self.doubtful = Some(mark);
            }
        }
    }

    fn begin(&mut self, marks: [Option<Mark>; 2]) {
        let mut piece = Piece {
            marks: VecDeque::with_capacity(MARKS + 1),
            line: None,
        };
        for mark in marks.into_iter().flatten() {
            piece.push(mark, self.settings.span_ns);
        }
        self.pieces.push_back(piece);
        while self.pieces.len() > PIECES {
            self.pieces.pop_front();
        }
    }

    /// The offset at a host time; between two pieces, where the jump may be anywhere, one that covers both. `None` before the first
    /// group of marks is full.
    #[must_use]
    pub fn at(&self, at_ns: i64) -> Option<Offset> {
        let began = |piece: &&Piece| piece.marks.front().is_some_and(|first| first.at_ns <= at_ns);
        let place = self.pieces.iter().take_while(began).count().saturating_sub(1);
        let here = self.pieces.get(place)?;
        let mine = here.at(at_ns, &self.settings)?;
        let over = here.marks.back().is_some_and(|last| last.at_ns < at_ns);
        let next = self.pieces.get(place + 1).filter(|_| over);
        match next.and_then(|next| next.at(at_ns, &self.settings)) {
            Some(next) => Some(cover(mine, next)),
            None => Some(mine),
        }
    }

    /// Host time at which the second clock showed `second_ns`, and the bound of its error, ns.
    #[must_use]
    pub fn host_of(&self, second_ns: i64) -> Option<(i64, f64)> {
        let newest = self.pieces.back()?.marks.back()?;
        let mut host_ns = second_ns - newest.offset_ns;
        let mut bound_ns = f64::INFINITY;
        // The offset changes by the drift alone: each turn gains four digits.
        for _ in 0..3 {
            let there = self.at(host_ns)?;
            host_ns = second_ns - there.offset_ns;
            bound_ns = there.bound_ns;
        }
        Some((host_ns, bound_ns))
    }

    /// Rate of the second clock less that of the host's in the present piece, and the bound of its error, 1.
    #[must_use]
    pub fn drift(&self) -> Option<(f64, f64)> {
        let piece = self.pieces.back()?;
        let line = piece.line?;
        let bound = line.drift_bound(piece.marks.iter()) + self.settings.wander;
        Some((line.drift(), bound))
    }

    /// Jumps seen.
    #[must_use]
    pub const fn jumps(&self) -> u32 {
        self.jumps
    }

    /// Marks left out: stamps that cannot be true, and single ones far from all others.
    #[must_use]
    pub const fn refused(&self) -> u32 {
        self.refused
    }
}

fn cover(a: Offset, b: Offset) -> Offset {
    let ends = |o: &Offset| (o.offset_ns as f64 - o.bound_ns, o.offset_ns as f64 + o.bound_ns);
    let ((a_low, a_high), (b_low, b_high)) = (ends(&a), ends(&b));
    let (low, high) = (a_low.min(b_low), a_high.max(b_high));
    Offset {
        offset_ns: libm::round(0.5 * (low + high)) as i64,
        bound_ns: 0.5 * (high - low),
    }
}
