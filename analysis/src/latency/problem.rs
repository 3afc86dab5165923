//! The joint fit: shared shape; delay, base and friction of each repeat, which are eliminated.

use super::prepare::{Class, Repeat};
use super::shape::{HUB_HZ, PARAMETERS, SHAFT_HZ, STAGE_RATIO, ShapeModel};
use super::table::{Demand, Point, Table, View};
use super::{LatencyOptions, SensorForm};
use crate::least_squares::{Damping, Failure, Fit, Matrix, Options, minimise_with_jacobian};
use crate::linear::dot;

/// Samples of the repeats inside the window, and what the fit is told beforehand.
pub(crate) struct Problem<'r> {
    repeats: &'r [Repeat],
    classes: &'r [Class],
    /// First and last-plus-one sample of each repeat.
    spans: Vec<(usize, usize)>,
    noise_nm: f64,
    view: View,
    prior: [f64; PARAMETERS],
    prior_sd: [f64; PARAMETERS],
    rough: bool,
}

/// What belongs to one repeat alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Placed {
    pub(crate) delay_s: f64,
    pub(crate) base_nm: f64,
    /// Friction that the rotor has to turn round on its way, N·m; up to twice the Coulomb torque, depending on where
    /// the repeat before it left the rotor.
    pub(crate) friction_nm: f64,
}

/// A joint fit at rest.
pub(crate) struct Joint {
    pub(crate) model: ShapeModel,
    /// Of each repeat. Delays are those of the torque itself, sensor delay taken out.
    pub(crate) placed: Vec<Placed>,
    /// Standard uncertainty of the mean delay that comes from the shape, s.
    pub(crate) shape_u_s: f64,
    /// Standard uncertainty of one delay from its own noise, s.
    pub(crate) noise_u_s: f64,
    pub(crate) residual_rms_nm: f64,
    /// Sum of squares that the fit has brought down, residuals and prior, in units of the noise.
    pub(crate) rss: f64,
    /// Root mean square residual of each repeat.
    pub(crate) repeat_rms_nm: Vec<f64>,
    /// One for each class.
    pub(crate) tables: Vec<Table>,
    pub(crate) with_hub: bool,
}

/// Widths of the prior on the logarithms, in the order of [`ShapeModel::to_logs`]. They keep parameters that the
/// window does not show (a further mode, friction) from running away and weigh one residual each against thousands.
const PRIOR_SD: [f64; PARAMETERS] = [0.1, 0.7, 1.0, 0.3, 1.0, 1.0, 1.0, 0.7, 0.4, 0.7, 1.0, 1.0];

/// Most iterations of a fit.
pub(crate) const ITERATIONS: usize = 100;

/// Place of the slew rate among the parameters.
const SLEW: usize = 1;

/// How the joint fit may be varied.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Choice {
    /// Whether a fit that stops short of a minimum will do, because repeats that fit no shape are still among the others.
    pub(crate) rough: bool,
    pub(crate) form: SensorForm,
    pub(crate) with_hub: bool,
    /// Length of the window as a multiple of the usual.
    pub(crate) window: f64,
}

impl<'r> Problem<'r> {
    /// Takes the samples from half a window before the onsets in `placed` to a window after them.
    pub(crate) fn new(
        repeats: &'r [Repeat],
        classes: &'r [Class],
        placed: &[Placed],
        noise_nm: f64,
        prior: &ShapeModel,
        options: &LatencyOptions,
        choice: Choice,
    ) -> Self {
        let pure_s = pure_s(choice.form, options);
        let spans = repeats
            .iter()
            .zip(placed)
            .map(|(r, p)| {
                let (window, delay_s) = (choice.window * classes[r.class].window_s, p.delay_s + pure_s);
                let first = r.t_s.partition_point(|t| *t < delay_s - 0.5 * window);
                let last = r.t_s.partition_point(|t| *t <= delay_s + window);
                (first, last)
            })
            .collect();
        let longest = classes.iter().map(|c| c.window_s).fold(0.0, f64::max);
        let smallest = classes.iter().map(|c| c.change_nm).fold(f64::INFINITY, f64::min);
        let mut prior_sd = PRIOR_SD;
        if options.slew_nm_per_s.is_some() {
            prior_sd[SLEW] = options.slew_rel_u.max(1e-3);
        }
        Self {
            repeats,
            classes,
            spans,
            noise_nm: noise_nm.max(1e-9 * smallest),
            view: View {
                form: choice.form,
                sensor_delay_s: options.sensor_delay_s,
                with_hub: choice.with_hub,
                with_shaft: choice.with_hub && options.drive_stages.is_some_and(|stages| stages > 1),
                // Delays move by a fraction of the window while the fit runs.
                until_s: 1.3 * choice.window.max(1.0) * longest,
                friction_node_nm: 0.25 * smallest,
            },
            prior: prior.to_logs(),
            prior_sd,
            rough: choice.rough,
        }
    }

