//! Random numbers that repeat: everything random in the service comes from a seed.

/// A generator of 64-bit numbers, after Guy Steele, Doug Lea and Christine Flood,
/// "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014,
/// DOI 10.1145/2660193.2660195.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// Starts from a number.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Starts from a text, such as the name of the site (64-bit FNV-1a).
    pub fn from_text(text: &str) -> Self {
        let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        Self(hash)
    }

    /// The next number.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// The next share of one, 0 included and 1 not.
    pub fn share(&mut self) -> f64 {
        (self.roll() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // First outputs for seed 1234567, from the reference implementation's
    // published test vector (Rosetta Code, "Pseudo-random numbers/Splitmix64").
    #[test]
    fn numbers_match_the_published_vector() {
        let mut dice = Dice::new(1_234_567);
        let rolls: Vec<u64> = (0..3).map(|_| dice.roll()).collect();
        assert_eq!(
            rolls,
            [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]
        );
    }

    #[test]
    fn a_share_is_below_one() {
        let mut dice = Dice::from_text("Mill House");
        assert!((0..1_000).map(|_| dice.share()).all(|share| (0.0..1.0).contains(&share)));
    }
}
