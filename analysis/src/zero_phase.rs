//! Low-pass filtering without shift in time: Butterworth sections run forwards and backwards.
//!
//! Second-order sections by the bilinear transform with the corner prewarped (Oppenheim and Schafer, Discrete-Time
//! Signal Processing, ch. 7), each started at rest on the first value, over ends continued by point reflection
//! (Gustafsson 1996 discusses such ends). The amplitude at the corner is halved, as the filter acts twice.

use crate::estimate::Refusal;

/// One section in transposed direct form II, unit gain at zero frequency.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

impl Section {
    /// A second-order low-pass of prewarped corner `k`, the tangent of half the angle a sample, and `damping`, that of its poles twice,
    /// times `k`.
    pub(crate) fn low_pass(k: f64, damping: f64) -> Self {
        let norm = 1.0 + damping + k * k;
        let gain = k * k / norm;
        Self {
            b: [gain, 2.0 * gain, gain],
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - damping + k * k) / norm],
        }
    }

    /// Passes over all rows, from rest on the first values: output equals input.
    pub(crate) fn pass<'a, const N: usize>(
        &self,
        start: [f64; N],
        rows: impl Iterator<Item = &'a mut [f64; N]>,
    ) {
        let (b, a) = (self.b, self.a);
        let mut z = start.map(|x| {
            let z2 = (b[2] - a[1]) * x;
            [(b[1] - a[0]) * x + z2, z2]
        });
        for row in rows {
            for (v, z) in row.iter_mut().zip(&mut z) {
                let x = *v;
                let out = b[0] * x + z[0];
                *z = [b[1] * x - a[0] * out + z[1], b[2] * x - a[1] * out];
                *v = out;
            }
        }
    }
}

/// A low-pass of even order.
#[derive(Debug, Clone)]
pub struct LowPass {
    sections: Vec<Section>,
    /// Samples by which the ends are continued.
    reach: usize,
}

impl LowPass {
    /// A Butterworth low-pass of `order` (2, 4, 6 or 8) with corner `corner_hz` for samples at `fs_hz`.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for another order or a corner not between `fs_hz`/10,000 and 0.4 `fs_hz`.
    pub fn butterworth(order: usize, corner_hz: f64, fs_hz: f64) -> Result<Self, Refusal> {
        if !matches!(order, 2 | 4 | 6 | 8) {
            return Err(Refusal::OutOfRange {
                what: "the order of a low-pass (even)".into(),
                value: order as f64,
                low: 2.0,
                high: 8.0,
                unit: "1".into(),
            });
        }
        if !(corner_hz >= 1e-4 * fs_hz && corner_hz <= 0.4 * fs_hz) {
            return Err(Refusal::OutOfRange {
                what: "the corner of a low-pass".into(),
                value: corner_hz,
                low: 1e-4 * fs_hz,
                high: 0.4 * fs_hz,
                unit: "Hz".into(),
            });
        }
        let k = (std::f64::consts::PI * corner_hz / fs_hz).tan();
        let sections = (0..order / 2)
            .map(|i| {
                // Poles at ± theta from the negative real axis.
                let theta = std::f64::consts::PI * (2 * i + 1) as f64 / (2 * order) as f64;
                Section::low_pass(k, 2.0 * theta.cos() * k)
            })
            .collect();
        Ok(Self {
            sections,
            reach: (1.5 * fs_hz / corner_hz).ceil() as usize,
        })
    }

    /// Samples at either end within which the continuation of the ends still shows.
    pub fn reach(&self) -> usize {
        self.reach
    }

    /// The filtered samples, in phase with `x`.
    ///
    /// # Errors
    /// [`Refusal::TooFewSamples`] when `x` is not longer than [`reach`](Self::reach).
    pub fn run(&self, x: &[f64]) -> Result<Vec<f64>, Refusal> {
        let [y] = self.run_beside([x])?;
        Ok(y)
    }

    /// Several signals of one length, filtered beside one another: each as [`run`](Self::run) gives it. A section waits for its last
    /// output, so that four take hardly longer than one.
    ///
    /// # Errors
    /// [`Refusal::TooFewSamples`] as of one; [`Refusal::LengthMismatch`].
    pub fn run_beside<const N: usize>(&self, signals: [&[f64]; N]) -> Result<[Vec<f64>; N], Refusal> {
        let (n, p) = (signals.iter().map(|x| x.len()).min().unwrap_or(0), self.reach);
        if let Some(longer) = signals.iter().find(|x| x.len() > n) {
            return Err(Refusal::LengthMismatch {
                what: "signals that are filtered beside one another".into(),
                left: longer.len(),
                right: n,
            });
        }
        if n < p + 2 {
            return Err(Refusal::TooFewSamples {
                what: "filtering to and fro".into(),
                got: n,
                needed: p + 2,
            });
        }
        let mut y: Vec<[f64; N]> = Vec::with_capacity(n + 2 * p);
        y.extend((1..=p).rev().map(|i| signals.map(|x| 2.0 * x[0] - x[i])));
        y.extend((0..n).map(|i| signals.map(|x| x[i])));
        y.extend((1..=p).map(|i| signals.map(|x| 2.0 * x[n - 1] - x[n - 1 - i])));
        if let Some(start) = y.first().copied() {
            self.sections.iter().for_each(|s| s.pass(start, y.iter_mut()));
        }
        if let Some(start) = y.last().copied() {
            self.sections
                .iter()
                .for_each(|s| s.pass(start, y.iter_mut().rev()));
        }
        Ok(std::array::from_fn(|k| {
            y[p..p + n].iter().map(|row| row[k]).collect()
        }))
    }
}

/// First derivative on an even grid by central differences of fourth order, of second order next to the ends.
pub(crate) fn derivative(x: &[f64], fs_hz: f64) -> Vec<f64> {
    let n = x.len();
    (0..n)
        .map(|i| {
            let d = if i >= 2 && i + 2 < n {
                (x[i - 2] - 8.0 * x[i - 1] + 8.0 * x[i + 1] - x[i + 2]) / 12.0
            } else {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
                (x[b] - x[a]) / (b - a).max(1) as f64
            };
            d * fs_hz
        })
        .collect()
}
