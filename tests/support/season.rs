//! Pulls without end, made by arithmetic, each different and always the same; and a store full of them.

#![allow(clippy::unwrap_used, reason = "a benchmark fails by panicking")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use gunwale::records::Kept;
use gunwale::store::{Batch, Doc, Store};
use gunwale_protocol::finding::{Finding, Moment, Spot, Stop, TimeSource};
use gunwale_protocol::pairing::Grade;
use gunwale_protocol::record::{
    NoteRecord, Pairing, Position, Record, SCHEMA, SetRecord, TextFrom, WeighingRecord, Weight, round,
};
use gunwale_protocol::tally::{Count, Kind, Origin, Tally};
use gunwale_protocol::time::{Mono, SECOND, Utc};
use gunwale_protocol::trip::{Entry, Found};

/// Pulls a day.
const A_DAY: u64 = 400;
/// The first of them, 2027-01-01T12:00:00Z.
const FIRST: i64 = 1_798_804_800 * SECOND;
const WORDS: [&str; 12] = [
    "seven crabs",
    "four keepers",
    "two shorts",
    "bait gone",
    "fresh bait",
    "tie broken",
    "a hair under",
    "no keepers",
    "berried female",
    "said \"back he goes\"",
    "half bait",
    "trap fouled",
];

/// The pulls, in order of time.
pub fn pulls() -> impl Iterator<Item = Record> {
    (0..).map(pull)
}

/// When a pull began.
fn started(n: u64) -> Utc {
    Utc(FIRST) + (n / A_DAY * 86_400 + n % A_DAY * 90) as i64 * SECOND
}

fn pull(n: u64) -> Record {
    // SplitMix64 (Steele and others 2014).
    let mut state = n.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mut next = move |below: u64| {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % below
    };
    let started = started(n);
    let at = |seconds: i64| Some((started + seconds * SECOND).to_string());
    let trap = 1 + n % A_DAY;
    let (lat, lon) = (24.7 + trap as f64 * 0.0003, -81.6 - (n % 7) as f64 * 0.0004);
    let mut place = |degrees: f64| round(degrees + next(1_000) as f64 * 1e-7, 7);
    let position = Position { lat: place(lat), lon: place(lon), sd_m: 2.14, fixes: 40 + (n % 80) as u32 };
    let set = SetRecord { at: at(80), lat: place(lat), lon: place(lon), sd_m: 2.4 };
    let counts: BTreeMap<Count, u32> =
        [(Count::Crabs, 9), (Count::Keepers, 4), (Count::Claws, 5), (Count::Shorts, 3)]
            .map(|(count, most)| (count, next(most) as u32))
            .into();
    let tally = Tally { counts, bait_added: Some(true), ..Tally::default() };
    let tally_from = tally.stated().map(|key| (key.to_owned(), Origin::Typed)).collect();
    let notes = (0..2).map(|number| {
        let words = [next(12), next(12), next(12)].map(|word| WORDS[word as usize]).join(", ");
        NoteRecord {
            note: format!("{:016x}", n * 2 + number),
            at: at(20 + number as i64 * 30),
            seconds: Some(4.2),
            file: Some(format!("notes/2027-01-01/{:016x}.wav", n * 2 + number)),
            text: Some(words),
            text_from: TextFrom::Heard,
            confidence: Some(0.93),
            marked: false,
            spans: Vec::new(),
        }
    });
    let notes = notes.collect();
    let weighings: Vec<WeighingRecord> = (0..2)
        .map(|_| WeighingRecord { at: at(60), g: 150.0 + next(2_000) as f64 / 10.0, sd_g: 1.5, size: None })
        .collect();
    let total_g = round(weighings.iter().map(|w| w.g).sum(), 1);
    Record {
        schema: SCHEMA.into(),
        pull: format!("{:016x}", n.wrapping_mul(0x9e37_79b9_7f4a_7c15)),
        kind: Kind::Pull,
        boat: "Second Helping".into(),
        day: Some(started.to_string()[..10].to_owned()),
        started_at: at(0),
        ended_at: at(80),
        time_source: TimeSource::Gps,
        position: Some(position),
        trap: Some(trap.to_string()),
        pairing: Pairing {
            grade: Grade::Sure,
            probability: round(0.95 + next(500) as f64 / 10_000.0, 4),
            distance_m: Some(round(next(120) as f64 / 10.0, 1)),
            runner_up: Some((trap + 1).to_string()),
            runner_up_probability: Some(0.001),
        },
        soak_h: Some(round(next(96_000) as f64 / 1_000.0, 3)),
        set: Some(set),
        tally,
        tally_from,
        drafts: Tally::default(),
        weight: Some(Weight { total_g, sd_g: 2.1, by_size: BTreeMap::new(), weighings }),
        depth_m: Some(3.1),
        water_c: Some(21.4),
        notes,
        day_said: Default::default(),
        flags: BTreeSet::new(),
    }
}

/// Fills the store of a data directory, without a journal: to export, the store is all that is read.
#[allow(dead_code, reason = "each benchmark uses its part")]
pub fn store(data: &Path, many: usize) {
    let store = Store::open(data).unwrap();
    let mut batch = Batch::default();
    for (n, record) in pulls().take(many).enumerate() {
        let at = started(n as u64);
        let (id, day, trap) = (record.pull.clone(), record.day.clone(), record.trap.clone());
        let position = record.position.as_ref().map(|p| Spot { lat: p.lat, lon: p.lon, sd_m: p.sd_m });
        let stop = Stop {
            id: id.clone(),
            started: Moment { t: Mono(at.0), utc: Some(at) },
            ended: Some(Moment { t: Mono(at.0 + 80 * SECOND), utc: Some(at + 80 * SECOND) }),
            time_source: TimeSource::Gps,
            position,
            fixes: 40,
            set: None,
            notes: Vec::new(),
            weighings: Vec::new(),
            depth_m: None,
            water_c: None,
            flags: BTreeSet::new(),
        };
        let found = Found {
            boat: record.boat.clone(),
            timezone: "UTC".into(),
            rules: None,
            words: Default::default(),
            sizes: Default::default(),
            finding: Finding::Stop(stop),
        };
        let entry = Some(Entry::Pull(Box::new(record)));
        let body = serde_json::to_vec(&Kept { found, entry }).unwrap();
        batch.put.push(Doc { at: at.0, id, segment: "season".into(), day, trap, body });
        if batch.put.len() == 500 {
            store.apply(&std::mem::take(&mut batch)).unwrap();
        }
    }
    store.apply(&batch).unwrap();
}
