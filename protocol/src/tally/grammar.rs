//! One sentence into statements: words get their meanings, numbers their words, and doubtful clauses become drafts.

use std::borrow::Cow;

use super::Kind;
use super::bind::{Link, Part, bind};
use super::ledger::Ledger;
use super::lexicon::{Fact, Form, How, Hush, Lexicon, Sense, Slot, State, Subject};
use super::numbers::number;
use super::phrases::pair;
use super::tokens::{Piece, Sentence};
use super::words::context;

/// One understood stretch of a sentence.
#[derive(Debug, Clone)]
struct Item {
    what: What,
    /// As the tables spell it.
    text: String,
    /// As written.
    raw: String,
    /// Which comma-separated clause of the sentence.
    clause: usize,
    glued: bool,
    /// How many words it was.
    words: usize,
}

#[derive(Debug, Clone)]
enum What {
    Term(Sense),
    Number(u32),
    /// A figure that is no whole count.
    Odd,
    Comma,
    Glue,
    Unknown,
    /// Used up: it says nothing more, and nothing joins across it.
    Done,
}

/// What is done to the ledger, and where in the sentence it was said.
#[derive(Debug)]
struct Step {
    at: usize,
    act: Act,
}

#[derive(Debug)]
enum Act {
    Claim {
        facts: Vec<Fact>,
        /// A clause in doubt makes it a draft.
        strict: bool,
        /// It narrows its word, and so never replaces a total.
        narrowed: bool,
        /// Doubtful in itself.
        doubtful: bool,
        /// It says it is one more, so it cannot be the same crab again.
        more: bool,
    },
    Bare(u32),
    Amend(u32),
    Undo,
    Retract,
}

/// How far a clause can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Trust {
    Counts,
    Draft,
    Nothing,
}

/// Numbers that a claw gauge shows rather than a trap holds, in millimetres.
const GAUGE: std::ops::RangeInclusive<u32> = 50..=150;

/// Reads one sentence into the ledger.
pub(super) fn sentence(lexicon: &Lexicon, sentence: &Sentence, ledger: &mut Ledger) {
    let mut reader = Reader { items: lex(lexicon, sentence), steps: Vec::new(), trade: false };
    reader.measures();
    reader.pronouns();
    reader.names();
    reader.pairs();
    reader.bindings();
    reader.rest();
    ledger.trade |= reader.trade;
    if !sentence.question {
        reader.give(ledger);
    }
}

fn lex(lexicon: &Lexicon, sentence: &Sentence) -> Vec<Item> {
    let (mut items, mut clause, mut at) = (Vec::new(), 0, 0);
    while let Some(token) = sentence.tokens.get(at) {
        let rest = sentence.tokens.get(at..).unwrap_or_default();
        let term = lexicon.longest(rest);
        let spelled = number(rest).filter(|n| term.as_ref().is_none_or(|term| term.2 < n.used));
        let (what, text, used) = match (spelled, term, &token.piece) {
            (Some(n), _, _) => (n.n.map_or(What::Odd, What::Number), token.raw.to_lowercase(), n.used),
            (None, Some((text, sense, used)), _) => (What::Term(sense.clone()), text, used),
            (None, None, Piece::Comma) => (What::Comma, String::new(), 1),
            (None, None, Piece::Glue) => (What::Glue, String::new(), 1),
            (None, None, Piece::Word(word)) => (What::Unknown, word.clone(), 1),
            (None, None, Piece::Number(_) | Piece::Odd) => (What::Odd, token.raw.clone(), 1),
        };
        clause += usize::from(matches!(what, What::Comma));
        items.push(Item { what, text, raw: token.raw.clone(), clause, glued: token.glued, words: used });
        at += used;
    }
    items
}

struct Reader {
    items: Vec<Item>,
    steps: Vec<Step>,
    trade: bool,
}

impl Reader {
    fn what(&self, at: usize) -> Option<&What> {
        self.items.get(at).map(|item| &item.what)
    }

    fn sense(&self, at: usize) -> Option<&Sense> {
        match self.what(at) {
            Some(What::Term(sense)) => Some(sense),
            _ => None,
        }
    }

