//! The order in which a boat usually hauls its traps, learnt from its trips, and how likely each step in it is.
//!
//! The usual order is that of the last trip, with traps it left out kept behind the one they used to follow. What a
//! step from one pull to the next was (to the next in that order, one further, backwards, anywhere) is counted, so that
//! a boat that keeps its order is believed and one that does not is not.

use std::collections::{BTreeMap, BTreeSet};

/// Steps in the usual order that are told apart; any other is "elsewhere".
pub const STEPS: [isize; 6] = [1, 2, 3, -1, -2, -3];

/// Kinds of step, "elsewhere" the last.
pub const KINDS: usize = STEPS.len() + 1;
/// The last kind.
pub const ELSEWHERE: usize = STEPS.len();

/// Steps taken for seen before any are: a boat that has an order mostly keeps it. Assumed, no source.
const ASSUMED: [f64; KINDS] = [3.0, 0.5, 0.2, 0.5, 0.1, 0.1, 2.0];

/// What a trip's counts weigh one trip later: habits change.
const FADE: f64 = 0.7;

/// How often each kind of step was taken.
pub type Steps = [f64; KINDS];

/// The usual order of one boat.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    order: Vec<String>,
    rank: BTreeMap<String, usize>,
    seen: Steps,
}

impl Default for Usual {
    fn default() -> Usual {
        Usual { order: Vec::new(), rank: BTreeMap::new(), seen: [0.0; KINDS] }
    }
}

impl Usual {
    /// Learns from one trip: the traps in the order they were hauled, `None` where it is not known.
    pub fn learn(&mut self, hauled: &[Option<&str>]) {
        self.seen.iter_mut().for_each(|seen| *seen *= FADE);
        for pair in hauled.windows(2) {
            let [Some(from), Some(to)] = pair else { continue };
            if let Some(kind) = self.kind(self.rank_of(from), self.rank_of(to))
                && let Some(seen) = self.seen.get_mut(kind)
            {
                *seen += 1.0;
            }
        }
        let mut now: Vec<&str> = Vec::new();
        let mut placed = BTreeSet::new();
        now.extend(hauled.iter().flatten().filter(|trap| placed.insert(**trap)));
        // Left out this time: behind the one each used to follow.
        let mut after: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        let mut leader = "";
        for trap in &self.order {
            if placed.contains(trap.as_str()) {
                leader = trap;
            } else {
                after.entry(leader).or_default().push(trap);
            }
        }
        let mut order: Vec<String> = Vec::new();
        for trap in std::iter::once("").chain(now) {
            order.extend(Some(trap).filter(|trap| !trap.is_empty()).map(str::to_owned));
            order.extend(after.remove(trap).unwrap_or_default().into_iter().map(str::to_owned));
        }
        self.rank = order.iter().enumerate().map(|(rank, trap)| (trap.clone(), rank)).collect();
        self.order = order;
    }

    /// A trap got another name.
    pub fn rename(&mut self, from: &str, to: &str) {
        if let Some(rank) = self.rank.remove(from) {
            self.rank.insert(to.to_owned(), rank);
            if let Some(slot) = self.order.get_mut(rank) {
                to.clone_into(slot);
            }
        }
    }

    /// A trap's place in the usual order.
    pub fn rank_of(&self, trap: &str) -> Option<usize> {
        self.rank.get(trap).copied()
    }

    /// What kind of step it is between two places in the order; `None` where one is not known.
    pub fn kind(&self, from: Option<usize>, to: Option<usize>) -> Option<usize> {
        let step = to?.checked_signed_diff(from?)?;
        Some(STEPS.iter().position(|known| *known == step).unwrap_or(ELSEWHERE))
    }

    /// How many times likelier than any trap whatever each kind of step makes its trap, given steps seen today.
    pub fn odds(&self, today: &Steps) -> Steps {
        let mut odds = ASSUMED;
        for ((odds, seen), today) in odds.iter_mut().zip(self.seen).zip(today) {
            *odds += seen + today;
        }
        let all: f64 = odds.iter().sum();
        let traps = (self.order.len() as f64).max(1.0);
        // Elsewhere may be any of the others.
        let others = (traps - STEPS.len() as f64).max(1.0);
        for (kind, odds) in odds.iter_mut().enumerate() {
            *odds *= traps / all;
            if kind == ELSEWHERE {
                *odds /= others;
            }
        }
        odds
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learnt(trips: &[&[&str]]) -> Usual {
        let mut usual = Usual::default();
        for trip in trips {
            let trip: Vec<Option<&str>> = trip.iter().map(|t| Some(*t).filter(|t| *t != "?")).collect();
            usual.learn(&trip);
        }
        usual
    }

    #[test]
    fn the_order_is_the_last_trips_with_what_it_left_out() {
        for (trips, want) in [
            (&[&["1", "2", "3"][..]][..], "1 2 3"),
            (&[&["1", "2", "3", "4"], &["1", "3", "4"]], "1 2 3 4"),
            (&[&["1", "2", "3"], &["2", "3"]], "1 2 3"),
            (&[&["1", "2", "3"], &["3", "?", "2", "3"]], "1 3 2"),
            (&[&["1", "2", "3"], &["3", "2", "9", "1"]], "3 2 9 1"),
            (&[&["1", "2"], &[]], "1 2"),
        ] {
            let usual = learnt(trips);
            assert_eq!(usual.order.join(" "), want, "{trips:?}");
            for (rank, trap) in usual.order.iter().enumerate() {
                assert_eq!(usual.rank_of(trap), Some(rank));
            }
        }
    }

    #[test]
    fn a_boat_that_keeps_its_order_is_believed() {
        let traps: Vec<String> = (1..=20).map(|n| n.to_string()).collect();
        let forth: Vec<&str> = traps.iter().map(String::as_str).collect();
        let back: Vec<&str> = forth.iter().rev().copied().collect();
        // A step of seven is elsewhere, wherever it begins.
        let jumbled: Vec<&str> = (0..20).map(|n| forth[n * 7 % 20]).collect();
        let none = [0.0; KINDS];
        let odds = |trips: &[&[&str]], kind: usize| learnt(trips).odds(&none)[kind];
        assert!(odds(&[&forth, &forth], 0) > 15.0);
        assert!(odds(&[&forth, &forth], ELSEWHERE) < 0.2);
        assert!(odds(&[&forth, &back], 3) > 12.0);
        assert!(odds(&[&forth, &jumbled], 0) < 4.0);
        assert!(odds(&[&forth, &jumbled], ELSEWHERE) > 1.0);
        // Odds are shares of all traps: they add up to one over them.
        let usual = learnt(&[&forth, &forth]);
        let odds = usual.odds(&none);
        let sum = odds.iter().take(ELSEWHERE).sum::<f64>() + odds[ELSEWHERE] * 14.0;
        assert!((sum / 20.0 - 1.0).abs() < 1e-12, "{sum}");
    }

    #[test]
    fn a_new_name_keeps_its_place() {
        let mut usual = learnt(&[&["1", "new-1a2b", "3"]]);
        usual.rename("new-1a2b", "2");
        usual.rename("no such", "9");
        assert_eq!(
            (usual.rank_of("2"), usual.rank_of("new-1a2b"), usual.rank_of("9")),
            (Some(1), None, None)
        );
        assert_eq!(usual.kind(usual.rank_of("1"), usual.rank_of("2")), Some(0));
        assert_eq!(usual.kind(usual.rank_of("3"), usual.rank_of("2")), Some(3));
        assert_eq!(usual.kind(usual.rank_of("3"), None), None);
    }
}
