//! The noise on deck as a headset's microphone picks it up: an outboard, wind and water, made from chance.
//!
//! Models of our own and no more than the ear asks for: every firing of the engine strikes what hangs on it, wind is low
//! noise in gusts, a slap of water is a short burst.

use std::f64::consts::TAU;

use super::rng::Rng;
use super::speech::RATE;

/// After so many samples the noise begins again: 8 s.
pub const LOOP: usize = 8 * RATE as usize;
/// Its end goes over into its beginning within so many: 0.5 s.
const FADE: usize = RATE as usize / 2;
/// Root mean square of the noise between 200 Hz and 4 kHz, of full scale, decibels: while she lies and under way. Speech
/// is at −20 over the whole band.
const LYING_DB: f64 = -41.0;
const UNDER_WAY_DB: f64 = -35.0;

/// What is heard all day long: a loop for a boat that lies with her engine idling, and one for a boat under way.
#[derive(Debug, Clone)]
pub struct Deck {
    lying: Vec<f32>,
    under_way: Vec<f32>,
}

impl Deck {
    /// The noise of one day. Its loops hold [`LOOP`] samples each.
    pub fn new(seed: u64) -> Deck {
        let mut rng = Rng::new(seed, 5);
        let lying = Engine { per_minute: 820.0, cylinders: 2.0, force: 1.0, wash: 0.1, slaps_s: 0.9 };
        let under_way = Engine { per_minute: 2_900.0, cylinders: 2.0, force: 1.4, wash: 1.6, slaps_s: 0.4 };
        Deck {
            lying: looped(&lying, LYING_DB, &mut rng),
            under_way: looped(&under_way, UNDER_WAY_DB, &mut rng),
        }
    }

    /// A stretch of the noise, from a sample of the day on, not across the end of a loop: while she lies, and under way.
    pub fn stretch(&self, from: u64, samples: usize) -> impl Iterator<Item = (f32, f32)> + '_ {
        let from = (from % LOOP as u64) as usize;
        let both = self.lying.iter().zip(&self.under_way);
        both.skip(from).take(samples).map(|(lying, under_way)| (*lying, *under_way))
    }
}

/// How she runs.
struct Engine {
    per_minute: f64,
    cylinders: f64,
    /// How hard each firing strikes.
    force: f64,
    /// How loud the water along the hull is.
    wash: f64,
    /// Seconds between slaps, on average.
    slaps_s: f64,
}

fn looped(engine: &Engine, level_db: f64, rng: &mut Rng) -> Vec<f32> {
    let made = noise(engine, LOOP + FADE, rng);
    let (body, tail) = made.split_at(LOOP);
    let mut noise = body.to_vec();
    for (i, (x, after)) in noise.iter_mut().zip(tail).enumerate() {
        // Two unlike noises keep their loudness when the squares of their shares make one.
        let share = i as f64 / FADE as f64;
        *x = share.sqrt() * *x + (1.0 - share).sqrt() * after;
    }
    let gain = 32_768.0 * 10.0_f64.powf(level_db / 20.0) / in_band(&noise).max(f64::MIN_POSITIVE);
    noise.into_iter().map(|x| (gain * x) as f32).collect()
}

