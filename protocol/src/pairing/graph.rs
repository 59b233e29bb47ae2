//! The graph of a trip: pulls, the traps each may be, and how it falls into groups that do not touch.

use std::collections::BTreeMap;

use super::Row;

/// Weights further than this below the best of the same row are raised to it, in nats: keeps sums of hundreds of
/// weights good to nine decimals, and stands for "impossible" where a pull must be something.
const FLOOR: f64 = 1e4;

/// One thing a pull may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// A trap, by a number of the graph's own; `None`: none of them.
    pub trap: Option<usize>,
    /// Log-likelihood less that of the row's `none`, nats; at most 10⁴.
    pub gain: f64,
}

/// The pulls of a trip and what each may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Graph {
    /// The caller's index of each trap, ascending; a trap's place here is its number.
    pub traps: Vec<usize>,
    /// Per row its possible traps, ascending, and last `none`.
    pub rows: Vec<Vec<Way>>,
}

impl Graph {
    /// The graph of these rows, without what is impossible.
    pub fn new(rows: &[Row]) -> Graph {
        let gains: Vec<BTreeMap<usize, f64>> = rows.iter().map(gains).collect();
        let mut numbers: BTreeMap<usize, usize> =
            gains.iter().flat_map(|row| row.keys().map(|t| (*t, 0))).collect();
        numbers.values_mut().enumerate().for_each(|(number, slot)| *slot = number);
        let ways = |row: &BTreeMap<usize, f64>| {
            let traps = row.iter().map(|(trap, gain)| Way { trap: numbers.get(trap).copied(), gain: *gain });
            traps.chain([Way { trap: None, gain: 0.0 }]).collect()
        };
        Graph { rows: gains.iter().map(ways).collect(), traps: numbers.into_keys().collect() }
    }

    /// The caller's index of the trap of a way.
    pub fn trap(&self, way: &Way) -> Option<usize> {
        self.traps.get(way.trap?).copied()
    }
}

/// A row's possible traps and their gains over `none`.
fn gains(row: &Row) -> BTreeMap<usize, f64> {
    // Infinities become finite so that differences of them are numbers.
    let finite = |ln: f64| ln.clamp(-1e9, 1e9);
    let mut best: BTreeMap<usize, f64> = BTreeMap::new();
    for &(trap, ln) in &row.candidates {
        if ln > f64::NEG_INFINITY {
            best.entry(trap).and_modify(|known| *known = known.max(finite(ln))).or_insert(finite(ln));
        }
    }
    let none = if row.none.is_nan() { -1e9 } else { finite(row.none) };
    let floor = best.values().copied().fold(none, f64::max) - FLOOR;
    best.values_mut().for_each(|ln| *ln = ln.max(floor) - none.max(floor));
    best
}

/// Rows that hang together through traps, with traps numbered anew from 0.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Group {
    /// Which rows, ascending.
    pub rows: Vec<usize>,
    /// How many traps; every number in `ways` is below it.
    pub traps: usize,
    /// Per row of the group what it may be, in the order given.
    pub ways: Vec<Vec<Way>>,
}

impl Group {
    /// The traps a row may be, in the order of its ways.
    pub fn traps_of(&self, row: usize) -> impl Iterator<Item = usize> {
        self.ways[row].iter().filter_map(|way| way.trap)
    }

    /// Per trap the rows (counted within the group, ascending) that may be it.
    pub fn askers(&self) -> Vec<Vec<usize>> {
        let mut askers = vec![Vec::new(); self.traps];
        for (row, ways) in self.ways.iter().enumerate() {
            for trap in ways.iter().filter_map(|way| way.trap) {
                askers[trap].push(row);
            }
        }
        askers
    }
}

