//! All powder sets at once. What a blend passes at a size is a mean of what its powders pass, by their shares of the load; so a blend lies in
//! the hull of its powders' points, a dimension for each size, whatever its load and rub. Where few sets have a hull that comes near
//! what is asked for, the rest is done with without a program: the closest curve when it is nearly met, narrow limits that next to
//! nothing meets. There the parts of a search overlap too much for its programs to tell them apart.

use crate::aim::statement::problem::{Objective, Problem};
use crate::aim::statement::target::{PassingLimit, Target};
use crate::numerics::parallel::in_order;
use gritwise_kernel::hulls::{Hull, Hulls};
use std::sync::atomic::AtomicUsize;

/// More sets than these take longer to look at than most searches.
const MOST_SETS: f64 = 3e8;
/// Sets that are left, beyond which they are many.
const FEW: usize = 60_000;
/// A limit is met within this, percentage points, whatever a solver's tolerance.
const CLOSE: f64 = 1e-3;
/// Curves farther off than this, percentage points, are not looked for at first.
const FAR_PCT: f64 = 4.0;
/// Where sets are many, those of so much less are looked for, so often.
const PART: f64 = 3.0;
const TRIES: i32 = 8;

/// What the distance of a hull says of its blends.
enum Reads {
    /// The deviation from a curve: at least so many points for a distance of 1.
    Curve(f64),
    /// Limits that hold: beyond a distance of 1 they are not met.
    Limits,
    /// The sum of misses, all limits being elastic: at least the distance less this.
    Misses(f64),
}

/// The powder sets that are left, with what no blend of each is worth less than; and what no blend of any other set is.
pub(in crate::aim) struct Left {
    pub sets: Vec<(Vec<u16>, f64)>,
    pub beyond: f64,
}

/// The hulls of a problem.
pub(in crate::aim) struct Screen {
    hulls: Hulls,
    reads: Reads,
    /// What sets are left out for.
    pub targets: Vec<Target>,
}

impl Screen {
    /// None where sets are too many, or nothing is asked that hulls tell.
    pub fn new(problem: &Problem, most: usize) -> Option<Self> {
        let (points, reads, targets) = points(problem)?;
        let hulls = Hulls::new(&points);
        (hulls.sets(most) <= MOST_SETS).then_some(Self { hulls, reads, targets })
    }

    /// The sets of which a blend may be worth less than `cutoff`; where they are many, those of which one may be worth less than a
    /// part of it. None where there are many still.
    pub fn left(&self, most: usize, cutoff: f64) -> Option<Left> {
        match self.reads {
            Reads::Limits => self.of(most, 1.0, f64::INFINITY, |_| f64::NEG_INFINITY),
            Reads::Misses(slack) => self.of(most, cutoff + slack, cutoff, |distance| (distance - slack).max(0.0)),
            Reads::Curve(points) => {
                let mut parts = (0..TRIES).map(|i| cutoff.min(FAR_PCT) / PART.powi(i));
                parts.find_map(|part| self.of(most, part / points, part, |distance| distance * points))
            }
        }
    }

    /// How many parts the sets that are left may take, for each that there was before. The nearest hull soon meets a curve if any does; limits
    /// are met or not by every set.
    pub fn parts_for_one(&self) -> u64 {
        if let Reads::Curve(_) = self.reads { 1 } else { 16 }
    }

    fn of(&self, most: usize, reach: f64, beyond: f64, bound: impl Fn(f64) -> f64) -> Option<Left> {
        let hulls = if reach.is_finite() { self.near(most, reach)? } else { return None };
        Some(Left { sets: hulls.into_iter().map(|h| (h.set, bound(h.distance))).collect(), beyond })
    }

    fn near(&self, most: usize, reach: f64) -> Option<Vec<Hull>> {
        let tally = AtomicUsize::new(0);
        let of_first = |first: usize| self.hulls.near(first, most, reach, FEW, &tally);
        let found: Vec<Hull> = in_order(self.hulls.count(), of_first).into_iter().flatten().collect();
        (found.len() <= FEW).then_some(found)
    }
}

/// A limit with both ends on what passes, and the target it is.
type Closed<'a> = (Target, &'a PassingLimit);

