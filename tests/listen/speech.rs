//! Notes to be found: synthetic ones spoken by free programs, and prompts recorded by people.

use std::f64::consts::PI;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::noise::{RATE, Rng, speech_band};

/// What was said: our own wording of what is said over a trap.
const NOTES: [&str; 40] = [
    "seven crabs, four keepers, six claws",
    "there's five, no, make it six",
    "just the one crab",
    "she's empty",
    "nothing home",
    "came up blank",
    "that makes eight crabs, three legal",
    "five crabs, not a legal one",
    "claws, three, off three crabs",
    "for the book: seven crabs, five claws",
    "that one's a keeper",
    "another legal one",
    "undersize",
    "a hair under",
    "another little guy",
    "right on the line, leave him",
    "one off her",
    "took the big one, left the pincer",
    "took both, both legal",
    "he dropped it himself",
    "she's carrying eggs",
    "sponge crab, back she goes",
    "female, under",
    "soft one",
    "dead one in the corner",
    "crusher's on the right",
    "two larges and a medium",
    "absolute whopper",
    "bait's hardly touched",
    "picked clean",
    "two fresh pieces going in",
    "fresh mullet, topping it up",
    "tie was already broken",
    "found the lid hanging open, somebody's been in here",
    "trap seven, number twelve buoy",
    "not where I left it, line's wrapped round something",
    "can't find the buoy",
    "she's back down, dropping it right here",
    "hard bottom here, on the grass edge",
    "scratch the last one, add a short",
];

/// Voices of espeak-ng, and of flite where it is installed.
const VOICES: [&str; 10] = [
    "en-us",
    "en-gb+m3",
    "en-gb-scotland",
    "en-us+f2",
    "en-029+m7",
    "en-us-nyc+f4",
    "en-gb-x-rp+f1",
    "en-us+Michael",
    "en-us+linda",
    "en-gb-x-gbcwmd+m5",
];
const FLITE: [&str; 4] = ["slt", "awb", "rms", "kal16"];

/// A note spoken in silence.
pub struct Clip {
    /// Mono, 16 kHz, root mean square over its speech 1.
    pub sound: Vec<f32>,
    /// Where the first sound of speech begins, samples.
    pub onset: usize,
    /// Where the last one ends.
    pub end: usize,
}

/// Synthetic notes, `None` without espeak-ng: every `step`th of the list, each by another voice, speed and pitch.
pub fn synthetic(step: usize) -> Option<Vec<Clip>> {
    let mut rng = Rng::new(11);
    let dir = std::env::temp_dir().join(format!("gunwale-listen-{}", std::process::id()));
    std::fs::create_dir_all(&dir).ok()?;
    let file = dir.join("note.wav");
    let mut clips = Vec::new();
    for (i, text) in NOTES.iter().enumerate().step_by(step) {
        let (speed, pitch) = (rng.below(80) + 140, rng.below(50) + 25);
        let mut espeak = Command::new("espeak-ng");
        espeak.args([
            "-v",
            VOICES[i % VOICES.len()],
            "-s",
            &speed.to_string(),
            "-p",
            &pitch.to_string(),
            "-w",
        ]);
        if !espeak.arg(&file).arg(text).status().is_ok_and(|s| s.success()) {
            return None;
        }
        clips.push(clip(read(&file)?)?);
        let mut flite = Command::new("flite");
        flite.args(["-voice", FLITE[i % FLITE.len()], "-t", text, "-o"]).arg(&file);
        if flite.status().is_ok_and(|s| s.success()) {
            clips.push(clip(read(&file)?)?);
        }
    }
    let _ = std::fs::remove_dir_all(&dir);
    Some(clips)
}

/// Where Debian's packages asterisk-core-sounds-en-wav and asterisk-core-sounds-it-wav put their recordings: a woman
/// (Allison Smith, CC BY-SA 3.0) and, where the second is installed, a man (Carlo Flora, CC BY 3.0), both at 8 kHz; licences
/// as the packages' own copyright files state them. They are heard here and shipped nowhere.
const RECORDED: [&str; 2] =
    ["/usr/share/asterisk/sounds/en_US_f_Allison", "/usr/share/asterisk/sounds/it_IT_m_Carlo"];

/// Every `step`th recording of people of at most 8 s, `None` without any. What is shorter than 0.7 s is joined two and
/// two, as a number and a noun would be.
pub fn recorded(step: usize) -> Option<Vec<Clip>> {
    let mut clips = Vec::new();
    for folder in RECORDED {
        let Ok(files) = std::fs::read_dir(folder) else { continue };
        let mut files: Vec<PathBuf> =
            files.filter_map(|file| Some(file.ok()?.path())).filter(|path| is_speech(path)).collect();
        files.sort();
        let mut word: Option<Clip> = None;
        for path in files.into_iter().step_by(step) {
            let Some(mut one) = read(&path).and_then(clip) else {
                continue;
            };
            if one.end - one.onset < RATE * 7 / 10 {
                let Some(first) = word.take() else {
                    word = Some(one);
                    continue;
                };
                let both =
                    [&first.sound[first.onset..first.end], &[0.0; RATE / 20], &one.sound[one.onset..one.end]]
                        .concat();
                let Some(joined) = clip(both) else { continue };
                one = joined;
            }
            if one.end - one.onset <= RATE * 8 {
                clips.push(one);
            }
        }
    }
    (!clips.is_empty()).then_some(clips)
}

