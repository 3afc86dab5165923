//! Repeats of steps made from the independent rise curves, with waits, noise and sampling of their own.

use super::{Columns, Random, interpolate};
use ndarray::ArrayView1;
use truerim_analysis::latency::{LatencyFit, LatencyGroups, LatencyOptions, fit_latency, fit_latency_groups};
use truerim_analysis::step::StepRecord;

pub const SAMPLE_S: f64 = 250e-6;
pub const GRID_S: f64 = 50e-6;
pub const DEAD_S: f64 = 3.5e-3;
pub const PERIOD_S: f64 = 1e-3;
pub const NOISE_NM: f64 = 2e-3;

/// Delay of the second-order Butterworth amplifier at 1000 Hz.
pub const SENSOR_DELAY_S: f64 = std::f64::consts::SQRT_2 / (std::f64::consts::TAU * 1000.0);

pub struct Repeats {
    pub t: Vec<Vec<f64>>,
    pub y: Vec<Vec<f64>>,
    pub waits: Vec<f64>,
    pub amplitude: f64,
}

impl Repeats {
    pub fn new(shape: &[f64], amplitude: f64, n: usize, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let (mut t, mut y, mut waits) = (vec![], vec![], vec![]);
        for _ in 0..n {
            let phase = random.uniform() * SAMPLE_S;
            let wait = random.uniform() * PERIOD_S;
            let base = 0.05 * random.normal();
            let times: Vec<f64> = (-40..240).map(|i| f64::from(i) * SAMPLE_S + phase).collect();
            let rise = |t: f64| interpolate(GRID_S, shape, t - DEAD_S - wait);
            y.push(
                times
                    .iter()
                    .map(|t| base + rise(*t) + NOISE_NM * random.normal())
                    .collect(),
            );
            t.push(times);
            waits.push(wait);
        }
        Self {
            t,
            y,
            waits,
            amplitude,
        }
    }

    pub fn records(&self, sign: f64) -> Vec<StepRecord<'_>> {
        let record = |(t, y)| StepRecord {
            t_s: ArrayView1::from(t),
            torque_nm: ArrayView1::from(y),
            from_nm: 0.0,
            to_nm: sign * self.amplitude,
        };
        self.t.iter().zip(&self.y).map(record).collect()
    }

    pub fn fit(&self, options: &LatencyOptions) -> LatencyFit {
        fit_latency(&self.records(1.0), options)
    }
}

pub fn options() -> LatencyOptions {
    LatencyOptions {
        sensor_delay_s: SENSOR_DELAY_S,
        sensor_delay_u_s: 5e-6,
        update_period_s: Some(PERIOD_S),
        // The independent rises are those of one spring between rotor and hub.
        drive_stages: Some(1),
        ..LatencyOptions::default()
    }
}

pub fn truth(repeats: &Repeats) -> f64 {
    DEAD_S + repeats.waits.iter().sum::<f64>() / repeats.waits.len() as f64
}

pub fn amplitude(name: &str) -> f64 {
    name.split('_').nth(1).unwrap().parse().unwrap()
}

/// Groups of different size and friction in one fit: from rest, against friction, from a preload, up and down.
pub struct Mixed(pub Vec<(Repeats, f64)>);

impl Mixed {
    pub fn new(n: usize, seed: u64) -> Self {
        let rises = Columns::read("rise/rise.csv");
        let names = [
            ("friction_0.7", 1.0),
            ("turned_0.7", -1.0),
            ("turned_1.75", 1.0),
            ("friction_3.5", -1.0),
            ("preload_1.75", 1.0),
            ("preload_3.5", 1.0),
        ];
        let group = |(i, (name, sign)): (usize, &(&str, f64))| {
            let seed = 1000 * seed + i as u64;
            let mut repeats = Repeats::new(rises.column(name), amplitude(name), n, seed);
            repeats.y.iter_mut().flatten().for_each(|v| *v *= sign);
            (repeats, *sign)
        };
        Self(names.iter().enumerate().map(group).collect())
    }

    pub fn fit(&self, options: &LatencyOptions) -> LatencyGroups {
        let records: Vec<Vec<StepRecord<'_>>> = self.0.iter().map(|(r, sign)| r.records(*sign)).collect();
        let groups: Vec<&[StepRecord<'_>]> = records.iter().map(Vec::as_slice).collect();
        fit_latency_groups(&groups, options)
    }

    pub fn truth(&self) -> f64 {
        self.0.iter().map(|(r, _)| truth(r)).sum::<f64>() / self.0.len() as f64
    }
}
