//! Shares of the variation, however they were found.

use crate::{Interval, Refusal};
use serde::Serialize;

/// One source of variation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Component {
    /// Variance; an estimate below zero counts as zero.
    pub variance: f64,
    /// Its interval, where the method has one.
    pub interval: Option<Interval>,
}

impl Component {
    /// Standard deviation.
    pub fn sd(&self) -> f64 {
        self.variance.sqrt()
    }

    /// Interval of the standard deviation.
    pub fn sd_interval(&self) -> Option<Interval> {
        self.interval.map(|i| Interval {
            low: i.low.max(0.0).sqrt(),
            high: i.high.max(0.0).sqrt(),
            level: i.level,
        })
    }
}

/// What a gauge is fit for, by its share of the tolerance or of the variation: below 10 %, up to 30 %, above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Fitness {
    /// Below 10 %.
    Good,
    /// 10 to 30 %: may serve where little depends on it.
    Conditional,
    /// Above 30 %.
    Unfit,
}

impl Fitness {
    /// Of a share in per cent.
    pub fn of(percent: f64) -> Self {
        if percent < 10.0 {
            Self::Good
        } else if percent <= 30.0 {
            Self::Conditional
        } else {
            Self::Unfit
        }
    }
}

/// Sources of variation of a study.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Variation {
    /// Between repeats of one operator on one part: equipment.
    pub repeatability: Component,
    /// Between operators or benches.
    pub operator: Component,
    /// Operators who differ more on some parts than on others; zero where it was pooled.
    pub interaction: Component,
    /// Operator and interaction together.
    pub reproducibility: Component,
    /// Repeatability and reproducibility together: the gauge.
    pub gauge: Component,
    /// Between parts.
    pub part: Component,
    /// Gauge and parts.
    pub total: Component,
}

impl Variation {
    /// Share of the total variance, per cent.
    pub fn percent_contribution(&self, component: &Component) -> f64 {
        100.0 * component.variance / self.total.variance
    }

    /// Share of the total standard deviation, per cent; these do not add up to 100.
    pub fn percent_study(&self, component: &Component) -> f64 {
        100.0 * component.sd() / self.total.sd()
    }

    /// Six standard deviations over the width of the limits, per cent.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] unless the width is positive.
    pub fn percent_tolerance(&self, component: &Component, width: f64) -> Result<f64, Refusal> {
        Refusal::unless_positive("the width of the limits", width)?;
        Ok(100.0 * 6.0 * component.sd() / width)
    }

    /// √2 σ(part)/σ(gauge), before it is cut to a whole number.
    pub fn category_ratio(&self) -> f64 {
        std::f64::consts::SQRT_2 * self.part.sd() / self.gauge.sd()
    }

    /// Number of distinct categories of parts that the gauge can tell, at least one; five are wanted.
    pub fn distinct_categories(&self) -> u32 {
        // A float to integer cast saturates.
        (self.category_ratio().floor() as u32).max(1)
    }
}
