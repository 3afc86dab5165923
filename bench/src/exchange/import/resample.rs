//! Uneven rows onto an even grid, on request.
//!
//! Between two rows values lie on the straight line; the commanded torque keeps its value until the next row, as a
//! setpoint does. The error of a straight line over a stretch h is at most h²/8 times the second derivative, which is
//! told from three rows; its largest value is reported. Over more than [`BRIDGED`] periods nothing is filled in: a gap.

use super::clock::Clock;

/// Longest stretch that is bridged, periods.
pub(super) const BRIDGED: f64 = 3.0;

/// One row: time of the file and numbers.
#[derive(Debug, Clone)]
struct Row {
    t_s: f64,
    values: Vec<f64>,
}

/// Hands out even rows.
#[derive(Debug)]
pub(super) struct Resampler {
    clock: Clock,
    /// Column that keeps its value between rows.
    held: Option<usize>,
    earlier: Option<Row>,
    last: Option<Row>,
    next_index: u64,
    /// Start of the grid, s, and its tick.
    start: Option<(f64, u64)>,
    /// Largest estimated error of a column, in its numbers.
    pub(super) worst: Vec<f64>,
    /// Samples missing in gaps.
    pub(super) lost: u64,
}

impl Resampler {
    pub(super) fn new(clock: Clock, held: Option<usize>, columns: usize) -> Self {
        Self {
            clock,
            held,
            earlier: None,
            last: None,
            next_index: 0,
            start: None,
            worst: vec![0.0; columns],
            lost: 0,
        }
    }

    /// Takes a row; calls `out` with each even row up to it.
    pub(super) fn take<E>(
        &mut self,
        t_s: f64,
        values: Vec<f64>,
        mut out: impl FnMut(u64, &[f64]) -> Result<(), E>,
    ) -> Result<(), E> {
        let row = Row { t_s, values };
        let (period, ticks) = (self.clock.period_s, u64::from(self.clock.period_ticks));
        let (start_s, start_tick) = match self.start {
            Some(start) => start,
            None => {
                let start = (t_s, self.clock.tick(t_s));
                self.start = Some(start);
                start
            }
        };
        let time = |index: u64| start_s + index as f64 * period;
        let tick = |index: u64| start_tick + index * ticks;
        let Some(last) = self.last.take() else {
            self.last = Some(row);
            return Ok(());
        };
        let span = t_s - last.t_s;
        if span > BRIDGED * period {
            // The row before the gap may stand on the grid itself.
            if time(self.next_index) <= last.t_s + 1e-9 * period {
                out(tick(self.next_index), &last.values)?;
                self.next_index += 1;
            }
            let behind = ((t_s - start_s) / period).ceil().max(0.0) as u64;
            self.lost += behind.saturating_sub(self.next_index);
            self.next_index = self.next_index.max(behind);
            self.earlier = None;
            self.last = Some(row);
            return Ok(());
        }
        self.judge(&last, &row);
        while time(self.next_index) < t_s {
            let share = ((time(self.next_index) - last.t_s) / span).clamp(0.0, 1.0);
            let values: Vec<f64> = last
                .values
                .iter()
                .zip(&row.values)
                .enumerate()
                .map(|(c, (a, b))| {
                    if self.held == Some(c) {
                        *a
                    } else {
                        a + share * (b - a)
                    }
                })
                .collect();
            out(tick(self.next_index), &values)?;
            self.next_index += 1;
        }
        self.earlier = Some(last);
        self.last = Some(row);
        Ok(())
    }

    /// Estimates the error over the stretch from `last` to `row` from the row before.
    fn judge(&mut self, last: &Row, row: &Row) {
        let Some(earlier) = &self.earlier else { return };
        let (h0, h1) = (last.t_s - earlier.t_s, row.t_s - last.t_s);
        let triples = earlier.values.iter().zip(&last.values).zip(&row.values);
        for (c, (worst, ((a, b), d))) in self.worst.iter_mut().zip(triples).enumerate() {
            if self.held != Some(c) {
                let curvature = 2.0 * ((d - b) / h1 - (b - a) / h0) / (h0 + h1);
                *worst = worst.max((curvature * h1 * h1 / 8.0).abs());
            }
        }
    }
}
