//! Bad input of every kind: noise, absurd sentences, wrong tapes, and a full disk.
//! None stops the program, none becomes a record, and each is told in one line that says what to do.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
mod support;

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use boat::{Cable, Dice, Running, fix, sentence, settings, tape, wait_until};
use support::{attempt, fresh, pulls, refusal, run, text, write};

/// How many position epochs are exported.
fn fixes(data: &Path) -> usize {
    run(data, &["export", "jsonl", "--table", "track"]).lines().count()
}

/// Memory that noise may cost, kB.
const NOISE_KB: u64 = 8 * 1024;

#[test]
fn noise_at_full_speed_costs_no_memory_and_no_fix_after_it() {
    let mut dice = Dice::new("noise");
    let data = fresh();
    let mut cable = Cable::new(data.path().join("receiver"));
    settings(data.path(), &cable.link, Some(9_600));
    let service = Running::service(data.path());
    // Once warm, so that what is measured is what the noise costs.
    run(data.path(), &["note", "before the noise"]);
    let before = service.memory_kb();
    let (mut sent, end) = (0, Instant::now() + Duration::from_secs(3));
    let noise = |dice: &mut Dice| -> Vec<u8> {
        // Among it what sentences are made of, and a line end every now and then.
        let byte = |dice: &mut Dice| match dice.below(12) {
            0 => b"$!*,\r\nGPRMC"[dice.below(11)],
            _ => dice.next() as u8,
        };
        (0..4_096).map(|_| byte(dice)).collect()
    };
    while Instant::now() < end {
        sent += cable.send(&noise(&mut dice));
    }
    // And then a megabyte without a line end.
    for _ in 0..256 {
        let mut left = &[b'x'; 4_096][..];
        while !left.is_empty() {
            let went = cable.send(left);
            left = &left[went..];
        }
    }
    run(data.path(), &["note", "through the noise"]);
    let after = service.memory_kb();
    println!("{sent} bytes of noise: {before} kB before, {after} kB after");
    assert!(sent > 1_000_000, "{sent} bytes");
    assert!(after < before + NOISE_KB, "{before} kB before, {after} kB after");
    assert_eq!(fixes(data.path()), 0);
    cable.send(b"\r\n");
    let mut s = 0.0;
    wait_until("fixes after the noise", 10, || {
        s += 1.0;
        cable.lines(&fix(s, 25.2, -80.3, 0.0));
        std::thread::sleep(Duration::from_millis(100));
        fixes(data.path()) >= 3
    });
    let notes = run(data.path(), &["export", "csv", "--table", "notes"]);
    assert!(notes.contains("before the noise") && notes.contains("through the noise"), "{notes}");
    assert!(pulls(data.path()).iter().all(|pull| pull["position"].is_null()));
}

/// Ingests lines as a tape and says its last line.
fn played(data: &Path, lines: &[u8]) -> String {
    let file = write(data, "tape", lines);
    run(data, &["ingest", file.to_str().unwrap()]).lines().last().unwrap().to_owned()
}

#[test]
fn a_line_without_an_end_is_one_refused_line() {
    let long = vec![b'x'; 1_000_000];
    let good = format!("{{\"t\":1,\"gps\":\"{}\"}}\n", fix(1.0, 25.2, -80.3, 0.0)[0]);
    for (what, tape, says) in [
        (
            "in the middle",
            [good.as_bytes(), &long, b"\n{\"t\":2,\"button\":false}\n"].concat(),
            "lines 3 refused 1 fixes 1 pulls 0",
        ),
        ("at the end", [good.as_bytes(), &long].concat(), "lines 2 refused 1 fixes 1 pulls 0"),
        (
            "of a note",
            [good.as_bytes(), b"{\"t\":2,\"said\":\"", &long, b"\"}\n"].concat(),
            "lines 2 refused 1 fixes 1 pulls 0",
        ),
        ("alone", long.clone(), "lines 1 refused 1 fixes 0 pulls 0"),
    ] {
        let data = fresh();
        assert_eq!(played(data.path(), &tape), says, "{what}");
    }
}

