//! Low-pass filtering without shift in time: Butterworth sections run forwards and backwards.
//!
//! Second-order sections by the bilinear transform with the corner prewarped (Oppenheim and Schafer, Discrete-Time
//! Signal Processing, ch. 7), each started at rest on the first value, over ends continued by point reflection
//! (Gustafsson 1996 discusses such ends). The amplitude at the corner is halved, as the filter acts twice.

use crate::estimate::Refusal;

/// One section in transposed direct form II, unit gain at zero frequency.
#[derive(Debug, Clone, Copy)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
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
                let damping = 2.0 * theta.cos() * k;
                let norm = 1.0 + damping + k * k;
                let gain = k * k / norm;
                Section {
                    b: [gain, 2.0 * gain, gain],
                    a: [2.0 * (k * k - 1.0) / norm, (1.0 - damping + k * k) / norm],
                }
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
        let (n, p) = (x.len(), self.reach);
        if n < p + 2 {
            return Err(Refusal::TooFewSamples {
                what: "filtering to and fro".into(),
                got: n,
                needed: p + 2,
            });
        }
        let (first, last) = (x[0], x[n - 1]);
        let mut y = Vec::with_capacity(n + 2 * p);
        y.extend((1..=p).rev().map(|i| 2.0 * first - x[i]));
        y.extend_from_slice(x);
        y.extend((1..=p).map(|i| 2.0 * last - x[n - 1 - i]));
        self.once(&mut y);
        y.reverse();
        self.once(&mut y);
        y.reverse();
        Ok(y[p..p + n].to_vec())
    }

    fn once(&self, y: &mut [f64]) {
        let Some(&start) = y.first() else { return };
        for s in &self.sections {
            // At rest on the first value: output equals input.
            let z2 = (s.b[2] - s.a[1]) * start;
            let mut z = [(s.b[1] - s.a[0]) * start + z2, z2];
            for v in y.iter_mut() {
                let x = *v;
                let out = s.b[0] * x + z[0];
                z = [s.b[1] * x - s.a[0] * out + z[1], s.b[2] * x - s.a[1] * out];
                *v = out;
            }
        }
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
