//! What crate `quality` says of a sheet.

use super::{Measurand, Row, Sheet};
use quality::Refusal;
use quality::capability::{Capability, capability};
use quality::charts::{Baseline, ChartPair, RunRule, individuals, moving_range_spread};
use quality::conformity::Limits;
use quality::normality::{AndersonDarling, anderson_darling};
use quality::outliers::{OddUnit, odd_units};
use quality::shifts::{Cause, Factor, Segments, causes, change_points, usual_penalty};

/// Rules that the charts of units are judged by; more would cry wolf over hundreds of points.
pub(super) const RULES: [RunRule; 2] = [RunRule::OneBeyondThreeSigma, RunRule::NineOnOneSide];
/// Probability that any cause is named on a page without one.
pub(super) const ALPHA: f64 = 0.05;

/// A measurand's values with what they say.
pub(super) struct Judged<'a> {
    pub(super) measurand: &'a Measurand,
    /// Places of the rows that have a value.
    pub(super) rows: Vec<usize>,
    pub(super) days: Vec<f64>,
    pub(super) values: Vec<f64>,
    pub(super) chart: Result<ChartPair, Refusal>,
    pub(super) segments: Result<Segments, Refusal>,
    pub(super) capability: Option<Result<Capability, Refusal>>,
    pub(super) normal: Result<AndersonDarling, Refusal>,
    pub(super) causes: Result<Vec<Cause>, Refusal>,
}

impl Judged<'_> {
    /// Whether a value lies outside its limits.
    pub(super) fn fails(&self, value: f64) -> bool {
        self.measurand
            .limits
            .as_ref()
            .is_some_and(|l: &Limits| !l.hold(value))
    }

    /// Name and unit, as on an axis.
    pub(super) fn label(&self) -> String {
        format!("{}, {}", self.measurand.name, self.measurand.unit)
    }
}

/// Judges every measurand of a sheet.
pub(super) fn judge(sheet: &Sheet) -> Vec<Judged<'_>> {
    let count = sheet.measurands.len();
    sheet
        .measurands
        .iter()
        .enumerate()
        .map(|(place, measurand)| {
            let with = |row: &Row| row.values.get(place).copied().flatten().filter(|v| v.is_finite());
            let found = sheet
                .rows
                .iter()
                .enumerate()
                .filter_map(|(i, row)| with(row).map(|v| (i, v)));
            let (rows, values): (Vec<usize>, Vec<f64>) = found.unzip();
            let days: Vec<f64> = rows.iter().map(|i| sheet.rows[*i].day).collect();
            let factors = factors(sheet, &rows);
            judged(measurand, (rows, days, values), &factors, ALPHA / count as f64)
        })
        .collect()
}

/// Judges one series: the places of its rows, their days and values; `alpha` is the probability that a cause is named without one.
pub(super) fn judged<'a>(
    measurand: &'a Measurand,
    (rows, days, values): (Vec<usize>, Vec<f64>, Vec<f64>),
    factors: &[Factor],
    alpha: f64,
) -> Judged<'a> {
    let within = moving_range_spread(&values);
    let capability = measurand
        .limits
        .as_ref()
        .map(|limits| capability(&values, within.clone().ok(), limits, 0.95));
    Judged {
        chart: individuals(&values, Baseline::All, &RULES),
        segments: within.and_then(|s| change_points(&values, s.sigma, usual_penalty(values.len()))),
        normal: anderson_darling(&values),
        causes: causes(&values, &days, factors, alpha),
        capability,
        measurand,
        rows,
        days,
        values,
    }
}

fn factors(sheet: &Sheet, rows: &[usize]) -> Vec<Factor> {
    let of = |name: &str, level: fn(&Row) -> &String| Factor {
        name: name.into(),
        levels: rows.iter().map(|i| level(&sheet.rows[*i]).clone()).collect(),
    };
    vec![
        of("bench", |r| &r.bench),
        of("fixture", |r| &r.fixture),
        of("firmware", |r| &r.firmware),
        of("batch", |r| &r.batch),
        of("operator", |r| &r.operator),
    ]
}

/// Odd units by all measurands together, with the places of the rows that were judged: those without a gap.
pub(super) fn odd(sheet: &Sheet) -> Result<(Vec<usize>, Vec<OddUnit>), Refusal> {
    let whole = |row: &Row| row.values.iter().copied().collect::<Option<Vec<f64>>>();
    let (rows, values): (Vec<usize>, Vec<Vec<f64>>) = sheet
        .rows
        .iter()
        .enumerate()
        .filter_map(|(i, row)| whole(row).map(|v| (i, v)))
        .unzip();
    let found = odd_units(&values, 0.01)?;
    Ok((rows, found))
}
