//! Devices on real pseudo-terminals, and one made up where the speed matters.

use std::io::{self, Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use gunwale_protocol::time::Utc;
use serialport::{SerialPort, TTYPort};

use super::worker::RATES;
use super::*;
use crate::clock::ScaledClock;

// From the gpsd project's "NMEA Revealed".
const RMC: &str = "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B";
const GST: &str = "$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54";
const LONGEST_WAIT: Duration = Duration::from_secs(10);

struct Rig {
    events: Receiver<Event>,
    stop: Stop,
    thread: JoinHandle<Counts>,
}

impl Rig {
    fn start(path: &Path, kind: Kind, baud: Option<u32>, speed: f64, room: usize) -> Rig {
        Rig::start_with(Box::new(Serial), path, kind, baud, speed, room)
    }

    fn start_with(
        opener: Box<dyn Open>,
        path: &Path,
        kind: Kind,
        baud: Option<u32>,
        speed: f64,
        room: usize,
    ) -> Rig {
        let name = if kind == Kind::Gps { "gps" } else { "scale" };
        let (described, ask) = Default::default();
        let spec = Spec { name, path: path.into(), baud, kind, described, ask };
        Rig::start_spec(opener, spec, speed, room)
    }

    fn start_spec(opener: Box<dyn Open>, spec: Spec, speed: f64, room: usize) -> Rig {
        let (to, events) = sync_channel(room);
        let clock = Arc::new(ScaledClock::new(speed, Utc(0)));
        let stop = Stop::new();
        let thread = spawn_with(spec, opener, clock, to, stop.clone()).unwrap();
        Rig { events, stop, thread }
    }

    fn next(&self) -> Event {
        self.events.recv_timeout(LONGEST_WAIT).expect("an event")
    }

    fn state(&self) -> State {
        loop {
            if let Event::Device { state, .. } = self.next() {
                return state;
            }
        }
    }

    fn line(&self) -> (Mono, String) {
        loop {
            if let Event::Line { t, text, .. } = self.next() {
                return (t, String::from_utf8(text).unwrap());
            }
        }
    }

    fn end(self) -> Counts {
        let began = Instant::now();
        self.stop.set();
        let counts = self.thread.join().expect("never panics");
        assert!(began.elapsed() < Duration::from_secs(2), "ends when told");
        counts
    }
}

/// A pair of pseudo-terminals behind a link that can be moved, as under `/dev/serial/by-id`.
struct Cable {
    master: TTYPort,
    slave: TTYPort,
}

impl Cable {
    fn plug(link: &Path) -> Cable {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(LONGEST_WAIT).unwrap();
        let _ = std::fs::remove_file(link);
        symlink(slave.name().unwrap(), link).unwrap();
        Cable { master, slave }
    }

    fn say(&mut self, text: &str) {
        self.master.write_all(text.as_bytes()).unwrap();
    }

    /// Says a thing again and again until the device is heard in this state.
    fn say_until(&mut self, text: &str, rig: &Rig, want: &State) {
        let began = Instant::now();
        while began.elapsed() < LONGEST_WAIT {
            self.say(text);
            std::thread::sleep(Duration::from_millis(20));
            if rig.events.try_iter().any(|e| matches!(e, Event::Device { state, .. } if state == *want)) {
                return;
            }
        }
        panic!("never {want}");
    }
}

fn place() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let link = dir.path().join("gps");
    (dir, link)
}

#[test]
fn bytes_go_in_and_stamped_lines_come_out() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let rig = Rig::start(&link, Kind::Gps, None, 1.0, 64);
    cable.say_until(&format!("{RMC}\r\n{GST}\r\n"), &rig, &State::Open { baud: 9_600 });
    std::thread::sleep(Duration::from_millis(50));
    rig.events.try_iter().count();

    cable.say("one\r\ntwo\r\n");
    let ((t1, one), (t2, two)) = (rig.line(), rig.line());
    assert_eq!((one.as_str(), two.as_str()), ("one", "two"));
    assert_eq!(t1, t2, "one read, one stamp");
    std::thread::sleep(Duration::from_millis(30));
    cable.say("thr");
    std::thread::sleep(Duration::from_millis(30));
    cable.say("ee\n");
    let (t3, three) = rig.line();
    assert_eq!(three, "three");
    assert!(t3 - t2 >= 50_000, "stamped when its last byte was read");
    rig.end();
}

