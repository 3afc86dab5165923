//! What one loop says.

use super::BacklashOptions;
use super::branches::{Branch, Loop};
use crate::estimate::Refusal;
use crate::least_squares::{Fit, Options, minimise};

/// Readings of one loop.
#[derive(Debug, Clone)]
pub(super) struct Single {
    /// Gap, rad; may be negative.
    pub(super) gap: f64,
    /// Change of the gap when only the inner half of the flanks counts, and the uncertainty of that change.
    pub(super) bend: [f64; 2],
    /// Friction, N·m.
    pub(super) friction: f64,
    /// Middle of the gap, rad.
    pub(super) middle: f64,
    /// Lost motion and hysteresis, rad; `None` where the joint jumps over the small torques.
    pub(super) lost_motion: Option<f64>,
    pub(super) hysteresis: Option<f64>,
    /// Energy of one loop, J.
    pub(super) area: f64,
    /// Compliance over each range, rad/(N·m), `None` where torque does not reach.
    pub(super) compliance: Vec<Option<f64>>,
    /// Residual over the noise.
    pub(super) residual: f64,
}

const GAP: usize = 0;
const MIDDLE: usize = 1;
const FRICTION: usize = 4;

/// A point of a flank: twist, torque, side of the gap, sense.
type Point = (f64, f64, f64, f64);

/// Fits and reads one loop; `noise` is that of a point.
pub(super) fn read(all: &Loop, options: &BacklashOptions, noise: [f64; 2]) -> Result<Single, Refusal> {
    let largest = all
        .iter()
        .flat_map(|b| &b.torque)
        .fold(0.0_f64, |m, t| m.max(t.abs()));
    let edge = options.edge_share * largest;
    let (fit, friction) = flanks(all, edge, f64::INFINITY, noise)?;
    let (inner, _) = flanks(all, edge, 0.5 * largest, noise)?;
    let (u, v) = (fit.sd(GAP), inner.sd(GAP));
    let small = options.small_share * options.rated_nm;
    let mid = |t: f64| Some(0.5 * (level(&all[0], t, small)? + level(&all[1], t, small)?));
    let apart = |a: Option<f64>, b: Option<f64>| Some(a? - b?);
    let ranges = options.ranges.iter().map(|r| {
        let [low, high] = r.map(|share| share * options.rated_nm);
        (largest > high * 0.98)
            .then(|| compliance(all, low, high, noise))
            .flatten()
    });
    Ok(Single {
        gap: fit.parameters[GAP],
        bend: [
            inner.parameters[GAP] - fit.parameters[GAP],
            (v * v - u * u).max(0.0).sqrt(),
        ],
        friction,
        middle: fit.parameters[MIDDLE],
        lost_motion: apart(mid(small), mid(-small)),
        hysteresis: apart(limit(&all[1], 1.0, small), limit(&all[0], -1.0, small)),
        area: area(all),
        compliance: ranges.collect(),
        residual: fit.residual_sd,
    })
}

/// Orthogonal regression of both flanks in both senses:
/// `θ = middle ± gap/2 + c± (T − sense · T_f)`, distances in units of the noise.
///
/// Which side of the gap a point lies on follows from its torque less the friction, so the friction is found first.
fn flanks(all: &Loop, edge: f64, most: f64, noise: [f64; 2]) -> Result<(Fit, f64), Refusal> {
    let mut friction = 0.0;
    let mut last: Option<Fit> = None;
    for _ in 0..4 {
        let points: Vec<Point> = all
            .iter()
            .flat_map(|b| b.twist.iter().zip(&b.torque).map(|(a, t)| (*a, *t, b.sense)))
            .filter_map(|(a, t, sense)| {
                let net = t - sense * friction;
                (net.abs() > edge && net.abs() < most).then_some((a, t, net.signum(), sense))
            })
            .collect();
        for side in [1.0, -1.0] {
            for sense in [1.0, -1.0] {
                let got = points
                    .iter()
                    .filter(|p| p.2 * side > 0.0 && p.3 * sense > 0.0)
                    .count();
                if got < 8 {
                    return Err(Refusal::TooFewSamples {
                        what: "one flank of a loop of torque, outside the gap".into(),
                        got,
                        needed: 8,
                    });
                }
            }
        }
        let fit = lines(&points, friction, noise)?;
        let settled = (fit.parameters[FRICTION] - friction).abs() < 1e-3 * edge;
        friction = fit.parameters[FRICTION];
        last = Some(fit);
        if settled {
            break;
        }
    }
    last.map(|fit| (fit, friction)).ok_or(Refusal::NotConverged {
        what: "the flanks of a loop of torque".into(),
        iterations: 0,
        reason: "no pass was made".into(),
    })
}

