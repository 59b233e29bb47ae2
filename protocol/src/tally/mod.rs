//! From words to counts: what the notes of one pull state, and nothing they do not.
//!
//! Text goes through small steps, each in its own file: `tokens` splits it, `numbers` reads spelled numbers, `lexicon`
//! gives every word of the trade its meaning from the tables in `words` and `phrases`, `meaning` mends words that change
//! each other, `joining` and `bind` give numbers their words, `grammar` judges the clauses, and `ledger` adds, replaces,
//! corrects and undoes. A clause that is not wholly understood gives drafts; guesses, questions, money, and talk of
//! another trap or day give nothing. An invented count is worse than a missed one.
//!
//! Typed text is taken as exact; text from a recogniser first passes `heard`, which mends words that sound alike. What a
//! language knows is data: [`Speech`] chooses the language and adds the crew's words. `day` reads what is said of the
//! day and at the dock.

mod again;
mod bind;
mod day;
mod english;
mod grammar;
mod heard;
mod joining;
mod language;
mod ledger;
mod lexicon;
mod meaning;
mod numbers;
mod phrases;
mod spanish;
mod speech;
mod tokens;
mod value;
mod vocabulary;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

pub use day::{Day, Handed, Lot, Weight};
pub use speech::{Grammar, NAMED, Said, Speech, SpeechError};
pub use value::{FieldError, KEYS};
pub use vocabulary::Vocabulary;

/// What is counted in crabs, claws and wounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Count {
    /// Crabs in the trap.
    Crabs,
    /// Crabs that gave a claw.
    Keepers,
    /// Claws taken.
    Claws,
    /// Crabs that gave two claws.
    Both,
    /// Crabs whose claws were too small.
    Shorts,
    /// Egg-bearing females.
    Berried,
    /// Females.
    Females,
    /// Males.
    Males,
    /// Soft crabs, lately moulted.
    Soft,
    /// Dead crabs.
    Dead,
    /// Claws grown back.
    Regrown,
    /// Crusher claws taken.
    Crushers,
    /// Pincer claws taken.
    Pincers,
    /// Crabs with the crusher on the left.
    LeftHanded,
    /// Crabs with the crusher on the right.
    RightHanded,
    /// Claws that broke badly.
    BadBreaks,
}

/// The closing tie of a trap, as found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tie {
    /// Still whole.
    Intact,
    /// Broken.
    Broken,
    /// Not there.
    Missing,
}

/// The trap's lid, as found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lid {
    /// Closed.
    Shut,
    /// Open.
    Open,
}

/// How the trap itself was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TrapState {
    /// Sound.
    Good,
    /// Broken somewhere.
    Damaged,
    /// Its line or itself caught in something.
    Fouled,
    /// Not where it was set.
    Moved,
    /// Not found.
    Missing,
}

/// What kind of stop the words speak of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A trap was lifted.
    Pull,
    /// A trap was put down, none lifted.
    Set,
    /// A trap was seen and left, or not found.
    Visit,
}

/// Where a tally's key came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Stated in typed text.
    Typed,
    /// Stated in speech, by a recogniser.
    Heard,
    /// Verdicts added one by one.
    Summed,
    /// A person's correction.
    Corrected,
}

/// The tally of one pull: only what was stated. Serializes to the record's keys, unstated ones left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Tally {
    /// Counts, each 0 or more.
    #[serde(flatten)]
    pub counts: BTreeMap<Count, u32>,
    /// Share of the bait still there, 0…1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bait_left: Option<f64>,
    /// Fresh bait went in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bait_added: Option<bool>,
    /// Pieces of bait that went in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bait_pieces: Option<u32>,
    /// What the bait was, in the crew's word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bait_kind: Option<String>,
    /// The tie as found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tie: Option<Tie>,
    /// A new tie was put on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tie_new: Option<bool>,
    /// The lid as found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lid: Option<Lid>,
    /// Somebody else had been at the trap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tampered: Option<bool>,
    /// The trap as found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trap_state: Option<TrapState>,
    /// The trap was taken aboard to stay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_in: Option<bool>,
    /// The sea bed, in one word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottom: Option<String>,
    /// Claws by size word.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub sizes: BTreeMap<String, u32>,
    /// Other animals by name; no number when none was given.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub other: BTreeMap<String, Option<u32>>,
}

