//! Voice notes from sound to record: found, paired, labelled, replayed, forgotten, taken up after a kill. Real files, the
//! real program; only the voice is made by arithmetic.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
#[path = "support/sound.rs"]
mod sound;
mod support;

#[path = "notes/live.rs"]
mod live;

use std::collections::BTreeMap;
use std::path::Path;

use boat::{Dice, Running};
use serde_json::Value;
use sound::{RATE, note_files, samples, spoken, tape, time_reference, trap_day, wav};
use support::{assert_same, counts, fresh, gunwale, journal, jsonl, pulls, records, refusal, run, write};

/// A tape of 180 s with one stop, three things said into the microphone, one given as a file, one typed.
fn day(dir: &Path) {
    let mic = spoken(180, &[(60, 2.0), (75, 1.5), (170, 1.0)]);
    wav(&dir.join("mic.wav"), &mic);
    std::fs::create_dir_all(dir.join("clips")).unwrap();
    wav(&dir.join("clips/a.wav"), &spoken(3, &[(1, 1.0)]));
    let mut lines = trap_day(180, 0);
    lines.push((0.0, r#"{"t":0.0,"audio":"mic.wav"}"#.into()));
    lines.push((85.0, r#"{"t":85.0,"note":"clips/a.wav"}"#.into()));
    lines.push((90.0, r#"{"t":90.0,"said":"seven crabs, four keepers"}"#.into()));
    write(dir, "day.jsonl", tape(lines));
}

fn files(data: &Path) -> BTreeMap<String, Vec<u8>> {
    note_files(data)
        .into_iter()
        .map(|path| (path.display().to_string(), std::fs::read(&path).unwrap()))
        .collect()
}

fn notes(data: &Path) -> Vec<Value> {
    jsonl(&run(data, &["export", "jsonl", "--table", "notes"]))
}

#[test]
fn what_is_said_becomes_notes_at_its_pull_and_a_second_play_adds_nothing() {
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    day(home);
    let tape = home.join("day.jsonl");
    let tape = tape.to_str().unwrap();
    let out = run(data, &["ingest", tape]);
    assert_eq!(counts(&out), [183, 0, 180, 1]);
    let pulls = pulls(data);
    let said = pulls[0]["notes"].as_array().unwrap();
    assert_eq!(said.len(), 4, "{said:?}");
    // 60, 75, the given file's voice a second in, and the typed one.
    let at: Vec<&str> = said.iter().map(|note| &note["at"].as_str().unwrap()[11..21]).collect();
    let expected = ["12:00:59.9", "12:01:14.9", "12:01:25.9", "12:01:29.9"];
    for (at, expected) in at.iter().zip(expected) {
        let s = |text: &str| text[6..].parse::<f64>().unwrap();
        assert!((s(at) - s(expected)).abs() < 0.15, "{at} should be near {expected}");
    }
    assert_eq!(said[3]["text"], "seven crabs, four keepers");
    assert_eq!((&said[0]["text_from"], &said[0]["text"]), (&Value::from("none"), &Value::Null));
    assert_eq!(pulls[0]["tally"]["keepers"], 4);

    // Sample for sample what the microphone heard, from 0.8 s before the voice on.
    let mic = samples(&home.join("mic.wav"));
    let all = notes(data);
    let found = all.iter().filter(|note| note["file"].is_string() && note["seconds"] != 3.0);
    let mut compared = 0;
    for (note, voice_s) in found.zip([60.0, 75.0, 170.0]) {
        let heard = samples(&data.join(note["file"].as_str().unwrap()));
        assert_eq!(heard.len() as f64 / RATE as f64, note["seconds"].as_f64().unwrap());
        let first = mic.windows(heard.len()).position(|part| part == heard).expect("it is in the sound");
        let early = voice_s - first as f64 / RATE as f64;
        assert!((0.7..0.95).contains(&early), "begins {early} s before the voice");
        compared += 1;
    }
    assert_eq!(compared, 3);
    // The last was said 70 s after leaving, near no trap: a note of the day, with its place.
    let loose: Vec<&Value> = all.iter().filter(|note| note["pull"].is_null()).collect();
    assert!(loose.len() == 1 && loose[0]["day"] == "2027-02-09" && loose[0]["lat"].is_number(), "{loose:?}");

    let (before, lines, sounds) = (records(data), journal(data), files(data));
    assert_eq!(run(data, &["ingest", tape]), out);
    assert_same("a second play", &records(data), &before);
    assert!(journal(data) == lines && files(data) == sounds, "a second play changes no file");
    run(data, &["rebuild"]);
    assert_same("a rebuild", &records(data), &before);

    // The journal is a tape: with its notes beside it, it makes the same records elsewhere, beside a service as well.
    let moved = |to: &Path| {
        let (name, text) = lines.iter().next().unwrap();
        std::fs::create_dir_all(to.join("journal")).unwrap();
        std::fs::write(to.join("journal").join(name), text).unwrap();
        for (path, bytes) in &sounds {
            let path = to.join(Path::new(path).strip_prefix(data).unwrap());
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
        to.join("journal").join(name)
    };
    let (copy, alone, beside) = (fresh(), fresh(), fresh());
    let copied = moved(copy.path());
    run(alone.path(), &["ingest", copied.to_str().unwrap()]);
    assert_same("the journal as a tape", &records(alone.path()), &before);
    std::fs::create_dir_all(beside.path().join("incoming/0")).unwrap();
    let service = Running::service(beside.path());
    assert!(!beside.path().join("incoming").exists(), "copies left by a kill go at the start");
    assert_eq!(
        run(beside.path(), &["ingest", copied.to_str().unwrap()]),
        out.replace("lines 183", "lines 186")
    );
    assert_same("beside a service", &records(beside.path()), &before);
    assert!(!beside.path().join("incoming").exists(), "copies go with their command");
    drop(service);
    for data in [alone.path(), beside.path()] {
        let labels =
            |data: &Path| note_files(data).iter().map(|path| time_reference(path)).collect::<Vec<_>>();
        assert_eq!(labels(data).len(), 4);
        assert!(labels(data).iter().all(|reference| *reference > 12 * 3_600 * RATE as u64));
    }
}

#[test]
fn a_sound_that_is_not_there_costs_its_line_only() {
    let (home, data) = (fresh(), fresh());
    day(home.path());
    std::fs::remove_file(home.path().join("mic.wav")).unwrap();
    std::fs::write(home.path().join("clips/a.wav"), "no sound").unwrap();
    let tape = home.path().join("day.jsonl");
    let out = run(data.path(), &["ingest", tape.to_str().unwrap()]);
    assert_eq!(counts(&out), [183, 2, 180, 1]);
    assert_eq!(notes(data.path()).len(), 1);
    let before = records(data.path());
    // Found again later, it is not slipped in between.
    day(home.path());
    run(data.path(), &["ingest", tape.to_str().unwrap()]);
    assert_same("with the sound back", &records(data.path()), &before);
    assert_eq!(journal(data.path()).len(), 1);
}

#[test]
fn what_is_forgotten_is_gone_everywhere_and_stays_gone() {
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    day(home);
    let tape = home.join("day.jsonl");
    run(data, &["ingest", tape.to_str().unwrap()]);
    let all = notes(data);
    let (spoken, typed) = (&all[0], all.iter().find(|note| note["text"].is_string()).unwrap());
    let file = data.join(spoken["file"].as_str().unwrap());
    let sound = std::fs::read(&file).unwrap();
    let id = |note: &Value| note["note"].as_str().unwrap().to_owned();
    assert_eq!(run(data, &["forget", &id(spoken)]), format!("forgot {}\n", id(spoken)));
    assert!(!file.exists());
    run(data, &["forget", &id(typed)]);
    let left = notes(data);
    assert_eq!(left.len(), all.len() - 2);
    let holds = |bytes: &[u8], part: &[u8]| bytes.windows(part.len()).any(|window| window == part);
    let mut looked = 0;
    let mut folders = vec![data.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
                continue;
            }
            let bytes = std::fs::read(&entry).unwrap();
            assert!(!holds(&bytes, b"seven crabs"), "{} has the words", entry.display());
            assert!(!holds(&bytes, &sound[8_000..8_400]), "{} has the sound", entry.display());
            looked += 1;
        }
    }
    assert!(looked >= 4);
    // The journal says so; the pull is still one.
    let text: String =
        journal(data).values().map(|bytes| String::from_utf8_lossy(bytes).into_owned()).collect();
    assert_eq!(text.matches("\"forget\"").count(), 2);
    assert_eq!(text.matches("\"gone\":1").count(), 2);
    assert_eq!((pulls(data).len(), &pulls(data)[0]["tally"]), (1, &serde_json::json!({})));
    let before = records(data);
    run(data, &["ingest", tape.to_str().unwrap()]);
    assert_same("played again", &records(data), &before);
    run(data, &["rebuild"]);
    assert_same("rebuilt", &records(data), &before);
    assert!(!file.exists());
    // All notes of a pull at once, and what is not there.
    let pull = pulls(data)[0]["pull"].as_str().unwrap().to_owned();
    run(data, &["forget", &pull]);
    assert_eq!(pulls(data)[0]["notes"], serde_json::json!([]));
    assert_eq!(run(data, &["forget", &pull]), "no notes there\n");
    let (status, why) = refusal(data, &["forget", "0123456789abcdef"]);
    assert_eq!(status, 1);
    assert_eq!(
        why,
        "gunwale: there is no pull or note 0123456789abcdef: `gunwale export jsonl` shows their ids\n"
    );
}

#[test]
fn ingest_killed_while_it_listens_goes_on_to_the_same_notes() {
    let (home, whole, data) = (fresh(), fresh(), fresh());
    day(home.path());
    let tape = home.path().join("day.jsonl");
    let began = std::time::Instant::now();
    run(whole.path(), &["ingest", tape.to_str().unwrap()]);
    let (span, expected) = (began.elapsed(), records(whole.path()));
    let mut dice = Dice::new("kills of a listening ingest");
    let mut kills = 0;
    for _ in 0..12 {
        let mut ingest = Running::start(gunwale(data.path()).arg("ingest").arg(&tape));
        std::thread::sleep(dice.part_of(span));
        kills += usize::from(ingest.kill());
    }
    run(data.path(), &["ingest", tape.to_str().unwrap()]);
    assert_same("after the kills", &records(data.path()), &expected);
    let names = |data: &Path| -> Vec<String> { gunwale::voice::files(data) };
    assert_eq!(names(data.path()), names(whole.path()));
    for (mine, theirs) in note_files(data.path()).iter().zip(note_files(whole.path())) {
        assert!(std::fs::read(mine).unwrap() == std::fs::read(theirs).unwrap(), "{}", mine.display());
    }
    assert!(kills >= 6, "{kills} kills");
}

#[test]
fn a_note_hours_after_switch_on_is_dated_to_the_millisecond_and_one_before_the_first_fix_as_well() {
    let (home, data) = (fresh(), fresh());
    let clip = spoken(3, &[(1, 1.0)]);
    wav(&home.path().join("a.wav"), &clip);
    // Three hours; the first fix after twenty minutes. RMC of second n of the day arrives 0.12 s late at most.
    let mut lines = trap_day(3 * 3_600 + 30, 20 * 60);
    for t in [600.25, 10_800.5] {
        lines.push((t, format!("{{\"t\":{t},\"note\":\"a.wav\"}}")));
    }
    write(home.path(), "day.jsonl", tape(lines));
    run(data.path(), &["ingest", home.path().join("day.jsonl").to_str().unwrap()]);
    let found = note_files(data.path());
    let name = |at: usize| found[at].display().to_string();
    assert_eq!(found.len(), 2);
    assert!(name(0).contains("notes/2027-02-09/") && name(1).contains("notes/undated/"), "{found:?}");
    for (path, t) in [(&found[0], 10_800.5), (&found[1], 600.25)] {
        let off_s = time_reference(path) as f64 / RATE as f64 - (43_200.0 + t);
        assert!(off_s.abs() <= 0.13, "{} is {off_s} s off", path.display());
        // The sentences come 0.12 s after their second; what is left is the note's own.
        assert!((off_s + 0.12).abs() < 0.001, "{} is {off_s} s off", path.display());
    }
}

#[test]
fn notes_are_replayed_by_trap_in_order_of_time() {
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    day(home);
    write(home, "traps.csv", "trap,lat,lon,set_at\n7,24.70146,-81.6,2027-02-07T10:00:40Z\n");
    run(data, &["traps", "import", home.join("traps.csv").to_str().unwrap()]);
    run(data, &["ingest", home.join("day.jsonl").to_str().unwrap()]);
    let list = run(data, &["replay", "2027-02-09", "--trap", "7", "--list"]);
    let lines: Vec<&str> = list.lines().collect();
    assert_eq!(lines.len(), 4, "{list}");
    assert!(lines[0].starts_with("trap 7, pull 1, 50 h in the water, 12:0"), "{list}");
    assert_eq!(lines[3], "trap 7, pull 1, 50 h in the water, 12:01:29, typed: “seven crabs, four keepers”");
    let whole = run(data, &["replay", "--list"]);
    assert!(whole.starts_with(&list) && whole.contains("\nbetween traps at 24.7"), "{whole}");

    // A player that is a program of the test's: it gets the files in that order.
    let toml = "[cues]\nplayer = [\"sh\", \"-c\", \"echo \\\"$0\\\" >> played\"]\n";
    write(data, "gunwale.toml", toml);
    let played = gunwale(data).args(["replay", "--trap", "7"]).current_dir(home).output().unwrap();
    assert!(played.status.success(), "{}", support::text(&played.stderr));
    assert_eq!(support::text(&played.stdout), list);
    let expected: Vec<String> = notes(data)
        .iter()
        .filter(|note| note["trap"] == "7")
        .filter_map(|note| Some(data.join(note["file"].as_str()?).display().to_string()))
        .collect();
    let order: Vec<String> =
        std::fs::read_to_string(home.join("played")).unwrap().lines().map(str::to_owned).collect();
    assert_eq!(order, expected);

    // As one file: every sample of every note, in order.
    let to = home.join("all.wav");
    assert_eq!(
        run(data, &["replay", "--to", to.to_str().unwrap()]),
        format!("4 notes in {}\n", to.display())
    );
    let one = samples(&to);
    let mut from = 0;
    for path in note_files(data) {
        let note = samples(&path);
        let at =
            one[from..].windows(note.len()).position(|part| part == note).expect("it is there, in order");
        from += at + note.len();
    }
    let (status, why) = refusal(data, &["replay", "--trap", "99"]);
    assert_eq!(status, 1);
    assert_eq!(
        why,
        "gunwale: there are no notes of 2027-02-09 at trap 99: `gunwale day` shows what there is, `--all` plays talk too\n"
    );
}

#[test]
fn where_only_text_is_kept_the_sound_goes_with_its_text() {
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    day(home);
    write(data, "gunwale.toml", "[mic]\nkeep = \"text\"\n");
    run(data, &["ingest", home.join("day.jsonl").to_str().unwrap()]);
    let before = notes(data);
    let first = before[0]["note"].as_str().unwrap();
    let heard = |hour: u32, note: &str, text: &str, confidence: f64| {
        format!(
            "{{\"t\":0,\"at\":\"2027-02-09T{hour}:00:00Z\",\"heard\":{{\"note\":{note:?},\"text\":{text:?},\"confidence\":{confidence}}}}}\n"
        )
    };
    // A recogniser's words as a tape: sure of one, not of the other.
    let second = before[1]["note"].as_str().unwrap();
    let words = heard(13, first, "two soft ones", 0.97) + &heard(13, second, "three shorts", 0.4);
    write(home, "words.jsonl", words);
    run(data, &["ingest", home.join("words.jsonl").to_str().unwrap()]);
    let after = notes(data);
    assert_eq!((&after[0]["text"], &after[0]["text_from"]), (&"two soft ones".into(), &"heard".into()));
    assert_eq!((&after[0]["confidence"], &after[1]["confidence"]), (&0.97.into(), &0.4.into()));
    let pull = &pulls(data)[0];
    assert_eq!((&pull["tally"]["soft"], &pull["tally_from"]["soft"]), (&2.into(), &"heard".into()));
    assert_eq!((&pull["drafts"]["shorts"], &pull["tally"]["shorts"]), (&3.into(), &Value::Null));
    // Chatter stands back, once its words are known.
    let talk = heard(14, second, "nice weather for it", 0.99);
    write(home, "talk.jsonl", talk);
    run(data, &["ingest", home.join("talk.jsonl").to_str().unwrap()]);
    assert!(!run(data, &["replay", "--list"]).contains("weather"));
    assert!(run(data, &["replay", "--list", "--all"]).contains("weather"));
}

#[test]
fn keys_go_on_again_back_and_out() {
    use std::io::{Read, Write};
    use std::process::Stdio;
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    day(home);
    run(data, &["ingest", home.join("day.jsonl").to_str().unwrap()]);
    write(data, "gunwale.toml", "[cues]\nplayer = [\"sh\", \"-c\", \"exec sleep 30\"]\n");
    let (mut keyboard, terminal) = serialport::TTYPort::pair().unwrap();
    let name = serialport::SerialPort::name(&terminal).unwrap();
    let open = || Stdio::from(std::fs::OpenOptions::new().read(true).write(true).open(&name).unwrap());
    let mut replay = gunwale(data).arg("replay").stdin(open()).stdout(open()).stderr(open()).spawn().unwrap();
    let mut keys = keyboard.try_clone_native().unwrap();
    serialport::SerialPort::set_timeout(&mut keyboard, std::time::Duration::from_millis(100)).unwrap();
    let mut screen = String::new();
    let mut waits = |until: &dyn Fn(&str) -> bool| {
        boat::wait_until("the screen", 20, || {
            let mut piece = [0; 4_096];
            let n = keyboard.read(&mut piece).unwrap_or(0);
            screen.push_str(&String::from_utf8_lossy(&piece[..n]));
            until(&screen)
        });
        screen.clone()
    };
    let lines = |screen: &str| screen.matches("no trap, pull 1").count();
    waits(&|screen| lines(screen) == 1);
    for (key, shown) in [(" ", 2), ("a", 3), ("b", 4), ("n", 5)] {
        keys.write_all(key.as_bytes()).unwrap();
        waits(&|screen| lines(screen) == shown);
    }
    let all = waits(&|_| true);
    let shown: Vec<&str> = all.lines().filter(|line| line.contains("pull 1")).map(str::trim).collect();
    // First, second, the second again, back to the first, on to the second.
    assert_eq!([shown[1], shown[2], shown[3], shown[4]], [shown[1], shown[1], shown[0], shown[1]]);
    assert!(all.starts_with("keys: space next, a again, b back, q quit"), "{all}");
    keys.write_all(b"q").unwrap();
    assert!(replay.wait().unwrap().success());
}
