//! How often the right trap is found: simulated trips over strings near and far, in order and jumbled, with good and
//! poor receivers, on five places of the earth.
//!
//! ```text
//! cargo bench -p gunwale-protocol --bench pairing             # the seeds that are reported
//! cargo bench -p gunwale-protocol --bench pairing -- --tune   # the seeds to tune on
//! cargo bench -p gunwale-protocol --bench pairing -- --quick  # a quarter of the trips
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark fails by panicking")]

#[path = "pairing/chance.rs"]
mod chance;
#[path = "pairing/cost.rs"]
mod cost;
#[path = "pairing/receiver.rs"]
mod receiver;
#[path = "pairing/score.rs"]
mod score;
#[path = "pairing/sea.rs"]
mod sea;
#[path = "pairing/table.rs"]
mod table;

use std::sync::Mutex;

use score::{Crew, Score, Told};
use sea::{Layout, Waters};

/// Traps of one string.
const TRAPS: usize = 24;
/// Mid latitude, the equator, the south, both sides of 180°, and the far north.
const PLACES: [(f64, f64); 5] = [(24.79, -81.68), (0.0, 9.5), (-33.9, 151.3), (-17.0, 180.0), (70.0, 20.0)];
/// Wandering error, metres on each axis, and epochs a second.
const RECEIVERS: [(f64, f64); 4] = [(1.0, 10.0), (2.0, 5.0), (3.5, 1.0), (5.0, 1.0)];

/// What is told apart: how the traps lie, and whether in order.
type Cell = (Layout, bool);

fn main() {
    let has = |flag: &str| std::env::args().any(|arg| arg == flag);
    let first = if has("--tune") { 100_000 } else { 900_000 };
    let rounds = if has("--quick") { 1 } else { 4 };
    let mut waters: Vec<(Cell, Waters)> = Vec::new();
    for layout in [Layout::Line, Layout::Grid, Layout::Scattered] {
        for jumbled in [false, true] {
            for round in 0..rounds {
                for gap_m in [15.0, 25.0, 40.0, 80.0] {
                    for (receiver_sd_m, hz) in RECEIVERS {
                        let n = waters.len();
                        let seed = first + n as u64 + round as u64 * 7_919;
                        let (drift_m_s, tau_s) = ([0.0, 0.25, 0.5][n % 3], [60.0, 240.0, 600.0][n / 3 % 3]);
                        let at = PLACES[n % PLACES.len()];
                        let traps = TRAPS;
                        let w = Waters {
                            seed,
                            traps,
                            layout,
                            gap_m,
                            jumbled,
                            drift_m_s,
                            receiver_sd_m,
                            tau_s,
                            hz,
                            at,
                        };
                        waters.push(((layout, jumbled), w));
                    }
                }
            }
        }
    }
    let crews = [(Crew::Settles, true), (Crew::Numbers, true), (Crew::Silent, true), (Crew::Numbers, false)];
    let scores: Mutex<Vec<(usize, Cell, f64, Score)>> = Mutex::default();
    let next = Mutex::new(waters.iter());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let Some((cell, waters)) = next.lock().unwrap().next() else { return };
                    let told = Told::new(waters);
                    for (number, (crew, register)) in crews.iter().enumerate() {
                        let score = told.score(*crew, *register);
                        scores.lock().unwrap().push((number, *cell, waters.receiver_sd_m, score));
                    }
                }
            });
        }
    });
    let scores = scores.into_inner().unwrap();
    let heads = [
        "no numbers said, earlier trips settled by the crew",
        "numbers said at three pulls in five, one in fifty wrong; earlier trips settled",
        "no numbers said and nothing ever corrected, over three trips",
        "no register at first; numbers said at three pulls in five; earlier trips settled",
    ];
    for (number, head) in heads.iter().enumerate() {
        let of: Vec<_> = scores.iter().filter(|(n, ..)| *n == number).collect();
        table::pairing(head, &of);
    }
    let all: Vec<_> = scores.iter().filter(|(n, ..)| *n == 0).collect();
    table::places(&all);
    cost::table();
}
