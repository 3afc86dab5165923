//! From step records to samples around the rise, and a first guess of the shape.

use super::{LatencyOptions, ShapeModel};
use crate::estimate::Refusal;
use crate::statistics::{mean_sd, median, median_absolute_deviation};
use crate::step::{StepRecord, check_record, noise_sd};

/// One repeat, turned so that it rises, with the base before the setpoint taken off.
#[derive(Debug, Clone)]
pub(crate) struct Repeat {
    /// Place among the records given.
    pub(crate) index: usize,
    /// Its size among the sizes of all repeats.
    pub(crate) class: usize,
    /// Commanded change without its sign, N·m.
    pub(crate) change_nm: f64,
    /// Whether torque acted before in the direction in which it goes on acting: a gap in the drive is then closed.
    pub(crate) loaded: bool,
    pub(crate) t_s: Vec<f64>,
    pub(crate) y_nm: Vec<f64>,
    /// Instant of the record's last sample, s; the samples kept may end before.
    pub(crate) end_s: f64,
    pub(crate) noise_nm: f64,
    /// First passages of 10, 50 and 90 % of the settled change.
    pub(crate) t10_s: f64,
    pub(crate) t50_s: f64,
    pub(crate) t90_s: f64,
    /// First maximum after 50 %, and its size.
    pub(crate) peak_s: f64,
    pub(crate) peak_nm: f64,
    pub(crate) settled_nm: f64,
}

/// Checks one record and finds the marks that place it.
pub(crate) fn repeat(
    index: usize,
    record: &StepRecord<'_>,
    options: &LatencyOptions,
) -> Result<Repeat, Refusal> {
    let sample_s = check_record(record)?;
    let commanded = record.to_nm - record.from_nm;
    let sign = if commanded < 0.0 { -1.0 } else { 1.0 };
    if let Some(limit_nm) = options.saturation_nm {
        let value_nm = record.torque_nm.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
        if value_nm >= limit_nm {
            return Err(Refusal::Saturated {
                what: "the torque".into(),
                value_nm,
                limit_nm,
            });
        }
    }
    let t_s = record.t_s.to_vec();
    let mut y_nm: Vec<f64> = record.torque_nm.iter().map(|v| sign * v).collect();
    // No torque can answer a setpoint before it is in force, so those samples are the base.
    let before = t_s.iter().take_while(|t| **t <= 0.0).count();
    if before < 3 {
        return Err(Refusal::TooFewSamples {
            what: "the base before the setpoint".into(),
            got: before,
            needed: 3,
        });
    }
    let base = median(&y_nm[..before])?;
    y_nm.iter_mut().for_each(|v| *v -= base);
    // A filter makes noise smooth, so differences understate it; a quiet base shows it whole.
    let noise_nm = if before >= 10 {
        mean_sd(&y_nm[..before])?.sd
    } else {
        noise_sd(&y_nm)?
    };
    let end = (y_nm.len() / 10).max(3);
    let settled_nm = mean_sd(&y_nm[y_nm.len() - end..])?.mean;
    let amplitude_nm = commanded.abs().min(settled_nm.abs());
    let needed = options.min_amplitude_to_noise;
    if amplitude_nm <= needed * noise_nm || amplitude_nm < 1e-12 {
        return Err(Refusal::too_small(amplitude_nm, noise_nm, needed));
    }
    if settled_nm < 0.0 {
        let (what, measured) = ("change of torque in N·m".into(), sign * settled_nm);
        return Err(Refusal::WrongSign {
            what,
            commanded,
            measured,
        });
    }
    let window_s = t_s[t_s.len() - 1];
    let passage = |level: f64| -> Result<(f64, usize), Refusal> {
        match (before..y_nm.len()).find(|i| y_nm[*i] >= level) {
            Some(i) => {
                let s = (level - y_nm[i - 1]) / (y_nm[i] - y_nm[i - 1]);
                Ok((t_s[i - 1] + s * sample_s, i))
            }
            None => Err(Refusal::DelayBeyondWindow {
                delay_s: window_s,
                window_s,
            }),
        }
    };
    let (t10_s, _) = passage(0.1 * settled_nm)?;
    let (t50_s, _) = passage(0.5 * settled_nm)?;
    let (t90_s, i90) = passage(0.9 * settled_nm)?;
    if t90_s + (t90_s - t10_s) > window_s {
        return Err(Refusal::DelayBeyondWindow {
            delay_s: t10_s,
            window_s,
        });
    }
    // The first maximum: the highest sample before the torque has fallen back by a tenth of the change.
    let mut peak = i90;
    for i in i90..y_nm.len() {
        if y_nm[i] > y_nm[peak] {
            peak = i;
        }
        if y_nm[peak] - y_nm[i] > 0.1 * settled_nm {
            break;
        }
    }
    let (peak_s, peak_nm) = (t_s[peak], y_nm[peak]);
    Ok(Repeat {
        index,
        class: 0,
        loaded: record.from_nm * record.to_nm > 0.0,
        change_nm: commanded.abs(),
        t_s,
        y_nm,
        end_s: window_s,
        noise_nm,
        t10_s,
        t50_s,
        t90_s,
        peak_s,
        peak_nm,
        settled_nm,
    })
}

impl Repeat {
    /// Drops what no fit looks at: the windows of [`Class`] end well before, as they are medians of the same marks.
    pub(crate) fn shorten(&mut self) {
        let wide_s = self.t90_s - self.t10_s;
        let to_peak_s = self.peak_s - self.t50_s;
        let until_s = self.t50_s + KEPT * to_peak_s.max(wide_s) + KEPT_BEYOND_S;
        let end = self.t_s.partition_point(|t| *t <= until_s);
        self.t_s.truncate(end);
        self.y_nm.truncate(end);
        self.t_s.shrink_to_fit();
        self.y_nm.shrink_to_fit();
    }
}

