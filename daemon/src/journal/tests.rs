//! Torn tails, damage, full disks and the way back, on real files.

use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Run, Stamped};
use gunwale_protocol::sizes::Sizes;
use gunwale_protocol::time::Mono;
use proptest::prelude::*;

use super::*;

fn run(id: &str, schema: u32) -> Run {
    Run {
        id: id.into(),
        boat: "Osprey".into(),
        timezone: "America/New_York".into(),
        program: "gunwale 0.1.0".into(),
        schema,
        system: None,
        rules: None,
        words: Default::default(),
        sizes: Sizes::default(),
    }
}

fn said(t: i64, text: &str) -> Stamped {
    Stamped { t: Mono(t), input: Input::Said(text.into()) }
}

/// All inputs from an offset, with the count of damaged and refused lines.
fn read(path: &Path, from: u64) -> (Vec<Entry>, u64, u64) {
    let mut reader = Reader::open(path, from).unwrap();
    let entries = reader.by_ref().map(Result::unwrap).collect();
    (entries, reader.damaged(), reader.refused())
}

fn texts(path: &Path) -> Vec<String> {
    let said = |entry: Entry| match entry.stamped.input {
        Input::Said(text) => Some(text),
        _ => None,
    };
    read(path, 0).0.into_iter().filter_map(said).collect()
}

/// A journal of the run line and these texts, one a second, the texts numbered from 1 as a tape's lines.
fn journal(dir: &Path, all: &[&str]) -> PathBuf {
    let mut writer = Writer::create(dir, &run("a1", 1), Mono(0)).unwrap();
    for (i, text) in all.iter().enumerate() {
        writer.append(&said(1_000_000 * (i as i64 + 1), text), Some(i as u64 + 1)).unwrap();
    }
    writer.sync().unwrap();
    writer.path().to_path_buf()
}

#[test]
fn a_journal_is_written_read_and_continued() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one", "two"]);
    assert_eq!(path, file_of(dir.path(), "a1").unwrap());
    assert_eq!(list(dir.path()).unwrap(), [Segment { id: "a1".into(), path: path.clone() }]);

    let mut writer = Writer::append_to(&path).unwrap();
    writer.append(&said(3_000_000, "three"), Some(3)).unwrap();
    writer.append(&said(3_500_000, "and a half"), Some(3)).unwrap();
    writer.sync().unwrap();
    assert_eq!(writer.offset(), fs::metadata(&path).unwrap().len());

    let (entries, damaged, refused) = read(&path, 0);
    assert_eq!((entries.len(), damaged, refused), (5, 0, 0));
    assert_eq!(entries[0].stamped.input, Input::Run(run("a1", 1)));
    assert_eq!(entries.iter().map(|e| e.n).collect::<Vec<_>>(), [None, Some(1), Some(2), Some(3), Some(3)]);
    for (i, entry) in entries.iter().enumerate() {
        assert_eq!(read(&path, entry.after).0, entries[i + 1..]);
    }
    assert_eq!(entries[4].after, writer.offset());
    assert_eq!(Reader::open(&path, entries[3].after).unwrap().run(), Some(&run("a1", 1)));
}

#[test]
fn segments_are_listed_by_id_and_nothing_else_is() {
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(list(dir.path()).unwrap(), []);
    for id in ["b", "a-2", "a_1"] {
        Writer::create(dir.path(), &run(id, 1), Mono(0)).unwrap();
    }
    for other in ["notes.txt", ".jsonl", "a b.jsonl", "c.jsonl.bak"] {
        fs::write(folder(dir.path()).join(other), "x").unwrap();
    }
    let ids: Vec<String> = list(dir.path()).unwrap().into_iter().map(|s| s.id).collect();
    assert_eq!(ids, ["a-2", "a_1", "b"]);
}

