//! From a map file to a [`Map`].

use settings_file::{
    Angle, Current, Findings, Force, Frequency, Inertia, Length, Quantity, Ratio, Section, Settings, Slew,
    Stiffness, Temperature, Time as Duration, Torque, Voltage, any, parse_quantity, positive,
};

use super::super::source::Layout;
use super::{Column, Facts, Map, Repairs, Role, StepSearch, Time, segments};
use crate::recording::Sensor;

/// Sample periods that a recording may have, s.
const PERIODS_S: std::ops::RangeInclusive<f64> = 1e-5..=0.1;
/// Most gears and belts one after the other.
const MOST_STAGES: i64 = 4;

impl Map {
    /// Reads a map file.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its line.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Findings> {
        let settings = Settings::parse(file, text)?;
        let root = settings.root();
        let columns = root.section("columns");
        let motor_ratio = columns
            .optional("motor_angle")
            .map(|e| e.section())
            .and_then(|s| s.optional("ratio").map(|e| e.number(positive())));
        let commanded = columns.optional("commanded").map(|e| e.section());
        let hold_s = commanded
            .as_ref()
            .and_then(|s| s.optional_quantity::<Duration>("hold", 1e-5..=1.0));
        let found: Vec<Column> = Role::ALL
            .into_iter()
            .filter(|role| {
                let needed = matches!(role, Role::Commanded | Role::Measured);
                let there = columns.optional(role.word()).is_some();
                if needed && !there && columns.is_present() {
                    let fix = format!("add a table `[columns.{}]`", role.word());
                    columns.report(role.word(), "missing table", None, fix);
                }
                there
            })
            .filter_map(|role| columns.optional(role.word()).map(|e| column(&e.section(), role)))
            .collect();
        let mut facts = facts(&root);
        facts.motor_ratio = motor_ratio;
        let map = Self {
            file: file.to_owned(),
            text: text.to_owned(),
            layout: layout(&root),
            time: time(&root.section("time")),
            columns: found,
            hold_s,
            facts,
            segments: segments::read(&root),
            steps: root.optional_section("steps").map(|s| StepSearch {
                least_nm: s.quantity::<Torque>("least_change", 1e-3..=100.0),
                rest_s: s.quantity_or::<Duration>("rest", 0.005..=10.0, 0.05),
            }),
            repairs: repairs(&root),
        };
        settings.finish(map)
    }
}

fn layout(root: &Section<'_>) -> Layout {
    let mut layout = Layout::default();
    let Some(s) = root.optional_section("file") else {
        return layout;
    };
    const DELIMITERS: &[(&str, u8)] = &[
        (",", b','),
        (";", b';'),
        ("tab", b'\t'),
        ("\t", b'\t'),
        ("|", b'|'),
    ];
    layout.delimiter = s.optional("delimiter").and_then(|e| e.choice(DELIMITERS));
    layout.decimal_comma = s.choice_or("decimal", &[(".", false), (",", true)], false);
    let header = s.boolean_or("header", true);
    let line = u64::try_from(s.integer_or("header_line", 1..=100_000, 1)).unwrap_or(1);
    layout.header_line = header.then_some(line);
    layout.units_row = s.boolean_or("units_row", false);
    const COMMENTS: &[(&str, Option<u8>)] = &[
        ("#", Some(b'#')),
        ("%", Some(b'%')),
        (";", Some(b';')),
        ("!", Some(b'!')),
        ("none", None),
    ];
    layout.comment = s.choice_or("comment", COMMENTS, Some(b'#'));
    layout.latin_1 = s.choice_or("encoding", &[("utf-8", false), ("latin-1", true)], false);
    if !header && layout.units_row {
        s.report(
            "units_row",
            "a row of units without a header",
            None,
            "set file.header, or write the units in the columns' tables",
        );
    }
    if layout.delimiter.is_some() && layout.delimiter == layout.comment {
        s.report(
            "comment",
            "the same as the delimiter",
            None,
            "change one of the two",
        );
    }
    layout
}

