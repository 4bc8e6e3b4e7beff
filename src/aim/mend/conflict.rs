//! Why no blend meets all targets: an irreducible set of targets that cannot hold together, by how much each would have to
//! give way, and the blend that comes nearest. All of it is searched in shared and in grain-borne rubs, as the blends are.

use crate::aim::solve::best::shares;
use crate::aim::solve::search::{Effort, Search, SearchOrder, search};
use crate::aim::solve::set::SetBlend;
use crate::aim::statement::found::Found;
use crate::aim::statement::problem::{Objective, Problem};
use crate::aim::statement::target::{Aim, MOST_POWDERS, Target};
use crate::band::Judge;

/// Targets that cannot hold together, and the blend that comes nearest to all.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// Let any one of these go, and the others of the set can be met; whether all others can, each says.
    pub set: Vec<Conflicting>,
    /// Whether every target of the set was proven to be needed for the conflict, and every least miss to be the least.
    pub is_proven: bool,
    /// The blend with the least sum of misses, each as a share of the limit missed; powders, stock and count are kept to. None
    /// when not even that leaves a blend.
    pub nearest: Option<Found>,
    /// What it misses, in [`Target::unit`].
    pub misses: Vec<(Target, f64)>,
}

/// A target of an irreducible set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conflicting {
    /// The target.
    pub target: Target,
    /// Whether all other targets of the aim can be met when it goes: besides this set others may clash. Unknown when the search was stopped.
    pub is_enough: Option<bool>,
    /// By how much it alone would have to give way for all others to be met, in [`Target::unit`]; unknown where that is no number, or where
    /// it is not enough.
    pub off_by: Option<f64>,
}

/// Parts after which a question about a conflict is left unproven; fewer for a least miss on a large shelf, whose parts take longer.
const MOST_PARTS: u64 = 20_000;
const MOST_PARTS_OF_A_MISS: u64 = 9_000;
const LARGE_SHELF: usize = 100;

/// Explains why there is no blend; `proof` is the search that found none.
pub(in crate::aim) fn explain(aim: &Aim, judge: &Judge, proof: &Search, effort: Effort) -> Conflict {
    let all = aim.targets();
    let effort = Effort { parts: effort.parts.min(MOST_PARTS), ..effort };
    let mut explainer = Explainer { aim, judge, effort, is_proven: proof.doubtful == 0 };
    // A target that no proof rests on is no part of the conflict.
    let counts = |t: &Target| proof.doubtful > 0 || !t.is_figure() || proof.proving.contains(t);
    let set = explainer.irreducible(all.iter().copied().filter(counts).collect());
    let conflicting: Vec<Conflicting> = set
        .iter()
        .map(|&target| {
            let others: Vec<Target> = all.iter().copied().filter(|t| *t != target).collect();
            // Where the set is the whole aim, that it is irreducible says so.
            let is_enough = if set.len() == all.len() { Some(true) } else { explainer.is_possible(&others, None) };
            let off_by = if is_enough == Some(true) { explainer.gives_way_by(&all, target) } else { None };
            Conflicting { target, is_enough, off_by }
        })
        .collect();
    let figures: Vec<Target> = all.iter().copied().filter(|t| t.is_figure()).collect();
    let nearest = explainer.least_violation(&all, &figures);
    let misses = nearest.iter().flat_map(|n| all.iter().map(move |t| (*t, aim.misses_by(*t, n, judge))));
    let misses = misses.filter(|(_, off)| *off > 0.0).collect();
    Conflict { set: conflicting, is_proven: explainer.is_proven, nearest, misses }
}

struct Explainer<'a, 'w> {
    aim: &'a Aim,
    judge: &'a Judge,
    effort: Effort<'w>,
    is_proven: bool,
}

