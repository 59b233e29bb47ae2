//! Tables of what is said and what becomes of it, one phrase a line.
//!
//! `said => outcome`: several notes of one pull are parted by ` // `. The outcome is the tally's keys with their values as
//! corrections give them, then `draft:KEY=VALUE`, `before:KEY=VALUE`, `trap=NAME`, `kind`, `new`, `mark`, `weight=GRAMS`,
//! `lot=GRAMS`, `day:KEY=VALUE`, `differs`, `claws-differ`; spaces in a value are written `_`; nothing is `-`.

use std::fmt::Write;

use super::super::*;

/// The common ways of talk.
const TALK: &str = include_str!("talk.txt");
/// The reference rows, and what they become.
const REFERENCE: &str = include_str!("reference.txt");
/// More ways of talk, by which the grammar was judged.
const UNSEEN: &str = include_str!("unseen.txt");
/// Heard text, with words that sound alike.
const HEARD: &str = include_str!("heard.txt");
/// Spanish.
const SPANISH: &str = include_str!("spanish.txt");

/// A reading as the tables write it.
pub fn outcome(reading: &Reading) -> String {
    let mut out = String::new();
    let mut put = |key: &str, value: &str| {
        let joint = if value.is_empty() { "" } else { "=" };
        let _ = write!(out, " {key}{joint}{}", value.replace(' ', "_"));
    };
    for (part, tally) in [("", &reading.tally), ("draft:", &reading.drafts), ("before:", &reading.before)] {
        for key in tally.stated() {
            put(&format!("{part}{key}"), &tally.get(key).unwrap());
        }
    }
    if let Some(trap) = &reading.trap {
        put("trap", trap);
    }
    match reading.kind_hint {
        Some(Kind::Set) => put("set", ""),
        Some(Kind::Visit) => put("visit", ""),
        Some(Kind::Pull) | None => {}
    }
    for (said, word) in [
        (reading.new_trap, "new"),
        (reading.mark, "mark"),
        (reading.contradictory && !reading.claws_differ, "differs"),
        (reading.claws_differ, "claws-differ"),
    ] {
        if said {
            put(word, "");
        }
    }
    for weight in &reading.weights {
        put(if weight.lot { "lot" } else { "weight" }, &weight.g.to_string());
    }
    let day = &reading.day;
    let number = |n: Option<u32>| n.map(|n| n.to_string());
    let handed = |handed: &[Handed]| {
        let each = handed.iter().map(|to| format!("{}:{}", to.claws, to.to));
        Some(each.collect::<Vec<_>>().join(";")).filter(|text| !text.is_empty())
    };
    let lots = day.lots.iter().map(|lot| format!("{}:{}", lot.size, lot.g)).collect::<Vec<_>>().join(";");
    for (key, value) in [
        ("day:people", number(day.people)),
        ("day:conditions", day.conditions.clone()),
        ("day:claws_landed", number(day.claws_landed)),
        ("day:volume_l", day.volume_l.map(|l| format!("{l}{}", if day.approximate { "~" } else { "" }))),
        ("day:lots", Some(lots).filter(|lots| !lots.is_empty())),
        ("day:given", handed(&day.given)),
        ("day:sold", handed(&day.sold)),
    ] {
        if let Some(value) = value {
            put(key, &value);
        }
    }
    if out.is_empty() { "-".to_owned() } else { out.trim_start().to_owned() }
}

/// Traps of the register in these tables.
const TRAPS: [&str; 6] = ["Lucky", "Old Tom", "14", "B7", "Jumbo", "Reef End"];

fn said(line: &str, heard: bool, speech: &Speech) -> Reading {
    let notes = line.split(" // ").map(|text| Said { heard, ..Said::typed(text) });
    let mut notes: Vec<Said<'_>> = notes.collect();
    for note in &mut notes {
        if let Some(text) = note.text.strip_prefix(">>") {
            (note.text, note.goes_on) = (text, true);
        }
    }
    Grammar::of(speech).read(&notes, &TRAPS)
}

/// Every line of a table; answers how many.
fn check(table: &str, heard: bool, speech: &Speech) -> usize {
    let mut wrong = String::new();
    let mut lines = 0;
    for line in table.lines().filter(|line| !line.is_empty() && !line.starts_with("# ")) {
        let (text, expected) = line.split_once(" => ").unwrap_or_else(|| panic!("no outcome: {line}"));
        let found = outcome(&said(text, heard, speech));
        lines += 1;
        if found != expected {
            let _ = writeln!(wrong, "{text}\n  expected {expected}\n  found    {found}");
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
    lines
}

#[test]
fn reference_phrases() {
    assert!(check(REFERENCE, false, &Speech::default()) >= 100);
}

#[test]
fn talk() {
    assert!(check(TALK, false, &Speech::default()) >= 300);
}

#[test]
fn talk_it_was_judged_by() {
    assert!(check(UNSEEN, false, &Speech::default()) >= 400);
}

/// What was written down exactly reads the same when it was heard.
#[test]
fn heard_text_reads_as_typed_text_does() {
    // But for what it is less sure of, as the table of heard text has it.
    let text = |line: &str| line.split(" => ").next().unwrap_or_default().to_owned();
    let apart: Vec<String> = HEARD.lines().map(text).collect();
    let same: Vec<&str> = REFERENCE.lines().filter(|line| !apart.contains(&text(line))).collect();
    assert!(check(&same.join("\n"), true, &Speech::default()) >= 100);
    assert!(check(HEARD, true, &Speech::default()) >= 25);
}

#[test]
fn spanish() {
    let speech = Speech { language: "es".into(), ..Speech::default() };
    assert!(check(SPANISH, false, &speech) >= 60);
}
