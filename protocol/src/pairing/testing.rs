//! What the tests of pairing share: random cases, and the model spelled out by trying every matching.

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::Row;
use super::weight::{DRAGGED_SCALE_M, DRAGGED_SHARE, LEFT_PER_M2, UNREGISTERED_SHARE, ln_near, ln_none};

/// A small generator of random numbers (Steele, Lea and Flood's SplitMix64), the same on every run.
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0…1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in 0…n−1.
    pub fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }

    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// How random cases look.
#[derive(Clone, Copy)]
pub struct Shape {
    /// At most this many rows and traps.
    pub rows: usize,
    pub traps: usize,
    /// Share of pairs that are candidates.
    pub share: f64,
    /// Log-likelihoods lie within this of zero.
    pub ln: f64,
    /// And are whole multiples of this, where it is not zero.
    pub step: f64,
}

impl Shape {
    pub const SMALL: Shape = Shape { rows: 5, traps: 6, share: 0.6, ln: 6.0, step: 0.0 };
    pub const TIES: Shape = Shape { rows: 5, traps: 5, share: 0.8, ln: 1.0, step: 1.0 };
    /// Weights from 1e-300 to 1e300.
    pub const EXTREME: Shape = Shape { rows: 4, traps: 4, share: 0.8, ln: 690.0, step: 0.0 };
}

/// Runs a check on `n` random cases, from a fixed seed.
pub fn many_cases(n: u64, shape: Shape, mut check: impl FnMut(Vec<Row>)) {
    for seed in 0..n {
        let random = &mut Random(seed);
        let (rows, traps) = (random.below(shape.rows + 1), random.below(shape.traps + 1));
        let ln = |random: &mut Random| {
            let ln = (2.0 * random.unit() - 1.0) * shape.ln;
            if shape.step > 0.0 { (ln / shape.step).round() * shape.step } else { ln }
        };
        let row = |random: &mut Random| {
            let taken: Vec<usize> = (0..traps).filter(|_| random.unit() < shape.share).collect();
            let candidates = taken.into_iter().map(|trap| (trap * 3 + 1, ln(random))).collect();
            Row { candidates, none: ln(random) }
        };
        check((0..rows).map(|_| row(random)).collect());
    }
}

/// Any rows: likelihoods over all magnitudes, impossible ones among them, at most `rows` rows and `traps` traps.
pub fn rows(rows: usize, traps: usize) -> impl Strategy<Value = Vec<Row>> {
    let ln = || prop_oneof![8 => -8.0..8.0f64, 2 => -700.0..700.0f64, 1 => Just(0.0), 1 => Just(f64::NEG_INFINITY)];
    let none = prop_oneof![8 => -8.0..8.0f64, 2 => -700.0..700.0f64];
    let row = (prop::collection::btree_map(0..traps, ln(), 0..=traps), none);
    let row = row.prop_map(|(candidates, none)| Row { candidates: candidates.into_iter().collect(), none });
    prop::collection::vec(row, 0..=rows)
}

/// What a matching costs: the sum of −ln likelihood. Panics on one that is not allowed.
pub fn cost(rows: &[Row], choice: &[Option<usize>]) -> f64 {
    let mut taken = BTreeSet::new();
    assert_eq!(rows.len(), choice.len());
    let one = |(row, choice): (&Row, &Option<usize>)| match choice {
        None => -row.none,
        Some(trap) => {
            assert!(taken.insert(*trap), "trap {trap} twice");
            -row.candidates.iter().find(|(candidate, _)| candidate == trap).expect("a candidate").1
        }
    };
    rows.iter().zip(choice).map(one).sum()
}

/// Calls `each` with every allowed matching and its log-likelihood.
pub fn every_matching(rows: &[Row], each: &mut impl FnMut(&[Option<usize>], f64)) {
    fn go(
        rows: &[Row],
        so_far: &mut Vec<Option<usize>>,
        ln: f64,
        each: &mut impl FnMut(&[Option<usize>], f64),
    ) {
        let Some(row) = rows.get(so_far.len()) else { return each(so_far, ln) };
        let some = row.candidates.iter().map(|&(trap, ln)| (Some(trap), ln));
        for (choice, more) in some.chain([(None, row.none)]) {
            if choice.is_none() || !so_far.contains(&choice) {
                so_far.push(choice);
                go(rows, so_far, ln + more, each);
                so_far.pop();
            }
        }
    }
    go(rows, &mut Vec::new(), 0.0, each);
}

