//! What would move the band: the parts of one powder, the load, or the grade of one powder, solved for the very point at
//! which the next band begins.

use super::Judge;
use super::variation::{Quantity, Variation};
use crate::blend::Scrub;
use crate::numerics::parallel::in_order;
use crate::numerics::roots;
use serde::Serialize;

/// Towards the skin, or away from it.
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
    /// Mass that the change moves, grams in 100 g of scrub: what ranks changes.
    pub moved_pct: f64,
}

/// Steps in which a quantity is walked outwards before the crossing is solved.
const STEPS: i32 = 12;
/// How far parts, load and median are walked, as a factor either way.
const REACH: f64 = 1e4;
const MEDIAN_REACH: f64 = 100.0;

/// The nearest change towards each side: of parts or load where one of them can do it, else of a grade.
pub fn nearest_changes(judge: &Judge, scrub: &Scrub, rank: usize) -> Vec<Change> {
    let variation = Variation::new(judge, scrub);
    let count = scrub.blend.components().len();
    let nearest = |direction: Direction| {
        let next = direction.next(rank, judge.bands().len())?;
        let edge = Edge { direction, rank, next };
        let parts = (0..count).filter(|_| count > 1).map(Quantity::Parts);
        // The load moves the scrub most evenly, so that what it takes is a good bound for the others.
        let shares = nearest_of(&variation, edge, [Quantity::Load].into_iter().chain(parts));
        shares.or_else(|| nearest_of(&variation, edge, (0..count).map(Quantity::Median)))
    };
    let both = [Direction::Milder, Direction::Harsher];
    in_order(both.len(), |i| nearest(both[i])).into_iter().flatten().collect()
}

/// From the band of one rank to that of the next on a side.
#[derive(Clone, Copy)]
struct Edge {
    direction: Direction,
    rank: usize,
    next: usize,
}

/// The change of one of these quantities that moves least.
fn nearest_of(variation: &Variation, edge: Edge, quantities: impl Iterator<Item = Quantity>) -> Option<Change> {
    let mut nearest: Option<Change> = None;
    for quantity in quantities {
        let most = nearest.as_ref().map_or(f64::INFINITY, |c| c.moved_pct);
        let found = crossing(variation, quantity, edge, most);
        nearest = found.filter(|c| c.moved_pct < most).or(nearest);
    }
    nearest
}

/// Walks `quantity` both ways until the band changes or more is moved than `most_pct`, and solves for the point where the band
/// changes.
fn crossing(variation: &Variation, quantity: Quantity, edge: Edge, most_pct: f64) -> Option<Change> {
    let Edge { direction, rank, next } = edge;
    // The milder of the two bands has the limits that are crossed.
    let limits = rank.min(next);
    let gone = |value: f64| {
        let excess = variation.excess(&[(quantity, value)], limits);
        if direction == Direction::Milder { -excess } else { excess }
    };
    let from = variation.stands(quantity);
    let (reach, most) = match quantity {
        Quantity::Parts(_) | Quantity::Load => (REACH, 100.0),
        Quantity::Median(_) => (MEDIAN_REACH, f64::INFINITY),
    };
    let moved = |to: f64| moved_pct(variation, quantity, from, to);
    let mut found: Vec<f64> = Vec::new();
    for side in [-1.0, 1.0] {
        let mut inside = from;
        for step in 1..=STEPS {
            // Small steps first: near crossings must not be jumped over.
            let stretch = (f64::from(step) / f64::from(STEPS)).powi(2);
            let outside = (from * reach.powf(side * stretch)).min(most);
            // The further out, the more is moved.
            if outside == inside || moved(inside) > most_pct {
                break;
            }
            if variation.allows(&[(quantity, outside)], limits) == (direction == Direction::Milder) {
                found.extend(roots::brent(gone, inside, outside, 1e-9 * from).ok());
                break;
            }
            inside = outside;
        }
    }
    let to = found.into_iter().min_by(|a, b| moved(*a).total_cmp(&moved(*b)))?;
    Some(Change { direction, quantity, from, to, rank: next, moved_pct: moved(to) })
}

/// Half the sum of all changes of shares of the scrub; for a grade, its share times the relative change.
fn moved_pct(variation: &Variation, quantity: Quantity, from: f64, to: f64) -> f64 {
    let old = variation.shares(&[]);
    let load_pct = variation.load_pct();
    match quantity {
        Quantity::Load => (to - from).abs(),
        Quantity::Median(i) => load_pct * old[i] * (to / from).ln().abs(),
        Quantity::Parts(_) => {
            let new = variation.shares(&[(quantity, to)]);
            let sum: f64 = old.iter().zip(&new).map(|(a, b)| (a - b).abs()).sum();
            0.5 * load_pct * sum
        }
    }
}
