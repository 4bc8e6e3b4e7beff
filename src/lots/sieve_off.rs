//! A lot whose coarse tail is in the way, sieved: the coarsest sieve after which the lot will do.

use super::lot::{LotCase, LotJudged, LotTable, LotVerdict, Reason};
use crate::size::{SieveSet, Sieves, worth_sieving};

/// Place of D90 among the figures of a lot.
const COARSE: usize = 2;

/// A lot sieved, and judged anew.
#[derive(Debug, Clone)]
pub struct SievedOff {
    /// The opening that it went through, µm.
    pub through_um: f64,
    /// Share of the lot that stays on the sieve, 0..1.
    pub off: f64,
    /// Its tables, sieved.
    pub lot: Vec<LotTable>,
    /// What became of it.
    pub judged: LotJudged,
}

impl LotJudged {
    /// Whether coarse grains are why the lot is refused, or why the scrub made with it is harsher.
    pub fn is_too_coarse(&self) -> bool {
        let d90 = &self.figures[COARSE];
        let another = self.reasons.contains(&Reason::OtherGrade(COARSE)) && d90.deviation_pct() > 0.0;
        another || self.reasons.contains(&Reason::OverTop) || self.is_harsher()
    }

    fn is_harsher(&self) -> bool {
        self.with_lot.verdict.rank > self.before.verdict.rank
    }
}

impl LotCase<'_> {
    /// The lot through the coarsest of these sieves that brings verdict and band back; `None` where coarse grains are not in the way, or no
    /// sieve does with at most half of the lot left over.
    pub fn sieved_off(&self, lot: &[LotTable], judged: &LotJudged, sieves: &SieveSet) -> Option<SievedOff> {
        if !judged.is_too_coarse() {
            return None;
        }
        let mean = &judged.scrub.blend.components()[self.place].powder.size.distribution;
        let worth = worth_sieving(&sieves.openings_um, mean);
        let mut sieved = worth.into_iter().filter_map(|(through_um, off)| {
            let lot = through(lot, through_um)?;
            let judged = self.judge(&lot).ok()?;
            Some(SievedOff { through_um, off, lot, judged })
        });
        sieved.find(|s| s.judged.verdict != LotVerdict::Refuse && !s.judged.is_harsher())
    }
}

/// The tables of what goes through a sieve; `None` where that is next to nothing.
fn through(lot: &[LotTable], opening_um: f64) -> Option<Vec<LotTable>> {
    let by = Sieves { through_um: Some(opening_um), over_um: None };
    lot.iter().map(|t| Some(LotTable { record: t.record.sieved(by).ok()?, ..t.clone() })).collect()
}
