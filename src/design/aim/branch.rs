//! Branch and bound for large shelves: the powders still open share what is left of the count, each by its part of its
//! largest share, which never asks more than the count itself does. A branch ends where that relaxation is no better than
//! what is known.

use super::problem::Problem;
use super::program::Shares;
use super::rows::{RestsOn, Row};
use super::search::{Check, Order, Ranking};
use super::set::{NO_SHARE, Outcome};
use super::target::Target;

/// Branches after which the search is stopped, and says so.
const MOST_BRANCHES: usize = 100_000;

/// A branch: powders that are used, and powders still open.
struct Branch {
    used: Vec<usize>,
    open: Vec<usize>,
}

/// Ranks the best blends of at most `most` powders.
pub(super) fn search(problem: &Problem, most: usize, ranking: &mut Ranking, order: Order, check: Check) {
    for variant in 0..problem.variants.len() {
        let mut branches = vec![Branch { used: Vec::new(), open: (0..problem.candidates.len()).collect() }];
        let mut taken = 0;
        while let Some(branch) = branches.pop() {
            taken += 1;
            if taken > MOST_BRANCHES {
                ranking.stopped = true;
                break;
            }
            if order == Order::AnyBlend && !ranking.blends.is_empty() {
                return;
            }
            let Some((shares, members)) = relaxed(problem, variant, &branch, most) else { continue };
            if shares.objective >= ranking.bound() {
                continue;
            }
            take(problem, &shares, &members, most, ranking, check);
            split(problem, branch, &shares, &members, most, &mut branches);
        }
    }
}

/// The relaxation of a branch.
fn relaxed(problem: &Problem, variant: usize, branch: &Branch, most: usize) -> Option<(Shares, Vec<usize>)> {
    let mut members: Vec<usize> = branch.used.iter().chain(&branch.open).copied().collect();
    members.sort_unstable();
    let mut rows = problem.rows_at_least_gaps(variant, &members);
    let left = most.checked_sub(branch.used.len())?;
    if left < branch.open.len() {
        let part = |m: &usize| {
            let largest = problem.candidates[*m].max_pct.min(problem.load_pct[1]);
            if branch.used.contains(m) { 0.0 } else { 1.0 / largest.max(NO_SHARE) }
        };
        let coefficients = members.iter().map(part).collect();
        rows.push(Row {
            target: Target::MaxPowders,
            rests_on: RestsOn::Sizes,
            coefficients,
            low: f64::NEG_INFINITY,
            high: left as f64,
        });
    }
    let shares = problem.minimise(&members, |m| branch.used.contains(&m), &rows).ok()?;
    Some((shares, members))
}

/// Powders that a relaxation uses.
fn support(shares: &Shares, members: &[usize]) -> Vec<usize> {
    members.iter().zip(&shares.pct).filter(|(_, p)| **p > NO_SHARE).map(|(m, _)| *m).collect()
}

/// Solves the set that a relaxation uses, if it is small enough.
fn take(problem: &Problem, shares: &Shares, members: &[usize], most: usize, ranking: &mut Ranking, check: Check) {
    let set = support(shares, members);
    if set.is_empty() || set.len() > most {
        return;
    }
    match problem.solve_set(&set, ranking.bound()) {
        Outcome::Found(blend) => {
            if let Some(blend) = check(blend) {
                ranking.offer(blend);
            }
        }
        Outcome::Failed => ranking.failed += 1,
        Outcome::None => {}
    }
}

/// Two branches on the open powder that the relaxation uses most of: with it, which is looked at first, and without.
fn split(
    problem: &Problem,
    branch: Branch,
    shares: &Shares,
    members: &[usize],
    most: usize,
    branches: &mut Vec<Branch>,
) {
    let part = |m: usize| {
        let at = members.iter().position(|x| *x == m);
        at.map_or(0.0, |i| shares.pct[i] / problem.candidates[m].max_pct.min(problem.load_pct[1]).max(NO_SHARE))
    };
    let used_now = support(shares, members);
    let open = branch.open.iter().copied().filter(|m| used_now.contains(m));
    let Some(chosen) = open.max_by(|a, b| part(*a).total_cmp(&part(*b))) else { return };
    let rest: Vec<usize> = branch.open.iter().copied().filter(|m| *m != chosen).collect();
    branches.push(Branch { used: branch.used.clone(), open: rest.clone() });
    if branch.used.len() < most {
        let used = branch.used.into_iter().chain([chosen]).collect();
        branches.push(Branch { used, open: rest });
    }
}
