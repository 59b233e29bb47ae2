//! A program run to its end, with its time and its peak memory.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a benchmark fails by panicking")]
#![allow(dead_code, reason = "each benchmark uses its part")]

use std::io::Read;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What a run took.
pub struct Took {
    pub time: Duration,
    /// Peak of resident memory, kB.
    pub peak_kb: u64,
    pub out: String,
}

/// Runs a program; what it prints must fit into a pipe.
pub fn run(command: &mut Command) -> Took {
    let start = Instant::now();
    let mut child = command.stdout(Stdio::piped()).spawn().expect("the program runs");
    let status = format!("/proc/{}/status", child.id());
    let mut peak_kb = 0;
    // The high-water mark only rises; what is missed is what it rises by in the last milliseconds.
    let exit = loop {
        peak_kb = high_water_kb(&status).unwrap_or(peak_kb).max(peak_kb);
        match child.try_wait().expect("a child") {
            Some(exit) => break exit,
            None => std::thread::sleep(Duration::from_millis(2)),
        }
    };
    let time = start.elapsed();
    assert!(exit.success(), "{command:?}: {exit}");
    let mut out = String::new();
    child.stdout.take().expect("its output").read_to_string(&mut out).expect("text");
    Took { time, peak_kb, out }
}

/// The high-water mark of a process, by its file in `/proc`.
fn high_water_kb(status: &str) -> Option<u64> {
    let status = std::fs::read_to_string(status).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}
