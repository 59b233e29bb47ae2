//! How well the two recognisers that come with the program hear, each alone and both together: a benchmark.
//!
//! Notes of known words (`material.rs`) in noise, each in a file as the ear writes it, are heard by the programs themselves
//! and counted by the second fold itself. For each, at each level of noise:
//!
//! - **right**: fields whose value was heard, of all that were said, whether counted or not;
//! - **counted**: fields that count, of all that were said;
//! - **wrong**: counted fields that were not said so, or not at all, of those counted; and of all notes in which nothing was
//!   said that counts, how many have one.
//!
//! Whoever is not installed has no rows; `tests/all` installs both, and says in which variables the model is named. What
//! was heard is kept in the file that `GUNWALE_HEARD` names, and not heard again: so the grammar and the thresholds can be
//! changed and judged in seconds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark fails by panicking")]

mod material;
#[path = "../listen/noise.rs"]
#[allow(dead_code, reason = "each uses its part")]
mod noise;
#[path = "../support/sound.rs"]
mod sound;
#[path = "../listen/speech.rs"]
#[allow(dead_code, reason = "each uses its part")]
mod speech;
#[path = "../support/mod.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use gunwale::recognise::Recognisers;
use gunwale::settings::Recogniser;
use gunwale_protocol::finding::{Finding, Moment, Note, Sound, Stop, TimeSource};
use gunwale_protocol::input::{Heard, Stated, Statement};
use gunwale_protocol::tally::{KEYS, Speech, Tally};
use gunwale_protocol::time::{Mono, Utc};
use gunwale_protocol::trip::{Entry, Found, Ledger};

use material::{RATIOS, Said, Who};
use sound::wav;

/// Both, the one whose words are a note's text first. From which confidence on each is taken at its word
/// ([`Recogniser::sure`]) was chosen on the voices of the first half, with other sentences.
const NAMES: [&str; 2] = ["whisper", "pocketsphinx"];

/// What is heard of a note by each.
type Pair = [Option<Heard>; 2];

/// What a text counts, and what it leaves to be confirmed: by the fold itself, from a pull with this one note.
fn fold(heard: &[Heard]) -> (Tally, Tally) {
    let moment =
        |s: i64| Moment { t: Mono(s * 1_000_000), utc: Some(Utc(1_800_000_000_000_000 + s * 1_000_000)) };
    let sound = Sound { file: "notes/undated/n.wav".into(), length_us: 3_000_000, speech_us: 0 };
    let note = Note { id: "n".into(), at: moment(1), text: None, sound: Some(sound), late: false };
    let stop = Stop {
        id: "p".into(),
        started: moment(0),
        ended: Some(moment(9)),
        time_source: TimeSource::Gps,
        position: None,
        fixes: 0,
        set: None,
        notes: vec![note],
        weighings: Vec::new(),
        depth_m: None,
        water_c: None,
        flags: Default::default(),
    };
    let found = Found {
        boat: "b".into(),
        timezone: "UTC".into(),
        rules: None,
        words: Speech::default(),
        sizes: Default::default(),
        finding: Finding::Stop(stop),
    };
    let state = |heard: &Heard| Statement { at: Utc(0), said: Stated::Heard(heard.clone()) };
    let mut ledger = Ledger::new(heard.iter().map(state).collect());
    assert!(ledger.take(found).is_none());
    let Some((_, Entry::Pull(record))) = ledger.finish().pop() else { panic!("one pull") };
    (record.tally, record.drafts)
}

#[derive(Default, Clone)]
struct Score {
    notes: usize,
    fields: usize,
    right: usize,
    counted: usize,
    wrong: usize,
    /// Notes with nothing to count, and those of them that count something.
    talk: usize,
    invented: usize,
}

impl Score {
    /// Adds what became of a note.
    fn take(&mut self, said: &Said, heard: &[Heard]) {
        let (tally, drafts) = fold(heard);
        let fields: BTreeMap<&str, String> = said.fields().into_iter().collect();
        let heard = |key: &str| tally.get(key).or_else(|| drafts.get(key));
        self.notes += 1;
        self.fields += fields.len();
        self.right += fields.iter().filter(|(key, value)| heard(key).as_ref() == Some(value)).count();
        let counted: Vec<(&str, String)> =
            KEYS.into_iter().filter_map(|key| Some((key, tally.get(key)?))).collect();
        let wrong = counted.iter().filter(|(key, value)| fields.get(key) != Some(value)).count();
        self.counted += counted.len() - wrong;
        self.wrong += wrong;
        self.talk += usize::from(fields.is_empty());
        self.invented += usize::from(fields.is_empty() && !counted.is_empty());
    }

