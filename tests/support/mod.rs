//! What whole-program tests share: the built binary, data directories of their own, tapes, and records read back.

#![allow(dead_code, reason = "each test uses its part")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// The built `gunwale` with a data directory.
pub fn gunwale(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gunwale"));
    command.arg("--data").arg(data).env_remove("GUNWALE_LOG").env_remove("XDG_DATA_HOME");
    command
}

/// Runs a command to its end; panics with its messages unless it ends well.
pub fn run(data: &Path, args: &[&str]) -> String {
    let output = attempt(data, args);
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "gunwale {args:?}: {}\n{out}\n{err}", output.status);
    out
}

/// Runs a command to its end, however it ends.
pub fn attempt(data: &Path, args: &[&str]) -> Output {
    gunwale(data).args(args).output().expect("the binary runs")
}

/// Bytes as text.
pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A directory of the test's own, gone when dropped.
pub fn fresh() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary directory")
}

/// Writes a file into a directory.
pub fn write(dir: &Path, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, content).expect("a file can be written");
    path
}

/// The pull records, as exported.
pub fn pulls(data: &Path) -> Vec<Value> {
    jsonl(&run(data, &["export", "jsonl"]))
}

/// JSON Lines.
pub fn jsonl(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).expect("a line of JSON")).collect()
}
