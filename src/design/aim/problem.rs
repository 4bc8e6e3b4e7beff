//! What is searched: the powders that may be used, the targets in force, and the ways in which the band target can be met.

use super::rows::{FIRST_MARGIN, Row};
use super::target::{Aim, BandAim, FREE_LOAD_PCT, Goal, Target};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::powder::ShelfPowder;
use crate::rub::Grains;
use crate::tables::Criterion;

/// What is minimised.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Objective<'a> {
    /// Cost, or the load where prices are missing.
    Cost,
    /// Root mean square deviation of the curve, percentage points.
    Curve(&'a [(f64, f64)]),
    /// Sum of changes from these shares, one per candidate, plus a constant.
    Change,
    /// Sum of the elastic targets' relative violations.
    Violation,
}

/// A condition on a band: one way to be within it, or beyond it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Clause {
    Meets(usize),
    Breaks(usize, Criterion),
}

/// Conditions that hold together; the band target is met when one variant is.
pub(super) type Variant = Vec<Clause>;

/// A powder of the shelf that may be used.
pub(super) struct Candidate<'a> {
    /// Place on the shelf.
    pub place: usize,
    pub shelf: &'a ShelfPowder,
    pub min_pct: f64,
    pub max_pct: f64,
    /// Cost of 1 % of a kilogram of scrub.
    pub cost: f64,
    pub grains: Grains<'a>,
    /// cm³ in a gram of scrub per % of the scrub.
    pub volume: f64,
}

/// The whole problem: candidates, targets in force, and which of them may be missed at a price.
pub(super) struct Problem<'a> {
    pub aim: &'a Aim,
    pub judge: &'a Judge,
    pub candidates: Vec<Candidate<'a>>,
    pub objective: Objective<'a>,
    pub active: Vec<Target>,
    pub elastic: Vec<Target>,
    pub variants: Vec<Variant>,
    /// Shares of the scrub that [`Objective::Change`] starts from, one per candidate, and what is not among them.
    pub start: (Vec<f64>, f64),
    /// Rows of every variant over all candidates, at the least gaps.
    pub least_gap_rows: Vec<Vec<Row>>,
    /// Whether grain-borne rubs are looked for too, by iteration.
    pub iterates: bool,
    /// The load asked for, % of the scrub.
    pub load_pct: [f64; 2],
    /// Pressure that 1 % of each candidate carries at the least gap of each site, MPa.
    pub carried_mpa: Vec<Vec<f64>>,
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
            start,
            least_gap_rows: Vec::new(),
            iterates: true,
            load_pct,
            carried_mpa: Vec::new(),
        };
        let consistent: Vec<Variant> = problem.variants.iter().filter(|v| problem.is_consistent(v)).cloned().collect();
        problem.variants = consistent;
        let all: Vec<usize> = (0..problem.candidates.len()).collect();
        let gaps = problem.least_gaps();
        let carried = |(site, gap): (usize, &f64)| problem.carried_at(&all, site, *gap);
        problem.carried_mpa = gaps.iter().enumerate().map(carried).collect();
        let rows = |v: &Variant| {
            let rows = problem.rows(v, &all, &gaps, FIRST_MARGIN);
            rows.into_iter().map(|row| problem.scaled(&all, row)).collect()
        };
        problem.least_gap_rows = problem.variants.iter().map(rows).collect();
        problem
    }

    /// Whether the index may be what the target and the bands of a variant ask for together, whatever the blend.
    fn is_consistent(&self, variant: &Variant) -> bool {
        if self.is_elastic(Target::Band) || self.is_elastic(Target::Index) {
            return true;
        }
        let stated = self.aim.index.as_ref().filter(|_| self.has(Target::Index));
        let start = stated.map_or((0.0, f64::INFINITY), |i| (i.low, i.high));
        let limit = |rank: usize| self.judge.bands()[rank].limit(Criterion::Index);
        let (low, high) = variant.iter().fold(start, |(low, high), clause| match clause {
            Clause::Meets(rank) => (low, f64::min(high, limit(*rank))),
            Clause::Breaks(rank, Criterion::Index) => (f64::max(low, limit(*rank)), high),
            Clause::Breaks(..) => (low, high),
        });
        low <= high
    }

    /// The gap of every site in a shared rub, µm.
    pub fn least_gaps(&self) -> Vec<f64> {
        self.judge.model().sites().iter().map(|s| s.gap_um).collect()
    }

    /// Sites whose rub the rows of a variant rest on.
    pub fn sites_of(&self, variant: &Variant) -> Vec<usize> {
        let mut sites: Vec<usize> = variant.iter().map(|c| self.judge.site_of(rank_of(*c))).collect();
        if self.has(Target::Index) || !variant.is_empty() {
            sites.push(self.judge.model().reference_position());
        }
        sites.sort_unstable();
        sites.dedup();
        sites
    }

    pub fn has(&self, target: Target) -> bool {
        self.active.contains(&target)
    }
}

pub(super) fn rank_of(clause: Clause) -> usize {
    match clause {
        Clause::Meets(rank) | Clause::Breaks(rank, _) => rank,
    }
}

fn candidates<'a>(aim: &'a Aim, judge: &Judge, active: &[Target], elastic: &[Target]) -> Vec<Candidate<'a>> {
    let floor = judge.model().floor_um();
    let shelf_holds = active.contains(&Target::Shelf);
    let keeps_out = active.contains(&Target::Without);
    let is_allowed = |s: &ShelfPowder| !(keeps_out && aim.excludes(s));
    let priced = aim.shelf.iter().filter(|s| is_allowed(s)).all(|s| s.powder.price_per_kg.is_some());
    let of = |(place, shelf): (usize, &'a ShelfPowder)| {
        let powder = &shelf.powder;
        let most = if shelf_holds { aim.most_pct(shelf) } else { 100.0 };
        Candidate {
            place,
            shelf,
            min_pct: shelf.min_pct,
            max_pct: most,
            cost: if priced { powder.price_per_kg.unwrap_or(0.0) / 100.0 } else { 1.0 },
            grains: Grains::new(
                &powder.size.distribution,
                powder.density.get(),
                powder.hardness.get(),
                powder.roundness.get(),
                floor,
            ),
            volume: 0.01 / powder.density.get(),
        }
    };
    let allowed = aim.shelf.iter().enumerate().filter(|(_, s)| is_allowed(s)).map(of);
    // A powder whose stock does not reach its least share cannot be used at all.
    allowed.filter(|c| elastic.contains(&Target::Shelf) || (c.max_pct > 0.0 && c.min_pct <= c.max_pct)).collect()
}

/// Share of a powder in a scrub, by name, % of the scrub.
pub(super) fn pct_in(scrub: &Scrub, name: &str) -> f64 {
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
