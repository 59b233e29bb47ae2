//! How a scale reads, as its readings show it: zero, noise, step, and how it settles; and how the deck usually moves.

use serde::{Deserialize, Serialize};

/// Motion of a deck as a share of gravity before it has shown itself.
const MOTION: f64 = 0.03;
/// The noise of a reading before the empty scale has shown it, grams, and for how many readings that counts.
const NOISE_G: f64 = 0.7;
const NOISE_COUNTS: u32 = 10;
/// The readings of the empty scale that its noise is taken from, the last ones.
const NOISED: u32 = 200;
/// Neighbouring readings share at most this much of their noise.
const MOST_ALIKE: f64 = 0.8;
/// The scale's step that is assumed until it has shown its own, grams.
const STEP_G: f64 = 1.0;
/// No scale has finer steps, grams.
const FINEST_G: f64 = 0.05;
/// So many changes from one reading to the next show the step.
const SHOWS: u32 = 5;
/// The time constant with which a scale settles before it has shown its own, seconds.
const SETTLES_S: f64 = 0.2;

/// What the readings have shown so far.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Reads {
    /// The empty scale's reading, grams.
    pub zero_g: f64,
    /// Variance of the empty scale's readings, square grams, and covariance of one with the next.
    noise_g2: f64,
    alike_g2: f64,
    /// How many of them they are from, at most [`NOISED`].
    noised: u32,
    /// By how much the last of them was off, grams.
    off_g: f64,
    /// The greatest weight of which all changes from one reading to the next are multiples, grams, and how many changes
    /// there were.
    change_g: Option<f64>,
    changes: u32,
    /// The time constant with which the scale settles, seconds.
    pub settles_s: f64,
    /// The usual motion of the deck as a share of gravity.
    pub motion: f64,
}

impl Default for Reads {
    fn default() -> Reads {
        Reads {
            zero_g: 0.0,
            noise_g2: NOISE_G * NOISE_G,
            alike_g2: 0.0,
            noised: NOISE_COUNTS,
            off_g: 0.0,
            change_g: None,
            changes: 0,
            settles_s: SETTLES_S,
            motion: MOTION,
        }
    }
}

impl Reads {
    /// One standard deviation of a reading's noise, grams, as if readings were independent: a scale that smooths its
    /// readings says the same noise several times.
    pub fn noise_g(&self) -> f64 {
        let alike = (self.alike_g2 / self.noise_g2.max(1e-9)).clamp(0.0, MOST_ALIKE);
        let step_g = self.step_g();
        (self.noise_g2 * (1.0 + alike) / (1.0 - alike)).max(step_g * step_g / 12.0).sqrt()
    }

    /// The scale's step, grams.
    pub fn step_g(&self) -> f64 {
        self.change_g.filter(|_| self.changes >= SHOWS).unwrap_or(STEP_G)
    }

    /// Takes a change from one reading to the next.
    pub fn show_change(&mut self, g: f64) {
        if g.abs() > FINEST_G {
            self.change_g = Some(self.change_g.map_or(g.abs(), |step_g| divisor(step_g, g.abs())));
            self.changes = self.changes.saturating_add(1);
        }
    }

    /// Takes a reading of the empty scale, whose level is `level_g`.
    pub fn show_empty(&mut self, g: f64, level_g: f64) {
        self.zero_g = level_g;
        self.noised = self.noised.saturating_add(1).min(NOISED);
        let (off_g, share) = (g - level_g, 1.0 / f64::from(self.noised));
        self.noise_g2 += (off_g * off_g - self.noise_g2) * share;
        self.alike_g2 += (off_g * self.off_g - self.alike_g2) * share;
        self.off_g = off_g;
    }

    /// Takes what a fit made of the deck's motion, a share of gravity, and of how the scale settles, seconds.
    pub fn show_deck(&mut self, motion: f64, settles_s: f64) {
        self.settles_s = settles_s;
        self.motion += (motion - self.motion) * 0.15;
    }
}

/// The greatest common divisor of two weights above [`FINEST_G`] (Euclid's), as far as that.
fn divisor(mut a: f64, mut b: f64) -> f64 {
    while b > FINEST_G {
        let rest = a % b;
        // A hair below a multiple is one.
        (a, b) = (b, rest.min(b - rest));
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_changes_show_the_step() {
        for (readings, step_g) in [
            (&[0.0, 182.0, 0.0, 96.0, 0.0, 182.0][..], 2.0),
            (&[0.0, 185.0, 190.0, 0.0, 5.0, 0.0], 5.0),
            (&[0.0, 150.0, 200.0, 150.0, 0.0, 250.0], 50.0),
            (&[0.0, 0.1, 0.3, 181.9, 182.0, 0.0], 0.1),
            // 0.005 lb; NIST SP 811, appendix B.
            (&[0.0, 181.436_948, 183.704_909_85, 0.0, 2.267_961_85, 0.0], 2.267_961_85),
            (&[0.0, 182.0, 0.0], STEP_G),
        ] {
            let mut reads = Reads::default();
            readings.windows(2).for_each(|pair| reads.show_change(pair[1] - pair[0]));
            assert!((reads.step_g() - step_g).abs() < 1e-6, "{readings:?}: {}", reads.step_g());
        }
    }
}
