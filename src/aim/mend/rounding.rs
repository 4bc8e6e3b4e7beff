//! Shares rounded to what a balance can weigh, with all targets still met: a linear program in whole steps, over the few powders
//! of one blend, by branch and bound; what it finds is held against the full model.

use crate::aim::solve::frame::Frame;
use crate::aim::solve::region::{GapRange, GapRegion};
use crate::aim::statement::found::{Found, Rounding};
use crate::aim::statement::problem::Problem;
use crate::aim::statement::target::{Aim, Goal, Target};
use crate::band::Judge;
use gritwise_kernel::simplex::{BoxProgram, Ended};

/// Programs after which the best rounding so far is taken.
const MOST_PROGRAMS: usize = 3_000;
/// How much the gap of a grain-borne rub may move by rounding, as a factor.
const GAP_ROOM: f64 = 1.05;
/// Closer to a whole number of steps than this is whole.
const WHOLE: f64 = 1e-6;

/// The best rounding of a blend's shares; the blend as it was, marked so, when none meets all targets.
pub(in crate::aim) fn rounded(aim: &Aim, judge: &Judge, found: &Found, resolution_g: f64) -> Found {
    let targets = aim.targets();
    let problem = Problem::new(aim, judge, aim.objective(), &targets, &[]);
    let place_of = |place: usize| problem.candidates.iter().position(|c| c.place == place);
    let members: Vec<usize> = found.shares.iter().filter_map(|s| place_of(s.0)).collect();
    let step_pct = 100.0 * resolution_g / aim.batch_g;
    let mut steps = Steps { aim, problem: &problem, found, targets: &targets, members, step_pct, left: 0, best: None };
    for variant in 0..problem.variants.len() {
        let region = about(problem.region_of(found, variant));
        steps.search(&region);
    }
    match steps.best {
        Some(best) => Found { rounding: Rounding::To(resolution_g), ..best },
        None => Found { rounding: Rounding::Impossible(resolution_g), ..found.clone() },
    }
}

/// A region with some room about its gaps.
fn about(mut region: GapRegion) -> GapRegion {
    for gap in &mut region.gaps {
        if let GapRange::Borne(low, high) = gap {
            *gap = GapRange::Borne(*low / GAP_ROOM, *high * GAP_ROOM);
        }
    }
    region
}

struct Steps<'a, 'p> {
    aim: &'a Aim,
    problem: &'a Problem<'p>,
    found: &'a Found,
    targets: &'a [Target],
    members: Vec<usize>,
    step_pct: f64,
    /// Programs left.
    left: usize,
    best: Option<Found>,
}

impl Steps<'_, '_> {
    fn search(&mut self, region: &GapRegion) {
        self.left = if self.aim.goal == Goal::Cheapest { MOST_PROGRAMS } else { MOST_PROGRAMS / 10 };
        let set: Vec<u16> = self.members.iter().map(|m| *m as u16).collect();
        let frame = self.problem.frame(region, &set);
        let ends = |(m, most): (&usize, &f64)| {
            let least = (self.problem.candidates[*m].min_pct / self.step_pct - WHOLE).ceil().max(1.0);
            (least, (most / self.step_pct + WHOLE).floor())
        };
        let bounds: Vec<(f64, f64)> = self.members.iter().zip(&frame.most_pct).map(ends).collect();
        self.branch(&frame, bounds);
    }

    /// The least program in steps: the cost, or how far the shares move from those that were solved.
    fn program(&self, frame: &Frame, bounds: &[(f64, f64)]) -> BoxProgram {
        let mut program =
            BoxProgram { row_low: frame.row_low.clone(), row_high: frame.row_high.clone(), ..BoxProgram::default() };
        let is_cost = matches!(self.aim.goal, Goal::Cheapest | Goal::FewestPowders);
        for (j, (&m, &(low, high))) in self.members.iter().zip(bounds).enumerate() {
            let terms: Vec<f64> = frame.terms(j).iter().map(|a| a * self.step_pct).collect();
            if is_cost {
                program.column(terms, self.problem.candidates[m].cost, low, high);
                continue;
            }
            let exact = (self.found.shares[j].1 / self.step_pct).clamp(low, high);
            program.column(terms.clone(), -1.0, low, exact);
            program.column(terms, 1.0, 0.0, high - exact);
        }
        program
    }

