//! Steps, response by frequency, latency, the static map and steering traces of all groups.

use super::{COMMANDED, Chart, Frame, Series, all, conditions};
use crate::compare::Group;

pub(super) fn steps(groups: &[Group]) -> Chart {
    let mut onset = Vec::new();
    let mut whole = Vec::new();
    let mut also = Vec::new();
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.steps else { continue };
        let series = |keep: &dyn Fn(f64) -> bool| {
            let rows: Vec<usize> = (0..c.t_s.len()).filter(|i| keep(c.t_s[*i])).collect();
            let pick = |v: &[f64], k: f64| -> Vec<f64> {
                rows.iter().filter_map(|i| v.get(*i).map(|x| k * x)).collect()
            };
            Series::new(group, pick(&c.t_s, 1e3), pick(&c.median_nm, 1.0))
                .with_band(pick(&c.p05_nm, 1.0), pick(&c.p95_nm, 1.0))
        };
        let end = (2.0 * c.t90_s).max(6e-3);
        onset.push(series(&|t| (-2e-3..=end).contains(&t)));
        whole.push(series(&|_| true));
        also.extend([c.from_nm, c.to_nm]);
    }
    let frame = |name, series| Frame::new("ms from setpoint in force", name, series).holding(also.clone());
    Chart {
        name: "steps",
        title: "Steps over one another",
        reading: "Medians of the repeats; bands hold the middle 90 %. Above the onset, below until it has settled.",
        conditions: conditions(groups, "step", |d| d.curves.steps.as_ref().map(|c| &c.conditions)),
        frames: vec![frame("Onset, N·m", onset), frame("Whole step, N·m", whole)],
    }
}

pub(super) fn frequency(groups: &[Group]) -> Chart {
    let (mut gain, mut phase) = (Vec::new(), Vec::new());
    let (mut delay, mut coherence) = (Vec::new(), Vec::new());
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.frequency else {
            continue;
        };
        let series = |y: &[f64]| Series::new(group, c.f_hz.clone(), y.to_vec());
        let ends = |y: &[f64], band: &[f64], k: f64, sign: f64| -> Vec<f64> {
            y.iter().zip(band).map(|(y, b)| k * (y + sign * b)).collect()
        };
        gain.push(series(&c.gain_db).with_band(c.gain_low_db.clone(), c.gain_high_db.clone()));
        let (y, b) = (&c.phase_deg, &c.phase_band_deg);
        phase.push(series(y).with_band(ends(y, b, 1.0, -1.0), ends(y, b, 1.0, 1.0)));
        let (y, b) = (&c.group_delay.delay_s, &c.group_delay.band_s);
        let ms = y.iter().map(|s| 1e3 * s).collect();
        let of_delay = Series::new(group, c.group_delay.f_hz.clone(), ms);
        delay.push(of_delay.with_band(ends(y, b, 1e3, -1.0), ends(y, b, 1e3, 1.0)));
        coherence.push(series(&c.coherence));
    }
    // One axis for all panels, also where a delay is not known over all of it.
    let hz: Vec<f64> = gain.iter().flat_map(|s: &Series| s.x.clone()).collect();
    let frame = |name, series| {
        Frame::new("frequency, Hz", name, series)
            .logarithmic()
            .across(hz.clone())
    };
    Chart {
        name: "frequency",
        title: "Frequency response, setpoint to rim torque",
        reading: "Magnitude, phase with the delay in it, group delay, and coherence; bands are 95 % intervals.",
        conditions: conditions(groups, "signal", |d| {
            d.curves.frequency.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            frame("Magnitude, dB re 1 N·m/N·m", gain),
            frame("Phase, °", phase),
            frame("Group delay, ms", delay),
            frame("Coherence", coherence).holding(vec![0.0, 1.0]),
        ],
    }
}

pub(super) fn delays(groups: &[Group]) -> Chart {
    let mut series = Vec::new();
    for (group, document) in all(groups) {
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
        series.push(Series::new(group, x, y));
    }
    let frame = Frame::new("latency, ms", "Repeats at most so late, %", series);
    Chart {
        name: "latency",
        title: "Latency, spread over the repeats",
        reading: "Share of the repeats whose latency is at most so long. A stair further to the right is later.",
        conditions: conditions(groups, "step", |d| {
            d.curves.latency.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![frame.holding(vec![0.0, 100.0])],
    }
}

pub(super) fn static_map(groups: &[Group]) -> Chart {
    let (mut map, mut apart) = (Vec::new(), Vec::new());
    for (group, document) in all(groups) {
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
            let series = |y: Vec<f64>| Series::new(group, rows.iter().map(|r| r.0).collect(), y);
            map.push(series(rows.iter().map(|r| r.1).collect()));
            apart.push(series(rows.iter().map(|(x, y)| y - line(*x)).collect()));
        }
    }
    let frame = |name, series| Frame::new("command, N·m", name, series).holding(vec![0.0]);
    Chart {
        name: "static-map",
        title: "Static map",
        reading: "Steady torque over command on both ways, and each less the line of its own gain.",
        conditions: conditions(groups, "staircase", |d| {
            d.curves.static_map.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            frame("Torque, N·m", map),
            frame("Torque less the line, N·m", apart),
        ],
    }
}

pub(super) fn trace(groups: &[Group]) -> Chart {
    let (mut whole, mut limit, mut bands) = (Vec::new(), Vec::new(), Vec::new());
    // What was commanded is drawn once; whether it was the same stands among the warnings.
    let mut commanded = false;
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.trace else { continue };
        let window = c.limit_s.map(|[crest, floor, around]| {
            let more = 0.5 * (floor - crest) + around;
            crest - more..=floor + more
        });
        let everything = f64::NEG_INFINITY..=f64::INFINITY;
        for (frame, keep) in [(&mut whole, Some(everything)), (&mut limit, window)] {
            let Some(keep) = keep else { continue };
            let inside = |i: &usize| keep.contains(&c.t_s[*i]);
            let rows: Vec<usize> = (0..c.t_s.len()).filter(inside).collect();
            let pick = |v: &[f64]| -> Vec<f64> { rows.iter().filter_map(|i| v.get(*i).copied()).collect() };
            let arrived = Series::new(group, pick(&c.t_s), pick(&c.arrived_nm));
            frame.push(arrived.with_band(pick(&c.low_nm), pick(&c.high_nm)));
            if !commanded {
                frame.push(Series::new(COMMANDED, pick(&c.t_s), pick(&c.commanded_nm)));
            }
        }
        commanded = true;
        let octaves = c
            .bands_hz
            .iter()
            .map(|[low, high]| (low.max(0.25 * high) * high).sqrt());
        let of = |k: usize| -> Vec<f64> { c.gain.iter().map(|g| 100.0 * g[k]).collect() };
        bands.push(Series::new(group, octaves.collect(), of(1)).with_band(of(0), of(2)));
    }
    Chart {
        name: "trace",
        title: "Steering trace, arrived",
        reading: "Mean of the repeats with one standard deviation of a repeat, each with its own delay taken out; the drop at the grip \
                  limit; and the gain by octave with its 95 % interval.",
        conditions: conditions(groups, "trace", |d| {
            d.curves.trace.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            Frame::new("time, s", "Whole trace, N·m", whole),
            Frame::new("time, s", "At the grip limit, N·m", limit),
            Frame::new("middle of the octave, Hz", "Gain, %", bands)
                .logarithmic()
                .holding(vec![0.0]),
        ],
    }
}
