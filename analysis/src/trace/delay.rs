//! Delay of a trace, and what is left when it is taken out.

use super::{LONGEST_S, TraceRecords, over_repeats};
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::statistics::mean_sd;

/// Delay and error of all repeats.
#[derive(Debug, Clone, PartialEq)]
pub struct Aligned {
    /// Shift of each repeat's torque, sensor included, s.
    pub shifts_s: Vec<f64>,
    /// Their mean, s.
    pub shift_s: f64,
    /// Delay against the command as it is held, without the sensor's, s.
    pub delay: Outcome,
    /// Gain of the whole trace, the slope of torque over command.
    pub gain: Outcome,
    /// Root mean square of torque less command, N·m.
    pub rms: Outcome,
    /// The same of each repeat, N·m.
    pub rms_nm: Vec<f64>,
    /// Greatest difference of mean torque and command, N·m.
    pub peak: Outcome,
    /// Mean torque, shifted, N·m; as long as the command.
    pub mean_nm: Vec<f64>,
    /// Standard deviation over repeats, N·m.
    pub sd_nm: Vec<f64>,
}

/// `count` values of a record from `shift_s` on, by straight lines between samples; beyond its ends its first or last value.
pub fn shifted(record: &[f64], shift_s: f64, count: usize, fs_hz: f64) -> Vec<f64> {
    let Some(last) = record.len().checked_sub(1) else {
        return vec![0.0; count];
    };
    let at = |i: usize| {
        let place = (i as f64 + shift_s * fs_hz).clamp(0.0, last as f64);
        let left = (place.floor() as usize).min(last);
        let right = (left + 1).min(last);
        record[left] + (place - left as f64) * (record[right] - record[left])
    };
    (0..count).map(at).collect()
}

/// Sum of squares that `gain · command + offset` leaves of torque, and the gain.
fn misfit(command: &[f64], torque: &[f64]) -> [f64; 2] {
    let n = command.len() as f64;
    let (c, t) = (command.iter().sum::<f64>() / n, torque.iter().sum::<f64>() / n);
    let (mut cc, mut ct, mut tt) = (0.0, 0.0, 0.0);
    for (x, y) in command.iter().zip(torque) {
        let (x, y) = (x - c, y - t);
        cc += x * x;
        ct += x * y;
        tt += y * y;
    }
    [tt - ct * ct / cc, ct / cc]
}

/// The first of them.
pub(super) fn misfit_of(command: &[f64], torque: &[f64]) -> f64 {
    misfit(command, torque)[0]
}

/// The shift that leaves least: over whole samples, then the lowest point of the parabola through the least and both
/// neighbours.
fn shift(records: &TraceRecords, arrived: &[f64]) -> Result<f64, Refusal> {
    let core = records.core();
    let command = &records.command_nm[core.clone()];
    let most = (LONGEST_S * records.fs_hz).floor() as usize;
    let left = |k: usize| misfit(command, &arrived[core.start + k..core.end + k])[0];
    let sums: Vec<f64> = (0..=most).map(left).collect();
    let least = (0..=most)
        .min_by(|a, b| sums[*a].total_cmp(&sums[*b]))
        .unwrap_or(0);
    if least == 0 || least == most {
        return Err(Refusal::DelayBeyondWindow {
            delay_s: least as f64 / records.fs_hz,
            window_s: LONGEST_S,
        });
    }
    let [l, m, r] = [sums[least - 1], sums[least], sums[least + 1]];
    let bend = l - 2.0 * m + r;
    let part = if bend > 0.0 { 0.5 * (l - r) / bend } else { 0.0 };
    Ok((least as f64 + part) / records.fs_hz)
}

