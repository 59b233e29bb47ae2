//! The microphone's program while it runs: its sound, and its messages, which go to the log.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::os::fd::AsFd;
use std::process::{ChildStderr, ChildStdout, ExitStatus, Stdio};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};

use crate::voice::child::{Group, StartError};

/// Bytes taken in one read: what a pipe holds.
pub const CHUNK: usize = 65_536;
/// A longer message is cut, bytes.
const LINE_MAX: usize = 200;
/// Messages logged until the microphone's state changes.
const LINES_MAX: usize = 20;

/// What was to be had within the waiting time.
pub enum Got<'a> {
    /// Sound, in bytes.
    Sound(&'a [u8]),
    /// No sound.
    Nothing,
    /// There will be no more.
    End,
}

/// A running program.
pub struct Source {
    group: Group,
    sound: ChildStdout,
    words: Option<ChildStderr>,
    line: Vec<u8>,
    buffer: Vec<u8>,
}

impl Source {
    pub fn start(command: &[String]) -> Result<Source, StartError> {
        let mut group = Group::start(command, None, Stdio::piped(), Stdio::piped())?;
        let (sound, words) = group.pipes().ok_or(StartError::None)?;
        Ok(Source { group, sound, words: Some(words), line: Vec::new(), buffer: vec![0; CHUNK] })
    }

    /// Waits for sound, at most so long; hears the program's messages meanwhile.
    pub fn next(&mut self, wait: Duration, said: &mut Said) -> io::Result<Got<'_>> {
        let events = |fd: &PollFd<'_>| !fd.revents().is_empty();
        let sound = PollFd::new(&self.sound, PollFlags::IN);
        let words = self.words.as_ref().map(|words| PollFd::from_borrowed_fd(words.as_fd(), PollFlags::IN));
        let mut fds: Vec<PollFd<'_>> = std::iter::once(sound).chain(words).collect();
        let wait = Timespec::try_from(wait).ok();
        match poll(&mut fds, wait.as_ref()) {
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        let (sound, words) = (fds.first().is_some_and(events), fds.get(1).is_some_and(events));
        drop(fds);
        if words {
            self.hear(said);
        }
        if !sound {
            return Ok(Got::Nothing);
        }
        let read = loop {
            match self.sound.read(&mut self.buffer) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                read => break read?,
            }
        };
        Ok(if read == 0 { Got::End } else { Got::Sound(self.buffer.get(..read).unwrap_or_default()) })
    }

    /// Ends the program and all it started; how it ended, if it did.
    pub fn end(mut self, said: &mut Said) -> Option<ExitStatus> {
        let status = self.group.end();
        // All writers are gone, so this comes to an end; bounded in case something escaped.
        for _ in 0..16 {
            let Some(words) = &self.words else { break };
            let mut fds = [PollFd::new(words, PollFlags::IN)];
            if poll(&mut fds, Some(&Timespec::default())).unwrap_or(0) == 0 {
                break;
            }
            self.hear(said);
        }
        said.line(&std::mem::take(&mut self.line));
        status
    }

    /// Takes what the program has to say; asked only when there is something.
    fn hear(&mut self, said: &mut Said) {
        let mut bytes = [0; 4_096];
        let read = self.words.as_mut().map_or(Ok(0), |words| words.read(&mut bytes));
        match read {
            Ok(0) => self.words = None,
            Ok(n) => {
                for &byte in bytes.get(..n).unwrap_or_default() {
                    match byte {
                        b'\n' => said.line(&std::mem::take(&mut self.line)),
                        _ if self.line.len() < LINE_MAX => self.line.push(byte),
                        _ => {}
                    }
                }
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(_) => self.words = None,
        }
    }
}

/// What the program said: to the log, each message once and not many, until told that things have changed.
#[derive(Debug, Default)]
pub struct Said {
    logged: VecDeque<String>,
    last: String,
}

impl Said {
    /// The last message since the program was started.
    pub fn last(&self) -> &str {
        &self.last
    }

    /// A program was started.
    pub fn started(&mut self) {
        self.last.clear();
    }

    /// The state is another: messages are news again.
    pub fn changed(&mut self) {
        self.logged.clear();
    }

    fn line(&mut self, line: &[u8]) {
        let text = String::from_utf8_lossy(line).trim().replace(char::is_control, " ");
        if text.is_empty() {
            return;
        }
        self.last.clone_from(&text);
        if self.logged.len() >= LINES_MAX || self.logged.contains(&text) {
            return;
        }
        tracing::info!("its program says: {text}");
        self.logged.push_back(text);
        if self.logged.len() == LINES_MAX {
            tracing::info!("its program says more, which is left out");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_cut_and_few() {
        let mut said = Said::default();
        for n in 0..100 {
            said.line(format!("  over\trun {}\r", n / 2).as_bytes());
        }
        assert_eq!(said.logged.len(), LINES_MAX);
        assert_eq!(said.last(), "over run 49");
        said.line(b" \r");
        assert_eq!(said.last(), "over run 49");
        said.changed();
        said.line(b"\xff gone");
        assert_eq!(said.logged, ["\u{fffd} gone"]);
        said.started();
        assert_eq!(said.last(), "");
    }

    #[test]
    fn sound_and_messages_are_told_apart_and_both_are_heard() {
        let script = "head -c 100 /dev/zero; head -c 300000 /dev/zero | tr '\\0' x >&2; echo >&2; echo bye >&2; exit 3";
        let command = ["sh", "-c", script].map(str::to_owned);
        let (mut source, mut said) = (Source::start(&command).unwrap(), Said::default());
        let mut bytes = 0;
        loop {
            match source.next(Duration::from_secs(5), &mut said).unwrap() {
                Got::Sound(sound) => bytes += sound.len(),
                Got::Nothing => {}
                Got::End => break,
            }
        }
        let status = source.end(&mut said).unwrap();
        assert_eq!((bytes, status.code(), said.last()), (100, Some(3), "bye"));
        assert_eq!(said.logged, ["x".repeat(LINE_MAX), "bye".into()]);
    }
}
