//! The class that a torque sensor's characteristics fit.

use super::torque::Step;

/// One class with its limits, all in percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Its name.
    pub class: f64,
    /// Repeatability b'.
    pub b_prime: f64,
    /// Reproducibility b.
    pub b: f64,
    /// Deviation from the curve, either way.
    pub fa: f64,
    /// Zero error, either way.
    pub f0: f64,
    /// Reversibility h.
    pub h: f64,
}

const fn row(class: f64, b_prime: f64, b: f64, fa: f64, f0: f64, h: f64) -> Class {
    Class {
        class,
        b_prime,
        b,
        fa,
        f0,
        h,
    }
}

/// The classes, best first. From memory of DIN 51309:2005, not compared with a copy.
pub const CLASSES: [Class; 7] = [
    row(0.05, 0.025, 0.05, 0.025, 0.0125, 0.063),
    row(0.1, 0.05, 0.1, 0.05, 0.025, 0.125),
    row(0.2, 0.1, 0.2, 0.1, 0.05, 0.25),
    row(0.5, 0.25, 0.5, 0.25, 0.125, 0.63),
    row(1.0, 0.5, 1.0, 0.5, 0.25, 1.25),
    row(2.0, 1.0, 2.0, 1.0, 0.5, 2.5),
    row(5.0, 2.5, 5.0, 2.5, 1.25, 6.25),
];

/// The best class that every step fits; `None` when reversibility or the zero is missing, or none fits.
#[must_use]
pub fn of(steps: &[Step], zero_pct: Option<f64>) -> Option<f64> {
    let zero = zero_pct?;
    let fits = |class: &&Class| {
        zero <= class.f0
            && steps.iter().all(|step| {
                step.b_prime_pct <= class.b_prime
                    && step.b_pct <= class.b
                    && step.fa_pct.abs() <= class.fa
                    && step.h_pct.is_some_and(|h| h <= class.h)
            })
    };
    CLASSES.iter().find(fits).map(|class| class.class)
}
