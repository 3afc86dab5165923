//! Steering traces against closed forms: a known delay, a first-order lag, a known cut-off, a known drop.
#![allow(clippy::unwrap_used)] // a test

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use std::f64::consts::{PI, TAU};
use truerim_analysis::trace::{Aligned, TraceRecords, align, clip, limit, octaves};

const FS_HZ: f64 = 2000.0;
const SECONDS: f64 = 6.0;
/// How long setpoints are held: what arrives is half of it later than the command beside it.
const HELD_S: f64 = 0.3e-3;

/// Repeats of what arrives, a function of time, with noise of a uniform width.
fn records(command: impl Fn(f64) -> f64, arrived: impl Fn(f64) -> f64, width_nm: f64) -> TraceRecords {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut noise = || width_nm * (f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5);
    let at = |i: usize| i as f64 / FS_HZ;
    let n = (SECONDS * FS_HZ) as usize;
    TraceRecords {
        fs_hz: FS_HZ,
        command_nm: (0..n).map(|i| command(at(i))).collect(),
        arrived_nm: (0..5)
            .map(|_| {
                (0..n + 200)
                    .map(|i| arrived(at(i) - 0.5 * HELD_S) + noise())
                    .collect()
            })
            .collect(),
        sensor_delay_s: [0.2e-3, 0.01e-3],
        held_s: HELD_S,
        gain_rel_u: 1e-3,
        zero_u_nm: 1e-3,
    }
}

/// A sine under half a sine squared: at rest at both ends.
fn burst(t: f64, f_hz: f64) -> f64 {
    if (0.0..SECONDS).contains(&t) {
        (PI * t / SECONDS).sin().powi(2) * (TAU * f_hz * t).sin()
    } else {
        0.0
    }
}

#[test]
fn a_delay_a_gain_and_an_error_come_back() {
    let both = |t: f64| burst(t, 1.5) + 0.3 * burst(t, 12.0);
    let found = records(both, |t| 0.8 * both(t - 7.4e-3), 4e-3);
    let aligned = align(&found).unwrap();
    let delay = aligned.delay.estimate().unwrap();
    assert!((delay.value - 7.2e-3).abs() < 0.03e-3, "{delay:?}");
    let gain = aligned.gain.estimate().unwrap();
    assert!((gain.value - 0.8).abs() < 1e-3, "{gain:?}");
    // A fifth of the command is missing: 0.2 times its root mean square, which is sqrt(3/16 (1 + 0.09)) over all of it.
    let rms = aligned.rms.estimate().unwrap();
    let expected = 0.2 * (3.0_f64 / 16.0 * 1.09 * SECONDS / (SECONDS - 0.2)).sqrt();
    assert!((rms.value - expected).abs() < 1e-3, "{rms:?} {expected}");
}

#[test]
fn a_first_order_lag_takes_from_each_octave_what_it_must() {
    // |1/(1 + i 2πfτ)| with τ = 10 ms; the answer to a sine is scaled and late by the argument, its slow envelope hardly.
    let tau = 0.01;
    let tones = [1.4, 5.6, 22.6];
    let command = |t: f64| tones.iter().map(|f| burst(t, *f)).sum::<f64>();
    let lag = |t: f64| {
        let one = |f: &f64| burst(t - (TAU * f * tau).atan() / (TAU * f), *f) / (TAU * f * tau).hypot(1.0);
        tones.iter().map(one).sum::<f64>()
    };
    let found = records(command, lag, 2e-3);
    let by_octave = octaves(&found, 5e-3).unwrap();
    for f in tones {
        let own = by_octave
            .octaves
            .iter()
            .find(|o| o.range_hz[0] < f && o.range_hz[1] > f)
            .unwrap();
        let gain = own.gain.estimate().unwrap();
        let expected = 1.0 / (TAU * f * tau).hypot(1.0);
        assert!(
            (gain.value / expected - 1.0).abs() < 0.01,
            "{f}: {gain:?} {expected}"
        );
        assert!(own.coherence > 0.999, "{own:?}");
    }
    let plain = by_octave.distortion.estimate().unwrap().value;
    // A tenth of the cube of the middle tone: its third harmonic, 0.025 under the sixth power of the envelope, falls into the octave
    // of the highest tone, where it is not commanded: 0.025 sqrt(231/2048) = 0.0084 beside 0.644 in all. Of its part at the tone
    // itself, what is no multiple of the tone is as much again at most, 0.0086, and what is there without it adds its square:
    // 0.0130 to 0.0189, a part in thirty for rounding of these.
    let third = |t: f64| lag(t) + 0.1 * burst(t, 5.6).powi(3);
    let worse = octaves(&records(command, third, 2e-3), 5e-3).unwrap();
    let cubed = worse.distortion.estimate().unwrap().value;
    assert!(
        plain < 0.004 && cubed > 0.0125 && cubed < 0.0195,
        "{plain} {cubed}"
    );
}

