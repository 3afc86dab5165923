//! Multisines and pseudo-random signals through a closed form.

use super::synthetic::{CUBE, GAIN, Periodic, SQUARE, Synthetic};
use super::{FitDocument, Quantity, code, fitted};

/// Odd lines from 1 to 199 but every fourth.
fn multisine(seed: u32) -> Periodic {
    sines((0..100_u32).filter(|i| i % 4 != 1).map(|i| 2 * i + 1), seed)
}

/// These lines, with phases of a congruential generator.
fn sines(lines: impl Iterator<Item = u32>, seed: u32) -> Periodic {
    let mut state = seed;
    let lines = lines.map(|line| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (
            line,
            f64::from(state) / f64::from(u32::MAX) * std::f64::consts::TAU,
        )
    });
    Periodic::Multisine(lines.collect(), EACH_NM)
}

/// Amplitude of each of the 75 lines, N·m.
const EACH_NM: f64 = 0.04;

fn value(document: &FitDocument, quantity: Quantity) -> f64 {
    let found = document.headline(quantity).unwrap();
    found
        .estimate()
        .unwrap_or_else(|| panic!("{quantity:?}: {:?}", found.result))
        .value
}

/// For a Gaussian input of variance `s²` through `g x + b x² + c x³` (Bussgang): gain `g + 3 c s²`; what the cube adds beside it
/// has the variance `6 c² s⁶`, the square's `2 b² s⁴` about its mean. A sum of 75 sines of random phases is nearly Gaussian
/// (Pintelon and Schoukens, 2nd ed., 3.4), but the power spreads to three times the band, of which a part lies within.
#[test]
fn what_was_not_asked_for_is_told_from_what_was() {
    let signals: Vec<Periodic> = (1..=7).map(multisine).collect();
    let document = fitted(Synthetic::new().periods(&signals, ("multisine", 2)));
    let variance = 75.0 * EACH_NM * EACH_NM / 2.0;
    let linear = GAIN + 3.0 * CUBE * variance;
    // All of the square's power lies up to twice the band, falling like a triangle: half of it above the band.
    let even = (2.0 * SQUARE.powi(2) * variance.powi(2)).sqrt() / (linear * variance.sqrt());
    let found = value(&document, Quantity::EvenDistortion);
    assert!(found > 0.5 * even && found < even, "{found} of {even}");
    let odd = (6.0 * CUBE.powi(2) * variance.powi(3)).sqrt() / (linear * variance.sqrt());
    let found = value(&document, Quantity::OddDistortion);
    assert!(found > 0.4 * odd && found < odd, "{found} of {odd}");
    // Noise of ±12 counts of 0.1 mN·m: uniform, 25²−1 over 12 squared counts, of which a tenth lies within 200 of 2,000 Hz.
    let noise = 1e-4 * (624.0_f64 / 12.0).sqrt() * 0.1_f64.sqrt() / (linear * variance.sqrt());
    let found = value(&document, Quantity::PeriodNoise);
    assert!((found - noise).abs() < 0.15 * noise, "{found} of {noise}");
    let curve = document.curves.frequency.as_ref().unwrap();
    assert_eq!((curve.excitation.as_str(), curve.f_hz.len()), ("multisine", 75));
    let db = 20.0 * linear.log10();
    for gain in &curve.gain_db {
        assert!((gain - db).abs() < 0.05, "{gain} of {db}");
    }
    // A pure delay of 4 ms: phase and group delay say so, and at 62.5 Hz it is a quarter turn. Torque is sampled here without a
    // filter, which leaves half a sample of the staircase open.
    let delay = value(&document, Quantity::GroupDelay);
    assert!((delay - 4e-3).abs() < 0.13e-3, "{delay}");
    assert!((value(&document, Quantity::PhaseNinety) - 62.5).abs() < 2.0);
    // Nothing falls by 3 dB.
    assert_eq!(code(&document, Quantity::Bandwidth), "no_crossing");
    assert!(
        document.quality.iter().all(|c| c.passed),
        "{:?}",
        document.quality
    );
}

/// A period cut short by the end of the recording is left out, and too few realisations are refused.
#[test]
fn a_realisation_that_is_not_whole_is_left_out() {
    let signals: Vec<Periodic> = (1..=2).map(multisine).collect();
    let mut synthetic = Synthetic::new().periods(&signals, ("multisine", 2));
    // Both realisations last 3 s; the recording ends in the last period of the second.
    synthetic.until = synthetic.now - 100_000 - 300_000;
    let document = fitted(synthetic);
    let repeats = document
        .quality
        .iter()
        .find(|c| c.name == "whole repeats")
        .unwrap();
    assert!(
        !repeats.passed && repeats.detail.contains("realisation 2"),
        "{}",
        repeats.detail
    );
    assert_eq!(code(&document, Quantity::OddDistortion), "too_few_repeats");
}

