//! The parts of `check` that listen to serial devices: whether they talk, and what the scale says.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use std::time::{Duration, Instant};

use gunwale_protocol::scale::{self, Fault};

use super::Verdict;
use crate::capture::Msg;
use crate::clock::{BootClock, Clock, Stop};
use crate::cmd::run;
use crate::desk::Desk;
use crate::device::{self, Event, State};

/// How long a device is listened to: time for every line speed to be tried once.
const LISTEN: Duration = Duration::from_secs(12);
/// How long a scale is listened to once it talks: time for its frames to be counted.
const COUNT: Duration = Duration::from_secs(2);
/// Frames of no known kind that are shown.
const SHOWN: usize = 3;
/// The longest part of one that is shown, bytes.
const LONGEST: usize = 60;

/// How the GPS receiver is.
pub(super) fn gps(desk: &Desk) -> Verdict {
    match listen(desk, device::GPS, Duration::ZERO, |_| {}) {
        Ok((path, last @ State::Open { .. })) => Verdict::Good(format!("{path}: {last}")),
        Ok((path, other)) => Verdict::Bad(format!("{path}: {other}")),
        Err(verdict) => verdict,
    }
}

/// How the scale is, what it says, and which dialect that is taken for.
pub(super) fn scale(desk: &Desk) -> Verdict {
    let mut heard = Heard::default();
    match listen(desk, device::SCALE, COUNT, |event| heard.take(event)) {
        Ok((path, state)) => heard.verdict(&path, &state),
        Err(verdict) => verdict,
    }
}

/// Listens to a device until it is known how it is, and `more` after it was found open. Its path and its last state, or
/// why there is nothing to listen to.
fn listen(
    desk: &Desk,
    name: &'static str,
    more: Duration,
    mut hear: impl FnMut(&Event),
) -> Result<(String, State), Verdict> {
    let Some(spec) = run::devices(&desk.settings).into_iter().find(|spec| spec.name == name) else {
        return Err(Verdict::Good("none in the settings".into()));
    };
    let path = spec.path.display().to_string();
    if desk.is_live() {
        return Err(Verdict::Good(format!("{path}: in use by the running service, see its log")));
    }
    let (to, from) = sync_channel::<Msg>(1_024);
    let stop = Stop::default();
    let clock: Arc<dyn Clock> = Arc::new(BootClock);
    let listening = device::spawn(spec, clock, to, stop.clone());
    let mut last = State::Silent;
    let mut until = Instant::now() + LISTEN;
    while let Ok(msg) = from.recv_timeout(until.saturating_duration_since(Instant::now())) {
        let Msg::Device(event) = msg else { continue };
        hear(&event);
        if let Event::Device { state, .. } = event {
            match state {
                State::Open { .. } => until = until.min(Instant::now() + more),
                State::Lost { .. } => until = Instant::now(),
                State::Silent | State::Noise => {}
            }
            last = state;
        }
    }
    stop.set();
    drop(from);
    if let Ok(thread) = listening {
        // It has told all there was to tell.
        let _ = thread.join();
    }
    Ok((path, last))
}

/// What a scale was heard to say.
#[derive(Default)]
struct Heard {
    /// Frames by what they were taken for.
    known: BTreeMap<String, u64>,
    /// The last of them.
    last: Option<String>,
    /// Frames that gave no reading.
    strange: u64,
    /// The first few, as they came.
    shown: Vec<String>,
    /// What is to be done about the last of them that says more than that it is strange.
    why: Option<Fault>,
}

impl Heard {
    fn take(&mut self, event: &Event) {
        let Event::Line { text, heard, .. } = event else { return };
        let raw = heard.as_ref().unwrap_or(text);
        let raw = raw.get(..LONGEST).unwrap_or(raw).escape_ascii().to_string();
        let read = std::str::from_utf8(text).map_or(Err(Fault::Noise), scale::recognise);
        let kind = match read {
            Ok(_) if heard.is_some() => "as the settings describe".into(),
            Ok((dialect, _)) => dialect.to_string(),
            Err(Fault::NoWeight { .. }) => "answers that tell no load".into(),
            Err(fault) => {
                self.strange += 1;
                if self.shown.len() < SHOWN && !self.shown.contains(&raw) {
                    self.shown.push(raw);
                }
                if !matches!(fault, Fault::Unknown { .. } | Fault::Noise) {
                    self.why = Some(fault);
                }
                return;
            }
        };
        *self.known.entry(kind).or_default() += 1;
        self.last = Some(raw);
    }

