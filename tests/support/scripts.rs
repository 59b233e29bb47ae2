//! Checks by programs that are not ours: Python scripts in `tests/readers`, run where `tests/all` has made the
//! environment for them, else skipped.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::Command;

use crate::support::{fresh, text, write};

/// Where the scripts are.
const SCRIPTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/readers");

/// A script with the interpreter that can run it; `None`, and the test is skipped, where there is none.
pub fn reader(script: &str) -> Option<Command> {
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
pub fn from_all(name: &str) -> Option<std::ffi::OsString> {
    let value = std::env::var_os(name);
    assert!(
        value.is_some() || std::env::var_os("GUNWALE_ALL").is_none(),
        "{name} is not set: tests/all does that"
    );
    value
}

/// Runs a script on some input; panics with its message unless it is content. What it printed.
pub fn content(script: &mut Command, input: &str) -> String {
    let dir = fresh();
    let input = write(dir.path(), "input", input);
    let output = script.stdin(File::open(input).unwrap()).output().expect("the interpreter runs");
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "{script:?}: {}\n{out}\n{err}", output.status);
    out
}
