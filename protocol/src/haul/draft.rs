//! A stop while it is being made: what was said, weighed and sensed so far, and what becomes of it.

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

use super::{Event, Happening};
use crate::finding::{Finding, Flag, Loose, Moment, Note, SetDown, Spot, Stop, TimeSource, Weighing};
use crate::input;
use crate::place::{LatLon, distance_m};
use crate::stop::{Fix, Lying, Parted};
use crate::time::{Mono, SECOND, Utc};

/// Fixes farther apart than this leave a gap worth a flag.
const GAP: i64 = 5 * SECOND;
/// Soundings kept for the median: ten minutes at one a second.
const SOUNDINGS: usize = 600;

/// A stop that may become a record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Draft {
    id: String,
    started: Mono,
    ended: Option<Mono>,
    /// Began without a fix: then the boat was here before she was seen to be.
    unseen: bool,
    position: Option<Spot>,
    set: Option<(Mono, Spot)>,
    fixes: u32,
    last_fix: Option<Mono>,
    last_activity: Mono,
    notes: Vec<Note>,
    weighings: Vec<Weighing>,
    /// The first and the last press.
    pressed: Option<(Mono, Mono)>,
    depth_m: Vec<(Mono, f64)>,
    water_c: Vec<(Mono, f64)>,
    /// When each was first and last to be seen.
    flags: BTreeMap<Flag, (Mono, Mono)>,
}

impl Draft {
    /// A stop opened by the line at `line_t`, at `t` on the segment's clock.
    pub fn new(segment: &str, t: Mono, line_t: Mono, unseen: bool) -> Draft {
        Draft {
            id: input::id(segment, "pull", line_t),
            started: t,
            ended: None,
            unseen,
            position: None,
            set: None,
            fixes: 0,
            last_fix: None,
            last_activity: t,
            notes: Vec::new(),
            weighings: Vec::new(),
            pressed: None,
            depth_m: Vec::new(),
            water_c: Vec::new(),
            flags: BTreeMap::new(),
        }
    }

    pub fn id(&self) -> &str {
        &self.id
    }

    pub fn started(&self) -> Mono {
        self.started
    }

    pub fn ended(&self) -> Option<Mono> {
        self.ended
    }

    pub fn last_activity(&self) -> Mono {
        self.last_activity
    }

    /// The last moment at which she is known to have been here.
    pub fn last_known(&self) -> Mono {
        self.last_activity.max(self.last_fix.unwrap_or(self.started))
    }

    /// A stop is a record only when something was said, weighed or pressed.
    pub fn is_record(&self) -> bool {
        self.pressed.is_some() || !self.notes.is_empty() || !self.weighings.is_empty()
    }

    /// Something to know of it shows at `t`.
    pub fn flag(&mut self, flag: Flag, t: Mono) {
        spread(self.flags.entry(flag).or_insert((t, t)), t);
    }

    fn press(&mut self, t: Mono) {
        spread(self.pressed.get_or_insert((t, t)), t);
    }

    pub fn take(&mut self, what: Happening, events: &mut VecDeque<Event>) {
        if !self.is_record() {
            events.push_back(Event::Opened(self.id.clone()));
        }
        let at = match what {
            Happening::Said(note) => {
                self.notes.push(note);
                self.notes.last().map(Note::until)
            }
            Happening::Weighed(weighing) => {
                self.weighings.push(weighing);
                self.weighings.last().map(|w| w.at.t)
            }
            Happening::Pressed(t) => {
                self.press(t);
                Some(t)
            }
        };
        self.last_activity = self.last_activity.max(at.unwrap_or(self.last_activity));
    }

    /// Drops a note; that somebody spoke stays true.
    pub fn forget(&mut self, id: &str) {
        for note in self.notes.extract_if(.., |note| note.id == id).collect::<Vec<_>>() {
            self.press(note.from());
        }
    }

