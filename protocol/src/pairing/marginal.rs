//! Probabilities of each pull's possibilities under the joint model, all matchings of the trip weighed together.

use std::collections::BTreeMap;

use super::Row;
use super::assign::matching;
use super::belief::belief;
use super::graph::{Graph, Group, Way, groups};
use super::sweep::{log_sum, sweep};

/// One pull's probabilities; candidates and none add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Marginal {
    /// Each trap of the row, ascending, and its probability; 0 for one that is impossible.
    pub candidates: Vec<(usize, f64)>,
    /// Probability that it is none of them.
    pub none: f64,
}

/// A way with more than this to spare is left out of the sums, in nats: e⁻³⁰ ≈ 10⁻¹³.
const CUT: f64 = 30.0;

/// The probabilities of all rows. Exact where a group of pulls and traps that hang together is small or, like a line
/// of traps, narrow; in wide dense groups nearly so.
pub fn marginals(rows: &[Row]) -> Vec<Marginal> {
    let mut graph = Graph::new(rows);
    let choice = matching(&mut graph);
    of_matched(rows, &graph, &choice)
}

/// The probabilities of all rows of a graph, given its likeliest matching.
pub fn of_matched(rows: &[Row], graph: &Graph, choice: &[usize]) -> Vec<Marginal> {
    weighed(rows, graph, choice, |group| sweep(group).unwrap_or_else(|| belief(group)))
}

/// The probabilities of all rows, with the log-weights of each group's ways from `weigh`; −∞ where it left a way out.
fn weighed(
    rows: &[Row],
    graph: &Graph,
    choice: &[usize],
    weigh: impl Fn(&Group) -> Vec<Vec<f64>>,
) -> Vec<Marginal> {
    let close = |ways: &Vec<Way>| ways.iter().filter(|way| way.spare <= CUT).copied().collect();
    let close: Vec<Vec<Way>> = graph.rows.iter().map(close).collect();
    let blank = |row: &Row| (row.candidates.iter().map(|(trap, _)| (*trap, 0.0)).collect(), 1.0);
    let mut found: Vec<(BTreeMap<usize, f64>, f64)> = rows.iter().map(blank).collect();
    for group in groups(&close) {
        for (&row, weights) in group.rows.iter().zip(weigh(&group)) {
            let (ways, mut weights) = (&graph.rows[row], weights.into_iter());
            let mut summed = |way: &Way| if way.spare <= CUT { weights.next() } else { None };
            let mut weights: Vec<f64> =
                ways.iter().map(|way| summed(way).unwrap_or(f64::NEG_INFINITY)).collect();
            // What was left out is put below the choice by what it has to spare, so that it keeps its order.
            let chosen = weights[choice[row]];
            for (weight, way) in
                weights.iter_mut().zip(ways).filter(|(weight, _)| **weight == f64::NEG_INFINITY)
            {
                *weight = chosen - way.spare;
            }
            let whole = log_sum(weights.iter().copied());
            let (candidates, none) = &mut found[row];
            for (way, weight) in ways.iter().zip(&weights) {
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
    use super::super::belief::belief_among;
    use super::super::testing::{
        Random, Shape, field, haul, line, many_cases, probabilities_by_trying_all, rows,
    };
    use super::*;
    use proptest::prelude::*;

    /// The probabilities by one way of adding up.
    fn by(rows: &[Row], weigh: impl Fn(&Group) -> Vec<Vec<f64>>) -> Vec<Marginal> {
        let mut graph = Graph::new(rows);
        let choice = matching(&mut graph);
        weighed(rows, &graph, &choice, weigh)
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
        for (name, traps, pulls, spread) in [
            ("line", line(60, 32.0), 50, 5.0),
            ("line", line(60, 32.0), 50, 12.0),
            ("field", field(4, 35.0), 16, 5.0),
            ("field", field(4, 35.0), 16, 8.0),
            ("field", field(4, 35.0), 16, 12.0),
            ("field", field(22, 35.0), 484, 5.0),
            ("field", field(22, 35.0), 484, 8.0),
        ] {
            let mut worst = [0.0f64; 5];
            let mut time = [0.0f64; 6];
            for seed in 0..(300 / pulls as u64).max(1) {
                let (rows, _) = haul(&mut Random(seed), &traps, pulls, spread);
                let now = std::time::Instant::now();
                let e = by(&rows, |g| sweep(g).unwrap_or_else(|| belief_among(g, 13)));
                time[5] += now.elapsed().as_secs_f64();
                for (k, w) in [1usize, 4, 6, 8, 10].into_iter().enumerate() {
                    let now = std::time::Instant::now();
                    worst[k] = worst[k].max(
                        differences(&e, &by(&rows, |g| belief_among(g, w))).into_iter().fold(0.0, f64::max),
                    );
                    time[k] += now.elapsed().as_secs_f64();
                }
            }
            println!("{name} {pulls} {spread}: {worst:.5?} {time:.3?}");
        }
        panic!();
    }

    #[test]
    fn long_lines_and_wide_fields() {
        for spread in [3.0, 5.0, 8.0, 12.0] {
            for (name, traps, pulls) in [
                ("line", line(5000, 32.0), 500),
                ("field70", field(70, 35.0), 500),
                ("field22", field(22, 35.0), 484),
            ] {
                let (rows, truth) = haul(&mut Random(1), &traps, pulls, spread);
                let t = std::time::Instant::now();
                let got = super::super::solve(&rows);
                println!(
                    "{name} {spread}: solve {:?}; right {}",
                    t.elapsed(),
                    got.iter().zip(&truth).filter(|(g, t)| g.choice == **t).count()
                );
            }
        }
        panic!();
    }
}
