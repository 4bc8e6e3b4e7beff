//! What is searched: the powders that may be used, the targets in force, and the ways in which the band target can be met.

use super::target::{Aim, BandAim, FREE_LOAD_PCT, Goal, Target};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::powder::ShelfPowder;
use crate::rub::Grains;
use crate::tables::Criterion;
use std::sync::Arc;

/// What is minimised.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::aim) enum Objective<'a> {
    /// Cost, or the load where prices are missing.
    Cost,
    /// Root mean square deviation of the curve, percentage points.
    Curve(&'a [(f64, f64)]),
    /// Sum of changes from these shares, one per candidate, plus a constant.
    Change,
    /// Sum of the elastic targets' misses, each as a share of the limit missed.
    Violation,
    /// None: any blend will do.
    Any,
}

impl Objective<'_> {
    /// Differences below this are nothing to anybody: a curve that is met exactly is off by nothing, and no share of that is small enough.
    pub fn close(self) -> f64 {
        match self {
            Self::Curve(_) => 1e-4,
            Self::Change => 1e-6,
            Self::Cost | Self::Violation | Self::Any => 0.0,
        }
    }
}

/// A condition on a band: one way to be within it, or beyond it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::aim) enum Clause {
    Meets(usize),
    Breaks(usize, Criterion),
}

/// Conditions that hold together; the band target is met when one variant is.
pub(in crate::aim) type Variant = Vec<Clause>;

/// A powder of the shelf that may be used.
pub(in crate::aim) struct Candidate<'a> {
    /// Place on the shelf.
    pub place: usize,
    pub shelf: &'a ShelfPowder,
    pub min_pct: f64,
    pub max_pct: f64,
    /// Cost of 1 % of a kilogram of scrub.
    pub cost: f64,
    pub grains: Arc<Grains>,
    /// cm³ in a gram of scrub per % of the scrub.
    pub volume: f64,
}

/// The whole problem: candidates, targets in force, and which of them may be missed at a price.
pub(in crate::aim) struct Problem<'a> {
    pub aim: &'a Aim,
    pub judge: &'a Judge,
    pub candidates: Vec<Candidate<'a>>,
    pub objective: Objective<'a>,
    pub active: Vec<Target>,
    pub elastic: Vec<Target>,
    pub variants: Vec<Variant>,
    /// Whether ways to meet the band target were left out because their limits contradict each other or another target.
    pub contradicts: bool,
    /// Shares of the scrub that [`Objective::Change`] starts from, one per candidate, and what is not among them.
    pub start: (Vec<f64>, f64),
    /// The load asked for, % of the scrub.
    pub load_pct: [f64; 2],
    /// Pressure that 1 % of each candidate carries at the least gap of each site, MPa.
    pub carried_mpa: Vec<Vec<f64>>,
    /// For [`Objective::Curve`]: how far each candidate's passing is from the curve at every size.
    pub curve_offsets: Vec<Vec<f64>>,
}

impl<'a> Problem<'a> {
    /// The problem with only `active` targets, `elastic` of which may be missed.
    pub fn new(
        aim: &'a Aim,
        judge: &'a Judge,
        objective: Objective<'a>,
        active: &[Target],
        elastic: &[Target],
    ) -> Self {
        let candidates = candidates(aim, judge, active, elastic);
        let start = match &aim.goal {
            Goal::LeastChange(scrub) => start_of(scrub, &candidates),
            _ => (vec![0.0; candidates.len()], 0.0),
        };
        let in_force = |t: Target| active.contains(&t);
        let variants = aim.band.filter(|_| in_force(Target::Band)).map_or(vec![Vec::new()], |b| variants(b, judge));
        let load_pct = if in_force(Target::Load) && !elastic.contains(&Target::Load) {
            aim.load_range_pct()
        } else {
            FREE_LOAD_PCT
        };
        let (active, elastic) = (active.to_vec(), elastic.to_vec());
        let mut problem = Self {
            aim,
            judge,
            candidates,
            objective,
            active,
            elastic,
            variants,
            contradicts: false,
            start,
            load_pct,
            carried_mpa: Vec::new(),
            curve_offsets: Vec::new(),
        };
        let consistent: Vec<Variant> = problem.variants.iter().filter(|v| problem.is_consistent(v)).cloned().collect();
        problem.contradicts = consistent.len() < problem.variants.len();
        problem.variants = consistent;
        let all: Vec<usize> = (0..problem.candidates.len()).collect();
        let gaps = problem.least_gaps();
        let carried = |(site, gap): (usize, &f64)| problem.carried_at(&all, site, *gap);
        problem.carried_mpa = gaps.iter().enumerate().map(carried).collect();
        if let Objective::Curve(points) = objective {
            let off = |m: usize| points.iter().map(|&(um, share)| problem.undersize(m, um) - share).collect();
            problem.curve_offsets = all.iter().map(|&m| off(m)).collect();
        }
        problem
    }

