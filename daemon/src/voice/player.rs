//! Playing one sound file through a program of the settings, to its end or until told to stop.

use std::io;
use std::path::Path;
use std::process::{ExitStatus, Stdio};
use std::time::{Duration, Instant};

use super::child::Group;
pub use super::child::StartError;

/// How often it is looked whether a program has ended.
const LOOK: Duration = Duration::from_millis(10);

/// Plays files, one program a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Player {
    /// The program and its arguments; the file's path comes last. It plays the file and ends.
    pub command: Vec<String>,
}

impl Default for Player {
    fn default() -> Player {
        Player { command: vec!["aplay".into(), "-q".into()] }
    }
}

/// Why a file was not played. The text says what to do.
#[derive(Debug, thiserror::Error)]
pub enum PlayError {
    /// The program cannot be started.
    #[error(
        "{0}: install it (aplay is in Debian's alsa-utils), or set another command for the player in gunwale.toml"
    )]
    Start(#[from] StartError),
    /// The program failed.
    #[error(
        "{program} could not play ({status}): check the loudspeaker's plug, and try the player's command of \
         gunwale.toml by hand"
    )]
    Failed {
        /// Its name.
        program: String,
        /// How it ended.
        status: ExitStatus,
    },
    /// The program did not end in time and was killed.
    #[error(
        "{program} did not end within {seconds} s and was killed: check the loudspeaker's plug, and try the \
         player's command of gunwale.toml by hand"
    )]
    Hung {
        /// Its name.
        program: String,
        /// The time it had.
        seconds: u64,
    },
    /// The system does not say whether it has ended.
    #[error("{program} cannot be watched ({error}): restart gunwale")]
    Lost {
        /// Its name.
        program: String,
        /// The system's words.
        error: io::Error,
    },
}

impl Player {
    /// Starts to play a file.
    ///
    /// # Errors
    /// [`PlayError::Start`].
    pub fn start(&self, file: &Path) -> Result<Playing, PlayError> {
        let group = Group::start(&self.command, Some(file), Stdio::null(), Stdio::null())?;
        Ok(Playing { group, program: self.command.first().cloned().unwrap_or_default(), over: false })
    }
}

/// A file being played. Dropped, it is stopped.
#[derive(Debug)]
pub struct Playing {
    group: Group,
    program: String,
    over: bool,
}

impl Playing {
    /// Whether it has been played to its end; true for ever from then on, and after an error.
    ///
    /// # Errors
    /// [`PlayError::Failed`], [`PlayError::Lost`]; once.
    pub fn finished(&mut self) -> Result<bool, PlayError> {
        if self.over {
            return Ok(true);
        }
        match self.group.ended() {
            Ok(None) => Ok(false),
            Ok(Some(status)) => {
                self.over = true;
                if status.success() {
                    return Ok(true);
                }
                Err(PlayError::Failed { program: self.program.clone(), status })
            }
            Err(error) => {
                self.over = true;
                Err(PlayError::Lost { program: self.program.clone(), error })
            }
        }
    }

    /// Waits for its end, at most so long; whether it has come.
    ///
    /// # Errors
    /// As [`Playing::finished`].
    pub fn wait(&mut self, limit: Duration) -> Result<bool, PlayError> {
        let began = Instant::now();
        loop {
            if self.finished()? {
                return Ok(true);
            }
            let left = limit.saturating_sub(began.elapsed());
            if left.is_zero() {
                return Ok(false);
            }
            std::thread::sleep(LOOK.min(left));
        }
    }

    /// Stops it, with all that the program started.
    pub fn stop(mut self) {
        self.group.end();
    }

    /// The error of one that took too long.
    pub fn hung(&self, limit: Duration) -> PlayError {
        PlayError::Hung { program: self.program.clone(), seconds: limit.as_secs() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sh(script: &str) -> Player {
        Player { command: ["sh", "-c", script].map(str::to_owned).to_vec() }
    }

    fn alive(pid: &str) -> bool {
        let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
        !stat.is_empty() && !stat.contains(") Z ")
    }

    #[test]
    fn the_words_say_what_to_do() {
        let error = |player: &Player| player.start(Path::new("/x.wav")).unwrap_err().to_string();
        assert_eq!(
            error(&Player { command: vec!["no-such-player".into()] }),
            "no-such-player is not installed: install it (aplay is in Debian's alsa-utils), or set another command \
             for the player in gunwale.toml"
        );
        assert_eq!(
            error(&Player { command: vec![] }),
            "no program is set: install it (aplay is in Debian's alsa-utils), or set another command for the player \
             in gunwale.toml"
        );
        assert_eq!(
            error(&Player { command: vec!["/".into()] }),
            "/ cannot be started (Permission denied (os error 13)): install it (aplay is in Debian's alsa-utils), or \
             set another command for the player in gunwale.toml"
        );
        let mut playing = sh("exit 4").start(Path::new("/x.wav")).unwrap();
        assert_eq!(
            playing.wait(Duration::from_secs(10)).unwrap_err().to_string(),
            "sh could not play (exit status: 4): check the loudspeaker's plug, and try the player's command of \
             gunwale.toml by hand"
        );
        assert!(playing.finished().unwrap());
        assert_eq!(
            playing.hung(Duration::from_secs(3)).to_string(),
            "sh did not end within 3 s and was killed: check the loudspeaker's plug, and try the player's command of \
             gunwale.toml by hand"
        );
        let error = io::Error::other("gone");
        assert_eq!(
            PlayError::Lost { program: "sh".into(), error }.to_string(),
            "sh cannot be watched (gone): restart gunwale"
        );
    }

    #[test]
    fn the_path_comes_last_and_the_end_is_seen() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a sound; with $odd words.wav");
        std::fs::write(&file, "x").unwrap();
        let mut playing = sh("sleep 0.2; cp \"$0\" \"$0.played\"").start(&file).unwrap();
        assert!(!playing.finished().unwrap());
        assert!(!playing.wait(Duration::from_millis(1)).unwrap());
        assert!(playing.wait(Duration::from_secs(10)).unwrap());
        assert!(playing.finished().unwrap());
        assert!(dir.path().join("a sound; with $odd words.wav.played").exists());
    }

    #[test]
    fn what_is_stopped_or_dropped_leaves_nothing_behind() {
        for drop_it in [false, true] {
            let dir = tempfile::tempdir().unwrap();
            let file = dir.path().join("pids");
            let playing =
                sh("sleep 60 & echo $! > \"$0.new\"; mv \"$0.new\" \"$0\"; wait").start(&file).unwrap();
            let began = Instant::now();
            while !file.exists() {
                assert!(began.elapsed() < Duration::from_secs(10), "the player starts");
                std::thread::sleep(LOOK);
            }
            let pid = std::fs::read_to_string(&file).unwrap().trim().to_owned();
            assert!(alive(&pid));
            let began = Instant::now();
            if drop_it {
                drop(playing)
            } else {
                playing.stop()
            }
            while alive(&pid) {
                assert!(began.elapsed() < Duration::from_secs(1), "the player's own program ends");
                std::thread::sleep(LOOK);
            }
        }
    }
}
