//! "Less than 0.7 parts of bamboo would make it a face scrub" is solved, not guessed: a scrub just past the stated point has
//! the stated band, one just short of it still has its own, and no other single change of parts or load is nearer.

use crate::common::{CASES, scrub, tables};
use gritwise::band::{Change, Direction, Judge, Quantity, nearest_changes};

#[test]
fn a_stated_change_moves_the_band_exactly_where_it_says() {
    let judge = Judge::new(tables()).unwrap();
    let mut seen = 0;
    for case in &CASES {
        let stated = scrub(case, &[]);
        let rank = judge.assess(&stated).verdict.rank;
        for Change { direction, quantity, from, to, rank: next, .. } in nearest_changes(&judge, &stated, rank) {
            let rank_at = |v: f64| judge.assess(&scrub(case, &[(quantity, v)])).verdict.rank;
            let beyond = to + (to - from) * 1e-6;
            let short = to - (to - from) * 1e-6;
            match direction {
                Direction::Milder => {
                    assert!(rank_at(beyond) <= next, "{case:?}: {quantity:?} {from} to {to}");
                    assert!(rank_at(short) >= rank, "{case:?}: {quantity:?} {from} to {to}");
                }
                Direction::Harsher => {
                    assert!(rank_at(beyond) >= next, "{case:?}: {quantity:?} {from} to {to}");
                    assert!(rank_at(short) <= rank, "{case:?}: {quantity:?} {from} to {to}");
                }
            }
            seen += 1;
        }
    }
    assert!(seen >= 10, "only {seen} changes were found");
}

#[test]
fn no_other_single_change_is_nearer() {
    let judge = Judge::new(tables()).unwrap();
    let case = &CASES[0];
    let stated = scrub(case, &[]);
    let rank = judge.assess(&stated).verdict.rank;
    let changes = nearest_changes(&judge, &stated, rank);
    let nearest = changes.iter().find(|c| c.direction == Direction::Milder).unwrap();
    // The same walk by brute force: mass moved in 100 g of scrub by a change of the load alone, or of one powder's parts.
    let moved = |quantity: &Quantity, v: f64| match quantity {
        Quantity::Parts(i) => {
            let parts = [4.0, 1.0];
            let mut new = parts;
            new[*i] = v;
            let share = |p: &[f64; 2]| p[0] / (p[0] + p[1]);
            5.0 * (share(&parts) - share(&new)).abs()
        }
        _ => (v - 5.0).abs(),
    };
    let mut best = f64::INFINITY;
    for quantity in [Quantity::Parts(0), Quantity::Parts(1), Quantity::Load] {
        for step in 1..400 {
            let v = f64::from(step) * 0.05;
            if judge.assess(&scrub(case, &[(quantity, v)])).verdict.rank < rank {
                best = best.min(moved(&quantity, v));
            }
        }
    }
    assert!(nearest.moved_pct <= best + 1e-9, "{} is not nearer than {best}", nearest.moved_pct);
    assert!(nearest.moved_pct > best - 0.05, "{} is nearer than can be: {best}", nearest.moved_pct);
}
