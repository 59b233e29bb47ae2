//! The columns of the pulls table.

use std::borrow::Cow;
use std::io::Write;

use gunwale_protocol::finding::TimeSource;
use gunwale_protocol::pairing::Grade;
use gunwale_protocol::record::{Position, Record, SetRecord, Weight};
use gunwale_protocol::tally::{Count, Kind};

use super::Of::{Day, Flag, Number, Text, Time, Whole};
use super::{Column, Row, column, flags, text, word};

/// Null of a tally's key.
const UNSTATED: &str = "not stated";
/// Null of what needs a position.
const NO_FIX: &str = "without a fix";
/// Null of what belongs to setting the trap.
const NOT_SET: &str = "it did not go back, or without a fix";
/// Null of a weight.
const NOT_WEIGHED: &str = "nothing weighed";

/// Between the texts of notes.
const JOINT: &str = " / ";

impl Row for Record {
    const TABLE: &'static str = "pulls";
    const IS: &'static str = "a pull, a set or a visit, in order of time";
    const PLACED: bool = true;

    fn place(&self) -> Option<(f64, f64)> {
        self.position.as_ref().map(|at| (at.lat, at.lon))
    }

    /// The pull record of the contract, with all that is in it.
    fn json(&self, _: &[Column<Self>], out: &mut dyn Write) -> serde_json::Result<()> {
        serde_json::to_writer(out, self)
    }

    fn columns() -> Vec<Column<Self>> {
        let mut columns = which();
        columns.extend(counts());
        columns.extend(gear());
        columns.extend(rest());
        columns
    }
}

/// When, where and which trap.
fn which() -> Vec<Column<Record>> {
    vec![
        column(
            "pull",
            Text(|r| text(&r.pull)),
            "",
            "its id: the same after a rebuild, a correction, a second ingest",
            "",
        ),
        column(
            "kind",
            Text(|r| text(kind(r.kind))),
            "`pull`, `set`, `visit`",
            "lifted, put down, or seen and left",
            "",
        ),
        column("boat", Text(|r| text(&r.boat)), "", "the boat's name", ""),
        column(
            "day",
            Day(|r| r.day.as_deref()),
            "",
            "the boat's local date when she came alongside",
            "undated",
        ),
        column("started_at", Time(|r| r.started_at.as_deref()), "UTC", "alongside", "undated"),
        column(
            "ended_at",
            Time(|r| r.ended_at.as_deref()),
            "UTC",
            "under way again",
            "still open, or undated",
        ),
        column(
            "time_source",
            Text(|r| text(time_source(r.time_source))),
            "`gps`, `system`, `none`",
            "the clock that dated it",
            "",
        ),
        column(
            "lat",
            Number(|r| position(r, |at| at.lat)),
            "degrees, WGS 84",
            "north, where she came alongside",
            NO_FIX,
        ),
        column("lon", Number(|r| position(r, |at| at.lon)), "degrees, WGS 84", "east, −180 to 180", NO_FIX),
        column(
            "sd_m",
            Number(|r| position(r, |at| at.sd_m)),
            "m",
            "one standard deviation of that place on each axis",
            NO_FIX,
        ),
        column(
            "fixes",
            Whole(|r| position(r, |at| at.fixes.into())),
            "",
            "position epochs while she lay there",
            NO_FIX,
        ),
        column(
            "trap",
            Text(|r| r.trap.as_deref().map(Cow::from)),
            "",
            "which trap; a name, never a number: `007` stays `007`",
            "none within reach",
        ),
        column(
            "pairing",
            Text(|r| text(grade(r.pairing.grade))),
            "`sure`, `likely`, `doubtful`, `none`, `corrected`",
            "how sure that is",
            "",
        ),
        column(
            "probability",
            Number(|r| Some(r.pairing.probability)),
            "0 to 1",
            "that `trap` is right, or that it is none",
            "",
        ),
        column(
            "distance_m",
            Number(|r| r.pairing.distance_m),
            "m",
            "from there to the trap's place in the register",
            "no trap, or without a fix",
        ),
        column(
            "runner_up",
            Text(|r| r.pairing.runner_up.as_deref().map(Cow::from)),
            "",
            "the next most probable trap",
            "no other",
        ),
        column(
            "soak_h",
            Number(|r| r.soak_h),
            "h",
            "how long the trap had been in the water; also of a `set` or a `visit`",
            "not known when it was set",
        ),
        column(
            "set_at",
            Time(|r| r.set.as_ref().and_then(|s| s.at.as_deref())),
            "UTC",
            "when it went back",
            NOT_SET,
        ),
        column(
            "set_lat",
            Number(|r| set(r, |s| s.lat)),
            "degrees, WGS 84",
            "north, where it went back",
            NOT_SET,
        ),
        column("set_lon", Number(|r| set(r, |s| s.lon)), "degrees, WGS 84", "east", NOT_SET),
    ]
}

