//! A boat at sea for the tests of stops: how she comes up to buoys, lies, drifts in a chop and leaves, what her receiver
//! makes of it, and what is said. Every figure is drawn from a seed.

use crate::finding::{Finding, Spot, Stop};
use crate::haul::{Event, Haul};
use crate::input::{Input, JOURNAL_SCHEMA, Run, Stamped};
use crate::place::{LatLon, Plane};
use crate::sizes::Sizes;
use crate::time::Mono;

/// One step, seconds.
const TICK_S: f64 = 0.1;

type Xy = [f64; 2];

/// What a day is like.
#[derive(Debug, Clone)]
pub struct Sea {
    pub seed: u64,
    pub pulls: usize,
    /// Metres from a trap to the next.
    pub spacing_m: f64,
    /// Speed of the drift, m/s: least and most.
    pub drift_m_s: (f64, f64),
    /// Metres a second that the boat is thrown to and fro.
    pub chop_m_s: f64,
    pub arrival: Arrival,
    /// To the next trap at no more than a walk, and only if it is this far from where she has drifted to.
    pub walk_m: Option<(f64, f64)>,
    /// Share of the stops at which nothing is said.
    pub silent: f64,
    /// Share of the stops at which she shifts while lying, and how far at most.
    pub shifts: (f64, f64),
    /// The receiver: fixes a second, wandering error and its time constant, whether it tells its error and its speed.
    pub hz: f64,
    pub sd_m: f64,
    pub tau_s: f64,
    pub gst: bool,
    pub doppler: bool,
    /// A place on the way of the string.
    pub at: (f64, f64),
}

/// How she comes up to a buoy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Arrival {
    /// Slowing down early, the last metres ever more slowly.
    Creep,
    /// Slowing down evenly.
    Brisk,
    /// Fast, and stopped with a burst of reverse.
    Reverse,
    /// The last 30…60 m at a metre a second.
    Long,
    /// Any of these.
    Any,
}

impl Default for Sea {
    fn default() -> Sea {
        Sea {
            seed: 1,
            pulls: 20,
            spacing_m: 40.0,
            drift_m_s: (0.0, 0.5),
            chop_m_s: 0.0,
            arrival: Arrival::Any,
            walk_m: None,
            silent: 0.04,
            shifts: (0.12, 6.0),
            hz: 1.0,
            sd_m: 2.0,
            tau_s: 180.0,
            gst: false,
            doppler: true,
            at: (24.8, -81.6),
        }
    }
}

/// What truly happened at a stop. Times in seconds of the day's clock.
#[derive(Debug, Clone)]
pub struct Truth {
    pub came_s: f64,
    pub came: LatLon,
    /// The receiver's error just then, metres.
    pub receiver_m: f64,
    pub left_s: f64,
    pub set_s: f64,
    pub set: LatLon,
    pub said: usize,
}

pub struct Day {
    pub inputs: Vec<Stamped>,
    pub truth: Vec<Truth>,
}

/// Numbers that look random (SplitMix64, Steele and others 2014).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// Normal with standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    fn polar(&mut self, length: f64) -> Xy {
        let angle = self.between(0.0, std::f64::consts::TAU);
        [length * angle.cos(), length * angle.sin()]
    }
}

fn plus(a: Xy, b: Xy, times: f64) -> Xy {
    [a[0] + times * b[0], a[1] + times * b[1]]
}

fn len(a: Xy) -> f64 {
    a[0].hypot(a[1])
}

struct Boat<'a> {
    sea: &'a Sea,
    random: Random,
    plane: Plane,
    tick: u64,
    at: Xy,
    moves: Xy,
    puff: Xy,
    chop: (Xy, f64),
    error: Xy,
    /// How well the receiver's speed is, m/s, and to how many digits of a knot it tells it.
    speed_sd: f64,
    digits: usize,
    inputs: Vec<Stamped>,
}

