//! The ear of a running service: a thread that listens to the microphone, minds the button and the disk, and tells
//! capture what it found. However busy it is, capture never waits for it.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use gunwale_protocol::input::Stamped;
use gunwale_protocol::listen::Level;

use super::ear::{Around, Ear, Heard};
use super::mic;

/// Below this much room on the disk, bytes, no sound is written: what the sensors and the crew's typing need comes first.
const ROOM: u64 = 100 << 20;
/// Sound is written again only from this much on.
const ROOM_AGAIN: u64 = 150 << 20;
/// How often the disk is looked at.
const LOOK: Duration = Duration::from_secs(10);

/// What the ear is told.
#[derive(Debug)]
pub enum Say {
    /// By the microphone.
    Mic(mic::Event),
    /// The note button went down or up.
    Button(bool),
    /// From now on nothing is to be heard, or it is again.
    Mute(bool),
    /// The service ends.
    Stop,
}

impl From<mic::Event> for Say {
    fn from(event: mic::Event) -> Say {
        Say::Mic(event)
    }
}

/// What the ear tells.
#[derive(Debug)]
pub enum Told {
    /// A note is being written.
    Opened,
    /// A note is on the disk.
    Kept(Stamped, Level),
    /// A note could not be written.
    Failed(String),
    /// How the microphone is now.
    Mic(mic::State),
    /// Sound is missing, microseconds.
    Gap(i64),
    /// The disk is nearly full: no sound is written any more; or it is again.
    Full(bool),
}

/// What capture knows of the boat and the ear should, shared.
pub type Shared = Arc<Mutex<Around>>;

/// Listens until told to stop; what is found goes to `to`, as what `M` makes of it.
pub fn listen<M: From<Told>>(
    mut ear: Ear,
    data: &Path,
    from: &Receiver<Say>,
    around: &Shared,
    to: &SyncSender<M>,
) {
    let mut state = State { data: data.to_owned(), muted: false, full: false, looked: None };
    loop {
        let said = match from.recv_timeout(LOOK) {
            Ok(said) => said,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => Say::Stop,
        };
        let now = around.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut told: Vec<Told> = state.look().into_iter().collect();
        let deaf = state.muted || state.full;
        let heard = match said {
            Say::Mic(mic::Event::Heard { t, samples }) if !deaf => ear.hear(t, &samples, &now),
            Say::Mic(mic::Event::Heard { .. }) => Vec::new(),
            Say::Mic(mic::Event::Gap { lost_us, .. }) => {
                told.push(Told::Gap(lost_us));
                ear.pause(&now)
            }
            Say::Mic(mic::Event::State(mic)) => {
                told.push(Told::Mic(mic));
                Vec::new()
            }
            Say::Button(down) if !deaf => ear.button(down, &now),
            Say::Button(_) => Vec::new(),
            Say::Mute(muted) => {
                state.muted = muted;
                ear.pause(&now)
            }
            Say::Stop => {
                let heard = ear.pause(&now);
                tell(heard, told, to);
                return;
            }
        };
        let heard = if told.iter().any(|told| matches!(told, Told::Full(true))) {
            heard.into_iter().chain(ear.pause(&now)).collect()
        } else {
            heard
        };
        if !tell(heard, told, to) {
            return;
        }
    }
}

/// False when nobody listens any more.
fn tell<M: From<Told>>(heard: Vec<Heard>, mut told: Vec<Told>, to: &SyncSender<M>) -> bool {
    told.extend(heard.into_iter().filter_map(|heard| match heard {
        Heard::Opened => Some(Told::Opened),
        Heard::Kept { note, level } => Some(Told::Kept(note, level)),
        Heard::Failed(trouble) => Some(Told::Failed(trouble.to_string())),
        Heard::Nothing => None,
    }));
    told.into_iter().all(|told| to.send(M::from(told)).is_ok())
}

struct State {
    data: PathBuf,
    muted: bool,
    full: bool,
    looked: Option<Instant>,
}

impl State {
    /// Looks at the disk now and then, and says when that changes something.
    fn look(&mut self) -> Option<Told> {
        if self.looked.is_some_and(|looked| looked.elapsed() < LOOK) {
            return None;
        }
        self.looked = Some(Instant::now());
        let disk = rustix::fs::statvfs(&self.data).ok()?;
        let room = disk.f_bavail.saturating_mul(disk.f_frsize);
        let full = room < if self.full { ROOM_AGAIN } else { ROOM };
        let changed = full != self.full;
        self.full = full;
        changed.then_some(Told::Full(full))
    }
}
