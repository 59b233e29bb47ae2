//! What each word or phrase of the trade means: the longest entry that fits wins.
//!
//! Filled from the tables of a [`Language`], then with the crew's own words ([`speech`](super::speech)).

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::language::{Language, fill};
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
    /// The trap was not fished before.
    NewTrap,
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
    /// The pull before: from here on what is said is a draft for that one.
    Before,
    /// What is to come: nothing from here on.
    Next,
    /// A question, whether or not its mark was written: nothing from this very word on.
    Ask,
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
    /// "No, he's not": takes back a verdict of the same sentence.
    TakeBack,
    /// "off" before a number of crabs: crabs that gave a claw.
    Off,
    /// Opens a bare count: "there's five".
    There,
    /// Opens a sentence that always counts.
    Opener,
    /// "this one": no number.
    Pronoun,
    /// "big one": a crab or claw, with no number.
    Described,
    /// "number", before a trap's.
    Hash,
    /// "trap" or "buoy", where a name may follow; "set trap" also says that it is set, "new trap" that it is new.
    Named {
        set: bool,
        new: bool,
    },

    Subject(Subject),
    BaitKind(Text),
    Noun(Slot, Form),
    Says(Vec<Fact>),
}

/// Words and phrases with their meanings.
#[derive(Debug, Clone)]
pub(super) struct Lexicon {
    pub language: &'static Language,
    terms: BTreeMap<Vec<String>, Sense>,
    longest: usize,
    pairs: BTreeMap<(Subject, String), Fact>,
    /// Without one of these a sentence is not about the day, nor a weight.
    days: BTreeSet<&'static str>,
}

impl Lexicon {
    /// The lexicon of a language's tables.
    pub fn new(language: &'static Language) -> Lexicon {
        let mut lexicon = Lexicon {
            language,
            terms: BTreeMap::new(),
            longest: 0,
            pairs: BTreeMap::new(),
            days: language.day.telling().collect(),
        };
        fill(&mut lexicon);
        lexicon
    }

    /// Gives a word or phrase its meaning, replacing any it had. A phrase is split as a text is.
    pub fn add(&mut self, phrase: &str, sense: Sense) {
        let words = self.words(phrase);
        self.longest = self.longest.max(words.len());
        self.terms.insert(words, sense);
    }

    /// As [`Lexicon::add`], unless the phrase has a meaning.
    pub fn add_new(&mut self, phrase: &str, sense: Sense) {
        if !self.terms.contains_key(&self.words(phrase)) {
            self.add(phrase, sense);
        }
    }

    /// Every entry, words split by single spaces, and its meaning; in order.
    pub fn terms(&self) -> impl Iterator<Item = (String, &Sense)> {
        self.terms.iter().map(|(words, sense)| (words.join(" "), sense))
    }

    /// Every subject with each of its qualities.
    pub fn pairs(&self) -> impl Iterator<Item = (Subject, &str)> {
        self.pairs.keys().map(|(subject, quality)| (*subject, quality.as_str()))
    }

    /// What a subject and a quality say together.
    pub fn pair(&self, subject: Subject, quality: &str) -> Option<Fact> {
        self.pairs.get(&(subject, quality.to_string())).cloned()
    }

    /// Gives a subject and a quality their meaning; the first one given stays.
    pub fn add_pair(&mut self, subject: Subject, quality: &str, fact: Fact) {
        self.pairs.entry((subject, self.words(quality).join(" "))).or_insert(fact);
    }

    /// The meaning of exactly these tokens.
    pub fn exactly(&self, tokens: &[Token]) -> Option<&Sense> {
        self.terms.get(&tokens.iter().map(spelled).collect::<Vec<_>>())
    }

    /// A phrase split as a text is.
    pub fn words(&self, phrase: &str) -> Vec<String> {
        let sentences = sentences(self.language, phrase, 0);
        sentences.iter().flat_map(|sentence| &sentence.tokens).map(spelled).collect()
    }

    /// Whether a sentence can be about the day, or a weight.
    pub fn may_be_of_the_day(&self, tokens: &[Token]) -> bool {
        tokens
            .iter()
            .any(|token| matches!(&token.piece, Piece::Word(word) if self.days.contains(word.as_str())))
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

/// A token as the tables spell it.
pub(super) fn spelled(token: &Token) -> String {
    match &token.piece {
        Piece::Word(word) => word.clone(),
        Piece::Comma => ",".to_string(),
        Piece::Number(_) | Piece::Odd | Piece::Glue => token.raw.clone(),
    }
}
