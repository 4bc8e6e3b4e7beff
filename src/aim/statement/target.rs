//! What a blend is asked to be: targets, the goal among the blends that meet them, and how far a blend is from a target.

use crate::band::{Assessment, Held, Judge};
use crate::blend::{Basis, Scrub};
use crate::powder::ShelfPowder;
use crate::size::SizeDistribution;

/// The most powders that may be asked for.
pub const MOST_POWDERS: usize = 6;

/// The powder load when none is stated, % w/w of the scrub: the search needs both ends (convention).
pub const FREE_LOAD_PCT: [f64; 2] = [0.1, 100.0];

/// What is asked for, and of which shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct Aim {
    /// Name.
    pub name: String,
    /// The powders there are.
    pub shelf: Vec<ShelfPowder>,
    /// Abrasiveness index, both ends included.
    pub index: Option<IndexAim>,
    /// Band.
    pub band: Option<BandAim>,
    /// All powders together, % w/w of the scrub, both ends included.
    pub load_pct: Option<[f64; 2]>,
    /// Largest D99 by volume, µm.
    pub d99_um: Option<f64>,
    /// Limits on what passes a sieve, by mass.
    pub passing: Vec<PassingLimit>,
    /// At most so many powders, 1 to [`MOST_POWDERS`].
    pub max_powders: Option<usize>,
    /// Tags, materials or names that must not be in it.
    pub without: Vec<String>,
    /// Which of the blends that meet all this.
    pub goal: Goal,
    /// Batch that the stock must suffice for, g.
    pub batch_g: f64,
    /// No powder of a blend is less of the scrub than this, % w/w.
    pub least_pct: f64,
    /// Nor fewer steps of the balance than this, where one is named and any blend is left then.
    pub least_steps: f64,
    /// Of 100 draws, how many fall into the band asked for or a milder one; for [`crate::aim::likely_blends`].
    pub sure_pct: Option<f64>,
}

/// A range of the index.
#[derive(Debug, Clone, PartialEq)]
pub struct IndexAim {
    /// Least.
    pub low: f64,
    /// Largest.
    pub high: f64,
    /// The scrub whose index this is, when the range was made from one.
    pub like: Option<String>,
    /// The panel's score that this is, when the range was made from one.
    pub score: Option<ScoreAim>,
}

/// A score asked for, turned into an index by a panel's calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct ScoreAim {
    /// Least.
    pub low: f64,
    /// Largest.
    pub high: f64,
    /// Top of the scale.
    pub top: f64,
    /// The calibration file.
    pub calibration: String,
    /// Interval of the score that a scrub of the middle of the range is expected to get.
    pub interval: (f64, f64),
    /// Least and largest index that the panel scored, when the range leaves them.
    pub beyond: Option<(f64, f64)>,
}

/// A band, by rank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandAim {
    /// This band or a milder one.
    NoHarsher(usize),
    /// This band: its limits are met and those of no milder one.
    Exactly(usize),
}

impl BandAim {
    /// Rank of the band.
    pub fn rank(self) -> usize {
        match self {
            Self::NoHarsher(rank) | Self::Exactly(rank) => rank,
        }
    }
}

/// Limits on the share finer than a size, by mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassingLimit {
    /// Size, µm.
    pub um: f64,
    /// Least passing, %.
    pub min: f64,
    /// Largest passing, %.
    pub max: f64,
}

/// Which blend is best among those that meet the targets.
#[derive(Debug, Clone, PartialEq)]
pub enum Goal {
    /// The cheapest.
    Cheapest,
    /// The one of fewest powders; of those, the cheapest.
    FewestPowders,
    /// The one whose curve by mass lies closest to another: least root mean square deviation.
    ClosestCurve(TargetCurve),
    /// The one that changes least from a scrub: least sum of changes in % of the scrub.
    LeastChange(Scrub),
}

impl Goal {
    /// As an aim file has it.
    pub fn key(&self) -> &'static str {
        match self {
            Self::Cheapest => "cheapest",
            Self::FewestPowders => "fewest-powders",
            Self::ClosestCurve(_) => "closest-curve",
            Self::LeastChange(_) => "least-change",
        }
    }
}

/// A curve to come close to: shares finer by mass (0..1) at sizes in µm.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetCurve {
    /// Where it came from.
    pub label: String,
    /// Sizes and shares, sizes rising.
    pub points: Vec<(f64, f64)>,
}

/// Points at which a curve is compared when it is known everywhere.
const CURVE_POINTS: usize = 15;

impl TargetCurve {
    /// Compares at sizes of equal steps of the share finer.
    fn at_quantiles(label: String, quantile: impl Fn(f64) -> f64) -> Self {
        let shares = (0..CURVE_POINTS).map(|i| (i as f64 + 0.5) / CURVE_POINTS as f64);
        Self { label, points: shares.map(|p| (quantile(p), p)).collect() }
    }

