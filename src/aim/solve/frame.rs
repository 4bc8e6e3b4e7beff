//! The rows of a region, for all powders that may still be used in it: whatever a point of the region meets, meets these.

use super::region::{GapRange, GapRegion};
use crate::aim::statement::problem::{Clause, Problem};
use crate::aim::statement::rows::{BEYOND_LIMIT, BEYOND_P95, FIRST_MARGIN, tightened};
use crate::aim::statement::target::Target;
use crate::rub::Response;
use crate::tables::Criterion;

/// Rows over some powders, then one column per elastic target: its miss.
#[derive(Debug)]
pub(in crate::aim) struct Frame {
    /// Candidates, rising.
    pub members: Vec<u16>,
    /// Coefficients of each member, one per row.
    pub columns: Vec<f64>,
    /// Coefficients of each miss, one per row.
    pub misses: Vec<f64>,
    pub row_low: Vec<f64>,
    pub row_high: Vec<f64>,
    /// Which target each row is about; none for the rub itself.
    pub targets: Vec<Option<Target>>,
    /// Rows that made a largest share smaller.
    pub tightening: Vec<bool>,
    /// No share of a member can be larger, % of the scrub.
    pub most_pct: Vec<f64>,
}

/// A row on its way into a frame.
struct FrameRow {
    target: Option<Target>,
    terms: Vec<f64>,
    miss: Option<(usize, f64)>,
    low: f64,
    high: f64,
}

/// An elastic target's place and the miss that the region allows it.
#[derive(Clone, Copy)]
struct Elastic {
    place: usize,
    low: f64,
    high: f64,
}

impl Frame {
    pub fn rows(&self) -> usize {
        self.row_low.len()
    }

    /// Place of a candidate among the members.
    pub fn place(&self, candidate: u16) -> Option<usize> {
        self.members.binary_search(&candidate).ok()
    }

    pub fn terms(&self, place: usize) -> &[f64] {
        &self.columns[place * self.rows()..(place + 1) * self.rows()]
    }

    fn new(problem: &Problem, members: &[u16], rows: Vec<FrameRow>) -> Self {
        let most = |m: &u16| problem.largest_pct(usize::from(*m)).min(problem.largest_load_pct());
        let mut frame = Self {
            members: members.to_vec(),
            columns: vec![0.0; members.len() * rows.len()],
            misses: vec![0.0; problem.elastic.len() * rows.len()],
            row_low: Vec::new(),
            row_high: Vec::new(),
            targets: rows.iter().map(|r| r.target).collect(),
            tightening: vec![false; rows.len()],
            most_pct: members.iter().map(most).collect(),
        };
        let count = rows.len();
        for (i, row) in rows.into_iter().enumerate() {
            let FrameRow { terms, miss, low, high, .. } = row.scaled(&frame.most_pct);
            for (j, a) in terms.iter().enumerate() {
                frame.columns[j * count + i] = *a;
            }
            if let Some((place, a)) = miss {
                frame.misses[place * count + i] = a;
            } else if high.is_finite() && terms.iter().all(|a| *a >= 0.0) {
                for (a, most) in terms.iter().zip(&mut frame.most_pct).filter(|(a, _)| **a > 0.0) {
                    let fits = (high / a).max(0.0) * (1.0 + 1e-9);
                    if fits < *most {
                        *most = fits;
                        frame.tightening[i] = true;
                    }
                }
            }
            frame.row_low.push(low);
            frame.row_high.push(high);
        }
        frame
    }
}

impl FrameRow {
    /// Scaled so that its terms come near 1: by its bound where there is one, else by what one share can bring.
    fn scaled(self, most_pct: &[f64]) -> Self {
        let bound = [self.high, self.low].into_iter().find(|b| b.is_finite() && *b != 0.0);
        let terms = self.terms.iter().zip(most_pct).map(|(a, m)| (a * m.clamp(1e-3, 100.0)).abs());
        let size = bound.map_or_else(|| terms.fold(0.0, f64::max), f64::abs);
        let by = if size > 0.0 { 1.0 / size } else { 1.0 };
        Self {
            target: self.target,
            terms: self.terms.iter().map(|a| a * by).collect(),
            miss: self.miss.map(|(place, a)| (place, a * by)),
            low: self.low * by,
            high: self.high * by,
        }
    }
}

