//! Segments that the map declares: data from elsewhere have no plan.

use settings_file::{Frequency, Section, Time, Torque, any, write_number};

use crate::recording::{MULTISINE, PSEUDO_RANDOM};

/// Most segments a map may declare, and most periods of one.
const MOST: usize = 20_000;
/// Most lines of a multisine, and the highest.
const LINES: usize = 100_000;
/// How far the length of a segment may be from whole periods, as a share of a period.
const WHOLE: f64 = 1e-6;

/// What was played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SegmentKind {
    Step,
    Chirp,
    Hold,
    Multisine,
    PseudoRandom,
}

impl SegmentKind {
    const ALL: [Self; 5] = [
        Self::Step,
        Self::Chirp,
        Self::Hold,
        Self::Multisine,
        Self::PseudoRandom,
    ];

    /// The kind of that word; none of what a map cannot say.
    pub(crate) fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Played in whole periods, over and over.
    pub(crate) const fn is_periodic(self) -> bool {
        matches!(self, Self::Multisine | Self::PseudoRandom)
    }

    /// Whether its levels are an amplitude about a preload, not a torque before and one after.
    pub(crate) const fn is_about_preload(self) -> bool {
        matches!(self, Self::Chirp) || self.is_periodic()
    }

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Multisine => MULTISINE,
            Self::PseudoRandom => PSEUDO_RANDOM,
            Self::Step => "step",
            Self::Chirp => "chirp",
            Self::Hold => "hold",
        }
    }
}

/// Torque levels of a segment: `[before, after]` of a step, `[amplitude, preload]` of a chirp or of whole periods, N·m.
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
    /// First and last frequency of a chirp, lowest and highest line of a multisine, Hz.
    pub(crate) frequencies_hz: [f64; 2],
    /// One period of what is played in whole periods, s.
    pub(crate) period_s: Option<f64>,
    /// Lines of a multisine that carry power, as multiples of one over its period; none where the map lists none.
    pub(crate) lines: Vec<usize>,
    /// Key and line in the map, for messages.
    pub(crate) place: String,
}

impl Segment {
    /// Whole periods; 1 for what is not played in periods.
    pub(crate) fn periods(&self) -> u32 {
        let length_s = self.to_s - self.from_s;
        self.period_s
            .map_or(1, |period_s| (length_s / period_s).round() as u32)
    }
}

/// The array of tables `[[segment]]`, in order of time.
pub(super) fn read(root: &Section<'_>) -> Vec<Segment> {
    let kinds = SegmentKind::ALL.map(|kind| (kind.word(), kind));
    let mut found: Vec<Segment> = Vec::new();
    for s in root.sections("segment", 0..=MOST) {
        let kind = s.choice("kind", &kinds).unwrap_or(SegmentKind::Hold);
        let (from_s, to_s) = (s.quantity::<Time>("from", any()), s.quantity::<Time>("to", any()));
        let torque = |key: &str| s.optional_quantity::<Torque>(key, -500.0..=500.0);
        let levels = match kind {
            SegmentKind::Step => (torque("before"), torque("after")),
            SegmentKind::Hold => (None, None),
            _ => (torque("amplitude"), torque("preload")),
        };
        let levels = match levels {
            (Some(a), Some(b)) => Levels::Declared(a, b),
            (None, None) => Levels::Measured,
            _ => {
                let (a, b) = if kind.is_about_preload() {
                    ("amplitude", "preload")
                } else {
                    ("before", "after")
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
        let period_s = kind
            .is_periodic()
            .then(|| period(&s, both.then_some(to_s - from_s)));
        let lines = if kind == SegmentKind::Multisine {
            lines(&s)
        } else {
            Vec::new()
        };
        if let (Some(period_s), Some(low), Some(high)) = (period_s, lines.first(), lines.last()) {
            frequencies_hz = [low, high].map(|k| *k as f64 / period_s);
        }
        if let Some(other) = found.iter().find(|other| other.name == name)
            && (other.kind.is_periodic() || kind.is_periodic())
            && (other.kind, other.period_s, &other.lines) != (kind, period_s, &lines)
        {
            let problem = format!(
                "{name:?}, as is {}, with another kind, period or lines",
                other.place
            );
            s.report(
                "name",
                problem,
                None,
                "give realisations of one signal the same name, others another",
            );
        }
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
            period_s,
            lines,
            place: format!("{} (line {})", s.path(), s.line()),
        });
    }
    found
}

/// One period, s. What is played in periods is a whole number of them long.
fn period(s: &Section<'_>, length_s: Option<f64>) -> f64 {
    let period_s = s.quantity::<Time>("period", 1e-3..=3_600.0);
    if let (Some(length_s), true) = (length_s, s.has("period")) {
        let periods = length_s / period_s;
        let is_whole = (periods - periods.round()).abs() <= WHOLE;
        if !is_whole || !(1..=MOST).contains(&(periods.round() as usize)) {
            s.report(
                "to",
                format!("{} periods after from", write_number(periods)),
                Some(format!("a whole number of periods, 1 to {MOST}")),
                "leave out what comes before the first whole period in which all has settled, and behind the last one",
            );
        }
    }
    period_s
}

/// The lines of a multisine, ascending; none where the map lists none.
fn lines(s: &Section<'_>) -> Vec<usize> {
    let Some(entry) = s.optional("lines") else {
        return Vec::new();
    };
    let most = i64::try_from(LINES).unwrap_or(i64::MAX);
    let elements = entry.elements(1..=LINES);
    let mut lines: Vec<usize> = elements
        .iter()
        .filter_map(|element| usize::try_from(element.integer(1..=most)).ok())
        .collect();
    lines.sort_unstable();
    lines.dedup();
    lines
}
