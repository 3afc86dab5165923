//! What chirps, multisines and pseudo-random signals say of a clamped rim, by frequency.
//!
//! Chirps stand for the document where there are any; then the multisine of the largest amplitude, then a pseudo-random
//! signal. The others are groups beside it.

use truerim_analysis::estimate::Outcome;
use truerim_analysis::frequency::FrequencyResponse;
use truerim_analysis::multisine::BestLinear;

use super::cut::Cuts;
use super::document::{Conditions, Measurand, ModelFacts, Quantity};
use super::groups::{self, Group};
use super::sweeps::DriveTerms;
use super::{FitOptions, FittingError, Source, curves, ideal, model, multisines, sweeps, twist};

/// What was found.
#[derive(Default)]
pub(crate) struct ByFrequency {
    pub(crate) measurands: Vec<Measurand>,
    /// Response of the headline group.
    pub(crate) response: Option<FrequencyResponse>,
    pub(crate) models: Vec<ModelFacts>,
    /// Curve of the headline group.
    pub(crate) curve: Option<super::FrequencyCurve>,
}

/// Every group of every kind.
pub(crate) fn of(
    source: &Source<'_>,
    cuts: &Cuts,
    options: &FitOptions,
    base: &Conditions,
) -> Result<ByFrequency, FittingError> {
    let recording = source.recording;
    let (fs_hz, drive) = (recording.header().sample_rate_hz(), DriveTerms::of(recording));
    let mut found = ByFrequency::default();
    for group in groups::chirps(recording, &cuts.chirps)? {
        let results = sweeps::measure(
            recording,
            &group,
            source.sensor,
            fs_hz,
            &drive,
            &options.frequency,
        )?;
        found.take(source, &group, results, None, options)?;
    }
    for kind in [&cuts.multisines, &cuts.pseudo_random] {
        // What came before stands for the document; distortion stands for itself, and pseudo-random signals tell none.
        let stands = found.measurands.is_empty();
        let distorted = found
            .measurands
            .iter()
            .any(|m| m.quantity == Quantity::OddDistortion);
        for mut group in groups::periodic(recording, kind)? {
            group.headline &= !distorted;
            let terms = (source.sensor, &drive);
            let (mut results, linear) =
                multisines::measure(recording, &group, terms, &options.frequency, stands)?;
            if !stands {
                results.response = None;
            }
            found.take(source, &group, results, linear.as_ref(), options)?;
        }
    }
    if found.measurands.is_empty() {
        let advice =
            "run a procedure with a chirp or multisine segment to learn about bandwidth and resonance";
        found.measurands = sweeps::absent(base, &cuts.why_absent("chirp", advice));
    }
    Ok(found)
}

impl ByFrequency {
    /// Takes the results of a group; the headline's response is read further and becomes the curve.
    fn take(
        &mut self,
        source: &Source<'_>,
        group: &Group<'_>,
        results: sweeps::Results,
        linear: Option<&BestLinear>,
        options: &FitOptions,
    ) -> Result<(), FittingError> {
        let mut measurands = results.measurands;
        if let (true, Some((response, reference_hz))) = (group.headline, results.response) {
            further(
                source,
                group,
                (&response, reference_hz),
                options,
                &mut measurands,
                self,
            )?;
            not_springs_alone(&mut measurands);
            self.curve = curve(group, &response, reference_hz, options, &measurands);
            if let (Some(curve), Some(linear)) = (&mut self.curve, linear) {
                curves::levels(curve, linear);
            }
            self.response = Some(response);
        }
        self.measurands.extend(measurands);
        Ok(())
    }
}

/// Odd distortion from which friction or a gap holds the rotor as much as its spring does: small sines on a rotor that hardly slides
/// ring at a frequency that is not that of two inertias on springs.
const HELD_BY_FRICTION: f64 = 0.02;

