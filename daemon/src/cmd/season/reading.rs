//! The season's table for reading: catch for each pull, catch for each day of soak, shares and gear.

use std::fmt::Write;

use gunwale_protocol::season::{By, Estimate, GEAR, MEASURES, Measured, Row, Share};

/// Width of a column with its range.
const WIDE: usize = 20;

const CAUTION: &str = "\
In brackets: the range that holds the true value 19 times in 20, ? where too few pulls tell. [n]: n pulls stated it;
what was not said is not counted as none. Ranges that overlap do not say which trap or soak is better, and pulls of
one day share weather and moon. Pulls of a doubtful or unknown trap count under unknown. Weights are not legal for trade.
";

/// The whole table.
pub(super) fn table(rows: &[Row], days: Option<&(String, String)>) -> String {
    let Some(all) = rows.first().filter(|all| all.pulls > 0) else {
        return "no pulls in these days\n".to_owned();
    };
    let traps = rows.iter().filter(|row| row.by == By::Trap && row.trap.is_some()).count();
    let when = match days {
        Some((first, last)) if first == last => first.clone(),
        Some((first, last)) => format!("{first} to {last}"),
        None => "undated".to_owned(),
    };
    let mut text = format!("{when}: {}, {}", plural(all.pulls, "pull"), plural(traps as u32, "trap"));
    if all.likely > 0 {
        let _ = write!(text, "; of {} the trap is only likely", all.likely);
    }
    if all.unclear > 0 {
        let _ = write!(text, "; the counts of {} cannot all be true and are left out", all.unclear);
    }
    text.push('\n');
    let measures = MEASURES.map(|(name, _)| name);
    block(&mut text, rows, "for each pull", "pulls", &measures, |row| {
        let cells = row.measures.map(|m| measured(&m, row.pulls));
        (row.pulls.to_string(), cells.into())
    });
    block(&mut text, rows, "for each day of soak", "days", &measures, |row| {
        let days = if row.soaks == 0 { "–".to_owned() } else { format!("{:.0}", row.soak_days) };
        (days, row.measures.map(|m| number(m.per_soak_day)).into())
    });
    block(&mut text, rows, "shares, %, and gear", "pulls", &["empty", "short", "berried", "gear"], |row| {
        let [short, berried] = row.shares;
        let told = GEAR.iter().zip(row.gear).filter(|(_, n)| *n > 0).map(|(word, n)| format!("{n} {word}"));
        let cells = vec![share(row.empty), share(short), share(berried), told.collect::<Vec<_>>().join(", ")];
        (row.pulls.to_string(), cells)
    });
    text.push('\n');
    text.push_str(CAUTION);
    text
}

/// One block: all, by soak, by trap.
fn block(
    text: &mut String,
    rows: &[Row],
    title: &str,
    count: &str,
    columns: &[&str],
    cells: impl Fn(&Row) -> (String, Vec<String>),
) {
    let line = |text: &mut String, name: &str, count: &str, cells: &[String]| {
        let mut line = format!("{name:<20}{count:>6}");
        for cell in cells {
            let _ = write!(line, "  {cell:<WIDE$}");
        }
        let _ = writeln!(text, "{}", line.trim_end());
    };
    text.push('\n');
    line(text, title, count, &columns.iter().map(|column| (*column).to_owned()).collect::<Vec<_>>());
    for row in rows {
        let name = match row.by {
            By::All => "all".to_owned(),
            By::Soak => {
                format!("soak {} d", row.soak.map_or("–", |soak| soak.days())).replace("unknown d", "unknown")
            }
            By::Trap => format!("trap {}", row.trap.as_deref().unwrap_or("unknown")),
            By::TrapAndSoak => continue,
        };
        let (count, cells) = cells(row);
        line(text, &name, &count, &cells);
    }
}

/// An estimate with its range, in as many digits as its size bears.
fn number(estimate: Estimate) -> String {
    let Some(value) = estimate.value else { return "–".to_owned() };
    let decimals = match value.max(estimate.high.unwrap_or_default()) {
        x if x < 1.0 => 2,
        x if x < 100.0 => 1,
        _ => 0,
    };
    format!("{value:.decimals$} {}", range(estimate, |x| format!("{x:.decimals$}")))
}

fn measured(of: &Measured, pulls: u32) -> String {
    let number = number(of.per_pull);
    if of.pulls == 0 || of.pulls == pulls { number } else { format!("{number} [{}]", of.pulls) }
}

fn share(Share { part, of, share }: Share) -> String {
    let percent = |x: f64| format!("{:.0}", x * 100.0);
    let Some(value) = share.value else { return "–".to_owned() };
    format!("{} {} {part}/{of}", percent(value), range(share, percent))
}

/// Both ends, or `?` where too few pulls tell.
fn range(estimate: Estimate, written: impl Fn(f64) -> String) -> String {
    let end = |x: Option<f64>| x.map_or("?".to_owned(), &written);
    match (estimate.low, estimate.high) {
        (None, None) => "(?)".to_owned(),
        (low, high) => format!("({}–{})", end(low), end(high)),
    }
}

fn plural(n: u32, word: &str) -> String {
    if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") }
}
