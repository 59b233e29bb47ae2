//! What the pulls before and after say about a pull, by the order in which the boat usually hauls.
//!
//! The pulls of a trip form a chain: from each to the next the boat takes a step of some kind in its usual order. The
//! sums over the chain are the forward–backward recursion (L. R. Rabiner, "A tutorial on hidden Markov models", Proc.
//! IEEE 77(2), 1989, section III); how likely each kind of step is today is found by a few rounds of re-estimation
//! (the same, formula 40b). What comes out for a pull leaves its own likelihoods aside, so that it can be added to them.

use super::Row;
use super::order::{ELSEWHERE, KINDS, STEPS, Steps, Usual};
use std::collections::BTreeMap;

/// Rounds in which the kinds of step are counted anew.
const ROUNDS: usize = 3;

/// Weights far below the best of their pull are raised to this share of it: what the order says is never certain.
const LEAST: f64 = 1e-12;

/// Per pull the weight of each of its states, and each state's place in the usual order.
struct Link {
    weight: Vec<f64>,
    rank: Vec<Option<usize>>,
}

/// Log-likelihoods to add to each row's candidates, in their order; `none` gets nothing.
///
/// `rank` gives a candidate's place in the usual order.
pub fn hints(usual: &Usual, rows: &[Row], rank: impl Fn(usize) -> Option<usize>) -> Vec<Vec<f64>> {
    let links: Vec<Link> = rows.iter().map(|row| link(row, &rank)).collect();
    let mut today: Steps = [0.0; KINDS];
    let mut hints = Vec::new();
    for _ in 0..ROUNDS {
        let odds = usual.odds(&today);
        let after = passed(&links, &odds, Pass::Forth);
        let before = passed(&links, &odds, Pass::Back);
        today = taken(&links, &odds, &after, &before);
        hints = after.iter().zip(&before).map(|(after, before)| hint(after, before)).collect();
    }
    hints
}

