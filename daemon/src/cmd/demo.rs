//! `demo`: a simulated boat on real pseudo-terminals, through the same code as `run`; at the end the day's sheet.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use gunwale_protocol::input::{Stated, TrapPlace, TrapStated};
use gunwale_protocol::record::{NoteRecord, TextFrom};
use gunwale_protocol::trip::Entry;

use crate::args::Demo;
use crate::clock::{ScaledClock, Stop};
use crate::cmd::run::{devices, serve_until, told_to_stop};
use crate::desk::{DESK_FILE, Desk, PROGRAM, random_id};
use crate::error::{Error, Result};
use crate::journal::{self, Reader};
use crate::lock::Lock;
use crate::records::Records;
use crate::service::Service;
use crate::settings::{Cues, Device, Keep, Mic, Scale, Settings};
use crate::sim::{self, Day, Options, Ports, Unplug, scenario};
use crate::{find, records, sheet};

mod script;

use script::Script;

/// How often it is looked, after the day, whether all has been heard; and without more being heard, how long.
const LOOK: Duration = Duration::from_secs(2);
const PATIENCE: Duration = Duration::from_secs(60);
/// What marks a run line as the demo's.
const MARK: &str = " demo";

/// Plays the simulated day and prints its sheet.
///
/// # Errors
/// When the directory holds real records, or the service cannot be started.
pub fn demo(data: Option<PathBuf>, config: Option<&Path>, demo: &Demo) -> Result<()> {
    let data = match data {
        Some(data) => data,
        None => std::env::temp_dir().join(format!("gunwale-demo-{}", random_id()?)),
    };
    let Some(_lock) = Lock::try_take(&data)? else { return Err(Error::Running(data)) };
    if holds_real_records(&data)? {
        return Err(Error::NotForDemo(data));
    }
    let day = Day::new(Options { pulls: usize::try_from(demo.pulls).unwrap_or(20), ..Options::default() });
    let ports = Ports::new(&data)?;
    let keep = if speaks(demo.speed) { Keep::Audio } else { Keep::Off };
    let settings = Settings {
        boat: scenario::BOAT.into(),
        timezone: scenario::TIMEZONE.into(),
        gps: Device { port: Some(ports.gps().to_owned()), baud: None },
        scale: Scale { port: Some(ports.scale().to_owned()), ..Scale::default() },
        mic: Mic { command: vec!["cat".into(), ports.mic().display().to_string()], keep },
        // Dozens of tones a minute would be no demonstration.
        cues: Cues { quiet: true, ..Cues::default() },
        // Of the boat's own settings these are the only ones that fit another boat's day.
        recognisers: Settings::load(config, &data)?.recognisers,
        ..Settings::default()
    };
    let recognised = speaks(demo.speed) && !settings.recognisers.is_empty();
    println!(
        "{}, {}: a simulated day of {} traps, {} times as fast as the sea. Records: {}\n",
        scenario::BOAT,
        scenario::BAY,
        demo.pulls,
        demo.speed,
        data.display()
    );
    let clock = Arc::new(ScaledClock::new(demo.speed, scenario::START));
    let devices = devices(&settings);
    let desk = Desk::new(&data, settings, clock.clone(), Records::open(&data)?);
    let service = Service::start(desk, &format!("{PROGRAM}{MARK}"), devices, Box::new(std::io::stdout()))?;
    service.desk.state(register(&day))?;
    // The cables stay in until the service has stopped.
    let (_ports, played) = play(&service, day, ports, &clock, speaks(demo.speed));
    let desk = service.desk.clone();
    service.stop();
    played?;
    println!("\n{}", sheet::sheet(&desk, &find::day(&desk, None)?)?);
    // As it was called, so that the line can be copied: a newcomer has not installed it.
    let program = std::env::args().next().unwrap_or_else(|| "gunwale".into());
    println!("The records are in {0}\nas a table: {program} --data {0} export csv", data.display());
    println!("trap 7's notes: {program} --data {} replay --trap 7 (--list to read them)", data.display());
    if recognised {
        println!(
            "The words were spoken and heard; their text is by {}.",
            desk.recognisers.names().join(" and ")
        );
    } else if speaks(demo.speed) {
        println!(
            "The words were spoken and heard; their text is the simulation's, in place of a recogniser:\n\
             the README's \"Words from sound\" tells how to get one, then give its settings with --config."
        );
    }
    Ok(())
}

