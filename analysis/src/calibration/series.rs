//! Readings of loading series, checked.

use serde::{Deserialize, Serialize};

use super::CalibrationRefusal;

/// Fewest steps, zero not counted (EURAMET cg-14 asks for five; three only for the coarsest classes).
pub const LEAST_STEPS: usize = 5;

/// One loading series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Series {
    /// Which mounting it was taken in. Between mountings the sensor or the arm is taken off and turned.
    pub mounting: u32,
    /// Indication at zero torque before the first step.
    pub zero_before: f64,
    /// Indication at each step, loading.
    pub rising: Vec<f64>,
    /// Indication at each step, unloading, in the order of the steps (not of time).
    pub falling: Option<Vec<f64>>,
    /// Indication at zero torque after unloading.
    pub zero_after: Option<f64>,
}

/// Series with the torque of each step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Readings {
    /// Torque of each step, N·m: all of one sign, rising in size.
    pub torque_nm: Vec<f64>,
    /// The series, in the order in which they were taken.
    pub series: Vec<Series>,
}

impl Readings {
    /// Checks the loads and that every series has a reading at each step.
    ///
    /// # Errors
    /// [`CalibrationRefusal`], the first that applies.
    pub fn check(&self) -> Result<(), CalibrationRefusal> {
        check_loads(&self.torque_nm)?;
        let steps = self.torque_nm.len();
        for (index, series) in self.series.iter().enumerate() {
            let number = index + 1;
            let rows = [
                ("rising", Some(&series.rising)),
                ("falling", series.falling.as_ref()),
            ];
            for (direction, row) in rows {
                let Some(row) = row else { continue };
                if row.len() != steps {
                    return Err(CalibrationRefusal::StepMissing {
                        series: number,
                        direction,
                        got: row.len(),
                        steps,
                    });
                }
                for (step, reading) in row.iter().enumerate() {
                    CalibrationRefusal::unless(true, "a reading", *reading, "a finite number")?;
                    let net = reading - series.zero_before;
                    if net * self.first_sign() <= 0.0 {
                        return Err(CalibrationRefusal::ReadingSign {
                            series: number,
                            step: step + 1,
                            reading: net,
                        });
                    }
                }
            }
            let zeros = [Some(series.zero_before), series.zero_after];
            for zero in zeros.into_iter().flatten() {
                CalibrationRefusal::unless(true, "a zero reading", zero, "a finite number")?;
            }
        }
        Ok(())
    }

    /// The sign of the greatest load's first reading: a sensor may be wired either way, but one way.
    fn first_sign(&self) -> f64 {
        let first = self.series.first();
        first.map_or(1.0, |s| {
            (s.rising.last().copied().unwrap_or(1.0) - s.zero_before).signum()
        })
    }
}

fn check_loads(loads: &[f64]) -> Result<(), CalibrationRefusal> {
    if loads.len() < LEAST_STEPS {
        return Err(CalibrationRefusal::TooFew {
            what: "a calibration by steps",
            things: "steps",
            got: loads.len(),
            needed: LEAST_STEPS,
        });
    }
    for (step, load) in loads.iter().enumerate() {
        CalibrationRefusal::unless(true, "a load in N·m", *load, "a finite number")?;
        let sign = loads.first().copied().unwrap_or(0.0).signum();
        if load * sign <= 0.0 {
            return Err(CalibrationRefusal::SignMix {
                step: step + 1,
                load: *load,
            });
        }
    }
    for (step, pair) in loads.windows(2).enumerate() {
        let &[before, load] = pair else { continue };
        let step = step + 2;
        if (load - before).abs() < 1e-9 * before.abs() {
            return Err(CalibrationRefusal::Duplicate { step, load });
        }
        if load.abs() < before.abs() {
            return Err(CalibrationRefusal::WrongOrder { step, load, before });
        }
    }
    Ok(())
}

/// Indications less the zero before their series.
pub(super) fn net(row: &[f64], zero: f64) -> Vec<f64> {
    row.iter().map(|reading| reading - zero).collect()
}
