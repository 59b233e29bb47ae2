//! Killed, cut and damaged at any moment and place: nothing that was said to be recorded is lost, and the records are
//! those of the journal.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
mod support;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use boat::{Dice, Running, copy, files, register, sentence, tape};
use support::{attempt, fresh, gunwale, pulls, run, text, write};

/// The ids of the pulls that are exported.
fn exported(data: &Path) -> BTreeSet<String> {
    pulls(data).iter().map(|pull| pull["pull"].as_str().unwrap().to_owned()).collect()
}

fn assert_all_there(told: &BTreeSet<String>, data: &Path, when: &str) {
    let there = exported(data);
    let lost: Vec<_> = told.difference(&there).collect();
    assert!(lost.is_empty(), "{when}: said to be recorded and lost: {lost:?}");
}

#[test]
fn ingest_killed_at_any_moment_loses_nothing_and_goes_on_to_the_same_records() {
    const DIRECTORIES: usize = 5;
    const KILLS: usize = 8;
    let mut dice = Dice::new("ingest");
    let home = fresh();
    let traps = write(home.path(), "traps.csv", register(3, 12));
    let day = write(home.path(), "day.jsonl", tape(3, 12));
    let (traps, day) = (traps.to_str().unwrap(), day.to_str().unwrap());
    let whole = fresh();
    run(whole.path(), &["traps", "import", traps]);
    let began = Instant::now();
    let last = run(whole.path(), &["ingest", day]);
    let takes = began.elapsed();
    let last = last.lines().last().unwrap().to_owned();
    let (records, csv) =
        (run(whole.path(), &["export", "jsonl"]), run(whole.path(), &["export", "csv", "--table", "notes"]));
    assert!(records.lines().count() >= 10, "{last}");
    println!("an ingest takes {takes:?}: {last}");
    let mut kills = 0;
    for _ in 0..DIRECTORIES {
        let data = fresh();
        run(data.path(), &["traps", "import", traps]);
        let mut told = BTreeSet::new();
        let mut killed = 0;
        while killed < KILLS {
            let mut ingest = Running::start(gunwale(data.path()).args(["ingest", day]));
            // At any moment, or right when something was said to be recorded.
            if dice.below(3) > 0 {
                std::thread::sleep(dice.part_of(takes));
            } else {
                let lines = 1 + dice.below(8);
                while ingest.running() && ingest.recorded().len() < lines {
                    std::thread::sleep(Duration::from_millis(1));
                }
            }
            killed += usize::from(ingest.kill());
            told.extend(ingest.recorded());
            assert_all_there(&told, data.path(), "after a kill of ingest");
        }
        kills += killed;
        assert_eq!(run(data.path(), &["ingest", day]).lines().last(), Some(last.as_str()));
        assert_eq!(run(data.path(), &["export", "jsonl"]), records);
        assert_eq!(run(data.path(), &["export", "csv", "--table", "notes"]), csv);
        run(data.path(), &["rebuild"]);
        assert_eq!(run(data.path(), &["export", "jsonl"]), records);
    }
    assert!(kills >= 40, "{kills} kills");
}

#[test]
fn rebuild_killed_at_any_moment_is_done_again() {
    let mut dice = Dice::new("rebuild");
    let data = fresh();
    let day = write(data.path(), "day.jsonl", tape(4, 8));
    run(data.path(), &["ingest", day.to_str().unwrap()]);
    let records = run(data.path(), &["export", "jsonl"]);
    let began = Instant::now();
    run(data.path(), &["rebuild"]);
    let takes = began.elapsed();
    for _ in 0..6 {
        let mut rebuild = Running::start(gunwale(data.path()).arg("rebuild"));
        std::thread::sleep(dice.part_of(takes));
        rebuild.kill();
        assert_eq!(run(data.path(), &["export", "jsonl"]), records);
    }
}

