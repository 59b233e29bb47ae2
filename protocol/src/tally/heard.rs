//! Heard text: a recogniser writes what it hears, and "four keepers" sounds like "for keepers".
//!
//! Only words that sound the same are changed, and only where nothing but a number can stand: at the beginning of a
//! clause or after a counted word, with a word of the trade after it.

use super::Count;
use super::lexicon::{Form, Lexicon, Sense, Slot};
use super::tokens::{Piece, Sentence, Token};

/// Words that sound alike. Tables only.
#[derive(Debug, Clone, Copy)]
pub(super) struct Homophones {
    /// Heard, and the number that sounds like it.
    pub numbers: &'static [(&'static str, &'static str)],
    /// Of those, words that also say what something is for: "for crabs, fresh mullet".
    pub purpose: &'static [&'static str],
    /// Heard after a number, and the word of the trade that sounds like it.
    pub words: &'static [(&'static str, &'static str)],
    /// Units of weight that sound like a word of the trade: heard after a number of them that weighs less than a claw.
    pub light: &'static [(&'static str, &'static str)],
    /// Words nobody says on a boat, for ones that sound like them.
    pub anywhere: &'static [(&'static str, &'static str)],
}

/// Grams: the lightest claw anybody weighs has more (the smallest class of the trade begins at some two ounces).
const LIGHTEST_G: u32 = 30;
/// Words of a number, at the most: "one hundred and twenty five".
const LONGEST_NUMBER: usize = 5;

/// Puts numbers and words of the trade where they were heard as something else.
pub(super) fn mend(lexicon: &Lexicon, sentence: &mut Sentence) {
    let homophones = lexicon.language.homophones;
    whole_numbers(lexicon, sentence);
    let mut at = 0;
    while at < sentence.tokens.len() {
        if let Some(word) = like(homophones.anywhere, sentence.tokens.get(at)) {
            put(sentence, at, word);
        }
        let light = like(homophones.light, sentence.tokens.get(at));
        if let Some(word) = light.filter(|_| too_light(lexicon, &sentence.tokens, at)) {
            put(sentence, at, word);
        }
        let alike = like(homophones.words, sentence.tokens.get(at));
        if let Some(word) = alike.filter(|_| follows_number(lexicon, &sentence.tokens, at)) {
            put(sentence, at, word);
            // "crab's" was taken apart as if it meant "crab is".
            let raw = sentence.tokens.get(at).map(|token| token.raw.clone());
            let place = sentence.tokens.get(at).map(|token| token.place.clone());
            let same =
                |token: &Token| Some(&token.raw) == raw.as_ref() && Some(&token.place) == place.as_ref();
            if sentence.tokens.get(at + 1).is_some_and(same) {
                sentence.tokens.remove(at + 1);
            }
        }
        at += 1;
    }
    if !known(lexicon, &sentence.tokens) {
        return;
    }
    for at in 0..sentence.tokens.len() {
        let number = like(homophones.numbers, sentence.tokens.get(at));
        let number = number.filter(|_| !purpose(lexicon, &sentence.tokens, at));
        if let Some(number) = number.filter(|_| {
            counts(lexicon, sentence.tokens.get(at + 1..).unwrap_or_default())
                && begins(lexicon, sentence.tokens.get(..at).unwrap_or_default())
        }) {
            put(sentence, at, number);
        }
    }
}

/// "Twenty, six claws": a recogniser writes a comma where somebody drew breath. Where the tens belong to nothing else,
/// they are the number's.
fn whole_numbers(lexicon: &Lexicon, sentence: &mut Sentence) {
    let mut at = 0;
    while at + 3 < sentence.tokens.len() {
        let tokens = &sentence.tokens;
        let number = |at: usize| {
            let spelled = tokens.get(at).is_some_and(|token| matches!(token.piece, Piece::Word(_)));
            lexicon.language.numerals.number(tokens.get(at..=at)?).filter(|_| spelled)?.n
        };
        let tens = number(at).is_some_and(|n| (20..100).contains(&n) && n % 10 == 0);
        let ones = number(at + 2).is_some_and(|n| (1..10).contains(&n));
        let noun = lexicon.longest(tokens.get(at + 3..).unwrap_or_default());
        let noun = noun.is_some_and(|(_, sense, _)| matches!(sense, Sense::Noun(_, Form::Many)));
        let comma = |at: usize| tokens.get(at).is_some_and(|token| token.piece == Piece::Comma);
        // "Crabs, twenty, six claws" has a word for both.
        let clause = tokens.get(..at.saturating_sub(1)).unwrap_or_default();
        let clause = clause.rsplit(|token| token.piece == Piece::Comma).next().unwrap_or_default();
        let told = (0..clause.len())
            .any(|at| lexicon.language.numerals.number(clause.get(at..).unwrap_or_default()).is_some());
        let free = at == 0 || (comma(at - 1) && told);
        if tens && comma(at + 1) && ones && noun && free {
            sentence.tokens.remove(at + 1);
        }
        at += 1;
    }
}

