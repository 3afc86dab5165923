//! The joint fit: shared shape, one delay and base a repeat, the latter two eliminated.

use super::prepare::Repeat;
use super::shape::{PARAMETERS, ShapeModel, Table};
use super::{LatencyOptions, SensorForm};
use crate::least_squares::{Damping, Failure, Fit, Matrix, Options, minimise_with_jacobian};
use crate::linear::dot;

/// Samples of the repeats inside the window, and what the fit is told beforehand.
pub(crate) struct Problem<'r> {
    repeats: &'r [Repeat],
    /// First and last-plus-one sample of each repeat.
    spans: Vec<(usize, usize)>,
    commanded_nm: f64,
    noise_nm: f64,
    form: SensorForm,
    sensor_delay_s: f64,
    window_s: f64,
    prior: [f64; PARAMETERS],
    with_hub: bool,
}

/// A joint fit at rest.
pub(crate) struct Joint {
    pub(crate) model: ShapeModel,
    pub(crate) delays_s: Vec<f64>,
    pub(crate) bases_nm: Vec<f64>,
    /// Standard uncertainty of the mean delay that comes from the shape, s.
    pub(crate) shape_u_s: f64,
    /// Standard uncertainty of one delay from its own noise, s.
    pub(crate) noise_u_s: f64,
    pub(crate) residual_rms_nm: f64,
    /// Root mean square residual of each repeat.
    pub(crate) repeat_rms_nm: Vec<f64>,
    pub(crate) table: Table,
    pub(crate) with_hub: bool,
}

/// Widths of the prior on the logarithms, in the order of [`ShapeModel::to_logs`]. They keep parameters that the
/// window does not show (a further mode, friction) from running away and weigh one residual each against thousands.
const PRIOR_SD: [f64; PARAMETERS] = [0.1, 1.0, 0.7, 0.3, 0.7, 1.0, 1.0, 0.5, 0.4, 0.7];

impl<'r> Problem<'r> {
    /// Takes the samples from half of `window_s` before the onsets in `delays_s` to `window_s` after them.
    #[allow(clippy::too_many_arguments)]
    pub(crate) fn new(
        repeats: &'r [Repeat],
        delays_s: &[f64],
        window_s: f64,
        commanded_nm: f64,
        noise_nm: f64,
        start: &ShapeModel,
        options: &LatencyOptions,
        with_hub: bool,
    ) -> Self {
        let spans = repeats
            .iter()
            .zip(delays_s)
            .map(|(r, d)| {
                let first = r.t_s.partition_point(|t| *t < d - 0.5 * window_s);
                let last = r.t_s.partition_point(|t| *t <= d + window_s);
                (first, last)
            })
            .collect();
        Self {
            repeats,
            spans,
            commanded_nm,
            noise_nm: noise_nm.max(1e-9 * commanded_nm),
            form: options.sensor_form,
            sensor_delay_s: options.sensor_delay_s,
            window_s,
            prior: start.to_logs(),
            with_hub,
        }
    }

    fn table(&self, logs: &[f64]) -> Table {
        let model = ShapeModel::from_logs(logs);
        // Delays move by a fraction of the window while the fit runs.
        Table::new(
            &model,
            self.form,
            self.sensor_delay_s,
            1.5 * self.window_s,
            self.with_hub,
        )
    }

    /// Declared delay that the table does not contain.
    fn pure_s(&self) -> f64 {
        if self.form == SensorForm::Pure {
            self.sensor_delay_s
        } else {
            0.0
        }
    }

    fn samples(&self, i: usize) -> (&[f64], &[f64]) {
        let (a, b) = self.spans[i];
        (&self.repeats[i].t_s[a..b], &self.repeats[i].y_nm[a..b])
    }

    /// Best delay and base of repeat `i` for a given shape, from a start.
    fn place(&self, i: usize, table: &Table, mut delay: f64) -> (f64, f64) {
        let (t, y) = self.samples(i);
        let n = t.len() as f64;
        let mut base = 0.0;
        for _ in 0..4 {
            let (mut sr, mut sd, mut sdd, mut srd) = (0.0, 0.0, 0.0, 0.0);
            for (t, y) in t.iter().zip(y) {
                let (v, s) = table.at(t - delay);
                let (r, d) = (y - self.commanded_nm * v, -self.commanded_nm * s);
                sr += r;
                sd += d;
                sdd += d * d;
                srd += r * d;
            }
            let det = sdd - sd * sd / n;
            if det <= 0.0 {
                break;
            }
            let step = ((srd - sr * sd / n) / det).clamp(-0.2 * self.window_s, 0.2 * self.window_s);
            base = (sr - sd * step) / n;
            delay += step;
            if step.abs() < 1e-10 {
                break;
            }
        }
        (delay, base)
    }

    /// Residual of repeat `i` in units of the noise.
    fn residual(&self, i: usize, table: &Table, delay: f64, base: f64, out: &mut [f64]) {
        let (t, y) = self.samples(i);
        for (out, (t, y)) in out.iter_mut().zip(t.iter().zip(y)) {
            *out = (base + self.commanded_nm * table.at(t - delay).0 - y) / self.noise_nm;
        }
    }

