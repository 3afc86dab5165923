//! Decisions and risks against printed examples and closed forms.

use crate::common::{cases, near};
use quality::conformity::*;

/// JCGM 106:2012, 7.4 (inputs from memory; printed 92 %): −5.47 V, u 0.05 V, at most −5.40 V is Φ(1.4).
#[test]
fn one_limit() {
    let limits = Limits::at_most(-5.40).unwrap();
    near(
        probability_of_conformity(-5.47, 0.05, &limits).unwrap(),
        0.919243,
        1e-6,
    );
}

/// scipy 1.17.1: Φ((5.25 − 4.88)/0.08) − Φ((4.75 − 4.88)/0.08).
#[test]
fn two_limits() {
    let limits = Limits::between(4.75, 5.25).unwrap();
    near(
        probability_of_conformity(4.88, 0.08, &limits).unwrap(),
        0.9479168,
        1e-7,
    );
}

/// ISO 14253-1:2017: 1.65 u at each limit (factor from memory).
#[test]
fn guard_band() {
    let limits = Limits::between(4.75, 5.25).unwrap();
    let zone = acceptance_zone(&limits, 0.03, GuardBand::ISO_14253).unwrap();
    near(zone.lower.unwrap(), 4.7995, 1e-9);
    near(zone.upper.unwrap(), 5.2005, 1e-9);
    let decide = |x: f64| decide(x, 0.03, &limits, GuardBand::ISO_14253, None).unwrap();
    assert_eq!(decide(5.2004).verdict, Verdict::Conforms);
    assert_eq!(decide(5.2006).verdict, Verdict::Undecided);
    assert_eq!(decide(5.2994).verdict, Verdict::Undecided);
    assert_eq!(decide(5.2996).verdict, Verdict::DoesNotConform);
    assert_eq!(decide(4.70).verdict, Verdict::DoesNotConform);
    // At the edge of acceptance the risk at one limit is 1 − Φ(1.65) = 0.0494715 (scipy `norm.sf(1.65)`).
    near(decide(5.2005 - 1e-9).specific_risk.unwrap(), 0.0494715, 1e-6);
    assert_eq!(decide(5.22).specific_risk, None);
}

#[test]
fn simple_acceptance_decides_always_and_shares_the_risk() {
    let limits = Limits::at_least(2.0).unwrap();
    let at = |x: f64| decide(x, 0.1, &limits, GuardBand::None, None).unwrap();
    assert_eq!(at(2.0).verdict, Verdict::Conforms);
    near(at(2.0).specific_risk.unwrap(), 0.5, 1e-12);
    assert_eq!(at(1.999).verdict, Verdict::DoesNotConform);
}

#[test]
fn a_measurement_too_coarse_never_proves_conformity() {
    let limits = Limits::between(-1.0, 1.0).unwrap();
    let decision = decide(0.0, 0.7, &limits, GuardBand::ISO_14253, None).unwrap();
    assert!(decision.acceptance.is_empty());
    assert_eq!(decision.verdict, Verdict::Undecided);
    let far = decide(3.0, 0.7, &limits, GuardBand::ISO_14253, None).unwrap();
    assert_eq!(far.verdict, Verdict::DoesNotConform);
    let process = Normal::new(0.0, 0.3).unwrap();
    let risks = global_risks(&process, 0.7, &limits, &decision.acceptance).unwrap();
    near(risks.accepted, 0.0, 0.0);
    assert!(risks.bad_among_accepted().is_none());
}

/// JCGM 106:2012's resistors (inputs from memory): process 0.12, u 0.04, limits ±0.2, no guard band; scipy `quad`.
#[test]
fn global_risks_of_resistors() {
    let process = Normal::new(0.0, 0.12).unwrap();
    let limits = Limits::between(-0.2, 0.2).unwrap();
    let zone = acceptance_zone(&limits, 0.04, GuardBand::None).unwrap();
    let risks = global_risks(&process, 0.04, &limits, &zone).unwrap();
    near(risks.conforming, 0.9044193, 1e-6);
    near(risks.accepted_and_bad, 0.0189422, 1e-6);
    near(risks.rejected_and_good, 0.0372078, 1e-6);
    // What is accepted is what is good and not rejected, and what is bad and accepted.
    near(
        risks.accepted,
        risks.conforming - risks.rejected_and_good + risks.accepted_and_bad,
        1e-11,
    );
}

