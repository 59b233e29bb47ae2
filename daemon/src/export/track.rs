//! The boat's track: every position epoch as received, read from the journals.

use std::collections::VecDeque;
use std::io::Write;

use gunwale_protocol::input::Input;
use gunwale_protocol::nmea::Epoch;
use gunwale_protocol::record::round;
use gunwale_protocol::time::Utc;

use super::sheet::Sheet;
use super::{Range, rows};
use crate::args::Format;
use crate::desk::Desk;
use crate::error::Result;
use crate::journal::{self, Entry, Reader};
use crate::segment::{News, Segment};

/// Epochs kept back until their segment's first date, at most: half an hour at 10 Hz. Of a receiver that gives no date
/// for longer the earliest are left undated.
const WAITING: usize = 20_000;

/// Writes the track of all segments, each in its own order, in the order of their beginnings.
///
/// # Errors
/// Journals that cannot be read, output that cannot be written.
pub fn track(desk: &Desk, range: &Range, format: Format, out: &mut dyn Write) -> Result<()> {
    let mut sheet = Sheet::begin(format, out)?;
    each(desk, range, |_, _, fix| sheet.row(fix))?;
    sheet.end()
}

/// The epochs of all segments, each with its boat and the number of its segment.
///
/// # Errors
/// Journals that cannot be read, and what `act` reports.
pub fn each(
    desk: &Desk,
    range: &Range,
    mut act: impl FnMut(&str, usize, &rows::Fix) -> Result<()>,
) -> Result<()> {
    let mut segments = Vec::new();
    for segment in journal::list(&desk.data)? {
        if let Some(first) = Track::open(&segment)?.next() {
            segments.push((first?.1, segment));
        }
    }
    segments.sort();
    for (number, (_, segment)) in segments.into_iter().enumerate() {
        let mut track = Track::open(&segment)?;
        while let Some(fix) = track.next() {
            let (epoch, utc) = fix?;
            let day = utc.and_then(|utc| utc.day_in(track.timezone())).map(|day| day.to_string());
            // A track belongs to no trap: only days choose from it.
            if range.holds_day(day.as_deref()) {
                act(track.boat(), number, &row(&epoch, utc))?;
            }
        }
    }
    Ok(())
}

/// The position epochs of one segment, dated as soon as a date is known.
struct Track {
    id: String,
    journal: Reader,
    fold: Option<Segment>,
    waiting: Vec<Epoch>,
    ready: VecDeque<(Epoch, Option<Utc>)>,
    ended: bool,
}

impl Track {
    fn open(segment: &journal::Segment) -> Result<Track> {
        let journal = Reader::open(&segment.path, 0)?;
        Ok(Track {
            id: segment.id.clone(),
            journal,
            fold: None,
            waiting: Vec::new(),
            ready: VecDeque::new(),
            ended: false,
        })
    }

    fn timezone(&self) -> &str {
        self.fold.as_ref().map_or("UTC", |fold| &fold.haul().run().timezone)
    }

    fn boat(&self) -> &str {
        self.fold.as_ref().map_or("", |fold| &fold.haul().run().boat)
    }

    fn take(&mut self, entry: &Entry) {
        let fold = self.fold.get_or_insert_with(|| Segment::of_journal(&self.id, entry));
        if matches!(entry.stamped.input, Input::Gps(_)) {
            // What the fold passes over is no position.
            let _ = fold.take(&entry.stamped);
            self.collect();
        }
    }

    fn collect(&mut self) {
        let Some(fold) = &mut self.fold else { return };
        let news: Vec<News> = fold.news().collect();
        for news in news {
            match news {
                News::Fix(epoch, None) if self.waiting.len() < WAITING => self.waiting.push(epoch),
                News::Fix(epoch, utc) => {
                    self.release();
                    self.ready.push_back((epoch, utc));
                }
                _ => {}
            }
        }
    }

    /// Dates what waited, as well as that can be done now.
    fn release(&mut self) {
        let Some(fold) = &self.fold else { return };
        self.ready.extend(self.waiting.drain(..).map(|epoch| {
            let utc = fold.haul().utc_at(epoch.t);
            (epoch, utc)
        }));
    }
}

impl Iterator for Track {
    type Item = Result<(Epoch, Option<Utc>)>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(fix) = self.ready.pop_front() {
                return Some(Ok(fix));
            }
            if self.ended {
                return None;
            }
            match self.journal.next() {
                Some(Ok(entry)) => self.take(&entry),
                Some(Err(e)) => return Some(Err(e.into())),
                None => {
                    self.ended = true;
                    if let Some(fold) = &mut self.fold {
                        fold.finish();
                    }
                    self.collect();
                    self.release();
                }
            }
        }
    }
}

fn row(epoch: &Epoch, utc: Option<Utc>) -> rows::Fix {
    let sd_m = epoch.lat_sd_m.zip(epoch.lon_sd_m).map(|(lat, lon)| ((lat * lat + lon * lon) / 2.0).sqrt());
    rows::Fix {
        at: utc.map(|utc| utc.to_string()),
        lat: round(epoch.lat, 8),
        lon: round(epoch.lon, 8),
        quality: epoch.quality,
        hdop: epoch.hdop,
        sd_m: sd_m.map(|m| round(m, 3)),
        speed_m_s: epoch.speed_m_s.map(|v| round(v, 3)),
    }
}
