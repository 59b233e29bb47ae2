//! What is said of the day and at the dock, and weights said aloud: a sentence counts only when every word of it is
//! understood.

mod told;

use super::ledger::{Ledger, Place};
use super::lexicon::{Hush, Lexicon, Sense, Slot};
use super::tokens::{Piece, Sentence, Token};

pub use told::{Day, Handed, Lot, Weight};

/// Words of the day in one language. Rows of several words are separated by `|`.
#[derive(Debug)]
pub(super) struct DayWords {
    /// Fractions before a unit, longest first.
    pub before: &'static [(&'static str, f64)],
    /// "a pound"
    pub a: &'static str,
    /// Fractions after a number or its unit.
    pub after: &'static [(&'static str, f64)],
    pub point: &'static str,
    pub pounds: &'static str,
    pub ounces: &'static str,
    pub grams: &'static str,
    pub kilos: &'static str,
    pub litres: &'static str,
    pub gallons: &'static str,
    pub quarts: &'static str,
    pub pints: &'static str,
    /// A weight of all claws together.
    pub lot: &'static str,
    pub about: &'static str,
    /// Around a weight.
    pub weigh: &'static str,
    pub claws: &'static str,
    /// After the number of people.
    pub us: &'static str,
    /// One person.
    pub alone: &'static str,
    pub landed: &'static str,
    /// Before and after what was given away and sold.
    pub give: &'static str,
    pub give_away: &'static str,
    pub away: &'static str,
    pub sell: &'static str,
    pub sold: &'static str,
    pub to: &'static str,
    /// Who is given claws, and words before them.
    pub people: &'static str,
    pub whose: &'static str,
    pub weather: &'static str,
}

impl DayWords {
    /// The last word of each phrase that tells what a sentence is about.
    pub fn telling(&self) -> impl Iterator<Item = &'static str> {
        let rows = [
            self.pounds,
            self.ounces,
            self.grams,
            self.kilos,
            self.litres,
            self.gallons,
            self.quarts,
            self.pints,
            self.us,
            self.alone,
            self.landed,
            self.give,
            self.give_away,
            self.away,
            self.sell,
            self.sold,
            self.people,
            self.weather,
        ];
        let phrases = rows.into_iter().flat_map(|row| row.split('|'));
        phrases.filter_map(|phrase| phrase.split_whitespace().last())
    }
}

/// Grams of the avoirdupois pound and ounce, litres of the US liquid gallon: NIST Handbook 44, appendix C.
const POUND_G: f64 = 453.592_37;
const OUNCE_G: f64 = 28.349_523_125;
const GALLON_L: f64 = 3.785_411_784;
/// The largest weight and volume anybody says of a day's claws, grams and litres.
const MOST: f64 = 200_000.0;
/// The longest text kept of the weather, in characters.
const LONGEST: usize = 200;

/// Reads a sentence about the day, or a weight; `false` when it is neither.
pub(super) fn read(lexicon: &Lexicon, sentence: &Sentence, texts: &[&str], ledger: &mut Ledger) -> bool {
    if sentence.question || !lexicon.may_be_of_the_day(&sentence.tokens) {
        return false;
    }
    let said = Said { lexicon, words: &lexicon.language.day };
    let tokens = &sentence.tokens;
    let place = Place::of(tokens);
    if said.weather(tokens) {
        let text = texts.get(place.text()).and_then(|text| text.get(place.bytes())).unwrap_or_default();
        let text: String = text.chars().take(LONGEST).collect();
        let day = &mut ledger.day.conditions;
        *day = Some(day.take().map_or(text.clone(), |before| format!("{before}. {text}")));
        ledger.span("conditions", false, &place);
        return true;
    }
    let found = said
        .weights(tokens)
        .or_else(|| said.volume(tokens))
        .or_else(|| said.people(tokens))
        .or_else(|| said.landed(tokens))
        .or_else(|| said.handed(tokens));
    let Some(found) = found else { return false };
    let day = &mut ledger.day;
    let key = match found {
        Found::People(n) => {
            day.people = Some(n);
            "people"
        }
        Found::Landed(n) => {
            day.claws_landed = Some(n);
            "claws_landed"
        }
        Found::Volume(litres, about) => {
            (day.volume_l, day.approximate) = (Some(litres), about);
            "volume_l"
        }
        Found::Lots(lots) => {
            for lot in lots {
                day.lots.retain(|before| before.size != lot.size);
                day.lots.push(lot);
            }
            "lots"
        }
        Found::Weights(weights, lot) => {
            let text = place.text();
            ledger.weights.extend(weights.into_iter().map(|g| Weight { g, lot, text }));
            "weight"
        }
        Found::Handed(sold, handed) => {
            let of = if sold { &mut day.sold } else { &mut day.given };
            of.retain(|before| before.to != handed.to);
            of.push(handed);
            if sold { "sold" } else { "given" }
        }
    };
    ledger.span(key, false, &place);
    true
}