    /// The load put on at `at` weighs this, or is taken off again; that the crew weighed stays true.
    pub fn reweigh(&mut self, at: Mono, weight: Option<(f64, f64)>) {
        let Some(weighing) = self.weighings.iter_mut().find(|weighing| weighing.at.t == at) else { return };
        match weight {
            Some((g, sd_g)) => (weighing.g, weighing.sd_g) = (g, sd_g),
            None => {
                self.weighings.retain(|weighing| weighing.at.t != at);
                self.press(at);
            }
        }
    }

    /// Takes what came after the boat had left.
    pub fn take_late(&mut self, mut what: Happening, events: &mut VecDeque<Event>) {
        if let Happening::Said(note) = &mut what {
            note.late = true;
            let at = note.at.t;
            self.flag(Flag::LateNote, at);
        }
        self.take(what, events);
    }

    pub fn take_fix(&mut self, fix: &Fix) {
        if fix.t - self.last_fix.unwrap_or(self.started) > GAP {
            self.flag(Flag::GpsGap, fix.t);
        }
        self.last_fix = Some(fix.t);
    }

    pub fn take_depth(&mut self, t: Mono, m: f64) {
        if self.depth_m.len() < SOUNDINGS {
            self.depth_m.push((t, m));
        }
    }

    pub fn take_water(&mut self, t: Mono, c: f64) {
        if self.water_c.len() < SOUNDINGS {
            self.water_c.push((t, c));
        }
    }

    /// Makes two of it, the second from coming alongside at another place on; that is handed back. If the places are near
    /// each other, only when something was said, weighed or pressed at both.
    pub fn part(&mut self, segment: &str, at: &Parted) -> Option<Draft> {
        let came = at.came;
        let mut next = Draft::new(segment, came, at.line_t, false);
        next.notes = self.notes.extract_if(.., |note| note.middle() >= came).collect();
        next.weighings = self.weighings.extract_if(.., |weighing| weighing.at.t >= came).collect();
        let pressed = self.pressed;
        (self.pressed, next.pressed) =
            (pressed.and_then(|p| before(p, came)), pressed.and_then(|p| since(p, came)));
        let both = self.is_record() && next.is_record();
        if !at.far && !both {
            self.notes.append(&mut next.notes);
            self.weighings.append(&mut next.weighings);
            self.pressed = pressed;
            return None;
        }
        next.depth_m = self.depth_m.extract_if(.., |(t, _)| *t >= came).collect();
        next.water_c = self.water_c.extract_if(.., |(t, _)| *t >= came).collect();
        next.flags =
            self.flags.iter().filter_map(|(flag, times)| Some((*flag, since(*times, came)?))).collect();
        self.flags =
            self.flags.iter().filter_map(|(flag, times)| Some((*flag, before(*times, came)?))).collect();
        next.last_fix = self.last_fix;
        next.last_activity = self.last_activity.max(came);
        Some(next)
    }

    /// Takes over what a spell of lying still says of the place.
    pub fn settle(&mut self, lying: Option<&Lying>) {
        let Some(lying) = lying else { return };
        self.fixes += lying.fixes();
        if let (None, Some((t, spot))) = (self.position, lying.picked_up()) {
            self.position = Some(spot);
            if !self.unseen {
                self.started = t;
            }
        }
        self.set = lying.set_down().or(self.set);
    }

    pub fn end(&mut self, at: Mono) {
        let at = at.max(self.started);
        if self.last_fix.is_some_and(|t| at - t > GAP) {
            self.flag(Flag::GpsGap, at);
        }
        if self.last_fix.is_none() {
            self.flag(Flag::NoFix, at);
        }
        // That she was leaving shows a moment after she did: what was said in between was late too.
        for note in self.notes.iter_mut().filter(|note| note.at.t > at) {
            note.late = true;
            spread(self.flags.entry(Flag::LateNote).or_insert((at, at)), note.at.t);
        }
        self.ended = Some(at);
    }