/// Every candidate as a point whose hulls tell something, and what they tell.
fn points(problem: &Problem) -> Option<(Vec<Vec<f64>>, Reads, Vec<Target>)> {
    if let Objective::Curve(_) = problem.objective {
        return Some((problem.curve_offsets.clone(), Reads::Curve(problem.points_of_norm()), Vec::new()));
    }
    let passing = problem.aim.passing.iter().enumerate().map(|(i, limit)| (Target::Passing(i), limit));
    let closed = passing.filter(|(t, l)| problem.has(*t) && l.min > 0.0 && l.max < 100.0);
    let (elastic, hard): (Vec<Closed>, Vec<Closed>) = closed.partition(|(t, _)| problem.is_elastic(*t));
    let half = |l: &PassingLimit| 0.5 * (l.max - l.min) + CLOSE;
    if !hard.is_empty() {
        // Within half a width of the middle of each limit: within 1 of all, a half of each being 1 over the root of their number.
        let root = (hard.len() as f64).sqrt();
        let targets = hard.iter().map(|(t, _)| *t).collect();
        return Some((off_the_middle(problem, &hard, |l| root * half(l)), Reads::Limits, targets));
    }
    // A miss is a share of the limit missed, so no less than one of the larger; their sum is no less than the root of their squares.
    let slack = elastic.iter().map(|(_, l)| half(l) / l.max).sum();
    (problem.objective == Objective::Violation && !elastic.is_empty())
        .then(|| (off_the_middle(problem, &elastic, |l| l.max), Reads::Misses(slack), Vec::new()))
}

/// How far every candidate is off the middle of every limit, in units of it.
fn off_the_middle(problem: &Problem, limits: &[Closed], unit: impl Fn(&PassingLimit) -> f64) -> Vec<Vec<f64>> {
    let off = |m: usize, l: &PassingLimit| (100.0 * problem.undersize(m, l.um) - 0.5 * (l.min + l.max)) / unit(l);
    (0..problem.candidates.len()).map(|m| limits.iter().map(|(_, l)| off(m, l)).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;

    #[test]
    fn a_powder_at_the_ends_of_its_limits_is_kept_and_one_just_beyond_is_left_out() {
        let passing = |um: f64| format!("{{ um = {um}, min = 10, max = 90 }}");
        let limits =
            format!("passing_pct = [{}, {}]\nload_pct = [4, 8]\ngoal = \"cheapest\"", passing(150.0), passing(200.0));
        let (mut aim, judge) = invented::aim(&[(170.0, 2.0), (160.0, 2.0)], &limits);
        let passes = |aim: &crate::aim::Aim, powder: usize, um: f64| {
            100.0 * aim.shelf[powder].powder.size.distribution.undersize(um)
        };
        // The first powder stands at the lower end of one limit and at the upper end of the other, 4 points off either middle.
        let (finer, coarser) = (passes(&aim, 0, 150.0), passes(&aim, 0, 200.0));
        (aim.passing[0].min, aim.passing[0].max) = (finer, finer + 8.0);
        (aim.passing[1].min, aim.passing[1].max) = (coarser - 8.0, coarser);
        // The second, finer one passes more of both: too much at the coarser size, by a point at least.
        assert!(passes(&aim, 1, 200.0) > coarser + 1.0);
        let problem = Problem::new(&aim, &judge, Objective::Cost, &aim.targets(), &[]);
        let left = Screen::new(&problem, 1).and_then(|screen| screen.left(1, f64::INFINITY)).unwrap();
        let sets: Vec<&[u16]> = left.sets.iter().map(|(set, _)| set.as_slice()).collect();
        assert_eq!(sets, [&[0_u16]]);
        // Where limits may be missed at a price, what meets them is worth nothing, however far off their middles.
        let elastic = [Target::Passing(0), Target::Passing(1)];
        let problem = Problem::new(&aim, &judge, Objective::Violation, &aim.targets(), &elastic);
        let left = Screen::new(&problem, 1).and_then(|screen| screen.left(1, 0.0)).unwrap();
        assert!(left.sets.iter().any(|(set, miss)| set == &[0_u16] && *miss == 0.0), "{:?}", left.sets);
        // A limit that is let go leaves nothing out.
        let screened = |gone: &[Target]| {
            let active: Vec<Target> = aim.targets().into_iter().filter(|t| !gone.contains(t)).collect();
            let problem = Problem::new(&aim, &judge, Objective::Cost, &active, &[]);
            Screen::new(&problem, 1).map_or_else(Vec::new, |screen| screen.targets)
        };
        assert_eq!(screened(&[]), [Target::Passing(0), Target::Passing(1)]);
        assert_eq!(screened(&[Target::Passing(1)]), [Target::Passing(0)]);
        assert_eq!(screened(&[Target::Passing(0), Target::Passing(1)]), []);
    }
}
