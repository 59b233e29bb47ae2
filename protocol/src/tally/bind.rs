//! Which number belongs to which word, when both orders are in use: "seven crabs four keepers", "crabs 7 keepers 4".
//!
//! Numbers and words stand in a row, and each number may join the word just before or just after it. The joining that
//! leaves the least over is taken, and only when it is the only one: "crabs 7 keepers" gives nothing.

/// What stands in the row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// A number-like item, and the cost of leaving it over.
    Number(u32),
    /// A word that takes a number, and the cost of leaving it over.
    Word(u32),
}

/// One place in the row and whether it may join the next one, at what cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Link {
    /// What stands here.
    pub part: Part,
    /// The cost of joining it with the next; `None` when something stands between.
    pub next: Option<u32>,
}

/// The best way to go on from a place.
#[derive(Debug, Clone, Copy, Default)]
struct Way {
    cost: u32,
    /// More than one way costs this little.
    tied: bool,
    /// It begins by joining this place with the next.
    joins: bool,
}

/// Joins neighbours; answers the index of the first of each joined pair.
pub(super) fn bind(row: &[Link]) -> Vec<usize> {
    let mut joined = Vec::new();
    let mut from = 0;
    while from < row.len() {
        let apart = |at: &usize| row.get(*at).is_none_or(|link| joint(row, *at, link).is_none());
        let to = (from..row.len()).find(apart).unwrap_or(row.len()) + 1;
        joined.extend(bind_group(row.get(from..to).unwrap_or_default()).into_iter().map(|at| from + at));
        from = to;
    }
    joined
}

/// A stretch in which every place may join the next.
fn bind_group(row: &[Link]) -> Vec<usize> {
    let mut ways = vec![Way::default(); row.len() + 2];
    for (at, link) in row.iter().enumerate().rev() {
        let after = |n: usize| ways.get(at + n).copied().unwrap_or_default();
        let (Part::Number(left) | Part::Word(left)) = link.part;
        let alone = Way { cost: after(1).cost + left, tied: after(1).tied, joins: false };
        let pair = joint(row, at, link).map(|cost| Way {
            cost: after(2).cost + cost,
            tied: after(2).tied,
            joins: true,
        });
        let best = match pair {
            Some(pair) if pair.cost == alone.cost => Way { tied: true, ..pair },
            Some(pair) if pair.cost < alone.cost => pair,
            _ => alone,
        };
        if let Some(way) = ways.get_mut(at) {
            *way = best;
        }
    }
    let mut joined = Vec::new();
    if ways.first().is_some_and(|way| way.tied) {
        return joined;
    }
    let mut at = 0;
    while at < row.len() {
        let joins = ways.get(at).is_some_and(|way| way.joins);
        if joins {
            joined.push(at);
        }
        at += if joins { 2 } else { 1 };
    }
    joined
}

/// The cost of joining a place with the next one, if they are a number and a word that may.
fn joint(row: &[Link], at: usize, link: &Link) -> Option<u32> {
    match (link.part, row.get(at + 1)?.part) {
        (Part::Number(_), Part::Word(_)) | (Part::Word(_), Part::Number(_)) => link.next,
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `N` a number, `W` a word; `,` between two places makes joining them cost one, `|` forbids it.
    fn check(row: &str, expected: &[usize]) {
        let mut links: Vec<Link> = Vec::new();
        for c in row.chars() {
            match c {
                'N' => links.push(Link { part: Part::Number(4), next: Some(0) }),
                'W' => links.push(Link { part: Part::Word(4), next: Some(0) }),
                ',' => links.last_mut().unwrap().next = Some(1),
                _ => links.last_mut().unwrap().next = None,
            }
        }
        assert_eq!(bind(&links), expected, "{row}");
    }

    #[test]
    fn the_least_is_left_over() {
        check("NW", &[0]);
        check("WN", &[0]);
        check("NWNWNW", &[0, 2, 4]);
        check("WNWNWN", &[0, 2, 4]);
        check("WNNW", &[0, 2]);
        check("NWWN", &[0, 2]);
        check("WN,W", &[0]);
        check("W,NW", &[1]);
        check("W,N", &[0]);
        check("NW|WN", &[0, 2]);
    }

    #[test]
    fn a_tie_gives_nothing() {
        check("WNW", &[]);
        check("NWN", &[]);
        check("WNW|NW", &[3]);
        check("NN", &[]);
        check("", &[]);
    }
}
