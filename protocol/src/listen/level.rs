//! How loud it is: the noise, the speech, and shouts too loud for the microphone's gain.
//!
//! Levels are dBFS of the root mean square, 0 being a sound at full scale all the time (a full sine is −3).

/// From here on a sample counts as at full scale: within 0.02 dB.
const FULL: u16 = 32_700;
/// So many samples stuck at full scale are clipping: 1 ms in all. A peak may touch it once.
const STUCK: u32 = 16;

/// How loud a stretch of sound was.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Level {
    /// The largest sample without its sign, 0…32768.
    pub peak: u16,
    /// Samples at full scale that follow another one there: where the wave is cut flat.
    pub flat: u32,
    /// All samples.
    pub samples: u64,
    at_full: bool,
}

impl Level {
    /// Too loud: what was said may be hard to make out, and the gain should go down.
    pub fn clipped(&self) -> bool {
        self.flat >= STUCK
    }

    /// The largest sample in dBFS; none in digital silence.
    pub fn peak_dbfs(&self) -> Option<f32> {
        (self.peak > 0).then(|| 20.0 * (f32::from(self.peak) / 32_768.0).log10())
    }

    pub(super) fn take(&mut self, samples: &[i16]) {
        for sample in samples.iter().map(|s| s.unsigned_abs()) {
            let full = sample >= FULL;
            self.flat = self.flat.saturating_add(u32::from(full && self.at_full));
            self.at_full = full;
            self.peak = self.peak.max(sample);
        }
        self.samples += samples.len() as u64;
    }
}

/// What the microphone hears, in figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sound {
    /// The noise between the notes, dBFS; `None` before any, and when since the last time it was asked for there was
    /// digital silence only: a microphone that is unplugged, or muted by its own switch.
    pub noise_dbfs: Option<f32>,
    /// Speech in notes, dBFS, over about the last two seconds of it; `None` before any.
    pub speech_dbfs: Option<f32>,
    /// Peak and clipping since the last time it was asked for.
    pub level: Level,
}

/// Follows noise and speech.
#[derive(Debug, Clone, Default)]
pub(super) struct Meter {
    level: Level,
    /// Sum of squares of the frame so far, and its samples.
    energy: u64,
    samples: u32,
    noise_dbfs: Option<f32>,
    /// Mean square of the speech.
    speech: Option<f64>,
}

impl Meter {
    pub(super) fn take(&mut self, samples: &[i16]) {
        self.level.take(samples);
        self.energy += samples.iter().map(|&s| u64::from(s.unsigned_abs()).pow(2)).sum::<u64>();
        self.samples += samples.len() as u32;
    }

    /// A frame of 10 ms is complete.
    pub(super) fn frame(&mut self, spoken: bool, in_note: bool) {
        let energy = std::mem::take(&mut self.energy);
        let power = energy as f64 / f64::from(std::mem::take(&mut self.samples).max(1));
        if spoken && in_note {
            self.speech = Some(self.speech.map_or(power, |mean| mean + (power - mean) / 200.0));
        }
        if energy > 0 && !in_note {
            // Seeks the level that three frames in ten stay below: a few loud ones, slaps or words nobody listens to, do
            // not move it, and it never jumps. Up 1.5 dB/s, down 3.5 dB/s.
            let now = dbfs(power);
            let step = |floor: f32| if now > floor { 0.015 } else { -0.035 };
            self.noise_dbfs = Some(self.noise_dbfs.map_or(now, |floor| floor + step(floor)));
        }
    }

    pub(super) fn sound(&mut self) -> Sound {
        let level = std::mem::take(&mut self.level);
        let dead = level.samples > 0 && level.peak == 0;
        Sound { noise_dbfs: self.noise_dbfs.filter(|_| !dead), speech_dbfs: self.speech.map(dbfs), level }
    }
}

/// A mean square in dBFS.
fn dbfs(power: f64) -> f32 {
    (10.0 * (power / 32_768.0_f64.powi(2)).log10()) as f32
}