/// Times the way from half-way to peak, or the transition, that is kept behind half-way; and what comes on top, s, for
/// repeats that rise in two parts. The windows want 2.5 of it at most.
const KEPT: f64 = 5.0;
const KEPT_BEYOND_S: f64 = 0.02;

/// Repeats of one size, with marks of their rise.
#[derive(Debug, Clone)]
pub(crate) struct Class {
    /// Commanded change without its sign, N·m.
    pub(crate) change_nm: f64,
    /// Median of the 50 % passages less onset, as guessed, s.
    pub(crate) rise_s: f64,
    /// How long after onset the fit should look, s.
    pub(crate) window_s: f64,
    /// How long after onset a record must go on to show the first maximum, s.
    pub(crate) needed_s: f64,
}

/// First guess of the shape, and of where to look.
#[derive(Debug, Clone)]
pub(crate) struct Guess {
    pub(crate) model: ShapeModel,
    pub(crate) classes: Vec<Class>,
}

/// Share of the way from half-way passage to first maximum that the fit looks at. Beyond, the rotor comes to rest and
/// turns back, and friction with it.
const TO_PEAK: f64 = 0.8;

/// Guesses from medians of the marks. `members` lists the repeats of each class.
pub(crate) fn guess(
    repeats: &[Repeat],
    changes_nm: &[f64],
    members: &[Vec<usize>],
    options: &LatencyOptions,
) -> Result<Guess, Refusal> {
    let of = |class: usize, pick: fn(&Repeat) -> f64| {
        median(
            &members[class]
                .iter()
                .map(|i| pick(&repeats[*i]))
                .collect::<Vec<_>>(),
        )
    };
    // The largest step shows the ringing best, the smallest is slowed down least by a slew limit.
    let by_size = |a: &usize, b: &usize| changes_nm[*a].total_cmp(&changes_nm[*b]);
    let (Some(large), Some(small)) = (
        (0..changes_nm.len()).max_by(by_size),
        (0..changes_nm.len()).min_by(by_size),
    ) else {
        return Err(Refusal::TooFewRepeats {
            what: "latency".into(),
            got: 0,
            needed: 1,
        });
    };
    let settled = of(large, |r| r.settled_nm)?;
    let overshoot = (of(large, |r| r.peak_nm)? / settled - 1.0).max(0.0);
    let transition = of(small, |r| r.t90_s - r.t10_s)?.max(1e-4);
    let slowest = of(large, |r| r.t90_s - r.t10_s)?.max(1e-4);
    let to_peak = of(small, |r| r.peak_s - r.t50_s)?.max(0.5 * transition);
    let rings = overshoot > 0.05;
    // Second-order system: half-way to peak takes pi - acos(1/2) of phase, and overshoot gives the damping.
    let (omega, damping) = if rings {
        let l = overshoot.min(0.95).ln();
        (
            2.094 / to_peak,
            (l * l / (std::f64::consts::PI.powi(2) + l * l)).sqrt(),
        )
    } else {
        (2.2 / transition, 0.9)
    };
    let resonance_hz = omega / std::f64::consts::TAU;
    let lag_s = 0.15 * transition;
    let slew_nm_per_s = options
        .slew_nm_per_s
        .unwrap_or_else(|| changes_nm[large] / (0.4 * slowest));
    let model = ShapeModel {
        gain: settled / changes_nm[large],
        slew_nm_per_s,
        lag_s,
        resonance_hz,
        drive_damping: (0.5 * damping).max(0.01),
        rotor_damping: (0.5 * damping).max(0.01),
        rig_lead_s: 30e-6,
        presliding_nm: 0.4 * changes_nm[small],
        hub_hz: 4.0 * resonance_hz,
        stiffness_ratio: 0.3,
        shaft_hz: 8.0 * resonance_hz,
        stage_ratio: 2.0,
    };
    let mut classes = Vec::new();
    for (class, change_nm) in changes_nm.iter().enumerate() {
        let ramp_s = change_nm / slew_nm_per_s;
        let rise_s = 1.1 / omega + 0.5 * ramp_s + lag_s + 0.3 / (4.0 * omega) + options.sensor_delay_s;
        let wide = of(class, |r| r.t90_s - r.t10_s)?;
        let (behind_s, needed_s) = if rings {
            let to_peak = of(class, |r| r.peak_s - r.t50_s)?;
            (TO_PEAK * to_peak, 1.25 * to_peak)
        } else {
            (2.5 * wide, 2.5 * wide)
        };
        classes.push(Class {
            change_nm: *change_nm,
            rise_s,
            window_s: rise_s + behind_s,
            needed_s: rise_s + needed_s,
        });
    }
    Ok(Guess { model, classes })
}

/// Repeats whose rise takes clearly longer or shorter than that of others of their size: they were disturbed, or came in
/// two parts, and would bend the shape.
pub(crate) fn unlike_others(repeats: &[Repeat], members: &[Vec<usize>]) -> Result<Vec<bool>, Refusal> {
    let mut unlike = vec![false; repeats.len()];
    let wide = |i: usize| repeats[i].t90_s - repeats[i].t10_s;
    for class in members {
        let widths: Vec<f64> = class.iter().map(|i| wide(*i)).collect();
        let (usual, spread) = (median(&widths)?, median_absolute_deviation(&widths)?);
        // Friction makes differences of a few hundredths.
        let most = (6.0 * spread).max(0.1 * usual);
        for i in class {
            unlike[*i] = (wide(*i) - usual).abs() > most;
        }
    }
    Ok(unlike)
}
