//! The live service with a microphone: a real program writing to a real pipe, at the sea's own pace.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::boat::{Running, wait_until};
use crate::sound::{RATE, babble, hiss, note_files, samples};
use crate::support::{assert_same, fresh, journal, jsonl, records, run};

/// Sound goes out in pieces of 20 ms.
const PIECE: usize = RATE / 50;

/// A microphone: hiss, and a voice whenever it is told to speak. The service reads it through `cat`.
struct Microphone {
    speak: Option<Sender<Vec<i16>>>,
    thread: Option<JoinHandle<Vec<i16>>>,
}

impl Microphone {
    /// Writes settings that name it, and begins to hiss as soon as somebody listens.
    fn new(data: &Path, more: &str) -> Microphone {
        let path = data.join("microphone");
        assert!(std::process::Command::new("mkfifo").arg(&path).status().unwrap().success());
        let toml = format!("boat = \"Osprey\"\n[mic]\ncommand = [\"cat\", {path:?}]\n{more}");
        std::fs::write(data.join("gunwale.toml"), toml).unwrap();
        let (speak, told) = channel();
        let thread = std::thread::spawn(move || sound(path, &told));
        Microphone { speak: Some(speak), thread: Some(thread) }
    }

    fn say(&self, seconds: f32) {
        self.speak.as_ref().unwrap().send(babble(seconds)).unwrap();
    }

    /// Ends it; all that was written.
    fn end(mut self) -> Vec<i16> {
        drop(self.speak.take());
        self.thread.take().unwrap().join().unwrap()
    }
}

fn sound(path: PathBuf, told: &Receiver<Vec<i16>>) -> Vec<i16> {
    let hiss = hiss(1.0);
    let (mut written, mut voice) = (Vec::new(), Vec::new());
    let (mut pipe, mut began): (Option<File>, _) = (None, Instant::now());
    let mut here = 0;
    loop {
        match told.try_recv() {
            Ok(more) => voice.extend(more),
            Err(TryRecvError::Disconnected) => return written,
            Err(TryRecvError::Empty) => {}
        }
        // Neither opening nor writing waits, for the service may be gone.
        let Some(open) = &mut pipe else {
            let nonblocking = i32::try_from(rustix::fs::OFlags::NONBLOCK.bits()).unwrap();
            pipe = OpenOptions::new().write(true).custom_flags(nonblocking).open(&path).ok();
            (began, here) = (Instant::now(), 0);
            std::thread::sleep(Duration::from_millis(5));
            continue;
        };
        let at = written.len() % (RATE - PIECE);
        let mut piece: Vec<i16> = hiss[at..at + PIECE].to_vec();
        for (to, voice) in piece.iter_mut().zip(voice.drain(..PIECE.min(voice.len()))) {
            *to = to.saturating_add(voice);
        }
        let bytes: Vec<u8> = piece.iter().flat_map(|sample| sample.to_le_bytes()).collect();
        match open.write(&bytes) {
            Ok(n) => assert_eq!(n, bytes.len(), "so few bytes go whole or not at all"),
            Err(_) => pipe = None,
        }
        written.extend(piece);
        here += PIECE;
        std::thread::sleep(
            Duration::from_secs_f64(here as f64 / RATE as f64).saturating_sub(began.elapsed()),
        );
    }
}

