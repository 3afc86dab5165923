//! Results from chirps.

use std::f64::consts::SQRT_2;

use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::frequency::{
    BandwidthOptions, Crossing, DESCRIBES, DelayOptions, FrequencyOptions, FrequencyResponse, PhaseOptions,
    ResonanceOptions, SweepRecord, SweepSpectra, bandwidth, first_resonance, flat_band, phase_delay,
    phase_frequency,
};

use super::FittingError;
use super::document::{Conditions, Measurand, Quantity};
use super::groups::{Group, refused};
use super::reading::plain;
use super::sensor::SensorTerms;
use crate::recording::Recording;

/// Highest frequency as a share of the sample rate; above it the response is that of the anti-alias filter.
pub(crate) const MOST_OF_RATE: f64 = 0.4;
/// Highest frequency as a share of the chirp's own: its amplitude dies away over the last tenth of a second or so, and
/// with it what can be said there.
const MOST_OF_CHIRP: f64 = 0.9;
/// Band whose gain is the reference, Hz, where the chirp covers it.
const REFERENCE_HZ: [f64; 2] = [1.0, 5.0];

/// Where the group delay is told, Hz: well below any resonance of a clamped wheelbase, well above what a chirp begins with.
const GROUP_DELAY_HZ: f64 = 10.0;

/// How near a band has to be, as a logarithm: lines of whole periods are some Hz apart.
const NEAR: f64 = 0.15;

/// Quantities that each group of chirps has.
const QUANTITIES: [Quantity; 8] = [
    Quantity::Bandwidth,
    Quantity::FlatBand,
    Quantity::PhaseNinety,
    Quantity::GroupDelay,
    Quantity::PhaseDelay,
    Quantity::Resonance,
    Quantity::ResonanceDamping,
    Quantity::Amplification,
];

/// What the rig file declares of the drive of the unit under test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DriveTerms {
    /// Period at which the firmware looks for setpoints, s.
    pub(crate) update_period_s: Option<f64>,
    /// Greatest rate of the torque, N·m/s.
    pub(crate) slew_nm_per_s: Option<f64>,
}

impl DriveTerms {
    /// As the recording has it; what is not finite and positive counts as not declared.
    pub(crate) fn of(recording: &Recording) -> Self {
        let declared = |value: f64| Some(value).filter(|v| v.is_finite() && *v > 0.0);
        let rig = &recording.header().rig;
        Self {
            update_period_s: declared(rig.update_period_s),
            slew_nm_per_s: declared(rig.slew_nm_per_s),
        }
    }
}

/// What one group gives.
pub(crate) struct Results {
    pub(crate) measurands: Vec<Measurand>,
    /// The response, and the band that its gain refers to, Hz.
    pub(crate) response: Option<(FrequencyResponse, [f64; 2])>,
}

/// Refusals in place of the headline results when there is no chirp at all.
pub(crate) fn absent(conditions: &Conditions, reason: &str) -> Vec<Measurand> {
    QUANTITIES
        .into_iter()
        .filter(|q| !q.is_detail())
        .map(|q| super::groups::absent(q, conditions.clone(), refused("no_chirp", reason)))
        .collect()
}

/// Estimates the frequency response of a group, chirp by chirp, and reads off it what can be read.
pub(crate) fn measure(
    recording: &Recording,
    group: &Group<'_>,
    sensor: &SensorTerms,
    fs_hz: f64,
    drive: &DriveTerms,
    options: &FrequencyOptions,
) -> Result<Results, FittingError> {
    let range_hz = range(group, fs_hz);
    let [low, high] = range_hz;
    let options = FrequencyOptions {
        f_min_hz: low,
        f_max_hz: high,
        output_delay_s: sensor.delay_s,
        output_delay_u_s: sensor.delay_u_s,
        saturation_nm: Some(sensor.end_nm),
        ..options.clone()
    };
    let (response, results) = match response(recording, group, fs_hz, options)? {
        Err(refusal) => (None, no_readings(&refusal)),
        Ok(response) => {
            let reference_hz = reference(&response, range_hz);
            let ranges_hz = [range_hz, reference_hz];
            let results = readings(&response, ranges_hz, drive, group.conditions.amplitude_nm);
            (Some((response, reference_hz)), results)
        }
    };
    Ok(Results {
        measurands: measurands(group, results, true),
        response,
    })
}

