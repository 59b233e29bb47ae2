//! What the notes of one pull state: typed words count, and what a recogniser is sure of; the rest of what it heard is a
//! draft until somebody confirms it.

use std::collections::{BTreeMap, BTreeSet};

use crate::correct::Corrections;
use crate::finding::Note;
use crate::tally::{self, Origin, Reading};

/// Characters of a note that are read for counts: nobody says more at one trap, and the grammar's work grows with length.
const READ_CHARS: usize = 2_000;
/// A recogniser this sure of a note is taken at its word.
pub(super) const SURE: f64 = 0.9;

/// The words of one pull's notes, read.
pub(super) struct Words {
    /// All of them together.
    pub reading: Reading,
    /// Keys of the tally that only a recogniser gave.
    heard: BTreeSet<String>,
}

impl Words {
    /// Reads notes, which must be in order of time.
    pub fn of(notes: &[Note], corrections: &Corrections) -> Words {
        let typed: Vec<&str> = notes.iter().filter_map(|note| note.text.as_deref()).map(beginning).collect();
        let heard = notes.iter().filter(|note| note.text.is_none()).filter_map(|n| corrections.heard(&n.id));
        let (sure, unsure): (Vec<_>, Vec<_>) =
            heard.partition(|heard| heard.confidence.is_some_and(|sure| sure >= SURE));
        let read = |heard: Vec<&crate::input::Heard>| {
            let texts: Vec<&str> = heard.into_iter().map(|heard| beginning(&heard.text)).collect();
            tally::read(&texts)
        };
        let mut words = Words { reading: tally::read(&typed), heard: BTreeSet::new() };
        words.add(read(sure));
        words.draft(&read(unsure));
        words
    }

    /// Where each key of the tally came from.
    pub fn origins(&self) -> BTreeMap<String, Origin> {
        let mut origins = self.reading.origins(Origin::Typed);
        for (key, origin) in &mut origins {
            if *origin == Origin::Typed && self.heard.contains(key) {
                *origin = Origin::Heard;
            }
        }
        origins
    }

    /// Adds what typed words do not state already.
    fn add(&mut self, heard: Reading) {
        let mine = &mut self.reading;
        for key in tally::KEYS {
            let open = mine.tally.get(key).is_none();
            if let Some(value) = heard.tally.get(key).filter(|_| open) {
                // What a tally gives, a tally takes.
                let _ = mine.tally.set(key, &value);
                self.heard.insert(key.to_owned());
                if heard.summed.contains(key) {
                    mine.summed.insert(key.to_owned());
                }
            }
        }
        mine.trap = mine.trap.take().or_else(|| heard.trap.clone());
        mine.kind_hint = mine.kind_hint.or(heard.kind_hint);
        mine.mark |= heard.mark;
        mine.contradictory |= heard.contradictory;
        mine.trade |= heard.trade;
        self.draft(&Reading { tally: tally::Tally::default(), ..heard });
    }

    /// Takes as drafts what is not stated.
    fn draft(&mut self, heard: &Reading) {
        let mine = &mut self.reading;
        for key in tally::KEYS {
            let open = mine.tally.get(key).is_none() && mine.drafts.get(key).is_none();
            if let Some(value) = heard.tally.get(key).or_else(|| heard.drafts.get(key)).filter(|_| open) {
                let _ = mine.drafts.set(key, &value);
            }
        }
    }
}

/// As much of a text as is read.
fn beginning(text: &str) -> &str {
    text.char_indices().nth(READ_CHARS).and_then(|(end, _)| text.get(..end)).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::finding::Moment;
    use crate::input::{Heard, Stated, Statement};
    use crate::time::{Mono, Utc};

    /// Notes, typed or heard with a confidence, and what they should come to: tally, drafts, origins.
    fn check(notes: &[(&str, Option<f64>)], expected: [serde_json::Value; 3]) {
        let mut statements = Vec::new();
        let note = |(n, (text, confidence)): (usize, &(&str, Option<f64>))| {
            let id = format!("{n}");
            let at = Moment { t: Mono(n as i64), utc: None };
            let typed = confidence.is_none().then(|| (*text).to_owned());
            if confidence.is_some() {
                let heard = Heard {
                    note: id.clone(),
                    text: (*text).into(),
                    confidence: *confidence,
                    only_text: false,
                };
                statements.push(Statement { at: Utc(0), said: Stated::Heard(heard) });
            }
            Note { id, at, text: typed, sound: None, late: false }
        };
        let notes: Vec<Note> = notes.iter().enumerate().map(note).collect();
        let words = Words::of(&notes, &Corrections::new(&statements));
        let found = [
            serde_json::to_value(&words.reading.tally).unwrap(),
            serde_json::to_value(&words.reading.drafts).unwrap(),
            serde_json::to_value(words.origins()).unwrap(),
        ];
        assert_eq!(found, expected);
    }

    #[test]
    fn what_is_heard_counts_when_it_is_sure_and_nobody_typed_otherwise() {
        check(
            &[("seven crabs", Some(0.95)), ("four keepers", Some(0.6)), ("two shorts", None)],
            [
                json!({"crabs": 7, "shorts": 2}),
                json!({"keepers": 4}),
                json!({"crabs": "heard", "shorts": "typed"}),
            ],
        );
        check(
            &[("seven crabs", Some(1.0)), ("six crabs", None)],
            [json!({"crabs": 6}), json!({}), json!({"crabs": "typed"})],
        );
        check(
            &[("keeper", Some(0.9)), ("another keeper", Some(0.9))],
            [json!({"keepers": 2}), json!({}), json!({"keepers": "summed"})],
        );
    }
}
