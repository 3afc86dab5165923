//! Crest factors and spectra of what is played, against numpy and scipy (tests/reference/excitation/signals.py).

#![allow(clippy::panic)] // the helpers of a test may fail it

use crate::common::signals::{delivered, plan, values};
use bench_core::excitation::{crest_factor, schroeder_phases};
use std::f64::consts::{PI, TAU};

/// Octaves by their lowest frequency, Hz, and root mean squares, N·m.
type Bands = &'static [(f64, f64)];

/// Compares with a relative tolerance, and that nothing else is there.
fn same(found: &[bench_core::plan::Band], expected: Bands, tolerance: f64) {
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, (low_hz, rms_nm)) in found.iter().zip(expected) {
        assert!(
            (found.high_hz - 2.0 * low_hz).abs() < 1e-9 || found.high_hz >= 2000.0,
            "{found:?}"
        );
        assert!(
            (found.rms_nm - rms_nm).abs() < tolerance * rms_nm,
            "{found:?}: not {rms_nm}"
        );
    }
}

#[test]
fn schroeder_phases_of_flat_lines() {
    // numpy; Schroeder (1970): about 1.7 for many neighbouring lines.
    for (count, expected) in [
        (15, 1.788_331_486_231_106_8),
        (31, 1.781_924_792_417_571),
        (100, 1.676_399_497_856_069_7),
        (300, 1.661_637_567_698_692_8),
    ] {
        let phases = schroeder_phases(count);
        let at = |n: usize| -> f64 {
            let terms = (1..).zip(&phases);
            terms
                .map(|(k, phase)| (TAU * (k * n % 8192) as f64 / 8192.0 + phase).cos())
                .sum()
        };
        let found = crest_factor(&(0..8192).map(at).collect::<Vec<f64>>());
        assert!((found - expected).abs() < 1e-9, "{count}: {found}");
    }
}

#[test]
fn a_chirp_as_scipy_has_it() {
    let plan = plan(
        "excitation = \"chirp\"\nlaw = \"logarithmic\"\nfrom = \"1 Hz\"\nto = \"200 Hz\"\nduration = \"2 s\"\n\
         amplitude = \"1 N·m\"\ntaper = \"100 ms\"\nrepeats = 2\n",
        1,
    );
    let found = delivered(&plan);
    let signal = &found.signals[0];
    assert!(
        (signal.crest_factor[0] - 1.445_360_521_189_246_8).abs() < 1e-9,
        "{signal:?}"
    );
    let expected: Bands = &[
        (1.0, 0.225_854_42),
        (2.0, 0.272_149_985),
        (4.0, 0.255_689_964),
        (8.0, 0.255_913_352),
        (16.0, 0.255_758_641),
        (32.0, 0.255_699_441),
        (64.0, 0.255_534_408),
        (128.0, 0.162_374_012),
    ];
    same(&signal.bands, expected, 1e-6);
}

#[test]
fn a_maximum_length_sequence_as_scipy_has_it() {
    let plan = plan(
        "excitation = \"pseudo-random\"\norder = 7\nclock = \"2 ms\"\namplitude = \"0.5 N·m\"\npreload = \"1 N·m\"\n\
         periods = 3\nrepeats = 1\n",
        1,
    );
    let found = delivered(&plan);
    let signal = &found.signals[0];
    assert_eq!((signal.length_us, found.parts, found.transient), (254_000, 3, 1));
    assert!((signal.rms_nm - 0.5).abs() < 1e-12 && (signal.crest_factor[1] - 1.0).abs() < 1e-12);
    let expected: Bands = &[
        (2.0, 0.062_985_702),
        (4.0, 0.062_966_432),
        (8.0, 0.088_970_804),
        (16.0, 0.125_426_302),
        (32.0, 0.175_253_402),
        (64.0, 0.236_404_161),
        (128.0, 0.279_106_185),
        (256.0, 0.171_528_042),
        (512.0, 0.108_967_002),
        (1024.0, 0.079_030_071),
    ];
    same(&signal.bands, expected, 1e-6);
    // Golomb: every line of ±A carries A²(N + 1)/N², the mean A/N; bits of 8 setpoints each.
    let bits: Vec<f64> = values(&plan, &plan.windows()[0])
        .chunks(8)
        .map(|held| {
            assert!(
                held.iter()
                    .all(|v| (v - held[0]).abs() < 1e-12 && (v.abs() - 0.5).abs() < 1e-12)
            );
            held[0]
        })
        .collect();
    let count = bits.len() as f64;
    assert!((bits.iter().sum::<f64>() - 0.5).abs() < 1e-9);
    for k in 1..=63 {
        let [re, im] = line(&bits, k);
        let expected = 0.25 * (count + 1.0) / (count * count);
        assert!((re * re + im * im - expected).abs() < 1e-12, "{k}");
    }
}

