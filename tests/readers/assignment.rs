//! The likeliest matching of pulls to traps costs what scipy says it must.

use gunwale_protocol::pairing::{Row, assign};
use serde_json::json;

use crate::{Random, content, reader};

#[test]
fn matchings_cost_what_scipy_finds() {
    let Some(mut script) = reader("assignment.py") else { return };
    let mut random = Random(1955);
    let mut cases = String::new();
    for number in 0..600 {
        // Mostly small, some as large as a day.
        let most = if number % 20 == 0 { 60 } else { 8 };
        let (pulls, traps) = (1 + random.below(most), 1 + random.below(most));
        // Every fourth case has few different likelihoods, so that many matchings are equal.
        let coarse = number % 4 == 0;
        let mut ln = || if coarse { -(random.below(3) as f64) } else { random.unit() * 40.0 - 30.0 };
        let nones: Vec<f64> = (0..pulls).map(|_| ln()).collect();
        let likelihoods: Vec<Vec<f64>> = (0..pulls).map(|_| (0..traps).map(|_| ln()).collect()).collect();
        let share = random.unit();
        let allowed: Vec<Vec<bool>> =
            (0..pulls).map(|_| (0..traps).map(|_| random.unit() < share).collect()).collect();
        let rows: Vec<Row> = (0..pulls)
            .map(|pull| Row {
                candidates: (0..traps)
                    .filter(|t| allowed[pull][*t])
                    .map(|t| (t, likelihoods[pull][t]))
                    .collect(),
                none: nones[pull],
            })
            .collect();
        let choice = assign(&rows);
        let paid = |(pull, trap): (usize, &Option<usize>)| match trap {
            Some(trap) => {
                assert!(allowed[pull][*trap], "a pair that is not allowed: {rows:?}");
                -likelihoods[pull][*trap]
            }
            None => -nones[pull],
        };
        let total: f64 = choice.iter().enumerate().map(paid).sum();
        let mut given: Vec<usize> = choice.iter().flatten().copied().collect();
        given.sort_unstable();
        assert!(given.windows(2).all(|pair| pair[0] != pair[1]), "a trap twice: {choice:?}");
        let cost = |pull: usize| -> Vec<Option<f64>> {
            let traps = (0..traps).map(|trap| allowed[pull][trap].then(|| -likelihoods[pull][trap]));
            traps.chain((0..pulls).map(|other| (other == pull).then(|| -nones[pull]))).collect()
        };
        let cost: Vec<_> = (0..pulls).map(cost).collect();
        cases += &format!("{}\n", json!({ "cost": cost, "total": total }));
    }
    println!("{}", content(&mut script, &cases));
}
