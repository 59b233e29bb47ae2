//! Readings close together, averaged.

use serde::{Deserialize, Serialize};

use crate::time::{Mono, SECOND};

/// Readings closer together than this are averaged into one sample, microseconds.
const SAMPLE: i64 = SECOND / 10;

/// The mean of a few readings close together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Sample {
    /// When the first of them came.
    pub t: Mono,
    /// Grams.
    pub g: f64,
    /// How many they are.
    pub n: u32,
}

/// Adds a reading to samples in order of time.
pub(super) fn push(samples: &mut Vec<Sample>, t: Mono, g: f64) {
    match samples.last_mut() {
        Some(last) if t - last.t < SAMPLE => {
            last.n = last.n.saturating_add(1);
            last.g += (g - last.g) / f64::from(last.n);
        }
        _ => samples.push(Sample { t, g, n: 1 }),
    }
}

/// The middle value; `None` of nothing.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    let half = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}
