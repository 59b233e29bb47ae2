//! The likeliest matching of pulls to traps: minimum-cost assignment by shortest augmenting paths.
//!
//! The method is the classical one (H. W. Kuhn 1955; R. Jonker and A. Volgenant, Computing 38, 1987, 325–340) on the
//! sparse graph: pulls come in one by one, each by a Dijkstra search under potentials that keep all reduced costs at
//! or above zero. Each pull has a `none` of its own, so a search ends near where it began.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

use super::Row;
use super::graph::Graph;

/// The likeliest matching: per row its trap, or `None` for none of them; no trap twice. Between equally likely
/// matchings the answer is always the same one; a row by itself takes its lowest trap among equals, and rather a trap
/// than none.
pub fn assign(rows: &[Row]) -> Vec<Option<usize>> {
    assign_graph(&Graph::new(rows))
}

/// The likeliest matching of a graph, with traps by the caller's index.
pub fn assign_graph(graph: &Graph) -> Vec<Option<usize>> {
    let (rows, columns) = (graph.rows.len(), graph.traps.len() + graph.rows.len());
    let mut search = Search {
        graph,
        row_of: vec![None; columns],
        column_of: vec![None; rows],
        row_potential: vec![0.0; rows],
        column_potential: vec![0.0; columns],
    };
    (0..rows).for_each(|row| search.take_in(row));
    // Columns beyond the traps are the rows' own `none`.
    search.column_of.into_iter().map(|column| graph.traps.get(column?).copied()).collect()
}

/// A column reached by the search at a distance. Ties are always broken alike: free columns before taken ones, so that
/// an earlier pull keeps its trap, then by number.
#[derive(PartialEq)]
struct Reached {
    distance: f64,
    taken: bool,
    column: usize,
}

impl Eq for Reached {}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Reached) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Reached {
    fn cmp(&self, other: &Reached) -> Ordering {
        let rest = (self.taken, self.column).cmp(&(other.taken, other.column));
        self.distance.total_cmp(&other.distance).then(rest)
    }
}

/// A matching of the rows taken in so far, least in cost, with the potentials that prove it. Columns are the traps,
/// then each row's own `none`.
struct Search<'a> {
    graph: &'a Graph,
    row_of: Vec<Option<usize>>,
    column_of: Vec<Option<usize>>,
    row_potential: Vec<f64>,
    column_potential: Vec<f64>,
}

impl Search<'_> {
    /// The columns a row may take and their costs: a trap costs what it is less likely than `none`.
    fn costs(&self, row: usize) -> impl Iterator<Item = (usize, f64)> {
        let none = self.graph.traps.len() + row;
        self.graph.rows[row].iter().map(move |way| (way.trap.unwrap_or(none), -way.gain))
    }

    /// Takes one more row in, along the cheapest path of exchanges that ends at a free column.
    fn take_in(&mut self, start: usize) {
        let open = self.costs(start).map(|(column, cost)| cost - self.column_potential[column]);
        self.row_potential[start] = open.fold(0.0, f64::min);
        let mut distance = vec![f64::INFINITY; self.row_of.len()];
        let mut from = vec![start; self.row_of.len()];
        let mut settled = Vec::new();
        let mut heap = BinaryHeap::new();
        let mut next = Some((start, 0.0));
        let mut end = self.graph.traps.len() + start;
        while let Some((row, so_far)) = next.take() {
            for (column, cost) in self.costs(row) {
                let reduced = (cost - self.row_potential[row] - self.column_potential[column]).max(0.0);
                if so_far + reduced < distance[column] {
                    distance[column] = so_far + reduced;
                    from[column] = row;
                    let taken = self.row_of[column].is_some();
                    heap.push(Reverse(Reached { distance: distance[column], taken, column }));
                }
            }
            while let Some(Reverse(reached)) = heap.pop() {
                // An entry since outdone by a shorter way is passed over.
                if reached.distance > distance[reached.column] {
                    continue;
                }
                match self.row_of[reached.column] {
                    Some(owner) => {
                        settled.push(reached.column);
                        next = Some((owner, reached.distance));
                    }
                    None => end = reached.column,
                }
                break;
            }
        }
        self.row_potential[start] += distance[end];
        for column in settled {
            let slack = distance[end] - distance[column];
            self.column_potential[column] -= slack;
            if let Some(owner) = self.row_of[column] {
                self.row_potential[owner] += slack;
            }
        }
        // Columns are handed on along the path, from its end back to the row that came in, which had none to give.
        let mut free = Some(end);
        while let Some(column) = free {
            let row = from[column];
            self.row_of[column] = Some(row);
            free = self.column_of[row].replace(column);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Shape, best_by_trying_all, cost, many_cases, rows};
    use super::*;
    use proptest::prelude::*;

    /// The matching is one: allowed edges only, no trap twice, and none cheaper.
    fn check(rows: &[Row]) {
        let choice = assign(rows);
        assert_eq!(choice, assign(rows), "the same rows, another answer");
        let (total, best) = (cost(rows, &choice), best_by_trying_all(rows));
        assert!(
            (total - best).abs() <= 1e-9 * best.abs().max(1.0),
            "{total} but {best} is possible: {rows:?}"
        );
    }

    #[test]
    fn no_matching_is_cheaper_on_thousands_of_cases() {
        many_cases(20_000, Shape::SMALL, |rows| check(&rows));
        many_cases(3_000, Shape::TIES, |rows| check(&rows));
        many_cases(1_000, Shape::EXTREME, |rows| check(&rows));
    }

    proptest! {
        #[test]
        fn no_matching_is_cheaper(rows in rows(6, 5)) {
            check(&rows);
        }
    }

    #[test]
    fn ties_go_one_way() {
        let row = |traps: &[usize], ln: f64| Row {
            candidates: traps.iter().map(|t| (*t, ln)).collect(),
            none: 0.0,
        };
        let table: &[(Vec<Row>, &[Option<usize>])] = &[
            (vec![row(&[9, 3, 5], 1.0)], &[Some(3)]),
            (vec![row(&[9, 3, 5], 0.0)], &[Some(3)]),
            (vec![row(&[9, 3], -0.5)], &[None]),
            (vec![row(&[4], 0.0), row(&[4], 0.0)], &[Some(4), None]),
            (
                vec![row(&[1, 2, 3], 1.0), row(&[1, 2, 3], 1.0), row(&[1, 2, 3], 1.0)],
                &[Some(1), Some(2), Some(3)],
            ),
            (vec![row(&[], 0.0), row(&[2], 1.0), row(&[], 0.0)], &[None, Some(2), None]),
        ];
        for (rows, want) in table {
            assert_eq!(assign(rows), *want, "{rows:?}");
        }
    }
}
