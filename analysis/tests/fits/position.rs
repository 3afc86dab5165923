//! Step and noise of a position sensor: closed forms and simulated readings over seeds.
#![allow(clippy::unwrap_used)]

use crate::common::Random;
use ndarray::{Array1, aview1};
use truerim_analysis::position::{reading_noise, step_counts};

#[test]
fn the_step_is_the_common_divisor_of_differences() {
    // By hand: differences 6, 0, -9, 3.
    assert_eq!(step_counts(aview1(&[100, 106, 106, 97, 100])), Some(3));
    assert_eq!(step_counts(aview1(&[7, 7, 7])), None);
    assert_eq!(step_counts(aview1(&[i32::MAX, i32::MIN])), Some(1));
}

fn readings(seed: u64, n: usize, way: f64, sd: f64) -> Array1<f64> {
    let mut random = Random::new(seed);
    (0..n)
        .map(|i| (0.37 + way * i as f64 + sd * random.normal()).floor())
        .collect()
}

/// Noise of a twentieth of a step, a third and three steps, at several speeds.
#[test]
fn noise_comes_back_whatever_its_size_beside_the_step() {
    for (sd, way) in [(0.055, 0.013), (0.1, 0.06), (0.33, 0.38), (3.0, 0.2)] {
        let (mut inside, mut sum) = (0, 0.0);
        let seeds = 40;
        for seed in 0..seeds {
            let found = reading_noise(readings(100 + seed, 8000, way, sd).view()).unwrap();
            inside += usize::from((found.interval[0]..=found.interval[1]).contains(&sd));
            sum += found.value / sd;
        }
        let mean = sum / seeds as f64;
        println!("{sd} at {way}: {mean:.4}, inside {inside} of {seeds}");
        assert!((mean - 1.0).abs() < 0.02, "{sd}: {mean}");
        // 34 of 40: a right 95 % interval does worse in 1 of 100 such tests.
        assert!(inside >= 34, "{sd}: {inside}");
    }
}

#[test]
fn a_sensor_without_flicker_has_a_bound() {
    let quiet = reading_noise(readings(1, 8000, 0.013, 0.0).view()).unwrap_err();
    assert_eq!(quiet.code(), "below_noise");
    assert_eq!(
        reading_noise(readings(1, 500, 0.1, 0.3).view())
            .unwrap_err()
            .code(),
        "too_few_samples"
    );
}