    /// Whether index and D99 may be what their targets and the bands of a variant ask for together, whatever the blend: a limit
    /// that must be broken lies below those that must be met.
    fn is_consistent(&self, variant: &Variant) -> bool {
        let is_fixed = |t: Target| !self.is_elastic(t);
        let index = self.aim.index.as_ref().filter(|_| self.has(Target::Index) && is_fixed(Target::Index));
        let d99 = self.aim.d99_um.filter(|_| self.has(Target::D99) && is_fixed(Target::D99));
        let stated = |criterion| match criterion {
            Criterion::Index => index.map_or((0.0, f64::INFINITY), |i| (i.low, i.high)),
            Criterion::D99 => (0.0, d99.unwrap_or(f64::INFINITY)),
            Criterion::GrooveRatio | Criterion::NotOnFace => (0.0, f64::INFINITY),
        };
        let agrees = |criterion: Criterion| {
            let limit = |rank: usize| self.judge.bands()[rank].limit(criterion);
            let mut met = stated(criterion).1;
            let mut broken = f64::NEG_INFINITY;
            for clause in variant {
                match *clause {
                    Clause::Meets(rank) => met = f64::min(met, limit(rank)),
                    Clause::Breaks(rank, c) if c == criterion => broken = f64::max(broken, limit(rank)),
                    Clause::Breaks(..) => {}
                }
            }
            broken < met && stated(criterion).0 <= met
        };
        // Groove ratios of different sites are different figures.
        !is_fixed(Target::Band) || [Criterion::Index, Criterion::D99].into_iter().all(agrees)
    }

    /// The gap of every site in a shared rub, µm.
    pub fn least_gaps(&self) -> Vec<f64> {
        self.judge.model().sites().iter().map(|s| s.gap_um).collect()
    }

    pub fn has(&self, target: Target) -> bool {
        self.active.contains(&target)
    }
}

fn candidates<'a>(aim: &'a Aim, judge: &Judge, active: &[Target], elastic: &[Target]) -> Vec<Candidate<'a>> {
    let floor = judge.model().floor_um();
    let shelf_holds = active.contains(&Target::Shelf);
    let keeps_out = active.contains(&Target::Without);
    let least_pct = if active.contains(&Target::LeastShare) { aim.least_pct } else { 0.0 };
    let is_allowed = |s: &ShelfPowder| !(keeps_out && aim.excludes(s));
    let priced = aim.shelf.iter().filter(|s| is_allowed(s)).all(|s| s.powder.stock.price_per_kg.is_some());
    let of = |(place, shelf): (usize, &'a ShelfPowder)| {
        let powder = &shelf.powder;
        let most = if shelf_holds { aim.most_pct(shelf) } else { 100.0 };
        Candidate {
            place,
            shelf,
            min_pct: shelf.min_pct.max(least_pct),
            max_pct: most,
            cost: if priced { powder.stock.price_per_kg.unwrap_or(0.0) / 100.0 } else { 1.0 },
            grains: Arc::new(Grains::of(powder, floor)),
            volume: 0.01 / powder.density.get(),
        }
    };
    let allowed = aim.shelf.iter().enumerate().filter(|(_, s)| is_allowed(s)).map(of);
    // A powder whose stock does not reach its least share cannot be used at all.
    allowed.filter(|c| elastic.contains(&Target::Shelf) || (c.max_pct > 0.0 && c.min_pct <= c.max_pct)).collect()
}

/// Share of a powder in a scrub, by name, % of the scrub.
pub(in crate::aim) fn pct_in(scrub: &Scrub, name: &str) -> f64 {
    let component = scrub.blend.components().iter().find(|c| c.powder.name == name);
    component.map_or(0.0, |c| c.mass * scrub.load.get())
}

/// Shares of a scrub among the candidates, by name, and the sum of those that are not there.
fn start_of(scrub: &Scrub, candidates: &[Candidate]) -> (Vec<f64>, f64) {
    let start: Vec<f64> = candidates.iter().map(|c| pct_in(scrub, &c.shelf.powder.name)).collect();
    let elsewhere = (scrub.load.get() - start.iter().sum::<f64>()).max(0.0);
    (start, elsewhere)
}

/// The ways to meet a band target. A band that another one allows wholly needs no variant of its own.
fn variants(band: BandAim, judge: &Judge) -> Vec<Variant> {
    match band {
        BandAim::NoHarsher(limit) => {
            let within = |r: usize| (0..=limit).any(|other| other != r && is_within(judge, r, other));
            (0..=limit.min(judge.bands().len() - 1))
                .rev()
                .filter(|r| !within(*r))
                .map(|r| vec![Clause::Meets(r)])
                .collect()
        }
        BandAim::Exactly(rank) => {
            let milder: Vec<usize> =
                (0..rank).filter(|&r| !(0..rank).any(|other| other != r && is_within(judge, r, other))).collect();
            let mut variants = vec![vec![Clause::Meets(rank)]];
            for r in milder {
                let broken = |v: &Variant| {
                    let v = v.clone();
                    let limited = Criterion::ALL.into_iter().filter(|c| judge.bands()[r].limit(*c).is_finite());
                    limited.map(move |c| v.iter().copied().chain([Clause::Breaks(r, c)]).collect::<Variant>())
                };
                variants = variants.iter().flat_map(broken).collect();
            }
            variants
        }
    }
}

/// Whether whatever band `r` allows, `other` allows too: the same site and no limit tighter.
fn is_within(judge: &Judge, r: usize, other: usize) -> bool {
    let (inner, outer) = (&judge.bands()[r], &judge.bands()[other]);
    let same = inner.limits == outer.limits;
    inner.site == outer.site
        && Criterion::ALL.iter().all(|c| inner.limit(*c) <= outer.limit(*c))
        && !(same && r < other)
}
