//! Risks over all items of a process.

use super::{GuardBand, Limits, Normal, Zone, acceptance_zone};
use crate::Refusal;
use crate::distributions::{normal_above, normal_below, normal_density};
use crate::quadrature::{crossing, integral};
use serde::Serialize;

/// Absolute tolerance of the integrals.
const TOLERANCE: f64 = 1e-13;
/// Standard deviations to either side that hold all of a normal distribution in double precision.
const REACH: f64 = 12.0;

/// Shares of all items (JCGM 106:2012, 9.5).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GlobalRisks {
    /// Items that conform, whatever is measured.
    pub conforming: f64,
    /// Items that are accepted.
    pub accepted: f64,
    /// Accepted and not conforming: the global consumer's risk.
    pub accepted_and_bad: f64,
    /// Not accepted and conforming: the global producer's risk.
    pub rejected_and_good: f64,
}

impl GlobalRisks {
    /// Share of bad items among those accepted, which is what a customer sees; `None` if nothing is accepted.
    pub fn bad_among_accepted(&self) -> Option<f64> {
        (self.accepted > 0.0).then(|| self.accepted_and_bad / self.accepted)
    }
}

/// Risks when items spread as `process`, are measured with standard uncertainty `u` and accepted within `zone`.
///
/// By quadrature over the true value of what it is worth at each: P(accept | η) is known in closed form.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless both spreads are positive.
pub fn global_risks(process: &Normal, u: f64, limits: &Limits, zone: &Zone) -> Result<GlobalRisks, Refusal> {
    let process = Normal::new(process.mean, process.sd)?;
    Refusal::unless_positive("the standard uncertainty", u)?;
    if zone.is_empty() {
        let conforming = process.within(limits);
        return Ok(GlobalRisks {
            conforming,
            accepted: 0.0,
            accepted_and_bad: 0.0,
            rejected_and_good: conforming,
        });
    }
    // In standard deviations of the process.
    let scaled = |x: f64| (x - process.mean) / process.sd;
    let (lower, upper) = (zone.lower.map(scaled), zone.upper.map(scaled));
    let ratio = process.sd / u;
    let rejected_at = |z: f64| {
        lower.map_or(0.0, |l| normal_below((l - z) * ratio))
            + upper.map_or(0.0, |h| normal_above((h - z) * ratio))
    };
    let accepted_at = |z: f64| match (lower, upper) {
        (Some(l), None) => normal_above((l - z) * ratio),
        (None, Some(h)) => normal_below((h - z) * ratio),
        (None, None) => 1.0,
        // The difference on that side of the zone's middle where both terms are small.
        (Some(l), Some(h)) if z > 0.5 * (l + h) => {
            normal_below((h - z) * ratio) - normal_below((l - z) * ratio)
        }
        (Some(l), Some(h)) => normal_above((l - z) * ratio) - normal_above((h - z) * ratio),
    };
    // Split where P(accept) turns, so that a sharp turn is not missed.
    let mut cuts: Vec<f64> = [lower, upper].into_iter().flatten().collect();
    cuts.extend(
        [lower, upper]
            .into_iter()
            .flatten()
            .flat_map(|c| [c - 8.0 / ratio, c + 8.0 / ratio]),
    );
    let over = |f: &dyn Fn(f64) -> f64, from: f64, to: f64| {
        let (from, to) = (from.clamp(-REACH, REACH), to.clamp(-REACH, REACH));
        let mut edges: Vec<f64> = cuts.iter().copied().filter(|c| *c > from && *c < to).collect();
        edges.extend([from, to]);
        edges.sort_by(f64::total_cmp);
        let pieces = edges.windows(2);
        pieces
            .map(|e| integral(|z| normal_density(z) * f(z), e[0], e[1], TOLERANCE))
            .sum::<f64>()
    };
    let low = limits.lower().map_or(f64::NEG_INFINITY, scaled);
    let high = limits.upper().map_or(f64::INFINITY, scaled);
    let whole = process.sd.hypot(u);
    let below =
        |edge: Option<f64>, open: f64| edge.map_or(open, |e| normal_below((e - process.mean) / whole));
    let accepted = below(zone.upper, 1.0) - below(zone.lower, 0.0);
    Ok(GlobalRisks {
        conforming: process.within(limits),
        accepted,
        accepted_and_bad: over(&accepted_at, f64::NEG_INFINITY, low)
            + over(&accepted_at, high, f64::INFINITY),
        rejected_and_good: over(&rejected_at, low, high),
    })
}

/// The guard band, in standard uncertainties, at which the global consumer's risk is `target`; zero if it is lower
/// without any.
///
/// # Errors
/// As [`global_risks`]; [`Refusal::OutOfRange`] for a target not between 0 and 1.
pub fn guard_for_consumer_risk(
    process: &Normal,
    u: f64,
    limits: &Limits,
    target: f64,
) -> Result<f64, Refusal> {
    Refusal::unless_probability("the consumer's risk", target)?;
    let risk = |factor: f64| {
        let zone = acceptance_zone(limits, u, GuardBand::OfUncertainty(factor))?;
        Ok(global_risks(process, u, limits, &zone)?.accepted_and_bad)
    };
    if risk(0.0)? <= target {
        return Ok(0.0);
    }
    // The risk falls with the band; at 12 u nothing bad is accepted any more.
    Ok(crossing(
        |factor| risk(factor).map_or(f64::NAN, |r: f64| r - target),
        0.0,
        12.0,
    ))
}
