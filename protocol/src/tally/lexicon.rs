//! What each word or phrase of the trade means: the longest entry that fits wins.
//!
//! Filled from the tables in [`words`](super::words) and [`phrases`](super::phrases). A later version adds the crew's
//! own words from the settings with the same [`Lexicon::add`].

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::tokens::{Piece, Token, sentences};
use super::{Count, Kind, Lid, Tie, TrapState};

/// Text that is fixed in a table or comes from the crew.
pub(super) type Text = Cow<'static, str>;

/// Something that is counted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Slot {
    /// A count of the tally.
    Count(Count),
    /// Claws of a size.
    Size(Text),
    /// Other animals.
    Other(Text),
    /// Pieces of bait that went in.
    Pieces,
}

/// How a number joins what the pull already has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// Is the total.
    Total,
    /// Is added to the total, in so many words ("two more keepers").
    More,
    /// A verdict on one crab, added to other verdicts.
    Verdict,
}

/// A state that a later one replaces.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum State {
    BaitLeft(f64),
    BaitAdded(bool),
    BaitKind(Text),
    Tie(Tie),
    TieNew(bool),
    Lid(Lid),
    Tampered(bool),
    Trap(TrapState),
    TakenIn(bool),
    Bottom(Text),
    /// The trap's name as said.
    Name(Text),
    Kind(Kind),
    Mark,
}

/// One thing a statement says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fact {
    Number {
        slot: Slot,
        how: How,
        n: u32,
    },
    /// Seen, without a number.
    Seen(Text),
    State(State),
}

/// How a word for something counted stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// Plural: says nothing without a number.
    Many,
    /// One of it: "a claw" is one, "claw" alone is nothing.
    One,
    /// A verdict: "keeper" alone is one.
    Verdict,
}

/// What is spoken of, with qualities of its own in the table of pairs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Subject {
    Bait,
    Tie,
    Lid,
    Trap,
    Slats,
    Bottom,
}

/// Why words around it do not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hush {
    /// Guesses, general talk, money, another trap or day: nothing from here on, and only drafts before it.
    All,
    /// What is to come: nothing from here on.
    Next,
    /// Said of this very clause only.
    Clause,
}

/// The meaning of a word or phrase.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Sense {
    /// Says nothing about counts and takes nothing from them.
    Filler,
    /// May stand between a number and its word: "of", "are", "just".
    Link,
    /// May stand between a number and its word, and narrows it: "two big crabs".
    Adjective,
    /// Only means something beside a subject: "gone".
    Quality,
    /// Separates pairs without ending the clause: "and".
    And,
    /// "a": one of a singular word.
    A,
    /// "no": none of a word, or an interjection.
    No,
    /// "nothing": no crabs, or none of the verdict that follows.
    Nothing,
    /// "none": a nought on either side.
    None,
    /// "not": turns what follows, which then is not counted.
    Not,
    /// "all", "most", "or", "about": makes its clause unclear.
    Unclear,
    Hush(Hush),
    /// A unit after a number: a measure, no count.
    Unit,
    /// A word before a number that is a measure: "depth".
    Measured,
    More,
    Amend,
    Undo,
    /// "off" before a number of crabs: crabs that gave a claw.
    Off,
    /// Opens a bare count: "there's five".
    There,
    /// Opens a sentence that always counts.
    Opener,
    /// "this one": no number.
    Pronoun,
    /// "number", before a trap's.
    Hash,
    /// "trap" or "buoy", where a name may follow; "new trap" also says that it is set.
    Named {
        set: bool,
    },
    Subject(Subject),
    BaitKind(Text),
    Noun(Slot, Form),
    Says(Vec<Fact>),
}

/// Words and phrases with their meanings.
#[derive(Debug, Clone, Default)]
pub(super) struct Lexicon {
    terms: BTreeMap<Vec<String>, Sense>,
    longest: usize,
}

impl Lexicon {
    /// Gives a word or phrase its meaning, replacing any it had. A phrase is split as a text is.
    pub fn add(&mut self, phrase: &str, sense: Sense) {
        let words = words(phrase);
        self.longest = self.longest.max(words.len());
        self.terms.insert(words, sense);
    }

    /// As [`Lexicon::add`], unless the phrase has a meaning.
    pub fn add_new(&mut self, phrase: &str, sense: Sense) {
        if !self.terms.contains_key(&words(phrase)) {
            self.add(phrase, sense);
        }
    }

    /// The longest entry at the front of `tokens`: its words, its meaning, how many tokens.
    pub fn longest(&self, tokens: &[Token]) -> Option<(String, &Sense, usize)> {
        let most = self.longest.min(tokens.len());
        let words: Vec<String> = tokens.iter().take(most).map(spelled).collect();
        (1..=most).rev().find_map(|used| {
            let key = words.get(..used)?;
            self.terms.get(key).map(|sense| (key.join(" "), sense, used))
        })
    }
}

fn words(phrase: &str) -> Vec<String> {
    sentences(phrase).iter().flat_map(|sentence| &sentence.tokens).map(spelled).collect()
}

/// A token as the tables spell it.
fn spelled(token: &Token) -> String {
    match &token.piece {
        Piece::Word(word) => word.clone(),
        Piece::Comma => ",".to_string(),
        Piece::Number(_) | Piece::Odd | Piece::Glue => token.raw.clone(),
    }
}

/// The lexicon of the tables.
pub(super) fn standard() -> &'static Lexicon {
    static STANDARD: LazyLock<Lexicon> = LazyLock::new(|| {
        let mut lexicon = Lexicon::default();
        super::words::fill(&mut lexicon);
        super::phrases::fill(&mut lexicon);
        lexicon
    });
    &STANDARD
}
