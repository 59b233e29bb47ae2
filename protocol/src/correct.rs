//! What persons stated, brought into order: corrections of pulls, notes moved between pulls, traps named by a pull.

use std::collections::{BTreeMap, BTreeSet};

use crate::input::{Heard, Stated, Statement, TrapPlace};
use crate::tally::{FieldError, Tally};

/// Why a correction cannot be taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CorrectError {
    /// A value that is not what the field takes.
    #[error("{0}")]
    Field(#[from] FieldError),
    /// `drop` takes true or false.
    #[error("drop={0}: give drop=true to leave the pull out, drop=false to take it back in")]
    Drop(String),
    /// `undo` stands alone.
    #[error("undo takes back the last correction and stands alone: leave the other fields out")]
    Undo,
}

/// Checks the fields of a correction before it is written down.
///
/// # Errors
/// The first field or value that cannot be taken.
pub fn check(fields: &[(String, String)]) -> Result<(), CorrectError> {
    for (field, value) in fields {
        match field.as_str() {
            "trap" | "pull" => {}
            "drop" if matches!(value.as_str(), "true" | "false") => {}
            "drop" => return Err(CorrectError::Drop(value.clone())),
            "undo" if fields.len() == 1 => {}
            "undo" => return Err(CorrectError::Undo),
            key => Tally::default().set(key, value)?,
        }
    }
    Ok(())
}

/// Everything stated about pulls and notes, by persons and recognisers, later over earlier.
#[derive(Debug, Clone, Default)]
pub struct Corrections {
    fields: BTreeMap<String, Vec<(String, String)>>,
    /// Note id → the pull it belongs to.
    moved: BTreeMap<String, String>,
    /// Pulls that notes were moved to.
    receivers: BTreeSet<String>,
    /// Note id → what each recogniser last heard in it, in the order of hearing.
    heard: BTreeMap<String, Vec<Heard>>,
    forgotten: BTreeSet<String>,
}

impl Corrections {
    /// From statements in order of `at`.
    pub fn new<'a>(statements: impl IntoIterator<Item = &'a Statement>) -> Corrections {
        let mut stacks: BTreeMap<&str, Vec<Vec<(String, String)>>> = BTreeMap::new();
        let mut corrections = Corrections::default();
        for statement in statements {
            match &statement.said {
                Stated::Correct(correction) => {
                    let stack = stacks.entry(&correction.of).or_default();
                    if correction.set.iter().any(|(field, _)| field == "undo") {
                        stack.pop();
                    } else {
                        stack.push(correction.set.clone());
                    }
                }
                Stated::Trap(stated) => {
                    if let TrapPlace::Pull { pull } = &stated.place {
                        stacks.entry(pull).or_default().push(vec![("trap".into(), stated.trap.clone())]);
                    }
                }
                Stated::Heard(heard) => corrections.hear(heard),
                Stated::Forget(forgotten) => {
                    corrections.forgotten.insert(forgotten.of.clone());
                }
            }
        }
        for (of, stack) in stacks {
            let fields: Vec<(String, String)> = stack.into_iter().flatten().collect();
            if let Some((_, pull)) = fields.iter().rfind(|(field, _)| field == "pull") {
                corrections.moved.insert(of.to_owned(), pull.clone());
                corrections.receivers.insert(pull.clone());
            }
            corrections.fields.insert(of.to_owned(), fields);
        }
        corrections
    }

    /// The fields corrected on this pull, in order.
    pub fn of(&self, id: &str) -> &[(String, String)] {
        self.fields.get(id).map_or(&[], Vec::as_slice)
    }

    /// The last value given to one field of this pull.
    pub fn value(&self, id: &str, field: &str) -> Option<&str> {
        self.of(id).iter().rfind(|(f, _)| f == field).map(|(_, value)| value.as_str())
    }

    /// The pull a note was moved to.
    pub fn moved_to(&self, note: &str) -> Option<&str> {
        self.moved.get(note).map(String::as_str)
    }

    /// Takes what a recogniser made of a note, later than all that was heard in it so far.
    pub fn hear(&mut self, heard: &Heard) {
        let all = self.heard.entry(heard.note.clone()).or_default();
        // Sound that was removed stays removed, whatever a later line says.
        let only_text = heard.only_text || all.iter().any(|earlier| earlier.only_text);
        // One that does not say who it is may be any of them.
        all.retain(|earlier| heard.by.is_some() && earlier.by.is_some() && earlier.by != heard.by);
        all.push(Heard { only_text, ..heard.clone() });
    }

    /// What a recogniser last made of a note, as its text: not one that only confirms, if there is another.
    pub fn heard(&self, note: &str) -> Option<&Heard> {
        let all = self.heard.get(note)?;
        all.iter().rfind(|heard| !heard.confirms).or(all.last())
    }

    /// What another recogniser made of a note than the one whose text it has.
    pub fn heard_by_another(&self, note: &str) -> Option<&Heard> {
        let text = self.heard(note)?;
        self.heard.get(note)?.iter().rfind(|heard| heard.by != text.by)
    }

    /// Whether a note's sound was removed once it had been made text.
    pub fn only_text(&self, note: &str) -> bool {
        self.heard.get(note).is_some_and(|all| all.iter().any(|heard| heard.only_text))
    }

    /// Whether a note's words and sound were removed.
    pub fn forgotten(&self, note: &str) -> bool {
        self.forgotten.contains(note)
    }

    /// Whether any note was moved at all.
    pub fn moves_notes(&self) -> bool {
        !self.moved.is_empty()
    }

    /// Whether this pull is left out.
    pub fn dropped(&self, id: &str) -> bool {
        self.value(id, "drop") == Some("true")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_recogniser_is_heard_and_the_last_word_of_each_stands() {
        let heard = |by: Option<&str>, text: &str, confirms, only_text| Heard {
            note: "n".into(),
            text: text.into(),
            by: by.map(str::to_owned),
            confirms,
            only_text,
            ..Heard::default()
        };
        let check = |lines: &[Heard], text: Option<&str>, another: Option<&str>, only_text| {
            let mut corrections = Corrections::default();
            lines.iter().for_each(|line| corrections.hear(line));
            let of = |heard: Option<&Heard>| heard.map(|heard| heard.text.clone());
            assert_eq!(of(corrections.heard("n")).as_deref(), text, "{lines:?}");
            assert_eq!(of(corrections.heard_by_another("n")).as_deref(), another, "{lines:?}");
            assert_eq!(corrections.only_text("n"), only_text, "{lines:?}");
        };
        let (a, b) = (heard(Some("a"), "a1", false, false), heard(Some("b"), "b1", true, false));
        let (again, nobody) = (heard(Some("a"), "a2", false, true), heard(None, "x", false, false));
        check(&[], None, None, false);
        check(&[a.clone(), b.clone()], Some("a1"), Some("b1"), false);
        check(&[b.clone(), a.clone()], Some("a1"), Some("b1"), false);
        check(std::slice::from_ref(&b), Some("b1"), None, false);
        check(&[a.clone(), b.clone(), again.clone()], Some("a2"), Some("b1"), true);
        check(&[again.clone(), a.clone()], Some("a1"), None, true);
        check(&[a.clone(), b, nobody.clone()], Some("x"), None, false);
        check(&[nobody, a], Some("a1"), None, false);
    }
}
