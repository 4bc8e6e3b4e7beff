//! What each target costs: which ones the best blend pays for is read from the dual prices of its program, and by how much a
//! somewhat wider limit would make it better from solving again.

use crate::aim::solve::node::Node;
use crate::aim::solve::region::{GapRange, GapRegion};
use crate::aim::solve::relax::Relaxation;
use crate::aim::solve::search::{Effort, Watch};
use crate::aim::statement::found::Found;
use crate::aim::statement::problem::Problem;
use crate::aim::statement::target::{Aim, BandAim, Goal, MOST_POWDERS, Target};
use crate::band::Judge;
use crate::rub::Partition;

/// A limit, wider, and what that brings.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// The target.
    pub target: Target,
    /// Its limit, wider.
    pub wider: Wider,
    /// How much smaller the goal's figure becomes, % of it.
    pub saves_pct: f64,
}

/// A limit moved outwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wider {
    /// The least value, lowered.
    Least {
        /// As asked for.
        from: f64,
        /// Instead.
        to: f64,
    },
    /// The largest value, raised.
    Most {
        /// As asked for.
        from: f64,
        /// Instead.
        to: f64,
    },
    /// A harsher band, by rank.
    Band(usize),
}

/// An end of a range; what has one limit is at its high end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Low,
    High,
}

/// Parts of a search after which a price is left out.
const MOST_PARTS: u64 = 6_000;
/// How much wider a limit is looked at, as a share of it.
const WIDER: f64 = 0.1;
/// Savings below this, %, are not worth a word.
const WORTH_PCT: f64 = 0.5;
/// A row with a smaller share of the largest price has none.
const PRICED: f64 = 1e-7;

/// What the targets of an aim cost its best blend, the dearest first: `again` solves an aim as it was solved and gives what its best blend
/// is worth. `judge` has the limits that the blend was found under. Empty for `fewest-powders`, whose figure moves in steps.
pub fn prices(aim: &Aim, judge: &Judge, best: &Found, again: impl Fn(&Aim) -> Option<f64>) -> Vec<Price> {
    let Some(before) = best.objective.filter(|o| *o > 0.0 && aim.goal != Goal::FewestPowders) else {
        return Vec::new();
    };
    let mut prices: Vec<Price> = Vec::new();
    for target in priced(aim, judge, best) {
        // A blend stands at both ends of a range of one value, of which one has the price.
        let ways = [End::Low, End::High].into_iter().filter_map(|end| aim.widened(target, end, best, judge));
        let price = |(wider, relaxed): (Wider, Aim)| {
            let saves_pct = again(&relaxed).map_or(0.0, |after| 100.0 * (1.0 - after / before));
            Price { target, wider, saves_pct }
        };
        let dearest = ways.map(price).max_by(|a, b| a.saves_pct.total_cmp(&b.saves_pct));
        prices.extend(dearest.filter(|price| price.saves_pct >= WORTH_PCT));
    }
    prices.sort_by(|a, b| b.saves_pct.total_cmp(&a.saves_pct));
    prices
}

impl Aim {
    /// What the best blend is worth, by the figures as stated and not rounded; `None` where that would take long.
    pub fn worth(&self, judge: &Judge, watch: Option<Watch>) -> Option<f64> {
        let (search, blends) = self.best(judge, 1, Effort { parts: MOST_PARTS, watch });
        blends.first().and_then(|b| b.objective).filter(|_| search.stopped_at.is_none())
    }
}

/// Targets whose rows have a price in the program of the best blend's own powders, and the count where it is used up.
fn priced(aim: &Aim, judge: &Judge, best: &Found) -> Vec<Target> {
    let targets = aim.targets();
    let problem = Problem::new(aim, judge, aim.objective(), &targets, &[]);
    let place_of = |place: usize| problem.candidates.iter().position(|c| c.place == place);
    let set: Vec<u16> = best.shares.iter().filter_map(|s| place_of(s.0)).map(|m| m as u16).collect();
    let mut priced = Vec::new();
    for variant in 0..problem.variants.len() {
        let region = problem.region_of(best, variant);
        let node = Node::root(&problem, region, set.len()).of_set(&set);
        let Relaxation::Solved(relaxed) = node.relaxed(&problem, f64::INFINITY) else { continue };
        let largest = relaxed.duals.iter().fold(0.0_f64, |s, y| s.max(y.abs()));
        let rows = relaxed.duals.iter().zip(&node.place.frame(&problem).targets);
        priced.extend(rows.filter(|(y, _)| y.abs() > PRICED * largest).filter_map(|(_, target)| *target));
    }
    if aim.max_powders.is_some_and(|most| best.shares.len() == most) {
        priced.push(Target::MaxPowders);
    }
    priced.retain(|t| targets.contains(t));
    priced.sort_unstable();
    priced.dedup();
    priced
}

