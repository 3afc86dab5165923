//! Run rules: patterns that a process in control hardly ever shows.

use serde::Serialize;

/// A pattern of successive points, in standard deviations from the centre line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub enum RunRule {
    /// One point beyond three sigma (Western Electric 1, Nelson 1).
    OneBeyondThreeSigma,
    /// Two of three successive points beyond two sigma on one side (Western Electric 2, Nelson 5).
    TwoOfThreeBeyondTwoSigma,
    /// Four of five successive points beyond one sigma on one side (Western Electric 3, Nelson 6).
    FourOfFiveBeyondOneSigma,
    /// Eight successive points on one side (Western Electric 4).
    EightOnOneSide,
    /// Nine successive points on one side (Nelson 2).
    NineOnOneSide,
    /// Six successive points rising, or falling (Nelson 3).
    SixRisingOrFalling,
    /// Fourteen successive points going up and down in turn (Nelson 4).
    FourteenUpAndDown,
    /// Fifteen successive points within one sigma, on either side (Nelson 7).
    FifteenWithinOneSigma,
    /// Eight successive points beyond one sigma, on either side (Nelson 8).
    EightBeyondOneSigma,
}

/// Western Electric, Statistical Quality Control Handbook, 1956; e-Handbook 6.3.2.
pub const WESTERN_ELECTRIC: [RunRule; 4] = [
    RunRule::OneBeyondThreeSigma,
    RunRule::TwoOfThreeBeyondTwoSigma,
    RunRule::FourOfFiveBeyondOneSigma,
    RunRule::EightOnOneSide,
];

/// L. S. Nelson, The Shewhart control chart – tests for special causes, Journal of Quality Technology 16, 1984.
pub const NELSON: [RunRule; 8] = [
    RunRule::OneBeyondThreeSigma,
    RunRule::NineOnOneSide,
    RunRule::SixRisingOrFalling,
    RunRule::FourteenUpAndDown,
    RunRule::TwoOfThreeBeyondTwoSigma,
    RunRule::FourOfFiveBeyondOneSigma,
    RunRule::FifteenWithinOneSigma,
    RunRule::EightBeyondOneSigma,
];

impl RunRule {
    /// The rule in plain words.
    pub fn words(&self) -> &'static str {
        match self {
            Self::OneBeyondThreeSigma => "one beyond three sigma",
            Self::TwoOfThreeBeyondTwoSigma => "two of three beyond two sigma on one side",
            Self::FourOfFiveBeyondOneSigma => "four of five beyond one sigma on one side",
            Self::EightOnOneSide => "eight on one side",
            Self::NineOnOneSide => "nine on one side",
            Self::SixRisingOrFalling => "six rising or falling",
            Self::FourteenUpAndDown => "fourteen up and down in turn",
            Self::FifteenWithinOneSigma => "fifteen within one sigma",
            Self::EightBeyondOneSigma => "eight beyond one sigma on either side",
        }
    }

    /// How many points the pattern spans.
    pub fn span(&self) -> usize {
        match self {
            Self::OneBeyondThreeSigma => 1,
            Self::TwoOfThreeBeyondTwoSigma => 3,
            Self::FourOfFiveBeyondOneSigma => 5,
            Self::EightOnOneSide | Self::EightBeyondOneSigma => 8,
            Self::NineOnOneSide => 9,
            Self::SixRisingOrFalling => 6,
            Self::FourteenUpAndDown => 14,
            Self::FifteenWithinOneSigma => 15,
        }
    }

    /// Whether `z`, of [`Self::span`] points, shows the pattern.
    fn shows(&self, z: &[f64]) -> bool {
        let one_side = |needed: usize, beyond: f64| {
            let last = z.last().copied().unwrap_or(0.0);
            [1.0, -1.0].into_iter().any(|side| {
                // The last point must belong to it, or the pattern would signal again when it is over.
                side * last > beyond && z.iter().filter(|z| side * **z > beyond).count() >= needed
            })
        };
        let steps = || z.windows(2).map(|w| w[1] - w[0]);
        match self {
            Self::OneBeyondThreeSigma => one_side(1, 3.0),
            Self::TwoOfThreeBeyondTwoSigma => one_side(2, 2.0),
            Self::FourOfFiveBeyondOneSigma => one_side(4, 1.0),
            Self::EightOnOneSide | Self::NineOnOneSide => one_side(self.span(), 0.0),
            Self::SixRisingOrFalling => steps().all(|d| d > 0.0) || steps().all(|d| d < 0.0),
            Self::FourteenUpAndDown => {
                let steps: Vec<f64> = steps().collect();
                steps.windows(2).all(|w| w[0] * w[1] < 0.0)
            }
            Self::FifteenWithinOneSigma => z.iter().all(|z| z.abs() < 1.0),
            Self::EightBeyondOneSigma => z.iter().all(|z| z.abs() > 1.0),
        }
    }
}

/// A pattern found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Signal {
    /// Which.
    pub rule: RunRule,
    /// Its first point.
    pub first: usize,
    /// Its last point, at which it became known.
    pub last: usize,
}

/// All patterns of `rules` in points given in standard deviations from the centre line: one signal at each point that
/// completes a pattern, in the order of the points.
pub fn signals(z: &[f64], rules: &[RunRule]) -> Vec<Signal> {
    let mut found = Vec::new();
    for last in 0..z.len() {
        for rule in rules {
            let Some(first) = (last + 1).checked_sub(rule.span()) else {
                continue;
            };
            if rule.shows(&z[first..=last]) {
                found.push(Signal {
                    rule: *rule,
                    first,
                    last,
                });
            }
        }
    }
    found
}
