//! Kills while batches are written, and files harmed as a bad card harms them.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::*;

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

/// No test by itself: the next one runs it as a child, and kills it.
#[test]
#[ignore = "a part of the test that kills it"]
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
                "store::tests::harm::child_that_writes_until_killed",
                "--exact",
                "--ignored",
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
        let look = |store: &Store| store.verify().and_then(|_| Model::of(store));
        let outcome = Store::open(dir.path()).and_then(|store| {
            let model = look(&store)?;
            let Some(kept) = states.iter().rposition(|state| *state == model) else {
                panic!("wrong data unseen: {path} harmed at {place}");
            };
            // Back at an earlier batch, its restarts and all: the journal is read again from there.
            for batch in &batches[kept..] {
                store.apply(batch)?;
            }
            drop(store);
            let model = look(&Store::open(dir.path())?)?;
            assert!(Some(&model) == states.last(), "wrong data after going on: {path} harmed at {place}");
            Ok(kept)
        });
        match outcome {
            Ok(kept) if kept == batches.len() => found[0] += 1,
            Ok(_) => found[1] += 1,
            Err(StoreError::Damaged(_)) => found[2] += 1,
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
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let large: Vec<Batch> = (0..30)
        .map(|i| {
            let mut batch = numbered(i);
            batch.put[0].body = vec![b'x'; 600 * i as usize];
            batch.put[1].body = vec![b'y'; if i % 10 == 7 { 200_000 } else { 500 }];
            batch
        })
        .collect();
    let small: Vec<Batch> = (0..30).map(numbered).collect();
    for batches in [&small, &large] {
        for left in [Left::Killed, Left::Closed, Left::Reopened] {
            let found = harmed(batches, left, 12, &mut dice);
            assert!(found[2] > 0, "{left:?}: whole, earlier, damaged {found:?}");
        }
    }
}
