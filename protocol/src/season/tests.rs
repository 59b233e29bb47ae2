//! What counts of a record, and in which row.

use super::*;
use crate::finding::Flag;
use crate::finding::TimeSource;
use crate::record::{Pairing, SCHEMA, Weight};
use crate::tally::Tally;

mod ranges;

/// A pull: trap and grade, hours of soak, tally, grams.
type Told<'a> = (Option<&'a str>, Grade, Option<f64>, &'a [(&'a str, &'a str)], Option<f64>);

fn record((trap, grade, soak_h, tally, g): Told<'_>) -> Record {
    let mut counted = Tally::default();
    tally.iter().for_each(|(key, value)| counted.set(key, value).unwrap());
    let pairing =
        Pairing { grade, probability: 1.0, distance_m: None, runner_up: None, runner_up_probability: None };
    Record {
        schema: SCHEMA.into(),
        pull: String::new(),
        kind: Kind::Pull,
        boat: "Tern".into(),
        day: None,
        started_at: None,
        ended_at: None,
        time_source: TimeSource::Gps,
        position: None,
        trap: trap.map(str::to_owned),
        pairing,
        soak_h,
        set: None,
        tally: counted,
        tally_from: BTreeMap::new(),
        drafts: Tally::default(),
        weight: g.map(|g| Weight {
            total_g: g,
            sd_g: 1.0,
            weighings: Vec::new(),
            by_size: Default::default(),
        }),
        depth_m: None,
        water_c: None,
        notes: Vec::new(),
        day_said: Default::default(),
        flags: Default::default(),
    }
}

fn season(records: &[Record]) -> Season {
    let mut season = Season::default();
    records.iter().for_each(|record| season.take(record));
    season
}

#[test]
fn only_what_was_stated_counts() {
    // Tally and grams of one pull; then pulls and totals of crabs, keepers, claws and grams, and how many were empty of how many.
    type Case<'a> = (&'a [(&'a str, &'a str)], Option<f64>, [(u32, f64); 4], (f64, f64));
    let nothing = (0, 0.0);
    let none = (1, 0.0);
    let cases: &[Case] = &[
        (&[], None, [nothing; 4], (0.0, 0.0)),
        (&[("bait_added", "true")], Some(812.0), [nothing, nothing, nothing, (1, 812.0)], (0.0, 0.0)),
        (&[("crabs", "7")], None, [(1, 7.0), nothing, nothing, nothing], (0.0, 1.0)),
        (&[("crabs", "7"), ("keepers", "4")], None, [(1, 7.0), (1, 4.0), nothing, nothing], (0.0, 1.0)),
        (&[("crabs", "7"), ("keepers", "0")], None, [(1, 7.0), none, none, none], (0.0, 1.0)),
        (&[("crabs", "0")], None, [none; 4], (1.0, 1.0)),
        (&[("claws", "0")], None, [nothing, nothing, none, none], (0.0, 0.0)),
        (&[("claws", "3")], Some(500.0), [nothing, nothing, (1, 3.0), (1, 500.0)], (0.0, 0.0)),
        (&[("crabs", "0")], Some(40.0), [none, none, none, (1, 40.0)], (1.0, 1.0)),
        (&[("crabs", "3"), ("claws", "0")], None, [(1, 3.0), nothing, none, none], (0.0, 1.0)),
    ];
    for (tally, g, measures, empty) in cases {
        let rows = season(&[record((Some("1"), Grade::Sure, Some(48.0), tally, *g))]).rows();
        for row in rows {
            assert_eq!(row.measures.map(|m| (m.pulls, m.total)), *measures, "{tally:?}");
            assert_eq!((row.empty.part, row.empty.of), *empty, "{tally:?}");
            let per_pull = row.measures.map(|m| m.per_pull.value.is_some());
            assert_eq!(per_pull, measures.map(|(pulls, _)| pulls > 0), "{tally:?}");
        }
    }
}