    pub(crate) fn tables(&self, logs: &[f64]) -> Vec<Table> {
        let model = ShapeModel::from_logs(logs);
        self.classes
            .iter()
            .map(|class| {
                let demand = Demand {
                    change_nm: class.change_nm,
                    split: None,
                };
                Table::new(&model, demand, self.view)
            })
            .collect()
    }

    fn samples(&self, i: usize) -> (&[f64], &[f64]) {
        let (a, b) = self.spans[i];
        (&self.repeats[i].t_s[a..b], &self.repeats[i].y_nm[a..b])
    }

    /// Best delay, base and friction of repeat `i` for a given shape, from a start.
    pub(crate) fn place(&self, i: usize, table: &Table, start: Placed, rounds: usize) -> Placed {
        let (t, y) = self.samples(i);
        let class = &self.classes[self.repeats[i].class];
        let n = t.len() as f64;
        let node = self.view.friction_node_nm;
        // Friction is held loosely to the size of the step, for a window that does not show it.
        let loose = (self.noise_nm / class.change_nm).powi(2);
        let mut p = start;
        for _ in 0..rounds {
            let (mut sr, mut sd, mut sf) = (0.0, 0.0, 0.0);
            let (mut sdd, mut sdf, mut sff, mut srd, mut srf) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (t, y) in t.iter().zip(y) {
                let v = table.at(t - p.delay_s, p.friction_nm);
                let (r, d, f) = (y - v.nm, -v.rate, v.by_friction);
                sr += r;
                sd += d;
                sf += f;
                sdd += d * d;
                sdf += d * f;
                sff += f * f;
                srd += r * d;
                srf += r * f;
            }
            let (dd, df, ff) = (sdd - sd * sd / n, sdf - sd * sf / n, sff - sf * sf / n + loose);
            let (rd, rf) = (srd - sr * sd / n, srf - sr * sf / n - loose * p.friction_nm);
            let det = dd * ff - df * df;
            if det <= 1e-12 * dd * ff {
                break;
            }
            let far = 0.2 * class.window_s;
            let step = ((rd * ff - rf * df) / det).clamp(-far, far);
            let by = (rf * dd - rd * df) / det;
            let friction = (p.friction_nm + by).clamp(-3.0 * node, 5.0 * node);
            p.base_nm = (sr - sd * step - sf * (friction - p.friction_nm)) / n;
            let rest = step.abs() < 1e-10 && (friction - p.friction_nm).abs() < 1e-9 * node;
            p.delay_s += step;
            p.friction_nm = friction;
            if rest {
                break;
            }
        }
        p
    }

    /// Residual of repeat `i` in units of the noise.
    pub(crate) fn residual(&self, i: usize, table: &Table, p: Placed, out: &mut [f64]) {
        let (t, y) = self.samples(i);
        for (out, (t, y)) in out.iter_mut().zip(t.iter().zip(y)) {
            *out = (p.base_nm + table.at(t - p.delay_s, p.friction_nm).nm - y) / self.noise_nm;
        }
    }

    /// Root mean square residual of repeat `i`, N·m.
    pub(crate) fn rms_nm(&self, i: usize, table: &Table, p: Placed) -> f64 {
        let mut r = vec![0.0; self.samples(i).0.len()];
        self.residual(i, table, p, &mut r);
        self.noise_nm * (dot(&r, &r) / r.len().max(1) as f64).sqrt()
    }

    /// The table of a repeat whose jump came in two parts.
    pub(crate) fn split_table(&self, i: usize, model: &ShapeModel, split: (f64, f64)) -> Table {
        let demand = Demand {
            change_nm: self.classes[self.repeats[i].class].change_nm,
            split: Some(split),
        };
        Table::new(model, demand, self.view)
    }

