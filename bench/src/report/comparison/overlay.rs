//! The curves of all groups over one another.

use super::{stroke, tint};
use crate::compare::Group;
use crate::fitting::{Conditions, FitDocument};
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::Sample;
use crate::report::plots::palette::INK;
use crate::report::plots::panel::Panel;
use crate::report::plots::{Format, caption, legend};
use crate::report::{Plot, PlotError};

const COMMAND: Stroke = Stroke::solid(INK, 1.2).dashed(2.0, 3.0);

/// One curve of one group.
struct Series {
    group: usize,
    x: Vec<f64>,
    y: Vec<f64>,
    band: Option<(Vec<f64>, Vec<f64>)>,
}

/// One panel.
struct Frame {
    x_name: &'static str,
    y_name: &'static str,
    logarithmic: bool,
    /// Values that the y axis holds besides those of the curves.
    also: Vec<f64>,
    series: Vec<Series>,
}

/// Panels above one another with the conditions of every group.
struct Chart {
    name: &'static str,
    title: &'static str,
    reading: &'static str,
    commanded: bool,
    conditions: Vec<String>,
    frames: Vec<Frame>,
}

/// Curves that at least two groups have.
///
/// # Errors
/// [`PlotError`] if the drawing backend fails.
pub fn overlays(groups: &[Group]) -> Result<Vec<Plot>, PlotError> {
    let charts = [
        steps(groups),
        frequency(groups),
        delays(groups),
        static_map(groups),
        trace(groups),
    ];
    let names: Vec<&str> = groups.iter().map(|g| g.name.as_str()).collect();
    charts
        .into_iter()
        .filter(Chart::is_shared)
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
fn all(groups: &[Group]) -> impl Iterator<Item = (usize, &Group, &FitDocument)> {
    let numbered = groups.iter().enumerate();
    numbered.flat_map(|(place, group)| group.documents.iter().map(move |d| (place, group, d)))
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

fn steps(groups: &[Group]) -> Chart {
    let mut onset = Vec::new();
    let mut whole = Vec::new();
    let mut also = Vec::new();
    for (group, _, document) in all(groups) {
        let Some(c) = &document.curves.steps else { continue };
        let series = |keep: &dyn Fn(f64) -> bool| {
            let rows: Vec<usize> = (0..c.t_s.len()).filter(|i| keep(c.t_s[*i])).collect();
            let pick = |v: &[f64], k: f64| -> Vec<f64> {
                rows.iter().filter_map(|i| v.get(*i).map(|x| k * x)).collect()
            };
            Series {
                group,
                x: pick(&c.t_s, 1e3),
                y: pick(&c.median_nm, 1.0),
                band: Some((pick(&c.p05_nm, 1.0), pick(&c.p95_nm, 1.0))),
            }
        };
        let end = (2.0 * c.t90_s).max(6e-3);
        onset.push(series(&|t| (-2e-3..=end).contains(&t)));
        whole.push(series(&|_| true));
        also.extend([c.from_nm, c.to_nm]);
    }
    let frame = |y_name, series| Frame {
        x_name: "ms from setpoint in force",
        y_name,
        logarithmic: false,
        also: also.clone(),
        series,
    };
    Chart {
        name: "steps",
        title: "Steps over one another",
        reading: "Medians of the repeats; bands hold the middle 90 %. Above the onset, below until it has settled.",
        commanded: false,
        conditions: conditions(groups, "step", |d| d.curves.steps.as_ref().map(|c| &c.conditions)),
        frames: vec![frame("Onset, N·m", onset), frame("Whole step, N·m", whole)],
    }
}

fn frequency(groups: &[Group]) -> Chart {
    let (mut gain, mut phase, mut coherence) = (Vec::new(), Vec::new(), Vec::new());
    for (group, _, document) in all(groups) {
        let Some(c) = &document.curves.frequency else {
            continue;
        };
        let series = |y: &[f64], band| Series {
            group,
            x: c.f_hz.clone(),
            y: y.to_vec(),
            band,
        };
        gain.push(series(
            &c.gain_db,
            Some((c.gain_low_db.clone(), c.gain_high_db.clone())),
        ));
        let ends = |sign: f64| -> Vec<f64> {
            let rows = c.phase_deg.iter().zip(&c.phase_band_deg);
            rows.map(|(p, b)| p + sign * b).collect()
        };
        phase.push(series(&c.phase_deg, Some((ends(-1.0), ends(1.0)))));
        coherence.push(series(&c.coherence, None));
    }
    let frame = |y_name, also: &[f64], series| Frame {
        x_name: "frequency, Hz",
        y_name,
        logarithmic: true,
        also: also.to_vec(),
        series,
    };
    Chart {
        name: "frequency",
        title: "Frequency response, setpoint to rim torque",
        reading: "Magnitude, phase with the delay in it, and coherence; bands are 95 % intervals.",
        commanded: false,
        conditions: conditions(groups, "signal", |d| {
            d.curves.frequency.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            frame("Magnitude, dB re 1 N·m/N·m", &[], gain),
            frame("Phase, °", &[], phase),
            frame("Coherence", &[0.0, 1.0], coherence),
        ],
    }
}

fn delays(groups: &[Group]) -> Chart {
    let mut series = Vec::new();
    for (group, _, document) in all(groups) {
        let Some(c) = &document.curves.latency else {
            continue;
        };
        let mut ms: Vec<f64> = c.per_repeat_s.iter().flatten().map(|s| 1e3 * s).collect();
        ms.sort_by(f64::total_cmp);
        let n = ms.len() as f64;
        // The stair of the empirical distribution: two corners a repeat.
        let x = ms.iter().flat_map(|v| [*v, *v]).collect();
        let y = (0..ms.len())
            .flat_map(|i| [100.0 * i as f64 / n, 100.0 * (i + 1) as f64 / n])
            .collect();
        series.push(Series {
            group,
            x,
            y,
            band: None,
        });
    }
    Chart {
        name: "latency",
        title: "Latency, spread over the repeats",
        reading: "Share of the repeats whose latency is at most so long. A stair further to the right is later.",
        commanded: false,
        conditions: conditions(groups, "step", |d| {
            d.curves.latency.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![Frame {
            x_name: "latency, ms",
            y_name: "Repeats at most so late, %",
            logarithmic: false,
            also: vec![0.0, 100.0],
            series,
        }],
    }
}

fn static_map(groups: &[Group]) -> Chart {
    let (mut map, mut apart) = (Vec::new(), Vec::new());
    for (group, _, document) in all(groups) {
        let Some(c) = &document.curves.static_map else {
            continue;
        };
        for way in [&c.rising_nm, &c.falling_nm] {
            let rows: Vec<(f64, f64)> = c
                .command_nm
                .iter()
                .zip(way)
                .filter_map(|(x, y)| y.map(|y| (*x, y)))
                .collect();
            let line = |x: f64| c.gain.unwrap_or(1.0) * x + c.offset_nm.unwrap_or(0.0);
            let series = |y: Vec<f64>| Series {
                group,
                x: rows.iter().map(|r| r.0).collect(),
                y,
                band: None,
            };
            map.push(series(rows.iter().map(|r| r.1).collect()));
            apart.push(series(rows.iter().map(|(x, y)| y - line(*x)).collect()));
        }
    }
    let frame = |y_name, series| Frame {
        x_name: "command, N·m",
        y_name,
        logarithmic: false,
        also: vec![0.0],
        series,
    };
    Chart {
        name: "static-map",
        title: "Static map",
        reading: "Steady torque over command on both ways, and each less the line of its own gain.",
        commanded: false,
        conditions: conditions(groups, "staircase", |d| {
            d.curves.static_map.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            frame("Torque, N·m", map),
            frame("Torque less the line, N·m", apart),
        ],
    }
}

fn trace(groups: &[Group]) -> Chart {
    let mut series = Vec::new();
    let mut also = Vec::new();
    for (group, _, document) in all(groups) {
        let Some(c) = &document.curves.trace else { continue };
        also.extend(c.commanded_nm.iter().copied());
        series.push(Series {
            group,
            x: c.t_s.clone(),
            y: c.arrived_nm.clone(),
            band: Some((c.low_nm.clone(), c.high_nm.clone())),
        });
    }
    let commanded = all(groups).find_map(|(_, _, d)| d.curves.trace.as_ref());
    if let Some(c) = commanded {
        series.push(Series {
            group: usize::MAX,
            x: c.t_s.clone(),
            y: c.commanded_nm.clone(),
            band: None,
        });
    }
    Chart {
        name: "trace",
        title: "Steering trace, arrived",
        reading: "Mean of the repeats with one standard deviation of a repeat, each with its own delay taken out.",
        commanded: true,
        conditions: conditions(groups, "trace", |d| {
            d.curves.trace.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![Frame {
            x_name: "time, s",
            y_name: "Torque, N·m",
            logarithmic: false,
            also,
            series,
        }],
    }
}

impl Chart {
    /// Whether two groups or more have it.
    fn is_shared(&self) -> bool {
        let Some(frame) = self.frames.first() else {
            return false;
        };
        let mut groups: Vec<usize> = frame.series.iter().map(|s| s.group).collect();
        groups.retain(|g| *g != usize::MAX);
        groups.dedup();
        groups.len() > 1 && frame.series.iter().all(|s| s.x.len() > 1)
    }

    fn draw(&self, names: &[&str], format: Format) -> Result<String, PlotError> {
        let width = format.width();
        let shown = |group: &usize| {
            self.frames
                .iter()
                .any(|f| f.series.iter().any(|s| s.group == *group))
        };
        let mut entries: Vec<(Sample, String)> = (0..names.len())
            .filter(shown)
            .filter_map(|group| Some((Sample::Line(stroke(group)), (*names.get(group)?).to_owned())))
            .collect();
        if self.commanded {
            entries.push((Sample::Line(COMMAND), "commanded".into()));
        }
        let lines: Vec<String> = self
            .conditions
            .iter()
            .flat_map(|line| caption::wrap(line, width - 20.0))
            .collect();
        let tall = if format.is_wide() { 190.0 } else { 160.0 };
        let mut top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
        let panels: Vec<(&Frame, Panel)> = self
            .frames
            .iter()
            .map(|frame| {
                let panel = Panel {
                    left: 56.0,
                    top,
                    right: width - 14.0,
                    bottom: top + tall,
                    x: frame.x_axis(),
                    y: frame.y_axis(),
                };
                top += tall + 72.0;
                (frame, panel)
            })
            .collect();
        let height = top - 20.0 + caption::height(&lines);
        let mut drawn = String::new();
        let mut canvas = Canvas::new(&mut drawn, width, height);
        legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
        for (frame, panel) in &panels {
            panel.axes(&mut canvas, true)?;
            for series in &frame.series {
                if let Some((low, high)) = &series.band {
                    panel.band(&mut canvas, &series.x, (low, high), tint(series.group))?;
                }
            }
            for series in &frame.series {
                let look = if series.group == usize::MAX {
                    COMMAND
                } else {
                    stroke(series.group)
                };
                panel.curve(&mut canvas, &series.x, &series.y, look)?;
            }
            panel.names(&mut canvas, frame.x_name, frame.y_name)?;
        }
        caption::write(&mut canvas, &lines, 10.0, top - 24.0)?;
        canvas.close()?;
        let description = format!("{} {}", self.reading, lines.join(" · "));
        Ok(finish(&drawn, width, height, self.title, &description))
    }
}

impl Frame {
    fn x_axis(&self) -> Axis {
        let all = || self.series.iter().flat_map(|s| &s.x).copied();
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
        let bands = self.series.iter().filter_map(|s| s.band.as_ref());
        let bands = bands.flat_map(|(low, high)| low.iter().chain(high));
        let all = self
            .series
            .iter()
            .flat_map(|s| &s.y)
            .chain(bands)
            .chain(&self.also);
        Axis::around(all.copied(), 0.06, 34.0)
    }
}
