//! Batches, order, damage, kills and silence, on real directories.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, SystemTime};

use proptest::prelude::*;

use super::db::{damaged, sled_error};
use super::*;

fn doc(at: i64, id: &str, day: Option<&str>, trap: Option<&str>, body: &str) -> Doc {
    Doc {
        at,
        id: id.into(),
        segment: "s1".into(),
        day: day.map(str::to_owned),
        trap: trap.map(str::to_owned),
        body: body.into(),
    }
}

fn put(docs: &[Doc]) -> Batch {
    Batch { put: docs.to_vec(), ..Batch::default() }
}

fn restart(offset: u64) -> Restart {
    Restart { offset, state: format!("{{\"clock\":{offset}}}"), tail: vec![format!("p{offset}")] }
}

/// What a store must hold after some batches, kept in plain maps.
#[derive(Debug, Clone, Default, PartialEq)]
struct Model {
    docs: BTreeMap<String, Doc>,
    segments: BTreeMap<String, Restart>,
    statements: BTreeMap<String, Vec<u8>>,
}

impl Model {
    fn apply(&mut self, batch: &Batch) {
        self.docs.retain(|id, _| !batch.remove.contains(id));
        self.docs.extend(batch.put.iter().map(|doc| (doc.id.clone(), doc.clone())));
        self.segments.extend(batch.restart.iter().cloned());
        self.statements.extend(batch.statements.iter().cloned());
    }

    fn of(store: &Store) -> Result<Model, StoreError> {
        let docs: Result<Vec<Doc>, _> = store.range(UNDATED..i64::MAX).collect();
        Ok(Model {
            docs: docs?.into_iter().map(|doc| (doc.id.clone(), doc)).collect(),
            segments: store.segments()?.into_iter().collect(),
            statements: store.statements()?.into_iter().collect(),
        })
    }

    fn in_order(&self, keep: impl Fn(&Doc) -> bool) -> Vec<Doc> {
        let mut docs: Vec<Doc> = self.docs.values().filter(|doc| keep(doc)).cloned().collect();
        docs.sort_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id)));
        docs
    }
}

/// Holds a store against the model, by every way there is to read it.
fn check(store: &Store, model: &Model) {
    let collect = |docs: Docs<'_>| docs.collect::<Result<Vec<Doc>, _>>().unwrap();
    assert_eq!(store.verify(), Ok(model.docs.len() as u64));
    assert_eq!(Model::of(store).as_ref(), Ok(model));
    assert_eq!(collect(store.range(UNDATED..i64::MAX)), model.in_order(|_| true));
    assert_eq!(collect(store.range(-5..5)), model.in_order(|doc| (-5..5).contains(&doc.at)));
    let mut days: Vec<String> = model.docs.values().filter_map(|doc| doc.day.clone()).collect();
    days.sort();
    days.dedup();
    assert_eq!(store.last_day(), Ok(days.last().cloned()));
    assert_eq!(store.days().as_ref(), Ok(&days));
    for day in days.iter().map(String::as_str).chain(["2000-01-01"]) {
        assert_eq!(collect(store.day(day)), model.in_order(|doc| doc.day.as_deref() == Some(day)));
    }
    for trap in ["", "1", "1\0", "14", "none"] {
        assert_eq!(collect(store.trap(trap)), model.in_order(|doc| doc.trap.as_deref() == Some(trap)));
    }
    for id in ["a", "b", "c", "d", "e"] {
        assert_eq!(store.get(id), Ok(model.docs.get(id).cloned()));
    }
    for segment in ["s1", "s2"] {
        assert_eq!(store.restart(segment), Ok(model.segments.get(segment).cloned()));
    }
}

fn any_doc() -> impl Strategy<Value = Doc> {
    let at = prop_oneof![-6_i64..6, any::<i64>().prop_map(|at| at.min(i64::MAX - 1)), Just(UNDATED)];
    let day = prop::option::of(prop::sample::select(vec!["2027-01-14", "2027-01-15", "2026-12-31"]));
    let trap = prop::option::of(prop::sample::select(vec!["", "1", "1\0", "14"]));
    (at, prop::sample::select(vec!["a", "b", "c", "d", "e"]), day, trap, any::<Vec<u8>>())
        .prop_map(|(at, id, day, trap, body)| Doc { body, ..doc(at, id, day, trap, "") })
}

