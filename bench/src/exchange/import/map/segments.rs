//! Segments that the map declares: data from elsewhere have no plan.

use settings_file::{Frequency, Section, Time, Torque, any, write_number};

/// Most segments a map may declare.
const MOST: usize = 20_000;

/// What was played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SegmentKind {
    Step,
    Chirp,
    Hold,
}

impl SegmentKind {
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Chirp => "chirp",
            Self::Hold => "hold",
        }
    }
}

/// Torque levels of a segment: `[before, after]` of a step, `[amplitude, preload]` of a chirp, N·m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Levels {
    /// As the map says.
    Declared(f64, f64),
    /// To be read off the commanded column.
    Measured,
}

/// A stretch of the data with its excitation.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Segment {
    pub(crate) name: String,
    pub(crate) kind: SegmentKind,
    /// In the time of the data file, s.
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) levels: Levels,
    /// First and last frequency of a chirp, Hz.
    pub(crate) frequencies_hz: [f64; 2],
    /// Key and line in the map, for messages.
    pub(crate) place: String,
}

/// The array of tables `[[segment]]`, in order of time.
pub(super) fn read(root: &Section<'_>) -> Vec<Segment> {
    const KINDS: &[(&str, SegmentKind)] = &[
        ("step", SegmentKind::Step),
        ("chirp", SegmentKind::Chirp),
        ("hold", SegmentKind::Hold),
    ];
    let mut found: Vec<Segment> = Vec::new();
    for s in root.sections("segment", 0..=MOST) {
        let kind = s.choice("kind", KINDS).unwrap_or(SegmentKind::Hold);
        let (from_s, to_s) = (s.quantity::<Time>("from", any()), s.quantity::<Time>("to", any()));
        let torque = |key: &str| s.optional_quantity::<Torque>(key, -500.0..=500.0);
        let levels = match kind {
            SegmentKind::Step => (torque("before"), torque("after")),
            SegmentKind::Chirp => (torque("amplitude"), torque("preload")),
            SegmentKind::Hold => (None, None),
        };
        let levels = match levels {
            (Some(a), Some(b)) => Levels::Declared(a, b),
            (None, None) => Levels::Measured,
            _ => {
                let (a, b) = match kind {
                    SegmentKind::Chirp => ("amplitude", "preload"),
                    _ => ("before", "after"),
                };
                let problem = format!("one of {a} and {b} alone");
                s.report(
                    a,
                    problem,
                    None,
                    "give both, or none to have them read off the data",
                );
                Levels::Measured
            }
        };
        let mut frequencies_hz = [f64::NAN; 2];
        if kind == SegmentKind::Chirp {
            let range = || 0.01..=50_000.0;
            frequencies_hz = [
                s.quantity::<Frequency>("f_start", range()),
                s.quantity::<Frequency>("f_end", range()),
            ];
        }
        let name = s.optional_text("name").unwrap_or_else(|| kind.word().to_owned());
        let both = s.has("from") && s.has("to");
        if both && to_s - from_s < 1e-9 {
            let allowed = Some(format!("after {} s", write_number(from_s)));
            s.report("to", "not after from", allowed, "correct one of the two");
        }
        if let Some(before) = found.last().filter(|before| both && from_s < before.to_s - 1e-9) {
            let problem = format!("begins before {} ends", before.place);
            let fix = "give segments in order of time, without overlap";
            s.report("from", problem, None, fix);
        }
        found.push(Segment {
            name,
            kind,
            from_s,
            to_s,
            levels,
            frequencies_hz,
            place: format!("{} (line {})", s.path(), s.line()),
        });
    }
    found
}