#[test]
fn a_note_too_long_for_the_journal_is_refused_and_the_play_goes_on() {
    for length in [60_000, 65_400, 65_470, 65_480, 65_490, 65_500, 65_510, 65_518, 65_536, 70_000] {
        let data = fresh();
        let tape = format!(
            "{{\"t\":1,\"said\":\"{}\"}}\n{{\"t\":2,\"said\":\"two crabs\"}}\n",
            "é".repeat(length / 2)
        );
        let says = played(data.path(), tape.as_bytes());
        let refused = usize::from(!says.contains("refused 0"));
        assert_eq!(says, format!("lines 2 refused {refused} fixes 0 pulls 1"), "{length} bytes");
        assert!(
            if length <= 65_470 { refused == 0 } else { length < 65_530 || refused == 1 },
            "{length} bytes"
        );
        // What was refused is in no record, now and after a rebuild.
        let records = run(data.path(), &["export", "jsonl"]);
        run(data.path(), &["rebuild"]);
        assert_eq!(run(data.path(), &["export", "jsonl"]), records, "{length} bytes");
    }
}

#[test]
fn absurd_positions_are_no_positions() {
    let bodies = [
        "GPRMC,120000.00,A,9500.0000,N,08018.0000,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2575.0000,N,08018.0000,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2512.0000,N,18100.0000,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2512.0000,N,08075.0000,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,,,,,,,,,,",
        "GPRMC,,,,,,,,,,,,",
        "GPRMC",
        "GPRMC,",
        "GPRMC,120000.00,A,nan,N,inf,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2512.0000,N,-inf,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2512.0000,X,08018.0000,Y,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,2.5e1,N,8e1,W,0.0,0.0,020327,,,A",
        "GPRMC,120000.00,A,-2512.0000,N,-08018.0000,W,0.0,0.0,020327,,,A",
        "GPRMC,990000.00,V,2512.0000,N,08018.0000,W,0.0,0.0,020327,,,N",
        "GPGGA,120000.00,9100.0,N,08018.0000,W,1,09,0.9,2.0,M,-30.0,M,,",
        "GPGGA,120000.00,2512.0000,N,08018.0000,W,0,00,99.9,,M,,M,,",
        "GPGGA,,,,,,,,,,,,,,",
        "GPGGA,nan,nan,N,nan,W,nan,nan,nan,nan,M,nan,M,nan,nan",
        "GPGLL,2575.0000,N,08018.0000,W,120000.00,A,A",
        "GPGNS,120000.00,9912.0000,N,08018.0000,W,AN,09,0.9,2.0,-30.0,,",
        "SDDPT,1e999,inf",
        "SDDPT,-99999999999999999999999999999999999999999,,",
        "IIMTW,nan,C",
        "IIMTW,1e9,C",
        "GPZDA,999999.99,99,99,9999,99,99",
        "GPGST,120000.00,inf,nan,,,1e9,1e9,1e9",
        "GPVTG,nan,T,nan,M,1e9,N,1e9,K,A",
        ",,,,,,",
        "",
    ];
    for log in [false, true] {
        let data = fresh();
        let mut lines = String::new();
        for (n, body) in bodies.iter().enumerate() {
            let sentence = sentence(body);
            lines += &if log {
                format!("{sentence}\r\n")
            } else {
                format!("{{\"t\":{n},\"gps\":\"{sentence}\"}}\n")
            };
        }
        // A right checksum is never refused; what it sums up may still mean nothing.
        let says = played(data.path(), lines.as_bytes());
        let (head, tail) = says.split_once(" refused ").unwrap();
        let (refused, tail) = tail.split_once(' ').unwrap();
        assert_eq!((head, tail), (format!("lines {}", bodies.len()).as_str(), "fixes 0 pulls 0"), "{says}");
        // The two last have no address: no sentence at all.
        assert!(refused.parse::<usize>().unwrap() <= 2, "{says}");
        assert_eq!(fixes(data.path()), 0, "log {log}");
    }
}

