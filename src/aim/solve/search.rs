//! Branch and bound, the most promising part first. A part is relaxed to a program; where that is no better than what is
//! known, or has no point, the part is done with. What the relaxation takes and a blend may not is cut: clusters that it mixes,
//! powders below their least share, a gap or a miss that is not the full model's.
//!
//! Parts are taken in chunks of fixed size, so that the number of cores does not show in the result.

use super::node::Node;
use super::ranking::Ranking;
use super::region::GapRegion;
use super::relax::{Relaxation, Relaxed};
use super::screen::Screen;
use super::set::SetBlend;
use crate::aim::statement::problem::Problem;
use crate::aim::statement::target::Target;
use crate::numerics::parallel::each;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Parts relaxed between two looks at the best so far.
const CHUNK: usize = 32;
/// Parts after which all powder sets are looked at; again whenever there are four times as many.
const FIRST_SCREEN: u64 = 64;
/// Parts after which a search stops by itself, and says so.
pub const MOST_PARTS: u64 = 400_000;
/// How closely a bound has to come to a blend, as a share of its objective, to prove it: rows alone; with the gap of a
/// grain-borne rub found by halving; with the least of one miss, or of a sum of several.
const PROVEN: f64 = 1e-9;
const PROVEN_BORNE: f64 = 1e-5;
const PROVEN_MISS: f64 = 1e-3;
const PROVEN_MISSES: f64 = 2e-3;
/// Misses are told no closer than this share of the limit.
const NO_MISS: f64 = 1e-5;

/// How a search stands, for whoever waits for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// What the best blend so far is worth.
    pub best: Option<f64>,
    /// No blend is worth less.
    pub bound: f64,
    /// Parts of the search that were looked at.
    pub done: u64,
    /// Parts that are still open.
    pub open: usize,
}

/// Told now and then how a search stands; the search stops when it says false.
pub type Watch<'w> = &'w dyn Fn(&Progress) -> bool;

/// How long a search may go on.
#[derive(Clone, Copy)]
pub(in crate::aim) struct Effort<'w> {
    pub parts: u64,
    pub watch: Option<Watch<'w>>,
}

impl<'w> Effort<'w> {
    /// As long as the watch says; without one, many parts.
    pub fn watched(watch: Option<Watch<'w>>) -> Self {
        Self { parts: if watch.is_some() { u64::MAX } else { MOST_PARTS }, watch }
    }
}

/// What comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::aim) enum SearchOrder {
    /// The better objective.
    Best,
    /// The fewer powders, then the better objective.
    FewestFirst,
    /// Only whether there is any blend.
    AnyBlend,
}

/// Makes a blend final, with what it is worth; or drops it.
pub(in crate::aim) type Finisher<'c> = &'c (dyn Fn(&SetBlend) -> Option<SetBlend> + Sync);

/// What a search found, and what it has to say of itself.
#[derive(Debug, Clone)]
pub(in crate::aim) struct Search {
    pub blends: Vec<SetBlend>,
    /// It was stopped before its end: no blend that is not here is worth less than this.
    pub stopped_at: Option<f64>,
    /// Programs that the solver failed on, and blends that the full model does not confirm: what is there is no proof of none.
    pub doubtful: usize,
    /// Targets that the proof of there being no further blend rests on.
    pub proving: Vec<Target>,
    /// Parts looked at.
    pub done: u64,
}

/// Looks for the best `top` blends of at most `most` powders.
pub(in crate::aim) fn search(
    problem: &Problem,
    most: usize,
    top: usize,
    order: SearchOrder,
    check: Finisher,
    effort: Effort,
) -> Search {
    let most = most.min(problem.candidates.len());
    if order != SearchOrder::FewestFirst {
        return SearchRun::new(problem, order, check, Ranking::new(top, Vec::new())).go(most, effort);
    }
    let mut all = Search { blends: Vec::new(), stopped_at: None, doubtful: 0, proving: Vec::new(), done: 0 };
    for size in 1..=most {
        let ranking = Ranking::new(top - all.blends.len(), all.blends.clone());
        let left = Effort { parts: effort.parts.saturating_sub(all.done), ..effort };
        let of_size = SearchRun::new(problem, SearchOrder::Best, check, ranking).go(size, left);
        all.blends.extend(of_size.blends);
        all.doubtful += of_size.doubtful;
        all.proving.extend(of_size.proving);
        all.done += of_size.done;
        all.stopped_at = of_size.stopped_at.map(|_| size as f64);
        if all.blends.len() >= top || all.stopped_at.is_some() {
            break;
        }
    }
    all
}

/// A part in the order in which parts are taken: the least bound, then the deepest, then the newest.
struct WaitingPart {
    node: Node,
    number: u64,
}