    /// The curve of a scrub, by mass.
    pub fn of_scrub(scrub: &Scrub) -> Self {
        Self::at_quantiles(scrub.name.clone(), |p| scrub.blend.quantile(Basis::Mass, p))
    }

    /// A curve of its own.
    pub fn of_distribution(label: impl Into<String>, distribution: &SizeDistribution) -> Self {
        Self::at_quantiles(label.into(), |p| distribution.quantile(p))
    }

    /// The middle of limits on what passes.
    pub fn middle_of(limits: &[PassingLimit]) -> Self {
        let middle = |l: &PassingLimit| (l.um, (l.min + l.max) / 200.0);
        Self { label: "middle of the passing limits".to_owned(), points: limits.iter().map(middle).collect() }
    }

    /// Root mean square deviation of a scrub's curve by mass from this one, percentage points.
    pub fn deviation_pct(&self, scrub: &Scrub) -> f64 {
        let off = self.points.iter().map(|&(um, share)| scrub.blend.undersize(Basis::Mass, um) - share);
        100.0 * (off.map(|d| d * d).sum::<f64>() / self.points.len() as f64).sqrt()
    }
}

/// One of the things asked for. A blend is held against each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Target {
    /// [`Aim::index`].
    Index,
    /// [`Aim::band`].
    Band,
    /// [`Aim::sure_pct`], which the search itself does not look at.
    Sure,
    /// [`Aim::load_pct`].
    Load,
    /// [`Aim::d99_um`].
    D99,
    /// The limit at this place in [`Aim::passing`].
    Passing(usize),
    /// [`Aim::max_powders`].
    MaxPowders,
    /// [`Aim::without`].
    Without,
    /// Stock, and the largest share of a powder.
    Shelf,
    /// [`Aim::least_pct`].
    LeastShare,
}

impl Target {
    /// Whether it is about a figure of the blend that could be missed by a little.
    pub fn is_figure(self) -> bool {
        matches!(self, Self::Index | Self::Band | Self::Load | Self::D99 | Self::Passing(_))
    }

    /// Unit in which a blend's distance from it is measured.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Index => "index points",
            Self::Band => "% of the band's limit",
            Self::Load | Self::Shelf | Self::LeastShare => "% of the scrub",
            Self::Sure => "of 100 draws",
            Self::D99 => "µm",
            Self::Passing(_) => "percentage points",
            Self::MaxPowders => "powders",
            Self::Without => "powders left out",
        }
    }
}

/// Room for rounding in the last digits, relative.
const ROUNDING: f64 = 1e-9;

impl Aim {
    /// Everything asked for, in the order in which it is reported.
    pub fn targets(&self) -> Vec<Target> {
        let mut targets = Vec::new();
        let mut add = |stated: bool, target| targets.extend(stated.then_some(target));
        add(self.index.is_some(), Target::Index);
        add(self.band.is_some(), Target::Band);
        add(self.sure_pct.is_some(), Target::Sure);
        add(self.load_pct.is_some(), Target::Load);
        add(self.d99_um.is_some(), Target::D99);
        for i in 0..self.passing.len() {
            add(true, Target::Passing(i));
        }
        add(self.max_powders.is_some(), Target::MaxPowders);
        add(self.shelf.iter().any(|s| self.without.iter().any(|w| s.answers_to(w))), Target::Without);
        add(self.shelf.iter().any(|s| s.stock_g.is_some() || s.max_pct < 100.0), Target::Shelf);
        add(self.least_pct > 0.0, Target::LeastShare);
        targets
    }

    /// Largest share that stock and shelf allow a powder, % of the scrub.
    pub fn most_pct(&self, powder: &ShelfPowder) -> f64 {
        let stock = powder.stock_g.map_or(100.0, |g| 100.0 * g / self.batch_g);
        powder.max_pct.min(stock).min(100.0)
    }

    /// The same for a batch weighed in steps of so many grams, where one is named: no powder is so few steps that the weighing is off
    /// by much.
    #[must_use]
    pub fn for_balance(&self, resolution_g: Option<f64>) -> Self {
        let steps_pct = resolution_g.map_or(0.0, |step_g| 100.0 * self.least_steps * step_g / self.batch_g);
        Self { least_pct: self.least_pct.max(steps_pct), ..self.clone() }
    }

    /// Whether `without` rules a powder out.
    pub fn excludes(&self, powder: &ShelfPowder) -> bool {
        self.without.iter().any(|word| powder.answers_to(word))
    }

    /// The load, or what stands for it.
    pub fn load_range_pct(&self) -> [f64; 2] {
        self.load_pct.unwrap_or(FREE_LOAD_PCT)
    }

