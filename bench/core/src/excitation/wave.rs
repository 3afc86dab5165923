//! Periodic excitations as a table of one period.

use alloc::{sync::Arc, vec::Vec};
use core::f64::consts::PI;

use crate::units::s_from_us;

/// One period of a signal about its preload: values that are held for equal times.
#[derive(Clone, Debug, PartialEq)]
pub struct Wave {
    step_us: u64,
    values_nm: Arc<[f64]>,
}

impl Wave {
    /// Values about the preload, N·m, each held for `step_us`.
    pub(crate) fn new(step_us: u64, values_nm: Vec<f64>) -> Self {
        Self {
            step_us: step_us.max(1),
            values_nm: values_nm.into(),
        }
    }

    /// How long each value is held, µs.
    pub fn step_us(&self) -> u64 {
        self.step_us
    }

    /// The values of one period about the preload, N·m.
    pub fn values_nm(&self) -> &[f64] {
        &self.values_nm
    }

    /// Length of the period, µs.
    pub fn period_us(&self) -> u64 {
        self.step_us * self.values_nm.len() as u64
    }

    /// The value at any time since the start of a period, N·m; it goes on for ever.
    pub fn at(&self, t_us: u64) -> f64 {
        let period_us = self.period_us().max(1);
        let index = (t_us % period_us) / self.step_us;
        self.values_nm.get(index as usize).copied().unwrap_or(0.0)
    }

    /// Greatest value either way, N·m.
    pub fn peak_nm(&self) -> f64 {
        super::crest::peak(&self.values_nm)
    }

    /// Greatest change from one value to the next, the first after the last included, N·m.
    pub fn greatest_change_nm(&self) -> f64 {
        let next = self.values_nm.iter().cycle().skip(1);
        let changes = self.values_nm.iter().zip(next).map(|(a, b)| (b - a).abs());
        changes.fold(0.0, f64::max)
    }

    /// Greatest push either way over any stretch of `periods` periods, N·m·s; a bound.
    pub fn greatest_push_nm_s(&self, periods: u32) -> f64 {
        let (mut sum, mut low, mut high) = (0.0_f64, 0.0_f64, 0.0_f64);
        for value in self.values_nm.iter() {
            sum += value;
            (low, high) = (low.min(sum), high.max(sum));
        }
        (high - low + sum.abs() * f64::from(periods)) * s_from_us(self.step_us)
    }
}

/// What of a wave a piece plays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WavePart {
    /// The end of a period, rising from nothing as half a cosine.
    Rise,
    /// Periods as they are.
    Whole,
    /// The beginning of a period, falling to nothing as half a cosine.
    Fall,
}

/// The torque of a wave on its preload as a function of the time since the start of its piece.
#[derive(Clone, Debug, PartialEq)]
pub struct WaveTorque {
    /// The wave.
    pub wave: Wave,
    /// Torque on which it rides, N·m.
    pub preload_nm: f64,
    /// What of it is played.
    pub part: WavePart,
}

impl WaveTorque {
    /// The torque `into_us` after the start of a piece of the given length, N·m.
    pub fn at(&self, into_us: u64, length_us: u64) -> f64 {
        let through = || PI * into_us.min(length_us) as f64 / length_us.max(1) as f64;
        let (t_us, weight) = match self.part {
            WavePart::Whole => (into_us, 1.0),
            WavePart::Rise => {
                // The piece ends where a period begins.
                let period_us = self.wave.period_us().max(1);
                let from_us = (period_us - length_us % period_us) % period_us;
                (from_us + into_us, (1.0 - libm::cos(through())) / 2.0)
            }
            WavePart::Fall => (into_us, (1.0 + libm::cos(through())) / 2.0),
        };
        self.preload_nm + weight * self.wave.at(t_us)
    }

    /// Greatest torque either way, N·m; a bound.
    pub fn peak_nm(&self) -> f64 {
        self.preload_nm.abs() + self.wave.peak_nm()
    }
}