fn any_batch() -> impl Strategy<Value = Batch> {
    let ids =
        prop::collection::vec(prop::sample::select(vec!["a", "b", "c", "x"]).prop_map(String::from), 0..3);
    let restart = prop::collection::vec(
        (prop::sample::select(vec!["s1", "s2"]).prop_map(String::from), any::<u64>().prop_map(restart)),
        0..2,
    );
    (
        prop::collection::vec(any_doc(), 0..6),
        ids,
        restart,
        prop::collection::vec(("k[ab]", any::<Vec<u8>>()), 0..3),
    )
        .prop_map(|(put, remove, restart, statements)| Batch { put, remove, restart, statements })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn a_store_holds_what_its_batches_say(batches in prop::collection::vec((any_batch(), prop::bool::weighted(0.2)), 1..12)) {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let mut model = Model::default();
        for (batch, reopen) in batches {
            store.apply(&batch).unwrap();
            model.apply(&batch);
            if reopen {
                drop(store);
                store = Store::open(dir.path()).unwrap();
            }
            check(&store, &model);
        }
    }
}

#[test]
fn times_before_and_after_1970_come_in_order() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    let times = [UNDATED, i64::MIN + 1, -1_000_000, -256, -1, 0, 1, 255, 1_799_500_000_000_000, i64::MAX - 1];
    let docs: Vec<Doc> = times.iter().map(|at| doc(*at, &format!("id{at}"), None, None, "")).collect();
    let shuffled: Vec<Doc> = docs.iter().rev().cloned().collect();
    store.apply(&put(&shuffled)).unwrap();
    let read: Vec<i64> = store.range(UNDATED..i64::MAX).map(|doc| doc.unwrap().at).collect();
    assert_eq!(read, times);
    assert_eq!(store.range(5..-5).count(), 0);
}

#[test]
fn a_batch_that_fails_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    let mut model = Model::default();
    let first = put(&[doc(1, "a", Some("2027-01-14"), Some("1"), "first")]);
    store.apply(&first).unwrap();
    model.apply(&first);
    // An id that points nowhere, as damage would leave it.
    let torn = store.guarded(|open| open.by_id.insert("torn", b"nowhere").map_err(sled_error));
    torn.unwrap();
    let second = Batch {
        put: vec![doc(2, "a", None, Some("14"), "second"), doc(3, "torn", None, None, "")],
        restart: vec![("s1".into(), restart(7))],
        ..Batch::default()
    };
    let error = StoreError::Damaged("an id without its document".into());
    assert_eq!(store.apply(&second), Err(error.clone()));
    assert_eq!(store.get("a"), Err(error), "once damaged, it answers nothing");
    drop(store);
    let store = Store::open(dir.path()).unwrap();
    assert_eq!(Model::of(&store), Ok(model));
    assert_eq!(store.verify(), Err(StoreError::Damaged("index rows missing or left over".into())));
}

#[test]
fn a_batch_that_changes_nothing_writes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    let batch = Batch {
        put: vec![doc(1, "a", Some("2027-01-14"), Some("1"), "text")],
        remove: vec!["nobody".into()],
        restart: vec![("s1".into(), restart(7))],
        statements: vec![("k".into(), b"v".to_vec())],
    };
    store.apply(&batch).unwrap();
    let before = files(dir.path());
    store.apply(&batch).unwrap();
    store.apply(&Batch::default()).unwrap();
    assert_eq!(files(dir.path()), before);
}

#[test]
fn an_idle_store_writes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    for i in 0..50 {
        store.apply(&put(&[doc(i, &format!("d{i}"), Some("2027-01-14"), None, &"x".repeat(500))])).unwrap();
    }
    let before = files(dir.path());
    assert!(!before.is_empty());
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(store.range(0..99).count(), 50);
    assert_eq!(files(dir.path()), before);
}

/// Every file below a folder with its length and when it was last written.
fn files(dir: &Path) -> BTreeMap<PathBuf, (u64, SystemTime)> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(dir).unwrap() {
        let entry = entry.unwrap();
        let about = entry.metadata().unwrap();
        if about.is_dir() {
            found.extend(files(&entry.path()));
        } else {
            found.insert(entry.path(), (about.len(), about.modified().unwrap()));
        }
    }
    found
}

#[test]
fn errors_say_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let _held = Store::open(dir.path()).unwrap();
    let file = tempfile::NamedTempFile::new().unwrap();
    let disk_full = std::io::Error::from(std::io::ErrorKind::StorageFull);
    let cases = [
        (
            Store::open(dir.path()).err(),
            "the store is in use by another gunwale: stop that one, or wait for it",
        ),
        (
            Store::open(file.path()).err(),
            "the store is damaged (Not a directory (os error 20)): set it aside and rebuild it from the journal",
        ),
        (
            Some(sled_error(sled::Error::Io(disk_full))),
            "the store cannot be used (no storage space): make room, or mend who may write there",
        ),
        (
            Some(damaged("checksum")),
            "the store is damaged (checksum): set it aside and rebuild it from the journal",
        ),
        (
            set_aside(file.path()).err(),
            "the store cannot be used (Not a directory (os error 20)): make room, or mend who may write there",
        ),
    ];
    for (error, expected) in cases {
        assert_eq!(error.unwrap().to_string(), expected);
    }
}

