//! The parts of `check` that are heard: the microphone, the tones, the note button.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::{Duration, Instant};

use gunwale_protocol::listen::Listener;

use super::Verdict;
use crate::clock::{BootClock, Clock, Stop};
use crate::cmd::run;
use crate::desk::Desk;
use crate::device::button;
use crate::settings::Keep;
use crate::voice::cues::{self, Cue};
use crate::voice::hearing::Say;
use crate::voice::mic;
use crate::voice::player::Player;

/// How long the microphone is listened to: time to say a few words.
const LISTEN: Duration = Duration::from_secs(5);
/// How long the microphone may take to begin.
const BEGIN: Duration = Duration::from_secs(5);
/// How long the button's device may take to open.
const OPEN: Duration = Duration::from_secs(2);
/// A tone that has not been played after this long never will be.
const TONE: Duration = Duration::from_secs(3);

/// How the microphone is, and how loud it is round it.
pub(super) fn microphone(desk: &Desk) -> Verdict {
    let mic = &desk.settings.mic;
    if mic.keep == Keep::Off {
        return Verdict::Good("not opened: keep = \"off\" in the settings".into());
    }
    if desk.is_live() {
        return Verdict::Good("in use by the running service, see its log".into());
    }
    let (to, from) = sync_channel::<Say>(64);
    let stop = Stop::default();
    let clock: Arc<dyn Clock> = Arc::new(BootClock);
    let spec = mic::Spec { command: mic.command.clone() };
    let thread = match mic::spawn(spec, clock, to, stop.clone()) {
        Ok(thread) => thread,
        Err(e) => return Verdict::Bad(e.to_string()),
    };
    let heard = listen(&from);
    stop.set();
    drop(from);
    // It has told all there was to tell.
    let _ = thread.join();
    heard
}

fn listen(from: &Receiver<Say>) -> Verdict {
    let mut listener = Listener::new();
    let mut until = Instant::now() + BEGIN;
    loop {
        match from.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(Say::Mic(mic::Event::State(mic::State::Open))) => until = Instant::now() + LISTEN,
            Ok(Say::Mic(mic::Event::State(trouble))) => return Verdict::Bad(trouble.to_string()),
            Ok(Say::Mic(mic::Event::Heard { samples, .. })) => drop(listener.hear(&samples)),
            Ok(_) => {}
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => break,
        }
    }
    let sound = listener.sound();
    let Some(noise) = sound.noise_dbfs else {
        return Verdict::Bad("hears nothing at all: plug it in, and look for a switch of its own".into());
    };
    let loudest = sound.level.peak_dbfs().unwrap_or(noise);
    let speech = sound.speech_dbfs.map_or("no speech".to_owned(), |dbfs| format!("speech {dbfs:.0}"));
    let text = format!("noise {noise:.0} dBFS, {speech}, loudest {loudest:.0}");
    if sound.level.clipped() {
        Verdict::Bad(format!("{text}, too loud: turn its gain down until a shout stays below 0"))
    } else {
        Verdict::Good(text)
    }
}

/// Plays every tone once. No speaker is no fault.
pub(super) fn tones(desk: &Desk) -> Verdict {
    let cues = &desk.settings.cues;
    if cues.quiet {
        return Verdict::Good("quiet, as the settings say".into());
    }
    match play_all(&Player { command: cues.player.clone() }) {
        Ok(()) => Verdict::Good(format!("played {}: {}", Cue::ALL.len(), Cue::ALL.map(Cue::name).join(", "))),
        Err(why) => Verdict::Good(format!("silent: {why}")),
    }
}

fn play_all(player: &Player) -> Result<(), String> {
    let folder = std::env::temp_dir().join(format!("gunwale-check-{}", std::process::id()));
    std::fs::create_dir_all(&folder).map_err(|e| e.to_string())?;
    let played = Cue::ALL.into_iter().try_for_each(|cue| {
        let path = folder.join(cue.name()).with_extension("wav");
        cues::write(cue, &path).map_err(|e| e.to_string())?;
        let mut playing = player.start(&path).map_err(|e| e.to_string())?;
        match playing.wait(TONE) {
            Ok(true) => Ok(()),
            Ok(false) => Err(playing.hung(TONE).to_string()),
            Err(e) => Err(e.to_string()),
        }
    });
    // What cannot be removed here the system removes some day.
    let _ = std::fs::remove_dir_all(&folder);
    played
}

/// Whether the note button can be opened.
pub(super) fn note_button(desk: &Desk) -> Verdict {
    let spec = match run::button(&desk.settings.button) {
        Ok(Some(spec)) => spec,
        Ok(None) => return Verdict::Good("none in the settings".into()),
        Err(e) => return Verdict::Bad(e.to_string()),
    };
    if desk.is_live() {
        return Verdict::Good("in use by the running service, see its log".into());
    }
    let (to, from) = sync_channel::<button::Event>(64);
    let stop = Stop::default();
    let thread = match button::spawn(spec, Arc::new(BootClock), to, stop.clone()) {
        Ok(thread) => thread,
        Err(e) => return Verdict::Bad(e.to_string()),
    };
    let verdict = loop {
        match from.recv_timeout(OPEN) {
            Ok(button::Event::State(button::State::Open)) => break Verdict::Good("open".into()),
            Ok(button::Event::State(lost)) => break Verdict::Bad(lost.to_string()),
            Ok(_) => {}
            Err(_) => break Verdict::Bad("does not open: see the log".into()),
        }
    };
    stop.set();
    drop(from);
    let _ = thread.join();
    verdict
}
