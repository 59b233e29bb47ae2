//! What a language is to the grammar: tables. English and Spanish stand in files of their own; another is another file.

use std::borrow::Cow;

use super::Count;
use super::day::DayWords;
use super::heard::Homophones;
use super::lexicon::{Fact, Form, How, Lexicon, Sense, Slot, State, Subject};
use super::numbers::Numerals;

pub(super) use super::english::ENGLISH;
pub(super) use super::spanish::SPANISH;

/// Everything the grammar knows of a language. Rows of several words are separated by `|`.
#[derive(Debug)]
pub(super) struct Language {
    /// ISO 639-1.
    pub code: &'static str,
    pub numerals: Numerals,
    /// What the signs ½, ¼ and ¾ are called.
    pub half: &'static str,
    pub quarter: &'static str,
    pub three_quarters: (&'static str, &'static str),
    /// What `"` after a figure is called.
    pub inches: &'static str,
    /// What `#` is called.
    pub number: &'static str,
    /// "no" in "trap no. 7", and the words it follows.
    pub abbreviated_number: &'static [&'static str],
    pub traps: &'static [&'static str],
    /// Signs that stand for a word.
    pub signs: &'static [(&'static str, &'static str)],
    /// Words taken apart whole, and by their ending.
    pub contractions: &'static [(&'static str, &'static [&'static str])],
    pub endings: &'static [(&'static str, &'static str)],
    /// The number that may stand for a crab: "a big one".
    pub one: &'static str,
    /// Begins "of them".
    pub of: &'static str,
    /// "two of the keepers": a part of what is counted already.
    pub of_the: &'static [&'static str],
    /// "the other two crabs"
    pub rest: &'static [&'static str],
    /// "two of them"
    pub of_them: &'static [&'static str],
    /// Corrects when a number follows: "no, six".
    pub no: &'static str,
    /// The beginning of "not a keeper", which may be one crab or none.
    pub not_a: &'static str,
    /// "under 70 crabs" is a limit.
    pub under: &'static str,
    /// "two keepers out of three crabs"
    pub out_of: &'static str,
    /// "one in three"
    pub ratio: &'static [&'static str],
    /// Words that come back to this trap after talk of another.
    pub here: &'static [&'static str],
    /// "two keepers more"
    pub more_after: &'static [&'static str],
    /// "gave", between crabs and their claws
    pub giving: &'static [&'static str],
    /// "took", before how many
    pub taking: &'static [&'static str],
    /// "another", alone
    pub another: &'static [&'static str],
    /// Words that begin a question, unless `not` follows.
    pub asking: &'static [&'static str],
    pub not: &'static str,
    /// Words after which a number alone is one of crabs: "there's five".
    pub bare: &'static [&'static str],
    pub homophones: Homophones,
    pub counts: &'static [(Count, Form, &'static str)],
    /// A size's name in records, its plurals, its verdicts.
    pub sizes: &'static [(&'static str, &'static str, &'static str)],
    /// Before the name of another animal, its young: no short crab.
    pub young: &'static str,
    /// Other animals, singular and plural.
    pub others: &'static [(&'static str, &'static str)],
    /// Pieces of bait, plural and singular.
    pub pieces: (&'static str, &'static str),
    pub baits: &'static str,
    /// Words that show a clause to be about bait.
    pub baiting: &'static str,
    pub plain: &'static [(Sense, &'static str)],
    pub says: &'static [(&'static [Say], &'static str)],
    pub pairs: &'static [(Subject, Say, &'static str)],
    /// "he is", "that one was"… before what a crab is not.
    pub one_crab: &'static str,
    pub not_legal: &'static str,
    pub day: DayWords,
}

/// A phrase's fact, in a form a table can hold.
#[derive(Debug)]
pub(super) enum Say {
    /// A verdict on one crab.
    Add(Count, u32),
    /// A total.
    Is(Count, u32),
    /// A state.
    Be(State),
}

/// A sea bed, for a table.
pub(super) const fn bottom(word: &'static str) -> Say {
    Say::Be(State::Bottom(Cow::Borrowed(word)))
}

impl Say {
    fn fact(&self) -> Fact {
        let number = |count: &Count, how, n: &u32| Fact::Number { slot: Slot::Count(*count), how, n: *n };
        match self {
            Say::Add(count, n) => number(count, How::Verdict, n),
            Say::Is(count, n) => number(count, How::Total, n),
            Say::Be(state) => Fact::State(state.clone()),
        }
    }
}

/// Puts every word of a language's tables into a lexicon.
pub(super) fn fill(lexicon: &mut Lexicon) {
    let language = lexicon.language;
    for (sense, words) in language.plain {
        split(words).for_each(|word| lexicon.add(word, sense.clone()));
    }
    for (count, form, words) in language.counts {
        split(words).for_each(|word| lexicon.add(word, Sense::Noun(Slot::Count(*count), *form)));
    }
    for (size, many, verdict) in language.sizes {
        let slot = Slot::Size(Cow::Borrowed(size));
        split(many).for_each(|word| lexicon.add(word, Sense::Noun(slot.clone(), Form::Many)));
        split(verdict).for_each(|word| lexicon.add(word, Sense::Noun(slot.clone(), Form::Verdict)));
    }
    for (one, many) in language.others {
        let slot = Slot::Other(Cow::Borrowed(one));
        lexicon.add(many, Sense::Noun(slot.clone(), Form::Many));
        lexicon.add(one, Sense::Noun(slot.clone(), Form::One));
        lexicon.add(&format!("{} {one}", language.young), Sense::Noun(slot, Form::One));
    }
    let (many, one) = language.pieces;
    split(many).for_each(|word| lexicon.add(word, Sense::Noun(Slot::Pieces, Form::Many)));
    split(one).for_each(|word| lexicon.add(word, Sense::Noun(Slot::Pieces, Form::One)));
    split(language.baits).for_each(|bait| lexicon.add(bait, Sense::BaitKind(Cow::Borrowed(bait))));
    for (says, phrases) in language.says {
        let facts: Vec<Fact> = says.iter().map(Say::fact).collect();
        split(phrases).for_each(|phrase| lexicon.add(phrase, Sense::Says(facts.clone())));
    }
    let short = Fact::Number { slot: Slot::Count(Count::Shorts), how: How::Verdict, n: 1 };
    for subject in split(language.one_crab) {
        for verdict in split(language.not_legal) {
            lexicon.add(&format!("{subject} {verdict}"), Sense::Says(vec![short.clone()]));
        }
    }
    for (subject, say, qualities) in language.pairs {
        for quality in split(qualities) {
            lexicon.add_pair(*subject, quality, say.fact());
            lexicon.add_new(quality, Sense::Quality);
        }
    }
}

/// The words of a row.
pub(super) fn split(row: &'static str) -> impl Iterator<Item = &'static str> {
    row.split('|').map(str::trim).filter(|word| !word.is_empty())
}
