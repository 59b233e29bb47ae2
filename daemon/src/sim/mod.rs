//! The simulated boat: a whole day's work at sea from one number, for the demo and for tests.
//!
//! A [`Day`] is planned at once (traps, stops, what will be said) and then told line by line, the same each time,
//! in memory that does not grow with its length. [`Day::truth`] says what really happened, so that what the rest of
//! the program makes of the lines can be judged.

mod chart;
mod crew;
mod deck;
mod lines;
mod microphone;
mod motion;
mod player;
mod receiver;
mod rng;
mod scale;
pub mod scenario;
mod sound;
mod speech;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::io::{self, Write};

use gunwale_protocol::time::{SECOND, Utc};
use serde_json::Value;

pub use self::chart::Place;
use self::chart::Xy;
pub use self::crew::number as spoken;
pub use self::lines::Lines;
use self::motion::{Happened, Motion, TICK_S};
pub use self::player::{Played, Ports, Unplug, play};
use self::scenario::{START, Scenario};
pub use self::speech::speech;

/// How the traps lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Two lines, four spacings apart.
    Line,
    /// Rows and columns, one spacing apart.
    Grid,
    /// Anywhere, at least 0.7 of a spacing apart.
    Scattered,
}

/// When the scale is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScaleUse {
    /// Never.
    Off,
    /// While claws are weighed.
    Weighing,
    /// All day.
    AllDay,
}

/// What kind of day. The default is the demo's.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// The number the day comes from.
    pub seed: u64,
    /// Traps pulled. From 10 on the day has its oddities: a registered trap that is forgotten, its neighbour dragged
    /// half way over to it, a trap not in the register, and a stop more at which nothing is said.
    pub pulls: usize,
    /// From trap to trap, metres, give or take a tenth.
    pub spacing_m: f64,
    /// How the traps lie.
    pub layout: Layout,
    /// Position epochs a second, 0.1 to 10; their distance is rounded to tenths of a second.
    pub gps_hz: f64,
    /// Whether the receiver sends GST.
    pub gst: bool,
    /// The wandering part of the receiver's error: standard deviation on each axis, metres.
    pub receiver_sd_m: f64,
    /// Its time constant, seconds.
    pub receiver_tau_s: f64,
    /// Drift while hauling, metres a second, from and to.
    pub drift_m_s: (f64, f64),
    /// Where wind and tide set to, degrees; the lines run east and west.
    pub drift_toward_deg: f64,
    /// Time to work a trap once it is up, seconds, from and to.
    pub haul_s: (f64, f64),
    /// When the scale is on.
    pub scale: ScaleUse,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            seed: 7,
            pulls: 20,
            spacing_m: 35.0,
            layout: Layout::Line,
            gps_hz: 1.0,
            gst: false,
            receiver_sd_m: 1.5,
            receiver_tau_s: 240.0,
            drift_m_s: (0.05, 0.5),
            drift_toward_deg: 180.0,
            haul_s: (90.0, 180.0),
            scale: ScaleUse::AllDay,
        }
    }
}

impl Options {
    /// A full working day: 40 traps in 2.2 h at one epoch a second, about 32,000 lines.
    pub fn forty_traps() -> Options {
        Options { pulls: 40, haul_s: (98.0, 188.0), scale: ScaleUse::Weighing, ..Options::default() }
    }

    /// The longest and densest day: 10 h at ten epochs a second, about 1.1 million lines.
    pub fn ten_hours() -> Options {
        Options { pulls: 185, gps_hz: 10.0, ..Options::forty_traps() }
    }
}

/// What a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A sentence from the receiver.
    Gps,
    /// A frame from the scale.
    Scale,
    /// Something said, as text.
    Said,
}

/// A line of the day.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Line {
    /// When it has come in (or speech begins), microseconds of the day.
    pub t_us: i64,
    /// What it is.
    pub kind: Kind,
    /// Its text without a line end.
    pub text: String,
}

impl Line {
    /// When it has come in, seconds of the day.
    pub fn t_s(&self) -> f64 {
        self.t_us as f64 / SECOND as f64
    }
}

/// A row of the trap register.
#[derive(Debug, Clone, PartialEq)]
pub struct RegisterRow {
    /// The trap.
    pub trap: String,
    /// Degrees north.
    pub lat: f64,
    /// Degrees east.
    pub lon: f64,
    /// When it was set there, RFC 3339.
    pub set_at: String,
}