    fn noun(&self, at: usize) -> Option<(&Slot, Form)> {
        match self.sense(at) {
            Some(Sense::Noun(slot, form)) => Some((slot, *form)),
            _ => None,
        }
    }

    fn figure(&self, at: usize) -> bool {
        matches!(self.what(at), Some(What::Number(_) | What::Odd))
    }

    fn text(&self, at: usize) -> &str {
        self.items.get(at).map_or("", |item| &item.text)
    }

    fn done(&mut self, at: usize) {
        self.become_(at, What::Done);
    }

    fn become_(&mut self, at: usize, what: What) {
        if let Some(item) = self.items.get_mut(at) {
            item.what = what;
        }
    }

    fn claim(&mut self, at: usize, facts: Vec<Fact>, strict: bool) {
        let act = Act::Claim { facts, strict, narrowed: false, doubtful: false, more: false };
        self.steps.push(Step { at, act });
    }

    /// The nearest item before `at` that `skip` does not pass over.
    fn before(&self, at: usize, skip: impl Fn(&What) -> bool) -> Option<usize> {
        (0..at).rev().find(|at| self.what(*at).is_some_and(|what| !skip(what)))
    }

    /// The nearest item after `at` that `skip` does not pass over.
    fn after(&self, at: usize, skip: impl Fn(&What) -> bool) -> Option<usize> {
        (at + 1..self.items.len()).find(|at| self.what(*at).is_some_and(|what| !skip(what)))
    }

    /// Numbers beside units, and beside words that announce a measure, are no counts.
    fn measures(&mut self) {
        for at in 0..self.items.len() {
            let next_is_unit = matches!(self.sense(at + 1), Some(Sense::Unit));
            let a = matches!(self.sense(at), Some(Sense::A));
            if next_is_unit && (self.figure(at) || a) {
                self.done(at);
                self.done(at + 1);
                // "one pound ten", "five foot six"
                if self.figure(at + 2) && self.noun(at + 3).is_none() {
                    self.done(at + 2);
                }
            }
            if matches!(self.sense(at), Some(Sense::Measured)) {
                let next = self.after(at, |what| matches!(what, What::Term(Sense::Link) | What::Glue));
                if let Some(next) = next.filter(|next| self.figure(*next)) {
                    self.done(next);
                }
            }
            let limit = self.text(at) == "under" && self.figure(at + 1) && self.noun(at + 2).is_some();
            if limit {
                self.become_(at, What::Term(Sense::Unclear));
            }
        }
    }

    /// "One" that stands for a crab, "nothing legal", and "off three crabs".
    fn pronouns(&mut self) {
        for at in 0..self.items.len() {
            let verdict = |noun: Option<(&Slot, Form)>| noun.is_some_and(|(_, form)| form == Form::Verdict);
            let one = matches!(self.what(at), Some(What::Number(1))) && self.text(at) == "one";
            let described = at.checked_sub(1).is_some_and(|before| {
                verdict(self.noun(before)) || matches!(self.sense(before), Some(Sense::Adjective))
            });
            // "Two short one soft": there it is a number.
            let listed = self.noun(at + 1).is_some() && at.checked_sub(2).is_some_and(|at| self.figure(at));
            let before_verdict = self.noun(at + 1).is_none_or(|(_, form)| form == Form::Verdict);
            if one && described && before_verdict && !listed {
                self.become_(at, What::Term(Sense::Filler));
            }
            if matches!(self.sense(at), Some(Sense::Nothing)) && verdict(self.noun(at + 1)) {
                self.become_(at, What::Term(Sense::No));
            }
            let off = matches!(self.sense(at), Some(Sense::Off)) && self.figure(at + 1);
            if off {
                let noun = self.after(at + 1, passes_forward).filter(|noun| {
                    self.noun(*noun).is_some_and(|(slot, _)| *slot == Slot::Count(super::Count::Crabs))
                });
                if let Some(noun) = noun {
                    let keepers = Slot::Count(super::Count::Keepers);
                    self.become_(noun, What::Term(Sense::Noun(keepers, Form::Many)));
                }
            }
        }
    }