/// Collects the rows of a region.
struct Builder<'a, 'p> {
    problem: &'a Problem<'p>,
    region: &'a GapRegion,
    members: Vec<usize>,
    rows: Vec<FrameRow>,
}

impl Problem<'_> {
    /// The frame of a region for these candidates.
    pub fn frame(&self, region: &GapRegion, members: &[u16]) -> Frame {
        let places = members.iter().map(|m| usize::from(*m)).collect();
        let mut builder = Builder { problem: self, region, members: places, rows: Vec::new() };
        builder.load();
        builder.rubs();
        builder.stated();
        for clause in &self.variants[region.variant] {
            builder.clause(*clause);
        }
        Frame::new(self, members, builder.rows)
    }

    /// Largest share of a candidate, % of the scrub.
    pub fn largest_pct(&self, candidate: usize) -> f64 {
        if self.is_elastic(Target::Shelf) { 100.0 } else { self.candidates[candidate].max_pct.min(100.0) }
    }

    /// Largest sum of all shares, % of the scrub.
    pub fn largest_load_pct(&self) -> f64 {
        self.load_pct[1]
    }
}

impl Builder<'_, '_> {
    fn add(&mut self, target: Option<Target>, terms: Vec<f64>, low: f64, high: f64) {
        self.rows.push(FrameRow { target, terms, miss: None, low, high });
    }

    fn elastic(&self, target: Target) -> Option<Elastic> {
        let place = self.problem.elastic.iter().position(|t| *t == target)?;
        let (low, high) = self.region.misses[place];
        Some(Elastic { place, low, high })
    }

    /// The load: stated ends may be missed, what a scrub can hold may not.
    fn load(&mut self) {
        let ones = vec![1.0; self.members.len()];
        let [low, high] = self.problem.load_pct;
        self.add(Some(Target::Load), ones.clone(), low, high);
        let stated = self.problem.aim.load_pct.filter(|_| self.problem.has(Target::Load));
        if let (Some([low, high]), Some(elastic)) = (stated, self.elastic(Target::Load)) {
            let mut row = |slope: f64, low: f64, high: f64| {
                let miss = Some((elastic.place, slope));
                self.rows.push(FrameRow { target: Some(Target::Load), terms: ones.clone(), miss, low, high });
            };
            row(-high, f64::NEG_INFINITY, high);
            row(low, low, f64::INFINITY);
        }
    }

    /// The loads that the region allows.
    fn load_range(&self) -> [f64; 2] {
        let [low, high] = self.problem.load_pct;
        match (self.problem.aim.load_pct, self.elastic(Target::Load)) {
            (Some([least, most]), Some(e)) => [low.max(least * (1.0 - e.high)), high.min(most * (1.0 + e.high))],
            _ => [low, high],
        }
    }

    /// What keeps each rub as the region has it.
    fn rubs(&mut self) {
        for (site, gap) in self.region.gaps.clone().into_iter().enumerate() {
            let pressure = self.problem.judge.model().sites()[site].pressure_kpa * 1e-3;
            match gap {
                GapRange::Unused => {}
                GapRange::Shared => {
                    let carried = self.members.iter().map(|&m| self.problem.carried_mpa[site][m]).collect();
                    self.add(None, carried, f64::NEG_INFINITY, pressure);
                }
                GapRange::Borne(low, high) => {
                    let most = self.problem.carried_at(&self.members, site, low);
                    self.add(None, most, pressure, f64::INFINITY);
                    let least = self.problem.carried_at(&self.members, site, high);
                    self.add(None, least, f64::NEG_INFINITY, pressure);
                }
            }
        }
    }

