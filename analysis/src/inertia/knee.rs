//! The knee: where the slack span of a belt unloads and stiffness falls.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use crate::backlash::{BacklashOptions, Branch, LoopRecord, loops};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Fit, Matrix, Options, minimise};
use crate::regression;
use crate::statistics::mean_sd;

/// A loop of torque with a knee.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KneeFit {
    /// Torque at the knee, N·m.
    pub knee: Outcome,
    /// Stiffness below it, N·m/rad.
    pub stiffness: Outcome,
    /// Stiffness beyond it over stiffness below; one half for equal spans.
    pub stiffness_ratio: Outcome,
    /// Stiffness beyond it, N·m/rad.
    pub beyond: Outcome,
    /// Quality checks.
    pub checks: Vec<Check>,
}

const COMPLIANCE: usize = 2;
const EXCESS: usize = 3;
const KNEE: usize = 4;
/// Places at which a knee is looked for.
const LOOKS: f64 = 17.0;

/// Fits every loop by `θ = θ₀ + c N + e sgn(N) max(|N| − T_k, 0)` with `N = T ∓ T_f`, the torque less friction, and
/// takes means over loops.
///
/// A belt on two pulleys is a spring of both spans until the slack one unloads at `T = 2 r F₀`, with pulley radius `r`
/// and pretension `F₀`; beyond, one span is left. The knee is a measure of tension on one unit; no force is derived
/// from it, since neither `r` nor the torque's path is known well enough.
///
/// # Errors
/// As [`fit_backlash`](crate::backlash::fit_backlash) for the record. The knee is refused with
/// [`Refusal::NotCovered`] when the loops are as well described without one.
pub fn fit_knee(record: &LoopRecord<'_>, options: &BacklashOptions) -> Result<KneeFit, Refusal> {
    let (loops, _) = loops(record, options)?;
    if loops.len() < 3 {
        return Err(Refusal::TooFewRepeats {
            what: "loops of torque for a knee".into(),
            got: loops.len(),
            needed: 3,
        });
    }
    let mut fits = Vec::new();
    let mut worst = 0.0_f64;
    let mut largest = 0.0_f64;
    for one in &loops {
        let (fit, chance, top) = single(one)?;
        largest = largest.max(top);
        worst = worst.max(chance);
        fits.push(fit);
    }
    let of = |f: &dyn Fn(&Fit) -> f64| -> Result<(f64, f64, f64), Refusal> {
        let s = mean_sd(&fits.iter().map(f).collect::<Vec<_>>())?;
        let n = s.n as f64;
        Ok((s.mean, s.sd / n.sqrt(), n - 1.0))
    };
    let method = "broken line through slow loops, mean over loops";
    let n = fits.len();
    let (knee, knee_u, dof) = of(&|f| f.parameters[KNEE])?;
    let seen = worst < 0.01 && fits.iter().all(|f| f.parameters[EXCESS] > 0.0) && knee < 0.95 * largest;
    let missing = || Refusal::NotCovered {
        what: "torque for the knee of the belt: stiffness does not fall up to".into(),
        got: largest,
        needed: largest * 1.2,
        unit: "N.m".into(),
        remedy: "load further if the rig allows; until then the knee lies beyond".into(),
    };
    let (c, c_u, _) = of(&|f| f.parameters[COMPLIANCE])?;
    let k = 1.0 / c;
    let mut budget = vec![Contribution::type_a("scatter of loops", k * k * c_u, dof)];
    if let Some([series, u]) = options.series {
        budget.push(Contribution::type_b(
            "stiffness in series",
            (k / series).powi(2) * u,
        ));
    }
    budget.extend(options.torque.gain(k));
    let (knee_outcome, ratio, beyond) = if seen {
        let mut parts = vec![Contribution::type_a("scatter of loops", knee_u, dof)];
        parts.extend(options.torque.gain(knee));
        let (r, r_u, _) =
            of(&|f| f.parameters[COMPLIANCE] / (f.parameters[COMPLIANCE] + f.parameters[EXCESS]))?;
        let scatter = vec![Contribution::type_a("scatter of loops", r_u, dof)];
        (
            Estimate::from_budget(knee, "N.m", n, method, parts).into(),
            Estimate::from_budget(r, "1", n, method, scatter).into(),
            {
                let (b, b_u, _) = of(&|f| 1.0 / (f.parameters[COMPLIANCE] + f.parameters[EXCESS]))?;
                let mut parts = vec![Contribution::type_a("scatter of loops", b_u, dof)];
                parts.extend(options.torque.gain(b));
                Estimate::from_budget(b, "N.m/rad", n, method, parts).into()
            },
        )
    } else {
        (
            Outcome::from(missing()),
            Outcome::from(missing()),
            Outcome::from(missing()),
        )
    };
    Ok(KneeFit {
        knee: knee_outcome,
        stiffness: Estimate::from_budget(k, "N.m/rad", n, method, budget).into(),
        stiffness_ratio: ratio,
        beyond,
        checks: vec![Check::new(
            "a knee within the loops",
            seen,
            format!(
                "at {knee:.2} of {largest:.2} N·m; by chance in {:.1} %, limit 1 %",
                100.0 * worst.min(1.0)
            ),
        )],
    })
}

