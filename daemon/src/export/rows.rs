//! The rows of each table: flat, one field a column, in the order of the header.

use gunwale_protocol::record::{LooseRecord, NoteRecord, Record, WeighingRecord};
use gunwale_protocol::tally::KEYS;
use serde::Serialize;
use serde_json::Value;

/// Columns of the pulls table before those of the tally.
const BEFORE: [&str; 20] = [
    "pull",
    "kind",
    "boat",
    "day",
    "started_at",
    "ended_at",
    "time_source",
    "lat",
    "lon",
    "sd_m",
    "fixes",
    "trap",
    "pairing",
    "probability",
    "distance_m",
    "runner_up",
    "soak_h",
    "set_at",
    "set_lat",
    "set_lon",
];
/// ... and after them.
const AFTER: [&str; 8] =
    ["total_g", "weight_sd_g", "weighings", "depth_m", "water_c", "notes", "text", "flags"];

/// Columns of the pulls table, the tally's keys in their midst.
pub fn pull_columns() -> Vec<&'static str> {
    [&BEFORE[..], &KEYS[..], &AFTER[..]].concat()
}

/// A pull as a row of text, one field for each of [`pull_columns`]; what is not known is empty.
pub fn pull(record: &Record) -> Vec<String> {
    let position = record.position.as_ref();
    let set = record.set.as_ref();
    let weight = record.weight.as_ref();
    let field = |column: &str| match column {
        "pull" => record.pull.clone(),
        "kind" => word(&record.kind),
        "boat" => record.boat.clone(),
        "day" => text(record.day.as_ref()),
        "started_at" => text(record.started_at.as_ref()),
        "ended_at" => text(record.ended_at.as_ref()),
        "time_source" => word(&record.time_source),
        "lat" => text(position.map(|p| p.lat)),
        "lon" => text(position.map(|p| p.lon)),
        "sd_m" => text(position.map(|p| p.sd_m)),
        "fixes" => text(position.map(|p| p.fixes)),
        "trap" => text(record.trap.as_ref()),
        "pairing" => word(&record.pairing.grade),
        "probability" => record.pairing.probability.to_string(),
        "distance_m" => text(record.pairing.distance_m),
        "runner_up" => text(record.pairing.runner_up.as_ref()),
        "soak_h" => text(record.soak_h),
        "set_at" => text(set.and_then(|set| set.at.as_ref())),
        "set_lat" => text(set.map(|set| set.lat)),
        "set_lon" => text(set.map(|set| set.lon)),
        "total_g" => text(weight.map(|w| w.total_g)),
        "weight_sd_g" => text(weight.map(|w| w.sd_g)),
        "weighings" => weight.map_or(0, |w| w.weighings.len()).to_string(),
        "depth_m" => text(record.depth_m),
        "water_c" => text(record.water_c),
        "notes" => record.notes.len().to_string(),
        "text" => record.notes.iter().filter_map(|n| n.text.as_deref()).collect::<Vec<_>>().join(" / "),
        "flags" => record.flags.iter().map(word).collect::<Vec<_>>().join(";"),
        key => text(record.tally.get(key)),
    };
    pull_columns().into_iter().map(field).collect()
}

fn text(value: Option<impl ToString>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// The word a unit variant is written as.
fn word(value: &impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(Value::String(word)) => word,
        _ => String::new(),
    }
}

/// A row of the notes table.
#[derive(Debug, Serialize)]
pub struct Note<'a> {
    note: &'a str,
    pull: Option<&'a str>,
    boat: &'a str,
    day: Option<&'a str>,
    trap: Option<&'a str>,
    at: Option<&'a str>,
    lat: Option<f64>,
    lon: Option<f64>,
    seconds: Option<f64>,
    file: Option<&'a str>,
    text: Option<&'a str>,
    text_from: gunwale_protocol::record::TextFrom,
    confidence: Option<f64>,
    marked: bool,
}

/// Columns of the notes table.
pub const NOTES: &[&str] = &[
    "note",
    "pull",
    "boat",
    "day",
    "trap",
    "at",
    "lat",
    "lon",
    "seconds",
    "file",
    "text",
    "text_from",
    "confidence",
    "marked",
];

