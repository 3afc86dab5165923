//! Response in one band of spectral lines by complex least squares.
//!
//! Within a band the response is a quadratic in frequency, and what leaks in because the record does not begin and end
//! at rest is a straight line for each repeat (local polynomial method, Pintelon and Schoukens, System Identification,
//! 2nd ed., ch. 7): `Y_i = (h0 + h1 x + h2 x²) U_i + a_i + b_i x + noise`, `x` from -1 to 1 over the band.

use realfft::num_complex::Complex64;

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
}

/// Order of the polynomial, plus one.
const TERMS: usize = 3;

/// Fits the band around `f_hz`; `None` when the lines do not determine it.
pub(crate) fn fit(repeats: &[&Lines], f_hz: f64, half_hz: f64, min_lines: usize) -> Option<Band> {
    let mut gram = [[Complex64::default(); TERMS]; TERMS];
    let mut right = [Complex64::default(); TERMS];
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
        let mut y = lines.output[first..last].to_vec();
        let raw: f64 = lines.input[first..last].iter().map(Complex64::norm_sqr).sum();
        remove_line(&x, &mut y);
        columns.iter_mut().for_each(|c| remove_line(&x, c));
        for p in 0..TERMS {
            for q in 0..TERMS {
                gram[p][q] += inner(&columns[p], &columns[q]);
            }
            right[p] += inner(&columns[p], &y);
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
    let explained: f64 = (0..TERMS).map(|p| (h[p].conj() * right[p]).re).sum();
    let noise = (syy - explained).max(0.0) / free;
    let total = syy / (count as f64 - 2.0 * repeats.len() as f64);
    let coherence = (1.0 - noise / total).clamp(0.0, 1.0);
    let averages = count as f64 / (g00 * suu);
    (h[0].is_finite() && averages.is_finite()).then_some(Band {
        h: h[0],
        coherence,
        averages,
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
fn solve(gram: [[Complex64; TERMS]; TERMS], right: [Complex64; TERMS]) -> Option<([Complex64; TERMS], f64)> {
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
