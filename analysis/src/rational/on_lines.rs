//! The model on all lines at once: each factor goes over the lines in one loop of plain sums, which the fit does some thousands
//! of times.

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::model::{Factor, RationalModel};
use super::refine::{DELAY_UNIT_S, Line};
use crate::least_squares::Matrix;

/// Lines of a response, and the response of a model on them.
pub(crate) struct OnLines {
    w_rad_s: Vec<f64>,
    h_re: Vec<f64>,
    h_im: Vec<f64>,
    /// One over the error of each line.
    weight: Vec<f64>,
    re: Vec<f64>,
    im: Vec<f64>,
    bottom_re: Vec<f64>,
    bottom_im: Vec<f64>,
}

/// Multiplies `re + j im` by a factor at each frequency.
fn times(factor: &Factor, w_rad_s: &[f64], re: &mut [f64], im: &mut [f64]) {
    let places = re.iter_mut().zip(im).zip(w_rad_s);
    match factor {
        Factor::Real { corner_hz } => {
            let scale = 1.0 / (TAU * corner_hz);
            for ((re, im), w) in places {
                let x = w * scale;
                (*re, *im) = (*re - *im * x, *im + *re * x);
            }
        }
        Factor::Pair { f_hz, damping } => {
            let (scale, twice) = (1.0 / (TAU * f_hz), 2.0 * damping);
            for ((re, im), w) in places {
                let x = w * scale;
                let (a, b) = (1.0 - x * x, twice * x);
                (*re, *im) = (*re * a - *im * b, *im * a + *re * b);
            }
        }
    }
}

impl OnLines {
    pub(crate) fn new(lines: &[Line]) -> Self {
        let of = |part: fn(&Line) -> f64| -> Vec<f64> { lines.iter().map(part).collect() };
        let none = vec![0.0; lines.len()];
        Self {
            w_rad_s: of(|(f, _, _)| TAU * f),
            h_re: of(|(_, h, _)| h.re),
            h_im: of(|(_, h, _)| h.im),
            weight: of(|(_, _, u)| 1.0 / u),
            re: none.clone(),
            im: none.clone(),
            bottom_re: none.clone(),
            bottom_im: none,
        }
    }

    /// Response of the model on each line.
    fn respond(&mut self, model: &RationalModel) {
        self.re.fill(model.gain);
        self.im.fill(0.0);
        self.bottom_re.fill(1.0);
        self.bottom_im.fill(0.0);
        for factor in &model.zeros {
            times(factor, &self.w_rad_s, &mut self.re, &mut self.im);
        }
        for factor in &model.poles {
            times(factor, &self.w_rad_s, &mut self.bottom_re, &mut self.bottom_im);
        }
        for i in 0..self.re.len() {
            let delay = Complex64::cis(-self.w_rad_s[i] * model.delay_s);
            let bottom = Complex64::new(self.bottom_re[i], self.bottom_im[i]);
            let h = Complex64::new(self.re[i], self.im[i]) * delay * bottom.conj() / bottom.norm_sqr();
            (self.re[i], self.im[i]) = (h.re, h.im);
        }
    }

    /// Weighted misfits: real parts of all lines, then imaginary ones.
    pub(crate) fn misfits(&mut self, model: &RationalModel, out: &mut [f64]) {
        self.respond(model);
        let (real, imaginary) = out.split_at_mut(self.re.len());
        let sides = [(real, &self.re, &self.h_re), (imaginary, &self.im, &self.h_im)];
        for (out, is, asked) in sides {
            for (((out, is), asked), weight) in out.iter_mut().zip(is).zip(asked).zip(&self.weight) {
                *out = (is - asked) * weight;
            }
        }
    }

