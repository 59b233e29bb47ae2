//! A running recogniser: requests to its input, lines from its output, its messages, and what it may use of the machine.

use std::fs;
use std::io::{self, Read, Write};
use std::os::fd::AsFd;
use std::process::{ChildStderr, ChildStdin, ChildStdout, ExitStatus};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::process::{Resource, Rlimit, prlimit, setpriority_process};

use super::SPEECH;
use super::answer::LINE_MAX;
use crate::clock::Stop;
use crate::voice::child::{Group, StartError};

/// How far it stands back for the processor.
const NICE: i32 = 10;
/// How long one wait lasts: the longest that a stop is not heeded.
const WAIT: Duration = Duration::from_millis(100);
/// A longer message is cut, bytes.
const MESSAGE_MAX: usize = 200;

/// What came instead of a line.
#[derive(Debug)]
pub enum Silence {
    /// It ended.
    Ended,
    /// Nothing in time.
    Hung,
    /// A line without an end.
    Endless,
    /// The service stops.
    Stopped,
}

/// A running program.
pub struct Talk {
    group: Group,
    to: ChildStdin,
    from: ChildStdout,
    messages: Option<ChildStderr>,
    line: Vec<u8>,
    message: Vec<u8>,
    /// Its last message.
    said: String,
}

impl Talk {
    /// Starts it, told how the crew speaks, at low priority and with at most so much memory of its own, bytes.
    pub fn start(command: &[String], speech: &str, memory: u64) -> Result<Talk, StartError> {
        let (group, to, from, messages) = Group::spoken_to(command, (SPEECH, speech))?;
        if let Some(pid) = group.pid() {
            // A system that does not know these goes without; the time limits hold everywhere.
            let limit = Rlimit { current: Some(memory), maximum: Some(memory) };
            let _ = prlimit(Some(pid), Resource::Data, limit);
            let _ = setpriority_process(Some(pid), NICE);
            // When memory runs out all the same, the system ends this first.
            let _ = fs::write(format!("/proc/{}/oom_score_adj", pid.as_raw_nonzero()), "1000");
        }
        let (line, message, said) = (Vec::new(), Vec::new(), String::new());
        Ok(Talk { group, to, from, messages: Some(messages), line, message, said })
    }

    /// Asks for one file. It holds one request at a time, which a pipe takes whole.
    pub fn ask(&mut self, file: &str) -> io::Result<()> {
        self.to.write_all(format!("{file}\n").as_bytes())
    }

    /// The next line of its output, without its end.
    pub fn line(&mut self, patience: Duration, stop: &Stop) -> Result<Vec<u8>, Silence> {
        let began = Instant::now();
        loop {
            if let Some(end) = self.line.iter().position(|byte| *byte == b'\n') {
                let rest = self.line.split_off(end + 1);
                let mut line = std::mem::replace(&mut self.line, rest);
                line.truncate(end);
                return Ok(line);
            }
            if self.line.len() > LINE_MAX {
                return Err(Silence::Endless);
            }
            if stop.is_set() {
                return Err(Silence::Stopped);
            }
            if began.elapsed() >= patience {
                return Err(Silence::Hung);
            }
            if !self.wait().unwrap_or(false) {
                return Err(Silence::Ended);
            }
        }
    }

    /// Ends it and all it started: how it ended, and its last message.
    pub fn end(mut self) -> (Option<ExitStatus>, String) {
        // One that ends by itself says how; a little time is given for it.
        let status = (0..10).find_map(|_| {
            let ended = self.group.ended().ok().flatten();
            if ended.is_none() {
                std::thread::sleep(Duration::from_millis(10));
            }
            ended
        });
        let status = status.or_else(|| self.group.end());
        for _ in 0..16 {
            let Some(messages) = &self.messages else { break };
            let mut fds = [PollFd::new(messages, PollFlags::IN)];
            if poll(&mut fds, Some(&Timespec::default())).unwrap_or(0) == 0 {
                break;
            }
            self.hear_message();
        }
        self.end_of_message();
        (status, self.said)
    }

    /// Waits a little for output and messages; false when there will be no more output.
    fn wait(&mut self) -> io::Result<bool> {
        let came = |fd: &PollFd<'_>| !fd.revents().is_empty();
        let out = PollFd::new(&self.from, PollFlags::IN);
        let err = self.messages.as_ref().map(|m| PollFd::from_borrowed_fd(m.as_fd(), PollFlags::IN));
        let mut fds: Vec<PollFd<'_>> = std::iter::once(out).chain(err).collect();
        match poll(&mut fds, Timespec::try_from(WAIT).ok().as_ref()) {
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        let (out, err) = (fds.first().is_some_and(came), fds.get(1).is_some_and(came));
        drop(fds);
        if err {
            self.hear_message();
        }
        if !out {
            return Ok(true);
        }
        let mut bytes = [0; 4_096];
        let read = self.from.read(&mut bytes)?;
        self.line.extend(bytes.get(..read).unwrap_or_default());
        Ok(read > 0)
    }

    /// Takes what it has to say; asked only when there is something.
    fn hear_message(&mut self) {
        let mut bytes = [0; 4_096];
        let read = self.messages.as_mut().map_or(Ok(0), |messages| messages.read(&mut bytes));
        let Some(read @ 1..) = read.ok() else {
            self.messages = None;
            return;
        };
        for &byte in bytes.get(..read).unwrap_or_default() {
            match byte {
                b'\n' => self.end_of_message(),
                _ if self.message.len() < MESSAGE_MAX => self.message.push(byte),
                _ => {}
            }
        }
    }

    fn end_of_message(&mut self) {
        let message = std::mem::take(&mut self.message);
        let text = String::from_utf8_lossy(&message).trim().replace(char::is_control, " ");
        if !text.is_empty() {
            tracing::debug!("its program says: {text}");
            self.said = text;
        }
    }
}
