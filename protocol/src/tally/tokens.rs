//! Text into sentences of tokens: words in lower case, whole numbers, and the marks that separate them.

use std::ops::Range;

use super::language::Language;

/// One token and where it stood in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Token {
    /// What it is.
    pub piece: Piece,
    /// As written.
    pub raw: String,
    /// Follows the token before it without a gap (`14b`).
    pub glued: bool,
    /// Which of the pull's texts it stands in.
    pub text: usize,
    /// Where in that text, in bytes.
    pub place: Range<usize>,
}

/// What a token is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Piece {
    /// A word in lower case, contractions taken apart ("she's" is `she`, `is`).
    Word(String),
    /// A whole number in digits, 0…999.
    Number(u32),
    /// Digits that are no count: 7.4, 9:30, 5-6, 3rd, 1204.
    Odd,
    /// A comma or its like: ends a clause, not a sentence.
    Comma,
    /// `:` or `=`, which join a word to its number.
    Glue,
}

/// A sentence: up to a full stop, line end, `!` or `?`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Sentence {
    /// Its tokens, in order.
    pub tokens: Vec<Token>,
    /// It ended with a question mark.
    pub question: bool,
    /// The text ended before a mark ended the sentence.
    pub open: bool,
}

/// Splits a text into its sentences. `number` says which of the pull's texts it is.
pub(super) fn sentences(language: &Language, text: &str, number: usize) -> Vec<Sentence> {
    let chars: Vec<char> = text.chars().collect();
    let mut ends = Vec::with_capacity(chars.len());
    let mut end = 0;
    for c in &chars {
        end += c.len_utf8();
        ends.push(end);
    }
    let mut out = Out {
        language,
        text: number,
        ends,
        sentences: Vec::new(),
        now: Sentence::default(),
        tight: false,
        paused: false,
    };
    let mut at = 0;
    while let Some(&c) = chars.get(at) {
        at += match c {
            _ if c.is_ascii_digit() => out.digits(&chars, at),
            _ if c.is_alphabetic() => out.word(&chars, at),
            _ => out.mark(at, c, chars.get(at + 1).copied()),
        };
    }
    out.now.open = true;
    out.end(false);
    out.sentences
}

/// Sentences while they grow.
struct Out<'a> {
    language: &'a Language,
    text: usize,
    /// Where each character ends, in bytes.
    ends: Vec<usize>,
    sentences: Vec<Sentence>,
    now: Sentence,
    /// No gap since the last token.
    tight: bool,
    /// The last character was a dot of several.
    paused: bool,
}