fn like(table: &[(&str, &'static str)], token: Option<&Token>) -> Option<&'static str> {
    let token = token?;
    let Piece::Word(word) = &token.piece else { return None };
    let raw = token.raw.to_lowercase().replace('’', "'");
    table.iter().find(|(heard, _)| heard == word || *heard == raw).map(|(_, meant)| *meant)
}

fn put(sentence: &mut Sentence, at: usize, word: &str) {
    if let Some(token) = sentence.tokens.get_mut(at) {
        token.piece = Piece::Word(word.to_owned());
    }
}

/// Every word means something on a boat: in other talk, "for" is no number.
fn known(lexicon: &Lexicon, tokens: &[Token]) -> bool {
    let mut at = 0;
    while let Some(here) = tokens.get(at..).filter(|here| !here.is_empty()) {
        let number = lexicon.language.numerals.number(here).map(|n| n.used);
        let term = lexicon.longest(here).map(|(_, _, used)| used);
        let mark = here.first().is_some_and(|token| !matches!(token.piece, Piece::Word(_)));
        let alike = mark || like(lexicon.language.homophones.numbers, here.first()).is_some();
        match number.max(term).or(alike.then_some(1)) {
            Some(used) => at += used,
            None => return false,
        }
    }
    true
}

/// A number, or what sounds like one where a clause begins, stands just before.
fn follows_number(lexicon: &Lexicon, tokens: &[Token], at: usize) -> bool {
    let Some(before) = at.checked_sub(1) else { return false };
    let Some(token) = tokens.get(before..at) else { return false };
    lexicon.language.numerals.number(token).is_some()
        || like(lexicon.language.homophones.numbers, token.first()).is_some()
            && begins(lexicon, tokens.get(..before).unwrap_or_default())
}

/// The number just before is too small for anybody to say it of a claw's grams.
fn too_light(lexicon: &Lexicon, tokens: &[Token], at: usize) -> bool {
    let whole = |from: usize| {
        let number = lexicon.language.numerals.number(tokens.get(from..at)?)?;
        number.n.filter(|_| from + number.used == at)
    };
    (at.saturating_sub(LONGEST_NUMBER)..at).find_map(whole).is_some_and(|n| n < LIGHTEST_G)
}

/// "For crabs" beside a named bait and no other count says what the bait is for.
fn purpose(lexicon: &Lexicon, tokens: &[Token], at: usize) -> bool {
    let senses =
        |from: usize| lexicon.longest(tokens.get(from..).unwrap_or_default()).map(|(_, sense, _)| sense);
    let crabs = matches!(senses(at + 1), Some(Sense::Noun(Slot::Count(Count::Crabs), _)));
    let for_them = tokens.get(at).is_some_and(|token| {
        lexicon.language.homophones.purpose.contains(&token.raw.to_lowercase().as_str())
    });
    let bait = |at: usize| matches!(senses(at), Some(Sense::BaitKind(_)));
    let counted = |at: usize| {
        let number = lexicon.language.numerals.number(tokens.get(at..).unwrap_or_default());
        number.is_some_and(|number| matches!(senses(at + number.used), Some(Sense::Noun(..))))
    };
    crabs && for_them && (0..tokens.len()).any(bait) && !(0..tokens.len()).any(counted)
}

/// A plural of the trade begins here, after adjectives at most.
fn counts(lexicon: &Lexicon, tokens: &[Token]) -> bool {
    match lexicon.longest(tokens) {
        Some((_, Sense::Noun(_, Form::Many), _)) => true,
        Some((_, Sense::Adjective, used)) => counts(lexicon, tokens.get(used..).unwrap_or_default()),
        _ => false,
    }
}

/// Nothing, a comma, or a counted word stands before: here a number may begin.
fn begins(lexicon: &Lexicon, before: &[Token]) -> bool {
    let ends_with = |words: usize| {
        let from = before.len().checked_sub(words)?;
        lexicon.exactly(before.get(from..)?)
    };
    let counted = || {
        let number = |at: usize| lexicon.language.numerals.number(before.get(at..at + 1)?);
        (0..before.len()).any(|at| number(at).is_some())
    };
    match before.last().map(|token| &token.piece) {
        None | Some(Piece::Comma | Piece::Glue) => true,
        _ => (1..=3).rev().find_map(ends_with).is_some_and(|sense| match sense {
            Sense::And | Sense::There | Sense::Opener => true,
            Sense::Noun(_, Form::Many) => counted(),
            _ => false,
        }),
    }
}