    fn right_percent(&self) -> f64 {
        100.0 * self.right as f64 / self.fields.max(1) as f64
    }

    fn counted_percent(&self) -> f64 {
        100.0 * (self.counted + self.wrong) as f64 / self.fields.max(1) as f64
    }

    fn wrong_percent(&self) -> f64 {
        100.0 * self.wrong as f64 / (self.counted + self.wrong).max(1) as f64
    }

    fn row(&self) -> String {
        let [right, counted, wrong] = [self.right_percent(), self.counted_percent(), self.wrong_percent()];
        let (notes, fields) = (self.notes, self.fields);
        format!(
            "{notes:5} {fields:6} {right:6.1} {counted:8.1} {wrong:6.1} ({}) {:4} of {}",
            self.wrong, self.invented, self.talk
        )
    }
}

/// Notes of each voice; persons speak more.
const PER_VOICE: usize = 8;

const HEAD: &str = "heard by       dB notes fields right % counted % wrong % (n)  talk counted";

/// The recognisers that can be had here, as the README sets them up.
fn installed() -> [Option<Recogniser>; 2] {
    let own = env!("CARGO_BIN_EXE_gunwale");
    let one = |which: usize, rest: &[&str]| Recogniser {
        name: NAMES[which].into(),
        command: [&[own, "recogniser", NAMES[which]], rest].concat().into_iter().map(String::from).collect(),
        sure: None,
        patience_s: 300,
        memory_mb: 1_000,
    };
    let env = |name: &str| std::env::var(name).ok();
    let whisper = env("GUNWALE_WHISPER_PYTHON")
        .zip(env("GUNWALE_WHISPER_MODEL"))
        .map(|(python, model)| one(0, &[&python, &model]));
    let sphinx = ["/usr/bin/pocketsphinx_batch", "/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict"];
    let sphinx = sphinx.iter().all(|path| Path::new(path).exists()).then(|| one(1, &[]));
    for (name, found) in NAMES.iter().zip([whisper.is_some(), sphinx.is_some()]) {
        if !found {
            println!("no {name} to hear the notes: tests/all installs it");
        }
    }
    [whisper, sphinx]
}

/// What was heard of a note, by its number, at a level of noise.
type Heards = Vec<(usize, Option<i32>, Pair)>;

/// Has all of it heard at all levels of noise by whoever is there, by as many of each as there are processors; goes on
/// where an earlier run was ended.
fn hear(all: &[Said], by: &[Option<Recogniser>; 2]) -> Heards {
    let kept = std::env::var_os("GUNWALE_HEARD");
    let read = kept.as_ref().and_then(|file| std::fs::read_to_string(file).ok()).unwrap_or_default();
    let mut heard: Heards = read.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let file = kept.map(|file| {
        Mutex::new(File::options().append(true).create(true).open(file).expect("room for what is heard"))
    });
    let there: Vec<Recogniser> = by.iter().flatten().cloned().collect();
    let done: BTreeSet<(usize, Option<i32>)> = heard.iter().map(|(n, ratio, _)| (*n, *ratio)).collect();
    // In no order, so that a run that is ended early tells something of everything.
    let all_of = |n: usize| RATIOS.map(|ratio| (n, ratio));
    let mut work: Vec<(usize, Option<i32>)> =
        (0..all.len()).flat_map(all_of).filter(|one| !done.contains(one)).collect();
    work.sort_by_key(|(n, ratio)| {
        (*n as u64 * 31 + ratio.unwrap_or(99) as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    });
    let next = AtomicUsize::new(0);
    let hears = || {
        let dir = tempfile::tempdir().unwrap();
        let recognisers = Recognisers::new(&there, &Speech::default());
        let mut heard = Vec::new();
        while let Some((n, ratio)) = work.get(next.fetch_add(1, Ordering::Relaxed)).copied() {
            let said = &all[n];
            let seed = (said.half as u64 + 1) << 32 | (n as u64) << 8 | ratio.unwrap_or(99) as u64;
            let note = dir.path().join("note.wav");
            wav(&note, &said.heard(ratio, seed));
            let mut pair: Pair = [None, None];
            for (which, one) in there.iter().enumerate() {
                let place = usize::from(one.name == NAMES[1]);
                // A computer that was asleep meanwhile makes it look hung.
                let answer = (0..3).find_map(|_| recognisers.ask(which, "n", &note).ok()).expect("an answer");
                pair[place] = Some(Heard { confirms: place == 1, ..answer });
            }
            let one = (n, ratio, pair);
            if let Some(file) = &file {
                let line = serde_json::to_string(&one).unwrap() + "\n";
                file.lock().unwrap().write_all(line.as_bytes()).expect("room for what is heard");
            }
            heard.push(one);
        }
        heard
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let hearing: Vec<_> = (0..threads).map(|_| scope.spawn(hears)).collect();
        hearing.into_iter().for_each(|thread| heard.extend(thread.join().unwrap()));
    });
    heard.sort_by_key(|(n, ratio, _)| (*ratio, *n));
    // Judged by the thresholds of now.
    for (place, one) in by.iter().enumerate() {
        let sure = one.as_ref().map_or(f64::INFINITY, Recogniser::sure);
        for heard in heard.iter_mut().filter_map(|(.., pair)| pair[place].as_mut()) {
            heard.sure = Some(heard.confidence.is_some_and(|confidence| confidence >= sure));
        }
    }
    heard
}

