//! Short pulses, small changes and warming of all groups.

use super::{Chart, Frame, Series, all, conditions};
use crate::compare::Group;
use crate::fitting::plain;

/// Most preloads, crests or levels that get a panel of their own.
const MOST: usize = 3;
/// Torques nearer than this are one, N·m.
const SAME_NM: f64 = 1e-3;

/// Values in the order in which they are met, each once.
fn distinct<const N: usize>(values: impl Iterator<Item = [f64; N]>) -> Vec<[f64; N]> {
    let mut found: Vec<[f64; N]> = Vec::new();
    for value in values {
        if !found.iter().any(|other| same(other, &value)) {
            found.push(value);
        }
    }
    found
}

fn same<const N: usize>(a: &[f64; N], b: &[f64; N]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < SAME_NM)
}

pub(super) fn shock(groups: &[Group]) -> Chart {
    let all_lines = || {
        let curves = all(groups).filter_map(|(group, d)| Some((group, d.curves.shock.as_ref()?)));
        curves.flat_map(|(group, c)| c.lines.iter().map(move |line| (group, line)))
    };
    let kinds = distinct(all_lines().map(|(_, line)| [line.amplitude_nm, line.preload_nm]));
    let mut frames: Vec<Frame> = kinds
        .iter()
        .take(MOST)
        .map(|kind| {
            let own = all_lines().filter(|(_, line)| same(kind, &[line.amplitude_nm, line.preload_nm]));
            let series = own.map(|(group, line)| {
                let x = line.width_s.iter().map(|s| 1e3 * s).collect();
                let of = |k: usize| -> Vec<f64> { line.retention.iter().map(|r| 100.0 * r[k]).collect() };
                Series::new(group, x, of(1)).with_band(of(0), of(2))
            });
            let name = format!(
                "Crest of {} N·m on {} N·m that arrives, %",
                plain(kind[0], 3),
                plain(kind[1], 3)
            );
            Frame::new("width of the pulse, ms", name, series.collect())
                .logarithmic()
                .holding(vec![0.0, 100.0])
        })
        .collect();
    let trains = all(groups).filter_map(|(group, d)| Some((group, d.curves.shock.as_ref()?.train.as_ref()?)));
    let series = trains.map(|(group, train)| {
        let ms = train.t_s.iter().map(|s| 1e3 * s).collect();
        Series::new(group, ms, train.arrived_nm.clone())
    });
    frames.push(Frame::new(
        "time, ms",
        "Train arrived, N·m from the preload",
        series.collect(),
    ));
    Chart {
        name: "shock",
        title: "Short pulses",
        reading: "Share of the crest of half-sine pulses that arrives, by their width, with its 95 % interval; and a train of pulses \
                  as it arrived.",
        conditions: conditions(groups, "pulse", |d| {
            d.curves.shock.as_ref().map(|c| &c.conditions)
        }),
        frames,
    }
}

pub(super) fn resolution(groups: &[Group]) -> Chart {
    let curves = || all(groups).filter_map(|(group, d)| Some((group, d.curves.resolution.as_ref()?)));
    let all_steps = || curves().flat_map(|(group, c)| c.preloads.iter().map(move |p| (group, p)));
    let preloads = distinct(all_steps().map(|(_, p)| [p.preload_nm]));
    let mut frames: Vec<Frame> = preloads
        .iter()
        .take(MOST)
        .map(|preload| {
            let own = all_steps().filter(|(_, p)| same(preload, &[p.preload_nm]));
            let series = own.flat_map(|(group, p)| {
                [1.0, -1.0].map(|sign| {
                    let rows = p
                        .size_nm
                        .iter()
                        .zip(&p.change_nm)
                        .filter(|(s, _)| sign * **s > 0.0);
                    let mut rows: Vec<(f64, f64)> =
                        rows.map(|(s, c)| (1e3 * sign * s, 100.0 * c / s)).collect();
                    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
                    let (x, y) = rows.into_iter().unzip();
                    Series::new(group, x, y)
                })
            });
            let name = format!("Share of a step that arrives on {} N·m, %", plain(preload[0], 3));
            Frame::new("change of command, mN·m", name, series.collect())
                .logarithmic()
                .holding(vec![0.0, 100.0])
        })
        .collect();
    let all_grain = || curves().flat_map(|(group, c)| c.grain.iter().map(move |g| (group, g)));
    let levels = distinct(all_grain().map(|(_, g)| [g.level_nm]));
    frames.extend(levels.iter().rev().take(MOST).map(|level| {
        let own = all_grain().filter(|(_, g)| same(level, &[g.level_nm]));
        let series = own.map(|(group, g)| {
            let density = g.density.iter().map(|d| 1e6 * d).collect();
            Series::new(group, g.f_hz.clone(), density)
        });
        let name = format!("Torque held at {} N·m, µN·m/√Hz", plain(level[0], 3));
        Frame {
            y_logarithmic: true,
            ..Frame::new("frequency, Hz", name, series.collect()).logarithmic()
        }
    }));
    Chart {
        name: "resolution",
        title: "Small changes",
        reading: "Share of small steps that arrives, away from zero and towards it, a panel a preload; and the spectrum of torque while \
                  it is held, a panel a level.",
        conditions: conditions(groups, "small step", |d| {
            d.curves.resolution.as_ref().map(|c| &c.conditions)
        }),
        frames,
    }
}

pub(super) fn heat(groups: &[Group]) -> Chart {
    let (mut warm, mut torque) = (Vec::new(), Vec::new());
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.heat else { continue };
        let minutes: Vec<f64> = c.t_s.iter().map(|t| t / 60.0).collect();
        warm.push(Series::new(group, minutes.clone(), c.temperature_degc.clone()));
        torque.push(Series::new(group, minutes, c.torque_nm.clone()));
    }
    Chart {
        name: "heat",
        title: "Warming",
        reading: "Temperature and torque over the time of each run.",
        conditions: conditions(groups, "hold", |d| d.curves.heat.as_ref().map(|c| &c.conditions)),
        frames: vec![
            Frame::new("time, min", "Temperature, °C", warm),
            Frame::new("time, min", "Torque, N·m", torque),
        ],
    }
}
