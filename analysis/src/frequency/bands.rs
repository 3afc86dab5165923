//! Response in one band of spectral lines by complex least squares.
//!
//! Within a band the response is a quadratic in frequency, and what leaks in because the record does not begin and end
//! at rest is a straight line for each repeat (local polynomial method, Pintelon and Schoukens, System Identification,
//! 2nd ed., ch. 7): `Y_i = (h0 + h1 x + h2 x²) U_i + a_i + b_i x + noise`, `x` from -1 to 1 over the band. A curvature that each
//! band finds for itself more than doubles the variance at its centre (9/4 for even lines); neighbouring bands know it far
//! better, as they reach further, and [`bent`] fits a band anew with theirs.

use realfft::num_complex::Complex64;

use super::curve::Piece;

/// Spectral lines of one repeat, ascending in frequency, from the line after DC.
#[derive(Debug, Clone)]
pub(crate) struct Lines {
    pub(crate) spacing_hz: f64,
    pub(crate) input: Vec<Complex64>,
    pub(crate) output: Vec<Complex64>,
}

impl Lines {
    /// Frequency of line `k`.
    pub(crate) fn f_hz(&self, k: usize) -> f64 {
        (k + 1) as f64 * self.spacing_hz
    }

    /// Lines of the band around `f_hz`: those within `half_hz`, and at least `min` of them.
    fn span(&self, f_hz: f64, half_hz: f64, min: usize) -> (usize, usize) {
        let half = half_hz.max(0.5 * min as f64 * self.spacing_hz);
        let index = |f: f64| (f / self.spacing_hz - 1.0).max(0.0);
        let first = index(f_hz - half).ceil() as usize;
        let last = (index(f_hz + half).floor() as usize + 1).max(first + min);
        (first.min(self.input.len()), last.min(self.input.len()))
    }

    /// Takes a delay out of the output.
    pub(crate) fn advance(&mut self, delay_s: f64) {
        let spacing_hz = self.spacing_hz;
        for (k, y) in self.output.iter_mut().enumerate() {
            let f = (k + 1) as f64 * spacing_hz;
            *y *= Complex64::from_polar(1.0, std::f64::consts::TAU * f * delay_s);
        }
    }
}

/// Response at the centre of a band.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Band {
    pub(crate) h: Complex64,
    pub(crate) coherence: f64,
    /// Equivalent number of independent averages.
    pub(crate) averages: f64,
    /// How far it reaches either way, Hz.
    reach_hz: f64,
    /// What a curvature that was given makes of the response, Hz².
    bend: f64,
}

/// Terms of the polynomial where the band finds its curvature itself, and where it is known.
const OWN: usize = 3;
const KNOWN: usize = 2;

/// Fits the band around `f_hz`; `None` when the lines do not determine it.
pub(crate) fn fit(repeats: &[&Lines], f_hz: f64, half_hz: f64, min_lines: usize) -> Option<Band> {
    polynomial::<OWN>(repeats, (f_hz, half_hz, min_lines), Complex64::ZERO)
}

/// Bands on either side whose responses give a band's curvature.
const BESIDE: usize = 2;
/// They have to reach further than the band itself by this factor: then what noise makes of the curvature is small beside what it
/// makes of the band.
const WIDER: f64 = 2.0;

/// The bands around `centres` once more, each with the curvature that the bands beside it show; one whose neighbours do not reach
/// well beyond it, as at low frequency, stays as it is.
pub(crate) fn bent(
    repeats: &[&Lines],
    centres: &[f64],
    own: &[Option<Band>],
    (half, min_lines): (f64, usize),
) -> Vec<Option<Band>> {
    let one = |b: usize| -> Option<Band> {
        let around = b.checked_sub(BESIDE)?..=b + BESIDE;
        let f_hz = centres.get(around.clone())?;
        let bands: Vec<Band> = own.get(around)?.iter().copied().collect::<Option<_>>()?;
        let reach_hz = 0.5 * (f_hz[2 * BESIDE] - f_hz[0]);
        if reach_hz < WIDER * bands[BESIDE].reach_hz {
            return None;
        }
        let x: Vec<f64> = f_hz.iter().map(|f| f - f_hz[BESIDE]).collect();
        let weight = |k: usize| {
            let alone: Vec<f64> = (0..bands.len()).map(|j| f64::from(u8::from(j == k))).collect();
            Piece::new(&x, &alone, &[1.0; 2 * BESIDE + 1], 2)?.coefficient(2)
        };
        let weights: Vec<f64> = (0..bands.len()).map(weight).collect::<Option<_>>()?;
        let curvature = weights.iter().zip(&bands).map(|(w, band)| band.h * w).sum();
        let here = f_hz[BESIDE];
        let mut band = polynomial::<KNOWN>(repeats, (here, half * here, min_lines), curvature)?;
        // What noise makes of the curvature, its own in part.
        let from_all: f64 = weights
            .iter()
            .zip(&bands)
            .map(|(w, other)| w * w * band.averages / other.averages)
            .sum();
        let more = 2.0 * band.bend * weights[BESIDE] + band.bend * band.bend * from_all;
        band.averages /= (1.0 + more).max(1.0);
        Some(band)
    };
    own.iter().enumerate().map(|(b, band)| one(b).or(*band)).collect()
}

