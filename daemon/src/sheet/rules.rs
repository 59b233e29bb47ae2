//! The sheet's lines on the fishery's rules: which setting was used, and what lay outside it. Never that a catch is lawful.

use std::collections::BTreeMap;
use std::fmt::Write;

use gunwale_protocol::finding::Flag;
use gunwale_protocol::place::LatLon;
use gunwale_protocol::record::Record;
use gunwale_protocol::rules::{Landed, Limit, Measure, Rules, takes_claws};
use gunwale_protocol::sun::{self, Horizon, SunDay};
use gunwale_protocol::tally::{Day, Kind};
use gunwale_protocol::time::Utc;

use super::{Clock, plural};

/// A pull's flag in its line.
pub(super) fn word(flag: Flag) -> Option<&'static str> {
    match flag {
        Flag::BeforeSunrise => Some("before sunrise"),
        Flag::AfterSunset => Some("after sunset"),
        Flag::OutsideSeason => Some("outside the season set"),
        Flag::OverLimit => Some("over a limit set"),
        _ => None,
    }
}

/// The lines, for each boat and each set of rules that held that day; nothing where none was set. `said`: what was said
/// of the day aboard each boat.
pub(super) fn told(
    pulls: &[Record],
    set: &[Option<Box<Rules>>],
    said: &BTreeMap<String, Day>,
    clock: &Clock<'_>,
) -> String {
    let mut text = String::new();
    let mut done: Vec<(&str, &Rules)> = Vec::new();
    for (pull, rules) in pulls.iter().zip(set) {
        let Some(rules) = rules.as_deref() else { continue };
        let group = (pull.boat.as_str(), rules);
        if done.contains(&group) {
            continue;
        }
        done.push(group);
        let numbered = pulls.iter().enumerate().map(|(index, pull)| (index + 1, pull));
        let of_boat: Vec<(usize, &Record)> = numbered.filter(|(_, other)| other.boat == pull.boat).collect();
        let under = |(number, _): &&(usize, &Record)| {
            set.get(number - 1).is_some_and(|other| other.as_deref() == Some(rules))
        };
        let judged: Vec<(usize, &Record)> = of_boat.iter().filter(under).copied().collect();
        let mut landed =
            Landed { said: said.get(&pull.boat).cloned().unwrap_or_default(), ..Landed::default() };
        for (_, pull) in &of_boat {
            landed.add(pull, rules);
        }
        let unknown =
            of_boat.iter().filter(|(_, pull)| pull.trap.is_none() && pull.kind == Kind::Pull).count();
        let _ =
            writeln!(text, "Rules      {}, as set in [rules]; the fishery's authority decides", pull.boat);
        let weighed = |pull: &Record| pull.weight.is_some();
        let unweighed = of_boat.iter().filter(|(_, pull)| takes_claws(pull) && !weighed(pull)).count();
        let unknown = Unknown { traps: unknown, unweighed };
        for line in lines(rules, &landed, unknown, &judged, clock) {
            let _ = writeln!(text, "           {line}");
        }
        text.push('\n');
    }
    text
}

/// How many pulls of a day tell less than a limit asks.
#[derive(Clone, Copy)]
struct Unknown {
    /// Their trap is not known.
    traps: usize,
    /// They gave claws that were not weighed.
    unweighed: usize,
}

/// `landed`: by all pulls of the boat's day. `judged`: the pulls under these rules,
/// with their numbers.
fn lines(
    rules: &Rules,
    landed: &Landed,
    unknown: Unknown,
    judged: &[(usize, &Record)],
    clock: &Clock<'_>,
) -> Vec<String> {
    let flagged = |flag: Flag| {
        let numbers = judged.iter().filter(|(_, pull)| pull.flags.contains(&flag));
        numbers.map(|(number, _)| format!("#{number}")).collect::<Vec<_>>()
    };
    let mut lines = Vec::new();
    if !rules.season.is_empty() {
        let windows: Vec<String> =
            rules.season.iter().map(|window| format!("{} to {}", window.from, window.to)).collect();
        let days = [("set_days_before", rules.set_days_before), ("out_days_after", rules.out_days_after)];
        let days: String =
            days.iter().filter(|(_, days)| *days > 0).map(|(key, days)| format!(", {key} {days}")).collect();
        lines.push(format!(
            "season {}{days}: {}",
            windows.join(", "),
            seen("outside", &flagged(Flag::OutsideSeason))
        ));
    }
    if rules.daylight_only {
        let (before, after) = (flagged(Flag::BeforeSunrise), flagged(Flag::AfterSunset));
        let allowance = match rules.daylight_allowance_min {
            0 => String::new(),
            minutes => format!(", daylight_allowance_min {minutes}"),
        };
        let unseen =
            if judged.iter().all(|(_, pull)| pull.position.is_none()) { ", no position" } else { "" };
        lines.push(format!(
            "daylight_only{allowance}: {}{}{unseen}",
            sun_of(judged, clock),
            [seen("before", &before), seen("after", &after)].join("; "),
        ));
    }
    let over = flagged(Flag::OverLimit);
    lines.extend(landed.limits(rules).map(|limit| of_limit(&limit, rules, landed, unknown)));
    if rules.limits(None).next().is_some() {
        let told = match over.as_slice() {
            [] if landed.over(rules, |_| true) => "over one by what was said of the day".to_owned(),
            over => seen("over one", over),
        };
        lines.push(format!("limits of the day: {told}"));
    }
    if let Some(mm) = rules.smallest_claw_mm {
        lines.push(format!("smallest_claw_mm {mm}: a reminder; the gauge decides, no claw is measured here"));
    }
    lines
}

