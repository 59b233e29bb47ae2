//! The microphone's thread with real programs: `arecord` sample for sample, and programs that are killed, hang, flood or
//! run at another rate.
//!
//! There is no sound card here. `arecord` reads a file through ALSA's `file` plugin, which is exact but not in real time;
//! where time matters, `cat` reads a pipe that the test fills sample by sample as a sound card would.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use gunwale::clock::{BootClock, Clock, ScaledClock, Stop};
use gunwale::voice::mic::{Event, RATE, Spec, State, spawn};
use gunwale_protocol::time::{Mono, SECOND, Utc};

const LONGEST_WAIT: Duration = Duration::from_secs(20);

/// The microphone's thread.
struct Mic {
    events: Receiver<Event>,
    stop: Stop,
    thread: JoinHandle<()>,
}

impl Mic {
    fn start(command: &[&str], clock: Arc<dyn Clock>, room: usize) -> Mic {
        let (to, events) = sync_channel(room);
        let stop = Stop::new();
        let spec = Spec { command: command.iter().map(|&word| word.to_owned()).collect() };
        let thread = spawn(spec, clock, to, stop.clone()).unwrap();
        Mic { events, stop, thread }
    }

    fn sh(script: &str) -> Mic {
        Mic::start(&["sh", "-c", script], Arc::new(BootClock), 256)
    }

    /// The next event that is wanted; what comes before goes to `seen`.
    fn next<T>(&self, what: &str, seen: &mut Vec<Event>, wanted: impl Fn(&Event) -> Option<T>) -> T {
        let end = Instant::now() + LONGEST_WAIT;
        loop {
            let event = match self.events.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(event) => event,
                Err(RecvTimeoutError::Timeout) => panic!("not within {LONGEST_WAIT:?}: {what}"),
                Err(RecvTimeoutError::Disconnected) => panic!("the thread ended: {what}"),
            };
            let found = wanted(&event);
            seen.push(event);
            if let Some(found) = found {
                return found;
            }
        }
    }

    fn state(&self, seen: &mut Vec<Event>) -> State {
        self.next("a state", seen, |event| match event {
            Event::State(state) => Some(state.clone()),
            _ => None,
        })
    }

    /// No other state is told for so long.
    fn stays(&self, span: Duration) {
        let end = Instant::now() + span;
        while let Ok(event) = self.events.recv_timeout(end.saturating_duration_since(Instant::now())) {
            assert!(!matches!(event, Event::State(_)), "told again: {event:?}");
        }
    }

    fn end(self) {
        let began = Instant::now();
        self.stop.set();
        self.thread.join().expect("never panics");
        assert!(began.elapsed() < Duration::from_secs(1), "ends within 1 s when told");
    }
}

/// What a made-up sound card does now.
#[derive(Clone, Copy, PartialEq)]
enum Does {
    /// Gives so many samples a second.
    Rate(u32),
    /// Gives nothing.
    Nothing,
    /// Gives as much as is taken.
    Flood,
    /// Is unplugged.
    End,
}

/// A made-up sound card behind a named pipe, from which a program reads.
struct Card {
    pipe: PathBuf,
    does: Arc<Mutex<Does>>,
    /// When the program that reads now got its first sample.
    since: Arc<Mutex<Mono>>,
    /// How many programs have read.
    readers: Arc<AtomicU32>,
    thread: Option<JoinHandle<()>>,
    _dir: tempfile::TempDir,
}

impl Card {
    fn new(does: Does) -> Card {
        let dir = tempfile::tempdir().unwrap();
        let pipe = dir.path().join("card");
        assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let does = Arc::new(Mutex::new(does));
        let (since, readers) = (Arc::new(Mutex::new(Mono(0))), Arc::new(AtomicU32::new(0)));
        let thread = std::thread::spawn({
            let (pipe, does, since, readers) = (pipe.clone(), does.clone(), since.clone(), readers.clone());
            move || {
                while *does.lock().unwrap() != Does::End {
                    if let Some(to) = open_for(&pipe) {
                        readers.fetch_add(1, Ordering::SeqCst);
                        give(to, &does, &since);
                    }
                    std::thread::sleep(Duration::from_millis(1));
                }
            }
        });
        Card { pipe, does, since, readers, thread: Some(thread), _dir: dir }
    }

    fn does(&self, does: Does) {
        *self.does.lock().unwrap() = does;
    }

    fn command(&self) -> [String; 3] {
        let pipe = self.pipe.display();
        ["sh".into(), "-c".into(), format!("echo $$ > '{pipe}.pid'; exec cat '{pipe}'")]
    }