#[test]
fn a_voice_becomes_a_note_that_is_told_by_tones_and_off_the_record_nothing_does() {
    let data = fresh();
    let data = data.path();
    let tones = format!(
        "[cues]\nplayer = [\"sh\", \"-c\", \"basename \\\"$0\\\" >> {}\"]\n",
        data.join("tones").display()
    );
    let microphone = Microphone::new(data, &tones);
    let mut service = Running::service(data);
    let heard = |name: &str| std::fs::read_to_string(data.join("tones")).unwrap_or_default().contains(name);
    wait_until("the microphone is open", 20, || service.err().contains("device=\"mic\""));
    microphone.say(2.0);
    wait_until("a note", 20, || note_files(data).len() == 1 && heard("note-kept"));
    assert!(heard("note-opened.wav") && heard("pull-opened.wav"));
    let notes = jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
    assert_eq!((notes.len(), &notes[0]["text_from"]), (1, &"none".into()));
    // In range: 0.8 s before, 2 s of voice, 1.2 s after.
    assert!((3.7..4.5).contains(&notes[0]["seconds"].as_f64().unwrap()), "{notes:?}");

    run(data, &["note", "off the record"]);
    wait_until("muted", 20, || heard("muted.wav"));
    microphone.say(2.0);
    std::thread::sleep(Duration::from_secs(4));
    assert_eq!(note_files(data).len(), 1);
    let (status, _) = service.terminate();
    assert!(status.success());
    let written = microphone.end();
    let note = samples(&note_files(data)[0]);
    assert!(written.windows(note.len()).any(|part| part == note), "sample for sample what was spoken");
}

#[test]
fn a_note_cut_off_by_a_kill_is_taken_up_at_the_next_start() {
    let data = fresh();
    let data = data.path();
    let microphone = Microphone::new(data, "");
    let mut service = Running::service(data);
    wait_until("the microphone is open", 20, || service.err().contains("device=\"mic\""));
    microphone.say(8.0);
    wait_until("a note being written", 20, || {
        note_files(data).first().is_some_and(|path| std::fs::metadata(path).unwrap().len() > 4 * RATE as u64)
    });
    std::thread::sleep(Duration::from_secs(1));
    assert!(service.kill());
    let at_kill = std::fs::metadata(&note_files(data)[0]).unwrap().len();
    assert!(jsonl(&run(data, &["export", "jsonl", "--table", "notes"])).is_empty());
    let mut service = Running::service(data);
    wait_until("the note in the records", 20, || {
        !jsonl(&run(data, &["export", "jsonl", "--table", "notes"])).is_empty()
    });
    let note = &jsonl(&run(data, &["export", "jsonl", "--table", "notes"]))[0];
    let seconds = note["seconds"].as_f64().unwrap();
    let kept = samples(&data.join(note["file"].as_str().unwrap()));
    assert_eq!(kept.len() as f64 / RATE as f64, seconds);
    // All that had reached the system is in it: a kill is not a power cut.
    assert!(kept.len() as u64 * 2 + 1_024 >= at_kill, "{} of {at_kill} bytes", kept.len() * 2);
    assert!(note["pull"].is_string() && seconds > 2.0, "{note}");
    service.terminate();
    let lines = journal(data);
    // Taken up once, not at every start.
    let mut service = Running::service(data);
    service.terminate();
    assert!(lines.iter().all(|(name, text)| journal(data)[name] == *text));
    let written = microphone.end();
    assert!(written.windows(kept.len()).any(|part| part == kept));
}

#[test]
fn a_microphone_that_is_not_wanted_is_not_opened() {
    let data = fresh();
    let data = data.path();
    let opened = data.join("opened");
    let toml = format!("[mic]\ncommand = [\"touch\", {opened:?}]\nkeep = \"off\"\n[cues]\nquiet = true\n");
    std::fs::write(data.join("gunwale.toml"), toml).unwrap();
    let mut service = Running::service(data);
    std::thread::sleep(Duration::from_secs(1));
    service.terminate();
    assert!(!opened.exists() && !data.join("notes").exists());
    let out = crate::support::text(&crate::support::attempt(data, &["check"]).stdout);
    assert!(out.contains("mic       good  not opened: keep = \"off\" in the settings\n"), "{out}");
    assert!(out.contains("tones     good  quiet, as the settings say\n"), "{out}");
}