    /// The finding this makes, dated by `utc`.
    fn stop(&self, time_source: TimeSource, utc: &impl Fn(Mono) -> Option<Utc>) -> Stop {
        let moment = |t: Mono| Moment { t, utc: utc(t) };
        let mut notes = self.notes.clone();
        notes.iter_mut().for_each(|note| note.at = moment(note.at.t));
        let mut weighings = self.weighings.clone();
        weighings.iter_mut().for_each(|w| w.at = moment(w.at.t));
        Stop {
            id: self.id.clone(),
            started: moment(self.started),
            ended: self.ended.map(moment),
            time_source,
            position: self.position,
            fixes: self.fixes,
            set: self.set.filter(|_| self.ended.is_some()).map(|(t, spot)| SetDown { at: moment(t), spot }),
            notes,
            weighings,
            depth_m: median(&self.depth_m),
            water_c: median(&self.water_c),
            flags: self.flags.keys().copied().collect(),
        }
    }
}

/// Something found: kept as it is until it can be dated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum Thing {
    Stop(Box<Draft>),
    Loose { id: String, what: Happening, spot: Option<Spot> },
}

impl Thing {
    /// What was said or weighed away from any stop. A press alone is nothing to keep.
    pub fn loose(segment: &str, what: Happening, spot: Option<Spot>) -> Option<Thing> {
        let id = match &what {
            Happening::Said(note) => note.id.clone(),
            Happening::Weighed(weighing) => input::id(segment, "weighing", weighing.at.t),
            Happening::Pressed(_) => return None,
        };
        Some(Thing::Loose { id, what, spot })
    }

    /// Drops a note; false when nothing else is in this.
    pub fn forget(&mut self, note: &str) -> bool {
        match self {
            Thing::Stop(draft) => {
                draft.forget(note);
                true
            }
            Thing::Loose { id, .. } => id != note,
        }
    }

    pub fn finding(
        &self,
        time_source: TimeSource,
        doubtful: bool,
        utc: impl Fn(Mono) -> Option<Utc>,
    ) -> Finding {
        let doubt = doubtful.then_some(Flag::DateDoubtful);
        match self {
            Thing::Stop(draft) => {
                let mut stop = draft.stop(time_source, &utc);
                stop.flags.extend(doubt);
                Finding::Stop(stop)
            }
            Thing::Loose { id, what, spot } => {
                let dated = |at: Moment| Moment { t: at.t, utc: utc(at.t) };
                let (note, weighing) = match what.clone() {
                    Happening::Said(note) => (Some(Note { at: dated(note.at), ..note }), None),
                    Happening::Weighed(w) => (None, Some(Weighing { at: dated(w.at), ..w })),
                    Happening::Pressed(_) => (None, None),
                };
                let flags = doubt.into_iter().collect();
                Finding::Loose(Loose { id: id.clone(), note, weighing, spot: *spot, time_source, flags })
            }
        }
    }
}

/// Metres between two places.
pub(super) fn metres(a: &Spot, b: &Spot) -> f64 {
    match (LatLon::new(a.lat, a.lon), LatLon::new(b.lat, b.lon)) {
        (Ok(a), Ok(b)) => distance_m(a, b),
        _ => f64::INFINITY,
    }
}

/// Takes a moment into a span.
fn spread(span: &mut (Mono, Mono), t: Mono) {
    *span = (span.0.min(t), span.1.max(t));
}

/// What of the first and last of some moments is known to lie before `t`; the last of those is not.
fn before((first, last): (Mono, Mono), t: Mono) -> Option<(Mono, Mono)> {
    (first < t).then_some((first, if last < t { last } else { first }))
}

/// The same, from `t` on.
fn since((first, last): (Mono, Mono), t: Mono) -> Option<(Mono, Mono)> {
    (last >= t).then_some((if first < t { last } else { first }, last))
}

fn median(values: &[(Mono, f64)]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match (sorted.len() % 2, sorted.get(middle)) {
        (0, Some(upper)) => sorted.get(middle.wrapping_sub(1)).map(|lower| (lower + upper) / 2.0),
        (_, middle) => middle.copied(),
    }
}
