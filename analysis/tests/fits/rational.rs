//! Rational fit against python-control's truth and scipy's optimum (tests/reference/analysis/rational.py), and over seeds.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::{Random, list};
use realfft::num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::{FRAC_PI_2, TAU};
use truerim_analysis::estimate::Estimate;
use truerim_analysis::rational::*;

fn reference() -> (Value, ResponseLines) {
    let path = format!("{}/tests/data/rational.json", env!("CARGO_MANIFEST_DIR"));
    let data: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let repeats: Vec<Vec<Complex64>> = data["repeats"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| {
            let (re, im) = (list(&r[0]), list(&r[1]));
            re.iter()
                .zip(&im)
                .map(|(re, im)| Complex64::new(*re, *im))
                .collect()
        })
        .collect();
    let n = repeats[0].len();
    let h = (0..n)
        .map(|i| repeats.iter().map(|r| r[i]).sum::<Complex64>() / 3.0)
        .collect();
    let lines = ResponseLines {
        f_hz: list(&data["f_hz"]),
        h,
        u: list(&data["u"]),
        repeats,
        delay_budget: Vec::new(),
    };
    (data, lines)
}

/// The same optimum as scipy's from its own start, the same standard deviations, and the order that made the data.
#[test]
fn agrees_with_scipy() {
    let (data, lines) = reference();
    let fit = fit_rational(&lines, &RationalOptions::default()).unwrap();
    for s in &fit.scores {
        println!("{s:?}");
    }
    assert_eq!(fit.model.orders(), (5, 1));
    let (p, sd) = (list(&data["parameters"]), list(&data["sd"]));
    let rss = data["rss"].as_f64().unwrap();
    let dof = (2 * lines.f_hz.len() - p.len()) as f64;
    assert!(
        (fit.residual * dof / rss - 1.0).abs() < 1e-6,
        "{} {rss}",
        fit.residual * dof
    );
    // scipy's sd does not know the residual; ours scales with it when it is above 1.
    let scale = fit.residual.sqrt().max(1.0);
    let near = |e: &Estimate, value: f64, sd: f64| {
        assert!((e.value - value).abs() < 2e-3 * sd, "{} {value} sd {sd}", e.value);
        let own = e.budget[0].std_uncertainty;
        assert!((own / (sd * scale) - 1.0).abs() < 2e-3, "{own} {sd}");
    };
    let delay = fit.delay().unwrap();
    near(&delay, 1e-3 * p[5], 1e-3 * sd[5]);
    let poles = fit.poles().unwrap();
    assert_eq!(poles.len(), 3);
    near(&poles[0].frequency, p[0].exp(), p[0].exp() * sd[0]);
    near(&poles[0].damping, p[1].exp(), p[1].exp() * sd[1]);
    near(&poles[1].frequency, p[2].exp(), p[2].exp() * sd[2]);
    near(&poles[1].damping, p[3].exp(), p[3].exp() * sd[3]);
    near(&poles[2].frequency, p[4].exp(), p[4].exp() * sd[4]);
    // Against the truth of python-control, within the intervals.
    let truth = &data["truth"];
    for (name, found) in [
        ("minus_3_db_hz", fit.leaves(-3.0)),
        ("flat_band_hz", fit.leaves(3.0)),
        ("minus_90_hz", fit.phase_reaches(-FRAC_PI_2, false)),
        ("minus_90_with_delay_hz", fit.phase_reaches(-FRAC_PI_2, true)),
    ] {
        let (e, truth) = (found.unwrap(), truth[name].as_f64().unwrap());
        println!(
            "{name}: {:.4} ± {:.4} Hz, truth {truth:.4}",
            e.value, e.std_uncertainty
        );
        assert!(e.interval[0] < truth && truth < e.interval[1], "{name}");
        assert!(e.std_uncertainty < 0.01 * truth);
    }
}

