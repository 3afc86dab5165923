//! Distribution functions and quantiles.
//!
//! Distribution functions are those of `statrs`; quantiles are found from them by halving, because the iterative
//! quantiles there stop early. The noncentral t, which is missing there, is an integral over its chi-square.

use crate::quadrature::{crossing, integral};
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};
use statrs::function::erf::erfc;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Density of the standard normal.
pub fn normal_density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// Probability that a standard normal value is at most `x`; precise in both tails.
pub fn normal_below(x: f64) -> f64 {
    0.5 * erfc(-x * FRAC_1_SQRT_2)
}

/// Probability that a standard normal value exceeds `x`; precise in both tails.
pub fn normal_above(x: f64) -> f64 {
    0.5 * erfc(x * FRAC_1_SQRT_2)
}

/// Quantile of the standard normal; infinite at 0 and 1.
pub fn normal_quantile(p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    // In the lower half, where the tail keeps all its digits.
    if p <= 0.5 {
        crossing(|x| normal_below(x) - p, -40.0, 0.0)
    } else {
        -crossing(|x| normal_below(x) - (1.0 - p), -40.0, 0.0)
    }
}

/// Probability that Student's t with `dof` degrees of freedom is at most `t`. With infinite `dof`, the normal.
pub fn student_below(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return normal_below(t);
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| d.cdf(t))
}

/// Probability that the magnitude of Student's t exceeds that of `t`.
pub fn student_two_sided(t: f64, dof: f64) -> f64 {
    2.0 * student_below(-t.abs(), dof)
}

/// Quantile of Student's t.
pub fn student_quantile(p: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return normal_quantile(p);
    }
    if p > 0.5 {
        return -student_quantile(1.0 - p, dof);
    }
    let mut low = -2.0;
    while student_below(low, dof) > p && low > -1e300 {
        low *= 2.0;
    }
    crossing(|t| student_below(t, dof) - p, low, 0.0)
}

/// Probability that chi-square with `dof` degrees of freedom is at most `x`.
pub fn chi_square_below(x: f64, dof: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    ChiSquared::new(dof).map_or(f64::NAN, |d| d.cdf(x))
}

/// Probability that chi-square exceeds `x`.
pub fn chi_square_above(x: f64, dof: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    ChiSquared::new(dof).map_or(f64::NAN, |d| d.sf(x))
}

/// Quantile of chi-square.
pub fn chi_square_quantile(p: f64, dof: f64) -> f64 {
    let mut high = dof + 10.0;
    while chi_square_below(high, dof) < p && high < 1e300 {
        high *= 2.0;
    }
    crossing(|x| chi_square_below(x, dof) - p, 0.0, high)
}

/// Probability that Fisher's F with `dof` of numerator and denominator exceeds `f`.
pub fn fisher_above(f: f64, [upper, lower]: [f64; 2]) -> f64 {
    if f <= 0.0 {
        return 1.0;
    }
    if f.is_infinite() {
        return 0.0;
    }
    FisherSnedecor::new(upper, lower).map_or(f64::NAN, |d| d.sf(f))
}

/// Quantile of Fisher's F.
pub fn fisher_quantile(p: f64, dof: [f64; 2]) -> f64 {
    let mut high = 10.0;
    while 1.0 - fisher_above(high, dof) < p && high < 1e300 {
        high *= 2.0;
    }
    crossing(|f| (1.0 - p) - fisher_above(f, dof), 0.0, high)
}

/// Density of the ratio s/σ of a standard deviation with `dof` degrees of freedom.
pub(crate) fn spread_ratio_density(w: f64, dof: f64) -> f64 {
    if w <= 0.0 {
        return 0.0;
    }
    let log = dof * 0.5 * (0.5 * dof).ln() - statrs::function::gamma::ln_gamma(0.5 * dof)
        + (dof - 1.0) * w.ln()
        - 0.5 * dof * w * w
        + std::f64::consts::LN_2;
    log.exp()
}

/// The range of s/σ outside which less than about 10⁻¹⁴ lies.
pub(crate) fn spread_ratio_range(dof: f64) -> [f64; 2] {
    let wide = 8.0 / (2.0 * dof).sqrt();
    // Few degrees of freedom have a long tail, as exp(−ν·w²/2).
    [(1.0 - wide).max(0.0), (1.0 + wide).max((80.0 / dof).sqrt())]
}

/// Probability that a noncentral t with `dof` degrees of freedom and noncentrality `delta` is at most `t`: the mean of
/// Φ(t·s/σ − δ) over the spread of s/σ.
pub fn noncentral_t_below(t: f64, dof: f64, delta: f64) -> f64 {
    let [low, high] = spread_ratio_range(dof);
    integral(
        |w| normal_below(t * w - delta) * spread_ratio_density(w, dof),
        low,
        high,
        1e-13,
    )
}

/// Quantile of the noncentral t.
pub fn noncentral_t_quantile(p: f64, dof: f64, delta: f64) -> f64 {
    let mut reach = 10.0 + 2.0 * delta.abs();
    let outside =
        |reach: f64| noncentral_t_below(reach, dof, delta) < p || noncentral_t_below(-reach, dof, delta) > p;
    while reach < 1e6 && outside(reach) {
        reach *= 2.0;
    }
    let (mut low, mut high) = (-reach, reach);
    // To ten digits; each step costs an integral.
    while high - low > 1e-11 * (1.0 + low.abs().max(high.abs())) {
        let middle = 0.5 * (low + high);
        if noncentral_t_below(middle, dof, delta) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
