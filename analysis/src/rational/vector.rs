//! Poles to start from: vector fitting (Gustavsen and Semlyen 1999), which is the iteration of Sanathanan and Koerner
//! (1963) in partial fractions.
//!
//! With poles given as factors D, `Σ fractions = H (1 + Σ fractions)` is linear in the coefficients of both sums; the zeros
//! of the right-hand bracket are better poles. Poles that come out unstable are mirrored.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::model::{Factor, RationalModel};
use super::polynomial::Polynomial;
use crate::linear::{Matrix, back_substitute, norm, qr};

/// Rounds of moving the poles; most of the way is gone after three.
const ROUNDS: usize = 10;

/// A line of the response with the delay already taken out: frequency, value, error.
pub(crate) type Aligned = (f64, Complex64, f64);

/// Sets of `order` poles, the best by what a numerator of full degree leaves, with that weighted sum of squares.
pub(crate) fn poles(lines: &[Aligned], order: usize) -> Option<(Vec<Factor>, f64)> {
    let mut factors = spread(lines, order);
    let mut best: Option<(Vec<Factor>, f64)> = None;
    for _ in 0..ROUNDS {
        if let Some((_, rss)) = numerator(lines, &factors, order - 1)
            && best.as_ref().is_none_or(|b| rss < b.1)
        {
            best = Some((factors.clone(), rss));
        }
        let Some(next) = moved(lines, &factors) else {
            break;
        };
        factors = next;
    }
    best
}

/// Lowest and highest frequency, Hz.
pub(super) fn range(lines: &[Aligned]) -> (f64, f64) {
    let bounds = |(a, b): (f64, f64), l: &Aligned| (a.min(l.0), b.max(l.0));
    lines.iter().fold((f64::INFINITY, 0.0), bounds)
}

/// Frequency in whose powers a numerator is written.
fn unit_hz(lines: &[Aligned]) -> f64 {
    let (low, high) = range(lines);
    (low * high).sqrt()
}

/// Weakly damped pairs over the range, logarithmically; one real pole for an odd order.
fn spread(lines: &[Aligned], order: usize) -> Vec<Factor> {
    let (low, high) = range(lines);
    let pairs = order / 2;
    let mut factors: Vec<Factor> = (0..pairs)
        .map(|i| Factor::Pair {
            // The low end of a range is nearly flat: pairs begin at its geometric middle.
            f_hz: (low * high).sqrt() * (high / low).powf(0.5 * (i as f64 + 0.5) / pairs as f64),
            damping: 0.1,
        })
        .collect();
    if order % 2 == 1 {
        factors.push(Factor::Real { corner_hz: high });
    }
    factors
}

/// Real least squares of complex rows given by columns.
fn solve(columns: &[Vec<Complex64>], right: &[Complex64]) -> Option<Vec<f64>> {
    let mut a = Matrix::zeros(2 * right.len(), columns.len());
    let mut sizes = Vec::with_capacity(columns.len());
    for (j, column) in columns.iter().enumerate() {
        let out = a.col_mut(j);
        for (i, v) in column.iter().enumerate() {
            (out[2 * i], out[2 * i + 1]) = (v.re, v.im);
        }
        // Columns of very different size would trip the test for rank.
        let size = norm(out).max(f64::MIN_POSITIVE);
        out.iter_mut().for_each(|v| *v /= size);
        sizes.push(size);
    }
    let factors = qr(a, right.iter().flat_map(|v| [v.re, v.im]).collect());
    let x = back_substitute(&factors.r, &factors.qtb)?;
    Some(x.iter().zip(&sizes).map(|(x, s)| x / s).collect())
}

fn right(lines: &[Aligned]) -> Vec<Complex64> {
    lines.iter().map(|(_, h, u)| h / u).collect()
}