#[test]
fn a_tail_cut_anywhere_gives_the_lines_before_it() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one", "two", "three"]);
    let whole = fs::read(&path).unwrap();
    let ends: Vec<u64> = read(&path, 0).0.iter().map(|e| e.after).collect();
    for cut in ends[1] as usize..=whole.len() {
        fs::write(&path, &whole[..cut]).unwrap();
        let kept = ends.iter().filter(|end| **end <= cut as u64).count();
        let (entries, damaged, _) = read(&path, 0);
        assert_eq!((entries.len(), damaged), (kept, 0), "cut at {cut}");
        let writer = Writer::append_to(&path).unwrap();
        assert_eq!(writer.offset(), ends[kept - 1], "cut at {cut}");
        assert_eq!(fs::read(&path).unwrap(), whole[..ends[kept - 1] as usize], "cut at {cut}");
    }
}

#[test]
fn garbage_behind_the_last_line_goes_whatever_it_is() {
    let long = "x".repeat(3 * LINE_MAX);
    let long_line = format!("{long}\n");
    let lines_of_it = "bad\n".repeat(5_000);
    let bytes: [&[u8]; 8] = [
        b"\n",
        b"\0\0\0\0\0\0\0\0",
        b"\xff\xfe\n",
        b"{\"t\":1.000,\"said\":\"x\"}\n",
        b"{\"t\":1.000,\"said\":\"x\",\"crc\":\"00000000\"}\n",
        long.as_bytes(),
        long_line.as_bytes(),
        lines_of_it.as_bytes(),
    ];
    for garbage in bytes {
        let dir = tempfile::tempdir().unwrap();
        let path = journal(dir.path(), &["one"]);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, [&whole, garbage].concat()).unwrap();
        let (entries, damaged, refused) = read(&path, 0);
        assert_eq!((entries.len(), damaged, refused), (2, 0, 0));
        Writer::append_to(&path).unwrap();
        assert_eq!(fs::read(&path).unwrap(), whole);
    }
}

#[test]
fn damage_in_the_middle_is_kept_skipped_and_counted() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one", "two", "three"]);
    let whole = fs::read(&path).unwrap();
    let ends: Vec<usize> = read(&path, 0).0.iter().map(|e| e.after as usize).collect();
    for at in ends[1]..ends[2] {
        let mut flipped = whole.clone();
        flipped[at] ^= 0x10;
        fs::write(&path, &flipped).unwrap();
        // A flipped line end makes one bad line of two.
        let expected: &[&str] = if at == ends[2] - 1 { &["one"] } else { &["one", "three"] };
        let damaged = u64::from(expected.len() == 2);
        assert_eq!(texts(&path), expected, "at {at}");
        assert_eq!(read(&path, 0).1, damaged, "at {at}");
        let mut writer = Writer::append_to(&path).unwrap();
        writer.append(&said(9_000_000, "four"), None).unwrap();
        writer.sync().unwrap();
        assert_eq!((texts(&path).len(), read(&path, 0).1), (expected.len() + 1, damaged), "at {at}");
    }
}

#[test]
fn a_damaged_first_line_loses_the_run_and_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one"]);
    let mut bytes = fs::read(&path).unwrap();
    bytes[8] ^= 1;
    fs::write(&path, bytes).unwrap();
    assert_eq!(Reader::open(&path, 0).unwrap().run(), None);
    assert_eq!((texts(&path), read(&path, 0).1), (vec!["one".to_string()], 1));
}

#[test]
fn whole_lines_not_understood_are_refused_not_damaged() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one"]);
    let mut line = r#"{"t":2.000,"sonar":5}"#.to_string();
    gunwale_protocol::tape::seal(&mut line, None);
    fs::write(&path, [fs::read(&path).unwrap(), line.into_bytes(), b"\n".to_vec()].concat()).unwrap();
    let (entries, damaged, refused) = read(&path, 0);
    assert_eq!((entries.len(), damaged, refused), (2, 0, 1));
}

