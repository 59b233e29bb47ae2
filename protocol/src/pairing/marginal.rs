//! Probabilities of each pull's possibilities under the joint model, all matchings of the trip weighed together.

use std::collections::BTreeMap;

use super::Row;
use super::belief::belief;
use super::graph::{Graph, Group, groups};
use super::sweep::{log_sum, sweep};

/// One pull's probabilities; candidates and none add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Marginal {
    /// Each trap of the row, ascending, and its probability; 0 for one that is impossible.
    pub candidates: Vec<(usize, f64)>,
    /// Probability that it is none of them.
    pub none: f64,
}

/// The probabilities of all rows. Exact where a group of pulls and traps that hang together is small or, like a line
/// of traps, narrow; in wide dense fields nearly so.
pub fn marginals(rows: &[Row]) -> Vec<Marginal> {
    of_graph(&Graph::new(rows), rows)
}

/// The same, with the graph of the rows at hand.
pub fn of_graph(graph: &Graph, rows: &[Row]) -> Vec<Marginal> {
    weighed(graph, rows, |group| sweep(group).unwrap_or_else(|| belief(group)))
}

/// The probabilities of all rows, with the log-weights of each group's ways from `weigh`.
fn weighed(graph: &Graph, rows: &[Row], weigh: impl Fn(&Group) -> Vec<Vec<f64>>) -> Vec<Marginal> {
    let blank = |row: &Row| (row.candidates.iter().map(|(trap, _)| (*trap, 0.0)).collect(), 1.0);
    let mut found: Vec<(BTreeMap<usize, f64>, f64)> = rows.iter().map(blank).collect();
    for group in groups(&graph.rows) {
        for (row, weights) in group.rows.iter().zip(weigh(&group)) {
            let whole = log_sum(weights.iter().copied());
            let (candidates, none) = &mut found[*row];
            for (way, weight) in graph.rows[*row].iter().zip(weights) {
                let p = (weight - whole).exp();
                match graph.trap(way) {
                    Some(trap) => *candidates.entry(trap).or_default() = p,
                    None => *none = p,
                }
            }
        }
    }
    let finish = |(candidates, none): (BTreeMap<usize, f64>, f64)| Marginal {
        candidates: candidates.into_iter().collect(),
        none,
    };
    found.into_iter().map(finish).collect()
}

#[cfg(test)]
mod tests {
    use super::super::solve;
    use super::super::testing::{
        Random, Shape, field, haul, line, many_cases, probabilities_by_trying_all, rows,
    };
    use super::*;
    use proptest::prelude::*;

    /// The probabilities by one way of adding up.
    fn by(rows: &[Row], weigh: impl Fn(&Group) -> Vec<Vec<f64>>) -> Vec<Marginal> {
        weighed(&Graph::new(rows), rows, weigh)
    }

    /// The greatest difference of any probability from trying every matching.
    fn error(rows: &[Row], got: &[Marginal]) -> f64 {
        assert_eq!(rows.len(), got.len());
        let mut most: f64 = 0.0;
        for ((row, got), (candidates, none)) in rows.iter().zip(got).zip(probabilities_by_trying_all(rows)) {
            assert_eq!(row.candidates.len(), got.candidates.len());
            most = most.max((got.none - none).abs());
            for ((trap, _), want) in row.candidates.iter().zip(candidates) {
                let (_, p) = got.candidates.iter().find(|(t, _)| t == trap).unwrap();
                most = most.max((p - want).abs());
            }
            let sum: f64 = got.none + got.candidates.iter().map(|(_, p)| p).sum::<f64>();
            assert!((sum - 1.0).abs() < 1e-12, "{got:?}");
        }
        most
    }

    fn exactly(rows: &[Row]) -> Vec<Marginal> {
        by(rows, |group| sweep(group).expect("small enough"))
    }

    #[test]
    fn exact_is_exact_on_thousands_of_cases() {
        for (n, shape) in [(5_000, Shape::SMALL), (2_000, Shape::TIES), (1_000, Shape::EXTREME)] {
            many_cases(n, shape, |rows| {
                let error = error(&rows, &exactly(&rows));
                assert!(error < 1e-11, "{error} for {rows:?}");
            });
        }
    }

