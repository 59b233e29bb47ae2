//! Records in, rows out: the tables other programs read, streamed so that memory does not grow with the years.

pub mod rows;
pub mod tables;
pub mod track;

use std::io::Write;

use serde::Serialize;

use crate::args::TableFormat;
use crate::error::Result;

/// Which records are wanted.
#[derive(Debug, Clone, Default)]
pub struct Range {
    /// From this local day on, `YYYY-MM-DD`.
    pub from: Option<String>,
    /// Up to and with this local day.
    pub to: Option<String>,
    /// Only this trap.
    pub trap: Option<String>,
}

impl Range {
    /// Whether a record of this day and trap is wanted. One without a day is, unless days were asked for.
    pub fn holds(&self, day: Option<&str>, trap: Option<&str>) -> bool {
        let from = self.from.as_deref().is_none_or(|from| day.is_some_and(|day| day >= from));
        let to = self.to.as_deref().is_none_or(|to| day.is_some_and(|day| day <= to));
        from && to && self.trap.as_deref().is_none_or(|wanted| trap == Some(wanted))
    }
}

/// Writes rows of one table.
pub enum Table<'a> {
    /// RFC 4180: a header always, CRLF at each record's end.
    Csv(Box<csv::Writer<&'a mut dyn Write>>),
    /// One JSON object a line.
    Jsonl(&'a mut dyn Write),
}

impl<'a> Table<'a> {
    /// Begins a table with these columns.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn begin(format: TableFormat, columns: &[&str], out: &'a mut dyn Write) -> Result<Table<'a>> {
        match format {
            TableFormat::Jsonl => Ok(Table::Jsonl(out)),
            TableFormat::Csv => {
                let mut writer = csv::WriterBuilder::new()
                    .has_headers(false)
                    .terminator(csv::Terminator::CRLF)
                    .from_writer(out);
                writer.write_record(columns).map_err(output)?;
                Ok(Table::Csv(Box::new(writer)))
            }
        }
    }

    /// Writes one row: a flat struct whose fields are the columns, in order.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn row(&mut self, row: &impl Serialize) -> Result<()> {
        match self {
            Table::Csv(writer) => writer.serialize(row).map_err(output),
            Table::Jsonl(out) => {
                serde_json::to_writer(&mut **out, row).map_err(std::io::Error::from)?;
                Ok(out.write_all(b"\n")?)
            }
        }
    }

    /// Ends the table.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn end(self) -> Result<()> {
        match self {
            Table::Csv(mut writer) => Ok(writer.flush()?),
            Table::Jsonl(out) => Ok(out.flush()?),
        }
    }
}

fn output(e: csv::Error) -> crate::Error {
    match e.into_kind() {
        csv::ErrorKind::Io(e) => e.into(),
        other => std::io::Error::other(format!("{other:?}")).into(),
    }
}
