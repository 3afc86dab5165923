//! Frequency response, bandwidth, delay and resonance against chains whose truth has a closed form.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

mod common;

use common::sweep::{AGE_S, Chain, DELAY_S, FS_HZ, SENSOR_DELAY_S};
use ndarray::ArrayView1;
use truerim_analysis::estimate::Refusal;
use truerim_analysis::frequency::*;

fn options() -> FrequencyOptions {
    FrequencyOptions {
        output_delay_s: SENSOR_DELAY_S,
        output_delay_u_s: 5e-6,
        ..FrequencyOptions::default()
    }
}

fn respond(
    sweeps: &[(Vec<f64>, Vec<f64>)],
    options: &FrequencyOptions,
) -> Result<FrequencyResponse, Refusal> {
    let records: Vec<SweepRecord<'_>> = sweeps
        .iter()
        .map(|(u, y)| SweepRecord {
            fs_hz: FS_HZ,
            input_nm: ArrayView1::from(u),
            output_nm: ArrayView1::from(y),
            input_hold_s: 1.0 / FS_HZ,
            input_age_s: AGE_S,
        })
        .collect();
    frequency_response(&records, options)
}

fn belt() -> Chain {
    Chain {
        f1_hz: 93.0,
        zeta1: 0.08,
        lead_s: 0.2e-3,
        second: true,
    }
}

fn sweeps(chain: &Chain, amplitude: f64, noise: f64, n: u64, seed: u64) -> Vec<(Vec<f64>, Vec<f64>)> {
    (0..n)
        .map(|i| chain.sweep(amplitude, noise, 1000 * seed + i))
        .collect()
}

/// Share of seeds whose interval holds the truth, and the largest relative error: bandwidth, flat band, delay, resonance
/// frequency.
fn coverage(seeds: u64, noise: f64) -> [(f64, f64); 4] {
    let chain = belt();
    let truth = [
        chain.crossing(10.0_f64.powf(-0.15)),
        chain.crossing(10.0_f64.powf(0.15)),
        DELAY_S,
        chain.f1_hz,
    ];
    let delay = DelayOptions {
        update_period_s: Some(1e-3),
        slew_nm_per_s: Some(f64::INFINITY),
        ..DelayOptions::default()
    };
    let mut out = [(0.0, 0.0_f64); 4];
    for seed in 0..seeds {
        let response = respond(&sweeps(&chain, 0.7, noise, 3, 50 + seed), &options()).unwrap();
        let found = [
            bandwidth(&response, &BandwidthOptions::default()),
            flat_band(&response, &BandwidthOptions::default()),
            phase_delay(&response, &delay),
            first_resonance(&response, &ResonanceOptions::default()).frequency,
        ];
        for ((out, found), truth) in out.iter_mut().zip(&found).zip(truth) {
            let e = found.estimate().unwrap();
            out.0 += f64::from(u8::from(e.interval[0] <= truth && truth <= e.interval[1])) / seeds as f64;
            out.1 = out.1.max((e.value / truth - 1.0).abs());
        }
    }
    println!("noise {noise}: share inside, largest relative error: {out:.5?}");
    out
}

#[test]
fn bandwidth_delay_and_resonance_come_back() {
    let [wide, flat, delay, f1] = coverage(4, 2e-2);
    // Three repeats wait up to 1 ms each for nothing to average over, hence the width of the delay.
    assert!(wide.1 < 0.005 && flat.1 < 0.005 && delay.1 < 0.04 && f1.1 < 0.001);
    assert!(wide.0 > 0.7 && flat.0 > 0.7 && delay.0 > 0.7 && f1.0 > 0.7);
}

#[test]
#[ignore = "a long survey: cargo test --release -- --ignored --nocapture"]
fn intervals_hold_the_truth_survey() {
    for noise in [2e-3, 2e-2] {
        coverage(60, noise);
    }
}

