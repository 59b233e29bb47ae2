//! How well a heaving boat weighs: simulated placements on simulated decks, beside taking the last reading, the plain
//! mean and the median of the same readings.
//!
//! ```text
//! cargo bench -p gunwale-protocol --bench weighing             # the seeds that are reported
//! cargo bench -p gunwale-protocol --bench weighing -- --tune   # the seeds to tune on
//! cargo bench -p gunwale-protocol --bench weighing -- --quick  # a tenth of the pulls
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark fails by panicking")]

#[path = "pairing/chance.rs"]
#[allow(dead_code, reason = "shared with the benchmark of pairing")]
mod chance;
#[path = "weighing/deck.rs"]
mod deck;
#[path = "weighing/score.rs"]
mod score;

use chance::Chance;
use deck::{Loads, Scale, Sea};
use score::{Item, Score};

/// A range, or a choice.
type Range = (f64, f64);

/// What is weighed, how and on what sea.
#[derive(Clone, Copy)]
struct Case {
    sea: Sea,
    heave_m_s2: Range,
    /// Items of a pull, from and to.
    items: (usize, usize),
    lie_s: Range,
    gap_s: Range,
    /// Grams: median, and spread of the logarithm.
    item_g: Range,
    /// What lies on the scale all the while, grams; none: an empty pan, from which each item is taken off again.
    tub_g: Option<Range>,
    rates_hz: &'static [f64],
    steps_g: &'static [f64],
}

/// Items of four seconds on an empty pan, at half a metre a second squared.
const PAN: Case = Case {
    sea: Sea::Two,
    heave_m_s2: (0.5, 0.5),
    items: (1, 1),
    lie_s: (4.0, 4.0),
    gap_s: (1.5, 3.0),
    item_g: (150.0, 0.35),
    tub_g: None,
    rates_hz: &[5.0, 10.0],
    steps_g: &[1.0, 2.0, 5.0],
};
const ALL: Case =
    Case { heave_m_s2: (0.2, 1.0), items: (1, 8), lie_s: (2.0, 8.0), steps_g: &[1.0, 2.0, 5.0, 10.0], ..PAN };
const TUB: Case =
    Case { tub_g: Some((1_000.0, 4_000.0)), items: (2, 6), lie_s: (4.0, 8.0), heave_m_s2: (0.2, 0.6), ..PAN };

fn main() {
    let has = |flag: &str| std::env::args().any(|arg| arg == flag);
    let first = if has("--tune") { 100_000 } else { 900_000 };
    let pulls = if has("--quick") { 60 } else { 600 };
    println!(
        "{:<40} {:>6} {:>8} {:>7} | {:>6} {:>6} {:>6} {:>6} | {:>6} {:>6} | {:>7} {:>7}",
        "",
        "items",
        "counted",
        "pulls",
        "rms %",
        "last",
        "mean",
        "median",
        "worst",
        "chi²",
        "total %",
        "last"
    );
    let cases: &[(&str, Case)] = &[
        ("4 s, 0.5 m/s², one claw", PAN),
        ("4 s, 0.5 m/s², two claws", Case { items: (2, 2), ..PAN }),
        ("4 s, 0.5 m/s², three to six", Case { items: (3, 6), ..PAN }),
        ("the same, broad sea: one", Case { sea: Sea::Broad, ..PAN }),
        ("the same, broad sea: three to six", Case { sea: Sea::Broad, items: (3, 6), ..PAN }),
        ("2-8 s, 0.2-1.0 m/s², steps 1-10 g", ALL),
        ("the same, broad sea", Case { sea: Sea::Broad, ..ALL }),
        ("one reading a second", Case { rates_hz: &[1.0], lie_s: (3.0, 8.0), ..ALL }),
        ("2 a second", Case { rates_hz: &[2.0], ..ALL }),
        ("20 a second", Case { rates_hz: &[20.0], ..ALL }),
        ("steps of 0.1 g", Case { steps_g: &[0.1], ..ALL }),
        ("steps of 50 g, claws of 300 g", Case { steps_g: &[50.0], item_g: (300.0, 0.1), ..ALL }),
        ("a whole lot of 8 kg", Case { items: (1, 2), item_g: (8_000.0, 0.4), gap_s: (4.0, 8.0), ..ALL }),
        ("on the dock", Case { heave_m_s2: (0.0, 0.01), ..ALL }),
        ("into a tub of 1-4 kg, 0.2-0.6 m/s²", TUB),
        ("the same, broad sea", Case { sea: Sea::Broad, ..TUB }),
        ("into a tub, 0.5-1.0 m/s²", Case { heave_m_s2: (0.5, 1.0), ..TUB }),
    ];
    for (name, case) in cases {
        line(name, &run(case, first, pulls));
    }
}

fn run(case: &Case, first: u64, pulls: u64) -> Score {
    let halves = [0, 1].map(|half| {
        let case = *case;
        std::thread::spawn(move || {
            let mut sum = Score::default();
            (0..pulls).filter(|n| n % 2 == half).for_each(|n| sum.add(&pull(&case, first + n)));
            sum
        })
    });
    let mut sum = Score::default();
    halves.into_iter().for_each(|half| sum.add(&half.join().unwrap()));
    sum
}

fn pull(case: &Case, seed: u64) -> Score {
    let mut chance = Chance::new(seed);
    let between = |range: Range, chance: &mut Chance| chance.between(range.0, range.1);
    let count = case.items.0 + chance.below(case.items.1 - case.items.0 + 1);
    let tub_g = case.tub_g.map_or(0.0, |range| between(range, &mut chance));
    let mut loads: Loads = vec![(0.0, tub_g)];
    let mut t = 6.0;
    let mut base_g = tub_g;
    let mut items = Vec::new();
    for _ in 0..count {
        let g = (case.item_g.0.ln() + case.item_g.1 * chance.normal()).exp().max(60.0);
        let off_s = t + between(case.lie_s, &mut chance);
        items.push(Item { on_s: t, off_s, g, base_g });
        loads.push((t, base_g + g));
        if case.tub_g.is_some() {
            base_g += g;
            t = off_s;
        } else {
            loads.push((off_s, 0.0));
            t = off_s + between(case.gap_s, &mut chance);
        }
    }
    let rate_hz = case.rates_hz[chance.below(case.rates_hz.len())];
    let step_g = case.steps_g[chance.below(case.steps_g.len())];
    let scale =
        Scale { rate_hz, step_g, noise_g: chance.between(0.5, 1.5), lag_s: chance.between(0.05, 0.3) };
    let heave_m_s2 = between(case.heave_m_s2, &mut chance);
    let lift = deck::lift(case.sea, heave_m_s2, t + 4.0, &mut chance);
    let readings = deck::readings(&scale, &loads, &lift, &mut chance);
    score::score(&readings, &items, rate_hz)
}

fn line(name: &str, score: &Score) {
    let [ours, last, mean, median] = score.rms().map(|share| 100.0 * share);
    let [total, total_last] = score.total().map(|share| 100.0 * share);
    println!(
        "{name:<40} {:>6} {:>8.2} {:>7.1} | {ours:>6.2} {last:>6.2} {mean:>6.2} {median:>6.2} | {:>6.1} {:>6.2} | {total:>7.2} {total_last:>7.2}",
        score.items,
        100.0 * score.counted(),
        100.0 * score.whole as f64 / score.pulls as f64,
        100.0 * score.worst,
        score.chi(),
    );
}