    fn stated(&mut self) {
        let (problem, aim) = (self.problem, self.problem.aim);
        if let Some(index) = aim.index.as_ref().filter(|_| problem.has(Target::Index)) {
            let (low, high) = self.margin(Target::Index, index.low, index.high);
            self.index(Target::Index, low, high);
        }
        if let Some(limit) = aim.d99_um.filter(|_| problem.has(Target::D99)) {
            let (_, limit) = self.margin(Target::D99, 0.0, limit);
            self.d99(Target::D99, limit, false);
        }
        for (i, limit) in aim.passing.iter().enumerate().filter(|(i, _)| problem.has(Target::Passing(*i))) {
            let target = Target::Passing(i);
            let (low, high) = self.margin(target, limit.min, limit.max);
            if limit.max < 100.0 {
                self.passing(target, limit.um, high, false);
            }
            if limit.min > 0.0 {
                self.passing(target, limit.um, low, true);
            }
        }
    }

    /// A little inside the limits, unless the target may be missed anyhow.
    fn margin(&self, target: Target, low: f64, high: f64) -> (f64, f64) {
        if self.problem.is_elastic(target) { (low, high) } else { tightened(low, high, FIRST_MARGIN) }
    }

    /// One way to be within a band or beyond it. What a band further asks of a blend becomes a row here.
    fn clause(&mut self, clause: Clause) {
        let bands = self.problem.judge.bands();
        let limit = |rank: usize, criterion| bands[rank].limit(criterion);
        match clause {
            Clause::Meets(rank) => {
                for criterion in Criterion::ALL.into_iter().filter(|c| limit(rank, *c).is_finite()) {
                    let (_, limit) = self.margin(Target::Band, 0.0, limit(rank, criterion));
                    match criterion {
                        Criterion::Index => self.index(Target::Band, 0.0, limit),
                        Criterion::D99 => self.d99(Target::Band, limit, false),
                        Criterion::GrooveRatio => self.groove(rank, limit, false),
                        Criterion::NotOnFace => self.not_on_face(limit, false),
                    }
                }
            }
            Clause::Breaks(rank, criterion) => {
                let beyond = if self.problem.is_elastic(Target::Band) { 1.0 } else { 1.0 + BEYOND_LIMIT };
                let limit = limit(rank, criterion) * beyond;
                match criterion {
                    Criterion::Index => self.index(Target::Band, limit, f64::INFINITY),
                    Criterion::D99 => self.d99(Target::Band, limit, true),
                    Criterion::GrooveRatio => self.groove(rank, limit, true),
                    Criterion::NotOnFace => self.not_on_face(limit, true),
                }
            }
        }
    }

    fn responses(&self, site: usize, gap_um: f64, depth_um: f64) -> Vec<Response> {
        self.problem.responses(&self.members, site, gap_um, depth_um)
    }

    /// The gaps of a site's box.
    fn gap(&self, site: usize) -> (f64, f64) {
        match self.region.gaps[site] {
            GapRange::Borne(low, high) => (low, high),
            GapRange::Shared | GapRange::Unused => {
                let least = self.problem.judge.model().sites()[site].gap_um;
                (least, least)
            }
        }
    }

    /// Removal goes as the square of the index and falls with the gap.
    fn index(&mut self, target: Target, low: f64, high: f64) {
        let model = self.problem.judge.model();
        let site = model.reference_position();
        let (near, wide) = self.gap(site);
        let severity = |gap: f64| self.responses(site, gap, 0.0).iter().map(|r| r.severity).collect::<Vec<f64>>();
        let at_near = severity(near);
        let at_wide = if wide > near { severity(wide) } else { at_near.clone() };
        let elastic = self.elastic(target);
        if high.is_finite() {
            let bound = model.severity_at(high);
            let Some(e) = elastic else {
                self.add(Some(target), at_wide, f64::NEG_INFINITY, bound);
                return self.index_from(target, at_near, low, elastic);
            };
            // (1 + t)² lies below its chord over the box.
            let miss = Some((e.place, -(2.0 + e.low + e.high) * bound));
            let high = (1.0 - e.low * e.high) * bound;
            let row = FrameRow { target: Some(target), terms: at_wide, miss, low: f64::NEG_INFINITY, high };
            self.rows.push(row);
        }
        self.index_from(target, at_near, low, elastic);
    }

