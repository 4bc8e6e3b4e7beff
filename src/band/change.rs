//! The levers of a scrub: changes of one quantity, within what a maker can do, that move it into the next band, and sieves that do.
//!
//! Reach is a convention: a powder load up to 20 % of the scrub (60 % where salts and sugar make most of the powders), a cut between half
//! and twice the present D50, parts between none and four times. No lever leads through a grain-borne rub, where more powder may
//! cushion and a step the other way may cut: what holds between here and there could not be said in one sentence.

use super::sieving::{Sieving, sieving};
use super::variation::{Arrival, Quantity, Variation};
use super::{Assessment, Judge};
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::roots;
use crate::rub::Partition;
use serde::Serialize;

/// Towards which side a band is moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// To the next milder band.
    Milder,
    /// To the next harsher band.
    Harsher,
}

impl Direction {
    /// The rank next to `rank` on this side, if there is one; `bands` is the number of bands.
    fn next(self, rank: usize, bands: usize) -> Option<usize> {
        match self {
            Self::Milder => rank.checked_sub(1),
            Self::Harsher => (rank < bands).then_some(rank + 1),
        }
    }
}

/// A change that takes the scrub to the edge of another band.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Towards which side.
    pub direction: Direction,
    /// What is changed.
    pub quantity: Quantity,
    /// Where it stands.
    pub from: f64,
    /// Where the other band begins.
    pub to: f64,
    /// Rank of that band.
    pub rank: usize,
}

impl Change {
    /// How much is changed, as a share of what it is.
    pub fn relative(&self) -> f64 {
        (self.to - self.from).abs() / self.from
    }
}

/// What a maker can do.
#[derive(Debug, Clone, PartialEq)]
pub enum Lever {
    /// Set a quantity to another value.
    Change(Change),
    /// Sieve a powder.
    Sieving(Sieving),
}

impl Lever {
    /// Towards which side; sieving makes milder.
    pub fn direction(&self) -> Direction {
        match self {
            Self::Change(change) => change.direction,
            Self::Sieving(_) => Direction::Milder,
        }
    }

    /// Rank of the band that it leads to.
    pub fn rank(&self) -> usize {
        match self {
            Self::Change(change) => change.rank,
            Self::Sieving(sieving) => sieving.rank,
        }
    }

    /// How much is changed, as a share of what it is; of a powder, the share that is sieved off.
    pub fn relative(&self) -> f64 {
        match self {
            Self::Change(change) => change.relative(),
            Self::Sieving(sieving) => sieving.off,
        }
    }
}

/// Most levers that are named, and how many of them towards the milder side when there are some on both.
const MOST: usize = 3;
const MOST_MILDER: usize = 2;

/// How far beyond the crossing, as a share of the way there, the band is looked at that begins there.
const BEYOND: f64 = 1e-6;

/// A way shorter than this share of a quantity is none.
const LEAST_WAY: f64 = 0.01;

/// Steps in which a quantity is walked outwards before the crossing is solved.
const STEPS: i32 = 12;

/// Largest load that a maker would take, % of the scrub, and of a scrub of salt or sugar.
const MOST_LOAD: f64 = 20.0;
const MOST_SOLUBLE_LOAD: f64 = 60.0;
/// Shares of a lever's present value that are walked to, down and up.
const PARTS_REACH: [f64; 2] = [0.0, 4.0];
const MEDIAN_REACH: [f64; 2] = [0.5, 2.0];
const LOAD_REACH: f64 = 0.02;

/// The levers of an assessed scrub: the mild direction first, and on either side the smallest relative change first. Milder
/// by less of a powder, a finer cut of it, a sieve or a lower load; harsher by more of one, a coarser cut or a higher load. `openings_um`
/// are those of the sieves that each powder can go through, as its grains stand in the scrub. Where it is what arrives of another that is
/// weighed in, `on_its_way` has that one, and all levers but sieves are of it.
pub fn levers(
    judge: &Judge,
    scrub: &Scrub,
    assessment: &Assessment,
    openings_um: &[Vec<f64>],
    on_its_way: Option<(&Scrub, Arrival)>,
) -> Vec<Lever> {
    let variation = match on_its_way {
        Some((weighed, arrives)) => Variation::on_its_way(judge, weighed, Some(arrives)),
        None => Variation::of_grains(judge, scrub, assessment.rubbed.population.clone()),
    };
    let both = [Direction::Milder, Direction::Harsher];
    let mut found = in_order(both.len(), |i| of_side(&variation, scrub, both[i], assessment, openings_um));
    let harsher = found.pop().unwrap_or_default();
    let mut changes = found.pop().unwrap_or_default();
    changes.truncate(if harsher.is_empty() { MOST } else { MOST_MILDER });
    let left = if changes.is_empty() { MOST_MILDER } else { MOST - changes.len() };
    changes.extend(harsher.into_iter().take(left.min(MOST_MILDER)));
    changes
}

