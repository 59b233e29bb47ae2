//! The simulated microphone: a named pipe out of which the day's sound comes, by the clock.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use gunwale_protocol::time::{Mono, SECOND};
use rustix::fs::{CWD, Mode, OFlags, mkfifoat};

use super::Day;
use super::sound::BLOCK;
use super::speech::RATE;
use crate::clock::{Clock, Stop};

/// What a step of sound lasts, microseconds.
const BLOCK_US: i64 = BLOCK as i64 * SECOND / RATE as i64;
/// Real time between two goes, at least; in a fast demo many steps are due by then.
const PAUSE: Duration = Duration::from_millis(5);
/// Real time until a full pipe is tried again.
const FULL: Duration = Duration::from_millis(1);
/// Once the day is over, somebody who holds the pipe and does not read is waited for so long.
const PATIENCE: Duration = Duration::from_secs(2);

/// A named pipe that is gone with this.
#[derive(Debug)]
pub struct Pipe(PathBuf);

impl Pipe {
    /// Makes the pipe, in place of whatever is there, for this user alone.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn new(path: PathBuf) -> io::Result<Pipe> {
        if path.symlink_metadata().is_ok() {
            std::fs::remove_file(&path)?;
        }
        mkfifoat(CWD, &path, Mode::RUSR | Mode::WUSR)?;
        Ok(Pipe(path))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Pipe {
    fn drop(&mut self) {
        // It may be gone already, and then it is gone.
        let _ = std::fs::remove_file(&self.0);
    }
}

/// Brings the sound into the pipe.
pub struct Speaker<'a> {
    /// Whose sound it is.
    pub day: &'a Day,
    /// The pipe's path.
    pub pipe: PathBuf,
    /// The clock it keeps to.
    pub clock: &'a dyn Clock,
    /// When the day began on that clock.
    pub zero: Mono,
    /// When it is over.
    pub end: Mono,
    /// Tells it to end, at once.
    pub stop: &'a Stop,
    /// Tells it to end, soon.
    pub quit: &'a AtomicBool,
}

