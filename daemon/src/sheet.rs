//! A day's sheet, for reading at the table: pull by pull, then five lines for the dock.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use gunwale_protocol::finding::Flag;
use gunwale_protocol::pairing::Grade;
use gunwale_protocol::place::{LatLon, bearing_deg, distance_m};
use gunwale_protocol::record::{BySize, Record, Weight};
use gunwale_protocol::rules::Rules;
use gunwale_protocol::tally::{Day, Handed, KEYS, Kind, Tally};
use gunwale_protocol::time::{HOUR, Utc};
use gunwale_protocol::trip::Entry;
use serde_json::Value;

use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::export::tables;
use crate::records;

mod rules;

/// Traps not hauled that a sheet names.
const IDLE_SHOWN: usize = 8;

/// The counts that are summed for the dock, with the words for them.
const SUMS: [(&str, &str); 5] = [
    ("claws", "claws"),
    ("keepers", "keepers"),
    ("crabs", "crabs"),
    ("shorts", "shorts"),
    ("berried", "berried"),
];

/// The sheet of a day.
///
/// # Errors
/// [`Error::NoRecordsOf`] when nothing was recorded that day.
pub fn sheet(desk: &Desk, day: &str) -> Result<String> {
    let mut pulls: Vec<Record> = Vec::new();
    let mut set: Vec<Option<Box<Rules>>> = Vec::new();
    let mut loose: Vec<String> = Vec::new();
    let mut said: BTreeMap<String, Day> = BTreeMap::new();
    let mut timezone = desk.settings.timezone.clone();
    let store = desk.store();
    for doc in store.day(day) {
        let kept = records::read(&doc?)?;
        timezone = kept.found.timezone;
        match kept.entry {
            Some(Entry::Pull(record)) => {
                said.entry(record.boat.clone()).or_default().later(&record.day_said);
                pulls.push(*record);
                set.push(kept.found.rules);
            }
            Some(Entry::Loose(record)) => {
                said.entry(record.boat).or_default().later(&record.day_said);
                loose.extend(record.note.and_then(|n| n.text));
            }
            _ => {}
        }
    }
    if pulls.is_empty() && loose.is_empty() {
        return Err(Error::NoRecordsOf(day.to_owned()));
    }
    let clock = Clock { timezone: &timezone };
    let mut text = title(day, &pulls, &clock);
    let traps: Vec<String> = pulls.iter().map(trap).collect();
    let width = traps.iter().map(|trap| trap.chars().count()).max().unwrap_or(0).max(6);
    for (index, (pull, trap)) in pulls.iter().zip(&traps).enumerate() {
        text.push_str(&line(index + 1, pull, &format!("{trap:<width$}"), &clock));
    }
    for note in &loose {
        let _ = writeln!(text, "      between traps: “{note}”");
    }
    text.push('\n');
    text.push_str(&rules::told(&pulls, &set, &said, &clock));
    let idle = idle(desk, &pulls)?;
    let told = said.values().filter(|day| !day.is_empty()).map(|day| ("Said", of_day(day)));
    for (head, body) in told.chain(dock(&pulls, &idle)) {
        let _ = writeln!(text, "{head:<11}{body}");
    }
    Ok(text)
}

/// Times of day as the crew's watches show them.
struct Clock<'a> {
    timezone: &'a str,
}

impl Clock<'_> {
    fn time(&self, utc: Option<&String>) -> String {
        self.utc(utc.and_then(|text| Utc::parse(text)))
    }

    fn utc(&self, utc: Option<Utc>) -> String {
        let zoned = utc.and_then(|utc| utc.zoned(self.timezone));
        zoned.map_or_else(|| "--:--".to_owned(), |z| format!("{:02}:{:02}", z.hour(), z.minute()))
    }
}

fn title(day: &str, pulls: &[Record], clock: &Clock<'_>) -> String {
    let date = day
        .parse::<jiff::civil::Date>()
        .map_or_else(|_| day.to_owned(), |d| d.strftime("%A %-d %B %Y").to_string());
    let boats: BTreeSet<&str> = pulls.iter().map(|pull| pull.boat.as_str()).collect();
    let boats = boats.into_iter().collect::<Vec<_>>().join(", ");
    let first = clock.time(pulls.first().and_then(|p| p.started_at.as_ref()));
    let last = clock.time(pulls.last().and_then(|p| p.ended_at.as_ref()));
    let zone = clock.timezone;
    let hauled = pulls.iter().filter(|pull| pull.kind == Kind::Pull).count();
    format!("{date}, {boats}: {} hauled, {first} to {last} ({zone})\n\n", plural(hauled, "trap"))
}

