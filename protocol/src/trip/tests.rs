//! Trips over one string of traps, told by place and word, and which trap each pull should be.

use std::collections::BTreeSet;

use super::*;
use crate::finding::{Moment, SetDown, Spot, TimeSource};
use crate::input::{Correction, Stated, TrapPlace, TrapStated};
use crate::pairing::Grade;
use crate::sizes::Sizes;
use crate::time::{DAY, Mono, SECOND};

/// Metres east and north of the string's first trap, on the water's flat.
type Metres = (f64, f64);

fn spot((east, north): Metres) -> Spot {
    // Degree lengths at 24.8° N: 110,769.935 m and 101,112.664 m (WGS 84, by GeographicLib).
    Spot { lat: 24.8 + north / 110_769.935, lon: -81.0 + east / 101_112.664, sd_m: 2.0 }
}

/// One pull: where it was picked up, where set again, what was said.
struct Told<'a> {
    up: Metres,
    down: Metres,
    said: &'a str,
}

/// Picked up and set at one place.
fn at(east: f64, said: &str) -> Told<'_> {
    Told { up: (east, 0.0), down: (east, 0.0), said }
}

/// Trips two days apart, a pull every five minutes; per pull the trap and its grade, and the register at the end.
fn haul(statements: Vec<Statement>, trips: &[Vec<Told<'_>>]) -> (Vec<Vec<Record>>, Register) {
    let mut ledger = Ledger::new(statements);
    let mut records = Vec::new();
    for (trip, pulls) in trips.iter().enumerate() {
        for (n, told) in pulls.iter().enumerate() {
            let start = trip as i64 * 2 * DAY + n as i64 * 300 * SECOND;
            let moment = |s: i64| Moment { t: Mono(start + s * SECOND), utc: Some(Utc(start + s * SECOND)) };
            let note = |said: &str| Note {
                id: format!("note {trip} {n}"),
                at: moment(20),
                text: Some(said.to_owned()),
                sound: None,
                late: false,
            };
            let stop = Stop {
                id: format!("{trip:04x}{n:04x}"),
                started: moment(0),
                ended: Some(moment(120)),
                time_source: TimeSource::Gps,
                position: Some(spot(told.up)),
                fixes: 120,
                set: Some(SetDown { at: moment(110), spot: spot(told.down) }),
                notes: vec![note(told.said)],
                weighings: Vec::new(),
                depth_m: None,
                water_c: None,
                flags: BTreeSet::new(),
            };
            let found = Found {
                boat: "Tern".into(),
                timezone: "UTC".into(),
                rules: None,
                words: Speech::default(),
                sizes: Sizes::default(),
                finding: Finding::Stop(stop),
            };
            ledger.settle(found.at());
            ledger.take(found);
        }
        let outcomes = ledger.finish().into_iter().filter_map(|(_, entry)| match entry {
            Entry::Pull(record) => Some(*record),
            _ => None,
        });
        records.push(outcomes.collect());
    }
    (records, ledger.register().clone())
}

fn stated(trap: &str, east: f64) -> Statement {
    let Spot { lat, lon, .. } = spot((east, 0.0));
    let place = TrapPlace::Position { lat, lon, set_at: None };
    Statement { at: Utc(-DAY), said: Stated::Trap(TrapStated { trap: trap.into(), place }) }
}

fn string(traps: usize, gap_m: f64) -> Vec<Statement> {
    (0..traps).map(|n| stated(&(n + 1).to_string(), n as f64 * gap_m)).collect()
}

/// The traps of each trip, `–` for none.
fn traps(records: &[Vec<Record>]) -> Vec<Vec<&str>> {
    records.iter().map(|trip| trip.iter().map(|r| r.trap.as_deref().unwrap_or("–")).collect()).collect()
}

#[test]
fn a_trap_the_register_lacks_is_offered_found_again_and_named() {
    let trips = [
        vec![at(0.0, "six crabs"), at(200.0, "two crabs")],
        vec![at(1.0, "empty"), at(201.0, "two crabs")],
        vec![at(0.0, "trap nine, four crabs"), at(200.0, "one crab")],
        vec![at(0.0, "one crab")],
    ];
    let (records, register) = haul(vec![], &trips);
    let [first, second] = ["new-0000", "new-00000001"];
    assert_eq!(traps(&records), [vec!["–", "–"], vec![first, second], vec!["9", second], vec!["9"]]);
    let soak: Vec<Option<f64>> = records[1].iter().chain(&records[3]).map(|r| r.soak_h).collect();
    // 48 h less the 110 s from start to set; then 48 h after it was named.
    assert_eq!(soak, [Some(47.969), Some(47.969), Some(47.969)]);
    let names: Vec<&str> = register.entries().map(|entry| entry.trap.as_str()).collect();
    assert_eq!(names, ["9", second]);
}

#[test]
fn a_trap_named_on_its_first_day_is_that_trap() {
    let trips = [
        vec![at(0.0, "new trap seven, dropping it here"), at(200.0, "trap eight, two crabs")],
        vec![at(0.0, "six crabs"), at(202.0, "no crabs")],
        vec![at(0.0, "six crabs, taking this one home"), at(200.0, "one crab")],
        vec![at(0.0, "three crabs"), at(400.0, "trap seven, dropping it here")],
        vec![at(400.0, "five crabs")],
    ];
    let (records, _) = haul(vec![], &trips);
    // Where seven was taken in, a trap that is pulled there is another.
    assert_eq!(traps(&records), [vec!["7", "8"], vec!["7", "8"], vec!["7", "8"], vec!["–", "7"], vec!["7"]]);
    assert!(records.concat().iter().filter(|r| r.trap.is_some()).all(|r| r.pairing.grade == Grade::Sure));
    assert_eq!((records[3][1].soak_h, records[4][0].soak_h.is_some()), (None, true));
}

#[test]
fn a_wrong_number_said_does_not_move_a_trap() {
    let trips = [vec![at(1.0, "trap two, six crabs"), at(199.0, "three crabs"), at(400.0, "trap ninety")]];
    let (records, register) = haul(string(3, 200.0), &trips);
    assert_eq!(traps(&records), [["1", "2", "3"]]);
    assert!(register.get("90").is_none());
}

#[test]
fn two_traps_that_changed_places_sort_themselves_out() {
    // The register has 3 and 4 the wrong way round; the crew names them as they are, when it does.
    let told = || vec![at(0.0, "two crabs"), at(30.0, "x"), at(60.0, "trap four"), at(90.0, "trap three")];
    let (records, register) = haul(string(5, 30.0), &[told(), told(), told()]);
    assert_eq!(traps(&records)[1..], [["1", "2", "4", "3"], ["1", "2", "4", "3"]]);
    let far = |trap: &str, east: f64| (register.get(trap).unwrap().spot.lon - spot((east, 0.0)).lon).abs();
    assert!(far("4", 60.0) < 1e-9 && far("3", 90.0) < 1e-9);
}

#[test]
fn the_usual_order_tells_neighbours_apart() {
    // Ten metres apart and pulled half way between: only the order says which.
    let keen = |gap: f64| (0..8).map(|n| at(n as f64 * gap, "one crab")).collect::<Vec<_>>();
    let half = |from: usize| {
        let off = |n: usize| if n < from { 0.0 } else { 5.0 };
        (0..8).filter(|n| *n != 3).map(|n| at(n as f64 * 10.0 + off(n), "one crab")).collect::<Vec<_>>()
    };
    let (records, _) = haul(string(8, 10.0), &[keen(10.0), keen(10.0), half(5)]);
    assert_eq!(traps(&records)[2], ["1", "2", "3", "5", "6", "7", "8"]);
}

#[test]
fn a_string_hauled_twice_in_a_day_is_the_same_traps_twice() {
    let mut trip: Vec<Told<'_>> = (0..30).map(|n| at(n as f64 * 40.0, "one crab")).collect();
    // Thirty pulls of five minutes later, each lies where it was set the first time: 15 m on.
    trip.iter_mut().for_each(|told| told.down.0 += 15.0);
    let again = (0..30).map(|n| at(n as f64 * 40.0 + 15.0, "one crab"));
    let (records, _) = haul(string(30, 40.0), &[trip.into_iter().chain(again).collect()]);
    let names: Vec<String> = (0..60).map(|n| (n % 30 + 1).to_string()).collect();
    assert_eq!(traps(&records)[0], names);
    assert!(records[0][30..].iter().all(|r| r.soak_h == Some(2.469)));
}

#[test]
fn a_visit_leaves_register_and_soak_alone() {
    let trips = [vec![at(1.0, "leave that one, let it soak"), at(0.5, "three crabs")]];
    let (records, _) = haul(string(2, 100.0), &trips);
    assert_eq!(traps(&records), [["1", "1"]]);
    assert_eq!(records[0][0].kind, Kind::Visit);
}

#[test]
fn what_a_person_said_stays_put() {
    let trips = || [vec![at(1.0, "six crabs"), at(31.0, "three crabs")], vec![at(0.0, "x"), at(30.0, "y")]];
    let correct = |pull: &str, trap: &str| Statement {
        at: Utc(9 * DAY),
        said: Stated::Correct(Correction { of: pull.into(), set: vec![("trap".into(), trap.into())] }),
    };
    let mut statements = string(2, 30.0);
    statements.push(correct("00000000", "2"));
    let (records, _) = haul(statements.clone(), &trips());
    assert_eq!((records[0][0].trap.as_deref(), records[0][0].pairing.grade), (Some("2"), Grade::Corrected));
    // The other pull cannot be trap 2 then, and what is left is thirty metres off.
    assert_eq!(records[0][1].trap.as_deref(), Some("1"));
    assert_eq!(traps(&records)[1], ["2", "1"]);
    statements.push(correct("00000001", "none"));
    let (records, _) = haul(statements, &trips());
    assert_eq!(traps(&records)[0], ["2", "–"]);
    // Said to be none, so trap 1 has not moved: thirty metres off, it may have dragged.
    assert_eq!(records[1][1].pairing.distance_m.map(f64::round), Some(30.0));
}

#[test]
fn what_is_said_at_one_pull_of_another_or_of_the_day_goes_where_it_belongs() {
    let said = [
        "six crabs",
        "trap before had two keepers. four crabs, two pounds six",
        "three of us aboard",
        "mark this one",
    ];
    let trips =
        [said.into_iter().enumerate().map(|(n, said)| at(n as f64 * 200.0, said)).collect::<Vec<_>>()];
    let (records, _) = haul(string(4, 200.0), &trips);
    let [first, second, third, fourth] = records[0].as_slice() else { panic!("four pulls") };
    // Of the pull before it is a draft there, and nothing here.
    assert_eq!(first.drafts.get("keepers").as_deref(), Some("2"));
    assert_eq!((second.tally.get("crabs").as_deref(), second.tally.get("keepers")), (Some("4"), None));
    // Two pounds and six ounces: NIST SP 811, appendix B.
    let weight = second.weight.as_ref().unwrap();
    assert_eq!((weight.total_g, weight.sd_g, weight.weighings.len()), (1077.0, 53.9, 1));
    assert!(second.flags.contains(&Flag::WeightSaid) && first.weight.is_none());
    assert_eq!((third.day_said.people, third.tally.is_empty()), (Some(3), true));
    assert_eq!([first, fourth].map(|record| record.notes[0].marked), [false, true]);
    let spans: Vec<(usize, usize, &str)> =
        first.notes[0].spans.iter().map(|span| (span.from, span.to, span.key.as_str())).collect();
    assert_eq!(spans, [(0, 9, "crabs")]);
}

#[test]
fn a_trap_said_to_be_new_is_none_that_lies_there() {
    let trips = [vec![at(1.0, "new spot, new trap, dropping it here"), at(201.0, "six crabs")]];
    let (records, register) = haul(string(2, 200.0), &trips);
    assert_eq!(traps(&records), [["–", "2"]]);
    assert_eq!(register.entries().count(), 3);
}

#[test]
fn a_name_of_words_tells_which_trap_it_was() {
    let statements = vec![stated("Old Tom", 0.0), stated("B7", 9.0)];
    let trips = [vec![at(4.5, "Old Tom, six crabs")], vec![at(4.5, "trap B seven, two crabs")]];
    let (records, _) = haul(statements, &trips);
    assert_eq!(traps(&records), [["Old Tom"], ["B7"]]);
}

#[test]
fn a_correction_settles_what_was_to_be_confirmed() {
    let correct = |of: &str, field: &str, value: &str| {
        let set = vec![(field.to_owned(), value.to_owned())];
        Statement { at: Utc(1), said: Stated::Correct(Correction { of: of.to_owned(), set }) }
    };
    let mut statements = string(2, 200.0);
    statements.extend([
        correct("00000000", "crabs", "6"),
        correct("00000000", "keepers", ""),
        correct("00000001", "shorts", ""),
    ]);
    let trips = [vec![
        at(1.0, "about six crabs, two shorts I think"),
        at(201.0, "about four crabs, about two shorts. last one had two keepers"),
    ]];
    let (records, _) = haul(statements, &trips);
    let told = |record: &Record| [&record.tally, &record.drafts].map(|t| serde_json::to_value(t).unwrap());
    use serde_json::json;
    assert_eq!(told(&records[0][0]), [json!({"crabs": 6}), json!({})]);
    assert_eq!(told(&records[0][1]), [json!({}), json!({"crabs": 4})]);
}
