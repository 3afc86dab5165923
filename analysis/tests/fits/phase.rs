//! Phase readings and group delay of sweeps against chains whose truth has a closed form.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::sweep::{Chain, DELAY_S, SENSOR_DELAY_S, records};
use std::f64::consts::TAU;
use truerim_analysis::frequency::*;

fn chain() -> Chain {
    Chain {
        f1_hz: 93.0,
        zeta1: 0.12,
        lead_s: 0.2e-3,
        second: true,
        slew_nm_per_s: f64::INFINITY,
    }
}

fn response(noise: f64, seed: u64) -> FrequencyResponse {
    let sweeps: Vec<_> = (0..3)
        .map(|i| chain().sweep(0.7, noise, 1000 * seed + i))
        .collect();
    let records = records(&sweeps);
    let options = FrequencyOptions {
        output_delay_s: SENSOR_DELAY_S,
        output_delay_u_s: 5e-6,
        ..FrequencyOptions::default()
    };
    frequency_response(&records, &options).unwrap()
}

/// Frequency at which the chain's own phase, behind `delay_s`, is -90 degrees.
fn truth(delay_s: f64) -> f64 {
    let mut f = 1.0;
    while chain().truth(f).arg() - TAU * f * delay_s > -std::f64::consts::FRAC_PI_2 {
        f += 1e-3;
    }
    f
}

#[test]
fn minus_90_degrees_with_and_without_delay() {
    let seeds = 8;
    let mut inside = [0; 2];
    for seed in 0..seeds {
        let r = response(2e-2, 300 + seed);
        let bare = PhaseOptions {
            taken_out_s: r.bulk_delay_s(),
            ..PhaseOptions::default()
        };
        // Of three waits the mean is another each time; without the delay that mean is out as well.
        let mean_delay = delay_of(&r);
        let bare = PhaseOptions {
            taken_out_s: mean_delay,
            taken_out_u_s: 10e-6,
            ..bare
        };
        for (k, (options, truth)) in [(PhaseOptions::default(), truth(DELAY_S)), (bare, truth(0.0))]
            .into_iter()
            .enumerate()
        {
            let outcome = phase_frequency(&r, &options);
            let e = outcome.estimate().unwrap();
            println!("{:.3} ± {:.3} Hz, truth {truth:.3}", e.value, e.std_uncertainty);
            inside[k] += usize::from(e.interval[0] <= truth && truth <= e.interval[1]);
            assert!((e.value / truth - 1.0).abs() < 0.02);
        }
    }
    assert!(inside.iter().all(|i| *i >= 7), "{inside:?} of {seeds}");
}

/// Mean delay of the repeats as it really was: what the known chain leaves of the phase between 10 and 60 Hz.
fn delay_of(r: &FrequencyResponse) -> f64 {
    let phase = r.phase_without_delay_rad(0.0);
    let kept: Vec<usize> = (0..r.f_hz.len())
        .filter(|b| (10.0..60.0).contains(&r.f_hz[*b]))
        .collect();
    let top: f64 = kept
        .iter()
        .map(|b| (chain().truth(r.f_hz[*b]).arg() - phase[*b]) * r.f_hz[*b])
        .sum();
    top / kept.iter().map(|b| TAU * r.f_hz[*b] * r.f_hz[*b]).sum::<f64>()
}

#[test]
fn group_delay_is_that_of_the_chain() {
    let r = response(5e-3, 3);
    let delay = delay_of(&r);
    assert!((delay - DELAY_S).abs() < 0.5e-3);
    let reach = 4;
    let found = r.group_delay(reach);
    assert!(found.len() > 350);
    let first = r
        .f_hz
        .iter()
        .position(|f| (f - found[0].f_hz).abs() < 1e-9)
        .unwrap();
    let (mut worst, mut inside, mut all) = (0.0_f64, 0.0, 0.0);
    for (i, g) in found.iter().enumerate() {
        if !(20.0..250.0).contains(&g.f_hz) {
            continue;
        }
        // The same straight line through the truth: a resonance is bent within the reach.
        let part = &r.f_hz[first + i - reach..=first + i + reach];
        let n = part.len() as f64;
        let w: Vec<f64> = part.iter().map(|f| TAU * f).collect();
        let mut phase = vec![chain().truth(part[0]).arg()];
        for pair in part.windows(2) {
            let (a, b) = (chain().truth(pair[0]), chain().truth(pair[1]));
            phase.push(phase[phase.len() - 1] + (b * a.conj()).arg());
        }
        let (mw, mp) = (w.iter().sum::<f64>() / n, phase.iter().sum::<f64>() / n);
        let top: f64 = w.iter().zip(&phase).map(|(w, p)| (w - mw) * (p - mp)).sum();
        let slope = top / w.iter().map(|w| (w - mw).powi(2)).sum::<f64>();
        let off = (g.delay_s - (delay - slope)).abs();
        worst = worst.max(off);
        inside += f64::from(u8::from(off < 2.0 * g.u_s + 0.03e-3));
        all += 1.0;
    }
    println!("worst {:.4} ms, {inside} of {all} inside", 1e3 * worst);
    assert!(worst < 0.3e-3 && inside > 0.9 * all);
}

/// What was taken out comes back: with and without differ by the delay exactly, and nothing is lost by turns.
#[test]
fn phase_is_unwrapped_through_many_turns() {
    let r = response(2e-3, 5);
    let (with, without) = (r.phase_without_delay_rad(0.0), r.phase_without_delay_rad(4e-3));
    for (b, f) in r.f_hz.iter().enumerate() {
        assert!((with[b] - without[b] + TAU * f * 4e-3).abs() < 1e-9);
        let raw = r.im[b].atan2(r.re[b]);
        let turns = (with[b] - raw) / TAU;
        assert!((turns - turns.round()).abs() < 1e-9);
    }
    assert!(with[r.f_hz.len() - 1] < -TAU);
}

#[test]
fn a_level_that_is_never_reached() {
    let options = PhaseOptions {
        level_rad: -30.0,
        ..PhaseOptions::default()
    };
    let outcome = phase_frequency(&response(2e-3, 5), &options);
    assert_eq!(outcome.refused().unwrap().code, "no_crossing");
}
