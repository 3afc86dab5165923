//! What the excitations of a plan deliver, known before anything moves.

use alloc::{collections::BTreeMap, string::String, vec::Vec};
use core::f64::consts::PI;
use num_complex::Complex64;
use rig_link::FULL_SCALE_COUNTS;

use super::{Piece, Plan, SETPOINT_STRIDE_US, Window};
use crate::{
    excitation::{
        ExcitationKind, Tones,
        crest::{crest_factor, peak, root_mean_square},
        fourier::AnyLength,
    },
    rig::Rig,
    units::{US_PER_S, s_from_us},
};

/// What one segment delivers. Torques count from the preload.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Delivered {
    /// Number of the segment, counted from 1.
    pub segment: usize,
    /// Its name.
    pub name: String,
    /// Kind of its excitation.
    pub kind: ExcitationKind,
    /// Number of excitations.
    pub excitations: usize,
    /// Length with rests, µs.
    pub duration_us: u64,
    /// Periods of each excitation, or pulses of each train; 1 for what has neither.
    pub parts: usize,
    /// The first periods, in which the rig is still settling.
    pub transient: usize,
    /// Lines of a multisine.
    pub lines: Option<Arrangement>,
    /// Its different signals: one for each width of pulses, at their highest level; one for a chirp or a periodic signal;
    /// none for steps and holds.
    pub signals: Vec<Signal>,
    /// Root mean square of the rounding to the rig's counts at most, N·m, spread over all frequencies: a count's width
    /// over √12, for a full scale of twice the peak torque.
    pub rounding_nm: f64,
}

/// Which lines of a multisine carry power.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Arrangement {
    /// One over the period, Hz.
    pub line_hz: f64,
    /// Number of lines with power.
    pub excited: usize,
    /// Lowest frequency with power, Hz.
    pub first_hz: f64,
    /// Highest frequency with power, Hz.
    pub last_hz: f64,
    /// Odd lines of the band without power.
    pub silent_odd: usize,
    /// Even lines of the band without power.
    pub silent_even: usize,
    /// Amplitude of each line, N·m.
    pub amplitude_nm: f64,
}

/// One signal of a segment.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Signal {
    /// Length of the period, or of the whole excitation, µs.
    pub length_us: u64,
    /// Greatest torque either way, N·m.
    pub peak_nm: f64,
    /// Root mean square over the length, N·m.
    pub rms_nm: f64,
    /// Greatest torque over root mean square, the least and the greatest of all realisations.
    pub crest_factor: [f64; 2],
    /// What falls into each octave, ascending; those with less than a thousandth of the whole are left out.
    pub bands: Vec<Band>,
}

/// Torque in an octave, as the rig holds each setpoint until the next.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Band {
    /// Lowest frequency, Hz; 0 for what lies below the lowest octave as well.
    pub low_hz: f64,
    /// Highest frequency, Hz.
    pub high_hz: f64,
    /// Root mean square over the length of the signal, N·m.
    pub rms_nm: f64,
}

/// Share of the whole below which an octave is not worth telling.
const WORTH: f64 = 1e-3;
/// Width of an edge between octaves, Hz; far below the distance of two frequencies.
const EDGE_HZ: f64 = 1e-3;
/// Time over which single signals are looked at, µs: octaves from 1 Hz up are then resolved.
const RESOLVED_US: u64 = 2_000_000;

impl Plan {
    /// What each segment delivers on the rig that the plan was made for.
    pub fn delivered(&self, rig: &Rig) -> Vec<Delivered> {
        let summary = self.summary();
        let segments = (1..).zip(summary.segments);
        segments
            .map(|(segment, summary)| {
                let windows: Vec<&Window> = self.windows.iter().filter(|w| w.segment == segment).collect();
                let tones = windows.first().and_then(|w| w.tones.as_deref());
                Delivered {
                    segment,
                    name: summary.name,
                    kind: summary.kind,
                    excitations: summary.excitations,
                    duration_us: summary.duration_us,
                    parts: windows.iter().map(|w| w.part + 1).max().unwrap_or(1),
                    transient: windows.iter().filter(|w| w.repeat == 0 && w.transient).count(),
                    lines: tones.map(arrangement),
                    signals: self.signals(&windows),
                    rounding_nm: 2.0 * rig.wheelbase.peak_torque_nm
                        / f64::from(FULL_SCALE_COUNTS)
                        / libm::sqrt(12.0),
                }
            })
            .collect()
    }

    fn signals(&self, windows: &[&Window]) -> Vec<Signal> {
        let mut by_length: BTreeMap<u64, Vec<&Window>> = BTreeMap::new();
        for window in windows.iter().filter(|w| w.part == 0) {
            match window.kind {
                ExcitationKind::Step
                | ExcitationKind::Hold
                | ExcitationKind::Staircase
                | ExcitationKind::Increment => {}
                _ => by_length
                    .entry(window.end_us - window.start_us)
                    .or_default()
                    .push(window),
            }
        }
        by_length
            .into_values()
            .filter_map(|windows| self.signal(&windows))
            .collect()
    }