/// Takes out of a sentence the clauses that are nothing but weights: "seven crabs, four keepers, two pounds six".
pub(super) fn weights_apart(lexicon: &Lexicon, sentence: &mut Sentence, ledger: &mut Ledger) {
    let tokens = &sentence.tokens;
    if sentence.question || !lexicon.may_be_of_the_day(tokens) {
        return;
    }
    let said = Said { lexicon, words: &lexicon.language.day };
    let (mut left, mut weighed): (Vec<Token>, Vec<(Weight, Place)>) = Default::default();
    for clause in tokens.split_inclusive(|token| token.piece == Piece::Comma) {
        match said.weights(clause) {
            Some(Found::Weights(weights, lot)) => {
                let place = Place::of(clause);
                let text = place.text();
                weighed.extend(weights.into_iter().map(|g| (Weight { g, lot, text }, place.clone())));
            }
            _ => left.extend(clause.iter().cloned()),
        }
    }
    // Beside money, guesses and other days it is none.
    let hushed = |at: usize| matches!(lexicon.longest(rest(&left, at)), Some((_, Sense::Hush(_), _)));
    if weighed.is_empty() || (0..left.len()).any(hushed) {
        return;
    }
    for (weight, place) in weighed {
        ledger.weights.push(weight);
        ledger.span("weight", false, &place);
    }
    ledger.trade = true;
    sentence.tokens = left;
}

enum Found {
    People(u32),
    Landed(u32),
    Volume(f64, bool),
    Lots(Vec<Lot>),
    /// Grams, and whether of the lot.
    Weights(Vec<u32>, bool),
    /// Whether sold.
    Handed(bool, Handed),
}

struct Said<'a> {
    lexicon: &'a Lexicon,
    words: &'static DayWords,
}