fn link(row: &Row, rank: &impl Fn(usize) -> Option<usize>) -> Link {
    // The last state is `none`.
    let ln: Vec<f64> = row.candidates.iter().map(|(_, ln)| *ln).chain([row.none]).collect();
    let most = ln.iter().copied().filter(|ln| ln.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let weight = ln.iter().map(|ln| if *ln > f64::NEG_INFINITY { (ln - most).exp() } else { 0.0 });
    let weight = weight.map(|w| if w.is_nan() { 0.0 } else { w.max(LEAST) }).collect();
    let rank = row.candidates.iter().map(|(trap, _)| rank(*trap)).chain([None]).collect();
    Link { weight, rank }
}

#[derive(Clone, Copy, PartialEq)]
enum Pass {
    Forth,
    Back,
}

/// What comes to each pull along the chain from one side: a factor per state, on a scale of its own.
fn passed(links: &[Link], odds: &Steps, pass: Pass) -> Vec<Vec<f64>> {
    let mut all: Vec<Vec<f64>> = links.iter().map(|link| vec![1.0; link.weight.len()]).collect();
    let order: Vec<usize> = match pass {
        Pass::Forth => (0..links.len()).collect(),
        Pass::Back => (0..links.len()).rev().collect(),
    };
    for pair in order.windows(2) {
        let &[from, to] = pair else { continue };
        let (Some(here), Some(there), Some(come)) = (links.get(from), links.get(to), all.get(from)) else {
            continue;
        };
        let crowd = Crowd::new(here, come);
        let goes =
            there.rank.iter().map(|rank| (crowd.step(*rank, odds, pass) / crowd.all).max(LEAST)).collect();
        if let Some(slot) = all.get_mut(to) {
            *slot = goes;
        }
    }
    all
}

/// What is believed of one pull, gathered by place in the usual order: a step is of a known kind only between a few.
struct Crowd {
    all: f64,
    ranked: f64,
    at: BTreeMap<usize, f64>,
}

impl Crowd {
    fn new(link: &Link, come: &[f64]) -> Crowd {
        let mut crowd = Crowd { all: 0.0, ranked: 0.0, at: BTreeMap::new() };
        for ((rank, weight), come) in link.rank.iter().zip(&link.weight).zip(come) {
            crowd.all += weight * come;
            if let Some(rank) = rank {
                crowd.ranked += weight * come;
                *crowd.at.entry(*rank).or_default() += weight * come;
            }
        }
        crowd
    }

    /// The sum over all its states of belief times the odds of the step between them and a state of the next pull.
    fn step(&self, rank: Option<usize>, odds: &Steps, pass: Pass) -> f64 {
        let Some(rank) = rank else { return self.all };
        let known = self.known(rank, pass);
        let elsewhere = (self.ranked - known.iter().map(|(_, belief)| belief).sum::<f64>()).max(0.0);
        let [.., odd_elsewhere] = *odds;
        let known: f64 = known.iter().zip(odds).map(|((_, belief), odd)| belief * odd).sum();
        self.all - self.ranked + known + elsewhere * odd_elsewhere
    }

    /// Per kind of step but "elsewhere" the place it is from and what is believed there.
    fn known(&self, to: usize, pass: Pass) -> [(Option<usize>, f64); ELSEWHERE] {
        STEPS.map(|step| {
            let from = to.checked_add_signed(if pass == Pass::Forth { -step } else { step });
            (from, from.and_then(|from| self.at.get(&from)).copied().unwrap_or_default())
        })
    }
}

/// How often each kind of step was taken today, expected.
fn taken(links: &[Link], odds: &Steps, after: &[Vec<f64>], before: &[Vec<f64>]) -> Steps {
    let mut today: Steps = [0.0; KINDS];
    for ((pair, after), before) in links.windows(2).zip(after).zip(before.iter().skip(1)) {
        let [here, there] = pair else { continue };
        let (crowd, next) = (Crowd::new(here, after), Crowd::new(there, before));
        let mut kinds: Steps = [0.0; KINDS];
        let mut whole = next.all * crowd.all - next.ranked * crowd.ranked;
        for (rank, belief) in &next.at {
            let known = crowd.known(*rank, Pass::Forth).map(|(_, from)| from);
            let elsewhere = (crowd.ranked - known.iter().sum::<f64>()).max(0.0);
            for ((kind, from), odd) in kinds.iter_mut().zip(known.into_iter().chain([elsewhere])).zip(odds) {
                *kind += from * belief * odd;
                whole += from * belief * odd;
            }
        }
        if whole > 0.0 {
            today.iter_mut().zip(kinds).for_each(|(today, kind)| *today += kind / whole);
        }
    }
    today
}

/// What both sides say, relative to `none`.
fn hint(after: &[f64], before: &[f64]) -> Vec<f64> {
    let mut both: Vec<f64> = after.iter().zip(before).map(|(a, b)| a.ln() + b.ln()).collect();
    let none = both.pop().unwrap_or_default();
    both.iter_mut().for_each(|ln| *ln -= none);
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How many times likelier a step makes its trap; 1 where the order says nothing.
    fn odd(odds: &Steps, kind: Option<usize>) -> f64 {
        kind.map_or(1.0, |kind| odds[kind])
    }

    /// Traps by number, in the order 0, 1, 2 …, hauled like that on two trips.
    fn usual(traps: usize) -> Usual {
        let names: Vec<String> = (0..traps).map(|n| n.to_string()).collect();
        let trip: Vec<Option<&str>> = names.iter().map(|name| Some(name.as_str())).collect();
        let mut usual = Usual::default();
        usual.learn(&trip);
        usual.learn(&trip);
        usual
    }

    fn row(candidates: &[(usize, f64)]) -> Row {
        Row { candidates: candidates.to_vec(), none: -10.0 }
    }

    /// The same by trying every way through the chain, for given odds.
    fn by_trying_all(usual: &Usual, rows: &[Row], odds: &Steps, at: usize) -> Vec<f64> {
        let states = |row: &Row| -> Vec<(Option<usize>, f64)> {
            let traps = row.candidates.iter().map(|&(trap, ln)| (usual.rank_of(&trap.to_string()), ln));
            traps.chain([(None, row.none)]).collect()
        };
        let mut sums = vec![0.0; rows[at].candidates.len() + 1];
        let mut ways: Vec<Vec<usize>> = vec![vec![]];
        for row in rows {
            ways = ways
                .iter()
                .flat_map(|way| (0..=row.candidates.len()).map(move |s| [&way[..], &[s]].concat()))
                .collect();
        }
        for way in ways {
            let chosen: Vec<_> = way.iter().zip(rows).map(|(s, row)| states(row)[*s]).collect();
            let own: f64 =
                chosen.iter().enumerate().filter(|(k, _)| *k != at).map(|(_, (_, ln))| ln.exp()).product();
            let steps: f64 =
                chosen.windows(2).map(|pair| odd(odds, usual.kind(pair[0].0, pair[1].0))).product();
            sums[way[at]] += own * steps;
        }
        let none = sums.pop().unwrap();
        sums.iter().map(|sum| (sum / none).ln()).collect()
    }

    #[test]
    fn sums_along_the_chain_are_those_of_every_way() {
        let usual = usual(8);
        let rows = [
            row(&[(0, -1.0), (1, -2.0)]),
            row(&[(1, 0.0), (2, 0.3), (5, -4.0)]),
            row(&[]),
            row(&[(3, -2.0), (4, -1.5)]),
            row(&[(4, 0.0), (3, 0.0), (7, -6.0)]),
        ];
        let links: Vec<Link> =
            rows.iter().map(|row| link(row, &|trap| usual.rank_of(&trap.to_string()))).collect();
        let odds = usual.odds(&[0.0; KINDS]);
        let after = passed(&links, &odds, Pass::Forth);
        let before = passed(&links, &odds, Pass::Back);
        for at in 0..rows.len() {
            let got = hint(&after[at], &before[at]);
            for (got, want) in got.iter().zip(by_trying_all(&usual, &rows, &odds, at)) {
                assert!((got - want).abs() < 1e-9, "{at}: {got} for {want}");
            }
        }
    }

    #[test]
    fn the_next_in_order_is_likelier_and_order_is_unlearnt_in_a_jumble() {
        let usual = usual(20);
        let lean = |rows: &[Row], at: usize| {
            let hints = hints(&usual, rows, |trap| usual.rank_of(&trap.to_string()));
            hints[at][0] - hints[at][1]
        };
        let sure = |trap: usize| row(&[(trap, 10.0)]);
        let doubtful = row(&[(5, 0.0), (9, 0.0)]);
        assert!(lean(&[sure(3), sure(4), doubtful.clone(), sure(6)], 2) > 4.0);
        // Backwards along the string as well.
        assert!(lean(&[sure(8), sure(7), sure(6), doubtful.clone(), sure(4), sure(3)], 3) > 2.0);
        // Alone it says nothing.
        assert!(lean(std::slice::from_ref(&doubtful), 0).abs() < 1e-12);
        let jumble: Vec<Row> = (0..12).map(|n| sure(n * 7 % 20)).chain([doubtful.clone()]).collect();
        assert!(lean(&jumble, 12).abs() < 1.0);
    }

    #[test]
    fn odd_numbers_stay_numbers() {
        let usual = usual(4);
        let rows = [
            Row { candidates: vec![(0, f64::NEG_INFINITY), (1, f64::NAN)], none: f64::NEG_INFINITY },
            Row { candidates: vec![(1, 700.0), (2, -700.0)], none: f64::NAN },
            row(&[(3, 0.0)]),
        ];
        for hint in hints(&usual, &rows, Some).concat() {
            assert!(hint.is_finite());
        }
    }
}
