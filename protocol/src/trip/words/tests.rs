//! Notes typed and heard, and what they come to.

use serde_json::json;

use super::*;
use crate::finding::Moment;
use crate::time::Mono;

/// What one recogniser made of a note: its text, and whether it may be taken at its word.
type One<'a> = Option<(&'a str, bool)>;

/// A note: typed, or heard by one recogniser and perhaps another.
#[derive(Debug)]
enum N<'a> {
    Typed(&'a str),
    Heard(One<'a>, One<'a>),
}
use N::{Heard as H, Typed as T};

/// Notes as they are read.
fn words(notes: &[N<'_>]) -> Words {
    let mut corrections = Corrections::default();
    let notes: Vec<Note> = (0..)
        .zip(notes)
        .map(|(n, said)| {
            let id = format!("{n}");
            let mut hear = |by: &str, one: &One<'_>, confirms| {
                if let Some((text, sure)) = one {
                    corrections.hear(&Heard {
                        note: id.clone(),
                        text: (*text).into(),
                        by: Some(by.into()),
                        sure: Some(*sure),
                        confirms,
                        ..Heard::default()
                    });
                }
            };
            let text = match said {
                T(text) => Some((*text).to_owned()),
                H(one, another) => {
                    hear("one", one, false);
                    hear("another", another, true);
                    None
                }
            };
            let at = Moment { t: Mono(n), utc: None };
            Note { id, at, text, sound: None, late: false }
        })
        .collect();
    Words::of(&notes, &corrections, &Grammar::default(), &[])
}

/// Notes and what they should come to: tally, drafts, origins.
fn check(notes: &[N<'_>], expected: [serde_json::Value; 3]) {
    let words = words(notes);
    let found = [
        serde_json::to_value(&words.reading.tally).unwrap(),
        serde_json::to_value(&words.reading.drafts).unwrap(),
        serde_json::to_value(words.origins()).unwrap(),
    ];
    assert_eq!(found, expected);
}

fn sure(text: &str) -> N<'_> {
    H(Some((text, true)), None)
}

fn unsure(text: &str) -> N<'_> {
    H(Some((text, false)), None)
}

#[test]
fn what_is_heard_counts_when_it_is_sure_and_nobody_typed_otherwise() {
    check(
        &[sure("seven crabs"), unsure("four keepers"), T("two shorts")],
        [
            json!({"crabs": 7, "shorts": 2}),
            json!({"keepers": 4}),
            json!({"crabs": "heard", "shorts": "typed"}),
        ],
    );
    check(
        &[sure("seven crabs"), T("six crabs")],
        [json!({"crabs": 6}), json!({}), json!({"crabs": "typed"})],
    );
    check(
        &[sure("keeper"), sure("another keeper")],
        [json!({"keepers": 2}), json!({}), json!({"keepers": "summed"})],
    );
}

#[test]
fn what_is_less_sure_takes_the_certainty_from_what_it_changes() {
    check(
        &[sure("seven crabs, four keepers"), unsure("no wait, six crabs")],
        [json!({"keepers": 4}), json!({"crabs": 6}), json!({"keepers": "heard"})],
    );
    check(&[sure("keeper"), unsure("another keeper")], [json!({}), json!({"keepers": 2}), json!({})]);
}

#[test]
fn what_two_hear_alike_counts_field_by_field() {
    let both = |one, another| H(Some((one, false)), Some((another, false)));
    check(
        &[both("7 crabs, four keepers, hello", "seven crabs five keepers two shorts")],
        [json!({"crabs": 7}), json!({"keepers": 4}), json!({"crabs": "heard"})],
    );
    // Nobody is taken at his word whom another contradicts.
    check(
        &[H(Some(("four keepers, two shorts", true)), Some(("five keepers", false)))],
        [json!({"shorts": 2}), json!({"keepers": 4}), json!({"shorts": "heard"})],
    );
    // One that only confirms is not believed alone, however sure.
    check(
        &[H(Some(("the weather", false)), Some(("four keepers", true)))],
        [json!({}), json!({"keepers": 4}), json!({})],
    );
    // Where it is the only one, it is.
    check(
        &[H(None, Some(("four keepers", true)))],
        [json!({"keepers": 4}), json!({}), json!({"keepers": "heard"})],
    );
    check(
        &[both("keeper", "keeper"), both("another keeper", "keepers")],
        [json!({}), json!({"keepers": 2}), json!({})],
    );
}

