//! The one law: records are a function of the journal's content alone; not of restarts, machine, wall clock or the order
//! in which tapes come in.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

mod support;

#[path = "law/fold.rs"]
mod fold;
#[path = "law/golden.rs"]
mod golden;
#[path = "law/scene.rs"]
mod scene;

use std::path::Path;

use proptest::prelude::*;
use proptest::sample::Index;
use scene::Scene;
use support::{assert_same, counts, fresh, journal, jsonl, pulls, records, run, write};

fn ingest(data: &Path, files: &[&Path]) -> String {
    let files = files.iter().map(|file| file.to_str().expect("a path"));
    let args: Vec<&str> = std::iter::once("ingest").chain(files).collect();
    run(data, &args)
}

fn import(data: &Path, dir: &Path, scene: &Scene) {
    let register = write(dir, "register.csv", &scene.register);
    run(data, &["traps", "import", register.to_str().expect("a path")]);
}

/// The records as they come when everything is ingested whole, in order, in one go.
fn plain(dir: &Path, scene: &Scene) -> String {
    let data = dir.join("plain");
    import(&data, dir, scene);
    let files: Vec<_> = (0..scene.tapes.len()).map(|n| scene.file(dir, n)).collect();
    let files: Vec<&Path> = files.iter().map(AsRef::as_ref).collect();
    ingest(&data, &files);
    records(&data)
}

/// How the tapes of a scene come in.
#[derive(Debug, Clone)]
struct Way {
    /// In which order, the import of the register among them.
    order: Vec<usize>,
    /// Which tapes come first up to some byte, and then whole.
    cuts: Vec<Option<Index>>,
    /// Lines given twice: of which tape, which, and whether the second time at the end.
    twice: Vec<(usize, Index, bool)>,
}

/// The register's import, among the tapes.
const REGISTER: usize = 4;

fn any_way() -> impl Strategy<Value = Way> {
    let order = Just(vec![0, 1, 2, 3, REGISTER]).prop_shuffle();
    let cuts = prop::collection::vec(prop::option::of(any::<Index>()), 4);
    let twice = prop::collection::vec((0..4usize, any::<Index>(), any::<bool>()), 0..4);
    (order, cuts, twice).prop_map(|(order, cuts, twice)| Way { order, cuts, twice })
}

/// A tape with one line given twice.
fn doubled(tape: &str, line: Index, at_end: bool) -> String {
    let mut lines: Vec<&str> = tape.lines().collect();
    let line = line.index(lines.len());
    let to = if at_end { lines.len() } else { line + 1 };
    lines.insert(to, lines[line]);
    lines.join("\n") + "\n"
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 5, max_shrink_iters: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn records_are_the_same_whichever_way_the_tapes_come_in(seed in 0..1_000u64, way in any_way()) {
        let dir = fresh();
        let scene = Scene::new(seed, dir.path());
        let expected = plain(dir.path(), &scene);
        let mut tapes = scene.tapes.clone();
        for (tape, line, at_end) in &way.twice {
            tapes[*tape] = doubled(&tapes[*tape], *line, *at_end);
        }
        let data = dir.path().join("way");
        for n in &way.order {
            let Some(tape) = tapes.get(*n) else {
                import(&data, dir.path(), &scene);
                continue;
            };
            if let Some(cut) = way.cuts[*n] {
                let cut = write(dir.path(), "cut.jsonl", &tape.as_bytes()[..cut.index(tape.len() + 1)]);
                ingest(&data, &[&cut]);
            }
            ingest(&data, &[&write(dir.path(), "whole.jsonl", tape)]);
        }
        assert_same("another way in", &records(&data), &expected);
        run(&data, &["rebuild"]);
        assert_same("rebuilt", &records(&data), &expected);
    }
}

