//! Text for voice notes: recognisers that work, that fail in every way, and the two that come with the program.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
#[path = "support/sound.rs"]
mod sound;
mod support;

#[path = "recognise/commands.rs"]
mod commands;
#[path = "recognise/ready.rs"]
mod ready;
#[path = "recognise/stub.rs"]
mod stub;
#[path = "recognise/troubles.rs"]
mod troubles;
