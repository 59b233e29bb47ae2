//! Fixed cases, and what must hold at any place and time.

use proptest::prelude::*;

use super::*;
use crate::time::HOUR;

/// Latitude, longitude, local date; then rise and set, each by NOAA's equations with four passes, by PyPI astral 3.2 and by
/// PyPI ephem 4.2.1 (sun's centre at −0:50, no air pressure), month-day and time in UTC.
type Case = (f64, f64, &'static str, [&'static str; 3], [&'static str; 3]);
const CASES: &[Case] = &[
    (
        24.8,
        -80.9,
        "2026-10-15",
        ["10-15T11:21:41", "10-15T11:21:53", "10-15T11:21:44"],
        ["10-15T22:56:34", "10-15T22:56:23", "10-15T22:56:35"],
    ), // Florida Keys bay side
    (
        24.8,
        -80.9,
        "2026-12-21",
        ["12-21T12:03:49", "12-21T12:04:02", "12-21T12:03:49"],
        ["12-21T22:39:45", "12-21T22:39:32", "12-21T22:39:43"],
    ), // Florida Keys bay side
    (
        25.86,
        -81.39,
        "2027-01-14",
        ["01-14T12:14:02", "01-14T12:14:14", "01-14T12:14:03"],
        ["01-14T22:55:20", "01-14T22:55:08", "01-14T22:55:20"],
    ), // Florida Gulf coast
    (
        28.75,
        -82.7,
        "2027-05-01",
        ["05-01T10:49:56", "05-01T10:50:09", "05-01T10:49:57"],
        ["05-02T00:06:15", "05-02T00:06:03", "05-02T00:06:14"],
    ), // Florida Gulf coast
    (
        31.4,
        -81.2,
        "2027-03-20",
        ["03-20T11:28:45", "03-20T11:28:58", "03-20T11:28:48"],
        ["03-20T23:36:11", "03-20T23:35:59", "03-20T23:36:12"],
    ), // Georgia coast
    (
        42.3,
        -8.8,
        "2027-06-21",
        ["06-21T04:58:36", "06-21T04:58:53", "06-21T04:58:37"],
        ["06-21T20:15:20", "06-21T20:15:03", "06-21T20:15:19"],
    ), // Galicia
    (
        -43.0,
        147.4,
        "2026-12-21",
        ["12-20T18:27:17", "12-20T18:27:35", "12-20T18:27:18"],
        ["12-21T09:49:16", "12-21T09:48:58", "12-21T09:49:14"],
    ), // Tasmania
    (
        0.0,
        0.0,
        "2027-03-20",
        ["03-20T06:04:14", "03-20T06:04:25", "03-20T06:04:16"],
        ["03-20T18:10:45", "03-20T18:10:35", "03-20T18:10:46"],
    ), // Equator
    (
        68.2,
        14.5,
        "2027-05-10",
        ["05-10T01:13:55", "05-10T01:14:48", "05-10T01:13:57"],
        ["05-10T20:47:14", "05-10T20:46:18", "05-10T20:47:11"],
    ), // Lofoten
];

fn seconds_off(found: Horizon, local_date: &str, expected: &str) -> i64 {
    let Horizon::Crossed(found) = found else { panic!("{found:?} on {local_date}") };
    let year = &local_date[..4];
    let expected = Utc::parse(&format!("{year}-{expected}Z")).unwrap();
    (found - expected).abs() / SECOND
}

#[test]
fn sun_times_are_the_published_ones() {
    for &(lat, lon, date, rises, sets) in CASES {
        let solar_noon =
            Utc::parse(&format!("{date}T12:00:00Z")).unwrap() - (lon / 15.0 * HOUR as f64) as i64;
        let day = day(solar_noon, LatLon::new(lat, lon).unwrap());
        for (found, [noaa, astral, ephem]) in [(day.rise, rises), (day.set, sets)] {
            assert!(seconds_off(found, date, noaa) <= 1, "{lat} {lon} {date} {found:?}, NOAA {noaa}");
            assert!(seconds_off(found, date, astral) <= 60, "{lat} {lon} {date} {found:?}, astral {astral}");
            assert!(seconds_off(found, date, ephem) <= 5, "{lat} {lon} {date} {found:?}, ephem {ephem}");
        }
    }
}

/// The sun's place on 14 January 2027 at noon: NOAA's equations worked out in Python.
#[test]
fn the_suns_place_is_the_published_one() {
    let sun = Sun::at(Utc::parse("2027-01-14T12:00:00Z").unwrap());
    assert!((sun.declination_rad.to_degrees() + 21.292_818).abs() < 1e-6);
    assert!((sun.equation_min + 8.959_033).abs() < 1e-6);
}

#[test]
fn polar_day_and_night_are_told_as_such() {
    for (lat, date, expected) in [
        (68.2, "2027-06-21", Horizon::Above),
        (68.2, "2026-12-21", Horizon::Below),
        (-68.2, "2026-12-21", Horizon::Above),
        (-68.2, "2027-06-21", Horizon::Below),
        (90.0, "2027-05-01", Horizon::Above),
        (-90.0, "2027-05-01", Horizon::Below),
    ] {
        let at = Utc::parse(&format!("{date}T03:00:00Z")).unwrap();
        let day = day(at, LatLon::new(lat, 14.5).unwrap());
        assert_eq!((day.rise, day.set), (expected, expected), "{lat} on {date}");
    }
}

proptest! {
    /// From 1900 to 2100.
    #[test]
    fn a_moment_lies_in_its_own_day(
        at in -2_208_988_800i64..4_102_444_800,
        lat in -90.0..=90.0f64,
        lon in -180.0..=180.0f64,
    ) {
        let (at, place) = (Utc(at * SECOND), LatLon::new(lat, lon).unwrap());
        let day = day(at, place);
        // The day is as long as from noon to noon, and that changes by half a minute.
        prop_assert!((at - day.noon).abs() <= DAY / 2 + 30 * SECOND);
        prop_assert_eq!(super::day(day.noon, place), day);
        if let Horizon::Crossed(rise) = day.rise {
            prop_assert!(rise < day.noon && day.noon - rise <= DAY / 2 + 60 * SECOND);
        }
        if let Horizon::Crossed(set) = day.set {
            prop_assert!(set > day.noon && set - day.noon <= DAY / 2 + 60 * SECOND);
        }
        if lat.abs() < 65.0 {
            prop_assert!(matches!((day.rise, day.set), (Horizon::Crossed(_), Horizon::Crossed(_))), "{:?}", day);
        }
    }

    #[test]
    fn any_moment_has_an_answer(at in any::<i64>(), lat in -90.0..=90.0f64, lon in -180.0..=180.0f64) {
        day(Utc(at), LatLon::new(lat, lon).unwrap());
    }
}
