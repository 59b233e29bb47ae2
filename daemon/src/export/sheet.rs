//! A table as one file: CSV, JSON Lines, GeoJSON or Parquet, row by row to any writer.

use std::io::Write;

use serde::{Serialize, Serializer};

use super::digits::Digits;
use super::parquet::Parquet;
use super::rows::{Column, Flat, Of, Row};
use crate::args::Format;
use crate::error::{Error, Result};

/// Writes rows of one table.
pub enum Sheet<'a, R: Row> {
    /// RFC 4180: a header always, CRLF at each record's end.
    Csv(Box<Csv<'a, R>>),
    /// One JSON object a line.
    Jsonl(Vec<Column<R>>, &'a mut dyn Write),
    /// RFC 7946: a FeatureCollection, a feature a line.
    GeoJson(Vec<Column<R>>, &'a mut dyn Write, bool),
    /// Parquet, with a GeoParquet 1.1 geometry where rows have a place.
    Parquet(Box<Parquet<'a, R>>),
}

impl<'a, R: Row> Sheet<'a, R> {
    /// Begins a table.
    ///
    /// # Errors
    /// When the output cannot be written, and for GPX, which has no rows: see [`super::gpx`].
    pub fn begin(format: Format, out: &'a mut dyn Write) -> Result<Sheet<'a, R>> {
        match format {
            Format::Csv => Ok(Sheet::Csv(Box::new(Csv::begin(out)?))),
            Format::Jsonl => Ok(Sheet::Jsonl(R::columns(), out)),
            Format::Geojson => {
                out.write_all(b"{\"type\":\"FeatureCollection\",\"features\":[")?;
                Ok(Sheet::GeoJson(R::columns(), out, false))
            }
            Format::Parquet => Ok(Sheet::Parquet(Box::new(Parquet::begin(&[], out)?))),
            Format::Gpx => Err(Error::NotInGpx),
        }
    }

    /// Writes one row.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn row(&mut self, row: &R) -> Result<()> {
        match self {
            Sheet::Csv(csv) => csv.row(row),
            Sheet::Jsonl(columns, out) => {
                row.json(columns, out).map_err(std::io::Error::from)?;
                Ok(out.write_all(b"\n")?)
            }
            Sheet::GeoJson(columns, out, begun) => {
                out.write_all(if std::mem::replace(begun, true) { b",\n" } else { b"\n" })?;
                serde_json::to_writer(out, &Feature { columns, row }).map_err(std::io::Error::from)?;
                Ok(())
            }
            Sheet::Parquet(parquet) => parquet.row(row),
        }
    }

    /// Ends the table.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn end(self) -> Result<()> {
        match self {
            Sheet::Csv(mut csv) => Ok(csv.writer.flush()?),
            Sheet::Jsonl(_, out) => Ok(out.flush()?),
            Sheet::GeoJson(_, out, _) => {
                out.write_all(b"\n]}\n")?;
                Ok(out.flush()?)
            }
            Sheet::Parquet(parquet) => parquet.end(),
        }
    }
}

/// Comma-separated values.
pub struct Csv<'a, R> {
    columns: Vec<Column<R>>,
    writer: csv::Writer<&'a mut dyn Write>,
    digits: Digits,
}

impl<'a, R: Row> Csv<'a, R> {
    fn begin(out: &'a mut dyn Write) -> Result<Csv<'a, R>> {
        let columns = R::columns();
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .buffer_capacity(1 << 16)
            .from_writer(out);
        writer.write_record(columns.iter().map(|column| column.name)).map_err(output)?;
        Ok(Csv { columns, writer, digits: Digits::default() })
    }

    fn row(&mut self, row: &R) -> Result<()> {
        let Csv { columns, writer, digits } = self;
        for column in columns {
            match &column.of {
                Of::Text(of) => writer.write_field(of(row).as_deref().unwrap_or_default()),
                Of::Time(of) | Of::Day(of) => writer.write_field(of(row).unwrap_or_default()),
                Of::Whole(of) => writer.write_field(of(row).map_or("", |n| digits.whole(n))),
                Of::Number(of) => writer.write_field(of(row).map_or("", |x| digits.number(x))),
                Of::Flag(of) => {
                    writer.write_field(of(row).map_or("", |yes| if yes { "true" } else { "false" }))
                }
            }
            .map_err(output)?;
        }
        writer.write_record(None::<&[u8]>).map_err(output)
    }
}

pub(crate) fn output(e: csv::Error) -> Error {
    match e.into_kind() {
        csv::ErrorKind::Io(e) => e.into(),
        other => std::io::Error::other(format!("{other:?}")).into(),
    }
}

#[derive(Serialize)]
struct Point {
    r#type: &'static str,
    coordinates: [f64; 2],
}

/// A row as a GeoJSON feature: its first column is its id, all columns are its properties.
struct Feature<'a, R> {
    columns: &'a [Column<R>],
    row: &'a R,
}

impl<R: Row> Serialize for Feature<'_, R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut feature = serializer.serialize_struct("Feature", 4)?;
        feature.serialize_field("type", "Feature")?;
        if let Some(id) = self.columns.first() {
            feature.serialize_field("id", &id.cell(self.row))?;
        }
        let point = |(lat, lon)| Point { r#type: "Point", coordinates: [lon, lat] };
        feature.serialize_field("geometry", &self.row.place().map(point))?;
        feature.serialize_field("properties", &Flat { columns: self.columns, row: self.row })?;
        feature.end()
    }
}
