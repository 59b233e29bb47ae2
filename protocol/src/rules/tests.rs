//! Seasons, hours of the day and limits: what is flagged, and what is left alone.

use proptest::prelude::*;

use super::*;
use crate::finding::TimeSource;
use crate::pairing::Grade;
use crate::record::{Pairing, SCHEMA, Weight};
use crate::tally::{Day as Said, Lot, Tally};
use crate::time::{DAY, HOUR};

fn month_day(text: &str) -> MonthDay {
    MonthDay::try_from(text.to_owned()).unwrap()
}

fn window(from: &str, to: &str) -> Window {
    Window { from: month_day(from), to: month_day(to) }
}

fn date(text: &str) -> Date {
    text.parse().unwrap()
}

fn pull() -> Stop {
    Stop { kind: Kind::Pull, taken_in: false, started: None, ended: None, date: None, place: None }
}

#[test]
fn a_day_of_the_year_is_month_and_day() {
    assert_eq!(month_day("02-29").to_string(), "02-29");
    for text in ["", "2-9", "02-30", "13-01", "00-10", "10/15", "10-15 ", "2027-10-15", "1-015"] {
        let problem = MonthDay::try_from(text.to_owned()).map_err(|e| e.to_string());
        let expected = format!("{text:?} is no day of a year: give month and day, such as \"10-15\"");
        assert_eq!(problem, Err(expected));
    }
}

#[test]
fn a_season_holds_its_first_and_last_day_and_may_go_over_the_year() {
    // The season of Florida's stone crab as last read on its authority's page: 15 October to 1 May.
    let winter = window("10-15", "05-01");
    let summer = window("06-01", "08-31");
    let one_day = window("02-29", "02-29");
    for (window, day, inside) in [
        (winter, "2026-10-14", false),
        (winter, "2026-10-15", true),
        (winter, "2026-12-31", true),
        (winter, "2027-01-01", true),
        (winter, "2027-05-01", true),
        (winter, "2027-05-02", false),
        (summer, "2027-05-31", false),
        (summer, "2027-06-01", true),
        (summer, "2027-08-31", true),
        (summer, "2027-09-01", false),
        (one_day, "2028-02-29", true),
        (one_day, "2027-02-28", false),
        (one_day, "2027-03-01", false),
    ] {
        assert_eq!(window.holds(date(day)), inside, "{window:?} {day}");
    }
}

#[test]
fn pulls_outside_every_season_are_flagged() {
    let rules = Rules {
        season: vec![window("10-15", "05-01"), window("07-01", "07-10")],
        set_days_before: 10,
        out_days_after: 5,
        ..Rules::default()
    };
    let (pull, set) = (pull(), Stop { kind: Kind::Set, ..pull() });
    let out = Stop { taken_in: true, ..pull };
    let seen = Stop { kind: Kind::Visit, ..pull };
    for (stop, day, outside) in [
        (pull, "2026-10-15", false),
        (pull, "2026-10-14", true),
        (set, "2026-10-05", false),
        (set, "2026-10-04", true),
        (set, "2027-05-02", true),
        (pull, "2027-05-02", true),
        (out, "2027-05-06", false),
        (out, "2027-05-07", true),
        (out, "2026-10-14", true),
        (pull, "2027-07-10", false),
        (seen, "2027-08-01", false),
    ] {
        let flags = rules.flags(&Stop { date: Some(date(day)), ..stop });
        assert_eq!(flags.contains(&Flag::OutsideSeason), outside, "{stop:?} {day}");
        assert!(Rules::default().flags(&Stop { date: Some(date(day)), ..stop }).is_empty());
    }
    assert!(rules.flags(&pull).is_empty(), "without a date nothing is said");
}