impl Sea {
    pub fn sail(&self) -> Day {
        let mut random = Random(self.seed);
        let chop = (random.polar(1.0), random.between(0.2, 0.5));
        let (speed_sd, digits) = (random.between(0.05, 0.1), if random.unit() < 0.5 { 1 } else { 2 });
        let error = [random.normal() * self.sd_m, random.normal() * self.sd_m];
        let mut boat = Boat {
            sea: self,
            random,
            plane: Plane::new(LatLon::new(self.at.0, self.at.1).unwrap()),
            tick: 0,
            at: [-150.0, -60.0],
            moves: [0.0; 2],
            puff: [0.0; 2],
            chop,
            error,
            speed_sd,
            digits,
            inputs: Vec::new(),
        };
        let mut truth = Vec::new();
        let wind = boat.random.between(0.0, std::f64::consts::TAU);
        let mut buoy = [0.0, 0.0];
        for n in 0..self.pulls {
            truth.push(boat.stop(buoy, wind, n == 0));
            let turn = if n % 20 == 19 { 4.0 } else { 1.0 };
            buoy = match self.walk_m {
                Some((from, to)) => {
                    let far = boat.random.between(from, to);
                    let away = boat.random.polar(far);
                    plus(boat.at, away, 1.0)
                }
                _ => plus(buoy, [self.spacing_m * boat.random.between(0.9, 1.1), 0.0], turn),
            };
        }
        boat.go([buoy[0] + 500.0, 300.0], 4.0, 0.4, 0.0, 150.0);
        boat.inputs.sort_by_key(|input| input.t);
        Day { inputs: boat.inputs, truth }
    }
}

