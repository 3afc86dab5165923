//! First resonance: frequency, damping and amplification by a local complex fit.
//!
//! Half-power widths fail above a damping ratio of about 0.1 and read noise at single bands; a fit of one mode with a
//! slowly varying complex numerator uses magnitude and phase of all bands around the peak.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::FrequencyResponse;
use super::curve::{gains, random_and_scatter, reference};
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Failure, Fit, Options, minimise};
use crate::linear::{Matrix, back_substitute, qr};

/// Where to look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResonanceOptions {
    /// Range to search, Hz.
    pub search_hz: [f64; 2],
    /// Band whose mean gain is the reference for the amplification, Hz.
    pub reference_hz: [f64; 2],
}

impl Default for ResonanceOptions {
    fn default() -> Self {
        Self {
            search_hz: [5.0, 300.0],
            reference_hz: [1.0, 5.0],
        }
    }
}

/// The first resonance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Resonance {
    /// Undamped natural frequency, Hz.
    pub frequency: Outcome,
    /// Damping ratio, 1.
    pub damping: Outcome,
    /// Peak magnitude over the gain at low frequency, 1.
    pub amplification: Outcome,
}

/// A peak must rise above the gain at low frequency by this factor to be called a resonance.
const LEAST_RISE: f64 = 1.05;

/// Relative error of a band beyond which its weight falls. Below it all bands count alike: a system with friction is no
/// linear mode, and which mode lies nearest must not depend on where the noise happens to be low.
const EQUAL_WEIGHT: f64 = 1e-2;

/// Tolerance of a crystal that nothing disciplines.
const CLOCK_REL: f64 = 50e-6;

/// Finds and fits the first resonance above the gain at low frequency.
pub fn first_resonance(response: &FrequencyResponse, options: &ResonanceOptions) -> Resonance {
    match fit_all(response, options) {
        Ok([frequency, damping, amplification]) => Resonance {
            frequency: frequency.into(),
            damping: damping.into(),
            amplification: amplification.into(),
        },
        Err(refusal) => Resonance {
            frequency: refusal.clone().into(),
            damping: refusal.clone().into(),
            amplification: refusal.into(),
        },
    }
}

/// Index of the first band that is the largest within a third of an octave and stands above `gain`.
pub(crate) fn first_peak(
    response: &FrequencyResponse,
    gains: &[f64],
    start: usize,
    gain: f64,
) -> Option<usize> {
    (start..gains.len()).find(|b| {
        let f = response.f_hz[*b];
        let near = |i: &usize| (f / 1.26..=f * 1.26).contains(&response.f_hz[*i]);
        let inside = f * 1.26 <= response.f_hz[gains.len() - 1];
        inside
            && gains[*b] > LEAST_RISE * gain
            && (0..gains.len()).filter(near).all(|i| gains[i] <= gains[*b])
    })
}

/// One mode read from one response: frequency, damping, peak magnitude, with covariance of the first two's fit.
struct Mode {
    f_hz: f64,
    damping: f64,
    peak: f64,
    u: [f64; 2],
    dof: f64,
}

