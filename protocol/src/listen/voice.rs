//! Whether somebody speaks, by two small networks.
//!
//! `nnnoiseless` (RNNoise) follows closely and opens a note. What it leaves of the sound when it takes the noise out goes to
//! `earshot`, which is slower to be sure and confirms the note: in the sound as it is, an engine's notes pass for a voice's.
//! Both answer to the shape of the sound, hardly to its level.

use std::collections::VecDeque;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

use nnnoiseless::DenoiseState;

use super::evidence::{Evidence, Heard};

/// Samples in one frame of the network that opens, 10 ms: whoever has the samples brings so many at a time.
pub(super) const FRAME: usize = 160;
/// Samples in one frame of the network that confirms: 16 ms.
const CONFIRMING: usize = 256;

/// A frame of the opening network is speech from here on.
const SPOKEN: f32 = 0.8;
/// And clearly so from here on.
const CLEAR: f32 = 0.97;
/// A frame of the confirming network is surely speech from here on.
const SURE: f32 = 0.85;

/// Speech begins when of so many frames, 80 ms,
const LATELY: usize = 8;
/// so many are speech.
const VOTES: usize = 5;
/// Frames of the past that are remembered: as much as is held back.
const REMEMBERED: usize = super::PATIENCE as usize / FRAME;

/// Both networks and what they said of late.
pub(super) struct Voice {
    high: [HighPass; 2],
    opening: Opening,
    confirming: Box<earshot::Detector>,
    /// Sound without the noise, until it makes a frame for the confirming network.
    cleaned: Vec<i16>,
    /// Oldest first.
    recent: VecDeque<Heard>,
}

impl Voice {
    pub(super) fn new() -> Voice {
        Voice {
            high: [HighPass::default(); 2],
            opening: Opening::new(),
            confirming: earshot::Detector::default_boxed(),
            cleaned: Vec::with_capacity(CONFIRMING + FRAME),
            recent: VecDeque::with_capacity(REMEMBERED + 1),
        }
    }

    /// Hears one more frame: whether it was speech.
    pub(super) fn hear(&mut self, frame: &[i16; FRAME]) -> bool {
        let frame = frame.map(|x| self.high.iter_mut().fold(f64::from(x), |x, filter| filter.next(x)) as f32);
        let probability = self.opening.probability(&frame);
        self.cleaned.extend(self.opening.cleaned());
        let sure =
            self.cleaned.get(..CONFIRMING).is_some_and(|frame| self.confirming.predict_i16(frame) >= SURE);
        if self.cleaned.len() >= CONFIRMING {
            self.cleaned.drain(..CONFIRMING);
        }
        let power = frame.iter().map(|x| x * x).sum::<f32>() / FRAME as f32;
        let heard = Heard {
            spoken: probability >= SPOKEN,
            clear: probability >= CLEAR,
            sure,
            // From −20 dB of one step on.
            level: (20.0 * power.log10() + 40.0) as u8,
        };
        self.recent.push_back(heard);
        self.recent.drain(..self.recent.len().saturating_sub(REMEMBERED));
        heard.spoken
    }

    /// How many samples ago speech began, when enough of the last frames were speech.
    pub(super) fn begun(&self) -> Option<u64> {
        let lately = || self.recent.iter().rev().take(LATELY).enumerate().filter(|(_, heard)| heard.spoken);
        let (ago, _) = lately().next_back()?;
        (lately().count() >= VOTES).then_some((ago + 1) as u64 * FRAME as u64)
    }

    /// The evidence in the last so many samples, as far as it is remembered.
    pub(super) fn evidence(&self, samples: u64) -> Evidence {
        let mut evidence = Evidence::default();
        self.recent
            .iter()
            .rev()
            .take((samples / FRAME as u64) as usize)
            .for_each(|&heard| evidence.add(heard));
        evidence
    }

    /// What was spoken so far counts no more.
    pub(super) fn pass(&mut self) {
        self.recent.clear();
    }
}