#[test]
fn a_microphone_that_keeps_failing_is_told_by_one_tone_and_all_else_goes_on() {
    let data = fresh();
    let data = data.path();
    let tones = data.join("tones");
    let player = format!("[\"sh\", \"-c\", \"basename \\\"$0\\\" >> {}\"]", tones.display());
    let toml = format!("[mic]\ncommand = [\"false\"]\n[cues]\nplayer = {player}\n");
    std::fs::write(data.join("gunwale.toml"), toml).unwrap();
    let mut service = Running::service(data);
    let heard = || std::fs::read_to_string(&tones).unwrap_or_default();
    wait_until("the tone", 20, || heard().contains("no-microphone"));
    std::thread::sleep(Duration::from_secs(3));
    run(data, &["note", "two keepers"]);
    let notes = jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
    assert_eq!(notes[0]["text"], "two keepers");
    service.terminate();
    assert_eq!(heard().matches("no-microphone").count(), 1, "{}", heard());
}

#[test]
fn what_is_forgotten_beside_the_service_is_gone_from_the_open_pull_as_well() {
    let data = fresh();
    let data = data.path();
    std::fs::write(data.join("gunwale.toml"), "[mic]\nkeep = \"off\"\n[cues]\nquiet = true\n").unwrap();
    let mut service = Running::service(data);
    run(data, &["note", "seven crabs, said in confidence"]);
    run(data, &["note", "four keepers"]);
    let notes = || jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
    let first = notes()[0]["note"].as_str().unwrap().to_owned();
    run(data, &["forget", &first]);
    // What comes after must not bring it back.
    run(data, &["note", "two shorts"]);
    let texts = |notes: &[serde_json::Value]| -> Vec<String> {
        notes.iter().map(|note| note["text"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(texts(&notes()), ["four keepers", "two shorts"]);
    service.terminate();
    assert_eq!(texts(&notes()), ["four keepers", "two shorts"]);
    for path in crate::boat::files(data) {
        let bytes = std::fs::read(&path).unwrap();
        assert!(!bytes.windows(13).any(|part| part == b"in confidence"), "{}", path.display());
    }
}

#[test]
fn what_is_heard_live_counts_and_off_the_record_is_heeded_by_voice() {
    let data = fresh();
    let data = data.path();
    // It answers with what the test has put there for it.
    let (words, script) = (data.join("words"), data.join("recogniser.sh"));
    let text = format!(
        "while read -r file; do printf '{{\"file\":\"%s\",\"text\":\"%s\",\"confidence\":1}}\\n' \"$file\" \"$(cat {words:?})\"; done"
    );
    std::fs::write(script.as_path(), text).unwrap();
    let more = format!(
        "[cues]\nplayer = [\"sh\", \"-c\", \"basename \\\"$0\\\" >> {}\"]\n\
         [[recogniser]]\nname = \"ear\"\ncommand = [\"sh\", {script:?}]\n",
        data.join("tones").display()
    );
    let microphone = Microphone::new(data, &more);
    let mut service = Running::service(data);
    let heard = |name: &str| std::fs::read_to_string(data.join("tones")).unwrap_or_default().contains(name);
    let texts = || -> Vec<String> {
        let notes = jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
        notes.iter().map(|note| note["text"].as_str().unwrap_or("-").to_owned()).collect()
    };
    wait_until("the microphone is open", 20, || service.err().contains("device=\"mic\""));
    for (n, said) in ["seven crabs", "four keepers", "off the record"].into_iter().enumerate() {
        std::fs::write(&words, said).unwrap();
        microphone.say(1.5);
        wait_until(said, 30, || texts().get(n).is_some_and(|text| text == said));
    }
    let pull = Running::pull_that(data, "counted", |pull| pull["tally"]["keepers"] == 4);
    assert_eq!(pull["tally"], serde_json::json!({"crabs": 7, "keepers": 4}));
    wait_until("muted", 20, || heard("muted.wav"));
    microphone.say(2.0);
    std::thread::sleep(Duration::from_secs(4));
    assert_eq!(note_files(data).len(), 3);
    let before = records(data);
    run(data, &["rebuild"]);
    assert_same("made anew", &records(data), &before);
    service.terminate();
    drop(microphone.end());
}