#[test]
fn torque_where_nothing_was_commanded_is_distortion() {
    // A sine of 1.5 Hz alone, and 0.06 of it at 40 Hz beside it in every repeat, in an octave that has no command.
    let command = |t: f64| burst(t, 1.5);
    let hum = |t: f64| command(t) + 0.06 * burst(t, 40.0);
    let found = octaves(&records(command, hum, 2e-3), 5e-3).unwrap();
    assert!(
        found.octaves.iter().all(|o| o.range_hz[1] < 40.0),
        "{:?}",
        found.octaves
    );
    let distortion = found.distortion.estimate().unwrap();
    assert!((distortion.value - 0.06).abs() < 0.004, "{distortion:?}");
    // Noise is none of it, wherever it lies.
    let quiet = octaves(&records(command, command, 2e-2), 5e-3).unwrap();
    assert!(
        quiet.distortion.estimate().unwrap().value < 0.01,
        "{:?}",
        quiet.distortion
    );
}

#[test]
fn a_cut_off_is_told_with_its_share() {
    // Of whole periods of a sine, 2/π acos 0.7 = 0.5064 of the time; a tenth of a second at both ends, where it is small, is left out.
    let command = |t: f64| (TAU * t).sin();
    let found = records(command, |t| command(t).clamp(-0.7, 0.7), 2e-3);
    let torque = &found.arrived_nm[0][..found.command_nm.len()];
    let cut = clip(&found, torque).unwrap();
    assert!(
        (cut.share.estimate().unwrap().value - 2.0 / PI * 0.7_f64.acos() * SECONDS / (SECONDS - 0.2)).abs()
            < 0.01,
        "{cut:?}"
    );
    let whole = records(command, command, 2e-3);
    let none = clip(&whole, &whole.arrived_nm[0][..whole.command_nm.len()]).unwrap();
    let share = none.share.estimate().unwrap();
    assert!(share.value == 0.0 && none.level_nm.is_none());
    // Levels are tried a two-hundredth of the crest apart: a sine is above the last but one for 2/π acos 0.995 = 0.0637 of the time.
    let unseen = 2.0 / PI * 0.995_f64.acos() * SECONDS / (SECONDS - 0.2) / 3f64.sqrt();
    assert!((share.std_uncertainty / unseen - 1.0).abs() < 0.05, "{share:?}");
}

/// Up to 1 by 1.5 s, down to 0.8 between 2 and 3 s, held, and down to 0: cosines between.
fn corner(t: f64, low: f64) -> f64 {
    let ramp = |from: f64, to: f64| 0.5 - 0.5 * (PI * ((t - from) / (to - from)).clamp(0.0, 1.0)).cos();
    ramp(0.5, 1.9) - (1.0 - low) * ramp(2.0, 3.0) - low * ramp(4.5, 5.5)
}

fn contrast_of(found: &TraceRecords, aligned: &Aligned) -> f64 {
    let limit = limit(found, aligned.shift_s, &aligned.mean_nm).unwrap();
    limit.contrast.estimate().unwrap().value
}

#[test]
fn half_a_drop_is_half_a_contrast() {
    // Means around crest and floor lose the same share of both drops.
    let found = records(|t| corner(t, 0.8), |t| corner(t - 4.2e-3, 0.9), 4e-3);
    let aligned = align(&found).unwrap();
    let limit = limit(&found, aligned.shift_s, &aligned.mean_nm).unwrap();
    let contrast = limit.contrast.estimate().unwrap();
    assert!((contrast.value - 0.5).abs() < 0.01, "{contrast:?}");
    let late = limit.late.estimate().unwrap();
    assert!((late.value - 4.0e-3).abs() < 1.5e-3, "{late:?}");
    // Three tenths, which is not what is missing as well.
    let found = records(|t| corner(t, 0.8), |t| corner(t - 4.2e-3, 0.94), 4e-3);
    let aligned = align(&found).unwrap();
    let less = contrast_of(&found, &aligned);
    assert!((less - 0.3).abs() < 0.01, "{less}");
}
