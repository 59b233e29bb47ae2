//! The records that leave the program: a pull as other programs read it, and its place in a file.
//!
//! These types are the outside form (`gunwale-pull/1`); the folds have their own. Numbers are rounded here, once, so
//! that every export states the same.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::finding::{Flag, TimeSource};
use crate::pairing::Grade;
use crate::tally::{Day, Kind, Origin, Tally};

/// Name and version of the pull record's form.
pub const SCHEMA: &str = "gunwale-pull/1";

/// One pull, set or visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// [`SCHEMA`].
    pub schema: String,
    /// The pull's id, the same after a rebuild, a correction or a second ingest.
    pub pull: String,
    /// Lifted, set down only, or seen and left.
    pub kind: Kind,
    /// The boat's name.
    pub boat: String,
    /// Local date of `started_at` in the run's time zone; `None` while undated.
    pub day: Option<String>,
    /// The boat came alongside; RFC 3339 UTC.
    pub started_at: Option<String>,
    /// She got under way; `None` while the pull is open.
    pub ended_at: Option<String>,
    /// Which clock dated it.
    pub time_source: TimeSource,
    /// Where the trap was picked up; `None` without a fix.
    pub position: Option<Position>,
    /// Which trap it was; `None` when none was within reach.
    pub trap: Option<String>,
    /// How sure that is.
    pub pairing: Pairing,
    /// Hours the trap had been in the water; `None` when not known.
    pub soak_h: Option<f64>,
    /// Where and when it went back; `None` if it did not.
    pub set: Option<SetRecord>,
    /// What was counted; only what was stated.
    pub tally: Tally,
    /// For each key of the tally, where it came from.
    pub tally_from: BTreeMap<String, Origin>,
    /// Heard or unclear, not counted until confirmed.
    pub drafts: Tally,
    /// What the scale said; `None` when nothing was weighed.
    pub weight: Option<Weight>,
    /// Water depth, metres.
    pub depth_m: Option<f64>,
    /// Water temperature, degrees Celsius.
    pub water_c: Option<f64>,
    /// What was said, in order.
    pub notes: Vec<NoteRecord>,
    /// What was said of the day as a whole, for the table of days.
    #[serde(default, skip_serializing_if = "Day::is_empty")]
    pub day_said: Day,
    /// What to know about it.
    pub flags: BTreeSet<Flag>,
}

/// Where a trap was picked up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Position {
    /// Degrees north, WGS 84.
    pub lat: f64,
    /// Degrees east, WGS 84.
    pub lon: f64,
    /// One standard deviation on each axis, metres.
    pub sd_m: f64,
    /// Position epochs taken during the pull.
    pub fixes: u32,
}

/// Which trap, and how sure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pairing {
    /// The grade in a word.
    pub grade: Grade,
    /// Probability that `trap` is right (for grade `none`: that it is no registered trap).
    pub probability: f64,
    /// Metres from the pick-up to the trap's place in the register.
    pub distance_m: Option<f64>,
    /// The next most probable trap.
    pub runner_up: Option<String>,
    /// Its probability.
    pub runner_up_probability: Option<f64>,
}

/// Where and when a trap went back into the water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetRecord {
    /// RFC 3339 UTC.
    pub at: Option<String>,
    /// Degrees north, WGS 84.
    pub lat: f64,
    /// Degrees east, WGS 84.
    pub lon: f64,
    /// One standard deviation on each axis, metres.
    pub sd_m: f64,
}

/// What the scale said during a pull.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weight {
    /// Sum of the weighings, grams.
    pub total_g: f64,
    /// One standard deviation of the sum, grams.
    pub sd_g: f64,
    /// Claws of each size class, as far as they were weighed one by one.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub by_size: BTreeMap<String, BySize>,
    /// Each weighing, in order of time.
    pub weighings: Vec<WeighingRecord>,
}

/// The claws of one size class.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct BySize {
    /// How many.
    pub claws: u32,
    /// Their weight together, grams.
    pub g: f64,
}

/// One weighing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WeighingRecord {
    /// RFC 3339 UTC.
    pub at: Option<String>,
    /// Grams.
    pub g: f64,
    /// One standard deviation, grams.
    pub sd_g: f64,
    /// Size class, when the settings have classes.
    pub size: Option<String>,
}

/// One note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteRecord {
    /// The note's id.
    pub note: String,
    /// When the speech begins, RFC 3339 UTC.
    pub at: Option<String>,
    /// Length, seconds; `None` for a typed note.
    pub seconds: Option<f64>,
    /// The audio file, relative to the data directory.
    pub file: Option<String>,
    /// What was said.
    pub text: Option<String>,
    /// Where the text came from.
    pub text_from: TextFrom,
    /// How sure the recogniser was, 0…1.
    pub confidence: Option<f64>,
    /// Marked by the crew.
    pub marked: bool,
    /// Which of its words gave which figure, in the order of the words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spans: Vec<SpanRecord>,
}

/// Words of a note's text that gave a figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpanRecord {
    /// Their first byte in the text (UTF-8).
    pub from: usize,
    /// The byte after their last.
    pub to: usize,
    /// A key of the tally or of `day_said`, or `trap`, `kind`, `mark`, `weight`.
    pub key: String,
    /// What they gave is not counted until confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub draft: bool,
}

/// Where a note's text came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TextFrom {
    /// Typed, or given as text.
    Typed,
    /// By a recogniser.
    Heard,
    /// Audio only.
    None,
}

/// A note or weighing far from any trap, for the companion tables.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LooseRecord {
    /// Its id.
    pub id: String,
    /// The boat's name.
    pub boat: String,
    /// Local date.
    pub day: Option<String>,
    /// When, RFC 3339 UTC.
    pub at: Option<String>,
    /// Which clock dated it.
    pub time_source: TimeSource,
    /// Degrees north, if there was a fix.
    pub lat: Option<f64>,
    /// Degrees east, if there was a fix.
    pub lon: Option<f64>,
    /// The note, if it is one.
    pub note: Option<NoteRecord>,
    /// What it said of the day as a whole.
    #[serde(default, skip_serializing_if = "Day::is_empty")]
    pub day_said: Day,
    /// The weighing, if it is one.
    pub weighing: Option<WeighingRecord>,
    /// What to know about it.
    pub flags: BTreeSet<Flag>,
}

/// Rounds to a number of decimals; never −0.
pub fn round(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    if rounded == 0.0 { 0.0 } else { rounded }
}

#[cfg(test)]
mod tests {
    use super::round;

    #[test]
    fn rounding_states_no_minus_nought() {
        assert_eq!(round(-0.0001, 2).to_bits(), 0.0f64.to_bits());
        assert_eq!(round(24.71234565, 7), 24.7123457);
    }
}
