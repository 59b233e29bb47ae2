//! Spelled numbers, 0–999: "seven", "twenty-three", "a hundred and five", "half a dozen", "treinta y cinco". How a
//! language spells them is a table.

use super::tokens::{Piece, Token};

/// How a language spells its numbers. Tables only.
#[derive(Debug)]
pub(super) struct Numerals {
    /// 0 and up, one word each, without a gap; the same number again under another spelling stands in `more`.
    pub units: &'static [&'static str],
    /// Other words below a hundred.
    pub more: &'static [(&'static str, u32)],
    /// Twenty to ninety, which may take a unit.
    pub tens: &'static [(&'static str, u32)],
    /// What may stand between tens and unit ("treinta y cinco"); none: nothing does.
    pub tens_joint: Option<&'static str>,
    /// Whole hundreds in one word, which may take the rest below a hundred.
    pub hundreds: &'static [(&'static str, u32)],
    /// "Hundred" after a unit, and the word that makes one of it without ("a hundred").
    pub hundred: Option<(&'static str, &'static str)>,
    /// What may stand between the hundreds and the rest.
    pub joint: Option<&'static str>,
    /// "Dozen" after a number.
    pub dozen: &'static [&'static str],
    /// Numbers of more than one word that no rule makes, longest first.
    pub set: &'static [(&'static [&'static str], u32)],
    /// What makes the number before it no whole count below a thousand.
    pub spoils: &'static [&'static [&'static str]],
}

/// A number read from the front of some tokens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Spelled {
    /// The number; `None` for one that is no whole count ("three and a half").
    pub n: Option<u32>,
    /// How many tokens it takes.
    pub used: usize,
}

impl Numerals {
    /// The number that begins `tokens`, if one does.
    pub fn number(&self, tokens: &[Token]) -> Option<Spelled> {
        let (n, mut used) = self.whole(tokens)?;
        let spoiler = self.spoils.iter().find(|words| starts(rest(tokens, used), words));
        if let Some(words) = spoiler {
            used += words.len();
            // "two thousand and five": all of it is one figure.
            loop {
                let joint = usize::from(self.joins(rest(tokens, used)));
                let Some((_, more)) = self.whole(rest(tokens, used + joint)) else { break };
                used += joint + more;
            }
        }
        let n = n.filter(|_| spoiler.is_none());
        Some(Spelled { n, used })
    }

    /// The whole number that begins `tokens`, whatever follows it.
    pub fn whole(&self, tokens: &[Token]) -> Option<(Option<u32>, usize)> {
        if let Some((words, n)) = self.set.iter().find(|(words, _)| starts(tokens, words)) {
            return Some((Some(*n), words.len()));
        }
        let first = word(tokens);
        if let Some((hundred, a)) = self.hundred
            && first == Some(a)
            && word(rest(tokens, 1)) == Some(hundred)
        {
            return Some(self.and_rest(tokens, 100, 2));
        }
        if let Some((_, hundreds)) = self.hundreds.iter().find(|(name, _)| first == Some(*name)) {
            return Some(self.and_rest(tokens, *hundreds, 1));
        }
        let (n, used) = match &tokens.first()?.piece {
            Piece::Odd => return Some((None, 1)),
            Piece::Number(n) => (*n, 1),
            _ => self.below_hundred(tokens)?,
        };
        let next = word(rest(tokens, used));
        match next {
            Some(dozen) if self.dozen.contains(&dozen) => {
                Some((Some(n * 12).filter(|n| *n <= 999), used + 1))
            }
            Some(next)
                if (1..=9).contains(&n) && self.hundred.is_some_and(|(hundred, _)| hundred == next) =>
            {
                Some(self.and_rest(tokens, n * 100, used + 1))
            }
            _ => Some((Some(n), used)),
        }
    }

    /// `hundreds`, which took `used` tokens, with or without a joint and the rest below a hundred.
    fn and_rest(&self, tokens: &[Token], hundreds: u32, used: usize) -> (Option<u32>, usize) {
        let joint = used + usize::from(self.joins(rest(tokens, used)));
        match self.below_hundred(rest(tokens, joint)) {
            Some((more, rest)) if more > 0 => (Some(hundreds + more), joint + rest),
            _ => (Some(hundreds), used),
        }
    }

    fn joins(&self, tokens: &[Token]) -> bool {
        self.joint.is_some() && word(tokens) == self.joint
    }

    fn below_hundred(&self, tokens: &[Token]) -> Option<(u32, usize)> {
        let first = word(tokens)?;
        if let Some(n) = self.unit(first) {
            return Some((n, 1));
        }
        let tens = self.tens.iter().find(|(name, _)| *name == first)?.1;
        let unit = match self.tens_joint {
            Some(joint) if word(rest(tokens, 1)) == Some(joint) => 2,
            Some(_) => return Some((tens, 1)),
            None => 1,
        };
        match word(rest(tokens, unit)).and_then(|word| self.unit(word)) {
            Some(n @ 1..=9) => Some((tens + n, unit + 1)),
            _ => Some((tens, 1)),
        }
    }

