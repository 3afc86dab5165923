//! Two discs: the inertia that explains both accelerations under one torque.

use ndarray::ArrayView1;

use crate::estimate::{Contribution, Estimate, Refusal};
use crate::friction::travel;
use crate::least_squares::{Matrix, Options, minimise};
use crate::regression;
use crate::statistics::mean_sd;

/// One run-up under a constant torque, the onset left out.
#[derive(Debug, Clone, Copy)]
pub struct RunUp<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
}

/// Mean acceleration at the start of several run-ups, by the motion of an inertia under constant torque and friction
/// that grows with speed, `ω' = a − βω`, one fit a run; the uncertainty is the scatter of the runs. Start all runs at
/// one speed, so that the friction there is one.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below three runs, [`Refusal::TooFewSamples`] below 20 samples a run,
/// [`Refusal::NonFinite`], [`Refusal::NotConverged`].
pub fn acceleration(runs: &[RunUp<'_>]) -> Result<Estimate, Refusal> {
    if runs.len() < 3 {
        return Err(Refusal::TooFewRepeats {
            what: "acceleration of run-ups".into(),
            got: runs.len(),
            needed: 3,
        });
    }
    let mut all = Vec::new();
    for run in runs {
        let y = run.angle_rad.to_vec();
        if y.len() < 20 {
            return Err(Refusal::TooFewSamples {
                what: "a run-up".into(),
                got: y.len(),
                needed: 20,
            });
        }
        let mut x = Matrix::zeros(y.len(), 4);
        let span = y.len() as f64 / run.fs_hz;
        for i in 0..y.len() {
            let t = i as f64 / run.fs_hz / span;
            for (j, power) in [1.0, t, 0.5 * t * t, t * t * t / 6.0].into_iter().enumerate() {
                x.col_mut(j)[i] = power;
            }
        }
        // A cubic gives the start: angle, speed, acceleration and how it falls.
        let c = regression::fit(&x, &y)?.coefficients;
        let (speed, rise) = (c[1] / span, c[2] / (span * span));
        let beta = -c[3] / (span * c[2]);
        let start = [c[0], speed, -rise - beta * speed, beta];
        let settings = Options {
            scale: Some(vec![
                rise.abs() * span * span,
                rise.abs() * span,
                rise.abs(),
                1.0 / span,
            ]),
            max_iterations: 100,
            x_tolerance: 1e-9,
            rss_tolerance: 1e-12,
            offset_tolerance: 0.1,
            ..Options::default()
        };
        let fit = minimise(
            &mut |p, r| {
                for (i, r) in r.iter_mut().enumerate() {
                    *r = p[0] + travel(p[1], p[2], p[3], i as f64 / run.fs_hz) - y[i];
                }
            },
            y.len(),
            &start,
            &settings,
        )
        .map_err(|failure| failure.refusal("a run-up"))?;
        let p = &fit.parameters;
        all.push(-p[2] - p[3] * p[1]);
    }
    let s = mean_sd(&all)?;
    let budget = vec![Contribution::of_mean("scatter of runs", &s)];
    Estimate::from_budget(
        s.mean,
        "rad/s2",
        s.n,
        "run-up under constant torque, fitted to each angle",
        budget,
    )
}

/// `J = (J₂ α₂ − J₁ α₁) / (α₁ − α₂)`: the inertia that turns with the disc. Torque and friction must be the same in
/// both, and the accelerations taken at the same speeds.
///
/// # Errors
/// [`Refusal::Confounded`] when the accelerations differ by less than five times the uncertainty of their difference;
/// [`Refusal::OutOfRange`] when the lighter disc is not the faster, or the result is not positive.
pub fn two_discs(discs: [&Estimate; 2], accelerations: [&Estimate; 2]) -> Result<Estimate, Refusal> {
    let [j1, j2] = discs.map(|d| d.value);
    let [a1, a2] = accelerations.map(|a| a.value);
    let apart = a1 - a2;
    let u = accelerations[0]
        .std_uncertainty
        .hypot(accelerations[1].std_uncertainty);
    if apart.abs() < 5.0 * u {
        return Err(Refusal::Confounded {
            what: "the inertia".into(),
            with: "the torque".into(),
            measure: "uncertainty of the difference of accelerations over that difference".into(),
            value: u / apart.abs(),
            limit: 0.2,
            remedy: "use discs that differ more, or more runs".into(),
        });
    }
    let value = (j2 * a2 - j1 * a1) / apart;
    if value <= 0.0 {
        return Err(Refusal::OutOfRange {
            what: "inertia from two discs (is the lighter disc the faster?)".into(),
            value,
            low: 0.0,
            high: f64::INFINITY,
            unit: "kg.m2".into(),
        });
    }
    // d/dα₁ = −(J + J₁)/Δ, d/dα₂ = (J + J₂)/Δ, d/dJ₁ = −α₁/Δ, d/dJ₂ = α₂/Δ.
    let part = |name: &str, slope: f64, of: &Estimate| Contribution {
        source: name.into(),
        kind: crate::estimate::Kind::B,
        std_uncertainty: (slope / apart * of.std_uncertainty).abs(),
        dof: of.dof.is_finite().then_some(of.dof),
    };
    let budget = vec![
        part("acceleration with the first disc", value + j1, accelerations[0]),
        part("acceleration with the second disc", value + j2, accelerations[1]),
        part("first disc", a1, discs[0]),
        part("second disc", a2, discs[1]),
    ];
    let n = accelerations[0].n + accelerations[1].n;
    Estimate::from_budget(
        value,
        "kg.m2",
        n,
        "accelerations with two known discs under one torque",
        budget,
    )
}