#[test]
fn a_cable_pulled_and_put_back_is_read_again() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let rig = Rig::start(&link, Kind::Gps, Some(4_800), 10.0, 64);
    cable.say_until(&format!("{RMC}\r\n"), &rig, &State::Open { baud: 4_800 });

    std::fs::remove_file(&link).unwrap();
    drop(cable);
    let State::Lost { why } = rig.state() else { panic!("not lost") };
    assert!(why.contains(" went away ("), "{why}");
    let missing =
        format!("{} is not there: plug the device in, or correct its path in gunwale.toml", link.display());
    assert_eq!(rig.state(), State::Lost { why: missing });

    let mut cable = Cable::plug(&link);
    cable.say_until(&format!("{RMC}\r\n"), &rig, &State::Open { baud: 4_800 });
    cable.say("after\n");
    while rig.line().1 != "after" {}
    rig.end();
}

#[test]
fn what_cannot_be_opened_is_told_once_with_the_reason() {
    let (dir, link) = place();
    let file = dir.path().join("file");
    std::fs::write(&file, "no device").unwrap();
    let held = Cable::plug(&link);
    let _holder = Serial.open(&link, 9_600).unwrap();
    let gone = dir.path().join("gone");
    for (path, reason) in [
        (&gone, "is not there: plug the device in, or correct its path in gunwale.toml"),
        (&link, "is in use by another program: stop that program"),
        (&file, "): check that it is a serial device and that it is plugged in"),
    ] {
        let rig = Rig::start(path, Kind::Gps, None, 100.0, 64);
        let State::Lost { why } = rig.state() else { panic!("not lost") };
        assert!(why.starts_with(path.to_str().unwrap()) && why.ends_with(reason), "{why}");
        std::thread::sleep(Duration::from_millis(200));
        assert_eq!(rig.events.try_iter().count(), 0, "told once");
        rig.end();
    }
    drop(held);
}

#[test]
fn silence_is_told_once_and_the_first_line_ends_it() {
    for baud in [Some(9_600), None] {
        let (_dir, link) = place();
        let mut cable = Cable::plug(&link);
        let rig = Rig::start(&link, Kind::Scale, baud, 50.0, 64);
        assert_eq!(rig.state(), State::Silent);
        std::thread::sleep(Duration::from_millis(700));
        assert_eq!(rig.events.try_iter().count(), 0, "told once, though opened again and again");
        let frames = "US,GS,+  0.182kg\r\nUS,GS,+  0.184kg\r\n";
        let began = Instant::now();
        while cable.slave.bytes_to_read().unwrap() < 2_000 && began.elapsed() < LONGEST_WAIT {
            cable.say(frames);
            std::thread::sleep(Duration::from_millis(5));
            match rig.events.try_recv() {
                Ok(event) => {
                    let Event::Device { state, .. } = event else { panic!("{event:?}") };
                    assert!(matches!(state, State::Open { .. }), "{state}");
                    break;
                }
                Err(_) => continue,
            }
        }
        assert_eq!(rig.line().1, "US,GS,+  0.182kg");
        rig.end();
    }
}

#[test]
fn noise_at_full_speed_costs_lines_and_nothing_else() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let rig = Rig::start(&link, Kind::Gps, Some(9_600), 20.0, 8);
    let mut seed = 1_u64;
    let began = Instant::now();
    // Two seconds of it are 40 s of this clock: long enough for noise to be told, once there is room.
    while began.elapsed() < Duration::from_secs(2) {
        let mut bytes = [0_u8; 2_048];
        for byte in &mut bytes {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *byte = (seed >> 56) as u8;
        }
        cable.master.write_all(&bytes).unwrap();
    }
    cable.say_until("more\n", &rig, &State::Noise);
    cable.say_until(&format!("\n{RMC}\r\n"), &rig, &State::Open { baud: 9_600 });
    let counts = rig.end();
    assert!(counts.dropped > 1_000, "{counts:?}");
}

#[test]
fn a_megabyte_without_a_line_end_is_skipped() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let rig = Rig::start(&link, Kind::Gps, Some(9_600), 1.0, 64);
    cable.say_until(&format!("{RMC}\r\n"), &rig, &State::Open { baud: 9_600 });
    std::thread::sleep(Duration::from_millis(50));
    rig.events.try_iter().count();
    for _ in 0..1_024 {
        cable.master.write_all(&[b'x'; 1_024]).unwrap();
    }
    cable.say(&format!("\n{RMC}\n"));
    assert_eq!(rig.line().1, RMC);
    assert_eq!(rig.end().overlong, 1);
}

