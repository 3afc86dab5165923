//! Half-sine pulses, alone and in trains: what share of the amplitude arrives, how late, how wide, and what is left behind.
//!
//! Everything is read off the torque less its mean before the pulse, in the direction of the pulse. Terms of pulses are those of
//! IEEE Std 181 (duration between the instants at half of the amplitude); the shape is that of IEC 60068-2-27, both from memory
//! of their definitions. The half of a half-sine of width `w` lasts `2w/3` about `w/2`.

mod crest;
mod single;
mod train;

pub use single::{Shock, shock};
pub use train::{Train, TrainRecord, trains};

use crate::estimate::{Contribution, Estimate, Refusal};
use crate::statistics::{all_finite, mean_sd};

/// Longest time by which a pulse is looked for late, s.
pub const LATEST_S: f64 = 0.06;
/// Least crest that arrives, in standard deviations of the torque before the pulse.
const STANDS_OUT: f64 = 8.0;
/// Least time before a pulse that its level is taken from, s.
const BEFORE_S: f64 = 0.005;

/// One pulse or one train, from a rest before it on.
#[derive(Debug, Clone, PartialEq)]
pub struct PulseRecord {
    /// Instant of the first sample from the first setpoint coming into force, s; below zero.
    pub first_s: f64,
    /// Torque, N·m.
    pub torque_nm: Vec<f64>,
}

/// What all pulses of a group share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PulseTerms {
    /// Sample rate, samples/s.
    pub fs_hz: f64,
    /// Crest counted from the preload, N·m, with its sign.
    pub amplitude_nm: f64,
    /// Width, s.
    pub width_s: f64,
    /// How long each setpoint is held, s: on average a held signal is half of it late.
    pub held_s: f64,
    /// Delay of the torque sensor and its standard uncertainty, s.
    pub sensor_delay_s: [f64; 2],
    /// Standard uncertainty of the sensor's gain, relative.
    pub gain_rel_u: f64,
}

/// A record about its level, in the direction of the pulse.
struct Levelled {
    first_s: f64,
    fs_hz: f64,
    /// Torque less the level, N·m.
    y: Vec<f64>,
    /// Standard deviation before the pulse, N·m.
    noise_nm: f64,
}

impl Levelled {
    fn of(record: &PulseRecord, terms: &PulseTerms) -> Result<Self, Refusal> {
        all_finite("the torque of a pulse", record.torque_nm.iter())?;
        let before = ((-record.first_s * terms.fs_hz).ceil().max(0.0) as usize).min(record.torque_nm.len());
        let needed = (BEFORE_S * terms.fs_hz).ceil() as usize;
        if before < needed {
            return Err(Refusal::TooShort {
                what: "the level before a pulse".into(),
                got_s: before as f64 / terms.fs_hz,
                needed_s: BEFORE_S,
            });
        }
        let level = mean_sd(&record.torque_nm[..before])?;
        let sign = terms.amplitude_nm.signum();
        Ok(Self {
            first_s: record.first_s,
            fs_hz: terms.fs_hz,
            y: record.torque_nm.iter().map(|t| sign * (t - level.mean)).collect(),
            noise_nm: level.sd,
        })
    }

    /// Instant of a place between samples, s.
    fn time(&self, place: f64) -> f64 {
        self.first_s + place / self.fs_hz
    }

    /// First sample at or behind an instant.
    fn index(&self, t_s: f64) -> usize {
        (((t_s - self.first_s) * self.fs_hz).ceil().max(0.0) as usize).min(self.y.len())
    }

    /// Instant of the last sample, s.
    fn last_s(&self) -> f64 {
        self.time(self.y.len() as f64 - 1.0)
    }
}

/// Refuses what no method here can use.
fn check(terms: &PulseTerms, repeats: usize) -> Result<(), Refusal> {
    let positive = [
        ("the sample rate", terms.fs_hz, "1/s"),
        ("the width of a pulse", terms.width_s, "s"),
        ("the amplitude of a pulse", terms.amplitude_nm.abs(), "N·m"),
    ];
    for (what, value, unit) in positive {
        if !(value.is_finite() && value > 0.0) {
            return Err(Refusal::out_of_range(
                what,
                value,
                f64::MIN_POSITIVE,
                f64::INFINITY,
                unit,
            ));
        }
    }
    if repeats < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "a half-sine pulse".into(),
            got: repeats,
            needed: 2,
        });
    }
    Ok(())
}

/// A mean over pulses with its scatter and what else makes it uncertain.
fn over_pulses(
    values: &[f64],
    (unit, method): (&str, &str),
    others: impl IntoIterator<Item = Contribution>,
) -> Result<Estimate, Refusal> {
    let stats = mean_sd(values)?;
    let scatter = Contribution::of_mean("scatter of pulses", &stats);
    let budget = std::iter::once(scatter).chain(others).collect();
    Estimate::from_budget(stats.mean, unit, stats.n, method, budget)
}