#[test]
fn the_scene_holds_what_the_law_is_tried_on() {
    let dir = fresh();
    let scene = Scene::new(5, dir.path());
    plain(dir.path(), &scene);
    let data = dir.path().join("plain");
    let pulls = pulls(&data);
    let days: Vec<&str> = pulls.iter().map(|pull| pull["day"].as_str().unwrap()).collect();
    assert_eq!(days.iter().filter(|day| **day == "2027-02-09").count(), 5, "{days:?}");
    let early = pulls.iter().filter(|pull| pull["notes"][0]["text"] == "one short, bait gone");
    assert_eq!(early.count(), 3, "said before the first fix");
    assert_eq!(pulls.iter().filter(|pull| pull["flags"].to_string().contains("cut")).count(), 3);
    assert!(pulls.iter().any(|pull| pull["flags"].to_string().contains("gps-gap")));
    assert!(pulls.iter().any(|pull| pull["pairing"]["grade"] == "corrected"));
    assert!(pulls.iter().any(|pull| pull["tally_from"]["crabs"] == "corrected"));
    let soaks: Vec<f64> = pulls.iter().filter_map(|pull| pull["soak_h"].as_f64()).collect();
    assert!(soaks.iter().any(|h| (47.5..48.5).contains(h)), "from the first day's sets: {soaks:?}");
    let notes = jsonl(&run(&data, &["export", "jsonl", "--table", "notes"]));
    assert_eq!(notes.iter().filter(|note| note["pull"].is_null()).count(), 3);
}

#[test]
fn playing_tapes_again_adds_nothing() {
    let dir = fresh();
    let scene = Scene::new(11, dir.path());
    let expected = plain(dir.path(), &scene);
    let data = dir.path().join("plain");
    let before = journal(&data);
    for n in [2, 0, 3, 1, 0] {
        let elsewhere = dir.path().join("elsewhere");
        let file = scene.file(dir.path(), n);
        let first = ingest(&elsewhere, &[&file]);
        let again = ingest(&data, &[&file]);
        assert_eq!(again.lines().last(), first.lines().last(), "tape {n}");
    }
    assert!(journal(&data) == before, "the journal changed");
    assert_same("played again", &records(&data), &expected);
}

#[test]
fn journal_files_are_tapes() {
    let dir = fresh();
    let scene = Scene::new(23, dir.path());
    let expected = plain(dir.path(), &scene);
    let from = dir.path().join("plain").join("journal");
    let mut files: Vec<_> = std::fs::read_dir(&from).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    for turned in [false, true] {
        if turned {
            files.reverse();
        }
        let data = dir.path().join(format!("copy-{turned}"));
        for file in &files {
            ingest(&data, &[file]);
            ingest(&data, &[file]);
        }
        assert_same("from journals", &records(&data), &expected);
        run(&data, &["rebuild"]);
        assert_same("from journals, rebuilt", &records(&data), &expected);
    }
}

/// A record without what depends on the segment it was found in, and on the trips before: the register grows with them.
fn anonymous(mut record: serde_json::Value) -> serde_json::Value {
    for key in ["pull", "trap", "pairing", "soak_h"] {
        record[key].take();
    }
    for note in record["notes"].as_array_mut().into_iter().flatten() {
        note["note"].take();
    }
    record
}

#[test]
fn tapes_that_begin_with_the_same_line_both_keep_their_pulls() {
    let dir = fresh();
    let scene = Scene::new(31, dir.path());
    // As two days do whose receivers have no fix yet; the second goes on like the first for a while.
    let first = |lines: usize| -> String {
        scene.tapes[0].lines().take(lines).map(|line| format!("{line}\n")).collect()
    };
    let tapes = [scene.tapes[0].clone(), first(40) + &scene.tapes[1], first(1) + &scene.tapes[2]];
    let files: Vec<_> =
        tapes.iter().enumerate().map(|(n, tape)| write(dir.path(), &format!("{n}.jsonl"), tape)).collect();
    let mut expected = Vec::new();
    let mut last_lines = Vec::new();
    for (n, file) in files.iter().enumerate() {
        let data = dir.path().join(format!("alone-{n}"));
        last_lines.push(counts(&ingest(&data, &[file])));
        expected.extend(pulls(&data).into_iter().map(anonymous));
    }
    let by_start = |pull: &serde_json::Value| pull["started_at"].as_str().map(str::to_owned);
    expected.sort_by_key(by_start);
    for order in [[0, 1, 2], [2, 1, 0], [1, 0, 2]] {
        let data = dir.path().join(format!("{order:?}"));
        for n in order {
            assert_eq!(counts(&ingest(&data, &[&files[n]])), last_lines[n], "{n} of {order:?}");
        }
        let found: Vec<_> = pulls(&data).into_iter().map(anonymous).collect();
        assert_eq!(found, expected, "{order:?}");
        let (before, was) = (journal(&data), records(&data));
        for n in [1, 0, 2] {
            assert_eq!(counts(&ingest(&data, &[&files[n]])), last_lines[n], "{n} again");
        }
        assert!(journal(&data) == before, "the journal changed");
        run(&data, &["rebuild"]);
        assert_same("rebuilt", &records(&data), &was);
    }
}

