//! How a crew speaks: its language and words of its own, and the grammar they make.
//!
//! Records are a function of the journal, so a [`Speech`] travels in the run line of each segment.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::language::{ENGLISH, Language, SPANISH};
use super::ledger::Ledger;
use super::lexicon::{Fact, Form, How, Lexicon, Sense, Slot, State, spelled};
use super::tokens::{self, Sentence, Token};
use super::vocabulary::{Vocabulary, vocabulary};
use super::{Count, FieldError, Kind, Reading, Tally, day, grammar, heard};

/// A crew's language and the words it adds.
///
/// ```
/// use gunwale_protocol::tally::{Grammar, Said, Speech};
///
/// let speech: Speech = serde_json::from_str(r#"{"keepers":["takers"],"opener":["for the ship"]}"#)?;
/// let reading = Grammar::of(&speech).read(&[Said::typed("For the ship: three takers.")], &[]);
/// assert_eq!(reading.tally.get("keepers").as_deref(), Some("3"));
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(default)]
pub struct Speech {
    /// ISO 639-1: `en` or `es`. A language this program does not know is read as English.
    #[serde(skip_serializing_if = "is_english")]
    pub language: String,
    /// What is meant, and the words for it. What may be meant: a count of the tally (`keepers`), one of [`NAMED`], or
    /// a state with its value (`tie=broken`).
    #[serde(flatten)]
    pub words: BTreeMap<String, Vec<String>>,
}

/// What a crew's words may mean beside counts and states with a value.
///
/// `sizes`, `other`, `bait_kind` and `bottom` take each word for a size, an animal, a bait, a sea bed of that name;
/// `empty` states no crabs; `opener` begins a sentence that always counts; `trap` is a word for a trap, after which its
/// name comes; `set` and `visit` tell the kind of stop; `mark` marks the note; `ignore` says nothing and takes nothing
/// from the words around it; `never` keeps its whole sentence from counting.
pub const NAMED: [&str; 12] = [
    "sizes",
    "other",
    "bait_kind",
    "bottom",
    "empty",
    "opener",
    "trap",
    "set",
    "visit",
    "mark",
    "ignore",
    "never",
];

/// The longest word or phrase a crew may add, in characters.
const LONGEST: usize = 60;

/// Why a crew's words cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SpeechError {
    /// No such language.
    #[error("language `{0}` is not known: use en or es")]
    Language(String),
    /// Nothing of this name can be meant.
    #[error("`{0}` is nothing a word can mean: use a count such as keepers, a state such as \"tie=broken\", or one of {list}", list = NAMED.join(", "))]
    Meaning(String),
    /// A state's value that cannot be.
    #[error(transparent)]
    Value(#[from] FieldError),
    /// A word without a letter, or too long.
    #[error("`{word}` cannot be a word for {meaning}: use 1 to 60 characters with a letter among them")]
    Word {
        /// What it was to mean.
        meaning: String,
        /// As given.
        word: String,
    },
}

impl Default for Speech {
    fn default() -> Speech {
        Speech { language: ENGLISH.code.to_owned(), words: BTreeMap::new() }
    }
}

fn is_english(language: &str) -> bool {
    language == ENGLISH.code
}

impl Speech {
    /// Whether it is English without words of the crew's own.
    pub fn is_default(&self) -> bool {
        is_english(&self.language) && self.words.is_empty()
    }

    /// Whether every part of it can be used. What cannot be used is passed over in reading.
    ///
    /// # Errors
    /// [`SpeechError`] names the first part that cannot.
    pub fn check(&self) -> Result<(), SpeechError> {
        if language(&self.language).is_none() {
            return Err(SpeechError::Language(self.language.clone()));
        }
        for (meaning, words) in &self.words {
            meant(meaning, "word")?;
            if let Some(word) = words.iter().find(|word| !fits(word)) {
                return Err(SpeechError::Word { meaning: meaning.clone(), word: word.clone() });
            }
        }
        Ok(())
    }
}

fn language(code: &str) -> Option<&'static Language> {
    [&ENGLISH, &SPANISH].into_iter().find(|language| language.code == code)
}

fn fits(word: &str) -> bool {
    word.chars().count() <= LONGEST && word.chars().any(char::is_alphabetic)
}

