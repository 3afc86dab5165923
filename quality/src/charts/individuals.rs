//! Single values and their moving ranges.

use super::{Baseline, Chart, ChartPair, Point, RunRule, constants, signals};
use crate::capability::Spread;
use crate::{Refusal, Summary};

/// Mean moving range of `values`, at least two of them and not all alike.
fn mean_moving_range(values: &[f64]) -> Result<f64, Refusal> {
    Summary::of_spread("values of a chart", values, 2)?;
    let ranges: f64 = values.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
    Ok(ranges / (values.len() - 1) as f64)
}

/// Standard deviation by successive differences, blind to slow changes: mean moving range over d2 = 2/√π.
///
/// Its degrees of freedom follow from its variance for independent normal values, (0.8264 n − 1.082)/(n − 1)² of the
/// square (Cryer and Ryan, Journal of Quality Technology 22, 1990): about 0.6 (n − 1).
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::NonFinite`], [`Refusal::NoVariance`].
pub fn moving_range_spread(values: &[f64]) -> Result<Spread, Refusal> {
    let sigma = mean_moving_range(values)? / constants(2)?.d2;
    let n = values.len() as f64;
    let share = (0.8264 * n - 1.082) / (n - 1.0).powi(2);
    Ok(Spread {
        sigma,
        dof: (0.5 / share).min(n - 1.0),
    })
}

/// Individuals and moving range: limits at three sigma, sigma from the moving ranges (e-Handbook 6.3.2.2).
///
/// The first moving range is that of the second value; the chart of ranges is judged by its upper limit D4 R̄ alone, for
/// successive moving ranges share a value.
///
/// # Errors
/// [`Refusal::TooFew`] below two values in the baseline, [`Refusal::NonFinite`], [`Refusal::NoVariance`],
/// [`Refusal::OutOfRange`] for a known spread that is not positive.
pub fn individuals(values: &[f64], baseline: Baseline, rules: &[RunRule]) -> Result<ChartPair, Refusal> {
    Refusal::unless_finite("values of a chart", values)?;
    Refusal::unless_enough("values of a chart", values.len(), 2)?;
    let c = constants(2)?;
    let from = |part: &[f64]| {
        Ok((
            Summary::of("values of a chart", part)?.mean,
            mean_moving_range(part)? / c.d2,
        ))
    };
    let (centre, sigma) = match baseline {
        Baseline::All => from(values)?,
        Baseline::First(n) => {
            Refusal::unless_enough("values of a chart", values.len(), n)?;
            from(&values[..n])?
        }
        Baseline::Known { centre, sigma } => {
            Refusal::unless_finite("the centre line", &[centre])?;
            Refusal::unless_positive("the known spread", sigma)?;
            (centre, sigma)
        }
    };
    let z: Vec<f64> = values.iter().map(|v| (v - centre) / sigma).collect();
    let points = values.iter().map(|value| Point {
        value: *value,
        lower: centre - 3.0 * sigma,
        upper: centre + 3.0 * sigma,
    });
    let range = c.d2 * sigma;
    let upper = c.upper_range() * range;
    let moving: Vec<Point> = values
        .windows(2)
        .map(|w| Point {
            value: (w[1] - w[0]).abs(),
            lower: 0.0,
            upper,
        })
        .collect();
    Ok(ChartPair {
        location: Chart {
            centre,
            points: points.collect(),
            signals: signals(&z, rules),
        },
        spread: Chart {
            centre: range,
            signals: super::subgroups::beyond(&moving),
            points: moving,
        },
        sigma,
    })
}
