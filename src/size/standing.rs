//! A distribution on a few panels of its ln x axis that stand still while its sizes are warped and gaps move.

use super::SizeDistribution;
use gritwise_kernel::{StandingCurve, StandingPanels};

/// Volume left out at the fine end.
const LEFT_OUT: f64 = 1e-5;
/// Volume weighted by x³ left out at the coarse end: where the gap is wide, little more than that touches at all.
const LEFT_OUT_COARSE: f64 = 1e-9;
/// A hard end this near to where that would be is kept as the end.
const NEAR_END: f64 = 0.3;
/// Fewest panels, and the widest one.
const FEWEST_PANELS: f64 = 8.0;
const WIDEST: f64 = 0.6;

impl SizeDistribution {
    /// Panels above `floor_um`, with an edge at `knee_ln` if that lies between them: the same nodes and volumes for every draw.
    pub fn standing_panels(&self, floor_um: f64, knee_ln: Option<f64>) -> StandingPanels {
        let fine = self.panels_above(0.0);
        let (first, last) = (fine.edges_ln[0], fine.edges_ln[fine.edges_ln.len() - 1]);
        let low = fine.cumulative(|_| 1.0).quantile(LEFT_OUT).unwrap_or(first).max(floor_um.ln());
        let high = fine.cumulative(|x| x.powi(3)).quantile(1.0 - LEFT_OUT_COARSE).unwrap_or(last);
        let low = if low - first < NEAR_END { first } else { low.min(high - NEAR_END) };
        let high = if last - high < NEAR_END { last } else { high };
        let knee_ln = knee_ln.filter(|k| *k > low && *k < high);
        let ends: Vec<f64> = [Some(low), knee_ln, Some(high)].into_iter().flatten().collect();
        let curve = StandingCurve {
            undersize_ln: &|ln_x| self.undersize_ln(ln_x),
            density_ln: &|ln_x| self.density_ln(ln_x),
            edges_ln: &fine.edges_ln,
            d99_ln: self.quantile(0.99).ln(),
        };
        StandingPanels::new(&curve, &ends, ((high - low) / FEWEST_PANELS).min(WIDEST))
    }
}
