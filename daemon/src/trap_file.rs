//! Trap files: CSV with a header, GeoJSON points, or GPX waypoints. All of a file or nothing.

use std::collections::BTreeSet;
use std::io::{BufRead, Read};

use gunwale_protocol::input::{TrapPlace, TrapStated};
use gunwale_protocol::place::LatLon;
use gunwale_protocol::time::Utc;

use crate::error::{Error, Result};

/// Largest file read, bytes: a hundred thousand traps and more.
const MAX: u64 = 64 << 20;

/// Reads a file of any of the three forms, told apart by how it begins.
///
/// # Errors
/// [`Error::TrapFile`] names the row, feature or waypoint that cannot be taken.
pub fn read(name: &str, from: &mut dyn BufRead) -> Result<Vec<TrapStated>> {
    let problem = |problem: String| Error::TrapFile { file: name.to_owned(), problem };
    let mut text = String::new();
    let read = from.take(MAX + 1).read_to_string(&mut text);
    read.map_err(|e| problem(format!("not readable as text ({e})")))?;
    if text.len() as u64 > MAX {
        return Err(problem(format!("larger than {} MB", MAX >> 20)));
    }
    let text = text.trim_start_matches('\u{feff}').trim_start();
    let traps = match text.chars().next() {
        Some('{') => geojson(text),
        Some('<') => gpx(text),
        _ => table(text),
    }
    .map_err(problem)?;
    let mut seen = BTreeSet::new();
    for trap in &traps {
        if !seen.insert(&trap.trap) {
            return Err(problem(format!("trap {} stands there twice", trap.trap)));
        }
    }
    if traps.is_empty() { Err(problem("no trap in it".into())) } else { Ok(traps) }
}

/// A trap from what a file says of it; `place` names the row or feature in messages.
fn trap(
    place: &str,
    name: &str,
    lat: Option<f64>,
    lon: Option<f64>,
    set_at: Option<&str>,
) -> Result<TrapStated, String> {
    let name = name.trim();
    if name.is_empty() || name == "none" {
        return Err(format!("{place}: no trap name"));
    }
    let (Some(lat), Some(lon)) = (lat, lon) else {
        return Err(format!("{place}: lat and lon must be degrees in decimals"));
    };
    let spot = LatLon::new(lat, lon).map_err(|e| format!("{place}: {e}"))?;
    let set_at = set_at.map(str::trim).filter(|text| !text.is_empty());
    if let Some(text) = set_at.filter(|text| Utc::parse(text).is_none()) {
        return Err(format!("{place}: set_at `{text}` is no time such as 2027-02-06T15:10:00Z"));
    }
    let place = TrapPlace::Position { lat: spot.lat(), lon: spot.lon(), set_at: set_at.map(str::to_owned) };
    Ok(TrapStated { trap: name.to_owned(), place })
}

fn table(text: &str) -> Result<Vec<TrapStated>, String> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| e.to_string())?.clone();
    let column = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
    let (Some(name), Some(lat), Some(lon)) = (column("trap"), column("lat"), column("lon")) else {
        return Err("line 1: the header must have trap,lat,lon (and may have set_at)".into());
    };
    let set_at = column("set_at");
    let mut traps = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|e| {
            let line = e.position().map_or(0, csv::Position::line);
            format!("line {line}: not a row like the header")
        })?;
        let place = format!("line {}", row.position().map_or(0, csv::Position::line));
        let field = |column: usize| row.get(column).unwrap_or_default();
        let number = |column: usize| field(column).parse().ok();
        traps.push(trap(&place, field(name), number(lat), number(lon), set_at.map(field))?);
    }
    Ok(traps)
}

fn geojson(text: &str) -> Result<Vec<TrapStated>, String> {
    let features: geojson::FeatureCollection = text
        .parse::<geojson::GeoJson>()
        .and_then(geojson::FeatureCollection::try_from)
        .map_err(|e| format!("not a GeoJSON FeatureCollection ({e})"))?;
    let read = |(index, feature): (usize, &geojson::Feature)| {
        let place = format!("feature {}", index + 1);
        let (lat, lon) = match feature.geometry.as_ref().map(|g| &g.value) {
            Some(geojson::GeometryValue::Point { coordinates }) => {
                let mut numbers = coordinates.as_slice().iter().copied();
                let lon = numbers.next();
                (numbers.next(), lon)
            }
            _ => return Err(format!("{place}: no point")),
        };
        let property = |key: &str| match feature.property(key) {
            Some(serde_json::Value::String(text)) => Some(text.clone()),
            Some(serde_json::Value::Number(number)) => Some(number.to_string()),
            _ => None,
        };
        let name = property("trap").or_else(|| property("name")).unwrap_or_default();
        trap(&place, &name, lat, lon, property("set_at").as_deref())
    };
    features.features.iter().enumerate().map(read).collect()
}

fn gpx(text: &str) -> Result<Vec<TrapStated>, String> {
    use quick_xml::events::Event;
    let broken = |e: &dyn std::fmt::Display| format!("not a GPX file ({e})");
    let mut reader = quick_xml::Reader::from_str(text);
    let mut traps = Vec::new();
    let mut waypoint: Option<(Option<f64>, Option<f64>)> = None;
    let (mut name, mut in_name, mut root) = (String::new(), false, false);
    loop {
        match reader.read_event().map_err(|e| broken(&e))? {
            Event::Start(tag) if tag.local_name().as_ref() == "gpx" => root = true,
            Event::Start(tag) if tag.local_name().as_ref() == "wpt" => {
                waypoint = Some(point(&tag));
                name.clear();
            }
            Event::Empty(tag) if tag.local_name().as_ref() == "wpt" => {
                let (lat, lon) = point(&tag);
                traps.push(trap(&format!("waypoint {}", traps.len() + 1), "", lat, lon, None)?);
            }
            Event::Start(tag) if waypoint.is_some() => in_name = tag.local_name().as_ref() == "name",
            Event::Text(piece) if in_name => name.push_str(&piece),
            Event::GeneralRef(piece) if in_name => {
                let escaped = format!("&{};", &*piece);
                name.push_str(&quick_xml::escape::unescape(&escaped).map_err(|e| broken(&e))?);
            }
            Event::CData(piece) if in_name => name.push_str(&piece),
            Event::End(tag) if tag.local_name().as_ref() == "wpt" => {
                if let Some((lat, lon)) = waypoint.take() {
                    // A waypoint's time is when it was marked, not when the trap was set: left alone.
                    traps.push(trap(&format!("waypoint {}", traps.len() + 1), &name, lat, lon, None)?);
                }
            }
            Event::End(_) => in_name = false,
            Event::Eof => break,
            _ => {}
        }
    }
    if root { Ok(traps) } else { Err("not a GPX file (it does not begin with gpx)".into()) }
}

fn point(tag: &quick_xml::events::BytesStart<'_>) -> (Option<f64>, Option<f64>) {
    let number = |key: &str| {
        let value = tag.try_get_attribute(key).ok()??;
        value.value.trim().parse().ok()
    };
    (number("lat"), number("lon"))
}
