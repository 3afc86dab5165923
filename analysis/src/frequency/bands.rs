//! Response in one band of spectral lines by complex least squares.
//!
//! Within a band the response is a quadratic in frequency, and what leaks in because the record does not begin and end
//! at rest is a straight line for each repeat (local polynomial method, Pintelon and Schoukens, System Identification,
//! 2nd ed., ch. 7): `Y_i = (h0 + h1 x + h2 x²) U_i + a_i + b_i x + noise`, `x` from its centre. A curvature that each
//! band finds for itself more than doubles the variance at its centre (9/4 for even lines); neighbouring bands know it far
//! better, as they reach further, and a band is fitted with theirs.

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
}

/// Terms of the polynomial where the band finds its curvature itself, and where it is known.
const OWN: usize = 3;
const KNOWN: usize = 2;
/// Bands on either side whose responses give a band's curvature, and how many that are with it.
const BESIDE: usize = 2;
const SPAN: usize = 2 * BESIDE + 1;
/// They have to reach further than the band itself by this factor: then what noise makes of the curvature is small beside what it
/// makes of the band.
const WIDER: f64 = 2.0;

/// The bands around `centres`, evenly spaced in the logarithm of frequency, each of `half` its centre either way and with the curvature
/// that the bands beside it show. One whose neighbours do not reach well beyond it, as at low frequency, finds its own; `None` where
/// the lines do not determine it.
pub(crate) fn bands(repeats: &[&Lines], centres: &[f64], half: f64, min_lines: usize) -> Vec<Option<Band>> {
    let sums: Vec<Option<Sums>> = centres
        .iter()
        .map(|f_hz| Sums::of(repeats, *f_hz, half * f_hz, min_lines))
        .collect();
    let own: Vec<Option<Band>> = sums.iter().map(|sums| sums.as_ref()?.own()).collect();
    let Some([first, second]) = centres.first_chunk::<2>() else {
        return own;
    };
    // Where the bands beside one lie, in halves of it: the same for all.
    let beside: [f64; SPAN] =
        std::array::from_fn(|k| ((second / first).powi(k as i32 - BESIDE as i32) - 1.0) / half);
    let weight = |k: usize| {
        let alone: [f64; SPAN] = std::array::from_fn(|j| f64::from(u8::from(j == k)));
        Piece::new(&beside, &alone, &[1.0; SPAN], 2)?.coefficient(2)
    };
    let Some(weights) = (0..SPAN).map(weight).collect::<Option<Vec<f64>>>() else {
        return own;
    };
    let wide = 0.5 * half * (beside[SPAN - 1] - beside[0]);
    let bent = |b: usize| -> Option<Band> {
        let sums = sums[b].as_ref()?;
        if wide * centres[b] < WIDER * sums.reach_hz {
            return None;
        }
        let around = own.get(b.checked_sub(BESIDE)?..=b + BESIDE)?;
        let around: Vec<Band> = around.iter().copied().collect::<Option<_>>()?;
        sums.bent(&weights, &around)
    };
    (0..own.len()).map(|b| bent(b).or(own[b])).collect()
}

/// Products of the lines of a band, straight lines taken out, over all repeats; `x` of the polynomial is from the centre in halves of
/// the band.
struct Sums {
    gram: [[Complex64; OWN]; OWN],
    right: [Complex64; OWN],
    output: f64,
    /// The input's, straight lines left in.
    input: f64,
    lines: usize,
    repeats: usize,
    /// How far its lines reach either way, Hz.
    reach_hz: f64,
}

impl Sums {
    fn of(repeats: &[&Lines], f_hz: f64, half_hz: f64, min_lines: usize) -> Option<Self> {
        let mut sums = Self {
            gram: [[Complex64::ZERO; OWN]; OWN],
            right: [Complex64::ZERO; OWN],
            output: 0.0,
            input: 0.0,
            lines: 0,
            repeats: repeats.len(),
            reach_hz: 0.0,
        };
        for lines in repeats {
            let (first, last) = lines.span(f_hz, half_hz, min_lines);
            if last < first + 4 {
                return None;
            }
            // The band is widened at low frequency to hold enough lines.
            let reach_hz = (lines.f_hz(last - 1) - f_hz)
                .abs()
                .max((f_hz - lines.f_hz(first)).abs());
            sums.reach_hz = sums.reach_hz.max(reach_hz);
            let x: Vec<f64> = (first..last).map(|k| (lines.f_hz(k) - f_hz) / half_hz).collect();
            let input = &lines.input[first..last];
            let columns: [Vec<Complex64>; OWN] = std::array::from_fn(|p| {
                let mut column: Vec<Complex64> =
                    x.iter().zip(input).map(|(x, u)| u * x.powi(p as i32)).collect();
                remove_line(&x, &mut column);
                column
            });
            let mut y = lines.output[first..last].to_vec();
            remove_line(&x, &mut y);
            for p in 0..OWN {
                for q in 0..OWN {
                    sums.gram[p][q] += inner(&columns[p], &columns[q]);
                }
                sums.right[p] += inner(&columns[p], &y);
            }
            sums.output += inner(&y, &y).re;
            sums.input += input.iter().map(Complex64::norm_sqr).sum::<f64>();
            sums.lines += x.len();
        }
        Some(sums)
    }

    /// With a curvature of its own.
    fn own(&self) -> Option<Band> {
        self.band(self.gram, self.right, self.output)
    }

    /// With the curvature that it and the bands `around` it show by these weights. The noise of that counts too, its own in part.
    fn bent(&self, weights: &[f64], around: &[Band]) -> Option<Band> {
        let curvature: Complex64 = weights.iter().zip(around).map(|(w, band)| band.h * w).sum();
        let gram: [[Complex64; KNOWN]; KNOWN] =
            std::array::from_fn(|p| std::array::from_fn(|q| self.gram[p][q]));
        let bend: [Complex64; KNOWN] = std::array::from_fn(|p| self.gram[p][KNOWN]);
        let right = std::array::from_fn(|p| self.right[p] - curvature * bend[p]);
        let output = self.output - 2.0 * (curvature.conj() * self.right[KNOWN]).re
            + curvature.norm_sqr() * self.gram[KNOWN][KNOWN].re;
        let mut band = self.band(gram, right, output)?;
        // What the curvature makes of the response.
        let makes = -solve(gram, bend)?.0[0].re;
        let from_all: f64 = weights
            .iter()
            .zip(around)
            .map(|(w, other)| w * w * band.averages / other.averages)
            .sum();
        let more = makes * (2.0 * weights[BESIDE] + makes * from_all);
        band.averages /= (1.0 + more).max(1.0);
        Some(band)
    }

    fn band<const TERMS: usize>(
        &self,
        gram: [[Complex64; TERMS]; TERMS],
        right: [Complex64; TERMS],
        output: f64,
    ) -> Option<Band> {
        let (lines, lost) = (self.lines as f64, 2.0 * self.repeats as f64);
        let free = lines - TERMS as f64 - lost;
        if free < 1.0 || self.input <= 0.0 || output <= 0.0 {
            return None;
        }
        let (h, g00) = solve(gram, right)?;
        let explained: f64 = (0..TERMS).map(|p| (h[p].conj() * right[p]).re).sum();
        let noise = (output - explained).max(0.0) / free;
        let total = output / (lines - lost);
        let coherence = (1.0 - noise / total).clamp(0.0, 1.0);
        let averages = lines / (g00 * self.input);
        (h[0].is_finite() && averages.is_finite()).then_some(Band {
            h: h[0],
            coherence,
            averages,
        })
    }
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