#[test]
fn pulls_in_the_dark_are_flagged() {
    use Flag::{AfterSunset, BeforeSunrise};
    // 25.86° N 81.39° W on 14 January 2027: sunrise 12:14:02, sunset 22:55:20 UTC (NOAA's equations).
    let gulf = LatLon::new(25.86, -81.39).unwrap();
    let lofoten = LatLon::new(68.2, 14.5).unwrap();
    let at = |text: &str| Utc::parse(&format!("2027-{text}Z")).unwrap();
    for (place, started, ended, allowance_min, expected) in [
        (gulf, "01-14T12:14:04", "01-14T12:20:00", 0, None),
        (gulf, "01-14T12:14:00", "01-14T12:20:00", 0, Some(BeforeSunrise)),
        (gulf, "01-14T11:44:04", "01-14T12:20:00", 30, None),
        (gulf, "01-14T11:44:00", "01-14T12:20:00", 30, Some(BeforeSunrise)),
        (gulf, "01-14T22:50:00", "01-14T22:55:18", 0, None),
        (gulf, "01-14T22:50:00", "01-14T22:55:22", 0, Some(AfterSunset)),
        (gulf, "01-14T22:50:00", "01-14T23:25:18", 30, None),
        (gulf, "01-14T22:50:00", "01-14T23:25:22", 30, Some(AfterSunset)),
        // Local midnight is about 17:35 before and after noon at 17:35 UTC: which half of the night it is.
        (gulf, "01-15T05:00:00", "01-15T05:02:00", 0, Some(AfterSunset)),
        (gulf, "01-15T06:00:00", "01-15T06:02:00", 0, Some(BeforeSunrise)),
        // Midnight sun, then polar night: the sun's noon there is about 11:00 UTC.
        (lofoten, "06-21T23:30:00", "06-21T23:32:00", 0, None),
        (lofoten, "12-21T10:52:00", "12-21T10:54:00", 0, Some(BeforeSunrise)),
        (lofoten, "12-21T11:10:00", "12-21T11:12:00", 600, Some(AfterSunset)),
    ] {
        let rules = Rules { daylight_only: true, daylight_allowance_min: allowance_min, ..Rules::default() };
        let stop = Stop { started: Some(at(started)), ended: Some(at(ended)), place: Some(place), ..pull() };
        assert_eq!(rules.flags(&stop), expected.into_iter().collect(), "{started} to {ended}");
        assert!(Rules { daylight_only: false, ..rules.clone() }.flags(&stop).is_empty());
        assert!(rules.flags(&Stop { place: None, ..stop }).is_empty(), "nothing is said without a place");
        assert!(rules.flags(&Stop { kind: Kind::Visit, ..stop }).is_empty());
    }
}

fn record(trap: Option<&str>, g: f64, tally: &[(&str, &str)]) -> Record {
    let mut counted = Tally::default();
    tally.iter().for_each(|(key, value)| counted.set(key, value).unwrap());
    let pairing = Pairing {
        grade: Grade::Sure,
        probability: 1.0,
        distance_m: None,
        runner_up: None,
        runner_up_probability: None,
    };
    Record {
        schema: SCHEMA.into(),
        pull: String::new(),
        kind: Kind::Pull,
        boat: "Tern".into(),
        day: Some("2027-01-14".into()),
        started_at: None,
        ended_at: None,
        time_source: TimeSource::Gps,
        position: None,
        trap: trap.map(str::to_owned),
        pairing,
        soak_h: None,
        set: None,
        tally: counted,
        tally_from: Default::default(),
        drafts: Tally::default(),
        weight: (g > 0.0).then(|| Weight {
            total_g: g,
            sd_g: 1.0,
            weighings: Vec::new(),
            by_size: Default::default(),
        }),
        depth_m: None,
        water_c: None,
        notes: Vec::new(),
        day_said: Said::default(),
        flags: BTreeSet::new(),
    }
}

#[test]
fn what_goes_over_a_limit_is_flagged() {
    let none = Rules::default();
    let grams = Rules { claw_g_per_person: Some(1_000.0), ..none.clone() };
    let two = Rules { people: Some(2), ..grams.clone() };
    let boat = Rules { claw_g_per_boat: Some(1_500.0), ..two.clone() };
    let litres = Rules { claw_l_per_boat: Some(2.0), ..none.clone() };
    let measured = Rules { claw_g_per_l: Some(600.0), ..litres.clone() };
    let traps = Rules { traps_per_person: Some(2), ..none.clone() };
    let pulls = [
        record(Some("1"), 900.0, &[]),
        record(Some("2"), 0.0, &[("crabs", "0")]),
        record(Some("3"), 200.0, &[]),
        record(Some("3"), 0.0, &[("crabs", "2")]),
        record(None, 0.0, &[("keepers", "1")]),
        record(Some("1"), 600.0, &[]),
        Record { kind: Kind::Set, ..record(Some("9"), 0.0, &[]) },
        record(Some("4"), 400.0, &[]),
    ];
    for (rules, over) in [
        (&none, [false, false, false, false, false, false, false, false]),
        (&grams, [false, false, true, false, true, true, false, true]),
        (&two, [false, false, false, false, false, false, false, true]),
        (&boat, [false, false, false, false, false, true, false, true]),
        (&litres, [false, false, false, false, false, false, false, false]),
        (&measured, [false, false, false, false, false, true, false, true]),
        (&traps, [false, false, true, false, false, false, false, true]),
    ] {
        let mut landed = Landed::default();
        assert_eq!(pulls.each_ref().map(|pull| landed.add(pull, rules)), over, "{rules:?}");
    }
}

