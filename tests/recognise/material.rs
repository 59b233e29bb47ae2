//! Notes with known words: said by synthetic voices, put together from a person's recorded numbers, and talk of persons
//! that holds nothing to count.
//!
//! Two halves that share no sentence, no voice, no recording and no noise: thresholds were chosen on the voices of one, with
//! other sentences (seeds 100 and 101), and the figures are told of the other. What a note says is what the grammar makes of its exact words; so the recognisers are measured,
//! not the grammar.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use gunwale::sim::spoken;
use gunwale_protocol::tally::{self, KEYS};

use crate::noise::{NOISES, RATE, Rng, noise};
use crate::speech::{Clip, load, measured};

/// Root mean square of speech in its band: −26 dBFS, as in the detector's table.
const SPEECH: f32 = 1642.0;
/// What a note's file has before and after the speech, samples: the pre-roll and the pause that closes it.
const BEFORE: usize = RATE * 8 / 10;
const AFTER: usize = RATE * 12 / 10;

/// Who speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// A synthetic voice.
    Machine,
    /// A person's numbers, and a synthetic voice's nouns: there is no free recording of a person who says "keepers".
    Numbers,
    /// A person who says nothing that counts.
    Talk,
}

/// Something said in silence.
pub struct Said {
    /// 0: thresholds were chosen on these voices; 1: figures are told of it.
    pub half: usize,
    /// By whom.
    pub who: Who,
    /// Word for word; empty when nothing in it counts and nobody wrote it down.
    pub text: String,
    clip: Clip,
}

/// How noisy it is, dB; `None`: not at all.
pub const RATIOS: [Option<i32>; 5] = [None, Some(20), Some(10), Some(5), Some(0)];

impl Said {
    /// Its samples as the microphone has them, in a noise of chance.
    pub fn heard(&self, ratio: Option<i32>, seed: u64) -> Vec<i16> {
        let n = BEFORE + (self.clip.end - self.clip.onset) + AFTER;
        let (kind, _) = NOISES[(seed % NOISES.len() as u64) as usize];
        let mut sound = match ratio {
            // What is made from chance begins with silence in its filters.
            Some(ratio) => {
                let below = 10.0_f32.powf(-ratio as f32 / 20.0);
                noise(kind, seed, RATE + n)[RATE..].iter().map(|x| x * below).collect()
            }
            None => vec![0.0; n],
        };
        let speech = &self.clip.sound[self.clip.onset..self.clip.end];
        sound[BEFORE..].iter_mut().zip(speech).for_each(|(x, said)| *x += said);
        sound.into_iter().map(|x| (x * SPEECH).round() as i16).collect()
    }

    /// What it counts: key and value.
    pub fn fields(&self) -> Vec<(&'static str, String)> {
        let tally = tally::read(&[&self.text]).tally;
        KEYS.into_iter().filter_map(|key| Some((key, tally.get(key)?))).collect()
    }
}

/// The voices of each half: program, and what it needs to speak with that voice.
const VOICES: [&[&str]; 2] = [
    &["espeak-ng en-us", "espeak-ng en-gb-scotland+f2", "espeak-ng en-us+linda", "flite slt", "flite kal16"],
    &[
        "espeak-ng en-gb+m3",
        "espeak-ng en-us-nyc+f4",
        "espeak-ng en-us+Michael",
        "flite rms",
        "flite awb",
        "festival kal_diphone",
    ],
];

/// Everything that can be said here, `per_voice` notes a voice; `None` when no voice is installed.
pub fn all(per_voice: usize, dir: &Path) -> Option<Vec<Said>> {
    let mut all = Vec::new();
    for (half, voices) in VOICES.iter().enumerate() {
        let mut rng = Rng::new(300 + half as u64);
        for voice in *voices {
            for _ in 0..per_voice {
                let text = sentence(&mut rng);
                if let Some(clip) = speak(voice, &text, &mut rng, dir) {
                    all.push(Said { half, who: Who::Machine, text, clip });
                }
            }
        }
        all.extend(numbers(half, per_voice * 2, &mut rng, dir));
        all.extend(talk(half, per_voice * 3, dir));
    }
    (!all.is_empty()).then_some(all)
}

/// A number as it is on deck: small ones mostly.
fn number(rng: &mut Rng) -> u32 {
    let most = if rng.chance(0.15) { 40 } else { 13 };
    rng.below(most) as u32
}

fn spelled(n: u32) -> String {
    if n == 0 { "no".into() } else { spoken(&n.to_string()) }
}