impl Said<'_> {
    /// "Pound and a half the lot", "182 grams", "smalls, one pound ten, mediums two pounds".
    fn weights(&self, tokens: &[Token]) -> Option<Found> {
        let (mut at, mut lot, mut weights, mut sizes) = (0, false, Vec::new(), Vec::new());
        while at < tokens.len() {
            let here = rest(tokens, at);
            if let Some((g, used)) = self.weight(here) {
                weights.push(g);
                at += used;
            } else if let Some(used) = row(self.words.lot, here) {
                lot = true;
                at += used;
            } else if let Some(used) = row(self.words.about, here).or_else(|| row(self.words.weigh, here)) {
                at += used;
            } else if let Some((_, Sense::Noun(Slot::Size(size), _), used)) = self.lexicon.longest(here) {
                sizes.push(size.to_string());
                at += used;
            } else {
                at += self.idle(here)?;
            }
        }
        match (weights.as_slice(), sizes.as_slice()) {
            ([g], []) => Some(Found::Weights(vec![*g], lot)),
            ([_, _, ..], []) if !lot => Some(Found::Weights(weights, false)),
            (weights @ [_, ..], sizes) if weights.len() == sizes.len() => {
                let lots = sizes.iter().zip(weights).map(|(size, g)| Lot { size: size.clone(), g: *g });
                Some(Found::Lots(lots.collect()))
            }
            _ => None,
        }
    }

    /// Grams that begin here.
    fn weight(&self, tokens: &[Token]) -> Option<(u32, usize)> {
        let words = self.words;
        let amount = self.amount(tokens);
        let a = usize::from(word(tokens) == Some(words.a));
        let (n, used) = amount.unwrap_or((1.0, a));
        let unit = rest(tokens, used);
        let one = |row_of: &'static str| row(row_of, unit).filter(|_| amount.is_some());
        let (g, used) = if let Some(unit) = one(words.grams) {
            (n, used + unit)
        } else if let Some(unit) = one(words.kilos) {
            (n * 1000.0, used + unit)
        } else if let Some(unit) = one(words.ounces) {
            (n * OUNCE_G, used + unit)
        } else {
            let used = used + row(words.pounds, unit)?;
            // "a pound" alone is a price; "a pound ten" and "pound and a half" are weights.
            match (self.over(rest(tokens, used)), amount) {
                (Some((more, over)), _) => (n * POUND_G + more, used + over),
                (None, Some(_)) => (n * POUND_G, used),
                (None, None) => return None,
            }
        };
        (g > 0.0 && g <= MOST).then_some((g.round() as u32, used))
    }

    /// What goes over the pounds: "and a half", "ten", "six ounces", "and six ounces".
    fn over(&self, tokens: &[Token]) -> Option<(f64, usize)> {
        if let Some((part, used)) = fraction(self.words.after, tokens) {
            return Some((part * POUND_G, used));
        }
        let joint = usize::from(word(tokens) == self.lexicon.language.numerals.joint);
        let (n, used) = self.lexicon.language.numerals.whole(rest(tokens, joint))?;
        let used = joint + used;
        let ounces = row(self.words.ounces, rest(tokens, used));
        let n = n.filter(|n| *n < 16 && (ounces.is_some() || joint == 0))?;
        Some((f64::from(n) * OUNCE_G, used + ounces.unwrap_or_default()))
    }

    /// "About half a gallon".
    fn volume(&self, tokens: &[Token]) -> Option<Found> {
        let (mut at, mut about, mut litres) = (0, false, None);
        while at < tokens.len() {
            let here = rest(tokens, at);
            let volume = || {
                let (n, used) =
                    self.amount(here).or_else(|| (word(here) == Some(self.words.a)).then_some((1.0, 1)))?;
                let unit = rest(here, used);
                let w = self.words;
                let units = [
                    (w.litres, 1.0),
                    (w.gallons, GALLON_L),
                    (w.quarts, GALLON_L / 4.0),
                    (w.pints, GALLON_L / 8.0),
                ];
                let (of_unit, litres) = units.iter().find_map(|(names, l)| Some((row(names, unit)?, *l)))?;
                let mut used = used + of_unit;
                let part = fraction(w.after, rest(here, used)).unwrap_or((0.0, 0));
                used += part.1;
                Some(((n + part.0) * litres, used))
            };
            if let Some((l, used)) = volume() {
                if litres.replace(l).is_some() {
                    return None;
                }
                at += used;
            } else if let Some(used) = row(self.words.about, here) {
                about = true;
                at += used;
            } else if let Some(used) = row(self.words.claws, here) {
                at += used;
            } else {
                at += self.idle(here)?;
            }
        }
        let litres = litres.filter(|l| *l > 0.0 && *l <= MOST)?;
        Some(Found::Volume((litres * 1000.0).round() / 1000.0, about))
    }

    /// "Three of us aboard".
    fn people(&self, tokens: &[Token]) -> Option<Found> {
        if row(self.words.alone, tokens) == Some(tokens.len()) {
            return Some(Found::People(1));
        }
        let (mut at, mut people) = (0, None);
        while at < tokens.len() {
            let here = rest(tokens, at);
            let number = self.count(here);
            let us = number.and_then(|(n, used)| Some((n, used + row(self.words.us, rest(here, used))?)));
            if let Some((n, used)) = us.filter(|(n, _)| (1..=20).contains(n)) {
                if people.replace(n).is_some() {
                    return None;
                }
                at += used;
            } else {
                at += self.idle(here)?;
            }
        }
        people.map(Found::People)
    }

    /// "Fourteen claws on the table".
    fn landed(&self, tokens: &[Token]) -> Option<Found> {
        let (mut at, mut claws, mut landed) = (0, None, false);
        while at < tokens.len() {
            let here = rest(tokens, at);
            let number = self.count(here);
            let of_claws =
                number.and_then(|(n, used)| Some((n, used + row(self.words.claws, rest(here, used))?)));
            if let Some((n, used)) = of_claws {
                if claws.replace(n).is_some() {
                    return None;
                }
                at += used;
            } else if let Some(used) = row(self.words.landed, here) {
                landed = true;
                at += used;
            } else {
                at += self.idle(here)?;
            }
        }
        claws.filter(|_| landed).map(Found::Landed)
    }

    /// "Four to the neighbours", "gave six to Ann", "sold ten claws".
    fn handed(&self, tokens: &[Token]) -> Option<Found> {
        let w = self.words;
        let (mut at, mut sold, mut gave, mut away) = (0, false, false, false);
        let (claws, from) = loop {
            let here = rest(tokens, at);
            if let Some((n, used)) = self.count(here) {
                break (n, at + used);
            } else if let Some(used) = row(w.sell, here).filter(|_| !sold && !gave) {
                sold = true;
                at += used;
            } else if let Some(used) = row(w.give_away, here).filter(|_| !sold && !gave) {
                (gave, away) = (true, true);
                at += used;
            } else if let Some(used) = row(w.give, here).filter(|_| !sold && !gave) {
                gave = true;
                at += used;
            } else if here.is_empty() {
                return None;
            } else {
                at += self.idle(here)?;
            }
        };
        let mut tail = rest(tokens, from);
        if let Some(used) = row(w.claws, tail) {
            tail = rest(tail, used);
        }
        if !sold && !gave && row(w.sold, tail) == Some(tail.len()) && !tail.is_empty() {
            return Some(Found::Handed(true, Handed { claws, to: String::new() }));
        }
        let away = if tail.is_empty() { away } else { row(w.away, tail) == Some(tail.len()) };
        let to = word(tail) == Some(w.to);
        let whom = rest(tail, 1);
        let known = row(w.people, rest(whom, row(w.whose, whom).unwrap_or_default())).is_some();
        // Figures, money and units after it make it something else.
        let plain = whom.iter().enumerate().all(|(at, token)| {
            let money = matches!(self.lexicon.longest(rest(whom, at)), Some((_, Sense::Unit, _)));
            matches!(token.piece, Piece::Word(_)) && !money && self.count(rest(whom, at)).is_none()
        });
        let mut whom: Vec<_> = whom.iter().map(|token| (token.place.start, token.raw.as_str())).collect();
        // A contraction is two tokens of one word.
        whom.dedup();
        let whom: Vec<&str> = whom.into_iter().map(|(_, raw)| raw).collect();
        let whom = whom.join(" ");
        if away && !sold {
            Some(Found::Handed(false, Handed { claws, to: String::new() }))
        } else if sold && tail.is_empty() {
            Some(Found::Handed(true, Handed { claws, to: String::new() }))
        } else if to && plain && !whom.is_empty() && (sold || gave || known) {
            Some(Found::Handed(sold, Handed { claws, to: whom }))
        } else {
            None
        }
    }

    /// Wind, water and sky are spoken of, and nothing that is counted.
    fn weather(&self, tokens: &[Token]) -> bool {
        let (mut at, mut weather) = (0, false);
        while at < tokens.len() {
            let here = rest(tokens, at);
            if let Some(used) = row(self.words.weather, here) {
                weather = true;
                at += used;
                continue;
            }
            let term = self.lexicon.longest(here);
            let harmless = |sense: &Sense| {
                !matches!(
                    sense,
                    Sense::Noun(..)
                        | Sense::Subject(_)
                        | Sense::Named { .. }
                        | Sense::BaitKind(_)
                        | Sense::Says(_)
                        | Sense::Undo
                        | Sense::Nothing
                        | Sense::None
                        | Sense::Hush(Hush::Ask)
                )
            };
            match term {
                Some((_, sense, _)) if !harmless(sense) => return false,
                Some((_, _, used)) => at += used,
                None => at += 1,
            }
        }
        weather
    }

    /// How many, and then?
    fn amount(&self, tokens: &[Token]) -> Option<(f64, usize)> {
        if let Some(part) = fraction(self.words.before, tokens) {
            return Some(part);
        }
        if let Some(Token { piece: Piece::Odd, raw, .. }) = tokens.first() {
            return raw.parse().ok().map(|n: f64| (n, 1));
        }
        let (n, used) = self.lexicon.language.numerals.whole(tokens)?;
        let n = f64::from(n?);
        if let Some((part, more)) = fraction(self.words.after, rest(tokens, used)) {
            return Some((n + part, used + more));
        }
        if word(rest(tokens, used)) == Some(self.words.point) {
            let (tenths, more) = self.lexicon.language.numerals.whole(rest(tokens, used + 1))?;
            let tenths = tenths.filter(|n| *n < 10)?;
            return Some((n + f64::from(tenths) / 10.0, used + 1 + more));
        }
        Some((n, used))
    }

    /// A whole number and nothing else.
    fn count(&self, tokens: &[Token]) -> Option<(u32, usize)> {
        let spelled = self.lexicon.language.numerals.number(tokens)?;
        Some((spelled.n?, spelled.used))
    }

    /// Words that say nothing; `None` for any other.
    fn idle(&self, tokens: &[Token]) -> Option<usize> {
        match tokens.first()?.piece {
            Piece::Comma | Piece::Glue => return Some(1),
            _ => {}
        }
        match self.lexicon.longest(tokens)? {
            (_, Sense::Filler | Sense::Link | Sense::There | Sense::And | Sense::Opener, used) => Some(used),
            _ => None,
        }
    }
}

fn rest(tokens: &[Token], from: usize) -> &[Token] {
    tokens.get(from..).unwrap_or_default()
}

fn word(tokens: &[Token]) -> Option<&str> {
    match &tokens.first()?.piece {
        Piece::Word(word) => Some(word),
        _ => None,
    }
}

/// How many tokens the longest phrase of a row takes here.
fn row(row: &str, tokens: &[Token]) -> Option<usize> {
    row.split('|').filter_map(|phrase| takes(phrase.trim(), tokens)).max()
}

fn fraction(table: &[(&str, f64)], tokens: &[Token]) -> Option<(f64, usize)> {
    let found = table.iter().filter_map(|(phrase, part)| Some((*part, takes(phrase, tokens)?)));
    found.max_by_key(|(_, used)| *used)
}

fn takes(phrase: &str, tokens: &[Token]) -> Option<usize> {
    let mut used = 0;
    for name in phrase.split_whitespace() {
        if word(rest(tokens, used)) != Some(name) {
            return None;
        }
        used += 1;
    }
    (used > 0).then_some(used)
}
