//! Where a part of the search lies in what is not linear: the gap of every site whose rub counts, and by how much each elastic
//! target may be missed. At given gaps and misses every row is linear in the shares, and each coefficient moves one way with
//! the gap or the miss; so a box of both has one program that allows whatever any point of the box does.

use crate::aim::statement::problem::{Clause, Problem};
use crate::aim::statement::target::Target;
use crate::tables::Criterion;

/// The gap at a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::aim) enum GapRange {
    /// No row rests on this site.
    Unused,
    /// The least gap: film and skin share the load.
    Shared,
    /// The grains carry the whole rub, at a gap between these, µm.
    Borne(f64, f64),
}

/// A box of gaps and misses, for one way to meet the band target.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::aim) struct GapRegion {
    pub variant: usize,
    /// One per site.
    pub gaps: Vec<GapRange>,
    /// One per elastic target: least and largest miss, as a share of the limit missed.
    pub misses: Vec<(f64, f64)>,
}

/// A gap between these, relative, is not cut any further.
const NARROW: f64 = 1e-8;
/// How much more than itself, relative, a gap moves the figures.
const GAP_COUNTS: f64 = 4.0;
/// A miss between these is not cut any further.
const NARROW_MISS: f64 = 1e-9;

impl GapRegion {
    /// Whether some site is grain-borne.
    pub fn is_borne(&self) -> bool {
        self.gaps.iter().any(|g| matches!(g, GapRange::Borne(..)))
    }

    /// The two halves of the gap that is known least, as a share of itself; none when all are known.
    fn gap_halves(&self) -> Option<(f64, [Self; 2])> {
        let widths = self.gaps.iter().enumerate().filter_map(|(site, gap)| match gap {
            GapRange::Borne(low, high) => Some((site, *low, *high)),
            _ => None,
        });
        let (site, low, high) = widths.max_by(|a, b| (a.2 / a.1).total_cmp(&(b.2 / b.1)))?;
        let width = high / low - 1.0;
        let middle = (low * high).sqrt();
        let half = |low: f64, high: f64| {
            let mut half = self.clone();
            half.gaps[site] = GapRange::Borne(low, high);
            half
        };
        (width > NARROW).then(|| (width, [half(low, middle), half(middle, high)]))
    }

    /// The single gaps at the middle of the box.
    pub fn middle(&self) -> Option<Self> {
        let mut middle = self.clone();
        for gap in &mut middle.gaps {
            if let GapRange::Borne(low, high) = gap {
                let at = (*low * *high).sqrt();
                *gap = GapRange::Borne(at, at);
            }
        }
        self.is_borne().then_some(middle)
    }

    /// The box cut in two where it says least of the point at hand: `off` holds by how much each elastic target is missed
    /// beyond what the box's program took it to be; misses beyond `cutoff` are of no interest. None when there is nothing left to
    /// cut.
    pub fn halves(&self, off: &[f64], cutoff: f64) -> Option<[Self; 2]> {
        let halves = self.raw_halves(off)?;
        Some(halves.map(|h| h.within_misses(cutoff)))
    }

    /// With no miss beyond `most`.
    pub fn within_misses(mut self, most: f64) -> Self {
        self.misses.iter_mut().for_each(|(low, high)| *high = high.min(most.max(*low)));
        self
    }

    fn raw_halves(&self, off: &[f64]) -> Option<[Self; 2]> {
        let gap = self.gap_halves();
        let wide = |i: &usize| self.misses[*i].1 - self.misses[*i].0 > NARROW_MISS;
        let worst = (0..self.misses.len()).filter(wide).max_by(|a, b| off[*a].total_cmp(&off[*b]));
        let counts = |i: &usize| {
            let open = off[*i].min(self.misses[*i].1 - self.misses[*i].0);
            off[*i] > 0.0 && gap.as_ref().is_none_or(|(width, _)| open > GAP_COUNTS * width)
        };
        let miss = worst.filter(counts);
        let Some(i) = miss else { return gap.map(|(_, halves)| halves) };
        let (low, high) = self.misses[i];
        // Where the point at hand misses by much more than it was taken to, the box is likely far too wide.
        let middle = low + (0.5 * (high - low)).min((0.6 * off[i]).max(1e-3));
        let half = |low: f64, high: f64| {
            let mut half = self.clone();
            half.misses[i] = (low, high);
            half
        };
        Some([half(low, middle), half(middle, high)])
    }
}

/// Steps in which the widest possible gap is looked for.
const GAP_STEPS: usize = 12;
/// How far a target may be missed at most, as a share of its limit, before anything is known.
const LARGEST_MISS: f64 = 1e4;

