//! The steps of the simplex method: the basis, its inverse, and what enters and leaves.

use super::{Basis, BoxProgram, Ended, FEASIBLE, Optimum, dot};

/// A reduced cost below this share of the largest cost is none.
const REDUCED: f64 = 1e-10;
/// The least pivot.
const PIVOT: f64 = 1e-9;
/// Steps without progress after which the first column that may enter is taken (Bland's rule): no cycle can follow.
const STALLED: usize = 40;
/// Steps after which the inverse is made anew.
const REFRESH: usize = 30;

/// Where a variable stands.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Standing {
    Basic,
    Low,
    High,
    /// Between infinite bounds, at 0.
    Free,
}

/// The state of the method: variables are the columns, then one slack per row, whose column is −1 in its row.
pub(super) struct Tableau<'a> {
    program: &'a BoxProgram,
    rows: usize,
    columns: usize,
    basic: Vec<usize>,
    standing: Vec<Standing>,
    /// Row after row.
    inverse: Vec<f64>,
    /// Values of the basic variables.
    values: Vec<f64>,
    since_fresh: usize,
    cost_size: f64,
}

/// What a ratio test says.
enum Step {
    /// The basic variable of this row leaves at its upper (true) or lower bound.
    Leaves(usize, bool, f64),
    /// The entering variable reaches its other bound first.
    Flips(f64),
    Endless,
}

impl<'a> Tableau<'a> {
    pub fn new(program: &'a BoxProgram, start: Option<&Basis>) -> Self {
        let (rows, columns) = (program.rows(), program.columns());
        let mut tableau = Self {
            program,
            rows,
            columns,
            basic: (columns..columns + rows).collect(),
            standing: Vec::new(),
            inverse: vec![0.0; rows * rows],
            values: vec![0.0; rows],
            since_fresh: 0,
            cost_size: program.cost.iter().fold(0.0_f64, |s, c| s.max(c.abs())).max(f64::MIN_POSITIVE),
        };
        let usable = start.filter(|s| s.basic.len() == rows && s.basic.iter().all(|v| *v < columns + rows));
        if let Some(start) = usable {
            tableau.basic.clone_from(&start.basic);
        }
        tableau.stand(usable.map_or(&[], |s| &s.at_high));
        if !tableau.refresh() {
            tableau.basic = (columns..columns + rows).collect();
            tableau.stand(&[]);
            tableau.refresh();
        }
        tableau
    }

    fn stand(&mut self, at_high: &[usize]) {
        let place = |v: usize| {
            let (low, high) = self.bounds(v);
            match (low.is_finite(), high.is_finite()) {
                (true, _) => Standing::Low,
                (false, true) => Standing::High,
                (false, false) => Standing::Free,
            }
        };
        self.standing = (0..self.columns + self.rows).map(place).collect();
        for &v in at_high {
            if v < self.standing.len() && self.bounds(v).1.is_finite() {
                self.standing[v] = Standing::High;
            }
        }
        for &v in &self.basic {
            self.standing[v] = Standing::Basic;
        }
    }

    fn bounds(&self, v: usize) -> (f64, f64) {
        match v.checked_sub(self.columns) {
            None => (self.program.low[v], self.program.high[v]),
            Some(row) => (self.program.row_low[row], self.program.row_high[row]),
        }
    }

    fn value_of(&self, v: usize) -> f64 {
        let (low, high) = self.bounds(v);
        match self.standing[v] {
            Standing::Low => low,
            Standing::High => high,
            Standing::Free | Standing::Basic => 0.0,
        }
    }

    /// The inverse of the basis made anew, by elimination, and the values with it; false when the basis is singular.
    fn refresh(&mut self) -> bool {
        let m = self.rows;
        let mut work = vec![0.0; m * m];
        for (k, &v) in self.basic.iter().enumerate() {
            match v.checked_sub(self.columns) {
                None => self.program.terms(v).iter().enumerate().for_each(|(i, a)| work[i * m + k] = *a),
                Some(row) => work[row * m + k] = -1.0,
            }
        }
        let mut inverse = vec![0.0; m * m];
        (0..m).for_each(|i| inverse[i * m + i] = 1.0);
        for k in 0..m {
            let pivot = (k..m).max_by(|a, b| work[a * m + k].abs().total_cmp(&work[b * m + k].abs())).unwrap_or(k);
            if work[pivot * m + k].abs() < PIVOT {
                return false;
            }
            if pivot != k {
                (0..m).for_each(|j| {
                    work.swap(pivot * m + j, k * m + j);
                    inverse.swap(pivot * m + j, k * m + j);
                });
            }
            let by = 1.0 / work[k * m + k];
            (0..m).for_each(|j| {
                work[k * m + j] *= by;
                inverse[k * m + j] *= by;
            });
            for i in (0..m).filter(|i| *i != k) {
                let factor = work[i * m + k];
                if factor != 0.0 {
                    for j in 0..m {
                        work[i * m + j] -= factor * work[k * m + j];
                        inverse[i * m + j] -= factor * inverse[k * m + j];
                    }
                }
            }
        }
        self.inverse = inverse;
        self.since_fresh = 0;
        self.revalue();
        true
    }