fn time(s: &Section<'_>) -> Time {
    let column = s.optional_text("column");
    let unit = s.optional("unit").map(|entry| {
        let text = entry.text();
        unit_of::<Duration>(&text, |problem, fix| entry.report(problem, None, fix));
        text
    });
    let rate = s.optional_quantity::<Frequency>("rate", 10.0..=100_000.0);
    let period = s.optional_quantity::<Duration>("period", PERIODS_S);
    if rate.is_some() && period.is_some() {
        s.report(
            "period",
            "beside rate, which says the same",
            None,
            "keep one of the two",
        );
    }
    let period_s = period.or(rate.map(|hz| 1.0 / hz));
    if column.is_none() && period_s.is_none() && s.is_present() {
        let fix = "add `column = \"…\"` with a `unit`, or `rate = \"4 kHz\"` if the file has no time";
        s.report("column", "neither a column nor a rate", None, fix);
    }
    if column.is_none() && unit.is_some() {
        s.report(
            "unit",
            "a unit without a column",
            None,
            "add the column, or remove it",
        );
    }
    Time {
        column: column.map(|name| (name, unit)),
        period_s,
        tolerance_s: s.optional_quantity::<Duration>("tolerance", 0.0..=0.05),
    }
}

/// SI per unit, or a complaint.
fn unit_of<Q: Quantity>(unit: &str, complain: impl FnOnce(String, String)) -> f64 {
    match parse_quantity::<Q>(&format!("1 {unit}")) {
        Ok(amount) => amount.si,
        Err(error) => {
            let problem = format!("not the unit of a {}: it {error}", Q::NAME);
            complain(problem, format!("write it like the one in \"{}\"", Q::EXAMPLE));
            1.0
        }
    }
}

/// SI per unit for a role. A force needs a lever.
///
/// # Errors
/// Says why it is none of the role's units.
pub(crate) fn unit_si(role: Role, lever_m: Option<f64>, unit: &str) -> Result<f64, String> {
    let mut wrong = None;
    let mut complain = |problem, _| wrong = Some(problem);
    let si = match (role, lever_m) {
        (Role::Commanded | Role::Measured, None) => unit_of::<Torque>(unit, complain),
        (Role::Commanded | Role::Measured, Some(lever)) => lever * unit_of::<Force>(unit, complain),
        (Role::RimAngle | Role::MotorAngle, _) => unit_of::<Angle>(unit, complain),
        (Role::Temperature, _) => unit_of::<Temperature>(unit, complain),
        (Role::Current, _) => unit_of::<Current>(unit, &mut complain),
        (Role::Supply, _) => unit_of::<Voltage>(unit, &mut complain),
    };
    wrong.map_or(Ok(si), Err)
}

/// Seconds a unit of time.
///
/// # Errors
/// Says why it is none.
pub(crate) fn time_si(unit: &str) -> Result<f64, String> {
    let mut wrong = None;
    let si = unit_of::<Duration>(unit, |problem, _| wrong = Some(problem));
    wrong.map_or(Ok(si), Err)
}

fn column(s: &Section<'_>, role: Role) -> Column {
    let lever_m = match role {
        Role::Commanded | Role::Measured => s.optional_quantity::<Length>("lever_arm", 0.001..=5.0),
        _ => None,
    };
    let unit = s.optional("unit").map(|entry| {
        let text = entry.text();
        if let Err(problem) = unit_si(role, lever_m, &text) {
            let fix = if parse_quantity::<Force>(&format!("1 {text}")).is_ok() {
                "add `lever_arm = \"…\"` to turn a force into a torque"
            } else {
                "correct the unit"
            };
            entry.report(problem, None, fix);
        }
        text
    });
    if role == Role::Commanded {
        s.leave_to_others("hold");
    }
    if role == Role::MotorAngle {
        s.leave_to_others("ratio");
    }
    let [offset_si, resolution, low, high] = match role {
        Role::Commanded | Role::Measured => amounts::<Torque>(s),
        Role::RimAngle | Role::MotorAngle => amounts::<Angle>(s),
        Role::Temperature => amounts::<Temperature>(s),
        Role::Current => amounts::<Current>(s),
        Role::Supply => amounts::<Voltage>(s),
    };
    let scale = s.number_or("scale", any(), 1.0);
    if scale == 0.0 {
        s.report(
            "scale",
            "zero",
            None,
            "write the units a number in the file stands for",
        );
    }
    Column {
        role,
        name: s.text("column"),
        unit,
        scale,
        offset_si: offset_si.unwrap_or(0.0),
        reversed: s.choice_or("sign", &[("as-is", false), ("reversed", true)], false),
        lever_m,
        resolution_si: resolution,
        range_si: low.zip(high).map(|(low, high)| [low, high]),
        group_delay_s: s.quantity_or::<Duration>("group_delay", 0.0..=0.1, 0.0),
    }
}

