//! Which trap each pull was: the pulls of a trip are matched to the traps of the register jointly.
//!
//! [`weight`] says how likely a pull at a spot is a certain trap; [`solve`] takes those likelihoods for all pulls of a
//! trip and answers, per pull, with the trap it has in the likeliest matching of the whole trip and with probabilities
//! under the same joint model. In that model a pull is one trap or none of them, and a trap is pulled at most once. A
//! trap that may be pulled again in the trip is given to the rows of its later pulls under another index.

mod assign;
mod belief;
mod chain;
mod graph;
mod marginal;
mod order;
mod sweep;
#[cfg(test)]
mod testing;
pub mod weight;

use serde::{Deserialize, Serialize};

pub use assign::assign;
pub use chain::hints;
pub use marginal::{Marginal, marginals};
pub use order::Usual;

/// What is known of one pull: likelihoods as natural logarithms, on a scale of the row's own.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Traps it may be (any index of the caller's) and the log-likelihood of each. −∞ and NaN mean impossible; of two
    /// entries for one trap the greater counts.
    pub candidates: Vec<(usize, f64)>,
    /// Log-likelihood that it is none of them.
    pub none: f64,
}

/// The answer for one pull.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The trap it has in the likeliest matching of the whole trip; `None`: none of its candidates.
    pub choice: Option<usize>,
    /// How likely each of its possibilities is. Another may be likelier than the choice where the trip as a whole speaks
    /// against it.
    pub marginal: Marginal,
}

impl Answer {
    /// Probability of the choice, 0…1.
    pub fn probability(&self) -> f64 {
        let chosen = |choice| self.marginal.candidates.iter().find(|(trap, _)| *trap == choice);
        self.choice.map_or(self.marginal.none, |choice| chosen(choice).map_or(0.0, |(_, p)| *p))
    }
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

    /// The grade of an answer, a trap or none, that has this probability; never [`Grade::Corrected`].
    pub fn of(is_trap: bool, probability: f64) -> Grade {
        match probability {
            _ if !is_trap => Grade::None,
            p if p >= Grade::SURE => Grade::Sure,
            p if p >= Grade::LIKELY => Grade::Likely,
            _ => Grade::Doubtful,
        }
    }
}

/// Answers for the pulls of one trip, one per row, in the order of the rows. The same rows give the same answers.
pub fn solve(rows: &[Row]) -> Vec<Answer> {
    let graph = graph::Graph::new(rows);
    let marginals = marginal::of_graph(&graph, rows);
    let answer = |(choice, marginal)| Answer { choice, marginal };
    assign::assign_graph(&graph).into_iter().zip(marginals).map(answer).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(candidates: &[(usize, f64)], none: f64) -> Row {
        let candidates = candidates.iter().map(|&(trap, weight)| (trap, f64::ln(weight))).collect();
        Row { candidates, none: none.ln() }
    }

    #[test]
    fn answers_say_how_likely_their_choice_is() {
        // rows, then per row: choice, its probability, probability of none (by hand).
        type Case = (Vec<Row>, Vec<(Option<usize>, f64, f64)>);
        let table: Vec<Case> = vec![
            (vec![], vec![]),
            (vec![row(&[], 1.0)], vec![(None, 1.0, 1.0)]),
            (vec![row(&[], 0.0)], vec![(None, 1.0, 1.0)]),
            (vec![row(&[(7, 3.0)], 1.0)], vec![(Some(7), 0.75, 0.25)]),
            (vec![row(&[(7, 1.0)], 3.0)], vec![(None, 0.75, 0.75)]),
            (vec![row(&[(7, 1.0)], 1.0)], vec![(Some(7), 0.5, 0.5)]),
            (vec![row(&[(9, 1.0), (7, 1.0)], 0.0)], vec![(Some(7), 0.5, 0.0)]),
            (vec![row(&[(7, 0.0)], 0.0)], vec![(None, 1.0, 1.0)]),
            // Two pulls by trap 1, and the second knows no other: of the matchings (1, –) 9, (2, –) 6, (–, –) 1,
            // (2, 1) 54 and (–, 1) 9 the fourth is likeliest.
            (
                vec![row(&[(1, 9.0), (2, 6.0)], 1.0), row(&[(1, 9.0)], 1.0)],
                vec![(Some(2), 60.0 / 79.0, 10.0 / 79.0), (Some(1), 63.0 / 79.0, 16.0 / 79.0)],
            ),
        ];
        for (rows, want) in table {
            let got = solve(&rows);
            assert_eq!(got.len(), want.len());
            for (got, (choice, probability, none)) in got.iter().zip(want) {
                assert_eq!(got.choice, choice, "{rows:?}");
                assert!((got.probability() - probability).abs() < 1e-12, "{got:?} for {rows:?}");
                assert!((got.marginal.none - none).abs() < 1e-12, "{got:?} for {rows:?}");
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
            let grade = Grade::of(Option::<i32>::is_some(&choice), probability);
            assert_eq!(serde_json::to_string(&grade).unwrap(), word);
        }
        assert_eq!(serde_json::to_string(&Grade::Corrected).unwrap(), "\"corrected\"");
    }
}
