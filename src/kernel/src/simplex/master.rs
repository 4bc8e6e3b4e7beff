//! Column generation about `microlp`: a program of many columns and few rows is solved on those columns that count, and the dual
//! prices tell which further ones do.

use super::{BoxProgram, Ended, Optimum, SimplexBasis, dot};
use crate::square::solved;
use microlp::{ComparisonOp, Error, OptimizationDirection, Problem, SolveOptions, SolveOutcome, Variable};

/// Bounds are met within this, absolute: the least that the crate allows.
const FEASIBLE: f64 = 1e-10;
/// Nearer to a bound than this is at it.
const AT_BOUND: f64 = 1e-9;
/// A reduced cost below this share of the largest cost is none.
const REDUCED: f64 = 1e-10;
/// Programs of fewer columns are solved whole.
const WHOLE: usize = 24;
/// Columns taken in at a time, at least.
const AT_A_TIME: usize = 8;
/// Programs after which one is given up.
const MOST_ROUNDS: usize = 200;
/// Largest multiplier of a proof that no point exists; rows that need a far larger one beside another are scaled too badly to tell.
const MOST_MULTIPLIER: f64 = 1e7;

/// The program on its active columns; all others stand at a bound.
pub(super) struct Master<'a> {
    program: &'a BoxProgram,
    active: Vec<usize>,
    is_active: Vec<bool>,
    /// Whether a column that is not active stands at its upper bound.
    at_high: Vec<bool>,
    /// What rows come to with the active columns at their lower bounds.
    rest: Vec<f64>,
}

/// What the crate says of a program.
enum Said {
    At(Vec<f64>),
    Infeasible,
    Unbounded,
    Failed,
}

fn said(problem: &Problem, variables: &[Variable]) -> Said {
    let mut options = SolveOptions::default();
    options.presolve = false;
    options.tolerances.feasibility = FEASIBLE;
    match problem.solve_with(options) {
        Ok(SolveOutcome::Solution(solution)) => Said::At(variables.iter().map(|v| solution.var_value(*v)).collect()),
        Err(Error::Infeasible) => Said::Infeasible,
        Err(Error::Unbounded) => Said::Unbounded,
        _ => Said::Failed,
    }
}

impl<'a> Master<'a> {
    pub fn new(program: &'a BoxProgram, start: Option<&SimplexBasis>) -> Self {
        let columns = program.columns();
        let mut is_active: Vec<bool> = program.low.iter().map(|low| columns <= WHOLE || !low.is_finite()).collect();
        let mut at_high = vec![false; columns];
        if let Some(start) = start {
            start.basic.iter().filter(|j| **j < columns).for_each(|j| is_active[*j] = true);
            start.at_high.iter().filter(|j| **j < columns).for_each(|j| at_high[*j] = program.high[*j].is_finite());
        }
        let active = (0..columns).filter(|j| is_active[*j]).collect();
        let mut master = Self { program, active, is_active, at_high, rest: Vec::new() };
        master.rest = master.resting();
        master
    }

    /// The bound that a column stands at; one that is active and has no lower bound counts from 0.
    fn foot(&self, j: usize) -> f64 {
        let low = if self.program.low[j].is_finite() { self.program.low[j] } else { 0.0 };
        if !self.is_active[j] && self.at_high[j] { self.program.high[j] } else { low }
    }

    fn resting(&self) -> Vec<f64> {
        let mut rest = vec![0.0; self.program.rows()];
        for j in 0..self.program.columns() {
            let at = self.foot(j);
            if at != 0.0 {
                self.program.terms(j).iter().zip(&mut rest).for_each(|(a, r)| *r += a * at);
            }
        }
        rest
    }