/// Offset, resolution and range of a column.
fn amounts<Q: Quantity>(s: &Section<'_>) -> [Option<f64>; 4] {
    let range = s.optional("range").map(|e| e.pair::<Q>(any()));
    [
        s.optional_quantity::<Q>("offset", any()),
        s.optional_quantity::<Q>("resolution", positive()),
        range.map(|[low, _]| low),
        range.map(|[_, high]| high),
    ]
}

fn facts(root: &Section<'_>) -> Facts {
    let mut facts = Facts {
        update_period_s: f64::NAN,
        slew_nm_per_s: f64::NAN,
        fixture_stiffness_nm_per_rad: f64::NAN,
        sensor: Sensor {
            range_nm: f64::NAN,
            stiffness_nm_per_rad: f64::NAN,
            gain_uncertainty: f64::NAN,
            zero_uncertainty_nm: f64::NAN,
            delay_uncertainty_s: f64::NAN,
            ..Sensor::default()
        },
        ..Facts::default()
    };
    let text = |s: &Section<'_>, key: &str| s.optional_text(key).unwrap_or_default();
    let rig = root.section("rig");
    const MOUNTINGS: &[(&str, &str)] = &[
        ("clamped", "clamped"),
        ("free", "free"),
        ("back-driven", "back-driven"),
    ];
    facts.mounting = rig.choice("mounting", MOUNTINGS).unwrap_or_default().to_owned();
    facts.rig_name = text(&rig, "name");
    facts.fixture = text(&rig, "fixture");
    let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
    facts.fixture_stiffness_nm_per_rad =
        or_nan(rig.optional_quantity::<Stiffness>("fixture_stiffness", 10.0..=1e7));
    facts.disc_inertia_kgm2 = rig.optional_quantity::<Inertia>("disc_inertia", 1e-6..=10.0);
    if facts.disc_inertia_kgm2.is_some() && facts.mounting == "clamped" {
        let fix = "remove it, or correct rig.mounting";
        rig.report("disc_inertia", "a disc on a clamped rim", None, fix);
    }
    let unit = root.section("unit");
    facts.unit_model = unit.text("model");
    facts.unit_serial = unit.text("serial");
    facts.unit_firmware = text(&unit, "firmware");
    facts.update_period_s = or_nan(unit.optional_quantity::<Duration>("update_period", 2e-5..=0.05));
    facts.slew_nm_per_s = or_nan(unit.optional_quantity::<Slew>("slew", 10.0..=1e5));
    let stages = unit.optional("stages").map(|e| e.integer(0..=MOST_STAGES));
    facts.stages = stages.and_then(|n| usize::try_from(n).ok());
    facts.full_scale_nm = unit.optional_quantity::<Torque>("full_scale", 0.05..=500.0);
    if let Some(run) = root.optional_section("run") {
        facts.started = text(&run, "started");
        facts.operator = text(&run, "operator");
        facts.recorded_with = text(&run, "recorded_with");
    }
    if let Some(s) = root.optional_section("sensor") {
        let date = |key: &str| s.optional(key).map(|e| e.date().to_string()).unwrap_or_default();
        facts.sensor = Sensor {
            model: text(&s, "model"),
            serial: text(&s, "serial"),
            range_nm: or_nan(s.optional_quantity::<Torque>("range", 0.1..=500.0)),
            stiffness_nm_per_rad: or_nan(s.optional_quantity::<Stiffness>("stiffness", 10.0..=1e6)),
            calibrated: date("calibrated"),
            due: date("due"),
            certificate: text(&s, "certificate"),
            gain_uncertainty: or_nan(s.optional_quantity::<Ratio>("gain_uncertainty", 0.0..=0.1)),
            zero_uncertainty_nm: or_nan(s.optional_quantity::<Torque>("zero_uncertainty", 0.0..=5.0)),
            delay_uncertainty_s: or_nan(s.optional_quantity::<Duration>("delay_uncertainty", 0.0..=0.01)),
        };
    }
    facts
}

fn repairs(root: &Section<'_>) -> Repairs {
    root.optional_section("repair")
        .map(|s| Repairs {
            rows: s.boolean_or("rows", false),
            time_order: s.boolean_or("time_order", false),
            resample: s.boolean_or("resample", false),
            sign: s.boolean_or("sign", false),
        })
        .unwrap_or_default()
}
