//! How fast a million pulls are written, and in how much memory.
//!
//! CSV and Parquet of the same pulls against what the `csv` and `parquet` crates alone take for them ready-made, turn by
//! turn in one run, the least processor time of three. Then the peak memory of each exporter fed from an iterator that makes each
//! pull as it is asked for; then the whole program on a store of a hundred thousand pulls.
//!
//! ```text
//! cargo bench -p gunwale --bench exports
//! cargo bench -p gunwale --bench exports -- --tenth   # a quick look
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/peak.rs"]
mod peak;
#[path = "support/season.rs"]
mod season;
#[allow(clippy::expect_used, reason = "as above")]
mod support;

use std::borrow::Cow;
use std::fs::File;
use std::io::Write;
use std::process::Command;

use arrow_array::RecordBatch;
use gunwale::args::Format;
use gunwale::export::gpx::Gpx;
use gunwale::export::parquet::properties;
use gunwale::export::rows::{Cell, Row};
use gunwale::export::sheet::Sheet;
use gunwale_protocol::record::Record;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::arrow::arrow_writer::{ArrowWriter, ArrowWriterOptions};

/// Pulls written.
const PULLS: usize = 1_000_000;
/// Different ones among those that are timed: both sides have them ready and go round. Few enough to lie in the
/// processor's cache, as pulls do that have just been read.
const DIFFERENT: usize = 1_000;
/// Pulls in the store.
const STORED: usize = 100_000;
/// Times each is measured; the best counts, as everything else on the machine only adds.
const TIMES: usize = 3;
/// How many times as long as the crate alone CSV may take.
const CSV_TARGET: f64 = 2.0;
/// ... and Parquet.
const PARQUET_TARGET: f64 = 3.0;
/// Peak memory of an exporter at most, MB.
const MOST_MB: f64 = 100.0;
/// Names of the formats.
const FORMATS: [(&str, Format); 5] = [
    ("csv", Format::Csv),
    ("jsonl", Format::Jsonl),
    ("geojson", Format::Geojson),
    ("gpx", Format::Gpx),
    ("parquet", Format::Parquet),
];

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let part = args.iter().position(|arg| arg == "--part");
    let tenth = if args.iter().any(|arg| arg == "--tenth") { 10 } else { 1 };
    if let Some(name) = part.and_then(|at| args.get(at + 1)) {
        // One exporter in a process of its own, so that its memory is its own.
        let pulls = season::pulls().take(PULLS / tenth);
        export(format(name), pulls.map(Cow::Owned), &mut Count(0));
        return;
    }
    let pulls = PULLS / tenth;
    times(pulls);
    for (name, _) in FORMATS {
        let mut command = Command::new(std::env::current_exe().expect("this program"));
        command.args(["--part", name]).args((tenth > 1).then_some("--tenth"));
        let took = peak::run(&mut command);
        println!(
            "{name}: {pulls} pulls from an iterator, peak memory {}",
            verdict(took.peak_kb as f64 / 1024.0, MOST_MB, "MB")
        );
    }
    whole_program(STORED / tenth);
}

fn format(name: &str) -> Format {
    FORMATS.iter().find(|(known, _)| *known == name).expect("a format").1
}

/// CSV and Parquet against the crates alone.
fn times(pulls: usize) {
    let ready: Vec<Record> = season::pulls().take(DIFFERENT).collect();
    let dir = support::fresh();
    let columns = Record::columns();
    let typed: Vec<Vec<Cell<'_>>> =
        ready.iter().map(|pull| columns.iter().map(|column| column.cell(pull)).collect()).collect();
    let text: Vec<Vec<String>> =
        typed.iter().map(|row| row.iter().map(ToString::to_string).collect()).collect();
    let batches = batches(&ready, dir.path());
    let mut best = [(0, f64::INFINITY); 5];
    for _ in 0..TIMES {
        for (best, turn) in best.iter_mut().zip([
            &|out: &mut Count| csv_alone(pulls, out, |writer, n| writer.serialize(&typed[n]).unwrap()),
            &|out: &mut Count| csv_alone(pulls, out, |writer, n| writer.write_record(&text[n]).unwrap()),
            &|out: &mut Count| export(Format::Csv, ready.iter().cycle().take(pulls).map(Cow::Borrowed), out),
            &|out: &mut Count| parquet_alone(&batches, pulls, out),
            &|out: &mut Count| {
                export(Format::Parquet, ready.iter().cycle().take(pulls).map(Cow::Borrowed), out)
            },
        ] as [&dyn Fn(&mut Count); 5])
        {
            let (start, mut out) = (processor_s(), Count(0));
            turn(&mut out);
            *best = (out.0, best.1.min(processor_s() - start));
        }
    }
    let told = |what: &str, alone: (u64, f64), ours: (u64, f64), target: f64| {
        // The same rows: the same bytes, but for a header, `.0` and what Parquet says of its batches.
        assert!(alone.0.abs_diff(ours.0) * 20 <= ours.0, "{} and {} bytes", alone.0, ours.0);
        println!(
            "{what}: {pulls} pulls in {:.3} s, alone {:.3} s, ratio {}",
            ours.1,
            alone.1,
            verdict(ours.1 / alone.1, target, "")
        );
    };
    told("csv, the crate given typed rows", best[0], best[2], CSV_TARGET);
    told("csv, the crate given rows of text", best[1], best[2], CSV_TARGET);
    told("parquet, the crate given columns", best[3], best[4], PARQUET_TARGET);
}