    /// Derivatives of the misfits with respect to the parameters that have a column: `column_of` gives it, in the order of
    /// [`super::refine::pack`].
    pub(crate) fn slopes(&mut self, model: &RationalModel, column_of: &[Option<usize>], out: &mut Matrix) {
        self.respond(model);
        for i in 0..self.re.len() {
            self.re[i] *= self.weight[i];
            self.im[i] *= self.weight[i];
        }
        let mut columns = column_of.iter().copied();
        let sides = [(&model.poles, -1.0), (&model.zeros, 1.0)];
        for (factor, sign) in sides
            .iter()
            .flat_map(|(factors, sign)| factors.iter().map(|f| (f, *sign)))
        {
            match factor {
                Factor::Real { corner_hz } => {
                    let scale = 1.0 / (TAU * corner_hz);
                    self.column(columns.next().flatten(), out, |w| {
                        let x = w * scale;
                        let over = -sign * x / (1.0 + x * x);
                        (over * x, over)
                    });
                }
                Factor::Pair { f_hz, damping } => {
                    let (scale, twice) = (1.0 / (TAU * f_hz), 2.0 * damping);
                    // The slope over the factor itself: `sign · slope · conj(value) / |value|²`.
                    let value = |w: f64| {
                        let x = w * scale;
                        let (a, b) = (1.0 - x * x, twice * x);
                        (x, a, b, sign / (a * a + b * b))
                    };
                    self.column(columns.next().flatten(), out, |w| {
                        let (x, a, b, over) = value(w);
                        let (re, im) = (2.0 * x * x, -b);
                        ((re * a + im * b) * over, (im * a - re * b) * over)
                    });
                    self.column(columns.next().flatten(), out, |w| {
                        let (_, a, b, over) = value(w);
                        (b * b * over, b * a * over)
                    });
                }
            }
        }
        let gain = 1.0 / model.gain;
        self.column(columns.next().flatten(), out, |_| (gain, 0.0));
        self.column(columns.next().flatten(), out, |w| (0.0, -w * DELAY_UNIT_S));
    }

    /// Writes a column of the response times `ratio`, a complex number for each frequency.
    fn column(&self, at: Option<usize>, out: &mut Matrix, ratio: impl Fn(f64) -> (f64, f64)) {
        let Some(at) = at else { return };
        let (real, imaginary) = out.col_mut(at).split_at_mut(self.re.len());
        let places = real.iter_mut().zip(imaginary).zip(&self.w_rad_s);
        for (((real, imaginary), w), (re, im)) in places.zip(self.re.iter().zip(&self.im)) {
            let (a, b) = ratio(*w);
            (*real, *imaginary) = (re * a - im * b, im * a + re * b);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::refine::{pack, unpack};
    use super::*;

    /// Misfits against the model asked line by line, slopes against central differences of it.
    #[test]
    fn misfits_and_slopes_are_those_of_the_model() {
        let pair = |f_hz, damping| Factor::Pair { f_hz, damping };
        let model = RationalModel {
            gain: 1.3,
            delay_s: 3e-3,
            poles: vec![pair(40.0, 0.2), Factor::Real { corner_hz: 90.0 }],
            zeros: vec![Factor::Real { corner_hz: 60.0 }, pair(70.0, 1.4)],
        };
        let asked = Complex64::new(0.4, -0.7);
        let lines: Vec<Line> = [3.0, 33.0, 250.0].map(|f| (f, asked, 0.05)).to_vec();
        let p = pack(&model);
        let columns: Vec<Option<usize>> = (0..p.len()).map(Some).collect();
        let mut on = OnLines::new(&lines);
        let (mut misfits, mut slopes) = (vec![0.0; 6], Matrix::zeros(6, p.len()));
        on.misfits(&model, &mut misfits);
        on.slopes(&model, &columns, &mut slopes);
        for (i, (f, h, u)) in lines.iter().enumerate() {
            let expected = (model.at(*f) - h) / u;
            let found = Complex64::new(misfits[i], misfits[3 + i]);
            assert!((found - expected).norm() < 1e-12, "{f}: {found} {expected}");
            for k in 0..p.len() {
                let at = |step: f64| {
                    let mut q = p.clone();
                    q[k] += step;
                    unpack(&q, &model).at(*f) / u
                };
                let expected = (at(1e-6) - at(-1e-6)) / 2e-6;
                let found = Complex64::new(slopes.col(k)[i], slopes.col(k)[3 + i]);
                assert!((found - expected).norm() < 1e-6, "{f}, {k}: {found} {expected}");
            }
        }
    }
}
