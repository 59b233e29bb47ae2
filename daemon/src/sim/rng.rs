//! Chance from a seed: the same on every machine, so that a simulated day can be told by its number.

use std::f64::consts::TAU;

/// A small generator of pseudo-random numbers (the SplitMix64 sequence). Not for secrets.
#[derive(Debug, Clone)]
pub struct Rng(u64);

impl Rng {
    /// The sequence of one part of a day: parts do not disturb each other.
    pub fn new(seed: u64, part: u64) -> Rng {
        let mut rng = Rng(seed ^ part.wrapping_mul(0xd1b5_4a32_d192_ed03));
        rng.bits();
        rng
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 (in) to 1 (out).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from 0 to `below`, which is out.
    pub fn below(&mut self, below: usize) -> usize {
        ((self.unit() * below as f64) as usize).min(below.saturating_sub(1))
    }

    /// True this often.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// How many of `n` come out true, each this often.
    pub fn of(&mut self, n: u32, probability: f64) -> u32 {
        (0..n).filter(|_| self.chance(probability)).count() as u32
    }

    /// Normally distributed, mean 0, standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }

    /// One of these; the empty text when there are none.
    pub fn pick<'a>(&mut self, from: &[&'a str]) -> &'a str {
        let at = self.below(from.len());
        from.get(at).copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_has_the_mean_and_spread_it_should() {
        let mut rng = Rng::new(1, 0);
        let n = 100_000;
        let of = |f: &mut dyn FnMut() -> f64| {
            let all: Vec<f64> = (0..n).map(|_| f()).collect();
            let mean = all.iter().sum::<f64>() / f64::from(n);
            let var = all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n);
            (mean, var)
        };
        let (mean, var) = of(&mut || rng.normal());
        assert!(mean.abs() < 0.02 && (var - 1.0).abs() < 0.02, "normal {mean} {var}");
        let (mean, var) = of(&mut || rng.unit());
        assert!((mean - 0.5).abs() < 0.01 && (var - 1.0 / 12.0).abs() < 0.002, "even {mean} {var}");
    }

    #[test]
    fn a_sequence_is_told_by_seed_and_part() {
        let take = |seed, part| {
            let mut rng = Rng::new(seed, part);
            [rng.unit(), rng.unit()]
        };
        assert_eq!(take(7, 1), take(7, 1));
        assert_ne!(take(7, 1), take(7, 2));
        assert_ne!(take(7, 1), take(8, 1));
        assert_eq!(Rng::new(1, 1).below(0), 0);
        assert_eq!(Rng::new(1, 1).pick(&[]), "");
    }
}