#[test]
fn demo_killed_at_any_moment_loses_no_record() {
    const KILLS: usize = 12;
    let mut dice = Dice::new("demo");
    let mut told_in_all = 0;
    for _ in 0..KILLS / 2 {
        let data = fresh();
        let mut told = BTreeSet::new();
        let mut killed = 0;
        while killed < 2 {
            let (speed, pulls) = (300 + dice.below(701), 3 + dice.below(4));
            let (speed_text, pulls_text) = (speed.to_string(), pulls.to_string());
            let mut demo = Running::start(gunwale(data.path()).args([
                "demo",
                "--speed",
                &speed_text,
                "--pulls",
                &pulls_text,
            ]));
            // A pull takes some three minutes of the sea's time; some runs are killed at a moment of their own, some
            // right when something was said to be recorded.
            let takes = Duration::from_secs_f64(pulls as f64 * 200.0 / speed as f64 + 0.5);
            let until = Instant::now() + dice.part_of(takes);
            let lines = if dice.below(2) == 0 { usize::MAX } else { 1 + dice.below(pulls - 1) };
            let late = Instant::now() + Duration::from_secs(20);
            while demo.running()
                && (if lines == usize::MAX { Instant::now() < until } else { demo.recorded().len() < lines })
            {
                assert!(Instant::now() < late, "no record of the demo: {}", demo.err());
                std::thread::sleep(Duration::from_millis(1));
            }
            // One that was faster than the kill counts as none.
            killed += usize::from(demo.kill());
            told.extend(demo.recorded());
            assert_all_there(&told, data.path(), "after a kill of the demo");
        }
        told_in_all += told.len();
        let before = run(data.path(), &["export", "jsonl"]);
        run(data.path(), &["rebuild"]);
        assert_eq!(run(data.path(), &["export", "jsonl"]), before, "after a rebuild");
    }
    println!("{KILLS} kills, {told_in_all} records told");
    assert!(told_in_all > 0);
}

/// The one journal file of a directory into which one tape was ingested.
fn journal(data: &Path) -> PathBuf {
    let found: Vec<PathBuf> = files(&data.join("journal"));
    assert_eq!(found.len(), 1, "{found:?}");
    found.into_iter().next().unwrap()
}

#[test]
fn a_tail_cut_at_any_byte_gives_the_records_of_the_whole_lines_before() {
    let mut lines: Vec<String> = String::from_utf8(tape(5, 2)).unwrap().lines().map(str::to_owned).collect();
    // It ends at a trap with two notes, so that each of the last lines changes the records.
    let last_said = lines.iter().rposition(|line| line.contains("\"said\"")).unwrap();
    lines.truncate(last_said);
    let t: f64 =
        serde_json::from_str::<serde_json::Value>(lines.last().unwrap()).unwrap()["t"].as_f64().unwrap();
    lines.push(format!("{{\"t\":{:.3},\"said\":\"seven crabs\"}}", t + 1.0));
    lines.push(format!("{{\"t\":{:.3},\"said\":\"four keepers\"}}", t + 2.0));
    let data = fresh();
    let day = write(data.path(), "day.jsonl", lines.join("\n") + "\n");
    run(data.path(), &["ingest", day.to_str().unwrap()]);
    let path = journal(data.path());
    let whole = std::fs::read(&path).unwrap();
    let ends: Vec<usize> =
        whole.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(at, _)| at + 1).collect();
    let [.., first, second, third] = ends.as_slice() else { panic!("{} lines", ends.len()) };
    let name = path.file_name().unwrap();
    // What a directory gives that never had more than this prefix.
    let of_prefix = |length: usize| {
        let data = fresh();
        std::fs::create_dir(data.path().join("journal")).unwrap();
        std::fs::write(data.path().join("journal").join(name), &whole[..length]).unwrap();
        run(data.path(), &["export", "jsonl"])
    };
    let expected = [*first, *second, *third].map(|length| (length, of_prefix(length)));
    assert!(expected[0].1 != expected[1].1 && expected[1].1 != expected[2].1, "each line counts");
    let store = fresh();
    copy(&data.path().join("store"), store.path());
    let check = |cuts: Vec<usize>| {
        for length in cuts {
            let (_, records) = expected.iter().rev().find(|(end, _)| *end <= length).unwrap();
            for kept in [true, false].into_iter().take(if length % 5 < 2 { 2 } else { 1 }) {
                let data = fresh();
                std::fs::create_dir(data.path().join("journal")).unwrap();
                let path = data.path().join("journal").join(name);
                std::fs::write(&path, &whole[..length]).unwrap();
                if kept {
                    copy(store.path(), &data.path().join("store"));
                }
                assert_eq!(
                    &run(data.path(), &["export", "jsonl"]),
                    records,
                    "cut to {length} bytes, store {kept}"
                );
            }
        }
    };
    let (even, odd): (Vec<usize>, Vec<usize>) = (*first..=*third).partition(|length| length % 2 == 0);
    println!("{} cuts", even.len() + odd.len());
    std::thread::scope(|scope| {
        let other = scope.spawn(|| check(odd));
        check(even);
        other.join().unwrap();
    });
    // Played again, the tape goes on from where it was cut.
    for length in [*first, first + 5, second - 1, *second, third - 1] {
        let data = fresh();
        std::fs::create_dir(data.path().join("journal")).unwrap();
        std::fs::write(data.path().join("journal").join(name), &whole[..length]).unwrap();
        run(data.path(), &["ingest", day.to_str().unwrap()]);
        assert_eq!(std::fs::read(data.path().join("journal").join(name)).unwrap(), whole, "cut to {length}");
        assert_eq!(run(data.path(), &["export", "jsonl"]), expected[2].1);
    }
}