impl Boat<'_> {
    fn now_s(&self) -> f64 {
        self.tick as f64 * TICK_S
    }

    fn step(&mut self) {
        self.at = plus(self.at, self.moves, TICK_S);
        self.tick += 1;
        let period = (1.0 / (self.sea.hz * TICK_S)).round() as u64;
        if self.tick.is_multiple_of(period) {
            self.tell(period as f64 * TICK_S);
        }
    }

    fn place(&self, at: Xy) -> LatLon {
        self.plane.from_xy(at).unwrap()
    }

    /// Heads for a point by a speed allowed at each distance; gives up after some seconds.
    fn go(&mut self, to: Xy, cruise: f64, slowing: f64, end: f64, most_s: f64) {
        let creep = slowing < 0.0;
        let until = self.now_s() + most_s;
        while self.now_s() < until {
            let ahead = plus(to, self.at, -1.0);
            let left = len(ahead);
            let allowed = if creep {
                let slow = (2.0 * 0.06 * left.min(8.0)).sqrt().max(0.1);
                (slow * slow + 2.0 * 0.4 * (left - 8.0).max(0.0)).sqrt()
            } else {
                (end * end + 2.0 * slowing * left).sqrt().max(0.1)
            };
            let gains = if len(self.moves) < allowed { 0.5 } else { 9.0 };
            let speed = (len(self.moves) + gains * TICK_S).min(allowed).min(cruise);
            if left < 0.3 {
                return;
            }
            // She turns as fast as rudder and engine let her.
            let wanted = plus([0.0; 2], ahead, speed.min(left / TICK_S) / left);
            let news = plus(wanted, self.moves, -1.0);
            let most = 1.5 * TICK_S;
            self.moves = plus(self.moves, news, (most / len(news)).min(1.0));
            self.step();
        }
    }

    /// Comes up to a buoy, lies, works the trap and leaves.
    fn stop(&mut self, buoy: Xy, wind: f64, first: bool) -> Truth {
        let sea = self.sea;
        // To the first she goes as any boat.
        let walking = sea.walk_m.is_some() && !first;
        let cruise = if walking { self.random.between(1.2, 1.5) } else { self.random.between(3.0, 4.5) };
        if !walking && len(plus(buoy, self.at, -1.0)) < 25.0 {
            // Round by the side, to come up at a proper distance.
            let side = self.random.polar(30.0);
            self.go(plus(buoy, side, 1.0), cruise, 0.4, 1.8, 60.0);
        }
        let arrival = match sea.arrival {
            Arrival::Any => [Arrival::Creep, Arrival::Brisk, Arrival::Reverse, Arrival::Long]
                [self.random.between(0.0, 4.0) as usize],
            given => given,
        };
        match arrival {
            Arrival::Creep => self.go(buoy, cruise, -1.0, 0.0, 600.0),
            Arrival::Brisk => {
                let (slowing, end) = (self.random.between(0.25, 0.6), self.random.between(0.0, 0.3));
                self.go(buoy, cruise, slowing, end, 600.0);
            }
            Arrival::Reverse => {
                let (slowing, fast) = (self.random.between(1.0, 1.5), self.random.between(2.0, 3.0));
                self.go(buoy, cruise.min(fast), slowing, 0.0, 600.0);
            }
            Arrival::Long | Arrival::Any => {
                let (far, slow) = (self.random.between(30.0, 60.0), self.random.between(0.9, 1.1));
                let ahead = plus(buoy, self.at, -1.0);
                if len(ahead) > far + 5.0 && !walking {
                    self.go(plus(buoy, ahead, -far / len(ahead)), cruise, 0.4, slow, 600.0);
                }
                self.go(buoy, slow, 0.3, 0.1, 600.0);
            }
        }
        let (came_s, came, receiver_m) = (self.now_s(), self.place(self.at), len(self.error));
        let toward = wind + self.random.between(-0.6, 0.6);
        let speed = self.random.between(sea.drift_m_s.0, sea.drift_m_s.1);
        let drift = [speed * toward.cos(), speed * toward.sin()];
        let lies_s = self.random.between(45.0, 180.0);
        let set_s = lies_s - self.random.between(3.0, 8.0);
        let carries_s = self.random.between(0.7, 2.0);
        let shift = (self.random.unit() < sea.shifts.0).then(|| {
            let (from, speed) = (self.random.between(0.35, 0.7) * lies_s, self.random.between(0.9, 1.3));
            let lasts = sea.shifts.1 / speed * self.random.between(0.5, 1.0);
            let way = self.random.polar(speed);
            (from, lasts, way)
        });
        let silent = self.random.unit() < sea.silent;
        let mut said = 0;
        let shares = [(0.05, 0.2, 0.6), (0.5, 0.7, 1.0), (0.8, 0.92, 0.6)];
        for (n, (from, to, chance)) in shares.into_iter().enumerate() {
            if self.random.unit() < chance && !silent {
                let at = came_s + lies_s * self.random.between(from, to);
                said += 1;
                self.say(at, ["trap seven", "four crabs, two keepers", "fresh bait"][n]);
            }
        }
        let mut set = None;
        loop {
            let since = self.now_s() - came_s;
            if since >= lies_s {
                break;
            }
            if since >= set_s && set.is_none() {
                set = Some((self.now_s(), self.place(self.at)));
            }
            let keep = (-TICK_S / 20.0).exp();
            let gust = 0.04 * (1.0 - keep * keep).sqrt();
            self.puff = [0, 1].map(|i| self.puff[i] * keep + gust * self.random.normal());
            let shifting = shift.filter(|(from, lasts, _)| (*from..from + lasts).contains(&since));
            let mut wanted = plus(drift, self.puff, 1.0);
            if let Some((_, _, way)) = shifting {
                wanted = if speed < 0.6 { plus(wanted, way, 1.0) } else { way };
            }
            self.moves = plus(self.moves, plus(wanted, self.moves, -1.0), (TICK_S / carries_s).min(1.0));
            self.step();
        }
        let (set_s, set) = set.unwrap();
        Truth { came_s, came, receiver_m, left_s: self.now_s(), set_s, set, said }
    }

    fn say(&mut self, at_s: f64, text: &str) {
        let t = Mono((at_s * 1e6) as i64 + 7);
        self.inputs.push(Stamped { t, input: Input::Said(text.into()) });
    }

    /// The receiver's sentences.
    fn tell(&mut self, since_s: f64) {
        let sea = self.sea;
        let keep = (-since_s / sea.tau_s).exp();
        let news = sea.sd_m * (1.0 - keep * keep).sqrt();
        self.error = [0, 1].map(|i| self.error[i] * keep + news * self.random.normal());
        let (way, hz) = self.chop;
        let turn = std::f64::consts::TAU * hz;
        let (sin, cos) = (turn * self.now_s()).sin_cos();
        let thrown = plus([0.0; 2], way, sea.chop_m_s / turn * sin);
        let white = [0.3 * self.random.normal(), 0.3 * self.random.normal()];
        let at = self.place(plus(plus(plus(self.at, self.error, 1.0), white, 1.0), thrown, 1.0));
        let mut moves = plus(self.moves, way, sea.chop_m_s * cos);
        moves = [0, 1].map(|i| moves[i] + self.speed_sd * self.random.normal());
        let s = self.now_s();
        let clock = 43_200.0 + s;
        let time = format!("{:02}{:02}{:05.2}", clock as u64 / 3_600, clock as u64 / 60 % 60, clock % 60.0);
        let angle = |value: f64, width: usize, names: [char; 2]| {
            let (value, name) = (value.abs(), names[usize::from(value < 0.0)]);
            format!("{:0width$}{:08.5},{name}", value as u64, (value.fract() * 60.0).min(59.999_99))
        };
        let place = format!("{},{}", angle(at.lat(), 2, ['N', 'S']), angle(at.lon(), 3, ['E', 'W']));
        let knots = len(moves) * 3_600.0 / 1_852.0;
        let course = moves[0].atan2(moves[1]).to_degrees().rem_euclid(360.0);
        let motion = match sea.doppler {
            true => format!("{knots:.*},{:.1}", self.digits, course.min(359.9)),
            false => ",".to_owned(),
        };
        let sd = sea.sd_m.hypot(0.3);
        let mut bodies = vec![
            format!("GPRMC,{time},A,{place},{motion},090227,,,A"),
            format!("GPGGA,{time},{place},1,09,{:.2},0.8,M,-24.6,M,,", sd / 2.5),
        ];
        if sea.gst {
            bodies.push(format!("GPGST,{time},1.0,{sd:.2},{sd:.2},0.0,{sd:.2},{sd:.2},2.0"));
        }
        for (n, body) in bodies.into_iter().enumerate() {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let t = Mono((s * 1e6) as i64 + 90_000 + 8_000 * n as i64);
            self.inputs.push(Stamped { t, input: Input::Gps(format!("${body}*{sum:02X}")) });
        }
    }
}

