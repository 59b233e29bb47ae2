//! The loads of the last minute or two, weighed together: one deck has moved them all.
//!
//! Which sea it was is not known, so the levels are fitted under each of a grid of seas, and each counts as much as it
//! explains the readings: that the sea is uncertain becomes part of the weights' uncertainty.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::fit::{Levels, Point, fit};
use super::reads::Reads;
use super::sample::{Sample, median, push};
use super::sea::Sea;
use crate::time::{Mono, SECOND};

/// Loads are kept this long after they left, microseconds.
const KEPT: i64 = 90 * SECOND;
/// ... at most so many of them.
const MOST_LOADS: usize = 16;
/// ... and so many samples.
const MOST_SAMPLES: usize = 600;
/// The samples kept of one load, the last ones: 30 s.
const MOST_OF_ONE: usize = 300;
/// The end of a load, when a hand comes near, microseconds.
const HAND: i64 = SECOND * 2 / 10;
/// How often the levels are fitted, the last time finely.
const ROUNDS: usize = 3;
/// The time constants with which scales settle, seconds.
const SETTLES_S: (f64, f64) = (0.04, 0.4);
/// ... so after this it has settled, microseconds.
const SETTLED: i64 = SECOND * 8 / 10;
/// Share of a step by which a reading may be off when it has just been made.
const UNSETTLED: f64 = 0.7;
/// ... and by which it may not follow the law of settling.
const UNEVEN: f64 = 0.1;
/// How well the law of the moving deck holds for a reading: tilt, lag and waves that are no swings, as a share of what is
/// moved.
const MISFIT: f64 = 0.003;
/// ... and for a weight as a whole.
const TRUE: f64 = 0.001;
/// A part of a wave says little of the whole: what the motion may add to a weight falls with this time under load,
/// seconds.
const PART_S: f64 = 2.0;
/// Frequencies of the grid, hertz.
const HZ: [f64; 8] = [0.13, 0.16, 0.195, 0.24, 0.29, 0.35, 0.42, 0.51];
/// How the motion is shared between two swings.
const SHARED: [[f64; 2]; 3] = [[0.7, 0.7], [0.95, 0.3], [0.3, 0.95]];
/// The motion over what the readings show of it.
const SHOWN: [f64; 3] = [0.7, 1.4, 2.8];
/// A third of the step from one frequency to the next.
const THIRD: f64 = 1.068;
/// ... and a third of that.
const NINTH: f64 = 1.022;
/// A sea is likely when the logarithm of its likelihood is no further than this from the best.
const LIKELY_LN: f64 = 6.0;
/// Of so many pairs of frequencies it is asked how the motion is shared.
const PAIRS: usize = 10;
/// So many likely seas are looked at more finely.
const FINER: usize = 4;
/// ... and so many of those more finely still.
const FINEST: usize = 3;
/// How fast the swings forget their phase, one over seconds.
const DECAY: f64 = 0.02;
/// ... and when looked at more finely.
const DECAYS: [f64; 3] = [0.004, 0.02, 0.1];
/// The logarithm of the motion is taken for normal about the usual one, with this deviation.
const MOTION_LN_SD: f64 = 1.0;
/// The least motion: a dock, as a share of gravity.
const STILL: f64 = 0.000_5;
/// The most that the readings may show of it.
const WILD: f64 = 0.25;

/// What a load rose from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) enum Base {
    /// Nobody knows.
    Unknown,
    /// The empty scale.
    Empty,
    /// The load since then.
    Load(Mono),
}

/// A level that was held for a while.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Load {
    pub since: Mono,
    pub samples: Vec<Sample>,
    /// The level as it was followed, grams; known once it is left.
    pub level_g: f64,
    /// Nothing lies on the scale; known once it is left.
    pub empty: bool,
    /// What it rose from, and that one's level, grams.
    pub base: Base,
    pub base_g: f64,
    /// What moves with the deck without being shown, grams.
    pub unseen_g: f64,
    /// Told as this weight, which may still be mended.
    pub told: Option<Weight>,
    /// Not to be told, or told for good.
    pub done: bool,
}

/// Grams with one standard deviation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Weight {
    pub g: f64,
    pub sd_g: f64,
}

/// The loads with what each weighs over its base.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Weighed {
    /// For each load over its base, if that is on the shelf too.
    pub weights: Vec<Option<Weight>>,
    /// The likeliest sea.
    pub sea: Sea,
    /// Natural logarithm of how likely the readings are, over all seas and levels, up to a constant.
    pub ln: f64,
    /// The likeliest time constant with which the scale settles, seconds, of the one it was taken for and its neighbours.
    pub settles_s: f64,
}