fn fit_all(response: &FrequencyResponse, options: &ResonanceOptions) -> Result<[Estimate; 3], Refusal> {
    let magnitudes = gains(response, None);
    let (gain, gain_u, after) = reference(response, &magnitudes, options.reference_hz)?;
    let start = response
        .f_hz
        .iter()
        .position(|f| *f >= options.search_hz[0])
        .unwrap_or(after)
        .max(after);
    let none = || Refusal::NoCrossing {
        what: "resonance".into(),
        level: LEAST_RISE,
        f_min_hz: options.search_hz[0],
        f_max_hz: options.search_hz[1].min(response.f_hz.last().copied().unwrap_or(0.0)),
    };
    let peak = first_peak(response, &magnitudes, start, gain)
        .filter(|b| response.f_hz[*b] <= options.search_hz[1])
        .ok_or_else(none)?;
    if !response.usable[peak] {
        let (f_hz, coherence) = (response.f_hz[peak], response.coherence[peak]);
        return Err(Refusal::LowCoherence {
            f_hz,
            coherence,
            limit: response.min_coherence,
        });
    }
    let mode = fit_mode(response, None, peak, 1.35)?;
    let narrower = fit_mode(response, None, peak, 1.22)?;
    let n = response.repeats.len();
    let mut alone: [Vec<f64>; 3] = Default::default();
    for r in 0..n {
        let own = gains(response, Some(r));
        if let (Ok(m), Ok((g, _, _))) = (
            fit_mode(response, Some(r), peak, 1.35),
            reference(response, &own, options.reference_hz),
        ) {
            alone[0].push(m.f_hz);
            alone[1].push(m.damping);
            alone[2].push(m.peak / g);
        }
    }
    let amplification = mode.peak / gain;
    // The peak of a mode is gain / (2 zeta), so it is known as well as the damping and the gain are.
    let peak_u = amplification * (mode.u[1] / mode.damping).hypot(gain_u);
    let rows = [
        (
            mode.f_hz,
            "Hz",
            mode.u[0],
            narrower.f_hz - mode.f_hz,
            "natural frequency",
        ),
        (
            mode.damping,
            "1",
            mode.u[1],
            narrower.damping - mode.damping,
            "damping ratio",
        ),
        (
            amplification,
            "1",
            peak_u,
            (narrower.peak - mode.peak) / gain,
            "peak magnitude over the gain at low frequency",
        ),
    ];
    let mut out = Vec::with_capacity(3);
    for ((value, unit, u, shift, what), repeats) in rows.into_iter().zip(&alone) {
        let mut budget = random_and_scatter(u, mode.dof, repeats)?;
        budget.push(Contribution::rectangular(
            "model: width of the fitted range",
            shift,
        ));
        if unit == "Hz" {
            budget.push(Contribution::rectangular("rig clock", CLOCK_REL * value));
        }
        let method = format!("{what} of one mode with a quadratic complex numerator, fitted around the peak");
        out.push(
            Estimate::from_budget(value, unit, n, method, budget)?
                .with_checks(response.checks.iter().cloned()),
        );
    }
    <[Estimate; 3]>::try_from(out).map_err(|_| none())
}

/// Passes of fitting and taking out the delay that the fit leaves; the second changes the frequency by 1e-4 of itself,
/// the third by a tenth of that.
const PASSES: usize = 3;

/// Fits `(a + b x + c x²) / (1 - r² + 2jζr)` to the bands within a factor `reach` of the peak. The delay taken out
/// before is the one that leaves the numerator the same phase at both ends: a numerator that had to turn would bend the
/// mode. The numerator is eliminated (it is linear), so only frequency and damping are searched.
fn fit_mode(
    response: &FrequencyResponse,
    repeat: Option<usize>,
    peak: usize,
    reach: f64,
) -> Result<Mode, Refusal> {
    let centre = response.f_hz[peak];
    let bands: Vec<usize> = (0..response.f_hz.len())
        .filter(|b| (centre / reach..=centre * reach).contains(&response.f_hz[*b]) && response.usable[*b])
        .collect();
    if bands.len() < 6 {
        let what = "usable bands around the resonance".into();
        return Err(Refusal::TooFewSamples {
            what,
            got: bands.len(),
            needed: 6,
        });
    }
    let magnitudes = gains(response, repeat);
    // Start: damping from the fall of the magnitude at the edges of the range.
    let edge = magnitudes[bands[bands.len() - 1]].min(magnitudes[bands[0]]) / magnitudes[peak];
    let zeta = (0.5 * (reach - 1.0 / reach) * edge).clamp(0.005, 0.5);
    let measured: Vec<(f64, Complex64, f64)> = bands
        .iter()
        .map(|b| {
            let h = repeat.map_or([response.re[*b], response.im[*b]], |r| response.repeats[r][*b]);
            let h = Complex64::new(h[0], h[1]);
            let u = h.norm() * response.gain_rel_u[*b].hypot(EQUAL_WEIGHT);
            (response.f_hz[*b] / centre, h, u)
        })
        .collect();
    // Each pass starts afresh: a start at the minimum itself leaves the search nothing to show that it is one.
    let first = [0.0, zeta.ln()];
    let mut at = first;
    let mut data = Vec::new();
    let mut rest = None;
    for _ in 0..PASSES {
        data = without_delay(&measured, at[0].exp(), at[1].exp());
        let fit = search(&data, &first)?;
        at = [fit.parameters[0], fit.parameters[1]];
        rest = Some(fit);
    }
    let fit = rest.ok_or_else(|| Failure::BadStart.refusal(WHAT))?;
    let (ratio, damping) = (fit.parameters[0].exp(), fit.parameters[1].exp());
    let model = Numerator::solve(&data, ratio, damping);
    let top = |m: &Numerator| {
        (0..=400)
            .map(|i| m.at(reach.powf(-1.0 + f64::from(i) / 200.0)).norm())
            .fold(0.0_f64, f64::max)
    };
    let peak = model.as_ref().map_or(f64::NAN, top);
    // Covariance counts the numerator as known; the six real numbers it took are given back here.
    let spent = (fit.dof as f64 / (fit.dof as f64 - 6.0).max(1.0)).sqrt();
    // The residuals say how large the errors are; if they happen to be smaller than noise alone, noise counts.
    let noise = bands
        .iter()
        .map(|b| response.gain_rel_u[*b].powi(2) / (response.gain_rel_u[*b].powi(2) + EQUAL_WEIGHT.powi(2)))
        .sum::<f64>()
        / bands.len() as f64;
    let scale = spent
        * if fit.residual_sd > 0.0 {
            (noise.sqrt() / fit.residual_sd).max(1.0)
        } else {
            1.0
        };
    Ok(Mode {
        f_hz: centre * ratio,
        damping,
        peak,
        u: [scale * centre * ratio * fit.sd(0), scale * damping * fit.sd(1)],
        dof: (fit.dof as f64 - 6.0).max(1.0),
    })
}

