//! The simplex method for programs of few rows and many bounded columns, with what branch and bound needs of it: a start from
//! another program's basis, dual prices, and proofs that do not hang on the solver's own rounding.
//!
//! Rows `low ≤ Σ a x ≤ high` get a slack between their bounds, so that every variable is bounded and the basis has as many
//! columns as there are rows. Phase 1 makes the sum of violations least, phase 2 the cost; both are the primal method with an
//! explicit inverse (rows are few, and their number squared is little). A bound on the cost is read from the duals by weak
//! duality, whatever they are (A. Neumaier and O. Shcherbina, *Math. Program.* 99 (2004) 283): rounding can make it looser, never
//! wrong. That no point exists is proven the same way (Farkas).

/// Minimise `Σ cost x` over `low ≤ x ≤ high` under rows `row_low ≤ Σ a x ≤ row_high`. Terms should be near 1.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BoxProgram {
    /// Coefficients, column after column.
    pub matrix: Vec<f64>,
    /// Cost of each column.
    pub cost: Vec<f64>,
    /// Bounds of each column.
    pub low: Vec<f64>,
    /// Bounds of each column.
    pub high: Vec<f64>,
    /// Bounds of each row.
    pub row_low: Vec<f64>,
    /// Bounds of each row.
    pub row_high: Vec<f64>,
}

/// Where a solver starts: basic variables (columns first, then the rows' slacks), and columns that sit at their upper bound.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Basis {
    /// One per row.
    pub basic: Vec<usize>,
    /// Nonbasic variables at their upper bound.
    pub at_high: Vec<usize>,
}

/// How a program ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Ended {
    /// The least cost.
    Optimal(Optimum),
    /// No point exists; the multipliers of the rows prove it.
    Infeasible(Vec<f64>),
    /// The cost has no least value.
    Unbounded,
    /// Too many steps, or a proof that rounding spoiled.
    Failed,
}

/// The least cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Optimum {
    /// The columns.
    pub x: Vec<f64>,
    /// Σ cost x.
    pub cost: f64,
    /// No point costs less than this, proven from the duals.
    pub bound: f64,
    /// What one more unit of a row's bound costs; at least 0 where the lower bound holds, at most 0 where the upper one does.
    pub duals: Vec<f64>,
    /// The basis it ended with.
    pub basis: Basis,
}

/// Bounds are met within this, absolute.
const FEASIBLE: f64 = 1e-10;
/// A reduced cost below this share of the largest cost is none.
const REDUCED: f64 = 1e-10;
/// The least pivot.
const PIVOT: f64 = 1e-9;
/// Steps without progress after which the first column that may enter is taken (Bland's rule): no cycle can follow.
const STALLED: usize = 40;
/// Steps after which the inverse is made anew.
const REFRESH: usize = 30;