    /// Trap names that need no weighing of alternatives: "number twelve buoy", "trap B14", "trap lucky".
    fn names(&mut self) {
        for at in 0..self.items.len() {
            let named = |at: usize| matches!(self.sense(at), Some(Sense::Named { .. }));
            let hash = |at: usize| matches!(self.sense(at), Some(Sense::Hash));
            let unknown = |at: usize| matches!(self.what(at), Some(What::Unknown));
            let glued = |at: usize| self.items.get(at).is_some_and(|item| item.glued);
            let from = at + 1 + usize::from(hash(at + 1));
            let lettered = self.figure(from) && unknown(from + 1) || {
                let letter = unknown(from) || matches!(self.sense(from), Some(Sense::A));
                letter && self.figure(from + 1)
            };
            let plain = self.figure(from) && (from > at + 1 || matches!(self.what(from), Some(What::Odd)));
            let word = unknown(from) && !unknown(from + 1) && self.opens(at);
            let used = if hash(at) && self.figure(at + 1) && named(at + 2) {
                Some((at + 1, at + 1))
            } else if named(at) && lettered && glued(from + 1) {
                Some((from, from + 1))
            } else {
                (named(at) && (plain || word)).then_some((from, from))
            };
            // "Crab number five" is no five crabs.
            let ordinal = used.is_none() && hash(at) && self.figure(at + 1);
            if let Some((first, last)) = used {
                self.name(at, first, last);
            } else if ordinal {
                self.done(at + 1);
            }
        }
    }

    /// Only fillers before it in its clause.
    fn opens(&self, at: usize) -> bool {
        let filler = |what: &What| matches!(what, What::Term(Sense::Filler | Sense::Link | Sense::There));
        self.before(at, filler)
            .is_none_or(|before| matches!(self.what(before), Some(What::Comma | What::Glue)))
    }

    /// The items from `first` to `last` are a trap's name.
    fn name(&mut self, at: usize, first: usize, last: usize) {
        let name: String = match (first == last, self.what(first)) {
            // Digits stay as written, `007` too; words become digits.
            (true, Some(What::Number(n))) if !self.raw(first).starts_with(|c: char| c.is_ascii_digit()) => {
                n.to_string()
            }
            _ => (first..=last).map(|at| self.raw(at)).collect(),
        };
        let whole = name.chars().all(char::is_alphanumeric);
        if whole {
            self.set_down(at);
            self.claim(at, vec![Fact::State(State::Name(Cow::Owned(name)))], false);
            self.trade = true;
            // "Trap fifteen is gone"
            let skip = |what: &What| matches!(what, What::Term(Sense::Link));
            let quality = self.after(last, skip).filter(|at| matches!(self.sense(*at), Some(Sense::Quality)));
            if let Some((quality, fact)) =
                quality.and_then(|at| Some((at, pair(Subject::Trap, self.text(at))?)))
            {
                self.state(quality, fact);
                self.done(quality);
            }
        }
        for used in at.min(first)..=last {
            self.done(used);
        }
        if matches!(self.sense(last + 1), Some(Sense::Named { .. })) {
            self.done(last + 1);
        }
    }

    fn raw(&self, at: usize) -> &str {
        self.items.get(at).map_or("", |item| &item.raw)
    }

    fn set_down(&mut self, at: usize) {
        if matches!(self.sense(at), Some(Sense::Named { set: true })) {
            self.claim(at, vec![Fact::State(State::Kind(Kind::Set))], false);
        }
    }