    /// Fits from a shape and places.
    pub(crate) fn fit(&self, start: &ShapeModel, placed: &[Placed], pure_s: f64) -> Result<Joint, Failure> {
        let count: usize = self.spans.iter().map(|(a, b)| b - a).sum();
        let mut from = placed.to_vec();
        from.iter_mut().for_each(|p| p.delay_s += pure_s);
        // The solver asks for the Jacobian where it has come to, so places follow it from there to there; a trial that
        // is not taken leaves no trace.
        let places = std::cell::RefCell::new(from);
        let class = |i: usize| self.repeats[i].class;
        let mut residuals = |p: &[f64], out: &mut [f64]| {
            let tables = self.tables(p);
            let mut at = 0;
            for i in 0..self.repeats.len() {
                let table = &tables[class(i)];
                let place = self.place(i, table, places.borrow()[i], 8);
                let len = self.samples(i).0.len();
                self.residual(i, table, place, &mut out[at..at + len]);
                at += len;
            }
            for k in 0..PARAMETERS {
                out[at + k] = (p[k] - self.prior[k]) / self.prior_sd[k];
            }
        };
        let mut jacobian = |p: &[f64], out: &mut Matrix| {
            let tables = self.tables(p);
            let placed: Vec<Placed> = (0..self.repeats.len())
                .map(|i| self.place(i, &tables[class(i)], places.borrow()[i], 8))
                .collect();
            places.borrow_mut().clone_from(&placed);
            self.jacobian(p, &tables, &placed, out);
        };
        let logs = start.to_logs();
        // Five widths of the prior, at most a factor of twenty: a shape beyond is another machine, and a rise of many
        // times the torque through a lag of many times the length looks like this one for a while.
        let bounds = |sign: f64| -> Vec<f64> {
            let wide = self.prior.iter().zip(&self.prior_sd);
            wide.map(|(v, sd)| v + sign * (5.0 * sd).min(3.0)).collect()
        };
        let options = Options {
            scale: Some(self.prior_sd.to_vec()),
            damping: Damping::Scale,
            lower: Some(bounds(-1.0)),
            upper: Some(bounds(1.0)),
            fail_at_bound: false,
            max_iterations: ITERATIONS,
            x_tolerance: 1e-7,
            // A fifth of one residual's variance moves no parameter by half its uncertainty.
            rss_tolerance: if self.rough { 1e-3 } else { 0.2 / count as f64 },
            offset_tolerance: if self.rough { f64::INFINITY } else { 1.0 },
        };
        let fit = minimise_with_jacobian(&mut residuals, &mut jacobian, count + PARAMETERS, &logs, &options)?;
        Ok(self.joint(&fit, &places.into_inner(), count, pure_s))
    }

    /// Whether a parameter has any part in the shape: without a hub, or a shaft between stages, theirs have none.
    fn shapes(&self, parameter: usize) -> bool {
        match parameter {
            HUB_HZ => self.view.with_hub,
            SHAFT_HZ | STAGE_RATIO => self.view.with_shaft,
            _ => true,
        }
    }

    /// Derivatives with respect to the shape, less their parts along each repeat's delay, base and friction.
    fn jacobian(&self, p: &[f64], tables: &[Table], placed: &[Placed], out: &mut Matrix) {
        // One-sided: a Jacobian wrong by a hundred-thousandth leads to the same minimum, for half the tables.
        let h = 1e-5;
        let table_of = |i: usize| &tables[self.repeats[i].class];
        let own: Vec<[Vec<f64>; 2]> = (0..placed.len())
            .map(|i| self.own_columns(i, table_of(i), placed[i]))
            .collect();
        let nm = |table: &Table, place: &Placed, t: f64| table.at(t - place.delay_s, place.friction_nm).nm;
        let here: Vec<f64> = placed
            .iter()
            .enumerate()
            .flat_map(|(i, place)| self.samples(i).0.iter().map(move |t| nm(table_of(i), place, *t)))
            .collect();
        let count = here.len();
        for k in 0..PARAMETERS {
            let column = out.col_mut(k);
            if !self.shapes(k) {
                column.fill(0.0);
                column[count + k] = 1.0 / self.prior_sd[k];
                continue;
            }
            let mut shifted = p.to_vec();
            shifted[k] += h;
            let shifted = self.tables(&shifted);
            let mut at = 0;
            for (i, (place, own)) in placed.iter().zip(&own).enumerate() {
                let t = self.samples(i).0;
                let class = self.repeats[i].class;
                let part = &mut column[at..at + t.len()];
                for ((d, t), here) in part.iter_mut().zip(t).zip(&here[at..]) {
                    *d = (nm(&shifted[class], place, *t) - here) / (h * self.noise_nm);
                }
                let mean = part.iter().sum::<f64>() / part.len() as f64;
                part.iter_mut().for_each(|d| *d -= mean);
                for own in own {
                    let share = dot(part, own);
                    for (d, a) in part.iter_mut().zip(own) {
                        *d -= share * a;
                    }
                }
                at += t.len();
            }
            column[at..].fill(0.0);
            column[at + k] = 1.0 / self.prior_sd[k];
        }
    }

