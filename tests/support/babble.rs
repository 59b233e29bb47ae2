//! A voice that says nothing, and the hiss of a quiet microphone: sound of known beginning and end for any test.

use std::f32::consts::TAU;

/// Samples a second.
pub const RATE: usize = 16_000;

/// Pulses of vocal cords through two formants that wander from vowel to vowel, four syllables a second: the detector
/// takes it for speech. Formants of five vowels after Peterson and Barney (1952), from memory.
pub fn babble(seconds: f32) -> Vec<i16> {
    const VOWELS: [[f32; 2]; 5] =
        [[730.0, 1090.0], [530.0, 1840.0], [270.0, 2290.0], [570.0, 840.0], [390.0, 1990.0]];
    let mut formants = [[0.0_f32; 2]; 2];
    let (mut phase, mut sound) = (0.0_f32, Vec::new());
    for i in 0..(seconds * RATE as f32) as usize {
        let t = i as f32 / RATE as f32;
        phase += (130.0 + 25.0 * (TAU * 0.7 * t).sin() - 10.0 * t.fract()) / RATE as f32;
        let pulse = if phase >= 1.0 { 1.0 } else { 0.0 };
        phase = phase.fract();
        let (vowel, next) = (VOWELS[i / 4000 % 5], VOWELS[(i / 4000 + 1) % 5]);
        let mix = (i % 4000) as f32 / 4000.0;
        let mut x = 0.0;
        for (k, state) in formants.iter_mut().enumerate() {
            let hz = vowel[k] * (1.0 - mix) + next[k] * mix;
            let radius = 0.97 - 0.01 * k as f32;
            let y =
                pulse + 2.0 * radius * (TAU * hz / RATE as f32).cos() * state[0] - radius * radius * state[1];
            *state = [y, state[0]];
            x += y;
        }
        let syllable = (TAU * 2.0 * t).sin().abs().powf(0.6);
        sound.push((x * syllable * 900.0).clamp(-32_000.0, 32_000.0) as i16);
    }
    sound
}

/// Nearly silence: a microphone hisses.
pub fn hiss(seconds: f32) -> Vec<i16> {
    let mut x = 1_u32;
    (0..(seconds * RATE as f32) as usize)
        .map(|_| {
            x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (x >> 28) as i16 - 8
        })
        .collect()
}