    fn kill_reader(&self) {
        let pid = std::fs::read_to_string(self.pipe.with_extension("pid")).unwrap();
        assert!(Command::new("kill").args(["-9", pid.trim()]).status().unwrap().success());
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        self.does(Does::End);
        self.thread.take().unwrap().join().unwrap();
    }
}

/// Opens a pipe once a program reads it.
fn open_for(pipe: &Path) -> Option<File> {
    let nonblocking = rustix::fs::OFlags::NONBLOCK.bits() as i32;
    OpenOptions::new().write(true).custom_flags(nonblocking).open(pipe).ok()
}

/// Gives a reader what the card does, until it is gone: the n-th sample says n.
fn give(mut to: File, does: &Mutex<Does>, since: &Mutex<Mono>) {
    let (mut n, mut was) = (0_u32, None);
    let (mut began, mut given) = (BootClock.now(), 0_i64);
    *since.lock().unwrap() = began;
    loop {
        let now = *does.lock().unwrap();
        if was != Some(now) {
            (was, began, given) = (Some(now), BootClock.now(), 0);
        }
        let count = match now {
            Does::Rate(rate) => (BootClock.now() - began) * i64::from(rate) / SECOND - given,
            Does::Nothing => 0,
            Does::Flood => 16_000,
            Does::End => return,
        };
        let samples: Vec<u8> = (0..count).flat_map(|k| ((n as i64 + k) as i16).to_le_bytes()).collect();
        match to.write(&samples) {
            Ok(written) => {
                n += written as u32 / 2;
                given += written as i64 / 2;
            }
            Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => {}
            Err(_) => return,
        }
        if now != Does::Flood {
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

fn alive(pid: &str) -> bool {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
    !stat.is_empty() && !stat.contains(") Z ")
}

/// Whether arecord is there; a test that needs it fails without it where all tests are wanted.
fn arecord() -> bool {
    let there = Command::new("arecord").arg("--version").stdout(Stdio::null()).status().is_ok();
    if !there {
        assert!(std::env::var_os("GUNWALE_ALL").is_none(), "arecord is missing: install alsa-utils");
        println!("skipped: arecord is missing (Debian's alsa-utils)");
    }
    there
}

#[test]
fn arecords_samples_arrive_one_for_one() {
    if !arecord() {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    // 20 s of noise, then silence: the plugin repeats its last buffer at the file's end.
    let mut x = 7_u32;
    let mut noise = || {
        x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (x >> 16) as i16
    };
    let spoken: Vec<i16> = (0..20 * RATE).map(|_| noise()).collect();
    let silence = std::iter::repeat_n(0_i16, 2 * RATE as usize);
    let bytes: Vec<u8> = spoken.iter().copied().chain(silence).flat_map(i16::to_le_bytes).collect();
    let raw = dir.path().join("in.raw");
    std::fs::write(&raw, bytes).unwrap();
    let config = dir.path().join("alsa.conf");
    let pcm = format!(
        "pcm.tape {{ type file slave.pcm nothing file /dev/null infile {raw:?} format raw }}\n\
         pcm.nothing {{ type null }}\n"
    );
    std::fs::write(&config, pcm).unwrap();
    let config = format!("ALSA_CONFIG_PATH={}", config.display());
    let samples = format!("--samples={}", 21 * RATE);
    let arecord = "arecord -D tape -q -t raw -f S16_LE -r 16000 -c 1";
    let command: Vec<&str> =
        ["env", &config].into_iter().chain(arecord.split(' ')).chain([samples.as_str()]).collect();
    // The file comes at once: on a clock that is fast enough that is no flood.
    let clock = Arc::new(ScaledClock::new(100.0, Utc(0)));
    let mic = Mic::start(&command, clock, 1_024);
    let mut seen = Vec::new();
    let state = mic.state(&mut seen);
    assert_eq!(state, State::Ended { status: "exit status: 0".into(), said: String::new() });
    let mut heard = Vec::new();
    let mut last = Mono(i64::MIN);
    for event in &seen {
        match event {
            Event::Heard { t, samples } => {
                assert!(*t >= last && samples.len() <= 65_536);
                last = *t;
                heard.extend_from_slice(samples);
            }
            Event::State(_) => {}
            Event::Gap { .. } => panic!("a gap where there is none"),
        }
    }
    assert_eq!(heard.len(), 21 * RATE as usize);
    let first_other = heard.iter().zip(&spoken).position(|(a, b)| a != b);
    assert_eq!(first_other, None, "sample for sample");
    assert!(heard[spoken.len()..].iter().all(|&sample| sample == 0));
    println!("{} samples through arecord in {} pieces, one for one", heard.len(), seen.len() - 1);
    mic.end();
}

#[test]
fn a_card_that_is_not_there_is_told_in_arecords_words() {
    if !arecord() {
        return;
    }
    let mic = Mic::sh("exec arecord -D no_such_card -q -t raw -f S16_LE -r 16000 -c 1");
    let State::Ended { status, said } = mic.state(&mut Vec::new()) else { panic!("it has ended") };
    assert_eq!(status, "exit status: 1");
    assert!(said.contains("audio open error: No such file or directory"), "{said}");
    mic.stays(Duration::from_secs(1));
    mic.end();
}

#[test]
fn whatever_befalls_the_program_is_told_once_and_it_is_started_anew() {
    let card = Card::new(Does::Rate(RATE));
    let command = card.command();
    let mic = Mic::start(&command.each_ref().map(String::as_str), Arc::new(BootClock), 4_096);
    let mut seen = Vec::new();
    let began = Instant::now();
    assert_eq!(mic.state(&mut seen), State::Open);
    println!("a good microphone: open told after {:.2?}", began.elapsed());

    // Stamps are those of the card.
    mic.next("20 s of sound", &mut seen, |event| match event {
        Event::Heard { samples, t } if *t - *card.since.lock().unwrap() > 20 * SECOND => Some(samples.len()),
        _ => None,
    });
    let since = *card.since.lock().unwrap();
    let (mut next, mut off, mut pieces) = (0_usize, Vec::new(), Vec::new());
    for event in &seen {
        let Event::Heard { t, samples } = event else { continue };
        assert!(samples.iter().zip(next..).all(|(&sample, n)| sample == n as i16), "sample for sample");
        let truth = since + next as i64 * SECOND / i64::from(RATE);
        if truth - since > 10 * SECOND {
            off.push((*t - truth).abs());
            pieces.push(samples.len() * 1_000 / RATE as usize);
        }
        next += samples.len();
    }
    off.sort_unstable();
    pieces.sort_unstable();
    let at = |of: f64| off[(off.len() as f64 * of) as usize] as f64 / 1e3;
    println!(
        "stamps after 10 s: off by {:.2} ms (median), {:.2} ms (99 %), {:.2} ms (most)",
        at(0.5),
        at(0.99),
        at(0.9999)
    );
    println!("pieces: {} ms (median), {} ms (longest)", pieces[pieces.len() / 2], pieces[pieces.len() - 1]);
    assert!(at(0.99) < 60.0, "stamps are off");

    for (what, trouble) in [
        ("killed", State::Ended { status: "signal: 9 (SIGKILL)".into(), said: String::new() }),
        ("hung", State::Silent),
        ("at 44,100 a second", State::WrongRate { measured: 44_100 }),
        ("flooding", State::Flooding),
        ("killed again", State::Ended { status: "signal: 9 (SIGKILL)".into(), said: String::new() }),
    ] {
        seen.clear();
        let readers = card.readers.load(Ordering::SeqCst);
        let began = Instant::now();
        match trouble {
            State::Silent => card.does(Does::Nothing),
            State::WrongRate { .. } => card.does(Does::Rate(44_100)),
            State::Flooding => card.does(Does::Flood),
            _ => card.kill_reader(),
        }
        let told = mic.state(&mut seen);
        let noticed = began.elapsed();
        card.does(Does::Rate(RATE));
        match (&told, &trouble) {
            // 44,100 and 48,000 are near.
            (State::WrongRate { measured: 44_100 | 48_000 }, State::WrongRate { .. }) => {}
            _ => assert_eq!(told, trouble, "{what}"),
        }
        let began = Instant::now();
        let mut after = Vec::new();
        let lost = mic.next("sound again", &mut after, |event| match event {
            Event::Gap { lost_us, .. } => Some(*lost_us),
            _ => None,
        });
        mic.next("sound after the gap", &mut after, |event| {
            matches!(event, Event::Heard { .. }).then_some(())
        });
        let again = began.elapsed();
        assert_eq!(after.len(), 2, "{what}: the gap comes first");
        assert_eq!(mic.state(&mut after), State::Open, "{what}");
        let open = began.elapsed();
        assert_eq!(card.readers.load(Ordering::SeqCst), readers + 1, "{what}: started once");
        println!(
            "{what}: told after {noticed:.2?}, heard again {again:.2?} later, open told {open:.2?} later; gap {} ms",
            lost / 1_000
        );
        let most = Duration::from_millis(if trouble == State::Silent { 4_000 } else { 2_000 });
        assert!(noticed < most && again < Duration::from_secs(2), "{what}: {noticed:?}, {again:?}");
    }
    mic.end();
}

#[test]
fn other_rates_are_told_once() {
    let rates = [8_000, 22_050, 32_000, 44_100, 48_000];
    let rigs = rates.map(|rate| {
        std::thread::spawn(move || {
            let card = Card::new(Does::Rate(rate));
            let command = card.command();
            let began = Instant::now();
            let mic = Mic::start(&command.each_ref().map(String::as_str), Arc::new(BootClock), 4_096);
            let told = mic.state(&mut Vec::new());
            let noticed = began.elapsed();
            let State::WrongRate { measured } = told else { panic!("{rate}: {told:?}") };
            let off = f64::from(measured) / f64::from(rate);
            assert!((0.85..1.15).contains(&off), "{rate} told as {measured}");
            println!("{rate} a second told as {measured} after {noticed:.2?}");
            // It has been started again and judged again by then.
            mic.stays(noticed + Duration::from_millis(500));
            mic.end();
        })
    });
    rigs.into_iter().for_each(|rig| rig.join().unwrap());
}

/// This process's memory in use, MB.
fn memory_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1_024
}

#[test]
fn a_flood_fills_no_memory_even_when_nobody_takes_anything() {
    let before = memory_mb();
    let began = Instant::now();
    let mic = Mic::start(&["yes"], Arc::new(BootClock), 16);
    let mut most = before;
    while began.elapsed() < Duration::from_secs(4) {
        most = most.max(memory_mb());
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(!mic.thread.is_finished());
    println!("flooded for 4 s: memory {before} MB before, {most} MB at most");
    assert!(most < before + 40, "{before} MB before, {most} MB at most");
    // The state was not lost, though there was no room for it.
    assert_eq!(mic.state(&mut Vec::new()), State::Flooding);
    mic.stays(Duration::from_secs(1));
    mic.end();

    let began = Instant::now();
    let mic = Mic::start(&["yes"], Arc::new(BootClock), 4_096);
    assert_eq!(mic.state(&mut Vec::new()), State::Flooding);
    println!("a flood from the start told after {:.2?}", began.elapsed());
    mic.end();
}

#[test]
fn a_program_that_is_not_there_is_told_once() {
    let mic = Mic::start(&["no-such-recorder", "-x"], Arc::new(BootClock), 16);
    assert_eq!(
        mic.state(&mut Vec::new()),
        State::Missing { why: "no-such-recorder is not installed".into() }
    );
    mic.stays(Duration::from_secs(1));
    mic.end();
    let mic = Mic::start(&[], Arc::new(BootClock), 16);
    assert_eq!(mic.state(&mut Vec::new()), State::Missing { why: "no program is set".into() });
    mic.end();
}

#[test]
fn a_stop_ends_the_program_and_all_it_started() {
    let dir = tempfile::tempdir().unwrap();
    let pids = dir.path().join("pids");
    // Deaf to everything but a kill, with a child of its own.
    let mic = Mic::sh(&format!(
        "trap '' TERM INT HUP; sleep 100 & echo $$ $! > '{0}.new'; mv '{0}.new' '{0}'; cat /dev/zero | sleep 100",
        pids.display()
    ));
    let end = Instant::now() + LONGEST_WAIT;
    while !pids.exists() {
        assert!(Instant::now() < end);
        std::thread::sleep(Duration::from_millis(5));
    }
    let began = Instant::now();
    mic.end();
    println!("ended after {:.2?}", began.elapsed());
    let text = std::fs::read_to_string(&pids).unwrap();
    for pid in text.split_whitespace() {
        let end = Instant::now() + Duration::from_secs(1);
        while alive(pid) {
            assert!(Instant::now() < end, "{pid} is left behind");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

#[test]
fn a_thread_ends_when_nobody_listens() {
    let card = Card::new(Does::Rate(RATE));
    let command = card.command();
    let mic = Mic::start(&command.each_ref().map(String::as_str), Arc::new(BootClock), 16);
    mic.next("sound", &mut Vec::new(), |event| matches!(event, Event::Heard { .. }).then_some(()));
    drop(mic.events);
    mic.thread.join().expect("never panics");
}