    /// Of windows of one length: the highest level counts.
    fn signal(&self, windows: &[&Window]) -> Option<Signal> {
        let highest_nm = windows.iter().map(|w| w.amplitude_nm.abs()).fold(0.0, f64::max);
        let mut crests = [f64::INFINITY, 0.0_f64];
        // Realisations differ in their crest, not in their power.
        let mut first: Option<(Vec<f64>, &Window)> = None;
        let mut peak_nm = 0.0_f64;
        for window in windows {
            if window.tones.is_none() && (first.is_some() || window.amplitude_nm.abs() < highest_nm) {
                continue;
            }
            let values = values(self.piece_at(window.start_us)?, window.preload_nm);
            let crest = crest_factor(&values);
            crests = [crests[0].min(crest), crests[1].max(crest)];
            peak_nm = peak_nm.max(peak(&values));
            first.get_or_insert((values, window));
        }
        let (values, window) = first?;
        let periodic = matches!(
            window.kind,
            ExcitationKind::Multisine | ExcitationKind::PseudoRandom | ExcitationKind::Reversal
        );
        Some(Signal {
            length_us: window.end_us - window.start_us,
            peak_nm,
            rms_nm: root_mean_square(&values),
            crest_factor: crests,
            bands: bands(&values, periodic),
        })
    }
}

fn arrangement(tones: &Tones) -> Arrangement {
    let (first, last) = (tones.lines.first(), tones.lines.last());
    let (first, last) = (first.copied().unwrap_or(0), last.copied().unwrap_or(0));
    let silent = |odd: bool| {
        let silent = |line: &u32| (line % 2 == 1) == odd && tones.lines.binary_search(line).is_err();
        (first..=tones.last_line.max(last)).filter(silent).count()
    };
    Arrangement {
        line_hz: tones.frequency_hz(1),
        excited: tones.lines.len(),
        first_hz: tones.frequency_hz(first),
        last_hz: tones.frequency_hz(last),
        silent_odd: silent(true),
        silent_even: silent(false),
        amplitude_nm: tones.amplitude_nm,
    }
}

/// The setpoints of a piece about the preload.
fn values(piece: &Piece, preload_nm: f64) -> Vec<f64> {
    let ticks = (piece.start_us..piece.end_us).step_by(SETPOINT_STRIDE_US as usize);
    ticks
        .map(|tick_us| piece.setpoint_nm(tick_us) - preload_nm)
        .collect()
}

/// Root mean square in octaves, of a signal that repeats or of one that is alone. A held value is a staircase, whose
/// spectrum falls as sin x/x, `x = π f/rate`; its images beyond half the setpoint rate are left out, and of a signal that
/// repeats its mean.
fn bands(values: &[f64], periodic: bool) -> Vec<Band> {
    let length = if periodic {
        values.len()
    } else {
        let resolved = RESOLVED_US / u64::from(SETPOINT_STRIDE_US);
        (2 * values.len()).max(resolved as usize)
    };
    let input: Vec<Complex64> = values.iter().map(|v| Complex64::new(*v, 0.0)).collect();
    let spectrum = AnyLength::new(length).forward(&input);
    let stride_s = s_from_us(SETPOINT_STRIDE_US.into());
    let line_hz = 1.0 / (stride_s * length as f64);
    let scale = 1.0 / (length as f64 * values.len() as f64);
    let mut octaves: BTreeMap<i32, f64> = BTreeMap::new();
    let half = length / 2;
    for (k, value) in spectrum.iter().enumerate().take(half + 1) {
        if k == 0 && periodic {
            continue;
        }
        let f_hz = k as f64 * line_hz;
        let x = PI * f_hz * stride_s;
        let held = if x > 0.0 { libm::sin(x) / x } else { 1.0 };
        let sides = if k == 0 || 2 * k == length { 1.0 } else { 2.0 };
        let power = sides * scale * held * held * value.norm_sqr();
        if periodic {
            *octaves.entry(octave(f_hz)).or_default() += power;
            continue;
        }
        // The spectrum of a single signal has no lines: what is taken at an edge stands for both sides of it. What lies
        // below the lowest octave is told with it.
        for side in [-0.5, 0.5] {
            let octave = octave((f_hz + side * EDGE_HZ).max(1.0));
            *octaves.entry(octave).or_default() += 0.5 * power;
        }
    }
    let whole: f64 = octaves.values().sum();
    octaves
        .into_iter()
        .filter(|(_, power)| *power > WORTH * WORTH * whole)
        .map(|(octave, power)| {
            let low_hz = libm::exp2(f64::from(octave));
            Band {
                low_hz: if !periodic && octave == 0 { 0.0 } else { low_hz },
                high_hz: (2.0 * low_hz).min(0.5 * US_PER_S / f64::from(SETPOINT_STRIDE_US)),
                rms_nm: libm::sqrt(power),
            }
        })
        .collect()
}

/// The octave from `2^n` Hz up in which a frequency lies.
fn octave(f_hz: f64) -> i32 {
    // A rounding must not bring a power of two into the octave below.
    libm::floor(libm::log2(f_hz) + 1e-9) as i32
}
