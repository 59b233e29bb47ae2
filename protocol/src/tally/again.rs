//! Words that speak of what the sentence has just counted: "two claws, took one", "a short, and another".

use super::Count;
use super::grammar::{Act, Reader, Step, What};
use super::lexicon::{Fact, How, Sense, Slot};

impl Reader<'_> {
    /// "Took one" after claws that were only seen: those are what she had, this is what was taken.
    pub(super) fn taken(&mut self) {
        let claws = Slot::Count(Count::Claws);
        for at in 0..self.items.len() {
            if !self.takes(at) {
                continue;
            }
            let passes = |what: &What| matches!(what, What::Term(Sense::Link | Sense::Filler));
            let Some(next) = self.after(at, passes) else { continue };
            let Some(What::Number(n)) = self.what(next) else { continue };
            let n = *n;
            let filler = |what: &What| matches!(what, What::Term(Sense::Filler));
            let ends = self.after(next, filler).is_none_or(|end| {
                matches!(self.what(end), Some(What::Comma | What::Term(Sense::And | Sense::TakeBack)))
            });
            let seen = self.steps.iter().position(|step| {
                let of_claws = |fact: &Fact| matches!(fact, Fact::Number { slot, how: How::Total, .. } if *slot == claws);
                let told = matches!(&step.act, Act::Claim { facts, .. } if facts.iter().any(of_claws));
                told && step.at < at && !self.were_taken(step.from.min(step.at))
            });
            if let Some(seen) = seen.filter(|_| ends) {
                self.steps.remove(seen);
                self.claim_over(
                    next,
                    at,
                    vec![Fact::Number { slot: claws.clone(), how: How::Verdict, n }],
                    true,
                );
                self.done(next);
            }
        }
    }

    fn takes(&self, at: usize) -> bool {
        self.lexicon.language.taking.contains(&self.text(at))
    }

    /// "Took" stands before it in its clause.
    fn were_taken(&self, at: usize) -> bool {
        let clause = |at: usize| self.items.get(at).map(|item| item.clause);
        (0..at).any(|before| clause(before) == clause(at) && self.takes(before))
    }

    /// "A short, and another": one more of what was judged just before.
    pub(super) fn another(&mut self, at: usize) {
        let one = usize::from(self.text(at + 1) == self.lexicon.language.one);
        let ends = matches!(self.what(at + 1 + one), None | Some(What::Comma | What::Term(Sense::And)));
        if !ends || !self.lexicon.language.another.contains(&self.text(at)) {
            return;
        }
        let judged = self.steps.iter().filter(|step| step.at < at).max_by_key(|step| step.at);
        let slot = judged.and_then(|step| match &step.act {
            Act::Claim { facts, .. } => match facts.as_slice() {
                [Fact::Number { slot, .. }] => Some(slot.clone()),
                _ => None,
            },
            _ => None,
        });
        if let Some(slot) = slot {
            let facts = vec![Fact::Number { slot, how: How::More, n: 1 }];
            let act = Act::Claim { facts, strict: true, narrowed: false, doubtful: false, more: true };
            self.steps.push(Step { at, from: at, act });
            if one > 0 {
                self.done(at + 1);
            }
        }
    }

    /// "Keeper keeper": the same verdict stands right beside this one.
    pub(super) fn repeated(&self, at: usize) -> bool {
        let beside = [at.checked_sub(1), Some(at + 1)];
        beside
            .into_iter()
            .flatten()
            .any(|beside| self.noun(beside).is_some() && self.noun(beside) == self.noun(at))
    }

    /// "Two keepers and one keeper": the number goes on from one of the same word, which it is added to.
    pub(super) fn goes_on(&self, number: usize, slot: &Slot) -> bool {
        let and = number.checked_sub(1).is_some_and(|at| matches!(self.sense(at), Some(Sense::And)));
        let last = self.steps.iter().filter(|step| step.at < number).max_by_key(|step| step.at);
        let same = |fact: &Fact| matches!(fact, Fact::Number { slot: last, .. } if last == slot);
        and && matches!(last, Some(Step { act: Act::Claim { facts, .. }, .. }) if facts.iter().any(same))
    }
}
