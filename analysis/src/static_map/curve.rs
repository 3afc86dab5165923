//! Levels of a staircase, cycle by cycle.

use std::collections::BTreeMap;

use super::Reading;
use crate::estimate::Refusal;
use crate::statistics::mean_sd;

/// One command.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Command, N·m.
    pub command_nm: f64,
    /// Torque of each cycle on the way up, N·m; empty at the end that is only reached downward.
    pub rising_nm: Vec<f64>,
    /// The same on the way down.
    pub falling_nm: Vec<f64>,
}

impl Level {
    /// Torque of each cycle, the mean of both ways where there are two, N·m.
    pub fn torque_nm(&self) -> Vec<f64> {
        match (self.rising_nm.is_empty(), self.falling_nm.is_empty()) {
            (true, _) => self.falling_nm.clone(),
            (_, true) => self.rising_nm.clone(),
            _ => {
                let both = self.rising_nm.iter().zip(&self.falling_nm);
                both.map(|(a, b)| 0.5 * (a + b)).collect()
            }
        }
    }

    /// Way down less way up of each cycle, N·m; empty where there is but one.
    pub fn difference_nm(&self) -> Vec<f64> {
        let both = self.falling_nm.iter().zip(&self.rising_nm);
        both.map(|(a, b)| a - b).collect()
    }

    pub(super) fn mean_nm(&self) -> f64 {
        mean(&self.torque_nm())
    }
}

/// The map, lowest command first.
#[derive(Debug, Clone, PartialEq)]
pub struct MapCurve {
    /// The levels.
    pub levels: Vec<Level>,
    /// Cycles.
    pub cycles: usize,
}

impl MapCurve {
    /// From the lowest command to the highest, N·m.
    pub fn span_nm(&self) -> f64 {
        let at = |level: Option<&Level>| level.map_or(0.0, |l| l.command_nm);
        at(self.levels.last()) - at(self.levels.first())
    }

    /// Largest command either way, N·m.
    pub fn largest_nm(&self) -> f64 {
        self.levels.iter().map(|l| l.command_nm.abs()).fold(0.0, f64::max)
    }

    /// Standard deviation from cycle to cycle at one level reached one way, pooled, and its degrees of freedom.
    pub(super) fn scatter_nm(&self) -> Result<(f64, f64), Refusal> {
        let (mut square, mut dof) = (0.0, 0.0);
        for way in self.levels.iter().flat_map(|l| [&l.rising_nm, &l.falling_nm]) {
            if way.len() > 1 {
                let free = way.len() as f64 - 1.0;
                square += free * mean_sd(way)?.sd.powi(2);
                dof += free;
            }
        }
        Ok(((square / dof.max(1.0)).sqrt(), dof.max(1.0)))
    }
}

pub(super) fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / (x.len() as f64).max(1.0)
}

/// Commands nearer than this are the same level, N·m.
const SAME_NM: f64 = 1e-6;

/// Sorts readings into levels. Every cycle must have every level in the same ways.
pub(super) fn of(readings: &[Reading], min_cycles: usize) -> Result<MapCurve, Refusal> {
    let mut cycles: Vec<usize> = readings.iter().map(|r| r.cycle).collect();
    cycles.sort_unstable();
    cycles.dedup();
    let too_few = |got: usize, needed: usize| Refusal::TooFewRepeats {
        what: "static map from cycles of a staircase".into(),
        got,
        needed,
    };
    if cycles.len() < min_cycles.max(2) {
        return Err(too_few(cycles.len(), min_cycles.max(2)));
    }
    let key = |command_nm: f64| (command_nm / SAME_NM).round() as i64;
    let mut sorted: BTreeMap<i64, Level> = BTreeMap::new();
    for cycle in &cycles {
        // A level that is passed twice the same way (zero, at both ends of a cycle) counts by its mean.
        let mut own: BTreeMap<(i64, bool), (f64, Vec<f64>)> = BTreeMap::new();
        for reading in readings.iter().filter(|r| r.cycle == *cycle) {
            let place = own.entry((key(reading.command_nm), reading.rising));
            place
                .or_insert((reading.command_nm, Vec::new()))
                .1
                .push(reading.torque_nm);
        }
        for ((level, rising), (command_nm, torques)) in own {
            let level = sorted.entry(level).or_insert(Level {
                command_nm,
                rising_nm: Vec::new(),
                falling_nm: Vec::new(),
            });
            let way = if rising {
                &mut level.rising_nm
            } else {
                &mut level.falling_nm
            };
            way.push(mean(&torques));
        }
    }
    for way in sorted.values().flat_map(|l| [&l.rising_nm, &l.falling_nm]) {
        if !way.is_empty() && way.len() != cycles.len() {
            return Err(too_few(way.len(), cycles.len()));
        }
    }
    Ok(MapCurve {
        levels: sorted.into_values().collect(),
        cycles: cycles.len(),
    })
}