/// Stores set aside in a data directory.
fn set_aside(data: &Path) -> usize {
    let names =
        std::fs::read_dir(data).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    names.filter(|name| name.starts_with("store.damaged-")).count()
}

#[test]
fn a_damaged_store_is_set_aside_once_and_made_anew() {
    let mut dice = Dice::new("store");
    // GUNWALE_CASES asks for more than the usual ten flips a file, on a larger store.
    let rounds = std::env::var("GUNWALE_CASES").ok().and_then(|text| text.parse().ok()).unwrap_or(10);
    let pulls = if rounds > 10 { 60 } else { 12 };
    let home = fresh();
    let day = write(home.path(), "day.jsonl", tape(6, pulls));
    let good = fresh();
    let traps = write(home.path(), "traps.csv", register(6, pulls));
    run(good.path(), &["traps", "import", traps.to_str().unwrap()]);
    run(good.path(), &["ingest", day.to_str().unwrap()]);
    let date = "2027-02-09";
    let questions: [&[&str]; 3] = [&["export", "jsonl"], &["day", date], &["traps", "list"]];
    let answers = questions.map(|question| run(good.path(), question));
    let names: Vec<PathBuf> = files(&good.path().join("store"))
        .into_iter()
        .map(|path| path.strip_prefix(good.path()).unwrap().to_owned())
        .collect();
    println!("{names:?}");
    let (mut cases, mut noticed) = (0, 0);
    let mut check = |what: String, harm: &mut dyn FnMut(&Path)| {
        let data = fresh();
        copy(&good.path().join("journal"), &data.path().join("journal"));
        copy(&good.path().join("store"), &data.path().join("store"));
        harm(data.path());
        cases += 1;
        let mut aside = 0;
        for (round, (question, answer)) in
            questions.iter().zip(&answers).cycle().skip(cases % 3).take(3).enumerate()
        {
            let output = attempt(data.path(), question);
            let (out, err) = (text(&output.stdout), text(&output.stderr));
            assert!(output.status.success(), "{what}: {question:?} time {round}: {}\n{err}", output.status);
            assert_eq!(&out, answer, "{what}: {question:?} time {round}\n{err}");
            let now = set_aside(data.path());
            assert_eq!(now > aside, err.contains("set aside"), "{what}: {question:?} time {round}\n{err}");
            // What reads all may find what the first did not read; after that all is well.
            assert!(now <= 1, "{what}: set aside {now} times\n{err}");
            aside = now;
        }
        noticed += aside;
    };
    for name in &names {
        let length = std::fs::metadata(good.path().join(name)).unwrap().len() as usize;
        for round in 0..rounds {
            // Most of the file is room not yet used: most flips go where something is.
            let bytes = std::fs::read(good.path().join(name)).unwrap();
            let used: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at] != 0).collect();
            let flips: Vec<(usize, u8)> = (0..1 << (round % 5))
                .map(|_| {
                    let at = if used.is_empty() || dice.below(5) == 0 {
                        dice.below(length)
                    } else {
                        used[dice.below(used.len())]
                    };
                    (at, 1 + dice.below(255) as u8)
                })
                .collect();
            if length == 0 {
                continue;
            }
            check(format!("{} flipped at {flips:?}", name.display()), &mut |data| {
                let mut bytes = bytes.clone();
                flips.iter().for_each(|(at, mask)| bytes[*at] ^= mask);
                std::fs::write(data.join(name), bytes).unwrap();
            });
        }
        for kept in [0, length / 2, length.saturating_sub(1)] {
            check(format!("{} cut to {kept} of {length}", name.display()), &mut |data| {
                std::fs::OpenOptions::new()
                    .write(true)
                    .open(data.join(name))
                    .unwrap()
                    .set_len(kept as u64)
                    .unwrap();
            });
        }
        check(format!("{} deleted", name.display()), &mut |data| {
            std::fs::remove_file(data.join(name)).unwrap()
        });
        check(format!("{} filled", name.display()), &mut |data| {
            std::fs::write(data.join(name), vec![0xA5; length]).unwrap()
        });
    }
    check("store deleted".into(), &mut |data| std::fs::remove_dir_all(data.join("store")).unwrap());
    println!("{cases} cases, noticed in {noticed}");
    assert!(noticed > 0);
}