/// FR-1, FR-2 and LA-2: a lag of 8 ms behind 3.5 ms, free of noise: closed forms.
#[test]
fn closed_forms_of_a_lag() {
    let h =
        |f: f64| 2.0 / Complex64::new(1.0, TAU * f * 8e-3) * Complex64::from_polar(1.0, -TAU * f * 3.5e-3);
    let f_hz: Vec<f64> = (1..=80).map(f64::from).collect();
    let data = ResponseLines {
        h: f_hz.iter().map(|f| h(*f)).collect(),
        u: vec![1e-6; 80],
        f_hz,
        repeats: Vec::new(),
        delay_budget: Vec::new(),
    };
    let options = RationalOptions {
        orders: [1, 4],
        ..RationalOptions::default()
    };
    let fit = fit_rational(&data, &options).unwrap();
    let near =
        |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-6, "{found} {expected}");
    assert_eq!(fit.model.orders(), (1, 0));
    near(fit.delay().unwrap().value, 3.5e-3);
    near(fit.gain().unwrap().value, 2.0);
    near(fit.poles().unwrap()[0].frequency.value, 19.894_367_886);
    near(fit.leaves(-3.0).unwrap().value, 19.847_185);
    near(fit.leaves(-10.0 * 2.0_f64.log10()).unwrap().value, 19.894_368);
    near(fit.phase_reaches(-FRAC_PI_2, true).unwrap().value, 28.051_369);
    for (f, magnitude, degrees) in [
        (1.0, 1.997_478, -4.137_578),
        (10.0, 1.786_953, -39.286_610),
        (50.0, 0.739_396, -131.303_016),
    ] {
        let h = fit.model.at(f);
        assert!((h.norm() - magnitude).abs() < 1e-5 && (h.arg().to_degrees() - degrees).abs() < 1e-5);
    }
}

/// A chain of the kind that is measured: two modes, a lag, a delay.
fn chain() -> RationalModel {
    RationalModel {
        gain: 0.95,
        delay_s: 4e-3,
        poles: vec![
            Factor::Pair {
                f_hz: 94.0,
                damping: 0.12,
            },
            Factor::Real { corner_hz: 500.0 },
        ],
        zeros: vec![Factor::Real { corner_hz: 250.0 }],
    }
}

fn noisy(truth: &RationalModel, f_hz: &[f64], rel: f64, repeats: usize, seed: u64) -> ResponseLines {
    let mut random = Random::new(seed);
    let u = |f: f64| rel * truth.at(f).norm();
    let repeats: Vec<Vec<Complex64>> = (0..repeats)
        .map(|_| {
            f_hz.iter()
                .map(|f| truth.at(*f) + u(*f) * Complex64::new(random.normal(), random.normal()))
                .collect()
        })
        .collect();
    let n = repeats.len() as f64;
    ResponseLines {
        f_hz: f_hz.to_vec(),
        h: (0..f_hz.len())
            .map(|i| repeats.iter().map(|r| r[i]).sum::<Complex64>() / n)
            .collect(),
        u: f_hz.iter().map(|f| u(*f) / n.sqrt()).collect(),
        repeats,
        delay_budget: Vec::new(),
    }
}