/// Refuses what rests on a resonance of springs alone where the distortion says that it is not.
fn not_springs_alone(measurands: &mut [Measurand]) {
    let odd = measurands.iter().find(|m| m.quantity == Quantity::OddDistortion);
    let Some(odd) = odd.and_then(Measurand::estimate).map(|e| e.value) else {
        return;
    };
    if odd <= HELD_BY_FRICTION {
        return;
    }
    let held = groups::refused(
        "not_linear",
        format!(
            "odd distortion is {:.1} %, at most {:.0} %: friction or a gap takes part in the resonance, so it is not that of springs \
             and inertias alone; use a larger amplitude, or the chirp of procedures/quick.toml",
            100.0 * odd,
            100.0 * HELD_BY_FRICTION
        ),
    );
    let built_on_it = [
        Quantity::RotorInertia,
        Quantity::IdealResonance,
        Quantity::IdealBandwidth,
        Quantity::IdealFlatBand,
    ];
    for measurand in measurands
        .iter_mut()
        .filter(|m| built_on_it.contains(&m.quantity))
    {
        if measurand.estimate().is_some() {
            measurand.result = held.clone();
        }
    }
}

/// What is found for the headline group alone: a rational model, and what the drivetrain's twist says of the resonance.
fn further(
    source: &Source<'_>,
    group: &Group<'_>,
    (response, reference_hz): (&FrequencyResponse, [f64; 2]),
    options: &FitOptions,
    measurands: &mut Vec<Measurand>,
    found: &mut ByFrequency,
) -> Result<(), FittingError> {
    if let Some(rational) = &options.rational {
        let (facts, delay) = model::of(group, response, rational);
        found.models.extend(facts);
        measurands.push(delay);
    }
    let Some(resonance) = measurands.iter_mut().find(|m| m.quantity == Quantity::Resonance) else {
        return Ok(());
    };
    let known = (source.declared, source.spring);
    let (parts, check) = twist::of(source.recording, group, source.sensor, known, &resonance.result)?;
    resonance.result = groups::with_checks(resonance.result.clone(), check);
    measurands.extend(parts);
    measurands.extend(ideal::of(
        group,
        response,
        reference_hz,
        measurands,
        source.spring,
    ));
    Ok(())
}

fn curve(
    group: &Group<'_>,
    response: &FrequencyResponse,
    reference_hz: [f64; 2],
    options: &FitOptions,
    measurands: &[Measurand],
) -> Option<super::FrequencyCurve> {
    let outcome = |quantity| -> Option<&Outcome> {
        let found = measurands.iter().find(|m| m.quantity == quantity);
        found.map(|m| &m.result)
    };
    let read = [
        outcome(Quantity::Bandwidth)?,
        outcome(Quantity::FlatBand)?,
        outcome(Quantity::PhaseDelay)?,
        outcome(Quantity::Resonance)?,
    ];
    let least_coherence = options.frequency.min_coherence;
    Some(curves::frequency(
        group,
        response,
        reference_hz,
        least_coherence,
        read,
    ))
}

#[cfg(test)]
mod tests {
    use truerim_analysis::estimate::{Contribution, Estimate};

    use super::*;

    #[test]
    fn a_resonance_held_by_friction_tells_no_inertia() {
        let known = |quantity, value: f64| {
            let budget = vec![Contribution::type_b("hand", 0.01 * value)];
            let made = Estimate::from_budget(value, "1", 7, "hand", budget);
            groups::absent(quantity, Conditions::default(), Outcome::from(made))
        };
        for (odd, code) in [(0.053, Some("not_linear")), (0.009, None)] {
            let mut list = [
                known(Quantity::OddDistortion, odd),
                known(Quantity::Resonance, 99.0),
                known(Quantity::RotorInertia, 1.8e-3),
                known(Quantity::IdealResonance, 113.0),
            ];
            not_springs_alone(&mut list);
            assert!(list[1].estimate().is_some());
            for m in &list[2..] {
                assert_eq!(m.result.refused().map(|r| r.code.as_str()), code);
            }
        }
    }
}