    /// How far a scrub made of these shares (`(place on the shelf, % of scrub)`) is from a target, in [`Target::unit`];
    /// 0 when it is met.
    pub fn off_by(
        &self,
        target: Target,
        shares: &[(usize, f64)],
        scrub: &Scrub,
        assessment: &Assessment,
        judge: &Judge,
    ) -> f64 {
        match target {
            Target::Index => self.index.as_ref().map_or(0.0, |i| outside(assessment.figures.index, i.low, i.high)),
            Target::Band => self.band.map_or(0.0, |b| band_off(b, assessment, judge)),
            Target::Load => self.load_pct.map_or(0.0, |[low, high]| outside(scrub.load.get(), low, high)),
            Target::D99 => self.d99_um.map_or(0.0, |most| outside(assessment.figures.d99_um, 0.0, most)),
            Target::Passing(i) => {
                let limit = &self.passing[i];
                outside(100.0 * scrub.blend.undersize(Basis::Mass, limit.um), limit.min, limit.max)
            }
            Target::MaxPowders => self.max_powders.map_or(0.0, |k| shares.len().saturating_sub(k) as f64),
            Target::Without => shares.iter().filter(|(i, _)| self.excludes(&self.shelf[*i])).count() as f64,
            Target::Shelf => {
                let over = |&(i, pct): &(usize, f64)| {
                    let powder = &self.shelf[i];
                    outside(pct, powder.min_pct, self.most_pct(powder))
                };
                shares.iter().map(over).sum()
            }
            Target::LeastShare => shares.iter().map(|s| outside(s.1, self.least_pct, f64::INFINITY)).sum(),
            Target::Sure => 0.0,
        }
    }
}

impl Aim {
    /// How far a scrub is from a target, as a share of the limit that it misses (of a shelf: in % of the scrub).
    pub(in crate::aim) fn relative_miss(&self, target: Target, off: f64, value: f64) -> f64 {
        let limit = |low: f64, high: f64| if value > high { high } else { low };
        let by = match target {
            Target::Index => self.index.as_ref().map_or(1.0, |i| limit(i.low, i.high)),
            Target::Load => self.load_pct.map_or(1.0, |[low, high]| limit(low, high)),
            Target::D99 => self.d99_um.unwrap_or(1.0),
            Target::Passing(i) => limit(self.passing[i].min, self.passing[i].max),
            Target::Band => 100.0,
            _ => 1.0,
        };
        if off > 0.0 { off / by.max(f64::MIN_POSITIVE) } else { 0.0 }
    }

    /// The figure that a target is about, where it is one.
    pub(in crate::aim) fn figure_of(&self, target: Target, scrub: &Scrub, assessment: &Assessment) -> f64 {
        match target {
            Target::Index => assessment.figures.index,
            Target::Load => scrub.load.get(),
            Target::D99 => assessment.figures.d99_um,
            Target::Passing(i) => 100.0 * scrub.blend.undersize(Basis::Mass, self.passing[i].um),
            _ => 0.0,
        }
    }
}

/// Distance from a range; 0 inside it.
fn outside(value: f64, low: f64, high: f64) -> f64 {
    let off = (low - value).max(value - high).max(0.0);
    if off <= ROUNDING * value.abs() { 0.0 } else { off }
}

/// A band that is not met is missed by this at least, % of its limit, however close the figures are.
const BAND_MISSED: f64 = 1e-9;

fn band_off(band: BandAim, assessment: &Assessment, judge: &Judge) -> f64 {
    let rank = assessment.verdict.rank;
    // Room left under the limits of a band; negative beyond one.
    let room = |r: usize| judge.held(r, &assessment.figures).iter().map(Held::margin_pct).fold(f64::INFINITY, f64::min);
    let off = match band {
        BandAim::NoHarsher(limit) if rank <= limit => return 0.0,
        BandAim::Exactly(limit) if rank == limit => return 0.0,
        BandAim::NoHarsher(limit) => (0..=limit).map(|r| -room(r)).fold(f64::INFINITY, f64::min),
        // Each milder band must be left, and this one not.
        BandAim::Exactly(limit) => (0..limit).map(room).fold(-room(limit), f64::max),
    };
    off.max(BAND_MISSED)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;

    #[test]
    fn a_least_share_is_a_target_where_there_is_one() {
        let (mut aim, _) = invented::aim(&[(160.0, 2.0)], "load_pct = [4, 8]\ngoal = \"cheapest\"");
        for (least_pct, is_one) in [(0.0, false), (0.1, true)] {
            aim.least_pct = least_pct;
            assert_eq!(aim.targets().contains(&Target::LeastShare), is_one, "{least_pct}");
        }
    }
}
