//! What the program makes of the trips, held against what really happened.

use std::collections::{BTreeMap, BTreeSet};

use gunwale_protocol::finding::{Finding, Stop};
use gunwale_protocol::haul::{Event, Haul};
use gunwale_protocol::input::{Correction, JOURNAL_SCHEMA, Run, Stated, Statement, TrapPlace, TrapStated};
use gunwale_protocol::pairing::{Grade, Row, assign};
use gunwale_protocol::place::{LatLon, Plane};
use gunwale_protocol::record::Record;
use gunwale_protocol::sizes::Sizes;
use gunwale_protocol::time::{DAY, Mono, SECOND, Utc};
use gunwale_protocol::trip::{Entry, Found, Ledger};

use crate::chance::Chance;
use crate::sea::{Metres, Pull, Sea, Trip, Waters, apart, place};

/// Trips of one scenario; the last is scored.
pub const TRIPS: usize = 3;
/// Bounds of the reliability table's bins.
pub const BINS: [f64; 5] = [0.5, 0.7, 0.9, 0.95, 0.99];

/// How the crew helps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crew {
    /// Says no number; wrong answers of earlier trips were corrected at the dock.
    Settles,
    /// The same, and says the trap's number at three pulls in five, one in fifty wrong.
    Numbers,
    /// Never says a number and never corrects anything: errors stay.
    Silent,
}

/// Sums over many pulls.
#[derive(Debug, Clone, Default)]
pub struct Score {
    pub pulls: usize,
    pub found: usize,
    pub records: usize,
    pub invented: usize,
    pub right: usize,
    pub nearest: usize,
    pub limit: usize,
    pub sure: usize,
    pub sure_wrong: usize,
    pub bins: [(usize, f64, usize); BINS.len() + 1],
    /// Metres from the true pick-up: the program's, and the receiver's own error at that moment.
    pub off_m: Vec<f64>,
    pub receiver_off_m: Vec<f64>,
    /// Squared error per axis over the stated variance.
    pub chi: Vec<f64>,
    pub set_off_s: Vec<f64>,
    pub soak_off_min: Vec<f64>,
}

impl Score {
    pub fn add(&mut self, other: &Score) {
        let counts = |s: &Score| {
            [s.pulls, s.found, s.records, s.invented, s.right, s.nearest, s.limit, s.sure, s.sure_wrong]
        };
        let [pulls, found, records, invented, right, nearest, limit, sure, sure_wrong] = counts(other);
        self.pulls += pulls;
        self.found += found;
        self.records += records;
        self.invented += invented;
        self.right += right;
        self.nearest += nearest;
        self.limit += limit;
        self.sure += sure;
        self.sure_wrong += sure_wrong;
        for (mine, its) in self.bins.iter_mut().zip(other.bins) {
            *mine = (mine.0 + its.0, mine.1 + its.1, mine.2 + its.2);
        }
        self.off_m.extend(&other.off_m);
        self.receiver_off_m.extend(&other.receiver_off_m);
        self.chi.extend(&other.chi);
        self.set_off_s.extend(&other.set_off_s);
        self.soak_off_min.extend(&other.soak_off_min);
    }
}

/// A scenario's trips with what the first fold found in each.
pub struct Told {
    plane: Plane,
    register: Vec<Metres>,
    trips: Vec<(Trip, Vec<Stop>)>,
    seed: u64,
    sd_m: f64,
}

impl Told {
    /// Sails the trips and folds each.
    pub fn new(waters: &Waters) -> Told {
        let mut sea = Sea::new(waters.clone());
        let mut chance = Chance::new(waters.seed ^ 0xABCD);
        let mut seen = |at: &Metres| {
            [at[0] + waters.receiver_sd_m * chance.normal(), at[1] + waters.receiver_sd_m * chance.normal()]
        };
        let register = sea.traps.iter().map(&mut seen).collect();
        let plane = sea.plane();
        let trips = (0..TRIPS)
            .map(|number| {
                let trip = sea.trip();
                let stops = fold(&trip, &format!("{:08x}{number:08x}", waters.seed));
                (trip, stops)
            })
            .collect();
        Told { plane, register, trips, seed: waters.seed, sd_m: waters.receiver_sd_m }
    }