impl Explainer<'_, '_> {
    /// Deletion filter: a target without which there is still no blend is no part of the conflict. Those about the shelf are
    /// tried first, so that what is left speaks of figures where it can.
    fn irreducible(&mut self, all: Vec<Target>) -> Vec<Target> {
        let mut kept = all.clone();
        for target in all.iter().rev() {
            let without: Vec<Target> = kept.iter().copied().filter(|t| t != target).collect();
            if self.is_possible(&without, None) == Some(false) {
                kept = without;
            }
        }
        kept
    }

    /// Whether these targets can be met together; unknown when the search was stopped.
    fn is_possible(&mut self, active: &[Target], most: Option<usize>) -> Option<bool> {
        let problem = Problem::new(self.aim, self.judge, Objective::Any, active, &[]);
        let most = most.unwrap_or_else(|| self.most_powders(active, &problem));
        let check = |b: &SetBlend| self.aim.verified(&problem, b, active);
        let result = search(&problem, most, 1, SearchOrder::AnyBlend, &check, self.effort);
        if !result.blends.is_empty() {
            return Some(true);
        }
        let is_certain = result.stopped_at.is_none() && result.doubtful == 0;
        self.is_proven &= is_certain;
        is_certain.then_some(false)
    }

    fn most_powders(&self, active: &[Target], problem: &Problem) -> usize {
        if active.contains(&Target::MaxPowders) { self.aim.most_powders() } else { problem.candidates.len() }
    }

    fn gives_way_by(&mut self, set: &[Target], target: Target) -> Option<f64> {
        match target {
            Target::MaxPowders => {
                let stated = self.aim.most_powders();
                let others: Vec<Target> = set.iter().copied().filter(|t| *t != target).collect();
                let more = (stated + 1..=MOST_POWDERS).find(|k| self.is_possible(&others, Some(*k)) == Some(true));
                more.map(|k| (k - stated) as f64)
            }
            Target::Without | Target::LeastShare | Target::Sure => None,
            _ => {
                let found = self.least_violation(set, &[target]);
                found.map(|found| self.aim.misses_by(target, &found, self.judge))
            }
        }
    }

    /// The blend that misses the elastic targets least and meets the other active ones.
    fn least_violation(&mut self, active: &[Target], elastic: &[Target]) -> Option<Found> {
        let problem = Problem::new(self.aim, self.judge, Objective::Violation, active, elastic);
        let hard: Vec<Target> = active.iter().copied().filter(|t| !elastic.contains(t)).collect();
        let most = self.most_powders(active, &problem);
        let check = |b: &SetBlend| problem.violation(b, &hard);
        let parts = if problem.candidates.len() > LARGE_SHELF { MOST_PARTS_OF_A_MISS } else { MOST_PARTS };
        let effort = Effort { parts: self.effort.parts.min(parts), ..self.effort };
        let result = search(&problem, most, 1, SearchOrder::Best, &check, effort);
        self.is_proven &= result.stopped_at.is_none() && result.doubtful == 0;
        self.aim.found(self.judge, &shares(&problem, result.blends.first()?))
    }
}

impl Problem<'_> {
    /// How far a blend is from each elastic target by the full model, as a share of the limit missed.
    pub(in crate::aim) fn misses(&self, blend: &SetBlend) -> Option<Vec<f64>> {
        let found = self.aim.found(self.judge, &shares(self, blend))?;
        let miss = |target: &Target| {
            let value = self.aim.figure_of(*target, &found.scrub, &found.assessment);
            self.aim.relative_miss(*target, self.aim.misses_by(*target, &found, self.judge), value)
        };
        Some(self.elastic.iter().map(miss).collect())
    }

    /// A blend that meets the hard targets, worth the sum of its misses.
    fn violation(&self, blend: &SetBlend, hard: &[Target]) -> Option<SetBlend> {
        let found = self.aim.found(self.judge, &shares(self, blend))?;
        let meets = hard.iter().all(|t| self.aim.misses_by(*t, &found, self.judge) == 0.0);
        let objective = self.misses(blend)?.iter().sum();
        meets.then(|| SetBlend { objective, ..blend.clone() })
    }
}
