//! Friction's part in a small oscillation: spring before it slides, drag after.
//!
//! Dahl's model with exponent one (1968), `dF/dx = σ(1 - sign(v) F/Fc)`: what the bristles of later models do where the
//! speed has no say. For an oscillation of amplitude a, in units of `X = a σ/Fc`, the loop is in closed form and so is its
//! fundamental: in phase with the displacement `2 (1 + tanh X) e^-X I1(X)`, ahead of it by a quarter of a turn
//! `(4/π)(1 - tanh X / X)`, in units of Fc.

use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Fundamental of the friction over the displacement, in units of σ: 1 for a small oscillation, `4j/(πX)` for a large one.
pub(crate) fn stiffness(x: f64) -> Complex64 {
    if x < 1e-3 {
        // Second order: the loop's width grows as 4X/(3π).
        return Complex64::new(1.0, 4.0 * x.max(0.0) / (3.0 * PI));
    }
    let in_phase = 2.0 * (1.0 + x.tanh()) * scaled_i1(x);
    let ahead = 4.0 / PI * (1.0 - x.tanh() / x);
    Complex64::new(in_phase, ahead) / x
}

/// `e^-x I1(x)` for x at least 0, to 3e-7 (Abramowitz and Stegun, 9.8.3 and 9.8.4).
fn scaled_i1(x: f64) -> f64 {
    let series = |t: f64, c: &[f64]| c.iter().rev().fold(0.0, |sum, c| sum * t + c);
    if x < 3.75 {
        let t = (x / 3.75).powi(2);
        let c = [
            0.5,
            0.878_905_94,
            0.514_988_69,
            0.150_849_34,
            0.026_587_33,
            0.003_015_32,
            0.000_324_11,
        ];
        x * (-x).exp() * series(t, &c)
    } else {
        let c = [
            0.398_942_28,
            -0.039_880_24,
            -0.003_620_18,
            0.001_638_01,
            -0.010_315_55,
            0.022_829_67,
            -0.028_953_12,
            0.017_876_54,
            -0.004_200_59,
        ];
        series(3.75 / x, &c) / x.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the loop integrated numerically (`tests/reference/analysis/bristle.py`, scipy).
    #[test]
    fn against_an_integrated_loop() {
        for (x, re, im) in REFERENCE {
            let found = stiffness(x);
            assert!((found - Complex64::new(re, im)).norm() < 2e-6, "{x}: {found}");
        }
    }

    #[test]
    fn small_and_large() {
        assert!((stiffness(1.01e-3) - stiffness(0.99e-3)).norm() < 1e-4);
        assert!((stiffness(1e4) * 1e4 - Complex64::new(0.0, 4.0 / PI)).norm() < 0.02);
    }

    const REFERENCE: [(f64, f64, f64); 4] = [
        (0.1, 0.996_265_0, 0.042_272_2),
        (1.0, 0.732_507_5, 0.303_547_7),
        (3.0, 0.261_786_7, 0.283_641_7),
        (12.0, 0.037_154_8, 0.097_261_4),
    ];
}
