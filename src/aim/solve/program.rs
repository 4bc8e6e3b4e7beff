//! The linear program of one powder set.

use crate::aim::statement::problem::{Candidate, Objective, Problem};
use crate::aim::statement::rows::{FIRST_MARGIN, LimitRow};
use crate::aim::statement::target::Target;
use crate::numerics::linear::{LinearError, LinearProgram, Minimum};
use gritwise_kernel::nearest::{Reached, nearest};
use gritwise_kernel::simplex::SimplexBasis;

impl Problem<'_> {
    /// Least and largest share of a candidate, % of the scrub.
    pub fn bounds(&self, member: usize, used: bool) -> (f64, f64) {
        let c = &self.candidates[member];
        (if used { c.min_pct } else { 0.0 }, c.max_pct.min(100.0))
    }

    /// The best shares of a powder set under these rows, between these bounds, in % of the scrub.
    pub fn minimise_within(
        &self,
        members: &[usize],
        bounds: &[(f64, f64)],
        rows: &[LimitRow],
    ) -> Result<Shares, LinearError> {
        match self.objective {
            Objective::Curve(_) => self.minimise_deviation(members, bounds, rows),
            _ => self.minimise_linear(members, bounds, rows),
        }
    }

    /// The shares within these bounds that violate the rows least.
    pub fn least_violation(&self, bounds: &[(f64, f64)], rows: &[LimitRow]) -> Result<Vec<f64>, LinearError> {
        let mut program = self.program(bounds, &[], |_| 0.0);
        for row in rows {
            add_elastic_row(&mut program, row);
        }
        Ok(program.minimise()?.at[..bounds.len()].to_vec())
    }

    fn minimise_linear(
        &self,
        members: &[usize],
        bounds: &[(f64, f64)],
        rows: &[LimitRow],
    ) -> Result<Shares, LinearError> {
        let is_cost = self.objective == Objective::Cost;
        let price = |j: usize| if is_cost { self.candidates[members[j]].cost } else { 0.0 };
        let mut program = self.program(bounds, rows, price);
        let mut constant = 0.0;
        if self.objective == Objective::Change {
            let (start, elsewhere) = &self.start;
            let kept: f64 = members.iter().map(|&m| start[m]).sum();
            constant = elsewhere + start.iter().sum::<f64>() - kept;
            for (j, &m) in members.iter().enumerate() {
                let (up, down) = (program.variable(1.0, 0.0, 100.0), program.variable(1.0, 0.0, 100.0));
                program.row(vec![(j, 1.0), (up, -1.0), (down, 1.0)], start[m], start[m]);
            }
        }
        let Minimum { cost, at } = program.minimise()?;
        Ok(Shares { pct: at[..members.len()].to_vec(), objective: cost + constant })
    }

    pub fn is_elastic(&self, target: Target) -> bool {
        self.elastic.contains(&target)
    }

    /// Least squared deviation from a curve.
    fn minimise_deviation(
        &self,
        members: &[usize],
        bounds: &[(f64, f64)],
        rows: &[LimitRow],
    ) -> Result<Shares, LinearError> {
        let mut program = self.program(bounds, rows, |_| 0.0).boxed();
        let offsets: Vec<&[f64]> = members.iter().map(|&m| self.curve_offsets[m].as_slice()).collect();
        match nearest(&mut program, &offsets, self.load_pct[0], f64::INFINITY, &SimplexBasis::default()) {
            Reached::Nearest(found) => Ok(Shares { objective: found.norm * self.points_of_norm(), pct: found.x }),
            Reached::Infeasible(_) => Err(LinearError::Infeasible),
            Reached::Failed => Err(LinearError::Failed("the nearest curve was not found".to_owned())),
        }
    }

    /// A program of shares between bounds, of the load and of rows.
    fn program(&self, bounds: &[(f64, f64)], rows: &[LimitRow], cost: impl Fn(usize) -> f64) -> LinearProgram {
        let mut program = LinearProgram::new();
        for (j, &(low, high)) in bounds.iter().enumerate() {
            program.variable(cost(j), low, high);
        }
        program.row((0..bounds.len()).map(|j| (j, 1.0)).collect(), self.load_pct[0], self.load_pct[1]);
        for row in rows {
            program.row(terms(row), row.low, row.high);
        }
        program
    }
}

/// Shares in % of the scrub, one per member, and what they are worth.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::aim) struct Shares {
    pub pct: Vec<f64>,
    pub objective: f64,
}

/// A linear program over shares of the scrub: minimise Σ cost c under `low ≤ Σ a c ≤ high`, for any set of its powders.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SharedProgram {
    /// Cost of 1 % of each powder in a kilogram of scrub.
    pub cost: Vec<f64>,
    /// Least share of each powder when it is used, % w/w of the scrub.
    pub least_pct: Vec<f64>,
    /// Largest share of each powder, % w/w of the scrub.
    pub most_pct: Vec<f64>,
    /// Least and largest sum of all shares, % w/w of the scrub.
    pub load_pct: [f64; 2],
    /// Coefficients of each row, scaled to terms near 1.
    pub rows: Vec<Vec<f64>>,
    /// Lower bound of each row; none where it is open.
    pub low: Vec<Option<f64>>,
    /// Upper bound of each row; none where it is open.
    pub high: Vec<Option<f64>>,
}

impl Problem<'_> {
    /// The program of a variant with the rub kept shared.
    pub fn shared_program(&self, variant: usize) -> SharedProgram {
        let all: Vec<usize> = (0..self.candidates.len()).collect();
        let gaps = self.least_gaps();
        let rows = self.rows(&self.variants[variant], &all, &gaps, FIRST_MARGIN);
        let mut rows: Vec<LimitRow> = rows.into_iter().map(|row| self.scaled(&all, row)).collect();
        rows.extend(self.shared_rows(&self.variants[variant], &all));
        let each = |of: fn(&Candidate) -> f64| self.candidates.iter().map(of).collect::<Vec<f64>>();
        let closed = |bound: f64| bound.is_finite().then_some(bound);
        SharedProgram {
            cost: each(|c| c.cost),
            least_pct: each(|c| c.min_pct),
            most_pct: each(|c| c.max_pct),
            load_pct: self.load_pct,
            low: rows.iter().map(|r| closed(r.low)).collect(),
            high: rows.iter().map(|r| closed(r.high)).collect(),
            rows: rows.into_iter().map(|r| r.coefficients).collect(),
        }
    }
}

/// A row that may be missed at the price of one per unit.
fn add_elastic_row(program: &mut LinearProgram, row: &LimitRow) {
    let mut terms = terms(row);
    if row.high.is_finite() {
        terms.push((program.variable(1.0, 0.0, f64::INFINITY), -1.0));
    }
    if row.low.is_finite() {
        terms.push((program.variable(1.0, 0.0, f64::INFINITY), 1.0));
    }
    program.row(terms, row.low, row.high);
}

fn terms(row: &LimitRow) -> Vec<(usize, f64)> {
    row.coefficients.iter().copied().enumerate().collect()
}
