//! Small dense linear algebra: just what the fits need.
//!
//! Householder QR of a column-major matrix. The fits have at most a dozen parameters, and normal equations would
//! square condition numbers that reach 1e8 for sums of exponentials.

/// Column-major matrix.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix {
    rows: usize,
    cols: usize,
    data: Vec<f64>,
}

impl Matrix {
    /// A matrix of zeros.
    pub fn zeros(rows: usize, cols: usize) -> Self {
        Self {
            rows,
            cols,
            data: vec![0.0; rows * cols],
        }
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Number of columns.
    pub fn cols(&self) -> usize {
        self.cols
    }

    /// Column `j`.
    pub fn col(&self, j: usize) -> &[f64] {
        &self.data[j * self.rows..(j + 1) * self.rows]
    }

    /// Column `j`, to be written.
    pub fn col_mut(&mut self, j: usize) -> &mut [f64] {
        &mut self.data[j * self.rows..(j + 1) * self.rows]
    }
}

/// QR factors: the upper triangle `r` (column-major, n × n) and the first n entries of `Q' b`.
pub(crate) struct Qr {
    pub(crate) r: Matrix,
    pub(crate) qtb: Vec<f64>,
}

/// Factors `a` (rows ≥ columns) and applies the reflections to `b`.
pub(crate) fn qr(mut a: Matrix, mut b: Vec<f64>) -> Qr {
    let (m, n) = (a.rows, a.cols);
    let mut v = vec![0.0; m];
    for k in 0..n.min(m) {
        v[k..].copy_from_slice(&a.col(k)[k..]);
        let norm = norm(&v[k..]);
        if norm > 0.0 {
            let alpha = if v[k] > 0.0 { -norm } else { norm };
            v[k] -= alpha;
            let vv = dot(&v[k..], &v[k..]);
            if vv > 0.0 {
                for j in k..n {
                    reflect(&v[k..], vv, &mut a.col_mut(j)[k..]);
                }
                reflect(&v[k..], vv, &mut b[k..]);
            }
            // The reflection leaves rounding residue below the diagonal; the value on it is known exactly.
            a.col_mut(k)[k] = alpha;
        }
    }
    let mut r = Matrix::zeros(n, n);
    for j in 0..n {
        for i in 0..=j.min(m - 1) {
            r.col_mut(j)[i] = a.col(j)[i];
        }
    }
    b.truncate(n);
    Qr { r, qtb: b }
}

fn reflect(v: &[f64], vv: f64, x: &mut [f64]) {
    let f = 2.0 * dot(v, x) / vv;
    for (x, v) in x.iter_mut().zip(v) {
        *x -= f * v;
    }
}

/// Sums side by side: one sum after the other would wait for each addition, and several lose less to rounding.
const LANES: usize = 8;

/// Scaled against overflow only as far as the fits need: plain sums.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; LANES];
    let (a_whole, b_whole) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f64 = a_whole
        .remainder()
        .iter()
        .zip(b_whole.remainder())
        .map(|(a, b)| a * b)
        .sum();
    for (a, b) in a_whole.zip(b_whole) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    sums.iter().sum::<f64>() + rest
}

/// Euclidean length.
pub(crate) fn norm(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

/// Solves `r x = b` for an upper triangle; `None` when a diagonal entry is negligible beside its column.
pub(crate) fn back_substitute(r: &Matrix, b: &[f64]) -> Option<Vec<f64>> {
    let n = r.cols;
    let mut x = vec![0.0; n];
    for i in (0..n).rev() {
        let d = r.col(i)[i];
        if !d.is_finite() || d.abs() <= 1e-15 * norm(r.col(i)) || d.abs() <= f64::MIN_POSITIVE {
            return None;
        }
        let sum: f64 = (i + 1..n).map(|j| r.col(j)[i] * x[j]).sum();
        x[i] = (b[i] - sum) / d;
    }
    x.iter().all(|v| v.is_finite()).then_some(x)
}

/// `(R' R)^-1`, column-major; `None` when singular.
pub(crate) fn inverse_gram(r: &Matrix) -> Option<Matrix> {
    let n = r.cols;
    let mut inverse = Matrix::zeros(n, n);
    for j in 0..n {
        let mut unit = vec![0.0; n];
        unit[j] = 1.0;
        let column = back_substitute(r, &unit)?;
        inverse.col_mut(j).copy_from_slice(&column);
    }
    let mut gram = Matrix::zeros(n, n);
    for i in 0..n {
        for j in 0..n {
            gram.col_mut(j)[i] = (0..n).map(|k| inverse.col(k)[i] * inverse.col(k)[j]).sum();
        }
    }
    Some(gram)
}
