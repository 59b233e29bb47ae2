//! Checks against readers that are not ours: NMEA parsers, GeographicLib, readers of CSV, GeoJSON, GPX and Parquet,
//! query engines, writers of trap files, an assignment solver, a Kalman filter, change points, statistics, almanacs. They
//! run in the Python environment that `tests/all` makes; without it these tests are skipped.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/scripts.rs"]
mod scripts;
mod support;

#[path = "readers/assignment.rs"]
mod assignment;
#[path = "readers/formats.rs"]
mod formats;
#[path = "readers/geodesy.rs"]
mod geodesy;
#[path = "readers/logs.rs"]
mod logs;
#[path = "readers/season.rs"]
mod season;
#[path = "readers/sentences.rs"]
mod sentences;
#[path = "readers/steps.rs"]
mod steps;
#[path = "readers/sun.rs"]
mod sun;
#[path = "readers/tables.rs"]
mod tables;
#[path = "readers/track.rs"]
mod track;

use scripts::{content, from_all, reader};

/// Numbers that look random and are the same every time (SplitMix64, Steele and others 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 ≤ n < `end`.
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end as u64) as usize
    }

    /// 0 ≤ x < 1.
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
}
