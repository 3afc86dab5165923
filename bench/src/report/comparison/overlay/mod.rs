//! The curves of all groups over one another.

mod driver;
mod drivetrain;
mod torque;

use super::{stroke, tint};
use crate::compare::Group;
use crate::fitting::{Conditions, FitDocument};
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke};
use crate::report::plots::legend::Sample;
use crate::report::plots::palette::INK;
use crate::report::plots::panel::Panel;
use crate::report::plots::sheet::Sheet;
use crate::report::plots::{Format, caption};
use crate::report::{Plot, PlotError};

const COMMAND: Stroke = Stroke::solid(INK, 1.2).dashed(2.0, 3.0);
/// What stands in a series' group for what was commanded.
const COMMANDED: usize = usize::MAX;

/// One curve of one group.
struct Series {
    group: usize,
    x: Vec<f64>,
    y: Vec<f64>,
    band: Option<(Vec<f64>, Vec<f64>)>,
}

impl Series {
    fn new(group: usize, x: Vec<f64>, y: Vec<f64>) -> Self {
        Self {
            group,
            x,
            y,
            band: None,
        }
    }

    fn with_band(self, low: Vec<f64>, high: Vec<f64>) -> Self {
        Self {
            band: Some((low, high)),
            ..self
        }
    }
}

/// A value of one group read off the x axis, with its interval.
struct Mark {
    group: usize,
    at: f64,
    interval: [f64; 2],
}

/// One panel.
#[derive(Default)]
struct Frame {
    x_name: &'static str,
    y_name: String,
    logarithmic: bool,
    y_logarithmic: bool,
    /// Values that the x axis holds besides those of the curves.
    across: Vec<f64>,
    /// The same of the y axis.
    also: Vec<f64>,
    series: Vec<Series>,
    /// Points with bars, the bands of these.
    points: Vec<Series>,
    marks: Vec<Mark>,
}

/// Panels above one another with the conditions of every group.
struct Chart {
    name: &'static str,
    title: &'static str,
    reading: &'static str,
    conditions: Vec<String>,
    frames: Vec<Frame>,
}

/// Names of all charts, in the order in which a page shows them.
pub(super) const NAMES: [&str; 12] = [
    "steps",
    "frequency",
    "latency",
    "static-map",
    "trace",
    "shock",
    "resolution",
    "heat",
    "loops",
    "stops",
    "friction",
    "cogging",
];

/// Curves that at least two groups have.
///
/// # Errors
/// [`PlotError`] if the drawing backend fails.
pub fn overlays(groups: &[Group]) -> Result<Vec<Plot>, PlotError> {
    let charts = [
        torque::steps(groups),
        torque::frequency(groups),
        torque::delays(groups),
        torque::static_map(groups),
        torque::trace(groups),
        driver::shock(groups),
        driver::resolution(groups),
        driver::heat(groups),
        drivetrain::loops(groups),
        drivetrain::stops(groups),
        drivetrain::friction(groups),
        drivetrain::cogging(groups),
    ];
    let names: Vec<&str> = groups.iter().map(|g| g.name.as_str()).collect();
    charts
        .into_iter()
        .map(Chart::shared)
        .filter(|chart| !chart.frames.is_empty())
        .map(|chart| {
            Ok(Plot {
                name: chart.name,
                title: chart.title.into(),
                reading: chart.reading.into(),
                wide: chart.draw(&names, Format::Wide)?,
                narrow: chart.draw(&names, Format::Narrow)?,
            })
        })
        .collect()
}

/// Every fit with its group.
fn all(groups: &[Group]) -> impl Iterator<Item = (usize, &FitDocument)> {
    let numbered = groups.iter().enumerate();
    numbered.flat_map(|(place, group)| group.documents.iter().map(move |d| (place, d)))
}

/// The conditions of the first fit of each group.
fn conditions<'a>(
    groups: &'a [Group],
    kind: &str,
    of: impl Fn(&'a FitDocument) -> Option<&'a Conditions>,
) -> Vec<String> {
    let first = |group: &'a Group| {
        let mut fits = group.documents.iter();
        fits.find_map(|d| of(d).map(|c| format!("{}: {}", group.name, caption::conditions_line(d, c, kind))))
    };
    groups.iter().filter_map(first).collect()
}

impl Frame {
    fn new(x_name: &'static str, y_name: impl Into<String>, series: Vec<Series>) -> Self {
        Self {
            x_name,
            y_name: y_name.into(),
            series,
            ..Self::default()
        }
    }

    fn logarithmic(self) -> Self {
        Self {
            logarithmic: true,
            ..self
        }
    }