impl Load {
    pub fn new(since: Mono, base: Base, base_g: f64, unseen_g: f64) -> Load {
        let samples = Vec::new();
        Load {
            since,
            samples,
            level_g: base_g,
            empty: false,
            base,
            base_g,
            unseen_g,
            told: None,
            done: false,
        }
    }

    pub fn push(&mut self, t: Mono, g: f64) {
        push(&mut self.samples, t, g);
        if self.samples.len() > MOST_OF_ONE {
            self.samples.drain(..MOST_OF_ONE / 10);
        }
    }

    /// What came from `at` on becomes a load of its own.
    pub fn split(&mut self, at: Mono, unseen_g: f64) -> Load {
        let from = self.samples.partition_point(|sample| sample.t < at);
        Load { samples: self.samples.split_off(from), ..Load::new(at, Base::Unknown, 0.0, unseen_g) }
    }

    /// Goes on as another one went on.
    pub fn take(&mut self, mut other: Load) {
        self.samples.append(&mut other.samples);
        let over = self.samples.len().saturating_sub(MOST_OF_ONE);
        self.samples.drain(..over);
    }

    /// Rises from that one.
    pub fn rise_from(&mut self, base: &Load) {
        self.base = if base.empty { Base::Empty } else { Base::Load(base.since) };
        self.base_g = base.level_g;
    }

    /// Whether something rose from this one.
    pub fn is(&self, base: Base) -> bool {
        match base {
            Base::Unknown => false,
            Base::Empty => self.empty,
            Base::Load(since) => self.since == since,
        }
    }

    pub fn until(&self) -> Mono {
        self.samples.last().map_or(self.since, |sample| sample.t)
    }

    /// Its samples before `before` without the last ones, when a hand comes near.
    fn lying(&self, before: Mono) -> impl Iterator<Item = &Sample> {
        let end = self.until().min(before - 1);
        let end = end - HAND.min((end - self.since).max(0) / 4);
        self.samples.iter().filter(move |sample| sample.t <= end)
    }

    /// How long it lay, as far as its samples show.
    pub fn seconds(&self) -> f64 {
        self.samples.first().map_or(0.0, |first| (self.until() - first.t) as f64 / SECOND as f64)
    }

    /// About what it weighs, grams.
    pub fn about_g(&self) -> Option<f64> {
        median(self.samples.iter().map(|sample| sample.g))
    }
}

/// Drops what is too old or too much, the oldest first; the last load stays.
pub(super) fn tidy(loads: &mut VecDeque<Load>, now: Mono) {
    let samples = |loads: &VecDeque<Load>| loads.iter().map(|load| load.samples.len()).sum::<usize>();
    while loads.len() > 1
        && (loads.len() > MOST_LOADS
            || samples(loads) > MOST_SAMPLES
            || loads.front().is_some_and(|load| now - load.until() > KEPT))
    {
        loads.pop_front();
    }
}

/// Weighs all loads together, from the readings before `before`; `None` when there is nothing to weigh.
pub(super) fn weigh(loads: &VecDeque<Load>, before: Mono, reads: &Reads) -> Option<Weighed> {
    let levels = Numbers::of(loads, before);
    let mut about: Vec<f64> = loads.iter().map(|load| load.about_g().unwrap_or(0.0)).collect();
    let mut reads = reads.clone();
    let mut weighed = None;
    // What the deck moves and how far the scale settled is known only from the levels, so each round knows better.
    for round in 0..ROUNDS {
        let points = points(loads, before, &levels, &about, &reads);
        let shown = shown(loads, before, &about, &reads).clamp(STILL, WILD);
        let (ln, fits) = fits(&points, levels.count, shown, &reads, round + 1 == ROUNDS);
        let (weights, sea) = mix(loads, &levels, &fits, &reads, shown)?;
        for (about, number) in about.iter_mut().zip(&levels.of) {
            if let Some(number) = *number {
                *about = fits.iter().filter_map(|(share, _, fit)| Some(share * fit.g.get(number)?)).sum();
            }
        }
        reads.settles_s =
            settles_s(&points, levels.count, &sea, reads.settles_s, if round == 0 { 2.0 } else { 1.2 });
        weighed = Some(Weighed { weights, sea, ln, settles_s: reads.settles_s });
    }
    weighed
}

/// The likeliest of a time constant and its neighbours up to `by` times it, seconds.
fn settles_s(points: &[Point], levels: usize, sea: &Sea, settles_s: f64, by: f64) -> f64 {
    let of = |settles_s: f64| Some((fit(points, levels, sea, settles_s)?.ln_likelihood, settles_s));
    let half = by.sqrt();
    let near = [1.0 / by, 1.0 / half, 1.0, half, by]
        .map(|by| (settles_s * by).clamp(SETTLES_S.0, SETTLES_S.1))
        .into_iter()
        .filter_map(of);
    near.max_by(|a, b| a.0.total_cmp(&b.0)).map_or(settles_s, |(_, settles_s)| settles_s)
}