/// The trap, and how sure.
fn trap(pull: &Record) -> String {
    match (&pull.trap, pull.pairing.grade) {
        (Some(trap), Grade::Doubtful | Grade::Likely) => format!("{trap}?"),
        (Some(trap), _) => trap.clone(),
        (None, _) => "–".into(),
    }
}

/// One pull in one line: number, time, trap, soak, what was in it, weight, what to look at.
fn line(number: usize, pull: &Record, trap: &str, clock: &Clock<'_>) -> String {
    let soak = pull.soak_h.map_or("–".into(), |hours| format!("{hours:.1} h"));
    let mut parts = vec![tally(pull)];
    parts.extend(pull.weight.as_ref().map(weighed));
    parts.extend(remarks(pull));
    parts.extend(pull.flags.iter().filter_map(|flag| rules::word(*flag)).map(str::to_owned));
    parts.retain(|part| !part.is_empty());
    format!("{number:>3}  {}  {trap} {soak:>8}  {}\n", clock.time(pull.started_at.as_ref()), parts.join("; "))
}

/// What was weighed at a pull: the weight, and the claws of each size.
fn weighed(weight: &Weight) -> String {
    let sizes = by_size([weight]);
    let sizes = if sizes.is_empty() { sizes } else { format!(" ({sizes})") };
    format!("{:.0} g{sizes}", weight.total_g)
}

/// Claws by size, the heaviest class first.
fn by_size<'a>(weights: impl IntoIterator<Item = &'a Weight>) -> String {
    let mut sums: BTreeMap<&str, BySize> = BTreeMap::new();
    for (size, part) in weights.into_iter().flat_map(|weight| &weight.by_size) {
        let sum = sums.entry(size).or_default();
        sum.claws += part.claws;
        sum.g += part.g;
    }
    let mut sums: Vec<(&str, BySize)> = sums.into_iter().collect();
    sums.sort_by(|(_, a), (_, b)| (b.g / f64::from(b.claws)).total_cmp(&(a.g / f64::from(a.claws))));
    let one = |(size, sum): (&str, BySize)| format!("{} {size}", sum.claws);
    sums.into_iter().map(one).collect::<Vec<_>>().join(", ")
}

fn tally(pull: &Record) -> String {
    let kind = match pull.kind {
        Kind::Pull => "",
        Kind::Set => "set down",
        Kind::Visit if pull.trap.is_none() && !pull.day_said.is_empty() => "of the day, at no trap",
        Kind::Visit => "seen, not lifted",
    };
    if pull.tally.is_empty() && kind.is_empty() && pull.weight.is_none() {
        return "nothing counted".into();
    }
    let kind = Some(kind).filter(|kind| !kind.is_empty()).map(str::to_owned);
    kind.into_iter().chain(statements(&pull.tally)).collect::<Vec<_>>().join(", ")
}

/// What a tally states, as people say it.
fn statements(tally: &Tally) -> Vec<String> {
    let Ok(Value::Object(tally)) = serde_json::to_value(tally) else { return Vec::new() };
    KEYS.iter().filter_map(|key| Some(statement(key, tally.get(*key)?))).collect()
}

/// A key of the tally and its value, as people say it.
fn statement(key: &str, value: &Value) -> String {
    let word = key.replace('_', " ");
    match (key, value) {
        ("bait_left", Value::Number(n)) => {
            let share = n.as_f64().unwrap_or_default();
            if share == 0.0 { "bait gone".into() } else { format!("bait {:.0} % left", share * 100.0) }
        }
        ("bait_added", Value::Bool(true)) => "fresh bait".into(),
        ("bait_added", Value::Bool(false)) => "old bait left in".into(),
        (_, Value::Bool(true)) => word,
        (_, Value::Bool(false)) => format!("not {word}"),
        ("bait_pieces", Value::Number(n)) => format!("{n} pieces of bait"),
        (_, Value::Number(n)) if n.as_u64() == Some(1) => format!("1 {}", singular(&word)),
        (_, Value::Number(n)) => format!("{n} {word}"),
        ("bait_kind" | "bottom", Value::String(text)) => format!("{} {text}", word.trim_end_matches(" kind")),
        (_, Value::String(text)) => format!("{word} {text}"),
        (_, Value::Object(map)) => map
            .iter()
            .map(|(what, n)| if n.is_null() { what.clone() } else { format!("{n} {what}") })
            .collect::<Vec<_>>()
            .join(", "),
        _ => word,
    }
}

