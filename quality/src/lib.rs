//! Statistics of records: what many units, benches and years say together.
//!
//! Numbers go in, typed results or a [`Refusal`] come out; nothing here reads a file, a clock or a source of chance
//! (what is randomised takes a seed). The same numbers give the same bits.
//!
//! | module | what it answers |
//! | --- | --- |
//! | [`capability`] | how the spread of a product fits its limits |
//! | [`charts`] | does a quantity stay as it was: control charts, run rules, EWMA, CUSUM |
//! | [`compare`] | do two groups differ, are they alike within a margin, what many tests at once are worth |
//! | [`conformity`] | does a measured value keep its limits, and what is the risk of saying so |
//! | [`distributions`] | normal, Student, chi-square, Fisher, noncentral t |
//! | [`normality`] | are values normal |

pub mod capability;
pub mod charts;
pub mod compare;
pub mod conformity;
pub mod distributions;
pub mod normality;
mod quadrature;
mod refusal;
mod summary;

pub use refusal::Refusal;
pub use summary::{Interval, Summary, median, median_absolute_deviation, quantile};