/// Which level of the fit each load is: the empty scale is one, whenever it was empty; of a load without a reading
/// there is none.
struct Numbers {
    of: Vec<Option<usize>>,
    count: usize,
}

impl Numbers {
    fn of(loads: &VecDeque<Load>, before: Mono) -> Numbers {
        let mut empty = None;
        let mut count = 0;
        let mut next = || {
            count += 1;
            count - 1
        };
        let number = |load: &Load| {
            load.lying(before).next()?;
            Some(if load.empty { *empty.get_or_insert_with(&mut next) } else { next() })
        };
        let of = loads.iter().map(number).collect();
        Numbers { of, count }
    }

    fn base(&self, loads: &VecDeque<Load>, load: &Load) -> Option<usize> {
        let at = match load.base {
            Base::Unknown => None,
            base => loads.iter().zip(&self.of).position(|(other, number)| other.is(base) && number.is_some()),
        };
        at.and_then(|at| self.of.get(at).copied().flatten())
    }
}

fn points(
    loads: &VecDeque<Load>,
    before: Mono,
    levels: &Numbers,
    about: &[f64],
    reads: &Reads,
) -> Vec<Point> {
    let Some(zero) = loads.front().map(|load| load.since) else { return Vec::new() };
    let mut points: Vec<Point> = Vec::new();
    for (n, load) in loads.iter().enumerate() {
        let (Some(&level_g), Some(&Some(level))) = (about.get(n), levels.of.get(n)) else { continue };
        let moved_g = if load.empty { load.unseen_g } else { (level_g + load.unseen_g).max(0.0) };
        let jump_g = level_g - load.base_g;
        let (mut fresh, mut settled) = (true, false);
        for sample in load.lying(before) {
            let age = sample.t - load.since;
            let left = (-(age as f64 / SECOND as f64) / reads.settles_s).exp();
            let noise_g2 = reads.noise_g().powi(2) / f64::from(sample.n.max(1));
            let point = Point {
                t_s: (sample.t - zero) as f64 / SECOND as f64,
                g: sample.g,
                noise_g2: noise_g2 + (UNEVEN * jump_g * left).powi(2) + (MISFIT * moved_g).powi(2),
                moved_g,
                fresh_g: std::mem::take(&mut fresh).then_some(UNSETTLED * jump_g * left),
                level,
            };
            // An empty scale that has settled says the same again and again: one point is enough.
            match points.last_mut().filter(|_| settled) {
                Some(last) => last.join(&point),
                None => points.push(point),
            }
            settled = moved_g == 0.0 && age > SETTLED;
        }
    }
    points
}

/// The motion that the readings show, as a share of gravity: their spread about the levels once settled.
fn shown(loads: &VecDeque<Load>, before: Mono, about: &[f64], reads: &Reads) -> f64 {
    let (mut squares, mut moved) = (0.0, 0.0);
    for (load, about_g) in loads.iter().zip(about).filter(|(load, _)| !load.empty) {
        let lying = || load.lying(before).filter(|sample| sample.t - load.since > SETTLED);
        let count = lying().count() as f64;
        let mean_g = lying().map(|sample| sample.g).sum::<f64>() / count.max(1.0);
        let spread: f64 = lying().map(|sample| (sample.g - mean_g).powi(2)).sum();
        squares += spread - count * reads.noise_g().powi(2);
        moved += count * (about_g + load.unseen_g).powi(2);
    }
    if moved > 0.0 { (squares.max(0.0) / moved).sqrt() } else { 0.0 }
}

/// A sea with the logarithm of its likelihood, later the share it counts, and the levels under it.
type Fitted = (f64, Sea, Levels);

