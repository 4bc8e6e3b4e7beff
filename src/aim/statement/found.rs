//! A blend of shelf powders, held against the full model.

use super::problem::pct_in;
use super::target::{Aim, Goal, Target};
use crate::band::{Assessment, Judge};
use crate::blend::{Blend, Scrub};
use crate::rub::Partition;
use crate::units::{LoadPercent, Parts};

/// A blend of shelf powders.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Places on the shelf and shares, % w/w of the scrub.
    pub shares: Vec<(usize, f64)>,
    /// The blend as a scrub.
    pub scrub: Scrub,
    /// The scrub rubbed and judged by the full model.
    pub assessment: Assessment,
    /// What the goal makes least: cost per kg, number of powders, root mean square deviation of the curve in percentage points,
    /// or sum of changes in % of the scrub.
    pub objective: Option<f64>,
    /// What became of it when it was rounded to a balance.
    pub rounding: Rounding,
}

/// Whether the shares were rounded to what a balance can weigh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rounding {
    /// Not asked for.
    No,
    /// Every powder of the batch is a multiple of so many grams, and all targets hold.
    To(f64),
    /// No rounding near the blend meets all targets; the shares are as solved.
    Impossible(f64),
}

impl Found {
    /// Who carries the rub where index and band look. Grain-borne, the shares were found by iteration.
    pub fn partition(&self, judge: &Judge) -> Partition {
        let rank = self.assessment.verdict.rank.min(judge.bands().len() - 1);
        let sites = [self.assessment.rubbed.reference_site, judge.site_of(rank)];
        let borne = sites.iter().any(|s| self.assessment.rubbed.sites[*s].partition == Partition::GrainBorne);
        if borne { Partition::GrainBorne } else { Partition::Shared }
    }
}

impl Aim {
    /// How far a blend is from a target, in [`Target::unit`]; 0 when it is met.
    pub fn misses_by(&self, target: Target, found: &Found, judge: &Judge) -> f64 {
        self.off_by(target, &found.shares, &found.scrub, &found.assessment, judge)
    }

    /// The scrub that shares make, rubbed and judged.
    pub(in crate::aim) fn found(&self, judge: &Judge, shares: &[(usize, f64)]) -> Option<Found> {
        let powders = shares.iter().map(|&(i, pct)| Some((self.shelf[i].powder.clone(), Parts::new(pct).ok()?)));
        let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
        let load: f64 = shares.iter().map(|s| s.1).sum();
        // A scrub of powder alone is 100 % but for the solver's rounding.
        let load = LoadPercent::new(if load > 100.0 && load < 100.0 + 1e-6 { 100.0 } else { load }).ok()?;
        let scrub = Scrub { name: self.name.clone(), load, load_range: None, blend };
        let assessment = judge.assess(&scrub);
        let objective = self.objective_of(&scrub, shares);
        Some(Found { shares: shares.to_vec(), scrub, assessment, objective, rounding: Rounding::No })
    }

    fn objective_of(&self, scrub: &Scrub, shares: &[(usize, f64)]) -> Option<f64> {
        match &self.goal {
            Goal::Cheapest => scrub.cost_per_kg(),
            Goal::FewestPowders => Some(shares.len() as f64),
            Goal::ClosestCurve(curve) => Some(curve.deviation_pct(scrub)),
            Goal::LeastChange(from) => Some(change_pct(from, scrub)),
        }
    }
}

/// Sum of the changes of all powders, by name, % of the scrub.
fn change_pct(from: &Scrub, to: &Scrub) -> f64 {
    let kept = from.blend.components().iter().map(|c| c.powder.name.as_str());
    let new = to.blend.components().iter().map(|c| c.powder.name.as_str()).filter(|n| pct_in(from, n) == 0.0);
    kept.chain(new).map(|n| (pct_in(from, n) - pct_in(to, n)).abs()).sum()
}