#[test]
fn a_half_sine_by_its_closed_form() {
    let plan = plan(
        "excitation = \"half-sine\"\nwidths = [\"20 ms\"]\nlevels = [\"1 N·m\", \"-0.5 N·m\"]\nrepeats = 1\n",
        1,
    );
    let found = delivered(&plan);
    let signal = &found.signals[0];
    assert_eq!(
        (found.signals.len(), found.excitations, signal.length_us),
        (1, 2, 20_000)
    );
    assert!(
        (signal.crest_factor[1] - 2.0_f64.sqrt()).abs() < 1e-9,
        "{signal:?}"
    );
    // The closed form is of a smooth pulse; 80 steps stand for it.
    let expected: Bands = &[
        (1.0, 0.179_973_538),
        (2.0, 0.179_435_92),
        (4.0, 0.251_117_108),
        (8.0, 0.340_554_434),
        (16.0, 0.407_138_129),
        (32.0, 0.295_625_673),
        (64.0, 0.051_759_54),
        (128.0, 0.021_907_884),
        (256.0, 0.007_254_657),
        (512.0, 0.002_557_647),
        (1024.0, 0.000_920_919),
    ];
    // High up, where the closed form falls as 1/f², images of the sampling add to it.
    same(&signal.bands, expected, 0.25);
    same(&signal.bands[..9], &expected[..9], 0.03);
    same(&signal.bands[..6], &expected[..6], 2e-3);
}

/// Amplitude of a line of a period, `[re, im]`, by the sum that defines it; whole, as a cosine's half.
fn line(x: &[f64], k: usize) -> [f64; 2] {
    let count = x.len();
    let mut sum = [0.0, 0.0];
    for (n, v) in x.iter().enumerate() {
        let angle = TAU * ((k * n) % count) as f64 / count as f64;
        sum[0] += v * angle.cos() / count as f64;
        sum[1] -= v * angle.sin() / count as f64;
    }
    sum
}

const MULTISINE: &str = "excitation = \"multisine\"\nlines = \"odd-random\"\nfrom = \"4 Hz\"\nto = \"400 Hz\"\nperiod = \"250 ms\"\n\
     amplitude = \"1 N·m\"\npreload = \"1.2 N·m\"\nrealisations = 3\nperiods = 3\ntransient = 1\n";

#[test]
fn a_multisine_carries_power_at_its_lines_alone() {
    let plan = plan(MULTISINE, 5);
    let found = delivered(&plan);
    for window in plan.windows().iter().filter(|w| w.part == 1) {
        let tones = window.tones.as_ref().unwrap_or_else(|| panic!("{window:?}"));
        let x = values(&plan, window);
        assert_eq!(x.len(), 1000);
        for k in 0..=500 {
            let [re, im] = line(&x, k);
            let expected = match tones.lines.binary_search(&(k as u32)) {
                Ok(i) => {
                    let phase = tones.phases_rad[i];
                    [
                        0.5 * tones.amplitude_nm * phase.cos(),
                        0.5 * tones.amplitude_nm * phase.sin(),
                    ]
                }
                Err(_) => [0.0, 0.0],
            };
            assert!(
                (re - expected[0]).abs() < 1e-12 && (im - expected[1]).abs() < 1e-12,
                "{k}: {re} {im}"
            );
        }
    }
    // What an octave holds: half the square of the amplitude of each of its lines, as held for 250 us.
    let tones = plan.windows()[0]
        .tones
        .clone()
        .unwrap_or_else(|| panic!("no tones"));
    assert!(!found.signals[0].bands.is_empty());
    for band in &found.signals[0].bands {
        let power: f64 = tones
            .lines
            .iter()
            .map(|k| 4.0 * f64::from(*k))
            .filter(|f| (band.low_hz..band.high_hz).contains(f))
            .map(|f| {
                let x = PI * f / 4000.0;
                0.5 * (tones.amplitude_nm * x.sin() / x).powi(2)
            })
            .sum();
        assert!((band.rms_nm - power.sqrt()).abs() < 1e-9, "{band:?}");
    }
}
