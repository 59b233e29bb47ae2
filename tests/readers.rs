//! Checks against readers that are not ours: NMEA parsers, GeographicLib, CSV readers, writers of trap files, an
//! assignment solver. They run in the Python environment that `tests/all` makes; without it these tests are skipped.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::Command;

mod support;

#[path = "readers/assignment.rs"]
mod assignment;
#[path = "readers/geodesy.rs"]
mod geodesy;
#[path = "readers/logs.rs"]
mod logs;
#[path = "readers/sentences.rs"]
mod sentences;
#[path = "readers/tables.rs"]
mod tables;

/// Where the scripts are.
const SCRIPTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/readers");

/// A script with the interpreter that can run it; `None`, and the test is skipped, where there is none.
fn reader(script: &str) -> Option<Command> {
    let Some(python) = from_all("GUNWALE_PYTHON") else {
        // Past the test's capture, so that it is seen.
        let _ = writeln!(std::io::stderr(), "skipped, no readers to check {script} with: run tests/all");
        return None;
    };
    let mut command = Command::new(python);
    command.env("PYTHONDONTWRITEBYTECODE", "1").arg(Path::new(SCRIPTS).join(script));
    Some(command)
}

/// What `tests/all` sets. Under it, that must be there.
fn from_all(name: &str) -> Option<std::ffi::OsString> {
    let value = std::env::var_os(name);
    assert!(
        value.is_some() || std::env::var_os("GUNWALE_ALL").is_none(),
        "{name} is not set: tests/all does that"
    );
    value
}

/// Runs a script on some input; panics with its message unless it is content. What it printed.
fn content(script: &mut Command, input: &str) -> String {
    let dir = support::fresh();
    let input = support::write(dir.path(), "input", input);
    let output = script.stdin(File::open(input).unwrap()).output().expect("the interpreter runs");
    let (out, err) = (support::text(&output.stdout), support::text(&output.stderr));
    assert!(output.status.success(), "{script:?}: {}\n{out}\n{err}", output.status);
    out
}

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
