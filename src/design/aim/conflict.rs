//! Why no blend meets all targets: an irreducible set of targets that cannot hold together, by how much each would have to
//! give way, and the blend that comes nearest. Looked for among shared rubs only, where every program is exact: without a
//! limit on the load nearly every set could be loaded until it is grain-borne, and each would have to be iterated.

use super::problem::{Objective, Problem};
use super::search::{Order, search};
use super::{Aim, Found, MOST_POWDERS, Target, shares};
use crate::band::Judge;

/// Targets that cannot hold together, and the blend that comes nearest to all.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// Let any one of these go, and the others of the set can be met.
    pub set: Vec<Conflicting>,
    /// The blend with the least sum of relative misses; powders, stock and count are kept to. None when not even that
    /// leaves a blend.
    pub nearest: Option<Found>,
    /// What it misses, in [`Target::unit`].
    pub misses: Vec<(Target, f64)>,
}

/// A target of an irreducible set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conflicting {
    /// The target.
    pub target: Target,
    /// By how much it alone would have to give way for the others of the set to be met, in [`Target::unit`]; unknown where
    /// that is no number.
    pub off_by: Option<f64>,
}

/// Explains why there is no blend.
pub(super) fn explain(aim: &Aim, judge: &Judge) -> Conflict {
    let all = aim.targets();
    let set = irreducible(aim, judge, &all);
    let conflicting = |&target: &Target| Conflicting { target, off_by: gives_way_by(aim, judge, &set, target) };
    let figures: Vec<Target> = all.iter().copied().filter(|t| t.is_figure()).collect();
    let nearest = least_violation(aim, judge, &all, &figures);
    let misses = nearest.iter().flat_map(|n| all.iter().map(move |t| (*t, aim.misses_by(*t, n, judge))));
    let misses = misses.filter(|(_, off)| *off > 0.0).collect();
    Conflict { set: set.iter().map(conflicting).collect(), nearest, misses }
}

/// Deletion filter: a target without which there is still no blend is no part of the conflict. Those about the shelf are
/// tried first, so that what is left speaks of figures where it can.
fn irreducible(aim: &Aim, judge: &Judge, all: &[Target]) -> Vec<Target> {
    let mut kept = all.to_vec();
    for target in all.iter().rev() {
        let without: Vec<Target> = kept.iter().copied().filter(|t| t != target).collect();
        if !is_possible(aim, judge, &without, None) {
            kept = without;
        }
    }
    kept
}

fn most_powders(aim: &Aim, active: &[Target], problem: &Problem) -> usize {
    if active.contains(&Target::MaxPowders) { aim.most_powders() } else { problem.candidates.len() }
}

fn is_possible(aim: &Aim, judge: &Judge, active: &[Target], most: Option<usize>) -> bool {
    let mut problem = Problem::new(aim, judge, Objective::Cost, active, &[]);
    problem.iterates = false;
    let most = most.unwrap_or_else(|| most_powders(aim, active, &problem));
    let ranking = search(&problem, most, 1, Order::AnyBlend, &|b| aim.verified(&problem, b, active));
    !ranking.blends.is_empty()
}

fn gives_way_by(aim: &Aim, judge: &Judge, set: &[Target], target: Target) -> Option<f64> {
    match target {
        Target::MaxPowders => {
            let stated = aim.most_powders();
            let others: Vec<Target> = set.iter().copied().filter(|t| *t != target).collect();
            let more = (stated + 1..=MOST_POWDERS).find(|k| is_possible(aim, judge, &others, Some(*k)));
            more.map(|k| (k - stated) as f64)
        }
        Target::Without => None,
        _ => least_violation(aim, judge, set, &[target]).map(|found| aim.misses_by(target, &found, judge)),
    }
}

/// The blend that misses the elastic targets least and meets the other active ones.
fn least_violation(aim: &Aim, judge: &Judge, active: &[Target], elastic: &[Target]) -> Option<Found> {
    let mut problem = Problem::new(aim, judge, Objective::Violation, active, elastic);
    problem.iterates = false;
    let hard: Vec<Target> = active.iter().copied().filter(|t| !elastic.contains(t)).collect();
    let most = most_powders(aim, active, &problem);
    let ranking = search(&problem, most, 1, Order::Best, &|b| aim.verified(&problem, b, &hard));
    aim.found(judge, &shares(&problem, ranking.blends.first()?))
}