/// All levers towards one side, the smallest relative change first.
fn of_side(
    variation: &Variation,
    scrub: &Scrub,
    direction: Direction,
    assessment: &Assessment,
    openings_um: &[Vec<f64>],
) -> Vec<Lever> {
    let rank = assessment.verdict.rank;
    let Some(next) = direction.next(rank, variation.judge().bands().len()) else { return Vec::new() };
    let edge = BandEdge { direction, rank, next };
    let count = scrub.blend.components().len();
    let powders = (0..count).flat_map(|i| [Quantity::Parts(i), Quantity::Median(i)]);
    let quantities = powders.filter(|q| count > 1 || !matches!(q, Quantity::Parts(_))).chain([Quantity::Load]);
    let crossings = quantities.filter_map(|quantity| crossing(variation, quantity, most_load(scrub), edge));
    let mut changes: Vec<Lever> = crossings.map(Lever::Change).collect();
    if direction == Direction::Milder {
        let all = openings_um.iter().enumerate().take(count);
        let sieved = all.filter_map(|(place, own)| sieving(variation.judge(), (scrub, assessment), place, own, next));
        changes.extend(sieved.map(Lever::Sieving));
    }
    // Both are rounded to 1e-9: of equal changes that named first counts.
    changes.sort_by(|a, b| a.relative().total_cmp(&b.relative()));
    changes
}

/// From the band of one rank to that of the next on a side.
#[derive(Clone, Copy)]
struct BandEdge {
    direction: Direction,
    rank: usize,
    next: usize,
}

impl BandEdge {
    /// Rank of the band whose limits are crossed: the milder of the two.
    fn limits(&self) -> usize {
        self.rank.min(self.next)
    }
}

/// Largest load that a maker would take for these powders, %.
fn most_load(scrub: &Scrub) -> f64 {
    let soluble =
        scrub.blend.components().iter().filter(|c| c.powder.material.as_ref().is_some_and(|m| m.is_soluble()));
    if soluble.map(|c| c.mass).sum::<f64>() > 0.5 { MOST_SOLUBLE_LOAD } else { MOST_LOAD }
}

/// Walks `quantity` to the end of its reach until the band changes, and solves for the point where it does.
fn crossing(variation: &Variation, quantity: Quantity, most_load: f64, edge: BandEdge) -> Option<Change> {
    let BandEdge { direction, next, .. } = edge;
    let from = variation.stands(quantity);
    let reach = match quantity {
        Quantity::Parts(_) => PARTS_REACH.map(|r| r * from),
        Quantity::Median(_) => MEDIAN_REACH.map(|r| r * from),
        Quantity::Load => [LOAD_REACH * from, most_load.max(from)],
    };
    let end = if direction == Direction::Milder { reach[0] } else { reach[1] };
    // A scrub is of the mildest band whose limits it keeps to, whether or not it keeps to those between: one of these, or none of them.
    let holds_at = |judged: &Assessment| -> Vec<bool> {
        (0..=edge.limits()).map(|rank| variation.judge().excess_of(rank, &judged.figures) <= 0.0).collect()
    };
    let (mut inside, mut held) = (from, Vec::new());
    for step in 0..=STEPS {
        // Small steps first: near crossings must not be jumped over.
        let part = (f64::from(step) / f64::from(STEPS)).powi(2);
        let outside = from + (end - from) * part;
        let judged = variation.assess(&[(quantity, outside)]);
        if !is_shared(variation.judge(), &judged, edge.limits()) {
            return None;
        }
        let holds = holds_at(&judged);
        if step > 0 && holds.contains(&true) == (direction == Direction::Milder) {
            let turned = (0..holds.len()).filter(|rank| holds[*rank] != held[*rank]);
            let solved = turned.map(|rank| {
                let gone = |value: f64| variation.excess(&[(quantity, value)], rank);
                roots::brent(gone, inside, outside, 1e-9 * from).ok()
            });
            // The first band that is kept to, or the last one left.
            let way = |to: &f64| (to - from).abs();
            let all = solved.collect::<Option<Vec<f64>>>()?.into_iter();
            let to = match direction {
                Direction::Milder => all.min_by(|a, b| way(a).total_cmp(&way(b))),
                Direction::Harsher => all.max_by(|a, b| way(a).total_cmp(&way(b))),
            }?;
            // Where one criterion alone kept it from several bands, the change leads past the next one.
            // A limit at which the scrub already stands is crossed by a step, not by a share of no way at all.
            let step = (to - from).abs().max(LEAST_WAY * from).copysign(end - from);
            // Where nothing arrives there is no scrub.
            let there = [(quantity, to + step * BEYOND)];
            if !variation.arrives(&there) {
                return None;
            }
            let beyond = variation.assess(&there).verdict.rank;
            let rank = if direction == Direction::Milder { beyond.min(next) } else { beyond.max(next) };
            return Some(Change { direction, quantity, from, to, rank });
        }
        (inside, held) = (outside, holds);
    }
    None
}