    /// Subjects with the quality beside them: "tie was already broken", "fresh bait". First within a clause.
    fn pairs(&mut self) {
        for across in [false, true] {
            let skip = |what: &What| match what {
                What::Term(Sense::Link | Sense::Filler | Sense::There) | What::Glue => true,
                What::Comma => across,
                _ => false,
            };
            for at in 0..self.items.len() {
                let subject = match self.sense(at) {
                    Some(Sense::Subject(subject)) => *subject,
                    Some(Sense::Named { .. }) => Subject::Trap,
                    _ => continue,
                };
                // A quality may itself be a filler ("okay"): look at the very next item first.
                let says = |quality: usize| pair(subject, self.text(quality)).map(|fact| (quality, fact));
                let near = |next: Option<usize>, found: Option<usize>| {
                    let alive = |at: &usize| !matches!(self.what(*at), Some(What::Done));
                    next.filter(alive).and_then(says).or_else(|| found.filter(alive).and_then(says))
                };
                let right = near(Some(at + 1), self.after(at, skip));
                let left = near(at.checked_sub(1), self.before(at, skip));
                let found = match (right, left) {
                    (Some(right), Some(left)) if clash(&right.1, &left.1) => None,
                    (right, left) => right.or(left),
                };
                if let Some((quality, fact)) = found {
                    self.state(at, fact);
                    self.done(at);
                    self.done(quality);
                }
            }
        }
    }

    /// What a subject and its quality say; a trap that is not there was only visited.
    fn state(&mut self, at: usize, fact: Fact) {
        let missing = fact == Fact::State(State::Trap(super::TrapState::Missing));
        let visit = missing.then_some(Fact::State(State::Kind(Kind::Visit)));
        self.claim(at, std::iter::once(fact).chain(visit).collect(), false);
        self.trade = true;
    }

    /// Numbers with their words.
    fn bindings(&mut self) {
        let row: Vec<(usize, Part)> =
            (0..self.items.len()).filter_map(|at| self.part(at).map(|part| (at, part))).collect();
        let links: Vec<Link> = row
            .iter()
            .enumerate()
            .map(|(n, (at, part))| Link {
                part: *part,
                next: row.get(n + 1).and_then(|(next, _)| self.joint(*at, *next)),
            })
            .collect();
        let bound = bind(&links);
        let at = |n: usize| row.get(n).map(|(at, _)| *at);
        let pairs: Vec<(usize, usize)> =
            bound.into_iter().filter_map(|n| Some((at(n)?, at(n + 1)?))).collect();
        let stated = |(a, b): &&(usize, usize)| self.figure(*a) || self.figure(*b);
        let numbered = pairs.iter().filter(stated).count();
        for (first, second) in pairs {
            self.bound(first, second, numbered);
        }
    }

    fn part(&self, at: usize) -> Option<Part> {
        match self.what(at)? {
            What::Number(1) if self.text(at) == "one" => Some(Part::Number(1)),
            What::Number(_) => Some(Part::Number(4)),
            What::Term(Sense::A | Sense::No | Sense::None) => Some(Part::Number(0)),
            What::Term(Sense::Named { .. } | Sense::Noun(_, Form::Many)) => Some(Part::Word(4)),
            What::Term(Sense::Noun(..)) => Some(Part::Word(1)),
            _ => None,
        }
    }

    /// The cost of joining two neighbours of the row, if what stands between allows it.
    fn joint(&self, first: usize, second: usize) -> Option<u32> {
        let between = || (first + 1..second).filter_map(|at| self.what(at));
        let commas =
            u32::try_from(between().filter(|what| matches!(what, What::Comma)).count()).unwrap_or(u32::MAX);
        let counted = |at| matches!(self.what(at), Some(What::Number(_)));
        if matches!(self.part(first), Some(Part::Number(_))) {
            let (_, form) = self.noun(second)?;
            let singular = matches!(self.sense(first), Some(Sense::A)) && form == Form::Many;
            // "Seventy-one, short" is a gauge and a verdict.
            let apart = commas > 0 && !(commas == 1 && counted(first) && form == Form::Many);
            let passes = between().all(|what| passes_forward(what) || matches!(what, What::Comma));
            return (passes && !singular && !apart).then_some(commas);
        }
        let backward = counted(second) || matches!(self.sense(second), Some(Sense::None));
        let passes = (first + 1..second).all(|at| match self.what(at) {
            Some(What::Comma | What::Glue) => true,
            Some(What::Term(Sense::Link)) => !self.text(at).starts_with("of"),
            _ => false,
        });
        let verdict = self.noun(first).is_some_and(|(_, form)| form == Form::Verdict);
        let apart = commas > 1 || (commas == 1 && verdict && !self.of_them(second));
        (backward && passes && !apart).then_some(commas)
    }

