//! Text into sentences of tokens: words in lower case, whole numbers, and the marks that separate them.

use std::ops::Range;

/// One token and where it stood in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Token {
    /// What it is.
    pub piece: Piece,
    /// As written.
    pub raw: String,
    /// Follows the token before it without a gap (`14b`).
    pub glued: bool,
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
}

/// Splits a text into its sentences.
pub(super) fn sentences(text: &str) -> Vec<Sentence> {
    let chars: Vec<char> = text.chars().collect();
    let mut out = Out::default();
    let mut at = 0;
    while let Some(&c) = chars.get(at) {
        at += match c {
            _ if c.is_ascii_digit() => out.digits(&chars, at),
            _ if c.is_alphabetic() => out.word(&chars, at),
            _ => out.mark(c, chars.get(at + 1).copied()),
        };
    }
    out.end(false);
    out.sentences
}

/// Sentences while they grow.
#[derive(Default)]
struct Out {
    sentences: Vec<Sentence>,
    now: Sentence,
    /// No gap since the last token.
    tight: bool,
    /// The last character was a dot of several.
    paused: bool,
}

impl Out {
    fn push(&mut self, piece: Piece, raw: impl Into<String>) {
        self.now.tokens.push(Token { piece, raw: raw.into(), glued: self.tight });
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
        match raw.as_str() {
            "1/2" => self.push(Piece::Word("half".into()), raw),
            "1/4" => self.push(Piece::Word("quarter".into()), raw),
            "3/4" => {
                self.push(Piece::Word("three".into()), "3");
                self.push(Piece::Word("quarters".into()), "/4");
            }
            _ if ordinal => {
                self.push(Piece::Odd, raw + &slice(chars, at, at + 2));
                return at + 2 - from;
            }
            _ => match raw.parse::<u32>() {
                Ok(n) if !joined && n <= 999 && plain <= 9 => self.push(Piece::Number(n), raw),
                _ => self.push(Piece::Odd, raw),
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
        let word: String = raw.to_lowercase().chars().map(|c| if apostrophe(c) { '\'' } else { c }).collect();
        for part in apart(&word) {
            self.push(Piece::Word(part), raw.clone());
        }
        at - from
    }

    /// Takes any other character.
    fn mark(&mut self, c: char, next: Option<char>) -> usize {
        match c {
            // "trap no. 14"
            '.' if self.last_words().take(2).eq(["no", "trap"])
                || self.last_words().take(2).eq(["no", "buoy"]) =>
            {
                if let Some(last) = self.now.tokens.last_mut() {
                    last.piece = Piece::Word("number".into());
                }
            }
            // A pause is not the end of what is being said.
            '.' if next == Some('.') => {}
            '.' if self.paused => self.push(Piece::Comma, c),
            '?' => self.end(true),
            // "!?" and "?!" are both questions.
            '!' if next == Some('?') => {}
            '.' | '!' | '\n' | '\r' | ';' | '。' => self.end(false),
            ',' | '…' | '/' | '|' | '(' | ')' | '[' | ']' | '•' | '–' | '—' | '·' | '\\' | '\u{3001}' => {
                self.push(Piece::Comma, c)
            }
            ':' | '=' => self.push(Piece::Glue, c),
            '&' => self.push(Piece::Word("and".into()), c),
            '+' => self.push(Piece::Word("plus".into()), c),
            '#' => self.push(Piece::Word("number".into()), c),
            '~' | '≈' => self.push(Piece::Word("about".into()), c),
            '$' | '£' | '€' => self.push(Piece::Word("dollars".into()), c),
            '%' => self.push(Piece::Word("percent".into()), c),
            '½' => self.push(Piece::Word("half".into()), c),
            '¼' => self.push(Piece::Word("quarter".into()), c),
            '"' | '″' | '”' if self.tight && matches!(self.now.tokens.last(), Some(t) if is_figure(t)) => {
                self.push(Piece::Word("inches".into()), c);
            }
            _ => {}
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

/// Contractions, and the same without their apostrophe, taken apart.
fn apart(word: &str) -> Vec<String> {
    const ENDINGS: [(&str, &str); 7] = [
        ("n't", "not"),
        ("'s", "is"),
        ("'re", "are"),
        ("'ll", "will"),
        ("'ve", "have"),
        ("'d", "would"),
        ("'m", "am"),
    ];
    const BARE: [(&str, &[&str]); 21] = [
        ("can't", &["can", "not"]),
        ("cannot", &["can", "not"]),
        ("cant", &["can", "not"]),
        ("won't", &["will", "not"]),
        ("wont", &["will", "not"]),
        ("ain't", &["is", "not"]),
        ("aint", &["is", "not"]),
        ("dont", &["do", "not"]),
        ("doesnt", &["does", "not"]),
        ("didnt", &["did", "not"]),
        ("isnt", &["is", "not"]),
        ("wasnt", &["was", "not"]),
        ("thats", &["that", "is"]),
        ("theres", &["there", "is"]),
        ("hes", &["he", "is"]),
        ("shes", &["she", "is"]),
        ("whats", &["what", "is"]),
        ("lets", &["let", "us"]),
        ("gonna", &["going", "to"]),
        ("gotta", &["got", "to"]),
        ("o'clock", &["oclock"]),
    ];
    if let Some((_, parts)) = BARE.iter().find(|(bare, _)| *bare == word) {
        return parts.iter().map(|part| (*part).to_string()).collect();
    }
    for (ending, meaning) in ENDINGS {
        if let Some(stem) = word.strip_suffix(ending).filter(|stem| !stem.is_empty()) {
            return vec![stem.replace('\'', ""), meaning.to_string()];
        }
    }
    vec![word.replace('\'', "")]
}