    /// Values of the basic variables from those of all others.
    fn revalue(&mut self) {
        let m = self.rows;
        let mut right = vec![0.0; m];
        for v in 0..self.columns + m {
            let value = if self.standing[v] == Standing::Basic { 0.0 } else { self.value_of(v) };
            if value != 0.0 {
                match v.checked_sub(self.columns) {
                    None => self.program.terms(v).iter().zip(&mut right).for_each(|(a, r)| *r -= a * value),
                    Some(row) => right[row] += value,
                }
            }
        }
        self.values = (0..m).map(|i| dot(&self.inverse[i * m..(i + 1) * m], &right)).collect();
    }

    pub fn run(mut self) -> Ended {
        let most = 200 + 20 * (self.rows + self.columns);
        let (mut stalled, mut checked) = (0, false);
        for _ in 0..most {
            let (phase1, costs) = self.basic_costs();
            let duals = self.duals(&costs);
            let Some((entering, rises)) = self.entering(&duals, phase1, stalled > STALLED) else {
                // What looks like the end is looked at again with a fresh inverse.
                if !checked && self.since_fresh > 0 {
                    checked = true;
                    if !self.refresh() {
                        return Ended::Failed;
                    }
                    continue;
                }
                return self.end(phase1, duals);
            };
            checked = false;
            let change = self.change_of(entering, rises);
            let length = match self.step(entering, &change, phase1) {
                Step::Endless if phase1 => return Ended::Failed,
                Step::Endless => return Ended::Unbounded,
                Step::Flips(length) => {
                    self.standing[entering] = if rises { Standing::High } else { Standing::Low };
                    self.values.iter_mut().zip(&change).for_each(|(v, c)| *v += c * length);
                    length
                }
                Step::Leaves(row, at_high, length) => {
                    let from = self.value_of(entering);
                    self.values.iter_mut().zip(&change).for_each(|(v, c)| *v += c * length);
                    self.values[row] = from + if rises { length } else { -length };
                    self.exchange(row, entering, at_high, &change, rises);
                    length
                }
            };
            stalled = if length > FEASIBLE { 0 } else { stalled + 1 };
            if self.since_fresh >= REFRESH && !self.refresh() {
                return Ended::Failed;
            }
        }
        Ended::Failed
    }

    /// Costs of the basic variables: their violations' while there are any, else their own.
    fn basic_costs(&self) -> (bool, Vec<f64>) {
        let side = |(v, value): (&usize, &f64)| {
            let (low, high) = self.bounds(*v);
            if *value < low - FEASIBLE {
                -1.0
            } else if *value > high + FEASIBLE {
                1.0
            } else {
                0.0
            }
        };
        let violated: Vec<f64> = self.basic.iter().zip(&self.values).map(side).collect();
        if violated.iter().any(|c| *c != 0.0) {
            return (true, violated);
        }
        (false, self.basic.iter().map(|&v| if v < self.columns { self.program.cost[v] } else { 0.0 }).collect())
    }

    fn duals(&self, costs: &[f64]) -> Vec<f64> {
        let m = self.rows;
        let mut duals = vec![0.0; m];
        for (i, cost) in costs.iter().enumerate().filter(|(_, c)| **c != 0.0) {
            duals.iter_mut().zip(&self.inverse[i * m..(i + 1) * m]).for_each(|(y, b)| *y += cost * b);
        }
        duals
    }

    /// A variable that makes the cost less, and whether by rising.
    fn entering(&self, duals: &[f64], phase1: bool, first: bool) -> Option<(usize, bool)> {
        let tolerance = if phase1 { REDUCED } else { REDUCED * self.cost_size };
        let mut best: Option<(usize, bool)> = None;
        let mut most = tolerance;
        for v in 0..self.columns + self.rows {
            let standing = self.standing[v];
            if standing == Standing::Basic {
                continue;
            }
            let reduced = match v.checked_sub(self.columns) {
                None => (if phase1 { 0.0 } else { self.program.cost[v] }) - dot(duals, self.program.terms(v)),
                Some(row) => duals[row],
            };
            let gain = match standing {
                Standing::Low => -reduced,
                Standing::High => reduced,
                _ => reduced.abs(),
            };
            if gain > most {
                let (low, high) = self.bounds(v);
                if low < high {
                    best =
                        Some((v, if standing == Standing::Free { reduced < 0.0 } else { standing == Standing::Low }));
                    if first {
                        return best;
                    }
                    most = gain;
                }
            }
        }
        best
    }

