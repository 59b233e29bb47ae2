//! Batches, order, damage, kills and silence, on real directories.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

use proptest::prelude::*;

use super::db::{damaged, sled_error};
use super::*;

mod harm;

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
    let backwards = std::ops::Range { start: 5, end: -5 };
    assert_eq!(store.range(backwards).count(), 0);
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