#[test]
fn a_wrong_date_or_speed_costs_the_date_or_speed_and_never_the_position() {
    for (what, body, year, speed) in [
        ("1980", "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,0.0,0.0,060180,,,A", Some("1980"), Some(0.0)),
        ("no date", "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,0.0,0.0,,,,A", None, Some(0.0)),
        ("day 32", "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,0.0,0.0,321327,,,A", None, Some(0.0)),
        ("1e9 knots", "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,1e9,0.0,020327,,,A", Some("2027"), None),
        (
            "a billion knots",
            "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,1000000000,0.0,020327,,,A",
            Some("2027"),
            None,
        ),
        ("nan", "GPRMC,120000.00,A,2512.0000,N,08018.0000,W,nan,inf,020327,,,A", Some("2027"), None),
    ] {
        let data = fresh();
        let tape =
            format!("{{\"t\":1,\"gps\":\"{}\"}}\n{{\"t\":2,\"said\":\"two crabs\"}}\n", sentence(body));
        let says = played(data.path(), tape.as_bytes());
        assert!(says.starts_with("lines 2 refused 0 fixes 1 "), "{what}: {says}");
        let track = support::jsonl(&run(data.path(), &["export", "jsonl", "--table", "track"]));
        let [fix] = track.as_slice() else { panic!("{track:?}") };
        assert_eq!((fix["lat"].as_f64(), fix["lon"].as_f64()), (Some(25.2), Some(-80.3)), "{what}");
        assert_eq!(fix["at"].as_str().map(|at| &at[..4]), year, "{what}");
        assert_eq!(fix["speed_m_s"].as_f64(), speed, "{what}");
        // Without a speed, one fix does not show that she lies still: then it is a note between traps.
        if let [pull] = &pulls(data.path())[..] {
            let doubtful = pull["flags"].as_array().unwrap().iter().any(|flag| flag == "date-doubtful");
            assert_eq!(doubtful, year == Some("1980"), "{what}");
        } else {
            assert_eq!(speed, None, "{what}");
        }
    }
}

#[test]
fn a_tape_is_refused_line_by_line() {
    let good = sentence("GPRMC,120000.00,A,2512.0000,N,08018.0000,W,0.0,0.0,020327,,,A");
    let gps = |t: &str| format!("{{\"t\":{t},\"gps\":\"{good}\"}}");
    let lines: Vec<(String, bool)> = vec![
        ("{\"t\":0,\"button\":false}".into(), true),
        (gps("1"), true),
        ("# a remark".into(), true),
        (String::new(), true),
        ("{\"t\":1.5,\"unknown\":{\"deep\":[1,2]},\"button\":true,\"more\":null}".into(), true),
        // Wrong kinds.
        ("{\"t\":\"2\",\"button\":true}".into(), false),
        ("{\"t\":null,\"button\":true}".into(), false),
        ("{\"t\":2,\"button\":\"true\"}".into(), false),
        ("{\"t\":2,\"gps\":17}".into(), false),
        ("{\"t\":2,\"gps\":[]}".into(), false),
        ("{\"t\":2,\"said\":{}}".into(), false),
        ("{\"t\":2,\"said\":\"  \"}".into(), false),
        ("{\"t\":2,\"scale\":0.2}".into(), false),
        // No time, a time that is none, one too far away, one that runs backwards.
        ("{\"button\":true}".into(), false),
        ("{\"t\":NaN,\"button\":true}".into(), false),
        ("{\"t\":Infinity,\"button\":true}".into(), false),
        ("{\"t\":1e300,\"button\":true}".into(), false),
        ("{\"t\":-1e300,\"button\":true}".into(), false),
        ("{\"t\":-100,\"button\":true}".into(), false),
        (gps("-100"), false),
        // Nothing known, no object, no JSON.
        ("{\"t\":2}".into(), false),
        ("{\"t\":2,\"what\":1}".into(), false),
        ("[1,2]".into(), false),
        ("17".into(), false),
        ("{\"t\":2,\"button\":true".into(), false),
        ("{\"t\":2,\"t\":3,\"button\":true}".into(), false),
        ("\u{1}\u{2}".into(), false),
        (good.clone(), false),
        // A wrong checksum, and a sentence inside of something.
        ("{\"t\":3,\"gps\":\"$GPRMC,1,2*00\"}".into(), false),
        (format!("{{\"t\":3,\"gps\":\"xx{good}\"}}"), false),
        // A trap at no place.
        (
            "{\"t\":4,\"at\":\"2027-03-02T12:00:00Z\",\"trap\":{\"trap\":\"1\",\"lat\":91,\"lon\":0}}".into(),
            false,
        ),
        ("{\"t\":4,\"said\":\"two crabs\"}".into(), true),
    ];
    let counted = lines.iter().filter(|(line, _)| !line.is_empty() && !line.starts_with('#')).count();
    let refused = lines.iter().filter(|(_, taken)| !taken).count();
    let tape: String = lines.iter().map(|(line, _)| format!("{line}\n")).collect();
    let bytes = [tape.as_bytes(), b"{\"t\":5,\"said\":\"\xff\xfe\"}\n"].concat();
    let data = fresh();
    // The sentence inside of something is saved and is a second epoch of the same moment.
    let says = format!("lines {} refused {} fixes 1 pulls 1", counted + 1, refused + 1);
    assert_eq!(played(data.path(), &bytes), says);
    assert_eq!(played(data.path(), &bytes), says, "the same on every play");
    assert_eq!(pulls(data.path()).len(), 1);
}