impl Ord for WaitingPart {
    fn cmp(&self, other: &Self) -> Ordering {
        let bound = other.node.bound.total_cmp(&self.node.bound);
        bound.then(self.node.depth.cmp(&other.node.depth)).then(self.number.cmp(&other.number))
    }
}

impl PartialOrd for WaitingPart {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for WaitingPart {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for WaitingPart {}

/// What became of a part.
enum PartOutcome {
    /// It holds no blend; what proves it.
    Empty(Vec<Target>),
    /// It holds none that is better than what is known.
    NoBetter,
    /// The solver failed on it.
    Failed,
    Children(Vec<Node>),
    /// The best of it is a blend of this set, known now; what else it holds is still open.
    Settled(Box<(Node, Relaxed)>),
    /// The best of it is a blend that the full model does not confirm.
    Unconfirmed,
}

/// What waited when the powder sets that a screen left took its place.
struct Kept {
    waiting: BinaryHeap<WaitingPart>,
    /// No blend of any other set is worth less.
    beyond: f64,
    /// Parts after which the sets that are left are given up, since they are no quicker.
    until: u64,
}

struct SearchRun<'a, 'p, 'c> {
    problem: &'a Problem<'p>,
    order: SearchOrder,
    check: Finisher<'c>,
    ranking: Ranking,
    waiting: BinaryHeap<WaitingPart>,
    kept: Option<Kept>,
    pushed: u64,
    result: Search,
}

impl<'a, 'p, 'c> SearchRun<'a, 'p, 'c> {
    fn new(problem: &'a Problem<'p>, order: SearchOrder, check: Finisher<'c>, ranking: Ranking) -> Self {
        let contradiction = [Target::Index, Target::Band, Target::D99];
        let proving = if problem.contradicts { contradiction.to_vec() } else { Vec::new() };
        let result = Search { blends: Vec::new(), stopped_at: None, doubtful: 0, proving, done: 0 };
        Self { problem, order, check, ranking, waiting: BinaryHeap::new(), kept: None, pushed: 0, result }
    }

    fn go(mut self, most: usize, effort: Effort) -> Search {
        let regions = self.problem.regions();
        if !self.problem.elastic.is_empty() {
            self.find_some_blend(&regions, most);
        }
        let cutoff = self.ranking.cutoff();
        for region in &regions {
            self.push(Node::root(self.problem, region.clone().within_misses(cutoff), most));
        }
        let mut next_screen = FIRST_SCREEN;
        while self.order != SearchOrder::AnyBlend || self.ranking.blends.is_empty() {
            let bound = self.bound();
            if self.waiting.is_empty() || self.is_beaten(bound, self.ranking.cutoff(), false) {
                break;
            }
            let progress = Progress {
                best: self.ranking.blends.first().map(|b| b.objective),
                bound,
                done: self.result.done,
                open: self.waiting.len(),
            };
            let goes_on = self.result.done < effort.parts && effort.watch.is_none_or(|watch| watch(&progress));
            if !goes_on {
                self.result.stopped_at = Some(bound);
                break;
            }
            if self.result.done >= next_screen && self.kept.is_none() {
                next_screen = 4 * self.result.done;
                self.screen(&regions, most);
            }
            self.chunk();
        }
        self.result.proving.sort_unstable();
        self.result.proving.dedup();
        Search { blends: self.ranking.blends, ..self.result }
    }

    /// Puts the powder sets that are left, where they are few, in the place of all that waits.
    fn screen(&mut self, regions: &[GapRegion], most: usize) {
        let Some(screen) = Screen::new(self.problem, most) else { return };
        let cutoff = self.ranking.cutoff();
        let Some(left) = screen.left(most, cutoff) else { return };
        let until = self.result.done * (1 + screen.parts_for_one());
        self.kept = Some(Kept { waiting: std::mem::take(&mut self.waiting), beyond: left.beyond, until });
        self.result.proving.extend(&screen.targets);
        for region in regions {
            let root = Node::root(self.problem, region.clone().within_misses(cutoff), most);
            for (set, bound) in &left.sets {
                self.push(Node { bound: *bound, ..root.of_set(set) });
            }
        }
    }

    /// No blend that is still to be found is worth less. Where only sets are left that the screen left out, the search goes on as it was
    /// before, knowing that of them.
    fn bound(&mut self) -> f64 {
        let waiting = |run: &Self| run.waiting.peek().map_or(f64::INFINITY, |w| w.node.bound);
        let Some(Kept { beyond, until, .. }) = self.kept else { return waiting(self) };
        let are_done = waiting(self) >= beyond;
        let stays = if are_done { beyond >= self.ranking.cutoff() } else { self.result.done < until };
        if stays {
            return waiting(self).min(beyond);
        }
        let least = if are_done { beyond } else { f64::NEG_INFINITY };
        self.waiting.clear();
        for kept in self.kept.take().into_iter().flat_map(|kept| kept.waiting) {
            let node = Node { bound: kept.node.bound.max(least), ..kept.node };
            self.waiting.push(WaitingPart { node, ..kept });
        }
        waiting(self)
    }

