//! The best blends, each confirmed by the full model.

use super::search::{Effort, Search, SearchOrder, search};
use super::set::SetBlend;
use crate::aim::statement::found::Found;
use crate::aim::statement::problem::{Objective, Problem};
use crate::aim::statement::target::{Aim, Goal, MOST_POWDERS, Target};
use crate::band::Judge;

impl Aim {
    pub(in crate::aim) fn objective(&self) -> Objective<'_> {
        match &self.goal {
            Goal::Cheapest | Goal::FewestPowders => Objective::Cost,
            Goal::ClosestCurve(curve) => Objective::Curve(&curve.points),
            Goal::LeastChange(_) => Objective::Change,
        }
    }

    /// At most so many powders.
    pub(in crate::aim) fn most_powders(&self) -> usize {
        self.max_powders.unwrap_or(MOST_POWDERS)
    }

    /// The best blends as solved, and what the search has to say of itself.
    pub(in crate::aim) fn best(&self, judge: &Judge, top: usize, effort: Effort) -> (Search, Vec<Found>) {
        let targets = self.targets();
        let problem = Problem::new(self, judge, self.objective(), &targets, &[]);
        let order = if self.goal == Goal::FewestPowders { SearchOrder::FewestFirst } else { SearchOrder::Best };
        let check = |b: &SetBlend| self.verified(&problem, b, &targets);
        let search = search(&problem, self.most_powders(), top, order, &check, effort);
        let blends = search.blends.iter().filter_map(|b| self.found(judge, &shares(&problem, b))).collect();
        (search, blends)
    }

    /// The blend as the full model confirms it. The solver stops at a limit within its tolerance; a blend that the full
    /// model finds beyond one is solved again with every limit tightened a little.
    pub(in crate::aim) fn verified(&self, problem: &Problem, blend: &SetBlend, targets: &[Target]) -> Option<SetBlend> {
        const MARGINS: [f64; 3] = [3e-6, 3e-5, 3e-4];
        let holds = |b: &SetBlend| {
            let found = self.found(problem.judge, &shares(problem, b));
            found.is_some_and(|f| targets.iter().all(|t| self.misses_by(*t, &f, problem.judge) == 0.0))
        };
        if holds(blend) {
            return Some(blend.clone());
        }
        MARGINS.iter().find_map(|m| problem.tightened(blend, *m).filter(|b| holds(b)))
    }
}

pub(in crate::aim) fn shares(problem: &Problem, blend: &SetBlend) -> Vec<(usize, f64)> {
    blend.members.iter().zip(&blend.pct).map(|(&m, pct)| (problem.candidates[m].place, *pct)).collect()
}