/// A long tape in few lines: a stop every five minutes with one note.
fn many_pulls(pulls: u32) -> String {
    let mut tape = String::new();
    for n in 0..pulls {
        for (after, knots) in [(0, 0.0), (1, 0.0), (2, 0.0), (20, 9.0), (21, 9.0), (22, 9.0), (23, 9.0)] {
            let t = n * 300 + after;
            let (day, h, m, s) = (1 + t / 86_400, t / 3_600 % 24, t / 60 % 60, t % 60);
            let place = format!("2512.{:04},N,08018.0000,W", n % 10_000);
            let rmc =
                sentence(&format!("GPRMC,{h:02}{m:02}{s:02}.00,A,{place},{knots},0.0,{day:02}0327,,,A"));
            tape += &format!("{{\"t\":{t},\"gps\":\"{rmc}\"}}\n");
            if after == 2 {
                tape += &format!("{{\"t\":{t}.5,\"said\":\"five crabs, three keepers\"}}\n");
            }
        }
    }
    tape
}

#[test]
fn damage_found_only_while_reading_is_mended_in_the_same_command() {
    let mut dice = Dice::new("large store");
    let home = fresh();
    // Larger than what is looked at when a store is opened.
    let day = write(home.path(), "many.jsonl", many_pulls(1_500));
    let good = fresh();
    let last = run(good.path(), &["ingest", day.to_str().unwrap()]);
    assert!(last.ends_with(" pulls 1500\n"), "{}", last.lines().last().unwrap());
    let records = run(good.path(), &["export", "jsonl"]);
    let bytes = std::fs::read(good.path().join("store/db")).unwrap();
    let used: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at] != 0).collect();
    let mut noticed = 0;
    let flips = 10;
    for _ in 0..flips {
        let data = fresh();
        copy(&good.path().join("journal"), &data.path().join("journal"));
        copy(&good.path().join("store"), &data.path().join("store"));
        let at = used[dice.below(used.len())];
        let mut bytes = bytes.clone();
        bytes[at] ^= 1 + dice.below(255) as u8;
        std::fs::write(data.path().join("store/db"), bytes).unwrap();
        for time in 0..2 {
            let output = attempt(data.path(), &["export", "jsonl"]);
            let err = text(&output.stderr);
            assert!(output.status.success(), "byte {at}, time {time}: {err}");
            assert!(text(&output.stdout) == records, "byte {at}, time {time}: other records\n{err}");
            assert_eq!(
                output.stderr.is_empty(),
                time > 0 || set_aside(data.path()) == 0,
                "byte {at}, time {time}: {err}"
            );
        }
        noticed += set_aside(data.path());
        assert!(set_aside(data.path()) <= 1, "byte {at}");
    }
    println!("{} bytes, {flips} flips, noticed in {noticed}", used.len());
}

