//! The scale on a moving deck: claws laid on one at a time, read as `US,GS,+  0.182kg` five times a second.

use std::f64::consts::TAU;

use gunwale_protocol::time::SECOND;

use super::crew::{CLAW_S, Words};
use super::motion::TICK_S;
use super::rng::Rng;
use super::{Kind, Line, ScaleUse};

/// Ticks between frames: 5 a second.
const PERIOD: u64 = 2;
/// The scale is switched on this long before the first claw and off this long after the last, seconds.
const AROUND_S: f64 = 6.0;
/// How fast the pan settles, seconds.
const SETTLES_S: f64 = 0.25;
/// Grams from one reading to the next.
const STEP_G: f64 = 2.0;
/// Standard gravity, metres a second squared (NIST SP 811, appendix B).
const G: f64 = 9.806_65;

/// A scale with its state.
#[derive(Debug, Clone)]
pub struct Scale {
    rng: Rng,
    use_: ScaleUse,
    /// When the first claw is laid on, in seconds of the day, and the claws.
    claws: Option<(f64, Vec<f64>)>,
    /// The load the pan has settled to, grams.
    level_g: f64,
    /// Where in the wave the boat is, in turns.
    wave: f64,
    /// Where the slow changes of the sea begin, in turns.
    sea: [f64; 2],
}

impl Scale {
    /// The day's scale, from its seed.
    pub fn new(seed: u64, use_: ScaleUse) -> Scale {
        let mut rng = Rng::new(seed, 4);
        let sea = [rng.unit(), rng.unit()];
        Scale { rng, use_, claws: None, level_g: 0.0, wave: 0.0, sea }
    }

    /// The boat came alongside: these claws will be weighed.
    pub fn alongside(&mut self, t_s: f64, words: &Words) {
        if !words.weights_g.is_empty() {
            self.claws = Some((t_s + words.weigh_from_s, words.weights_g.clone()));
        }
    }

    /// The frame of this tick, if there is one.
    pub fn hear(&mut self, tick: u64, mut send: impl FnMut(Line)) {
        let t_s = tick as f64 * TICK_S;
        let load = self.load(t_s);
        self.level_g += (load.unwrap_or(0.0) - self.level_g) * (1.0 - (-TICK_S / SETTLES_S).exp());
        let up = self.heave(t_s);
        let on = match self.use_ {
            ScaleUse::Off => false,
            ScaleUse::Weighing => load.is_some(),
            ScaleUse::AllDay => true,
        };
        if !on || !tick.is_multiple_of(PERIOD) {
            return;
        }
        let shown = self.level_g * (1.0 + up / G) + 0.5 * self.rng.normal();
        let shown = (shown / STEP_G).round() * STEP_G / 1_000.0;
        let (sign, steady) = (if shown < 0.0 { '-' } else { '+' }, self.level_g < 1.0);
        let text = format!("{},GS,{sign}{:7.3}kg", if steady { "ST" } else { "US" }, shown.abs());
        let t_us = ((t_s + self.rng.between(0.01, 0.03)) * SECOND as f64) as i64;
        send(Line { t_us, kind: Kind::Scale, text });
    }

    /// What lies on the pan, grams; `None` when nothing is being weighed.
    fn load(&mut self, t_s: f64) -> Option<f64> {
        let (from, claws) = self.claws.as_ref()?;
        let each = CLAW_S.0 + CLAW_S.1;
        let into = t_s - from;
        if into < -AROUND_S {
            return None;
        }
        if into > each * claws.len() as f64 + AROUND_S {
            self.claws = None;
            return None;
        }
        let lying = into.rem_euclid(each) < CLAW_S.0;
        let claw = claws.get((into / each).floor().max(0.0) as usize).copied().unwrap_or(0.0);
        Some(if into >= 0.0 && lying { claw } else { 0.0 })
    }

    /// Upward acceleration of the deck, metres a second squared: 0.3 to 0.6 at 0.2 to 0.35 Hz, slowly changing.
    fn heave(&mut self, t_s: f64) -> f64 {
        let slow = |period_s: f64, from: f64| (TAU * (t_s / period_s + from)).sin();
        let hz = 0.275 + 0.075 * slow(97.0, self.sea[0]);
        self.wave = (self.wave + hz * TICK_S).fract();
        (0.45 + 0.15 * slow(61.0, self.sea[1])) * (TAU * self.wave).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_claw_is_read_high_and_low_about_its_weight() {
        let words = Words { weights_g: vec![182.0, 90.0, 250.0], weigh_from_s: 30.0, ..Words::default() };
        let mut scale = Scale::new(5, ScaleUse::Weighing);
        scale.alongside(100.0, &words);
        let mut frames = Vec::new();
        for tick in 0..2_500 {
            scale.hear(tick, |line| frames.push((line.t_us as f64 / 1e6, line.text)));
        }
        let (first, last) = (frames[0].0, frames[frames.len() - 1].0);
        assert!((124.0..124.5).contains(&first) && (155.0..155.7).contains(&last), "on {first}, off {last}");
        for (n, claw) in words.weights_g.iter().enumerate() {
            let from = 130.0 + 6.5 * n as f64 + 1.5;
            let read: Vec<f64> = frames
                .iter()
                .filter(|(t, _)| (from..from + 2.4).contains(t))
                .map(|(_, text)| {
                    assert!(
                        text.starts_with("US,GS,+") && text.ends_with("kg") && text.len() == 16,
                        "{text}"
                    );
                    text[7..14].trim().parse::<f64>().unwrap() * 1_000.0
                })
                .collect();
            assert!(read.len() >= 11, "{read:?}");
            assert!(read.iter().all(|g| (g - claw).abs() < 0.065 * claw + 3.0), "{claw}: {read:?}");
            assert!(read.iter().any(|g| (g - claw).abs() > 0.01 * claw), "she heaves: {claw}: {read:?}");
        }
        assert_eq!(frames[5].1, "ST,GS,+  0.000kg");
    }

    #[test]
    fn a_scale_is_on_as_asked() {
        for (use_, frames) in [(ScaleUse::Off, 0), (ScaleUse::Weighing, 0), (ScaleUse::AllDay, 500)] {
            let mut scale = Scale::new(5, use_);
            let mut n = 0;
            (0..1_000).for_each(|tick| scale.hear(tick, |_| n += 1));
            assert_eq!(n, frames);
        }
    }
}