    fn index_from(&mut self, target: Target, severity: Vec<f64>, low: f64, elastic: Option<Elastic>) {
        if low <= 0.0 {
            return;
        }
        let bound = self.problem.judge.model().severity_at(low);
        let Some(e) = elastic else { return self.add(Some(target), severity, bound, f64::INFINITY) };
        // (1 − t)² lies above its tangents.
        for at in [e.low.min(1.0), e.high.min(1.0)] {
            let miss = Some((e.place, 2.0 * (1.0 - at) * bound));
            let low = (1.0 - at * at) * bound;
            let row = FrameRow { target: Some(target), terms: severity.clone(), miss, low, high: f64::INFINITY };
            self.rows.push(row);
        }
    }

    /// What lies above the limit, beyond 1 % of the volume. A limit that may be missed is taken where the box allows most.
    fn d99(&mut self, target: Target, limit_um: f64, beyond: bool) {
        let limit = limit_um * self.stretch(target, beyond);
        let terms = self.problem.over_d99(&self.members, limit);
        let (low, high) = if beyond { (0.0, f64::INFINITY) } else { (f64::NEG_INFINITY, 0.0) };
        self.add(Some(target), terms, low, high);
    }

    fn stretch(&self, target: Target, beyond: bool) -> f64 {
        self.elastic(target).map_or(1.0, |e| if beyond { (1.0 - e.high).max(1e-6) } else { 1.0 + e.high })
    }

    /// What passes, as a share of the load; a miss of it is a product of miss and load, taken between the four planes that
    /// hold it over the box (G. P. McCormick, *Math. Program.* 10 (1976) 147).
    fn passing(&mut self, target: Target, um: f64, limit_pct: f64, at_least: bool) {
        let share = limit_pct / 100.0;
        let sign = if at_least { -1.0 } else { 1.0 };
        let over = |&m: &usize| sign * (self.problem.undersize(m, um) - share);
        let terms: Vec<f64> = self.members.iter().map(over).collect();
        let Some(e) = self.elastic(target) else {
            return self.add(Some(target), terms, f64::NEG_INFINITY, 0.0);
        };
        let [least, most] = self.load_range();
        for (miss, load) in [(e.low, most), (e.high, least)] {
            let terms = terms.iter().map(|a| a - share * miss).collect();
            let high = -share * load * miss;
            let row = FrameRow {
                target: Some(target),
                terms,
                miss: Some((e.place, -share * load)),
                low: f64::NEG_INFINITY,
                high,
            };
            self.rows.push(row);
        }
    }

    /// Powders kept off the face beyond their share of all powders.
    fn not_on_face(&mut self, limit_pct: f64, beyond: bool) {
        let limit = limit_pct * self.stretch(Target::Band, beyond);
        let terms = self.problem.over_not_on_face(&self.members, limit);
        let (low, high) = if beyond { (0.0, f64::INFINITY) } else { (f64::NEG_INFINITY, 0.0) };
        self.add(Some(Target::Band), terms, low, high);
    }

    /// Load on grooves deeper than the limit, beyond 5 % of all load. Grain-borne, all load is the rub's own.
    fn groove(&mut self, rank: usize, ratio: f64, beyond: bool) {
        let model = self.problem.judge.model();
        let site = self.problem.judge.site_of(rank);
        let depth = ratio * model.sites()[site].stratum_corneum_um * self.stretch(Target::Band, beyond);
        let part = if beyond { BEYOND_P95 + BEYOND_LIMIT } else { BEYOND_P95 - BEYOND_LIMIT };
        let target = Some(Target::Band);
        let ((near, wide), is_borne) = (self.gap(site), matches!(self.region.gaps[site], GapRange::Borne(..)));
        let responses = self.responses(site, if beyond { near } else { wide }, depth);
        if is_borne {
            let bound = part * model.sites()[site].pressure_kpa * 1e-3;
            let deeper = responses.iter().map(|r| r.load_deeper_mpa).collect();
            let (low, high) = if beyond { (bound, f64::INFINITY) } else { (f64::NEG_INFINITY, bound) };
            return self.add(target, deeper, low, high);
        }
        let over = responses.iter().map(|r| r.load_deeper_mpa - part * r.load_mpa).collect();
        let (low, high) = if beyond { (0.0, f64::INFINITY) } else { (f64::NEG_INFINITY, 0.0) };
        self.add(target, over, low, high);
    }
}