/// One of them.
fn singular(word: &str) -> &str {
    match word {
        "both" => "with both",
        "left handed" | "right handed" => word,
        _ => word.strip_suffix('s').unwrap_or(word),
    }
}

fn remarks(pull: &Record) -> Vec<String> {
    let mut remarks = Vec::new();
    if !pull.drafts.is_empty() {
        remarks.push(format!("to confirm: {}", statements(&pull.drafts).join(", ")));
    }
    if let (Grade::Doubtful | Grade::Likely, Some(other)) = (pull.pairing.grade, &pull.pairing.runner_up) {
        let share = pull.pairing.probability * 100.0;
        remarks
            .push(format!("which trap? {share:.0} % {}, else {other}", pull.trap.as_deref().unwrap_or("–")));
    }
    if pull.pairing.grade == Grade::None && pull.position.is_some() && pull.kind != Kind::Visit {
        remarks.push("no trap of the register here".into());
    }
    remarks.extend(pull.flags.iter().filter_map(|flag| said(*flag)).map(str::to_owned));
    remarks
}

fn said(flag: Flag) -> Option<&'static str> {
    match flag {
        Flag::Cut => Some("cut short"),
        Flag::GpsGap => Some("GPS had a gap"),
        Flag::DateDoubtful => Some("the date is doubtful"),
        Flag::NoFix => Some("no position"),
        Flag::ScaleGap => Some("the scale fell silent"),
        Flag::Overload => Some("the scale was overloaded"),
        Flag::WeightSaid => Some("the weight was said, not weighed"),
        Flag::ClawsDiffer => Some("not as many claws weighed as said"),
        Flag::CountDiffers => Some("the counts do not fit together"),
        Flag::Chatter => Some("only talk"),
        // Not for a person to settle: [`rules`] tells them.
        Flag::BeforeSunrise | Flag::AfterSunset | Flag::OutsideSeason | Flag::OverLimit | Flag::LateNote => {
            None
        }
    }
}

/// Traps in the water that were not hauled, nearest to the last pull first: how long they have lain by then, how far
/// off they are and in which direction.
fn idle(desk: &Desk, pulls: &[Record]) -> Result<Vec<String>> {
    let hauled: BTreeSet<&str> = pulls.iter().filter_map(|pull| pull.trap.as_deref()).collect();
    let end = pulls
        .iter()
        .filter_map(|p| p.ended_at.as_deref().or(p.started_at.as_deref()))
        .filter_map(Utc::parse)
        .max();
    let last = pulls.iter().rev().find_map(|pull| {
        let set = pull.set.as_ref().map(|set| (set.lat, set.lon));
        let (lat, lon) = set.or(pull.position.as_ref().map(|at| (at.lat, at.lon)))?;
        LatLon::new(lat, lon).ok()
    });
    let register = tables::register_now(desk)?;
    let begin = pulls.iter().filter_map(|p| p.started_at.as_deref()).filter_map(Utc::parse).min();
    // One that was set on this day was not left out.
    let earlier = |set: Option<Utc>| begin.is_none_or(|begin| set.is_none_or(|set| set < begin));
    let idle = register.entries().filter(|t| !t.ashore && !t.retired && earlier(t.set_at));
    let idle = idle.filter(|t| !hauled.contains(t.trap.as_str()));
    let mut idle: Vec<(f64, String)> = idle
        .map(|trap| {
            let hours = end.zip(trap.set_at).filter(|(end, set)| end > set);
            let hours = hours.map(|(end, set)| format!("{:.0} h", (end - set) as f64 / HOUR as f64));
            let there = last.zip(LatLon::new(trap.spot.lat, trap.spot.lon).ok());
            let way = there.map(|(from, to)| (distance_m(from, to), bearing_deg(from, to)));
            let off = way.map(|(m, bearing)| format!("{m:.0} m at {:03.0}°", bearing.round() % 360.0));
            let told: Vec<String> = hours.into_iter().chain(off).collect();
            let far = way.map_or(f64::INFINITY, |(m, _)| m);
            let all = if told.is_empty() { String::new() } else { format!(" ({})", told.join(", ")) };
            (far, format!("{}{all}", trap.trap))
        })
        .collect();
    idle.sort_by(|a, b| a.0.total_cmp(&b.0));
    let more = idle.len().saturating_sub(IDLE_SHOWN);
    idle.truncate(IDLE_SHOWN);
    let more = (more > 0).then(|| format!("and {more} more: `gunwale traps list`"));
    Ok(idle.into_iter().map(|(_, told)| told).chain(more).collect())
}