#[test]
fn what_is_said_of_the_day_counts_where_a_limit_asks_for_it() {
    let rules = Rules {
        claw_l_per_person: Some(2.0),
        claw_g_per_boat: Some(900.0),
        traps_per_person: Some(1),
        people: Some(2),
        ..Rules::default()
    };
    let measured = Rules { claw_g_per_l: Some(300.0), ..rules.clone() };
    let lots = |g: &[u32]| g.iter().map(|g| Lot { size: g.to_string(), g: *g }).collect();
    // Grams and litres of the day, and whether of claws and of traps there is more than the limit.
    for (rules, said, expected) in [
        (&rules, Said::default(), (Some(600.0), None, false, true)),
        (&rules, Said { people: Some(3), ..Said::default() }, (Some(600.0), None, false, false)),
        (&rules, Said { volume_l: Some(4.1), ..Said::default() }, (Some(600.0), Some(4.1), true, true)),
        (
            &rules,
            Said { volume_l: Some(4.1), people: Some(3), ..Said::default() },
            (Some(600.0), Some(4.1), false, false),
        ),
        (&rules, Said { lots: lots(&[200, 300]), ..Said::default() }, (Some(600.0), None, false, true)),
        (&rules, Said { lots: lots(&[700, 300]), ..Said::default() }, (Some(1_000.0), None, true, true)),
        (&measured, Said::default(), (Some(600.0), Some(2.0), false, true)),
        (&measured, Said { volume_l: Some(1.5), ..Said::default() }, (Some(600.0), Some(2.0), false, true)),
        (
            &measured,
            Said { lots: lots(&[600, 210]), people: Some(1), ..Said::default() },
            (Some(810.0), Some(2.7), true, true),
        ),
    ] {
        let mut landed = Landed { said: said.clone(), ..Landed::default() };
        for trap in ["1", "2", "3"] {
            landed.add(&record(Some(trap), 200.0, &[]), rules);
        }
        let amount = |measure| landed.amount(measure, rules);
        let over =
            (landed.over(rules, |of| of != Measure::Traps), landed.over(rules, |of| of == Measure::Traps));
        assert_eq!((amount(Measure::Grams), amount(Measure::Litres), over.0, over.1), expected, "{said:?}");
    }
}

#[test]
fn rules_are_written_short_and_those_of_later_versions_are_read() {
    assert_eq!(serde_json::to_string(&Rules::default()).unwrap(), "{}");
    let text = r#"{"season":[{"from":"10-15","to":"05-01"}],"daylight_only":true,"claw_l_per_person":3.785}"#;
    let rules: Rules = serde_json::from_str(text).unwrap();
    assert_eq!(serde_json::to_string(&rules).unwrap(), text);
    let later = text.replace("{\"season", "{\"moon\":\"full\",\"season");
    assert_eq!(serde_json::from_str::<Rules>(&later).unwrap(), rules);
}

proptest! {
    /// A wider allowance, more days or a larger limit never flags what was not flagged before.
    #[test]
    fn looser_rules_flag_less(
        at in 0i64..4_102_444_800,
        minutes in 0i64..600,
        lat in -90.0..=90.0f64,
        lon in -180.0..=180.0f64,
        tight in 0u16..300,
        looser in 0u16..300,
    ) {
        let rules = |allowance: u16| Rules {
            season: vec![window("10-15", "05-01")],
            set_days_before: (allowance / 4) as u8,
            daylight_only: true,
            daylight_allowance_min: allowance,
            ..Rules::default()
        };
        let started = Utc(at * SECOND);
        let stop = Stop {
            kind: Kind::Set,
            started: Some(started),
            ended: Some(started + minutes * HOUR / 60),
            date: started.day_in("UTC"),
            place: LatLon::new(lat, lon).ok(),
            ..pull()
        };
        let (some, fewer) = (rules(tight).flags(&stop), rules(tight + looser).flags(&stop));
        prop_assert!(fewer.is_subset(&some), "{:?} {:?}", some, fewer);
        // A day has at most two twilights: half a day of allowance on either side leaves nothing outside but polar night.
        let far = rules(12 * 60).flags(&stop);
        prop_assert!(lat.abs() > 65.0 || !far.contains(&Flag::AfterSunset) || minutes * HOUR / 60 > DAY / 2);
    }
}
