//! Polynomials with real coefficients: product, value, roots.

use realfft::num_complex::Complex64;

/// Coefficients from the constant upwards.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Polynomial(pub(crate) Vec<f64>);

/// Rounds of the root finder; it converges cubically, a few dozen are plenty.
const ROUNDS: usize = 200;

impl Polynomial {
    pub(crate) fn one() -> Self {
        Self(vec![1.0])
    }

    pub(crate) fn times(&self, other: &[f64]) -> Self {
        let mut out = vec![0.0; self.0.len() + other.len() - 1];
        for (i, a) in self.0.iter().enumerate() {
            for (j, b) in other.iter().enumerate() {
                out[i + j] += a * b;
            }
        }
        Self(out)
    }

    pub(crate) fn add(&mut self, other: &Self) {
        self.0.resize(self.0.len().max(other.0.len()), 0.0);
        for (a, b) in self.0.iter_mut().zip(&other.0) {
            *a += b;
        }
    }

    /// Value and derivative.
    fn at(&self, x: Complex64) -> (Complex64, Complex64) {
        let mut value = Complex64::default();
        let mut slope = Complex64::default();
        for c in self.0.iter().rev() {
            slope = slope * x + value;
            value = value * x + c;
        }
        (value, slope)
    }

    /// All roots, complex ones in conjugate pairs next to each other, the upper one first; `None` when the iteration of
    /// Aberth (1973) does not come to rest. Leading coefficients that are negligible beside the largest root scale are
    /// not looked for: pass a polynomial of honest degree.
    pub(crate) fn roots(&self) -> Option<Vec<Complex64>> {
        let mut c = self.0.clone();
        while c.last().is_some_and(|v| v.abs() < f64::MIN_POSITIVE) {
            c.pop();
        }
        let n = c.len().checked_sub(1)?;
        if n == 0 {
            return Some(Vec::new());
        }
        if c.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let p = Self(c);
        // A start on a circle of the roots' geometric mean, spread over magnitudes since they may lie decades apart.
        let mean = (p.0[0].abs().max(f64::MIN_POSITIVE) / p.0[n].abs()).powf(1.0 / n as f64);
        let mut x: Vec<Complex64> = (0..n)
            .map(|i| {
                let spread = 3.0_f64.powf(2.0 * (i as f64 + 0.5) / n as f64 - 1.0);
                Complex64::from_polar(mean * spread, 0.7 + std::f64::consts::TAU * i as f64 / n as f64)
            })
            .collect();
        let mut rest = false;
        for _ in 0..ROUNDS {
            let mut largest = 0.0_f64;
            for i in 0..n {
                let (value, slope) = p.at(x[i]);
                if value.norm() <= 0.0 {
                    continue;
                }
                let newton = value / slope;
                let others: Complex64 = (0..n).filter(|j| *j != i).map(|j| (x[i] - x[j]).inv()).sum();
                let step = newton / (1.0 - newton * others);
                if !step.is_finite() {
                    return None;
                }
                x[i] -= step;
                largest = largest.max(step.norm() / x[i].norm().max(f64::MIN_POSITIVE));
            }
            if largest < 1e-13 {
                rest = true;
                break;
            }
            // Multiple roots stall at the square root of rounding: good enough for a start of poles.
            rest = largest < 1e-6;
        }
        rest.then(|| pair(x))
    }
}

/// Makes roots of a real polynomial exactly real or exactly conjugate.
fn pair(mut roots: Vec<Complex64>) -> Vec<Complex64> {
    let mut out = Vec::with_capacity(roots.len());
    while let Some(x) = roots.pop() {
        let partner = (0..roots.len()).min_by(|a, b| {
            let miss = |i: &usize| (roots[*i] - x.conj()).norm();
            miss(a).total_cmp(&miss(b))
        });
        match partner {
            Some(i) if x.im.abs() > 1e-9 * x.norm() && (roots[i] - x.conj()).norm() < x.im.abs() => {
                let other = roots.swap_remove(i);
                let mean = Complex64::new(0.5 * (x.re + other.re), 0.5 * (x.im - other.im).abs());
                out.extend([mean, mean.conj()]);
            }
            _ => out.push(Complex64::from(x.re)),
        }
    }
    out.sort_by(|a, b| a.norm().total_cmp(&b.norm()).then(b.im.total_cmp(&a.im)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Roots put in come out, three decades apart.
    #[test]
    fn roots_come_back() {
        let p = Polynomial::one()
            .times(&[0.02, 1.0])
            .times(&[1.0, 0.2, 1.0])
            .times(&[400.0, 0.4, 1.0])
            .times(&[7.0, 1.0]);
        let roots = p.roots().unwrap();
        let expected = [
            Complex64::new(-0.02, 0.0),
            Complex64::new(-0.1, 0.99_f64.sqrt()),
            Complex64::new(-0.1, -(0.99_f64.sqrt())),
            Complex64::new(-7.0, 0.0),
            Complex64::new(-0.2, 399.96_f64.sqrt()),
            Complex64::new(-0.2, -(399.96_f64.sqrt())),
        ];
        for (found, expected) in roots.iter().zip(expected) {
            assert!((found - expected).norm() < 1e-9, "{found} {expected}");
        }
    }

    #[test]
    fn a_constant_has_none() {
        assert_eq!(Polynomial(vec![3.0]).roots(), Some(Vec::new()));
    }
}