impl Problem<'_> {
    /// The regions that together hold every blend: each variant, each of its sites shared or grain-borne.
    pub fn regions(&self) -> Vec<GapRegion> {
        let widest: Vec<Option<f64>> = (0..self.judge.model().sites().len()).map(|s| self.widest_gap(s)).collect();
        let sites = self.judge.model().sites();
        let of_variant = |variant: usize| {
            let start = GapRegion {
                variant,
                gaps: vec![GapRange::Unused; sites.len()],
                misses: self.elastic.iter().map(|t| (self.least_miss(variant, *t), LARGEST_MISS)).collect(),
            };
            let mut regions = vec![start];
            for site in self.sites_of(&self.variants[variant]) {
                let mut kinds = vec![GapRange::Shared];
                kinds.extend(widest[site].map(|high| GapRange::Borne(sites[site].gap_um, high)));
                let each = |r: GapRegion| {
                    kinds.clone().into_iter().map(move |gap| {
                        let mut r = r.clone();
                        r.gaps[site] = gap;
                        r
                    })
                };
                regions = regions.into_iter().flat_map(each).collect();
            }
            regions
        };
        (0..self.variants.len()).flat_map(of_variant).collect()
    }

    /// What a target is missed by at least where index and band contradict each other, whatever the blend: both limit one figure,
    /// which the rows of a box, at two gaps, do not know.
    fn least_miss(&self, variant: usize, target: Target) -> f64 {
        let Some(low) = self.aim.index.as_ref().filter(|_| self.has(Target::Index)).map(|i| i.low) else { return 0.0 };
        let met = self.variants[variant].iter().filter_map(|clause| match clause {
            Clause::Meets(rank) => Some(self.judge.bands()[*rank].limit(Criterion::Index)),
            Clause::Breaks(..) => None,
        });
        let limit = met.fold(f64::INFINITY, f64::min);
        match target {
            Target::Index if !self.is_elastic(Target::Band) => (1.0 - limit / low).max(0.0),
            Target::Band if !self.is_elastic(Target::Index) => (low / limit - 1.0).max(0.0),
            _ => 0.0,
        }
    }

    /// A gap that no blend within the load holds open at a site; none when none can bear the rub.
    fn widest_gap(&self, site: usize) -> Option<f64> {
        let at = &self.judge.model().sites()[site];
        let pressure = at.pressure_kpa * 1e-3;
        let all: Vec<usize> = (0..self.candidates.len()).collect();
        let bears = |carried: &[f64]| self.most_of(carried) > pressure;
        if !bears(&self.carried_mpa[site]) {
            return None;
        }
        let (mut low, mut high) = (at.gap_um, 2.0 * at.gap_um);
        while bears(&self.carried_at(&all, site, high)) {
            (low, high) = (high, 2.0 * high);
        }
        for _ in 0..GAP_STEPS {
            let middle = (low * high).sqrt();
            if bears(&self.carried_at(&all, site, middle)) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(high)
    }

    /// The most that a sum over the shares can come to within the load: the powders with most per share first.
    fn most_of(&self, per_share: &[f64]) -> f64 {
        let elastic_shelf = self.is_elastic(Target::Shelf);
        let most = |j: usize| if elastic_shelf { 100.0 } else { self.candidates[j].max_pct };
        let mut order: Vec<usize> = (0..per_share.len()).collect();
        order.sort_by(|a, b| per_share[*b].total_cmp(&per_share[*a]));
        let mut left = self.load_pct[1];
        let mut sum = 0.0;
        for j in order {
            let take = most(j).min(left);
            sum += per_share[j] * take;
            left -= take;
        }
        sum
    }

    /// Sites on whose rub the rows of a variant rest.
    pub fn sites_of(&self, variant: &[Clause]) -> Vec<usize> {
        let reference = self.judge.model().reference_position();
        let mut sites: Vec<usize> = Vec::new();
        for clause in variant {
            match *clause {
                Clause::Meets(rank) => sites.extend([self.judge.site_of(rank), reference]),
                Clause::Breaks(rank, Criterion::GrooveRatio) => sites.push(self.judge.site_of(rank)),
                Clause::Breaks(_, Criterion::Index) => sites.push(reference),
                Clause::Breaks(_, Criterion::D99 | Criterion::NotOnFace) => {}
            }
        }
        if self.has(Target::Index) {
            sites.push(reference);
        }
        sites.sort_unstable();
        sites.dedup();
        sites
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;
    use crate::aim::statement::problem::Objective;
    use crate::rub::Partition;

    #[test]
    fn a_region_is_borne_by_grains_where_some_site_is() {
        let region = |gaps: Vec<GapRange>| GapRegion { variant: 0, gaps, misses: Vec::new() };
        assert!(!region(vec![GapRange::Unused, GapRange::Shared]).is_borne());
        assert!(region(vec![GapRange::Shared, GapRange::Borne(20.0, 30.0)]).is_borne());
    }

    #[test]
    fn the_widest_gap_is_that_of_the_full_model_with_all_the_powder_there_may_be() {
        let (aim, judge) = invented::aim(&[(300.0, 2.0)], "load_pct = [5, 60]\ngoal = \"cheapest\"");
        let problem = Problem::new(&aim, &judge, Objective::Cost, &aim.targets(), &[]);
        let rubbed = judge.assess(&invented::scrub(&aim, &[60.0])).rubbed;
        for (site, rub) in rubbed.sites.iter().enumerate() {
            assert_ne!(rub.partition, Partition::Shared);
            // Twelve halvings of a factor of 2.
            let over = problem.widest_gap(site).unwrap() / rub.gap_um;
            assert!((1.0 - 1e-6..1.0003).contains(&over), "{over}");
        }
        let (aim, judge) = invented::aim(&[(300.0, 2.0)], "load_pct = [0.1, 0.2]\ngoal = \"cheapest\"");
        let problem = Problem::new(&aim, &judge, Objective::Cost, &aim.targets(), &[]);
        assert_eq!(problem.widest_gap(judge.model().reference_position()), None);
    }
}
