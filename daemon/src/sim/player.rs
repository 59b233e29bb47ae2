//! Plays a simulated day into real pseudo-terminals and a pipe, by the clock, so that the devices' own code reads it.

use std::io::{self, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use gunwale_protocol::time::{Mono, SECOND};
use serialport::{SerialPort, TTYPort};

use super::microphone::{Pipe, Speaker};
use super::{Day, Kind};
use crate::clock::{Clock, Stop};

/// Bytes that may lie unread before more are lost, as on a line to which nobody listens; a terminal holds 4,095.
const UNREAD: u32 = 3_500;

/// The simulated boat's devices in a directory: `gps` and `scale`, each a link to a pseudo-terminal, and `mic`, a named
/// pipe.
#[derive(Debug)]
pub struct Ports {
    gps: Plug,
    scale: Plug,
    mic: Pipe,
}

impl Ports {
    /// Makes the devices in a directory that exists.
    ///
    /// # Errors
    /// When the system has no pseudo-terminal to give, or a link or the pipe cannot be made.
    pub fn new(dir: &Path) -> io::Result<Ports> {
        let plug = |name| Plug::new(dir.join(name));
        Ok(Ports { gps: plug("gps")?, scale: plug("scale")?, mic: Pipe::new(dir.join("mic"))? })
    }

    /// The GPS receiver's path.
    pub fn gps(&self) -> &Path {
        &self.gps.link
    }

    /// The scale's path.
    pub fn scale(&self) -> &Path {
        &self.scale.link
    }

    /// The microphone's path: a pipe out of which sound comes while a day is played, raw 16-bit little-endian samples,
    /// mono, 16 kHz. For one reader at a time.
    pub fn mic(&self) -> &Path {
        self.mic.path()
    }

    fn plug(&mut self, kind: Kind) -> Option<&mut Plug> {
        match kind {
            Kind::Gps => Some(&mut self.gps),
            Kind::Scale => Some(&mut self.scale),
            Kind::Said => None,
        }
    }
}

/// One device: a link, and what it points to while the cable is in.
#[derive(Debug)]
struct Plug {
    link: PathBuf,
    cable: Option<(TTYPort, TTYPort)>,
}

impl Plug {
    fn new(link: PathBuf) -> io::Result<Plug> {
        let mut plug = Plug { link, cable: None };
        plug.put_in()?;
        Ok(plug)
    }

    fn put_in(&mut self) -> io::Result<()> {
        let (master, slave) = TTYPort::pair()?;
        // Clones are closed when another program is started; a cable held there could not be pulled.
        let (mut master, slave) = (master.try_clone_native()?, slave.try_clone_native()?);
        master.set_timeout(Duration::from_millis(1))?;
        let name = slave.name().ok_or_else(|| io::Error::other("a pseudo-terminal without a name"))?;
        if self.link.symlink_metadata().is_ok() {
            std::fs::remove_file(&self.link)?;
        }
        symlink(name, &self.link)?;
        self.cable = Some((master, slave));
        Ok(())
    }

    fn pull_out(&mut self) {
        self.cable = None;
        // It may be gone already, and then it is gone.
        let _ = std::fs::remove_file(&self.link);
    }

    /// Sends a line; says whether it went out.
    fn send(&mut self, text: &str) -> bool {
        let Some((master, slave)) = &mut self.cable else { return false };
        // Writing to a full line would wait for ever, and the day with it.
        let room = slave.bytes_to_read().is_ok_and(|unread| unread <= UNREAD);
        room && master.write_all(format!("{text}\r\n").as_bytes()).is_ok()
    }
}

impl Drop for Plug {
    fn drop(&mut self) {
        self.pull_out();
    }
}

/// A cable that is pulled during the day, and put back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unplug {
    /// Whose cable.
    pub device: Kind,
    /// When, seconds of the day.
    pub at_s: f64,
    /// For how long, seconds.
    pub for_s: f64,
}

impl Unplug {
    /// The scale's, in the middle of the day, for 40 s.
    pub fn midday(day: &Day) -> Unplug {
        Unplug { device: Kind::Scale, at_s: day.seconds() / 2.0, for_s: 40.0 }
    }
}

/// What was played.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Played {
    /// Lines sent to the devices, and things said.
    pub lines: u64,
    /// Lines lost, because the cable was out or nobody listened.
    pub lost: u64,
    /// Whether the day was played to its end.
    pub ended: bool,
}

/// Plays a day from now on, by the clock, until its end or until told to stop. When something is said, the time (since the
/// start, microseconds) and the words are passed to `said`; they are heard in the microphone's pipe from then on.
///
/// # Errors
/// When a cable cannot be put back, or the system has no thread to give.
pub fn play(
    day: &Day,
    ports: &mut Ports,
    unplug: Option<Unplug>,
    clock: &dyn Clock,
    stop: &Stop,
    said: impl FnMut(i64, &str),
) -> io::Result<Played> {
    let zero = clock.now();
    let quit = AtomicBool::new(false);
    let end = zero + (day.seconds() * SECOND as f64) as i64;
    let speaker = Speaker { day, pipe: ports.mic.path().to_owned(), clock, zero, end, stop, quit: &quit };
    std::thread::scope(|scope| {
        let speaker =
            std::thread::Builder::new().name("crew".into()).spawn_scoped(scope, || speaker.speak())?;
        let played = play_lines(day, ports, unplug, (clock, zero), stop, said);
        quit.store(played.is_err(), Ordering::Relaxed);
        // It ends with the day, or when told to; it has nothing to say about it.
        let _ = speaker.join();
        played
    })
}

fn play_lines(
    day: &Day,
    ports: &mut Ports,
    unplug: Option<Unplug>,
    (clock, zero): (&dyn Clock, Mono),
    stop: &Stop,
    mut said: impl FnMut(i64, &str),
) -> io::Result<Played> {
    let mut played = Played::default();
    let mut cut =
        unplug.into_iter().flat_map(|u| [(u.device, u.at_s, false), (u.device, u.at_s + u.for_s, true)]);
    let mut next_cut = cut.next();
    for line in day.lines() {
        if stop.wait(clock.real(zero + line.t_us - clock.now())) {
            return Ok(played);
        }
        while let Some((device, at_s, put_in)) = next_cut
            && line.t_us as f64 >= at_s * SECOND as f64
        {
            match ports.plug(device) {
                Some(plug) if put_in => plug.put_in()?,
                Some(plug) => plug.pull_out(),
                None => {}
            }
            next_cut = cut.next();
        }
        let sent = match ports.plug(line.kind) {
            Some(plug) => plug.send(&line.text),
            None => {
                said(line.t_us, &line.text);
                true
            }
        };
        *(if sent { &mut played.lines } else { &mut played.lost }) += 1;
    }
    played.ended = true;
    Ok(played)
}
