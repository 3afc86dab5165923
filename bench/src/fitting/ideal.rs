//! Bandwidth and flat band as an ideal clamp would have shown them: the rig's springs taken out by the model of rotor, drivetrain
//! and hub whose figures the same recording gives.

use std::f64::consts::TAU;

use truerim_analysis::clamp::{ClampModel, Known, MOST_UNCERTAIN, correct_reading};
use truerim_analysis::estimate::{Estimate, Outcome};
use truerim_analysis::frequency::{BandwidthOptions, FrequencyResponse, bandwidth, flat_band};

use super::document::{Measurand, Quantity, RigSpring};
use super::groups::{Group, refused};
use super::sweeps::level;
use super::twist::{DATA_SHEET, HUB_KG_M2};

/// Of the resonance's damping, share that is taken for the drivetrain's, the rest for the rotor's; how it is shared is not known
/// better than this share itself.
const DRIVE_SHARE: f64 = 0.5;
/// Loss of sensor and fixture: torque lags by so much of a radian at the resonance; steel and bolted joints have half to twice
/// that (common practice).
const RIG_LOSS: f64 = 0.01;

/// Code of a reading from bands that are not usable.
const LOW_COHERENCE: &str = "low_coherence";

/// Both, as results of the group.
pub(crate) fn of(
    group: &Group<'_>,
    response: &FrequencyResponse,
    reference_hz: [f64; 2],
    found: &[Measurand],
    spring: &RigSpring,
) -> Vec<Measurand> {
    let figure = |quantity| found.iter().find(|m| m.quantity == quantity);
    let model = model(
        [
            Quantity::DriveStiffness,
            Quantity::RotorInertia,
            Quantity::Resonance,
            Quantity::ResonanceDamping,
        ]
        .map(figure),
        spring,
    );
    let options = level(reference_hz);
    let read = |how: fn(&FrequencyResponse, &BandwidthOptions) -> Outcome| -> Outcome {
        let outcome = match &model {
            Ok(model) => correct_reading(response, model, |response| how(response, &options))
                .unwrap_or_else(Outcome::from),
            Err(refused) => Outcome::clone(refused),
        };
        // Bands whose correction is not known well enough are marked as those without coherence are.
        match outcome.refused() {
            Some(r) if r.code == LOW_COHERENCE => refused(
                "rig_unsure",
                format!(
                    "what the rig does to the response there is not known to {:.0} % with the figures at hand; use a stiffer \
                     sensor and fixture, or measure their stiffness",
                    100.0 * MOST_UNCERTAIN
                ),
            ),
            _ => outcome,
        }
    };
    let n = group.cuts.len();
    vec![
        group.measurand(Quantity::IdealBandwidth, n, read(bandwidth)),
        group.measurand(Quantity::IdealFlatBand, n, read(flat_band)),
    ]
}

fn model(figures: [Option<&Measurand>; 4], spring: &RigSpring) -> Result<ClampModel, Box<Outcome>> {
    let refused = |code: &str, message: String| Box::new(refused(code, message));
    let estimate = |m: Option<&Measurand>| -> Result<Estimate, Box<Outcome>> {
        match m.map(|m| (m, &m.result)) {
            Some((_, Outcome::Estimate(estimate))) => Ok(estimate.clone()),
            Some((m, Outcome::Refused(_))) => Err(refused(
                "part_missing",
                format!(
                    "it takes “{}”, which could not be given; see the reason there",
                    m.name
                ),
            )),
            None => Err(refused(
                "part_missing",
                "a figure of the clamp's model is not in this document".into(),
            )),
        }
    };
    let [k, inertia, resonance, damping] = figures.map(estimate);
    let (k, inertia, resonance, damping) = (k?, inertia?, resonance?, damping?);
    let Some(rig) = spring.series_nm_per_rad else {
        return Err(refused(
            "rig_spring_missing",
            "it follows from the rig's springs, and sensor or fixture stiffness is not declared".into(),
        ));
    };
    let w = TAU * resonance.value;
    // Share of the twist that the drivetrain takes; a damper beside it damps the mode by c·share·w/(2k).
    let share = rig / (k.value + rig);
    let halved = |whole: f64| Known::new(DRIVE_SHARE * whole, 0.5 * DRIVE_SHARE * whole);
    let known = |e: &Estimate| Known::new(e.value, e.std_uncertainty);
    Ok(ClampModel {
        rig_stiffness: Known::new(rig, DATA_SHEET * rig),
        rig_damping: Known::new(RIG_LOSS * rig / w, 0.5 * RIG_LOSS * rig / w),
        hub_inertia: Known::new(HUB_KG_M2[0], HUB_KG_M2[1]),
        drive_stiffness: known(&k),
        drive_damping: halved(2.0 * damping.value * k.value / (share * w)),
        rotor_inertia: known(&inertia),
        rotor_damping: halved(2.0 * damping.value * inertia.value * w),
    })
}

#[cfg(test)]
mod tests {
    use truerim_analysis::estimate::Contribution;

    use super::super::document::Conditions;
    use super::super::groups::absent;
    use super::*;

    fn known(quantity: Quantity, value: f64) -> Measurand {
        let budget = vec![Contribution::type_b("hand", 0.01 * value)];
        let made = Estimate::from_budget(value, "1", 4, "hand", budget);
        absent(quantity, Conditions::default(), Outcome::from(made))
    }

    fn figures() -> [Measurand; 4] {
        [
            known(Quantity::DriveStiffness, 900.0),
            known(Quantity::RotorInertia, 2e-3),
            known(Quantity::Resonance, 94.77),
            known(Quantity::ResonanceDamping, 0.12),
        ]
    }

    /// The energy that drive and rotor lose in a cycle of the mode, hub without mass: the drivetrain takes the share `s` of the
    /// twist, so `ζ = (c_drive s² + c_rotor)/(2 J w)`, and `J w² = k s`.
    #[test]
    fn the_model_damps_its_mode_as_was_measured() {
        let spring = RigSpring::new(4_000.0, 20_000.0);
        let list = figures();
        let model = model([0, 1, 2, 3].map(|i| Some(&list[i])), &spring).unwrap();
        let (s, w) = (3_333.33 / 4_233.33, TAU * 94.77);
        let lost = model.drive_damping.value * s * s + model.rotor_damping.value;
        assert!((lost / (2.0 * 2e-3 * w) - 0.12).abs() < 1e-3);
        assert!((model.drive_stiffness.u - 9.0).abs() < 1e-9 && model.rig_stiffness.u > 0.0);
    }

    #[test]
    fn what_is_missing_is_said() {
        let list = figures();
        let all = [0, 1, 2, 3].map(|i| Some(&list[i]));
        let code = |outcome: Box<Outcome>| outcome.refused().unwrap().code.clone();
        let nothing = RigSpring::new(f64::NAN, 20_000.0);
        assert_eq!(code(model(all, &nothing).unwrap_err()), "rig_spring_missing");
        let spring = RigSpring::new(4_000.0, 20_000.0);
        let refusal = refused("gap_opens", "hand");
        let open = absent(Quantity::RotorInertia, Conditions::default(), refusal);
        let parts = [all[0], Some(&open), all[2], all[3]];
        assert_eq!(code(model(parts, &spring).unwrap_err()), "part_missing");
    }
}
