//! The running service: capture loop, keeper of the records, devices and socket, started and stopped together.

use std::io::Write;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::capture::{Capture, Crew, Msg, Update};
use crate::clock::Stop;
use crate::cmd::{forget, run};
use crate::desk::{Desk, Live, random_id};
use crate::device::{self, button};
use crate::error::Result;
use crate::recognise::worker;
use crate::settings::{Keep, Settings};
use crate::voice::adopt::adopt;
use crate::voice::cues::Cues;
use crate::voice::ear::{Around, Ear};
use crate::voice::hearing::{self, Say, Shared};
use crate::voice::mic;
use crate::voice::player::Player;

/// Messages on their way to the capture loop; a device finding it full drops lines and counts them.
const QUEUE: usize = 4_096;
/// Pieces of sound on their way to the ear: some ten seconds.
const EAR_QUEUE: usize = 128;
/// How often a store is tried that the disk has failed.
const MEND_EVERY: Duration = Duration::from_secs(2);

/// A running service.
pub struct Service {
    /// Where commands work beside it.
    pub desk: Desk,
    live: Live,
    stop: Stop,
    threads: Vec<JoinHandle<()>>,
}

impl Service {
    /// Starts capture on a data directory whose lock is held. Results are told on `out`. `program` stands in the run
    /// line.
    ///
    /// # Errors
    /// When the journal cannot be made or the system has no thread to give.
    pub fn start(
        desk: Desk,
        program: &str,
        devices: Vec<device::Spec>,
        out: Box<dyn Write + Send>,
    ) -> Result<Service> {
        adopt(&desk.data)?;
        let mut run = desk.run_line(random_id()?);
        run.program = program.to_owned();
        run.system = Some(desk.clock.system().to_string());
        let (to_capture, from_devices) = sync_channel(QUEUE);
        let (to_keeper, from_capture) = channel();
        let live = Live { capture: to_capture, segment: run.id.clone() };
        desk.records().writes(&run.id);
        let desk = desk.beside(live.clone());
        let stop = Stop::default();
        let (crew, mut threads) = crew(&desk, &run.id, &live.capture, &stop)?;
        let capture = Capture::begin(&desk.data, &run, desk.clock.clone(), to_keeper, out, crew)?;
        threads.extend([
            spawn("capture", move || capture.run(&from_devices))?,
            spawn("records", {
                let desk = desk.clone();
                move || keep(&desk, &from_capture)
            })?,
        ]);
        if !desk.recognisers.names().is_empty() {
            let found = desk.records().tell_notes();
            threads.push(spawn("recogniser", {
                let (desk, stop) = (desk.clone(), stop.clone());
                move || worker::work(&desk, &found, &stop)
            })?);
        }
        for spec in devices {
            let device = device::spawn(spec, desk.clock.clone(), live.capture.clone(), stop.clone())?;
            threads.push(spawn("device", move || drop(device.join()))?);
        }
        Ok(Service { desk, live, stop, threads })
    }

    /// Stops: devices are let go, the journal is closed, the records are complete when this returns.
    pub fn stop(self) {
        self.stop.set();
        self.desk.recognisers.stop();
        let _ = self.live.capture.send(Msg::Stop);
        for thread in self.threads {
            if thread.join().is_err() {
                tracing::error!("a thread of the service had failed: its log lines stand above");
            }
        }
    }
}

/// The microphone, the ear that listens to it, the button, and the tones that answer.
fn crew(
    desk: &Desk,
    segment: &str,
    capture: &SyncSender<Msg>,
    stop: &Stop,
) -> Result<(Crew, Vec<JoinHandle<()>>)> {
    let Settings { mic, button, cues, timezone, .. } = &*desk.settings;
    let around = Shared::new(Mutex::new(Around { attend: true, utc_us: None }));
    let mut threads = Vec::new();
    let mut ear = None;
    if mic.keep != Keep::Off {
        let (to_ear, from_mic) = sync_channel(EAR_QUEUE);
        let listener = Ear::new(&desk.data, segment, timezone);
        let (data, around, capture) = (desk.data.clone(), around.clone(), capture.clone());
        threads.push(spawn("ear", move || hearing::listen(listener, &data, &from_mic, &around, &capture))?);
        let spec = mic::Spec { command: mic.command.clone() };
        let heard = mic::spawn::<Say>(spec, desk.clock.clone(), to_ear.clone(), stop.clone())?;
        threads.push(spawn("mic", move || drop(heard.join()))?);
        ear = Some(to_ear);
    }
    if let Some(spec) = run::button(button)? {
        let pressed = button::spawn::<Msg>(spec, desk.clock.clone(), capture.clone(), stop.clone())?;
        threads.push(spawn("button", move || drop(pressed.join()))?);
    }
    let player = Player { command: cues.player.clone() };
    let started = if cues.quiet { Ok(None) } else { Cues::start(player, stop.clone()).map(Some) };
    let cues = match started {
        Ok(None) => Cues::quiet(),
        Ok(Some((cues, thread))) => {
            threads.push(thread);
            cues
        }
        // No tone is worth a record.
        Err(trouble) => {
            tracing::warn!("{trouble}");
            Cues::quiet()
        }
    };
    Ok((Crew { cues, ear, around }, threads))
}

fn spawn(name: &str, work: impl FnOnce() + Send + 'static) -> Result<JoinHandle<()>> {
    Ok(std::thread::Builder::new().name(name.into()).spawn(work)?)
}

/// Keeps the records up to date with what capture hands over. Capture never waits for this.
fn keep(desk: &Desk, from: &Receiver<Update>) {
    if let Err(trouble) = desk.catch_up(&mut |segment| tracing::info!(segment, "folding")) {
        tracing::error!("{trouble}");
    }
    if let Err(trouble) = forget::finish_all(desk) {
        tracing::error!("{trouble}");
    }
    loop {
        let Update { folded, answers } = match from.recv_timeout(MEND_EVERY) {
            Ok(update) => update,
            Err(RecvTimeoutError::Timeout) => {
                if let Err(trouble) = desk.records().mend() {
                    tracing::debug!("{trouble}");
                }
                continue;
            }
            Err(RecvTimeoutError::Disconnected) => break,
        };
        if let Err(trouble) = desk.records().update(folded) {
            tracing::error!("{trouble}");
        }
        for answer in answers {
            // It stands in the journal, and that is what counts. Who asked may have gone.
            let _ = answer.try_send(Ok(()));
        }
    }
    // The segment is at its end: from now on it is a journal like any other.
    if let Err(trouble) = desk.records().ended() {
        tracing::error!("{trouble}");
    }
}
