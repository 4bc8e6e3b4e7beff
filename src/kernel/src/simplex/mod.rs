//! Programs of few rows and many bounded columns, solved by `microlp`, with what branch and bound needs beside it: a start from
//! another program's basis, dual prices, and proofs that do not hang on the solver's own rounding.
//!
//! The crate gives a vertex and neither prices nor a start. So it is given few columns (those of the start, then those that the
//! prices favour), and the prices are those of the vertex or, where several bases meet, of the dual program. A bound on the cost
//! is read from the duals by weak duality, whatever they are (A. Neumaier and O. Shcherbina, *Math. Program.* 99 (2004) 283):
//! rounding can make it looser, never wrong. That no point exists is proven the same way (Farkas).

mod master;

use master::Master;

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

/// Where a solver starts: columns between their bounds, and columns that sit at their upper bound.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SimplexBasis {
    /// Columns between their bounds.
    pub basic: Vec<usize>,
    /// Columns at their upper bound.
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
    pub basis: SimplexBasis,
}

/// What a proof that no point exists leaves, as a share of its largest multiplier: more than rounding takes.
const PROVEN: f64 = 1e-10;

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
    pub fn minimise(&self, start: Option<&SimplexBasis>) -> Ended {
        let crossed = |low: &[f64], high: &[f64]| low.iter().zip(high).any(|(l, h)| l > h);
        if crossed(&self.low, &self.high) || crossed(&self.row_low, &self.row_high) {
            return Ended::Infeasible(vec![0.0; self.rows()]);
        }
        match Master::new(self, start).run() {
            Ended::Failed if start.is_some() => Master::new(self, None).run(),
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
        size > 0.0 && self.least_of(duals, &zero) > PROVEN * size
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
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
