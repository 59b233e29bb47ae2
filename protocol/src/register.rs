//! The trap register: where each trap lies, as the time goes on.
//!
//! The register is never stored: it is what statements (imports, `traps add`, `retire`) and the sets of earlier pulls
//! make of it, in order of time. A position stated without a time holds for all time before; from the moment it was
//! stated it also stands over older sets, for that is what a person who mends the register means. A pull of a trap that
//! the register lacks offers a new one where it was set, until somebody names it. Where earlier pulls left it open which
//! of two traps was set where, an entry keeps the other place with its probability, so that a wrong guess mends itself.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::finding::Spot;
use crate::input::{Stated, Statement, TrapPlace};
use crate::place::{LatLon, Places};
use crate::time::{DAY, Utc};

/// Standard deviation on each axis of a position stated by a person or a file, metres. Common practice, no source.
const STATED_SD_M: f64 = 5.0;

/// How much less certain a place becomes in a day, metres on each axis, as the root of the days: gear creeps with the
/// tides. Assumed, no source.
const CREEP_M: f64 = 0.5;
/// ... and never more than this.
const CREPT_M: f64 = 15.0;
/// Other places kept of one trap.
const MOST_DOUBTS: usize = 6;

/// Where an entry's place comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// Imported or added by a person.
    Stated,
    /// Where a pull or a set put it down.
    Set,
    /// A trap not in the register was set here; nobody has named it yet.
    Offered,
}

/// One trap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its name.
    pub trap: String,
    /// Where it lies, or lay last.
    pub spot: Spot,
    /// Since when it is known to lie there: the place grows less certain from then on.
    pub since: Option<Utc>,
    /// Where it may lie instead, likeliest first.
    pub doubts: Vec<Doubt>,
    /// How likely it is a trap of its own: an offered one may be another that went astray, 0…1.
    pub chance: f64,
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

/// Where else a trap may lie.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// The place.
    pub spot: Spot,
    /// How likely, 0…1.
    pub probability: f64,
    /// The trap that was believed to be set there: if it was this one, it has that one's place in the usual order too.
    pub instead_of: Option<String>,
}

/// A place where a trap may lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lair<'a> {
    /// The trap.
    pub entry: &'a Entry,
    /// The place, as uncertain as it is by now.
    pub spot: Spot,
    /// How likely the trap is to lie there rather than at another of its places.
    pub probability: f64,
    /// The trap whose place in the usual order it has.
    pub in_place_of: &'a str,
    /// From where it was asked for, metres.
    pub distance_m: f64,
}

/// The register at one moment, able to move forward in time.
#[derive(Debug, Clone, Default)]
pub struct Register {
    entries: BTreeMap<String, Entry>,
    /// By trap and number: 0 is its place, from 1 on its doubts.
    places: Places<(String, usize)>,
    widest_m: f64,
    now: Option<Utc>,
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

