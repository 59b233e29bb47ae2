//! Spelled numbers, 0–999: "seven", "twenty-three", "a hundred and five", "half a dozen", "a couple".

use super::tokens::{Piece, Token};

const UNITS: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [(&str, u32); 9] = [
    ("twenty", 20),
    ("thirty", 30),
    ("forty", 40),
    ("fourty", 40),
    ("fifty", 50),
    ("sixty", 60),
    ("seventy", 70),
    ("eighty", 80),
    ("ninety", 90),
];
/// Numbers of more than one word that no rule makes, longest first.
const SET: [(&[&str], u32); 9] = [
    (&["half", "a", "dozen"], 6),
    (&["a", "couple", "of"], 2),
    (&["a", "pair", "of"], 2),
    (&["half", "dozen"], 6),
    (&["a", "dozen"], 12),
    (&["a", "couple"], 2),
    (&["couple", "of"], 2),
    (&["couple"], 2),
    (&["dozen"], 12),
];
/// What makes the number before it no whole count below a thousand.
const SPOILS: [&[&str]; 5] =
    [&["thousand"], &["point"], &["and", "a", "half"], &["and", "a", "quarter"], &["hundred"]];

/// A number read from the front of some tokens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Spelled {
    /// The number; `None` for one that is no whole count ("three and a half").
    pub n: Option<u32>,
    /// How many tokens it takes.
    pub used: usize,
}

/// The number that begins `tokens`, if one does.
pub(super) fn number(tokens: &[Token]) -> Option<Spelled> {
    let (n, mut used) = whole(tokens)?;
    let spoiler = SPOILS.iter().find(|words| starts(rest(tokens, used), words));
    if let Some(words) = spoiler {
        used += words.len();
        // "two thousand and five": all of it is one figure.
        loop {
            let joint = usize::from(word(rest(tokens, used)) == Some("and"));
            let Some((_, more)) = whole(rest(tokens, used + joint)) else { break };
            used += joint + more;
        }
    }
    let n = n.filter(|_| spoiler.is_none());
    Some(Spelled { n, used })
}

fn whole(tokens: &[Token]) -> Option<(Option<u32>, usize)> {
    if let Some((words, n)) = SET.iter().find(|(words, _)| starts(tokens, words)) {
        return Some((Some(*n), words.len()));
    }
    if word(tokens) == Some("a") && word(rest(tokens, 1)) == Some("hundred") {
        return Some(hundreds(tokens, 1));
    }
    let (n, used) = match &tokens.first()?.piece {
        Piece::Odd => return Some((None, 1)),
        Piece::Number(n) => (*n, 1),
        _ => below_hundred(tokens)?,
    };
    match word(rest(tokens, used)) {
        Some("dozen") => Some((Some(n * 12).filter(|n| *n <= 999), used + 1)),
        Some("hundred") if (1..=9).contains(&n) => Some(hundreds(tokens, n)),
        _ => Some((Some(n), used)),
    }
}

/// `n` hundred, with or without "and" and the rest below a hundred.
fn hundreds(tokens: &[Token], n: u32) -> (Option<u32>, usize) {
    let joint = if word(rest(tokens, 2)) == Some("and") { 3 } else { 2 };
    match below_hundred(rest(tokens, joint)) {
        Some((more, used)) if more > 0 => (Some(n * 100 + more), joint + used),
        _ => (Some(n * 100), 2),
    }
}

fn below_hundred(tokens: &[Token]) -> Option<(u32, usize)> {
    let first = word(tokens)?;
    if let Some(n) = unit(first) {
        return Some((n, 1));
    }
    let tens = TENS.iter().find(|(name, _)| *name == first)?.1;
    match word(rest(tokens, 1)).and_then(unit) {
        Some(n @ 1..=9) => Some((tens + n, 2)),
        _ => Some((tens, 1)),
    }
}

fn unit(word: &str) -> Option<u32> {
    UNITS.iter().position(|name| *name == word).and_then(|n| u32::try_from(n).ok())
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
    use super::super::tokens::sentences;
    use super::*;

    /// A number below a thousand in words, for tests: the inverse of what is tested, written apart from it.
    pub fn spell(n: u32, and: &str) -> String {
        let low = |n: u32| match n {
            0..20 => UNITS[n as usize].to_string(),
            _ => {
                let tens = TENS.iter().find(|t| t.1 == n / 10 * 10).unwrap().0;
                if n.is_multiple_of(10) {
                    tens.to_string()
                } else {
                    format!("{tens}-{}", UNITS[n as usize % 10])
                }
            }
        };
        match (n / 100, n % 100) {
            (0, n) => low(n),
            (h, 0) => format!("{} hundred", low(h)),
            (h, n) => format!("{} hundred {and}{}", low(h), low(n)),
        }
    }

    fn check(text: &str, n: Option<u32>, used: usize) {
        let tokens = &sentences(text)[0].tokens;
        assert_eq!(number(tokens), Some(Spelled { n, used }), "{text}");
    }

    #[test]
    fn every_number_reads_back() {
        for n in 0..1000 {
            for and in ["", "and "] {
                let tokens = &sentences(&spell(n, and))[0].tokens;
                assert_eq!(number(tokens), Some(Spelled { n: Some(n), used: tokens.len() }), "{n}");
            }
            check(&n.to_string(), Some(n), 1);
        }
    }

    #[test]
    fn the_ways_people_say_numbers() {
        check("a hundred and five crabs", Some(105), 4);
        check("half a dozen crabs", Some(6), 3);
        check("a couple of keepers", Some(2), 3);
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