    proptest! {
        #[test]
        fn exact_is_exact(rows in rows(5, 5)) {
            let error = error(&rows, &marginals(&rows));
            prop_assert!(error < 1e-11, "{error}");
        }
    }

    /// All differences between the probabilities of two.
    fn differences(a: &[Marginal], b: &[Marginal]) -> Vec<f64> {
        let all = |m: &[Marginal]| -> Vec<f64> {
            m.iter()
                .flat_map(|m| m.candidates.iter().map(|c| c.1).chain([m.none]).collect::<Vec<_>>())
                .collect()
        };
        let differences: Vec<f64> = all(a).iter().zip(all(b)).map(|(a, b)| (a - b).abs()).collect();
        assert!(differences.iter().all(|d| d.is_finite()));
        differences
    }

    #[test]
    fn belief_is_near() {
        // Traps, pulls, spread; then the bound on the 99th percentile of the error and on all of it.
        let table = [
            (line(60, 32.0), 50, 5.0, 0.001, 0.02),
            (line(60, 32.0), 50, 8.0, 0.015, 0.15),
            (line(60, 32.0), 50, 12.0, 0.03, 0.2),
            (field(3, 35.0), 9, 5.0, 0.002, 0.08),
            (field(3, 35.0), 9, 8.0, 0.015, 0.15),
            (field(3, 35.0), 9, 12.0, 0.03, 0.2),
        ];
        for (traps, pulls, spread, most, all) in table {
            let mut found = Vec::new();
            for seed in 0..400 / pulls as u64 {
                let (rows, _) = haul(&mut Random(seed), &traps, pulls, spread);
                found.extend(differences(&exactly(&rows), &by(&rows, belief)));
            }
            found.sort_by(f64::total_cmp);
            let (worst, p99) = (found[found.len() - 1], found[found.len() * 99 / 100]);
            println!("{pulls} pulls, spread {spread}: 99 % {p99:.5}, worst {worst:.5}");
            assert!(p99 < most && worst < all, "{pulls} pulls, spread {spread}: 99 % {p99}, worst {worst}");
        }
    }

    #[test]
    fn belief_is_sound_on_any_small_case() {
        for (n, shape) in [(2_000, Shape::SMALL), (500, Shape::TIES), (500, Shape::EXTREME)] {
            let mut worst: f64 = 0.0;
            many_cases(n, shape, |rows| worst = worst.max(error(&rows, &by(&rows, belief))));
            // Five rows are all in one neighbourhood; what is left are traps hardly reached.
            println!("{worst}");
            assert!(worst < 0.1, "{worst}");
        }
    }

    #[test]
    fn a_season_of_traps_and_a_long_day() {
        // A string of 500 pulls by a register of 5,000 is exact; a field of 22 by 22 is too wide for that. Rows that
        // know every trap alike are the worst there is.
        let blind = Row { candidates: (0..300).map(|trap| (trap, 0.0)).collect(), none: 0.0 };
        let (string, string_truth) = haul(&mut Random(1), &line(5_000, 32.0), 500, 5.0);
        let (wide, wide_truth) = haul(&mut Random(1), &field(22, 35.0), 484, 5.0);
        assert!(groups(&Graph::new(&string).rows).iter().all(|group| sweep(group).is_some()));
        assert!(groups(&Graph::new(&wide).rows).iter().any(|group| sweep(group).is_none()));
        for (rows, truth) in [(string, string_truth), (wide, wide_truth), (vec![blind; 20], vec![])] {
            let started = std::time::Instant::now();
            let answers = solve(&rows);
            println!("{} pulls: {:?}", rows.len(), started.elapsed());
            let sums =
                marginals(&rows).into_iter().map(|m| m.none + m.candidates.iter().map(|c| c.1).sum::<f64>());
            assert!(sums.into_iter().all(|sum| (sum - 1.0).abs() < 1e-9));
            let right = answers.iter().zip(&truth).filter(|(answer, truth)| answer.choice == **truth).count();
            assert!(right * 100 >= truth.len() * 98, "{right} of {} right", truth.len());
        }
    }
}
