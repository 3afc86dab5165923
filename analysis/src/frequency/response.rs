//! From sweeps to a response.

use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

use super::bands::{Band, Lines, bands};
use super::{FrequencyOptions, FrequencyResponse, SweepRecord, magnitude_error, phase_error_rad};
use crate::estimate::{Check, Refusal};
use crate::spectra::Transform;
use crate::statistics::all_finite;

/// Highest frequency as a share of the sample rate: beyond it the anti-alias filter lets images through.
const ALIAS_SHARE: f64 = 0.4;

/// Frequency response of repeated sweeps of one amplitude.
///
/// The input is a staircase: its transform is that of the listed values times `sinc(f hold) exp(-jπ f hold)`, advanced
/// by the age of a value when first sampled; both are taken into account exactly, so the response is that from the
/// torque commanded at each instant. Records should begin and end at rest; what they do not is taken up by a
/// transient term in each band. Each record may have its own length.
///
/// # Errors
/// Refuses too few repeats, arrays that differ in length or are not finite, sample rates that differ, a hold that is
/// not a whole number of samples, `f_max_hz` beyond 0.4 of the sample rate, a record shorter than two periods of
/// `f_min_hz`, an output at its limit, a bulk delay longer than a quarter of the record, a response of negative sign at
/// the low end, and a coherence below the limit in more than the allowed share of bands.
pub fn frequency_response(
    sweeps: &[SweepRecord<'_>],
    options: &FrequencyOptions,
) -> Result<FrequencyResponse, Refusal> {
    if let Some(first) = sweeps.first() {
        check_options(first.fs_hz, options)?;
    }
    enough(sweeps.len(), options)?;
    let mut spectra = SweepSpectra::new(options.clone());
    for sweep in sweeps {
        spectra.push(sweep)?;
    }
    spectra.response()
}

/// Sweeps given one at a time, for recordings that need not be held whole: of each the spectral lines up to a little
/// beyond `f_max_hz` are kept, and the record may be dropped.
#[derive(Debug, Clone)]
pub struct SweepSpectra {
    options: FrequencyOptions,
    fs_hz: f64,
    lines: Vec<Lines>,
    /// A quarter of each record's length, s: the longest bulk delay it can hold.
    windows_s: Vec<f64>,
    ages_s: f64,
}

impl SweepSpectra {
    /// No sweep yet.
    pub fn new(options: FrequencyOptions) -> Self {
        Self {
            options,
            fs_hz: 0.0,
            lines: Vec::new(),
            windows_s: Vec::new(),
            ages_s: 0.0,
        }
    }

    /// Takes a sweep.
    ///
    /// # Errors
    /// What [`frequency_response`] refuses of options and single records.
    pub fn push(&mut self, sweep: &SweepRecord<'_>) -> Result<(), Refusal> {
        if self.lines.is_empty() {
            check_options(sweep.fs_hz, &self.options)?;
            self.fs_hz = sweep.fs_hz;
        }
        check_sweep(sweep, self.fs_hz, &self.options)?;
        self.lines.push(transform(sweep, &self.options));
        self.windows_s
            .push(0.25 * sweep.output_nm.len() as f64 / self.fs_hz);
        self.ages_s += sweep.input_age_s;
        Ok(())
    }

    /// The response of all sweeps.
    ///
    /// # Errors
    /// As [`frequency_response`].
    pub fn response(mut self) -> Result<FrequencyResponse, Refusal> {
        enough(self.lines.len(), &self.options)?;
        let bulk: Vec<f64> = self.lines.iter().map(|l| bulk_delay(l, &self.options)).collect();
        let common = bulk.iter().sum::<f64>() / bulk.len() as f64;
        for (window_s, delay_s) in self.windows_s.iter().zip(&bulk) {
            if delay_s.abs() > *window_s {
                return Err(Refusal::DelayBeyondWindow {
                    delay_s: *delay_s,
                    window_s: *window_s,
                });
            }
        }
        self.lines.iter_mut().for_each(|l| l.advance(common));
        let age_s = self.ages_s / self.lines.len() as f64;
        respond(self.lines, &self.options, (self.fs_hz, common, age_s))
    }
}

fn respond(
    mut lines: Vec<Lines>,
    options: &FrequencyOptions,
    (fs_hz, common, age_s): (f64, f64, f64),
) -> Result<FrequencyResponse, Refusal> {
    let centres = centres(options);
    let half =
        0.5 * (2.0_f64.powf(0.5 / options.bands_per_octave) - 2.0_f64.powf(-0.5 / options.bands_per_octave));
    let bands_of = |group: &[&Lines]| bands(group, &centres, half, options.min_lines);
    // Repeats wait differently for the firmware; left in, that would cost gain in the mean.
    let first: Vec<Vec<Option<Band>>> = lines.iter().map(|l| bands_of(&[l])).collect();
    let own = deviations(&centres, &first);
    lines.iter_mut().zip(&own).for_each(|(l, d)| l.advance(*d));
    let all: Vec<&Lines> = lines.iter().collect();
    let together = bands_of(&all);
    let mut out = empty(options, age_s, fs_hz, &lines);
    out.repeat_delay_s = own.iter().map(|d| common + d).collect();
    out.repeats = vec![Vec::new(); lines.len()];
    for (b, f) in centres.iter().enumerate() {
        let turn = Complex64::from_polar(1.0, -TAU * f * common);
        let singles: Option<Vec<Band>> = first.iter().map(|r| r[b]).collect();
        let (Some(band), Some(singles)) = (together[b], singles) else {
            continue;
        };
        let h = band.h * turn;
        out.f_hz.push(*f);
        out.re.push(h.re);
        out.im.push(h.im);
        out.coherence.push(band.coherence);
        out.averages.push(band.averages);
        out.gain_rel_u
            .push(magnitude_error(band.coherence, band.averages));
        out.phase_u_rad
            .push(phase_error_rad(band.coherence, band.averages));
        out.usable.push(band.coherence >= options.min_coherence);
        for ((repeat, single), own) in out.repeats.iter_mut().zip(&singles).zip(&own) {
            let h = single.h * turn * Complex64::from_polar(1.0, TAU * f * own);
            repeat.push([h.re, h.im]);
        }
    }
    judge(&mut out, options, common)?;
    Ok(out)
}

fn enough(got: usize, options: &FrequencyOptions) -> Result<(), Refusal> {
    let needed = options.min_repeats.max(2);
    if got < needed {
        let what = "frequency response".into();
        return Err(Refusal::TooFewRepeats { what, got, needed });
    }
    Ok(())
}

fn check_options(fs_hz: f64, options: &FrequencyOptions) -> Result<(), Refusal> {
    if !fs_hz.is_finite() || fs_hz <= 0.0 {
        return Err(Refusal::out_of_range(
            "the sample rate",
            fs_hz,
            0.0,
            f64::INFINITY,
            "Hz",
        ));
    }
    if !(options.f_min_hz > 0.0 && options.f_min_hz < options.f_max_hz && options.f_max_hz.is_finite()) {
        return Err(Refusal::out_of_range(
            "f_min",
            options.f_min_hz,
            0.0,
            options.f_max_hz,
            "Hz",
        ));
    }
    if !(options.bands_per_octave >= 1.0 && options.bands_per_octave <= 1000.0) {
        return Err(Refusal::out_of_range(
            "bands an octave",
            options.bands_per_octave,
            1.0,
            1000.0,
            "1",
        ));
    }
    let limit_hz = ALIAS_SHARE * fs_hz;
    if options.f_max_hz > limit_hz {
        return Err(Refusal::Aliasing {
            f_max_hz: options.f_max_hz,
            limit_hz,
            fs_hz,
        });
    }
    Ok(())
}

fn check_sweep(sweep: &SweepRecord<'_>, fs_hz: f64, options: &FrequencyOptions) -> Result<(), Refusal> {
    let (left, right) = (sweep.input_nm.len(), sweep.output_nm.len());
    if left != right {
        return Err(Refusal::LengthMismatch {
            what: "input and output of a sweep".into(),
            left,
            right,
        });
    }
    all_finite("the setpoint", sweep.input_nm.iter())?;
    all_finite("the torque", sweep.output_nm.iter())?;
    if (sweep.fs_hz - fs_hz).abs() > 1e-9 * fs_hz {
        return Err(Refusal::RecordsDiffer {
            what: "sample rate in Hz".into(),
            left: fs_hz,
            right: sweep.fs_hz,
        });
    }
    let held = sweep.input_hold_s * fs_hz;
    if !(held > 0.5 && (held - held.round()).abs() < 1e-6 * held) {
        return Err(Refusal::out_of_range(
            "input hold in whole sample intervals",
            held,
            1.0,
            f64::INFINITY,
            "1",
        ));
    }
    if !(0.0..=1.0 / fs_hz).contains(&sweep.input_age_s) {
        return Err(Refusal::out_of_range(
            "age of an input value when first sampled",
            sweep.input_age_s,
            0.0,
            1.0 / fs_hz,
            "s",
        ));
    }
    let (got_s, needed_s) = (left as f64 / fs_hz, 2.0 / options.f_min_hz);
    if got_s < needed_s {
        return Err(Refusal::TooShort {
            what: "two periods of f_min".into(),
            got_s,
            needed_s,
        });
    }
    if let Some(limit_nm) = options.saturation_nm {
        let value_nm = sweep.output_nm.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
        if value_nm >= limit_nm {
            return Err(Refusal::Saturated {
                what: "the torque".into(),
                value_nm,
                limit_nm,
            });
        }
    }
    Ok(())
}

/// Whole-record transform, the input as the staircase that it is, the output without the declared sensor delay.
fn transform(sweep: &SweepRecord<'_>, options: &FrequencyOptions) -> Lines {
    let n = sweep.input_nm.len();
    let spacing_hz = sweep.fs_hz / n as f64;
    // Lines a little beyond f_max, so that the last bands are whole.
    let last = ((1.2 * options.f_max_hz / spacing_hz).ceil() as usize).min(n / 2);
    let mut plan = Transform::new(n);
    let mut spectrum = |x: ndarray::ArrayView1<'_, f64>| {
        let mean = x.iter().sum::<f64>() / n as f64;
        let mut lines = plan.forward(x.iter().map(|v| v - mean).collect());
        lines.truncate(last + 1);
        lines.remove(0);
        lines.shrink_to_fit();
        lines
    };
    let mut input = spectrum(sweep.input_nm);
    let output = spectrum(sweep.output_nm);
    // A value listed m times is m steps of one sample interval each, so the hold of one step is the sample interval.
    let hold_s = 1.0 / sweep.fs_hz;
    for (k, u) in input.iter_mut().enumerate() {
        let f = (k + 1) as f64 * spacing_hz;
        let x = PI * f * hold_s;
        *u *= Complex64::from_polar(x.sin() / x, TAU * f * (sweep.input_age_s - 0.5 * hold_s));
    }
    let mut lines = Lines {
        spacing_hz,
        input,
        output,
    };
    lines.advance(options.output_delay_s);
    lines
}

