//! Levels and a wave fitted together: the readings of several loads that one deck has moved.
//!
//! The wave is the same for all loads of a pull (see `sea.rs`). For given frequencies, sizes and damping a Kalman filter (Kalman 1960) turns the
//! readings into independent innovations; the levels are then a least-squares problem, solved exactly, and the
//! likelihood of the readings with the levels integrated out falls out with it (Harville 1974).

use super::matrix::Matrix;
use super::sea::{Sea, Turn, put};

/// One sample of a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Seconds since any zero, in order.
    pub t_s: f64,
    /// Grams.
    pub g: f64,
    /// Variance of its noise, square grams.
    pub noise_g2: f64,
    /// What the wave moves, grams: the load with whatever lies on the scale unseen.
    pub moved_g: f64,
    /// The first of a load: by how much the scale may still be off for settling, one standard deviation, grams.
    pub fresh_g: Option<f64>,
    /// Which level it is of, counted from 0 without holes.
    pub level: usize,
}

impl Point {
    /// Becomes the mean of itself and another reading of the same level, each counting as its noise lets it.
    pub fn join(&mut self, other: &Point) {
        let share = self.noise_g2 / (self.noise_g2 + other.noise_g2).max(f64::MIN_POSITIVE);
        self.g += (other.g - self.g) * share;
        self.noise_g2 *= 1.0 - share;
    }
}

/// Levels with their uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Levels {
    /// Natural logarithm of the likelihood, up to a constant.
    pub ln_likelihood: f64,
    /// Each level, grams.
    pub g: Vec<f64>,
    /// Their covariance, square grams.
    pub covariance: Matrix,
}

/// Fits `levels` levels to points in order of time, read by a scale that settles with a time constant of `settles_s`; `None` when they do not determine them.
pub(super) fn fit(points: &[Point], levels: usize, sea: &Sea, settles_s: f64) -> Option<Levels> {
    // Four numbers for the swings and one for what the scale is still off.
    let mut p = [[0.0; 5]; 5];
    put(&mut p, sea.covariance());
    let mut turn = Turn::new(sea, 0.0, settles_s);
    let mut last_s = points.first()?.t_s;
    // The filter runs over the readings and, with the same gains, over the indicator of each level.
    let mut states = vec![[0.0; 5]; levels + 1];
    let mut innovations = vec![0.0; levels + 1];
    let mut begun = 0;
    let mut normal = Matrix::zero(levels);
    let mut right = vec![0.0; levels];
    let (mut squares, mut ln_det) = (0.0, 0.0);
    for point in points {
        let dt_s = point.t_s - last_s;
        last_s = point.t_s;
        if dt_s > 0.0 {
            if (dt_s - turn.dt_s).abs() > 1e-6 {
                turn = Turn::new(sea, dt_s, settles_s);
            }
            p = turn.with_settling(p);
        }
        if let Some(fresh_g) = point.fresh_g {
            for row in &mut p {
                row[4] = 0.0;
            }
            p[4] = [0.0, 0.0, 0.0, 0.0, fresh_g * fresh_g];
            states.iter_mut().for_each(|state| state[4] = 0.0);
        }
        begun = begun.max((point.level + 1).min(levels));
        // h = (moved 0 moved 0 1).
        let column = p.map(|row| (row[0] + row[2]) * point.moved_g + row[4]);
        let variance = (column[0] + column[2]) * point.moved_g + column[4] + point.noise_g2;
        let gain = column.map(|value| value / variance);
        for (n, (state, innovation)) in states.iter_mut().zip(&mut innovations).take(begun + 1).enumerate() {
            if dt_s > 0.0 {
                *state = turn.settling(*state);
            }
            let seen = match n {
                0 => point.g,
                n => f64::from(u8::from(n == point.level + 1)),
            };
            *innovation = seen - (state[0] + state[2]) * point.moved_g - state[4];
            for (value, gain) in state.iter_mut().zip(gain) {
                *value += gain * *innovation;
            }
        }
        for row in 0..5 {
            for other in 0..5 {
                p[row][other] -= gain[row] * column[other];
            }
        }
        if let Some((reading, indicators)) = innovations.get(..=begun).and_then(<[f64]>::split_first) {
            squares += reading * reading / variance;
            ln_det += variance.ln();
            for (row, (a, right)) in indicators.iter().zip(&mut right).enumerate() {
                let scaled = a / variance;
                *right += scaled * reading;
                for (column, b) in indicators.iter().enumerate().take(row + 1) {
                    normal.add(row, column, scaled * b);
                }
            }
        }
    }
    let (covariance, ln_det_normal) = normal.inverse()?;
    let g = covariance.times(&right);
    let explained: f64 = g.iter().zip(&right).map(|(g, right)| g * right).sum();
    let ln_likelihood = -0.5 * (squares - explained + ln_det + ln_det_normal);
    (ln_likelihood.is_finite() && g.iter().all(|g| g.is_finite())).then_some(Levels {
        ln_likelihood,
        g,
        covariance,
    })
}