    fn holding(self, also: Vec<f64>) -> Self {
        Self { also, ..self }
    }

    fn across(self, across: Vec<f64>) -> Self {
        Self { across, ..self }
    }

    fn has(&self, group: usize) -> bool {
        let series = self.series.iter().chain(&self.points);
        series.into_iter().any(|s| s.group == group && s.x.len() > 1)
    }

    /// Whether two groups or more have it.
    fn is_shared(&self, groups: usize) -> bool {
        (0..groups).filter(|group| self.has(*group)).count() > 1
    }

    fn x_axis(&self) -> Axis {
        let own = || self.series.iter().chain(&self.points).flat_map(|s| &s.x);
        let all = || own().chain(&self.across).copied();
        if self.logarithmic {
            let low = all().filter(|x| *x > 0.0).fold(f64::INFINITY, f64::min);
            let high = all().fold(0.0, f64::max);
            if low < high {
                return Axis::logarithmic(low, high);
            }
        }
        Axis::around(all(), 0.02, 55.0)
    }

    fn y_axis(&self) -> Axis {
        let own = || self.series.iter().chain(&self.points);
        let bands = own().filter_map(|s| s.band.as_ref());
        let bands = bands.flat_map(|(low, high)| low.iter().chain(high));
        let all = || {
            own()
                .flat_map(|s| &s.y)
                .chain(bands.clone())
                .chain(&self.also)
                .copied()
        };
        if self.y_logarithmic {
            let low = all().filter(|y| *y > 0.0).fold(f64::INFINITY, f64::min);
            let high = all().fold(0.0, f64::max);
            if low < high {
                return Axis::logarithmic(low, high);
            }
        }
        Axis::around(all(), 0.06, 34.0)
    }

    fn draw(&self, canvas: &mut Canvas<'_>, panel: &Panel) -> Result<(), PlotError> {
        panel.axes(canvas, true)?;
        let bar = |group| Stroke {
            dash: None,
            width: 1.4,
            ..stroke(group)
        };
        for mark in &self.marks {
            let px = |x: f64| panel.x_px(panel.x.clamp(x));
            let (colour, alpha) = tint(mark.group);
            let [low, high] = mark.interval;
            canvas.block((px(low), panel.top), (px(high), panel.bottom), colour, alpha)?;
            panel.upright(canvas, mark.at, stroke(mark.group))?;
        }
        for series in &self.series {
            if let Some((low, high)) = &series.band {
                panel.band(canvas, &series.x, (low, high), tint(series.group))?;
            }
        }
        for series in &self.series {
            let look = if series.group == COMMANDED {
                COMMAND
            } else {
                stroke(series.group)
            };
            panel.curve(canvas, &series.x, &series.y, look)?;
        }
        for series in &self.points {
            let Some((low, high)) = &series.band else { continue };
            let ends = low.iter().zip(high);
            for ((x, y), (low, high)) in series.x.iter().zip(&series.y).zip(ends) {
                let look = (stroke(series.group).colour, bar(series.group));
                panel.point(canvas, (*x, *y), (*low, *high), look)?;
            }
        }
        panel.names(canvas, self.x_name, &self.y_name)
    }
}

impl Chart {
    /// The panels that two groups or more have.
    fn shared(mut self) -> Self {
        let all = self.frames.iter().flat_map(|f| f.series.iter().chain(&f.points));
        let groups = all.filter(|s| s.group != COMMANDED).map(|s| s.group + 1).max();
        self.frames.retain(|frame| frame.is_shared(groups.unwrap_or(0)));
        self
    }

    fn draw(&self, names: &[&str], format: Format) -> Result<String, PlotError> {
        let has = |group: usize| self.frames.iter().any(|f| f.has(group));
        let mut entries: Vec<(Sample, String)> = (0..names.len())
            .filter(|group| has(*group))
            .filter_map(|group| Some((Sample::Line(stroke(group)), (*names.get(group)?).to_owned())))
            .collect();
        if has(COMMANDED) {
            entries.push((Sample::Line(COMMAND), "commanded".into()));
        }
        let sheet = Sheet::new(format, entries, &self.conditions);
        let mut column = sheet.column(if format.is_wide() { 190.0 } else { 160.0 });
        let panels: Vec<(&Frame, Panel)> = self
            .frames
            .iter()
            .map(|frame| (frame, column.next(frame.x_axis(), frame.y_axis())))
            .collect();
        sheet.draw(column.top, [self.title, self.reading], |canvas| {
            panels
                .iter()
                .try_for_each(|(frame, panel)| frame.draw(canvas, panel))
        })
    }
}