/// The levels under each sea, with the share each counts.
fn fits(points: &[Point], levels: usize, shown: f64, reads: &Reads, fine: bool) -> (f64, Vec<Fitted>) {
    let one = |sea: Sea| {
        let [a, b] = sea.share;
        let usual = (a.hypot(b) / reads.motion).ln() / MOTION_LN_SD;
        let levels = fit(points, levels, &sea, reads.settles_s)?;
        Some((levels.ln_likelihood - 0.5 * usual * usual, sea, levels))
    };
    let mut fits: Vec<_> = seas(shown).filter_map(one).collect();
    if fine {
        let steady = |sea: Sea| DECAYS.map(|decay| finer(Sea { decay, ..sea }, THIRD)).concat();
        fits = looked_at(fits, (PAIRS, f64::INFINITY), |sea| moved_by(sea, shown), one);
        fits = looked_at(fits, (FINER, LIKELY_LN), steady, one);
        fits = looked_at(fits, (FINEST, LIKELY_LN), |sea| finer(sea, NINTH).to_vec(), one);
    }
    let best = fits.iter().map(|fit| fit.0).fold(f64::NEG_INFINITY, f64::max);
    fits.retain(|fit| fit.0 > best - 2.0 * LIKELY_LN);
    fits.iter_mut().for_each(|fit| fit.0 = (fit.0 - best).exp());
    let sum: f64 = fits.iter().map(|fit| fit.0).sum();
    fits.iter_mut().for_each(|fit| fit.0 /= sum);
    (best + (sum / fits.len().max(1) as f64).ln(), fits)
}

/// The seas of the grid: all pairs of frequencies, when the motion is shared evenly.
fn seas(shown: f64) -> impl Iterator<Item = Sea> {
    let above = |n: usize| HZ.into_iter().skip(n + 1);
    let pairs = HZ.into_iter().enumerate().flat_map(move |(n, low)| above(n).map(move |high| [low, high]));
    pairs.map(move |hz| Sea { hz, share: SHARED[0].map(|part| part * SHOWN[1] * shown), decay: DECAY })
}

/// One of them, of less and more motion shared in each way.
fn moved_by(sea: Sea, shown: f64) -> Vec<Sea> {
    let one = |shared: [f64; 2], over: f64| Sea { share: shared.map(|part| part * over * shown), ..sea };
    SHARED.iter().flat_map(|shared| SHOWN.map(|over| one(*shared, over))).collect()
}

/// The fits, with the likeliest of them replaced by those of the seas about them: at most `most`, and none further behind
/// the best than this.
fn looked_at(
    mut fits: Vec<Fitted>,
    (most, behind_ln): (usize, f64),
    about: impl Fn(Sea) -> Vec<Sea>,
    one: impl Fn(Sea) -> Option<Fitted>,
) -> Vec<Fitted> {
    fits.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = fits.first().map_or(0.0, |fit| fit.0);
    let likely = fits.partition_point(|fit| fit.0 > best - behind_ln).min(most);
    let rest = fits.split_off(likely);
    fits.iter().flat_map(|(_, sea, _)| about(*sea)).filter_map(one).chain(rest).collect()
}

/// The seas about one of them, further by `by` in both frequencies.
fn finer(sea: Sea, by: f64) -> [Sea; 9] {
    let [low, high] = sea.hz;
    let steps = [1.0 / by, 1.0, by];
    std::array::from_fn(|n| Sea { hz: [low * steps[n / 3], high * steps[n % 3]], ..sea })
}

/// What each load weighs over its base, over all seas.
fn mix(
    loads: &VecDeque<Load>,
    levels: &Numbers,
    fits: &[Fitted],
    reads: &Reads,
    shown: f64,
) -> Option<(Vec<Option<Weight>>, Sea)> {
    let sea = fits.iter().max_by(|a, b| a.0.total_cmp(&b.0))?.1;
    let loaded_s: f64 = loads.iter().filter(|load| !load.empty).map(Load::seconds).sum();
    let [a, b] = sea.share;
    let unseen = a.hypot(b).max(reads.motion) * (-loaded_s / PART_S).exp();
    let weight = |(load, number): (&Load, &Option<usize>)| {
        let (number, base) = ((*number)?, levels.base(loads, load)?);
        if base == number {
            return None;
        }
        let over = |fit: &Levels| Some(fit.g.get(number)? - fit.g.get(base)?);
        let variance = |fit: &Levels| {
            let at = |a: usize, b: usize| fit.covariance.at(a, b);
            at(number, number) + at(base, base) - 2.0 * at(number, base)
        };
        let g: f64 = fits.iter().filter_map(|(share, _, fit)| Some(share * over(fit)?)).sum();
        let spread: f64 = fits
            .iter()
            .filter_map(|(share, _, fit)| Some(share * (variance(fit) + (over(fit)? - g).powi(2))))
            .sum();
        // Readings that the deck moves over several steps of the scale average its rounding away; else it stays.
        let rounded =
            if shown * g.abs() < 0.4 * reads.step_g() { reads.step_g().powi(2) / 12.0 } else { 0.0 };
        Some(Weight { g, sd_g: (spread + rounded + (TRUE.hypot(unseen) * g).powi(2)).sqrt() })
    };
    Some((loads.iter().zip(&levels.of).map(weight).collect(), sea))
}
