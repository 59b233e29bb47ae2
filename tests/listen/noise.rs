//! The sounds of a small boat, made from chance: what a detector must not take for speech.
//!
//! Models of our own, by ear and by the physics that is plain: a four-stroke's firing excites what hangs on it, wind
//! is low-pass noise in gusts, a slap is a burst of noise and the ring of the bubbles it drags under.

use std::f32::consts::TAU;

/// Samples per second.
pub const RATE: usize = 16_000;

/// A kind of noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noise {
    /// An outboard in gear or out, idling.
    Outboard,
    /// The same, throttled up and down between two traps: its firing rate crosses that of a voice's pitch.
    Throttle,
    /// Wind over the microphone and in the rigging.
    Wind,
    /// Water on the hull.
    Slap,
    /// Outboard, wind and slap together, each as loud.
    All,
}

/// Every kind, with its name in the table.
pub const NOISES: [(Noise, &str); 5] = [
    (Noise::Outboard, "outboard"),
    (Noise::Throttle, "throttle"),
    (Noise::Wind, "wind"),
    (Noise::Slap, "slap"),
    (Noise::All, "all"),
];

/// `n` samples of a noise; its level in the band of speech is 1 (see [`in_band`]).
pub fn noise(kind: Noise, seed: u64, n: usize) -> Vec<f32> {
    let mut rng = Rng::new(seed ^ (kind as u64) << 40);
    let mut sound = match kind {
        Noise::Outboard => outboard(&mut rng, n, false),
        Noise::Throttle => outboard(&mut rng, n, true),
        Noise::Wind => wind(&mut rng, n),
        Noise::Slap => slap(&mut rng, n),
        Noise::All => {
            let parts = [Noise::Outboard, Noise::Wind, Noise::Slap].map(|kind| noise(kind, rng.bits(), n));
            (0..n).map(|i| parts.iter().map(|part| part[i]).sum()).collect()
        }
    };
    let level = in_band(&sound).max(1e-9);
    sound.iter_mut().for_each(|x| *x /= level);
    sound
}

/// Root mean square between 200 Hz and 4 kHz, where speech is told from speech. A signal-to-noise ratio over the whole band
/// would flatter: most of a boat's noise lies below.
pub fn in_band(sound: &[f32]) -> f32 {
    let sum: f64 = speech_band(sound).map(|x| f64::from(x).powi(2)).sum();
    (sum / sound.len().max(1) as f64).sqrt() as f32
}

/// What of a sound lies between 200 Hz and 4 kHz.
pub fn speech_band(sound: &[f32]) -> impl Iterator<Item = f32> {
    let mut filters = [Filter::high(200.0), Filter::high(200.0), Filter::low(4000.0), Filter::low(4000.0)];
    sound.iter().map(move |&x| filters.iter_mut().fold(x, |x, filter| filter.next(x)))
}

fn outboard(rng: &mut Rng, n: usize, throttled: bool) -> Vec<f32> {
    let cylinders = 2 + rng.below(3);
    let unlike: Vec<f32> = (0..cylinders).map(|_| 1.0 + 0.25 * rng.normal()).collect();
    let idle = rng.between(650.0, 900.0);
    let mut body = [
        (Filter::band(rng.between(70.0, 130.0), 3.0), 3.0),
        (Filter::band(rng.between(180.0, 320.0), 5.0), 1.5),
        (Filter::band(rng.between(400.0, 750.0), 6.0), 0.8),
        (Filter::band(rng.between(1200.0, 2600.0), 4.0), 0.4),
    ];
    let (mut gargle, mut gate, mut wash) = (Filter::low(280.0), Filter::low(7.0), Filter::low(1500.0));
    let (mut wander, mut wanted, mut rpm) = (Filter::low(0.4), idle, idle);
    let (mut phase, mut crank, mut stroke, mut rattle) = (0.0_f32, 0.0_f32, 0_usize, 0.0_f32);
    let mut stroke_force = Filter::low(250.0);
    (0..n)
        .map(|i| {
            if throttled && i % (RATE * 5) == 0 {
                wanted = if rng.chance(0.4) { idle } else { rng.between(900.0, 3600.0) };
            }
            rpm += (wanted - rpm) / (0.8 * RATE as f32);
            let now = rpm * (1.0 + 3.0 * wander.next(rng.normal()));
            let load = 0.5 + 0.5 * (rpm / idle).min(4.0);
            crank += now / 60.0 / RATE as f32;
            phase += now / 120.0 * cylinders as f32 / RATE as f32;
            let mut push = 0.0;
            if phase >= 1.0 {
                phase -= 1.0;
                stroke = (stroke + 1) % cylinders;
                push = 60.0 * load * unlike[stroke] * (1.0 + 0.15 * rng.normal());
                rattle = push.abs() / 60.0;
            }
            rattle *= 0.993;
            let burst = stroke_force.next(push) + 1.5 * rattle * rng.normal();
            let metal: f32 = body.iter_mut().map(|(filter, gain)| *gain * filter.next(burst)).sum();
            let bubbles = gate.next(rng.normal()).powi(2) * 250.0;
            let water = 1.5 * gargle.next(rng.normal()) * bubbles + 0.4 * load * wash.next(rng.normal());
            let gear =
                0.05 * load * ((crank.fract() * 13.0 * TAU).sin() + 0.5 * (crank.fract() * 29.0 * TAU).sin());
            metal + water + gear
        })
        .collect()
}

