//! Eigenvalues and vectors of a symmetric matrix by Jacobi's rotations (Golub and Van Loan, *Matrix Computations*, 4th ed.,
//! section 8.5).

use ndarray::Array2;

const MOST_SWEEPS: usize = 60;

/// Eigenvalues, unordered, and their vectors as columns. Only the symmetric part of the matrix counts.
pub fn symmetric(matrix: &Array2<f64>) -> (Vec<f64>, Array2<f64>) {
    let n = matrix.nrows();
    let mut a = (matrix + &matrix.t()) * 0.5;
    let mut vectors = Array2::eye(n);
    let scale = a.iter().map(|v| v * v).sum::<f64>();
    for _ in 0..MOST_SWEEPS {
        let off: f64 = (0..n).flat_map(|i| (0..i).map(move |j| (i, j))).map(|at| a[at] * a[at]).sum();
        if off <= 1e-32 * scale {
            break;
        }
        for p in 0..n {
            for q in p + 1..n {
                rotate(&mut a, &mut vectors, p, q);
            }
        }
    }
    ((0..n).map(|i| a[[i, i]]).collect(), vectors)
}

/// Makes the entry at row `p`, column `q` zero.
fn rotate(a: &mut Array2<f64>, vectors: &mut Array2<f64>, p: usize, q: usize) {
    if a[[p, q]] == 0.0 {
        return;
    }
    let tau = (a[[q, q]] - a[[p, p]]) / (2.0 * a[[p, q]]);
    let t = f64::copysign(1.0, tau) / (tau.abs() + (1.0 + tau * tau).sqrt());
    let c = 1.0 / (1.0 + t * t).sqrt();
    let s = t * c;
    for k in 0..a.nrows() {
        let (x, y) = (a[[k, p]], a[[k, q]]);
        (a[[k, p]], a[[k, q]]) = (c * x - s * y, s * x + c * y);
    }
    for k in 0..a.nrows() {
        let (x, y) = (a[[p, k]], a[[q, k]]);
        (a[[p, k]], a[[q, k]]) = (c * x - s * y, s * x + c * y);
        let (x, y) = (vectors[[k, p]], vectors[[k, q]]);
        (vectors[[k, p]], vectors[[k, q]]) = (c * x - s * y, s * x + c * y);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use ndarray::array;

    #[test]
    fn vectors_rebuild_the_matrix() {
        // Eigenvalues 2 − √2, 2, 2 + √2 of the second-difference matrix (Golub and Van Loan, section 4.8.3: 2 − 2 cos kπ/4).
        let a = array![[2.0, -1.0, 0.0], [-1.0, 2.0, -1.0], [0.0, -1.0, 2.0]];
        let (values, vectors) = symmetric(&a);
        let rebuilt = vectors.dot(&Array2::from_diag(&ndarray::Array1::from(values.clone()))).dot(&vectors.t());
        a.iter().zip(&rebuilt).for_each(|(x, y)| assert_relative_eq!(x, y, epsilon = 1e-14));
        let mut sorted = values;
        sorted.sort_by(f64::total_cmp);
        let root = f64::sqrt(2.0);
        for (got, want) in sorted.iter().zip([2.0 - root, 2.0, 2.0 + root]) {
            assert_relative_eq!(*got, want, max_relative = 1e-14);
        }
    }
}
