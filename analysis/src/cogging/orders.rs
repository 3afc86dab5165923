//! Amplitude and phase of known orders by regression.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::spectrum::wrap;
use super::tracks::Track;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::{self, LinearFit};

/// How to go about it.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderOptions {
    /// Largest inflation of an order's variance by the others before it counts as not parted (10: correlation 0.95).
    pub inflation_max: f64,
    /// Relative standard uncertainty of the torque's gain.
    pub gain_rel_u: f64,
}

impl Default for OrderOptions {
    fn default() -> Self {
        Self {
            inflation_max: 10.0,
            gain_rel_u: 0.0,
        }
    }
}

/// One order's result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderLine {
    /// Periods per turn.
    pub order: f64,
    /// Amplitude, N·m.
    pub amplitude: Outcome,
    /// Phase φ of `A cos(n θ − φ)`, rad.
    pub phase: Outcome,
    /// Coefficients of cosine and sine, N·m.
    pub cos_sin_nm: [f64; 2],
    /// Standard uncertainty of either, N·m.
    pub u_nm: f64,
    /// Inflation of its variance by the other orders.
    pub inflation: f64,
}

impl OrderLine {
    /// `C` of `T = Re(C e^{i n θ})`.
    pub(crate) fn phasor(&self) -> Complex64 {
        Complex64::new(self.cos_sin_nm[0], -self.cos_sin_nm[1])
    }

    /// Whether its amplitude stands.
    pub(crate) fn stands(&self) -> bool {
        self.amplitude.estimate().is_some()
    }
}

/// All orders' result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderFit {
    /// In the order asked for.
    pub lines: Vec<OrderLine>,
    /// Mean torque of each track, N·m.
    pub means_nm: Vec<f64>,
    /// Root mean square of what is left, N·m.
    pub residual_rms_nm: f64,
    /// Share of the torque's variance about its mean that the orders explain.
    pub explained: f64,
    /// Condition number of the columns.
    pub condition: f64,
    /// Turns covered by all tracks together.
    pub turns: f64,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// Where around an order noise is looked for: from so many over the turns away, at so many places either side, one over the turns
/// apart.
const FROM: f64 = 1.5;
const AROUND: usize = 6;

/// Torque, angle and track of neighbouring samples taken together, with the columns averaged alike.
struct Rows {
    x: Matrix,
    y: Vec<f64>,
    angle: Vec<f64>,
    /// At each angle, what turns a wave on by `FROM` and by one over the turns.
    steps: Vec<[Complex64; 2]>,
}

/// Fits `mean + Σ a cos nθ + b sin nθ` to all tracks together, each with a mean of its own. Give tracks of one
/// direction: those of both differ by friction and skew (see [`skew`](super::skew)).
///
/// The uncertainty of an order comes from what is left over around it, at orders within 1.5 to 6.5 over the turns
/// covered, so that noise that is not white, and torque of orders nobody asked for, count where they are.
///
/// # Errors
/// [`Refusal::TooFewSamples`] without tracks or with too short ones, [`Refusal::OutOfRange`] for an order that is not
/// positive or listed twice, [`Refusal::Confounded`] when the orders cannot be solved for at all. Single orders are
/// refused as [`Refusal::Confounded`] when their columns are too alike, and as [`Refusal::BelowNoise`].
pub fn fit_orders(tracks: &[&Track], orders: &[f64], options: &OrderOptions) -> Result<OrderFit, Refusal> {
    for (i, n) in orders.iter().enumerate() {
        let twice = orders[..i].iter().any(|m| (m - n).abs() < 1e-9);
        if !(*n > 0.0 && n.is_finite()) || twice {
            return Err(Refusal::OutOfRange {
                what: "an order (each once, above zero)".into(),
                value: *n,
                low: 0.0,
                high: f64::INFINITY,
                unit: "1".into(),
            });
        }
    }
    let turns: f64 = tracks.iter().map(|t| t.turns()).sum();
    let single = tracks.iter().map(|t| t.turns()).fold(0.0, f64::max);
    let rows = Rows::new(tracks, orders, single)?;
    let fit = regression::fit(&rows.x, &rows.y)?;
    let lines: Vec<OrderLine> = (0..orders.len())
        .map(|k| line(k, orders, tracks.len(), &fit, &rows, single, options))
        .collect();
    let about: f64 = {
        let mean = rows.y.iter().sum::<f64>() / rows.y.len() as f64;
        rows.y.iter().map(|y| (y - mean).powi(2)).sum()
    };
    let rss: f64 = fit.residuals.iter().map(|r| r * r).sum();
    let worst = lines.iter().map(|l| l.inflation).fold(0.0, f64::max);
    Ok(OrderFit {
        means_nm: fit.coefficients[..tracks.len()].to_vec(),
        residual_rms_nm: (rss / rows.y.len() as f64).sqrt(),
        explained: if about > 0.0 { 1.0 - rss / about } else { 0.0 },
        condition: fit.condition,
        turns,
        checks: vec![Check::new(
            "orders parted",
            worst <= options.inflation_max,
            format!(
                "variance inflated up to {worst:.1} times, limit {:.0}; condition number {:.1} over {turns:.2} turns",
                options.inflation_max, fit.condition
            ),
        )],
        lines,
    })
}