    fn branch(&mut self, frame: &Frame, bounds: Vec<(f64, f64)>) {
        // Among the fewest powders any rounding is as good as another.
        let is_done = self.aim.goal == Goal::FewestPowders && self.best.is_some();
        if is_done || self.left == 0 || bounds.iter().any(|(low, high)| low > high) {
            return;
        }
        self.left -= 1;
        let Ended::Optimal(optimum) = self.program(frame, &bounds).minimise(None) else { return };
        let pieces = optimum.x.len() / bounds.len();
        let steps: Vec<f64> = optimum.x.chunks(pieces).map(|x| x.iter().sum()).collect();
        if pieces == 1
            && self.best.as_ref().and_then(|b| b.objective).is_some_and(|best| self.is_no_better(&steps, best))
        {
            return;
        }
        let off = |s: f64| (s - s.round()).abs();
        let open = (0..steps.len()).filter(|j| bounds[*j].0 < bounds[*j].1);
        let Some(j) = open.max_by(|a, b| off(steps[*a]).total_cmp(&off(steps[*b]))) else {
            self.hold(&steps);
            return;
        };
        let with = |low: f64, high: f64| {
            let mut bounds = bounds.clone();
            bounds[j] = (low.max(bounds[j].0), high.min(bounds[j].1));
            bounds
        };
        if off(steps[j]) > WHOLE {
            let (down, up) = (with(f64::NEG_INFINITY, steps[j].floor()), with(steps[j].ceil(), f64::INFINITY));
            let nearer_down = steps[j] - steps[j].floor() < 0.5;
            let (first, second) = if nearer_down { (down, up) } else { (up, down) };
            self.branch(frame, first);
            self.branch(frame, second);
        } else if !self.hold(&steps) {
            // Whole, but not what the full model allows: the steps about it.
            let at = steps[j].round();
            self.branch(frame, with(at, at));
            self.branch(frame, with(f64::NEG_INFINITY, at - 1.0));
            self.branch(frame, with(at + 1.0, f64::INFINITY));
        }
    }

    /// Whether these steps cost no less than what is known; for a goal that is a cost.
    fn is_no_better(&self, steps: &[f64], best: f64) -> bool {
        if self.aim.goal != Goal::Cheapest {
            return false;
        }
        let cost = |(m, s): (&usize, &f64)| self.problem.candidates[*m].cost * s * self.step_pct;
        self.members.iter().zip(steps).map(cost).sum::<f64>() >= best * (1.0 - 1e-12)
    }

    /// Holds whole steps against the full model and keeps them if they are the best that meet all targets.
    fn hold(&mut self, steps: &[f64]) -> bool {
        let share = |(s, found): (&f64, &(usize, f64))| (found.0, s.round() * self.step_pct);
        let shares: Vec<(usize, f64)> = steps.iter().zip(&self.found.shares).map(share).collect();
        let Some(tried) = self.aim.found(self.problem.judge, &shares) else { return false };
        let meets = self.targets.iter().all(|t| self.aim.misses_by(*t, &tried, self.problem.judge) == 0.0);
        if meets && self.best.as_ref().is_none_or(|b| tried.objective < b.objective) {
            self.best = Some(tried);
        }
        meets
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;

    #[test]
    fn shares_are_rounded_to_the_nearest_steps_where_nothing_is_in_the_way() {
        // By hand: 2.5 and 2 % are kept as they are, and are nearest to eight and seven steps of 0.3 g in 100 g.
        let (mut aim, judge) = invented::aim(&[(160.0, 2.0), (90.0, 3.0)], "load_pct = [3, 8]\ngoal = \"cheapest\"");
        (aim.batch_g, aim.least_steps) = (100.0, 1.0);
        aim.goal = Goal::LeastChange(invented::scrub(&aim, &[2.5, 2.0]));
        let found = aim.solve(&judge, 1, Some(0.3)).unwrap().blends.remove(0);
        assert_eq!(found.rounding, Rounding::To(0.3));
        for ((_, share), wanted) in found.shares.iter().zip([2.4, 2.1]) {
            assert!((share - wanted).abs() < 1e-9, "{share} {wanted}");
        }
    }
}
