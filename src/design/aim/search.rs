//! Which powders: every set of at most k, smallest first, each a linear program; or, where there are too many sets, branch
//! and bound.

use super::branch;
use super::problem::Problem;
use super::set::{Outcome, SetBlend};
#[cfg(feature = "parallel")]
use rayon::prelude::*;

/// More sets than this are not taken one by one.
const MOST_SETS: f64 = 200_000.0;
/// Sets solved between two looks at the best so far. Fixed, so that results do not hang on the number of cores.
const CHUNK: usize = 256;

/// The best blends found, and what the search has to say of itself.
#[derive(Debug, Default)]
pub(super) struct Ranking {
    pub blends: Vec<SetBlend>,
    /// Sets on which the solver failed.
    pub failed: usize,
    /// Branch and bound was stopped before its end.
    pub stopped: bool,
    top: usize,
}

impl Ranking {
    pub fn new(top: usize) -> Self {
        Self { top, ..Self::default() }
    }

    pub fn is_full(&self) -> bool {
        self.blends.len() >= self.top
    }

    /// What a further blend has to be better than.
    pub fn bound(&self) -> f64 {
        self.blends.last().filter(|_| self.is_full()).map_or(f64::INFINITY, |b| b.objective)
    }

    /// Takes a blend in if it is among the best and does not merely add powders to a better one.
    pub fn offer(&mut self, blend: SetBlend) {
        let holds = |b: &SetBlend| b.members.iter().all(|m| blend.members.contains(m));
        if self.blends.iter().any(|b| b.objective <= blend.objective + TIE * blend.objective.abs() && holds(b)) {
            return;
        }
        let adds = |b: &SetBlend| b.objective >= blend.objective && blend.members.iter().all(|m| b.members.contains(m));
        self.blends.retain(|b| b.members != blend.members && !adds(b));
        let at = self.blends.partition_point(|b| b.objective <= blend.objective);
        self.blends.insert(at, blend);
        self.blends.truncate(self.top);
    }
}

/// Objectives closer than this, relative, are the same.
const TIE: f64 = 1e-9;

/// Makes a blend final, or drops it.
pub(super) type Check<'c> = &'c dyn Fn(SetBlend) -> Option<SetBlend>;

/// What comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// The better objective.
    Best,
    /// The fewer powders, then the better objective.
    FewestFirst,
    /// Only whether there is any blend.
    AnyBlend,
}

/// Ranks the best `top` blends of at most `most` powders. `check` makes a blend final, or drops it.
pub(super) fn search(problem: &Problem, most: usize, top: usize, order: Order, check: Check) -> Ranking {
    let count = problem.candidates.len();
    let most = most.min(count);
    let mut ranking = Ranking::new(top);
    if (1..=most).map(|k| sets_of(count, k)).sum::<f64>() > MOST_SETS && order != Order::FewestFirst {
        // Branches come in no order of size: a smaller set may yet put larger ones out, and room is kept for others.
        ranking.top = 2 * top + 4;
        branch::search(problem, most, &mut ranking, order, check);
        ranking.blends.truncate(top);
        return ranking;
    }
    for size in 1..=most {
        if order == Order::FewestFirst {
            let mut of_size = Ranking::new(top);
            take_all(problem, size, &mut of_size, order, check);
            ranking.failed += of_size.failed;
            let smaller = ranking.blends.clone();
            let adds = |b: &SetBlend| smaller.iter().any(|s| s.members.iter().all(|m| b.members.contains(m)));
            ranking.blends.extend(of_size.blends.into_iter().filter(|b| !adds(b)));
            ranking.blends.truncate(top);
        } else {
            take_all(problem, size, &mut ranking, order, check);
        }
        if (order == Order::FewestFirst || order == Order::AnyBlend) && ranking.is_full() {
            break;
        }
    }
    ranking
}

fn take_all(problem: &Problem, size: usize, ranking: &mut Ranking, order: Order, check: Check) {
    let mut sets = Sets::new(problem.candidates.len(), size);
    loop {
        let chunk: Vec<Vec<usize>> = sets.by_ref().take(CHUNK).collect();
        if chunk.is_empty() || (order == Order::AnyBlend && ranking.is_full()) {
            return;
        }
        let bound = ranking.bound();
        for outcome in solve_all(problem, &chunk, bound) {
            match outcome {
                Outcome::Found(blend) if blend.objective < ranking.bound() => {
                    if let Some(blend) = check(blend) {
                        ranking.offer(blend);
                    }
                }
                Outcome::Failed => ranking.failed += 1,
                _ => {}
            }
        }
    }
}

#[cfg(feature = "parallel")]
fn solve_all(problem: &Problem, sets: &[Vec<usize>], bound: f64) -> Vec<Outcome> {
    sets.par_iter().map(|set| problem.solve_set(set, bound)).collect()
}

#[cfg(not(feature = "parallel"))]
fn solve_all(problem: &Problem, sets: &[Vec<usize>], bound: f64) -> Vec<Outcome> {
    sets.iter().map(|set| problem.solve_set(set, bound)).collect()
}

/// Number of sets of `k` out of `n`.
fn sets_of(n: usize, k: usize) -> f64 {
    (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product()
}

/// All sets of `k` out of `n`, in order.
struct Sets {
    next: Option<Vec<usize>>,
    n: usize,
}

impl Sets {
    fn new(n: usize, k: usize) -> Self {
        Self { next: (k <= n && k > 0).then(|| (0..k).collect()), n }
    }
}

impl Iterator for Sets {
    type Item = Vec<usize>;

    fn next(&mut self) -> Option<Vec<usize>> {
        let current = self.next.clone()?;
        let k = current.len();
        self.next = (0..k).rev().find(|&i| current[i] < self.n - k + i).map(|i| {
            let mut set = current.clone();
            let rest = set[i..].iter_mut();
            rest.enumerate().for_each(|(step, place)| *place = current[i] + 1 + step);
            set
        });
        Some(current)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_come_in_order_and_none_is_missed() {
        let all: Vec<Vec<usize>> = Sets::new(4, 2).collect();
        assert_eq!(all, [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]);
        assert_eq!(Sets::new(40, 3).count(), 9880);
        assert!((sets_of(40, 3) - 9880.0).abs() < 1e-6);
        assert_eq!(Sets::new(2, 3).count(), 0);
    }
}
