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
//! | [`factory`] | an invented factory of known causes, for trials and shows |
//! | [`gauge`] | what the measurement adds: crossed studies with their plan, bias, linearity, the daily check unit |
//! | [`normality`] | are values normal |
//! | [`outliers`] | values and units that do not belong, and by which measurands |
//! | [`shifts`] | when a level changed, whether it creeps, and which bench, fixture, firmware or batch goes with it |
//! | [`tolerance`] | limits that hold a share of all units, from a reference group |

pub mod capability;
pub mod charts;
pub mod compare;
pub mod conformity;
pub mod distributions;
pub mod factory;
pub mod gauge;
mod matrix;
pub mod normality;
pub mod outliers;
mod quadrature;
mod refusal;
pub mod shifts;
mod summary;
pub mod tolerance;

pub use refusal::Refusal;
pub use summary::{Interval, Summary, median, median_absolute_deviation, quantile};