    /// Pairs the trips with a crew like this, and scores the last.
    pub fn score(&self, crew: Crew, with_register: bool) -> Score {
        let mut chance = Chance::new(self.seed ^ 0x55AA);
        let mut statements = if with_register { self.imported() } else { Vec::new() };
        let mut said: BTreeMap<String, String> = BTreeMap::new();
        let mut truth: BTreeMap<String, usize> = BTreeMap::new();
        for (number, (trip, stops)) in self.trips.iter().enumerate() {
            for (pull, stop) in matched(trip, stops).into_iter().filter_map(|(p, s)| Some((p, s?))) {
                truth.insert(stop.id.clone(), pull.trap);
                let wrong = chance.happens(0.02);
                if chance.happens(0.6) && crew == Crew::Numbers {
                    let off = if pull.trap > 0 { pull.trap - 1 } else { 1 };
                    said.insert(stop.id.clone(), name(if wrong { off } else { pull.trap }));
                }
                if crew != Crew::Silent && number + 1 < TRIPS {
                    let set = vec![("trap".to_owned(), name(pull.trap))];
                    let said = Stated::Correct(Correction { of: stop.id.clone(), set });
                    statements.push(Statement { at: Utc(4_000_000_000 * SECOND), said });
                }
            }
        }
        let mut ledger = Ledger::new(statements);
        let mut records: BTreeMap<String, Record> = BTreeMap::new();
        for (_, stops) in &self.trips {
            for stop in stops {
                let mut stop = stop.clone();
                if let (Some(number), Some(note)) = (said.get(&stop.id), stop.notes.first_mut()) {
                    note.text = note.text.take().map(|text| format!("trap {number}, {text}"));
                }
                let found = Found {
                    boat: "Tern".into(),
                    timezone: "UTC".into(),
                    rules: None,
                    words: Default::default(),
                    sizes: Sizes::default(),
                    finding: Finding::Stop(stop),
                };
                keep(ledger.settle(found.at()), &mut records);
                ledger.take(found);
            }
        }
        keep(ledger.finish(), &mut records);
        self.judge(&records, &truth)
    }

    fn imported(&self) -> Vec<Statement> {
        let before = self.trips.first().map_or(Utc(0), |(trip, _)| Utc(trip.zero.0 - 2 * DAY));
        let stated = |(trap, at): (usize, &Metres)| {
            let at = place(self.plane, *at);
            let set_at = Some(before.to_string());
            let place = TrapPlace::Position { lat: at.lat(), lon: at.lon(), set_at };
            Statement { at: before, said: Stated::Trap(TrapStated { trap: name(trap), place }) }
        };
        self.register.iter().enumerate().map(stated).collect()
    }

    /// Where the register has each trap before the last trip, if all before was put down right, and when it was set.
    fn true_register(&self) -> Vec<(Metres, Option<i64>)> {
        let mut register: Vec<(Metres, Option<i64>)> = self.register.iter().map(|at| (*at, None)).collect();
        for (trip, _) in self.trips.iter().take(TRIPS - 1) {
            for pull in &trip.pulls {
                register[pull.trap] = (pull.seen_down, Some(trip.zero.0 + pull.set));
            }
        }
        register
    }

    fn judge(&self, records: &BTreeMap<String, Record>, truth: &BTreeMap<String, usize>) -> Score {
        let mut score = Score::default();
        let register = self.true_register();
        let Some((trip, stops)) = self.trips.last() else { return score };
        let best = self.limit(trip, &register);
        let matched = matched(trip, stops);
        score.records = stops.len();
        let used: BTreeSet<&str> =
            matched.iter().filter_map(|(_, s)| Some(s.as_ref()?.id.as_str())).collect();
        score.invented = stops.iter().filter(|stop| !used.contains(stop.id.as_str())).count();
        for ((pull, stop), limit) in matched.iter().zip(best) {
            score.pulls += 1;
            score.limit += usize::from(limit == Some(pull.trap));
            let near = register
                .iter()
                .enumerate()
                .min_by(|a, b| apart(a.1.0, pull.seen_spoke).total_cmp(&apart(b.1.0, pull.seen_spoke)));
            score.nearest += usize::from(near.is_some_and(|(trap, _)| trap == pull.trap));
            let Some(record) = stop.as_ref().and_then(|stop| records.get(&stop.id)) else { continue };
            score.found += 1;
            let right = is_it(record.trap.as_deref(), pull.trap, truth);
            score.right += usize::from(right);
            if record.pairing.grade == Grade::Sure {
                score.sure += 1;
                score.sure_wrong += usize::from(!right);
            }
            let p = record.pairing.probability;
            let bin = BINS.iter().filter(|bound| p >= **bound).count();
            score.bins[bin].0 += 1;
            score.bins[bin].1 += p;
            score.bins[bin].2 += usize::from(right);
            self.judge_places(&mut score, record, pull);
            if let (true, Some(hours), (_, Some(set))) = (right, record.soak_h, register[pull.trap]) {
                let truth_h = (trip.zero.0 + pull.alongside - set) as f64 / (3_600.0 * SECOND as f64);
                score.soak_off_min.push((hours - truth_h).abs() * 60.0);
            }
        }
        score
    }