/// What was said of the day as a whole, and at the dock.
fn of_day(day: &Day) -> String {
    let handed = |word: &str, handed: &[Handed]| -> Vec<String> {
        let to = |to: &str| if to.is_empty() { String::new() } else { format!(" to {to}") };
        handed.iter().map(|handed| format!("{word} {}{}", handed.claws, to(&handed.to))).collect()
    };
    let about = if day.approximate { "about " } else { "" };
    let mut told: Vec<String> = Vec::new();
    told.extend(day.people.map(|people| format!("{people} aboard")));
    told.extend(day.claws_landed.map(|claws| format!("{} landed", plural(claws as usize, "claw"))));
    told.extend(day.volume_l.map(|l| format!("{about}{l:.1} l")));
    told.extend(day.lots.iter().map(|lot| format!("{} {} g", lot.size, lot.g)));
    told.extend(handed("gave", &day.given));
    told.extend(handed("sold", &day.sold));
    told.extend(day.conditions.as_ref().map(|words| format!("“{words}”")));
    told.join(", ")
}

/// The five lines for the dock.
fn dock(pulls: &[Record], idle: &[String]) -> [(&'static str, String); 5] {
    let mut sums: BTreeMap<&str, u64> = BTreeMap::new();
    let mut gear = Vec::new();
    for pull in pulls {
        let Ok(Value::Object(tally)) = serde_json::to_value(&pull.tally) else { continue };
        for (key, _) in SUMS {
            *sums.entry(key).or_default() += tally.get(key).and_then(Value::as_u64).unwrap_or_default();
        }
        for key in ["tie", "lid", "tampered", "trap_state"] {
            let worth_telling = |v: &&Value| !matches!(v.as_str(), Some("intact" | "shut" | "good"));
            if let Some(value) = tally.get(key).filter(worth_telling) {
                gear.push(format!(
                    "{} at {}",
                    statement(key, value),
                    pull.trap.as_deref().unwrap_or("an unknown trap")
                ));
            }
        }
    }
    let sum = |(key, word): (&str, &str)| match sums.get(key).copied().unwrap_or_default() {
        1 => format!("1 {}", singular(word)),
        n => format!("{n} {word}"),
    };
    let catch = SUMS.map(sum).join(", ");
    let sizes = by_size(pulls.iter().filter_map(|pull| pull.weight.as_ref()));
    let sizes = if sizes.is_empty() { sizes } else { format!(": {sizes}") };
    let weighings: usize = pulls.iter().filter_map(|p| p.weight.as_ref()).map(|w| w.weighings.len()).sum();
    let grams: f64 = pulls.iter().filter_map(|p| p.weight.as_ref()).map(|w| w.total_g).sum();
    let weight = match weighings {
        0 => "nothing weighed".to_owned(),
        n => format!("{grams:.0} g in {}{sizes} (not legal for trade)", plural(n, "weighing")),
    };
    let settle: Vec<String> = pulls
        .iter()
        .enumerate()
        .filter(|(_, pull)| !remarks(pull).is_empty())
        .map(|(index, _)| format!("#{}", index + 1))
        .collect();
    [
        ("Catch", catch),
        ("Weight", weight),
        ("To settle", or(&settle, "nothing")),
        ("Not hauled", or(idle, "none")),
        ("Gear", or(&gear, "nothing to mend")),
    ]
}

fn or(items: &[String], none: &str) -> String {
    if items.is_empty() { none.to_owned() } else { items.join(", ") }
}

fn plural(n: usize, word: &str) -> String {
    if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") }
}