    /// Directions of friction and delay in the residual of a repeat: centred, of length 1, at right angles.
    fn own_columns(&self, i: usize, table: &Table, p: Placed) -> [Vec<f64>; 2] {
        let [mut delay, mut friction] = self.delay_and_friction(i, table, p);
        scale_to_unit(&mut friction);
        let share = dot(&delay, &friction);
        delay.iter_mut().zip(&friction).for_each(|(d, f)| *d -= share * f);
        scale_to_unit(&mut delay);
        [friction, delay]
    }

    /// Derivatives of a repeat's residual with respect to delay and friction, centred.
    fn delay_and_friction(&self, i: usize, table: &Table, p: Placed) -> [Vec<f64>; 2] {
        let points: Vec<Point> = self
            .samples(i)
            .0
            .iter()
            .map(|t| table.at(t - p.delay_s, p.friction_nm))
            .collect();
        [
            centred(points.iter().map(|v| -v.rate / self.noise_nm).collect()),
            centred(points.iter().map(|v| v.by_friction / self.noise_nm).collect()),
        ]
    }

    fn joint(&self, fit: &Fit, places: &[Placed], count: usize, pure_s: f64) -> Joint {
        let p = &fit.parameters;
        let tables = self.tables(p);
        let class = |i: usize| self.repeats[i].class;
        let mut placed: Vec<Placed> = (0..places.len())
            .map(|i| self.place(i, &tables[class(i)], places[i], 6))
            .collect();
        let n = placed.len() as f64;
        let (mut square, mut repeat_rms_nm, mut noise_variance) = (0.0, Vec::new(), 0.0);
        for (i, place) in placed.iter().enumerate() {
            let mut r = vec![0.0; self.samples(i).0.len()];
            self.residual(i, &tables[class(i)], *place, &mut r);
            let ss = dot(&r, &r);
            square += ss;
            repeat_rms_nm.push(self.noise_nm * (ss / r.len() as f64).sqrt());
            let [delay, mut friction] = self.delay_and_friction(i, &tables[class(i)], *place);
            scale_to_unit(&mut friction);
            let information = dot(&delay, &delay) - dot(&delay, &friction).powi(2);
            noise_variance += 1.0 / information.max(f64::MIN_POSITIVE) / n;
        }
        let spent = PARAMETERS as f64 + 3.0 * n;
        let scale = (square / (count as f64 - spent).max(1.0)).max(1.0);
        // How the mean delay moves with each shape parameter when the places are free to follow.
        let mut slope = [0.0; PARAMETERS];
        for (k, slope) in slope.iter_mut().enumerate() {
            let moved = |by: f64| {
                let mut q = p.clone();
                q[k] += by;
                let tables = self.tables(&q);
                let delay = |i: usize| self.place(i, &tables[class(i)], placed[i], 3).delay_s;
                (0..placed.len()).map(delay).sum::<f64>() / n
            };
            *slope = (moved(1e-3) - moved(-1e-3)) / 2e-3;
        }
        let mut variance = 0.0;
        for i in 0..PARAMETERS {
            for k in 0..PARAMETERS {
                variance += slope[i] * slope[k] * fit.covariance[[i, k]];
            }
        }
        placed.iter_mut().for_each(|p| p.delay_s -= pure_s);
        Joint {
            model: ShapeModel::from_logs(p),
            placed,
            shape_u_s: variance.max(0.0).sqrt(),
            noise_u_s: (scale * noise_variance).sqrt(),
            residual_rms_nm: self.noise_nm * (square / (count as f64 - spent).max(1.0)).sqrt(),
            rss: fit.rss,
            repeat_rms_nm,
            tables,
            with_hub: self.view.with_hub,
        }
    }
}

/// Declared sensor delay that the tables do not contain.
pub(crate) fn pure_s(form: SensorForm, options: &LatencyOptions) -> f64 {
    if form == SensorForm::Pure {
        options.sensor_delay_s
    } else {
        0.0
    }
}

fn centred(mut v: Vec<f64>) -> Vec<f64> {
    let mean = v.iter().sum::<f64>() / v.len().max(1) as f64;
    v.iter_mut().for_each(|x| *x -= mean);
    v
}

fn scale_to_unit(v: &mut [f64]) {
    let length = dot(v, v).sqrt();
    if length > 0.0 {
        v.iter_mut().for_each(|x| *x /= length);
    }
}