    /// The names of the traps that are fished.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.entries.values().filter(|entry| !entry.retired).map(|entry| entry.trap.as_str())
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
        while let Some((at, trap, change)) = self.ahead.pop_if(|(at, ..)| *at <= to) {
            match change {
                Change::Place { spot, set_at } => {
                    let set_at = set_at.or_else(|| self.entries.get(&trap).and_then(|e| e.set_at));
                    self.put(trap, spot, (at, set_at), Source::Stated);
                }
                Change::Retire => {
                    self.lift(&trap);
                    if let Some(entry) = self.entries.get_mut(&trap) {
                        entry.retired = true;
                    }
                }
            }
        }
        self.now = self.now.max(to);
    }

    /// A pull or set put this trap down here.
    pub fn set(&mut self, trap: &str, spot: Spot, at: Option<Utc>) {
        let offered = self.entries.get(trap).is_some_and(|entry| entry.source == Source::Offered);
        self.put(trap.to_owned(), spot, (at, at), if offered { Source::Offered } else { Source::Set });
    }

    /// A pull put a trap down here that the register did not have.
    pub fn offer(&mut self, trap: &str, spot: Spot, at: Option<Utc>) {
        self.put(trap.to_owned(), spot, (at, at), Source::Offered);
    }

    /// How likely an offered trap is one of its own. Of a trap with a name there is no question.
    pub fn own(&mut self, trap: &str, chance: f64) {
        if let Some(entry) = self.entries.get_mut(trap).filter(|entry| entry.source == Source::Offered) {
            entry.chance = chance.clamp(0.0, 1.0);
        }
    }

    /// An offered trap was named, and takes the place of any trap that bore the name.
    pub fn name(&mut self, offered: &str, trap: &str) {
        self.lift(offered);
        if let Some(entry) = self.entries.remove(offered) {
            self.put(trap.to_owned(), entry.spot, (entry.since, entry.set_at), Source::Set);
        }
    }

    /// The trap was taken in: it lies nowhere until it is set again. One that never had a name is forgotten.
    pub fn take_in(&mut self, trap: &str) {
        self.lift(trap);
        if self.entries.get(trap).is_some_and(|entry| entry.source == Source::Offered) {
            self.entries.remove(trap);
        }
        if let Some(entry) = self.entries.get_mut(trap) {
            entry.ashore = true;
            entry.set_at = None;
        }
    }

    /// Where else this trap may lie; the least likely are left out.
    pub fn doubt(&mut self, trap: &str, mut doubts: Vec<Doubt>) {
        if self.entries.get(trap).is_none_or(|entry| entry.ashore || entry.retired) {
            return;
        }
        doubts.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        doubts.truncate(MOST_DOUBTS);
        (1..=MOST_DOUBTS).for_each(|n| {
            self.places.remove(&(trap.to_owned(), n));
        });
        for (n, doubt) in doubts.iter().enumerate() {
            self.place(trap, n + 1, &doubt.spot);
        }
        if let Some(entry) = self.entries.get_mut(trap) {
            entry.doubts = doubts;
        }
    }

    fn put(&mut self, trap: String, spot: Spot, (since, set_at): (Option<Utc>, Option<Utc>), source: Source) {
        self.lift(&trap);
        self.place(&trap, 0, &spot);
        let (doubts, chance, ashore, retired) = (Vec::new(), 1.0, false, false);
        let entry =
            Entry { trap: trap.clone(), spot, since, doubts, chance, set_at, source, ashore, retired };
        self.entries.insert(trap, entry);
    }

    fn place(&mut self, trap: &str, n: usize, spot: &Spot) {
        if let Ok(place) = LatLon::new(spot.lat, spot.lon) {
            self.places.insert((trap.to_owned(), n), place);
        }
        self.widest_m = self.widest_m.max(spot.sd_m);
    }

    /// Out of the water.
    fn lift(&mut self, trap: &str) {
        (0..=MOST_DOUBTS).for_each(|n| {
            self.places.remove(&(trap.to_owned(), n));
        });
        if let Some(entry) = self.entries.get_mut(trap) {
            entry.doubts.clear();
        }
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

    /// The largest uncertainty any place may have by now, metres on each axis.
    pub fn widest_m(&self) -> f64 {
        self.widest_m.hypot(CREPT_M)
    }

    /// All entries, by name.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.values()
    }

    /// Places of traps in the water within `reach_m` metres, nearest first.
    pub fn near(&self, spot: &Spot, reach_m: f64) -> Vec<Lair<'_>> {
        let Ok(place) = LatLon::new(spot.lat, spot.lon) else { return Vec::new() };
        let lair = |((trap, n), distance_m): (&(String, usize), f64)| {
            let entry = self.entries.get(trap)?;
            let own = entry.trap.as_str();
            let (spot, probability, in_place_of) = match n.checked_sub(1).map(|n| entry.doubts.get(n)) {
                None => {
                    let doubts: f64 = entry.doubts.iter().map(|doubt| doubt.probability).sum();
                    (entry.spot, entry.chance * (1.0 - doubts), own)
                }
                Some(doubt) => {
                    let doubt = doubt?;
                    (doubt.spot, doubt.probability, doubt.instead_of.as_deref().unwrap_or(own))
                }
            };
            let spot = Spot { sd_m: self.aged_m(spot.sd_m, entry.since), ..spot };
            Some(Lair { entry, spot, probability, in_place_of, distance_m })
        };
        self.places.within(place, reach_m).into_iter().filter_map(lair).collect()
    }

    /// How uncertain a place is by now.
    fn aged_m(&self, sd_m: f64, since: Option<Utc>) -> f64 {
        let Some((now, since)) = self.now.zip(since) else { return sd_m };
        // Far times may be as far apart as numbers go.
        let days = now.0.saturating_sub(since.0).max(0) as f64 / DAY as f64;
        sd_m.hypot((CREEP_M * days.sqrt()).min(CREPT_M))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(lat: f64) -> Spot {
        Spot { lat, lon: -81.0, sd_m: 2.0 }
    }

    fn at(days: i64) -> Option<Utc> {
        Some(Utc(days * DAY))
    }

    /// Trap, metres of uncertainty and probability of every place about 24.0 N.
    fn about(register: &Register) -> Vec<(String, f64, f64)> {
        let round = |x: f64| (x * 100.0).round() / 100.0;
        let near = register.near(&spot(24.0), 500.0);
        near.into_iter().map(|l| (l.entry.trap.clone(), round(l.spot.sd_m), round(l.probability))).collect()
    }

    #[test]
    fn places_grow_less_certain_and_a_set_makes_them_certain_again() {
        let mut register = Register::default();
        register.set("7", spot(24.0), at(0));
        for (days, sd_m) in [(0, 2.0), (4, 2.24), (100, 5.39), (1_000_000, 15.13)] {
            register.advance(Utc(days * DAY));
            assert_eq!(about(&register), [("7".to_owned(), sd_m, 1.0)], "{days} days");
            assert!(register.widest_m() >= sd_m);
        }
        register.set("7", spot(24.001), at(1_000_000));
        assert_eq!(about(&register), [("7".to_owned(), 2.0, 1.0)]);
    }

    #[test]
    fn another_place_is_kept_until_the_trap_is_set_again() {
        let mut register = Register::default();
        register.set("7", spot(24.0), at(0));
        let more = [(24.0021, 0.02), (24.0022, 0.01), (24.0023, 0.01), (24.0024, 0.005)];
        let doubts =
            [(24.001, 0.1), (24.002, 0.0001), (24.0005, 0.2), (24.0015, 0.05)].into_iter().chain(more);
        let doubt = |(lat, probability)| Doubt { spot: spot(lat), probability, instead_of: None };
        register.doubt("7", doubts.map(doubt).collect());
        let places = about(&register);
        let probabilities: Vec<f64> = places.iter().map(|(.., p)| *p).collect();
        // The main place first, then six others; the seventh is the least likely.
        assert_eq!(probabilities, [0.61, 0.2, 0.1, 0.05, 0.02, 0.01, 0.01]);
        register.set("7", spot(24.0), at(1));
        assert_eq!(about(&register).len(), 1);
        register.doubt("7", vec![doubt((24.001, 0.5))]);
        register.take_in("7");
        register.doubt("7", vec![doubt((24.001, 0.5))]);
        assert_eq!(about(&register), []);
    }

    #[test]
    fn an_offered_trap_takes_a_name() {
        let mut register = Register::default();
        register.offer("new-1a2b", spot(24.0), at(3));
        assert_eq!(register.get("new-1a2b").map(|entry| entry.source), Some(Source::Offered));
        register.set("new-1a2b", spot(24.0), at(4));
        assert_eq!(register.get("new-1a2b").map(|entry| entry.source), Some(Source::Offered));
        register.name("new-1a2b", "7");
        let seven = register.get("7").unwrap();
        assert_eq!((seven.source, seven.set_at, seven.since), (Source::Set, at(4), at(4)));
        assert!(register.get("new-1a2b").is_none() && about(&register).len() == 1);
        register.offer("new-3c4d", spot(24.0), at(5));
        register.take_in("new-3c4d");
        assert!(register.get("new-3c4d").is_none());
    }
}