    fn unit(&self, word: &str) -> Option<u32> {
        let more = || self.more.iter().find(|(name, _)| *name == word).map(|(_, n)| *n);
        let at = self.units.iter().position(|name| *name == word);
        at.and_then(|n| u32::try_from(n).ok()).or_else(more)
    }
}

fn word(tokens: &[Token]) -> Option<&str> {
    match &tokens.first()?.piece {
        Piece::Word(word) => Some(word),
        _ => None,
    }
}

fn rest(tokens: &[Token], from: usize) -> &[Token] {
    tokens.get(from..).unwrap_or_default()
}

fn starts(tokens: &[Token], words: &[&str]) -> bool {
    tokens.len() >= words.len() && words.iter().enumerate().all(|(at, w)| word(rest(tokens, at)) == Some(*w))
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::language::{ENGLISH, Language, SPANISH};
    use super::super::tokens::{Sentence, sentences as split};
    use super::*;

    const ENGLISH_TENS: [&str; 8] =
        ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

    fn sentences(text: &str) -> Vec<Sentence> {
        split(&ENGLISH, text, 0)
    }

    fn number(tokens: &[Token]) -> Option<Spelled> {
        ENGLISH.numerals.number(tokens)
    }

    /// A number below a thousand in words, for tests: the inverse of what is tested, written apart from it.
    pub fn spell(n: u32, and: &str) -> String {
        let low = |n: u32| match n {
            0..20 => ENGLISH.numerals.units[n as usize].to_string(),
            _ => {
                let tens = ENGLISH_TENS[n as usize / 10 - 2];
                if n.is_multiple_of(10) {
                    tens.to_string()
                } else {
                    format!("{tens}-{}", ENGLISH.numerals.units[n as usize % 10])
                }
            }
        };
        match (n / 100, n % 100) {
            (0, n) => low(n),
            (h, 0) => format!("{} hundred", low(h)),
            (h, n) => format!("{} hundred {and}{}", low(h), low(n)),
        }
    }

    /// The same in Spanish.
    pub fn spell_spanish(n: u32) -> String {
        const UNITS: [&str; 30] = [
            "cero",
            "uno",
            "dos",
            "tres",
            "cuatro",
            "cinco",
            "seis",
            "siete",
            "ocho",
            "nueve",
            "diez",
            "once",
            "doce",
            "trece",
            "catorce",
            "quince",
            "dieciséis",
            "diecisiete",
            "dieciocho",
            "diecinueve",
            "veinte",
            "veintiuno",
            "veintidós",
            "veintitrés",
            "veinticuatro",
            "veinticinco",
            "veintiséis",
            "veintisiete",
            "veintiocho",
            "veintinueve",
        ];
        const TENS: [&str; 7] =
            ["treinta", "cuarenta", "cincuenta", "sesenta", "setenta", "ochenta", "noventa"];
        const HUNDREDS: [&str; 9] = [
            "ciento",
            "doscientos",
            "trescientos",
            "cuatrocientos",
            "quinientos",
            "seiscientos",
            "setecientos",
            "ochocientos",
            "novecientos",
        ];
        let low = |n: u32| match n {
            0..30 => UNITS[n as usize].to_string(),
            _ if n.is_multiple_of(10) => TENS[n as usize / 10 - 3].to_string(),
            _ => format!("{} y {}", TENS[n as usize / 10 - 3], UNITS[n as usize % 10]),
        };
        match (n / 100, n % 100) {
            (0, n) => low(n),
            (1, 0) => "cien".to_string(),
            (h, 0) => HUNDREDS[h as usize - 1].to_string(),
            (h, n) => format!("{} {}", HUNDREDS[h as usize - 1], low(n)),
        }
    }

    fn reads(language: &Language, text: &str, n: u32) {
        let tokens = &split(language, text, 0)[0].tokens;
        let whole = Spelled { n: Some(n), used: tokens.len() };
        assert_eq!(language.numerals.number(tokens), Some(whole), "{text}");
    }

    fn check(text: &str, n: Option<u32>, used: usize) {
        let tokens = &sentences(text)[0].tokens;
        assert_eq!(number(tokens), Some(Spelled { n, used }), "{text}");
    }

    #[test]
    fn every_number_reads_back() {
        for n in 0..1000 {
            reads(&ENGLISH, &spell(n, ""), n);
            reads(&ENGLISH, &spell(n, "and "), n);
            reads(&SPANISH, &spell_spanish(n), n);
            check(&n.to_string(), Some(n), 1);
        }
    }

    #[test]
    fn the_ways_people_say_numbers() {
        check("a hundred and five crabs", Some(105), 4);
        check("half a dozen crabs", Some(6), 3);
        check("a couple of keepers", Some(2), 2);
        check("two dozen", Some(24), 2);
        check("twenty, three", Some(20), 1);
        check("seven four keepers", Some(7), 1);
        check("one hundred and keepers", Some(100), 2);
        check("three and a half", None, 4);
        check("three point five crabs", None, 3);
        check("two thousand and five crabs", None, 4);
        for odd in ["7.4 crabs", "1,204 crabs", "5-6", "9:30", "1204", "99999999999999999999", "2½", "5+"] {
            check(odd, None, 1);
        }
        check("3rd", None, 1);
    }
}