/// Delay from the mean phase step between neighbouring lines, weighted by the cross-spectrum.
fn bulk_delay(lines: &Lines, options: &FrequencyOptions) -> f64 {
    let mut sum = Complex64::default();
    let mut last: Option<Complex64> = None;
    for (k, (u, y)) in lines.input.iter().zip(&lines.output).enumerate() {
        if (options.f_min_hz..=options.f_max_hz).contains(&lines.f_hz(k)) {
            let g = y * u.conj();
            if let Some(last) = last {
                sum += g * last.conj();
            }
            last = Some(g);
        }
    }
    -sum.arg() / (TAU * lines.spacing_hz)
}

fn centres(options: &FrequencyOptions) -> Vec<f64> {
    let octaves = (options.f_max_hz / options.f_min_hz).log2();
    let count = (octaves * options.bands_per_octave).round().max(1.0) as usize;
    (0..=count)
        .map(|i| options.f_min_hz * 2.0_f64.powf(octaves * i as f64 / count as f64))
        .collect()
}

/// Delay of each repeat beyond the mean, by least squares on the phase against the mean response.
fn deviations(centres: &[f64], repeats: &[Vec<Option<Band>>]) -> Vec<f64> {
    let mut own = vec![0.0; repeats.len()];
    let aligned = |r: usize, b: usize, own: &[f64]| {
        repeats[r][b].map(|band| band.h * Complex64::from_polar(1.0, TAU * centres[b] * own[r]))
    };
    // Each pass halves nothing that matters after the second; three are one to spare.
    for _ in 0..3 {
        let mut step = vec![(0.0, 0.0); repeats.len()];
        for (b, f) in centres.iter().enumerate() {
            let Some(all) = (0..repeats.len())
                .map(|r| aligned(r, b, &own))
                .collect::<Option<Vec<_>>>()
            else {
                continue;
            };
            let mean = all.iter().sum::<Complex64>() / all.len() as f64;
            for (r, h) in all.iter().enumerate() {
                let Some(band) = repeats[r][b] else { continue };
                // Weight by the phase error, with a floor so that a few near-perfect bands do not decide alone.
                let error = magnitude_error(band.coherence, band.averages).max(1e-3);
                let weight = if error.is_finite() { error.powi(-2) } else { 0.0 };
                step[r].0 += weight * f * (h * mean.conj()).arg();
                step[r].1 += weight * TAU * f * f;
            }
        }
        for (own, (top, bottom)) in own.iter_mut().zip(&step) {
            if *bottom > 0.0 {
                *own -= top / bottom;
            }
        }
        let mean = own.iter().sum::<f64>() / own.len() as f64;
        own.iter_mut().for_each(|d| *d -= mean);
    }
    own
}