/// Best numerator of a degree on given poles, its roots then mirrored to the left, as a model without delay; and the
/// weighted sum of squares left.
pub(crate) fn numerator(
    lines: &[Aligned],
    factors: &[Factor],
    degree: usize,
) -> Option<(RationalModel, f64)> {
    let unit_hz = unit_hz(lines);
    let denominator = |f: f64| {
        let s = Complex64::new(0.0, TAU * f);
        factors
            .iter()
            .fold(Complex64::from(1.0), |d, factor| d * factor.at(s))
    };
    let mut columns = vec![Vec::with_capacity(lines.len()); degree + 1];
    for (f, _, u) in lines {
        let x = Complex64::new(0.0, f / unit_hz);
        let mut term = (denominator(*f) * u).inv();
        for column in &mut columns {
            column.push(term);
            term *= x;
        }
    }
    let c = solve(&columns, &right(lines))?;
    let roots: Vec<Complex64> = Polynomial(c.clone())
        .roots()?
        .iter()
        .map(|r| r * TAU * unit_hz)
        .collect();
    let model = RationalModel {
        gain: c[0],
        delay_s: 0.0,
        poles: factors.to_vec(),
        zeros: factors_of(&roots, lines),
    };
    if model.orders().1 != degree {
        return None;
    }
    let rss = lines
        .iter()
        .map(|(f, h, u)| ((model.without_delay(*f) - h) / u).norm_sqr())
        .sum();
    Some((model, rss))
}

/// Partial fractions of all factors: `1/D`, and `(s/ω)/D` for a pair.
fn fractions(factors: &[Factor], f_hz: f64) -> Vec<Complex64> {
    let s = Complex64::new(0.0, TAU * f_hz);
    let mut out = Vec::new();
    for factor in factors {
        let one = factor.at(s).inv();
        out.push(one);
        if let Factor::Pair { f_hz: own, .. } = factor {
            out.push(one * s / (TAU * own));
        }
    }
    out
}

/// One move of the poles.
fn moved(lines: &[Aligned], factors: &[Factor]) -> Option<Vec<Factor>> {
    let basis: Vec<Vec<Complex64>> = lines.iter().map(|l| fractions(factors, l.0)).collect();
    let order = basis.first()?.len();
    let columns: Vec<Vec<Complex64>> = (0..2 * order)
        .map(|j| {
            let entry = |(l, b): (&Aligned, &Vec<Complex64>)| {
                if j < order {
                    b[j] / l.2
                } else {
                    -l.1 * b[j - order] / l.2
                }
            };
            lines.iter().zip(&basis).map(entry).collect()
        })
        .collect();
    let x = solve(&columns, &right(lines))?;
    // The bracket over its common denominator, in units of a middle frequency so that powers stay near 1.
    let unit = unit_hz(lines);
    let polynomial = |factor: &Factor| match *factor {
        Factor::Real { corner_hz } => vec![1.0, unit / corner_hz],
        Factor::Pair { f_hz, damping } => {
            let r = unit / f_hz;
            vec![1.0, 2.0 * damping * r, r * r]
        }
    };
    let mut at = order;
    let mut bracket = factors
        .iter()
        .fold(Polynomial::one(), |p, f| p.times(&polynomial(f)));
    for (i, factor) in factors.iter().enumerate() {
        let own = match factor {
            Factor::Real { .. } => vec![x[at]],
            Factor::Pair { f_hz, .. } => vec![x[at], x[at + 1] * unit / f_hz],
        };
        at += factor.count();
        let others = factors.iter().enumerate().filter(|(j, _)| *j != i);
        let product = others.fold(Polynomial(own), |p, (_, f)| p.times(&polynomial(f)));
        bracket.add(&product);
    }
    let roots: Vec<Complex64> = bracket.roots()?.iter().map(|r| r * TAU * unit).collect();
    Some(factors_of(&roots, lines))
}

/// Factors from roots in rad/s, mirrored to the left half-plane; real ones are paired so that at most one stays alone.
fn factors_of(roots: &[Complex64], lines: &[Aligned]) -> Vec<Factor> {
    let (low, high) = range(lines);
    let (low, high) = (0.1 * low, 30.0 * high);
    let mut factors = Vec::new();
    let mut real = Vec::new();
    for r in roots {
        if r.im > 0.0 {
            factors.push(Factor::Pair {
                f_hz: (r.norm() / TAU).clamp(low, high),
                damping: (r.re.abs() / r.norm()).max(1e-4),
            });
        } else if r.im.abs() <= 0.0 {
            real.push((r.re.abs() / TAU).clamp(low, high));
        }
    }
    real.sort_by(f64::total_cmp);
    for two in real.chunks(2) {
        factors.push(match two {
            [a, b] => Factor::Pair {
                f_hz: (a * b).sqrt(),
                damping: (0.5 * (a + b) / (a * b).sqrt()).max(1.0 + 1e-6),
            },
            _ => Factor::Real { corner_hz: two[0] },
        });
    }
    factors
}