/// Two pulls say their claws, two with keepers do not, and two had none: as if one of the two that had none.
#[test]
fn noughts_count_no_more_than_what_is_said_of_the_rest() {
    let told: [&[(&str, &str)]; 7] = [
        &[("crabs", "5"), ("keepers", "3"), ("claws", "4")],
        &[("crabs", "2"), ("keepers", "1"), ("claws", "2")],
        &[("crabs", "4"), ("keepers", "2")],
        &[("keepers", "2")],
        &[("crabs", "6"), ("keepers", "0")],
        &[("crabs", "0")],
        &[("bait_added", "true")],
    ];
    let records = told.map(|tally| record((Some("1"), Grade::Sure, Some(48.0), tally, None)));
    let row = season(&records).rows().swap_remove(0);
    let [crabs, keepers, claws, g] = row.measures;
    assert_eq!(
        (crabs.pulls, crabs.total, crabs.unsaid, crabs.per_pull.value),
        (5, 17.0, 0, Some(17.0 / 5.0))
    );
    assert_eq!(
        (keepers.pulls, keepers.total, keepers.unsaid, keepers.per_pull.value),
        (6, 8.0, 0, Some(8.0 / 6.0))
    );
    assert_eq!((claws.pulls, claws.total, claws.unsaid, claws.per_pull.value), (4, 6.0, 2, Some(2.0)));
    assert_eq!(claws.per_soak_day.value, Some(1.0));
    assert_eq!((g.pulls, g.unsaid, g.per_pull.value), (2, 4, None), "nobody weighed: nothing is known");
}

#[test]
fn shares_are_of_crabs_of_pulls_that_stated_both() {
    let told: [&[(&str, &str)]; 5] = [
        &[("crabs", "7"), ("shorts", "2"), ("berried", "1")],
        &[("crabs", "5"), ("shorts", "0")],
        &[("crabs", "9")],
        &[("crabs", "0")],
        &[("shorts", "3")],
    ];
    let records = told.map(|tally| record((Some("1"), Grade::Sure, None, tally, None)));
    let row = season(&records).rows().swap_remove(0);
    assert_eq!(row.shares.map(|share| (share.part, share.of)), [(2.0, 12.0), (1.0, 7.0)]);
    assert_eq!(row.shares.map(|share| share.share.value), [Some(2.0 / 12.0), Some(1.0 / 7.0)]);
    assert_eq!(row.shares[1].share.high, None, "one pull says nothing of what the next will have");
    assert_eq!((row.empty.part, row.empty.of), (1.0, 4.0));
}

