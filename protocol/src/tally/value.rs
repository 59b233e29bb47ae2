//! A tally by key and text: corrections typed as `KEY=VALUE`, and the same text back for tables.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::{Count, Lid, Tally, Tie, TrapState};

/// Every key of a tally, in the order of the record's table.
pub const KEYS: [&str; 29] = [
    "crabs",
    "keepers",
    "claws",
    "both",
    "shorts",
    "berried",
    "females",
    "males",
    "soft",
    "dead",
    "regrown",
    "crushers",
    "pincers",
    "left_handed",
    "right_handed",
    "bad_breaks",
    "bait_left",
    "bait_added",
    "bait_pieces",
    "bait_kind",
    "tie",
    "tie_new",
    "lid",
    "tampered",
    "trap_state",
    "taken_in",
    "bottom",
    "sizes",
    "other",
];

/// The largest count a correction may give.
const MOST: u32 = 9_999;
/// The longest word a correction may give, in characters.
const LONGEST: usize = 60;

const NUMBER: &str = "a whole number from 0 to 9999";
const YES_NO: &str = "true or false";
const WORD: &str = "a word of at most 60 characters without ; and :";
const SIZES: &str = "word:count pairs joined by ;, such as jumbo:1;large:2";
const OTHER: &str = "words or word:count pairs joined by ;, such as conch:1;urchin:";

/// Why a correction was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FieldError {
    /// No such key.
    #[error("no tally key is called {key}: use one of {}", KEYS.join(", "))]
    Key {
        /// The key as typed.
        key: String,
    },
    /// The key takes no such value.
    #[error("{key}={value} cannot be: {key} takes {allowed}, or nothing to remove it")]
    Value {
        /// The key.
        key: String,
        /// The value as typed.
        value: String,
        /// What the key takes.
        allowed: &'static str,
    },
}

/// Words and what they stand for, one list for reading and writing.
const TIES: [(&str, Tie); 3] = [("intact", Tie::Intact), ("broken", Tie::Broken), ("missing", Tie::Missing)];
const LIDS: [(&str, Lid); 2] = [("shut", Lid::Shut), ("open", Lid::Open)];
const STATES: [(&str, TrapState); 5] = [
    ("good", TrapState::Good),
    ("damaged", TrapState::Damaged),
    ("fouled", TrapState::Fouled),
    ("moved", TrapState::Moved),
    ("missing", TrapState::Missing),
];
const FLAGS: [(&str, bool); 2] = [("true", true), ("false", false)];

impl Tally {
    /// Sets one key from a person's text; empty text removes it. Maps are replaced whole.
    ///
    /// # Errors
    /// [`FieldError`] when there is no such key or it takes no such value; the tally is then unchanged.
    pub fn set(&mut self, key: &str, value: &str) -> Result<(), FieldError> {
        let text = value.trim();
        let refuse = |allowed| FieldError::Value { key: key.to_string(), value: value.to_string(), allowed };
        if let Some(count) = Count::from_key(key) {
            match optional(text, number).ok_or_else(|| refuse(NUMBER))? {
                Some(n) => self.counts.insert(count, n),
                None => self.counts.remove(&count),
            };
            return Ok(());
        }
        match key {
            "bait_left" => {
                self.bait_left = optional(text, share).ok_or_else(|| refuse("a number from 0 to 1"))?
            }
            "bait_added" => self.bait_added = optional(text, flag).ok_or_else(|| refuse(YES_NO))?,
            "bait_pieces" => self.bait_pieces = optional(text, number).ok_or_else(|| refuse(NUMBER))?,
            "bait_kind" => self.bait_kind = optional(text, word).ok_or_else(|| refuse(WORD))?,
            "tie" => {
                let tie = optional(text, |t| named(&TIES, t));
                self.tie = tie.ok_or_else(|| refuse("intact, broken or missing"))?;
            }
            "tie_new" => self.tie_new = optional(text, flag).ok_or_else(|| refuse(YES_NO))?,
            "lid" => {
                self.lid = optional(text, |t| named(&LIDS, t)).ok_or_else(|| refuse("shut or open"))?;
            }
            "tampered" => self.tampered = optional(text, flag).ok_or_else(|| refuse(YES_NO))?,
            "trap_state" => {
                let state = optional(text, |t| named(&STATES, t));
                self.trap_state = state.ok_or_else(|| refuse("good, damaged, fouled, moved or missing"))?;
            }
            "taken_in" => self.taken_in = optional(text, flag).ok_or_else(|| refuse(YES_NO))?,
            "bottom" => self.bottom = optional(text, word).ok_or_else(|| refuse(WORD))?,
            "sizes" => self.sizes = optional(text, sizes).ok_or_else(|| refuse(SIZES))?.unwrap_or_default(),
            "other" => self.other = optional(text, other).ok_or_else(|| refuse(OTHER))?.unwrap_or_default(),
            _ => return Err(FieldError::Key { key: key.to_string() }),
        }
        Ok(())
    }