/// One of them alone is the text, not only its confirmation.
fn alone(heard: &Heard) -> Vec<Heard> {
    vec![Heard { confirms: false, ..heard.clone() }]
}

/// The table of one half, by who hears and how noisy it is; whoever is not there has no rows.
fn table(
    all: &[Said],
    heard: &[(usize, Option<i32>, Pair)],
    half: usize,
    who: Option<Who>,
) -> BTreeMap<(usize, Option<i32>), Score> {
    let mut scores: BTreeMap<(usize, Option<i32>), Score> = BTreeMap::new();
    for (n, ratio, pair) in heard {
        let said = &all[*n];
        if said.half != half || who.is_some_and(|who| who != said.who) {
            continue;
        }
        let mut take =
            |row: usize, heard: &[Heard]| scores.entry((row, *ratio)).or_default().take(said, heard);
        for (row, heard) in pair.iter().enumerate() {
            if let Some(heard) = heard {
                take(row, &alone(heard));
            }
        }
        if let [Some(one), Some(two)] = pair {
            take(2, &[one.clone(), two.clone()]);
        }
    }
    scores
}

fn print(title: &str, scores: &BTreeMap<(usize, Option<i32>), Score>) {
    println!("{title}");
    println!("{HEAD}");
    for ((row, ratio), score) in scores {
        let name = ["whisper", "pocketsphinx", "both"][*row];
        let ratio = ratio.map_or("clean".into(), |ratio| ratio.to_string());
        println!("{name:12} {ratio:>5} {}", score.row());
    }
}

/// What each threshold would do, over all noise down to 5 dB, of the half that thresholds are chosen on.
fn thresholds(all: &[Said], heard: &[(usize, Option<i32>, Pair)]) {
    for (place, name) in NAMES.iter().enumerate() {
        for together in [false, true] {
            let mut line = format!("{name}{}:", if together { ", the other confirms" } else { "" });
            for step in 0..20 {
                let sure = f64::from(step) * 0.05;
                let mut score = Score::default();
                for (n, ratio, pair) in heard {
                    let said = &all[*n];
                    if said.half != 0 || ratio.is_some_and(|ratio| ratio < 5) {
                        continue;
                    }
                    let Some(one) = &pair[place] else { return };
                    let mut judged = alone(one);
                    judged[0].sure = Some(one.confidence.is_some_and(|c| c >= sure));
                    if together {
                        let Some(other) = &pair[1 - place] else { return };
                        judged.push(Heard { confirms: true, ..other.clone() });
                    }
                    score.take(said, &judged);
                }
                let _ =
                    write!(line, " {sure:.2} {:.0}/{:.1}", score.counted_percent(), score.wrong_percent());
            }
            println!("{line}");
        }
    }
}

fn main() {
    let by = installed();
    let dir = tempfile::tempdir().unwrap();
    let Some(all) = material::all(PER_VOICE, dir.path()) else {
        return println!("nobody to speak the notes: tests/all installs voices");
    };
    let heard = hear(&all, &by);
    print("Voices that thresholds were chosen by, other sentences", &table(&all, &heard, 0, None));
    println!("Counted % / wrong % by threshold, clean to 5 dB");
    thresholds(&all, &heard);
    for (title, who) in [
        ("The other half, synthetic voices", Who::Machine),
        ("The other half, a person's numbers with a synthetic voice's nouns", Who::Numbers),
        ("The other half, persons who say nothing that counts", Who::Talk),
    ] {
        print(title, &table(&all, &heard, 1, Some(who)));
    }
    print("The other half", &table(&all, &heard, 1, None));
}