/// Share of 200 seeds whose interval holds the truth, and spread against the Cramér–Rao bound, which for this model and
/// normal errors is the covariance at the truth: `(J'J)^-1` of a fit to data free of noise with the same errors.
#[test]
fn intervals_cover_and_the_spread_is_at_the_bound() {
    let truth = chain();
    let f_hz: Vec<f64> = (0..120)
        .map(|i| 1.0 * 300.0_f64.powf(f64::from(i) / 119.0))
        .collect();
    let options = RationalOptions {
        orders: [2, 4],
        ..RationalOptions::default()
    };
    let clean = ResponseLines {
        h: f_hz.iter().map(|f| truth.at(*f)).collect(),
        repeats: Vec::new(),
        ..noisy(&truth, &f_hz, 0.01, 4, 0)
    };
    let same = RationalOptions {
        orders: [3, 3],
        excess: [2, 2],
        ..options.clone()
    };
    let exact = fit_rational(&clean, &same).unwrap();
    type Read = fn(&RationalFit) -> Estimate;
    let read: [(&str, Read); 5] = [
        ("delay", |f| f.delay().unwrap()),
        ("bandwidth", |f| f.leaves(-3.0).unwrap()),
        ("flat band", |f| f.leaves(3.0).unwrap()),
        ("resonance", |f| f.poles().unwrap()[0].frequency.clone()),
        ("damping", |f| f.poles().unwrap()[0].damping.clone()),
    ];
    let seeds = 200;
    let mut inside = [0.0; 5];
    let mut squares = [0.0; 5];
    let mut shapes = std::collections::BTreeMap::new();
    for seed in 0..seeds {
        let data = noisy(&truth, &f_hz, 0.01, 4, 100 + seed);
        let fit = fit_rational(&data, &options).unwrap();
        // The bound is that of the model with its order known.
        let known = fit_rational(&data, &same).unwrap();
        *shapes.entry(fit.model.orders()).or_insert(0) += 1;
        for (k, (_, read)) in read.iter().enumerate() {
            let (e, t) = (read(&fit), read(&exact).value);
            inside[k] += f64::from(u8::from(e.interval[0] <= t && t <= e.interval[1]));
            squares[k] += (read(&known).value - t).powi(2);
        }
    }
    println!("poles and zeros found: {shapes:?}");
    // Never a pole or zero too few; sometimes one too many.
    assert!(shapes.keys().all(|(poles, zeros)| *poles >= 3 && *zeros >= 1));
    assert!(shapes[&(3, 1)] > 150);
    for (k, (name, read)) in read.iter().enumerate() {
        let bound = read(&exact).budget[0].std_uncertainty;
        let ratio = (squares[k] / seeds as f64).sqrt() / bound;
        let share = inside[k] / seeds as f64;
        println!("{name}: inside {share:.3}, spread over bound {ratio:.3}");
        // 200 draws: three standard deviations of 95 % are 4.6 %; of a ratio that is 1, 15 %.
        assert!((0.90..=0.99).contains(&share), "{name}: {share}");
        assert!((0.85..1.3).contains(&ratio), "{name}: {ratio}");
    }
}

#[test]
fn refusals_are_typed() {
    let f_hz: Vec<f64> = (1..=60).map(f64::from).collect();
    let good = noisy(&chain(), &f_hz, 0.01, 3, 1);
    let options = RationalOptions {
        orders: [1, 4],
        ..RationalOptions::default()
    };
    let code = |d: &ResponseLines, o: &RationalOptions| fit_rational(d, o).unwrap_err().code();
    let mut bad = good.clone();
    bad.h[7] = Complex64::new(f64::NAN, 0.0);
    assert_eq!(code(&bad, &options), "non_finite");
    let mut bad = good.clone();
    bad.u.pop();
    assert_eq!(code(&bad, &options), "length_mismatch");
    let mut bad = good.clone();
    bad.f_hz[3] = bad.f_hz[2];
    assert_eq!(code(&bad, &options), "out_of_range");
    assert_eq!(
        code(
            &good,
            &RationalOptions {
                orders: [1, 12],
                ..options.clone()
            }
        ),
        "too_few_samples"
    );
    assert_eq!(
        code(
            &good,
            &RationalOptions {
                orders: [0, 2],
                ..options.clone()
            }
        ),
        "out_of_range"
    );
    // 60 Hz do not reach the fall of a chain with its mode at 94 Hz.
    let fit = fit_rational(&good, &options).unwrap();
    assert_eq!(fit.leaves(-3.0).unwrap_err().code(), "no_crossing");
}

/// Noise that is larger than the errors say: the check fails and the intervals widen with it.
#[test]
fn errors_given_too_small_are_seen() {
    let f_hz: Vec<f64> = (0..120).map(|i| 300.0_f64.powf(f64::from(i) / 119.0)).collect();
    let mut data = noisy(&chain(), &f_hz, 0.01, 4, 3);
    let options = RationalOptions {
        orders: [3, 3],
        excess: [2, 2],
        ..RationalOptions::default()
    };
    let honest = fit_rational(&data, &options).unwrap();
    data.u.iter_mut().for_each(|u| *u *= 0.25);
    let fooled = fit_rational(&data, &options).unwrap();
    assert!(honest.checks[0].passed && !fooled.checks[0].passed);
    let (a, b) = (honest.delay().unwrap(), fooled.delay().unwrap());
    assert!(
        (b.std_uncertainty / a.std_uncertainty - 1.0).abs() < 0.15,
        "{a:?} {b:?}"
    );
}