    /// One key as text, in the form [`Tally::set`] takes; `None` when it is not stated or there is no such key.
    pub fn get(&self, key: &str) -> Option<String> {
        if let Some(count) = Count::from_key(key) {
            return self.count(count).map(|n| n.to_string());
        }
        match key {
            "bait_left" => self.bait_left.map(|share| share.to_string()),
            "bait_added" => self.bait_added.map(|yes| yes.to_string()),
            "bait_pieces" => self.bait_pieces.map(|n| n.to_string()),
            "bait_kind" => self.bait_kind.clone(),
            "tie" => name(&TIES, self.tie),
            "tie_new" => self.tie_new.map(|yes| yes.to_string()),
            "lid" => name(&LIDS, self.lid),
            "tampered" => self.tampered.map(|yes| yes.to_string()),
            "trap_state" => name(&STATES, self.trap_state),
            "taken_in" => self.taken_in.map(|yes| yes.to_string()),
            "bottom" => self.bottom.clone(),
            "sizes" => joined(self.sizes.iter().map(|(word, n)| (word, Some(*n)))),
            "other" => joined(self.other.iter().map(|(word, n)| (word, *n))),
            _ => None,
        }
    }

    /// The keys that are stated, in the order of [`KEYS`].
    pub fn stated(&self) -> impl Iterator<Item = &'static str> + '_ {
        KEYS.into_iter().filter(|key| self.get(key).is_some())
    }
}

impl Count {
    /// All counts in the order of the record's table, which is also that of [`KEYS`].
    const ALL: [Count; 16] = [
        Count::Crabs,
        Count::Keepers,
        Count::Claws,
        Count::Both,
        Count::Shorts,
        Count::Berried,
        Count::Females,
        Count::Males,
        Count::Soft,
        Count::Dead,
        Count::Regrown,
        Count::Crushers,
        Count::Pincers,
        Count::LeftHanded,
        Count::RightHanded,
        Count::BadBreaks,
    ];

    /// The key of this count in a record.
    pub fn key(self) -> &'static str {
        KEYS.into_iter().zip(Count::ALL).find(|(_, count)| *count == self).map_or("", |(key, _)| key)
    }

    /// The count a record's key names.
    pub fn from_key(key: &str) -> Option<Count> {
        KEYS.into_iter().zip(Count::ALL).find(|(name, _)| *name == key).map(|(_, count)| count)
    }
}

/// `Some(None)` for empty text, `Some(Some(value))` for a good one, `None` for a bad one.
fn optional<T>(text: &str, parse: impl Fn(&str) -> Option<T>) -> Option<Option<T>> {
    if text.is_empty() { Some(None) } else { parse(text).map(Some) }
}

fn number(text: &str) -> Option<u32> {
    let digits = text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|n| digits && *n <= MOST)
}

fn share(text: &str) -> Option<f64> {
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    text.parse().ok().filter(|share| plain && (0.0..=1.0).contains(share))
}

fn flag(text: &str) -> Option<bool> {
    named(&FLAGS, text)
}

fn word(text: &str) -> Option<String> {
    let text = text.trim();
    let fits = !text.is_empty() && text.chars().count() <= LONGEST;
    (fits && !text.chars().any(|c| c == ';' || c == ':' || c.is_control())).then(|| text.to_string())
}

fn sizes(text: &str) -> Option<BTreeMap<String, u32>> {
    text.split(';')
        .map(|part| part.split_once(':').and_then(|(w, n)| Some((word(w)?, number(n.trim())?))))
        .collect()
}

fn other(text: &str) -> Option<BTreeMap<String, Option<u32>>> {
    let pair = |part: &str| match part.split_once(':') {
        Some((w, n)) if !n.trim().is_empty() => Some((word(w)?, Some(number(n.trim())?))),
        Some((w, _)) => Some((word(w)?, None)),
        None => Some((word(part)?, None)),
    };
    text.split(';').map(pair).collect()
}

fn named<T: Copy>(names: &[(&str, T)], text: &str) -> Option<T> {
    names.iter().find(|(name, _)| *name == text).map(|(_, value)| *value)
}

fn name<T: PartialEq>(names: &[(&str, T)], value: Option<T>) -> Option<String> {
    names.iter().find(|(_, of)| value.as_ref() == Some(of)).map(|(name, _)| (*name).to_string())
}

fn joined<'a>(pairs: impl Iterator<Item = (&'a String, Option<u32>)>) -> Option<String> {
    let mut text = String::new();
    for (word, n) in pairs {
        let joint = if text.is_empty() { "" } else { ";" };
        let _ = match n {
            Some(n) => write!(text, "{joint}{word}:{n}"),
            None => write!(text, "{joint}{word}:"),
        };
    }
    (!text.is_empty()).then_some(text)
}