    /// "two of them"
    fn of_them(&self, number: usize) -> bool {
        matches!(self.text(number + 1), "of them" | "of those" | "of these" | "of em")
    }

    fn bound(&mut self, first: usize, second: usize, numbered: usize) {
        let forward = matches!(self.part(first), Some(Part::Number(_)));
        let (number, word) = if forward { (first, second) } else { (second, first) };
        if matches!(self.sense(word), Some(Sense::Named { .. })) {
            return self.name(word, number, number);
        }
        let Some((slot, form)) = self.noun(word).map(|(slot, form)| (slot.clone(), form)) else { return };
        let between = (first + 1..second).filter_map(|at| self.sense(at));
        let narrowed = between.clone().any(|sense| matches!(sense, Sense::Adjective));
        let more = between.clone().any(|sense| matches!(sense, Sense::More))
            || number.checked_sub(1).is_some_and(|before| matches!(self.sense(before), Some(Sense::More)));
        let verdict = form == Form::Verdict;
        let (n, how, doubtful) = match self.what(number) {
            Some(What::Number(n)) => {
                let gauge = verdict && GAUGE.contains(n) && measured_by_gauge(&slot);
                // "Five, six crabs" is a guess.
                let comma =
                    number.checked_sub(1).is_some_and(|at| matches!(self.what(at), Some(What::Comma)));
                let one_less = number.checked_sub(2).and_then(|at| self.what(at));
                let guess = comma && matches!(one_less, Some(What::Number(less)) if less + 1 == *n);
                let how = match (more, verdict && !forward && self.of_them(number)) {
                    (true, _) => How::More,
                    (false, true) => How::Verdict,
                    (false, false) => How::Total,
                };
                (*n, how, gauge || guess)
            }
            Some(What::Term(Sense::A)) if more => (1, How::More, false),
            Some(What::Term(Sense::A)) if numbered > 0 => (1, How::Total, false),
            Some(What::Term(Sense::A)) => (1, How::Verdict, false),
            // "Not a keeper" with no count beside it is a verdict on one crab, or a complaint.
            _ => (0, How::Total, narrowed || (self.text(number).starts_with("not a") && numbered == 0)),
        };
        let facts = vec![Fact::Number { slot, how, n }];
        let act = Act::Claim { facts, strict: true, narrowed, doubtful, more };
        self.steps.push(Step { at: number.max(word), act });
        self.trade = true;
        self.done(number);
        self.become_(word, What::Done);
    }

