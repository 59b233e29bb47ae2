//! The tables beside the pulls: notes, weighings, the track, the traps, the days.

use std::borrow::Cow;

use gunwale_protocol::record::{LooseRecord, NoteRecord, Record, WeighingRecord};
use gunwale_protocol::register::Source;

use super::Of::{Day, Flag, Number, Text, Time, Whole};
use super::{Column, Row, column, flags, text, word};
use crate::export::days;

/// Null of what only a pull has.
const LOOSE: &str = "far from any trap";
/// Null of what needs a position.
const NO_FIX: &str = "without a fix";

/// Which boat, day, pull and trap something is of.
#[derive(Debug, Clone)]
struct Whose {
    boat: String,
    day: Option<String>,
    pull: Option<String>,
    trap: Option<String>,
}

impl Whose {
    fn of(pull: &Record) -> Whose {
        let (boat, day, trap) = (pull.boat.clone(), pull.day.clone(), pull.trap.clone());
        Whose { boat, day, pull: Some(pull.pull.clone()), trap }
    }

    fn loose(loose: &LooseRecord) -> Whose {
        Whose { boat: loose.boat.clone(), day: loose.day.clone(), pull: None, trap: None }
    }
}

/// What is of a pull or of none.
trait Belongs {
    fn whose(&self) -> &Whose;
}

impl Belongs for Note {
    fn whose(&self) -> &Whose {
        &self.whose
    }
}

impl Belongs for Weighing {
    fn whose(&self) -> &Whose {
        &self.whose
    }
}

/// The columns that say whose it is.
fn whose<R: Belongs>() -> [Column<R>; 4] {
    [
        column(
            "pull",
            Text(|r: &R| r.whose().pull.as_deref().map(Cow::from)),
            "",
            "the pull it belongs to",
            LOOSE,
        ),
        column("boat", Text(|r| text(&r.whose().boat)), "", "the boat's name", ""),
        column("day", Day(|r| r.whose().day.as_deref()), "", "the pull's local date, or its own", "undated"),
        column("trap", Text(|r| r.whose().trap.as_deref().map(Cow::from)), "", "the pull's trap", "none"),
    ]
}

/// A note, of a pull or of none.
#[derive(Debug, Clone)]
pub struct Note {
    whose: Whose,
    at: Option<(f64, f64)>,
    note: NoteRecord,
}

impl Note {
    /// A note of a pull.
    pub fn of(pull: &Record, note: &NoteRecord) -> Note {
        Note { whose: Whose::of(pull), at: pull.place(), note: note.clone() }
    }

    /// A note far from any trap, if that is what it is.
    pub fn loose(loose: &LooseRecord) -> Option<Note> {
        let note = loose.note.clone()?;
        Some(Note { whose: Whose::loose(loose), at: loose.lat.zip(loose.lon), note })
    }
}

impl Row for Note {
    const TABLE: &'static str = "notes";
    const IS: &'static str = "a note, of a pull or of none";
    const PLACED: bool = true;

    fn place(&self) -> Option<(f64, f64)> {
        self.at
    }

    fn columns() -> Vec<Column<Self>> {
        let mut columns = vec![column("note", Text(|n: &Note| text(&n.note.note)), "", "its id", "")];
        columns.extend(whose());
        columns.extend([
            column("at", Time(|n: &Note| n.note.at.as_deref()), "UTC", "when the speech begins", "undated"),
            column(
                "lat",
                Number(|n| n.at.map(|at| at.0)),
                "degrees, WGS 84",
                "north, the pull's place or the boat's",
                NO_FIX,
            ),
            column("lon", Number(|n| n.at.map(|at| at.1)), "degrees, WGS 84", "east, −180 to 180", NO_FIX),
            column("seconds", Number(|n| n.note.seconds), "s", "length of the sound", "typed"),
            column(
                "file",
                Text(|n| n.note.file.as_deref().map(Cow::from)),
                "",
                "the sound, in the data directory",
                "typed, or its sound is not kept",
            ),
            column(
                "text",
                Text(|n| n.note.text.as_deref().map(Cow::from)),
                "",
                "what was said, word for word",
                "only its sound is known, or forgotten",
            ),
            column(
                "text_from",
                Text(|n| word(&n.note.text_from)),
                "`typed`, `heard`, `none`",
                "where the text is from",
                "",
            ),
            column(
                "confidence",
                Number(|n| n.note.confidence),
                "0 to 1",
                "how sure the recogniser was",
                "not by a recogniser",
            ),
            column("marked", Flag(|n| Some(n.note.marked)), "", "the crew asked to mark it", ""),
        ]);
        columns
    }
}

/// A weighing, of a pull or of none.
#[derive(Debug, Clone)]
pub struct Weighing {
    whose: Whose,
    weighing: WeighingRecord,
}

impl Weighing {
    /// A weighing of a pull.
    pub fn of(pull: &Record, weighing: &WeighingRecord) -> Weighing {
        Weighing { whose: Whose::of(pull), weighing: weighing.clone() }
    }

    /// A weighing far from any trap, if that is what it is.
    pub fn loose(loose: &LooseRecord) -> Option<Weighing> {
        Some(Weighing { whose: Whose::loose(loose), weighing: loose.weighing.clone()? })
    }
}

impl Row for Weighing {
    const TABLE: &'static str = "weighings";
    const IS: &'static str = "a weighing, of a pull or of none";
    const PLACED: bool = false;