impl Speaker<'_> {
    /// Writes every step as soon as it is over, until the day is. What nobody reads is lost, and the next reader hears
    /// what is due then; a reader who is slow loses nothing, the sound waits for him.
    pub fn speak(&self) {
        let mut sound = self.day.sound();
        let (mut open, mut made, mut samples, mut bytes) = (None, 0, Vec::new(), Vec::new());
        loop {
            // There is no opening for writing while nobody reads.
            open = open.or_else(|| self.open().ok());
            while (made + 1) * BLOCK_US <= self.clock.now() - self.zero {
                let more = match open {
                    Some(_) => sound.hear(&mut samples),
                    None => sound.skip(),
                };
                if !more || self.told() {
                    return;
                }
                bytes.extend(samples.drain(..).flat_map(i16::to_le_bytes));
                // The reader is gone when it cannot be written.
                open = open.filter(|pipe| self.write(pipe, &bytes).is_ok());
                bytes.clear();
                made += 1;
            }
            let next = self.zero + (made + 1) * BLOCK_US;
            if self.stop.wait(self.clock.real(next - self.clock.now()).max(PAUSE)) || self.told() {
                return;
            }
        }
    }

    fn open(&self) -> io::Result<File> {
        let never_wait = OFlags::NONBLOCK.bits().cast_signed();
        OpenOptions::new().write(true).custom_flags(never_wait).open(&self.pipe)
    }

    fn write(&self, mut pipe: &File, mut bytes: &[u8]) -> io::Result<()> {
        let mut moved = Instant::now();
        while !bytes.is_empty() {
            match pipe.write(bytes) {
                Ok(written) => {
                    bytes = bytes.get(written..).unwrap_or_default();
                    moved = Instant::now();
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    let waited = moved.elapsed() > PATIENCE;
                    if self.stop.wait(FULL) || self.told() || waited && self.clock.now() > self.end {
                        return Err(error);
                    }
                }
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    fn told(&self) -> bool {
        self.stop.is_set() || self.quit.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::super::scenario::START;
    use super::super::{Options, Ports, play};
    use super::*;
    use crate::clock::ScaledClock;

    fn day(seed: u64) -> Day {
        Day::new(Options { seed, pulls: 1, ..Options::default() })
    }

    /// The whole sound of a day, as bytes.
    fn whole(day: &Day) -> Vec<u8> {
        let (mut sound, mut samples) = (day.sound(), Vec::new());
        while sound.hear(&mut samples) {}
        samples.into_iter().flat_map(i16::to_le_bytes).collect()
    }

    /// Opens the pipe before anybody writes.
    fn listen(path: &Path) -> File {
        let never_wait = OFlags::NONBLOCK.bits().cast_signed();
        OpenOptions::new().read(true).custom_flags(never_wait).open(path).unwrap()
    }

    /// Reads up to so many bytes, or until the writer is gone.
    fn take(pipe: &mut File, most: usize) -> Vec<u8> {
        let (mut heard, mut buffer) = (Vec::new(), [0; 4_096]);
        while heard.len() < most {
            match pipe.read(&mut buffer) {
                Ok(0) if !heard.is_empty() => break,
                Ok(n) => heard.extend(&buffer[..n]),
                Err(error) => assert_eq!(error.kind(), ErrorKind::WouldBlock),
            }
            if heard.len() % buffer.len() != 0 || heard.is_empty() {
                std::thread::sleep(Duration::from_micros(300));
            }
        }
        heard
    }

    /// Plays a day at so many times the sea's speed while `reader` reads; gives what it returns, and the real time taken.
    fn played<T: Send>(
        day: &Day,
        speed: f64,
        reader: impl FnOnce(&mut File, &Path) -> T + Send,
    ) -> (T, Duration) {
        let dir = tempfile::tempdir().unwrap();
        let mut ports = Ports::new(dir.path()).unwrap();
        let path = ports.mic().to_owned();
        let mut pipe = listen(&path);
        let began = Instant::now();
        std::thread::scope(|scope| {
            let reading = scope.spawn(|| reader(&mut pipe, &path));
            let clock = ScaledClock::new(speed, START);
            let played = play(day, &mut ports, None, &clock, &Stop::new(), |_, _| ()).unwrap();
            assert!(played.ended);
            (reading.join().unwrap(), began.elapsed())
        })
    }

    #[test]
    fn a_reader_hears_the_whole_day_to_the_sample() {
        let day = day(7);
        let (heard, _) = played(&day, 300.0, |pipe, _| take(pipe, usize::MAX));
        let seconds = heard.len() as f64 / 2.0 / f64::from(RATE);
        assert!((seconds - day.seconds()).abs() < 0.5, "{seconds} of {}", day.seconds());
        assert!(heard == whole(&day), "a sample is wrong or missing");
        assert!(heard == whole(&super::tests::day(7)) && heard != whole(&super::tests::day(8)));
    }

    #[test]
    fn a_reader_who_comes_again_hears_what_is_due_then() {
        let day = day(8);
        let rest = |pipe: &mut File, path: &Path| {
            let first = take(pipe, 3_000_000);
            *pipe = File::open("/dev/null").unwrap();
            std::thread::sleep(Duration::from_millis(300));
            *pipe = listen(path);
            (first, take(pipe, usize::MAX))
        };
        let ((first, second), _) = played(&day, 100.0, rest);
        let whole = whole(&day);
        assert!(whole.starts_with(&first), "from the beginning");
        assert!(whole.ends_with(&second), "to the end, whole samples and none out of place");
        let lost = (whole.len() - first.len() - second.len()) as f64 / 2.0 / f64::from(RATE);
        assert!((20.0..120.0).contains(&lost), "{lost} s lost in 30");
    }

    #[test]
    fn a_reader_who_falls_behind_loses_nothing_and_one_who_never_reads_holds_nobody_up() {
        let day = day(9);
        let late = |pipe: &mut File, _: &Path| {
            std::thread::sleep(Duration::from_millis(700));
            take(pipe, usize::MAX)
        };
        let (heard, _) = played(&day, 1_000.0, late);
        assert!(heard == whole(&day), "{} bytes", heard.len());

        let (_, took) = played(&day, 1_000.0, |_, _| ());
        assert!(took < Duration::from_secs(20), "{took:?}");
    }
}
