//! Bandwidth and flat band: where the magnitude leaves the gain at low frequency.

use serde::{Deserialize, Serialize};

use super::FrequencyResponse;
use super::curve::{Piece, gains, random_and_scatter, reference};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};

/// Which crossing counts when the magnitude crosses a level more than once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Crossing {
    /// The lowest frequency at which it leaves.
    First,
    /// The frequency beyond which it stays away.
    Last,
}

/// How bandwidth is defined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BandwidthOptions {
    /// Band whose mean gain is the reference, Hz.
    pub reference_hz: [f64; 2],
    /// Level against the reference, dB: -3 exactly (0.70795), or `10 log10(1/2)` for half power (0.70711).
    pub level_db: f64,
    /// Which crossing.
    pub crossing: Crossing,
}

impl Default for BandwidthOptions {
    fn default() -> Self {
        Self {
            reference_hz: [1.0, 5.0],
            level_db: -3.0,
            crossing: Crossing::First,
        }
    }
}

/// Bands on either side of a crossing through which a smooth curve is laid.
const REACH: usize = 8;

/// Relative error of a band's magnitude that is allowed for, beyond noise: curvature within the band, a record that does
/// not end at rest, a firmware that polls instead of following. Simulated chains stay within it at damping above 0.05.
pub(crate) const BAND_MODEL: f64 = 7e-4;

/// Relative error of a frequency because a sweep is not a steady sine. Friction acts at the amplitude that the system has,
/// and that follows the sweep one decay late: with a sweep of 0.8 a second (ln f), a decay of 14 ms and a seventh of the stiffness or
/// damping by friction the curve moves by no more than 0.15 %. Computed by sweeps and by sines (`tests/reference/plant/swept.py`) they
/// differ by 0.02 % at most on a belt unit and a direct drive, and by 0.3 % on a geared one with gaps, whose crossing is known to 0.7 %.
pub(crate) const SWEPT: f64 = 1e-3;

/// Bandwidth: the frequency at which the smoothed magnitude falls below the level against the mean gain over the
/// reference band. The smoothing is a quadratic of the logarithm of the magnitude in the logarithm of frequency through
/// eight bands on either side.
pub fn bandwidth(response: &FrequencyResponse, options: &BandwidthOptions) -> Outcome {
    let level = options.level_db / 20.0 * std::f64::consts::LN_10;
    let rule = match options.crossing {
        Crossing::First => "first",
        Crossing::Last => "last",
    };
    let method = format!(
        "{rule} fall of the smoothed magnitude through {} dB of the mean gain from {} to {} Hz",
        options.level_db, options.reference_hz[0], options.reference_hz[1]
    );
    let leaves = |l: f64| l < level;
    read(response, options, options.crossing, "bandwidth", method, &leaves).into()
}

/// End of the flat band: the lowest frequency at which the magnitude leaves ± |level| of the reference, upward (a
/// resonance) or downward. The rule for bandwidth is not used; the first exit counts.
pub fn flat_band(response: &FrequencyResponse, options: &BandwidthOptions) -> Outcome {
    let level = options.level_db.abs() / 20.0 * std::f64::consts::LN_10;
    let method = format!(
        "first exit of the smoothed magnitude from ±{} dB of the mean gain from {} to {} Hz",
        options.level_db.abs(),
        options.reference_hz[0],
        options.reference_hz[1]
    );
    let leaves = |l: f64| l.abs() > level;
    read(response, options, Crossing::First, "flat band", method, &leaves).into()
}

