//! Gain and delay of a sine of known frequency.

use std::f64::consts::TAU;

use realfft::num_complex::Complex64;

use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression;
use crate::statistics::{all_finite, mean_sd};

/// Least amplitude of torque in standard deviations of it that is read.
const STANDS_OUT: f64 = 5.0;

/// Whole periods of one repeat.
#[derive(Debug, Clone, PartialEq)]
pub struct SineRecord {
    /// Setpoint in force, N·m.
    pub setpoint_nm: Vec<f64>,
    /// Torque at the same instants, N·m.
    pub torque_nm: Vec<f64>,
    /// How much fresher than on average the setpoint is at these instants, s: half the time it is held, less its age there.
    pub lead_s: f64,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Amplitude of torque over that of the setpoint.
    pub gain: Outcome,
    /// Lag of the phase behind the setpoint as it is held over the frequency, s, the sensor's delay taken out.
    pub delay: Outcome,
}

/// Amplitude as a phasor of `cos`, and its standard deviation, by least squares beside a line.
fn phasor(values: &[f64], f_hz: f64, fs_hz: f64) -> Result<(Complex64, f64), Refusal> {
    let n = values.len();
    let mut columns = Matrix::zeros(n, 4);
    for i in 0..n {
        let t = i as f64 / fs_hz;
        let (sin, cos) = (TAU * f_hz * t).sin_cos();
        columns.col_mut(0)[i] = cos;
        columns.col_mut(1)[i] = sin;
        columns.col_mut(2)[i] = 1.0;
        columns.col_mut(3)[i] = 2.0 * i as f64 / n as f64 - 1.0;
    }
    let fit = regression::fit(&columns, values)?;
    let c = &fit.coefficients;
    let left: f64 = (0..n)
        .map(|i| {
            let model: f64 = (0..4).map(|k| c[k] * columns.col(k)[i]).sum();
            (values[i] - model).powi(2)
        })
        .sum();
    let sd = (left / (n as f64 - 4.0).max(1.0)).sqrt();
    Ok((Complex64::new(c[0], -c[1]), sd * (2.0 / n as f64).sqrt()))
}

/// Reads repeats of a sine.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below two, [`Refusal::LengthMismatch`], [`Refusal::TooShort`] for less than a period,
/// [`Refusal::Aliasing`] above 0.4 of the sample rate, [`Refusal::TooSmall`] for one that does not stand out of what is beside it,
/// [`Refusal::NonFinite`].
pub fn sine(
    records: &[SineRecord],
    (f_hz, fs_hz): (f64, f64),
    [sensor_delay_s, sensor_delay_u_s]: [f64; 2],
    gain_rel_u: f64,
) -> Result<Response, Refusal> {
    if records.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "a small sine".into(),
            got: records.len(),
            needed: 2,
        });
    }
    if f_hz > 0.4 * fs_hz {
        return Err(Refusal::Aliasing {
            f_max_hz: f_hz,
            limit_hz: 0.4 * fs_hz,
            fs_hz,
        });
    }
    let (mut gains, mut delays) = (Vec::new(), Vec::new());
    for record in records {
        let n = record.torque_nm.len();
        if record.setpoint_nm.len() != n {
            return Err(Refusal::LengthMismatch {
                what: "setpoint and torque of a sine".into(),
                left: record.setpoint_nm.len(),
                right: n,
            });
        }
        if (n as f64) < 0.99 * fs_hz / f_hz || n < 8 {
            return Err(Refusal::TooShort {
                what: "a period of a sine".into(),
                got_s: n as f64 / fs_hz,
                needed_s: 1.0 / f_hz,
            });
        }
        all_finite("the setpoint of a sine", record.setpoint_nm.iter())?;
        all_finite("the torque of a sine", record.torque_nm.iter())?;
        let (command, _) = phasor(&record.setpoint_nm, f_hz, fs_hz)?;
        let (torque, sd) = phasor(&record.torque_nm, f_hz, fs_hz)?;
        if torque.norm() < STANDS_OUT * sd || command.norm() <= 0.0 {
            return Err(Refusal::too_small(torque.norm(), sd, STANDS_OUT));
        }
        let ratio = torque / command;
        gains.push(ratio.norm());
        // Lags of up to most of a period; a phase ahead is noise about none.
        let lag = (-ratio.arg()).rem_euclid(TAU);
        let lag = if lag > 1.9 * std::f64::consts::PI {
            lag - TAU
        } else {
            lag
        };
        delays.push(lag / (TAU * f_hz) - sensor_delay_s - record.lead_s);
    }
    let gain = mean_sd(&gains)?;
    let delay = mean_sd(&delays)?;
    let method = "least squares at its frequency, torque over setpoint";
    let made = |stats: &crate::statistics::MeanSd, unit: &str, other: Contribution| {
        let budget = vec![Contribution::of_mean("scatter of repeats", stats), other];
        Estimate::from_budget(stats.mean, unit, stats.n, method, budget)
    };
    Ok(Response {
        gain: made(
            &gain,
            "1",
            Contribution::type_b("sensor gain", gain.mean * gain_rel_u),
        )
        .into(),
        delay: made(
            &delay,
            "s",
            Contribution::type_b("declared sensor delay", sensor_delay_u_s),
        )
        .into(),
    })
}