impl Out<'_> {
    /// Takes a token that stands at these characters.
    fn push(&mut self, at: Range<usize>, piece: Piece, raw: impl Into<String>) {
        let end = |chars: usize| match chars {
            0 => 0,
            n => self.ends.get(n - 1).or(self.ends.last()).copied().unwrap_or_default(),
        };
        let place = end(at.start)..end(at.end);
        let token = Token { piece, raw: raw.into(), glued: self.tight, text: self.text, place };
        self.now.tokens.push(token);
        self.tight = true;
    }

    fn end(&mut self, question: bool) {
        self.now.question = question;
        let done = std::mem::take(&mut self.now);
        if !done.tokens.is_empty() {
            self.sentences.push(done);
        }
        self.tight = false;
    }

    /// The last words of the sentence so far, newest first.
    fn last_words(&self) -> impl Iterator<Item = &str> {
        self.now.tokens.iter().rev().map(|token| match &token.piece {
            Piece::Word(word) => word.as_str(),
            _ => "",
        })
    }

    /// "Trap no": the dot that follows ends no sentence.
    fn abbreviated(&self) -> bool {
        let mut last = self.last_words();
        let number = last.next().is_some_and(|word| self.language.abbreviated_number.contains(&word));
        number && last.next().is_some_and(|word| self.language.traps.contains(&word))
    }

    /// Takes digits and what hangs on them; answers how many characters.
    fn digits(&mut self, chars: &[char], from: usize) -> usize {
        let digit = |at: usize| chars.get(at).is_some_and(char::is_ascii_digit);
        let mut at = from;
        while digit(at) {
            at += 1;
        }
        let plain = at - from;
        // A mark between two digits makes one figure of them: a decimal, a range, a time, a date.
        let mut joined = false;
        while let Some(&mark) = chars.get(at) {
            let joins = match mark {
                '.' | ':' | '/' | '-' | '–' | '\'' => digit(at + 1),
                ',' => (1..=3).all(|n| digit(at + n)) && !digit(at + 4),
                _ => false,
            };
            if !joins {
                break;
            }
            joined = true;
            at += 1;
            while digit(at) {
                at += 1;
            }
        }
        let raw = slice(chars, from, at);
        let tail: String = slice(chars, at, at + 3).to_lowercase();
        let ends = |tail: &str| tail.chars().nth(2).is_none_or(|c| !c.is_alphanumeric());
        let ordinal = ["st", "nd", "rd", "th"].iter().any(|o| tail.starts_with(o)) && ends(&tail);
        let place = from..at;
        match raw.as_str() {
            "1/2" => self.push(place, Piece::Word(self.language.half.into()), raw),
            "1/4" => self.push(place, Piece::Word(self.language.quarter.into()), raw),
            "3/4" => {
                self.push(place.clone(), Piece::Word(self.language.three_quarters.0.into()), "3");
                self.push(place, Piece::Word(self.language.three_quarters.1.into()), "/4");
            }
            _ if ordinal => {
                self.push(from..at + 2, Piece::Odd, raw + &slice(chars, at, at + 2));
                return at + 2 - from;
            }
            _ => match raw.parse::<u32>() {
                Ok(n) if !joined && n <= 999 && plain <= 9 => self.push(place, Piece::Number(n), raw),
                _ => self.push(place, Piece::Odd, raw),
            },
        }
        // "5+" and "2½" are no whole counts.
        if matches!(chars.get(at), Some('+' | '½' | '¼' | '¾')) {
            if let Some(last) = self.now.tokens.last_mut() {
                last.piece = Piece::Odd;
            }
            at += 1;
        }
        at - from
    }

    /// Takes a word; answers how many characters.
    fn word(&mut self, chars: &[char], from: usize) -> usize {
        let letter = |at: usize| chars.get(at).is_some_and(|c| c.is_alphabetic() || is_mark(*c));
        let mut at = from;
        while letter(at) || (chars.get(at).is_some_and(|c| apostrophe(*c)) && letter(at + 1)) {
            at += 1;
        }
        let raw = slice(chars, from, at);
        let word: String = raw.to_lowercase().chars().filter(|c| !is_mark(*c)).map(plain).collect();
        for part in apart(self.language, &word) {
            self.push(from..at, Piece::Word(part), raw.clone());
        }
        at - from
    }

    /// Takes any other character.
    fn mark(&mut self, at: usize, c: char, next: Option<char>) -> usize {
        let here = at..at + 1;
        let name = |name: &'static str| (Piece::Word(name.to_string()), c);
        match c {
            // "trap no. 14"
            '.' if self.abbreviated() => {
                let number = self.language.number.to_string();
                if let Some(last) = self.now.tokens.last_mut() {
                    last.piece = Piece::Word(number);
                }
            }
            // A pause is not the end of what is being said.
            '.' if next == Some('.') => {}
            '.' if self.paused => self.push(here, Piece::Comma, c),
            '?' => self.end(true),
            // "!?" and "?!" are both questions.
            '!' if next == Some('?') => {}
            '.' | '!' | '\n' | '\r' | ';' | '。' => self.end(false),
            ',' | '…' | '/' | '|' | '(' | ')' | '[' | ']' | '•' | '–' | '—' | '·' | '\\' | '\u{3001}' => {
                self.push(here, Piece::Comma, c)
            }
            ':' | '=' => self.push(here, Piece::Glue, c),
            '"' | '″' | '”' if self.tight && matches!(self.now.tokens.last(), Some(t) if is_figure(t)) => {
                let (piece, raw) = name(self.language.inches);
                self.push(here, piece, raw);
            }
            _ => {
                let sign = self.language.signs.iter().find(|(signs, _)| signs.contains(c));
                if let Some((_, word)) = sign {
                    let (piece, raw) = name(word);
                    self.push(here, piece, raw);
                }
            }
        }
        self.tight = false;
        self.paused = c == '.' && next == Some('.');
        1
    }
}

fn slice(chars: &[char], from: usize, to: usize) -> String {
    let range: Range<usize> = from.min(chars.len())..to.min(chars.len());
    chars.get(range).unwrap_or_default().iter().collect()
}

fn is_figure(token: &Token) -> bool {
    matches!(token.piece, Piece::Number(_) | Piece::Odd)
}

fn apostrophe(c: char) -> bool {
    matches!(c, '\'' | '’' | '‘' | 'ʼ' | '`' | '´')
}

/// Combining accents, so that a decomposed letter stays one word.
fn is_mark(c: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&c)
}

/// A letter without its accent, and one apostrophe for all: people leave them out as they like.
fn plain(c: char) -> char {
    match c {
        'á' | 'à' | 'â' | 'ä' => 'a',
        'é' | 'è' | 'ê' | 'ë' => 'e',
        'í' | 'ì' | 'î' | 'ï' => 'i',
        'ó' | 'ò' | 'ô' | 'ö' => 'o',
        'ú' | 'ù' | 'û' | 'ü' => 'u',
        'ñ' => 'n',
        c if apostrophe(c) => '\'',
        c => c,
    }
}

/// Contractions, and the same without their apostrophe, taken apart.
fn apart(language: &Language, word: &str) -> Vec<String> {
    if let Some((_, parts)) = language.contractions.iter().find(|(bare, _)| *bare == word) {
        return parts.iter().map(|part| (*part).to_string()).collect();
    }
    for (ending, meaning) in language.endings {
        if let Some(stem) = word.strip_suffix(ending).filter(|stem| !stem.is_empty()) {
            return vec![stem.replace('\'', ""), (*meaning).to_string()];
        }
    }
    vec![word.replace('\'', "")]
}
