//! Note files killed and cut while they are spoken, and what readers that are not ours find in the files we write.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
#[path = "support/scripts.rs"]
mod scripts;
mod support;

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use boat::{Dice, wait_until};
use gunwale::voice::wav::{
    Collection, Label, NoteFile, SPEC, Sound, WavError, about, label, reference, repair,
};
use gunwale_protocol::time::Utc;
use scripts::{content, reader};
use serde_json::{Value, json};
use support::fresh;

/// Bytes before the sound of a note file: RIFF 12, `fmt ` 24, `bext` 8 + 640, `data` 8.
const HEADER: usize = 692;
/// What may be lost of a note: half a second.
const HALF_A_SECOND: u64 = 8_000;
/// Samples given to a note at a time: 20 ms.
const PIECE: u64 = 320;
const REFERENCE: &str = "00c0ffee00c0ffee 31002000000";

/// The sample of this number: it differs from its neighbours and is the same every time.
fn sample(n: u64) -> i16 {
    (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48) as u16 as i16
}

fn speech(samples: std::ops::Range<u64>) -> Vec<i16> {
    samples.map(sample).collect()
}

/// What the killed process does: speaks a note at the pace of speech, and says after each piece how much it has given.
#[test]
#[ignore = "run by the tests that kill it"]
fn speaker() {
    let path = std::env::var_os("GUNWALE_SPEAK").expect("a file to speak into");
    let mut note = NoteFile::create(Path::new(&path), REFERENCE).unwrap();
    let began = Instant::now();
    for n in 1.. {
        note.append(&speech((n - 1) * PIECE..n * PIECE)).unwrap();
        println!("appended {}", n * PIECE);
        std::io::stdout().flush().unwrap();
        let due = began + Duration::from_millis(20 * n);
        thread::sleep(due.saturating_duration_since(Instant::now()));
    }
}

/// A process that speaks a note.
struct Speaker {
    path: PathBuf,
    child: Child,
    told: Arc<AtomicU64>,
    listener: Option<JoinHandle<()>>,
}

