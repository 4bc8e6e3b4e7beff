//! Linear programs, built row by row; [`gritwise_kernel::simplex`] solves them.

use gritwise_kernel::simplex::{BoxProgram, Ended, Optimum};

/// A linear program: minimise a sum of costs over variables between bounds, under rows `low ≤ Σ a x ≤ high`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LinearProgram {
    costs: Vec<f64>,
    bounds: Vec<(f64, f64)>,
    rows: Vec<LinearRow>,
}

#[derive(Debug, Clone, PartialEq)]
struct LinearRow {
    /// Variable and coefficient.
    terms: Vec<(usize, f64)>,
    low: f64,
    high: f64,
}

/// Why a linear program has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LinearError {
    /// No point meets all rows and bounds.
    #[error("no point meets all rows")]
    Infeasible,
    /// The solver gave up, or the cost has no least value.
    #[error("the linear solver failed: {0}")]
    Failed(String),
}

/// The least cost and where it is taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// Σ cost · x.
    pub cost: f64,
    /// The variables, in the order they were added.
    pub at: Vec<f64>,
}

impl LinearProgram {
    /// An empty program.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a variable and returns its number.
    pub fn variable(&mut self, cost: f64, low: f64, high: f64) -> usize {
        self.costs.push(cost);
        self.bounds.push((low, high));
        self.costs.len() - 1
    }

    /// Adds a row `low ≤ Σ a x ≤ high`; either bound may be infinite. Scale rows so that their terms are near 1: bounds are
    /// met within an absolute 1e-10.
    pub fn row(&mut self, terms: Vec<(usize, f64)>, low: f64, high: f64) {
        self.rows.push(LinearRow { terms, low, high });
    }

    /// The least cost.
    ///
    /// # Errors
    /// [`LinearError`].
    pub fn minimise(&self) -> Result<Minimum, LinearError> {
        match self.boxed().minimise(None) {
            Ended::Optimal(Optimum { cost, x, .. }) => Ok(Minimum { cost, at: x }),
            Ended::Infeasible(_) => Err(LinearError::Infeasible),
            Ended::Unbounded => Err(LinearError::Failed("the cost has no least value".to_owned())),
            Ended::Failed => Err(LinearError::Failed("too many steps, or rows scaled badly".to_owned())),
        }
    }

    /// As columns, the way the solver takes it.
    pub fn boxed(&self) -> BoxProgram {
        let (rows, columns) = (self.rows.len(), self.costs.len());
        let mut matrix = vec![0.0; rows * columns];
        for (i, row) in self.rows.iter().enumerate() {
            row.terms.iter().for_each(|&(j, a)| matrix[j * rows + i] += a);
        }
        let (low, high) = self.bounds.iter().copied().unzip();
        let (row_low, row_high) = self.rows.iter().map(|r| (r.low, r.high)).unzip();
        BoxProgram { matrix, cost: self.costs.clone(), low, high, row_low, row_high }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_textbook_program() {
        // Dantzig's school example: max 3x + 5y under x ≤ 4, 2y ≤ 12, 3x + 2y ≤ 18 has its optimum 36 at (2, 6).
        let mut program = LinearProgram::new();
        let x = program.variable(-3.0, 0.0, 4.0);
        let y = program.variable(-5.0, 0.0, f64::INFINITY);
        program.row(vec![(y, 2.0)], f64::NEG_INFINITY, 12.0);
        program.row(vec![(x, 3.0), (y, 2.0)], f64::NEG_INFINITY, 18.0);
        let minimum = program.minimise().unwrap();
        assert_abs_diff_eq!(minimum.cost, -36.0, epsilon = 1e-9);
        assert_abs_diff_eq!(minimum.at[x], 2.0, epsilon = 1e-9);
        assert_abs_diff_eq!(minimum.at[y], 6.0, epsilon = 1e-9);
    }

    #[test]
    fn no_point_and_no_end_are_told_apart() {
        let mut program = LinearProgram::new();
        let x = program.variable(-1.0, 0.0, f64::INFINITY);
        assert!(matches!(program.minimise(), Err(LinearError::Failed(_))));
        program.row(vec![(x, 1.0)], f64::NEG_INFINITY, -1.0);
        assert_eq!(program.minimise(), Err(LinearError::Infeasible));
    }
}