impl Rows {
    fn new(tracks: &[&Track], orders: &[f64], turns: f64) -> Result<Self, Refusal> {
        let highest = orders.iter().copied().fold(1.0, f64::max);
        let (mut y, mut angle, mut of_track) = (Vec::new(), Vec::new(), Vec::new());
        let mut columns: Vec<Vec<f64>> = vec![Vec::new(); 2 * orders.len()];
        for (k, track) in tracks.iter().enumerate() {
            // As many samples together as turn by no more than an eighth of the shortest period.
            let per_period = track.angle_rad.len() as f64 / (track.turns() * highest).max(f64::MIN_POSITIVE);
            let together = ((per_period / 8.0).floor() as usize).max(1);
            let blocks = track
                .angle_rad
                .chunks(together)
                .zip(track.torque_nm.chunks(together));
            for (a, t) in blocks.filter(|(a, _)| a.len() == together) {
                let count = together as f64;
                y.push(t.iter().sum::<f64>() / count);
                angle.push(a.iter().sum::<f64>() / count);
                of_track.push(k);
                for (j, n) in orders.iter().enumerate() {
                    let (mut c, mut s) = (0.0, 0.0);
                    for a in a {
                        let (sin, cos) = (n * a).sin_cos();
                        c += cos;
                        s += sin;
                    }
                    columns[2 * j].push(c / count);
                    columns[2 * j + 1].push(s / count);
                }
            }
        }
        let needed = 4 * (tracks.len() + columns.len());
        if y.len() < needed || tracks.is_empty() {
            return Err(Refusal::TooFewSamples {
                what: "a regression on orders".into(),
                got: y.len(),
                needed,
            });
        }
        let mut x = Matrix::zeros(y.len(), tracks.len() + columns.len());
        for (i, k) in of_track.iter().enumerate() {
            x.col_mut(*k)[i] = 1.0;
        }
        for (j, column) in columns.iter().enumerate() {
            x.col_mut(tracks.len() + j).copy_from_slice(column);
        }
        let by = |a: &f64, n: f64| Complex64::from_polar(1.0, -n / turns * a);
        let steps = angle.iter().map(|a| [by(a, FROM), by(a, 1.0)]).collect();
        Ok(Self { x, y, angle, steps })
    }
}

/// Sums of what is left, turned back by orders below and above one, `FROM` and more over the turns away from it: each is the one
/// before turned by one over the turns more.
fn around(order: f64, fit: &LinearFit, rows: &Rows) -> [[Complex64; AROUND]; 2] {
    let [mut downwards, mut upwards] = [[Complex64::ZERO; AROUND]; 2];
    let left = fit.residuals.iter().zip(&rows.angle).zip(&rows.steps);
    for ((r, a), [first, step]) in left {
        let own = Complex64::from_polar(*r, -order * a);
        let (mut below, mut above) = (own * first.conj(), own * first);
        for (down, up) in downwards.iter_mut().zip(&mut upwards) {
            *down += below;
            *up += above;
            below *= step.conj();
            above *= step;
        }
    }
    [downwards, upwards]
}

/// Variance of what is left around an order, a row, and its degrees of freedom.
fn nearby(order: f64, orders: &[f64], fit: &LinearFit, rows: &Rows, turns: f64) -> (f64, f64) {
    let (mut sum, mut count) = (0.0, 0.0);
    for (side, own) in [-1.0, 1.0].into_iter().zip(around(order, fit, rows)) {
        for (k, z) in own.into_iter().enumerate() {
            let at = order + side * (FROM + k as f64) / turns;
            // The fit has taken everything out at its own orders.
            let taken = orders.iter().any(|n| (n - at).abs() < 0.8 / turns) || at < 0.8 / turns;
            if taken {
                continue;
            }
            sum += z.norm_sqr() / rows.y.len() as f64;
            count += 1.0;
        }
    }
    if count < 3.0 {
        // Too crowded to look around: all that is left counts.
        return (fit.residual_sd.powi(2), fit.dof as f64);
    }
    (sum / count, 2.0 * count)
}

