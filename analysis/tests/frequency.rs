//! Frequency response, bandwidth, delay and resonance against chains whose truth has a closed form.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::sweep::{AGE_S, Chain, DELAY_S, FS_HZ, SENSOR_DELAY_S};
use ndarray::ArrayView1;
use truerim_analysis::estimate::Refusal;
use truerim_analysis::frequency::*;

fn options() -> FrequencyOptions {
    FrequencyOptions { output_delay_s: SENSOR_DELAY_S, output_delay_u_s: 5e-6, ..FrequencyOptions::default() }
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
    Chain { f1_hz: 93.0, zeta1: 0.08, lead_s: 0.2e-3, second: true }
}

fn sweeps(chain: &Chain, amplitude: f64, noise: f64, n: u64, seed: u64) -> Vec<(Vec<f64>, Vec<f64>)> {
    (0..n).map(|i| chain.sweep(amplitude, noise, 1000 * seed + i)).collect()
}

#[test]
fn survey() {
    for (chain, noise) in [
        (belt(), 2e-3),
        (belt(), 2e-2),
        (Chain { zeta1: 0.03, ..belt() }, 2e-3),
        (Chain { second: false, ..belt() }, 2e-3),
        (Chain { zeta1: 0.9, ..belt() }, 2e-3),
    ] {
        let response = respond(&sweeps(&chain, 0.7, noise, 3, 1), &options()).unwrap();
        let mut worst = (0.0_f64, 0.0);
        for (b, f) in response.f_hz.iter().enumerate() {
            let bias = (response.gain()[b] / chain.truth(*f).norm() - 1.0).abs();
            if bias > worst.0 && *f < 250.0 {
                worst = (bias, *f);
            }
        }
        println!("zeta {} noise {noise}: {} bands, worst gain {:.2e} at {:.1} Hz, delays {:?}", chain.zeta1, response.f_hz.len(), worst.0, worst.1, response.repeat_delay_s);
        let show = |what: &str, o: &truerim_analysis::estimate::Outcome, truth: f64| match o.estimate() {
            Some(e) => println!("  {what}: {:.6} truth {truth:.6} rel {:+.2e} u {:.1e} {:?}", e.value, e.value / truth - 1.0, e.std_uncertainty / truth,
                e.budget.iter().map(|c| format!("{:.1e}", c.std_uncertainty / truth)).collect::<Vec<_>>()),
            None => println!("  {what}: {:?}", o.refused()),
        };
        show("bandwidth", &bandwidth(&response, &BandwidthOptions::default()), chain.crossing(10.0_f64.powf(-0.15)));
        show("flat", &flat_band(&response, &BandwidthOptions::default()), chain.crossing(10.0_f64.powf(0.15)));
        show("delay", &phase_delay(&response, &DelayOptions { update_period_s: Some(1e-3), ..DelayOptions::default() }), DELAY_S);
        show("delay, no period", &phase_delay(&response, &DelayOptions::default()), DELAY_S);
        let r = first_resonance(&response, &ResonanceOptions::default());
        show("f1", &r.frequency, chain.f1_hz);
        show("zeta", &r.damping, chain.zeta1);
        let top = (0..30000).map(|i| chain.truth(0.01 * f64::from(i) + 0.1).norm()).fold(0.0, f64::max);
        show("amp", &r.amplification, top);
    }
}