#[test]
fn what_one_hears_alike_twice_counts_too_and_the_most_often_heard_wins() {
    let heard = |texts: [&str; 4]| {
        let [text, also, another, another_also] = texts.map(str::to_owned);
        let one =
            Heard { note: "n".into(), text, also: Some(also), by: Some("one".into()), ..Heard::default() };
        let another = Heard {
            note: "n".into(),
            text: another,
            also: Some(another_also),
            by: Some("another".into()),
            confirms: true,
            ..Heard::default()
        };
        let mut corrections = Corrections::default();
        [one, another].iter().for_each(|heard| corrections.hear(heard));
        let at = Moment { t: Mono(0), utc: None };
        let note = Note { id: "n".into(), at, text: None, sound: None, late: false };
        let words = Words::of(&[note], &corrections, &Grammar::default(), &[]);
        [words.reading.tally.get("crabs"), words.reading.drafts.get("crabs"), words.reading.trap]
    };
    let some = |text: &str| Some(text.to_owned());
    for (texts, expected) in [
        (["six crabs", "six crabs", "", ""], [some("6"), None, None]),
        (["six crabs", "", "", "six crabs"], [some("6"), None, None]),
        (["", "", "", "six crabs"], [None, None, None]),
        (["nine crabs", "six crabs", "six crabs", ""], [some("6"), None, None]),
        (["nine crabs", "nine crabs", "six crabs", "six crabs"], [None, some("9"), None]),
        (["nine crabs", "six crabs", "two crabs", ""], [None, some("9"), None]),
        (["trap seven", "trap seven", "trap two", ""], [None, None, some("7")]),
        (["trap seven", "", "trap two", ""], [None, None, None]),
    ] {
        assert_eq!(heard(texts), expected, "{texts:?}");
    }
}

#[test]
fn a_line_without_a_verdict_is_sure_from_nine_tenths_on() {
    let line = |confidence| Heard { confidence, ..Heard::default() };
    for (confidence, sure) in [(None, false), (Some(0.89), false), (Some(0.9), true)] {
        assert_eq!(line(confidence).is_sure(), sure, "{confidence:?}");
        assert!(Heard { sure: Some(true), ..line(confidence) }.is_sure());
        assert!(!Heard { sure: Some(false), ..line(confidence) }.is_sure());
    }
}

#[test]
fn talk_that_was_cut_goes_on_in_the_next_note() {
    // What was said in two notes of these lengths, the second file beginning so long after the first ends; seconds.
    let tally = |said: [&str; 2], length: f64, gap: f64| {
        let us = |s: f64| (s * SECOND as f64) as i64;
        let mut corrections = Corrections::default();
        let notes = [(0.0, length), (length + gap, 3.0)].map(|(from, length)| {
            let sound = crate::finding::Sound { file: "n.wav".into(), length_us: us(length), speech_us: 0 };
            let at = Moment { t: Mono(us(from)), utc: None };
            Note { id: format!("{from}"), at, text: None, sound: Some(sound), late: false }
        });
        for (note, text) in notes.iter().zip(said) {
            let (note, text) = (note.id.clone(), text.to_owned());
            corrections.hear(&Heard { note, text, sure: Some(true), ..Heard::default() });
        }
        serde_json::to_value(Words::of(&notes, &corrections, &Grammar::default(), &[]).reading.tally).unwrap()
    };
    assert_eq!(tally(["seven crabs, four", "keepers."], 30.0, 0.0), json!({"crabs": 7, "keepers": 4}));
    assert_eq!(tally(["four keepers.", "off the record."], 4.0, 0.1), json!({"keepers": 4}));
    assert_eq!(tally(["seven crabs, four", "keepers."], 30.0, 4.0), json!({"crabs": 7}));
}

#[test]
fn talk_without_a_word_of_the_trade_is_chatter() {
    for (said, chatter) in [
        (&[unsure("nice weather for it"), unsure("hand me that hook")][..], true),
        (&[unsure("nice weather"), unsure("maybe seven crabs")], false),
        (&[unsure("nice weather"), T("nice weather")], false),
        (&[unsure("nice weather"), H(None, None)], false),
        (&[unsure("mark this one")], false),
        (&[unsure("bet there's five in this one")], true),
    ] {
        assert_eq!(words(said).chatter, chatter, "{said:?}");
    }
}
