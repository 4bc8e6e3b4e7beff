//! Orders by chance from a seed.

/// Random numbers: SplitMix64 (Steele, Lea and Flood, OOPSLA 2014, *Fast splittable pseudorandom number generators*).
#[derive(Debug, Clone)]
pub struct SplitMix(u64);

impl SplitMix {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number below `end`, which is above 0; of the small ends used here the bias is below 1e-15.
    pub fn below(&mut self, end: usize) -> usize {
        (self.draw() % end.max(1) as u64) as usize
    }

    /// Puts items in an order by chance (Fisher and Yates).
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for i in (1..items.len()).rev() {
            items.swap(i, self.below(i + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_those_of_the_published_generator() {
        // The first numbers of seed 1234567, as published with the reference code in C; from memory.
        let mut random = SplitMix::new(1_234_567);
        assert_eq!(
            [random.draw(), random.draw(), random.draw()],
            [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]
        );
        let mut items: Vec<u32> = (0..50).collect();
        random.shuffle(&mut items);
        let mut sorted = items.clone();
        sorted.sort_unstable();
        assert!(items != sorted && sorted == (0..50).collect::<Vec<_>>());
    }
}