/// The note in a mono 16-bit WAV file.
#[allow(dead_code, reason = "for the figures of the recognisers")]
pub fn load(path: &Path) -> Option<Clip> {
    clip(read(path)?)
}

/// Measures a note put together from parts, mono at 16 kHz.
#[allow(dead_code, reason = "for the figures of the recognisers")]
pub fn measured(sound: Vec<f32>) -> Option<Clip> {
    clip(sound)
}

fn is_speech(path: &Path) -> bool {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    let other = ["tone", "beep", "monkeys", "weasels", "confbridge-join", "confbridge-leave"];
    path.extension().is_some_and(|e| e == "wav") && !other.iter().any(|other| name.contains(other))
}

/// Measures where speech begins and ends (10 ms frames within 35 dB of the loudest) and sets its level in the band of speech
/// (frames within 25 dB).
fn clip(mut sound: Vec<f32>) -> Option<Clip> {
    let frame = RATE / 100;
    let power = |sound: &[f32]| -> Vec<f32> {
        sound.chunks(frame).map(|f| f.iter().map(|x| x * x).sum::<f32>() / f.len() as f32).collect()
    };
    let (whole, band) = (power(&sound), power(&speech_band(&sound).collect::<Vec<_>>()));
    let above =
        |power: &[f32], db: f32| power.iter().copied().fold(0.0, f32::max) * 10.0_f32.powf(-db / 10.0);
    let (quiet, faint) = (above(&whole, 35.0), above(&band, 25.0));
    let (first, last) = (whole.iter().position(|&p| p > quiet)?, whole.iter().rposition(|&p| p > quiet)?);
    let active: Vec<f32> = band.into_iter().filter(|&p| p > faint).collect();
    let level = (active.iter().sum::<f32>() / active.len() as f32).sqrt();
    sound.iter_mut().for_each(|x| *x /= level);
    Some(Clip { onset: first * frame, end: ((last + 1) * frame).min(sound.len()), sound })
}

/// A mono 16-bit WAV file at 16 kHz; whatever its rate was.
fn read(path: &Path) -> Option<Vec<f32>> {
    let bytes = std::fs::read(path).ok()?;
    let (mut rate, mut at) = (0, 12);
    loop {
        let head = bytes.get(at..at + 8)?;
        // A program that writes to a pipe does not know the length: what is there is taken.
        let length = u32::from_le_bytes(head[4..8].try_into().ok()?) as usize;
        let body = &bytes[at + 8..bytes.len().min((at + 8).saturating_add(length))];
        match &head[..4] {
            b"fmt " => rate = u32::from_le_bytes(body.get(4..8)?.try_into().ok()?),
            b"data" => {
                let samples: Vec<f32> = body
                    .chunks_exact(2)
                    .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0)
                    .collect();
                return Some(resample(&samples, rate as usize));
            }
            _ => {}
        }
        at += 8 + length + length % 2;
    }
}

/// To 16 kHz by a windowed sinc, 16 zeros wide on each side, that lets through what both rates can carry. Telephone
/// recordings at 8 kHz come out without images, and with nothing above 4 kHz: a voice with less of itself than aboard.
fn resample(from: &[f32], rate: usize) -> Vec<f32> {
    if rate == RATE {
        return from.to_vec();
    }
    let step = rate as f64 / RATE as f64;
    let cut = (1.0 / step).min(1.0) * 0.97;
    let reach = (16.0 / cut).ceil() as usize;
    let weights = |phase: usize| -> Vec<f32> {
        let between = (phase * rate % RATE) as f64 / RATE as f64;
        let at = |tap: usize| tap as f64 - reach as f64 - between;
        let sinc = |x: f64| if x == 0.0 { cut } else { (PI * x * cut).sin() / (PI * x) };
        let window = |x: f64| (PI * x / (2 * reach + 2) as f64).cos().powi(2);
        (0..=2 * reach).map(|tap| (sinc(at(tap)) * window(at(tap))) as f32).collect()
    };
    // After so many samples the rates meet again.
    let phases = (1..=RATE).find(|n| (n * rate).is_multiple_of(RATE)).unwrap_or(RATE);
    let weights: Vec<Vec<f32>> = (0..phases).map(weights).collect();
    let edge = vec![0.0; reach];
    let padded = [&edge, from, &edge].concat();
    (0..from.len() * RATE / rate)
        .filter_map(|i| {
            let near = padded.get(i * rate / RATE..)?.iter();
            Some(near.zip(&weights[i % phases]).map(|(x, weight)| x * weight).sum())
        })
        .collect()
}