    /// Where targets may be missed at a price any blend is one: the first tells how far a miss is worth looking at.
    fn find_some_blend(&mut self, regions: &[GapRegion], most: usize) {
        for region in regions {
            let node = Node::root(self.problem, region.clone(), most);
            if let Relaxation::Solved(relaxed) = node.relaxed(self.problem, f64::INFINITY) {
                let blend = self.largest_few(&node, &relaxed.shares);
                blend.into_iter().for_each(|b| self.ranking.offer(b));
            }
        }
    }

    fn push(&mut self, node: Node) {
        self.pushed += 1;
        self.waiting.push(WaitingPart { node, number: self.pushed });
    }

    fn chunk(&mut self) {
        let parts: Vec<Node> = (0..CHUNK).map_while(|_| self.waiting.pop()).map(|w| w.node).collect();
        self.result.done += parts.len() as u64;
        for (outcome, blends) in self.all_relaxed(parts) {
            blends.into_iter().for_each(|b| self.ranking.offer(b));
            match outcome {
                PartOutcome::Empty(targets) => self.result.proving.extend(targets),
                PartOutcome::NoBetter => {}
                PartOutcome::Failed | PartOutcome::Unconfirmed => self.result.doubtful += 1,
                PartOutcome::Children(children) => children.into_iter().for_each(|c| self.push(c)),
                PartOutcome::Settled(settled) => {
                    let (node, relaxed) = *settled;
                    self.go_round(&node, &relaxed);
                }
            }
        }
        if self.result.proving.len() > 4096 {
            self.result.proving.sort_unstable();
            self.result.proving.dedup();
        }
    }

    /// All of a part but the set that is its best, or what that set merely adds powders to.
    fn go_round(&mut self, node: &Node, relaxed: &Relaxed) {
        if self.ranking.top() == 1 && self.ranking.ahead.is_empty() {
            return;
        }
        let members: Vec<usize> = relaxed.shares.iter().map(|s| usize::from(s.0)).collect();
        let blocking = self.ranking.blocking(&members, relaxed.bound).map(|b| b.members.clone());
        let set: Vec<u16> = blocking.unwrap_or(members).into_iter().map(|m| m as u16).collect();
        for child in node.others_than(&set, relaxed.bound, &relaxed.start) {
            self.push(child);
        }
    }

    fn all_relaxed(&self, parts: Vec<Node>) -> Vec<(PartOutcome, Vec<SetBlend>)> {
        each(parts, |node| self.look_at(node))
    }

    /// How closely a bound has to come to an objective in a region.
    fn tolerance(&self, is_borne: bool) -> f64 {
        match self.problem.elastic.len() {
            0 if is_borne => PROVEN_BORNE,
            0 => PROVEN,
            1 => PROVEN_MISS,
            _ => PROVEN_MISSES,
        }
    }

    /// Whether a part with this bound holds nothing better than `objective`.
    fn is_beaten(&self, bound: f64, objective: f64, is_borne: bool) -> bool {
        let room = self.tolerance(is_borne) * objective.abs() + self.problem.objective.close();
        let room = if self.problem.elastic.is_empty() { room } else { room + NO_MISS };
        objective.is_finite() && bound >= objective - room
    }

    fn look_at(&self, node: Node) -> (PartOutcome, Vec<SetBlend>) {
        let (cutoff, is_borne) = (self.ranking.cutoff(), node.place.region.is_borne());
        if self.is_beaten(node.bound, cutoff, is_borne) {
            return (PartOutcome::NoBetter, Vec::new());
        }
        let relaxed = match node.relaxed(self.problem, cutoff) {
            Relaxation::Solved(relaxed) => relaxed,
            Relaxation::Infeasible(targets) => return (PartOutcome::Empty(targets), Vec::new()),
            Relaxation::Failed => return (PartOutcome::Failed, Vec::new()),
        };
        let bound = relaxed.bound.max(node.bound);
        if self.is_beaten(bound, cutoff, is_borne) {
            return (PartOutcome::NoBetter, Vec::new());
        }
        let (shares, start) = (&relaxed.shares, &relaxed.start);
        if let Some(cluster) = node.overdrawn(shares) {
            let frame = node.place.frame(self.problem);
            let children = node.parted(cluster, shares, frame, &relaxed.weights, bound, start);
            let blends = self.largest_few(&node, shares);
            return (PartOutcome::Children(children), blends.into_iter().collect());
        }
        let too_little = |(m, pct): &&(u16, f64)| {
            *pct < self.problem.candidates[usize::from(*m)].min_pct - 1e-9 && node.forced.binary_search(m).is_err()
        };
        if let Some((powder, _)) = shares.iter().find(too_little) {
            let children = vec![node.with(*powder, bound, start), node.without(*powder, bound, start)];
            return (PartOutcome::Children(children), self.largest_few(&node, shares).into_iter().collect());
        }
        self.settle(node, Relaxed { bound, ..relaxed })
    }

