//! Sound for whole-program tests: a voice and hiss as WAV files, a day at one trap to speak in, notes read back.

#![allow(dead_code, reason = "each test uses its part")]

use std::path::{Path, PathBuf};

#[path = "babble.rs"]
mod babble;

pub use babble::{RATE, babble, hiss};

use super::support::rmc;

/// Writes sound as 16 kHz, mono, 16 bit.
pub fn wav(path: &Path, samples: &[i16]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec).unwrap();
    samples.iter().for_each(|sample| file.write_sample(*sample).unwrap());
    file.finalize().unwrap();
}

/// The samples of a WAV file.
pub fn samples(path: &Path) -> Vec<i16> {
    hound::WavReader::open(path).unwrap().samples::<i16>().map(Result::unwrap).collect()
}

/// Hiss with a voice at these seconds, each so long.
pub fn spoken(seconds: usize, voices: &[(usize, f32)]) -> Vec<i16> {
    let mut sound = hiss(seconds as f32);
    for (at, long) in voices {
        for (to, voice) in sound.iter_mut().skip(at * RATE).zip(babble(*long)) {
            *to = to.saturating_add(voice);
        }
    }
    sound
}

/// Tape lines of a receiver at one fix a second: under way, alongside from second 40 to 100, under way again. The first
/// `void` seconds are without a fix.
pub fn trap_day(seconds: i64, void: i64) -> Vec<(f64, String)> {
    let mut north = 0.0;
    (0..seconds)
        .map(|second| {
            let speed = if (40..100).contains(&second) { 0.2 } else { 4.0 };
            north += speed;
            let fix = (second >= void).then_some((24.7 + north / 110_800.0, -81.6));
            let sentence = rmc(43_200 + second, fix, speed);
            (second as f64 + 0.12, format!("{{\"t\":{:.3},\"gps\":{sentence:?}}}", second as f64 + 0.12))
        })
        .collect()
}

/// Lines in order of time, as a tape.
pub fn tape(mut lines: Vec<(f64, String)>) -> String {
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    lines.into_iter().map(|(_, line)| line + "\n").collect()
}

/// Every note's file in a data directory, in order of name.
pub fn note_files(data: &Path) -> Vec<PathBuf> {
    gunwale::voice::files(data).into_iter().map(|file| data.join(file)).collect()
}

/// The samples from midnight UTC to a note's first one, as its header says (`TimeReference`, EBU Tech 3285, at byte 338
/// of the `bext` chunk).
pub fn time_reference(path: &Path) -> u64 {
    let bytes = std::fs::read(path).unwrap();
    let at = bytes.windows(4).position(|name| name == b"bext").unwrap() + 8 + 338;
    u64::from_le_bytes(bytes[at..at + 8].try_into().unwrap())
}