/// A crew's word and its plural, with what they mean.
fn meant(meaning: &str, word: &str) -> Result<Vec<(String, Sense)>, SpeechError> {
    let text = || Cow::<'static, str>::Owned(word.to_owned());
    let state = |state| vec![Fact::State(state)];
    let noun = |slot: Slot, one: Form| {
        let many = Sense::Noun(slot.clone(), Form::Many);
        if word.ends_with('s') {
            vec![(word.to_owned(), many)]
        } else {
            vec![(word.to_owned(), Sense::Noun(slot, one)), (format!("{word}s"), many)]
        }
    };
    if let Some(count) = Count::from_key(meaning) {
        let thing =
            matches!(count, Count::Crabs | Count::Claws | Count::Both | Count::Crushers | Count::Pincers);
        return Ok(noun(Slot::Count(count), if thing { Form::One } else { Form::Verdict }));
    }
    let sense = match meaning {
        "sizes" => return Ok(noun(Slot::Size(text()), Form::Verdict)),
        "other" => return Ok(noun(Slot::Other(text()), Form::One)),
        "bait_kind" => Sense::BaitKind(text()),
        "bottom" => Sense::Says(state(State::Bottom(text()))),
        "empty" => Sense::Says(vec![Fact::Number { slot: Slot::Count(Count::Crabs), how: How::Total, n: 0 }]),
        "opener" => Sense::Opener,
        "trap" => Sense::Named { set: false, new: false },
        "set" => Sense::Says(state(State::Kind(Kind::Set))),
        "visit" => Sense::Says(state(State::Kind(Kind::Visit))),
        "mark" => Sense::Says(state(State::Mark)),
        "ignore" => Sense::Filler,
        "never" => Sense::Hush(super::lexicon::Hush::All),
        _ => Sense::Says(stated(meaning)?),
    };
    Ok(vec![(word.to_owned(), sense)])
}

/// `tie=broken` as facts.
fn stated(meaning: &str) -> Result<Vec<Fact>, SpeechError> {
    let nothing = || SpeechError::Meaning(meaning.to_owned());
    let (key, value) = meaning.split_once('=').ok_or_else(nothing)?;
    if Count::from_key(key).is_some() {
        return Err(nothing());
    }
    let mut tally = Tally::default();
    tally.set(key, value).map_err(|error| match error {
        FieldError::Key { .. } => nothing(),
        value => SpeechError::Value(value),
    })?;
    let states = [
        tally.bait_left.map(State::BaitLeft),
        tally.bait_added.map(State::BaitAdded),
        tally.tie.map(State::Tie),
        tally.tie_new.map(State::TieNew),
        tally.lid.map(State::Lid),
        tally.tampered.map(State::Tampered),
        tally.trap_state.map(State::Trap),
        tally.taken_in.map(State::TakenIn),
        tally.bait_kind.map(|kind| State::BaitKind(kind.into())),
        tally.bottom.map(|bottom| State::Bottom(bottom.into())),
    ];
    let facts: Vec<Fact> = states.into_iter().flatten().map(Fact::State).collect();
    if facts.is_empty() { Err(nothing()) } else { Ok(facts) }
}

/// One note's text, in the order of time among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Said<'a> {
    /// The text.
    pub text: &'a str,
    /// A recogniser wrote it: words that sound like a number may be one.
    pub heard: bool,
    /// It goes on where the text before it was cut, without a pause.
    pub goes_on: bool,
}