/// A rig that plays less than was asked for, in all periods or in the last one alone.
#[test]
fn a_clipped_period_refuses_its_realisation() {
    for last_alone in [false, true] {
        let signals: Vec<Periodic> = (1..=2).map(multisine).collect();
        let synthetic = Synthetic::new().periods(&signals, ("multisine", 2));
        // The second realisation's last period begins a second before the end of what is played.
        let clipped_from = if last_alone { synthetic.now - 1_100_000 } else { 0 };
        let document = fitted(Synthetic {
            most_nm: 0.4,
            clipped_from,
            ..synthetic
        });
        let check = document
            .quality
            .iter()
            .find(|c| c.name == "clipped setpoint")
            .unwrap();
        assert!(!check.passed);
        let due = if last_alone {
            "1 repeats differ"
        } else {
            "2 repeats differ"
        };
        assert!(check.detail.starts_with(due), "{}", check.detail);
        let code = code(&document, Quantity::OddDistortion);
        assert_eq!(
            code,
            if last_alone {
                "too_few_repeats"
            } else {
                "clipped_setpoint"
            }
        );
    }
}

/// A rig that cuts off the one side that the crest is not on: the amplitude is reached, the lines tell. Odd lines alone go as far
/// down as up; these are all from 1 to 75.
#[test]
fn a_signal_clipped_on_one_side_refuses_its_realisation() {
    let peaks = |signal: &Periodic| {
        let played = (0..4_000).map(|i| signal.nm(250 * i));
        played.fold([0.0_f64; 2], |[low, high], nm| [low.min(nm), high.max(nm)])
    };
    // Those whose crest is above.
    let signals: Vec<Periodic> = (1..40)
        .map(|seed| sines(1..=75, seed))
        .filter(|signal| {
            let [low, high] = peaks(signal);
            -low < 0.95 * high
        })
        .take(2)
        .collect();
    let Periodic::Multisine(lines, _) = &signals[0] else {
        panic!("no multisine");
    };
    let lines: Vec<u32> = lines.iter().map(|(k, _)| *k).collect();
    let shallower = signals.iter().map(|s| -peaks(s)[0]).fold(f64::INFINITY, f64::min);
    for (share, due) in [(f64::INFINITY, None), (0.9, Some("clipped_setpoint"))] {
        let synthetic = Synthetic::new().periods(&signals, ("multisine", 2));
        let document = fitted(Synthetic {
            least_nm: -share * shallower,
            lines: Some(lines.clone()),
            ..synthetic
        });
        let check = document.quality.iter().find(|c| c.name == "clipped setpoint");
        assert_eq!(check.unwrap().passed, due.is_none(), "{check:?}");
        match due {
            Some(due) => assert_eq!(code(&document, Quantity::GroupDelay), due),
            None => assert!(value(&document, Quantity::GroupDelay) > 0.0),
        }
    }
}

/// One that cuts off one side of a pseudo-random signal, which goes as far up as down.
#[test]
fn a_pseudo_random_signal_clipped_on_one_side_is_refused() {
    let signals = vec![Periodic::Binary(vec![1.0, -1.0, -1.0, 1.0, 1.0, 1.0, -1.0]); 2];
    let synthetic = Synthetic::new().periods(&signals, ("pseudo-random", 2));
    let document = fitted(Synthetic {
        least_nm: -0.3,
        ..synthetic
    });
    assert_eq!(code(&document, Quantity::GroupDelay), "clipped_setpoint");
}

/// The maximum-length sequence of x⁵ + x³ + 1 has 31 bits; every line of its period carries power, so distortion cannot be told.
#[test]
fn a_pseudo_random_signal_gives_a_response_without_distortion() {
    let mut register = [true, false, false, false, false];
    let signs: Vec<f64> = (0..31)
        .map(|_| {
            let out = register[4];
            let next = register[4] ^ register[2];
            register.rotate_right(1);
            register[0] = next;
            if out { 1.0 } else { -1.0 }
        })
        .collect();
    let signals = vec![Periodic::Binary(signs); 4];
    let document = fitted(Synthetic::new().periods(&signals, ("pseudo-random", 3)));
    let curve = document.curves.frequency.as_ref().unwrap();
    assert_eq!(curve.excitation, "pseudo-random");
    // Sampled four times a bit, a line of `x` per bit has sin²(πx)/(4 sin(πx/4))² of the power: a quarter at x = 0.619, between the
    // 19th and the 20th of lines 1/31 apart.
    assert_eq!(curve.f_hz.len(), 19);
    assert_eq!(code(&document, Quantity::OddDistortion), "too_few_samples");
    for (f, gain) in curve.f_hz.iter().zip(&curve.gain_db) {
        // Of a signal of two values the cube is a gain; torque is sampled here without the sensor's filter, so the staircase is not
        // smoothed by its hold.
        let x = std::f64::consts::PI * f / 4_000.0;
        let expected = (GAIN + 0.16 * CUBE) / (x.sin() / x);
        assert!((gain - 20.0 * expected.log10()).abs() < 0.02, "{f} {gain}");
    }
}