    /// The set of those powders that a relaxation takes most of, as many as may be used: a blend to hold others against.
    fn largest_few(&self, node: &Node, shares: &[(u16, f64)]) -> Option<SetBlend> {
        let mut few: Vec<(u16, f64)> = shares.to_vec();
        few.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut set: Vec<u16> = few.iter().take(node.most()).map(|s| s.0).collect();
        set.sort_unstable();
        let places: Vec<usize> = set.iter().map(|m| usize::from(*m)).collect();
        if self.ranking.best_of(&places).is_some() {
            return None;
        }
        let Relaxation::Solved(relaxed) = node.of_set(&set).relaxed(self.problem, self.ranking.cutoff()) else {
            return None;
        };
        let blend = self.blend(node, &relaxed);
        let worth = if self.problem.elastic.is_empty() { blend.objective } else { f64::NEG_INFINITY };
        (worth < self.ranking.cutoff()).then(|| (self.check)(&blend))?
    }

    fn blend(&self, node: &Node, relaxed: &Relaxed) -> SetBlend {
        let members: Vec<usize> = relaxed.shares.iter().map(|s| usize::from(s.0)).collect();
        let pct: Vec<f64> = relaxed.shares.iter().map(|s| s.1).collect();
        let objective = self.problem.worth(&members, &pct);
        SetBlend { members, pct, objective, variant: node.place.region.variant }
    }

    /// A relaxation that a blend could be: held against the full model, and its region cut where the two differ.
    fn settle(&self, node: Node, relaxed: Relaxed) -> (PartOutcome, Vec<SetBlend>) {
        let blend = self.blend(&node, &relaxed);
        let region = &node.place.region;
        let is_borne = region.is_borne();
        let known = self.ranking.best_of(&blend.members);
        if known.is_some_and(|known| self.is_beaten(relaxed.bound, known, is_borne)) {
            return (PartOutcome::Settled(Box::new((node, relaxed))), Vec::new());
        }
        let confirmed = (self.check)(&blend);
        let mut blends: Vec<SetBlend> = confirmed.iter().cloned().collect();
        let is_proof = |b: &SetBlend| {
            let tolerance_met = self.is_beaten(relaxed.bound, b.objective, is_borne);
            // Without gaps or misses to find, what the full model made of the blend is within its own rounding of the optimum.
            tolerance_met || !is_borne && self.problem.elastic.is_empty()
        };
        if confirmed.as_ref().is_some_and(is_proof) {
            return (PartOutcome::Settled(Box::new((node, relaxed))), blends);
        }
        if confirmed.is_none() && is_borne {
            blends.extend(self.at_middle_gap(&node, &blend).and_then(|b| (self.check)(&b)));
        }
        let off = self.misses_beyond(&blend, &relaxed);
        let outcome = match region.halves(&off, self.ranking.cutoff()) {
            Some(halves) => PartOutcome::Children(
                halves.map(|r| node.within(r, relaxed.bound, &relaxed.start)).into_iter().collect(),
            ),
            None => PartOutcome::Unconfirmed,
        };
        (outcome, blends)
    }

    /// By how much each elastic target is missed beyond what the relaxation took.
    fn misses_beyond(&self, blend: &SetBlend, relaxed: &Relaxed) -> Vec<f64> {
        if self.problem.elastic.is_empty() {
            return Vec::new();
        }
        let Some(misses) = self.problem.misses(blend) else { return vec![0.0; relaxed.misses.len()] };
        misses.iter().zip(&relaxed.misses).map(|(own, taken)| own - taken).collect()
    }

    /// The best shares of a blend's powders at the middle of the region's gaps, where every row is exact.
    fn at_middle_gap(&self, node: &Node, blend: &SetBlend) -> Option<SetBlend> {
        let region = node.place.region.middle()?;
        let set: Vec<u16> = blend.members.iter().map(|m| *m as u16).collect();
        let exact = node.within(region, f64::NEG_INFINITY, &node.start).of_set(&set);
        match exact.relaxed(self.problem, f64::INFINITY) {
            Relaxation::Solved(relaxed) => Some(self.blend(node, &relaxed)),
            _ => None,
        }
    }
}
