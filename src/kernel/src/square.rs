//! A square system of linear equations, of a handful of unknowns.

/// The unknowns of a system, each row with its right side at its end, by elimination with the largest pivot of a column; none where a
/// pivot is no larger than `least`.
pub fn solved(mut work: Vec<Vec<f64>>, least: f64) -> Option<Vec<f64>> {
    let n = work.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, b| work[*a][k].abs().total_cmp(&work[*b][k].abs()))?;
        if work[pivot][k].abs() <= least {
            return None;
        }
        work.swap(k, pivot);
        let row = work[k].clone();
        for other in work.iter_mut().skip(k + 1) {
            let factor = other[k] / row[k];
            other.iter_mut().zip(&row).for_each(|(o, r)| *o -= factor * r);
        }
    }
    let mut x = vec![0.0; n];
    for k in (0..n).rev() {
        let known: f64 = work[k][k + 1..n].iter().zip(&x[k + 1..]).map(|(a, b)| a * b).sum();
        x[k] = (work[k][n] - known) / work[k][k];
    }
    Some(x)
}