fn lines(points: &[Point], friction: f64, noise: [f64; 2]) -> Result<Fit, Refusal> {
    let widest = |f: fn(&Point) -> f64| points.iter().map(f).fold(0.0_f64, |m, v| m.max(v.abs()));
    let (twist, torque) = (
        widest(|p| p.0).max(f64::MIN_POSITIVE),
        widest(|p| p.1).max(f64::MIN_POSITIVE),
    );
    let c = twist / torque;
    // Start: slope of each flank from its own sums.
    let slope = |side: f64| {
        let own: Vec<&Point> = points.iter().filter(|p| p.2 * side > 0.0).collect();
        let n = own.len() as f64;
        let (ma, mt) = own.iter().fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
        let (sat, stt) = own.iter().fold((0.0, 0.0), |s, p| {
            (s.0 + (p.0 - ma) * (p.1 - mt), s.1 + (p.1 - mt).powi(2))
        });
        (sat / stt, ma - sat / stt * mt)
    };
    let ((up, a), (down, b)) = (slope(1.0), slope(-1.0));
    // A tenth off, so that the solver sees what an exact solution gains.
    let start = [a - b, 0.5 * (a + b), 1.1 * up, 1.1 * down, friction];
    let settings = Options {
        scale: Some(vec![0.01 * twist, 0.01 * twist, c, c, 0.1 * torque]),
        // Where nothing gives, friction cannot be told, and must not take the sides with it.
        lower: Some([[f64::NEG_INFINITY; 4].as_slice(), &[-0.3 * torque]].concat()),
        upper: Some([[f64::INFINITY; 4].as_slice(), &[0.3 * torque]].concat()),
        max_iterations: 100,
        x_tolerance: 1e-10,
        rss_tolerance: 1e-12,
        offset_tolerance: 0.05,
        ..Options::default()
    };
    minimise(
        &mut |p, r| {
            for (r, (a, t, side, sense)) in r.iter_mut().zip(points) {
                let c = if *side > 0.0 { p[2] } else { p[3] };
                let miss = a - (p[MIDDLE] + 0.5 * side * p[GAP] + c * (t - sense * p[FRICTION]));
                *r = miss / noise[0].hypot(c * noise[1]);
            }
        },
        points.len(),
        &start,
        &settings,
    )
    .map_err(|failure| failure.refusal("the flanks of a loop of torque"))
}

/// Twist of a branch at a torque, by a straight line through the readings around it.
fn level(branch: &Branch, torque: f64, reach: f64) -> Option<f64> {
    let near: Vec<(f64, f64)> = pick(branch, |t| (t - torque).abs() <= 0.3 * reach);
    line(&near, torque)
}

/// Twist of a branch in the limit of zero torque from one side; readings about zero may mix both.
fn limit(branch: &Branch, side: f64, reach: f64) -> Option<f64> {
    let near: Vec<(f64, f64)> = pick(branch, |t| t * side > 0.1 * reach && t * side <= reach);
    line(&near, 0.0)
}

fn pick(branch: &Branch, keep: impl Fn(f64) -> bool) -> Vec<(f64, f64)> {
    let pairs = branch.torque.iter().copied().zip(branch.twist.iter().copied());
    pairs.filter(|(t, _)| keep(*t)).collect()
}

fn line(near: &[(f64, f64)], at: f64) -> Option<f64> {
    if near.len() < 4 {
        return None;
    }
    let n = near.len() as f64;
    let (mx, my) = near
        .iter()
        .fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
    let (sxy, sxx) = near.iter().fold((0.0, 0.0), |s, p| {
        (s.0 + (p.0 - mx) * (p.1 - my), s.1 + (p.0 - mx).powi(2))
    });
    Some(if sxx > 0.0 { my + sxy / sxx * (at - mx) } else { my })
}

/// Slope of twist over torque on a range of torques, both sides and senses each about its own mean, by Deming's
/// regression (errors in both).
fn compliance(all: &Loop, low: f64, high: f64, noise: [f64; 2]) -> Option<f64> {
    let (mut stt, mut saa, mut sat) = (0.0, 0.0, 0.0);
    for branch in all {
        for side in [1.0, -1.0] {
            let own = pick(branch, |t| t * side >= low && t * side <= high);
            if own.len() < 8 {
                return None;
            }
            let n = own.len() as f64;
            let (mt, ma) = own.iter().fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
            for (t, a) in own {
                stt += (t - mt).powi(2);
                saa += (a - ma).powi(2);
                sat += (t - mt) * (a - ma);
            }
        }
    }
    if noise[1] <= 0.0 {
        return Some(sat / stt);
    }
    let ratio = (noise[0] / noise[1]).powi(2);
    let d = saa - ratio * stt;
    Some((d + (d * d + 4.0 * ratio * sat * sat).sqrt()) / (2.0 * sat))
}

/// Area enclosed, by trapezoids.
fn area(all: &Loop) -> f64 {
    let work = |b: &Branch| -> f64 {
        b.whole
            .windows(2)
            .map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0))
            .sum()
    };
    (work(&all[0]) + work(&all[1])).abs()
}
