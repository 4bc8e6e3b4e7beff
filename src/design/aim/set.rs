//! The best shares of one powder set: the linear program, and what follows when its rub turns out to be grain-borne.

use super::problem::{Candidate, Objective, Problem};
use super::program::Shares;
use super::rows::{FIRST_MARGIN, RestsOn, Row};
use crate::numerics::linear::LinearError;
use crate::rub::Population;

/// A powder set with its best shares, % of the scrub.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SetBlend {
    /// Places among the candidates, rising.
    pub members: Vec<usize>,
    pub pct: Vec<f64>,
    pub objective: f64,
    /// Which variant of the band target it meets.
    pub variant: usize,
}

/// What became of a powder set.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Outcome {
    Found(SetBlend),
    /// No shares, or none better than asked for.
    None,
    /// The solver failed on it.
    Failed,
}

/// A share below this, % of the scrub, is none: a smaller set does as well.
pub(super) const NO_SHARE: f64 = 1e-7;
/// Gaps have settled when none moves by more than this, relative.
const SETTLED: f64 = 1e-9;
/// Steps after which gaps that have not settled are given up.
const STEPS: usize = 40;
/// Steps without any shares that meet the rows after which there are taken to be none.
const MOST_MISSES: usize = 6;
/// Steps after which each may go less far than the last.
const PLAIN_STEPS: usize = 8;
/// How far a share may move in a step, as a factor either way.
const FIRST_REACH: f64 = 4.0;
/// What a share near 0 may rise by in a step, % of the scrub.
const NUDGE_PCT: f64 = 0.05;
/// How much wider a gap is made for a slope, relative.
const WIDER: f64 = 1e-4;

