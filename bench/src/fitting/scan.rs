//! One pass over the whole recording, in blocks: lost samples, saturation, zero, temperature.

use super::FittingError;
use crate::recording::{ChannelInfo, Recording};

/// Rows read at a time.
const BLOCK: usize = 1 << 16;
/// Skipped at the start of a stretch at zero, s: the torque is still on its way.
const SETTLE_S: f64 = 0.1;
/// Least length of what remains, s.
const STRETCH_S: f64 = 0.1;

/// What the pass found.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Scan {
    /// Samples that are missing between the first and the last.
    pub(crate) lost: u64,
    /// Number of gaps.
    pub(crate) gaps: u64,
    /// From the first to the last sample, s.
    pub(crate) duration_s: f64,
    /// Channels that left the range of their converter, with the number of samples.
    pub(crate) saturated: Vec<(String, u64)>,
    /// Largest departure of a sample from the even grid that its neighbour is on, s.
    pub(crate) jitter_s: f64,
    /// Mean torque over the first and the last stretch at zero setpoint, N·m.
    pub(crate) zeros_nm: Option<(f64, f64)>,
}

/// Passes over the recording once.
pub(crate) fn scan(recording: &Recording) -> Result<Scan, FittingError> {
    let header = recording.header();
    let period = u64::from(header.sample_period_ticks);
    let fs_hz = header.sample_rate_hz();
    let tolerance_nm = 1.5 * recording.channel("setpoint")?.scale.abs();
    let mut zero = ZeroStretches::new(fs_hz, tolerance_nm);
    let mut scan = Scan::default();
    let mut jitter = 0_u64;
    let mut counts = vec![0_u64; header.channels.len()];
    let (mut first, mut last): (Option<u64>, Option<u64>) = (None, None);
    for start in (0..recording.rows()).step_by(BLOCK) {
        let rows = start..(start + BLOCK).min(recording.rows());
        let ticks = recording.ticks(rows.clone())?;
        let setpoint = recording.values("setpoint", rows.clone())?;
        let torque = recording.values("torque", rows.clone())?;
        for ((tick, setpoint), torque) in ticks.iter().zip(&setpoint).zip(&torque) {
            first.get_or_insert(*tick);
            if let Some(before) = last {
                let missing = tick.saturating_sub(before) / period.max(1);
                let beyond = tick.saturating_sub(before) % period.max(1);
                jitter = jitter.max(beyond.min(period.saturating_sub(beyond)));
                scan.lost += missing.saturating_sub(1);
                if missing > 1 {
                    scan.gaps += 1;
                    zero.end();
                }
            }
            last = Some(*tick);
            zero.take(*setpoint, *torque);
        }
        for (count, channel) in counts.iter_mut().zip(&header.channels) {
            *count += beyond_range(recording, channel, rows.clone())?;
        }
    }
    zero.end();
    scan.jitter_s = header.tick_s * jitter as f64;
    scan.zeros_nm = zero.first_nm.zip(zero.last_nm);
    scan.duration_s = first
        .zip(last)
        .map_or(0.0, |(a, b)| header.tick_s * (b - a) as f64);
    let names = header.channels.iter().map(|c| c.name.clone());
    scan.saturated = names.zip(counts).filter(|(_, n)| *n > 0).collect();
    Ok(scan)
}

fn beyond_range(
    recording: &Recording,
    channel: &ChannelInfo,
    rows: std::ops::Range<usize>,
) -> Result<u64, FittingError> {
    let raw = recording.raw(&channel.name, rows)?;
    Ok(raw
        .iter()
        .filter(|c| **c < channel.raw_min || **c > channel.raw_max)
        .count() as u64)
}

/// Mean torque of stretches with zero setpoint.
struct ZeroStretches {
    skip: u64,
    least: u64,
    tolerance_nm: f64,
    seen: u64,
    sum_nm: f64,
    first_nm: Option<f64>,
    last_nm: Option<f64>,
}

impl ZeroStretches {
    fn new(fs_hz: f64, tolerance_nm: f64) -> Self {
        let samples = |s: f64| (s * fs_hz).ceil().max(1.0) as u64;
        Self {
            skip: samples(SETTLE_S),
            least: samples(STRETCH_S),
            tolerance_nm,
            seen: 0,
            sum_nm: 0.0,
            first_nm: None,
            last_nm: None,
        }
    }

    fn take(&mut self, setpoint_nm: f64, torque_nm: f64) {
        if setpoint_nm.abs() > self.tolerance_nm {
            self.end();
            return;
        }
        self.seen += 1;
        if self.seen > self.skip {
            self.sum_nm += torque_nm;
        }
    }

    fn end(&mut self) {
        let used = self.seen.saturating_sub(self.skip);
        if used >= self.least {
            let mean = self.sum_nm / used as f64;
            self.first_nm.get_or_insert(mean);
            self.last_nm = Some(mean);
        }
        self.seen = 0;
        self.sum_nm = 0.0;
    }
}