/// What `check` says of the journal.
fn of_journal(data: &Path) -> String {
    let out = text(&attempt(data, &["check"]).stdout);
    out.lines().find(|line| line.starts_with("journal")).expect("a line on the journal").to_owned()
}

#[test]
fn damage_in_a_journal_costs_the_damaged_lines_only() {
    let home = fresh();
    let day = write(home.path(), "day.jsonl", tape(8, 4));
    let good = fresh();
    run(good.path(), &["ingest", day.to_str().unwrap()]);
    let records = run(good.path(), &["export", "jsonl"]);
    let path = journal(good.path());
    let name = path.file_name().unwrap();
    let whole = std::fs::read(&path).unwrap();
    let lines: Vec<&[u8]> = whole.split_inclusive(|b| *b == b'\n').collect();
    assert_eq!(
        of_journal(good.path()),
        format!("journal   good  1 segments, {} lines, every checksum right", lines.len())
    );
    let damaged = |n: usize| {
        let good = lines.len() - n;
        format!(
            "journal   BAD   {n} of {good} lines are damaged and left out: \
             copy the journal folder to another disk, this one fails"
        )
    };
    // A silent sentence in the middle, between two pulls: without it nothing else changes.
    let middle = lines.iter().position(|line| text(line).contains("GPGSA")).unwrap() + 12;
    let unheard = (middle..).find(|at| text(lines[*at]).contains("GPGSA")).unwrap();
    let replaced = |at: usize, with: &[u8]| {
        let mut bytes = Vec::new();
        lines
            .iter()
            .enumerate()
            .for_each(|(n, line)| bytes.extend_from_slice(if n == at { with } else { line }));
        bytes
    };
    let flipped = {
        let mut line = lines[unheard].to_vec();
        line[20] ^= 1;
        line
    };
    let cases: [(&str, Vec<u8>, String); 6] = [
        ("garbage at the end", [&whole[..], b"\xff\x00garbage without an end"].concat(), String::new()),
        ("garbage lines at the end", [&whole[..], b"\xff\x00garbage\n{\"t\":1}\n\n"].concat(), String::new()),
        ("a flipped bit", replaced(unheard, &flipped), damaged(1)),
        ("a line shorter", replaced(unheard, b"{\"t\":4}\n"), damaged(1)),
        ("a line longer", replaced(unheard, &[&vec![b'x'; 200_000], &b"\n"[..]].concat()), damaged(1)),
        ("a hole of zeros", replaced(unheard, &[&vec![0; 4_096][..], b"\n"].concat()), damaged(1)),
    ];
    for (what, bytes, says) in cases {
        for kept in [true, false] {
            let data = fresh();
            std::fs::create_dir(data.path().join("journal")).unwrap();
            std::fs::write(data.path().join("journal").join(name), &bytes).unwrap();
            if kept {
                copy(&good.path().join("store"), &data.path().join("store"));
            }
            for round in 0..2 {
                let output = attempt(data.path(), &["export", "jsonl"]);
                let err = text(&output.stderr);
                assert!(output.status.success(), "{what}, store {kept}, time {round}: {err}");
                assert_eq!(text(&output.stdout), records, "{what}, store {kept}, time {round}");
            }
            let said = of_journal(data.path());
            if says.is_empty() {
                assert!(said.contains("every checksum right"), "{what}: {said}");
            } else {
                assert_eq!(said, says, "{what}");
            }
            // What comes later is taken, and the file is whole lines again.
            let more = write(home.path(), "more.jsonl", b"{\"t\":1,\"button\":false}\n".as_slice());
            run(data.path(), &["ingest", more.to_str().unwrap()]);
            assert_eq!(run(data.path(), &["export", "jsonl"]), records, "{what}");
        }
    }
    // The tape played over a torn file mends it.
    let data = fresh();
    std::fs::create_dir(data.path().join("journal")).unwrap();
    let torn = data.path().join("journal").join(name);
    std::fs::write(&torn, [&whole[..whole.len() / 2], b"\xffgarbage\n"].concat()).unwrap();
    run(data.path(), &["ingest", day.to_str().unwrap()]);
    assert_eq!(std::fs::read(&torn).unwrap(), whole);
    assert_eq!(run(data.path(), &["export", "jsonl"]), records);
}
