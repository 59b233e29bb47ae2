//! A program run beside the service, with all that it starts itself: they end together.

use std::io;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, ChildStderr, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process_group};

/// How long a killed program may take to be gone; longer only when the system holds it inside a driver.
const LAST_WAIT: Duration = Duration::from_millis(500);
/// How often a program is asked whether it has ended.
const LOOK: Duration = Duration::from_millis(5);

/// Why a program could not be started.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The settings name no program.
    #[error("no program is set")]
    None,
    /// There is no such program.
    #[error("{program} is not installed")]
    Missing {
        /// Its name.
        program: String,
    },
    /// The system will not start it.
    #[error("{program} cannot be started ({error})")]
    Refused {
        /// Its name.
        program: String,
        /// The system's words.
        error: io::Error,
    },
}

/// A running program at the head of a process group of its own. Dropped, it is ended.
#[derive(Debug)]
pub struct Group {
    child: Option<Child>,
}

impl Group {
    /// Starts a program by its name and arguments, with one more argument if given, and nothing to read.
    pub fn start(
        words: &[String],
        last: Option<&Path>,
        out: impl Into<Stdio>,
        err: impl Into<Stdio>,
    ) -> Result<Group, StartError> {
        Group::begin(words, last, None, Stdio::null(), out, err)
    }

    /// Starts a program that is spoken to, with this in its environment: all three of its pipes are ours.
    pub fn spoken_to(
        words: &[String],
        told: (&str, &str),
    ) -> Result<(Group, ChildStdin, ChildStdout, ChildStderr), StartError> {
        let pipes = (Stdio::piped(), Stdio::piped(), Stdio::piped());
        let mut group = Group::begin(words, None, Some(told), pipes.0, pipes.1, pipes.2)?;
        let to = group.child.as_mut().and_then(|child| child.stdin.take());
        let (out, err) = group.pipes().ok_or(StartError::None)?;
        Ok((group, to.ok_or(StartError::None)?, out, err))
    }

    /// Its number, and its group's.
    pub fn pid(&self) -> Option<Pid> {
        self.child.as_ref().and_then(|child| Pid::from_raw(i32::try_from(child.id()).ok()?))
    }

    fn begin(
        words: &[String],
        last: Option<&Path>,
        told: Option<(&str, &str)>,
        input: Stdio,
        out: impl Into<Stdio>,
        err: impl Into<Stdio>,
    ) -> Result<Group, StartError> {
        let (program, args) = words.split_first().ok_or(StartError::None)?;
        let mut command = Command::new(program);
        command.args(args).args(last).envs(told).stdin(input).stdout(out).stderr(err).process_group(0);
        match command.spawn() {
            Ok(child) => Ok(Group { child: Some(child) }),
            Err(e) if e.kind() == io::ErrorKind::NotFound => {
                Err(StartError::Missing { program: program.clone() })
            }
            Err(error) => Err(StartError::Refused { program: program.clone(), error }),
        }
    }

    /// Its output and its messages, where these were asked for as pipes; once.
    pub fn pipes(&mut self) -> Option<(ChildStdout, ChildStderr)> {
        let child = self.child.as_mut()?;
        child.stdout.take().zip(child.stderr.take())
    }

    /// How it ended, if it has.
    pub fn ended(&mut self) -> io::Result<Option<ExitStatus>> {
        let Some(child) = &mut self.child else { return Ok(None) };
        let status = child.try_wait()?;
        if status.is_some() {
            // Its number may be another's by now: nothing is sent to it any more.
            self.child = None;
        }
        Ok(status)
    }

    /// Ends it and all it started; how it ended, if the system let it go in time.
    pub fn end(&mut self) -> Option<ExitStatus> {
        let mut child = self.child.take()?;
        // Before it is waited for: until then nobody else can have its number. An error means that all are gone.
        let _ = i32::try_from(child.id())
            .ok()
            .and_then(Pid::from_raw)
            .map(|pid| kill_process_group(pid, Signal::KILL));
        let began = Instant::now();
        while began.elapsed() < LAST_WAIT {
            if let Ok(Some(status)) = child.try_wait() {
                return Some(status);
            }
            std::thread::sleep(LOOK);
        }
        tracing::warn!(pid = child.id(), "a program does not end: the system holds it, likely in a driver");
        // Waited for elsewhere, so that no dead process stays behind; there is nobody to tell.
        let _ = std::thread::Builder::new().name("reaper".into()).spawn(move || child.wait());
        None
    }
}

impl Drop for Group {
    fn drop(&mut self) {
        self.end();
    }
}
