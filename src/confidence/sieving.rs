//! A powder that the maker sieves: the powder before is drawn, the sizes that its sieves cut at stand or are drawn beside it, and the part
//! between them follows.
//!
//! No sieve cuts at its opening alone. Near-mesh grains pass slowly, and some stay on it; its largest openings let larger grains through
//! (`sieving.csv`). Each sieve is taken to cut sharply at a size between these ends, half of the draws on either side of its opening.

use crate::numerics::spread::Spread;
use crate::size::{Sieved, SizeDistribution, SizeRecord, Warp};
use crate::tables::SievingConstants;

/// No drawn stretch of a side is less than this: percentiles stay in order.
pub(super) const LEAST_STRETCH: f64 = 0.05;

/// The outer shares whose sizes are followed exactly, beside the median: the coarse one near the end, as coarse grains count most.
const OUTER: [f64; 2] = [0.1, 0.95];

/// A powder as the maker's sieves leave it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SievedDraw {
    of: SizeDistribution,
    /// Openings on the fine and on the coarse side, ln µm.
    openings_ln: [Option<f64>; 2],
    /// What is kept, as stated: the median and the outer sizes, ln µm.
    median_ln: f64,
    outer_ln: [f64; 2],
}

impl SievedDraw {
    pub fn new(record: &SizeRecord, sieved: &Sieved) -> Self {
        let kept = |p: f64| record.distribution.quantile(p).ln();
        let openings_ln = [sieved.by.over_um, sieved.by.through_um].map(|um| um.map(f64::ln));
        let of = sieved.of.distribution.clone();
        Self { of, openings_ln, median_ln: kept(0.5), outer_ln: OUTER.map(kept) }
    }

    /// The warp of what is kept, from that of the powder before, with the cuts this far from their openings on the ln x axis.
    pub fn warp(&self, before: &Warp, off_ln: [f64; 2]) -> Warp {
        let cuts: [Option<f64>; 2] = std::array::from_fn(|side| self.openings_ln[side].map(|ln_x| ln_x + off_ln[side]));
        let finer = |cut: Option<f64>, none: f64| cut.map_or(none, |ln_x| self.of.undersize_ln(before.back(ln_x)));
        let (low, high) = (finer(cuts[0], 0.0), finer(cuts[1], 1.0));
        let kept = |p: f64| before.forward(self.of.quantile(low + p * (high - low)).ln());
        let (median, outer) = (kept(0.5), OUTER.map(&kept));
        let stretch =
            |side: usize| ((median - outer[side]) / (self.median_ln - self.outer_ln[side])).max(LEAST_STRETCH);
        let (below, above) = (stretch(0), stretch(1));
        if low < high && median.is_finite() && below.is_finite() && above.is_finite() {
            return Warp { pivot_ln: self.median_ln, shift: median - self.median_ln, below, above };
        }
        // Next to nothing of this draw is kept; what is lies at the cut.
        let shift = (0..2).find_map(|side| Some(cuts[side]? - self.openings_ln[side]?)).unwrap_or(0.0);
        Warp { pivot_ln: self.median_ln, shift, below: 1.0, above: 1.0 }
    }
}

/// What a sieve cuts at over its opening, for the fine and the coarse side of a powder; fixed where there is none.
pub(super) fn cuts(sieved: &Sieved, sieving: &SievingConstants) -> [Spread; 2] {
    [sieved.by.over_um, sieved.by.through_um].map(|um| match um {
        Some(um) => Spread::log_uniform(1.0, sieving.near_mesh_least.min(1.0), sieving.largest_um(um) / um),
        None => Spread::log_uniform(1.0, 1.0, 1.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::Sieves;
    use crate::size::table::{self, TableKind};
    use crate::tables::Tables;
    use approx::assert_relative_eq;

    #[test]
    fn a_draw_of_which_nothing_is_kept_lies_at_the_cut_as_wide_as_stated() {
        let tables = Tables::built_in().unwrap();
        let text = "opening_um,retained_g\n250,0\n180,40\n125,40\npan,20\n";
        let table = table::read(text, "lot.csv", Some(TableKind::Sieve), &tables.standards).unwrap();
        let record = table.sieved(Sieves::new(None, Some(150.0)).unwrap()).unwrap();
        let kept = SievedDraw::new(&record, record.sieved.as_ref().unwrap());
        // Half as large no grain stays on the sieve: the largest is 125 µm.
        let halved = Warp { pivot_ln: 0.0, shift: 0.5_f64.ln(), below: 1.0, above: 1.0 };
        let warp = kept.warp(&halved, [0.03, 0.0]);
        assert_eq!((warp.below, warp.above), (1.0, 1.0));
        assert_relative_eq!(warp.shift, 0.03, max_relative = 1e-9);
    }
}
