//! Nearly exact probabilities in a group too wide for [`super::sweep`]: sum-product between pulls and traps, then an
//! exact sum in the neighbourhood of each pull.
//!
//! For this very problem, sources that each give at most one observation and observations that may have no source,
//! the iteration is known to converge: J. L. Williams and R. A. Lau, "Approximate evaluation of marginal association
//! probabilities with belief propagation", IEEE Trans. Aerospace and Electronic Systems 50(4), 2014. So it needs no
//! damping, only an end. By itself it is too sure where pulls may exchange their traps (two pulls between two traps:
//! 1 instead of 0.7), so the pulls that could be drawn into such an exchange are summed exactly, and its messages
//! stand only for the pulls around them.

use std::collections::{BTreeMap, BTreeSet};

use super::graph::{Group, Way, groups};
use super::sweep::{log_sum, sweep};

/// The most rounds of messages: fixed, so that the answer is too.
const MAX_ROUNDS: usize = 400;

/// Rounds end once no message moves by more than this, in nats.
const STILL: f64 = 1e-9;

/// How many pulls make a neighbourhood.
const NEIGHBOURS: usize = 10;

/// In a neighbourhood, ways with more than this to spare are left out, in nats: e⁻¹² ≈ 6·10⁻⁶.
const NEAR: f64 = 12.0;

/// Log-weights of all a group's possibilities, in the form of [`super::sweep::sweep`]; −∞ for what is left out.
pub fn belief(group: &Group) -> Vec<Vec<f64>> {
    belief_among(group, NEIGHBOURS)
}

/// The same with neighbourhoods of this many pulls; of one, plain sum-product.
pub fn belief_among(group: &Group, size: usize) -> Vec<Vec<f64>> {
    let (asked, granted) = messages(group);
    let askers = askers(group);
    let mut owner = vec![None; group.traps];
    for (row, ways) in group.ways.iter().enumerate() {
        // In a tie more than one way has nothing to spare; any of them leads to those it would be exchanged with.
        for trap in ways.iter().filter(|way| way.spare == 0.0).filter_map(|way| way.trap) {
            owner[trap].get_or_insert(row);
        }
    }
    let one = |row: usize| {
        let plain =
            || group.ways[row].iter().zip(&granted[row]).map(|(way, granted)| way.gain + granted).collect();
        let near = neighbourhood(group, &owner, row, size);
        let inside: BTreeSet<usize> = near.iter().copied().collect();
        let from_outside = |trap: usize| {
            let outside = askers[trap].iter().filter(|(row, _)| !inside.contains(row));
            log_sum(outside.map(|&(row, way)| asked[row][way]).chain([0.0]))
        };
        let mut lost: BTreeMap<usize, f64> = BTreeMap::new();
        let mut ways = |row: &usize| -> Vec<Way> {
            let near = group.ways[*row].iter().filter(|way| way.spare <= NEAR);
            near.map(|way| match way.trap {
                None => *way,
                Some(trap) => {
                    let lost = lost.entry(trap).or_insert_with(|| from_outside(trap));
                    Way { gain: way.gain - *lost, ..*way }
                }
            })
            .collect()
        };
        let ways: Vec<Vec<Way>> = near.iter().map(&mut ways).collect();
        // The row itself is the first, and so in the first group.
        let weights = groups(&ways).first().and_then(sweep).and_then(|weights| weights.into_iter().next());
        let Some(weights) = weights else { return plain() };
        let mut weights = weights.into_iter();
        group.ways[row]
            .iter()
            .map(|way| {
                if way.spare <= NEAR {
                    weights.next().unwrap_or(f64::NEG_INFINITY)
                } else {
                    f64::NEG_INFINITY
                }
            })
            .collect()
    };
    (0..group.rows.len()).map(one).collect()
}

/// The rows that a change of this row would reach first: it takes another's trap, which takes a third's, and so on,
/// by how much that costs.
fn neighbourhood(group: &Group, owner: &[Option<usize>], row: usize, size: usize) -> Vec<usize> {
    let mut near = vec![row];
    let mut reached: BTreeMap<usize, f64> = BTreeMap::new();
    let mut next = Some((row, 0.0));
    while let Some((row, cost)) = next {
        for way in &group.ways[row] {
            if let Some(other) = way.trap.and_then(|trap| owner[trap]).filter(|other| !near.contains(other)) {
                let known = reached.entry(other).or_insert(f64::INFINITY);
                *known = known.min(cost + way.spare);
            }
        }
        next = reached.iter().map(|(row, cost)| (*row, *cost)).min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((row, _)) = next {
            reached.remove(&row);
            near.push(row);
        }
        if near.len() >= size {
            break;
        }
    }
    near
}

/// Per trap the places (row, way) that ask for it.
fn askers(group: &Group) -> Vec<Vec<(usize, usize)>> {
    let mut askers: Vec<Vec<(usize, usize)>> = vec![Vec::new(); group.traps];
    for (row, ways) in group.ways.iter().enumerate() {
        for (number, way) in ways.iter().enumerate() {
            if let Some(trap) = way.trap {
                askers[trap].push((row, number));
            }
        }
    }
    askers
}

/// Per row and way what the row tells the trap, and what the trap answers: how likely it is to be left for this row.
fn messages(group: &Group) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
    let askers = askers(group);
    let mut asked: Vec<Vec<f64>> = group.ways.iter().map(|ways| vec![0.0; ways.len()]).collect();
    let mut granted = asked.clone();
    for _ in 0..MAX_ROUNDS {
        for ((ways, asked), granted) in group.ways.iter().zip(&mut asked).zip(&granted) {
            let terms: Vec<f64> = ways.iter().zip(granted).map(|(way, granted)| way.gain + granted).collect();
            for ((asked, way), others) in
                asked.iter_mut().zip(ways).zip(all_but_one(&terms, f64::NEG_INFINITY))
            {
                *asked = way.gain - others;
            }
        }
        let mut moved: f64 = 0.0;
        for askers in &askers {
            let terms: Vec<f64> = askers.iter().map(|&(row, way)| asked[row][way]).collect();
            // A trap may also be left by all.
            for (&(row, way), others) in askers.iter().zip(all_but_one(&terms, 0.0)) {
                moved = moved.max((granted[row][way] + others).abs());
                granted[row][way] = -others;
            }
        }
        if moved < STILL {
            break;
        }
    }
    (asked, granted)
}

/// For each term ln Σ exp of all the others and `more`, by sums from both ends, since taking a term out of the whole
/// sum again would lose the small ones beside a great one.
fn all_but_one(terms: &[f64], more: f64) -> Vec<f64> {
    let mut after = vec![more; terms.len()];
    let mut sum = more;
    for (slot, term) in after.iter_mut().zip(terms).rev() {
        *slot = sum;
        sum = log_sum([sum, *term]);
    }
    let mut before = f64::NEG_INFINITY;
    for (slot, term) in after.iter_mut().zip(terms) {
        *slot = log_sum([*slot, before]);
        before = log_sum([before, *term]);
    }
    after
}
