//! Judgements of many results against published values and independent programs.

mod capability;
mod charts;
mod common;
mod compare;
mod conformity;
mod distributions;
mod factory;
mod gauge;
mod normality;
mod outliers;
mod shifts;
mod tolerance;