/// What really happened at one stop.
#[derive(Debug, Clone, PartialEq)]
pub struct TruthPull {
    /// The trap; `None` at the stop where nothing was said.
    pub trap: Option<String>,
    /// Whether it is in the register.
    pub registered: bool,
    /// When she came alongside.
    pub alongside_utc: Utc,
    /// When she got under way.
    pub left_utc: Utc,
    /// Where she came alongside.
    pub pickup: Place,
    /// Where the trap went back; where she lay last at a stop without one.
    pub set: Place,
    /// What should be counted: tally key and value.
    pub tally: BTreeMap<String, Value>,
    /// What the claws weighed, grams.
    pub weights_g: Vec<f64>,
    /// Notes said, late ones with them; none: the stop makes no record.
    pub notes: usize,
    /// Whether the last note was said after leaving.
    pub late: bool,
}

/// A simulated day.
#[derive(Debug, Clone)]
pub struct Day {
    options: Options,
    plan: Scenario,
    truth: Vec<TruthPull>,
    ticks: u64,
}

impl Day {
    /// Plans a day.
    pub fn new(options: Options) -> Day {
        let plan = Scenario::new(&options);
        let mut truth: Vec<TruthPull> = Vec::new();
        let mut ticks = 0;
        for step in Motion::new(&plan, options.seed) {
            ticks = step.tick;
            let utc = START + (step.tick as f64 * TICK_S * SECOND as f64).round() as i64;
            match (step.happened, truth.last_mut()) {
                (Some(Happened::Alongside(at)), _) => truth.extend(came(&plan, at, utc, step.at)),
                (Some(Happened::Set(_, at)), Some(last)) => last.set = at.place(),
                (Some(Happened::Left(_)), Some(last)) => {
                    last.left_utc = utc;
                    if last.trap.is_none() {
                        last.set = step.at.place();
                    }
                }
                _ => {}
            }
        }
        Day { options, plan, truth, ticks }
    }

    /// What kind of day it is.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// How long the day lasts, seconds.
    pub fn seconds(&self) -> f64 {
        self.ticks as f64 * TICK_S
    }

    /// The trap register at the start of the day, in the order the traps are usually pulled.
    pub fn traps(&self) -> Vec<RegisterRow> {
        let row = |trap: &scenario::Trap| {
            let (at, set_at) = trap.register?;
            let Place { lat, lon } = at.place();
            Some(RegisterRow { trap: trap.name.clone(), lat, lon, set_at: set_at.to_string() })
        };
        self.plan.traps.iter().filter_map(row).collect()
    }

    /// Everything that comes in, in order of time.
    pub fn lines(&self) -> Lines<'_> {
        Lines::new(&self.plan, &self.options)
    }

    /// What really happened, stop by stop.
    pub fn truth(&self) -> &[TruthPull] {
        &self.truth
    }

    /// Writes the day as a tape, what is said as text.
    ///
    /// # Errors
    /// Whatever `out` answers.
    pub fn tape(&self, out: &mut impl Write) -> io::Result<()> {
        self.write_lines(out, true)
    }

    /// Writes the day as a tape on which all that is said is in a sound file: one that begins with the day, such as
    /// [`Day::write_sound`] makes.
    ///
    /// # Errors
    /// Whatever `out` answers.
    pub fn spoken_tape(&self, sound: &str, out: &mut impl Write) -> io::Result<()> {
        writeln!(out, "{{\"t\":0.000,\"audio\":{}}}", Value::from(sound))?;
        self.write_lines(out, false)
    }

    fn write_lines(&self, out: &mut impl Write, texts: bool) -> io::Result<()> {
        for line in self.lines() {
            let key = match line.kind {
                Kind::Gps => "gps",
                Kind::Scale => "scale",
                Kind::Said if texts => "said",
                Kind::Said => continue,
            };
            writeln!(out, "{{\"t\":{:.3},\"{key}\":{}}}", line.t_s(), Value::from(line.text))?;
        }
        Ok(())
    }
}

fn came(plan: &Scenario, stop: usize, utc: Utc, at: Xy) -> Option<TruthPull> {
    let stop = plan.stops.get(stop)?;
    let trap = stop.trap.and_then(|trap| plan.traps.get(trap));
    Some(TruthPull {
        trap: trap.map(|trap| trap.name.clone()),
        registered: trap.is_some_and(|trap| trap.register.is_some()),
        alongside_utc: utc,
        left_utc: utc,
        pickup: at.place(),
        set: at.place(),
        tally: stop.words.tally.clone(),
        weights_g: stop.words.weights_g.clone(),
        notes: stop.words.said.len() + usize::from(stop.words.late.is_some()),
        late: stop.words.late.is_some(),
    })
}