/// Aligns every repeat by itself.
///
/// # Errors
/// As [`TraceRecords::check`]; [`Refusal::OutOfRange`] for a command that does not change, [`Refusal::DelayBeyondWindow`] where
/// the best shift is none or the longest looked for, [`Refusal::WrongSign`] for torque that goes against the command.
pub fn align(records: &TraceRecords) -> Result<Aligned, Refusal> {
    records.check()?;
    let core = records.core();
    let (fs_hz, command) = (records.fs_hz, &records.command_nm);
    let spread = mean_sd(&command[core.clone()])?.sd;
    if spread <= 0.0 {
        let what = "the spread of the commanded torque";
        return Err(Refusal::out_of_range(
            what,
            spread,
            f64::MIN_POSITIVE,
            f64::INFINITY,
            "N·m",
        ));
    }
    let shifts_s: Vec<f64> = records
        .arrived_nm
        .iter()
        .map(|arrived| shift(records, arrived))
        .collect::<Result<_, _>>()?;
    let shift_s = mean_sd(&shifts_s)?.mean;
    let own: Vec<Vec<f64>> = records
        .arrived_nm
        .iter()
        .zip(&shifts_s)
        .map(|(arrived, s)| shifted(arrived, *s, command.len(), fs_hz))
        .collect();
    let gains: Vec<f64> = own
        .iter()
        .map(|a| misfit(&command[core.clone()], &a[core.clone()])[1])
        .collect();
    let gain = mean_sd(&gains)?.mean;
    if gain <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "gain of the whole trace".into(),
            commanded: 1.0,
            measured: gain,
        });
    }
    let points: Vec<[f64; 2]> = (0..command.len())
        .map(|i| {
            let stats = mean_sd(&own.iter().map(|a| a[i]).collect::<Vec<_>>());
            stats.map(|s| [s.mean, s.sd])
        })
        .collect::<Result<_, _>>()?;
    let mean_nm: Vec<f64> = points.iter().map(|p| p[0]).collect();
    let sd_nm: Vec<f64> = points.iter().map(|p| p[1]).collect();
    let rms_nm: Vec<f64> = own
        .iter()
        .map(|a| rms(&command[core.clone()], &a[core.clone()]))
        .collect();
    let error = error(records, &rms_nm, &mean_nm);
    let peak = peak(records, &mean_nm, &sd_nm);
    let delays: Vec<f64> = shifts_s.iter().map(|s| s - records.not_its_own_s()).collect();
    let sensor = Contribution::type_b("declared sensor delay", records.sensor_delay_s[1]);
    let delay = over_repeats(
        &delays,
        ("s", "shift that leaves least squares beside a gain and an offset"),
        [sensor],
    );
    let declared = Contribution::type_b("declared gain of the sensor", gain * records.gain_rel_u);
    let gain = over_repeats(&gains, ("1", "slope of delayed torque over command"), [declared]);
    Ok(Aligned {
        delay: delay.into(),
        gain: gain.into(),
        rms: error.into(),
        peak: peak.into(),
        shifts_s,
        shift_s,
        rms_nm,
        mean_nm,
        sd_nm,
    })
}

fn rms(command: &[f64], torque: &[f64]) -> f64 {
    let squares = command.iter().zip(torque).map(|(c, t)| (t - c).powi(2));
    (squares.sum::<f64>() / command.len() as f64).sqrt()
}

/// Root mean square with what sensor gain and zero do to it, by first order: `mean(e t)/rms` and `mean(e)/rms`.
fn error(records: &TraceRecords, rms_nm: &[f64], mean_nm: &[f64]) -> Result<Estimate, Refusal> {
    let core = records.core();
    let n = core.len() as f64;
    let whole = mean_sd(rms_nm)?.mean.max(f64::MIN_POSITIVE);
    let (mut by_gain, mut by_zero) = (0.0, 0.0);
    for (c, t) in records.command_nm[core.clone()].iter().zip(&mean_nm[core]) {
        by_gain += (t - c) * t / n;
        by_zero += (t - c) / n;
    }
    let others = [
        Contribution::type_b(
            "declared gain of the sensor",
            (by_gain / whole).abs() * records.gain_rel_u,
        ),
        Contribution::type_b(
            "declared zero of the sensor",
            (by_zero / whole).abs() * records.zero_u_nm,
        ),
    ];
    over_repeats(
        rms_nm,
        ("N.m", "root mean square of delayed torque less command"),
        others,
    )
}

/// Greatest error of the mean trace. Noise of the mean makes the greatest of many values greater; its scatter says by how much.
fn peak(records: &TraceRecords, mean_nm: &[f64], sd_nm: &[f64]) -> Result<Estimate, Refusal> {
    let n = records.arrived_nm.len();
    let beside = |i: &usize| (mean_nm[*i] - records.command_nm[*i]).abs();
    let at = records
        .core()
        .max_by(|a, b| beside(a).total_cmp(&beside(b)))
        .unwrap_or(0);
    let typical = mean_sd(&sd_nm[records.core()])?.mean;
    let budget = vec![
        Contribution::type_a(
            "repeats",
            sd_nm[at].max(typical) / (n as f64).sqrt(),
            n as f64 - 1.0,
        ),
        Contribution::type_b(
            "declared gain of the sensor",
            mean_nm[at].abs() * records.gain_rel_u,
        ),
        Contribution::type_b("declared zero of the sensor", records.zero_u_nm),
    ];
    let method = "greatest difference of the mean of delayed repeats and command";
    Estimate::from_budget(beside(&at), "N.m", n, method, budget)
}