/// The groups of rows that hang together, in order of their first row.
pub fn groups(rows: &[Vec<Way>]) -> Vec<Group> {
    let traps = |row: &'_ [Way]| row.iter().filter_map(|way| way.trap).collect::<Vec<usize>>();
    // Each row points to an earlier one of its group, or to itself.
    let mut root: Vec<usize> = (0..rows.len()).collect();
    let mut first_with: BTreeMap<usize, usize> = BTreeMap::new();
    for (row, ways) in rows.iter().enumerate() {
        for trap in traps(ways) {
            let other = *first_with.entry(trap).or_insert(row);
            let (a, b) = (find(&mut root, row), find(&mut root, other));
            root[a.max(b)] = a.min(b);
        }
    }
    let mut groups: BTreeMap<usize, (Group, BTreeMap<usize, usize>)> = BTreeMap::new();
    for (row, ways) in rows.iter().enumerate() {
        let (group, numbers) = groups.entry(find(&mut root, row)).or_default();
        group.rows.push(row);
        let renumbered = ways.iter().map(|way| {
            let next = numbers.len();
            Way { trap: way.trap.map(|trap| *numbers.entry(trap).or_insert(next)), ..*way }
        });
        group.ways.push(renumbered.collect());
    }
    groups.into_values().map(|(group, numbers)| Group { traps: numbers.len(), ..group }).collect()
}

/// The smallest row of a row's group so far, shortening the way for the next time.
fn find(root: &mut [usize], row: usize) -> usize {
    let mut at = row;
    while root[at] != at {
        root[at] = root[root[at]];
        at = root[at];
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(candidates: &[(usize, f64)], none: f64) -> Row {
        Row { candidates: candidates.to_vec(), none }
    }

    fn ways(ways: &[(usize, f64)]) -> Vec<Way> {
        let traps = ways.iter().map(|&(trap, gain)| Way { trap: Some(trap), gain });
        traps.chain([Way { trap: None, gain: 0.0 }]).collect()
    }

    #[test]
    fn groups_are_what_hangs_together() {
        let graph = Graph::new(&[
            row(&[(50, 1.0), (10, 2.0)], 0.0),
            row(&[(7, 0.0)], 1.0),
            row(&[], 0.0),
            row(&[(99, 0.0)], 0.0),
            row(&[(10, 0.0), (99, 3.0)], 0.0),
        ]);
        assert_eq!(graph.traps, [7, 10, 50, 99]);
        assert_eq!(graph.rows[0], ways(&[(1, 2.0), (2, 1.0)]));
        assert_eq!(graph.rows[1], ways(&[(0, -1.0)]));
        let tied = Group {
            rows: vec![0, 3, 4],
            traps: 3,
            ways: vec![ways(&[(0, 2.0), (1, 1.0)]), ways(&[(2, 0.0)]), ways(&[(0, 0.0), (2, 3.0)])],
        };
        assert_eq!(tied.askers(), [vec![0, 2], vec![0], vec![1, 2]]);
        let alone = Group { rows: vec![1], traps: 1, ways: vec![ways(&[(0, -1.0)])] };
        let empty = Group { rows: vec![2], traps: 0, ways: vec![ways(&[])] };
        assert_eq!(groups(&graph.rows), [tied, alone, empty]);
    }

    #[test]
    fn odd_numbers_become_gains() {
        let (inf, nan) = (f64::INFINITY, f64::NAN);
        let table: &[(Row, &[(usize, f64)])] = &[
            (row(&[(1, nan), (2, -inf)], 0.0), &[]),
            (row(&[(1, 2.0), (1, 5.0), (1, 3.0)], 1.0), &[(1, 4.0)]),
            (row(&[(1, -700.0), (2, -690.0)], -inf), &[(1, FLOOR - 10.0), (2, FLOOR)]),
            (row(&[(1, -1e5), (2, 0.0)], 5.0), &[(1, -FLOOR), (2, -5.0)]),
            (row(&[(1, 0.0)], nan), &[(1, FLOOR)]),
            (row(&[(1, inf)], 0.0), &[(1, FLOOR)]),
            (row(&[(1, inf)], inf), &[(1, 0.0)]),
            (row(&[(1, 0.0)], inf), &[(1, -FLOOR)]),
        ];
        for (row, want) in table {
            assert_eq!(gains(row).into_iter().collect::<Vec<_>>(), *want, "{row:?}");
        }
    }
}
