//! Tests of normality against published values, scipy and statsmodels.

use crate::common;
use common::{cases, near};
use quality::normality::*;

/// Shapiro and Wilk 1965, example 2: weights of eleven men; W 0.79 there, 0.7888 with p 0.0067 by AS R94 (from memory).
#[test]
fn eleven_men() {
    let weights = [
        148.0, 154.0, 158.0, 160.0, 161.0, 162.0, 166.0, 170.0, 182.0, 195.0, 236.0,
    ];
    let found = shapiro_wilk(&weights).unwrap();
    near(found.statistic, 0.7888, 1e-4);
    near(found.p, 0.0067, 1e-4);
}

/// Beside `scipy.stats.shapiro` and `statsmodels.stats.diagnostic.normal_ad`, from 3 to 400 values.
#[test]
fn beside_scipy_and_statsmodels() {
    let mut both = 0;
    for case in cases("normal") {
        let found = shapiro_wilk(case.list("in.x")).unwrap();
        near(found.statistic, case.number("w"), 2e-6);
        common::near_share(found.p, case.number("w_p"), 2e-3);
        if case.has("a2") {
            let found = anderson_darling(case.list("in.x")).unwrap();
            near(found.statistic, case.number("a2"), 1e-9);
            common::near_share(found.p, case.number("a2_p"), 1e-6);
            both += 1;
        }
    }
    assert!(both >= 6);
}

/// Both reject one sample in twenty of normal values at 0.05, and most of skewed ones.
#[test]
fn level_and_power() {
    let z = common::normals(20_000, 13);
    let shares = |samples: &[Vec<f64>]| {
        let share = |p: &dyn Fn(&[f64]) -> f64| {
            samples.iter().filter(|s| p(s) < 0.05).count() as f64 / samples.len() as f64
        };
        [
            share(&|s| shapiro_wilk(s).unwrap().p),
            share(&|s| anderson_darling(s).unwrap().p),
        ]
    };
    let normal: Vec<Vec<f64>> = z.chunks(20).map(<[f64]>::to_vec).collect();
    let skewed: Vec<Vec<f64>> = normal
        .iter()
        .map(|s| s.iter().map(|z| z.exp()).collect())
        .collect();
    for share in shares(&normal) {
        near(share, 0.05, 0.022);
    }
    for share in shares(&skewed) {
        assert!(share > 0.85, "{share}");
    }
}

#[test]
fn refusals() {
    assert_eq!(shapiro_wilk(&[1.0, 2.0]).unwrap_err().code(), "too_few");
    assert_eq!(shapiro_wilk(&[1.0; 5]).unwrap_err().code(), "no_variance");
    let many: Vec<f64> = (0..5001).map(f64::from).collect();
    assert_eq!(shapiro_wilk(&many).unwrap_err().code(), "out_of_range");
    assert_eq!(anderson_darling(&[1.0; 7]).unwrap_err().code(), "too_few");
    let gap: Vec<f64> = (0..9)
        .map(|i| if i == 4 { f64::NAN } else { f64::from(i) })
        .collect();
    assert_eq!(anderson_darling(&gap).unwrap_err().code(), "non_finite");
}
