//! GPX 1.1: a waypoint a pull, the boat's track as `trk`. What GPX has no element for stands in `extensions`, by the
//! names of the columns.

use std::borrow::Cow;
use std::io::Write;

use gunwale_protocol::record::Record;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use super::rows::{self, Cell, Column, Fix, Row};
use crate::desk::PROGRAM;
use crate::error::Result;

/// Namespace of our own elements.
pub const NAMESPACE: &str = "urn:gunwale:export:1";
/// What the tables' column names are prefixed with.
const PREFIX: &str = "gunwale:";

/// Writes a GPX file: waypoints first, then tracks, as its schema has them.
pub struct Gpx<'a> {
    xml: Writer<&'a mut dyn Write>,
    pull: Named<Record>,
    fix: Named<Fix>,
    /// Boat and stretch of the open track segment.
    open: Option<(String, usize)>,
}

/// Columns with their element names.
type Named<R> = Vec<(String, Column<R>)>;

fn named<R: Row>(without: &[&str]) -> Named<R> {
    let columns = R::columns().into_iter().filter(|column| !without.contains(&column.name));
    columns.map(|column| (format!("{PREFIX}{}", column.name), column)).collect()
}

impl<'a> Gpx<'a> {
    /// Begins a file.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn begin(out: &'a mut dyn Write) -> Result<Gpx<'a>> {
        let mut xml = Writer::new(out);
        let attributes = [
            ("version", "1.1"),
            ("creator", PROGRAM),
            ("xmlns", "http://www.topografix.com/GPX/1/1"),
            ("xmlns:gunwale", NAMESPACE),
        ];
        xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        line(&mut xml)?;
        xml.write_event(Event::Start(BytesStart::new("gpx").with_attributes(attributes)))?;
        line(&mut xml)?;
        // The elements before the extensions say these.
        let fix = named(&["at", "lat", "lon", "hdop"]);
        Ok(Gpx { xml, pull: named(&[]), fix, open: None })
    }

    /// Writes a pull as a waypoint; says whether it has a place, without which there is none.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn waypoint(&mut self, pull: &Record) -> Result<bool> {
        let Some(place) = pull.place() else { return Ok(false) };
        let xml = &mut self.xml;
        start_at(xml, "wpt", place)?;
        leaf(xml, "time", pull.started_at.as_deref())?;
        leaf(xml, "name", pull.trap.as_deref())?;
        leaf(xml, "cmt", rows::said(pull).as_deref())?;
        let stated = pull.tally.stated().filter_map(|key| Some(format!("{key} {}", pull.tally.get(key)?)));
        let stated = stated.collect::<Vec<_>>().join(", ");
        leaf(xml, "desc", Some(&*stated).filter(|text| !text.is_empty()))?;
        leaf(xml, "type", rows::word(&pull.kind).as_deref())?;
        extensions(xml, &self.pull, pull)?;
        end(xml, "wpt")?;
        line(xml)?;
        Ok(true)
    }

    /// Writes an epoch of a boat's track. Each stretch, by its number, is a `trkseg`; a `trk` is all of one boat's that
    /// follow each other.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn fix(&mut self, boat: &str, stretch: usize, fix: &Fix) -> Result<()> {
        if self.open.as_ref().is_none_or(|(of, number)| of != boat || *number != stretch) {
            self.open(boat, stretch)?;
        }
        let xml = &mut self.xml;
        start_at(xml, "trkpt", (fix.lat, fix.lon))?;
        leaf(xml, "time", fix.at.as_deref())?;
        // A quality of 1 does not tell whether the fix was in two dimensions or three.
        leaf(
            xml,
            "fix",
            [(2, "dgps"), (3, "pps")].iter().find(|(q, _)| *q == fix.quality).map(|(_, word)| *word),
        )?;
        leaf(xml, "hdop", fix.hdop.map(|hdop| hdop.to_string()).as_deref())?;
        extensions(xml, &self.fix, fix)?;
        end(xml, "trkpt")?;
        Ok(line(xml)?)
    }

    fn open(&mut self, boat: &str, stretch: usize) -> Result<()> {
        let before = self.open.replace((boat.to_owned(), stretch));
        let xml = &mut self.xml;
        if before.is_some() {
            end(xml, "trkseg")?;
        }
        if before.as_ref().is_none_or(|(of, _)| of != boat) {
            if before.is_some() {
                end(xml, "trk")?;
            }
            xml.write_event(Event::Start(BytesStart::new("trk")))?;
            leaf(xml, "name", Some(boat))?;
        }
        xml.write_event(Event::Start(BytesStart::new("trkseg")))?;
        Ok(line(xml)?)
    }

    /// Ends the file.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn end(mut self) -> Result<()> {
        if self.open.is_some() {
            end(&mut self.xml, "trkseg")?;
            end(&mut self.xml, "trk")?;
        }
        end(&mut self.xml, "gpx")?;
        line(&mut self.xml)?;
        Ok(self.xml.into_inner().flush()?)
    }
}

