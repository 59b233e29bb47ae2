//! Playing notes one after another, with keys on a terminal; and writing them as one file.

use std::io::{IsTerminal, Write};
use std::os::fd::AsFd;
use std::path::Path;
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};

use crate::cmd::replay::Item;
use crate::error::{Error, Result};
use crate::voice::player::Player;
use crate::voice::wav::Collection;

/// How long a key is waited for before the player is looked at again.
const LOOK: Duration = Duration::from_millis(50);

/// A note's line: the facts, and what was said as far as known.
pub fn line(item: &Item) -> String {
    match &item.text {
        Some(text) => format!("{}: “{text}”", item.facts),
        None => item.facts.clone(),
    }
}

/// Plays the notes in order. With a person at the keyboard, keys go on, again, back and out.
///
/// # Errors
/// When the player cannot be started.
pub fn play(data: &Path, items: &[Item], player: &[String]) -> Result<()> {
    let player = Player { command: player.to_vec() };
    let mut out = std::io::stdout();
    let keys = Keys::open();
    if keys.is_some() {
        writeln!(out, "keys: space next, a again, b back, q quit")?;
    }
    let mut at = 0;
    while let Some(item) = items.get(at) {
        writeln!(out, "{}", line(item))?;
        out.flush()?;
        let key = match item.file.as_ref().map(|file| data.join(file)) {
            Some(path) if !path.exists() => {
                writeln!(out, "  its sound is no longer there")?;
                None
            }
            Some(path) => {
                let mut playing = player.start(&path)?;
                let key = wait(keys.as_ref(), || Ok(playing.finished()?))?;
                playing.stop();
                key
            }
            None => None,
        };
        match key {
            Some(b'q' | 3 | 4 | 27) => break,
            Some(b'a') => {}
            Some(b'b') => at = at.saturating_sub(1),
            _ => at += 1,
        }
    }
    Ok(())
}

/// Waits for a key or the end of what is playing.
fn wait(keys: Option<&Keys>, mut over: impl FnMut() -> Result<bool>) -> Result<Option<u8>> {
    loop {
        if over()? {
            return Ok(None);
        }
        match keys {
            Some(keys) => {
                if let Some(key @ (b' ' | b'\n' | b'n' | b'a' | b'b' | b'q' | 3 | 4 | 27)) = keys.next(LOOK) {
                    return Ok(Some(key));
                }
            }
            None => std::thread::sleep(LOOK),
        }
    }
}

/// Writes the notes as one file, each with its line as a cue point.
///
/// # Errors
/// When a note cannot be read or the file cannot be written; then there is no file.
pub fn write(data: &Path, items: &[Item], to: &Path) -> Result<()> {
    let mut collection = Collection::create(to)?;
    let mut written = 0;
    for item in items {
        if let Some(path) = item.file.as_ref().map(|file| data.join(file)).filter(|path| path.exists()) {
            collection.add(&path, &line(item))?;
            written += 1;
        }
    }
    if written == 0 {
        return Err(Error::NoSound);
    }
    collection.finish()?;
    println!("{written} notes in {}", to.display());
    Ok(())
}

/// The terminal's keyboard, key by key; as it was before when dropped.
struct Keys(Termios);

impl Keys {
    /// The keyboard, if a person sits at it.
    fn open() -> Option<Keys> {
        let stdin = std::io::stdin();
        if !stdin.is_terminal() || !std::io::stdout().is_terminal() {
            return None;
        }
        let before = tcgetattr(stdin.as_fd()).ok()?;
        let mut raw = before.clone();
        raw.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
        tcsetattr(stdin.as_fd(), OptionalActions::Now, &raw).ok()?;
        Some(Keys(before))
    }

    /// The next key within a span.
    fn next(&self, within: Duration) -> Option<u8> {
        let stdin = std::io::stdin();
        let mut fds = [PollFd::new(&stdin, PollFlags::IN)];
        let within = Timespec { tv_sec: 0, tv_nsec: within.as_nanos().try_into().ok()? };
        let mut key = [0];
        match poll(&mut fds, Some(&within)) {
            // Not through the standard library's buffer, which would take keys out of sight.
            Ok(1..) => (rustix::io::read(stdin.as_fd(), &mut key).ok()? == 1).then_some(key[0]),
            _ => None,
        }
    }
}

impl Drop for Keys {
    fn drop(&mut self) {
        let _ = tcsetattr(std::io::stdin().as_fd(), OptionalActions::Now, &self.0);
    }
}
