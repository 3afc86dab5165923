//! Small symmetric matrices, row by row in a list of lists.

pub(crate) type Matrix = Vec<Vec<f64>>;

/// The unit matrix.
pub(crate) fn unit(n: usize) -> Matrix {
    (0..n)
        .map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect())
        .collect()
}

/// `a` times `b`.
pub(crate) fn product(a: &Matrix, b: &Matrix) -> Matrix {
    let columns = b.first().map_or(0, Vec::len);
    a.iter()
        .map(|row| {
            (0..columns)
                .map(|j| row.iter().zip(b).map(|(x, b)| x * b[j]).sum())
                .collect()
        })
        .collect()
}

/// Eigenvectors of a symmetric matrix as columns, by rotations of Jacobi (Golub and Van Loan, Matrix Computations, 8.5).
pub(crate) fn eigenvectors(symmetric: &Matrix) -> Matrix {
    let n = symmetric.len();
    let (mut a, mut vectors) = (symmetric.clone(), unit(n));
    // Converges quadratically; a handful of sweeps is enough.
    for _ in 0..60 {
        let off: f64 = (0..n)
            .flat_map(|i| (0..i).map(move |j| (i, j)))
            .map(|(i, j)| a[i][j].abs())
            .sum();
        let scale: f64 = (0..n).map(|i| a[i][i].abs()).sum();
        if off <= 1e-15 * scale {
            break;
        }
        for p in 0..n {
            for q in p + 1..n {
                rotate(&mut a, &mut vectors, p, q);
            }
        }
    }
    vectors
}

fn rotate(a: &mut Matrix, vectors: &mut Matrix, p: usize, q: usize) {
    if a[p][q].abs() <= f64::MIN_POSITIVE {
        return;
    }
    let tau = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
    let t = tau.signum() / (tau.abs() + tau.hypot(1.0));
    let c = 1.0 / t.hypot(1.0);
    let s = t * c;
    for row in a.iter_mut() {
        let (x, y) = (row[p], row[q]);
        (row[p], row[q]) = (c * x - s * y, s * x + c * y);
    }
    let (above, below) = a.split_at_mut(q);
    for (x, y) in above[p].iter_mut().zip(&mut below[0]) {
        (*x, *y) = (c * *x - s * *y, s * *x + c * *y);
    }
    for row in vectors.iter_mut() {
        let (x, y) = (row[p], row[q]);
        (row[p], row[q]) = (c * x - s * y, s * x + c * y);
    }
}

/// Inverse of a positive definite matrix by Cholesky; `None` if it is not.
pub(crate) fn inverse(a: &Matrix) -> Option<Matrix> {
    let n = a.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = a[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            if i == j {
                // A pivot lost to rounding is a column that the others determine.
                if sum.partial_cmp(&(1e-12 * a[i][i])) != Some(std::cmp::Ordering::Greater) {
                    return None;
                }
                l[i][i] = sum.sqrt();
            } else {
                l[i][j] = sum / l[j][j];
            }
        }
    }
    let solve = |e: usize| {
        let mut x = vec![0.0; n];
        for i in 0..n {
            let b = if i == e { 1.0 } else { 0.0 };
            x[i] = (b - (0..i).map(|k| l[i][k] * x[k]).sum::<f64>()) / l[i][i];
        }
        for i in (0..n).rev() {
            x[i] = (x[i] - (i + 1..n).map(|k| l[k][i] * x[k]).sum::<f64>()) / l[i][i];
        }
        x
    };
    // Symmetric: columns are rows.
    Some((0..n).map(solve).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: &Matrix, b: &Matrix) {
        for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
            assert!((a - b).abs() < 1e-12, "{a} {b}");
        }
    }

    #[test]
    fn inverse_and_eigenvectors() {
        let a = vec![vec![4.0, 1.0, -0.5], vec![1.0, 3.0, 0.25], vec![-0.5, 0.25, 2.0]];
        near(&product(&a, &inverse(&a).unwrap()), &unit(3));
        let v = eigenvectors(&a);
        let transposed: Matrix = (0..3).map(|j| v.iter().map(|row| row[j]).collect()).collect();
        near(&product(&transposed, &v), &unit(3));
        let diagonal = product(&transposed, &product(&a, &v));
        for (i, row) in diagonal.iter().enumerate() {
            for (j, x) in row.iter().enumerate() {
                assert!(i == j || x.abs() < 1e-12);
            }
        }
        assert!(inverse(&vec![vec![1.0, 1.0], vec![1.0, 1.0]]).is_none());
    }
}