#[test]
fn a_plain_log_cut_anywhere_and_then_whole_is_journaled_the_same() {
    let dir = fresh();
    let mut log = String::new();
    for s in 0..60 {
        let north = f64::from(s) * 3.0;
        log += &support::rmc(43_200 + i64::from(s), Some((24.7 + north / 110_800.0, -81.6)), 3.0);
        // Now and then two sentences on one line: refused as a line, and both kept.
        log += if s % 20 == 7 { "" } else { "\r\n" };
    }
    let whole = write(dir.path(), "whole.nmea", &log);
    let data = dir.path().join("whole");
    let out = ingest(&data, &[&whole]);
    assert_eq!(counts(&out), [57, 3, 60, 0]);
    let expected = journal(&data);
    let track = run(&data, &["export", "csv", "--table", "track"]);
    let first = log.find('\n').unwrap();
    let middle = log.len() / 2;
    for cut in [1, first - 2, first, first + 1, middle, middle + 33, log.len() - 1] {
        let data = dir.path().join(format!("cut-{cut}"));
        ingest(&data, &[&write(dir.path(), "cut.nmea", &log.as_bytes()[..cut])]);
        assert_eq!(ingest(&data, &[&whole]), out, "cut at {cut}");
        assert!(journal(&data) == expected, "cut at {cut}");
        assert_same("track", &run(&data, &["export", "csv", "--table", "track"]), &track);
    }
}

#[test]
fn a_run_s_own_journal_played_again_adds_nothing() {
    let dir = fresh();
    let data = dir.path().join("boat");
    // Lines of a live run carry no number of a tape's line.
    let tape = "{\"t\":1,\"run\":{\"id\":\"a1\",\"boat\":\"b\",\"timezone\":\"UTC\",\"program\":\"p\",\"schema\":1}}\n\
                {\"t\":2,\"said\":\"two crabs\"}\n{\"t\":3,\"said\":\"one keeper\"}\n";
    let path = write(dir.path(), "run.jsonl", tape);
    run(&data, &["ingest", path.to_str().unwrap()]);
    let file = data.join("journal/a1.jsonl");
    let unnumbered: String = std::fs::read_to_string(&file)
        .unwrap()
        .lines()
        .map(|line| {
            let (body, _) =
                line.split_once(",\"n\":").unwrap_or_else(|| line.split_once(",\"crc\"").unwrap());
            let mut line = format!("{body}}}");
            gunwale_protocol::tape::seal(&mut line, None);
            line + "\n"
        })
        .collect();
    std::fs::write(&file, unnumbered).unwrap();
    run(&data, &["rebuild"]);
    let before = (journal(&data), pulls(&data));
    let copy = dir.path().join("copy.jsonl");
    std::fs::copy(&file, &copy).unwrap();
    run(&data, &["ingest", copy.to_str().unwrap()]);
    assert_eq!((journal(&data), pulls(&data)), before);
    assert_eq!(before.1.len(), 1);
}

#[test]
fn a_tape_whose_journal_lost_a_line_makes_it_anew() {
    let dir = fresh();
    let data = dir.path().join("boat");
    let said = ["two crabs", "one keeper", "half bait", "tie broken"];
    let tape: String =
        said.iter().enumerate().map(|(t, text)| format!("{{\"t\":{t},\"said\":\"{text}\"}}\n")).collect();
    let path = write(dir.path(), "tape.jsonl", tape);
    run(&data, &["ingest", path.to_str().unwrap()]);
    let (whole, records) = (journal(&data), pulls(&data));
    let (name, bytes) = whole.iter().next().unwrap();
    let mut harmed = bytes.clone();
    let at = bytes.windows(6).position(|piece| piece == b"keeper").unwrap();
    harmed[at] ^= 1;
    std::fs::write(data.join("journal").join(name), harmed).unwrap();
    run(&data, &["ingest", path.to_str().unwrap()]);
    assert_eq!(journal(&data).get(name), whole.get(name));
    assert!(journal(&data).contains_key(&format!("{name}.damaged-1")), "kept beside it");
    assert_eq!(pulls(&data), records);
}
