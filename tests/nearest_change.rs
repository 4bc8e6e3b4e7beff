//! "Less than 0.7 parts of bamboo would make it a face scrub" is solved, not guessed: a scrub just past the stated point has
//! the stated band, one just short of it still has its own, none lies beyond what a maker can do, and none is nearer.

use crate::common::{CASES, Case, scrub, tables};
use gritwise::band::{Assessment, Change, Direction, Judge, Lever, Quantity, levers};
use gritwise::blend::Scrub;
use gritwise::rub::Partition;

/// The levers without a sieve.
fn changes_of(judge: &Judge, scrub: &Scrub, assessment: &Assessment) -> Vec<Change> {
    let change = |lever| match lever {
        Lever::Change(change) => change,
        Lever::Sieving(sieving) => panic!("no sieve is at hand: {sieving:?}"),
    };
    levers(judge, scrub, assessment, &[], None).into_iter().map(change).collect()
}

#[test]
fn a_stated_change_moves_the_band_exactly_where_it_says() {
    let judge = Judge::new(tables()).unwrap();
    let mut seen = 0;
    for case in &CASES {
        let stated = scrub(case, &[]);
        let assessment = judge.assess(&stated);
        let rank = assessment.verdict.rank;
        for Change { direction, quantity, from, to, rank: next, .. } in changes_of(&judge, &stated, &assessment) {
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
fn levers_stay_within_reach_and_the_nearest_comes_first() {
    let judge = Judge::new(tables()).unwrap();
    let mut seen = 0;
    for case in &CASES {
        let stated = scrub(case, &[]);
        let assessment = judge.assess(&stated);
        let changes = changes_of(&judge, &stated, &assessment);
        assert!(changes.len() <= 3, "{case:?}: {changes:?}");
        let first_harsher = changes.iter().position(|c| c.direction == Direction::Harsher).unwrap_or(changes.len());
        assert!(changes[first_harsher..].iter().all(|c| c.direction == Direction::Harsher), "the mild side first");
        for change in &changes {
            let ratio = change.to / change.from;
            let soluble = case.0.iter().any(|p| p.0 == "sugar");
            match change.quantity {
                Quantity::Parts(_) => assert!((0.0..=4.0).contains(&ratio), "{change:?}"),
                Quantity::Median(_) => assert!((0.5..=2.0).contains(&ratio), "{change:?}"),
                Quantity::Load => assert!(change.to <= if soluble { 60.0 } else { 20.0 }, "{change:?}"),
            }
            assert_eq!(ratio < 1.0, change.direction == Direction::Milder, "{change:?}");
            // Between here and there every rub that the band hangs on is shared.
            for part in 0..=20 {
                let value = change.from + (change.to - change.from) * f64::from(part) / 20.0;
                let judged = judge.assess(&scrub(case, &[(change.quantity, value)]));
                assert_eq!(judged.rubbed.reference().partition, Partition::Shared, "{change:?} at {value}");
            }
        }
        for side in [Direction::Milder, Direction::Harsher] {
            let relative: Vec<f64> = changes.iter().filter(|c| c.direction == side).map(Change::relative).collect();
            assert!(relative.windows(2).all(|w| w[0] <= w[1]), "{case:?}: {relative:?}");
            // No single change towards this side that is smaller, by brute force.
            let Some(least) = relative.first() else { continue };
            let wanted = changes.iter().find(|c| c.direction == side).unwrap().rank;
            for (quantity, from) in levers_of(case) {
                for step in 1..60 {
                    let change = f64::from(step) / 60.0 * least * (1.0 - 1e-6);
                    let factor = if side == Direction::Milder { 1.0 - change } else { 1.0 + change };
                    if matches!(quantity, Quantity::Median(_)) && !(0.5..=2.0).contains(&factor) {
                        continue;
                    }
                    let value = from * factor;
                    let now = judge.assess(&scrub(case, &[(quantity, value)])).verdict.rank;
                    let moved = if side == Direction::Milder { now <= wanted } else { now >= wanted };
                    assert!(!moved, "{case:?}: {quantity:?} at {value} is nearer than {least}");
                }
            }
        }
        seen += changes.len();
    }
    assert!(seen >= 10, "only {seen}");
}

fn levers_of(case: &Case) -> Vec<(Quantity, f64)> {
    let powders = case.0.iter().enumerate();
    let parts = powders.clone().filter(|_| case.0.len() > 1).map(|(i, p)| (Quantity::Parts(i), p.1));
    parts.chain(powders.map(|(i, p)| (Quantity::Median(i), p.2))).chain([(Quantity::Load, case.1)]).collect()
}