/// A row of the weighings table.
#[derive(Debug, Serialize)]
pub struct Weighing<'a> {
    pull: Option<&'a str>,
    boat: &'a str,
    day: Option<&'a str>,
    trap: Option<&'a str>,
    at: Option<&'a str>,
    g: f64,
    sd_g: f64,
    size: Option<&'a str>,
}

/// Columns of the weighings table.
pub const WEIGHINGS: &[&str] = &["pull", "boat", "day", "trap", "at", "g", "sd_g", "size"];

impl<'a> Note<'a> {
    /// A note of a pull.
    pub fn of(record: &'a Record, note: &'a NoteRecord) -> Note<'a> {
        let at = record.position.as_ref();
        Note {
            pull: Some(&record.pull),
            boat: &record.boat,
            day: record.day.as_deref(),
            trap: record.trap.as_deref(),
            lat: at.map(|p| p.lat),
            lon: at.map(|p| p.lon),
            ..Note::bare(note)
        }
    }

    /// A note far from any trap, if that is what it is.
    pub fn loose(record: &'a LooseRecord) -> Option<Note<'a>> {
        let note = record.note.as_ref()?;
        let day = record.day.as_deref();
        Some(Note { boat: &record.boat, day, lat: record.lat, lon: record.lon, ..Note::bare(note) })
    }

    fn bare(note: &'a NoteRecord) -> Note<'a> {
        Note {
            note: &note.note,
            pull: None,
            boat: "",
            day: None,
            trap: None,
            at: note.at.as_deref(),
            lat: None,
            lon: None,
            seconds: note.seconds,
            file: note.file.as_deref(),
            text: note.text.as_deref(),
            text_from: note.text_from,
            confidence: note.confidence,
            marked: note.marked,
        }
    }
}

impl<'a> Weighing<'a> {
    /// A weighing of a pull.
    pub fn of(record: &'a Record, weighing: &'a WeighingRecord) -> Weighing<'a> {
        let pull = Some(record.pull.as_str());
        Weighing {
            pull,
            trap: record.trap.as_deref(),
            ..Weighing::bare(&record.boat, record.day.as_deref(), weighing)
        }
    }

    /// A weighing far from any trap, if that is what it is.
    pub fn loose(record: &'a LooseRecord) -> Option<Weighing<'a>> {
        Some(Weighing::bare(&record.boat, record.day.as_deref(), record.weighing.as_ref()?))
    }

    fn bare(boat: &'a str, day: Option<&'a str>, weighing: &'a WeighingRecord) -> Weighing<'a> {
        let (at, size) = (weighing.at.as_deref(), weighing.size.as_deref());
        Weighing { pull: None, boat, day, trap: None, at, g: weighing.g, sd_g: weighing.sd_g, size }
    }
}

/// A row of the track table: a position epoch as received.
#[derive(Debug, Serialize)]
pub struct Fix {
    /// RFC 3339 UTC; none when the segment never had a date.
    pub at: Option<String>,
    /// Degrees north.
    pub lat: f64,
    /// Degrees east.
    pub lon: f64,
    /// GGA quality code.
    pub quality: u8,
    /// Horizontal dilution of precision.
    pub hdop: Option<f64>,
    /// One standard deviation on each axis, metres, as the receiver states it (GST).
    pub sd_m: Option<f64>,
    /// Speed over ground, m/s.
    pub speed_m_s: Option<f64>,
}

/// Columns of the track table.
pub const TRACK: &[&str] = &["at", "lat", "lon", "quality", "hdop", "sd_m", "speed_m_s"];

/// A row of the traps table.
#[derive(Debug, Serialize)]
pub struct Trap<'a> {
    /// Its name.
    pub trap: &'a str,
    /// Degrees north.
    pub lat: f64,
    /// Degrees east.
    pub lon: f64,
    /// When it was last set, RFC 3339 UTC, if known.
    pub set_at: Option<String>,
    /// One standard deviation on each axis, metres.
    pub sd_m: f64,
    /// `stated` by a person or a file, `set` by a pull, or `offered`: set by a pull, and nobody has named it yet.
    pub source: gunwale_protocol::register::Source,
    /// `in_water`, `ashore` or `retired`.
    pub state: &'static str,
}

/// Columns of the traps table; the first four make a file that `traps import` takes.
pub const TRAPS: &[&str] = &["trap", "lat", "lon", "set_at", "sd_m", "source", "state"];