impl Tally {
    /// A count, if stated.
    pub fn count(&self, of: Count) -> Option<u32> {
        self.counts.get(&of).copied()
    }

    /// Whether nothing at all is stated.
    pub fn is_empty(&self) -> bool {
        *self == Tally::default()
    }
}

/// What the notes of one pull say.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Reading {
    /// What counts.
    pub tally: Tally,
    /// Keys of `tally` that no one stated as a total: verdicts added one by one.
    pub summed: BTreeSet<String>,
    /// What was said unclearly: shown, counted only when a person confirms it.
    pub drafts: Tally,
    /// The trap's name as said, evidence for pairing.
    pub trap: Option<String>,
    /// The kind of stop the words speak of, if they do.
    pub kind_hint: Option<Kind>,
    /// The crew asked to mark this note.
    pub mark: bool,
    /// Counts that cannot all be true, or a stated total that differs from its verdicts.
    pub contradictory: bool,
    /// Claws and the crabs that gave them do not fit: one or two of each. Then `contradictory` is true as well.
    #[serde(default)]
    pub claws_differ: bool,
    /// Some word of the trade was understood.
    pub trade: bool,
    /// The trap was set here for the first time.
    #[serde(default)]
    pub new_trap: bool,
    /// What was said here of the pull before: drafts for that one.
    #[serde(default)]
    pub before: Tally,
    /// Weights said aloud, in order.
    #[serde(default)]
    pub weights: Vec<Weight>,
    /// What was said of the day and at the dock.
    #[serde(default)]
    pub day: Day,
    /// Which words gave which figure, in the order of the texts.
    #[serde(default)]
    pub spans: Vec<Span>,
}

/// Words that gave a figure.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Span {
    /// Which of the texts, counted from 0.
    pub text: usize,
    /// Its first byte in that text.
    pub from: usize,
    /// The byte after its last.
    pub to: usize,
    /// A tally's key, a key of [`Day`], or `trap`, `kind`, `mark`, `weight`.
    pub key: String,
    /// It gave a draft.
    pub draft: bool,
}

impl Reading {
    /// Where each stated key came from, when the text itself came from `text`.
    pub fn origins(&self, text: Origin) -> BTreeMap<String, Origin> {
        let origin = |key: &str| if self.summed.contains(key) { Origin::Summed } else { text };
        self.tally.stated().map(|key| (key.to_string(), origin(key))).collect()
    }
}

/// Whether these words say that nothing is to be kept until the next trap.
pub fn off_the_record(text: &str) -> bool {
    says(text, &["off the record", "fuera de registro", "no grabes"])
}

/// Whether these words end what [`off_the_record`] began.
pub fn on_the_record(text: &str) -> bool {
    says(text, &["you can listen", "back on the record", "ya puedes escuchar", "puedes escuchar"])
}

fn says(text: &str, phrases: &[&str]) -> bool {
    let lower = text.to_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let said = |phrase: &&str| {
        let phrase: Vec<&str> = phrase.split(' ').collect();
        words.windows(phrase.len()).any(|words| words == phrase)
    };
    phrases.iter().any(said)
}

/// Reads the typed notes of one pull in English, in order of time: [`Grammar::read`] without names or words of the crew.
pub fn read(texts: &[&str]) -> Reading {
    let notes: Vec<Said<'_>> = texts.iter().map(|text| Said::typed(text)).collect();
    Grammar::default().read(&notes, &[])
}

#[cfg(test)]
mod tests;
