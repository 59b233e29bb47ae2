//! Buttons: what keys and contacts mean, devices that go away, and a made-up pedal where the system allows one.
//!
//! Pseudo-terminals have no control lines, so contacts are tested by their looks; that a port without control lines
//! is told as such is tested on one.

use std::io;
use std::path::Path;
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::{Duration, Instant};

use evdev::uinput::VirtualDevice;
use evdev::{AttributeSet, KeyEvent};
use serialport::{SerialPort, TTYPort};

use super::keys::Held;
use super::line::Contacts;
use super::worker::{Act, Watch};
use super::*;
use crate::clock::BootClock;

const LONGEST_WAIT: Duration = Duration::from_secs(10);

fn held(note: Option<&str>, mute: Option<&str>) -> Held {
    let On::Keys { note, mute } = Spec::keys("/x".into(), note, mute).unwrap().on else { panic!() };
    Held::new(note, mute)
}

#[test]
fn keys_mean_presses() {
    let (a, b, c) = (KeyCode::KEY_A, KeyCode::KEY_F13, KeyCode::KEY_F14);
    let (down, up) = (|n| (n, Act::Button(Mono(n), true)), |n| (n, Act::Button(Mono(n), false)));
    let mute = |n| (n, Act::Mute(Mono(n)));
    for (note, muted, events, want) in [
        // A given key: held for long it repeats, others do not count.
        (Some("KEY_F13"), None, &[(b, 1), (b, 2), (b, 2), (a, 1), (b, 0), (a, 0)][..], vec![down(0), up(4)]),
        // Any key: down while any of them is.
        (None, None, &[(a, 1), (b, 1), (a, 0), (b, 0), (b, 1)], vec![down(0), up(3), down(4)]),
        // Mute at its press only, and never the button.
        (
            None,
            Some("KEY_F14"),
            &[(c, 1), (c, 2), (c, 0), (a, 1), (c, 1), (a, 0)],
            vec![mute(0), down(3), mute(4), up(5)],
        ),
        (Some("KEY_F13"), Some("KEY_F14"), &[(c, 1), (a, 1), (b, 1), (c, 0)], vec![mute(0), down(2)]),
        // Held down when it was opened: the end of that is no news; twice down is once.
        (None, None, &[(a, 2), (a, 0), (a, 1), (a, 1), (a, 0), (a, 0)], vec![down(2), up(4)]),
    ] {
        let mut held = held(note, muted);
        let told: Vec<(i64, Act)> = (0..)
            .zip(events)
            .filter_map(|(n, &(key, value))| held.take(Mono(n), key, value).map(|act| (n, act)))
            .collect();
        assert_eq!(told, want, "{note:?} {muted:?} {events:?}");
    }
}

#[test]
fn settings_that_cannot_be_are_told() {
    let keys = |note, mute| Spec::keys("/x".into(), note, mute).map(|_| ());
    let unknown = |name: &str| Err(Unusable::Key { name: name.into() });
    let same = |name: &str| Err(Unusable::Same { name: name.into() });
    assert_eq!(keys(None, None), Ok(()));
    assert_eq!(keys(Some("BTN_LEFT"), Some("KEY_F13")), Ok(()));
    assert_eq!(keys(Some("KEY_F99"), None), unknown("KEY_F99"));
    assert_eq!(keys(None, Some("f13")), unknown("f13"));
    assert_eq!(keys(Some("KEY_A"), Some("KEY_A")), same("KEY_A"));
    let lines = |note, mute| Spec::lines("/x".into(), note, mute).map(|_| ());
    assert_eq!(lines(Line::Cts, Some(Line::Ri)), Ok(()));
    for line in [Line::Cts, Line::Dsr, Line::Dcd, Line::Ri] {
        assert_eq!(lines(line, Some(line)), same(&line.to_string()));
        assert_eq!(serde_json::from_str::<Line>(&format!("\"{line}\"")).unwrap(), line);
    }
}