/// Gain and phase of every band between 1 and 250 Hz against the closed form.
#[test]
fn response_is_that_of_the_chain() {
    let chain = belt();
    let response = respond(&sweeps(&chain, 0.7, 2e-3, 3, 1), &options()).unwrap();
    assert!(response.f_hz.len() > 400 && response.checks.iter().all(|c| c.passed));
    for (b, f) in response
        .f_hz
        .iter()
        .enumerate()
        .filter(|(_, f)| (1.0..250.0).contains(*f))
    {
        let truth = chain.truth(*f);
        let gain = response.gain()[b] / truth.norm() - 1.0;
        assert!(gain.abs() < 0.01, "{f} Hz: {gain}");
    }
    let phase = response.phase_rad();
    let b = response.f_hz.iter().position(|f| *f > 40.0).unwrap();
    let delay =
        -(phase[b] - chain.truth(response.f_hz[b]).arg()) / (std::f64::consts::TAU * response.f_hz[b]);
    // Mean of three waits; the waits themselves are uniform over 1 ms less what is common to all.
    assert!((delay - DELAY_S).abs() < 0.15e-3, "{delay}");
    let resonance = first_resonance(&response, &ResonanceOptions::default());
    assert!((resonance.damping.estimate().unwrap().value / chain.zeta1 - 1.0).abs() < 0.01);
    assert!(resonance.amplification.estimate().is_some());
}

/// FR-10: any linear system in noise, 500 bands in all: the share within 1.96 times the random error.
#[test]
fn random_error_covers() {
    let (mut inside, mut all) = (0.0, 0.0);
    let chain = Chain {
        f1_hz: 120.0,
        zeta1: 0.5,
        lead_s: 1e-4,
        second: false,
    };
    for seed in 0..4 {
        let response = respond(&sweeps(&chain, 0.7, 0.05, 3, 200 + seed), &options()).unwrap();
        for (b, f) in response
            .f_hz
            .iter()
            .enumerate()
            .filter(|(_, f)| (10.0..200.0).contains(*f))
        {
            // The sensor's own magnitude is known here; it is not what is tested.
            let sensor = (1.0 + (f / 1000.0_f64).powi(4)).sqrt().recip();
            let error = response.gain()[b] / (chain.truth(*f).norm() * sensor) - 1.0;
            inside += f64::from(u8::from(error.abs() <= 1.96 * response.gain_rel_u[b]));
            all += 1.0;
        }
    }
    assert!(all > 500.0);
    let share: f64 = inside / all;
    println!("{share} of {all} bands");
    assert!((share - 0.95).abs() < 0.03, "{share}");
}

mod refusals {
    use super::*;

    fn good() -> Vec<(Vec<f64>, Vec<f64>)> {
        sweeps(&belt(), 0.7, 2e-3, 3, 3)
    }

    fn code(sweeps: &[(Vec<f64>, Vec<f64>)], options: &FrequencyOptions) -> &'static str {
        respond(sweeps, options).unwrap_err().code()
    }

    #[test]
    fn each_has_its_type() {
        let mut s = good();
        assert_eq!(code(&s[..2], &options()), "too_few_repeats");
        assert_eq!(
            code(
                &s,
                &FrequencyOptions {
                    f_max_hz: 1700.0,
                    ..options()
                }
            ),
            "aliasing"
        );
        assert_eq!(
            code(
                &s,
                &FrequencyOptions {
                    saturation_nm: Some(2.0),
                    ..options()
                }
            ),
            "saturated"
        );
        assert_eq!(
            code(
                &s,
                &FrequencyOptions {
                    f_min_hz: 0.05,
                    ..options()
                }
            ),
            "too_short"
        );
        let keep = s[1].1[500];
        s[1].1[500] = f64::NAN;
        assert_eq!(code(&s, &options()), "non_finite");
        s[1].1[500] = keep;
        for (_, y) in &mut s {
            y.iter_mut().for_each(|v| *v = -*v);
        }
        assert_eq!(code(&s, &options()), "wrong_sign");
        for (_, y) in &mut s {
            y.rotate_right(30_000);
        }
        assert_eq!(code(&s, &options()), "delay_beyond_window");
        let mut random = common::Random::new(1);
        for (_, y) in &mut s {
            y.iter_mut().for_each(|v| *v = random.normal());
        }
        let found = code(&s, &options());
        assert!(
            found == "low_coherence" || found == "delay_beyond_window",
            "{found}"
        );
        s[2].1.pop();
        assert_eq!(code(&s, &options()), "length_mismatch");
    }

    #[test]
    fn a_level_that_is_never_crossed() {
        let response = respond(&good(), &options()).unwrap();
        let outcome = bandwidth(
            &response,
            &BandwidthOptions {
                level_db: -60.0,
                ..BandwidthOptions::default()
            },
        );
        assert_eq!(outcome.refused().unwrap().code, "no_crossing");
    }
}