    fn verdict(&self, path: &str, state: &State) -> Verdict {
        let frames = |n: u64| if n == 1 { "1 frame".to_owned() } else { format!("{n} frames") };
        let mut said: Vec<String> =
            self.known.iter().map(|(kind, n)| format!("{} {kind}", frames(*n))).collect();
        if let Some(last) = &self.last {
            said.push(format!("last \"{last}\""));
        }
        if self.strange > 0 {
            let shown: Vec<String> = self.shown.iter().map(|raw| format!("\"{raw}\"")).collect();
            said.push(format!("{} not understood: {}", frames(self.strange), shown.join(" ")));
        }
        let said = said.join(", ");
        match state {
            State::Open { .. } => Verdict::Good(format!("{path}: {state}; {said}")),
            _ if self.known.is_empty() && self.strange == 0 => Verdict::Bad(format!("{path}: {state}")),
            State::Lost { .. } => Verdict::Bad(format!("{path}: {state}; {said}")),
            _ => match &self.why {
                Some(why) => Verdict::Bad(format!("{path}: {said}; {why}")),
                None => Verdict::Bad(format!(
                    "{path}: {said}; set it to send weight and unit, or describe its lines with pattern in [scale]; \
                     if they look like noise, check its speed (baud) and its cable"
                )),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use gunwale_protocol::time::Mono;

    use super::*;

    fn said(lines: &[(&str, Option<&str>)], state: State) -> String {
        let mut heard = Heard::default();
        for (text, raw) in lines {
            let heard_raw = raw.map(|raw| raw.as_bytes().to_vec());
            heard.take(&Event::Line {
                device: device::SCALE,
                t: Mono(0),
                text: text.as_bytes().to_vec(),
                heard: heard_raw,
            });
        }
        match heard.verdict("/dev/x", &state) {
            Verdict::Good(text) => format!("good {text}"),
            Verdict::Bad(text) => format!("BAD {text}"),
        }
    }

    #[test]
    fn what_is_heard_is_counted_and_shown() {
        let open = || State::Open { baud: 9_600 };
        for (lines, state, text) in [
            (
                &[("US,GS,+  0.182kg", None), ("0.182 kg", None), ("US,GS,+  0.184kg", None)][..],
                open(),
                "good /dev/x: open at 9600 baud; 2 frames comma-separated (ST,GS), 1 frame plain number and unit, \
                 last \"US,GS,+  0.184kg\"",
            ),
            (
                &[("Z A", None), ("S D 1 g", None), ("\u{1}#~", None)],
                open(),
                "good /dev/x: open at 9600 baud; 1 frame SICS replies (S S), 1 frame answers that tell no load, \
                 last \"S D 1 g\", 1 frame not understood: \"\\x01#~\"",
            ),
            (
                &[("0.182 kg", Some("W=182;"))],
                open(),
                "good /dev/x: open at 9600 baud; 1 frame as the settings describe, last \"W=182;\"",
            ),
            (
                &[("A1", None), ("A1", None), ("A2", None), ("A3", None), ("A4", None)],
                State::Noise,
                "BAD /dev/x: 5 frames not understood: \"A1\" \"A2\" \"A3\"; set it to send weight and unit, or describe \
                 its lines with pattern in [scale]; if they look like noise, check its speed (baud) and its cable",
            ),
            (
                &[("0.182G", None)],
                State::Silent,
                "BAD /dev/x: 1 frame not understood: \"0.182G\"; the scale's weight \"0.182\" has no unit: set the \
                 scale to send it, or say it with unit in [scale]",
            ),
            (
                &[("ES", None)],
                State::Noise,
                "BAD /dev/x: 1 frame not understood: \"ES\"; the scale answered ES, it does not understand what it is \
                 asked: correct ask in [scale]",
            ),
            (
                &[],
                State::Silent,
                "BAD /dev/x: no byte for 10 s: check that it is switched on and set to send by itself",
            ),
        ] {
            assert_eq!(said(lines, state), text);
        }
    }
}