#[test]
fn contacts_mean_presses() {
    let mut contacts = Contacts::new(Line::Cts, Some(Line::Ri), 30_000);
    let cts = ".....######.......####....";
    let ri_ = ".........#####.#..........";
    let mut told = Vec::new();
    for (n, (cts, ri)) in (0..).zip(cts.chars().zip(ri_.chars())) {
        let look = |line| Ok(if line == Line::Cts { cts == '#' } else { ri == '#' });
        told.extend(contacts.look(Mono(n * 10_000), look).unwrap());
    }
    let at = |n: i64| Mono(n * 10_000);
    assert_eq!(
        told,
        [
            Act::Button(at(5), true),
            Act::Mute(at(9)),
            Act::Button(at(11), false),
            Act::Button(at(18), true),
            Act::Button(at(22), false)
        ]
    );
    assert!(contacts.look(at(99), |_| Err(io::Error::other("gone"))).is_err());
}

/// A device of which it is known what it says.
struct Script(std::vec::IntoIter<Vec<Act>>);

impl Watch for Script {
    fn next(&mut self) -> io::Result<Vec<Act>> {
        self.0.next().ok_or_else(|| io::Error::other("unplugged"))
    }
}

#[test]
fn a_device_that_goes_away_lets_go_and_a_full_channel_loses_no_press() {
    let (to, from) = sync_channel::<Event>(1);
    let spec = Spec::keys("/x".into(), None, None).unwrap();
    let mut worker = Worker::new(spec, Arc::new(BootClock), to, Stop::new());
    let acts = |n| Act::Button(Mono(n), n % 2 == 0);
    let script = Script(vec![vec![acts(0), acts(1)], vec![], vec![acts(2), acts(2)]].into_iter());
    let reader = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(50));
        std::iter::from_fn(|| from.recv_timeout(Duration::from_secs(1)).ok()).collect::<Vec<Event>>()
    });
    let trouble = worker.watch(Box::new(script)).unwrap();
    assert_eq!(trouble.to_string(), "/x went away (unplugged): check its plug and cable");
    // What found no room goes with the next look.
    let began = Instant::now();
    while began.elapsed() < Duration::from_millis(500) {
        let _ = worker.watch(Box::new(Script(vec![vec![]].into_iter())));
        std::thread::sleep(Duration::from_millis(5));
    }
    drop(worker);
    let told: Vec<bool> =
        reader.join().unwrap().iter().map(|e| matches!(e, Event::Button { down: true, .. })).collect();
    assert_eq!(told, [true, false, true, false], "the last one is the device's end");
}

/// A button's thread on a device.
struct Rig {
    events: Receiver<Event>,
    stop: Stop,
    thread: JoinHandle<()>,
}

impl Rig {
    fn start(spec: Spec) -> Rig {
        let (to, events) = sync_channel(64);
        let stop = Stop::new();
        let thread = spawn(spec, Arc::new(BootClock), to, stop.clone()).unwrap();
        Rig { events, stop, thread }
    }

    fn next(&self) -> Event {
        self.events.recv_timeout(LONGEST_WAIT).expect("an event")
    }

    fn lost(&self) -> String {
        match self.next() {
            Event::State(State::Lost { why }) => why,
            other => panic!("{other:?}"),
        }
    }

    fn end(self) {
        let began = Instant::now();
        self.stop.set();
        self.thread.join().expect("never panics");
        assert!(began.elapsed() < Duration::from_secs(1), "ends when told");
    }
}

