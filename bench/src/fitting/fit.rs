//! The fit of one recording.

use std::panic::resume_unwind;
use std::thread;

use truerim_analysis::estimate::{Contribution, Estimate, Outcome};
use truerim_analysis::frequency::{FrequencyOptions, FrequencyResponse};
use truerim_analysis::latency::LatencyOptions;
use truerim_analysis::rational::RationalOptions;
use truerim_analysis::step::StepOptions;

use super::cut::{Cut, Cuts, cut};
use super::document::{
    Conditions, FitDocument, Measurand, ModelFacts, Program, Quantity, RigSpring, SCHEMA, SCHEMA_VERSION,
};
use super::facts::RecordingFacts;
use super::groups;
use super::parts;
use super::scan::scan;
use super::sensor::SensorTerms;
use super::shown::Curves;
use super::{
    FittingError, agreement, by_frequency, curves, delays, drivetrain, heat, motion, quality, shock, small,
    spread, static_map, steps, sweeps, traces,
};
use crate::recording::{Declared, Recording};

/// How to fit. What a recording declares (sensor delay, saturation, clock, update period, range of frequencies) is taken
/// from it and overrides the same field here.
#[derive(Debug, Clone, PartialEq)]
pub struct FitOptions {
    /// Levels, settling band, least amplitude.
    pub step: StepOptions,
    /// Form of the sensor's filter, fewest repeats.
    pub latency: LatencyOptions,
    /// Bands, least coherence, fewest repeats.
    pub frequency: FrequencyOptions,
    /// Numbers of poles and zeros tried; `None` leaves the rational model out.
    pub rational: Option<RationalOptions>,
    /// Most single repeats kept for the overlay.
    pub thin_repeats: usize,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self {
            step: StepOptions::default(),
            latency: LatencyOptions::default(),
            frequency: FrequencyOptions::default(),
            rational: Some(RationalOptions::default()),
            thin_repeats: 24,
        }
    }
}

/// Fits a recording. Same recording, same options, same version: the same numbers to the last bit.
///
/// # Errors
/// [`FittingError`] if the recording cannot be read, has no `setpoint` or `torque` channel, or a header without clock.
/// A recording without steps, without chirps, or of a run that tripped gives a document with refusals, not an error.
pub fn fit_recording(recording: &Recording, options: &FitOptions) -> Result<FitDocument, FittingError> {
    check_header(recording)?;
    let found = scan(recording)?;
    let sensor = SensorTerms::of(recording)?;
    let facts = RecordingFacts::of(recording, recording.path(), found.duration_s);
    let declared = Declared::of(recording);
    let cuts = cut(recording)?;
    let spring = RigSpring::of(recording);
    let base = Conditions {
        mounting: facts.mounting.clone(),
        rig_spring_nm_per_rad: spring.series_nm_per_rad,
        ..Conditions::default()
    };
    let mut shown = Curves::default();
    let source = Source {
        recording,
        sensor: &sensor,
        declared: &declared,
        spring: &spring,
    };
    let (mut results, models, response) = if motion::turns(recording) {
        let mut results = motion::of(recording, &declared, &sensor, &base, &mut shown)?;
        results.push(sensor_delay(&sensor, &base));
        (results, Vec::new(), None)
    } else {
        clamped(&source, &cuts, options, &base, &mut shown)?
    };
    parts::tell_apart(&mut results, &sensor);
    results.sort_by_key(|m| {
        (
            !m.headline,
            if m.headline { m.quantity } else { Quantity::Latency },
        )
    });
    let quality = quality::checks(
        &facts,
        &found,
        &cuts,
        response
            .as_ref()
            .map(|response| (response, options.frequency.min_coherence)),
    );
    let software = crate::software();
    Ok(FitDocument {
        schema: SCHEMA.into(),
        schema_version: SCHEMA_VERSION,
        software: Program {
            name: software.name,
            version: software.version,
            build: software.build,
        },
        recording: facts,
        rig_spring: spring,
        measurands: results,
        models,
        curves: shown,
        quality,
    })
}