#[test]
fn errors_say_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let path = journal(dir.path(), &["one"]);
    let shown = path.display();
    let newer = Writer::create(dir.path(), &run("new", JOURNAL_SCHEMA + 1), Mono(0)).unwrap();
    let empty = file_of(dir.path(), "empty").unwrap();
    fs::write(&empty, "{\"t\":0.000,\"run").unwrap();
    let mut writer = Writer::append_to(&path).unwrap();
    let cases = [
        (
            Writer::create(dir.path(), &run("a1", 1), Mono(0)).err(),
            format!("{shown} exists already: continue it instead of making it anew"),
        ),
        (Writer::append_to(&empty).err(), format!("{} holds no whole line: make it anew", empty.display())),
        (
            Reader::open(newer.path(), 0).err(),
            format!(
                "{} has journal schema 2, this program reads up to 1: update gunwale",
                newer.path().display()
            ),
        ),
        (
            Writer::append_to(newer.path()).err(),
            format!(
                "{} has journal schema 2, this program reads up to 1: update gunwale",
                newer.path().display()
            ),
        ),
        (
            Reader::open(&path, 5).err(),
            format!("{shown} has no line beginning at byte 5: rebuild the store from the journal"),
        ),
        (
            Reader::open(&path, 1 << 40).err(),
            format!(
                "{shown} has no line beginning at byte 1099511627776: rebuild the store from the journal"
            ),
        ),
        (
            Writer::create(dir.path(), &run("../x", 1), Mono(0)).err(),
            "segment id \"../x\" cannot be a file name: use 1 to 64 letters, digits, - and _".to_string(),
        ),
        (
            writer.append(&said(1, &"x".repeat(LINE_MAX)), None).err(),
            "an input of 65577 bytes is too long for the journal: keep it under 65536".to_string(),
        ),
        (
            Reader::open(&path.join("x"), 0).err(),
            format!(
                "cannot use {shown}/x (Not a directory (os error 20)): check the disk and who may write there"
            ),
        ),
    ];
    for (error, expected) in cases {
        assert_eq!(error.unwrap().to_string(), expected);
    }
    assert_eq!(texts(&path), ["one"]);
}

#[test]
fn a_file_left_without_a_whole_line_is_made_anew() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder(dir.path())).unwrap();
    for left in ["", "{\"t\":0.000,\"ru", "\0\0\0\0"] {
        let path = file_of(dir.path(), "a1").unwrap();
        fs::write(&path, left).unwrap();
        assert_eq!(journal(dir.path(), &["one"]), path);
        assert_eq!((texts(&path), read(&path, 0).1), (vec!["one".to_string()], 0));
    }
}

#[test]
fn a_disk_that_takes_nothing_is_named() {
    let full = OpenOptions::new().write(true).open("/dev/full").unwrap();
    let mut writer = Writer::on(full, "journal/a1.jsonl".into(), 0);
    writer.append(&said(1, "one"), None).unwrap();
    assert_eq!(
        writer.sync().unwrap_err().to_string(),
        "no space left for journal/a1.jsonl: make room, nothing already recorded is lost"
    );
}

/// A disk in memory with so much room, whose syncs fail as often as told and then drop what they should have kept.
#[derive(Default)]
struct Small {
    room: usize,
    failing_syncs: usize,
    bytes: Vec<u8>,
    durable: Vec<u8>,
}

impl Disk for &mut Small {
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize> {
        let offset = offset as usize;
        let taken = bytes.len().min(self.room.saturating_sub(offset));
        if taken == 0 {
            return Err(io::Error::from(io::ErrorKind::StorageFull));
        }
        self.bytes.resize(self.bytes.len().max(offset + taken), 0);
        self.bytes[offset..offset + taken].copy_from_slice(&bytes[..taken]);
        Ok(taken)
    }

    fn set_len(&mut self, length: u64) -> io::Result<()> {
        self.bytes.truncate(length as usize);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        if self.failing_syncs > 0 {
            self.failing_syncs -= 1;
            self.bytes.clone_from(&self.durable);
            return Err(io::Error::other("the card does not answer"));
        }
        self.durable.clone_from(&self.bytes);
        Ok(())
    }
}

