//! Exact probabilities in one group of pulls and traps: a sum over all matchings, pull by pull, that remembers only
//! which of the traps still in question are taken.
//!
//! Traps lie along lines and pulls reach a few of them, so in a good order of pulls few traps are in question at a
//! time: a string of 500 pulls is exact. The sums are the forward–backward recursion over that order, on logarithms
//! throughout, so that no weight is too small.

use super::graph::Group;

/// The most steps (states by ways) one pass may take, which bounds time and memory: enough for any 14 pulls and traps.
const MAX_STEPS: usize = 1 << 21;

/// A growing ln Σ exp.
#[derive(Debug, Clone, Copy)]
struct LogSum {
    most: f64,
    sum: f64,
}

impl LogSum {
    /// The sum of nothing.
    const ZERO: LogSum = LogSum { most: f64::NEG_INFINITY, sum: 0.0 };

    /// Adds exp(`ln`).
    fn add(&mut self, ln: f64) {
        if ln == f64::NEG_INFINITY {
            // Adds nothing, and ∞ − ∞ would be no number.
        } else if ln <= self.most {
            self.sum += (ln - self.most).exp();
        } else {
            self.sum = self.sum * (self.most - ln).exp() + 1.0;
            self.most = ln;
        }
    }

    /// ln of the sum.
    fn ln(self) -> f64 {
        self.most + self.sum.ln()
    }
}

/// ln Σ exp of some terms.
pub fn log_sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = LogSum::ZERO;
    terms.into_iter().for_each(|ln| sum.add(ln));
    sum.ln()
}

/// Which of the traps in question are taken, a bit each.
type Taken = u64;

/// One row's part in the sum.
struct Step {
    row: usize,
    /// Per way of the row the bit it takes (0 for `none`, or a trap no other row asks for) and its gain.
    ways: Vec<(Taken, f64)>,
    /// Traps no later row asks for, forgotten after this one.
    forget: Taken,
}

impl Step {
    /// Every way on from a state: number of the way, state after it, gain.
    fn from(&self, taken: Taken) -> impl Iterator<Item = (usize, Taken, f64)> {
        let free = self.ways.iter().enumerate().filter(move |(_, (bit, _))| taken & bit == 0);
        free.map(move |(way, (bit, gain))| (way, (taken | bit) & !self.forget, *gain))
    }

    /// The states after this row, ascending, from those before it, each with the log-sum of all that leads to it.
    fn onward(&self, before: &[(Taken, f64)]) -> Vec<(Taken, f64)> {
        let ways =
            |&(taken, ln): &(Taken, f64)| self.from(taken).map(move |(_, after, gain)| (after, ln + gain));
        let mut reached: Vec<(Taken, f64)> = before.iter().flat_map(ways).collect();
        reached.sort_by_key(|(taken, _)| *taken);
        let same = reached.chunk_by(|a, b| a.0 == b.0);
        same.filter_map(|same| Some((same.first()?.0, log_sum(same.iter().map(|(_, ln)| *ln))))).collect()
    }
}

/// Log-weights of all a group's possibilities, per row and way, on a scale of the row's own. `None` if the sum would
/// be too long, or more than 64 traps are in question at a time.
pub fn sweep(group: &Group) -> Option<Vec<Vec<f64>>> {
    let steps = steps(group)?;
    let mut layers: Vec<Vec<(Taken, f64)>> = vec![vec![(0, 0.0)]];
    let mut taken_steps = 0;
    for step in &steps {
        let layer = layers.last()?;
        taken_steps += layer.len() * step.ways.len();
        if taken_steps > MAX_STEPS {
            return None;
        }
        layers.push(step.onward(layer));
    }
    let mut weights = vec![Vec::new(); group.rows.len()];
    let mut ahead = layers.pop()?;
    ahead.iter_mut().for_each(|(_, ln)| *ln = 0.0);
    for (step, layer) in steps.iter().zip(layers).rev() {
        let mut sums = vec![LogSum::ZERO; step.ways.len()];
        let behind = layer.into_iter().map(|(taken, ln)| {
            let mut rest = LogSum::ZERO;
            for (way, after, gain) in step.from(taken) {
                if let Some((_, onward)) =
                    ahead.binary_search_by_key(&after, |(t, _)| *t).ok().and_then(|i| ahead.get(i))
                {
                    rest.add(gain + onward);
                    sums[way].add(ln + gain + onward);
                }
            }
            (taken, rest.ln())
        });
        ahead = behind.collect();
        weights[step.row] = sums.into_iter().map(LogSum::ln).collect();
    }
    Some(weights)
}

