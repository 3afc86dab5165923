//! A small seeded generator, so that dithers and orders are the same for the same seed on every machine.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014): 64 bits of
/// state, equidistributed, more than enough for a few thousand dithers. Not for secrets.
#[derive(Clone, Debug)]
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// One of the independent streams of a seed: a state that lies far from those of the others.
    pub(crate) fn of(seed: u64, stream: u64) -> Self {
        let mut mixed = Self(seed ^ Self(stream).next());
        Self(mixed.next())
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number from 0 to `most`, each as likely as the others to 1 part in 2^64 / `most`.
    pub(crate) fn up_to(&mut self, most: u64) -> u64 {
        // The high half of a 128-bit product: no division, no loop.
        ((u128::from(self.next()) * (u128::from(most) + 1)) >> 64) as u64
    }

    /// A number from 0 to 1, 1 excluded, in steps of 2^-53.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Puts a list in random order (Fisher and Yates).
    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            let other = usize::try_from(self.up_to(last as u64)).unwrap_or(last);
            list.swap(last, other);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_sequence() {
        // First values for the seed 1234567, as published with the reference implementation's ports.
        let mut random = Random::new(1_234_567);
        let expected = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        for value in expected {
            assert_eq!(random.next(), value);
        }
    }

    #[test]
    fn bounded_numbers_are_uniform() {
        // Chi-square with 9 degrees of freedom: 27.88 is exceeded once in a thousand (table of the distribution).
        let mut counts = [0_u32; 10];
        let mut random = Random::new(7);
        for _ in 0..10_000 {
            counts[random.up_to(9) as usize] += 1;
        }
        let chi_square: f64 = counts
            .iter()
            .map(|c| (f64::from(*c) - 1000.0).powi(2) / 1000.0)
            .sum();
        assert!(chi_square < 27.88, "{counts:?}");
        assert_eq!(random.up_to(0), 0);
    }
}