/// Readings as results of their group; `stands` when its headline is that of the document.
pub(crate) fn measurands(group: &Group<'_>, results: [Outcome; 8], stands: bool) -> Vec<Measurand> {
    let n = group.cuts.len();
    let rows = QUANTITIES.into_iter().zip(results);
    rows.map(|(quantity, result)| group.beside_all(quantity, n, group.refusal().unwrap_or(result), stands))
        .collect()
}

/// The same refusal in place of all readings.
pub(crate) fn no_readings(refusal: &Refusal) -> [Outcome; 8] {
    QUANTITIES.map(|_| Outcome::from(refusal.clone()))
}

/// What is read off a response over a range and against a reference band, in the order of the quantities. `amplitude_nm` is that of a single sine, where there is one:
/// the drive's slew rate then tells how long its ramps take.
pub(crate) fn readings(
    response: &FrequencyResponse,
    [[low, high], reference_hz]: [[f64; 2]; 2],
    drive: &DriveTerms,
    amplitude_nm: Option<f64>,
) -> [Outcome; 8] {
    let level = level(reference_hz);
    let delay = DelayOptions {
        fit_hz: [delay_from(response, low.max(2.0)), high.min(250.0)],
        update_period_s: drive.update_period_s,
        slew_nm_per_s: drive.slew_nm_per_s,
        amplitude_nm,
        ..DelayOptions::default()
    };
    let look = ResonanceOptions {
        search_hz: [low.max(5.0), high],
        reference_hz,
    };
    let resonance = first_resonance(response, &look);
    [
        with_estimators(response, bandwidth(response, &level)),
        flat_band(response, &level),
        phase_frequency(response, &PhaseOptions::default()),
        group_delay(response).into(),
        described(phase_delay(response, &delay)),
        resonance.frequency,
        resonance.damping,
        resonance.amplification,
    ]
}

/// The response of a group; its chirps are read one at a time.
fn response(
    recording: &Recording,
    group: &Group<'_>,
    fs_hz: f64,
    options: FrequencyOptions,
) -> Result<Result<FrequencyResponse, Refusal>, FittingError> {
    let mut spectra = SweepSpectra::new(options);
    for cut in &group.cuts {
        let samples = cut.samples(recording)?;
        let sweep = SweepRecord {
            fs_hz,
            input_nm: samples.setpoint_nm.view(),
            output_nm: samples.torque_nm.view(),
            input_hold_s: f64::from(cut.row.hold_us) * 1e-6,
            input_age_s: cut.input_age_s,
        };
        if let Err(refusal) = spectra.push(&sweep) {
            return Ok(Err(refusal));
        }
    }
    Ok(spectra.response())
}

/// Largest share by which H2 may exceed H1 before it matters which was used.
const ESTIMATORS: f64 = 0.05;

/// Adds how far the estimators of the response lie apart where the magnitude is read. The setpoint is known without noise, so H1
/// is right; H2 is H1 over the coherence, Hv the geometric mean of both (Bendat and Piersol, ch. 6).
fn with_estimators(response: &FrequencyResponse, outcome: Outcome) -> Outcome {
    let Some(at_hz) = outcome.estimate().map(|e| e.value) else {
        return outcome;
    };
    let bands = response.f_hz.iter().zip(&response.coherence);
    let near = bands.min_by(|a, b| (a.0 - at_hz).abs().total_cmp(&(b.0 - at_hz).abs()));
    let Some((_, coherence)) = near else {
        return outcome;
    };
    let apart = 1.0 / coherence.max(1e-6) - 1.0;
    let detail = format!(
        "H1 is used; Hv lies {} % and H2 {} % above it at {} Hz, at most {:.0} %",
        plain(100.0 * ((1.0 + apart).sqrt() - 1.0), 2),
        plain(100.0 * apart, 2),
        plain(at_hz, 4),
        100.0 * ESTIMATORS
    );
    super::groups::with_checks(
        outcome,
        [Check::new(
            "estimators H1, H2 and Hv",
            apart <= ESTIMATORS,
            detail,
        )],
    )
}

