//! Tables as lists of columns: one list is the header, the types, the values and the data dictionary of every format.

mod companions;
mod pulls;

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fmt;
use std::io::Write;

use gunwale_protocol::finding::Flag;
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::digits::Digits;

pub use companions::{Fix, Note, Trap, Weighing};
pub use pulls::said;

/// A row of a table.
pub trait Row: Sized {
    /// The table's name.
    const TABLE: &'static str;
    /// What one row is.
    const IS: &'static str;
    /// Whether rows have a place: then Parquet gets a geometry.
    const PLACED: bool;

    /// The columns, in order.
    fn columns() -> Vec<Column<Self>>;

    /// Degrees north and east of the row.
    fn place(&self) -> Option<(f64, f64)> {
        None
    }

    /// The row as one JSON object: flat, unless the table has a form of its own.
    ///
    /// # Errors
    /// When the output cannot be written.
    fn json(&self, columns: &[Column<Self>], out: &mut dyn Write) -> serde_json::Result<()> {
        serde_json::to_writer(out, &Flat { columns, row: self })
    }
}

/// A column.
pub struct Column<R> {
    /// Its name.
    pub name: &'static str,
    /// Its type, and the value in a row.
    pub of: Of<R>,
    /// The unit, or where a text's words come from; nothing when there is none.
    pub unit: &'static str,
    /// What it says.
    pub meaning: &'static str,
    /// When it is null; empty when it never is.
    pub null: &'static str,
}

/// A column in one line, for the lists.
pub const fn column<R>(
    name: &'static str,
    of: Of<R>,
    unit: &'static str,
    meaning: &'static str,
    null: &'static str,
) -> Column<R> {
    Column { name, of, unit, meaning, null }
}

/// How a value is had from a row; the variant is the column's type.
pub enum Of<R> {
    /// Text.
    Text(fn(&R) -> Option<Cow<'_, str>>),
    /// A whole number.
    Whole(fn(&R) -> Option<i64>),
    /// A number.
    Number(fn(&R) -> Option<f64>),
    /// True or false.
    Flag(fn(&R) -> Option<bool>),
    /// A moment: RFC 3339, UTC, milliseconds.
    Time(fn(&R) -> Option<&str>),
    /// A local date, `YYYY-MM-DD`.
    Day(fn(&R) -> Option<&str>),
}

/// A value of a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell<'a> {
    /// Not known, not stated.
    Null,
    /// Text, a time, a date.
    Text(Cow<'a, str>),
    /// A whole number.
    Whole(i64),
    /// A number.
    Number(f64),
    /// True or false.
    Flag(bool),
}

impl<R> Column<R> {
    /// The value of this column in a row.
    pub fn cell<'a>(&self, row: &'a R) -> Cell<'a> {
        match &self.of {
            Of::Text(of) => of(row).map_or(Cell::Null, Cell::Text),
            Of::Whole(of) => of(row).map_or(Cell::Null, Cell::Whole),
            Of::Number(of) => of(row).map_or(Cell::Null, Cell::Number),
            Of::Flag(of) => of(row).map_or(Cell::Null, Cell::Flag),
            Of::Time(of) | Of::Day(of) => of(row).map_or(Cell::Null, |text| Cell::Text(text.into())),
        }
    }
}

/// As spreadsheets and people read it; null is nothing at all.
impl fmt::Display for Cell<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Cell::Null => Ok(()),
            Cell::Text(text) => f.write_str(text),
            Cell::Whole(n) => n.fmt(f),
            Cell::Number(x) => f.write_str(Digits::default().number(*x)),
            Cell::Flag(yes) => yes.fmt(f),
        }
    }
}

impl Serialize for Cell<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Cell::Null => serializer.serialize_none(),
            Cell::Text(text) => serializer.serialize_str(text),
            Cell::Whole(n) => serializer.serialize_i64(*n),
            Cell::Number(x) => serializer.serialize_f64(*x),
            Cell::Flag(yes) => serializer.serialize_bool(*yes),
        }
    }
}

/// A row as an object with a member for each column.
pub struct Flat<'a, R> {
    /// Which columns.
    pub columns: &'a [Column<R>],
    /// Of which row.
    pub row: &'a R,
}

impl<R> Serialize for Flat<'_, R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.columns.len()))?;
        for column in self.columns {
            map.serialize_entry(column.name, &column.cell(self.row))?;
        }
        map.end()
    }
}

/// The word that a unit variant is written as in the records.
pub(super) fn word<T: Serialize>(variant: &T) -> Option<Cow<'static, str>> {
    struct Word<'a, T>(&'a T);
    impl<T: Serialize> fmt::Display for Word<'_, T> {
        fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            self.0.serialize(f)
        }
    }
    Some(Word(variant).to_string().into())
}

/// Flags, joined; empty when there are none.
fn flags(flags: &BTreeSet<Flag>) -> Option<Cow<'static, str>> {
    if flags.is_empty() {
        return Some("".into());
    }
    let words: Vec<_> = flags.iter().filter_map(word).collect();
    Some(words.join(";").into())
}

/// Borrowed text as a column gives it.
fn text(text: &str) -> Option<Cow<'_, str>> {
    Some(Cow::Borrowed(text))
}
