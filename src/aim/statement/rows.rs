//! Targets as rows that are linear in the shares of the scrub.
//!
//! In a shared rub load, removal and the load on deep grooves are linear in the shares c (% of the scrub), and so are
//! volumes and masses below a size. Where a rub is grain-borne the same holds at its own, wider gap, which depends on the
//! blend: rows are therefore written for given gaps.

use super::problem::{Clause, Problem, Variant};
use super::target::Target;
use crate::rub::{Response, response};
use crate::tables::Criterion;

/// Part of the load that may lie on deeper grooves than a 95th percentile allows.
pub(in crate::aim) const BEYOND_P95: f64 = 0.05;

/// How far beyond a milder band's limit `band_exactly` goes, as a share of the limit, so that the full model sees it there.
pub(in crate::aim) const BEYOND_LIMIT: f64 = 1e-6;

/// Bounds are tightened by this share at first: the solver's own tolerance must not show.
pub(in crate::aim) const FIRST_MARGIN: f64 = 3e-7;

/// A row `low ≤ Σ a c ≤ high` over the members of a powder set, scaled to terms near 1.
#[derive(Debug, Clone)]
pub(in crate::aim) struct LimitRow {
    pub coefficients: Vec<f64>,
    pub low: f64,
    pub high: f64,
}

impl Problem<'_> {
    /// The rows that keep the rub shared at the sites of a variant.
    pub fn shared_rows(&self, variant: &Variant, members: &[usize]) -> Vec<LimitRow> {
        let sites = self.judge.model().sites();
        let row = |s: usize| {
            let coefficients = members.iter().map(|&m| self.carried_mpa[s][m]).collect();
            let pressure = sites[s].pressure_kpa * 1e-3 * (1.0 - FIRST_MARGIN);
            self.scaled(members, LimitRow { coefficients, low: f64::NEG_INFINITY, high: pressure })
        };
        self.sites_of(variant).into_iter().map(row).collect()
    }

    /// All rows of a variant at given gaps, not scaled. `margin` tightens every bound that is not an equality by a share of
    /// itself.
    pub fn rows(&self, variant: &Variant, members: &[usize], gaps: &[f64], margin: f64) -> Vec<LimitRow> {
        let mut rows = Vec::new();
        if let Some(index) = self.aim.index.as_ref().filter(|_| self.has(Target::Index)) {
            rows.push(self.index_row(members, gaps, tightened(index.low, index.high, margin)));
        }
        if let Some(limit) = self.aim.d99_um.filter(|_| self.has(Target::D99)) {
            rows.push(self.d99_row(members, limit * (1.0 - margin), false));
        }
        for (_, limit) in self.aim.passing.iter().enumerate().filter(|(i, _)| self.has(Target::Passing(*i))) {
            let (low, high) = tightened(limit.min, limit.max, margin);
            if limit.min > 0.0 {
                rows.push(self.passing_row(members, limit.um, low, true));
            }
            if limit.max < 100.0 {
                rows.push(self.passing_row(members, limit.um, high, false));
            }
        }
        for clause in variant {
            self.clause_rows(*clause, members, gaps, margin, &mut rows);
        }
        rows
    }

    fn clause_rows(&self, clause: Clause, members: &[usize], gaps: &[f64], margin: f64, rows: &mut Vec<LimitRow>) {
        let (rank, broken) = match clause {
            Clause::Meets(rank) => (rank, None),
            Clause::Breaks(rank, criterion) => (rank, Some(criterion)),
        };
        let limits = &self.judge.bands()[rank];
        let factor = if broken.is_some() { 1.0 + BEYOND_LIMIT.max(margin) } else { 1.0 - margin };
        for criterion in Criterion::ALL.into_iter().filter(|c| broken.is_none_or(|b| b == *c)) {
            let limit = limits.limit(criterion) * factor;
            if limit.is_infinite() && broken.is_none() {
                continue;
            }
            rows.push(match criterion {
                Criterion::Index if broken.is_some() => self.index_row(members, gaps, (limit, f64::INFINITY)),
                Criterion::Index => self.index_row(members, gaps, (0.0, limit)),
                Criterion::D99 => self.d99_row(members, limit, broken.is_some()),
                Criterion::GrooveRatio => self.groove_row(members, rank, gaps, limit, broken.is_some()),
                Criterion::NotOnFace => one_sided(self.over_not_on_face(members, limit), broken.is_some()),
            });
        }
    }

    /// What each member does per % of the scrub in a rub at a gap; load on grooves deeper than `depth_um` counted apart.
    pub fn responses(&self, members: &[usize], site: usize, gap_um: f64, depth_um: f64) -> Vec<Response> {
        let model = self.judge.model();
        let mut at = model.sites()[site].clone();
        at.gap_um = gap_um;
        let one = |&m: &usize| {
            let candidate = &self.candidates[m];
            let r = response(&candidate.grains, &at, model.constants(), depth_um);
            let v = candidate.volume;
            Response { load_mpa: v * r.load_mpa, severity: v * r.severity, load_deeper_mpa: v * r.load_deeper_mpa }
        };
        members.iter().map(one).collect()
    }

    /// Pressure that 1 % of each member carries at a gap, MPa.
    pub fn carried_at(&self, members: &[usize], site: usize, gap_um: f64) -> Vec<f64> {
        self.responses(members, site, gap_um, 0.0).iter().map(|r| r.load_mpa).collect()
    }

    fn index_row(&self, members: &[usize], gaps: &[f64], (low, high): (f64, f64)) -> LimitRow {
        let model = self.judge.model();
        let reference = model.reference_position();
        let severity = self.responses(members, reference, gaps[reference], 0.0).iter().map(|r| r.severity).collect();
        let bound = |index: f64| if index.is_finite() { model.severity_at(index) } else { index };
        let low = if low > 0.0 { bound(low) } else { f64::NEG_INFINITY };
        LimitRow { coefficients: severity, low, high: bound(high) }
    }

    /// Load on grooves deeper than the limit, beyond 5 % of the load: at most 0, or more than 0 when the limit is to be
    /// broken.
    fn groove_row(&self, members: &[usize], rank: usize, gaps: &[f64], ratio: f64, broken: bool) -> LimitRow {
        let site = self.judge.site_of(rank);
        let depth = ratio * self.judge.model().sites()[site].stratum_corneum_um;
        let part = if broken { BEYOND_P95 + BEYOND_LIMIT } else { BEYOND_P95 - BEYOND_LIMIT };
        let responses = self.responses(members, site, gaps[site], depth);
        let beyond = responses.iter().map(|r| r.load_deeper_mpa - part * r.load_mpa).collect();
        one_sided(beyond, broken)
    }

    fn d99_row(&self, members: &[usize], limit_um: f64, broken: bool) -> LimitRow {
        one_sided(self.over_d99(members, limit_um), broken)
    }

    /// Volume of each member above a size, beyond 1 % of its own; a blend whose sum is 0 has its D99 there.
    pub fn over_d99(&self, members: &[usize], limit_um: f64) -> Vec<f64> {
        let over = |&m: &usize| {
            let candidate = &self.candidates[m];
            let oversize = 1.0 - candidate.shelf.powder.size.distribution.undersize(limit_um);
            candidate.volume * (oversize - 0.01)
        };
        members.iter().map(over).collect()
    }

    /// Of each member, by how much it adds to the powders kept off the face beyond a share of all powders.
    pub fn over_not_on_face(&self, members: &[usize], limit_pct: f64) -> Vec<f64> {
        let kept_off = |m: usize| f64::from(u8::from(self.candidates[m].shelf.powder.not_on_face().is_some()));
        members.iter().map(|&m| kept_off(m) - limit_pct / 100.0).collect()
    }

    fn passing_row(&self, members: &[usize], um: f64, limit_pct: f64, at_least: bool) -> LimitRow {
        let over = |&m: &usize| self.undersize(m, um) - limit_pct / 100.0;
        one_sided(members.iter().map(over).collect(), at_least)
    }

    pub fn undersize(&self, member: usize, um: f64) -> f64 {
        self.candidates[member].shelf.powder.size.distribution.undersize(um)
    }

    /// Scales a row so that its terms come near 1: by its bound where there is one, else by its largest coefficient at
    /// the load asked for.
    pub fn scaled(&self, members: &[usize], row: LimitRow) -> LimitRow {
        let (coefficients, low, high) = (&row.coefficients, row.low, row.high);
        let bound = [high, low].into_iter().find(|b| b.is_finite() && *b != 0.0);
        let share = |m: usize| self.candidates[m].max_pct.min(self.load_pct[1]).max(1e-3);
        let terms = members.iter().zip(coefficients).map(|(m, a)| (a * share(*m)).abs());
        let scale = bound.map_or_else(|| terms.fold(0.0, f64::max), f64::abs);
        let by = if scale > 0.0 { 1.0 / scale } else { 1.0 };
        let coefficients = coefficients.iter().map(|a| a * by).collect();
        LimitRow { coefficients, low: low * by, high: high * by }
    }
}

