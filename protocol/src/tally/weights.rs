//! Weights said aloud, where no scale is: a sentence that is nothing but a weight.
//!
//! "Two pounds six", "that's 180 grams", "weighs a pound ten" are weights; "five pounds of bait" and "ten dollars a pound"
//! are not, nor is any sentence with another word in it: a weight nobody meant is worse than one that is missing.

use super::numbers;
use super::tokens::{Piece, Token, sentences};
use crate::scale::grams;

/// Words that may stand around a weight and change nothing.
const AROUND: [&str; 16] = [
    "weighs", "weighing", "weighed", "weight", "at", "that", "is", "it", "this", "one", "comes", "to",
    "about", "all", "together", "total",
];

/// The weights that a text says, grams, in its order.
pub fn weights(text: &str) -> Vec<f64> {
    let clauses = sentences(text).into_iter().filter(|sentence| !sentence.question).flat_map(|sentence| {
        let clauses = sentence.tokens.split(|token| token.piece == Piece::Comma);
        clauses.map(<[Token]>::to_vec).collect::<Vec<_>>()
    });
    clauses.filter_map(|clause| clause_g(&clause)).collect()
}

fn clause_g(clause: &[Token]) -> Option<f64> {
    let around = |token: &Token| matches!(&token.piece, Piece::Word(word) if AROUND.contains(&word.as_str()));
    // "One" may be the claw or the weight: where a unit follows, it is the weight.
    let begins = |at: usize| measure(clause.get(at..)?);
    let at = (0..clause.len()).take_while(|at| *at == 0 || clause.get(at - 1).is_some_and(around));
    let (from, (g, used)) = at.filter_map(|at| Some((at, begins(at)?))).next()?;
    clause.iter().skip(from + used).all(around).then_some(g)
}

/// A number with its unit, perhaps ounces after pounds: grams, and how many tokens it is.
fn measure(tokens: &[Token]) -> Option<(f64, usize)> {
    let (value, used) = match (tokens.first()?, numbers::number(tokens)) {
        (Token { piece: Piece::Word(word), .. }, None) if word == "a" || word == "an" => (1.0, 1),
        (first, Some(number)) => match number.n {
            Some(n) => (f64::from(n), number.used),
            // "0.4 kg": no count, but a weight.
            None => (first.raw.parse().ok()?, number.used),
        },
        _ => return None,
    };
    let unit = unit(tokens.get(used)?)?;
    let (mut g, mut used) = (grams(value, unit)?, used + 1);
    if unit != "lb" {
        return Some((g, used));
    }
    let and = usize::from(tokens.get(used).is_some_and(|token| token.piece == Piece::Word("and".into())));
    let half = |at: usize| {
        let word = |at: usize, word: &str| {
            tokens.get(at).is_some_and(|token| matches!(&token.piece, Piece::Word(w) if w == word))
        };
        word(at, "a") && word(at + 1, "half")
    };
    if and == 1 && half(used + 1) {
        return Some((g * (1.0 + 0.5 / value), used + 3));
    }
    let ounces = tokens.get(used + and..).and_then(numbers::number);
    if let Some(ounces) = ounces.filter(|ounces| ounces.n.is_some_and(|n| n < 16)) {
        g += grams(f64::from(ounces.n?), "oz")?;
        used += and + ounces.used;
        used += usize::from(tokens.get(used).is_some_and(|token| self::unit(token) == Some("oz")));
    }
    Some((g, used))
}

/// The symbol of a unit of mass said as a word.
fn unit(token: &Token) -> Option<&'static str> {
    let Piece::Word(word) = &token.piece else { return None };
    match word.as_str() {
        "g" | "gram" | "grams" => Some("g"),
        "kg" | "kilo" | "kilos" | "kilogram" | "kilograms" => Some("kg"),
        "lb" | "lbs" | "pound" | "pounds" => Some("lb"),
        "oz" | "ounce" | "ounces" => Some("oz"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_alone_is_one() {
        // Pounds and ounces by their exact factors (NIST SP 811, appendix B), in whole grams.
        for (text, g) in [
            ("two pounds six", &[1077.0][..]),
            ("two pounds six ounces", &[1077.0]),
            ("Two pounds and six ounces.", &[1077.0]),
            ("a pound ten", &[737.0]),
            ("a pound and a half", &[680.0]),
            ("two pounds and a half", &[1134.0]),
            ("that's 180 grams", &[180.0]),
            ("weighs one pound", &[454.0]),
            ("this one weighs six ounces", &[170.0]),
            ("0.4 kg", &[400.0]),
            ("4 lb 3 oz", &[1899.0]),
            ("six ounces, eight ounces, a pound two", &[170.0, 227.0, 510.0]),
            ("seven crabs, four keepers. two pounds six", &[1077.0]),
            ("five pounds of bait", &[]),
            ("ten dollars a pound", &[]),
            ("two pounds six?", &[]),
            ("seven crabs four keepers", &[]),
            ("a pound of mullet", &[]),
            ("maybe two pounds", &[]),
            ("pounds", &[]),
            ("two pounds twenty", &[]),
            ("one", &[]),
            ("", &[]),
        ] {
            let found: Vec<f64> = weights(text).into_iter().map(f64::round).collect();
            assert_eq!(found, g, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_survived(text in ".{0,80}", words in proptest::collection::vec(0usize..12, 0..12)) {
            const SAID: [&str; 12] = ["a", "pound", "two", "and", "half", "oz", "six", ",", "hundred", "0.4", "kg", "weighs"];
            let said: Vec<&str> = words.into_iter().map(|n| SAID[n]).collect();
            for text in [text, said.join(" ")] {
                proptest::prop_assert!(weights(&text).iter().all(|g| g.is_finite() && *g >= 0.0));
            }
        }
    }
}
