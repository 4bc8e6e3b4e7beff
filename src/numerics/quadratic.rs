//! Constrained least squares, solved by the interior-point method of the `clarabel` crate (Goulart and Chen 2024).

use super::linear::{LinearError, LinearProgram, LinearRow};
use clarabel::algebra::CscMatrix;
use clarabel::solver::{DefaultSettings, DefaultSolver, IPSolver, NonnegativeConeT, SolverStatus, ZeroConeT};

/// Tolerance of the solver on gap and rows; terms are near 1.
const TOLERANCE: f64 = 1e-11;

/// A quantity `Σ a x − target` whose square is to be small.
#[derive(Debug, Clone, PartialEq)]
pub struct Residual {
    /// Variable and coefficient.
    pub terms: Vec<(usize, f64)>,
    /// What Σ a x should come to.
    pub target: f64,
}

impl Residual {
    /// `Σ a x − target`.
    pub fn at(&self, x: &[f64]) -> f64 {
        self.terms.iter().map(|&(j, a)| a * x[j]).sum::<f64>() - self.target
    }
}

impl LinearProgram {
    /// Where Σ residual² is least within the bounds and rows of this program; its costs play no part.
    ///
    /// # Errors
    /// [`LinearError`].
    pub fn least_squares(&self, residuals: &[Residual]) -> Result<Vec<f64>, LinearError> {
        if self.bounds.iter().any(|(low, high)| low > high) {
            return Err(LinearError::Infeasible);
        }
        let count = self.bounds.len();
        let (mut squares, mut linear) = (vec![vec![0.0; count]; count], vec![0.0; count]);
        for Residual { terms, target } in residuals {
            for &(i, a) in terms {
                linear[i] -= a * target;
                terms.iter().filter(|(j, _)| i <= *j).for_each(|&(j, b)| squares[i][j] += a * b);
            }
        }
        let ConeRows { rows, limits, equalities } = self.cone_rows();
        let cones = [ZeroConeT(equalities), NonnegativeConeT(limits.len() - equalities)];
        let settings = DefaultSettings {
            verbose: false,
            tol_gap_abs: TOLERANCE,
            tol_gap_rel: TOLERANCE,
            tol_feas: TOLERANCE,
            ..DefaultSettings::default()
        };
        let (squares, rows) = (CscMatrix::from(&squares), sparse(&rows, count));
        let mut solver = DefaultSolver::new(&squares, &linear, &rows, &limits, &cones, settings)
            .map_err(|e| LinearError::Failed(e.to_string()))?;
        solver.solve();
        match solver.solution.status {
            SolverStatus::Solved | SolverStatus::AlmostSolved => Ok(solver.solution.x),
            SolverStatus::PrimalInfeasible | SolverStatus::AlmostPrimalInfeasible => Err(LinearError::Infeasible),
            other => Err(LinearError::Failed(format!("{other:?}"))),
        }
    }

    fn cone_rows(&self) -> ConeRows {
        let bounds = self.bounds.iter().enumerate();
        let bounds = bounds.map(|(j, &(low, high))| LinearRow { terms: vec![(j, 1.0)], low, high });
        let (equal, between): (Vec<_>, Vec<_>) = self.rows.iter().cloned().chain(bounds).partition(|r| r.low == r.high);
        let (mut rows, mut limits) = (Vec::new(), Vec::new());
        let equalities = equal.len();
        for row in equal {
            rows.push(row.terms);
            limits.push(row.low);
        }
        for LinearRow { terms, low, high } in between {
            if low.is_finite() {
                rows.push(terms.iter().map(|&(j, a)| (j, -a)).collect());
                limits.push(-low);
            }
            if high.is_finite() {
                rows.push(terms);
                limits.push(high);
            }
        }
        ConeRows { rows, limits, equalities }
    }
}

/// All rows and bounds of a program as `Σ a x = limit`, which come first, and `Σ a x ≤ limit`.
struct ConeRows {
    rows: Vec<Vec<(usize, f64)>>,
    limits: Vec<f64>,
    /// How many are equalities.
    equalities: usize,
}

fn sparse(rows: &[Vec<(usize, f64)>], columns: usize) -> CscMatrix<f64> {
    let triples = rows.iter().enumerate().flat_map(|(i, row)| row.iter().map(move |&(j, a)| (i, j, a)));
    let (mut at, mut to, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for (i, j, a) in triples.filter(|t| t.2 != 0.0) {
        at.push(i);
        to.push(j);
        values.push(a);
    }
    CscMatrix::new_from_triplets(rows.len(), columns, at, to, values)
}
