//! Natural cubic splines through samples at any rising instants: second derivatives from a tridiagonal system, zero at both
//! ends (Press and others, Numerical Recipes, 3rd ed., 3.3).

use alloc::{vec, vec::Vec};

/// A spline; twice continuously differentiable.
pub(super) struct Spline<'a> {
    x: &'a [f64],
    y: &'a [f64],
    bends: Vec<f64>,
}

impl<'a> Spline<'a> {
    /// Through `y` at `x`, which rise; as long as each other.
    pub(super) fn natural(x: &'a [f64], y: &'a [f64]) -> Self {
        let n = x.len().min(y.len());
        let mut bends = vec![0.0; n];
        let mut upper = vec![0.0; n];
        for i in 1..n.saturating_sub(1) {
            let (before, behind) = (x[i] - x[i - 1], x[i + 1] - x[i]);
            let right = 6.0 * ((y[i + 1] - y[i]) / behind - (y[i] - y[i - 1]) / before);
            let pivot = 2.0 * (before + behind) - before * upper[i - 1];
            upper[i] = behind / pivot;
            bends[i] = (right - before * bends[i - 1]) / pivot;
        }
        for i in (1..n.saturating_sub(1)).rev() {
            bends[i] -= upper[i] * bends[i + 1];
        }
        Self { x, y, bends }
    }

    /// Values at `count` even instants from `from` on; beyond the last sample its value.
    pub(super) fn on_grid(&self, from: f64, step: f64, count: usize) -> Vec<f64> {
        let mut right = 1;
        let last = self.bends.len().saturating_sub(1);
        let at = |k: usize| {
            let t = from + k as f64 * step;
            while right < last && self.x[right] < t {
                right += 1;
            }
            let left = right - 1;
            let width = self.x[right] - self.x[left];
            let b = ((t - self.x[left]) / width).clamp(0.0, 1.0);
            let a = 1.0 - b;
            let bent = (a * a * a - a) * self.bends[left] + (b * b * b - b) * self.bends[right];
            a * self.y[left] + b * self.y[right] + bent * width * width / 6.0
        };
        if last == 0 {
            vec![self.y.first().copied().unwrap_or(0.0); count]
        } else {
            (0..count).map(at).collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_natural_spline_of_scipy() {
        // scipy 1.x: CubicSpline([0, 1, 2.5, 3, 5], [0, 2, 1, -1, 0.5], bc_type="natural")(arange(0, 5.01, 0.5)); the script is
        // tests/reference/excitation/spline.py.
        let (x, y) = ([0.0, 1.0, 2.5, 3.0, 5.0], [0.0, 2.0, 1.0, -1.0, 0.5]);
        let found = Spline::natural(&x, &y).on_grid(0.0, 0.5, 11);
        for (a, b) in found.iter().zip(SCIPY) {
            assert!((a - b).abs() < 1e-12, "{found:?}");
        }
    }
    const SCIPY: [f64; 11] = [
        0.0,
        1.10330357142857,
        2.0,
        2.46924603174603,
        2.23325396825397,
        1.0,
        -1.0,
        -1.9846875,
        -1.80392857142857,
        -0.846205357142858,
        0.499999999999998,
    ];
}