/// A device that makes sense at one speed only, and writes down every speed asked for.
struct Fake {
    right: u32,
    asked: Arc<Mutex<Vec<u32>>>,
    /// Reads before it goes away.
    lasts: usize,
}

struct FakePort {
    right: bool,
    left: usize,
}

impl Open for Fake {
    fn open(&mut self, _: &Path, baud: u32) -> io::Result<Box<dyn Port>> {
        self.asked.lock().unwrap().push(baud);
        Ok(Box::new(FakePort { right: baud == self.right, left: self.lasts }))
    }
}

impl Read for FakePort {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        std::thread::sleep(Duration::from_millis(2));
        let text = if self.right { format!("{RMC}\r\n") } else { "\u{1b}~$%A,,*\u{7f}\r\n".into() };
        if self.right {
            self.left = self.left.saturating_sub(1);
        }
        if self.left == 0 {
            return Ok(0);
        }
        into[..text.len()].copy_from_slice(text.as_bytes());
        Ok(text.len())
    }
}

impl Write for FakePort {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn the_speed_is_found_in_order_and_remembered() {
    for (place, right) in RATES.into_iter().enumerate() {
        let asked = Arc::new(Mutex::new(Vec::new()));
        let fake = Fake { right, asked: asked.clone(), lasts: 5 };
        let rig = Rig::start_with(Box::new(fake), Path::new("made up"), Kind::Gps, None, 100.0, 64);
        assert_eq!(rig.state(), State::Open { baud: right });
        let why = "made up went away (end of file): check its plug, cable and power".into();
        assert_eq!(rig.state(), State::Lost { why });
        assert_eq!(rig.state(), State::Open { baud: right });
        rig.end();
        let asked = asked.lock().unwrap();
        assert_eq!(asked[..=place], RATES[..=place], "in order");
        assert_eq!(asked[place + 1], right, "the one that worked comes first");
    }
}

#[test]
fn noise_at_every_speed_is_told_once_and_the_search_goes_on() {
    let asked = Arc::new(Mutex::new(Vec::new()));
    let fake = Fake { right: 2_400, asked: asked.clone(), lasts: 1 };
    let rig = Rig::start_with(Box::new(fake), Path::new("made up"), Kind::Gps, None, 500.0, 64);
    assert_eq!(rig.state(), State::Noise);
    let began = Instant::now();
    while asked.lock().unwrap().len() <= 2 * RATES.len() && began.elapsed() < LONGEST_WAIT {
        std::thread::sleep(Duration::from_millis(5));
    }
    assert_eq!(rig.events.try_iter().count(), 0);
    rig.end();
    let asked = asked.lock().unwrap();
    assert_eq!(asked[..RATES.len()], RATES);
    assert_eq!(asked[RATES.len()..2 * RATES.len()], RATES);
}

#[test]
fn a_thread_ends_when_nobody_listens() {
    let asked = Arc::new(Mutex::new(Vec::new()));
    let fake = Fake { right: 9_600, asked, lasts: usize::MAX };
    let rig = Rig::start_with(Box::new(fake), Path::new("made up"), Kind::Gps, None, 1.0, 64);
    rig.state();
    drop(rig.events);
    rig.thread.join().expect("never panics");
}

/// A scale on a cable.
fn scale(path: &Path, baud: Option<u32>, described: scale::Described, ask: &str) -> Spec {
    Spec { name: SCALE, path: path.into(), baud, kind: Kind::Scale, described, ask: ask.into() }
}

#[test]
fn a_scale_is_asked_on_opening_and_when_it_falls_silent() {
    for baud in [Some(9_600), None] {
        let (_dir, link) = place();
        let mut cable = Cable::plug(&link);
        let spec = scale(&link, baud, scale::Described::default(), "SIR\r\n");
        let rig = Rig::start_spec(Box::new(Serial), spec, 1.0, 64);
        let asked = |cable: &mut Cable| {
            let mut bytes = [0; 5];
            cable.master.read_exact(&mut bytes).unwrap();
            assert_eq!(&bytes, b"SIR\r\n", "asked");
        };
        asked(&mut cable);
        asked(&mut cable);
        // It talks: it is not asked any more.
        let began = Instant::now();
        while began.elapsed() < Duration::from_millis(800) {
            cable.say("S D       0.182 kg\r\n");
            std::thread::sleep(Duration::from_millis(50));
        }
        assert!(cable.master.bytes_to_read().unwrap() <= 10, "at most what was on its way");
        assert_eq!(rig.line().1, "S D       0.182 kg");
        cable.master.clear(serialport::ClearBuffer::Input).unwrap();
        asked(&mut cable);
        rig.end();
    }
}

#[test]
fn nothing_is_sent_to_a_device_that_need_not_be_asked() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let rig = Rig::start(&link, Kind::Scale, Some(9_600), 20.0, 64);
    cable.say_until("0.182 kg\r\n", &rig, &State::Open { baud: 9_600 });
    assert_eq!(rig.state(), State::Silent);
    assert_eq!(cable.master.bytes_to_read().unwrap(), 0);
    rig.end();
}

