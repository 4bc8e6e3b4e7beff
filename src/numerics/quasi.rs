//! Quasi-random points: Owen-scrambled Sobol sequences from `sobol_burley` (B. Burley, *J. Comput. Graph. Tech.* 9 (4), 2020),
//! as many as one likes, each with as many dimensions as one likes. Sequences of different numbers are scrambled independently, so
//! that their spread tells the error of what is averaged over them.

use sobol_burley::{NUM_DIMENSIONS, sample_4d};

/// The most points of one sequence.
pub const LONGEST: usize = 1 << 16;

/// One scrambled sequence.
#[derive(Debug, Clone, Copy)]
pub struct Sequence {
    seed: u64,
}

/// A thorough mix of the bits (G. L. Steele, D. Lea and C. H. Flood 2014, `SplitMix64`).
fn mixed(seed: u64) -> u64 {
    let z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Sequence {
    /// The sequence of a number under a seed.
    pub fn new(seed: u64, number: usize) -> Self {
        Self { seed: mixed(mixed(seed) ^ number as u64) }
    }

    /// Point `index`, below [`LONGEST`], in as many dimensions as `into` has; each coordinate lies strictly between 0 and 1.
    pub fn point(&self, index: usize, into: &mut [f64]) {
        /// Half the step between two values of the crate, which may be 0 but not 1.
        const HALF_STEP: f64 = 1.0 / (1 << 25) as f64;
        // The crate has 256 dimensions; beyond them another scramble is set beside, as its author recommends.
        for (page, dimensions) in into.chunks_mut(NUM_DIMENSIONS as usize).enumerate() {
            let seed = mixed(self.seed.wrapping_add(page as u64)) as u32;
            for (set, four) in dimensions.chunks_mut(4).enumerate() {
                let sample = sample_4d((index % LONGEST) as u32, set as u32, seed);
                four.iter_mut().zip(sample).for_each(|(u, s)| *u = f64::from(s) + HALF_STEP);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_dimension_is_filled_evenly_and_seeds_differ() {
        let (mut point, mut other) = ([0.0; 300], [0.0; 300]);
        let mut filled = vec![[false; 64]; 300];
        for i in 0..64 {
            Sequence::new(7, 0).point(i, &mut point);
            Sequence::new(7, 1).point(i, &mut other);
            assert_ne!(point, other);
            for (cells, u) in filled.iter_mut().zip(&point) {
                assert!(*u > 0.0 && *u < 1.0);
                cells[(u * 64.0) as usize] = true;
            }
        }
        // Sobol 1967: 2^k points put one into each of 2^k cells of every dimension. The shuffle keeps whole powers of two.
        assert!(filled.iter().all(|cells| cells.iter().all(|c| *c)));
    }
}
