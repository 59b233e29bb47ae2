//! Which trap each pull was: the pulls of a trip are matched to the traps of the register jointly.
//!
//! [`weight`] says how likely a pull at a spot is a certain trap; [`solve`] takes those likelihoods for all pulls of a
//! trip and answers, per pull, with the trap it has in the likeliest matching of the whole trip and with probabilities
//! under the same joint model. In that model a pull is one trap or none of them, and a trap is pulled at most once. A
//! trap that may be pulled again in the trip is given to the rows of its later pulls under another index.

mod assign;
mod belief;
mod graph;
mod marginal;
mod sweep;
#[cfg(test)]
mod testing;
pub mod weight;

use serde::{Deserialize, Serialize};

pub use assign::assign;
pub use marginal::{Marginal, marginals};

/// What is known of one pull: likelihoods as natural logarithms, on a scale of the row's own.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Traps it may be (any index of the caller's) and the log-likelihood of each. −∞ and NaN mean impossible; of two
    /// entries for one trap the greater counts.
    pub candidates: Vec<(usize, f64)>,
    /// Log-likelihood that it is none of them.
    pub none: f64,
}

/// What else a pull could have been.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rival {
    /// Another trap.
    Trap(usize),
    /// None of the candidates.
    NoneOfThem,
}

/// The answer for one pull.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The trap it has in the likeliest matching of the whole trip; `None`: none of its candidates.
    pub choice: Option<usize>,
    /// Probability of the choice, 0…1.
    pub probability: f64,
    /// The likeliest of the other possibilities; `None` for a pull without candidates.
    pub runner_up: Option<Rival>,
    /// Probability of the runner-up, 0…1. Above that of the choice where the trip as a whole speaks against it.
    pub runner_up_probability: f64,
}

/// How sure a pairing is, in the words of the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Grade {
    /// Probability at least [`Grade::SURE`].
    Sure,
    /// Probability at least [`Grade::LIKELY`].
    Likely,
    /// Less than that.
    Doubtful,
    /// No trap of the register.
    None,
    /// A person said so.
    Corrected,
}

impl Grade {
    /// Least probability of [`Grade::Sure`].
    pub const SURE: f64 = 0.95;
    /// Least probability of [`Grade::Likely`].
    pub const LIKELY: f64 = 0.70;

    /// The grade of an answer; never [`Grade::Corrected`].
    pub fn of(answer: &Answer) -> Grade {
        match answer.probability {
            _ if answer.choice.is_none() => Grade::None,
            p if p >= Grade::SURE => Grade::Sure,
            p if p >= Grade::LIKELY => Grade::Likely,
            _ => Grade::Doubtful,
        }
    }
}

/// Answers for the pulls of one trip, one per row, in the order of the rows. The same rows give the same answers.
pub fn solve(rows: &[Row]) -> Vec<Answer> {
    let graph = graph::Graph::new(rows);
    let probabilities = marginal::of_graph(&graph, rows);
    assign::assign_graph(&graph)
        .into_iter()
        .zip(&probabilities)
        .map(|(choice, p)| answer(choice, p))
        .collect()
}

/// One pull's answer from its choice and its probabilities.
fn answer(choice: Option<usize>, marginal: &Marginal) -> Answer {
    let chosen = choice.map_or(Rival::NoneOfThem, Rival::Trap);
    let all = marginal.candidates.iter().map(|&(trap, p)| (Rival::Trap(trap), p));
    let mut answer = Answer { choice, probability: 0.0, runner_up: None, runner_up_probability: 0.0 };
    for (what, p) in all.chain([(Rival::NoneOfThem, marginal.none)]) {
        if what == chosen {
            answer.probability = p;
        } else if answer.runner_up.is_none() || p > answer.runner_up_probability {
            (answer.runner_up, answer.runner_up_probability) = (Some(what), p);
        }
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(candidates: &[(usize, f64)], none: f64) -> Row {
        let candidates = candidates.iter().map(|&(trap, weight)| (trap, f64::ln(weight))).collect();
        Row { candidates, none: none.ln() }
    }

    #[test]
    fn answers_say_choice_and_runner_up() {
        use Rival::{NoneOfThem, Trap};
        // rows, then per row: choice, probability, runner-up, its probability (by hand).
        type Case = (Vec<Row>, Vec<(Option<usize>, f64, Option<Rival>, f64)>);
        let table: Vec<Case> = vec![
            (vec![], vec![]),
            (vec![row(&[], 1.0)], vec![(None, 1.0, None, 0.0)]),
            (vec![row(&[], 0.0)], vec![(None, 1.0, None, 0.0)]),
            (vec![row(&[(7, 3.0)], 1.0)], vec![(Some(7), 0.75, Some(NoneOfThem), 0.25)]),
            (vec![row(&[(7, 1.0)], 3.0)], vec![(None, 0.75, Some(Trap(7)), 0.25)]),
            (vec![row(&[(7, 1.0)], 1.0)], vec![(Some(7), 0.5, Some(NoneOfThem), 0.5)]),
            (vec![row(&[(9, 1.0), (7, 1.0)], 0.0)], vec![(Some(7), 0.5, Some(Trap(9)), 0.5)]),
            (vec![row(&[(7, 0.0)], 0.0)], vec![(None, 1.0, Some(Trap(7)), 0.0)]),
            // Two pulls by trap 1, and the second knows no other: of the matchings (1, –) 9, (2, –) 6, (–, –) 1,
            // (2, 1) 54 and (–, 1) 9 the fourth is likeliest.
            (
                vec![row(&[(1, 9.0), (2, 6.0)], 1.0), row(&[(1, 9.0)], 1.0)],
                vec![
                    (Some(2), 60.0 / 79.0, Some(NoneOfThem), 10.0 / 79.0),
                    (Some(1), 63.0 / 79.0, Some(NoneOfThem), 16.0 / 79.0),
                ],
            ),
        ];
        for (rows, want) in table {
            let got = solve(&rows);
            assert_eq!(got.len(), want.len());
            for (got, (choice, probability, runner_up, second)) in got.iter().zip(want) {
                assert_eq!((got.choice, got.runner_up), (choice, runner_up), "{rows:?}");
                assert!((got.probability - probability).abs() < 1e-12, "{got:?} for {rows:?}");
                assert!((got.runner_up_probability - second).abs() < 1e-12, "{got:?} for {rows:?}");
            }
        }
    }

    #[test]
    fn grades_have_the_words_of_the_record() {
        for (choice, probability, word) in [
            (Some(1), 1.0, "\"sure\""),
            (Some(1), 0.95, "\"sure\""),
            (Some(1), 0.949_999, "\"likely\""),
            (Some(1), 0.70, "\"likely\""),
            (Some(1), 0.699_999, "\"doubtful\""),
            (Some(1), 0.0, "\"doubtful\""),
            (None, 1.0, "\"none\""),
        ] {
            let answer = Answer { choice, probability, runner_up: None, runner_up_probability: 0.0 };
            assert_eq!(serde_json::to_string(&Grade::of(&answer)).unwrap(), word);
        }
        assert_eq!(serde_json::to_string(&Grade::Corrected).unwrap(), "\"corrected\"");
    }
}