    /// Fits from a shape and delays.
    pub(crate) fn fit(&self, start: &ShapeModel, delays_s: &[f64]) -> Result<Joint, Failure> {
        let count: usize = self.spans.iter().map(|(a, b)| b - a).sum();
        // Delays follow the shape from call to call; each call polishes them, so it matters little where it starts.
        let delays = std::cell::RefCell::new(delays_s.to_vec());
        let mut residuals = |p: &[f64], out: &mut [f64]| {
            let table = self.table(p);
            let mut at = 0;
            for i in 0..self.repeats.len() {
                let (delay, base) = self.place(i, &table, delays.borrow()[i]);
                delays.borrow_mut()[i] = delay;
                let len = self.samples(i).0.len();
                self.residual(i, &table, delay, base, &mut out[at..at + len]);
                at += len;
            }
            for k in 0..PARAMETERS {
                out[at + k] = (p[k] - self.prior[k]) / PRIOR_SD[k];
            }
        };
        let mut jacobian = |p: &[f64], out: &mut Matrix| {
            let table = self.table(p);
            let placed: Vec<(f64, f64)> = (0..self.repeats.len())
                .map(|i| self.place(i, &table, delays.borrow()[i]))
                .collect();
            self.jacobian(p, &table, &placed, out);
        };
        let logs = start.to_logs();
        let options = Options {
            scale: Some(PRIOR_SD.to_vec()),
            damping: Damping::Scale,
            lower: Some(logs.iter().map(|v| v - 3.0).collect()),
            upper: Some(logs.iter().map(|v| v + 3.0).collect()),
            max_iterations: 120,
            x_tolerance: 1e-6,
            // Less than a twentieth of one residual's variance is nothing that the data could show.
            rss_tolerance: 0.05 / count as f64,
            offset_tolerance: 0.5,
        };
        let fit = minimise_with_jacobian(&mut residuals, &mut jacobian, count + PARAMETERS, &logs, &options)?;
        Ok(self.joint(&fit, &delays.into_inner(), count))
    }

    /// Derivatives with respect to the shape, less their parts along each repeat's delay and base.
    fn jacobian(&self, p: &[f64], table: &Table, placed: &[(f64, f64)], out: &mut Matrix) {
        let h = 1e-4;
        for k in 0..PARAMETERS {
            let shifted = |by: f64| {
                let mut q = p.to_vec();
                q[k] += by;
                self.table(&q)
            };
            let (above, below) = (shifted(h), shifted(-h));
            let column = out.col_mut(k);
            let mut at = 0;
            for (i, (delay, _)) in placed.iter().enumerate() {
                let t = self.samples(i).0;
                let part = &mut column[at..at + t.len()];
                for (d, t) in part.iter_mut().zip(t) {
                    let s = t - delay;
                    *d = self.commanded_nm * (above.at(s).0 - below.at(s).0) / (2.0 * h * self.noise_nm);
                }
                let along = centred(self.delay_column(i, table, *delay));
                let mean = part.iter().sum::<f64>() / part.len() as f64;
                let share = dot(part, &along) / dot(&along, &along).max(f64::MIN_POSITIVE);
                for (d, a) in part.iter_mut().zip(&along) {
                    *d -= mean + share * a;
                }
                at += t.len();
            }
            column[at..].fill(0.0);
            column[at + k] = 1.0 / PRIOR_SD[k];
        }
    }

    /// Derivative of a repeat's residual with respect to its delay.
    fn delay_column(&self, i: usize, table: &Table, delay: f64) -> Vec<f64> {
        let scale = -self.commanded_nm / self.noise_nm;
        self.samples(i)
            .0
            .iter()
            .map(|t| scale * table.at(t - delay).1)
            .collect()
    }

    fn joint(&self, fit: &Fit, delays: &[f64], count: usize) -> Joint {
        let p = &fit.parameters;
        let table = self.table(p);
        let placed: Vec<(f64, f64)> = (0..delays.len())
            .map(|i| self.place(i, &table, delays[i]))
            .collect();
        let n = placed.len() as f64;
        let (mut square, mut repeat_rms_nm, mut information) = (0.0, Vec::new(), 0.0);
        for (i, (delay, base)) in placed.iter().enumerate() {
            let mut r = vec![0.0; self.samples(i).0.len()];
            self.residual(i, &table, *delay, *base, &mut r);
            let ss = dot(&r, &r);
            square += ss;
            repeat_rms_nm.push(self.noise_nm * (ss / r.len() as f64).sqrt());
            let along = centred(self.delay_column(i, &table, *delay));
            information += dot(&along, &along) / n;
        }
        let spent = PARAMETERS as f64 + 2.0 * n;
        let scale = (square / (count as f64 - spent).max(1.0)).max(1.0);
        // How the mean delay moves with each shape parameter when the delays are free to follow.
        let mut slope = [0.0; PARAMETERS];
        for (k, slope) in slope.iter_mut().enumerate() {
            let moved = |by: f64| {
                let mut q = p.clone();
                q[k] += by;
                let table = self.table(&q);
                placed
                    .iter()
                    .enumerate()
                    .map(|(i, (d, _))| self.place(i, &table, *d).0)
                    .sum::<f64>()
                    / n
            };
            *slope = (moved(1e-3) - moved(-1e-3)) / 2e-3;
        }
        let mut variance = 0.0;
        for i in 0..PARAMETERS {
            for k in 0..PARAMETERS {
                variance += slope[i] * slope[k] * fit.covariance[[i, k]];
            }
        }
        Joint {
            model: ShapeModel::from_logs(p),
            delays_s: placed.iter().map(|(d, _)| d - self.pure_s()).collect(),
            bases_nm: placed.iter().map(|(_, b)| *b).collect(),
            shape_u_s: variance.max(0.0).sqrt(),
            noise_u_s: (scale / information.max(f64::MIN_POSITIVE)).sqrt(),
            residual_rms_nm: self.noise_nm * (square / (count as f64 - spent).max(1.0)).sqrt(),
            repeat_rms_nm,
            table,
            with_hub: self.with_hub,
        }
    }
}

fn centred(mut v: Vec<f64>) -> Vec<f64> {
    let mean = v.iter().sum::<f64>() / v.len().max(1) as f64;
    v.iter_mut().for_each(|x| *x -= mean);
    v
}