fn empty(options: &FrequencyOptions, age: f64, fs_hz: f64, lines: &[Lines]) -> FrequencyResponse {
    FrequencyResponse {
        f_hz: Vec::new(),
        re: Vec::new(),
        im: Vec::new(),
        coherence: Vec::new(),
        gain_rel_u: Vec::new(),
        phase_u_rad: Vec::new(),
        averages: Vec::new(),
        usable: Vec::new(),
        min_coherence: options.min_coherence,
        repeats: Vec::new(),
        repeat_delay_s: Vec::new(),
        output_delay_s: options.output_delay_s,
        output_delay_u_s: options.output_delay_u_s,
        input_hold_delay_s: 0.5 / fs_hz - age,
        fs_hz,
        line_hz: lines.iter().map(|l| l.spacing_hz).fold(0.0, f64::max),
        checks: Vec::new(),
    }
}

/// Refuses a response that follows nothing or has the wrong sign, and records the checks.
fn judge(out: &mut FrequencyResponse, options: &FrequencyOptions, bulk_s: f64) -> Result<(), Refusal> {
    let total = out.f_hz.len();
    if total < 8 {
        return Err(Refusal::TooFewSamples {
            what: "bands of a frequency response".into(),
            got: total,
            needed: 8,
        });
    }
    let low = out.usable.iter().filter(|u| !**u).count();
    if low as f64 > options.max_low_share * total as f64 {
        let worst = (0..total)
            .min_by(|a, b| out.coherence[*a].total_cmp(&out.coherence[*b]))
            .unwrap_or(0);
        let (f_hz, coherence) = (out.f_hz[worst], out.coherence[worst]);
        return Err(Refusal::LowCoherence {
            f_hz,
            coherence,
            limit: options.min_coherence,
        });
    }
    // The first octave, turned back by the bulk delay, must point along the command.
    let octave = 2.0 * options.f_min_hz;
    let along: f64 = (0..total)
        .filter(|b| out.f_hz[*b] <= octave)
        .map(|b| {
            (Complex64::new(out.re[b], out.im[b]) * Complex64::from_polar(1.0, TAU * out.f_hz[b] * bulk_s)).re
        })
        .sum();
    if along < 0.0 {
        let (what, commanded, measured) = ("gain in the first octave".into(), 1.0, along);
        return Err(Refusal::WrongSign {
            what,
            commanded,
            measured,
        });
    }
    let least = out.coherence.iter().copied().fold(1.0, f64::min);
    out.checks.push(Check::new(
        "coherence",
        low == 0,
        format!(
            "least {least:.4}; {low} of {total} bands below {}",
            options.min_coherence
        ),
    ));
    Ok(())
}