impl Problem<'_> {
    /// The best shares of a powder set, all of it used, over all variants; nothing when they are worth more than `bound`.
    pub fn solve_set(&self, members: &[usize], bound: f64) -> Outcome {
        let mut best = Outcome::None;
        for variant in 0..self.variants.len() {
            let limit = if let Outcome::Found(b) = &best { b.objective.min(bound) } else { bound };
            match self.solve_variant(variant, members, limit) {
                Ok(Some(shares)) if shares.objective < limit && shares.pct.iter().all(|p| *p > NO_SHARE) => {
                    let Shares { pct, objective } = shares;
                    best = Outcome::Found(SetBlend { members: members.to_vec(), pct, objective, variant });
                }
                Err(LinearError::Failed(_)) if best == Outcome::None => best = Outcome::Failed,
                _ => {}
            }
        }
        best
    }

    fn solve_variant(&self, variant: usize, members: &[usize], bound: f64) -> Result<Option<Shares>, LinearError> {
        if !self.load_fits(members) {
            return Ok(None);
        }
        let rows = self.rows_at_least_gaps(variant, members);
        let bearing = self.may_be_grain_borne(variant, members);
        let certain = |r: &&Row| !bearing || r.rests_on == RestsOn::Sizes;
        if rows.iter().filter(certain).any(|r| self.is_impossible(members, r)) {
            return Ok(None);
        }
        // Removal at a wider gap is only less, so that this bound holds for a grain-borne rub too.
        if self.least_objective(members, &rows) >= bound {
            return Ok(None);
        }
        let linear = match self.minimise(members, |_| true, &rows) {
            Ok(shares) => Some(shares),
            Err(LinearError::Infeasible) => None,
            Err(e) => return Err(e),
        };
        match linear {
            Some(shares) if !bearing || self.is_shared(variant, members, &shares.pct) => Ok(Some(shares)),
            _ if bearing => Ok(self.solve_bearing(variant, members, &rows, linear, bound)),
            _ => Ok(None),
        }
    }

    /// The better of the best shared rub (exact) and a grain-borne one found by iteration.
    fn solve_bearing(
        &self,
        variant: usize,
        members: &[usize],
        rows: &[Row],
        linear: Option<Shares>,
        bound: f64,
    ) -> Option<Shares> {
        // Without the shared rows there was nothing: with them there is nothing either.
        let shared = linear.as_ref().and_then(|_| {
            let keep_shared = self.shared_rows(&self.variants[variant], members);
            let rows: Vec<Row> = rows.iter().cloned().chain(keep_shared).collect();
            self.minimise(members, |_| true, &rows).ok()
        });
        if !self.iterates {
            return shared;
        }
        let limit = shared.as_ref().map_or(bound, |s| s.objective.min(bound));
        let starts = self.borne_starts(variant, members, rows, limit);
        let starts = starts.into_iter().flat_map(|s| [Some(s), linear.as_ref().map(|l| l.pct.clone())]).flatten();
        let borne = starts.filter_map(|pct| self.corrected(variant, members, &pct, FIRST_MARGIN));
        borne.chain(shared).min_by(|a, b| a.objective.total_cmp(&b.objective))
    }

    /// Shares from which a grain-borne rub may be looked for: the relaxation of each site at which the set can carry a whole
    /// rub, where that can be better than `limit`.
    fn borne_starts(&self, variant: usize, members: &[usize], rows: &[Row], limit: f64) -> Vec<Vec<f64>> {
        let sites = self.sites_of(&self.variants[variant]).into_iter().filter(|s| self.may_bear(*s, members));
        let relaxed = sites.filter_map(|s| {
            let rows = self.borne_rows(rows, members, s);
            self.minimise(members, |_| true, &rows).ok()
        });
        relaxed.filter(|s| s.objective < limit).map(|s| s.pct).collect()
    }

    /// Solves again with every bound tightened by `margin`: for a blend that the full model finds just beyond a target.
    pub fn tightened(&self, blend: &SetBlend, margin: f64) -> Option<SetBlend> {
        let shares = self.corrected(blend.variant, &blend.members, &blend.pct, margin)?;
        Some(SetBlend { pct: shares.pct, objective: shares.objective, ..blend.clone() })
    }

    /// Solves by successive linear programs: the rows are written for the last shares, at the gaps of their full rub and
    /// with the slope at which the gaps follow the shares; and so on until the gaps stay. Then the rows say what the full
    /// model says. In a shared rub that is at once.
    fn corrected(&self, variant: usize, members: &[usize], pct: &[f64], margin: f64) -> Option<Shares> {
        let population = self.population(members);
        let mut last = pct.to_vec();
        let mut gaps = self.gaps(variant, members, &population, &last);
        let (mut reach, mut misses) = (FIRST_REACH, 0);
        for step in 0..STEPS {
            let rows = self.rows_about(variant, members, &last, &gaps, margin);
            let near = |(&m, p): (&usize, &f64)| {
                let (low, high) = self.bounds(m, true);
                let within = (low.max(p / reach), high.min(p * reach + NUDGE_PCT));
                if within.0 <= within.1 { within } else { (low, high) }
            };
            let bounds: Vec<(f64, f64)> = members.iter().zip(&last).map(near).collect();
            let solved = self.minimise_within(members, &bounds, &rows).ok();
            let next = match &solved {
                Some(shares) => shares.pct.clone(),
                None if misses < MOST_MISSES => {
                    misses += 1;
                    self.least_violation(&bounds, &rows).ok()?
                }
                None => return None,
            };
            let next_gaps = self.gaps(variant, members, &population, &next);
            let moved = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a - b).abs() / a).fold(0.0, f64::max);
            let settled = moved(&gaps, &next_gaps) <= SETTLED;
            if let Some(shares) = solved.filter(|_| settled) {
                return Some(shares);
            }
            (last, gaps) = (next, next_gaps);
            if step >= PLAIN_STEPS {
                reach = reach.powf(0.8);
            }
        }
        None
    }

    /// The scaled rows about some shares. Where the rub is grain-borne the gap follows the shares: by how much, and what
    /// that does to a row, is taken from the rows at a gap a little wider.
    fn rows_about(&self, variant: usize, members: &[usize], pct: &[f64], gaps: &[f64], margin: f64) -> Vec<Row> {
        let clauses = &self.variants[variant];
        let mut rows = self.rows(clauses, members, gaps, margin);
        let least = self.least_gaps();
        for site in self.sites_of(clauses).into_iter().filter(|s| gaps[*s] > least[*s]) {
            let step = WIDER * gaps[site];
            let mut wider = gaps.to_vec();
            wider[site] += step;
            let (carried, carried_wider) =
                (self.carried_at(members, site, gaps[site]), self.carried_at(members, site, wider[site]));
            let sum = |a: &[f64]| a.iter().zip(pct).map(|(a, p)| a * p).sum::<f64>();
            let carried_slope = (sum(&carried_wider) - sum(&carried)) / step;
            for (row, at_wider) in rows.iter_mut().zip(self.rows(clauses, members, &wider, margin)) {
                let slope = (sum(&at_wider.coefficients) - sum(&row.coefficients)) / step;
                let follow: Vec<f64> = carried.iter().map(|load| -slope * load / carried_slope).collect();
                // The row is written about these shares: what the slope adds there is taken off again.
                let offset = sum(&follow);
                row.coefficients.iter_mut().zip(&follow).for_each(|(a, f)| *a += f);
                row.low += offset;
                row.high += offset;
            }
        }
        rows.into_iter().map(|row| self.scaled(members, row)).collect()
    }

    fn population(&self, members: &[usize]) -> Population<'_> {
        Population { grains: members.iter().map(|&m| self.candidates[m].grains.clone()).collect() }
    }

    /// The gaps of all sites that the variant rests on; the least gap elsewhere.
    fn gaps(&self, variant: usize, members: &[usize], population: &Population, pct: &[f64]) -> Vec<f64> {
        let volumes: Vec<f64> = members.iter().zip(pct).map(|(&m, p)| p * self.candidates[m].volume).collect();
        let mut gaps = self.least_gaps();
        for site in self.sites_of(&self.variants[variant]) {
            gaps[site] = self.judge.model().rub_at(site, population, &volumes).gap_um;
        }
        gaps
    }

    /// Whether the load asked for lies between the least and the largest shares of a powder set.
    fn load_fits(&self, members: &[usize]) -> bool {
        let sum = |of: fn(&Candidate) -> f64| members.iter().map(|&m| of(&self.candidates[m])).sum::<f64>();
        self.is_elastic(super::Target::Shelf)
            || (sum(|c| c.min_pct) <= self.load_pct[1] && sum(|c| c.max_pct) >= self.load_pct[0])
    }

    /// Whether some shares of the set let the grains carry a whole rub at a site of the variant.
    fn may_be_grain_borne(&self, variant: usize, members: &[usize]) -> bool {
        self.sites_of(&self.variants[variant]).into_iter().any(|s| self.may_bear(s, members))
    }

    fn may_bear(&self, site: usize, members: &[usize]) -> bool {
        let carried = |m: usize| self.carried_mpa[site][m];
        let each = members.iter().map(|&m| carried(m) * self.candidates[m].max_pct).sum::<f64>();
        let all = members.iter().map(|&m| carried(m)).fold(0.0, f64::max) * self.load_pct[1];
        each.min(all) > self.judge.model().sites()[site].pressure_kpa * 1e-3
    }

    fn is_shared(&self, variant: usize, members: &[usize], pct: &[f64]) -> bool {
        let sites = self.judge.model().sites();
        self.sites_of(&self.variants[variant]).into_iter().all(|s| {
            let carried: f64 = members.iter().zip(pct).map(|(&m, p)| self.carried_mpa[s][m] * p).sum();
            carried <= sites[s].pressure_kpa * 1e-3
        })
    }

    /// Whether a row cannot be met by any shares within their bounds: cheap, and never wrong.
    fn is_impossible(&self, members: &[usize], row: &Row) -> bool {
        const SLACK: f64 = 1e-6;
        if self.is_elastic(row.target) {
            return false;
        }
        let most = self.most(members, row.coefficients.iter().copied());
        let least = -self.most(members, row.coefficients.iter().map(|a| -a));
        most < row.low - SLACK || least > row.high + SLACK
    }

    /// An upper bound of Σ a c: by the bounds of every share, and by the load.
    fn most(&self, members: &[usize], coefficients: impl Iterator<Item = f64>) -> f64 {
        let (mut by_share, mut largest) = (0.0, f64::NEG_INFINITY);
        for (a, &m) in coefficients.zip(members) {
            let candidate = &self.candidates[m];
            by_share += if a > 0.0 { a * candidate.max_pct } else { a * candidate.min_pct };
            largest = f64::max(largest, a);
        }
        by_share.min(largest * if largest > 0.0 { self.load_pct[1] } else { self.load_pct[0] })
    }

    /// A lower bound of the cost: what the cheapest member takes to reach each row's lower bound alone.
    fn least_objective(&self, members: &[usize], rows: &[Row]) -> f64 {
        if self.objective != Objective::Cost {
            return f64::NEG_INFINITY;
        }
        let load = members.iter().map(|&m| self.candidates[m].cost).fold(f64::INFINITY, f64::min) * self.load_pct[0];
        let reach = |row: &Row| {
            let costs = row.coefficients.iter().zip(members).filter(|(a, _)| **a > 0.0);
            costs.map(|(a, &m)| self.candidates[m].cost / a).fold(f64::INFINITY, f64::min) * row.low
        };
        rows.iter().filter(|r| r.low > 0.0 && r.low.is_finite()).map(reach).fold(load, f64::max)
    }
}
