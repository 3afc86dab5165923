//! Discrete Fourier transforms of any length.
//!
//! Written out here because this crate has neither `std` nor threads: of the kept libraries one needs `std`, the other
//! has single precision and a fixed list of lengths, and a multisine's period is any number of setpoints.

use alloc::{vec, vec::Vec};
use core::f64::consts::{PI, TAU};
use num_complex::Complex64;

/// `e^(i angle)`.
pub(super) fn turn(angle_rad: f64) -> Complex64 {
    let (sin, cos) = libm::sincos(angle_rad);
    Complex64::new(cos, sin)
}

/// Transforms of one length that is a power of two (Cooley and Tukey, Math. Comp. 19, 1965: radix 2, in place).
#[derive(Clone, Debug)]
pub(super) struct PowerOfTwo {
    twiddles: Vec<Complex64>,
}

impl PowerOfTwo {
    /// For `len` values or the next greater power of two, 2 at least.
    pub(super) fn at_least(len: usize) -> Self {
        let len = len.max(2).next_power_of_two();
        let twiddle = |k: usize| turn(-TAU * k as f64 / len as f64);
        Self {
            twiddles: (0..len / 2).map(twiddle).collect(),
        }
    }

    /// Number of values.
    pub(super) fn len(&self) -> usize {
        2 * self.twiddles.len()
    }

    /// `X[k] = Σ x[n] e^(-2πi k n/len)`. Does nothing to a list of another length.
    pub(super) fn forward(&self, x: &mut [Complex64]) {
        let len = self.len();
        if x.len() != len {
            return;
        }
        let shift = usize::BITS - len.trailing_zeros();
        for i in 0..len {
            let j = i.reverse_bits() >> shift;
            if i < j {
                x.swap(i, j);
            }
        }
        let mut half = 1;
        while half < len {
            let stride = len / (2 * half);
            for block in x.chunks_exact_mut(2 * half) {
                let (low, high) = block.split_at_mut(half);
                let twiddles = self.twiddles.iter().step_by(stride);
                for ((a, b), twiddle) in low.iter_mut().zip(high).zip(twiddles) {
                    let turned = *b * twiddle;
                    *b = *a - turned;
                    *a += turned;
                }
            }
            half *= 2;
        }
    }
}

/// Transforms of one length, whatever it is, by convolution with a chirp (Bluestein, IEEE Trans. Audio Electroacoust. 18,
/// 1970).
#[derive(Clone, Debug)]
pub(crate) struct AnyLength {
    chirp: Vec<Complex64>,
    filter: Vec<Complex64>,
    inner: PowerOfTwo,
}

impl AnyLength {
    pub(crate) fn new(len: usize) -> Self {
        // n²/2 turns of 1/len: taken modulo a turn in whole numbers, where nothing is lost.
        let chirp: Vec<Complex64> = (0..len)
            .map(|n| turn(-PI * ((n as u128 * n as u128) % (2 * len as u128)) as f64 / len as f64))
            .collect();
        let inner = PowerOfTwo::at_least(2 * len);
        let mut filter = vec![Complex64::ZERO; inner.len()];
        for (n, value) in chirp.iter().enumerate() {
            for at in [n, (inner.len() - n) % inner.len()] {
                if let Some(place) = filter.get_mut(at) {
                    *place = value.conj();
                }
            }
        }
        inner.forward(&mut filter);
        Self { chirp, filter, inner }
    }

    /// `X[k] = Σ x[n] e^(-2πi k n/len)` for `k` from 0 to `len - 1`; values that are missing count as zero.
    pub(crate) fn forward(&self, x: &[Complex64]) -> Vec<Complex64> {
        let mut work = vec![Complex64::ZERO; self.inner.len()];
        for ((place, value), chirp) in work.iter_mut().zip(x).zip(&self.chirp) {
            *place = value * chirp;
        }
        self.inner.forward(&mut work);
        // Conjugated in and out, the forward transform is the inverse one.
        for (value, filter) in work.iter_mut().zip(&self.filter) {
            *value = (*value * filter).conj();
        }
        self.inner.forward(&mut work);
        let scale = 1.0 / self.inner.len() as f64;
        let pairs = work.iter().zip(&self.chirp);
        pairs.map(|(value, chirp)| value.conj() * chirp * scale).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Random;

    /// The sum as it is defined.
    fn slowly(x: &[Complex64]) -> Vec<Complex64> {
        let len = x.len();
        let at = |k: usize| {
            let term = |(n, v): (usize, &Complex64)| v * turn(-TAU * ((k * n) % len) as f64 / len as f64);
            x.iter().enumerate().map(term).sum()
        };
        (0..len).map(at).collect()
    }

    #[test]
    fn it_is_the_sum_it_is_defined_by() {
        let mut random = Random::new(3);
        for len in [1, 2, 3, 5, 16, 31, 100, 127, 128, 250, 511] {
            let x: Vec<Complex64> = (0..len)
                .map(|_| Complex64::new(random.unit() - 0.5, random.unit() - 0.5))
                .collect();
            let expected = slowly(&x);
            let found = AnyLength::new(len).forward(&x);
            assert_eq!(found.len(), len);
            for (a, b) in found.iter().zip(&expected) {
                assert!((a - b).l1_norm() < 1e-12 * (1.0 + len as f64), "{len}: {a} {b}");
            }
            if len.is_power_of_two() && len > 1 {
                let mut direct = x.clone();
                PowerOfTwo::at_least(len).forward(&mut direct);
                for (a, b) in direct.iter().zip(&expected) {
                    assert!((a - b).l1_norm() < 1e-12 * (1.0 + len as f64), "{len}: {a} {b}");
                }
            }
        }
    }
}