    fn judge_places(&self, score: &mut Score, record: &Record, pull: &Pull) {
        let Some((trip, _)) = self.trips.last() else { return };
        if let Some(position) = &record.position
            && let Ok(at) = LatLon::new(position.lat, position.lon)
        {
            let at = self.plane.to_xy(at);
            score.off_m.push(apart(at, pull.up));
            score.receiver_off_m.push(apart(pull.seen_up, pull.up));
            score.chi.push(apart(at, pull.up).powi(2) / 2.0 / position.sd_m.powi(2));
        }
        if let Some(at) = record.set.as_ref().and_then(|set| Utc::parse(set.at.as_deref()?)) {
            score.set_off_s.push((at.0 - trip.zero.0 - pull.set).abs() as f64 / SECOND as f64);
        }
    }

    /// The best that place alone can do: the true pick-ups with one receiver's error each, and the assignment with the
    /// least sum of squared distances.
    fn limit(&self, trip: &Trip, register: &[(Metres, Option<i64>)]) -> Vec<Option<usize>> {
        let mut chance = Chance::new(self.seed ^ 0x0F0F);
        let row = |pull: &Pull| {
            let seen = [pull.up[0] + self.sd_m * chance.normal(), pull.up[1] + self.sd_m * chance.normal()];
            let cost = |(trap, (at, _)): (usize, &(Metres, Option<i64>))| (trap, -apart(*at, seen).powi(2));
            Row { candidates: register.iter().enumerate().map(cost).collect(), none: -1e7 }
        };
        assign(&trip.pulls.iter().map(row).collect::<Vec<_>>())
    }
}

/// Whether a record's trap is this one: by its name, or by the name the program gave it when it found it.
fn is_it(trap: Option<&str>, truth: usize, pulls: &BTreeMap<String, usize>) -> bool {
    match trap {
        Some(given) if given.starts_with("new-") => {
            pulls.iter().any(|(id, trap)| *trap == truth && id.starts_with(given.trim_start_matches("new-")))
        }
        trap => trap == Some(name(truth).as_str()),
    }
}

fn name(trap: usize) -> String {
    (trap + 1).to_string()
}

fn keep(outcomes: Vec<(Found, Entry)>, records: &mut BTreeMap<String, Record>) {
    for (_, entry) in outcomes {
        if let Entry::Pull(record) = entry {
            records.insert(record.pull.clone(), *record);
        }
    }
}

/// The first fold of one trip.
fn fold(trip: &Trip, segment: &str) -> Vec<Stop> {
    let run = Run {
        id: segment.to_owned(),
        boat: "Tern".into(),
        timezone: "UTC".into(),
        program: "pairing".into(),
        schema: JOURNAL_SCHEMA,
        system: None,
        rules: None,
        words: Default::default(),
        sizes: Sizes::default(),
    };
    let mut haul = Haul::new(run, Mono(0));
    let mut stops: BTreeMap<String, Stop> = BTreeMap::new();
    let mut drain = |haul: &mut Haul| {
        while let Some(event) = haul.poll() {
            if let Event::Found(Finding::Stop(stop)) = event {
                stops.insert(stop.id.clone(), stop);
            }
        }
    };
    for input in &trip.inputs {
        haul.take(input).expect("a sentence or a note in order");
        drain(&mut haul);
    }
    haul.finish();
    drain(&mut haul);
    let mut stops: Vec<Stop> = stops.into_values().collect();
    stops.sort_by_key(|stop| stop.started.t);
    stops
}

/// Each pull with the record that lies most within it, if that is its own.
fn matched<'a>(trip: &'a Trip, stops: &'a [Stop]) -> Vec<(&'a Pull, Option<&'a Stop>)> {
    let shared = |pull: &Pull, stop: &Stop| {
        let ended = stop.ended.map_or(stop.started.t.0, |ended| ended.t.0);
        ended.min(pull.left) - stop.started.t.0.max(pull.alongside)
    };
    // A record is the pull's that it shares the most time with; of two for one pull the longer counts.
    let owner = |stop: &Stop| {
        let best = trip.pulls.iter().enumerate().max_by_key(|(_, pull)| shared(pull, stop))?;
        Some(best.0).filter(|_| shared(best.1, stop) > 0)
    };
    let owners: Vec<Option<usize>> = stops.iter().map(owner).collect();
    let of = |(number, pull): (usize, &'a Pull)| {
        let own = stops.iter().zip(&owners).filter(|(_, owner)| **owner == Some(number));
        (pull, own.map(|(stop, _)| stop).max_by_key(|stop| shared(pull, stop)))
    };
    trip.pulls.iter().enumerate().map(of).collect()
}