/// One loop's fit, the chance of so much without a knee, and its largest torque.
fn single(branches: &[Branch; 2]) -> Result<(Fit, f64, f64), Refusal> {
    let points: Vec<(f64, f64, f64)> = branches
        .iter()
        .flat_map(|b| b.torque.iter().zip(&b.twist).map(|(t, a)| (*t, *a, b.sense)))
        .collect();
    let n = points.len();
    let largest = points.iter().fold(0.0_f64, |m, p| m.max(p.0.abs()));
    let y: Vec<f64> = points.iter().map(|p| p.1).collect();
    let solve = |knee: Option<f64>| {
        let mut x = Matrix::zeros(n, if knee.is_some() { 4 } else { 3 });
        for (i, (t, _, sense)) in points.iter().enumerate() {
            x.col_mut(0)[i] = 1.0;
            x.col_mut(1)[i] = *sense;
            x.col_mut(2)[i] = *t;
            if let Some(knee) = knee {
                x.col_mut(3)[i] = t.signum() * (t.abs() - knee).max(0.0);
            }
        }
        regression::fit(&x, &y)
    };
    let plain = solve(None)?;
    let rss = |sd: f64, dof: usize| sd * sd * dof as f64;
    let without = rss(plain.residual_sd, plain.dof);
    // For a given knee the rest is linear: look along the torque, then let all move.
    let mut best: Option<(f64, Vec<f64>, f64)> = None;
    for i in 2..19 {
        let knee = largest * f64::from(i) / 20.0;
        let fit = solve(Some(knee))?;
        let left = rss(fit.residual_sd, fit.dof);
        if best.as_ref().is_none_or(|b| left < b.0) {
            best = Some((left, fit.coefficients, knee));
        }
    }
    let Some((left, c, knee)) = best else {
        return Err(Refusal::NotConverged {
            what: "the knee of a loop".into(),
            iterations: 0,
            reason: "no start was tried".into(),
        });
    };
    let wide = y
        .iter()
        .fold(0.0_f64, |m, v| m.max(v.abs()))
        .max(f64::MIN_POSITIVE);
    let slope = wide / largest;
    let settings = Options {
        scale: Some(vec![wide, wide, slope, slope, largest]),
        lower: Some([[f64::NEG_INFINITY; 4].as_slice(), &[0.05 * largest]].concat()),
        upper: Some([[f64::INFINITY; 4].as_slice(), &[0.99 * largest]].concat()),
        max_iterations: 200,
        // Readings that pass the knee as it moves make the sum of squares jagged on the finest scale.
        x_tolerance: 1e-6,
        rss_tolerance: 1e-7,
        offset_tolerance: 1.0,
        ..Options::default()
    };
    let dof = n - 5;
    let by_chance = |left: f64| {
        let ratio = (without - left).max(0.0) / 2.0 / (left / dof as f64).max(f64::MIN_POSITIVE);
        // The best of so many looks (Bonferroni).
        LOOKS * FisherSnedecor::new(2.0, dof as f64).map_or(f64::NAN, |f| f.sf(ratio))
    };
    let fit = match minimise(
        &mut |p, r| {
            for (r, (t, a, sense)) in r.iter_mut().zip(&points) {
                // The branches are apart by friction, `h = −c T_f`: what the spring carries is the torque less that.
                let net = t + sense * p[1] / p[COMPLIANCE];
                let beyond = net.signum() * (net.abs() - p[KNEE]).max(0.0);
                *r = p[0] + p[1] * sense + p[COMPLIANCE] * t + p[EXCESS] * beyond - a;
            }
        },
        n,
        &[c[0], c[1], c[2], c[3], knee],
        &settings,
    ) {
        Ok(fit) => fit,
        // Where there is no knee its place is a flat valley; where there is one, the fit has failed.
        Err(failure) if by_chance(left) < 0.01 => return Err(failure.refusal("the knee of a loop")),
        Err(_) => Fit {
            parameters: vec![
                plain.coefficients[0],
                plain.coefficients[1],
                plain.coefficients[2],
                0.0,
                largest,
            ],
            covariance: ndarray::Array2::zeros((5, 5)),
            at_bound: vec![false; 5],
            rss: without,
            residual_sd: plain.residual_sd,
            dof,
            iterations: 0,
        },
    };
    let chance = by_chance(fit.rss);
    Ok((fit, chance, largest))
}