fn counted(rng: &mut Rng, n: u32, noun: &str) -> String {
    // Nobody says "no crabs" of a trap with shorts.
    let noun = if n == 1 { noun.trim_end_matches('s').to_owned() } else { noun.to_owned() };
    let and = if rng.chance(0.1) { "and " } else { "" };
    format!("{and}{} {noun}", spelled(n))
}

/// A note as it is said, our own wording: lists, verdicts, the gear, and talk.
fn sentence(rng: &mut Rng) -> String {
    const STATES: [&str; 14] = [
        "bait gone",
        "half bait",
        "full bait",
        "fresh bait",
        "fresh mullet",
        "tie broken",
        "lid open",
        "picked clean",
        "new tie on",
        "pig's feet in",
        "tie's still on",
        "two fresh pieces going in",
        "bait's hardly touched",
        "hard bottom here",
    ];
    const ALONE: [&str; 16] = [
        "she's empty",
        "nothing home",
        "that one's a keeper",
        "another legal one",
        "a hair under",
        "undersize",
        "just the one crab",
        "one egg bearing",
        "sponge crab, back she goes",
        "soft one",
        "dead one in the corner",
        "two jumbos and a medium",
        "three larges",
        "female, under",
        "no crabs, bait gone",
        "nothing, fresh bait",
    ];
    const TALK: [&str; 14] = [
        "hand me that hook would you",
        "watch your fingers in there",
        "wind's gone north again",
        "pass the gaff",
        "what time's low water",
        "that's a pretty morning",
        "mind the line",
        "did you bring the coffee",
        "we'll run up to the point after this",
        "he still owes me for the rope",
        "slack off a touch",
        "that's eighty dollars of claw",
        "bet there's five in this one",
        "you're allowed both if they measure",
    ];
    let of = |rng: &mut Rng, from: &[&str]| from[rng.below(from.len())].to_owned();
    match rng.below(100) {
        0..45 => {
            let mut parts = Vec::new();
            if rng.chance(0.3) {
                parts.push(format!("trap {}", spelled(number(rng).max(1))));
            }
            let crabs = number(rng);
            parts.push(counted(rng, crabs, "crabs"));
            let keepers = rng.below(crabs as usize + 1) as u32;
            if rng.chance(0.7) {
                parts.push(counted(rng, keepers, "keepers"));
                if rng.chance(0.5) {
                    let claws = keepers + rng.below(keepers as usize + 1) as u32;
                    parts.push(counted(rng, claws, "claws"));
                }
            }
            if rng.chance(0.3) {
                let shorts = crabs - keepers;
                parts.push(counted(rng, shorts, "shorts"));
            }
            parts.join(", ")
        }
        45..65 => {
            let n = number(rng);
            format!("{}, {}", counted(rng, n, "crabs"), of(rng, &STATES))
        }
        65..80 => of(rng, &ALONE),
        80..88 => {
            let (crabs, claws) = (number(rng).max(1), number(rng).max(2));
            format!("for the book, {}, {}", counted(rng, crabs, "crabs"), counted(rng, claws, "claws"))
        }
        _ => of(rng, &TALK),
    }
}

/// Has a voice say it.
fn speak(voice: &str, text: &str, rng: &mut Rng, dir: &Path) -> Option<Clip> {
    let (program, name) = voice.split_once(' ')?;
    let (speed, pitch) = (rng.below(70) + 140, rng.below(50) + 25);
    let file = dir.join("said.wav");
    let _ = std::fs::remove_file(&file);
    let mut command = match program {
        "espeak-ng" => {
            let mut espeak = Command::new("espeak-ng");
            espeak.args(["-v", name, "-s", &speed.to_string(), "-p", &pitch.to_string(), "-w"]);
            espeak.arg(&file).arg(text);
            espeak
        }
        "flite" => {
            let mut flite = Command::new("flite");
            let slow = format!("duration_stretch={:.2}", 170.0 / speed as f64);
            flite.args(["-voice", name, "--setf", &slow, "-t", text, "-o"]).arg(&file);
            flite
        }
        _ => {
            let words = dir.join("said.txt");
            std::fs::write(&words, text).ok()?;
            let mut festival = Command::new("text2wave");
            festival.args(["-eval", &format!("(voice_{name})"), "-o"]).arg(&file).arg(words);
            festival
        }
    };
    let quiet = command.stdout(Stdio::null()).stderr(Stdio::null());
    quiet.status().is_ok_and(|s| s.success()).then(|| load(&file)).flatten()
}