/// Σ a c ≤ 0, or ≥ 0.
fn one_sided(coefficients: Vec<f64>, at_least: bool) -> LimitRow {
    let (low, high) = if at_least { (0.0, f64::INFINITY) } else { (f64::NEG_INFINITY, 0.0) };
    LimitRow { coefficients, low, high }
}

pub(in crate::aim) fn tightened(low: f64, high: f64, margin: f64) -> (f64, f64) {
    let by = |v: f64| (margin * v.abs()).min(0.25 * (high - low));
    (low + by(low), high - by(high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;
    use crate::aim::statement::problem::Objective;

    #[test]
    fn a_limit_is_met_up_to_it_and_broken_just_beyond() {
        // bands.csv: an index of at most 300 for a face.
        let (aim, judge) = invented::aim(&[(160.0, 2.0)], "load_pct = [4, 8]\ngoal = \"cheapest\"");
        let problem = Problem::new(&aim, &judge, Objective::Cost, &aim.targets(), &[]);
        let bounds = |clause: Clause, margin: f64| -> Vec<[f64; 2]> {
            let mut rows = Vec::new();
            problem.clause_rows(clause, &[0], &problem.least_gaps(), margin, &mut rows);
            rows.iter().map(|row| [row.low, row.high]).collect()
        };
        let of_index = |index: f64| judge.model().severity_at(index);
        for (margin, index) in [(0.0, 300.0), (0.01, 297.0)] {
            let is_of_index =
                |row: &[f64; 2]| row[0] == f64::NEG_INFINITY && (row[1] / of_index(index) - 1.0).abs() < 1e-9;
            assert_eq!(bounds(Clause::Meets(1), margin).iter().filter(|row| is_of_index(row)).count(), 1, "{index}");
        }
        for (margin, least, most) in [(0.0, 300.0, 300.001), (0.01, 302.99, 303.01)] {
            let broken = bounds(Clause::Breaks(1, Criterion::Index), margin);
            assert_eq!((broken.len(), broken[0][1]), (1, f64::INFINITY));
            assert!(of_index(least) < broken[0][0] && broken[0][0] < of_index(most), "{broken:?}");
        }
    }
}