fn wind(rng: &mut Rng, n: usize) -> Vec<f32> {
    let (mut gusts, mut flutter) = (Filter::low(0.15), Filter::low(3.0));
    let (mut rumble, mut rush) = (Filter::low(120.0), Filter::low(500.0));
    let (mut hiss, mut shroud) = (Filter::low(3000.0), Filter::band(rng.between(450.0, 1400.0), 25.0));
    (0..n)
        .map(|_| {
            let gust =
                (1.0 + 120.0 * gusts.next(rng.normal()) + 8.0 * flutter.next(rng.normal())).clamp(0.1, 5.0);
            let x = rng.normal();
            let turbulent = 14.0 * rumble.next(x) + 4.0 * rush.next(x) + 0.8 * hiss.next(x);
            turbulent * gust.powf(1.5) + 0.7 * shroud.next(x) * gust.powi(3) * 0.2
        })
        .collect()
}

fn slap(rng: &mut Rng, n: usize) -> Vec<f32> {
    let mut sound: Vec<f32> = {
        let (mut lap, mut swell) = (Filter::low(900.0), Filter::low(0.5));
        (0..n).map(|_| lap.next(rng.normal()) * (0.15 + 12.0 * swell.next(rng.normal()).abs())).collect()
    };
    let mut at = 0.0;
    while (at as usize) < n {
        hit(rng, &mut sound[at as usize..]);
        // Seas come in a rhythm, with stragglers.
        at += RATE as f32 * if rng.chance(0.3) { rng.between(0.1, 0.4) } else { rng.between(0.6, 2.5) };
    }
    sound
}

/// One slap: a burst of noise and a few bubbles, each a falling sine of its own pitch that rises a little.
fn hit(rng: &mut Rng, sound: &mut [f32]) {
    let force = rng.between(0.3, 1.0).powi(2) * 4.0;
    let decay = rng.between(0.02, 0.15) * RATE as f32;
    let mut thud = Filter::band(rng.between(150.0, 900.0), rng.between(0.7, 1.5));
    for (i, x) in sound.iter_mut().take((decay * 6.0) as usize).enumerate() {
        *x += force * thud.next(rng.normal()) * (-(i as f32) / decay).exp() * (i as f32 / 40.0).min(1.0);
    }
    for _ in 0..rng.below(7) {
        let start = (rng.between(0.0, 0.25) * RATE as f32) as usize;
        let (pitch, rise) = (rng.between(300.0, 2200.0), rng.between(0.0, 0.6));
        let (gain, decay) = (force * rng.between(0.05, 0.35), rng.between(0.008, 0.05) * RATE as f32);
        let mut turn = 0.0_f32;
        for (i, x) in sound.iter_mut().skip(start).take((decay * 6.0) as usize).enumerate() {
            let t = i as f32 / decay;
            turn += pitch * (1.0 + rise * t / 6.0) / RATE as f32;
            *x += gain * (turn * TAU).sin() * (-t).exp();
        }
    }
}

/// A second-order filter (Bristow-Johnson's audio equaliser cookbook), direct form I. In double precision: at a fraction
/// of a hertz a single one cannot tell the pole from the unit circle.
struct Filter {
    b: [f64; 3],
    a: [f64; 2],
    x: [f64; 2],
    y: [f64; 2],
}

impl Filter {
    fn low(hz: f32) -> Filter {
        Filter::of(hz, 0.707, |cos, _| [(1.0 - cos) / 2.0, 1.0 - cos, (1.0 - cos) / 2.0])
    }

    fn high(hz: f32) -> Filter {
        Filter::of(hz, 0.707, |cos, _| [(1.0 + cos) / 2.0, -(1.0 + cos), (1.0 + cos) / 2.0])
    }

    fn band(hz: f32, q: f32) -> Filter {
        Filter::of(hz, q, |_, alpha| [alpha, 0.0, -alpha])
    }

    fn of(hz: f32, q: f32, numerator: impl Fn(f64, f64) -> [f64; 3]) -> Filter {
        let turn = f64::from(TAU * hz / RATE as f32);
        let alpha = turn.sin() / (2.0 * f64::from(q));
        let scaled = 1.0 / (1.0 + alpha);
        let b = numerator(turn.cos(), alpha).map(|b| b * scaled);
        Filter { b, a: [-2.0 * turn.cos() * scaled, (1.0 - alpha) * scaled], x: [0.0; 2], y: [0.0; 2] }
    }

    fn next(&mut self, x: f32) -> f32 {
        let (x, [b0, b1, b2], [a1, a2]) = (f64::from(x), self.b, self.a);
        let y = b0 * x + b1 * self.x[0] + b2 * self.x[1] - a1 * self.y[0] - a2 * self.y[1];
        self.x = [x, self.x[0]];
        self.y = [y, self.y[0]];
        y as f32
    }
}

/// Chance from a seed: the same on every machine (the SplitMix64 sequence).
pub struct Rng(u64);

impl Rng {
    /// The sequence of a seed.
    pub fn new(seed: u64) -> Rng {
        Rng(seed.wrapping_mul(0xd1b5_4a32_d192_ed03))
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f32 {
        (self.bits() >> 40) as f32 / (1_u32 << 24) as f32
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.unit()
    }

    /// A whole number below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    /// True this often.
    pub fn chance(&mut self, probability: f32) -> bool {
        self.unit() < probability
    }

    /// Mean 0, standard deviation 1: twelve even ones summed are normal enough for noise, and quick.
    fn normal(&mut self) -> f32 {
        let sum: u64 = (0..3)
            .map(|_| self.bits())
            .map(|b| (b & 0xffff) + (b >> 16 & 0xffff) + (b >> 32 & 0xffff) + (b >> 48))
            .sum();
        sum as f32 / 65_536.0 - 6.0
    }
}
