//! What the first fold finds in a segment: stops at which something was said, weighed or pressed, and loose notes.
//!
//! A finding holds what the sensors and the crew gave, never which trap it was: that is the second fold's answer.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::time::{Mono, Utc};

/// A moment on the segment's clock with its UTC once that is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// On the segment's clock.
    pub t: Mono,
    /// In UTC; `None` until a date is known.
    pub utc: Option<Utc>,
}

/// Which clock dated a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// Date and time from GPS sentences.
    Gps,
    /// The system clock of the run, for want of GPS.
    System,
    /// No date at all.
    None,
}

/// A place with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Degrees north, WGS 84.
    pub lat: f64,
    /// Degrees east, WGS 84, −180…180.
    pub lon: f64,
    /// One standard deviation on each axis, metres.
    pub sd_m: f64,
}

/// Where the trap went back into the water.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SetDown {
    /// When.
    pub at: Moment,
    /// Where.
    pub spot: Spot,
}

/// A note heard or typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// Hash of the segment's id and the note's `t`.
    pub id: String,
    /// When the speech began.
    pub at: Moment,
    /// What was said, exactly as given; `None` when only its sound is known.
    pub text: Option<String>,
    /// Its sound, if it was spoken to the microphone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sound: Option<Sound>,
    /// Said after the boat had left the stop.
    pub late: bool,
}

impl Note {
    /// When its last word was said, as far as known.
    pub fn until(&self) -> Mono {
        let spoken_us = self.sound.as_ref().map_or(0, |sound| sound.length_us - sound.speech_us);
        self.at.t + spoken_us.max(0)
    }

    /// When its file begins, or it was typed.
    pub fn from(&self) -> Mono {
        self.at.t - self.sound.as_ref().map_or(0, |sound| sound.speech_us)
    }

    /// Half-way through what was said.
    pub fn middle(&self) -> Mono {
        self.at.t + (self.until() - self.at.t) / 2
    }
}

/// The sound of a note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sound {
    /// The file, relative to the data directory.
    pub file: String,
    /// Its length, microseconds.
    pub length_us: i64,
    /// From its beginning to the first speech, microseconds.
    pub speech_us: i64,
}

/// A weight taken from the scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weighing {
    /// When the load came to rest.
    pub at: Moment,
    /// Grams, as a mass under the scale's own adjustment.
    pub g: f64,
    /// One standard deviation, grams.
    pub sd_g: f64,
}

/// Something to know about a record. New ones are added here and in the README's table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flag {
    /// The segment ended while the pull was open.
    Cut,
    /// Fixes were missing for more than a few seconds of the pull.
    GpsGap,
    /// The date was out of reason; the position counts.
    DateDoubtful,
    /// No fix during the pull.
    NoFix,
    /// The scale fell silent while loaded.
    ScaleGap,
    /// The scale was overloaded.
    Overload,
    /// More keepers than crabs, or other counts that cannot be.
    CountDiffers,
    /// The claws said are not as many as were weighed.
    ClawsDiffer,
    /// A note was said after leaving.
    LateNote,
    /// Some of it was before sunrise, by the rules in the run line.
    BeforeSunrise,
    /// Some of it was after sunset, by the rules in the run line.
    AfterSunset,
    /// Its local date lies outside the season in the run line.
    OutsideSeason,
    /// With it the boat's day had more claws or traps than a limit in the run line.
    OverLimit,
    /// The weight was said, not weighed here.
    WeightSaid,
    /// All that was heard was talk without a word of the trade, and nothing was weighed.
    Chatter,
}

/// A stop that became a record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stop {
    /// Hash of the segment's id and the `t` of the input line that opened it.
    pub id: String,
    /// The boat came alongside.
    pub started: Moment,
    /// She got under way; `None` while the stop is open.
    pub ended: Option<Moment>,
    /// Which clock dated it.
    pub time_source: TimeSource,
    /// Where the trap was picked up; `None` without a fix.
    pub position: Option<Spot>,
    /// Position epochs taken from `started` to `ended`.
    pub fixes: u32,
    /// Where and when the gear went back; `None` without a fix or while open.
    pub set: Option<SetDown>,
    /// What was said, in order of time.
    pub notes: Vec<Note>,
    /// What was weighed, in order of time.
    pub weighings: Vec<Weighing>,
    /// Water depth below the surface, metres, median over the stop.
    pub depth_m: Option<f64>,
    /// Water temperature, degrees Celsius, median over the stop.
    pub water_c: Option<f64>,
    /// What to know about it.
    pub flags: BTreeSet<Flag>,
}

/// A note or a weighing that belongs to no stop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Loose {
    /// Its id, as a note's.
    pub id: String,
    /// The note, if it is one.
    pub note: Option<Note>,
    /// The weighing, if it is one.
    pub weighing: Option<Weighing>,
    /// Where the boat was.
    pub spot: Option<Spot>,
    /// Which clock dated it.
    pub time_source: TimeSource,
    /// What to know about it.
    pub flags: BTreeSet<Flag>,
}

/// One finding of the first fold, complete in itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// A stop that became a record.
    Stop(Stop),
    /// A note or weighing away from any stop.
    Loose(Loose),
}