/// The least cost of any allowed matching.
pub fn best_by_trying_all(rows: &[Row]) -> f64 {
    let mut best = f64::INFINITY;
    every_matching(rows, &mut |_, ln| best = best.min(-ln));
    best
}

/// Per row the probability of each candidate, in the row's order, and of none, by adding up every matching.
pub fn probabilities_by_trying_all(rows: &[Row]) -> Vec<(Vec<f64>, f64)> {
    let mut best = f64::NEG_INFINITY;
    every_matching(rows, &mut |_, ln| best = best.max(ln));
    let mut sums: Vec<(Vec<f64>, f64)> =
        rows.iter().map(|row| (vec![0.0; row.candidates.len()], 0.0)).collect();
    let mut total = 0.0;
    every_matching(rows, &mut |choice, ln| {
        let weight = (ln - best).exp();
        total += weight;
        for ((row, choice), (candidates, none)) in rows.iter().zip(choice).zip(&mut sums) {
            match choice.and_then(|trap| row.candidates.iter().position(|(t, _)| *t == trap)) {
                Some(position) => candidates[position] += weight,
                None => *none += weight,
            }
        }
    });
    for (candidates, none) in &mut sums {
        candidates.iter_mut().for_each(|sum| *sum /= total);
        *none /= total;
    }
    sums
}

/// Traps in a line, this far apart, metres.
pub fn line(traps: usize, gap_m: f64) -> Vec<[f64; 2]> {
    (0..traps).map(|trap| [trap as f64 * gap_m, 0.0]).collect()
}

/// Traps in a square field, this far apart along and across, metres.
pub fn field(side: usize, gap_m: f64) -> Vec<[f64; 2]> {
    (0..side * side).map(|trap| [(trap / side) as f64 * gap_m, (trap % side) as f64 * gap_m]).collect()
}

/// A trip over `pulls` of these traps, the first ones in order, as the model of [`super::weight`] has it: rows and what
/// each pull truly was, none where its trap dragged out of reach.
pub fn haul(
    random: &mut Random,
    traps: &[[f64; 2]],
    pulls: usize,
    spread_m: f64,
) -> (Vec<Row>, Vec<Option<usize>>) {
    // Traps that are not in the register lie anywhere on as much ground as the model takes for so many traps left over.
    let side_m = ((traps.len() - pulls).max(1) as f64 / LEFT_PER_M2).sqrt();
    let one = |trap: usize| {
        let [mut x, mut y] = traps[trap];
        let registered = random.unit() >= UNREGISTERED_SHARE;
        if !registered {
            (x, y) = (x + (random.unit() - 0.5) * side_m, y + (random.unit() - 0.5) * side_m);
        } else if random.unit() < DRAGGED_SHARE {
            // A radius of this law (Gamma, shape 2) in any direction has the density exp(−r/scale).
            let radius = -DRAGGED_SCALE_M * ((1.0 - random.unit()) * (1.0 - random.unit())).ln();
            let (sin, cos) = (std::f64::consts::TAU * random.unit()).sin_cos();
            (x, y) = (x + radius * cos, y + radius * sin);
        }
        (x, y) = (x + spread_m * random.normal(), y + spread_m * random.normal());
        let near =
            |(trap, at): (usize, &[f64; 2])| Some((trap, ln_near((at[0] - x).hypot(at[1] - y), spread_m)?));
        let candidates: Vec<(usize, f64)> = traps.iter().enumerate().filter_map(near).collect();
        let reached = registered && candidates.iter().any(|(candidate, _)| *candidate == trap);
        (Row { candidates, none: ln_none() }, reached.then_some(trap))
    };
    (0..pulls).map(one).unzip()
}