/// Where a program's elements begin and end is its own affair: here a line is a waypoint or an epoch.
type Xml<'a> = Writer<&'a mut dyn Write>;

fn start_at(xml: &mut Xml<'_>, name: &str, (lat, lon): (f64, f64)) -> std::io::Result<()> {
    // The schema ends before 180: the same meridian is −180.
    let lon = if lon >= 180.0 { lon - 360.0 } else { lon };
    let (lat, lon) = (lat.to_string(), lon.to_string());
    let attributes = [("lat", lat.as_str()), ("lon", lon.as_str())];
    xml.write_event(Event::Start(BytesStart::new(name).with_attributes(attributes)))
}

fn leaf(xml: &mut Xml<'_>, name: &str, text: Option<&str>) -> std::io::Result<()> {
    let Some(text) = text else { return Ok(()) };
    xml.write_event(Event::Start(BytesStart::new(name)))?;
    xml.write_event(Event::Text(BytesText::from_escaped(escaped(text))))?;
    end(xml, name)
}

fn extensions<R>(xml: &mut Xml<'_>, columns: &Named<R>, row: &R) -> std::io::Result<()> {
    xml.write_event(Event::Start(BytesStart::new("extensions")))?;
    for (name, column) in columns {
        match column.cell(row) {
            Cell::Null => {}
            Cell::Text(text) => leaf(xml, name, Some(&text))?,
            cell => leaf(xml, name, Some(&cell.to_string()))?,
        }
    }
    end(xml, "extensions")
}

fn end(xml: &mut Xml<'_>, name: &str) -> std::io::Result<()> {
    xml.write_event(Event::End(BytesEnd::new(name)))
}

fn line(xml: &mut Xml<'_>) -> std::io::Result<()> {
    xml.write_event(Event::Text(BytesText::from_escaped("\n")))
}

/// Text as XML 1.0 can hold it: a carriage return stays one, and a character that XML has no way to write becomes
/// U+FFFD.
fn escaped(text: &str) -> Cow<'_, str> {
    let plain =
        |c: char| !matches!(c, '<' | '>' | '&' | '\0'..='\x08' | '\x0b'..='\x1f' | '\u{fffe}' | '\u{ffff}');
    if text.chars().all(plain) {
        return Cow::Borrowed(text);
    }
    let mut safe = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        match c {
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '\r' => safe.push_str("&#13;"),
            c if plain(c) => safe.push(c),
            _ => safe.push('\u{fffd}'),
        }
    }
    Cow::Owned(safe)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_text_can_stand_in_xml() {
        for (text, expected) in [
            ("plain, \"quoted\" 'text' 🦀", "plain, \"quoted\" 'text' 🦀"),
            ("a<b>&c", "a&lt;b&gt;&amp;c"),
            ("one\r\ntwo\tthree", "one&#13;\ntwo\tthree"),
            (
                "bell\u{7} nul\0 esc\u{1b} \u{fffe}\u{ffff}",
                "bell\u{fffd} nul\u{fffd} esc\u{fffd} \u{fffd}\u{fffd}",
            ),
        ] {
            assert_eq!(escaped(text), expected);
        }
    }

    #[test]
    fn the_meridian_of_180_degrees_is_written_as_minus_180() {
        for (lon, expected) in
            [(180.0, "-180"), (-180.0, "-180"), (179.9999999, "179.9999999"), (0.0000001, "0.0000001")]
        {
            let mut out = Vec::new();
            let mut gpx = Gpx::begin(&mut out).unwrap();
            let fix = Fix { at: None, lat: -90.0, lon, quality: 1, hdop: None, sd_m: None, speed_m_s: None };
            gpx.fix("boat", 0, &fix).unwrap();
            gpx.end().unwrap();
            let text = String::from_utf8(out).unwrap();
            assert!(text.contains(&format!("<trkpt lat=\"-90\" lon=\"{expected}\">")), "{text}");
        }
    }
}
