//! One sentence into statements: words get their meanings, numbers their words, and doubtful clauses become drafts.

use super::Count;
use super::language::split;
use super::ledger::Ledger;
use super::ledger::Place;
use super::lexicon::{Fact, Form, How, Hush, Lexicon, Sense, Slot, State, Subject};
use super::speech::Names;
use super::tokens::{Piece, Sentence};

/// One understood stretch of a sentence.
#[derive(Debug, Clone)]
pub(super) struct Item {
    pub(super) what: What,
    /// As the tables spell it.
    pub(super) text: String,
    /// As written.
    pub(super) raw: String,
    /// Which comma-separated clause of the sentence.
    pub(super) clause: usize,
    pub(super) glued: bool,
    /// How many words it was.
    pub(super) words: usize,
    /// Where it was said.
    pub(super) place: Place,
}

#[derive(Debug, Clone)]
pub(super) enum What {
    Term(Sense),
    Number(u32),
    /// A figure that is no whole count.
    Odd,
    Comma,
    Glue,
    Unknown,
    /// A trap's name of words, as the register spells it.
    TrapName(String),
    /// Used up: it says nothing more, and nothing joins across it.
    Done,
}

/// What is done to the ledger, and where in the sentence it was said.
#[derive(Debug)]
pub(super) struct Step {
    /// The last item of it, whose clause decides.
    pub(super) at: usize,
    /// Another item of it.
    pub(super) from: usize,
    pub(super) act: Act,
}

#[derive(Debug)]
pub(super) enum Act {
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
    /// A draft for the pull before.
    Before,
    Nothing,
}

/// Reads one sentence into the ledger.
pub(super) fn sentence(lexicon: &Lexicon, names: &Names, sentence: &Sentence, ledger: &mut Ledger) {
    let items = lex(lexicon, names, sentence);
    let mut reader = Reader { lexicon, items, steps: Vec::new(), trade: false };
    reader.measures();
    reader.pronouns();
    reader.names();
    reader.pairs();
    reader.bindings();
    reader.taken();
    reader.rest();
    ledger.trade |= reader.trade;
    if !sentence.question {
        reader.give(ledger);
    }
}

fn lex(lexicon: &Lexicon, names: &Names, sentence: &Sentence) -> Vec<Item> {
    let (mut items, mut clause, mut at) = (Vec::<Item>::new(), 0, 0);
    while let Some(token) = sentence.tokens.get(at) {
        let rest = sentence.tokens.get(at..).unwrap_or_default();
        let term = lexicon.longest(rest);
        let numerals = &lexicon.language.numerals;
        let spelled = numerals.number(rest).filter(|n| term.as_ref().is_none_or(|term| term.2 < n.used));
        let after_trap =
            items.last().is_some_and(|item| matches!(item.what, What::Term(Sense::Named { .. })));
        let name = names.longest(lexicon, rest, after_trap);
        let (what, text, used) = match (spelled, term, &token.piece) {
            _ if name.is_some() => {
                let (name, used) = name.unwrap_or_default();
                (What::TrapName(name), String::new(), used)
            }
            (Some(n), _, _) => (n.n.map_or(What::Odd, What::Number), token.raw.to_lowercase(), n.used),
            (None, Some((text, sense, used)), _) => (What::Term(sense.clone()), text, used),
            (None, None, Piece::Comma) => (What::Comma, String::new(), 1),
            (None, None, Piece::Glue) => (What::Glue, String::new(), 1),
            (None, None, Piece::Word(word)) => (What::Unknown, word.clone(), 1),
            (None, None, Piece::Number(_) | Piece::Odd) => (What::Odd, token.raw.clone(), 1),
        };
        // "Last one was empty but here we have four": of another trap, and then of this one.
        let turns = matches!(items.last(), Some(Item { what: What::Term(Sense::And), .. }))
            && lexicon.language.here.contains(&text.as_str());
        clause += usize::from(matches!(what, What::Comma) || turns);
        let place = Place::of(rest.get(..used).unwrap_or_default());
        let item =
            Item { what, text, raw: token.raw.clone(), clause, glued: token.glued, words: used, place };
        items.push(item);
        at += used;
    }
    items
}

pub(super) struct Reader<'a> {
    pub(super) lexicon: &'a Lexicon,
    pub(super) items: Vec<Item>,
    pub(super) steps: Vec<Step>,
    pub(super) trade: bool,
}

