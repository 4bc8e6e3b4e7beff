//! A powder set with its shares, and the shares corrected until the full model confirms them.

use super::program::Shares;
use crate::aim::statement::problem::Problem;
use crate::aim::statement::rows::LimitRow;
use crate::rub::Population;
use std::sync::Arc;

/// A powder set with its best shares, % of the scrub.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::aim) struct SetBlend {
    /// Places among the candidates, rising.
    pub members: Vec<usize>,
    pub pct: Vec<f64>,
    pub objective: f64,
    /// Which variant of the band target it meets.
    pub variant: usize,
}

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
    fn rows_about(&self, variant: usize, members: &[usize], pct: &[f64], gaps: &[f64], margin: f64) -> Vec<LimitRow> {
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

    fn population(&self, members: &[usize]) -> Population {
        Population { grains: members.iter().map(|&m| Arc::clone(&self.candidates[m].grains)).collect() }
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;
    use crate::aim::statement::problem::Objective;
    use approx::assert_relative_eq;

    #[test]
    fn rows_about_shares_say_what_the_full_model_says_there_and_how_it_changes() {
        // The index asked for is just that of the shares, in a rub that grains bear, where the gap follows them.
        let (mut aim, judge) =
            invented::aim(&[(300.0, 2.0), (120.0, 3.0)], "index = [50, 60]\nload_pct = [5, 60]\ngoal = \"cheapest\"");
        let index_of = |aim: &crate::aim::Aim, pct: &[f64]| judge.assess(&invented::scrub(aim, pct)).figures.index;
        let pct = [25.0, 15.0];
        let index = index_of(&aim, &pct);
        let asked = aim.index.as_mut().unwrap();
        (asked.low, asked.high) = (index, index);
        let problem = Problem::new(&aim, &judge, Objective::Cost, &aim.targets(), &[]);
        let members = [0, 1];
        let gaps = problem.gaps(0, &members, &problem.population(&members), &pct);
        let reference = judge.model().reference_position();
        assert!(gaps[reference] > judge.model().sites()[reference].gap_um);
        let row = &problem.rows_about(0, &members, &pct, &gaps, 0.0)[0];
        let at = |pct: &[f64]| row.coefficients.iter().zip(pct).map(|(a, p)| a * p).sum::<f64>();
        assert_relative_eq!(at(&pct), row.low, max_relative = 1e-6);
        assert_relative_eq!(at(&pct), row.high, max_relative = 1e-6);
        // What a little more of either powder does to the severity, one over the other.
        let more = |pct: [f64; 2]| judge.model().severity_at(index_of(&aim, &pct)) - judge.model().severity_at(index);
        let full = more([25.01, 15.0]) / more([25.0, 15.01]);
        assert_relative_eq!(row.coefficients[0] / row.coefficients[1], full, max_relative = 1e-2);
    }
}
