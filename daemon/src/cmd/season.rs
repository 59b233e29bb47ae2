//! `season`: what the records say for each trap and each class of soak.

use std::io::Write;

use gunwale_protocol::record::round;
use gunwale_protocol::season::{Estimate, GEAR, MEASURES, Row, SHARES, Season, Share};
use gunwale_protocol::trip::Entry;
use serde::ser::{Serialize, SerializeMap, Serializer};
use serde_json::Value;

use crate::args::{self, TableFormat};
use crate::desk::Desk;
use crate::error::Result;
use crate::export::sheet::output;
use crate::io::Io;
use crate::{find, records};

mod reading;

/// Writes the season's table.
///
/// # Errors
/// Text that is no date, records that cannot be read, output that cannot be written.
pub fn season(desk: &Desk, wanted: &args::Season, io: &mut Io<'_>) -> Result<()> {
    let range = find::range(desk, &wanted.from, &wanted.to)?;
    let (mut season, mut days) = (Season::default(), None::<(String, String)>);
    let store = desk.store();
    for doc in store.range(records::ALL) {
        let doc = doc?;
        if !range.holds(doc.day.as_deref(), None) {
            continue;
        }
        if let Some(Entry::Pull(record)) = records::read(&doc)?.entry {
            season.take(&record);
            if let Some(day) = record.day {
                let (first, last) = days.take().unwrap_or_else(|| (day.clone(), day.clone()));
                days = Some((first.min(day.clone()), last.max(day)));
            }
        }
    }
    let rows = season.rows();
    let Some(format) = wanted.format else {
        io.out.write_all(reading::table(&rows, days.as_ref()).as_bytes())?;
        return Ok(());
    };
    match format {
        TableFormat::Csv => csv(&rows, io.out),
        TableFormat::Jsonl => jsonl(&rows, io.out),
    }
}

fn csv(rows: &[Row], out: &mut dyn Write) -> Result<()> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    writer.write_record(columns()).map_err(output)?;
    for row in rows {
        writer.write_record(cells(row).iter().map(text)).map_err(output)?;
    }
    Ok(writer.flush()?)
}

fn jsonl(rows: &[Row], out: &mut dyn Write) -> Result<()> {
    let columns = columns();
    for row in rows {
        serde_json::to_writer(&mut *out, &Object { columns: &columns, cells: &cells(row) })
            .map_err(std::io::Error::from)?;
        out.write_all(b"\n")?;
    }
    Ok(out.flush()?)
}

/// Names of the columns.
fn columns() -> Vec<String> {
    let mut columns: Vec<String> =
        ["by", "trap", "soak_days", "pulls", "likely", "unclear", "soaks", "soak_days_sum"]
            .map(String::from)
            .into();
    for (measure, _) in MEASURES {
        columns.extend([format!("{measure}_pulls"), measure.to_owned(), format!("{measure}_unsaid")]);
        for per in ["per_pull", "per_soak_day"] {
            columns.extend(["", "_low", "_high"].map(|end| format!("{measure}_{per}{end}")));
        }
    }
    for share in ["empty"].into_iter().chain(SHARES.map(|(share, _)| share)) {
        columns.extend(["", "_of", "_share", "_share_low", "_share_high"].map(|end| format!("{share}{end}")));
    }
    columns.extend(GEAR.map(String::from));
    columns
}

/// A row's values, one for each of [`columns`]; what is not known is null.
fn cells(row: &Row) -> Vec<Value> {
    let number = |value: f64, decimals: i32| Value::from(round(value, decimals));
    let whole = |value: f64| Value::from(value as u64);
    let three = |estimate: Estimate| {
        [estimate.value, estimate.low, estimate.high].map(|x| x.map_or(Value::Null, |x| number(x, 4)))
    };
    let mut cells = vec![
        Value::from(row.by.word()),
        Value::from(row.trap.clone()),
        Value::from(row.soak.map(|soak| soak.days())),
        Value::from(row.pulls),
        Value::from(row.likely),
        Value::from(row.unclear),
        Value::from(row.soaks),
        number(row.soak_days, 3),
    ];
    for ((_, count), measured) in MEASURES.into_iter().zip(&row.measures) {
        cells.push(Value::from(measured.pulls));
        cells.push(if count.is_some() { whole(measured.total) } else { number(measured.total, 1) });
        cells.push(Value::from(measured.unsaid));
        cells.extend(three(measured.per_pull));
        cells.extend(three(measured.per_soak_day));
    }
    for Share { part, of, share } in [row.empty].into_iter().chain(row.shares) {
        cells.extend([whole(part), whole(of)]);
        cells.extend(three(share));
    }
    cells.extend(row.gear.map(Value::from));
    cells
}

fn text(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// A row as a JSON object, its keys in the order of the columns.
struct Object<'a> {
    columns: &'a [String],
    cells: &'a [Value],
}

impl Serialize for Object<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(Some(self.columns.len()))?;
        for (column, cell) in self.columns.iter().zip(self.cells) {
            map.serialize_entry(column, cell)?;
        }
        map.end()
    }
}