/// What bandwidth and flat band refer to.
pub(crate) fn level(reference_hz: [f64; 2]) -> BandwidthOptions {
    BandwidthOptions {
        reference_hz,
        level_db: -3.0,
        crossing: Crossing::First,
    }
}

/// Fewest bands behind a gain at low frequency.
const FEWEST: usize = 3;

/// Where the fit of the delay begins: its gain is that of the bands from there to 2.5 times as much.
fn delay_from(response: &FrequencyResponse, low: f64) -> f64 {
    let enough = |f: &&f64| {
        response
            .f_hz
            .iter()
            .filter(|g| (**f..=2.5 * **f).contains(*g))
            .count()
            >= FEWEST
    };
    let found = response.f_hz.iter().filter(|f| **f >= low).find(enough);
    if response
        .f_hz
        .iter()
        .filter(|g| (low..=2.5 * low).contains(*g))
        .count()
        >= FEWEST
    {
        low
    } else {
        found.copied().unwrap_or(low)
    }
}

/// A delay beside a model that misses the response by more than its errors has no uncertainty worth stating.
fn described(delay: Outcome) -> Outcome {
    let failed = delay.estimate().and_then(|e| {
        let check = e.checks.iter().find(|c| c.name == DESCRIBES && !c.passed);
        check.map(|c| format!("{}: {}", c.name, c.detail))
    });
    match failed {
        Some(why) => refused("model_misfit", why),
        None => delay,
    }
}

/// Group delay over the octave around [`GROUP_DELAY_HZ`].
fn group_delay(response: &FrequencyResponse) -> Result<Estimate, Refusal> {
    let none = || Refusal::NoCrossing {
        what: format!("group delay (every band within half an octave of {GROUP_DELAY_HZ} Hz must be usable)"),
        level: GROUP_DELAY_HZ,
        f_min_hz: response.f_hz.first().copied().unwrap_or(0.0),
        f_max_hz: response.f_hz.last().copied().unwrap_or(0.0),
    };
    let inside = |f: &&f64| (GROUP_DELAY_HZ..=GROUP_DELAY_HZ * SQRT_2).contains(*f);
    let reach = response.f_hz.iter().filter(inside).count();
    let distance = |f: f64| (f / GROUP_DELAY_HZ).ln().abs();
    let at = response
        .group_delay(reach)
        .into_iter()
        .min_by(|a, b| distance(a.f_hz).total_cmp(&distance(b.f_hz)))
        .filter(|d| distance(d.f_hz) < NEAR)
        .ok_or_else(none)?;
    let n = response.repeats.len();
    let stats = truerim_analysis::statistics::mean_sd(&response.repeat_delay_s)?;
    let budget = vec![
        Contribution::type_b("noise, and what a band's polynomial leaves", at.u_s),
        Contribution::type_a("scatter of repeats", stats.sd / (n as f64).sqrt(), n as f64 - 1.0),
        Contribution::type_b(SensorTerms::DELAY, response.output_delay_u_s),
    ];
    let method = format!(
        "slope of a straight line through the unwrapped phase of {} bands around {:.2} Hz",
        2 * reach + 1,
        at.f_hz
    );
    let estimate = Estimate::from_budget(at.delay_s, "s", n, method, budget)?;
    Ok(estimate.with_checks(response.checks.iter().cloned()))
}

/// Lowest and highest frequency that the chirps cover and the sample rate bears.
fn range(group: &Group<'_>, fs_hz: f64) -> [f64; 2] {
    let row = group.cuts.first().map(|cut| &cut.row);
    let (a, b) = row.map_or((1.0, 100.0), |r| (r.f_start_hz, r.f_end_hz));
    [a.min(b), (MOST_OF_CHIRP * a.max(b)).min(MOST_OF_RATE * fs_hz)]
}

/// The usual reference band, or the lowest octave if the range begins above it; widened upwards until it holds enough bands, as
/// lines of whole periods may lie far apart.
pub(crate) fn reference(response: &FrequencyResponse, [low, high]: [f64; 2]) -> [f64; 2] {
    let from = low.max(REFERENCE_HZ[0]);
    let to = REFERENCE_HZ[1].max(2.0 * from).min(high);
    let third = response.f_hz.iter().filter(|f| **f >= from).nth(FEWEST - 1);
    [from, third.map_or(to, |f| f.max(to))]
}