/// Debian's asterisk-core-sounds-en-g722 (Allison Smith, CC BY-SA 3.0 by the package's copyright file), 16 kHz: heard here,
/// shipped nowhere.
const PERSON: &str = "/usr/share/asterisk/sounds/en_US_f_Allison";
/// Debian's pocketsphinx-testdata (BSD by the package's copyright file): two persons, no crabs.
const READERS: &str = "/usr/share/pocketsphinx/test/data";

/// A G.722 or WAV file made a plain WAV by ffmpeg.
fn recording(path: &Path, dir: &Path) -> Option<Clip> {
    let file = dir.join("recorded.wav");
    let mut ffmpeg = Command::new("ffmpeg");
    ffmpeg.args(["-loglevel", "quiet", "-y"]);
    match path.extension()?.to_str()? {
        "g722" => drop(ffmpeg.args(["-f", "g722"])),
        "raw" => drop(ffmpeg.args(["-f", "s16le", "-ar", "16000", "-ac", "1"])),
        _ => {}
    }
    ffmpeg.arg("-i").arg(path).args(["-ar", "16000", "-ac", "1"]).arg(&file);
    ffmpeg.status().is_ok_and(|s| s.success()).then(|| load(&file)).flatten()
}

/// Lists of counts: the numbers a person's, the nouns a voice's.
fn numbers(half: usize, n: usize, rng: &mut Rng, dir: &Path) -> Vec<Said> {
    let noun_voice = ["flite kal16", "flite rms"][half];
    let digits = |n: u32| -> Option<Vec<Clip>> {
        let one = |n: u32| recording(&Path::new(PERSON).join(format!("digits/{n}.g722")), dir);
        match n {
            0..21 | 30 => Some(vec![one(n)?]),
            _ => Some(vec![one(n / 10 * 10)?, one(n % 10)?]),
        }
    };
    let mut all = Vec::new();
    for _ in 0..n {
        let (mut sound, mut text) = (Vec::new(), Vec::new());
        let nouns = ["crabs", "keepers", "claws", "shorts"];
        for noun in &nouns[..1 + rng.below(3)] {
            let n = number(rng).max(2);
            let (Some(number), Some(noun_said)) = (digits(n), speak(noun_voice, noun, rng, dir)) else {
                return Vec::new();
            };
            for clip in number.iter().chain([&noun_said]) {
                sound.extend(&clip.sound[clip.onset..clip.end]);
                sound.extend(vec![0.0; RATE / 50]);
            }
            sound.extend(vec![0.0; RATE / 8]);
            text.push(format!("{} {noun}", spelled(n)));
        }
        let Some(clip) = measured(sound) else { continue };
        all.push(Said { half, who: Who::Numbers, text: text.join(", "), clip });
    }
    all
}

/// Persons who say nothing that counts: prompts, cards, a novel.
fn talk(half: usize, n: usize, dir: &Path) -> Vec<Said> {
    let mut files = Vec::new();
    for folder in [PERSON.into(), format!("{READERS}/cards"), format!("{READERS}/librivox"), READERS.into()] {
        let Ok(found) = std::fs::read_dir(folder) else { continue };
        let mut found: Vec<PathBuf> = found.filter_map(|file| Some(file.ok()?.path())).collect();
        found.sort();
        let is_sound = |path: &PathBuf| {
            let name = path.to_string_lossy();
            let speech =
                !["tone", "beep", "monkeys", "weasels", "something"].iter().any(|n| name.contains(n));
            let persons = name.contains("Allison");
            let kind = if persons { name.ends_with("g722") } else { !name.ends_with("mfc") };
            path.is_file() && speech && kind && [".g722", ".wav", ".raw"].iter().any(|e| name.ends_with(e))
        };
        found.retain(is_sound);
        files.push(found);
    }
    let long_enough = |clip: &Clip| (RATE / 2..RATE * 8).contains(&(clip.end - clip.onset));
    let prompts = files.first().map_or(0, Vec::len);
    let each = (prompts / (2 * n).max(1)).max(1);
    let mine = files.into_iter().enumerate().flat_map(|(folder, files)| {
        let each = if folder == 0 { each } else { 1 };
        files.into_iter().step_by(each).enumerate().filter(move |(i, _)| i % 2 == half).map(|(_, file)| file)
    });
    mine.filter_map(|file| {
        let clip = recording(&file, dir).filter(long_enough)?;
        Some(Said { half, who: Who::Talk, text: String::new(), clip })
    })
    .collect()
}
