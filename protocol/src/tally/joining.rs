//! Which words a number may join at all; [`bind`](super::bind) then chooses.

use super::Count;
use super::bind::{Link, Part, bind};
use super::grammar::{Act, Reader, Step, What};
use super::lexicon::{Fact, Form, How, Sense, Slot};

/// Numbers that a claw gauge shows rather than a trap holds, in millimetres.
const GAUGE: std::ops::RangeInclusive<u32> = 50..=150;

impl Reader<'_> {
    /// Numbers with their words.
    pub(super) fn bindings(&mut self) {
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
            What::Number(1) if self.text(at) == self.lexicon.language.one => Some(Part::Number(1)),
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
            Some(What::Term(Sense::Link)) => !self.text(at).starts_with(self.lexicon.language.of),
            _ => false,
        });
        let verdict = self.noun(first).is_some_and(|(_, form)| form == Form::Verdict);
        // "Crabs, four legal": the four are the legal ones.
        let next = self.after(second, |what| matches!(what, What::Term(Sense::Link | Sense::Adjective)));
        let forward = next.and_then(|at| self.noun(at)).is_some_and(|(_, form)| form != Form::Many);
        // "Soft, two": two of what? But "soft, none" is of the soft ones.
        let loose = verdict && counted(second) && !self.of_them(second);
        let apart = commas > 1 || (commas == 1 && (forward || loose));
        let none = matches!(self.sense(second), Some(Sense::None));
        (backward && passes && !apart).then_some(if none { 0 } else { commas })
    }

    /// "two of them"
    fn of_them(&self, number: usize) -> bool {
        self.lexicon.language.of_them.contains(&self.text(number + 1))
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
        // "One of the females": of those already counted; "the other two crabs": of all but those.
        let language = self.lexicon.language;
        let rest = slot == Slot::Count(Count::Crabs)
            && number.checked_sub(1).is_some_and(|at| language.rest.contains(&self.text(at)));
        let some = rest || (first + 1..second).any(|at| language.of_the.contains(&self.text(at)));
        let more = between.clone().any(|sense| matches!(sense, Sense::More))
            || number.checked_sub(1).is_some_and(|before| matches!(self.sense(before), Some(Sense::More)));
        let after = self.lexicon.language.more_after.contains(&self.text(second + 1));
        let more = more || (after && !self.figure(second + 2)) || self.goes_on(number, &slot);
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
                (*n, how, gauge || guess || some)
            }
            Some(What::Term(Sense::A)) if more => (1, How::More, false),
            Some(What::Term(Sense::A)) if numbered > 0 => (1, How::Total, false),
            Some(What::Term(Sense::A)) => (1, How::Verdict, false),
            // "Not a keeper" with no count beside it is a verdict on one crab, or a complaint; "not a crab" is of the trap.
            _ => {
                let crabs = slot == Slot::Count(Count::Crabs);
                let not_a = self.text(number).starts_with(self.lexicon.language.not_a);
                (0, How::Total, narrowed || (not_a && numbered == 0 && !crabs))
            }
        };
        let facts = vec![Fact::Number { slot, how, n }];
        let act = Act::Claim { facts, strict: true, narrowed, doubtful, more };
        self.steps.push(Step { at: number.max(word), from: number.min(word), act });
        self.trade = true;
        self.done(number);
        self.turn(word, What::Done);
    }
}

/// What may stand between a number and the word after it.
pub(super) fn passes_forward(what: &What) -> bool {
    matches!(what, What::Term(Sense::Link | Sense::Adjective | Sense::More) | What::Glue)
}

/// Verdicts made with a gauge: a number beside them may be what it showed.
fn measured_by_gauge(slot: &Slot) -> bool {
    matches!(slot, Slot::Count(Count::Keepers | Count::Shorts))
}
