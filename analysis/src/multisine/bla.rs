//! From realisations to the best linear approximation and what is not linear.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use super::distortion::{Distortion, distortion};
use super::period::{Periods, periods};
use super::{MultisineOptions, MultisineRecord};
use crate::estimate::{Check, Refusal};
use crate::frequency::{FrequencyResponse, magnitude_error, phase_error_rad};

/// Best linear approximation at the excited lines; lists have one entry a line, frequencies ascending.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BestLinear {
    /// Frequencies, Hz.
    pub f_hz: Vec<f64>,
    /// Real part, delay included, sensor delay taken out.
    pub re: Vec<f64>,
    /// Imaginary part.
    pub im: Vec<f64>,
    /// Standard error of real and imaginary part each, from noise and distortion: scatter of the realisations, as a share
    /// of the magnitude smoothed over neighbouring lines.
    pub total_u: Vec<f64>,
    /// The part of it that is noise: scatter of the periods.
    pub noise_u: Vec<f64>,
    /// Standard deviation of real and imaginary part each that noise puts on one period.
    pub noise_sd: Vec<f64>,
    /// Standard deviation of real and imaginary part each that distortion puts on one realisation; 0 where noise
    /// explains the scatter.
    pub distortion_sd: Vec<f64>,
    /// Response of each realisation, own delay taken out: `[realisation][line] = [re, im]`.
    pub realisations: Vec<Vec<[f64; 2]>>,
    /// Bulk delay of each realisation, s, sensor delay taken out.
    pub delay_s: Vec<f64>,
    /// What of the torque was not asked for.
    pub distortion: Distortion,
    /// Checks.
    pub checks: Vec<Check>,
    /// Spacing of the lines of the excitation's period, Hz.
    pub line_hz: f64,
    fs_hz: f64,
    output_delay: [f64; 2],
    input_hold_delay_s: f64,
    min_coherence: f64,
}

/// Lines on either side over which a variance is smoothed.
const SMOOTH: usize = 5;

/// Share of a period within which a delay can be told from one a part of a period longer.
const WINDOW: f64 = 0.2;

/// Change between first and last period, over the output, beyond which the system had not settled.
const MOST_SETTLING: f64 = 0.01;

