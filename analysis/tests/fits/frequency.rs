//! Frequency response, bandwidth, delay and resonance against chains whose truth has a closed form.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common;
use common::sweep::{Chain, DELAY_S, FS_HZ, SENSOR_DELAY_S, records};
use truerim_analysis::estimate::{Estimate, Refusal};
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
    frequency_response(&records(sweeps), options)
}

fn belt() -> Chain {
    Chain {
        f1_hz: 93.0,
        zeta1: 0.08,
        lead_s: 0.2e-3,
        second: true,
        slew_nm_per_s: f64::INFINITY,
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

/// A drive of 2 N·m/ms at an amplitude of 1.4 N·m: declared, the delay comes back; not declared, masses and lags
/// take up some of the ramp, the result says so and is wide enough.
#[test]
fn a_slew_limit_is_allowed_for() {
    // The zero of two masses comes from the dampers that damp the mode: about 1.3 times 2 zeta over omega.
    let chain = Chain {
        slew_nm_per_s: 2000.0,
        lead_s: 0.35e-3,
        ..belt()
    };
    let response = respond(&sweeps(&chain, 1.4, 2e-3, 3, 7), &options()).unwrap();
    let known = DelayOptions {
        update_period_s: Some(1e-3),
        slew_nm_per_s: Some(2000.0),
        amplitude_nm: Some(1.4),
        ..DelayOptions::default()
    };
    let unknown = DelayOptions {
        slew_nm_per_s: None,
        ..known.clone()
    };
    let fast = DelayOptions {
        slew_nm_per_s: Some(f64::INFINITY),
        ..known.clone()
    };
    let read = |options| phase_delay(&response, options).estimate().unwrap().clone();
    let (known, unknown, fast) = (read(&known), read(&unknown), read(&fast));
    for e in [&known, &unknown, &fast] {
        println!("{:.4} ± {:.4} ms", 1e3 * e.value, 1e3 * e.std_uncertainty);
    }
    let holds = |e: &Estimate| e.interval[0] < DELAY_S && DELAY_S < e.interval[1];
    assert!(holds(&known) && (known.value - DELAY_S).abs() < 0.15e-3 && known.std_uncertainty < 0.2e-3);
    assert!(known.checks.iter().all(|c| c.passed), "{:?}", known.checks);
    assert!(holds(&unknown) && unknown.std_uncertainty > 0.2e-3);
    assert!(unknown.checks.iter().any(|c| !c.passed));
    assert!((fast.value - known.value).abs() > 0.05e-3, "it matters");
}

/// FR-10: a linear system in noise, 500 seeds: the share of bands within 1.96 times the random error.
#[test]
fn random_error_covers() {
    let (n, pole) = (8192, 0.7_f64);
    let input: Vec<f64> = (0..n)
        .map(|i| {
            let t = (f64::from(i) - 200.0) / (f64::from(n) - 600.0);
            let fade = (20.0 * t).min(20.0 * (1.0 - t)).clamp(0.0, 1.0);
            fade * (std::f64::consts::PI * 0.15 * t * t * (f64::from(n) - 600.0)).sin()
        })
        .collect();
    let mut state = 0.0;
    let clean: Vec<f64> = input
        .iter()
        .map(|u| {
            state = pole * state + (1.0 - pole) * u;
            state
        })
        .collect();
    let options = FrequencyOptions {
        f_min_hz: 80.0,
        f_max_hz: 400.0,
        bands_per_octave: 12.0,
        ..FrequencyOptions::default()
    };
    let (mut inside, mut all) = (0.0, 0.0);
    for seed in 0..500 {
        let mut random = common::Random::new(9000 + seed);
        let noisy: Vec<(Vec<f64>, Vec<f64>)> = (0..3)
            .map(|_| {
                (
                    input.clone(),
                    clean.iter().map(|y| y + 0.1 * random.normal()).collect(),
                )
            })
            .collect();
        let response = respond(&noisy, &options).unwrap();
        for (b, f) in response.f_hz.iter().enumerate() {
            let turn = std::f64::consts::TAU * f / FS_HZ;
            let filter = (1.0 - pole) / (1.0 - 2.0 * pole * turn.cos() + pole * pole).sqrt();
            // The response is from the staircase, the filter works on its values.
            let truth = filter * 0.5 * turn / (0.5 * turn).sin();
            let error = response.gain()[b] / truth - 1.0;
            inside += f64::from(u8::from(error.abs() <= 1.96 * response.gain_rel_u[b]));
            all += 1.0;
        }
    }
    let share: f64 = inside / all;
    println!("{share} of {all} bands");
    assert!((share - 0.95).abs() < 0.02, "{share}");
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

    /// Gears that rattle leave such a curve: every other band below the level, none of them three together.
    #[test]
    fn a_level_passed_by_a_ragged_curve() {
        let mut response = respond(&good(), &options()).unwrap();
        for b in 0..response.f_hz.len() {
            let beyond = response.f_hz[b] > 110.0;
            let scale = match (beyond, b % 2) {
                (false, _) => 1.0,
                (true, 0) => 0.1 / response.gain()[b],
                (true, _) => 1.2 / response.gain()[b],
            };
            response.re[b] *= scale;
            response.im[b] *= scale;
            if beyond {
                response.coherence[b] = 0.62;
            }
        }
        let outcome = bandwidth(&response, &BandwidthOptions::default());
        let refused = outcome.refused().unwrap();
        assert_eq!(refused.code, "ragged_crossing");
        assert!(
            refused.message.contains("near 110") || refused.message.contains("near 111"),
            "{}",
            refused.message
        );
        assert!(refused.message.contains("coherence 0.62"), "{}", refused.message);
    }
}
