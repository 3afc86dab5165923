#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use super::*;

/// A slide of 12 kg with 30 N·s/m and 8 N (9 forward, 7 backward) whose position is a sum of sines, so that its speed and
/// acceleration are known in closed form; 0.2 N of noise.
fn slide(mut seed: u32) -> (f64, Vec<f64>, Vec<f64>) {
    let fs_hz = 500.0;
    let tones = [(0.12, 0.31, 0.0), (0.05, 0.83, 1.1), (0.02, 1.7, 2.3)];
    let (mut position, mut effort) = (Vec::new(), Vec::new());
    for k in 0..8_000 {
        let t = f64::from(k) / fs_hz;
        let (mut x, mut v, mut a) = (0.0, 0.0, 0.0);
        for (amplitude, f_hz, phase) in tones {
            let w = std::f64::consts::TAU * f_hz;
            x += amplitude * (w * t + phase).sin();
            v += amplitude * w * (w * t + phase).cos();
            a -= amplitude * w * w * (w * t + phase).sin();
        }
        // Numerical Recipes' quick generator, two draws for a triangular distribution.
        let mut draw = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed >> 8) / f64::from(1_u32 << 24) - 0.5
        };
        position.push(x);
        effort.push(12.0 * a + 30.0 * v + 8.0 * v.signum() + 1.0 + 0.5 * (draw() + draw()));
    }
    (fs_hz, position, effort)
}

fn fitted(request: AxisRequest, seed: u32) -> AxisFit {
    let (fs_hz, position, effort) = slide(seed);
    fit_axis(&AxisRequest { fs_hz, ..request }, &position, &effort).unwrap()
}

/// Of 40 seeds 95 % are 38; 33 or fewer would be one chance in a hundred (binomial distribution).
#[test]
fn a_slide_is_told_in_kilograms_and_newtons() {
    let request = AxisRequest {
        linear: true,
        ..AxisRequest::default()
    };
    let truths = [
        ("inertia", 12.0, "kg"),
        ("viscous", 30.0, "N·s/m"),
        ("coulomb", 8.0, "N"),
        ("coulomb_positive", 9.0, "N"),
        ("coulomb_negative", 7.0, "N"),
        ("offset", 1.0, "N"),
    ];
    let mut inside = [0; 6];
    for seed in 0..40 {
        let fit = fitted(request, 1 + 7919 * seed);
        for (((id, truth, unit), row), inside) in truths.into_iter().zip(&fit.results).zip(&mut inside) {
            let estimate = row.result.estimate().unwrap();
            assert_eq!((row.id, row.unit), (id, unit));
            *inside += u32::from((estimate.interval[0]..=estimate.interval[1]).contains(&truth));
            assert!(
                (estimate.value / truth - 1.0).abs() < 0.03,
                "{id}: {}",
                estimate.value
            );
        }
    }
    assert!(inside.iter().all(|n| *n > 33), "{inside:?}");
    let table = fitted(request, 1).table();
    assert!(
        table.contains("Mass") && table.contains("kg") && table.contains("linear axis"),
        "{table}"
    );
}

#[test]
fn what_is_declared_of_the_sensor_is_in_the_budget() {
    let with = fitted(
        AxisRequest {
            gain_rel_u: 0.01,
            ..AxisRequest::default()
        },
        1,
    );
    let without = fitted(AxisRequest::default(), 1);
    let u = |fit: &AxisFit| fit.results[0].result.estimate().unwrap().std_uncertainty;
    // One per cent of 12, in quadrature.
    assert!((u(&with).powi(2) - u(&without).powi(2) - 0.12_f64.powi(2)).abs() < 1e-3);
    assert_eq!(with.axis, "rotary");
}

#[test]
fn one_direction_alone_is_refused_with_what_to_do() {
    let position: Vec<f64> = (0..5000).map(|k| 0.001 * f64::from(k)).collect();
    let effort = vec![1.0; 5000];
    let request = AxisRequest {
        fs_hz: 500.0,
        ..AxisRequest::default()
    };
    let refusal = fit_axis(&request, &position, &effort).unwrap_err();
    assert!(refusal.to_string().contains("move both ways"), "{refusal}");
}
