//! What `gritwise lot` says of sieving a lot whose coarse tail is in the way.

use super::layout::joined;
use super::lot_parts::{PartsPart, parts};
use super::lot_words::brought_back;
use crate::lots::Sureness;
use crate::lots::lot::{LotCase, LotVerdict};
use crate::lots::sieve_off::SievedOff;
use crate::numerics::written::{four, three, trimmed, two};
use crate::size::SieveSet;
use serde::Serialize;

/// A lot sieved by its maker. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SieveOffPart {
    /// The opening that it goes through, µm.
    pub through_um: f64,
    /// Whether that sieve is the maker's own, or one of the standard series.
    pub owned: bool,
    /// What stays on it, % of the lot.
    pub sieved_off_pct: f64,
    /// 10 % of what is left are finer, µm.
    pub d10_um: f64,
    /// Median, µm.
    pub d50_um: f64,
    /// 90 % finer, µm.
    pub d90_um: f64,
    /// Above the top size, % by volume.
    pub over_top_pct: Option<f64>,
    /// Index of the scrub made with it.
    pub index: f64,
    /// Band of that scrub.
    pub band: String,
    /// The verdict then.
    pub verdict: LotVerdict,
    /// Share of the draws that agree with it, %.
    pub verdict_sure_pct: f64,
    /// Parts that make up for the rest; absent when none are needed.
    pub rebalanced_parts: Option<Vec<PartsPart>>,
    /// Powder load with them, % of the scrub.
    pub rebalanced_load_pct: Option<f64>,
    /// Index with them.
    pub index_rebalanced: Option<f64>,
    /// What the new parts bring, in words.
    #[serde(skip)]
    new_parts: Option<String>,
}

impl SieveOffPart {
    /// Reports a lot sieved, `sure` being how sure its verdict is.
    pub fn new(case: &LotCase, found: &SievedOff, sure: &Sureness, sieves: &SieveSet) -> Self {
        let judged = &found.judged;
        let [d10_um, d50_um, d90_um] = [0, 1, 2].map(|i| judged.figures[i].lot.mean);
        let new = judged.rebalanced.as_ref().filter(|_| judged.verdict == LotVerdict::AcceptWithNewParts);
        Self {
            through_um: found.through_um,
            owned: sieves.owned,
            sieved_off_pct: 100.0 * found.off,
            d10_um,
            d50_um,
            d90_um,
            over_top_pct: judged.top.limit_pct.and(judged.top.lot).map(|over| over.mean),
            index: judged.with_lot.figures.index,
            band: case.judge.band_name(judged.with_lot.verdict.rank).to_owned(),
            verdict: judged.verdict,
            verdict_sure_pct: sure.pct(judged.verdict),
            rebalanced_parts: new.map(|new| parts(case, &new.scrub, sure)),
            rebalanced_load_pct: new.map(|new| new.scrub.load.get()),
            index_rebalanced: new.map(|new| new.assessment.figures.index),
            new_parts: new.map(|new| brought_back(case, new)),
        }
    }

    /// In sentences.
    pub(super) fn sentences(&self) -> Vec<String> {
        let whose = if self.owned { "your" } else { "a" };
        let sizes = joined([self.d10_um, self.d50_um, self.d90_um].map(four), ", ");
        let (off, opening) = (three(self.sieved_off_pct), trimmed(self.through_um, 4));
        let over = self.over_top_pct.map_or(String::new(), |over| format!(" and {} % above the top size", two(over)));
        let (index, sure) = (three(self.index), self.verdict_sure_pct);
        let mut said = vec![
            format!(
                "through {whose} {opening} µm sieve: {off} % of the lot stays on it; what is left has D10, D50, D90 of {sizes} µm{over}"
            ),
            format!(
                "then: {} ({sure:.0} % of the draws agree); the scrub has index {index} and is {}",
                self.verdict.key(),
                self.band
            ),
        ];
        said.extend(self.new_parts.clone());
        said.push(
            "each grain is taken to go by its size; near-mesh grains go astray, so measure what is left before you use it"
                .to_owned(),
        );
        said
    }
}

/// That no sieve brings a lot back.
pub(super) fn none_does(sieves: &SieveSet) -> String {
    let which = if sieves.owned {
        format!("your sieves ({} µm)", joined(sieves.openings_um.iter().map(|um| trimmed(*um, 4)), ", "))
    } else {
        "the sieves of the standard series (ISO 3310-1, R20/3)".to_owned()
    };
    format!("none of {which} brings verdict and band back with at most half of the lot left over")
}