type Found = (Vec<Measurand>, Vec<ModelFacts>, Option<FrequencyResponse>);

/// Steps, chirps and whole periods of a clamped rim, and what they say together.
fn clamped(
    source: &Source<'_>,
    cuts: &Cuts,
    options: &FitOptions,
    base: &Conditions,
    shown: &mut Curves,
) -> Result<Found, FittingError> {
    let terms = sweeps::DriveTerms::of(source.recording);
    let drive = (source.sensor, terms, source.declared.stages);
    // The two take about as long as one another and share nothing.
    let (steps, by_frequency) = thread::scope(|scope| {
        let by_frequency = scope.spawn(|| by_frequency::of(source, cuts, options, base));
        let steps = fit_steps(source.recording, cuts, drive, options, base, shown);
        (
            steps,
            by_frequency.join().unwrap_or_else(|panic| resume_unwind(panic)),
        )
    });
    let mut results = steps?;
    let by_frequency = by_frequency?;
    shown.frequency = by_frequency.curve;
    results.push(delay_agreement(&results, &by_frequency.measurands, base));
    results.push(sensor_delay(source.sensor, base));
    results.extend(by_frequency.measurands);
    let latency = results
        .iter()
        .find(|m| m.quantity == Quantity::Latency && m.headline)
        .and_then(Measurand::estimate)
        .cloned();
    let known = (source.declared, source.sensor, source.spring);
    let (loops, curve) = drivetrain::clamped(source.recording, known, latency.as_ref(), base)?;
    shown.loops = curve;
    let (map, curve) = static_map::of(source.recording, source.sensor, base)?;
    shown.static_map = curve;
    let (traces, trace) = traces::of(source, base)?;
    shown.trace = trace;
    let (pulses, curve) = shock::of(source, base)?;
    shown.shock = curve;
    let (changes, curve) = small::of(source, base)?;
    shown.resolution = curve;
    let (warmed, curve) = heat::of(source, base)?;
    shown.heat = curve;
    let driver = [map, traces, pulses, changes, warmed];
    let others = !loops.is_empty() || driver.iter().any(|found| !found.is_empty());
    if others || !(cuts.multisines.is_empty() && cuts.pseudo_random.is_empty()) {
        results.retain(worth_its_line);
    }
    results.extend(loops);
    results.extend(driver.into_iter().flatten());
    Ok((results, by_frequency.models, by_frequency.response))
}

/// Whether a result of steps and chirps is worth its line beside others: of what was not played, latency and bandwidth alone
/// say so.
fn worth_its_line(measurand: &Measurand) -> bool {
    let not_played = |code: &str| matches!(code, "no_steps" | "no_chirp" | "delay_missing");
    let stands_for_all = matches!(measurand.quantity, Quantity::Latency | Quantity::Bandwidth);
    stands_for_all || !measurand.result.refused().is_some_and(|r| not_played(&r.code))
}

fn check_header(recording: &Recording) -> Result<(), FittingError> {
    let header = recording.header();
    let file = || recording.path().display().to_string();
    for channel in ["setpoint", "torque"] {
        if header.channel_index(channel).is_none() {
            return Err(FittingError::NoChannel {
                file: file(),
                channel,
            });
        }
    }
    let values = [
        (
            "the sample period in ticks",
            f64::from(header.sample_period_ticks),
        ),
        ("the length of a tick in s", header.tick_s),
    ];
    match values
        .into_iter()
        .find(|(_, value)| !(value.is_finite() && *value > 0.0))
    {
        Some((what, value)) => Err(FittingError::Header {
            file: file(),
            what,
            value,
        }),
        None => Ok(()),
    }
}

