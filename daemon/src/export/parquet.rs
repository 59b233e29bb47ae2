//! Parquet: real types, statistics, zstd; a GeoParquet 1.1 geometry where rows have a place.

use std::borrow::Cow;
use std::io::Write;
use std::sync::Arc;

use arrow_array::builder::{
    BinaryBuilder, BooleanBuilder, Date32Builder, Float64Builder, Int64Builder, StringBuilder,
    TimestampMillisecondBuilder,
};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::{DataType, Field, Schema, TimeUnit};
use parquet::arrow::arrow_writer::{ArrowWriter, ArrowWriterOptions};
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;

use super::calendar::Calendar;
use super::rows::{Of, Row};
use crate::error::Result;

/// The geometry's column.
pub const GEOMETRY: &str = "geometry";
/// GeoParquet 1.1.0: points in WKB. Without `crs` they are longitude and latitude on WGS 84 (OGC:CRS84).
const GEO: &str = r#"{"version":"1.1.0","primary_column":"geometry","columns":{"geometry":{"encoding":"WKB","geometry_types":["Point"]}}}"#;
/// Rows that go to the writer at a time.
const BATCH: usize = 1_024;
/// Rows of a row group: what is in memory, encoded, until it is full.
const GROUP_ROWS: usize = 32 * BATCH;
/// ... or its bytes, should there be long texts.
const GROUP_BYTES: usize = 16 << 20;

/// Writes a table as a Parquet file, a row group at a time.
pub struct Parquet<'a, R> {
    out: &'a mut dyn Write,
    writer: ArrowWriter<Vec<u8>>,
    schema: Arc<Schema>,
    columns: Vec<Filling<R>>,
    geometry: Option<BinaryBuilder>,
    rows: usize,
}

impl<'a, R: Row> Parquet<'a, R> {
    /// Begins a file with the table's columns, but for some.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn begin(without: &[&str], out: &'a mut dyn Write) -> Result<Parquet<'a, R>> {
        let columns = R::columns().into_iter().filter(|column| !without.contains(&column.name));
        let (mut fields, columns): (Vec<Field>, Vec<_>) = columns
            .map(|column| {
                (
                    Field::new(column.name, data_type(&column.of), !column.null.is_empty()),
                    Filling::of(column.of),
                )
            })
            .unzip();
        let geometry = R::PLACED.then(BinaryBuilder::new);
        if R::PLACED {
            fields.push(Field::new(GEOMETRY, DataType::Binary, true));
        }
        let schema = Arc::new(Schema::new(fields));
        let options =
            ArrowWriterOptions::new().with_properties(properties(R::PLACED)).with_skip_arrow_metadata(true);
        let writer =
            ArrowWriter::try_new_with_options(Vec::new(), schema.clone(), options).map_err(output)?;
        Ok(Parquet { out, writer, schema, columns, geometry, rows: 0 })
    }

    /// Writes one row.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn row(&mut self, row: &R) -> Result<()> {
        for column in &mut self.columns {
            column.take(row);
        }
        if let Some(geometry) = &mut self.geometry {
            geometry.append_option(row.place().map(|(lat, lon)| point(lat, lon)));
        }
        self.rows += 1;
        if self.rows == BATCH { self.write() } else { Ok(()) }
    }

    fn write(&mut self) -> Result<()> {
        let mut arrays: Vec<ArrayRef> = self.columns.iter_mut().map(Filling::finish).collect();
        arrays.extend(self.geometry.iter_mut().map(|geometry| Arc::new(geometry.finish()) as ArrayRef));
        let batch = RecordBatch::try_new(self.schema.clone(), arrays).map_err(output)?;
        self.writer.write(&batch).map_err(output)?;
        self.rows = 0;
        // The writer only counts what went before: it can be handed on.
        self.out.write_all(self.writer.inner())?;
        self.writer.inner_mut().clear();
        Ok(())
    }

    /// Ends the file.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn end(mut self) -> Result<()> {
        if self.rows > 0 {
            self.write()?;
        }
        let rest = self.writer.into_inner().map_err(output)?;
        self.out.write_all(&rest)?;
        Ok(self.out.flush()?)
    }
}