impl Speaker {
    fn start(path: PathBuf) -> Speaker {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "speaker", "--nocapture", "--test-threads=1"])
            .env("GUNWALE_SPEAK", &path)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let told = Arc::new(AtomicU64::new(0));
        let (out, heard) = (BufReader::new(child.stdout.take().unwrap()), told.clone());
        let listener = thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if let Some((_, samples)) = line.rsplit_once("appended ") {
                    heard.store(samples.parse().unwrap(), Ordering::SeqCst);
                }
            }
        });
        Speaker { path, child, told, listener: Some(listener) }
    }

    /// Samples it has said to be in the file.
    fn told(&self) -> u64 {
        self.told.load(Ordering::SeqCst)
    }

    /// Ends it with SIGKILL; how many samples it had said to be in the file by then.
    fn kill(&mut self) -> u64 {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if let Some(listener) = self.listener.take() {
            listener.join().unwrap();
        }
        self.told()
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Checks a repaired file by itself and with hound alone; how many samples it has.
fn assert_whole(path: &Path) -> u64 {
    let reader = hound::WavReader::open(path).unwrap();
    assert_eq!(reader.spec(), SPEC);
    let samples = u64::from(reader.len());
    let found: Vec<i16> = reader.into_samples().map(Result::unwrap).collect();
    assert!(found == speech(0..samples), "{}: other samples", path.display());
    assert_eq!(std::fs::metadata(path).unwrap().len(), HEADER as u64 + 2 * samples);
    assert_eq!(about(path).unwrap().samples, samples);
    assert_eq!(reference(path).unwrap(), REFERENCE);
    let again = repair(path).unwrap();
    assert_eq!((again.samples, again.mended), (samples, false));
    samples
}

/// Has files judged by the readers that are not ours: `expected` says of each what must be found in it.
fn judge(expected: &[Value]) {
    let Some(mut script) = reader("sound.py") else { return };
    println!("{}", content(&mut script, &serde_json::to_string(expected).unwrap()).trim());
}

/// What `sound.py` is to find: the samples beside the file, and the fields that an unlabelled note has.
fn expected(path: &Path, samples: &[i16], programs: bool) -> Value {
    let raw = path.with_extension("raw");
    std::fs::write(&raw, samples.iter().flat_map(|sample| sample.to_le_bytes()).collect::<Vec<u8>>())
        .unwrap();
    json!({ "path": path, "raw": raw, "programs": programs, "bext": bext(REFERENCE, "", "", "", 0) })
}

fn bext(reference: &str, description: &str, date: &str, time: &str, time_reference: u64) -> Value {
    json!({
        "description": description, "originator": "gunwale", "originator_ref": reference, "originator_date": date,
        "originator_time": time, "time_reference": time_reference, "version": 1, "umid": "00".repeat(64),
        "coding_history": "A=PCM,F=16000,W=16,M=mono,T=gunwale\r\n",
    })
}

#[test]
fn a_kill_at_any_moment_loses_no_more_than_half_a_second() {
    const KILLS: usize = 30;
    let (dir, mut dice) = (fresh(), Dice::new("kills"));
    let mut speakers: Vec<_> = (0..KILLS)
        .map(|n| {
            let moment = dice.part_of(Duration::from_secs(4));
            (moment, Speaker::start(dir.path().join(format!("notes/{}/{n}.wav", n % 3))))
        })
        .collect();
    speakers.sort_by_key(|(moment, _)| *moment);
    let began = Instant::now();
    let (mut spoken, mut worst, mut files) = (0, 0, Vec::new());
    for (moment, mut speaker) in speakers {
        thread::sleep((began + moment).saturating_duration_since(Instant::now()));
        let told = speaker.kill();
        let path = &speaker.path;
        match repair(path) {
            Ok(repaired) => {
                assert_eq!(assert_whole(path), repaired.samples);
                // It may have been killed between a piece and saying so.
                assert!(repaired.samples <= told + PIECE, "{} found, {told} told", repaired.samples);
                worst = worst.max(told.saturating_sub(repaired.samples));
                spoken += u64::from(told > 0);
                files.push(expected(path, &speech(0..repaired.samples), files.len() < 3));
            }
            Err(WavError::Short { .. }) => assert_eq!(told, 0),
            Err(error) => assert!(told == 0 && !path.exists(), "{error}"),
        }
    }
    println!("{KILLS} kills, {spoken} while spoken: at most {} ms lost", worst * 1_000 / 16_000);
    assert!(worst <= HALF_A_SECOND, "{worst} samples lost");
    assert!(spoken >= 10, "only {spoken} were killed while they spoke");
    judge(&files);
}

#[test]
fn a_file_cut_anywhere_while_it_is_spoken_holds_all_before_the_cut() {
    const CUTS: usize = 200;
    let (dir, mut dice) = (fresh(), Dice::new("cuts"));
    let mut speaker = Speaker::start(dir.path().join("spoken.wav"));
    wait_until("a note is spoken", 20, || speaker.told() > 0);
    let (mut behind, mut files) = (0, Vec::new());
    for n in 0..CUTS {
        thread::sleep(dice.part_of(Duration::from_millis(40)));
        let told = speaker.told();
        let bytes = std::fs::read(&speaker.path).unwrap();
        // All that was given is there, and the sizes say so of all but what was not yet brought to the disk.
        assert!(bytes.len() as u64 >= HEADER as u64 + 2 * told);
        let stated = u64::from(u32::from_le_bytes(bytes[688..692].try_into().unwrap())) / 2;
        behind = behind.max(told.saturating_sub(stated));
        let length = HEADER + dice.below(bytes.len() - HEADER + 1);
        let path = support::write(dir.path(), &format!("{n}.wav"), &bytes[..length]);
        let there = (length - HEADER) as u64 / 2;
        assert_eq!(repair(&path).unwrap().samples, there, "cut at {length}");
        assert_eq!(assert_whole(&path), there, "cut at {length}");
        files.push(expected(&path, &speech(0..there), n < 5));
    }
    assert!(speaker.kill() > 8 * PIECE, "it was spoken while it was cut");
    println!("{CUTS} cuts; the sizes were at most {} ms behind", behind * 1_000 / 16_000);
    assert!(behind <= HALF_A_SECOND, "{behind} samples not yet stated");
    judge(&files);
}

#[test]
fn other_readers_find_every_field_and_sample_of_a_note() {
    let dir = fresh();
    let mut files = Vec::new();
    for (n, (samples, begin, description, fields)) in [
        (
            48_000,
            Some("2027-02-09T13:15:02.400Z"),
            "trap 14, 7 crabs",
            ("2027-02-09", "13:15:02", 763_238_400),
        ),
        (1, Some("2028-02-29T23:59:59.999Z"), "a", ("2028-02-29", "23:59:59", 1_382_399_984)),
        (
            12_345,
            Some("2027-01-01T00:00:00Z"),
            &*"0123456789abcdef".repeat(16),
            ("2027-01-01", "00:00:00", 0),
        ),
        (8_000, None, "no date yet", ("", "", 0)),
        (0, None, "", ("", "", 0)),
    ]
    .into_iter()
    .enumerate()
    {
        let path = dir.path().join(format!("{n}.wav"));
        let mut note = NoteFile::create(&path, REFERENCE).unwrap();
        note.append(&speech(0..samples)).unwrap();
        assert_eq!(note.close().unwrap(), samples);
        let begin = begin.map(|text| Utc::parse(text).unwrap());
        let wrote = label(&path, &Label { begin, description }).unwrap();
        assert_eq!(wrote, begin.is_some() || !description.is_empty());
        assert_eq!(assert_whole(&path), samples);
        let mut file = expected(&path, &speech(0..samples), true);
        file["bext"] = bext(REFERENCE, description, fields.0, fields.1, fields.2);
        files.push(file);
    }
    judge(&files);
}

#[test]
fn other_readers_find_every_note_of_a_collection() {
    let dir = fresh();
    let path = dir.path().join("all.wav");
    let mut collection = Collection::create(&path).unwrap();
    let (mut all, mut markers) = (Vec::new(), Vec::new());
    for (n, samples) in [(1u64, 16_000), (2, 777), (3, 0), (4, 40_000)] {
        let note = dir.path().join(format!("{n}.wav"));
        let mut file = NoteFile::create(&note, REFERENCE).unwrap();
        file.append(&speech(n..n + samples)).unwrap();
        file.close().unwrap();
        let fact = format!("trap {n}, 2027-02-09 13:1{n}: {}", "crabs ".repeat(n as usize));
        collection.add(&note, &fact).unwrap();
        if !markers.is_empty() {
            all.extend([0; 12_800]);
        }
        markers.push(json!([all.len(), fact]));
        all.extend(speech(n..n + samples));
    }
    assert_eq!(collection.finish().unwrap(), 4);
    let mut sound = Sound::open(&path).unwrap();
    let mut found = Vec::new();
    while let Some(piece) = sound.piece().unwrap() {
        found.extend_from_slice(piece);
    }
    assert!(found == all);
    let mut file = expected(&path, &all, true);
    (file["bext"], file["markers"]) = (Value::Null, json!(markers));
    judge(&[file]);
}
