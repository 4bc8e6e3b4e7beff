//! What would move the band: the parts of one powder, the load, or the grade of one powder, solved for the very point at
//! which the next band begins.

use super::Judge;
use super::variation::{Quantity, Variation};
use crate::blend::Scrub;
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
    let mut changes = Vec::new();
    for direction in [Direction::Milder, Direction::Harsher] {
        let Some(next) = direction.next(rank, judge.bands().len()) else { continue };
        let count = scrub.blend.components().len();
        let parts = (0..count).filter(|_| count > 1).map(Quantity::Parts);
        let shares = parts.chain([Quantity::Load]).filter_map(|q| crossing(&variation, q, direction, rank, next));
        let nearest = shares.min_by(|a, b| a.moved_pct.total_cmp(&b.moved_pct)).or_else(|| {
            let grades = (0..count).map(Quantity::Median);
            let grades = grades.filter_map(|q| crossing(&variation, q, direction, rank, next));
            grades.min_by(|a, b| a.moved_pct.total_cmp(&b.moved_pct))
        });
        changes.extend(nearest);
    }
    changes
}

/// Walks `quantity` both ways until the band changes to `next`, and solves for the point where it does.
fn crossing(
    variation: &Variation,
    quantity: Quantity,
    direction: Direction,
    rank: usize,
    next: usize,
) -> Option<Change> {
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
    let mut found: Vec<f64> = Vec::new();
    for side in [-1.0, 1.0] {
        let mut inside = from;
        for step in 1..=STEPS {
            // Small steps first: near crossings must not be jumped over.
            let stretch = (f64::from(step) / f64::from(STEPS)).powi(2);
            let outside = (from * reach.powf(side * stretch)).min(most);
            if outside == inside {
                break;
            }
            if gone(outside) >= 0.0 {
                found.extend(roots::brent(gone, inside, outside, 1e-9 * from).ok());
                break;
            }
            inside = outside;
        }
    }
    let moved = |to: f64| moved_pct(variation, quantity, from, to);
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
