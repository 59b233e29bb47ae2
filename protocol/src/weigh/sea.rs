//! The deck's motion as the scale feels it: two swings, each of its own frequency, that slowly forget their phase.
//!
//! A load m reads m(1 + u) with u the upward acceleration of the deck as a share of gravity (apparent weight,
//! m(g + a)/g; IMO and ISO texts and any mechanics handbook, from memory). Two swings are what a hull does in a wave and
//! a swell; what they do not catch, their forgetting takes up.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

/// The two swings of a deck.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Sea {
    /// Their frequencies, hertz.
    pub hz: [f64; 2],
    /// Standard deviation of each as a share of gravity.
    pub share: [f64; 2],
    /// How fast they forget their phase, one over seconds.
    pub decay: f64,
}

/// What a stretch of time does to the state of both swings: real and imaginary part of each.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turn {
    /// The stretch, seconds.
    pub dt_s: f64,
    /// Real and imaginary part of what each swing is multiplied by.
    by: [(f64, f64); 2],
    /// Variance it gains.
    gain: [f64; 2],
    /// What is left of how far the scale is off for settling.
    left: f64,
}

impl Sea {
    /// A small boat's deck before it has shown itself: swings of four per cent of gravity.
    pub const UNKNOWN: Sea = Sea { hz: [0.2, 0.36], share: [0.04, 0.04], decay: 0.2 };

    /// The covariance of the swings' state before anything is known of their phase.
    pub fn covariance(&self) -> [[f64; 4]; 4] {
        let mut p = [[0.0; 4]; 4];
        for (n, row) in p.iter_mut().enumerate() {
            row[n] = self.share[n / 2].powi(2);
        }
        p
    }
}

impl Turn {
    /// What `dt_s` seconds do on this sea, to a scale that settles with a time constant of `settles_s`.
    pub fn new(sea: &Sea, dt_s: f64, settles_s: f64) -> Turn {
        let keeps = (-sea.decay * dt_s).exp();
        let by = sea.hz.map(|hz| {
            let (sin, cos) = (TAU * hz * dt_s).sin_cos();
            (keeps * cos, keeps * sin)
        });
        Turn {
            dt_s,
            by,
            gain: sea.share.map(|share| share * share * (1.0 - keeps * keeps)),
            left: (-dt_s / settles_s).exp(),
        }
    }

    /// The state after it.
    pub fn state(&self, x: [f64; 4]) -> [f64; 4] {
        let [(a, b), (c, d)] = self.by;
        [a * x[0] - b * x[1], b * x[0] + a * x[1], c * x[2] - d * x[3], d * x[2] + c * x[3]]
    }

    /// The same with how far the scale is off as the fifth of the state.
    pub fn settling(&self, x: [f64; 5]) -> [f64; 5] {
        let [a, b, c, d, off_g] = x;
        let [a, b, c, d] = self.state([a, b, c, d]);
        [a, b, c, d, off_g * self.left]
    }

    /// Its covariance after it.
    pub fn with_settling(&self, p: [[f64; 5]; 5]) -> [[f64; 5]; 5] {
        let mut turned = p;
        put(&mut turned, self.covariance(std::array::from_fn(|row| std::array::from_fn(|n| p[row][n]))));
        let cross = self.state(std::array::from_fn(|n| p[n][4])).map(|value| value * self.left);
        for (n, value) in cross.into_iter().enumerate() {
            turned[n][4] = value;
            turned[4][n] = value;
        }
        turned[4][4] *= self.left * self.left;
        turned
    }

    /// The state's covariance after it.
    pub fn covariance(&self, p: [[f64; 4]; 4]) -> [[f64; 4]; 4] {
        // F P Fᵀ + Q, rows first; P is symmetric, so its columns are turned as rows of the transpose.
        let half = transpose(p.map(|row| self.state(row)));
        let mut whole = half.map(|row| self.state(row));
        for (n, row) in whole.iter_mut().enumerate() {
            row[n] += self.gain[n / 2];
        }
        whole
    }
}

/// Writes the swings' part of a greater covariance.
pub(super) fn put<const N: usize>(p: &mut [[f64; N]; N], swings: [[f64; 4]; 4]) {
    for (row, swings) in p.iter_mut().zip(swings) {
        for (value, swing) in row.iter_mut().zip(swings) {
            *value = swing;
        }
    }
}

fn transpose(p: [[f64; 4]; 4]) -> [[f64; 4]; 4] {
    std::array::from_fn(|row| std::array::from_fn(|column| p[column][row]))
}
