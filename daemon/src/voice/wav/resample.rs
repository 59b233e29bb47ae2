//! Another rate to 16 kHz: a linear-phase low-pass filter (sinc under a Kaiser window), one set of taps for each place
//! that an output sample can have between two input samples.
//!
//! Formulas for the window and its length: Kaiser 1974, as in Oppenheim and Schafer, Discrete-Time Signal Processing.

use std::f64::consts::PI;

use super::layout::RATE;

/// Half the filter's length, in samples at the lower of the two rates. Passes up to 7/8 of half that rate and stops from
/// half of it on by 80 dB: (80 − 7.95) / (14.36 × 1/16) ≈ 2 × 40 taps.
const REACH: f64 = 40.0;
/// The window's shape for 80 dB: 0.1102 × (80 − 8.7).
const BETA: f64 = 7.857;
/// The filter's middle between pass and stop, as a part of half the lower rate.
const MIDDLE: f64 = 15.0 / 16.0;
/// Taps of all sets together at most: rates that no recorder has would need more.
const TAPS_MAX: usize = 1 << 20;

/// Turns sound of one rate into 16 kHz, piece by piece. The first sample stays where it is.
pub(super) struct Resampler {
    /// One output sample is `up` / `down` input samples from the next.
    up: u64,
    down: u64,
    /// Input samples on either side of an output sample that go into it.
    reach: usize,
    /// `down` sets of 2 × `reach` taps.
    taps: Vec<f32>,
    /// Input that is still needed, from the one numbered `first` on, where the first of all is numbered `reach`.
    kept: Vec<f32>,
    first: u64,
    /// The next output sample's number.
    next: u64,
}

impl Resampler {
    /// From this rate, in samples a second; `None` when it is none that sound is recorded at.
    pub fn from(rate: u32) -> Option<Resampler> {
        if !(4_000..=768_000).contains(&rate) {
            return None;
        }
        let common = greatest_common_divisor(rate, RATE);
        let (up, down) = (u64::from(rate / common), u64::from(RATE / common));
        let scale = (f64::from(RATE) / f64::from(rate)).min(1.0);
        let reach = (REACH / scale).ceil() as usize;
        if down as usize * 2 * reach > TAPS_MAX {
            return None;
        }
        let mut taps = Vec::with_capacity(down as usize * 2 * reach);
        for place in 0..down {
            let between = place as f64 / down as f64;
            let tap = |n: usize| (scale * filter(scale * (n as f64 + 1.0 - reach as f64 - between))) as f32;
            taps.extend((0..2 * reach).map(tap));
        }
        // Silence before the beginning.
        Some(Resampler { up, down, reach, taps, kept: vec![0.0; reach], first: 0, next: 0 })
    }

    /// Takes input and gives the output that can be known with it.
    pub fn push(&mut self, input: &[f32], out: &mut Vec<i16>) {
        self.kept.extend_from_slice(input);
        loop {
            let (whole, place) = (self.next * self.up / self.down, self.next * self.up % self.down);
            let width = 2 * self.reach;
            // The first input sample that goes in has number whole − reach + 1, or + 1 as they are numbered here.
            let from = (whole + 1).saturating_sub(self.first) as usize;
            let Some(input) = self.kept.get(from..from + width) else { break };
            let taps = self.taps.chunks_exact(width).nth(place as usize).unwrap_or_default();
            out.push(sample(taps.iter().zip(input).map(|(tap, value)| tap * value).sum()));
            self.next += 1;
        }
        let needed = (self.next * self.up / self.down + 1).saturating_sub(self.first) as usize;
        let done = needed.min(self.kept.len());
        self.kept.drain(..done);
        self.first += done as u64;
    }

    /// Gives the rest: in all, as many samples as lie before the input's end.
    pub fn finish(&mut self, out: &mut Vec<i16>) {
        let input = self.first + self.kept.len() as u64 - self.reach as u64;
        let total = (input * self.down).div_ceil(self.up);
        let (before, given) = (out.len(), self.next);
        self.push(&vec![0.0; self.reach + 1], out);
        out.truncate(before + total.saturating_sub(given) as usize);
    }
}

/// The filter at a distance in samples at the lower rate.
fn filter(distance: f64) -> f64 {
    let within = 1.0 - (distance / REACH).powi(2);
    if within < 0.0 {
        return 0.0;
    }
    let x = PI * MIDDLE * distance;
    let sinc = if x == 0.0 { 1.0 } else { x.sin() / x };
    MIDDLE * sinc * bessel(BETA * within.sqrt()) / bessel(BETA)
}

/// The modified Bessel function of the first kind and order zero, by its power series.
fn bessel(x: f64) -> f64 {
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-12 {
        term *= (x / (2.0 * k)).powi(2);
        sum += term;
        k += 1.0;
    }
    sum
}

fn greatest_common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