    /// How the basic variables change per unit of the entering one's step.
    fn change_of(&self, entering: usize, rises: bool) -> Vec<f64> {
        let m = self.rows;
        let sign = if rises { -1.0 } else { 1.0 };
        match entering.checked_sub(self.columns) {
            None => {
                let terms = self.program.terms(entering);
                (0..m).map(|i| sign * dot(&self.inverse[i * m..(i + 1) * m], terms)).collect()
            }
            Some(row) => (0..m).map(|i| -sign * self.inverse[i * m + row]).collect(),
        }
    }

    /// How far the entering variable may go: basic variables keep their bounds, and violated ones stop at the bound they
    /// violate. Of those that block within the tolerance the one with the largest pivot leaves (Harris).
    fn step(&self, entering: usize, change: &[f64], phase1: bool) -> Step {
        let room = |i: usize, slack: f64| -> Option<(f64, bool)> {
            let c = change[i];
            if c.abs() < PIVOT {
                return None;
            }
            let ((low, high), value) = (self.bounds(self.basic[i]), self.values[i]);
            let (below, above) = (phase1 && value < low - FEASIBLE, phase1 && value > high + FEASIBLE);
            let (end, at_high) = match (c > 0.0, below, above) {
                (true, true, _) => (low, false),
                (true, _, true) | (false, true, _) => return None,
                (false, _, true) => (high, true),
                (true, ..) => (high, true),
                (false, ..) => (low, false),
            };
            let end = end + if c > 0.0 { slack } else { -slack };
            end.is_finite().then(|| (((end - value) / c).max(0.0), at_high))
        };
        let nearest = (0..self.rows).filter_map(|i| room(i, FEASIBLE)).map(|r| r.0).fold(f64::INFINITY, f64::min);
        let (low, high) = self.bounds(entering);
        let own = high - low;
        let blocking = (0..self.rows).filter_map(|i| room(i, 0.0).map(|r| (i, r))).filter(|(_, r)| r.0 <= nearest);
        match blocking.max_by(|a, b| change[a.0].abs().total_cmp(&change[b.0].abs())) {
            Some((i, (length, at_high))) if length < own => Step::Leaves(i, at_high, length),
            _ if own.is_finite() => Step::Flips(own),
            _ => Step::Endless,
        }
    }

    fn exchange(&mut self, row: usize, entering: usize, at_high: bool, change: &[f64], rises: bool) {
        let m = self.rows;
        self.standing[self.basic[row]] = if at_high { Standing::High } else { Standing::Low };
        self.standing[entering] = Standing::Basic;
        self.basic[row] = entering;
        let sign = if rises { -1.0 } else { 1.0 };
        let by = 1.0 / (sign * change[row]);
        (0..m).for_each(|j| self.inverse[row * m + j] *= by);
        let pivot: Vec<f64> = self.inverse[row * m..(row + 1) * m].to_vec();
        for i in (0..m).filter(|i| *i != row) {
            let factor = sign * change[i];
            if factor != 0.0 {
                self.inverse[i * m..(i + 1) * m].iter_mut().zip(&pivot).for_each(|(b, p)| *b -= factor * p);
            }
        }
        self.since_fresh += 1;
    }

    fn end(self, phase1: bool, duals: Vec<f64>) -> Ended {
        if phase1 {
            return if self.program.is_proof(&duals) { Ended::Infeasible(duals) } else { Ended::Failed };
        }
        let mut x: Vec<f64> = (0..self.columns).map(|v| self.value_of(v)).collect();
        for (&v, value) in self.basic.iter().zip(&self.values).filter(|(v, _)| **v < self.columns) {
            x[v] = value.clamp(self.program.low[v], self.program.high[v]);
        }
        let cost = dot(&x, &self.program.cost);
        let bound = self.program.bound_from(&duals);
        let at_high = (0..self.standing.len()).filter(|v| self.standing[*v] == Standing::High).collect();
        Ended::Optimal(Optimum { x, cost, bound, duals, basis: Basis { basic: self.basic, at_high } })
    }
}