/// What was counted.
fn counts() -> Vec<Column<Record>> {
    vec![
        column(
            "crabs",
            Whole(|r| count(r, Count::Crabs)),
            "",
            "crabs in the trap; 0 only when it was said",
            UNSTATED,
        ),
        column("keepers", Whole(|r| count(r, Count::Keepers)), "", "crabs that gave a claw", UNSTATED),
        column("claws", Whole(|r| count(r, Count::Claws)), "", "claws taken", UNSTATED),
        column("both", Whole(|r| count(r, Count::Both)), "", "crabs that gave two", UNSTATED),
        column(
            "shorts",
            Whole(|r| count(r, Count::Shorts)),
            "",
            "crabs whose claws were too small",
            UNSTATED,
        ),
        column("berried", Whole(|r| count(r, Count::Berried)), "", "egg-bearing females", UNSTATED),
        column("females", Whole(|r| count(r, Count::Females)), "", "females", UNSTATED),
        column("males", Whole(|r| count(r, Count::Males)), "", "males", UNSTATED),
        column("soft", Whole(|r| count(r, Count::Soft)), "", "soft crabs, lately moulted", UNSTATED),
        column("dead", Whole(|r| count(r, Count::Dead)), "", "dead crabs", UNSTATED),
        column("regrown", Whole(|r| count(r, Count::Regrown)), "", "claws grown back", UNSTATED),
        column("crushers", Whole(|r| count(r, Count::Crushers)), "", "crusher claws taken", UNSTATED),
        column("pincers", Whole(|r| count(r, Count::Pincers)), "", "pincer claws taken", UNSTATED),
        column(
            "left_handed",
            Whole(|r| count(r, Count::LeftHanded)),
            "",
            "crabs with the crusher on the left",
            UNSTATED,
        ),
        column(
            "right_handed",
            Whole(|r| count(r, Count::RightHanded)),
            "",
            "crabs with the crusher on the right",
            UNSTATED,
        ),
        column("bad_breaks", Whole(|r| count(r, Count::BadBreaks)), "", "claws that broke badly", UNSTATED),
    ]
}

/// Bait, trap and what else was in it.
fn gear() -> Vec<Column<Record>> {
    vec![
        column(
            "bait_left",
            Number(|r| r.tally.bait_left),
            "0 to 1",
            "share of the bait still there",
            UNSTATED,
        ),
        column("bait_added", Flag(|r| r.tally.bait_added), "", "fresh bait went in", UNSTATED),
        column(
            "bait_pieces",
            Whole(|r| r.tally.bait_pieces.map(i64::from)),
            "",
            "pieces of bait that went in",
            UNSTATED,
        ),
        column(
            "bait_kind",
            Text(|r| r.tally.bait_kind.as_deref().map(Cow::from)),
            "",
            "what the bait was, in the crew's word",
            UNSTATED,
        ),
        column(
            "tie",
            Text(|r| r.tally.tie.as_ref().and_then(word)),
            "`intact`, `broken`, `missing`",
            "the tie as found",
            UNSTATED,
        ),
        column("tie_new", Flag(|r| r.tally.tie_new), "", "a new tie was put on", UNSTATED),
        column(
            "lid",
            Text(|r| r.tally.lid.as_ref().and_then(word)),
            "`shut`, `open`",
            "the lid as found",
            UNSTATED,
        ),
        column("tampered", Flag(|r| r.tally.tampered), "", "somebody else had been at the trap", UNSTATED),
        column(
            "trap_state",
            Text(|r| r.tally.trap_state.as_ref().and_then(word)),
            "`good`, `damaged`, `fouled`, `moved`, `missing`",
            "the trap as found",
            UNSTATED,
        ),
        column("taken_in", Flag(|r| r.tally.taken_in), "", "the trap was taken aboard to stay", UNSTATED),
        column(
            "bottom",
            Text(|r| r.tally.bottom.as_deref().map(Cow::from)),
            "",
            "the sea bed, in the crew's word",
            UNSTATED,
        ),
        column("sizes", Text(sizes), "`word:count` joined by `;`", "claws by size word", UNSTATED),
        column(
            "other",
            Text(other),
            "`word:count` joined by `;`",
            "other animals; no count after the colon when none was given",
            UNSTATED,
        ),
    ]
}

