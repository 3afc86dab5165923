//! What a contribution to an uncertainty stems from, and so whether two estimates share it.
//!
//! Two estimates by the same method have sensitivities of the same sign, so a shared contribution is correlated with a
//! coefficient of 1 and enters a difference by its difference (JCGM 100:2008, 5.2.2, equation 16).

use truerim_analysis::estimate::{Contribution, Kind};

use crate::fitting::FitDocument;

/// Where a contribution comes from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// One and the same value in every estimate with the same key: it cancels.
    Shared {
        /// What tells one from another: a certificate, a sensor and its filter, a rig.
        key: String,
        /// In words.
        name: String,
    },
    /// The same in all estimates of one group, of its own in another: averaging does not lessen it, and nothing cancels.
    Group,
    /// Of its own in every estimate.
    Own,
}

/// Names of the sensor's gain in budgets.
const GAIN: [&str; 4] = [
    "torque gain",
    "declared gain of the sensor",
    "gain of the torque sensor",
    "sensor gain",
];
/// Names of the sensor's delay and of what its filter does.
const FILTER: [&str; 2] = ["declared sensor delay", "magnitude of the sensor's filter"];
/// Names of the rig's spring.
const SPRING: [&str; 1] = ["stiffness of the rig, as declared"];

/// Constants of a unit that are assumed rather than measured.
const UNIT: [&str; 1] = ["inertia of the hub, assumed"];

impl Cause {
    /// Judges a contribution of an estimate in `document`.
    ///
    /// - Type A is its own.
    /// - The gain of the torque sensor is one value for all runs under one certificate of one sensor.
    /// - The sensor's delay and filter are one value for one sensor with one declared delay.
    /// - The declared spring is one value for one rig, fixture and sensor.
    /// - An assumed inertia is one value for one unit.
    /// - All else of type B belongs to its group: the method errs alike within it, but perhaps not on another unit. So does the
    ///   sensor's zero, which moves with temperature and clamping.
    pub fn of(contribution: &Contribution, document: &FitDocument) -> Self {
        if contribution.kind == Kind::A {
            return Self::Own;
        }
        let source = contribution.source.as_str();
        let named = |names: &[&str]| {
            names.iter().any(|name| {
                source == *name
                    || source
                        .strip_prefix(name)
                        .is_some_and(|rest| rest.starts_with(", "))
            })
        };
        let facts = &document.recording;
        let sensor = &facts.sensor;
        let shared = |name: &str, parts: &[&str]| {
            if parts.iter().any(|part| part.trim().is_empty()) {
                return Self::Group;
            }
            Self::Shared {
                key: format!("{source}|{}", parts.join("|")),
                name: name.to_owned(),
            }
        };
        if named(&GAIN) {
            let name = format!(
                "gain of sensor {}, certificate {}",
                sensor.serial, sensor.certificate
            );
            return shared(&name, &[&sensor.serial, &sensor.certificate, &sensor.calibrated]);
        }
        if named(&FILTER) {
            let delay = sensor
                .group_delay_s
                .map_or_else(String::new, |s| format!("{:016x}", s.to_bits()));
            return shared(
                &format!("delay and filter of sensor {}", sensor.serial),
                &[&sensor.serial, &delay],
            );
        }
        if named(&SPRING) {
            let spring = document
                .rig_spring
                .series_nm_per_rad
                .map_or_else(String::new, |k| format!("{:016x}", k.to_bits()));
            return shared(
                &format!("spring of rig {}", facts.rig.name),
                &[&facts.rig.name, &facts.rig.fixture, &sensor.serial, &spring],
            );
        }
        if named(&UNIT) {
            let unit = &facts.unit;
            return shared(
                &format!("what is assumed of unit {}", unit.serial),
                &[&unit.model, &unit.serial],
            );
        }
        Self::Group
    }
}
