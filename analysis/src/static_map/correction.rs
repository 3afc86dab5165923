//! The command for a wanted torque: a static map turned round, monotone.
//!
//! Noise and ripple may make neighbouring levels fall though the command rises; the nearest map that does not fall, in least
//! squares, is found by pooling those that violate the order (isotonic regression; Barlow, Bartholomew, Bremner and Brunk 1972).
//! Between its points runs a monotone cubic (Fritsch and Carlson 1980, with the slopes of Fritsch and Butland 1984), of command
//! over torque.

use crate::estimate::Refusal;
use crate::statistics::all_finite;

/// Fewest points of a map.
const FEWEST: usize = 4;
/// Torques nearer than this share of the span count as one: a stretch where torque does not follow.
const SAME: f64 = 1e-6;

/// Command over wanted torque, both rising.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    wanted_nm: Vec<f64>,
    command_nm: Vec<f64>,
    slopes: Vec<f64>,
}

impl Correction {
    /// From points of a map, commands ascending: command and torque, N·m.
    ///
    /// # Errors
    /// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`] where fewer than four torques differ,
    /// [`Refusal::OutOfRange`] for commands that do not ascend.
    pub fn of(command_nm: &[f64], torque_nm: &[f64]) -> Result<Self, Refusal> {
        if command_nm.len() != torque_nm.len() {
            return Err(Refusal::LengthMismatch {
                what: "commands and torques of a map".into(),
                left: command_nm.len(),
                right: torque_nm.len(),
            });
        }
        all_finite("the commands of a map", command_nm.iter())?;
        all_finite("the torques of a map", torque_nm.iter())?;
        if let Some(pair) = command_nm.windows(2).find(|w| w[1] <= w[0]) {
            return Err(Refusal::out_of_range(
                "a step from command to command",
                pair[1] - pair[0],
                f64::MIN_POSITIVE,
                f64::INFINITY,
                "N·m",
            ));
        }
        let rising = isotonic(torque_nm);
        let span = rising.last().zip(rising.first()).map_or(0.0, |(b, a)| b - a);
        // Where torque stands still every command gives it: the middle one is taken.
        let mut points: Vec<(f64, Vec<f64>)> = Vec::new();
        for (torque, command) in rising.iter().zip(command_nm) {
            match points.last_mut() {
                Some((same, commands)) if torque - *same <= SAME * span => commands.push(*command),
                _ => points.push((*torque, vec![*command])),
            }
        }
        if points.len() < FEWEST {
            return Err(Refusal::TooFewSamples {
                what: "a correction by levels of different torque".into(),
                got: points.len(),
                needed: FEWEST,
            });
        }
        let middle = |c: &[f64]| 0.5 * (c[0] + c[c.len() - 1]);
        let wanted_nm: Vec<f64> = points.iter().map(|p| p.0).collect();
        let command_nm: Vec<f64> = points.iter().map(|p| middle(&p.1)).collect();
        let slopes = slopes(&wanted_nm, &command_nm);
        Ok(Self {
            wanted_nm,
            command_nm,
            slopes,
        })
    }

    /// Lowest and highest torque that it knows a command for, N·m.
    pub fn range_nm(&self) -> [f64; 2] {
        [self.wanted_nm[0], self.wanted_nm[self.wanted_nm.len() - 1]]
    }

    /// The command for a torque, N·m; beyond the range that for its nearer end.
    pub fn command_nm(&self, wanted_nm: f64) -> f64 {
        let [low, high] = self.range_nm();
        let x = wanted_nm.clamp(low, high);
        let behind = self
            .wanted_nm
            .partition_point(|w| *w < x)
            .clamp(1, self.wanted_nm.len() - 1);
        let (a, b) = (behind - 1, behind);
        let h = self.wanted_nm[b] - self.wanted_nm[a];
        let s = (x - self.wanted_nm[a]) / h;
        let (from, to) = (self.command_nm[a], self.command_nm[b]);
        let (s2, s3) = (s * s, s * s * s);
        from * (2.0 * s3 - 3.0 * s2 + 1.0)
            + h * self.slopes[a] * (s3 - 2.0 * s2 + s)
            + to * (3.0 * s2 - 2.0 * s3)
            + h * self.slopes[b] * (s3 - s2)
    }

    /// Rows of a table: torques evenly spread over the range, zero among them where it is inside, and their commands.
    pub fn table(&self, rows: usize) -> Vec<(f64, f64)> {
        let [low, high] = self.range_nm();
        let last = rows.max(2) - 1;
        let mut wanted: Vec<f64> = (0..=last)
            .map(|i| low + (high - low) * i as f64 / last as f64)
            .collect();
        if low < 0.0 && high > 0.0 {
            // The nearest inner row becomes zero.
            if let Some(nearest) = wanted[1..last]
                .iter_mut()
                .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            {
                *nearest = 0.0;
            }
        }
        wanted.into_iter().map(|w| (w, self.command_nm(w))).collect()
    }
}

/// The nearest list that does not fall: neighbours out of order are pooled to their mean.
pub fn isotonic(values: &[f64]) -> Vec<f64> {
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for value in values {
        let mut pool = (*value, 1);
        while let Some((mean, count)) = pools.last().copied() {
            if mean <= pool.0 {
                break;
            }
            let all = count + pool.1;
            pool = ((mean * count as f64 + pool.0 * pool.1 as f64) / all as f64, all);
            pools.pop();
        }
        pools.push(pool);
    }
    pools
        .into_iter()
        .flat_map(|(mean, count)| std::iter::repeat_n(mean, count))
        .collect()
}

/// Slopes at the points of a monotone cubic: weighted harmonic means of those beside, zero at an extreme, three-point ones at the
/// ends, held back where they would overshoot.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let h: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let d: Vec<f64> = y.windows(2).zip(&h).map(|(w, h)| (w[1] - w[0]) / h).collect();
    let n = x.len();
    let end = |h0: f64, h1: f64, d0: f64, d1: f64| {
        let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
        if slope * d0 <= 0.0 {
            0.0
        } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
            3.0 * d0
        } else {
            slope
        }
    };
    (0..n)
        .map(|i| match i {
            0 => end(h[0], h[1], d[0], d[1]),
            i if i == n - 1 => end(h[n - 2], h[n - 3], d[n - 2], d[n - 3]),
            i if d[i - 1] * d[i] <= 0.0 => 0.0,
            i => {
                let (w1, w2) = (2.0 * h[i] + h[i - 1], h[i] + 2.0 * h[i - 1]);
                (w1 + w2) / (w1 / d[i - 1] + w2 / d[i])
            }
        })
        .collect()
}