#[test]
fn a_store_set_aside_is_kept_and_makes_room() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("store.damaged-2")).unwrap();
    for expected in ["store.damaged-1", "store.damaged-3"] {
        let store = Store::open(dir.path()).unwrap();
        assert_eq!(store.verify(), Ok(0));
        store.apply(&put(&[doc(1, "a", None, None, "text")])).unwrap();
        drop(store);
        assert_eq!(set_aside(dir.path()), Ok(dir.path().join(expected)));
        assert!(dir.path().join(expected).join("db").exists());
        assert!(!dir.path().join("store").exists());
    }
}

#[test]
fn reading_while_batches_are_written_never_looks_like_damage() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for round in 0..300_i64 {
                let docs: Vec<Doc> = (0..5)
                    .map(|i| {
                        let trap = ["1", "2", "3"][(round as usize + i) % 3];
                        doc(round % 7, &format!("d{i}"), Some("2027-01-14"), Some(trap), &round.to_string())
                    })
                    .collect();
                let remove = vec![format!("d{}", round % 5)];
                store.apply(&Batch { remove, ..Batch::default() }).unwrap();
                store.apply(&put(&docs)).unwrap();
            }
            done.store(true, std::sync::atomic::Ordering::SeqCst);
        });
        while !done.load(std::sync::atomic::Ordering::SeqCst) {
            for docs in [store.day("2027-01-14"), store.trap("1"), store.range(UNDATED..99)] {
                docs.for_each(|doc| assert!(doc.is_ok(), "{doc:?}"));
            }
            store.get("d3").unwrap();
            store.verify().unwrap();
        }
    });
    assert_eq!(store.verify(), Ok(5));
}

/// The batch a child writes as its `i`-th.
fn numbered(i: u64) -> Batch {
    let body = format!("{i} {}", "seven crabs ".repeat(i as usize % 40));
    Batch {
        put: vec![
            doc(i as i64, &format!("d{i}"), Some("2027-01-14"), Some("1"), &body),
            doc(-(i as i64), &format!("again{}", i % 5), Some("2027-01-15"), None, &body),
        ],
        remove: i.checked_sub(20).map(|old| format!("d{old}")).into_iter().collect(),
        restart: vec![("s1".into(), restart(i))],
        statements: vec![(format!("k{}", i % 3), i.to_string().into_bytes())],
    }
}

const CHILD: &str = "GUNWALE_TEST_STORE";

/// Not a test by itself: what the next one runs as a child, and kills.
#[test]
fn child_that_writes_until_killed() {
    let Some(dir) = std::env::var_os(CHILD) else { return };
    let store = Store::open(Path::new(&dir)).unwrap();
    let next = store.restart("s1").unwrap().map_or(0, |restart| restart.offset + 1);
    for i in next.. {
        store.apply(&numbered(i)).unwrap();
        println!("acknowledged {i}");
    }
}

#[test]
fn a_kill_loses_nothing_acknowledged_and_leaves_no_half_batch() {
    let dir = tempfile::tempdir().unwrap();
    let mut model = Model::default();
    let mut modelled = 0;
    for life in 0..12_u64 {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args([
                "store::tests::child_that_writes_until_killed",
                "--exact",
                "--nocapture",
                "--test-threads=1",
            ])
            .env(CHILD, dir.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut acknowledged = None;
        // Killed after a number of batches that differs in each life, with what was printed meanwhile still read.
        let mut left = 3 + life * 7 % 31;
        for line in out.by_ref() {
            if let Some(i) =
                line.unwrap().rsplit_once("acknowledged ").and_then(|(_, i)| i.parse::<u64>().ok())
            {
                acknowledged = Some(i);
                left = left.saturating_sub(1);
                if left == 0 {
                    child.kill().unwrap();
                }
            }
        }
        child.wait().unwrap();
        let acknowledged = acknowledged.expect("the child acknowledged something");
        let store = Store::open(dir.path()).unwrap();
        let last = store.restart("s1").unwrap().unwrap().offset;
        assert!(last == acknowledged || last == acknowledged + 1, "acknowledged {acknowledged}, kept {last}");
        for i in modelled..=last {
            model.apply(&numbered(i));
        }
        modelled = last + 1;
        check(&store, &model);
    }
    assert!(modelled > 100, "{modelled} batches");
}

/// A small generator, so that the places are the same on every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 16) as usize % sides
    }
}

