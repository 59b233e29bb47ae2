//! What tape lines are taken, refused and written, and what a seal catches.

use proptest::prelude::*;

use super::*;
use crate::rules::{MonthDay, Rules, Window};
use crate::tally::Speech;

fn canonical(line: &str) -> Result<String, String> {
    let mut out = Vec::new();
    for stamped in read(line).map_err(|e| e.to_string())? {
        let mut one = String::new();
        write(&stamped, &mut one);
        out.push(one);
    }
    Ok(out.join("|"))
}

#[test]
fn lines_are_read_and_written_canonically() {
    let cases = [
        (r#"{"t":12.031,"gps":"$GPRMC,x*5C"}"#, r#"{"t":12.031,"gps":"$GPRMC,x*5C"}"#),
        (r#"{"t":0,"scale":"US,GS,+  0.182kg"}"#, r#"{"t":0.000,"scale":"US,GS,+  0.182kg"}"#),
        (r#"{"t":-0.5,"button":true}"#, r#"{"t":-0.500,"button":true}"#),
        (r#"{"t":-1e-6,"button":false}"#, r#"{"t":-0.000001,"button":false}"#),
        (r#"{"t":1.23450049,"said":"é \u0001\n\"\\"}"#, r#"{"t":1.2345,"said":"é \u0001\n\"\\"}"#),
        (r#"{"t":4294967295,"said":"x"}"#, r#"{"t":4294967295.000,"said":"x"}"#),
        (r#"{"gps":"a","t":1,"more":{"t":2},"n":4,"crc":"?"}"#, r#"{"t":1.000,"gps":"a"}"#),
        (r#"{"t":1,"gps":""}"#, r#"{"t":1.000,"gps":""}"#),
        (
            r#"{"t":1,"button":true,"said":"b","scale":"c","gps":"d"}"#,
            r#"{"t":1.000,"gps":"d"}|{"t":1.000,"scale":"c"}|{"t":1.000,"said":"b"}|{"t":1.000,"button":true}"#,
        ),
        (
            r#"{"t":1,"at":"2027-01-14T08:15:02.4-05:00","trap":{"trap":"007","lat":26,"lon":-82.1}}"#,
            r#"{"t":1.000,"at":"2027-01-14T13:15:02.400Z","trap":{"trap":"007","lat":26.0,"lon":-82.1}}"#,
        ),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02.400001Z","trap":{"trap":"7","retired":true}}"#,
            r#"{"t":1.000,"at":"2027-01-14T13:15:02.400001Z","trap":{"trap":"7","retired":true}}"#,
        ),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","pull":"ab"},"correct":{"of":"ab","set":[["keepers","4"],["trap",""]]}}"#,
            r#"{"t":1.000,"at":"2027-01-14T13:15:02.000Z","trap":{"trap":"7","pull":"ab"}}|{"t":1.000,"at":"2027-01-14T13:15:02.000Z","correct":{"of":"ab","set":[["keepers","4"],["trap",""]]}}"#,
        ),
        (
            r#"{"t":31.002,"note":"clips/a.wav"}"#,
            r#"{"t":31.002,"note":"clips/a.wav","seconds":0.000,"speech":0.000}"#,
        ),
        (
            r#"{"speech":0.8,"t":31.002,"seconds":4.2000625,"note":"a.wav","said":"two"}"#,
            r#"{"t":31.002,"said":"two"}|{"t":31.002,"note":"a.wav","seconds":4.200063,"speech":0.800}"#,
        ),
        (r#"{"t":0,"audio":"mic.wav"}"#, r#"{"t":0.000,"audio":"mic.wav"}"#),
        (r#"{"t":5,"gone":1    ,"n":2}"#, r#"{"t":5.000,"gone":1}"#),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02Z","heard":{"note":"ab","text":"two keepers","confidence":0.5,"by":"x","mood":1,"sure":true}}"#,
            r#"{"t":1.000,"at":"2027-01-14T13:15:02.000Z","heard":{"note":"ab","text":"two keepers","confidence":0.5,"by":"x","sure":true}}"#,
        ),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02Z","forget":{"of":"ab"}}"#,
            r#"{"t":1.000,"at":"2027-01-14T13:15:02.000Z","forget":{"of":"ab"}}"#,
        ),
        (
            r#"{"t":1,"run":{"schema":1,"id":"a1","boat":"Osprey","timezone":"America/New_York","program":"gunwale 0.1.0"}}"#,
            r#"{"t":1.000,"run":{"id":"a1","boat":"Osprey","timezone":"America/New_York","program":"gunwale 0.1.0","schema":1}}"#,
        ),
    ];
    for (line, expected) in cases {
        assert_eq!(canonical(line).as_deref(), Ok(expected), "{line}");
    }
}

#[test]
fn refusals_say_what_to_do() {
    let trap = "`trap` is not as it should be: make it an object with the trap's name as `trap`, and `lat` and `lon`, \
                or `pull`, or `retired`: true";
    let place = "`trap` is not as it should be: make it a place with lat from -90 to 90 and lon from -180 to 180 degrees";
    let correct = "`correct` is not as it should be: make it an object with `of`, the pull's or note's id, and `set`, \
                   a list of [field, value] pairs";
    let t =
        "`t` is not as it should be: make it seconds on the file's clock, a number within 4294967295 of zero";
    let said = "`said` is not as it should be: make it text with at least one word in it";
    let path = "is not as it should be: make it the path of a WAV file";
    let in_s = "is not as it should be: make it seconds, a number from 0 to 86400";
    let heard = "`heard` is not as it should be: make it an object with the note's id as `note`, `text`, and a \
                 `confidence` from 0 to 1 if there is one";
    let gps = "`gps` is not as it should be: make it text";
    let kinds = "nothing known in the line: give it one of gps, scale, said, note, audio, button, trap, correct, \
                 heard, forget, run";
    let at = "`at` is not as it should be: make it a time in UTC such as \"2027-01-14T13:15:02.400Z\"";
    let cases = [
        ("", "not JSON at column 0: write one whole JSON object a line"),
        ("{\"t\":1,\"gps\":\"a", "not JSON at column 15: write one whole JSON object a line"),
        (r#"{"t":1,"gps":"a"} x"#, "not JSON at column 19: write one whole JSON object a line"),
        (r#"{"t":1e999,"gps":"a"}"#, "not JSON at column 10: write one whole JSON object a line"),
        ("[1]", "no JSON object: write each line as {\"t\":12.031,\"gps\":\"…\"}"),
        ("7", "no JSON object: write each line as {\"t\":12.031,\"gps\":\"…\"}"),
        (r#"{"t":1,"t":1,"gps":"a"}"#, "`t` stands twice: keep one of them"),
        (r#"{"t":1,"gps":"a","gps":"b"}"#, "`gps` stands twice: keep one of them"),
        (r#"{"gps":"a"}"#, "no `t`: add it, seconds on the file's clock, a number within 4294967295 of zero"),
        (r#"{"t":null,"gps":"a"}"#, t),
        (r#"{"t":"1","gps":"a"}"#, t),
        (r#"{"t":4294967295.1,"gps":"a"}"#, t),
        (r#"{"t":-1e300,"gps":"a"}"#, t),
        ("{}", "no `t`: add it, seconds on the file's clock, a number within 4294967295 of zero"),
        (r#"{"t":1}"#, kinds),
        (r#"{"t":1,"at":"x","sonar":5}"#, kinds),
        (r#"{"t":1,"gps":5}"#, gps),
        (r#"{"t":1,"gps":null}"#, gps),
        (r#"{"t":1,"gps":["a"]}"#, gps),
        (r#"{"t":1,"scale":{}}"#, "`scale` is not as it should be: make it text"),
        (r#"{"t":1,"said":" \t"}"#, said),
        (r#"{"t":1,"said":7}"#, said),
        (r#"{"t":1,"button":1}"#, "`button` is not as it should be: make it true (down) or false (up)"),
        (
            r#"{"t":1,"run":{"id":"a"}}"#,
            "`run` is not as it should be: make it an object with id, boat, timezone, program and schema",
        ),
        (
            r#"{"t":1,"trap":{"trap":"7","retired":true}}"#,
            "no `at`: add it, a time in UTC such as \"2027-01-14T13:15:02.400Z\"",
        ),
        (r#"{"t":1,"at":"soon","trap":{"trap":"7","retired":true}}"#, at),
        (r#"{"t":1,"at":5,"trap":{"trap":"7","retired":true}}"#, at),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":7,"retired":true}}"#, trap),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7"}}"#, trap),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":" ","retired":true}}"#, trap),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","retired":false}}"#, trap),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","pull":""}}"#, trap),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","lat":90.01,"lon":0}}"#, place),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","lat":0,"lon":-180.01}}"#, place),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02Z","trap":{"trap":"7","lat":0,"lon":0,"set_at":"monday"}}"#,
            "`trap` is not as it should be: make it a trap whose set_at is a time in UTC such as \
             \"2027-01-14T13:15:02.400Z\"",
        ),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","correct":{"of":"ab","set":[]}}"#, correct),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","correct":{"of":"","set":[["a","b"]]}}"#, correct),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","correct":{"of":"ab","set":[["",""]]}}"#, correct),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","correct":{"of":"ab","set":{"a":"b"}}}"#, correct),
        (r#"{"t":1,"note":""}"#, &format!("`note` {path}")),
        (r#"{"t":1,"audio":7}"#, &format!("`audio` {path}")),
        (r#"{"t":1,"note":"a.wav","seconds":-1}"#, &format!("`seconds` {in_s}")),
        (r#"{"t":1,"note":"a.wav","seconds":2,"speech":"1"}"#, &format!("`speech` {in_s}")),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","heard":{"note":"ab"}}"#, heard),
        (r#"{"t":1,"at":"2027-01-14T13:15:02Z","heard":{"note":"ab","text":"","confidence":1.1}}"#, heard),
        (
            r#"{"t":1,"at":"2027-01-14T13:15:02Z","forget":{"of":" "}}"#,
            "`forget` is not as it should be: make it an object with the note's id as `of`",
        ),
        (
            r#"{"t":1,"forget":{"of":"ab"}}"#,
            "no `at`: add it, a time in UTC such as \"2027-01-14T13:15:02.400Z\"",
        ),
    ];
    for (line, expected) in cases {
        assert_eq!(canonical(line).as_ref().map_err(String::as_str), Err(expected), "{line}");
    }
}

#[test]
fn a_seal_fits_only_its_own_line() {
    for n in [None, Some(0), Some(u64::MAX)] {
        let mut line = String::new();
        write(&Stamped { t: Mono(1), input: Input::Said("crabs\",\"n\":5".into()) }, &mut line);
        let open = line.clone();
        seal(&mut line, n);
        assert_eq!(unseal(&line), Some(Sealed { n }), "{line}");
        assert_eq!(read(&line), read(&open));
        assert_eq!(unseal(&open), None);
        for at in 0..line.len() {
            assert_eq!(unseal(&line[..at]), None, "cut at {at}");
            for bit in 0..8 {
                let mut bytes = line.clone().into_bytes();
                bytes[at] ^= 1 << bit;
                if let Ok(flipped) = String::from_utf8(bytes) {
                    assert_eq!(unseal(&flipped), None, "bit {bit} of byte {at}: {flipped}");
                }
            }
        }
    }
    for line in ["", "\"}", "é234567\"}", "{\"t\":1,\"crc\":\"00000000\"}"] {
        assert_eq!(unseal(line), None, "{line}");
    }
}

#[test]
fn the_schema_shows_even_when_the_rest_is_strange() {
    assert_eq!(schema(r#"{"t":0,"run":{"schema":99,"who":[]}}"#), Some(99));
    assert_eq!(schema(r#"{"t":0,"run":{"id":"a"}}"#), None);
    assert_eq!(schema(r#"{"t":0,"gps":"a"}"#), None);
}

fn spoken() -> impl Strategy<Value = String> {
    any::<String>().prop_filter("blank", |s| !s.trim().is_empty())
}

fn utc() -> impl Strategy<Value = Utc> {
    (-62_000_000_000_000_000..200_000_000_000_000_000_i64).prop_map(Utc)
}

fn place() -> impl Strategy<Value = TrapPlace> {
    prop_oneof![
        (-90.0..=90.0, -180.0..=180.0, proptest::option::of(utc()))
            .prop_map(|(lat, lon, at)| TrapPlace::Position { lat, lon, set_at: at.map(utc_text) }),
        spoken().prop_map(|pull| TrapPlace::Pull { pull }),
        Just(TrapPlace::Retired { retired: true }),
    ]
}

fn rules() -> impl Strategy<Value = Option<Box<Rules>>> {
    let limit = || proptest::option::of(any::<f64>().prop_filter("a number", |x| x.is_finite()));
    let day =
        || (1..=12u8, 1..=28u8).prop_map(|(m, d)| MonthDay::try_from(format!("{m:02}-{d:02}")).unwrap());
    let season = proptest::collection::vec((day(), day()).prop_map(|(from, to)| Window { from, to }), 0..3);
    let rules = (season, any::<(u8, u8, bool, u16)>(), limit(), limit(), any::<(Option<u16>, Option<u16>)>());
    let rules = rules.prop_map(|(season, of_time, smallest_claw_mm, claw_g_per_boat, of_people)| Rules {
        season,
        set_days_before: of_time.0,
        out_days_after: of_time.1,
        daylight_only: of_time.2,
        daylight_allowance_min: of_time.3,
        smallest_claw_mm,
        claw_g_per_boat,
        people: of_people.0,
        traps_per_person: of_people.1,
        ..Rules::default()
    });
    proptest::option::of(rules.prop_map(Box::new))
}

fn stamped() -> impl Strategy<Value = Stamped> {
    let limit = Mono::LIMIT_S as i64 * SECOND;
    let text = any::<String>;
    let stated = prop_oneof![
        (spoken(), place()).prop_map(|(trap, place)| Stated::Trap(TrapStated { trap, place })),
        (spoken(), proptest::collection::vec((spoken(), text()), 1..4))
            .prop_map(|(of, set)| Stated::Correct(Correction { of, set })),
        (
            spoken(),
            text(),
            proptest::option::of(0.0..=1.0),
            proptest::option::of(text()),
            any::<(bool, bool)>()
        )
            .prop_map(|(note, text, confidence, by, (confirms, only_text))| {
                let sure = by.as_ref().map(|by| by.len() % 2 == 0);
                let also = by.clone().filter(|by| by.len() > 2);
                Stated::Heard(Heard { note, text, also, confidence, by, sure, confirms, only_text })
            }),
        spoken().prop_map(|of| Stated::Forget(Forgotten { of })),
    ];
    let input = prop_oneof![
        text().prop_map(Input::Gps),
        text().prop_map(Input::Scale),
        spoken().prop_map(Input::Said),
        any::<bool>().prop_map(Input::Button),
        Just(Input::Gone),
        spoken().prop_map(Input::Audio),
        (spoken(), 0..=86_400 * SECOND, 0.0..=1.0).prop_map(|(file, length_us, share)| {
            Input::Note(Voice { file, length_us, speech_us: (length_us as f64 * share) as i64 })
        }),
        (text(), text(), text(), text(), any::<u32>(), proptest::option::of(text()), rules()).prop_map(
            |(id, boat, timezone, program, schema, system, rules)| Input::Run(Run {
                sizes: crate::sizes::Sizes::default(),
                id,
                boat,
                timezone,
                program,
                schema,
                system,
                rules,
                words: Speech {
                    language: if schema % 2 == 0 { "en".into() } else { "es".into() },
                    words: [("keepers".to_owned(), vec!["takers".to_owned()])]
                        .into_iter()
                        .take(schema as usize % 3)
                        .collect(),
                },
            })
        ),
        (utc(), stated).prop_map(|(at, said)| Input::Statement(Statement { at, said })),
    ];
    (-limit..=limit, input).prop_map(|(t, input)| Stamped { t: Mono(t), input })
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(stamped in stamped(), n in any::<Option<u64>>()) {
        let mut line = String::new();
        write(&stamped, &mut line);
        prop_assert!(!line.contains('\n'));
        seal(&mut line, n);
        prop_assert_eq!(unseal(&line), Some(Sealed { n }));
        prop_assert_eq!(read(&line), Ok(vec![stamped]));
    }

    #[test]
    fn any_text_is_read_or_refused(line in any::<String>()) {
        prop_assert!(read(&line).is_ok() || unseal(&line).is_none());
    }

    #[test]
    fn nearly_right_lines_are_read_or_refused(stamped in stamped(), at in any::<prop::sample::Index>(), c in any::<char>()) {
        let mut line = String::new();
        write(&stamped, &mut line);
        let mut chars: Vec<char> = line.chars().collect();
        *at.get_mut(&mut chars) = c;
        if let Ok(found) = read(&String::from_iter(chars)) {
            for stamped in found {
                let mut again = String::new();
                write(&stamped, &mut again);
                prop_assert_eq!(read(&again), Ok(vec![stamped]));
            }
        }
    }
}