fn seen(where_to: &str, numbers: &[String]) -> String {
    match numbers {
        [] => format!("none seen {where_to}"),
        numbers => format!("{where_to} {}", numbers.join(", ")),
    }
}

/// What the sun did where the first pull was that has a place.
fn sun_of(judged: &[(usize, &Record)], clock: &Clock<'_>) -> String {
    let place = |pull: &Record| {
        let at = pull.position.as_ref()?;
        Some((pull.started_at.as_deref().and_then(Utc::parse)?, LatLon::new(at.lat, at.lon).ok()?))
    };
    let Some((at, place)) = judged.iter().find_map(|(_, pull)| place(pull)) else { return String::new() };
    let SunDay { rise, set, .. } = sun::day(at, place);
    let told = match (rise, set) {
        (Horizon::Above, Horizon::Above) => "the sun does not set (polar day)".to_owned(),
        (Horizon::Below, Horizon::Below) => "the sun does not rise (polar night)".to_owned(),
        (rise, set) => {
            let event = |word: &str, horizon: Horizon| match horizon {
                Horizon::Crossed(at) => format!("{word} {}", clock.utc(Some(at))),
                Horizon::Above | Horizon::Below => format!("no {word}"),
            };
            format!("{}, {}", event("sunrise", rise), event("sunset", set))
        }
    };
    format!("{told} at {:.2} {:.2}; ", place.lat(), place.lon())
}

/// A limit and how much of it there is, by the pulls and by what was said at the dock.
fn of_limit(limit: &Limit, rules: &Rules, landed: &Landed, unknown: Unknown) -> String {
    let (measure, most) = (limit.measure, limit.most());
    let amount = |x: f64| match measure {
        Measure::Grams => format!("{x:.0}"),
        Measure::Litres => format!("{x:.1}"),
        Measure::Traps => format!("{x}"),
    };
    let weighed = landed.of_pulls(measure, rules).map(|x| match (measure, rules.claw_g_per_l) {
        (Measure::Grams, _) => format!("{} g at the traps", amount(x)),
        (Measure::Litres, g_per_l) => {
            format!("{} l at the traps by claw_g_per_l {}", amount(x), g_per_l.unwrap_or_default())
        }
        (Measure::Traps, _) if unknown.traps == 0 => format!("{x} pulled"),
        (Measure::Traps, _) => {
            format!("{x} pulled, and {} of an unknown trap", plural(unknown.traps, "pull"))
        }
    });
    let about = if measure == Measure::Litres && landed.said.approximate { "about " } else { "" };
    let unit = if measure == Measure::Litres { "l" } else { "g" };
    let said =
        landed.at_the_dock(measure, rules).map(|x| format!("{about}{} {unit} said at the dock", amount(x)));
    let dock = said.is_some();
    let told: Vec<String> = weighed.into_iter().chain(said).collect();
    let left = match unknown.unweighed {
        n if n > 0 && measure != Measure::Traps && !dock => {
            format!(", {} with claws not weighed", plural(n, "pull"))
        }
        _ => String::new(),
    };
    let told = if told.is_empty() {
        "not measured; claw_g_per_l would make litres of grams".to_owned()
    } else {
        told.join(", ") + &left
    };
    let over = landed.amount(measure, rules).is_some_and(|x| x > most);
    let said = if limit.people.is_some() && landed.said.people.is_some() { " as said" } else { "" };
    let most = match limit.people {
        Some(people) => format!("{} x people {people}{said}", limit.each),
        None => limit.each.to_string(),
    };
    format!("{} {most}: {told}{}", limit.key, if over { "; over" } else { "" })
}
