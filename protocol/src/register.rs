//! The trap register: where each trap lies, as the time goes on.
//!
//! The register is never stored: it is what statements (imports, `traps add`, `retire`) and the sets of earlier pulls
//! make of it, in order of time. A position stated without a time holds for all time before; from the moment it was
//! stated it also stands over older sets, for that is what a person who mends the register means.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::finding::Spot;
use crate::input::{Stated, Statement, TrapPlace};
use crate::place::{LatLon, Places};
use crate::time::Utc;

/// Standard deviation on each axis of a position stated by a person or a file, metres. Common practice, no source.
const STATED_SD_M: f64 = 5.0;

/// Where an entry's place comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// Imported or added by a person.
    Stated,
    /// Where a pull or a set put it down.
    Set,
}

/// One trap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its name.
    pub trap: String,
    /// Where it lies, or lay last.
    pub spot: Spot,
    /// When it was last set, if known.
    pub set_at: Option<Utc>,
    /// Where the place comes from.
    pub source: Source,
    /// Taken home, or no longer fished: no candidate until set or stated again.
    pub ashore: bool,
    /// Retired by a person.
    pub retired: bool,
}

#[derive(Debug, Clone, PartialEq)]
enum Change {
    Place { spot: Spot, set_at: Option<Utc> },
    Retire,
}

/// The register at one moment, able to move forward in time.
#[derive(Debug, Clone, Default)]
pub struct Register {
    entries: BTreeMap<String, Entry>,
    places: Places<String>,
    widest_m: f64,
    /// What persons stated, latest first, each from the moment it takes effect.
    ahead: Vec<(Option<Utc>, String, Change)>,
}

impl Register {
    /// The register before all time, from everything ever stated.
    pub fn new<'a>(statements: impl IntoIterator<Item = &'a Statement>) -> Register {
        let mut ahead = Vec::new();
        for statement in statements {
            let Stated::Trap(stated) = &statement.said else { continue };
            let name = stated.trap.clone();
            match &stated.place {
                TrapPlace::Position { lat, lon, set_at } => {
                    let spot = Spot { lat: *lat, lon: *lon, sd_m: STATED_SD_M };
                    match set_at.as_deref().and_then(Utc::parse) {
                        Some(at) => ahead.push((Some(at), name, Change::Place { spot, set_at: Some(at) })),
                        None => {
                            ahead.push((None, name.clone(), Change::Place { spot, set_at: None }));
                            ahead.push((Some(statement.at), name, Change::Place { spot, set_at: None }));
                        }
                    }
                }
                TrapPlace::Retired { .. } => ahead.push((Some(statement.at), name, Change::Retire)),
                TrapPlace::Pull { .. } => {}
            }
        }
        // Stable: among changes of one moment the later statement wins, and statements come in order of `at`.
        ahead.sort_by_key(|(at, ..)| *at);
        ahead.reverse();
        let mut register = Register { ahead, ..Register::default() };
        register.apply_until(None);
        register
    }

    /// Moves on to this moment: everything stated to hold by then holds.
    pub fn advance(&mut self, to: Utc) {
        self.apply_until(Some(to));
    }

    /// Moves on beyond everything stated.
    pub fn advance_to_the_end(&mut self) {
        self.apply_until(Some(Utc(i64::MAX)));
    }

    fn apply_until(&mut self, to: Option<Utc>) {
        while let Some((_, trap, change)) = self.ahead.pop_if(|(at, ..)| *at <= to) {
            match change {
                Change::Place { spot, set_at } => {
                    let set_at = set_at.or_else(|| self.entries.get(&trap).and_then(|e| e.set_at));
                    self.put(trap, spot, set_at, Source::Stated);
                }
                Change::Retire => {
                    if let Some(entry) = self.entries.get_mut(&trap) {
                        entry.retired = true;
                        self.places.remove(&trap);
                    }
                }
            }
        }
    }

    /// A pull or set put this trap down here.
    pub fn set(&mut self, trap: &str, spot: Spot, at: Option<Utc>) {
        self.put(trap.to_owned(), spot, at, Source::Set);
    }

    /// The trap was taken in: it lies nowhere until it is set again.
    pub fn take_in(&mut self, trap: &str) {
        if let Some(entry) = self.entries.get_mut(trap) {
            entry.ashore = true;
            entry.set_at = None;
            self.places.remove(&trap.to_owned());
        }
    }

    fn put(&mut self, trap: String, spot: Spot, set_at: Option<Utc>, source: Source) {
        if let Ok(place) = LatLon::new(spot.lat, spot.lon) {
            self.places.insert(trap.clone(), place);
        }
        self.widest_m = self.widest_m.max(spot.sd_m);
        let entry = Entry { trap: trap.clone(), spot, set_at, source, ashore: false, retired: false };
        self.entries.insert(trap, entry);
    }

    /// This trap's entry, whether in the water or not.
    pub fn get(&self, trap: &str) -> Option<&Entry> {
        self.entries.get(trap)
    }

    /// The trap of this name as said: `07` and `7` are the same number unless the register has both.
    pub fn named(&self, said: &str) -> Option<&Entry> {
        let number = |name: &str| name.trim_start_matches('0').to_lowercase();
        self.entries.get(said).or_else(|| {
            let mut same = self.entries.values().filter(|e| number(&e.trap) == number(said));
            same.next().filter(|_| same.next().is_none())
        })
    }

    /// The largest uncertainty of any entry's place, metres on each axis.
    pub fn widest_m(&self) -> f64 {
        self.widest_m
    }

    /// All entries, by name.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.values()
    }

    /// Traps in the water within `reach_m` of a place, with the distance in metres, nearest first.
    pub fn near(&self, spot: &Spot, reach_m: f64) -> Vec<(&Entry, f64)> {
        let Ok(place) = LatLon::new(spot.lat, spot.lon) else { return Vec::new() };
        self.places
            .within(place, reach_m)
            .into_iter()
            .filter_map(|(trap, m)| Some((self.entries.get(trap)?, m)))
            .collect()
    }
}
