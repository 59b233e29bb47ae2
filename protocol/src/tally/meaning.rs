//! Words that change what others mean: units beside numbers, pronouns, trap names, subjects with their qualities.

use std::borrow::Cow;

use super::grammar::{Reader, What};
use super::joining::passes_forward;
use super::lexicon::{Fact, Form, Hush, Sense, Slot, State, Subject};
use super::{Count, Kind, TrapState};

impl Reader<'_> {
    /// Numbers beside units, and beside words that announce a measure, are no counts.
    pub(super) fn measures(&mut self) {
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
            // "One in three are legal"
            let ratio = self.lexicon.language.ratio.contains(&self.text(at + 1));
            if ratio && self.figure(at) && self.figure(at + 2) {
                self.turn(at + 1, What::Term(Sense::Hush(Hush::All)));
            }
            let limit = self.text(at) == self.lexicon.language.under
                && self.figure(at + 1)
                && self.noun(at + 2).is_some();
            if limit {
                self.turn(at, What::Term(Sense::Unclear));
            }
        }
    }

    /// "One" that stands for a crab, "nothing legal", and "off three crabs".
    pub(super) fn pronouns(&mut self) {
        for at in 0..self.items.len() {
            let verdict = |noun: Option<(&Slot, Form)>| noun.is_some_and(|(_, form)| form == Form::Verdict);
            let one =
                matches!(self.what(at), Some(What::Number(1))) && self.text(at) == self.lexicon.language.one;
            let described = at.checked_sub(1).is_some_and(|before| {
                verdict(self.noun(before)) || matches!(self.sense(before), Some(Sense::Adjective))
            });
            // "Two short one soft": there it is a number.
            let listed = self.noun(at + 1).is_some() && at.checked_sub(2).is_some_and(|at| self.figure(at))
                || at.checked_sub(1).is_some_and(|word| self.follows_count(word));
            let before_verdict = self.noun(at + 1).is_none_or(|(_, form)| form == Form::Verdict);
            if one && described && before_verdict && !listed {
                self.turn(at, What::Term(Sense::Filler));
            }
            if matches!(self.sense(at), Some(Sense::Nothing)) && verdict(self.noun(at + 1)) {
                self.turn(at, What::Term(Sense::No));
            }
            // "Five crabs gave seven claws": the five are keepers.
            let gave = self.lexicon.language.giving.contains(&self.text(at + 1)) && self.figure(at + 2);
            if gave && self.noun(at).is_some_and(|(slot, _)| *slot == Slot::Count(Count::Crabs)) {
                let keepers = Slot::Count(Count::Keepers);
                self.turn(at, What::Term(Sense::Noun(keepers, Form::Many)));
            }
            self.given_by(at);
        }
    }

    /// "Five claws off four crabs": those four are keepers; but "two keepers out of four crabs" says how many crabs.
    fn given_by(&mut self, at: usize) {
        let counts = |at: usize, count| self.noun(at).is_some_and(|(slot, _)| *slot == Slot::Count(count));
        let out_of = self.text(at) == self.lexicon.language.out_of;
        if !(out_of || matches!(self.sense(at), Some(Sense::Off))) || !self.figure(at + 1) {
            return;
        }
        let Some(noun) = self.after(at + 1, passes_forward).filter(|noun| counts(*noun, Count::Crabs)) else {
            return;
        };
        let told = (0..at).rev().find(|at| counts(*at, Count::Keepers) || counts(*at, Count::Claws));
        if told.is_some_and(|at| counts(at, Count::Keepers)) {
            self.turn(at, What::Term(Sense::Link));
        } else if !out_of || told.is_some() {
            let keepers = Slot::Count(Count::Keepers);
            self.turn(noun, What::Term(Sense::Noun(keepers, Form::Many)));
            self.turn(at, What::Term(Sense::Off));
        }
    }

    /// In a list that gives the word before its number, this is the next word: "both 0, left handed one".
    fn follows_count(&self, word: usize) -> bool {
        let skip = |what: &What| {
            matches!(what, What::Glue | What::Comma | What::Term(Sense::Link | Sense::Filler | Sense::More))
        };
        let Some(figure) = self.before(word, skip).filter(|at| self.figure(*at)) else { return false };
        figure.checked_sub(1).is_some_and(|at| self.noun(at).is_some())
    }

    /// Trap names that need no weighing of alternatives: "number twelve buoy", "trap B14", "trap lucky".
    pub(super) fn names(&mut self) {
        for at in 0..self.items.len() {
            if let What::TrapName(name) = self.what(at).cloned().unwrap_or(What::Done) {
                self.known_name(at, name);
                continue;
            }
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
            let ends = self.what(from + 1).is_none_or(|what| matches!(what, What::Comma | What::Glue));
            let word = unknown(from) && ends && self.opens(at);
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
    pub(super) fn name(&mut self, at: usize, first: usize, last: usize) {
        let name: String = match (first == last, self.what(first)) {
            // Digits stay as written, `007` too; words become digits.
            (true, Some(What::Number(n))) if !self.raw(first).starts_with(|c: char| c.is_ascii_digit()) => {
                n.to_string()
            }
            _ => (first..=last).map(|at| self.raw(at)).collect(),
        };
        let whole = name.chars().all(char::is_alphanumeric);
        if whole {
            self.called(at, last, name);
        }
        for used in at.min(first)..=last {
            self.done(used);
        }
        if matches!(self.sense(last + 1), Some(Sense::Named { .. })) {
            self.done(last + 1);
        }
    }

    /// A name that is words, known from the register: "Lucky, seven crabs", "new trap Old Tom".
    fn known_name(&mut self, at: usize, name: String) {
        if !self.stands_as_name(at) {
            return self.turn(at, What::Unknown);
        }
        let before = at.checked_sub(1).filter(|at| matches!(self.sense(*at), Some(Sense::Named { .. })));
        let after = Some(at + 1).filter(|at| matches!(self.sense(*at), Some(Sense::Named { .. })));
        self.called(before.unwrap_or(at), at, name);
        for used in before.into_iter().chain(after).chain([at]) {
            self.done(used);
        }
    }

    /// Beside a word for a trap, or alone in its clause: "lucky day" and "pretty lucky" name no trap.
    fn stands_as_name(&self, at: usize) -> bool {
        let trap = |at: usize| matches!(self.sense(at), Some(Sense::Named { .. }));
        let before = |what: &What| {
            matches!(
                what,
                What::Term(Sense::Filler | Sense::Link | Sense::There | Sense::Measured | Sense::Pronoun)
            )
        };
        let opens = self
            .before(at, before)
            .is_none_or(|before| matches!(self.what(before), Some(What::Comma | What::Glue)));
        let ends = self.what(at + 1).is_none_or(|after| {
            let link = matches!(after, What::Term(Sense::Link | Sense::And | Sense::Says(_)));
            link || matches!(after, What::Comma | What::Glue | What::Number(_))
        });
        trap(at + 1) || at.checked_sub(1).is_some_and(trap) || (opens && ends)
    }

    /// The trap has this name; said from the item `at` to the item `last`.
    fn called(&mut self, at: usize, last: usize, name: String) {
        self.set_down(at);
        self.claim_over(at.min(last), at.max(last), vec![Fact::State(State::Name(Cow::Owned(name)))], false);
        self.trade = true;
        // "Trap fifteen is gone"
        let skip = |what: &What| matches!(what, What::Term(Sense::Link));
        let quality = self.after(last, skip).filter(|at| matches!(self.sense(*at), Some(Sense::Quality)));
        if let Some((quality, fact)) =
            quality.and_then(|at| Some((at, self.lexicon.pair(Subject::Trap, self.text(at))?)))
        {
            self.state(quality, quality, fact);
            self.done(quality);
        }
    }

    fn raw(&self, at: usize) -> &str {
        self.items.get(at).map_or("", |item| &item.raw)
    }

    pub(super) fn set_down(&mut self, at: usize) {
        if let Some(Sense::Named { set: true, new }) = self.sense(at) {
            let new = new.then_some(Fact::State(State::NewTrap));
            self.claim(at, std::iter::once(Fact::State(State::Kind(Kind::Set))).chain(new).collect(), false);
        }
    }

    /// Subjects with the quality beside them: "tie was already broken", "fresh bait". First within a clause.
    pub(super) fn pairs(&mut self) {
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
                let says = |quality: usize| {
                    let alive = !matches!(self.what(quality), Some(What::Done));
                    let fact = alive.then(|| self.lexicon.pair(subject, self.text(quality))).flatten();
                    fact.map(|fact| (quality, fact))
                };
                // A quality may itself be what is passed over: "lid okay", "tie is whole".
                let last = self.after(at, skip).unwrap_or(self.items.len());
                let right = (at + 1..=last).find_map(says);
                // "Okay, we are at trap four" says nothing of the trap, and "shut that lid" is an order.
                let far = self.before(at, skip).filter(|_| subject != Subject::Lid);
                let left = at.checked_sub(1).into_iter().chain(far).find_map(says);
                let found = match (right, left) {
                    (Some(right), Some(left)) if clash(&right.1, &left.1) => None,
                    (right, left) => right.or(left),
                };
                let refused = |quality: usize| {
                    let before = at.min(quality).checked_sub(1);
                    before.is_some_and(|before| matches!(self.sense(before), Some(Sense::Not)))
                };
                if let Some((quality, fact)) = found.filter(|(quality, _)| !refused(*quality)) {
                    self.state(at, quality, fact);
                    self.done(at);
                    self.done(quality);
                }
            }
        }
    }

    /// What a subject and its quality say; a trap that is not there was only visited.
    fn state(&mut self, at: usize, other: usize, fact: Fact) {
        let missing = fact == Fact::State(State::Trap(TrapState::Missing));
        let visit = missing.then_some(Fact::State(State::Kind(Kind::Visit)));
        self.claim_over(at, other, std::iter::once(fact).chain(visit).collect(), false);
        self.trade = true;
    }
}

/// Two qualities of one subject that cannot both be.
fn clash(a: &Fact, b: &Fact) -> bool {
    match (a, b) {
        (Fact::State(a), Fact::State(b)) => a != b && std::mem::discriminant(a) == std::mem::discriminant(b),
        _ => false,
    }
}
