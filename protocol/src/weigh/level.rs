//! The level under a moving deck: mean and uncertainty of the readings of one load at rest.
//!
//! The seam for better arithmetic: a joint fit of level and wave replaces [`level`] and nothing else.

use serde::{Deserialize, Serialize};

use crate::time::{Mono, SECOND};

/// Readings closer together than this are averaged into one sample, microseconds.
const SAMPLE: i64 = SECOND / 10;
/// One independent sample takes at least this long on a moving deck, seconds.
const INDEPENDENT_S: f64 = 1.5;
/// Below this the spread of the readings does not yet show the whole wave, seconds.
const WHOLE_WAVE_S: f64 = 6.0;
/// Scales the median absolute deviation to a standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;
/// Readings further out than this many such deviations are left out; a sine never reaches two.
const OUTLIER: f64 = 4.0;

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

/// A level with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Level {
    /// Grams.
    pub g: f64,
    /// One standard deviation of `g`, grams.
    pub sd_g: f64,
    /// Standard deviation of single samples about it, grams.
    pub spread_g: f64,
    /// How long the stretch is that it was taken from, seconds.
    pub seconds: f64,
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

/// The level of a load from its samples; `None` without any.
///
/// `motion`: the usual spread of readings on this deck as a share of the load. `resolution_g`: the scale's step, grams.
pub(super) fn level(samples: &[Sample], motion: f64, resolution_g: f64) -> Option<Level> {
    let kept = without_outliers(middle(samples));
    let spread_g = spread(&kept)?;
    let waves = whole_waves(&kept, spread_g, resolution_g);
    let g = mean(waves)?;
    let seconds = (waves.last()?.t - waves.first()?.t) as f64 / SECOND as f64;
    let unseen_g = if seconds < WHOLE_WAVE_S { motion * g.abs() } else { 0.0 };
    let independent = (seconds / INDEPENDENT_S).max(1.0);
    let sd_g = (spread_g.max(unseen_g).powi(2) / independent + resolution_g.powi(2) / 12.0).sqrt();
    Some(Level { g, sd_g, spread_g, seconds })
}

/// The samples without the beginning, when the load settles, and the end, when a hand comes near.
fn middle(samples: &[Sample]) -> &[Sample] {
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else { return samples };
    let whole = last.t - first.t;
    let from = first.t + (whole / 4).min(SECOND * 6 / 10);
    let to = last.t - (whole / 8).min(SECOND * 3 / 10);
    let start = samples.partition_point(|sample| sample.t < from);
    let end = samples.partition_point(|sample| sample.t <= to);
    samples.get(start..end).filter(|middle| !middle.is_empty()).unwrap_or(samples)
}

fn without_outliers(samples: &[Sample]) -> Vec<Sample> {
    let values = || samples.iter().map(|sample| sample.g);
    let Some(middle) = median(values()) else { return Vec::new() };
    let deviation = median(values().map(|g| (g - middle).abs())).unwrap_or(0.0) * MAD_TO_SD * OUTLIER;
    let inside = |sample: &&Sample| deviation == 0.0 || (sample.g - middle).abs() <= deviation;
    samples.iter().filter(inside).copied().collect()
}

/// The longest stretch of whole wave periods, or all when it would leave out more than a third.
///
/// A period runs between crossings of the mean in the same direction; a crossing counts once the readings have been
/// half a spread away on the other side, so that noise makes none.
fn whole_waves(samples: &[Sample], spread_g: f64, resolution_g: f64) -> &[Sample] {
    let Some(mean) = mean(samples) else { return samples };
    if spread_g <= resolution_g {
        return samples;
    }
    let mut side = 0.0;
    let (mut ups, mut downs): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
    let mut crossed = 0;
    let mut above = None;
    for (at, sample) in samples.iter().enumerate() {
        let off = sample.g - mean;
        if above != Some(off > 0.0) {
            above = Some(off > 0.0);
            crossed = at;
        }
        if off.abs() >= spread_g / 2.0 && side != off.signum() {
            if side != 0.0 {
                if off > 0.0 { &mut ups } else { &mut downs }.push(crossed);
            }
            side = off.signum();
        }
    }
    let stretch = |crossings: &[usize]| {
        let (first, last) = (*crossings.first()?, *crossings.last()?);
        samples.get(first..last)
    };
    let longest = [stretch(&ups), stretch(&downs)].into_iter().flatten().max_by_key(|stretch| stretch.len());
    longest.filter(|stretch| 3 * stretch.len() >= 2 * samples.len()).unwrap_or(samples)
}

fn mean(samples: &[Sample]) -> Option<f64> {
    (!samples.is_empty()).then(|| samples.iter().map(|sample| sample.g).sum::<f64>() / samples.len() as f64)
}

fn spread(samples: &[Sample]) -> Option<f64> {
    let mean = mean(samples)?;
    let sum: f64 = samples.iter().map(|sample| (sample.g - mean).powi(2)).sum();
    Some((sum / (samples.len().max(2) - 1) as f64).sqrt())
}

/// The middle value; `None` of nothing.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    let half = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}
