//! What a perfect measurement of a virtual rig would find: each measurand's true value, and how it follows from the
//! parameters of the rig file. Pure: the same parameters give the same rows.
//!
//! Values are those of the cold unit, with no error of the rig's own sensors; those errors have rows themselves, so that
//! a result can be held against both. What depends on amplitude (friction, gaps) is given by its parameters and, for the
//! dynamics, by the linear model without friction ([`LinearModel`]).

mod complex;
mod heat;
mod linear;
mod mechanics;
mod row;
mod step;
mod timing;
mod turning;

pub use linear::{Bands, LinearModel};
pub use row::{TruthRow, describe_text};

use crate::RigParameters;

/// Gathers rows.
#[derive(Default)]
struct Rows(Vec<TruthRow>);

impl Rows {
    fn add(
        &mut self,
        id: &'static str,
        name: impl Into<String>,
        value: f64,
        unit: &'static str,
        follows: impl Into<String>,
    ) {
        self.0.push(TruthRow {
            id,
            name: name.into(),
            value,
            unit,
            follows: follows.into(),
        });
    }
}

/// Every true value of a rig.
///
/// ```
/// use virtual_rig::{RigParameters, describe};
/// let file = include_str!("../../../belt.toml");
/// let rig = RigParameters::from_toml("belt.toml", file, 1).unwrap();
/// let rows = describe::describe(&rig);
/// let latency = rows.iter().find(|row| row.id == "latency_mean").unwrap();
/// assert!((latency.value - 4.0e-3).abs() < 1e-9); // 3.5 ms of dead time and half a period of 1 ms
/// println!("{}", describe::describe_text(&rows));
/// ```
pub fn describe(parameters: &RigParameters) -> Vec<TruthRow> {
    let mut rows = Rows::default();
    timing::rows(parameters, &mut rows);
    mechanics::dynamics(parameters, &mut rows);
    mechanics::statics(parameters, &mut rows);
    turning::rows(parameters, &mut rows);
    mechanics::cogging(parameters, &mut rows);
    mechanics::angles(parameters, &mut rows);
    heat::rows(parameters, &mut rows);
    rows.0
}