fn fit_steps(
    recording: &Recording,
    cuts: &Cuts,
    (sensor, drive, drive_stages): (&SensorTerms, sweeps::DriveTerms, Option<usize>),
    options: &FitOptions,
    base: &Conditions,
    shown: &mut Curves,
) -> Result<Vec<Measurand>, FittingError> {
    let step = StepOptions {
        saturation_nm: Some(sensor.end_nm),
        ..options.step.clone()
    };
    let latency = LatencyOptions {
        sensor_delay_s: sensor.delay_s,
        sensor_delay_u_s: sensor.delay_u_s,
        tick_s: sensor.tick_s,
        update_period_s: drive.update_period_s,
        slew_nm_per_s: drive.slew_nm_per_s,
        drive_stages,
        saturation_nm: Some(sensor.end_nm),
        ..options.latency.clone()
    };
    let mut measurands = Vec::new();
    let groups = groups::steps(recording, &cuts.steps)?;
    let delays = steps::latencies(recording, &groups, &latency)?;
    let conditions = match groups.as_slice() {
        [only] => only.conditions.clone(),
        several => {
            let cuts: Vec<&Cut> = several.iter().flat_map(|g| g.cuts.iter().copied()).collect();
            Conditions {
                temperature: groups::temperature(recording, &cuts)?,
                ..base.clone()
            }
        }
    };
    let alone = groups.len() == 1;
    if groups.len() > 1 {
        measurands.extend(steps::over_all(&groups, &delays.pooled, &conditions));
    }
    if !groups.is_empty() {
        let clock = (sensor.tick_s, drive.update_period_s);
        measurands.extend(delays::of(&groups, &delays.pooled, &conditions, clock));
    }
    shown.latency = steps::latency_curve(&groups, &delays.pooled, &conditions, drive.update_period_s);
    for (group, delays) in groups.iter().zip(delays.groups) {
        let results = steps::measure(recording, group, sensor, &step, delays, alone)?;
        if group.headline {
            let (form, thin) = (latency.sensor_form, options.thin_repeats);
            shown.steps = curves::steps(recording, group, &results, sensor, form, thin)?;
        }
        measurands.extend(results.measurands);
    }
    if let Some(spread) = spread::too_long(&groups, drive.update_period_s) {
        spread.judge(&mut measurands);
    }
    if measurands.is_empty() {
        let advice = "run a procedure with a step segment to learn about latency, rise and settling";
        measurands = steps::absent(base, &cuts.why_absent("step", advice));
    }
    Ok(measurands)
}

/// What the fits of a clamped rim draw on.
pub(crate) struct Source<'a> {
    pub(crate) recording: &'a Recording,
    pub(crate) sensor: &'a SensorTerms,
    pub(crate) declared: &'a Declared,
    pub(crate) spring: &'a RigSpring,
}

fn delay_agreement(steps: &[Measurand], chirps: &[Measurand], base: &Conditions) -> Measurand {
    let headline = |list: &[Measurand], quantity| -> Option<Measurand> {
        list.iter()
            .find(|m| m.quantity == quantity && m.headline)
            .cloned()
    };
    let latency = headline(steps, Quantity::Latency);
    let phase = headline(chirps, Quantity::PhaseDelay);
    let missing = || groups::refused("delay_missing", "one of the two delays is not in this document");
    let result = match (&latency, &phase) {
        (Some(a), Some(b)) => agreement::of(&a.result, &b.result),
        _ => missing(),
    };
    let conditions = latency.map_or_else(|| base.clone(), |m| m.conditions);
    groups::absent(Quantity::DelayAgreement, conditions, result)
}

fn sensor_delay(sensor: &SensorTerms, base: &Conditions) -> Measurand {
    let budget = vec![Contribution::type_b(
        SensorTerms::DELAY,
        sensor.declared_delay_u_s,
    )];
    let made = Estimate::from_budget(
        sensor.delay_s,
        "s",
        0,
        "declared, not measured in this run",
        budget,
    );
    groups::absent(Quantity::SensorDelay, base.clone(), Outcome::from(made))
}