impl Problem<'_> {
    /// The region that holds a blend alone, for a variant.
    pub(in crate::aim) fn region_of(&self, found: &Found, variant: usize) -> GapRegion {
        let mut gaps = vec![GapRange::Unused; self.judge.model().sites().len()];
        for site in self.sites_of(&self.variants[variant]) {
            let rub = &found.assessment.rubbed.sites[site];
            gaps[site] = if rub.partition == Partition::Shared {
                GapRange::Shared
            } else {
                GapRange::Borne(rub.gap_um, rub.gap_um)
            };
        }
        GapRegion { variant, gaps, misses: Vec::new() }
    }
}

impl Aim {
    /// The aim with an end of a target widened; `None` where the blend does not stand at it.
    fn widened(&self, target: Target, end: End, found: &Found, judge: &Judge) -> Option<(Wider, Self)> {
        let mut aim = self.clone();
        let value = self.figure_of(target, &found.scrub, &found.assessment);
        let wider = match target {
            Target::MaxPowders | Target::Band if end == End::Low => return None,
            Target::Index => {
                let index = aim.index.as_mut().filter(|i| i.like.is_none() && i.score.is_none())?;
                widen(&mut index.low, &mut index.high, end, value)?
            }
            Target::Load => {
                let [low, high] = aim.load_pct.as_mut()?;
                widen(low, high, end, value)?
            }
            Target::D99 => widen(&mut 0.0, aim.d99_um.as_mut()?, end, value)?,
            Target::Passing(i) => {
                let limit = &mut aim.passing[i];
                let wider = widen(&mut limit.min, &mut limit.max, end, value)?;
                limit.max = limit.max.min(100.0);
                wider
            }
            Target::MaxPowders => {
                let most = aim.max_powders.filter(|most| *most < MOST_POWDERS)?;
                aim.max_powders = Some(most + 1);
                Wider::Most { from: most as f64, to: (most + 1) as f64 }
            }
            Target::Band => {
                let Some(BandAim::NoHarsher(rank)) = aim.band else { return None };
                let next = Some(rank + 1).filter(|next| *next < judge.bands().len())?;
                aim.band = Some(BandAim::NoHarsher(next));
                Wider::Band(next)
            }
            Target::Sure | Target::Without | Target::Shelf | Target::LeastShare => return None,
        };
        Some((wider, aim))
    }
}

/// Moves an end of a range outwards, to a number that one would write; `None` where the value stands nearer to the other end.
fn widen(low: &mut f64, high: &mut f64, end: End, value: f64) -> Option<Wider> {
    let [off_low, off_high] = [value - *low, *high - value].map(f64::abs);
    match end {
        End::Low if off_low <= off_high => {
            let from = *low;
            *low = two_digits(from * (1.0 - WIDER));
            Some(Wider::Least { from, to: *low })
        }
        End::High if off_high <= off_low => {
            let from = *high;
            *high = two_digits(from * (1.0 + WIDER));
            Some(Wider::Most { from, to: *high })
        }
        _ => None,
    }
}

