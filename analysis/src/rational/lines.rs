//! What is fitted: lines of a response with their errors, and the same of each repeat.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use crate::estimate::{Contribution, Refusal};
use crate::frequency::FrequencyResponse;
use crate::statistics::mean_sd;

/// Lines of a response, frequencies ascending.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseLines {
    /// Frequencies, Hz.
    pub f_hz: Vec<f64>,
    /// Response, delay included.
    pub h: Vec<Complex64>,
    /// Standard error of real and imaginary part each, in the unit of `h`, as if lines were independent.
    pub u: Vec<f64>,
    /// The same lines of each repeat (or realisation) alone; may be empty.
    pub repeats: Vec<Vec<Complex64>>,
    /// What is known of the delay's uncertainty beyond the lines: scatter of the repeats, the sensor.
    pub delay_budget: Vec<Contribution>,
}

/// Lines that a band of [`FrequencyResponse`] draws on at least; see [`crate::frequency::FrequencyOptions`].
const BAND_LINES: f64 = 12.0;

impl ResponseLines {
    /// Usable bands of a sweep's response within a range. At low frequency neighbouring bands draw on the same spectral
    /// lines; their errors are made larger by the root of that overlap, so that they count as often as they should.
    ///
    /// # Errors
    /// [`Refusal::TooFewSamples`] when no more than one band is left.
    pub fn of_sweeps(response: &FrequencyResponse, range_hz: [f64; 2]) -> Result<Self, Refusal> {
        let n = response.f_hz.len();
        let kept: Vec<usize> = (0..n)
            .filter(|b| (range_hz[0]..=range_hz[1]).contains(&response.f_hz[*b]) && response.usable[*b])
            .collect();
        if kept.len() < 2 {
            return Err(Refusal::TooFewSamples {
                what: format!("usable bands from {} to {} Hz", range_hz[0], range_hz[1]),
                got: kept.len(),
                needed: 2,
            });
        }
        let spacing = |b: usize| {
            let (low, high) = (
                response.f_hz[b.saturating_sub(1)],
                response.f_hz[(b + 1).min(n - 1)],
            );
            let steps = (b + 1).min(n - 1) - b.saturating_sub(1);
            (high - low) / steps as f64
        };
        let overlap = |b: usize| (BAND_LINES * response.line_hz / spacing(b)).max(1.0);
        let size = |b: usize| response.re[b].hypot(response.im[b]);
        let repeats: Vec<Vec<Complex64>> = response
            .repeats
            .iter()
            .map(|r| kept.iter().map(|b| Complex64::new(r[*b][0], r[*b][1])).collect())
            .collect();
        let mut delay_budget = vec![Contribution::type_b(
            "declared sensor delay",
            response.output_delay_u_s,
        )];
        if let Ok(stats) = mean_sd(&response.repeat_delay_s)
            && stats.n > 1
        {
            let n = stats.n as f64;
            delay_budget.push(Contribution::type_a(
                "scatter of repeats",
                stats.sd / n.sqrt(),
                n - 1.0,
            ));
        }
        Ok(Self {
            f_hz: kept.iter().map(|b| response.f_hz[*b]).collect(),
            h: kept
                .iter()
                .map(|b| Complex64::new(response.re[*b], response.im[*b]))
                .collect(),
            u: kept
                .iter()
                .map(|b| size(*b) * response.gain_rel_u[*b] * overlap(*b).sqrt())
                .collect(),
            repeats,
            delay_budget,
        })
    }

    /// Refuses lists that do not belong together, and numbers that are none.
    pub(crate) fn check(&self) -> Result<(), Refusal> {
        let n = self.f_hz.len();
        let others = [("values", self.h.len()), ("errors", self.u.len())];
        let repeats = self.repeats.iter().map(|r| ("lines of a repeat", r.len()));
        for (what, len) in others.into_iter().chain(repeats) {
            if len != n {
                return Err(Refusal::LengthMismatch {
                    what: format!("frequencies and {what}"),
                    left: n,
                    right: len,
                });
            }
        }
        let bad = |i: &usize| {
            let fine = self.f_hz[*i].is_finite() && self.h[*i].is_finite() && self.u[*i].is_finite();
            !fine || self.u[*i] < 0.0 || self.repeats.iter().any(|r| !r[*i].is_finite())
        };
        if let Some(index) = (0..n).find(bad) {
            return Err(Refusal::NonFinite {
                what: "a line of the response".into(),
                index,
            });
        }
        if let Some(i) = (1..n).find(|i| self.f_hz[*i] <= self.f_hz[i - 1]) {
            return Err(Refusal::OutOfRange {
                what: format!("frequency number {i}, which must be above the one before it,"),
                value: self.f_hz[i],
                low: self.f_hz[i - 1],
                high: f64::INFINITY,
                unit: "Hz".into(),
            });
        }
        Ok(())
    }

    /// Mean delay of all lines, s: their mean phase step over their spacing, weighted by magnitude over error.
    pub(crate) fn bulk_delay_s(&self) -> f64 {
        let (mut top, mut bottom) = (0.0, 0.0);
        for i in 1..self.f_hz.len() {
            let step = TAU * (self.f_hz[i] - self.f_hz[i - 1]);
            let turn = (self.h[i] * self.h[i - 1].conj()).arg();
            let weight = (self.h[i].norm() / self.u[i].max(f64::MIN_POSITIVE))
                .min(1e6)
                .powi(2);
            top -= weight * turn * step;
            bottom += weight * step * step;
        }
        if bottom > 0.0 { top / bottom } else { 0.0 }
    }
}