#[test]
fn what_is_no_button_is_told_once() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    std::fs::write(&file, "x").unwrap();
    let keys = |path: &Path| Spec::keys(path.into(), None, None).unwrap();
    let line = |path: &Path| Spec::lines(path.into(), Line::Cts, None).unwrap();
    let missing = dir.path().join("missing");
    let (_master, slave) = TTYPort::pair().unwrap();
    let pty = slave.name().unwrap();
    drop(slave);
    let pty = Path::new(&pty);
    let no_keys = "check that it is an input device with keys";
    let no_lines = "check that it is a serial port with control lines";
    for (spec, path, end) in [
        (keys(&missing), &*missing, "is not there: plug the button in, or correct its path in gunwale.toml"),
        (line(&missing), &missing, "is not there: plug the button in, or correct its path in gunwale.toml"),
        (keys(&file), &file, no_keys),
        (keys(Path::new("/dev/null")), Path::new("/dev/null"), no_keys),
        (line(&file), &file, no_lines),
        (line(pty), pty, no_lines),
    ] {
        let rig = Rig::start(spec);
        let why = rig.lost();
        assert!(why.starts_with(&path.display().to_string()) && why.ends_with(end), "{why}");
        // It has been tried again by then.
        std::thread::sleep(Duration::from_millis(500));
        assert_eq!(rig.events.try_iter().count(), 0, "told once");
        rig.end();
    }
}

/// Says why a made-up pedal cannot be had.
fn pedal() -> Result<(VirtualDevice, std::path::PathBuf), String> {
    let keys: AttributeSet<KeyCode> = [KeyCode::KEY_F13, KeyCode::KEY_F14, KeyCode::KEY_A].iter().collect();
    let made = VirtualDevice::builder()
        .map_err(|e| format!("/dev/uinput cannot be opened ({e})"))?
        .name("gunwale test pedal")
        .with_keys(&keys)
        .and_then(|builder| builder.build());
    let mut device = made.map_err(|e| format!("no device can be made ({e})"))?;
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(2) {
        let node =
            device.enumerate_dev_nodes_blocking().ok().and_then(|mut nodes| nodes.find_map(Result::ok));
        if let Some(node) = node.filter(|node| std::fs::File::open(node).is_ok()) {
            return Ok((device, node));
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    Err("the made-up device has no node in /dev/input".into())
}

#[test]
fn a_pedal_is_heard_grabbed_and_found_again() {
    let (mut device, node) = match pedal() {
        Ok(pedal) => pedal,
        Err(why) => return println!("skipped: {why}"),
    };
    let dir = tempfile::tempdir().unwrap();
    let link = dir.path().join("pedal");
    std::os::unix::fs::symlink(&node, &link).unwrap();
    let rig = Rig::start(Spec::keys(link.clone(), Some("KEY_F13"), Some("KEY_F14")).unwrap());
    assert_eq!(rig.next(), Event::State(State::Open));
    let press =
        |device: &mut VirtualDevice, key: KeyCode, value| device.emit(&[*KeyEvent::new(key, value)]).unwrap();
    press(&mut device, KeyCode::KEY_F13, 1);
    assert!(matches!(rig.next(), Event::Button { down: true, .. }));
    press(&mut device, KeyCode::KEY_A, 1);
    press(&mut device, KeyCode::KEY_F14, 1);
    assert!(matches!(rig.next(), Event::Mute { .. }));
    let busy = Rig::start(Spec::keys(link.clone(), None, None).unwrap());
    assert_eq!(busy.lost(), format!("{} is in use by another program: stop that program", link.display()));
    busy.end();
    drop(device);
    assert!(matches!(rig.next(), Event::Button { down: false, .. }));
    assert!(rig.lost().contains("went away"));
    let (mut device, node) = pedal().unwrap();
    std::fs::remove_file(&link).unwrap();
    std::os::unix::fs::symlink(&node, &link).unwrap();
    while rig.next() != Event::State(State::Open) {}
    press(&mut device, KeyCode::KEY_F13, 1);
    assert!(matches!(rig.next(), Event::Button { down: true, .. }));
    rig.end();
    let none = Rig::start(Spec::keys(node.clone(), Some("KEY_B"), None).unwrap());
    let why = "press its keys while evtest shows their names, and correct gunwale.toml";
    assert_eq!(none.lost(), format!("{} has no KEY_B: {why}", node.display()));
    none.end();
}