impl Reader<'_> {
    pub(super) fn what(&self, at: usize) -> Option<&What> {
        self.items.get(at).map(|item| &item.what)
    }

    pub(super) fn sense(&self, at: usize) -> Option<&Sense> {
        match self.what(at) {
            Some(What::Term(sense)) => Some(sense),
            _ => None,
        }
    }

    pub(super) fn noun(&self, at: usize) -> Option<(&Slot, Form)> {
        match self.sense(at) {
            Some(Sense::Noun(slot, form)) => Some((slot, *form)),
            _ => None,
        }
    }

    pub(super) fn figure(&self, at: usize) -> bool {
        matches!(self.what(at), Some(What::Number(_) | What::Odd))
    }

    pub(super) fn text(&self, at: usize) -> &str {
        self.items.get(at).map_or("", |item| &item.text)
    }

    pub(super) fn done(&mut self, at: usize) {
        self.turn(at, What::Done);
    }

    pub(super) fn turn(&mut self, at: usize, what: What) {
        if let Some(item) = self.items.get_mut(at) {
            item.what = what;
        }
    }

    pub(super) fn claim(&mut self, at: usize, facts: Vec<Fact>, strict: bool) {
        self.claim_over(at, at, facts, strict);
    }

    /// A statement that was said with two items and what lies between.
    pub(super) fn claim_over(&mut self, at: usize, from: usize, facts: Vec<Fact>, strict: bool) {
        let act = Act::Claim { facts, strict, narrowed: false, doubtful: false, more: false };
        self.steps.push(Step { at, from, act });
    }

    /// The nearest item before `at` that `skip` does not pass over.
    pub(super) fn before(&self, at: usize, skip: impl Fn(&What) -> bool) -> Option<usize> {
        (0..at).rev().find(|at| self.what(*at).is_some_and(|what| !skip(what)))
    }

    /// The nearest item after `at` that `skip` does not pass over.
    pub(super) fn after(&self, at: usize, skip: impl Fn(&What) -> bool) -> Option<usize> {
        (at + 1..self.items.len()).find(|at| self.what(*at).is_some_and(|what| !skip(what)))
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
                    let apart = !counted.contains(&clause) || self.text(at + 1) == self.lexicon.language.one;
                    let alone = form == Form::Verdict && (apart || self.repeated(at));
                    if more && form != Form::Many {
                        let facts = vec![Fact::Number { slot, how: How::More, n: 1 }];
                        let act = Act::Claim { facts, strict: true, narrowed: false, doubtful: false, more };
                        self.steps.push(Step { at, from: at, act });
                    } else if let Slot::Other(animal) = &slot {
                        if !self.freshly(at) {
                            self.claim(at, vec![Fact::Seen(animal.clone())], true);
                        }
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
                    let no = at.checked_sub(1).and_then(|before| self.sense(before));
                    let no = matches!(no, Some(Sense::No | Sense::Not | Sense::Unclear));
                    if (words == 1 && self.negated(at)) || (no && facts.iter().any(number)) {
                        continue;
                    }
                    if facts.iter().any(number) {
                        self.retracts(at);
                    }
                    let act = Act::Claim { facts, strict, narrowed: false, doubtful: false, more };
                    self.steps.push(Step { at, from: at, act });
                }
                Sense::Nothing => {
                    self.trade = true;
                    let crabs = Slot::Count(Count::Crabs);
                    self.claim(at, vec![Fact::Number { slot: crabs, how: How::Total, n: 0 }], true);
                }
                Sense::BaitKind(kind) => {
                    let language = self.lexicon.language;
                    let baiting = |text: &str| split(language.baiting).any(|of_bait| of_bait == text);
                    let of_bait = |item: &Item| item.clause == clause && baiting(&item.text);
                    if self.items.iter().any(of_bait) {
                        self.trade = true;
                        self.claim(at, vec![Fact::State(State::BaitKind(kind))], false);
                    }
                }
                Sense::TakeBack => {
                    let verdict = |step: &Step| matches!(&step.act, Act::Claim { facts, .. } if facts.iter().any(|f| verdict(f).is_some()));
                    if self.steps.iter().any(|step| step.at < at && verdict(step)) {
                        self.steps.push(Step { at, from: at, act: Act::Retract });
                    }
                }
                Sense::More => self.another(at),
                Sense::Undo => self.steps.push(Step { at, from: at, act: Act::Undo }),
                Sense::Amend => self.number_after(at, Act::Amend),
                Sense::No if text == self.lexicon.language.no => self.number_after(at, Act::Amend),
                Sense::There if self.lexicon.language.bare.contains(&text.as_str()) => {
                    self.number_after(at, Act::Bare)
                }
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
        self.before(at, skip).is_some_and(|before| {
            matches!(self.sense(before), Some(Sense::Not | Sense::None | Sense::Unclear))
        })
    }

    /// "Fresh grouper" is bait.
    fn freshly(&self, at: usize) -> bool {
        let fresh = Fact::State(State::BaitAdded(true));
        at.checked_sub(1).is_some_and(|at| self.lexicon.pair(Subject::Bait, self.text(at)) == Some(fresh))
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
        // "There's two, three": still counting.
        let then = self.after(next, |what| matches!(what, What::Comma | What::Term(Sense::There)));
        let counting = then.is_some_and(|at| matches!(self.what(at), Some(What::Number(m)) if *m == n + 1));
        let ends = ends && !(opening && counting);
        // "Got one" may be anything.
        if ends && !(opening && self.text(next) == self.lexicon.language.one) {
            self.done(next);
            self.steps.push(Step { at: next, from: at, act: act(n) });
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
            Some(Sense::No) => comma && self.text(before) == self.lexicon.language.no,
            _ => false,
        };
        if corrects {
            self.steps.push(Step { at, from: at, act: Act::Retract });
        }
    }

    /// How far each clause can be trusted.
    fn trust(&self) -> Vec<Trust> {
        let clauses = self.items.last().map_or(0, |item| item.clause + 1);
        let mut trust = vec![Trust::Counts; clauses];
        let forced = self.items.iter().any(|item| matches!(item.what, What::Term(Sense::Opener)));
        for item in &self.items {
            let own = match &item.what {
                What::Term(Sense::Hush(Hush::Ask | Hush::Before)) => Trust::Draft,
                What::Term(Sense::Hush(_)) => Trust::Nothing,
                What::Term(Sense::Unclear | Sense::Not | Sense::Quality) => Trust::Draft,
                // A number without a word, or a word we do not know: who can say what was meant?
                What::Number(1) if item.text == self.lexicon.language.one => Trust::Counts,
                What::Number(_) | What::Odd | What::Unknown if !forced => Trust::Draft,
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
        let all = first(&[Hush::All, Hush::Before]);
        let silent = first(&[Hush::All, Hush::Next]);
        let before = first(&[Hush::Before]);
        // "Last trap was empty, this one's got four": from there on it may be of this pull again.
        let here = |item: &&Item| {
            before.is_some_and(|from| item.clause > from)
                && self.lexicon.language.here.contains(&item.text.as_str())
        };
        let back = self.items.iter().find(here).map(|item| item.clause);
        for (clause, trust) in trust.iter_mut().enumerate() {
            if silent.is_some_and(|from| clause >= from) {
                *trust = Trust::Nothing;
            } else if before.is_some_and(|from| clause >= from) && back.is_none_or(|back| clause < back) {
                // With another reason to say nothing in this sentence, not even the pull before is told.
                *trust = if silent.is_some() { Trust::Nothing } else { Trust::Before.max(*trust) };
            } else if all.is_some() {
                *trust = Trust::Draft.max(*trust);
            }
        }
        trust
    }

    /// A question begins here: "is he…", or at the beginning of a clause "was the…".
    fn asks(&self, at: usize) -> bool {
        let Some(item) = self.items.get(at) else { return false };
        let phrase = matches!(item.what, What::Term(Sense::Hush(Hush::Ask)));
        let opens = at
            .checked_sub(1)
            .is_none_or(|before| self.items.get(before).is_some_and(|b| b.clause < item.clause))
            || matches!(at.checked_sub(1).and_then(|at| self.what(at)), Some(What::Comma));
        let language = self.lexicon.language;
        let raw = item.raw.to_lowercase();
        let first = item.text.split(' ').next() == Some(&raw) || item.text.is_empty();
        let not = item.text.split(' ').nth(1) == Some(language.not) || self.text(at + 1) == language.not;
        phrase || (opens && first && !not && language.asking.contains(&raw.as_str()))
    }

    fn give(mut self, ledger: &mut Ledger) {
        let trust = self.trust();
        let mut verdicts: Vec<(Slot, String, usize)> = Vec::new();
        self.steps.sort_by_key(|step| step.at);
        let asked = (0..self.items.len()).find(|at| self.asks(*at)).unwrap_or(usize::MAX);
        let described = self.items.iter().any(|item| matches!(item.what, What::Term(Sense::Described)));
        for Step { at, from, act } in self.steps {
            let Some(item) = self.items.get(at) else { continue };
            let trust = trust.get(item.clause).copied().unwrap_or(Trust::Nothing);
            if trust == Trust::Nothing || at.max(from) >= asked {
                continue;
            }
            let place = self.items.get(from).map_or(item.place.clone(), |from| item.place.with(&from.place));
            if trust == Trust::Before {
                if let Act::Claim { facts, .. } = act {
                    ledger.before(facts, place);
                }
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
                    // "Two big claws and a small one"
                    let others = narrowed && described;
                    let draft = doubtful || others || (strict && trust == Trust::Draft);
                    if !facts.is_empty() {
                        ledger.claim(facts, draft, narrowed, place);
                    }
                }
                Act::Bare(n) if trust == Trust::Counts => ledger.bare(n, place),
                Act::Amend(n) => ledger.amend(n, place),
                Act::Undo => ledger.undo(),
                Act::Retract => ledger.retract(),
                Act::Bare(_) => {}
            }
        }
    }
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