#[test]
fn frames_without_line_ends_and_with_parity_arrive_as_text() {
    let even = |byte: u8| byte | if byte.count_ones() % 2 == 1 { 0x80 } else { 0 };
    for baud in [Some(9_600), None] {
        let (_dir, link) = place();
        let mut cable = Cable::plug(&link);
        let rig =
            Rig::start_spec(Box::new(Serial), scale(&link, baud, scale::Described::default(), ""), 1.0, 64);
        for _ in 0..3 {
            let frame = b"\x02-  0.182GM - kg\x03";
            cable.master.write_all(&frame.map(even)).unwrap();
            std::thread::sleep(Duration::from_millis(30));
        }
        assert_eq!(rig.state(), State::Open { baud: 9_600 });
        assert_eq!(rig.line().1, "-  0.182GM - kg");
        assert_eq!(rig.end().unknown, 0);
    }
}

#[test]
fn described_frames_are_sent_on_in_a_form_that_needs_no_description() {
    let (_dir, link) = place();
    let mut cable = Cable::plug(&link);
    let pattern = scale::Pattern::new(r"W(?<stable>=)?(?<sign>[-+ ]) *(?<number>\d+\.\d+);").unwrap();
    let described = scale::Described { pattern: Some(pattern), unit: Some(scale::Unit::Kg) };
    let rig = Rig::start_spec(Box::new(Serial), scale(&link, None, described, ""), 1.0, 64);
    cable.say_until("W+  0.182;\r\n", &rig, &State::Open { baud: 9_600 });
    std::thread::sleep(Duration::from_millis(50));
    rig.events.try_iter().count();
    cable.say("W=-  0.184;\r\n0.186\r\nUS,GS,+  0.4lb\r\n");
    let next = || match rig.next() {
        Event::Line { text, heard, .. } => (
            String::from_utf8(text).unwrap(),
            heard.map_or(String::new(), |heard| String::from_utf8(heard).unwrap()),
        ),
        other => panic!("{other:?}"),
    };
    assert_eq!(next(), ("-0.184 kg".into(), "W=-  0.184;".into()));
    assert_eq!(next(), ("0.186 kg".into(), "0.186".into()), "a frame without a unit");
    assert_eq!(next(), ("US,GS,+  0.4lb".into(), String::new()), "a known one stays as it came");
    rig.end();
}

#[test]
fn frames_of_no_known_kind_are_counted_and_sent_on_to_be_shown() {
    for baud in [Some(9_600), None] {
        let (_dir, link) = place();
        let mut cable = Cable::plug(&link);
        let rig =
            Rig::start_spec(Box::new(Serial), scale(&link, baud, scale::Described::default(), ""), 1.0, 64);
        // Enough at once for one read not to be split over two speeds.
        cable.say("\r\n");
        std::thread::sleep(Duration::from_millis(100));
        cable.say("A1 0182\r\nZ A\r\nA1 0184\r\n");
        let lines: Vec<String> = (0..if baud.is_some() { 3 } else { 2 }).map(|_| rig.line().1).collect();
        match baud {
            Some(_) => assert_eq!(lines, ["A1 0182", "Z A", "A1 0184"]),
            None => assert_eq!(lines, ["A1 0182", "A1 0184"]),
        }
        assert_eq!(rig.end().unknown, 2);
    }
}