fn line(
    k: usize,
    orders: &[f64],
    offset: usize,
    fit: &LinearFit,
    rows: &Rows,
    turns: f64,
    options: &OrderOptions,
) -> OrderLine {
    let (i, j) = (offset + 2 * k, offset + 2 * k + 1);
    let (a, b) = (fit.coefficients[i], fit.coefficients[j]);
    let order = orders[k];
    let inflation = fit.inflation[i].max(fit.inflation[j]);
    let (variance, dof) = nearby(order, orders, fit, rows, turns);
    let g = &fit.inverse_gram;
    let (vaa, vbb, vab) = (variance * g[[i, i]], variance * g[[j, j]], variance * g[[i, j]]);
    let u = (0.5 * (vaa + vbb)).sqrt();
    let size = a.hypot(b);
    let along = ((a * a * vaa + b * b * vbb + 2.0 * a * b * vab).max(0.0)).sqrt() / size;
    let across = ((b * b * vaa + a * a * vbb - 2.0 * a * b * vab).max(0.0)).sqrt() / (size * size);
    let refusal = if inflation > options.inflation_max {
        Some(parting(k, orders, offset, fit, inflation, options))
    } else if size < 3.0 * u {
        Some(Refusal::BelowNoise {
            what: format!("torque of order {order}"),
            found: size,
            // Amplitude of noise alone is beyond 2.45 σ in 5 % of cases (Rayleigh).
            bound: size + 2.45 * u,
            level: 0.95,
            unit: "N.m".into(),
        })
    } else {
        None
    };
    let (amplitude, phase) = match refusal {
        Some(refusal) => (refusal.clone().into(), refusal.into()),
        None => {
            let method = "regression on known orders over the angle";
            // Noise adds its own square to that of an amplitude.
            let value = (size * size - u * u).max(0.0).sqrt();
            let mut budget = vec![Contribution::type_a("torque left over nearby", along, dof)];
            if options.gain_rel_u > 0.0 {
                budget.push(Contribution::type_b(
                    "gain of the torque sensor",
                    value * options.gain_rel_u,
                ));
            }
            let n = rows.y.len();
            let phase = vec![Contribution::type_a("torque left over nearby", across, dof)];
            (
                Estimate::from_budget(value, "N.m", n, method, budget).into(),
                Estimate::from_budget(wrap(b.atan2(a)), "rad", n, method, phase).into(),
            )
        }
    };
    OrderLine {
        order,
        amplitude,
        phase,
        cos_sin_nm: [a, b],
        u_nm: u,
        inflation,
    }
}

/// Names the order, or the mean, that an order cannot be parted from.
fn parting(
    k: usize,
    orders: &[f64],
    offset: usize,
    fit: &LinearFit,
    inflation: f64,
    options: &OrderOptions,
) -> Refusal {
    let own = [offset + 2 * k, offset + 2 * k + 1];
    let other = own
        .iter()
        .flat_map(|i| (0..fit.coefficients.len()).map(move |j| (*i, j)))
        .filter(|(_, j)| !own.contains(j))
        .max_by(|x, y| {
            fit.correlation(x.0, x.1)
                .abs()
                .total_cmp(&fit.correlation(y.0, y.1).abs())
        })
        .map(|(_, j)| j);
    let with = match other {
        Some(j) if j >= offset => format!("that of order {}", orders[(j - offset) / 2]),
        _ => "the mean".into(),
    };
    Refusal::Confounded {
        what: format!("torque of order {}", orders[k]),
        with,
        measure: "inflation of its variance".into(),
        value: inflation,
        limit: options.inflation_max,
        remedy: "turn further, or leave one of the two out and read the result as their sum".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each place by its definition, the sum of `r exp(−i n θ)`.
    #[test]
    fn noise_is_looked_for_where_it_is_said() {
        let angle: Vec<f64> = (0..400).map(|i| 0.05 * f64::from(i)).collect();
        let torque: Vec<f64> = angle
            .iter()
            .map(|a| (4.3 * a).sin() + 0.2 * (6.1 * a).cos())
            .collect();
        let track = Track {
            angle_rad: angle,
            torque_nm: torque,
            direction: 1.0,
            speed_rad_s: 1.0,
        };
        let (order, turns) = (5.0, track.turns());
        let rows = Rows::new(&[&track], &[order], turns).unwrap();
        let fit = regression::fit(&rows.x, &rows.y).unwrap();
        for (side, own) in [-1.0, 1.0].into_iter().zip(around(order, &fit, &rows)) {
            for (k, found) in own.into_iter().enumerate() {
                let n = order + side * (1.5 + k as f64) / turns;
                let pairs = fit.residuals.iter().zip(&rows.angle);
                let sum: Complex64 = pairs.map(|(r, a)| Complex64::from_polar(*r, -n * a)).sum();
                assert!((found - sum).norm() < 1e-9, "order {n}: {found} {sum}");
            }
        }
    }
}
