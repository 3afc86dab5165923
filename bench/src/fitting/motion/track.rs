//! Angle and torque of a stretch at a lower rate, read in blocks.

use std::ops::Range;

use crate::fitting::FittingError;
use crate::recording::Recording;

/// Rate looked at, samples/s: twenty times the corner of the fits' low-pass and more.
const RATE_HZ: f64 = 1000.0;
/// Rows read at a time, at least.
const BLOCK: usize = 1 << 14;

/// Means over short blocks of samples.
#[derive(Debug, Default)]
pub(in crate::fitting) struct Track {
    pub(in crate::fitting) fs_hz: f64,
    pub(in crate::fitting) rim_rad: Vec<f64>,
    pub(in crate::fitting) torque_nm: Vec<f64>,
    pub(in crate::fitting) setpoint_nm: Vec<f64>,
    /// The wheelbase's own angle, at the motor; empty where it was not recorded.
    pub(in crate::fitting) rotor_rad: Vec<f64>,
    /// Row of the recording with which it begins.
    pub(in crate::fitting) first_row: usize,
    /// Rows in a block.
    pub(in crate::fitting) rows_together: usize,
}

/// Reads a stretch. A stretch with a gap cannot be filtered: it ends at the gap.
pub(in crate::fitting) fn read(recording: &Recording, rows: Range<usize>) -> Result<Track, FittingError> {
    let header = recording.header();
    let fs_hz = header.sample_rate_hz();
    let many = ((fs_hz / RATE_HZ).round() as usize).max(1);
    let mut track = Track {
        fs_hz: fs_hz / many as f64,
        first_row: rows.start,
        rows_together: many,
        ..Track::default()
    };
    let rotor = header.channel_index("motor_angle").is_some();
    let block = BLOCK / many * many;
    let mut last: Option<u64> = None;
    for start in rows.clone().step_by(block.max(many)) {
        let part = start..(start + block.max(many)).min(rows.end);
        let ticks = recording.ticks(part.clone())?;
        let whole = ticks.iter().take_while(|tick| {
            let due = last.is_none_or(|l| **tick == l + u64::from(header.sample_period_ticks));
            if due {
                last = Some(**tick);
            }
            due
        });
        let count = whole.count();
        let means = |channel: &str| -> Result<Vec<f64>, FittingError> {
            let values = recording.values(channel, part.start..part.start + count)?;
            let values = values.to_vec();
            let whole = values.chunks_exact(many);
            Ok(whole.map(|c| c.iter().sum::<f64>() / many as f64).collect())
        };
        track.rim_rad.extend(means("rim_angle")?);
        track.torque_nm.extend(means("torque")?);
        track.setpoint_nm.extend(means("setpoint")?);
        if rotor {
            track.rotor_rad.extend(means("motor_angle")?);
        }
        if count < part.len() {
            break;
        }
    }
    Ok(track)
}

impl Track {
    /// The setpoint as it was `delay_s` ago, by linear interpolation of its running sum, so that no impulse is lost.
    pub(super) fn setpoint_late(&self, delay_s: f64) -> Vec<f64> {
        let mut sum = vec![0.0];
        for (i, nm) in self.setpoint_nm.iter().enumerate() {
            sum.push(sum[i] + nm);
        }
        let shift = delay_s * self.fs_hz;
        let read = |at: f64| {
            let at = at.clamp(0.0, (sum.len() - 1) as f64);
            let i = (at as usize).min(sum.len().saturating_sub(2));
            sum[i] + (at - i as f64) * (sum[i + 1] - sum[i])
        };
        (0..self.setpoint_nm.len())
            .map(|i| read(i as f64 + 1.0 - shift) - read(i as f64 - shift))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_late_setpoint_keeps_its_impulse() {
        let track = Track {
            fs_hz: 500.0,
            setpoint_nm: vec![0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0],
            ..Track::default()
        };
        // 3 ms are one and a half of 2 ms.
        let late = track.setpoint_late(3e-3);
        let expected = [0.0, 0.0, 0.0, 0.5, 1.0, 0.5, 0.0];
        assert!(
            late.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12),
            "{late:?}"
        );
    }
}