/// `TERMS` terms of the polynomial; its quadratic one per Hz² is `curvature` where it is not among them.
fn polynomial<const TERMS: usize>(
    repeats: &[&Lines],
    (f_hz, half_hz, min_lines): (f64, f64, usize),
    curvature: Complex64,
) -> Option<Band> {
    let mut widest = 0.0_f64;
    let mut gram = [[Complex64::default(); TERMS]; TERMS];
    let (mut right, mut bending) = ([Complex64::default(); TERMS], [Complex64::default(); TERMS]);
    let (mut syy, mut suu, mut count) = (0.0, 0.0, 0_usize);
    for lines in repeats {
        let (first, last) = lines.span(f_hz, half_hz, min_lines);
        if last < first + 4 {
            return None;
        }
        // The band is widened at low frequency to hold enough lines; x must then span what is really used.
        let reach = (lines.f_hz(last - 1) - f_hz)
            .abs()
            .max((f_hz - lines.f_hz(first)).abs());
        let x: Vec<f64> = (first..last).map(|k| (lines.f_hz(k) - f_hz) / reach).collect();
        let mut columns: Vec<Vec<Complex64>> = (0..TERMS)
            .map(|p| {
                x.iter()
                    .zip(&lines.input[first..last])
                    .map(|(x, u)| u * x.powi(p as i32))
                    .collect()
            })
            .collect();
        let mut bent: Vec<Complex64> = x
            .iter()
            .zip(&lines.input[first..last])
            .map(|(x, u)| u * (reach * x).powi(2))
            .collect();
        let mut y: Vec<Complex64> = bent
            .iter()
            .zip(&lines.output[first..last])
            .map(|(bent, y)| y - curvature * bent)
            .collect();
        widest = widest.max(reach);
        let raw: f64 = lines.input[first..last].iter().map(Complex64::norm_sqr).sum();
        remove_line(&x, &mut y);
        remove_line(&x, &mut bent);
        columns.iter_mut().for_each(|c| remove_line(&x, c));
        for p in 0..TERMS {
            for q in 0..TERMS {
                gram[p][q] += inner(&columns[p], &columns[q]);
            }
            right[p] += inner(&columns[p], &y);
            bending[p] += inner(&columns[p], &bent);
        }
        syy += inner(&y, &y).re;
        suu += raw;
        count += x.len();
    }
    let free = count as f64 - (TERMS + 2 * repeats.len()) as f64;
    if free < 1.0 || suu <= 0.0 || syy <= 0.0 {
        return None;
    }
    let (h, g00) = solve(gram, right)?;
    let bend = if TERMS == KNOWN {
        -solve(gram, bending)?.0[0].re
    } else {
        0.0
    };
    let explained: f64 = (0..TERMS).map(|p| (h[p].conj() * right[p]).re).sum();
    let noise = (syy - explained).max(0.0) / free;
    let total = syy / (count as f64 - 2.0 * repeats.len() as f64);
    let coherence = (1.0 - noise / total).clamp(0.0, 1.0);
    let averages = count as f64 / (g00 * suu);
    (h[0].is_finite() && averages.is_finite()).then_some(Band {
        h: h[0],
        coherence,
        averages,
        reach_hz: widest,
        bend,
    })
}

/// Takes the least-squares straight line (complex coefficients) out of `y`.
fn remove_line(x: &[f64], y: &mut [Complex64]) {
    let n = x.len() as f64;
    let mean_x = x.iter().sum::<f64>() / n;
    let sxx: f64 = x.iter().map(|x| (x - mean_x).powi(2)).sum();
    let mean_y = y.iter().sum::<Complex64>() / n;
    let slope = x
        .iter()
        .zip(y.iter())
        .map(|(x, y)| y * (x - mean_x))
        .sum::<Complex64>()
        / sxx;
    for (x, y) in x.iter().zip(y.iter_mut()) {
        *y -= mean_y + slope * (x - mean_x);
    }
}

fn inner(a: &[Complex64], b: &[Complex64]) -> Complex64 {
    a.iter().zip(b).map(|(a, b)| a.conj() * b).sum()
}

/// Solves the normal equations by elimination with pivots on the diagonal (the matrix is Hermitian and positive); also
/// gives entry (0, 0) of the inverse.
fn solve<const TERMS: usize>(
    gram: [[Complex64; TERMS]; TERMS],
    right: [Complex64; TERMS],
) -> Option<([Complex64; TERMS], f64)> {
    let scale: Vec<f64> = (0..TERMS).map(|i| gram[i][i].re.sqrt()).collect();
    if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
        return None;
    }
    // Augmented with the right side and the first unit vector.
    let mut a: Vec<Vec<Complex64>> = (0..TERMS)
        .map(|i| {
            let mut row: Vec<Complex64> = (0..TERMS).map(|j| gram[i][j] / (scale[i] * scale[j])).collect();
            row.push(right[i] / scale[i]);
            row.push(Complex64::from(if i == 0 { 1.0 } else { 0.0 }));
            row
        })
        .collect();
    for k in 0..TERMS {
        if a[k][k].re < 1e-9 {
            return None;
        }
        for i in 0..TERMS {
            if i != k {
                let f = a[i][k] / a[k][k];
                let pivot = a[k].clone();
                for (v, p) in a[i].iter_mut().zip(&pivot).skip(k) {
                    *v -= f * p;
                }
            }
        }
    }
    let h = std::array::from_fn(|i| a[i][TERMS] / a[i][i] / scale[i]);
    Some((h, (a[0][TERMS + 1] / a[0][0]).re / (scale[0] * scale[0])))
}