/// A disk of its own that is soon full, unmounted when dropped.
struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    /// `None`, and a printed word, where mounting is not permitted.
    fn new(size: &str) -> Option<SmallDisk> {
        let place = fresh();
        let mount = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={size}"), "gunwale-test"])
            .arg(place.path())
            .output();
        match mount {
            Ok(output) if output.status.success() => Some(SmallDisk(place)),
            other => {
                println!("skipped: a small disk cannot be mounted here: {other:?}");
                None
            }
        }
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    /// Fills it, but for this many bytes.
    fn fill(&self, but: usize) {
        use std::io::Write;
        let mut file = std::fs::File::create(self.path().join("ballast")).unwrap();
        while file.write_all(&[1; 4_096]).is_ok() {}
        let length = file.metadata().unwrap().len();
        file.set_len(length.saturating_sub(but as u64)).unwrap();
    }

    fn make_room(&self) {
        std::fs::remove_file(self.path().join("ballast")).unwrap();
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0.path()).status();
    }
}

#[test]
fn an_ingest_on_a_full_disk_fails_in_words_and_goes_on_when_there_is_room() {
    let home = fresh();
    let day = write(home.path(), "day.jsonl", tape(9, 8));
    let day = day.to_str().unwrap();
    let whole = fresh();
    let last = run(whole.path(), &["ingest", day]);
    let records = run(whole.path(), &["export", "jsonl"]);
    for but in [0, 8_192, 100_000, 400_000, 700_000] {
        let Some(disk) = SmallDisk::new("16m") else { return };
        // The journal's folder and an empty store are there, as they are on a boat.
        run(disk.path(), &["traps", "list"]);
        disk.fill(but);
        for round in 0..2 {
            let output = attempt(disk.path(), &["ingest", day]);
            let err = text(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{but} bytes free, time {round}: {err}");
            let journal = err
                .starts_with(&format!("gunwale: no space left for {}/journal/", disk.path().display()))
                && err.ends_with(".jsonl: make room, nothing already recorded is lost\n");
            let store = err
                == "gunwale: the store cannot be used (no storage space): \
                    make room, or mend who may write there\n";
            println!("{but} bytes free, time {round}: {}", err.trim_end());
            assert!((journal || store) && err.lines().count() == 1, "{but} bytes free, time {round}: {err}");
            // Nothing half-written: the journal is whole lines.
            let journal = disk.path().join("journal");
            for path in if journal.exists() { boat::files(&journal) } else { Vec::new() } {
                let bytes = std::fs::read(&path).unwrap();
                assert!(bytes.is_empty() || bytes.ends_with(b"\n"), "{}", path.display());
            }
        }
        disk.make_room();
        assert_eq!(
            run(disk.path(), &["ingest", day]).lines().last(),
            last.lines().last(),
            "{but} bytes were free"
        );
        assert_eq!(run(disk.path(), &["export", "jsonl"]), records, "{but} bytes were free");
        run(disk.path(), &["rebuild"]);
        assert_eq!(run(disk.path(), &["export", "jsonl"]), records, "{but} bytes were free");
    }
}

#[test]
fn a_file_that_may_not_grow_ends_an_ingest_in_words() {
    let home = fresh();
    let day = write(home.path(), "day.jsonl", tape(9, 8));
    let day = day.to_str().unwrap();
    let whole = fresh();
    run(whole.path(), &["ingest", day]);
    let records = run(whole.path(), &["export", "jsonl"]);
    let data = fresh();
    run(data.path(), &["traps", "list"]);
    // 640 blocks of 1,024 bytes: the store fits, the journal does not. The signal that would end the program is ignored.
    let script = format!(
        "trap '' XFSZ; ulimit -f 640; exec {:?} --data {:?} ingest {day:?}",
        env!("CARGO_BIN_EXE_gunwale"),
        data.path()
    );
    let output = Command::new("bash").args(["-c", &script]).output().unwrap();
    let err = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert!(err.starts_with("gunwale: ") && err.lines().count() == 1, "{err}");
    println!("{}", err.trim_end());
    run(data.path(), &["ingest", day]);
    assert_eq!(run(data.path(), &["export", "jsonl"]), records);
}

#[test]
fn a_service_on_a_full_disk_keeps_running_and_has_everything_once_there_is_room() {
    let Some(disk) = SmallDisk::new("16m") else { return };
    let data = disk.path();
    let cable = Cable::new(data.join("receiver"));
    settings(data, &cable.link, Some(9_600));
    let mut service = Running::service(data);
    let receiver = boat::Receiver::start(cable);
    wait_until("fixes", 10, || fixes(data) >= 3);
    run(data, &["note", "one crab"]);
    disk.fill(0);
    wait_until("the log says that the disk is full", 10, || service.err().contains("no space left for"));
    // Said on a full disk: it is not safe, and that is told; but it is not forgotten.
    let not_yet = "gunwale: taken, but not on the disk yet: \
                   look at the service's log and make room, it need not be said again\n";
    assert_eq!(refusal(data, &["note", "two keepers"]), (1, not_yet.to_owned()));
    let full = std::fs::metadata(boat::files(&data.join("journal")).pop().unwrap()).unwrap().len();
    assert!(service.running());
    disk.make_room();
    wait_until("the log says that it goes on", 10, || {
        service.err().contains("the journal can be written again")
    });
    run(data, &["note", "three claws"]);
    let [pull] = &pulls(data)[..] else { panic!("one pull: {}", service.err()) };
    assert!(pull["ended_at"].is_null(), "{pull}");
    assert_eq!(pull["tally"], serde_json::json!({"crabs": 1, "keepers": 2, "claws": 3}), "{}", service.err());
    let now = std::fs::metadata(boat::files(&data.join("journal")).pop().unwrap()).unwrap().len();
    assert!(now > full, "{full} bytes, then {now}");
    // The fixes of the time without room are there too: none is missing for more than a moment.
    let track = support::jsonl(&run(data, &["export", "jsonl", "--table", "track"]));
    let at: Vec<jiff::Timestamp> =
        track.iter().map(|fix| fix["at"].as_str().unwrap().parse().unwrap()).collect();
    let gap = at.windows(2).map(|two| (two[1] - two[0]).as_secs_f64()).fold(0.0, f64::max);
    assert!(gap < 2.0, "{gap} s without a fix");
    drop(receiver);
    assert!(service.terminate().0.success(), "{}", service.err());
    let records = run(data, &["export", "jsonl"]);
    run(data, &["rebuild"]);
    assert_eq!(run(data, &["export", "jsonl"]), records);
}