/// Every file below a folder with its bytes, by its path there.
fn contents(dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let read = |path: PathBuf| (path.strip_prefix(dir).unwrap().to_path_buf(), fs::read(&path).unwrap());
    files(dir).into_keys().map(read).collect()
}

/// Harms a file as a bad card does: some bits turned, a sector gone blank, or the end missing. Says where.
fn harm(bytes: &mut Vec<u8>, dice: &mut Dice) -> usize {
    let place = dice.roll(bytes.len());
    match dice.roll(8) {
        0 => bytes.truncate(place),
        1 => bytes.iter_mut().skip(place / 512 * 512).take(512).for_each(|byte| *byte = 0),
        _ => (0..=dice.roll(3)).for_each(|i| {
            let near = (place + i * dice.roll(9)) % bytes.len();
            bytes[near] ^= 1 << dice.roll(8);
        }),
    }
    place
}

/// How a store is left before it is harmed.
#[derive(Debug, Clone, Copy)]
enum Left {
    Killed,
    Closed,
    Reopened,
}

/// Harms a store of these batches again and again, and says how often it came back whole, at an earlier batch, or as damaged.
fn harmed(batches: &[Batch], left: Left, rounds: usize, dice: &mut Dice) -> [usize; 3] {
    let mut states = vec![Model::default()];
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path()).unwrap();
    for batch in batches {
        store.apply(batch).unwrap();
        let mut next = states.last().unwrap().clone();
        next.apply(batch);
        states.push(next);
    }
    let mut pristine = contents(dir.path());
    drop(store);
    if let Left::Reopened = left {
        drop(Store::open(dir.path()).unwrap());
    }
    if !matches!(left, Left::Killed) {
        pristine = contents(dir.path());
    }
    let mut found = [0; 3];
    for round in 0..rounds {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir_all(dir.path().join("store/blobs")).unwrap();
        let hit = round % pristine.len();
        let mut place = 0;
        for (i, (path, bytes)) in pristine.iter().enumerate() {
            let mut bytes = bytes.clone();
            if i == hit {
                place = harm(&mut bytes, dice);
            }
            fs::write(dir.path().join(path), bytes).unwrap();
        }
        let path = pristine[hit].0.display();
        let opened = Store::open(dir.path());
        match opened.and_then(|store| store.verify().and_then(|_| Model::of(&store))) {
            Ok(model) if model == *states.last().unwrap() => found[0] += 1,
            // Back to an earlier batch, its restarts and all: the journal is read again from there.
            Ok(model) if states.contains(&model) => found[1] += 1,
            Ok(_) => panic!("wrong data unseen: {path} harmed at {place}"),
            Err(StoreError::Damaged(what)) => {
                found[2] += 1;
                if std::env::var_os("ROUNDS").is_some() {
                    eprintln!("WHY {path} {what}");
                }
            }
            Err(e) => panic!("{e}: {path} harmed at {place}"),
        }
        if round % 10 == 0 {
            set_aside(dir.path()).unwrap();
            let store = Store::open(dir.path()).unwrap();
            store.apply(&batches[0]).unwrap();
            assert_eq!(Model::of(&store).as_ref(), Ok(&states[1]));
        }
    }
    found
}

#[test]
fn a_harmed_store_is_whole_earlier_or_damaged_and_nothing_else() {
    let mut dice =
        Dice(std::env::var("SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(0x9e37_79b9_7f4a_7c15));
    let rounds: usize = std::env::var("ROUNDS").ok().and_then(|s| s.parse().ok()).unwrap_or(40);
    let large: Vec<Batch> = (0..60)
        .map(|i| {
            let mut batch = numbered(i);
            batch.put[0].body = vec![b'x'; 300 * (i as usize % 60)];
            batch.put[1].body = vec![b'y'; if i % 20 == 7 { 200_000 } else { 500 }];
            batch
        })
        .collect();
    let small: Vec<Batch> = (0..60).map(numbered).collect();
    for batches in [&small, &large] {
        for left in [Left::Killed, Left::Closed, Left::Reopened] {
            let found = harmed(batches, left, rounds, &mut dice);
            eprintln!("{left:?} {found:?}");
            assert!(found[2] > 0, "{found:?}");
        }
    }
}
