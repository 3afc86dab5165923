//! Non-linear least squares against NIST's certified values.
//!
//! From start 2 every set must reach 6 digits in the parameters, 4 in their standard deviations and 8 in the residual
//! sum of squares; from start 1 the same, or a typed failure.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use truerim_analysis::least_squares::{Fit, Options, minimise};

type Model = fn(&[f64], &[f64]) -> f64;

struct Set {
    starts: [Vec<f64>; 2],
    certified: Vec<f64>,
    certified_sd: Vec<f64>,
    rss: f64,
    y: Vec<f64>,
    x: Vec<Vec<f64>>,
}

fn read(name: &str) -> Set {
    let path = format!("{}/tests/data/nist_strd/{name}.dat", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let mut set = Set {
        starts: [vec![], vec![]],
        certified: vec![],
        certified_sd: vec![],
        rss: f64::NAN,
        y: vec![],
        x: vec![],
    };
    for line in text.lines().skip(40).take(20) {
        if let Some((name, numbers)) = line.split_once('=') {
            if name.trim().starts_with('b') {
                let v: Vec<f64> = numbers.split_whitespace().map(|v| v.parse().unwrap()).collect();
                set.starts[0].push(v[0]);
                set.starts[1].push(v[1]);
                set.certified.push(v[2]);
                set.certified_sd.push(v[3]);
            }
        } else if let Some(value) = line.strip_prefix("Residual Sum of Squares:") {
            set.rss = value.trim().parse().unwrap();
        }
    }
    for line in text.lines().skip(60) {
        let v: Vec<f64> = line.split_whitespace().map(|v| v.parse().unwrap()).collect();
        if v.len() > 1 {
            set.y.push(v[0]);
            set.x.push(v[1..].to_vec());
        }
    }
    set
}

/// Digits that agree: NIST's log relative error.
fn digits(value: f64, certified: f64) -> f64 {
    -((value - certified).abs() / certified.abs()).max(1e-16).log10()
}

fn gauss(b: &[f64], x: &[f64]) -> f64 {
    let peak = |a: f64, centre: f64, width: f64| a * (-(x[0] - centre).powi(2) / width.powi(2)).exp();
    b[0] * (-b[1] * x[0]).exp() + peak(b[2], b[3], b[4]) + peak(b[5], b[6], b[7])
}

const SETS: [(&str, Model); 13] = [
    ("Misra1a", |b, x| b[0] * (1.0 - (-b[1] * x[0]).exp())),
    ("Misra1c", |b, x| {
        b[0] * (1.0 - (1.0 + 2.0 * b[1] * x[0]).powf(-0.5))
    }),
    ("Chwirut2", |b, x| (-b[0] * x[0]).exp() / (b[1] + b[2] * x[0])),
    ("DanWood", |b, x| b[0] * x[0].powf(b[1])),
    ("Lanczos2", |b, x| {
        b[0] * (-b[1] * x[0]).exp() + b[2] * (-b[3] * x[0]).exp() + b[4] * (-b[5] * x[0]).exp()
    }),
    ("Gauss1", gauss),
    ("Gauss2", gauss),
    ("Kirby2", |b, x| {
        (b[0] + b[1] * x[0] + b[2] * x[0] * x[0]) / (1.0 + b[3] * x[0] + b[4] * x[0] * x[0])
    }),
    ("MGH17", |b, x| {
        b[0] + b[1] * (-x[0] * b[3]).exp() + b[2] * (-x[0] * b[4]).exp()
    }),
    ("Nelson", |b, x| b[0] - b[1] * x[0] * (-b[2] * x[1]).exp()),
    ("Eckerle4", |b, x| {
        (b[0] / b[1]) * (-0.5 * ((x[0] - b[2]) / b[1]).powi(2)).exp()
    }),
    ("Rat42", |b, x| b[0] / (1.0 + (b[1] - b[2] * x[0]).exp())),
    ("Bennett5", |b, x| b[0] * (b[1] + x[0]).powf(-1.0 / b[2])),
];

fn assess(name: &str, set: &Set, fit: &Fit) -> Result<String, String> {
    let parameter = fit
        .parameters
        .iter()
        .zip(&set.certified)
        .map(|(v, c)| digits(*v, *c))
        .fold(f64::INFINITY, f64::min);
    let sd = (0..set.certified.len())
        .map(|i| digits(fit.sd(i), set.certified_sd[i]))
        .fold(f64::INFINITY, f64::min);
    let rss = digits(fit.rss, set.rss);
    let text = format!(
        "{name}: parameters {parameter:.1}, sd {sd:.1}, rss {rss:.1}, {} iterations",
        fit.iterations
    );
    if parameter >= 6.0 && sd >= 4.0 && rss >= 8.0 {
        Ok(text)
    } else {
        Err(text)
    }
}

#[test]
fn every_set_agrees_or_fails_typed() {
    let mut wrong = Vec::new();
    let mut converged_from_start_1 = 0;
    for (name, model) in SETS {
        let mut set = read(name);
        if name == "Nelson" {
            set.y.iter_mut().for_each(|y| *y = y.ln());
        }
        assert!(
            !set.certified.is_empty() && set.rss.is_finite(),
            "{name} was not read"
        );
        for (start, values) in set.starts.iter().enumerate() {
            let fit = minimise(
                &mut |b, r| {
                    for (r, (x, y)) in r.iter_mut().zip(set.x.iter().zip(&set.y)) {
                        *r = model(b, x) - y;
                    }
                },
                set.y.len(),
                values,
                &Options {
                    max_iterations: 2000,
                    ..Options::default()
                },
            );
            match fit.map(|fit| assess(name, &set, &fit)) {
                Ok(Ok(text)) => {
                    converged_from_start_1 += usize::from(start == 0);
                    println!("start {}: {text}", start + 1);
                }
                Ok(Err(text)) => wrong.push(format!("start {}: {text}", start + 1)),
                Err(failure) if start == 0 => println!("start 1: {name}: {failure}"),
                Err(failure) => wrong.push(format!("start 2: {name}: {failure}")),
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // A solver that always gave up from start 1 would pass the rule above.
    assert!(
        converged_from_start_1 >= 11,
        "{converged_from_start_1} of 13 from start 1"
    );
}