/// The nearest sample; too loud becomes the loudest.
pub(super) fn sample(value: f32) -> i16 {
    value.round() as i16
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of `hz` with amplitude 20,000 at a rate, for a quarter of a second, as 16 kHz.
    fn tone(rate: u32, hz: f64, piece: usize) -> Vec<i16> {
        let input: Vec<f32> = (0..rate / 4)
            .map(|n| (20_000.0 * (2.0 * PI * hz * f64::from(n) / f64::from(rate)).sin()) as f32)
            .collect();
        let mut resampler = Resampler::from(rate).unwrap();
        let mut out = Vec::new();
        input.chunks(piece).for_each(|piece| resampler.push(piece, &mut out));
        resampler.finish(&mut out);
        out
    }

    /// The tone's amplitude as it should be (in phase) and beside it, and the root mean square of all else, each as a
    /// part of 20,000; away from the ends.
    fn fit(out: &[i16], hz: f64) -> (f64, f64, f64) {
        let middle: Vec<(f64, f64)> = (800..out.len() - 800)
            .map(|n| (2.0 * PI * hz * n as f64 / 16_000.0, f64::from(out[n]) / 20_000.0))
            .collect();
        let part = |wave: fn(f64) -> f64| {
            2.0 / middle.len() as f64 * middle.iter().map(|(x, y)| wave(*x) * y).sum::<f64>()
        };
        let (sin, cos) = (part(f64::sin), part(f64::cos));
        let rest = |(x, y): &(f64, f64)| (y - sin * x.sin() - cos * x.cos()).powi(2);
        (sin, cos, (middle.iter().map(rest).sum::<f64>() / middle.len() as f64).sqrt())
    }

    const RATES: [u32; 13] = [
        8_000, 11_025, 12_000, 22_050, 24_000, 32_000, 44_056, 44_100, 48_000, 88_200, 96_000, 192_000,
        384_000,
    ];

    fn decibel(part: f64) -> f64 {
        20.0 * part.log10()
    }

    #[test]
    fn tones_keep_their_strength_and_their_time() {
        let (mut off, mut noise) = (0.0f64, f64::MIN);
        for rate in RATES {
            for hz in [100.0, 400.0, 1_000.0, 2_000.0, 3_400.0, 5_000.0, 6_000.0, 7_000.0] {
                if hz > f64::from(rate) * 7.0 / 16.0 {
                    continue;
                }
                let out = tone(rate, hz, 1_000);
                assert_eq!(
                    out.len() as u64,
                    (u64::from(rate / 4) * 16_000).div_ceil(u64::from(rate)),
                    "{rate}"
                );
                let (sin, cos, rest) = fit(&out, hz);
                off = off.max(decibel(sin.hypot(cos)).abs());
                noise = noise.max(decibel(rest / 0.5f64.sqrt()));
                assert!(decibel(sin.hypot(cos)).abs() < 0.1, "{hz} Hz at {rate}: {sin} {cos}");
                assert!(cos.atan2(sin).abs() < 0.01, "{hz} Hz at {rate}: {sin} {cos}");
                assert!(decibel(rest / 0.5f64.sqrt()) < -50.0, "{hz} Hz at {rate}: {rest} beside it");
            }
        }
        println!("strength within {off:.4} dB, all beside the tone below {noise:.1} dB");
    }

    #[test]
    fn what_16_khz_cannot_hold_is_gone() {
        let mut worst = f64::MIN;
        for rate in RATES.into_iter().filter(|rate| *rate > 16_000) {
            let top = f64::from(rate) / 2.0;
            let tones = [8_000.0, 8_200.0, 9_000.0, 10_000.0, 12_100.0, 16_000.0, 23_000.0, 90_000.0];
            for hz in tones.into_iter().filter(|hz| *hz < top) {
                let out = tone(rate, hz, 4_096);
                let middle = &out[800..out.len() - 800];
                let power: f64 = middle.iter().map(|y| (f64::from(*y) / 20_000.0).powi(2)).sum();
                let left = decibel((power / middle.len() as f64 / 0.5).sqrt().max(1e-9));
                worst = worst.max(left);
                assert!(left < -50.0, "{hz} Hz at {rate}: {left} dB");
            }
        }
        println!("aliases below {worst:.1} dB");
    }

    #[test]
    fn pieces_of_any_length_give_the_same() {
        for rate in [8_000, 22_050, 48_000, 44_100] {
            let whole = tone(rate, 440.0, usize::MAX);
            for piece in [1, 2, 3, 160, 1_001] {
                assert!(tone(rate, 440.0, piece) == whole, "{rate} in pieces of {piece}");
            }
        }
    }

    #[test]
    fn the_shortest_sounds_end_where_they_end() {
        for (rate, samples, expected) in [
            (48_000, 0, 0),
            (48_000, 1, 1),
            (48_000, 3, 1),
            (48_000, 4, 2),
            (8_000, 1, 2),
            (44_100, 441, 160),
        ] {
            let (mut resampler, mut out) = (Resampler::from(rate).unwrap(), Vec::new());
            resampler.push(&vec![100.0; samples], &mut out);
            resampler.finish(&mut out);
            assert_eq!(out.len(), expected, "{samples} at {rate}");
        }
    }

    #[test]
    fn a_rate_that_nothing_is_recorded_at_is_none() {
        for rate in [0, 1, 3_999, 44_101, 800_000, u32::MAX] {
            assert!(Resampler::from(rate).is_none(), "{rate}");
        }
    }
}