    fn columns() -> Vec<Column<Self>> {
        let mut columns = Vec::from(whose());
        columns.extend([
            column(
                "at",
                Time(|w: &Weighing| w.weighing.at.as_deref()),
                "UTC",
                "when the load came to rest",
                "undated",
            ),
            column(
                "g",
                Number(|w| Some(w.weighing.g)),
                "g",
                "mass, under the scale's own adjustment; not legal for trade",
                "",
            ),
            column("sd_g", Number(|w| Some(w.weighing.sd_g)), "g", "one standard deviation", ""),
            column(
                "size",
                Text(|w| w.weighing.size.as_deref().map(Cow::from)),
                "",
                "size class",
                "the settings have no classes",
            ),
        ]);
        columns
    }
}

/// A position epoch as received.
#[derive(Debug, Clone)]
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

impl Row for Fix {
    const TABLE: &'static str = "track";
    const IS: &'static str = "a position epoch as received, run by run";
    const PLACED: bool = true;

    fn place(&self) -> Option<(f64, f64)> {
        Some((self.lat, self.lon))
    }

    fn columns() -> Vec<Column<Self>> {
        vec![
            column("at", Time(|f| f.at.as_deref()), "UTC", "when", "undated"),
            column("lat", Number(|f| Some(f.lat)), "degrees, WGS 84", "north", ""),
            column("lon", Number(|f| Some(f.lon)), "degrees, WGS 84", "east, −180 to 180", ""),
            column(
                "quality",
                Whole(|f| Some(f.quality.into())),
                "as in NMEA 0183 GGA",
                "1 GNSS, 2 differential, 3 PPS, 4 RTK fixed, 5 RTK float, 9 SBAS",
                "",
            ),
            column("hdop", Number(|f| f.hdop), "", "horizontal dilution of precision", "not received"),
            column(
                "sd_m",
                Number(|f| f.sd_m),
                "m",
                "one standard deviation on each axis, as the receiver states it (GST)",
                "not received",
            ),
            column("speed_m_s", Number(|f| f.speed_m_s), "m/s", "speed over ground", "not received"),
        ]
    }
}

/// A trap of the register.
#[derive(Debug, Clone)]
pub struct Trap {
    /// Its name.
    pub trap: String,
    /// Degrees north.
    pub lat: f64,
    /// Degrees east.
    pub lon: f64,
    /// When it was last set, RFC 3339 UTC, if known.
    pub set_at: Option<String>,
    /// One standard deviation on each axis, metres.
    pub sd_m: f64,
    /// Who put it there.
    pub source: Source,
    /// `in_water`, `ashore` or `retired`.
    pub state: &'static str,
}

impl Row for Trap {
    const TABLE: &'static str = "traps";
    const IS: &'static str = "a trap of the register as it stands now";
    const PLACED: bool = true;

    fn place(&self) -> Option<(f64, f64)> {
        Some((self.lat, self.lon))
    }

    fn columns() -> Vec<Column<Self>> {
        vec![
            column(
                "trap",
                Text(|t| text(&t.trap)),
                "",
                "its name; the first four columns are a file that `traps import` takes",
                "",
            ),
            column("lat", Number(|t| Some(t.lat)), "degrees, WGS 84", "north", ""),
            column("lon", Number(|t| Some(t.lon)), "degrees, WGS 84", "east, −180 to 180", ""),
            column("set_at", Time(|t| t.set_at.as_deref()), "UTC", "when it was last set", "not known"),
            column(
                "sd_m",
                Number(|t| Some(t.sd_m)),
                "m",
                "one standard deviation of its place on each axis",
                "",
            ),
            column(
                "source",
                Text(|t| word(&t.source)),
                "`stated`, `set`, `offered`",
                "placed by a person or a file, by a pull, or by a pull and not named yet",
                "",
            ),
            column("state", Text(|t| text(t.state)), "`in_water`, `ashore`, `retired`", "where it is", ""),
        ]
    }
}

impl Row for days::Day {
    const TABLE: &'static str = "days";
    const IS: &'static str = "a day of a boat, and what was said of it, at the dock or at sea";
    const PLACED: bool = false;

    fn columns() -> Vec<Column<Self>> {
        const UNSAID: &str = "not said";
        vec![
            column("day", Day(|d| d.day.as_deref()), "", "the local date", "undated"),
            column("boat", Text(|d| text(&d.boat)), "", "the boat's name", ""),
            column(
                "people",
                Whole(|d| d.said.people.map(i64::from)),
                "",
                "people aboard, as last said",
                UNSAID,
            ),
            column(
                "conditions",
                Text(|d| d.said.conditions.as_deref().map(Cow::from)),
                "",
                "wind, sea and weather, in the crew's words",
                UNSAID,
            ),
            column("pulls", Whole(|d| i64::try_from(d.pulls).ok()), "", "traps lifted", ""),
            column(
                "claws_landed",
                Whole(|d| d.said.claws_landed.map(i64::from)),
                "",
                "claws counted at the dock, as last said",
                UNSAID,
            ),
            column("volume_l", Number(|d| d.said.volume_l), "l", "their volume, as last said", UNSAID),
            column(
                "lots",
                Text(|d| d.lots().map(Cow::from)),
                "`size:grams` joined by `;`",
                "what was weighed out by size, each as last said",
                UNSAID,
            ),
            column("given", Whole(|d| d.given()), "", "claws given away, of all who were named", UNSAID),
            column("sold", Whole(|d| d.sold()), "", "claws sold, of all who were named", UNSAID),
            column(
                "regrown",
                Whole(|d| d.regrown),
                "",
                "claws grown back, of all pulls",
                "not stated at any",
            ),
            column(
                "text",
                Text(|d| d.text().map(Cow::from)),
                "",
                "what was said far from any trap, and of the day at a trap, joined by ` / `",
                "nothing",
            ),
            column(
                "flags",
                Text(|d| flags(&d.flags)),
                "as of pulls, joined by `;`",
                "what of its pulls, or of the day as a whole, lies outside the rules set; empty when nothing",
                "",
            ),
        ]
    }
}