/// Processor time of this thread so far, seconds: what else runs on the machine adds nothing to it.
fn processor_s() -> f64 {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// One exporter, from pulls to bytes.
fn export<'a>(format: Format, pulls: impl Iterator<Item = Cow<'a, Record>>, out: &mut Count) {
    if format == Format::Gpx {
        let mut gpx = Gpx::begin(out).unwrap();
        for pull in pulls {
            gpx.waypoint(&pull).unwrap();
        }
        return gpx.end().unwrap();
    }
    let mut sheet = Sheet::<Record>::begin(format, out).unwrap();
    for pull in pulls {
        sheet.row(&pull).unwrap();
    }
    sheet.end().unwrap();
}

/// The `csv` crate given a row, by its number, so many times.
fn csv_alone(pulls: usize, out: &mut Count, row: impl Fn(&mut csv::Writer<&mut Count>, usize)) {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    (0..pulls).for_each(|n| row(&mut writer, n % DIFFERENT));
    writer.flush().unwrap();
}

/// The rows as our Parquet has them, read back.
fn batches(pulls: &[Record], dir: &std::path::Path) -> Vec<RecordBatch> {
    let path = dir.join("pulls.parquet");
    let mut file = File::create(&path).unwrap();
    let mut sheet = Sheet::<Record>::begin(Format::Parquet, &mut file).unwrap();
    pulls.iter().for_each(|pull| sheet.row(pull).unwrap());
    sheet.end().unwrap();
    let builder = ParquetRecordBatchReaderBuilder::try_new(File::open(&path).unwrap()).unwrap();
    builder.with_batch_size(1_000).build().unwrap().map(Result::unwrap).collect()
}

fn parquet_alone(batches: &[RecordBatch], pulls: usize, out: &mut Count) {
    let options = ArrowWriterOptions::new().with_properties(properties(true)).with_skip_arrow_metadata(true);
    let mut writer = ArrowWriter::try_new_with_options(out, batches[0].schema(), options).unwrap();
    for batch in batches.iter().cycle().take(pulls / batches[0].num_rows()) {
        writer.write(batch).unwrap();
    }
    writer.close().unwrap();
}

/// The program itself, on a store with so many pulls.
fn whole_program(pulls: usize) {
    let data = support::fresh();
    season::store(data.path(), pulls);
    let out = data.path().join("out");
    for (name, _) in FORMATS {
        let mut command = support::gunwale(data.path());
        let took = peak::run(command.args(["export", name, "--out"]).arg(&out));
        println!(
            "gunwale export {name} of {pulls} stored pulls: {:.2} s, peak memory {:.1} MB, {:.1} MB written",
            took.time.as_secs_f64(),
            took.peak_kb as f64 / 1024.0,
            std::fs::metadata(&out).unwrap().len() as f64 / f64::from(1 << 20)
        );
    }
    let folder = data.path().join("folders/");
    let mut command = support::gunwale(data.path());
    let took = peak::run(command.args(["export", "parquet", "--out"]).arg(&folder));
    println!(
        "gunwale export parquet of {pulls} stored pulls into folders: {:.2} s, peak memory {:.1} MB",
        took.time.as_secs_f64(),
        took.peak_kb as f64 / 1024.0
    );
}

fn verdict(value: f64, most: f64, unit: &str) -> String {
    let word = if value <= most { "good" } else { "NOT GOOD" };
    format!("{value:.2} {unit} ({word}, target: at most {most})")
}

/// Counts bytes.
struct Count(u64);

impl Write for Count {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0 += std::hint::black_box(bytes).len() as u64;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}