#[test]
fn a_row_holds_the_pulls_it_is_of() {
    let crabs: &[(&str, &str)] = &[("crabs", "2")];
    let unclear = Record {
        flags: [Flag::CountDiffers].into(),
        ..record((Some("2"), Grade::Sure, Some(30.0), &[("crabs", "1"), ("keepers", "4")], Some(300.0)))
    };
    let seen = Record {
        kind: Kind::Visit,
        ..record((Some("10"), Grade::Sure, Some(20.0), &[("trap_state", "moved")], None))
    };
    let set = Record { kind: Kind::Set, ..record((Some("11"), Grade::Sure, None, &[("crabs", "9")], None)) };
    let records = [
        record((Some("10"), Grade::Sure, Some(24.0), crabs, None)),
        record((Some("10"), Grade::Likely, Some(47.0), crabs, None)),
        record((Some("9"), Grade::Corrected, Some(48.0), &[("crabs", "1"), ("tampered", "true")], None)),
        record((Some("9"), Grade::Doubtful, Some(48.0), crabs, None)),
        record((None, Grade::None, None, crabs, None)),
        record((Some("2"), Grade::Sure, None, &[], None)),
        unclear,
        seen,
        set,
    ];
    let rows = season(&records).rows();
    let short: Vec<String> = rows
        .iter()
        .map(|row| {
            let (trap, soak) = (row.trap.as_deref().unwrap_or("-"), row.soak.map_or("-", Soak::days));
            let crabs = row.measures[0];
            format!(
                "{}|{trap}|{soak}: {} pulls, {} likely, {} unclear, {} soaks of {} d, {} crabs in {}, {} g, gear {:?}",
                row.by.word(),
                row.pulls,
                row.likely,
                row.unclear,
                row.soaks,
                (row.soak_days * 100.0).round() / 100.0,
                crabs.total,
                crabs.pulls,
                row.measures[3].total,
                row.gear,
            )
        })
        .collect();
    let expected = [
        "all|-|-: 7 pulls, 1 likely, 1 unclear, 4 soaks of 6.21 d, 9 crabs in 5, 300 g, gear [1, 1, 0, 0]",
        "soak|-|to 1: 2 pulls, 0 likely, 1 unclear, 2 soaks of 2.25 d, 2 crabs in 1, 300 g, gear [0, 0, 0, 0]",
        "soak|-|2: 2 pulls, 1 likely, 0 unclear, 2 soaks of 3.96 d, 3 crabs in 2, 0 g, gear [1, 0, 0, 0]",
        "soak|-|unknown: 3 pulls, 0 likely, 0 unclear, 0 soaks of 0 d, 4 crabs in 2, 0 g, gear [0, 1, 0, 0]",
        "trap|2|-: 2 pulls, 0 likely, 1 unclear, 1 soaks of 1.25 d, 0 crabs in 0, 300 g, gear [0, 0, 0, 0]",
        "trap|9|-: 1 pulls, 0 likely, 0 unclear, 1 soaks of 2 d, 1 crabs in 1, 0 g, gear [1, 0, 0, 0]",
        "trap|10|-: 2 pulls, 1 likely, 0 unclear, 2 soaks of 2.96 d, 4 crabs in 2, 0 g, gear [0, 1, 0, 0]",
        "trap|-|-: 2 pulls, 0 likely, 0 unclear, 0 soaks of 0 d, 4 crabs in 2, 0 g, gear [0, 0, 0, 0]",
        "trap and soak|2|to 1: 1 pulls, 0 likely, 1 unclear, 1 soaks of 1.25 d, 0 crabs in 0, 300 g, gear [0, 0, 0, 0]",
        "trap and soak|2|unknown: 1 pulls, 0 likely, 0 unclear, 0 soaks of 0 d, 0 crabs in 0, 0 g, gear [0, 0, 0, 0]",
        "trap and soak|9|2: 1 pulls, 0 likely, 0 unclear, 1 soaks of 2 d, 1 crabs in 1, 0 g, gear [1, 0, 0, 0]",
        "trap and soak|10|to 1: 1 pulls, 0 likely, 0 unclear, 1 soaks of 1 d, 2 crabs in 1, 0 g, gear [0, 0, 0, 0]",
        "trap and soak|10|2: 1 pulls, 1 likely, 0 unclear, 1 soaks of 1.96 d, 2 crabs in 1, 0 g, gear [0, 0, 0, 0]",
        "trap and soak|10|unknown: 0 pulls, 0 likely, 0 unclear, 0 soaks of 0 d, 0 crabs in 0, 0 g, gear [0, 1, 0, 0]",
        "trap and soak|-|unknown: 2 pulls, 0 likely, 0 unclear, 0 soaks of 0 d, 4 crabs in 2, 0 g, gear [0, 0, 0, 0]",
    ];
    for (found, expected) in short.iter().zip(expected) {
        assert_eq!(found, expected);
    }
    assert_eq!(short.len(), expected.len());
    assert!(Season::default().rows().is_empty());

    let mut backwards = records.to_vec();
    backwards.reverse();
    assert_eq!(season(&backwards).rows(), rows, "whatever the order");
}

#[test]
fn a_trap_pulled_every_day_has_soaked_one_day() {
    for (hours, days) in [
        (0.0, "to 1"),
        (22.0, "to 1"),
        (35.9, "to 1"),
        (36.0, "2"),
        (59.9, "2"),
        (72.0, "3"),
        (84.0, "4 to 5"),
        (131.9, "4 to 5"),
        (132.0, "6 to 8"),
        (203.9, "6 to 8"),
        (204.0, "over 8"),
        (5_000.0, "over 8"),
    ] {
        assert_eq!(Soak::of(Some(hours)).days(), days, "{hours} h");
    }
    assert_eq!(Soak::of(None).days(), "unknown");
}

#[test]
fn traps_stand_in_the_order_of_their_numbers() {
    let mut names =
        ["B10", "10a", "B9", "2", "10", "007", "1", "A", "", "99999999999999999999999999999999999999999"];
    names.sort_by_cached_key(|name| natural(name));
    let expected =
        ["", "1", "2", "007", "10", "10a", "99999999999999999999999999999999999999999", "A", "B9", "B10"];
    assert_eq!(names, expected);
}