/// Plays the day to its end, serving commands meanwhile; Ctrl-C ends it early. Gives the cables back.
fn play(
    service: &Service,
    day: Day,
    mut ports: Ports,
    clock: &ScaledClock,
    speaks: bool,
) -> (Option<Ports>, Result<()>) {
    let (ended, end) = tokio::sync::oneshot::channel();
    let (stop, clock, desk) = (Stop::default(), *clock, service.desk.clone());
    let script = Script::default();
    let player = std::thread::Builder::new().name("boat".into()).spawn({
        let (stop, script, desk) = (stop.clone(), script.clone(), desk.clone());
        move || {
            let said = |t_us, text: &str| match speaks {
                true => script.said(scenario::START + t_us, text),
                false => {
                    if let Err(trouble) = desk.say(text.to_owned()) {
                        tracing::warn!("{trouble}");
                    }
                }
            };
            let unplug = Unplug::midday(&day);
            // Nobody waits any more when Ctrl-C came first.
            let _ = ended.send(sim::play(&day, &mut ports, Some(unplug), &clock, &stop, said));
            ports
        }
    });
    let player = match player {
        Ok(player) => player,
        Err(e) => return (None, Err(e.into())),
    };
    let over = Stop::default();
    let recognised = speaks && !desk.recognisers.names().is_empty();
    let reads = std::thread::Builder::new().name("script".into()).spawn({
        let over = over.clone();
        move || {
            if !recognised {
                script.read_to(&desk, &over)
            }
        }
    });
    let played = async {
        if let Ok(played) = end.await {
            played?;
        }
        if recognised { wait_for_words(&service.desk).await } else { Ok(()) }
    };
    let served = serve_until(&service.desk, async {
        tokio::select! {
            played = played => played,
            told = told_to_stop() => told,
        }
    });
    stop.set();
    over.set();
    if let Ok(reads) = reads {
        // It has told what it had to tell.
        let _ = reads.join();
    }
    (player.join().ok(), served)
}

/// Waits until every note has its text, as long as there come more.
async fn wait_for_words(desk: &Desk) -> Result<()> {
    // The last notes end, and come into the records, a little after the day.
    tokio::time::sleep(LOOK).await;
    let (mut left, mut since) = (usize::MAX, Instant::now());
    while since.elapsed() < PATIENCE {
        let now = unheard(desk)?;
        if now == 0 {
            break;
        }
        if now < left {
            (left, since) = (now, Instant::now());
        }
        tokio::time::sleep(LOOK).await;
    }
    Ok(())
}

/// How many spoken notes have no text.
fn unheard(desk: &Desk) -> Result<usize> {
    let mut unheard = 0;
    for doc in desk.store().range(records::ALL) {
        let entry = records::read(&doc?)?.entry;
        let without = |note: &NoteRecord| usize::from(note.text_from == TextFrom::None);
        unheard += match entry {
            Some(Entry::Pull(pull)) => pull.notes.iter().map(without).sum(),
            Some(Entry::Loose(loose)) => loose.note.as_ref().map_or(0, without),
            _ => 0,
        };
    }
    Ok(unheard)
}

/// Whether the crew speaks its notes: no computer need hear faster than this. Above, it types them.
fn speaks(speed: f64) -> bool {
    speed <= 100.0
}

/// The traps as they lie before the day.
fn register(day: &Day) -> Vec<Stated> {
    let stated = |row: sim::RegisterRow| {
        let place = TrapPlace::Position { lat: row.lat, lon: row.lon, set_at: Some(row.set_at) };
        Stated::Trap(TrapStated { trap: row.trap, place })
    };
    day.traps().into_iter().map(stated).collect()
}

/// Whether any journal is of something else than a demo.
fn holds_real_records(data: &Path) -> Result<bool> {
    for segment in journal::list(data)? {
        let reader = Reader::open(&segment.path, 0)?;
        let demo = reader.run().is_some_and(|run| run.program.ends_with(MARK));
        if !demo && !segment.id.starts_with(DESK_FILE) {
            return Ok(true);
        }
    }
    Ok(false)
}