    pub fn run(mut self) -> Ended {
        for _ in 0..MOST_ROUNDS {
            match self.primal() {
                Said::At(x) => {
                    let Some(duals) = self.duals(&x) else { return Ended::Failed };
                    if !self.takes_in(&duals, &self.program.cost) {
                        return self.optimal(&x, duals);
                    }
                }
                Said::Infeasible => {
                    let Said::At(duals) = self.multipliers(None) else { return Ended::Failed };
                    if !self.takes_in(&duals, &vec![0.0; self.program.columns()]) {
                        return if self.program.is_proof(&duals) { Ended::Infeasible(duals) } else { Ended::Failed };
                    }
                }
                Said::Unbounded => return Ended::Unbounded,
                Said::Failed => return Ended::Failed,
            }
        }
        Ended::Failed
    }

    /// The bounds of a row less what it comes to without the active columns.
    fn ends(&self, row: usize) -> (f64, f64) {
        (self.program.row_low[row] - self.rest[row], self.program.row_high[row] - self.rest[row])
    }

    /// The active columns of least cost, counted from where they stand.
    fn primal(&self) -> Said {
        let program = self.program;
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let add = |&j: &usize| {
            problem.add_var(program.cost[j], (program.low[j] - self.foot(j), program.high[j] - self.foot(j)))
        };
        let variables: Vec<Variable> = self.active.iter().map(add).collect();
        for i in 0..program.rows() {
            let terms = variables.iter().zip(&self.active).map(|(v, &j)| (*v, program.terms(j)[i]));
            let mut terms: Vec<(Variable, f64)> = terms.filter(|t| t.1 != 0.0).collect();
            let (low, high) = self.ends(i);
            match (low.is_finite(), high.is_finite()) {
                (true, true) if low < high => {
                    terms.push((problem.add_var(0.0, (low, high)), -1.0));
                    problem.add_constraint(terms, ComparisonOp::Eq, 0.0);
                }
                (true, true) => problem.add_constraint(terms, ComparisonOp::Eq, low),
                (true, false) => problem.add_constraint(terms, ComparisonOp::Ge, low),
                (false, true) => problem.add_constraint(terms, ComparisonOp::Le, high),
                (false, false) => {}
            }
        }
        said(&problem, &variables)
    }

    /// Dual prices of the rows: none where there is no cost, from the vertex where it has one basis, else from the dual program.
    fn duals(&self, x: &[f64]) -> Option<Vec<f64>> {
        if self.program.cost.iter().all(|c| *c == 0.0) {
            return Some(vec![0.0; self.program.rows()]);
        }
        if let Some(duals) = self.duals_of_vertex(x) {
            return Some(duals);
        }
        match self.multipliers(Some(&self.program.cost)) {
            Said::At(duals) => Some(duals),
            _ => None,
        }
    }

    /// The dual program: the best bound from multipliers of the rows; without a cost, a proof that no point exists.
    fn multipliers(&self, cost: Option<&[f64]>) -> Said {
        let program = self.program;
        let most = if cost.is_some() { f64::INFINITY } else { MOST_MULTIPLIER };
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let (mut variables, mut rows) = (Vec::new(), Vec::new());
        for i in 0..program.rows() {
            let (low, high) = self.ends(i);
            for (end, sign) in [(low, 1.0), (high, -1.0)].into_iter().filter(|e| e.0.is_finite()) {
                variables.push(problem.add_var(-sign * end, (0.0, most)));
                rows.push((i, sign));
            }
        }
        for &j in &self.active {
            let terms = variables.iter().zip(&rows).map(|(v, &(i, sign))| (*v, sign * program.terms(j)[i]));
            let mut terms: Vec<(Variable, f64)> = terms.filter(|t| t.1 != 0.0).collect();
            let (below, above) = (program.low[j] - self.foot(j), program.high[j] - self.foot(j));
            if above.is_finite() {
                terms.push((problem.add_var(above, (0.0, f64::INFINITY)), -1.0));
            }
            let is_free = !below.is_finite();
            let order = if is_free { ComparisonOp::Eq } else { ComparisonOp::Le };
            problem.add_constraint(terms, order, cost.map_or(0.0, |c| c[j]));
        }
        match said(&problem, &variables) {
            Said::At(found) => {
                let mut duals = vec![0.0; program.rows()];
                rows.iter().zip(found).for_each(|(&(i, sign), y)| duals[i] += sign * y);
                Said::At(duals)
            }
            other => other,
        }
    }