impl BoxProgram {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.row_low.len()
    }

    /// Number of columns.
    pub fn columns(&self) -> usize {
        self.cost.len()
    }

    /// Adds a column; `terms` holds one coefficient per row.
    pub fn column(&mut self, terms: impl IntoIterator<Item = f64>, cost: f64, low: f64, high: f64) -> usize {
        self.matrix.extend(terms);
        self.cost.push(cost);
        self.low.push(low);
        self.high.push(high);
        self.cost.len() - 1
    }

    fn terms(&self, column: usize) -> &[f64] {
        let m = self.rows();
        &self.matrix[column * m..(column + 1) * m]
    }

    /// The least cost, starting from `start` where it is of any use.
    pub fn minimise(&self, start: Option<&Basis>) -> Ended {
        let crossed = |low: &[f64], high: &[f64]| low.iter().zip(high).any(|(l, h)| l > h);
        if crossed(&self.low, &self.high) || crossed(&self.row_low, &self.row_high) {
            return Ended::Infeasible(vec![0.0; self.rows()]);
        }
        match Tableau::new(self, start).run() {
            Ended::Failed if start.is_some() => Tableau::new(self, None).run(),
            ended => ended,
        }
    }

    /// What no point can cost less than, from any multipliers of the rows.
    pub fn bound_from(&self, duals: &[f64]) -> f64 {
        self.least_of(duals, &self.cost)
    }

    /// Least of Σ (cost − y a) x + Σ y s over all bounds: a lower bound of Σ cost x, since s = Σ a x.
    fn least_of(&self, duals: &[f64], cost: &[f64]) -> f64 {
        let rows = duals.iter().zip(self.row_low.iter().zip(&self.row_high));
        let mut clean = Vec::with_capacity(duals.len());
        let size = duals.iter().chain(cost).fold(0.0_f64, |s, y| s.max(y.abs()));
        let mut sum = 0.0;
        for (y, (low, high)) in rows {
            let end = if *y > 0.0 { *low } else { *high };
            let y = if end.is_finite() { *y } else { 0.0 };
            sum += if y == 0.0 { 0.0 } else { y * end };
            clean.push(y);
        }
        for (j, c) in cost.iter().enumerate() {
            let reduced = c - dot(&clean, self.terms(j));
            let end = if reduced > 0.0 { self.low[j] } else { self.high[j] };
            // A column without bounds cannot be told from one whose reduced cost is rounding; the proof is for bounded ones.
            let is_rounding = !end.is_finite() && reduced.abs() <= 1e-9 * size;
            if reduced != 0.0 && !is_rounding {
                sum += reduced * end;
            }
        }
        sum
    }

    /// Whether these multipliers prove that no point exists.
    fn is_proof(&self, duals: &[f64]) -> bool {
        let zero = vec![0.0; self.columns()];
        let size = duals.iter().fold(0.0_f64, |s, y| s.max(y.abs()));
        size > 0.0 && self.least_of(duals, &zero) > FEASIBLE * size
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

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
struct Tableau<'a> {
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
    fn new(program: &'a BoxProgram, start: Option<&Basis>) -> Self {
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

    fn run(mut self) -> Ended {
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers from a fixed seed, in −1..1.
    fn random(seed: &mut u64) -> f64 {
        *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    fn random_program(seed: &mut u64) -> BoxProgram {
        let size = |seed: &mut u64, most: f64| 1 + ((random(seed) + 1.0) * 0.5 * most) as usize;
        let (rows, columns) = (size(seed, 9.0), size(seed, 30.0));
        let mut program = BoxProgram::default();
        for _ in 0..rows {
            let (low, wide) = (random(seed), random(seed).max(0.0));
            let ends = [(low, low + wide), (low, f64::INFINITY), (f64::NEG_INFINITY, low)];
            let (low, high) = ends[size(seed, 2.99) - 1];
            program.row_low.push(low);
            program.row_high.push(high);
        }
        for _ in 0..columns {
            // Repeated and absent coefficients make vertices meet.
            let terms: Vec<f64> = (0..rows).map(|_| (random(seed) * 4.0).round() / 4.0).collect();
            let cost = (random(seed) * 4.0).round() / 4.0;
            program.column(terms, cost, 0.0, random(seed).max(0.0) * 2.0);
        }
        program
    }

    fn assert_is_an_answer(program: &BoxProgram, ended: &Ended, what: &str) -> bool {
        match ended {
            Ended::Optimal(optimum) => {
                for i in 0..program.rows() {
                    let sum: f64 = (0..program.columns()).map(|j| program.terms(j)[i] * optimum.x[j]).sum();
                    assert!(sum > program.row_low[i] - 1e-8 && sum < program.row_high[i] + 1e-8, "{what}: row {i}");
                }
                assert!((optimum.cost - optimum.bound).abs() < 1e-7, "{what}: {} {}", optimum.cost, optimum.bound);
                true
            }
            Ended::Infeasible(duals) => {
                assert!(program.is_proof(duals), "{what}");
                false
            }
            other => panic!("{what}: {other:?}"),
        }
    }

    #[test]
    fn every_answer_carries_its_own_proof() {
        // Feasible and as cheap as the duals allow is optimal; multipliers that contradict the bounds are a proof of none.
        let mut seed = 3;
        let (mut optimal, mut none) = (0, 0);
        for i in 0..4000 {
            let program = random_program(&mut seed);
            let ended = program.minimise(None);
            let found = assert_is_an_answer(&program, &ended, &format!("program {i}"));
            optimal += usize::from(found);
            none += usize::from(!found);
            // From its own basis a tighter program comes out the same as from scratch.
            if let Ended::Optimal(optimum) = ended {
                let mut tighter = program.clone();
                tighter.high.iter_mut().for_each(|h| *h *= 0.6);
                let (warm, cold) = (tighter.minimise(Some(&optimum.basis)), tighter.minimise(None));
                let both = [&warm, &cold].map(|e| assert_is_an_answer(&tighter, e, &format!("program {i}, tighter")));
                assert_eq!(both[0], both[1], "program {i}");
                if let (Ended::Optimal(warm), Ended::Optimal(cold)) = (warm, cold) {
                    assert!((warm.cost - cold.cost).abs() < 1e-7, "program {i}");
                }
            }
        }
        assert!(optimal > 800 && none > 800, "{optimal} optimal, {none} without a point");
    }
}