/// Estimates the best linear approximation of M realisations, each over whole periods.
///
/// # Errors
/// Refuses too few realisations or periods, records that differ in length, rate or power, lines beyond 0.4 of the sample
/// rate, an output at its limit, values that are not finite, a coherence below the limit on average, a delay longer than
/// a fifth of the period, and a gain of the wrong sign at the low end.
pub fn best_linear_approximation(
    records: &[MultisineRecord<'_>],
    options: &MultisineOptions,
) -> Result<BestLinear, Refusal> {
    enough(records.len(), options)?;
    let mut spectra = MultisineSpectra::new(options.clone());
    for record in records {
        spectra.push(record)?;
    }
    spectra.approximation()
}

/// Realisations given one at a time, for recordings that need not be held whole: of each the spectral lines up to the highest
/// excited one are kept, and the record may be dropped.
#[derive(Debug, Clone)]
pub struct MultisineSpectra {
    options: MultisineOptions,
    /// Sample rate and samples in a period of the first realisation.
    taken: Option<(f64, usize)>,
    all: Vec<Periods>,
    ages_s: f64,
}

impl MultisineSpectra {
    /// No realisation yet.
    pub fn new(options: MultisineOptions) -> Self {
        Self {
            options,
            taken: None,
            all: Vec::new(),
            ages_s: 0.0,
        }
    }

    /// Takes a realisation.
    ///
    /// # Errors
    /// What [`best_linear_approximation`] refuses of single records, and of one that was not taken like the first.
    pub fn push(&mut self, record: &MultisineRecord<'_>) -> Result<(), Refusal> {
        let found = periods(record, &self.options)?;
        let taken = *self.taken.get_or_insert((record.fs_hz, record.input_nm.len()));
        alike(record, &found, taken, self.all.first())?;
        self.ages_s += record.input_age_s;
        self.all.push(found);
        Ok(())
    }

    /// The best linear approximation of all realisations.
    ///
    /// # Errors
    /// As [`best_linear_approximation`].
    pub fn approximation(&self) -> Result<BestLinear, Refusal> {
        enough(self.all.len(), &self.options)?;
        let (fs_hz, samples) = self.taken.unwrap_or_default();
        let age_s = self.ages_s / self.all.len() as f64;
        approximate(&self.all, &self.options, (fs_hz, samples, age_s))
    }
}

fn enough(got: usize, options: &MultisineOptions) -> Result<(), Refusal> {
    let needed = options.min_realisations.max(2);
    if got < needed {
        let what = "best linear approximation".into();
        return Err(Refusal::TooFewRepeats { what, got, needed });
    }
    Ok(())
}

fn approximate(
    all: &[Periods],
    options: &MultisineOptions,
    (fs_hz, samples, age_s): (f64, usize, f64),
) -> Result<BestLinear, Refusal> {
    let lines = &options.lines.excited;
    let line_hz = fs_hz / samples as f64;
    let f_hz: Vec<f64> = lines.iter().map(|k| *k as f64 * line_hz).collect();
    let mut h: Vec<Vec<Complex64>> = Vec::with_capacity(all.len());
    for p in all {
        if let Some(k) = lines.iter().find(|k| p.input[**k].norm_sqr() <= 0.0) {
            return Err(Refusal::OutOfRange {
                what: format!("power of the input at line {k}, which is listed as excited,"),
                value: 0.0,
                low: f64::MIN_POSITIVE,
                high: f64::INFINITY,
                unit: "N2.m2".into(),
            });
        }
        h.push(lines.iter().map(|k| p.output[*k] / p.input[*k]).collect());
    }
    let common = bulk_delay_s(&h, lines, line_hz);
    let window_s = WINDOW / line_hz;
    if !(-0.05 * window_s..=window_s).contains(&common) {
        return Err(Refusal::DelayBeyondWindow {
            delay_s: common,
            window_s,
        });
    }
    let turn = |h: &mut [Complex64], delay_s: f64| {
        for (h, f) in h.iter_mut().zip(&f_hz) {
            *h *= Complex64::from_polar(1.0, TAU * f * delay_s);
        }
    };
    h.iter_mut().for_each(|h| turn(h, common));
    let own = if options.align {
        let own = own_delays(&f_hz, &h);
        h.iter_mut().zip(&own).for_each(|(h, d)| turn(h, *d));
        own
    } else {
        vec![0.0; h.len()]
    };
    let many = h.len() as f64;
    let periods_each = all.iter().map(|p| p.periods as f64).sum::<f64>() / many;
    let mean: Vec<Complex64> = (0..lines.len())
        .map(|i| h.iter().map(|h| h[i]).sum::<Complex64>() / many)
        .collect();
    let along: f64 = (0..lines.len())
        .filter(|i| f_hz[*i] <= 2.0 * f_hz[0])
        .map(|i| mean[i].re)
        .sum();
    if along < 0.0 {
        return Err(Refusal::WrongSign {
            what: "gain in the first octave".into(),
            commanded: 1.0,
            measured: along,
        });
    }
    // Variances of the mean, as shares of its power so that neighbours can be averaged.
    let power: Vec<f64> = mean.iter().map(|m| m.norm_sqr().max(f64::MIN_POSITIVE)).collect();
    let total = smooth(&share(&power, |i| {
        h.iter().map(|h| (h[i] - mean[i]).norm_sqr()).sum::<f64>() / (many - 1.0) / many
    }));
    let noise = smooth(&share(&power, |i| {
        let k = lines[i];
        all.iter()
            .map(|p| p.noise[k] / p.input[k].norm_sqr())
            .sum::<f64>()
            / many
            / many
    }));
    let each = |rel: f64, i: usize| (0.5 * rel * power[i]).sqrt();
    let coherence: Vec<f64> = total.iter().map(|t| 1.0 / (1.0 + many * t)).collect();
    judge(&coherence, &f_hz, options.min_coherence)?;
    let delayed: Vec<Complex64> = mean
        .iter()
        .zip(&f_hz)
        .map(|(m, f)| m * Complex64::from_polar(1.0, -TAU * f * common))
        .collect();
    let settling = all.iter().map(|p| p.settling).fold(0.0, f64::max);
    let checks = vec![
        Check::new(
            "periods have settled",
            settling < MOST_SETTLING,
            format!(
                "first and last period differ by {:.2} % beyond noise, at most {:.0} %",
                100.0 * settling,
                100.0 * MOST_SETTLING
            ),
        ),
        Check::new(
            "coherence",
            coherence.iter().all(|c| *c >= options.min_coherence),
            format!("least {:.4}", coherence.iter().copied().fold(1.0, f64::min)),
        ),
    ];
    let back = |i: usize, h: Complex64| {
        let h = h * Complex64::from_polar(1.0, -TAU * f_hz[i] * common);
        [h.re, h.im]
    };
    Ok(BestLinear {
        re: delayed.iter().map(|h| h.re).collect(),
        im: delayed.iter().map(|h| h.im).collect(),
        total_u: (0..lines.len())
            .map(|i| each(total[i].max(noise[i]), i))
            .collect(),
        noise_u: (0..lines.len()).map(|i| each(noise[i], i)).collect(),
        noise_sd: (0..lines.len())
            .map(|i| each(noise[i] * many * periods_each, i))
            .collect(),
        distortion_sd: (0..lines.len())
            .map(|i| each((many * (total[i] - noise[i])).max(0.0), i))
            .collect(),
        realisations: h
            .iter()
            .map(|h| h.iter().enumerate().map(|(i, h)| back(i, *h)).collect())
            .collect(),
        delay_s: own.iter().map(|d| common + d).collect(),
        distortion: distortion(all, options, line_hz),
        checks,
        line_hz,
        fs_hz,
        output_delay: [options.output_delay_s, options.output_delay_u_s],
        input_hold_delay_s: 0.5 / fs_hz - age_s,
        min_coherence: options.min_coherence,
        f_hz,
    })
}

/// Refuses a realisation that was not taken like the first.
fn alike(
    record: &MultisineRecord<'_>,
    found: &Periods,
    (fs_hz, samples): (f64, usize),
    first: Option<&Periods>,
) -> Result<(), Refusal> {
    let differ = |what: &str, left: f64, right: f64| Refusal::RecordsDiffer {
        what: what.into(),
        left,
        right,
    };
    let got = record.input_nm.len();
    if got != samples {
        return Err(differ("samples a period", samples as f64, got as f64));
    }
    if (record.fs_hz - fs_hz).abs() > 1e-9 * fs_hz {
        return Err(differ("sample rate in Hz", fs_hz, record.fs_hz));
    }
    let Some(first) = first else { return Ok(()) };
    // Distortion depends on the amplitude, so realisations of other power are other measurements.
    let power = |p: &Periods| p.input[1..].iter().map(Complex64::norm_sqr).sum::<f64>().sqrt();
    let (a, b) = (power(first), power(found));
    if (b - a).abs() > 0.01 * a {
        let root2 = std::f64::consts::SQRT_2;
        return Err(differ(
            "root mean square of the setpoint in N·m",
            root2 * a,
            root2 * b,
        ));
    }
    Ok(())
}

/// Delay from the mean phase step over the smallest spacing of lines.
fn bulk_delay_s(h: &[Vec<Complex64>], lines: &[usize], line_hz: f64) -> f64 {
    let least = lines.windows(2).map(|w| w[1] - w[0]).min().unwrap_or(1);
    let mut sum = Complex64::default();
    for h in h {
        for i in 1..lines.len() {
            if lines[i] - lines[i - 1] == least {
                sum += h[i] * h[i - 1].conj();
            }
        }
    }
    -sum.arg() / (TAU * line_hz * least as f64)
}

/// Delay of each realisation beyond that of their mean.
fn own_delays(f_hz: &[f64], h: &[Vec<Complex64>]) -> Vec<f64> {
    let mut own = vec![0.0; h.len()];
    for _ in 0..3 {
        let aligned =
            |m: usize, i: usize, own: &[f64]| h[m][i] * Complex64::from_polar(1.0, TAU * f_hz[i] * own[m]);
        let mut step = vec![(0.0, 0.0); h.len()];
        for (i, f) in f_hz.iter().enumerate() {
            let each: Vec<Complex64> = (0..h.len()).map(|m| aligned(m, i, &own)).collect();
            let mean = each.iter().sum::<Complex64>() / each.len() as f64;
            let scatter: f64 = each.iter().map(|h| (h - mean).norm_sqr()).sum::<f64>() / each.len() as f64;
            // A floor, so that a few lines that happen to agree do not decide alone.
            let weight = mean.norm_sqr() / (scatter + 1e-4 * mean.norm_sqr()).max(f64::MIN_POSITIVE);
            for (step, h) in step.iter_mut().zip(&each) {
                step.0 += weight * f * (h * mean.conj()).arg();
                step.1 += weight * TAU * f * f;
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

fn share(power: &[f64], variance: impl Fn(usize) -> f64) -> Vec<f64> {
    power.iter().enumerate().map(|(i, p)| variance(i) / p).collect()
}

/// Running mean: with a handful of realisations one line's own variance is half chance.
fn smooth(x: &[f64]) -> Vec<f64> {
    (0..x.len())
        .map(|i| {
            let part = &x[i.saturating_sub(SMOOTH)..(i + SMOOTH + 1).min(x.len())];
            part.iter().sum::<f64>() / part.len() as f64
        })
        .collect()
}

fn judge(coherence: &[f64], f_hz: &[f64], limit: f64) -> Result<(), Refusal> {
    let mean = coherence.iter().sum::<f64>() / coherence.len() as f64;
    if mean >= limit {
        return Ok(());
    }
    let worst = (0..f_hz.len())
        .min_by(|a, b| coherence[*a].total_cmp(&coherence[*b]))
        .unwrap_or(0);
    Err(Refusal::LowCoherence {
        f_hz: f_hz[worst],
        coherence: coherence[worst],
        limit,
    })
}

impl BestLinear {
    /// The response as the readings take it (bandwidth, flat band, resonance, delay).
    pub fn response(&self) -> FrequencyResponse {
        let n = self.f_hz.len();
        let many = self.realisations.len() as f64;
        let size = |i: usize| self.re[i].hypot(self.im[i]);
        let rel = |i: usize| 2.0 * (self.total_u[i] / size(i)).powi(2);
        let coherence: Vec<f64> = (0..n).map(|i| 1.0 / (1.0 + many * rel(i))).collect();
        FrequencyResponse {
            f_hz: self.f_hz.clone(),
            re: self.re.clone(),
            im: self.im.clone(),
            gain_rel_u: coherence.iter().map(|c| magnitude_error(*c, many)).collect(),
            phase_u_rad: coherence.iter().map(|c| phase_error_rad(*c, many)).collect(),
            averages: vec![many; n],
            usable: coherence.iter().map(|c| *c >= self.min_coherence).collect(),
            min_coherence: self.min_coherence,
            coherence,
            repeats: self.realisations.clone(),
            repeat_delay_s: self.delay_s.clone(),
            output_delay_s: self.output_delay[0],
            output_delay_u_s: self.output_delay[1],
            input_hold_delay_s: self.input_hold_delay_s,
            fs_hz: self.fs_hz,
            // Every line stands for itself; the readings count twelve of these to a band.
            line_hz: self.line_hz / 12.0,
            checks: self.checks.clone(),
        }
    }
}