    /// What the rows come to.
    fn sums(&self, x: &[f64]) -> Vec<f64> {
        let mut sums = self.rest.clone();
        for (&j, x) in self.active.iter().zip(x) {
            self.program.terms(j).iter().zip(&mut sums).for_each(|(a, s)| *s += a * x);
        }
        sums
    }

    /// Columns between their bounds, and rows at one: as many of these as of those at a vertex with one basis, and their prices
    /// solve aᵀ y = cost.
    fn duals_of_vertex(&self, x: &[f64]) -> Option<Vec<f64>> {
        let program = self.program;
        let inside = |(j, x): (&usize, &f64)| self.is_inside(*j, self.foot(*j) + x).then_some(*j);
        let inside: Vec<usize> = self.active.iter().zip(x).filter_map(inside).collect();
        let sums = self.sums(x);
        let holds = |i: &usize| sums[*i] < program.row_low[*i] + AT_BOUND || sums[*i] > program.row_high[*i] - AT_BOUND;
        let tight: Vec<usize> = (0..program.rows()).filter(holds).collect();
        if inside.len() != tight.len() {
            return None;
        }
        let row = |j: &usize| tight.iter().map(|&i| program.terms(*j)[i]).chain([program.cost[*j]]).collect();
        let prices = solved(inside.iter().map(row).collect(), AT_BOUND)?;
        let mut duals = vec![0.0; program.rows()];
        tight.iter().zip(prices).for_each(|(&i, y)| duals[i] = y);
        Some(duals)
    }

    fn is_inside(&self, j: usize, x: f64) -> bool {
        x > self.program.low[j] + AT_BOUND && x < self.program.high[j] - AT_BOUND
    }

    /// Makes the columns active that these prices favour most; false when they favour none.
    fn takes_in(&mut self, duals: &[f64], cost: &[f64]) -> bool {
        let program = self.program;
        let largest = cost.iter().fold(0.0_f64, |s, c| s.max(c.abs()));
        let tolerance = REDUCED * if largest > 0.0 { largest } else { 1.0 };
        let gain = |j: usize| {
            let reduced = cost[j] - dot(duals, program.terms(j));
            let gain = if self.at_high[j] { reduced } else { -reduced };
            (gain > tolerance).then_some((gain, j))
        };
        let can_move = |j: &usize| !self.is_active[*j] && program.low[*j] < program.high[*j];
        let mut gains: Vec<(f64, usize)> = (0..program.columns()).filter(can_move).filter_map(gain).collect();
        gains.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        gains.truncate(program.rows().max(AT_A_TIME));
        for &(_, j) in &gains {
            self.is_active[j] = true;
            self.active.push(j);
        }
        self.rest = self.resting();
        !gains.is_empty()
    }

    fn optimal(&self, x: &[f64], duals: Vec<f64>) -> Ended {
        let program = self.program;
        let mut all: Vec<f64> = (0..program.columns()).map(|j| self.foot(j)).collect();
        for (&j, x) in self.active.iter().zip(x) {
            all[j] = (all[j] + x).clamp(program.low[j], program.high[j]);
        }
        let basic = (0..program.columns()).filter(|j| self.is_inside(*j, all[*j])).collect();
        let is_high = |j: &usize| program.low[*j] < program.high[*j] && all[*j] >= program.high[*j] - AT_BOUND;
        let at_high = (0..program.columns()).filter(is_high).collect();
        let (cost, bound) = (dot(&all, &program.cost), program.bound_from(&duals));
        Ended::Optimal(Optimum { x: all, cost, bound, duals, basis: SimplexBasis { basic, at_high } })
    }
}