/// One limit at the mean of the process: the share on wrong sides is the angle between both axes,
/// atan(u / sd) / 2π (Sheppard 1899), for accepted and for rejected alike.
#[test]
fn global_risks_in_closed_form() {
    for (sd, u) in [(1.0, 0.2), (0.3, 0.3), (2.0, 0.01), (0.05, 1.0)] {
        let process = Normal::new(7.0, sd).unwrap();
        let limits = Limits::at_most(7.0).unwrap();
        let zone = acceptance_zone(&limits, u, GuardBand::None).unwrap();
        let risks = global_risks(&process, u, &limits, &zone).unwrap();
        let angle = (u / sd).atan() / (2.0 * std::f64::consts::PI);
        near(risks.accepted_and_bad, angle, 1e-11);
        near(risks.rejected_and_good, angle, 1e-11);
        near(risks.accepted, 0.5, 1e-12);
    }
}

/// What items of a known process are worth after one reading: precisions add (JCGM 106:2012, 7.2.2).
#[test]
fn posterior_of_an_item() {
    let known = posterior(&Normal::new(10.0, 1.0).unwrap(), 12.0, 0.5).unwrap();
    near(known.mean, (10.0 + 4.0 * 12.0) / 5.0, 1e-12);
    near(known.sd, (1.0_f64 / 5.0).sqrt(), 1e-12);
    // The verdict is the reading's, the probability that of reading and process.
    let limits = Limits::at_most(11.7).unwrap();
    let process = Normal::new(10.0, 1.0).unwrap();
    let alone = decide(11.8, 0.5, &limits, GuardBand::None, None).unwrap();
    let with = decide(11.8, 0.5, &limits, GuardBand::None, Some(&process)).unwrap();
    assert_eq!(alone.verdict, with.verdict);
    assert!(with.probability > alone.probability + 0.1);
}

#[test]
fn a_guard_band_for_a_risk() {
    let process = Normal::new(0.0, 0.12).unwrap();
    let limits = Limits::between(-0.2, 0.2).unwrap();
    let factor = guard_for_consumer_risk(&process, 0.04, &limits, 0.001).unwrap();
    let zone = acceptance_zone(&limits, 0.04, GuardBand::OfUncertainty(factor)).unwrap();
    let risks = global_risks(&process, 0.04, &limits, &zone).unwrap();
    near(risks.accepted_and_bad, 0.001, 1e-9);
    assert!(risks.rejected_and_good > 0.0372);
    near(
        guard_for_consumer_risk(&process, 0.04, &limits, 0.5).unwrap(),
        0.0,
        0.0,
    );
}

#[test]
fn refusals() {
    assert_eq!(Limits::new(None, None).unwrap_err().code(), "no_limit");
    assert_eq!(Limits::between(2.0, 1.0).unwrap_err().code(), "limits_reversed");
    assert_eq!(Limits::between(2.0, 2.0).unwrap_err().code(), "limits_reversed");
    assert_eq!(Limits::at_least(f64::NAN).unwrap_err().code(), "non_finite");
    let limits = Limits::between(1.0, 2.0).unwrap();
    assert_eq!(
        probability_of_conformity(f64::INFINITY, 0.1, &limits)
            .unwrap_err()
            .code(),
        "non_finite"
    );
    assert_eq!(
        decide(1.5, 0.0, &limits, GuardBand::None, None)
            .unwrap_err()
            .code(),
        "out_of_range"
    );
    assert_eq!(
        decide(1.5, 0.1, &limits, GuardBand::OfUncertainty(-1.0), None)
            .unwrap_err()
            .code(),
        "out_of_range"
    );
}

/// Beside scipy's `quad` over the same double integral, with guard bands and means off the middle.
#[test]
fn global_risks_beside_scipy() {
    for case in cases("risk") {
        let process = Normal::new(case.number("in.mean"), case.number("in.sd")).unwrap();
        let limits = Limits::between(case.number("in.lower"), case.number("in.upper")).unwrap();
        let u = case.number("in.u");
        let zone = acceptance_zone(&limits, u, GuardBand::Fixed(case.number("in.guard"))).unwrap();
        let risks = global_risks(&process, u, &limits, &zone).unwrap();
        near(risks.accepted_and_bad, case.number("accepted_and_bad"), 1e-10);
        near(risks.rejected_and_good, case.number("rejected_and_good"), 1e-10);
    }
}