/// Rounded to two digits, or to three where two would take it back by much.
fn two_digits(value: f64) -> f64 {
    if value <= 0.0 {
        return value;
    }
    let round = |digits: i32| {
        let unit = 10_f64.powi(value.log10().floor() as i32 + 1 - digits);
        (value / unit).round() * unit
    };
    let near = [round(2), round(3)].into_iter().find(|r| (r / value - 1.0).abs() < 0.3 * WIDER);
    // Powers of ten below 1 are no exact numbers: the shortest that says the same is written.
    near.and_then(|r| format!("{r:.6}").parse().ok()).unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::invented;

    #[test]
    fn a_limit_moves_to_a_number_that_one_would_write() {
        let widened = |low: f64, high: f64, value: f64| {
            [End::Low, End::High].map(|end| widen(&mut low.clone(), &mut high.clone(), end, value))
        };
        assert_eq!(widened(0.0, 400.0, 399.99), [None, Some(Wider::Most { from: 400.0, to: 440.0 })]);
        assert_eq!(widened(60.0, 120.0, 60.001), [Some(Wider::Least { from: 60.0, to: 54.0 }), None]);
        assert_eq!(widened(3.0, 6.0, 3.0), [Some(Wider::Least { from: 3.0, to: 2.7 }), None]);
        // Of a range of one value either end may be in the way.
        let both = [Some(Wider::Least { from: 4.0, to: 3.6 }), Some(Wider::Most { from: 4.0, to: 4.4 })];
        assert_eq!(widened(4.0, 4.0, 4.0), both);
        assert_eq!(two_digits(0.132), 0.13);
        // By hand: 95 and a tenth is 104.5; 100 would take nearly half of the tenth back, so a third digit is kept.
        let mut ends = (0.0, 95.0);
        assert_eq!(widen(&mut ends.0, &mut ends.1, End::High, 95.0), Some(Wider::Most { from: 95.0, to: 105.0 }));
        assert_eq!(ends, (0.0, 105.0));
        assert_eq!((two_digits(1044.0), two_digits(1031.0), two_digits(1029.0)), (1040.0, 1030.0, 1000.0));
        assert_eq!((two_digits(0.0), two_digits(-3.25)), (0.0, -3.25));
    }

    #[test]
    fn a_count_or_a_band_is_widened_while_there_is_a_next_one() {
        let (mut aim, judge) =
            invented::aim(&[(160.0, 2.0)], "load_pct = [4, 8]\nband = \"face\"\ngoal = \"cheapest\"");
        let best = aim.solve(&judge, 1, None).unwrap().blends.remove(0);
        for (most, wider) in [(1, true), (MOST_POWDERS - 1, true), (MOST_POWDERS, false)] {
            aim.max_powders = Some(most);
            let widened = aim.widened(Target::MaxPowders, End::High, &best, &judge);
            assert_eq!(widened.map(|w| w.1.max_powders), wider.then_some(Some(most + 1)));
        }
        // bands.csv has four.
        for (rank, next) in [(0, Some(1)), (1, Some(2)), (2, Some(3)), (3, None)] {
            aim.band = Some(BandAim::NoHarsher(rank));
            let widened = aim.widened(Target::Band, End::High, &best, &judge);
            assert_eq!(widened.map(|w| w.0), next.map(Wider::Band));
        }
    }

    #[test]
    fn limits_that_govern_a_cost_have_their_prices_by_the_masses() {
        // Half of the powder must pass 100 µm, which the cheap one alone does not; 45 % would be a tenth less. A tenth less load costs a
        // tenth less.
        let (aim, judge) = invented::aim(
            &[(200.0, 2.0), (70.0, 12.0)],
            "load_pct = [3, 5]\nd99_um = 900\npassing_pct = [{ um = 100, min = 50 }]\ngoal = \"cheapest\"",
        );
        let best = aim.solve(&judge, 1, None).unwrap().blends.remove(0);
        let [cheap, dear] = [0, 1].map(|i| aim.shelf[i].powder.size.distribution.undersize(100.0));
        let cost = |passing: f64| 2.0 + 10.0 * (passing - cheap) / (dear - cheap);
        let prices = prices(&aim, &judge, &best, |aim| aim.worth(&judge, None));
        let told: Vec<(Target, Wider)> = prices.iter().map(|price| (price.target, price.wider)).collect();
        let load = (Target::Load, Wider::Least { from: 3.0, to: 2.7 });
        let passing = (Target::Passing(0), Wider::Least { from: 50.0, to: 45.0 });
        let saved = 100.0 * (1.0 - cost(0.45) / cost(0.5));
        let wanted = if saved > 10.0 { [(passing, saved), (load, 10.0)] } else { [(load, 10.0), (passing, saved)] };
        assert_eq!(told, wanted.map(|(told, _)| told));
        for (price, (_, saves_pct)) in prices.iter().zip(wanted) {
            assert!((price.saves_pct / saves_pct - 1.0).abs() < 1e-4, "{price:?} {saves_pct}");
        }
    }
}