/// A second-order Butterworth high-pass at 180 Hz, of which there are two in a row: what lies below is more of the engine
/// and the wind than of a voice, and both networks do better without. Coefficients by Robert Bristow-Johnson's cookbook for
/// audio equalisers.
#[derive(Clone, Copy)]
struct HighPass {
    b: f64,
    a: [f64; 2],
    x: [f64; 2],
    y: [f64; 2],
}

impl Default for HighPass {
    fn default() -> Self {
        let (sin, cos) = (2.0 * PI * 180.0 / f64::from(super::RATE)).sin_cos();
        let alpha = sin * FRAC_1_SQRT_2;
        let all = 1.0 + alpha;
        HighPass {
            b: (1.0 + cos) / 2.0 / all,
            a: [-2.0 * cos / all, (1.0 - alpha) / all],
            x: [0.0; 2],
            y: [0.0; 2],
        }
    }
}

impl HighPass {
    fn next(&mut self, x: f64) -> f64 {
        let ([x1, x2], [y1, y2], [a1, a2]) = (self.x, self.y, self.a);
        let y = self.b * (x - 2.0 * x1 + x2) - a1 * y1 - a2 * y2;
        (self.x, self.y) = ([x, x1], [y, y1]);
        y
    }
}

/// Output samples for one input sample: `nnnoiseless` works at 48 kHz.
const UP: usize = 3;
/// Input samples the interpolator looks at for one output sample.
const TAPS: usize = 16;

/// The network that opens notes, behind an interpolation from 16 to 48 kHz: a windowed sinc, 8 samples late. Straight
/// lines between the samples would leave images of the speech above 8 kHz, where a voice has overtones of its own.
struct Opening {
    /// The frame, and before it the samples of the last one that the interpolator still needs.
    recent: [f32; TAPS - 1 + FRAME],
    weights: [[f32; TAPS]; UP],
    wide: [f32; UP * FRAME],
    cleaned: [f32; UP * FRAME],
    network: Box<DenoiseState<'static>>,
}

impl Opening {
    fn new() -> Opening {
        Opening {
            recent: [0.0; TAPS - 1 + FRAME],
            weights: std::array::from_fn(|phase| std::array::from_fn(|tap| weight(phase, tap))),
            wide: [0.0; UP * FRAME],
            cleaned: [0.0; UP * FRAME],
            network: DenoiseState::new(),
        }
    }

    /// The probability of speech in this frame, 0…1.
    fn probability(&mut self, frame: &[f32; FRAME]) -> f32 {
        self.recent.copy_within(FRAME.., 0);
        if let Some(last) = self.recent.get_mut(TAPS - 1..) {
            last.copy_from_slice(frame);
        }
        for (wide, near) in self.wide.chunks_exact_mut(UP).zip(self.recent.windows(TAPS)) {
            for (to, weights) in wide.iter_mut().zip(&self.weights) {
                *to = weights.iter().zip(near).map(|(weight, x)| weight * x).sum();
            }
        }
        self.network.process_frame(&mut self.cleaned, &self.wide)
    }

    /// The frame before without its noise. One sample in three will do: the input had nothing above 8 kHz to fold back.
    fn cleaned(&self) -> impl Iterator<Item = i16> {
        self.cleaned.iter().step_by(UP).map(|&x| x as i16)
    }
}

/// A sound without its noise, some 10 ms later: for a recogniser that cannot tell the two apart itself.
pub fn clean(sound: &[i16]) -> Vec<i16> {
    let mut network = Opening::new();
    let mut cleaned = Vec::with_capacity(sound.len() + FRAME);
    // The network is a frame behind.
    for piece in sound.chunks(FRAME).chain([&[][..]]) {
        let mut frame = [0.0; FRAME];
        frame.iter_mut().zip(piece).for_each(|(to, x)| *to = f32::from(*x));
        network.probability(&frame);
        cleaned.extend(network.cleaned());
    }
    cleaned
}

/// The weight of a sample, old to new, for the output `phase` thirds after the middle one.
fn weight(phase: usize, tap: usize) -> f32 {
    let x = tap as f64 - (TAPS / 2 - 1) as f64 - phase as f64 / UP as f64;
    let window = (PI * x / TAPS as f64).cos().powi(2);
    let sinc = if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) };
    (sinc * window) as f32
}