/// All stops that the fold finds in a day.
pub fn found(day: &Day) -> Vec<Stop> {
    let run = Run {
        id: "a".into(),
        boat: "boat".into(),
        timezone: "UTC".into(),
        program: "test".into(),
        schema: JOURNAL_SCHEMA,
        system: None,
        rules: None,
        words: Default::default(),
        sizes: Sizes::default(),
    };
    let mut haul = Haul::new(run, Mono(0));
    for input in &day.inputs {
        haul.take(input).unwrap();
    }
    haul.finish();
    let stops = std::iter::from_fn(|| haul.poll()).filter_map(|event| match event {
        Event::Found(Finding::Stop(stop)) => Some(stop),
        _ => None,
    });
    stops.collect()
}

/// How well stops were found.
#[derive(Debug, Default, Clone)]
pub struct Score {
    pub pulls: usize,
    pub missed: usize,
    pub invented: usize,
    /// Pick-ups' errors and the receiver's own at those moments, metres.
    pub off_m: Vec<f64>,
    pub receiver_m: Vec<f64>,
    /// Squared errors of pick-ups and sets on an axis, in standard deviations.
    pub squares: Vec<f64>,
    pub set_squares: Vec<f64>,
    /// Seconds by which coming alongside, the set and leaving are told too late.
    pub came_s: Vec<f64>,
    pub set_s: Vec<f64>,
    pub left_s: Vec<f64>,
}

impl Score {
    /// Sails a day, and counts what the fold finds in it.
    pub fn add(&mut self, sea: &Sea) {
        let day = sea.sail();
        let stops = found(&day);
        let mut taken = vec![false; stops.len()];
        let off = |from: LatLon, to: &Spot| Plane::new(from).to_xy(LatLon::new(to.lat, to.lon).unwrap());
        for truth in day.truth.iter().filter(|truth| truth.said > 0) {
            self.pulls += 1;
            let lay = truth.came_s - 30.0..truth.left_s;
            let here = |at: &usize| !taken[*at] && lay.contains(&stops[*at].started.t.s());
            let Some(at) = (0..stops.len()).find(here) else {
                self.missed += 1;
                continue;
            };
            taken[at] = true;
            let stop = &stops[at];
            let spot = stop.position.unwrap();
            let error = off(truth.came, &spot);
            self.off_m.push(len(error));
            self.receiver_m.push(truth.receiver_m);
            self.squares.extend(error.map(|m| (m / spot.sd_m).powi(2)));
            self.came_s.push(stop.started.t.s() - truth.came_s);
            if let (Some(set), Some(ended)) = (&stop.set, &stop.ended) {
                self.set_squares.extend(off(truth.set, &set.spot).map(|m| (m / set.spot.sd_m).powi(2)));
                self.set_s.push(set.at.t.s() - truth.set_s);
                self.left_s.push(ended.t.s() - truth.left_s);
            }
        }
        self.invented += taken.iter().filter(|taken| !**taken).count();
    }

    /// The pick-ups' median error over the receiver's own.
    pub fn ratio(&self) -> f64 {
        at_share(&self.off_m, 0.5) / at_share(&self.receiver_m, 0.5)
    }

    pub fn line(&self) -> String {
        let both = |values: &[f64]| format!("{:.1}/{:.1}", at_share(values, 0.5), at_share(values, 0.95));
        format!(
            "{:4} pulls {:2} missed {:2} invented; off {} m, receiver {}, ratio {:.2}, chi {:.2}; \
             came {} s, set {}, left {}, set chi {:.2}",
            self.pulls,
            self.missed,
            self.invented,
            both(&self.off_m),
            both(&self.receiver_m),
            self.ratio(),
            mean(&self.squares),
            both(&self.came_s),
            both(&self.set_s),
            both(&self.left_s),
            mean(&self.set_squares),
        )
    }
}

pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The magnitude that this share of the values does not exceed.
pub fn at_share(values: &[f64], share: f64) -> f64 {
    let mut sorted: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() as f64 * share) as usize).min(sorted.len() - 1)]
}