    /// Verdicts, phrases and corrections: what no number was bound to.
    fn rest(&mut self) {
        let counted: Vec<usize> = self.counted_clauses();
        for at in 0..self.items.len() {
            let Some(item) = self.items.get(at) else { continue };
            let (clause, words, text) = (item.clause, item.words, item.text.clone());
            let What::Term(sense) = item.what.clone() else { continue };
            let more = self.before(at, |what| matches!(what, What::Term(Sense::Adjective | Sense::A)));
            let more = more.is_some_and(|at| matches!(self.sense(at), Some(Sense::More)));
            match sense {
                Sense::Noun(slot, form) => {
                    self.trade = true;
                    // Among counted words only "soft one" is a verdict; "short" may belong to any of them.
                    let apart = !counted.contains(&clause) || self.text(at + 1) == "one";
                    let alone = form == Form::Verdict && apart;
                    if more && form != Form::Many {
                        let facts = vec![Fact::Number { slot, how: How::More, n: 1 }];
                        let act = Act::Claim { facts, strict: true, narrowed: false, doubtful: false, more };
                        self.steps.push(Step { at, act });
                    } else if let Slot::Other(animal) = slot {
                        self.claim(at, vec![Fact::Seen(animal)], true);
                    } else if alone && !self.negated(at) {
                        self.retracts(at);
                        self.claim(at, vec![Fact::Number { slot, how: How::Verdict, n: 1 }], true);
                    }
                }
                Sense::Says(facts) => {
                    self.trade = true;
                    let number = |fact: &Fact| matches!(fact, Fact::Number { .. });
                    let bait = |fact: &Fact| matches!(fact, Fact::State(State::BaitAdded(_)));
                    let strict = facts.iter().any(number) || (words == 1 && !facts.iter().any(bait));
                    if words == 1 && self.negated(at) {
                        continue;
                    }
                    if facts.iter().any(number) {
                        self.retracts(at);
                    }
                    let act = Act::Claim { facts, strict, narrowed: false, doubtful: false, more };
                    self.steps.push(Step { at, act });
                }
                Sense::Nothing => {
                    self.trade = true;
                    let crabs = Slot::Count(super::Count::Crabs);
                    self.claim(at, vec![Fact::Number { slot: crabs, how: How::Total, n: 0 }], true);
                }
                Sense::BaitKind(kind) => {
                    let of_bait = |item: &Item| item.clause == clause && context(&item.text);
                    if self.items.iter().any(of_bait) {
                        self.trade = true;
                        self.claim(at, vec![Fact::State(State::BaitKind(kind))], false);
                    }
                }
                Sense::Undo => self.steps.push(Step { at, act: Act::Undo }),
                Sense::Amend => self.number_after(at, Act::Amend),
                Sense::No if text == "no" => self.number_after(at, Act::Amend),
                Sense::There => self.number_after(at, Act::Bare),
                Sense::Named { .. } => self.set_down(at),
                _ => {}
            }
        }
    }

    /// "Not soft" says nothing of soft crabs, and "all short" not how many.
    fn negated(&self, at: usize) -> bool {
        let skip = |what: &What| {
            matches!(what, What::Term(Sense::Filler | Sense::Link | Sense::A | Sense::Adjective))
        };
        self.before(at, skip)
            .is_some_and(|before| matches!(self.sense(before), Some(Sense::Not | Sense::Unclear)))
    }

    /// Clauses in which a number has its word.
    fn counted_clauses(&self) -> Vec<usize> {
        let counts = |step: &&Step| matches!(&step.act, Act::Claim { facts, .. } if facts.iter().any(total));
        self.steps
            .iter()
            .filter(counts)
            .filter_map(|step| self.items.get(step.at))
            .map(|item| item.clause)
            .collect()
    }

    /// A number that stands alone after a correcting or opening word.
    fn number_after(&mut self, at: usize, act: fn(u32) -> Act) {
        let opening = matches!(self.sense(at), Some(Sense::There));
        let skip = |what: &What| match what {
            What::Term(Sense::Link) => true,
            What::Comma | What::Glue | What::Term(Sense::Filler | Sense::Pronoun) => !opening,
            _ => false,
        };
        let Some(next) = self.after(at, skip) else { return };
        let Some(What::Number(n)) = self.what(next) else { return };
        let n = *n;
        let filler = |what: &What| matches!(what, What::Term(Sense::Filler));
        let ends = self.after(next, filler).is_none_or(|after| {
            let ends = matches!(self.what(after), Some(What::Comma));
            ends || matches!(self.sense(after), Some(Sense::Amend | Sense::No | Sense::Undo))
        });
        // "Got one" may be anything.
        if ends && !(opening && self.text(next) == "one") {
            self.done(next);
            self.steps.push(Step { at: next, act: act(n) });
        }
    }

    /// "Keeper, no, short": a verdict right after a correcting word takes the last one back.
    fn retracts(&mut self, at: usize) {
        let skip = |what: &What| {
            matches!(what, What::Comma | What::Term(Sense::Filler | Sense::Link | Sense::Pronoun | Sense::A))
                || matches!(what, What::Term(Sense::There))
        };
        let Some(before) = self.before(at, skip) else { return };
        let comma = matches!(self.what(before + 1), Some(What::Comma));
        let corrects = match self.sense(before) {
            Some(Sense::Amend) => true,
            Some(Sense::No) => comma && self.text(before) == "no",
            _ => false,
        };
        if corrects {
            self.steps.push(Step { at, act: Act::Retract });
        }
    }