/// Weights, instruments, words, flags.
fn rest() -> Vec<Column<Record>> {
    vec![
        column(
            "total_g",
            Number(|r| weight(r, |w| w.total_g)),
            "g",
            "sum of the weighings; not legal for trade",
            NOT_WEIGHED,
        ),
        column(
            "weight_sd_g",
            Number(|r| weight(r, |w| w.sd_g)),
            "g",
            "one standard deviation of that sum",
            NOT_WEIGHED,
        ),
        column(
            "weighings",
            Whole(|r| whole(r.weight.as_ref().map_or(0, |w| w.weighings.len()))),
            "",
            "how many weighings: the table `weighings` has them",
            "",
        ),
        column("depth_m", Number(|r| r.depth_m), "m", "depth of the water", "no instrument said"),
        column("water_c", Number(|r| r.water_c), "°C", "temperature of the water", "no instrument said"),
        column(
            "notes",
            Whole(|r| whole(r.notes.len())),
            "",
            "how many notes: the table `notes` has them",
            "",
        ),
        column(
            "text",
            Text(said),
            "",
            "what was said, notes joined by ` / `",
            "nothing said, or none of it as text",
        ),
        column(
            "flags",
            Text(|r| flags(&r.flags)),
            "the README's table, joined by `;`",
            "what to know about it; empty when nothing",
            "",
        ),
    ]
}

fn position<T>(r: &Record, of: fn(&Position) -> T) -> Option<T> {
    r.position.as_ref().map(of)
}

fn set<T>(r: &Record, of: fn(&SetRecord) -> T) -> Option<T> {
    r.set.as_ref().map(of)
}

fn weight<T>(r: &Record, of: fn(&Weight) -> T) -> Option<T> {
    r.weight.as_ref().map(of)
}

fn count(r: &Record, of: Count) -> Option<i64> {
    r.tally.count(of).map(i64::from)
}

fn whole(n: usize) -> Option<i64> {
    i64::try_from(n).ok()
}

/// A word that stands in every row, without making it anew each time.
fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Pull => "pull",
        Kind::Set => "set",
        Kind::Visit => "visit",
    }
}

fn time_source(source: TimeSource) -> &'static str {
    match source {
        TimeSource::Gps => "gps",
        TimeSource::System => "system",
        TimeSource::None => "none",
    }
}

fn grade(grade: Grade) -> &'static str {
    match grade {
        Grade::Sure => "sure",
        Grade::Likely => "likely",
        Grade::Doubtful => "doubtful",
        Grade::None => "none",
        Grade::Corrected => "corrected",
    }
}

fn sizes(r: &Record) -> Option<Cow<'_, str>> {
    if r.tally.sizes.is_empty() { None } else { r.tally.get("sizes").map(Cow::from) }
}

fn other(r: &Record) -> Option<Cow<'_, str>> {
    if r.tally.other.is_empty() { None } else { r.tally.get("other").map(Cow::from) }
}

/// All that was said, as far as it is text.
pub fn said(r: &Record) -> Option<Cow<'_, str>> {
    let texts = || r.notes.iter().filter_map(|note| note.text.as_deref());
    let first = texts().next()?;
    if texts().nth(1).is_none() {
        return text(first);
    }
    let mut all = String::with_capacity(texts().map(|text| text.len() + JOINT.len()).sum());
    all.push_str(first);
    for text in texts().skip(1) {
        all.push_str(JOINT);
        all.push_str(text);
    }
    Some(Cow::Owned(all))
}

#[cfg(test)]
mod tests {
    use super::*;
    use gunwale_protocol::tally::KEYS;

    /// The header as it is promised to other programs.
    const HEADER: &str = "pull,kind,boat,day,started_at,ended_at,time_source,lat,lon,sd_m,fixes,trap,pairing,\
        probability,distance_m,runner_up,soak_h,set_at,set_lat,set_lon,crabs,keepers,claws,both,shorts,berried,females,\
        males,soft,dead,regrown,crushers,pincers,left_handed,right_handed,bad_breaks,bait_left,bait_added,bait_pieces,\
        bait_kind,tie,tie_new,lid,tampered,trap_state,taken_in,bottom,sizes,other,total_g,weight_sd_g,weighings,depth_m,\
        water_c,notes,text,flags";

    #[test]
    fn words_are_those_of_the_record() {
        for of in [Kind::Pull, Kind::Set, Kind::Visit] {
            assert_eq!(word(&of).unwrap(), kind(of));
        }
        for of in [TimeSource::Gps, TimeSource::System, TimeSource::None] {
            assert_eq!(word(&of).unwrap(), time_source(of));
        }
        for of in [Grade::Sure, Grade::Likely, Grade::Doubtful, Grade::None, Grade::Corrected] {
            assert_eq!(word(&of).unwrap(), grade(of));
        }
    }

    #[test]
    fn the_columns_are_those_promised_and_every_key_of_a_tally_has_one() {
        let names: Vec<&str> = Record::columns().iter().map(|column| column.name).collect();
        assert_eq!(names.join(","), HEADER);
        let tally = names.iter().position(|name| *name == "crabs").unwrap();
        assert_eq!(names[tally..tally + KEYS.len()], KEYS);
    }
}
