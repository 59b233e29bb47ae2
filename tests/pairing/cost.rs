//! What pairing costs: a long trip in a big register, and how it grows.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use gunwale_protocol::finding::{Finding, Moment, Note, SetDown, Spot, Stop, TimeSource};
use gunwale_protocol::input::{Stated, Statement, TrapPlace, TrapStated};
use gunwale_protocol::sizes::Sizes;
use gunwale_protocol::time::{DAY, Mono, SECOND, Utc};
use gunwale_protocol::trip::{Found, Ledger};

/// Traps, pulls of a trip, metres between traps.
const CASES: [(usize, usize, f64); 7] = [
    (5_000, 250, 30.0),
    (5_000, 500, 30.0),
    (5_000, 1_000, 30.0),
    (5_000, 500, 15.0),
    (20_000, 500, 30.0),
    (100_000, 500, 30.0),
    (100_000, 1_000, 30.0),
];

/// Prints, for each case, the time of a pull on the second trip, when the order is known, in microseconds and over the first case's.
pub fn table() {
    println!("\ncost: traps, pulls in a trip, metres apart, µs a pull, over the first");
    let mut first = None;
    for (traps, pulls, gap_m) in CASES {
        let spent = second_trip(traps, pulls, gap_m).as_secs_f64() * 1e6 / pulls as f64;
        let base = *first.get_or_insert(spent);
        println!("{traps:>8} {pulls:>6} {gap_m:>5} {spent:>8.0} {:>6.2}", spent / base);
    }
}

fn spot(east: f64, north: f64) -> Spot {
    Spot { lat: 24.8 + north / 110_769.935, lon: -81.0 + east / 101_112.664, sd_m: 2.5 }
}

fn second_trip(traps: usize, pulls: usize, gap_m: f64) -> Duration {
    let side = (traps as f64).sqrt() as usize;
    let stated = |trap: usize| {
        let Spot { lat, lon, .. } = spot((trap % side) as f64 * gap_m, (trap / side) as f64 * gap_m);
        let place = TrapPlace::Position { lat, lon, set_at: None };
        Statement { at: Utc(-DAY), said: Stated::Trap(TrapStated { trap: trap.to_string(), place }) }
    };
    let mut ledger = Ledger::new((0..traps).map(stated).collect());
    let mut spent = Duration::ZERO;
    for trip in 0..2 {
        for pull in 0..pulls {
            let found = found(trip, pull, side, gap_m);
            ledger.settle(found.at());
            ledger.take(found);
        }
        let begun = Instant::now();
        assert_eq!(ledger.finish().len(), pulls);
        spent = begun.elapsed();
    }
    spent
}

fn found(trip: i64, pull: usize, side: usize, gap_m: f64) -> Found {
    let (row, along) = (pull / side, pull % side);
    let along = if row.is_multiple_of(2) { along } else { side - 1 - along };
    let stray = |prime: usize| (pull * prime % 7) as f64 - 3.0;
    let at = spot(along as f64 * gap_m + stray(7_919), row as f64 * gap_m + stray(104_729));
    let start = trip * 2 * DAY + pull as i64 * 100 * SECOND;
    let moment = |s: i64| Moment { t: Mono(start + s * SECOND), utc: Some(Utc(start + s * SECOND)) };
    let text = Some("two crabs".to_owned());
    let stop = Stop {
        id: format!("{pull:08x}{trip:08x}"),
        started: moment(0),
        ended: Some(moment(60)),
        time_source: TimeSource::Gps,
        position: Some(at),
        fixes: 60,
        set: Some(SetDown { at: moment(55), spot: at }),
        notes: vec![Note { id: format!("{trip} {pull}"), at: moment(20), text, sound: None, late: false }],
        weighings: Vec::new(),
        depth_m: None,
        water_c: None,
        flags: BTreeSet::new(),
    };
    Found {
        boat: "Tern".into(),
        timezone: "UTC".into(),
        rules: None,
        words: Default::default(),
        sizes: Sizes::default(),
        finding: Finding::Stop(stop),
    }
}