fn written(disk: &Small) -> Vec<Stamped> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("x");
    fs::write(&path, &disk.durable).unwrap();
    read(&path, 0).0.into_iter().map(|e| e.stamped).collect()
}

#[test]
fn what_a_full_disk_did_not_take_is_written_once_there_is_room() {
    let inputs: Vec<Stamped> = (0..40).map(|i| said(i, "seven crabs, four keepers")).collect();
    for room in (0..2_500).step_by(7) {
        let mut disk = Small { room, ..Small::default() };
        let mut writer = Writer::on(&mut disk, "x".into(), 0);
        for (i, input) in inputs.iter().enumerate() {
            writer.append(input, None).unwrap();
            let full = writer.sync().is_err();
            assert_eq!(full, writer.offset() > room as u64, "input {i}, room {room}");
            let bytes = &writer.disk.bytes;
            assert!(bytes.is_empty() || bytes.ends_with(b"\n"), "half a line on the disk, room {room}");
        }
        writer.disk.room = usize::MAX;
        writer.sync().unwrap();
        assert_eq!(written(&disk), inputs, "room {room}");
    }
}

#[test]
fn what_a_failed_sync_dropped_is_written_again() {
    let mut disk = Small { room: usize::MAX, failing_syncs: 2, ..Small::default() };
    let mut writer = Writer::on(&mut disk, "x".into(), 0);
    let inputs = [said(1, "one"), said(2, "two"), said(3, "three")];
    writer.append(&inputs[0], None).unwrap();
    assert_eq!(
        writer.sync().unwrap_err().to_string(),
        "cannot use x (the card does not answer): check the disk and who may write there"
    );
    writer.append(&inputs[1], None).unwrap();
    writer.sync().unwrap_err();
    writer.append(&inputs[2], None).unwrap();
    writer.sync().unwrap();
    assert_eq!(written(&disk), inputs);
}

#[test]
fn a_disk_that_stays_full_takes_bounded_memory_and_loses_nothing_it_took() {
    let mut disk = Small { room: 10_000, ..Small::default() };
    let mut writer = Writer::on(&mut disk, "x".into(), 0);
    let mut taken = Vec::new();
    let text = "x".repeat(10_000);
    for i in 0..1_000 {
        let input = said(i, &text);
        if writer.append(&input, None).is_ok() {
            taken.push(input);
        }
    }
    assert!((400..420).contains(&taken.len()), "{} inputs held", taken.len());
    writer.disk.room = usize::MAX;
    let last = said(1_000, "room again");
    writer.append(&last, None).unwrap();
    taken.push(last);
    writer.sync().unwrap();
    assert_eq!(written(&disk), taken);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn lines_come_back_as_they_went_in_however_often_the_power_fails(
        parts in proptest::collection::vec(
            (proptest::collection::vec((any::<i32>(), ".*[a-z].*", any::<Option<u64>>()), 0..20), any::<Vec<u8>>()),
            1..5,
        )
    ) {
        let dir = tempfile::tempdir().unwrap();
        let path = journal(dir.path(), &[]);
        let mut expected = vec![(None, Stamped { t: Mono(0), input: Input::Run(run("a1", 1)) })];
        for (lines, torn) in parts {
            let mut writer = Writer::append_to(&path).unwrap();
            for (t, text, n) in lines {
                let input = said(i64::from(t), &text);
                writer.append(&input, n).unwrap();
                expected.push((n, input));
            }
            writer.sync().unwrap();
            let synced = fs::read(&path).unwrap();
            fs::write(&path, [synced, torn].concat()).unwrap();
        }
        let (entries, damaged, refused) = read(&path, 0);
        prop_assert_eq!((damaged, refused), (0, 0));
        prop_assert_eq!(entries.into_iter().map(|e| (e.n, e.stamped)).collect::<Vec<_>>(), expected);
    }
}