    /// How far each clause can be trusted.
    fn trust(&self) -> Vec<Trust> {
        let clauses = self.items.last().map_or(0, |item| item.clause + 1);
        let mut trust = vec![Trust::Counts; clauses];
        let forced = self.items.iter().any(|item| matches!(item.what, What::Term(Sense::Opener)));
        for item in &self.items {
            let own = match &item.what {
                What::Term(Sense::Hush(_)) => Trust::Nothing,
                What::Term(Sense::Unclear | Sense::Not | Sense::Quality) => Trust::Draft,
                // A number without a word, or a word we do not know: who can say what was meant?
                What::Number(1) if item.text == "one" => Trust::Counts,
                What::Number(_) | What::Odd => Trust::Draft,
                What::Unknown if !forced => Trust::Draft,
                _ => Trust::Counts,
            };
            if let Some(trust) = trust.get_mut(item.clause) {
                *trust = own.max(*trust);
            }
        }
        let first = |hush: &[Hush]| {
            let is = |item: &&Item| matches!(&item.what, What::Term(Sense::Hush(h)) if hush.contains(h));
            self.items.iter().find(is).map(|item| item.clause)
        };
        let all = first(&[Hush::All]);
        let silent = first(&[Hush::All, Hush::Next]);
        for (clause, trust) in trust.iter_mut().enumerate() {
            if silent.is_some_and(|from| clause >= from) {
                *trust = Trust::Nothing;
            } else if all.is_some() {
                *trust = Trust::Draft.max(*trust);
            }
        }
        trust
    }

    fn give(mut self, ledger: &mut Ledger) {
        let trust = self.trust();
        let mut verdicts: Vec<(Slot, String, usize)> = Vec::new();
        self.steps.sort_by_key(|step| step.at);
        for Step { at, act } in self.steps {
            let Some(item) = self.items.get(at) else { continue };
            let trust = trust.get(item.clause).copied().unwrap_or(Trust::Nothing);
            if trust == Trust::Nothing {
                continue;
            }
            match act {
                Act::Claim { mut facts, strict, narrowed, doubtful, more } => {
                    // "Undersize, a hair under" is one crab.
                    let again = |fact: &Fact| {
                        let same = |(slot, text, clause): &(Slot, String, usize)| {
                            verdict(fact) == Some(slot) && *text != item.text && clause + 1 >= item.clause
                        };
                        !more && verdicts.iter().any(same)
                    };
                    facts.retain(|fact| !again(fact));
                    let said = facts.iter().filter_map(verdict);
                    verdicts.extend(said.map(|slot| (slot.clone(), item.text.clone(), item.clause)));
                    let draft = doubtful || (strict && trust == Trust::Draft);
                    if !facts.is_empty() {
                        ledger.claim(facts, draft, narrowed);
                    }
                }
                Act::Bare(n) if trust == Trust::Counts => ledger.bare(n),
                Act::Amend(n) => ledger.amend(n),
                Act::Undo => ledger.undo(),
                Act::Retract => ledger.retract(),
                Act::Bare(_) => {}
            }
        }
    }
}

/// What may stand between a number and the word after it.
fn passes_forward(what: &What) -> bool {
    matches!(what, What::Term(Sense::Link | Sense::Adjective | Sense::More) | What::Glue)
}

fn total(fact: &Fact) -> bool {
    matches!(fact, Fact::Number { .. })
}

fn verdict(fact: &Fact) -> Option<&Slot> {
    match fact {
        Fact::Number { slot, how: How::Verdict, .. } => Some(slot),
        _ => None,
    }
}

/// Verdicts made with a gauge: a number beside them may be what it showed.
fn measured_by_gauge(slot: &Slot) -> bool {
    matches!(slot, Slot::Count(super::Count::Keepers | super::Count::Shorts))
}

/// Two qualities of one subject that cannot both be.
fn clash(a: &Fact, b: &Fact) -> bool {
    match (a, b) {
        (Fact::State(a), Fact::State(b)) => a != b && std::mem::discriminant(a) == std::mem::discriminant(b),
        _ => false,
    }
}