/// Whether film and skin share the rubs that the limits of a band hang on.
fn is_shared(judge: &Judge, judged: &Assessment, limits: usize) -> bool {
    let (reference, site) = (judge.model().reference_position(), judge.site_of(limits));
    [reference, site].iter().all(|s| judged.rubbed.sites[*s].partition == Partition::Shared)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::band::landmarks;
    use crate::blend::Blend;
    use crate::tables::Tables;
    use crate::units::Parts;

    #[test]
    fn the_next_band_is_one_rank_away_and_there_is_none_beyond_the_ends() {
        let next = |direction: Direction| [0, 1, 3, 4].map(|rank| direction.next(rank, 4));
        assert_eq!(next(Direction::Milder), [None, Some(0), Some(2), Some(3)]);
        assert_eq!(next(Direction::Harsher), [Some(1), Some(2), Some(4), None]);
    }

    #[test]
    fn salt_and_sugar_may_make_a_thick_scrub_where_they_are_most_of_the_powders() {
        let tables = Tables::built_in().unwrap();
        let of = |material: &str| {
            let is_alone = |scrub: &Scrub| match scrub.blend.components() {
                [only] => only.powder.material.as_ref().is_some_and(|m| m.key == material),
                _ => false,
            };
            tables.landmarks.iter().filter_map(|l| landmarks::scrub(l, &tables)).find(is_alone).unwrap()
        };
        let (sugar, walnut) = (of("sugar"), of("walnut-shell"));
        let with = |sugar_parts: f64| {
            let powder = |scrub: &Scrub| scrub.blend.components()[0].powder.clone();
            let parts = |p: f64| Parts::new(p).unwrap();
            let blend = Blend::new(vec![(powder(&sugar), parts(sugar_parts)), (powder(&walnut), parts(1.0))]).unwrap();
            Scrub { blend, ..sugar.clone() }
        };
        // Half is not most.
        assert_eq!([0.9, 1.0, 1.1].map(|parts| most_load(&with(parts))), [20.0, 20.0, 60.0]);
    }

    #[test]
    fn no_more_than_three_levers_are_named_and_a_cut_reaches_from_half_to_twice_the_median() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let (mut on_both_sides, mut far) = (0, [0; 2]);
        for scrub in tables.landmarks.iter().filter_map(|l| landmarks::scrub(l, &tables)) {
            let assessment = judge.assess(&scrub);
            let variation = Variation::of_grains(&judge, &scrub, assessment.rubbed.population.clone());
            let sides = [Direction::Milder, Direction::Harsher]
                .map(|direction| of_side(&variation, &scrub, direction, &assessment, &[]));
            let named = levers(&judge, &scrub, &assessment, &[], None);
            let milder = named.iter().filter(|lever| lever.direction() == Direction::Milder).count();
            assert!(named.len() <= 3 && (milder <= 2 || named.len() == milder), "{}: {named:?}", scrub.name);
            on_both_sides += usize::from(sides.iter().all(|side| side.len() > 1));
            for (side, found) in sides.iter().enumerate() {
                for lever in found {
                    let Lever::Change(Change { quantity: Quantity::Median(_), from, to, .. }) = lever else { continue };
                    let [nearest, farthest] = if side == 0 { [0.5, 1.0] } else { [1.0, 2.0] };
                    assert!((nearest..=farthest).contains(&(to / from)), "{}: {lever:?}", scrub.name);
                    far[side] += usize::from((to / from - 1.0).abs() > 0.1);
                }
            }
        }
        assert!(on_both_sides > 0 && far.iter().all(|count| *count > 0), "{on_both_sides} {far:?}");
    }
}