const WHAT: &str = "the fit of the resonance";

/// Frequency (over the centre) and damping, as logarithms, of the mode nearest to `data`.
fn search(data: &[(f64, Complex64, f64)], start: &[f64; 2]) -> Result<Fit, Refusal> {
    let mut residuals = |p: &[f64], out: &mut [f64]| {
        let mode = Numerator::solve(data, p[0].exp(), p[1].exp());
        for (i, (x, h, u)) in data.iter().enumerate() {
            let r = mode
                .as_ref()
                .map_or(Complex64::new(f64::NAN, 0.0), |m| m.at(*x) - h)
                / u;
            (out[2 * i], out[2 * i + 1]) = (r.re, r.im);
        }
    };
    let options = Options {
        scale: Some(vec![0.05, 0.5]),
        x_tolerance: 1e-8,
        rss_tolerance: 1e-9,
        ..Options::default()
    };
    minimise(&mut residuals, 2 * data.len(), start, &options).map_err(|f| f.refusal(WHAT))
}

/// The data without the delay that the mode does not explain between both ends.
fn without_delay(data: &[(f64, Complex64, f64)], ratio: f64, damping: f64) -> Vec<(f64, Complex64, f64)> {
    let own = |x: f64| Numerator::mode(ratio, damping, x);
    let turn: f64 = data
        .windows(2)
        .map(|pair| (pair[1].1 * pair[0].1.conj()).arg() - (own(pair[1].0) * own(pair[0].0).conj()).arg())
        .sum();
    let span = match (data.first(), data.last()) {
        (Some(first), Some(last)) if last.0 > first.0 => last.0 - first.0,
        _ => return data.to_vec(),
    };
    data.iter()
        .map(|(x, h, u)| (*x, h * Complex64::from_polar(1.0, -turn * x / span), *u))
        .collect()
}

/// A mode with its best complex numerator.
struct Numerator {
    ratio: f64,
    damping: f64,
    c: [Complex64; 3],
}

impl Numerator {
    fn mode(ratio: f64, damping: f64, x: f64) -> Complex64 {
        let r = x / ratio;
        Complex64::new(1.0 - r * r, 2.0 * damping * r).inv()
    }

    fn solve(data: &[(f64, Complex64, f64)], ratio: f64, damping: f64) -> Option<Self> {
        let m = data.len();
        let mut a = Matrix::zeros(2 * m, 6);
        let mut b = vec![0.0; 2 * m];
        for (i, (x, h, u)) in data.iter().enumerate() {
            for p in 0..3 {
                let g = Self::mode(ratio, damping, *x) * (x - 1.0).powi(p) / *u;
                let (re, im) = (2 * p as usize, 2 * p as usize + 1);
                (a.col_mut(re)[2 * i], a.col_mut(re)[2 * i + 1]) = (g.re, g.im);
                (a.col_mut(im)[2 * i], a.col_mut(im)[2 * i + 1]) = (-g.im, g.re);
            }
            (b[2 * i], b[2 * i + 1]) = (h.re / u, h.im / u);
        }
        let factors = qr(a, b);
        let c = back_substitute(&factors.r, &factors.qtb)?;
        let c = std::array::from_fn(|p| Complex64::new(c[2 * p], c[2 * p + 1]));
        Some(Self { ratio, damping, c })
    }

    fn at(&self, x: f64) -> Complex64 {
        let d = x - 1.0;
        Self::mode(self.ratio, self.damping, x) * (self.c[0] + d * (self.c[1] + d * self.c[2]))
    }
}
