//! One mode by the circle that it draws in the complex plane.
//!
//! Of a mode `A/(1 - r² + 2jζr)`, r = f/f0, the product with `jr` is `A/(2ζ) · 1/(1 + j(r - 1/r)/(2ζ))`: a circle through
//! the origin of diameter `|A|/(2ζ)`, run through with the angle `-2 atan((r - 1/r)/(2ζ))` about its centre (Kennedy and Pancu
//! 1947; Ewins, Modal Testing, 4.3, for mobility with viscous damping: exact, not only for light damping). What other
//! modes add is nearly a straight line over the width of the mode and shifts and shears the circle; a delay that was not
//! taken out turns it. So eight numbers are fitted: centre and shear, radius and turn, frequency and damping.

use realfft::num_complex::Complex64;

use crate::estimate::Refusal;
use crate::least_squares::{Failure, Options, minimise};

/// A line around the mode, the delay taken out: frequency, response, error of real and imaginary part each.
pub(crate) type Line = (f64, Complex64, f64);

/// A mode read from a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CircleMode {
    pub(crate) f_hz: f64,
    pub(crate) damping: f64,
    /// Standard uncertainties of both by the covariance, not below what the errors given allow.
    pub(crate) u: [f64; 2],
    pub(crate) dof: f64,
    /// Root of the mean squared residual, in units of the errors.
    pub(crate) residual: f64,
}

/// Fewest lines: eight numbers from real and imaginary parts, with some to spare.
const LEAST: usize = 8;

/// Fits the lines, which should lie around the peak, from a guess of frequency and damping.
pub(crate) fn fit(lines: &[Line], f_hz: f64, damping: f64) -> Result<CircleMode, Refusal> {
    if lines.len() < LEAST {
        return Err(Refusal::TooFewSamples {
            what: "lines around the resonance for a circle".into(),
            got: lines.len(),
            needed: LEAST,
        });
    }
    let points: Vec<(f64, Complex64, f64)> = lines
        .iter()
        .map(|(f, h, u)| {
            let r = f / f_hz;
            (*f, h * Complex64::new(0.0, r), u * r)
        })
        .collect();
    let (centre, radius) = circle(&points);
    let refusal = |f: Failure| f.refusal("the circle of the resonance");
    // Where on the circle the guess of the mode lies.
    let nearest = points
        .iter()
        .min_by(|a, b| (a.0 - f_hz).abs().total_cmp(&(b.0 - f_hz).abs()))
        .map_or(Complex64::from(1.0), |p| p.1 - centre);
    let start = [
        centre.re / radius,
        centre.im / radius,
        0.0,
        nearest.arg(),
        0.0,
        damping.ln(),
        0.0,
        0.0,
    ];
    let mut residuals = |p: &[f64], out: &mut [f64]| {
        let at = Complex64::new(p[0], p[1]);
        let (size, own, zeta) = (p[2].exp(), f_hz * p[4].exp(), p[5].exp());
        for (i, (f, y, u)) in points.iter().enumerate() {
            let r = f / own;
            let angle = p[3] - 2.0 * ((r - 1.0 / r) / (2.0 * zeta)).atan();
            let shear = Complex64::new(p[6], p[7]) * ((f / f_hz - 1.0) / damping);
            let miss = (radius * (at + shear + Complex64::from_polar(size, angle)) - y) / u;
            (out[2 * i], out[2 * i + 1]) = (miss.re, miss.im);
        }
    };
    let options = Options {
        scale: Some(vec![0.5, 0.5, 0.2, 0.5, 0.05, 0.3, 0.2, 0.2]),
        x_tolerance: 1e-9,
        rss_tolerance: 1e-10,
        offset_tolerance: 1e-2,
        max_iterations: 200,
        ..Options::default()
    };
    let found = minimise(&mut residuals, 2 * points.len(), &start, &options).map_err(refusal)?;
    let own = f_hz * found.parameters[4].exp();
    let zeta = found.parameters[5].exp();
    let inflate = if found.residual_sd > 0.0 {
        (1.0 / found.residual_sd).max(1.0)
    } else {
        1.0
    };
    Ok(CircleMode {
        f_hz: own,
        damping: zeta,
        u: [own * found.sd(4) * inflate, zeta * found.sd(5) * inflate],
        dof: found.dof as f64,
        residual: found.residual_sd,
    })
}

/// Centre and radius by algebraic least squares (Kåsa 1976): good enough to start from.
fn circle(points: &[(f64, Complex64, f64)]) -> (Complex64, f64) {
    let n = points.len() as f64;
    let mean = points.iter().map(|p| p.1).sum::<Complex64>() / n;
    let (mut xx, mut xy, mut yy, mut xz, mut yz) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (_, p, _) in points {
        let d = p - mean;
        let z = d.norm_sqr();
        xx += d.re * d.re;
        xy += d.re * d.im;
        yy += d.im * d.im;
        xz += d.re * z;
        yz += d.im * z;
    }
    let det = xx * yy - xy * xy;
    if det <= f64::EPSILON * xx * yy {
        return (mean, ((xx + yy) / n).sqrt().max(f64::MIN_POSITIVE));
    }
    let (a, b) = (0.5 * (xz * yy - yz * xy) / det, 0.5 * (yz * xx - xz * xy) / det);
    let radius = (a * a + b * b + (xx + yy) / n).sqrt();
    (mean + Complex64::new(a, b), radius.max(f64::MIN_POSITIVE))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mode put in comes out exactly, shifted and turned, at light and at heavy damping.
    #[test]
    fn a_pure_mode_is_exact() {
        for zeta in [0.01, 0.12, 0.4] {
            let f0 = 94.0;
            let lines: Vec<Line> = (0..60)
                .map(|i| {
                    let f = f0 * (1.0 + 2.0 * zeta * (f64::from(i) / 30.0 - 1.0)).max(0.3);
                    let r = f / f0;
                    let h = Complex64::from_polar(1.4, 0.3) / Complex64::new(1.0 - r * r, 2.0 * zeta * r);
                    // A constant in the plane of the circle.
                    (f, h + Complex64::new(0.2, -0.1) / Complex64::new(0.0, r), 1e-3)
                })
                .collect();
            let mode = fit(&lines, 1.02 * f0, 1.3 * zeta).unwrap();
            assert!((mode.f_hz / f0 - 1.0).abs() < 1e-7, "{mode:?}");
            assert!((mode.damping / zeta - 1.0).abs() < 1e-6, "{mode:?}");
        }
    }
}