impl<'a> Said<'a> {
    /// A typed text, which is exact.
    pub fn typed(text: &'a str) -> Said<'a> {
        Said { text, heard: false, goes_on: false }
    }

    /// A recogniser's text.
    pub fn heard(text: &'a str) -> Said<'a> {
        Said { text, heard: true, goes_on: false }
    }
}

/// What makes counts of words: a language's tables and a crew's own words.
#[derive(Debug, Clone)]
pub struct Grammar {
    lexicon: Cow<'static, Lexicon>,
}

static IN_ENGLISH: LazyLock<Lexicon> = LazyLock::new(|| Lexicon::new(&ENGLISH));
static IN_SPANISH: LazyLock<Lexicon> = LazyLock::new(|| Lexicon::new(&SPANISH));

impl Default for Grammar {
    fn default() -> Grammar {
        Grammar { lexicon: Cow::Borrowed(&IN_ENGLISH) }
    }
}

impl Grammar {
    /// The grammar of a crew. Parts of its speech that cannot be used are passed over: a journal always reads.
    pub fn of(speech: &Speech) -> Grammar {
        let tables: &'static Lexicon =
            if speech.language == SPANISH.code { &IN_SPANISH } else { &IN_ENGLISH };
        let mut lexicon = Cow::Borrowed(tables);
        for (meaning, words) in &speech.words {
            for word in words.iter().filter(|word| fits(word)) {
                for (word, sense) in meant(meaning, word).unwrap_or_default() {
                    lexicon.to_mut().add(&word, sense);
                }
            }
        }
        Grammar { lexicon }
    }

    /// Its words as lists, for a recogniser that listens for given words only.
    pub fn vocabulary(&self) -> Vocabulary {
        vocabulary(&self.lexicon)
    }

    /// Reads the notes of one pull, in order of time. `traps` are the names in the register: those of words are known
    /// by no other way.
    ///
    /// A later statement replaces an earlier one, "two more keepers" adds, "make that five" corrects the last number
    /// and "scratch the last one" takes the last statement back. A stated total wins over verdicts given one by one.
    pub fn read(&self, notes: &[Said<'_>], traps: &[&str]) -> Reading {
        let lexicon = &*self.lexicon;
        let names = Names::new(lexicon, traps);
        let texts: Vec<&str> = notes.iter().map(|note| note.text).collect();
        let mut ledger = Ledger::default();
        for (sentences, note) in self.sentences(notes).into_iter().zip(notes) {
            ledger.next_note(note.text.len(), note.heard);
            for mut sentence in sentences {
                if !day::read(lexicon, &sentence, &texts, &mut ledger) {
                    day::weights_apart(lexicon, &mut sentence, &mut ledger);
                    grammar::sentence(lexicon, &names, &sentence, &mut ledger);
                }
            }
        }
        ledger.finish()
    }

    /// The sentences of each note; one that goes on in the next note stands there whole.
    fn sentences(&self, notes: &[Said<'_>]) -> Vec<Vec<Sentence>> {
        let lexicon = &*self.lexicon;
        let mut all: Vec<Vec<Sentence>> = Vec::new();
        for (number, note) in notes.iter().enumerate() {
            let mut sentences = tokens::sentences(lexicon.language, note.text, number);
            // A recogniser puts a full stop wherever its sound ends.
            let cut = |last: &Sentence| last.open || (note.heard && !last.question);
            let before = all.last_mut().filter(|_| note.goes_on);
            if let (Some(before), Some(first)) = (before, sentences.first_mut())
                && before.last().is_some_and(cut)
                && let Some(mut whole) = before.pop()
            {
                whole.tokens.append(&mut first.tokens);
                (whole.question, whole.open) = (first.question, first.open);
                *first = whole;
            }
            all.push(sentences);
        }
        for (sentences, _) in all.iter_mut().zip(notes).filter(|(_, note)| note.heard) {
            sentences.iter_mut().for_each(|sentence| heard::mend(lexicon, sentence));
        }
        all
    }
}

/// The register's names that are words.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// As a text would spell them, and as the register does; longest first.
    names: Vec<(Vec<String>, String)>,
}

impl Names {
    fn new(lexicon: &Lexicon, traps: &[&str]) -> Names {
        let lettered = traps.iter().filter(|name| name.chars().any(char::is_alphabetic));
        let mut names: Vec<_> = lettered.map(|name| (lexicon.words(name), (*name).to_owned())).collect();
        names.retain(|(words, _)| !words.is_empty());
        names.sort_by(|a, b| b.0.len().cmp(&a.0.len()).then_with(|| a.1.cmp(&b.1)));
        Names { names }
    }

    /// The name that begins here, and how many tokens it takes. Right after a word for a trap any name is one; elsewhere
    /// it needs a word that means nothing else.
    pub fn longest(&self, lexicon: &Lexicon, tokens: &[Token], after_trap: bool) -> Option<(String, usize)> {
        let is = |words: &[String]| {
            words.len() <= tokens.len()
                && words.iter().zip(tokens).all(|(word, token)| *word == spelled(token))
        };
        let free = |words: usize| {
            (0..words).filter_map(|at| tokens.get(at..at + 1)).any(|word| {
                lexicon.longest(word).is_none() && lexicon.language.numerals.number(word).is_none()
            })
        };
        let found = self.names.iter().find(|(words, _)| is(words) && (after_trap || free(words.len())));
        found.map(|(words, name)| (name.clone(), words.len())).or_else(|| {
            let in_parts = |(_, name): &(Vec<String>, String)| {
                Some((name.clone(), in_parts(lexicon, name, tokens).filter(|_| after_trap || free(1))?))
            };
            self.names.iter().find_map(in_parts)
        })
    }
}

/// How many tokens say a name of one word letter by number: "B seven" for `B7`, "reef twelve" for `Reef12`.
fn in_parts(lexicon: &Lexicon, name: &str, tokens: &[Token]) -> Option<usize> {
    let (mut left, mut used, mut digits) = (name, 0, false);
    while let Some(first) = left.chars().next() {
        let digit = first.is_ascii_digit();
        let end = left.find(|c: char| c.is_ascii_digit() != digit).unwrap_or(left.len());
        let (part, rest) = left.split_at_checked(end)?;
        let here = tokens.get(used..)?;
        used += if digit {
            let number = lexicon.language.numerals.number(here)?;
            let as_said = number.n.map(|n| n.to_string());
            digits = true;
            (as_said.as_deref() == Some(part)).then_some(number.used)?
        } else {
            (part.to_lowercase() == spelled(here.first()?)).then_some(1)?
        };
        left = rest;
    }
    (digits && used > 1).then_some(used)
}