/// The rows in a good order, each with bits for its traps; `None` if there are too few bits.
fn steps(group: &Group) -> Option<Vec<Step>> {
    let mut left: Vec<usize> = group.askers().iter().map(Vec::len).collect();
    let shared: Vec<bool> = left.iter().map(|rows| *rows > 1).collect();
    let mut bit_of: Vec<Taken> = vec![0; group.traps];
    let mut free = Taken::MAX;
    let mut steps = Vec::with_capacity(group.rows.len());
    for row in order(group) {
        let mut ways = Vec::with_capacity(group.ways[row].len());
        let mut forget = 0;
        for way in &group.ways[row] {
            let Some(trap) = way.trap else {
                ways.push((0, way.gain));
                continue;
            };
            if shared[trap] && bit_of[trap] == 0 {
                bit_of[trap] = free & free.wrapping_neg();
                free &= !bit_of[trap];
                if bit_of[trap] == 0 {
                    return None;
                }
            }
            left[trap] -= 1;
            if left[trap] == 0 {
                forget |= bit_of[trap];
            }
            ways.push((bit_of[trap], way.gain));
        }
        // A bit is free again only after its row, in which it must not stand for two traps.
        free |= forget;
        steps.push(Step { row, ways, forget });
    }
    Some(steps)
}

/// An order of rows in which few traps are in question at a time: from one end of the group on, always the row that
/// opens the fewest new traps for those it is the last to ask for.
fn order(group: &Group) -> Vec<usize> {
    let askers = group.askers();
    let mut left: Vec<usize> = askers.iter().map(Vec::len).collect();
    let mut open = vec![false; left.len()];
    let mut waiting: Vec<usize> = (0..group.rows.len()).collect();
    let mut order = Vec::with_capacity(waiting.len());
    let mut next = far_end(group, &askers, far_end(group, &askers, 0));
    while !waiting.is_empty() {
        waiting.retain(|row| *row != next);
        order.push(next);
        for trap in group.traps_of(next) {
            open[trap] = true;
            left[trap] -= 1;
        }
        let growth = |row: &usize| {
            let opened = group.traps_of(*row).filter(|trap| !open[*trap] && left[*trap] > 1).count() as i64;
            let closed = group.traps_of(*row).filter(|trap| open[*trap] && left[*trap] == 1).count() as i64;
            // Rows that touch nothing open come last: the group is gone through from end to end.
            (!group.traps_of(*row).any(|trap| open[trap]), opened - closed, *row)
        };
        next = waiting.iter().copied().min_by_key(growth).unwrap_or(0);
    }
    order
}

/// The row most steps away from `start`, the last one in a search by breadth.
fn far_end(group: &Group, askers: &[Vec<usize>], start: usize) -> usize {
    let mut seen = vec![false; group.rows.len()];
    let mut queue = vec![start];
    let mut at = 0;
    while let Some(&row) = queue.get(at) {
        at += 1;
        for trap in group.traps_of(row) {
            for &other in &askers[trap] {
                if !std::mem::replace(&mut seen[other], true) && other != start {
                    queue.push(other);
                }
            }
        }
    }
    queue.last().copied().unwrap_or(start)
}