/// How the file is made; the benchmark makes its own alike.
pub fn properties(placed: bool) -> WriterProperties {
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_offset_index_disabled(true)
        .set_max_row_group_row_count(Some(GROUP_ROWS))
        .set_max_row_group_bytes(Some(GROUP_BYTES));
    if placed {
        // The least and the greatest of encoded points say nothing.
        let geometry = ColumnPath::from(GEOMETRY);
        properties = properties
            .set_column_statistics_enabled(geometry.clone(), EnabledStatistics::None)
            .set_column_dictionary_enabled(geometry, false)
            .set_key_value_metadata(Some(vec![KeyValue::new("geo".to_owned(), GEO.to_owned())]));
    }
    properties.build()
}

/// A point in well-known binary, little-endian: x is the longitude (OGC 06-103r4, 8.2).
fn point(lat: f64, lon: f64) -> [u8; 21] {
    let mut wkb = [0; 21];
    let bytes = [1u8, 1, 0, 0, 0].into_iter().chain(lon.to_le_bytes()).chain(lat.to_le_bytes());
    wkb.iter_mut().zip(bytes).for_each(|(to, byte)| *to = byte);
    wkb
}

fn output(e: impl std::error::Error + Send + Sync + 'static) -> crate::Error {
    std::io::Error::other(e).into()
}

fn data_type<R>(of: &Of<R>) -> DataType {
    match of {
        Of::Text(_) => DataType::Utf8,
        Of::Whole(_) => DataType::Int64,
        Of::Number(_) => DataType::Float64,
        Of::Flag(_) => DataType::Boolean,
        Of::Time(_) => DataType::Timestamp(TimeUnit::Millisecond, Some("UTC".into())),
        Of::Day(_) => DataType::Date32,
    }
}

/// A column being filled.
enum Filling<R> {
    Text(fn(&R) -> Option<Cow<'_, str>>, StringBuilder),
    Whole(fn(&R) -> Option<i64>, Int64Builder),
    Number(fn(&R) -> Option<f64>, Float64Builder),
    Flag(fn(&R) -> Option<bool>, BooleanBuilder),
    Time(fn(&R) -> Option<&str>, Calendar, TimestampMillisecondBuilder),
    Day(fn(&R) -> Option<&str>, Calendar, Date32Builder),
}

impl<R> Filling<R> {
    fn of(of: Of<R>) -> Filling<R> {
        match of {
            Of::Text(of) => Filling::Text(of, StringBuilder::new()),
            Of::Whole(of) => Filling::Whole(of, Int64Builder::new()),
            Of::Number(of) => Filling::Number(of, Float64Builder::new()),
            Of::Flag(of) => Filling::Flag(of, BooleanBuilder::new()),
            Of::Time(of) => Filling::Time(
                of,
                Calendar::default(),
                TimestampMillisecondBuilder::new().with_timezone("UTC"),
            ),
            Of::Day(of) => Filling::Day(of, Calendar::default(), Date32Builder::new()),
        }
    }

    fn take(&mut self, row: &R) {
        match self {
            Filling::Text(of, builder) => builder.append_option(of(row)),
            Filling::Whole(of, builder) => builder.append_option(of(row)),
            Filling::Number(of, builder) => builder.append_option(of(row)),
            Filling::Flag(of, builder) => builder.append_option(of(row)),
            Filling::Time(of, calendar, builder) => {
                builder.append_option(of(row).and_then(|text| calendar.milliseconds(text)));
            }
            Filling::Day(of, calendar, builder) => {
                builder.append_option(of(row).and_then(|text| calendar.days(text)));
            }
        }
    }

    fn finish(&mut self) -> ArrayRef {
        match self {
            Filling::Text(_, builder) => Arc::new(builder.finish()),
            Filling::Whole(_, builder) => Arc::new(builder.finish()),
            Filling::Number(_, builder) => Arc::new(builder.finish()),
            Filling::Flag(_, builder) => Arc::new(builder.finish()),
            Filling::Time(_, _, builder) => Arc::new(builder.finish()),
            Filling::Day(_, _, builder) => Arc::new(builder.finish()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_is_that_of_the_specification() {
        // OGC 06-103r4; the bytes as Shapely 2 writes them.
        let hex: String = point(24.8000123, -80.9000456).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "0101000000283adc589a3954c0d2e5289bcdcc3840");
    }
}
