//! Results from what is played in whole periods: the best linear approximation, and what of the torque was not asked for.

use truerim_analysis::estimate::{Outcome, Refusal};
use truerim_analysis::frequency::FrequencyOptions;
use truerim_analysis::multisine::{
    BestLinear, MultisineLines, MultisineOptions, MultisineRecord, MultisineSpectra,
};

use super::FittingError;
use super::document::Quantity;
use super::groups::Group;
use super::periods::periods_of;
use super::sensor::SensorTerms;
use super::sweeps::{self, DriveTerms, MOST_OF_RATE};
use crate::recording::Recording;

/// Share of the strongest line's power from which a line counts as excited, where the recording does not list them.
const LEAST_SHARE: f64 = 0.25;

/// Distortion and noise, in the order of the results.
const DISTORTION: [Quantity; 3] = [
    Quantity::OddDistortion,
    Quantity::EvenDistortion,
    Quantity::PeriodNoise,
];

/// Estimates the best linear approximation of a group and reads off it what can be read; `stands` when its headline is
/// that of the document for what chirps give as well.
pub(crate) fn measure(
    recording: &Recording,
    group: &Group<'_>,
    (sensor, drive): (&SensorTerms, &DriveTerms),
    options: &FrequencyOptions,
    stands: bool,
) -> Result<(sweeps::Results, Option<BestLinear>), FittingError> {
    let (readings, distortion, found) = match approximation(recording, group, sensor, options)? {
        Err(refusal) => (
            sweeps::no_readings(&refusal),
            DISTORTION.map(|_| Outcome::from(refusal.clone())),
            None,
        ),
        Ok(linear) => {
            let response = linear.response();
            let ends = [linear.f_hz.first(), linear.f_hz.last()];
            let range_hz = ends.map(|f| f.copied().unwrap_or(0.0));
            let reference_hz = sweeps::reference(&response, range_hz);
            let readings = sweeps::readings(&response, [range_hz, reference_hz], drive, None);
            let share = &linear.distortion;
            let distortion = [share.odd.clone(), share.even.clone(), share.noise.clone()];
            (readings, distortion, Some(((response, reference_hz), linear)))
        }
    };
    let mut measurands = sweeps::measurands(group, readings, stands);
    let n = group.cuts.len();
    let rows = DISTORTION.into_iter().zip(distortion);
    measurands.extend(
        rows.map(|(quantity, result)| group.measurand(quantity, n, group.refusal().unwrap_or(result))),
    );
    let (response, linear) = found.unzip();
    Ok((sweeps::Results { measurands, response }, linear))
}

fn approximation(
    recording: &Recording,
    group: &Group<'_>,
    sensor: &SensorTerms,
    options: &FrequencyOptions,
) -> Result<Result<BestLinear, Refusal>, FittingError> {
    let fs_hz = recording.header().sample_rate_hz();
    let mut spectra: Option<MultisineSpectra> = None;
    for cut in &group.cuts {
        let (period, periods) = periods_of(recording, cut);
        let setpoint = recording.values("setpoint", cut.rows.start..cut.rows.start + period)?;
        let torque = recording.values("torque", cut.rows.start..cut.rows.start + period * periods)?;
        let spectra = spectra.get_or_insert_with(|| {
            let lines = match recording.header().lines_of(cut.row.segment) {
                // A band may end in lines without power, which the list does not show; they are left out.
                Some(lines) => MultisineLines::of(&lines, lines.iter().copied().max().unwrap_or(0)),
                None => {
                    let highest = (MOST_OF_RATE * period as f64) as usize;
                    MultisineLines::by_power(setpoint.view(), highest, LEAST_SHARE)
                }
            };
            MultisineSpectra::new(MultisineOptions {
                // Periods in which the rig still settles are marked in the segment table and not among the rows.
                discard: 0,
                output_delay_s: sensor.delay_s,
                output_delay_u_s: sensor.delay_u_s,
                min_coherence: options.min_coherence,
                saturation_nm: Some(sensor.end_nm),
                ..MultisineOptions::new(lines)
            })
        });
        let record = MultisineRecord {
            fs_hz,
            input_nm: setpoint.view(),
            output_nm: torque.view(),
            input_age_s: cut.input_age_s,
        };
        if let Err(refusal) = spectra.push(&record) {
            return Ok(Err(refusal));
        }
    }
    let none = || Refusal::TooFewRepeats {
        what: "best linear approximation".into(),
        got: 0,
        needed: 2,
    };
    Ok(spectra.map_or_else(|| Err(none()), |spectra| spectra.approximation()))
}
