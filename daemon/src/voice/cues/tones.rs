//! The tone figures, and how they become sound.
//!
//! An outboard's noise lies mostly below 500 Hz, and small loudspeakers and ears dulled by engines take little above
//! 3 kHz (common practice, no source): so all notes are between 700 Hz and 2.5 kHz.

use std::f64::consts::TAU;
use std::io;
use std::path::Path;

use hound::{SampleFormat, WavSpec, WavWriter};

use super::Cue;

/// Samples a second of the cues' files: what any sound card can play.
pub const CUE_RATE: u32 = 48_000;
/// How long a note takes to come and to go, in seconds: no click.
const EDGE: f64 = 0.012;
/// Of full scale.
const LOUD: f64 = 0.8;

/// One note: its pitch in hertz, 0 for a rest, and its length in milliseconds.
pub type Note = (u32, u32);

impl Cue {
    /// What it sounds like.
    pub fn notes(self) -> &'static [Note] {
        match self {
            // Two short, up and down.
            Cue::NoteOpened => &[(1_250, 80), (1_900, 80)],
            Cue::NoteKept => &[(1_900, 80), (1_250, 80)],
            // Three even, up and down.
            Cue::PullOpened => &[(800, 110), (1_070, 110), (1_430, 160)],
            Cue::PullLeft => &[(1_430, 110), (1_070, 110), (800, 160)],
            // Down, a rest, and up like a question.
            Cue::PullLeftToConfirm => &[(1_430, 90), (800, 90), (0, 90), (2_100, 230)],
            // Troubles repeat: two long and low; high, low, high; three short and shrill.
            Cue::NoFix => &[(740, 240), (0, 80), (740, 240)],
            Cue::NoMicrophone => &[(2_200, 140), (900, 140), (2_200, 140)],
            Cue::DiskNearlyFull => &[(2_450, 70), (0, 60), (2_450, 70), (0, 60), (2_450, 70)],
            // One short and one long, down and up.
            Cue::Muted => &[(1_600, 110), (740, 380)],
            Cue::Listening => &[(740, 110), (1_600, 380)],
        }
    }
}

/// A cue's samples, [`CUE_RATE`] a second, from -1 to 1.
pub fn samples(cue: Cue) -> Vec<f64> {
    cue.notes().iter().flat_map(|&note| sound(note)).collect()
}

/// A sine whose edges are raised cosines.
fn sound((hz, ms): Note) -> impl Iterator<Item = f64> {
    let rate = f64::from(CUE_RATE);
    let length = f64::from(ms) / 1e3;
    let loud = if hz == 0 { 0.0 } else { LOUD };
    (0..ms * (CUE_RATE / 1_000)).map(move |n| {
        let t = f64::from(n) / rate;
        let edge = (t.min(length - t) / EDGE).min(1.0);
        loud * (0.5 - 0.5 * (edge * TAU / 2.0).cos()) * (TAU * f64::from(hz) * t).sin()
    })
}

/// Writes a cue as a WAV file: one channel, 16 bit.
pub fn write(cue: Cue, path: &Path) -> io::Result<()> {
    let plain = |error| match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other.to_string()),
    };
    let spec =
        WavSpec { channels: 1, sample_rate: CUE_RATE, bits_per_sample: 16, sample_format: SampleFormat::Int };
    let mut wav = WavWriter::create(path, spec).map_err(plain)?;
    for sample in samples(cue) {
        wav.write_sample((sample * f64::from(i16::MAX)).round() as i16).map_err(plain)?;
    }
    wav.finalize().map_err(plain)
}