fn read(
    response: &FrequencyResponse,
    options: &BandwidthOptions,
    rule: Crossing,
    what: &str,
    method: String,
    leaves: &dyn Fn(f64) -> bool,
) -> Result<Estimate, Refusal> {
    let reader = Reader {
        response,
        options,
        rule,
        what,
        leaves,
    };
    let (value, slope, local_u, band) = reader.crossing(None, REACH)?;
    let (_, reference_u, _) = reference(response, &response.gain(), options.reference_hz)?;
    let random_u = value * local_u.hypot(reference_u) / slope.abs();
    let repeats: Vec<f64> = (0..response.repeats.len())
        .filter_map(|r| reader.crossing(Some(r), REACH).ok())
        .map(|c| c.0)
        .collect();
    let mut budget = random_and_scatter(random_u, 2.0 * response.averages[band], &repeats)?;
    let shift = reader.crossing(None, REACH / 2).map_or(0.0, |c| c.0 - value);
    budget.push(Contribution::rectangular(
        "smoothing over neighbouring bands",
        shift,
    ));
    let detail = format!(
        "{} of {} repeats cross alone",
        repeats.len(),
        response.repeats.len()
    );
    // A second-order sensor filter of the declared delay also lowers the magnitude; that is not corrected.
    let loss = (std::f64::consts::TAU * value * response.output_delay_s).powi(4) / 8.0;
    budget.push(Contribution::rectangular(
        "magnitude of the sensor's filter",
        value * loss / slope,
    ));
    let rest = value * BAND_MODEL / slope;
    budget.push(Contribution::rectangular(
        "quadratic within each band and transient",
        rest,
    ));
    budget.push(Contribution::rectangular(
        "sweep against steady sines",
        value * SWEPT,
    ));
    let every = Check::new(
        "every repeat crosses",
        repeats.len() == response.repeats.len(),
        detail,
    );
    Ok(
        Estimate::from_budget(value, "Hz", response.repeats.len(), method, budget)?
            .with_checks([every])
            .with_checks(response.checks.iter().cloned()),
    )
}

struct Reader<'a> {
    response: &'a FrequencyResponse,
    options: &'a BandwidthOptions,
    rule: Crossing,
    what: &'a str,
    leaves: &'a dyn Fn(f64) -> bool,
}

impl Reader<'_> {
    /// Frequency, slope of ln(magnitude) against ln(f), uncertainty of ln(magnitude) there, and the band before it.
    fn crossing(&self, repeat: Option<usize>, reach: usize) -> Result<(f64, f64, f64, usize), Refusal> {
        let response = self.response;
        let gains = gains(response, repeat);
        let (gain, _, start) = reference(response, &gains, self.options.reference_hz)?;
        let ratio: Vec<f64> = gains.iter().map(|g| (g / gain).ln()).collect();
        let n = ratio.len();
        // Leaving counts when the next band is outside as well: one noisy band is not an exit.
        let exit = |b: &usize| {
            !(self.leaves)(ratio[*b])
                && (self.leaves)(ratio[*b + 1])
                && (*b + 2 >= n || (self.leaves)(ratio[*b + 2]))
        };
        let mut candidates = start.saturating_sub(1)..n.saturating_sub(1);
        let found = match self.rule {
            Crossing::First => candidates.find(exit),
            Crossing::Last => candidates.rev().find(exit),
        };
        let none = || Refusal::NoCrossing {
            what: self.what.into(),
            level: 10.0_f64.powf(self.options.level_db / 20.0),
            f_min_hz: response.f_hz.first().copied().unwrap_or(0.0),
            f_max_hz: response.f_hz.last().copied().unwrap_or(0.0),
        };
        let ragged = |b: usize| {
            let around = &response.coherence[b.saturating_sub(REACH)..(b + REACH).min(n)];
            Refusal::RaggedCrossing {
                what: self.what.into(),
                level: 10.0_f64.powf(self.options.level_db / 20.0),
                f_hz: response.f_hz[b],
                coherence: around.iter().copied().fold(1.0, f64::min),
            }
        };
        let Some(b) = found else {
            // Beyond the level, but never in three bands together.
            let beyond = (start..n).find(|b| (self.leaves)(ratio[*b]));
            return Err(beyond.map_or_else(none, ragged));
        };
        let (first, last) = (b.saturating_sub(reach - 1), (b + reach).min(n - 1));
        let piece = Piece::through(response, &ratio, &response.gain_rel_u, first..=last)?.ok_or_else(none)?;
        // Bisection between the bands around the crossing, widened by one band for noise.
        let (mut lo, mut hi) = (
            response.f_hz[b.saturating_sub(1)].ln(),
            response.f_hz[(b + 2).min(n - 1)].ln(),
        );
        if (self.leaves)(piece.at(lo).0) || !(self.leaves)(piece.at(hi).0) {
            return Err(ragged(b));
        }
        for _ in 0..60 {
            let mid = 0.5 * (lo + hi);
            if (self.leaves)(piece.at(mid).0) {
                hi = mid
            } else {
                lo = mid
            }
        }
        let (_, slope, u) = piece.at(lo);
        Ok((lo.exp(), slope, u, b))
    }
}
