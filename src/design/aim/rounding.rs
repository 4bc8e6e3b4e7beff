//! Shares rounded to what a balance can weigh, with all targets still met.

use super::{Aim, Found, Rounding};
use crate::band::Judge;

/// Steps of the balance looked at below and above each share, nearest ring first.
const RINGS: [i64; 3] = [1, 2, 4];
/// More roundings than this are not tried in one ring.
const MOST_TRIED: usize = 5_000;

/// The best rounding near a blend; the blend as it was, marked so, when none meets all targets.
pub(super) fn rounded(aim: &Aim, judge: &Judge, found: &Found, resolution_g: f64) -> Found {
    let exact: Vec<f64> = found.shares.iter().map(|s| s.1 / 100.0 * aim.batch_g / resolution_g).collect();
    let targets = aim.targets();
    for ring in RINGS {
        let mut best: Option<Found> = None;
        for steps in roundings(&exact, ring).into_iter().take(MOST_TRIED) {
            let shares: Vec<(usize, f64)> = found
                .shares
                .iter()
                .zip(&steps)
                .map(|(s, n)| (s.0, *n as f64 * resolution_g / aim.batch_g * 100.0))
                .collect();
            let Some(tried) = aim.found(judge, &shares) else { continue };
            let better = best.as_ref().is_none_or(|b| tried.objective < b.objective);
            if better && targets.iter().all(|t| aim.misses_by(*t, &tried, judge) == 0.0) {
                best = Some(tried);
            }
        }
        if let Some(mut best) = best {
            best.rounding = Rounding::To(resolution_g);
            return best;
        }
    }
    Found { rounding: Rounding::Impossible(resolution_g), ..found.clone() }
}

/// Whole steps around each share: down and up, and `ring` − 1 more either way. Nearest to the exact shares first.
fn roundings(exact: &[f64], ring: i64) -> Vec<Vec<i64>> {
    let mut all: Vec<Vec<i64>> = vec![Vec::new()];
    for share in exact {
        let near = share.round();
        let on_step = (share - near).abs() < 1e-6;
        let (low, high) =
            if on_step { (near as i64, near as i64) } else { (share.floor() as i64, share.ceil() as i64) };
        let steps = (low - ring + 1).max(1)..=high + ring - 1;
        all = all.iter().flat_map(|set| steps.clone().map(|n| [set.as_slice(), &[n]].concat())).collect();
        if all.len() > MOST_TRIED * 20 {
            break;
        }
    }
    all.retain(|set| set.len() == exact.len());
    let off = |set: &Vec<i64>| set.iter().zip(exact).map(|(n, e)| (*n as f64 - e).powi(2)).sum::<f64>();
    all.sort_by(|a, b| off(a).total_cmp(&off(b)));
    all
}

#[cfg(test)]
mod tests {
    use super::roundings;

    #[test]
    fn nearest_roundings_come_first_and_a_share_is_never_rounded_away() {
        let all = roundings(&[10.2, 0.4], 1);
        assert_eq!(all[0], [10, 1]);
        assert!(all.iter().all(|set| set[1] >= 1));
        assert_eq!(roundings(&[10.0], 1), [[10]]);
        assert_eq!(roundings(&[10.5, 3.5], 2).len(), 16);
    }
}
