//! From a procedure file to a [`Procedure`].

use alloc::{borrow::ToOwned, format, string::String};
use settings_file::{Finding, Findings, Frequency, Place, Ratio, Section, Settings, Slew, Time};

use super::{ApproachStep, Placed, Procedure, ProcedureLimits, Segment, Sign, read_level};
use crate::{
    excitation::Excitation,
    rig::Mounting,
    units::{US_PER_S, us_from_s},
};

/// Shortest rest after the approach, s: the run judges the approach in it.
const SHORTEST_APPROACH_REST_S: f64 = 0.3;
/// Ramps where the file gives no rate, N·m/s: 2 N·m in 40 ms, long against a drivetrain's period.
const RAMP_NM_PER_S: f64 = 50.0;

pub(super) fn read(file: &str, text: &str) -> Result<Procedure, Findings> {
    let settings = Settings::parse(file, text)?;
    let root = settings.root();
    let head = root.section("procedure");
    let value = Procedure {
        file: file.to_owned(),
        name: head.text("name"),
        purpose: head.text("purpose"),
        mounting: Placed::of(
            &head,
            "mounting",
            head.choice("mounting", Mounting::WORDS)
                .unwrap_or(Mounting::Clamped),
        ),
        sample_period_us: sample_period(&head),
        ramp_nm_per_s: Placed::of(
            &head,
            "ramp",
            head.quantity_or::<Slew>("ramp", 0.1..=1e5, RAMP_NM_PER_S),
        ),
        zero_us: us_from_s(head.quantity_or::<Time>("zero", 0.1..=60.0, 0.5)),
        limits: root
            .optional_section("limits")
            .map(|table| ProcedureLimits::read(&table))
            .unwrap_or_default(),
        approach: approach(&root.section("approach")),
        segments: root.sections("segment", 1..=64).iter().map(segment).collect(),
    };
    same_names(&settings, &value.segments);
    settings.finish(value)
}

/// Results are told apart by the names of their segments.
fn same_names(settings: &Settings, segments: &[Segment]) {
    for (i, segment) in segments.iter().enumerate().filter(|(_, s)| !s.name.is_empty()) {
        if let Some(twin) = segments.iter().take(i).find(|other| other.name == segment.name) {
            let problem = format!("the name of the segment in line {}", twin.place.line);
            let place = Place {
                key: format!("{}.name", segment.place.key),
                ..segment.place.clone()
            };
            settings.report(Finding::new(
                settings.file(),
                &place,
                problem,
                "give it a name of its own",
            ));
        }
    }
}

fn sample_period(head: &Section<'_>) -> Placed<u32> {
    let rate_hz = head.quantity::<Frequency>("sample_rate", 100.0..=20_000.0);
    let period_us = US_PER_S / rate_hz;
    let whole_us = libm::round(period_us);
    if (period_us - whole_us).abs() > 1e-6 * period_us {
        let fix = "choose a rate that divides 1,000,000, such as 1, 2, 4 or 5 kHz";
        head.report(
            "sample_rate",
            "the period is not a whole number of microseconds",
            None,
            fix,
        );
    }
    Placed::of(head, "sample_rate", whole_us as u32)
}

fn approach(s: &Section<'_>) -> ApproachStep {
    let level = read_level(s, "level", Sign::Positive);
    let gain_range = s.pair::<Ratio>("gain", 0.0..=3.0);
    if s.has("gain") && (gain_range[0] <= 0.0 || gain_range[0] > 1.0 || gain_range[1] < 1.0) {
        // A range that holds zero would pass a motor that does nothing.
        let allowed = Some("above 0 % to 100 %, and 100 % to 300 %".into());
        s.report(
            "gain",
            "cannot tell a right gain from a wrong one",
            allowed,
            "let it hold 100 % but not 0 %",
        );
    }
    ApproachStep {
        level,
        hold_us: us_from_s(s.quantity::<Time>("hold", 0.1..=2.0)),
        rest_us: us_from_s(s.quantity::<Time>("rest", SHORTEST_APPROACH_REST_S..=10.0)),
        gain_range,
    }
}

fn segment(s: &Section<'_>) -> Segment {
    Segment {
        name: s.text("name"),
        place: Place {
            line: s.line(),
            key: s.path().to_owned(),
            written: String::new(),
        },
        excitation: Excitation::read(s),
    }
}