fn noise(engine: &Engine, samples: usize, rng: &mut Rng) -> Vec<f64> {
    let mut body = [(95.0, 3.0, 1.0), (240.0, 5.0, 0.7), (560.0, 6.0, 0.4), (1_900.0, 5.0, 0.2)]
        .map(|(hz, q, gain)| (Ring::new(hz, q), gain));
    let (mut rumble, mut rush, mut wash, mut hiss) = (low(110.0), low(450.0), low(1_300.0), low(5_000.0));
    let (mut splash, mut gust, mut swell) = (Ring::new(420.0, 0.8), low(0.5), low(2.0));
    // A headset's microphone hears little below the voice.
    let mut kept = [high(130.0), high(130.0)];
    let (mut phase, mut rattle, mut slap) = (0.0, 0.0, 0.0);
    let rate = f64::from(RATE);
    let mut white = || rng.between(-1.0, 1.0);
    (0..samples)
        .map(|_| {
            phase += engine.per_minute / 120.0 * engine.cylinders / rate * (1.0 + 0.05 * white());
            let mut strike = 0.0;
            if phase >= 1.0 {
                phase -= 1.0;
                strike = 40.0 * engine.force * (1.0 + 0.25 * white());
                rattle = 0.5 * engine.force;
            }
            rattle *= 0.992;
            let blow = strike + rattle * white();
            let metal: f64 = body.iter_mut().map(|(ring, gain)| *gain * ring.next(blow)).sum();

            let x = white();
            let gusts = (1.0 + 60.0 * gust(white())).clamp(0.2, 3.0);
            let wind = gusts * (6.0 * rumble(x) + 1.5 * rush(x) + 0.15 * hiss(x));

            if white().abs() < 1.0 / (engine.slaps_s * rate) {
                slap = 1.0 + white().abs();
            }
            slap *= 0.9993;
            let water = 3.0 * slap * splash.next(white());
            let along = engine.wash * wash(white()) * (1.0 + 20.0 * swell(white())).clamp(0.4, 2.0);

            kept.iter_mut().fold(metal + wind + water + along, |x, filter| filter(x))
        })
        .collect()
}

/// Root mean square between about 200 Hz and 4 kHz, where speech is told from speech.
fn in_band(sound: &[f64]) -> f64 {
    let (mut bottom, mut top) = ([high(200.0), high(200.0)], [low(4_000.0), low(4_000.0)]);
    let mut band = |x| bottom.iter_mut().fold(top.iter_mut().fold(x, |x, f| f(x)), |x, f| f(x));
    let sum: f64 = sound.iter().map(|x| band(*x).powi(2)).sum();
    (sum / sound.len().max(1) as f64).sqrt()
}

/// A first-order low-pass.
fn low(hz: f64) -> impl FnMut(f64) -> f64 {
    let share = 1.0 - (-TAU * hz / f64::from(RATE)).exp();
    let mut y = 0.0;
    move |x| {
        y += share * (x - y);
        y
    }
}

/// A first-order high-pass.
fn high(hz: f64) -> impl FnMut(f64) -> f64 {
    let mut below = low(hz);
    move |x| x - below(x)
}

/// Something that rings when struck: a resonance of two poles.
struct Ring {
    back: (f64, f64),
    gain: f64,
    y: (f64, f64),
}

impl Ring {
    fn new(hz: f64, q: f64) -> Ring {
        let turn = TAU * hz / f64::from(RATE);
        let radius = (-turn / (2.0 * q)).exp();
        Ring { back: (2.0 * radius * turn.cos(), -radius * radius), gain: 1.0 - radius, y: (0.0, 0.0) }
    }

    fn next(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.back.0 * self.y.0 + self.back.1 * self.y.1;
        self.y = (y, self.y.0);
        y
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn whole(deck: &Deck) -> Vec<(f32, f32)> {
        deck.stretch(LOOP as u64, LOOP).collect()
    }

    #[test]
    fn the_noise_is_told_by_its_seed() {
        assert!(whole(&Deck::new(7)) == whole(&Deck::new(7)));
        assert!(whole(&Deck::new(7)) != whole(&Deck::new(8)));
    }

    #[test]
    fn it_is_as_loud_as_said_at_every_time_and_has_no_seam() {
        for seed in [7, 8] {
            let (lying, under_way): (Vec<f64>, Vec<f64>) =
                whole(&Deck::new(seed)).into_iter().map(|(a, b)| (f64::from(a), f64::from(b))).unzip();
            for (noise, wanted_db) in [(lying, LYING_DB), (under_way, UNDER_WAY_DB)] {
                let db = |part: &[f64]| 20.0 * (in_band(part) / 32_768.0).log10();
                assert!((db(&noise) - wanted_db).abs() < 0.1);
                for second in noise.chunks(RATE as usize) {
                    assert!((db(second) - wanted_db).abs() < 7.0, "{} dB for a second", db(second));
                }
                let loudest = noise.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
                assert!(loudest < 12_000.0, "{loudest} leaves room for speech");
                let jump = |a: f64, b: f64| (b - a).abs();
                let widest = noise.windows(2).map(|w| jump(w[0], w[1])).fold(0.0, f64::max);
                assert!(jump(noise[LOOP - 1], noise[0]) <= widest, "a click at the seam");
            }
        }
    }
}
