//! A panel before it is held: how many tasters, in which orders they get the scrubs, under which codes.
//!
//! Each taster scores each scrub. The scores of a pair of scrubs are compared by a t-test of the differences within tasters, with the
//! noise of all scrubs: n tasters and k scrubs leave (n − 1)(k − 1) degrees of freedom, and a true difference D with a standard deviation
//! s of a taster's scores around their own level has the noncentrality D √(n / 2) / s. With more than two scrubs each of the k (k − 1) / 2
//! pairs gets its share of alpha (Bonferroni). Power by the noncentral t: J. Cohen, *Statistical Power Analysis for the Behavioral
//! Sciences*, 2nd ed. 1988, chapter 2.
//!
//! Orders by E. J. Williams, *Aust. J. Sci. Res.* A 2 (1949) 149: each scrub stands at each place, and follows each other, equally often.

use crate::numerics::shuffle::SplitMix;
use crate::numerics::{noncentral, student};

/// More tasters than these are asked for by nobody.
pub const MOST_TASTERS: usize = 10_000;

/// Lowest and highest code.
const CODES: [u32; 2] = [100, 999];

/// What a test of scores is to find.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sought {
    /// Scrubs, 2 or more.
    pub scrubs: usize,
    /// Difference of two scrubs' true scores.
    pub difference: f64,
    /// Standard deviation of a taster's scores around their own level.
    pub sd: f64,
    /// Probability of finding a difference that is none, 0..1.
    pub alpha: f64,
}

impl Sought {
    /// Pairs of scrubs.
    pub fn pairs(&self) -> usize {
        self.scrubs * (self.scrubs - 1) / 2
    }

    /// Probability that `tasters` (2 or more) find the difference of one pair.
    pub fn power(&self, tasters: usize) -> f64 {
        let freedom = ((tasters - 1) * (self.scrubs - 1)) as f64;
        let delta = self.difference / self.sd * (0.5 * tasters as f64).sqrt();
        let critical = student::quantile(1.0 - 0.5 * self.alpha / self.pairs() as f64, freedom);
        1.0 - noncentral::cdf(critical, freedom, delta) + noncentral::cdf(-critical, freedom, delta)
    }

    /// The least number of tasters with this power; `None` beyond [`MOST_TASTERS`].
    pub fn tasters(&self, power: f64) -> Option<usize> {
        // Power rises with every taster.
        let (mut short, mut enough) = (1, MOST_TASTERS);
        if self.power(enough) < power {
            return None;
        }
        while enough - short > 1 {
            let middle = short + (enough - short) / 2;
            if self.power(middle) >= power { enough = middle } else { short = middle }
        }
        Some(enough)
    }
}

/// Rows of a Williams square of `k` ≥ 2 scrubs: `k` rows where it is even, twice as many where it is odd.
pub fn williams(k: usize) -> Vec<Vec<usize>> {
    // 0, 1, k-1, 2, k-2 ...: the steps between neighbours are all different.
    let zigzag = |place: usize| if place % 2 == 1 { place.div_ceil(2) } else { (k - place / 2) % k };
    let rows = |mirror: bool| {
        (0..k).map(move |shift| {
            let mut row: Vec<usize> = (0..k).map(|place| (zigzag(place) + shift) % k).collect();
            if mirror {
                row.reverse();
            }
            row
        })
    };
    let odd = rows(true).filter(|_| k % 2 == 1);
    rows(false).chain(odd).collect()
}

/// What a taster gets, in order: a scrub and its code.
pub type Serving = Vec<(usize, u32)>;

/// Orders and codes for so many tasters: the rows by turns, in an order by chance, and three-digit codes, each once where there are
/// enough of them, never twice for one taster.
pub fn servings(rows: &[Vec<usize>], tasters: usize, seed: u64) -> Vec<Serving> {
    let mut random = SplitMix::new(seed);
    let mut turns: Vec<&Vec<usize>> = (0..tasters).map(|i| &rows[i % rows.len()]).collect();
    random.shuffle(&mut turns);
    let mut codes: Vec<u32> = Vec::new();
    let mut serve = |row: &Vec<usize>| -> Serving {
        if codes.len() < row.len() {
            codes = (CODES[0]..=CODES[1]).collect();
            random.shuffle(&mut codes);
        }
        let own = codes.split_off(codes.len() - row.len());
        row.iter().copied().zip(own).collect()
    };
    turns.into_iter().map(&mut serve).collect()
}

/// The six orders of a triangle test: two of one scrub and one of the other, in every order.
pub fn triangles() -> Vec<Vec<usize>> {
    [[0, 1, 1], [1, 0, 1], [1, 1, 0], [0, 0, 1], [0, 1, 0], [1, 0, 0]].map(|row| row.to_vec()).to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_tasters_are_those_of_published_tables() {
        // Paired t-test, two-sided, alpha 0.05, power 0.8, by the difference over the standard deviation of differences: tables of Cohen
        // 1988 and of the program G*Power as commonly quoted, from memory; and by scipy.stats.nct.
        for (dz, wanted) in [(0.2, 199), (0.3, 90), (0.5, 34), (0.8, 15), (1.0, 10), (1.5, 6)] {
            let sought = Sought { scrubs: 2, difference: dz * 2f64.sqrt(), sd: 1.0, alpha: 0.05 };
            assert_eq!(sought.tasters(0.8), Some(wanted), "{dz}");
        }
        // Three and four scrubs, by scipy.stats.nct with (n - 1)(k - 1) degrees of freedom and alpha over the pairs.
        let sought = |scrubs| Sought { scrubs, difference: 1.0, sd: 1.5, alpha: 0.05 };
        assert_eq!([3, 4].map(|k| sought(k).tasters(0.8)), [Some(49), Some(56)]);
        assert!((sought(3).power(30) - 0.549_410_3).abs() < 1e-6);
        assert_eq!(Sought { scrubs: 2, difference: 1e-4, sd: 1.0, alpha: 0.05 }.tasters(0.8), None);
    }

    #[test]
    fn each_scrub_follows_each_other_and_stands_at_each_place_equally_often() {
        for k in 2..=12 {
            let rows = williams(k);
            let each = if k % 2 == 0 { 1 } else { 2 };
            assert_eq!(rows.len(), k * each);
            let mut follows = vec![vec![0; k]; k];
            let mut stands = vec![vec![0; k]; k];
            for row in &rows {
                row.windows(2).for_each(|w| follows[w[0]][w[1]] += 1);
                row.iter().enumerate().for_each(|(place, scrub)| stands[*scrub][place] += 1);
            }
            for a in 0..k {
                for b in 0..k {
                    assert_eq!(follows[a][b], if a == b { 0 } else { each }, "{k}: {a} {b}");
                    assert_eq!(stands[a][b], each, "{k}");
                }
            }
        }
    }

    #[test]
    fn codes_have_three_digits_and_none_stands_twice() {
        let served = servings(&williams(3), 300, 7);
        let mut codes: Vec<u32> = served.iter().flatten().map(|(_, code)| *code).collect();
        codes.sort_unstable();
        assert_eq!(codes, (100..=999).collect::<Vec<_>>());
        // Beyond the codes there are, still none twice for one taster.
        for serving in servings(&williams(7), 1000, 7) {
            let mut own: Vec<u32> = serving.iter().map(|(_, code)| *code).collect();
            own.sort_unstable();
            own.dedup();
            assert_eq!(own.len(), 7);
        }
        assert_eq!(servings(&williams(4), 8, 1), servings(&williams(4), 8, 1));
        assert_ne!(servings(&williams(4), 8, 1), servings(&williams(4), 8, 2));
    }
}
