//! What tests of the running program share: a GPS receiver on a real pseudo-terminal, a service to be watched and
//! killed, simulated tapes, and waiting for something with a deadline.

#![allow(dead_code, reason = "each test uses its part")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use gunwale::sim::{Day, Options, ScaleUse};
use serialport::{SerialPort, TTYPort};

/// Waits until something holds; panics with `what` when it does not in time.
pub fn wait_until(what: &str, seconds: u64, mut holds: impl FnMut() -> bool) {
    let end = Instant::now() + Duration::from_secs(seconds);
    while !holds() {
        assert!(Instant::now() < end, "not within {seconds} s: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Numbers that look random and are the same for the same seed.
pub struct Dice(u64);

impl Dice {
    /// From `GUNWALE_SEED` if it is set, else another each time; printed, so that a failure can be had again.
    pub fn new(what: &str) -> Dice {
        let given = std::env::var("GUNWALE_SEED").ok().and_then(|text| text.parse().ok());
        let now =
            || std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_nanos() as u64;
        let seed = given.unwrap_or_else(now);
        println!("{what}: GUNWALE_SEED={seed}");
        Dice(seed)
    }

    /// The next number (Steele, Lea and Flood's SplitMix64).
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }

    /// A part of a span.
    pub fn part_of(&mut self, span: Duration) -> Duration {
        span.mul_f64(self.next() as f64 / u64::MAX as f64)
    }
}

/// A simulated day without a scale, as a tape.
pub fn tape(seed: u64, pulls: usize) -> Vec<u8> {
    let mut out = Vec::new();
    let options = Options { seed, pulls, scale: ScaleUse::Off, ..Options::default() };
    Day::new(options).tape(&mut out).expect("memory takes it");
    out
}

/// That day's trap register as a CSV trap file.
pub fn register(seed: u64, pulls: usize) -> String {
    let options = Options { seed, pulls, scale: ScaleUse::Off, ..Options::default() };
    let row = |row: gunwale::sim::RegisterRow| {
        format!("{},{:.7},{:.7},{}\n", row.trap, row.lat, row.lon, row.set_at)
    };
    std::iter::once("trap,lat,lon,set_at\n".to_owned())
        .chain(Day::new(options).traps().into_iter().map(row))
        .collect()
}

/// A sentence with its checksum, without a line end.
pub fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A position as a receiver tells it, in RMC and GGA: seconds after noon of 2027-03-02.
pub fn fix(s: f64, lat: f64, lon: f64, knots: f64) -> [String; 2] {
    let clock = 43_200.0 + s;
    let (h, m) = ((clock / 3_600.0) as u32, (clock / 60.0) as u32 % 60);
    let time = format!("{h:02}{m:02}{:05.2}", (clock % 60.0).min(59.99));
    let angle = |value: f64, width: usize| {
        format!("{:0width$}{:08.5}", value.abs() as u32, (value.abs().fract() * 60.0).min(59.99999))
    };
    let (ns, ew) = (if lat < 0.0 { 'S' } else { 'N' }, if lon < 0.0 { 'W' } else { 'E' });
    let place = format!("{},{ns},{},{ew}", angle(lat, 2), angle(lon, 3));
    [
        sentence(&format!("GPRMC,{time},A,{place},{knots:.2},090.0,020327,,,A")),
        sentence(&format!("GPGGA,{time},{place},1,09,0.9,2.0,M,-30.0,M,,")),
    ]
}

/// A serial cable: a link in a directory, and the pseudo-terminal it leads to while the cable is in.
pub struct Cable {
    pub link: PathBuf,
    ends: Option<(TTYPort, TTYPort)>,
}

impl Cable {
    pub fn new(link: PathBuf) -> Cable {
        let mut cable = Cable { link, ends: None };
        cable.put_in();
        cable
    }

    pub fn put_in(&mut self) {
        let (master, slave) = TTYPort::pair().expect("a pseudo-terminal");
        // Clones are closed in programs started later; else those would hold the cable in.
        let (mut master, slave) = (master.try_clone_native().unwrap(), slave.try_clone_native().unwrap());
        master.set_timeout(Duration::from_millis(50)).unwrap();
        let _ = std::fs::remove_file(&self.link);
        symlink(slave.name().unwrap(), &self.link).unwrap();
        self.ends = Some((master, slave));
    }

    pub fn pull_out(&mut self) {
        self.ends = None;
        let _ = std::fs::remove_file(&self.link);
    }

    /// Sends what goes without waiting long; says how much went.
    pub fn send(&mut self, bytes: &[u8]) -> usize {
        self.ends.as_mut().map_or(0, |(master, _)| master.write(bytes).unwrap_or(0))
    }

    /// Sends bytes whole, or loses them as on a line to which nobody listens.
    pub fn whole(&mut self, bytes: &[u8]) {
        let Some((master, slave)) = &mut self.ends else { return };
        if slave.bytes_to_read().is_ok_and(|unread| unread < 2_048) {
            let _ = master.write_all(bytes);
        }
    }

    /// What was sent to it and has not been taken yet.
    pub fn receive(&mut self) -> String {
        let mut bytes = [0; 256];
        let n = self.ends.as_mut().map_or(0, |(master, _)| master.read(&mut bytes).unwrap_or(0));
        String::from_utf8_lossy(&bytes[..n]).into_owned()
    }

    /// Sends lines whole, or loses them as on a line to which nobody listens.
    pub fn lines(&mut self, lines: &[String]) {
        let text: String = lines.iter().map(|line| format!("{line}\r\n")).collect();
        self.whole(text.as_bytes());
    }
}

/// A receiver that tells one place five times a second until told otherwise.
pub struct Receiver {
    pub cable: Arc<Mutex<Cable>>,
    silent: Arc<AtomicBool>,
    over: Arc<AtomicBool>,
    /// Speed, hundredths of a knot.
    speed: Arc<AtomicU64>,
    thread: Option<JoinHandle<()>>,
}

impl Receiver {
    pub fn start(cable: Cable) -> Receiver {
        let cable = Arc::new(Mutex::new(cable));
        let (silent, over, speed) =
            (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let thread = std::thread::spawn({
            let (cable, silent, over, speed) = (cable.clone(), silent.clone(), over.clone(), speed.clone());
            move || {
                let began = Instant::now();
                let mut north = 0.0;
                while !over.load(Ordering::Relaxed) {
                    let knots = speed.load(Ordering::Relaxed) as f64 / 100.0;
                    // A minute of latitude a nautical mile.
                    north += knots / 3_600.0 * 0.2 / 60.0;
                    if !silent.load(Ordering::Relaxed) {
                        let lines = fix(began.elapsed().as_secs_f64(), 25.2 + north, -80.3, knots);
                        cable.lock().unwrap().lines(&lines);
                    }
                    std::thread::sleep(Duration::from_millis(200));
                }
            }
        });
        Receiver { cable, silent, over, speed, thread: Some(thread) }
    }

    pub fn silence(&self, silent: bool) {
        self.silent.store(silent, Ordering::Relaxed);
    }

    pub fn speed(&self, knots: f64) {
        self.speed.store((knots * 100.0) as u64, Ordering::Relaxed);
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A program started and watched; killed when dropped.
pub struct Running {
    child: Child,
    out: Arc<Mutex<String>>,
    err: Arc<Mutex<String>>,
    readers: Vec<JoinHandle<()>>,
}

impl Running {
    pub fn start(command: &mut Command) -> Running {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let (out, err) = (Arc::default(), Arc::default());
        let readers = vec![
            collect(child.stdout.take().unwrap(), Arc::clone(&out)),
            collect(child.stderr.take().unwrap(), Arc::clone(&err)),
        ];
        Running { child, out, err, readers }
    }

    /// `gunwale run`, waited for until it answers.
    pub fn service(data: &Path) -> Running {
        let service = Running::start(super::support::gunwale(data).arg("run"));
        wait_until("the service's socket", 20, || {
            std::os::unix::net::UnixStream::connect(data.join("socket")).is_ok()
        });
        service
    }

    pub fn out(&self) -> String {
        self.out.lock().unwrap().clone()
    }

    pub fn err(&self) -> String {
        self.err.lock().unwrap().clone()
    }

    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    pub fn running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// Pulls said to be recorded so far, by whole lines.
    pub fn recorded(&self) -> Vec<String> {
        let out = self.out();
        let whole = out.rfind('\n').map_or("", |end| &out[..end]);
        whole.lines().filter_map(|line| line.strip_prefix("recorded ").map(str::to_owned)).collect()
    }

    /// Memory in use, kB (VmRSS).
    pub fn memory_kb(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.pid())).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("VmRSS");
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }

    /// Pulls of the day, waited for until there is one for which something holds.
    pub fn pull_that(
        data: &Path,
        what: &str,
        holds: impl Fn(&serde_json::Value) -> bool,
    ) -> serde_json::Value {
        let mut found = None;
        wait_until(what, 20, || {
            found = super::support::pulls(data).into_iter().find(|pull| holds(pull));
            found.is_some()
        });
        found.unwrap()
    }

    /// SIGKILL; true when it was still running.
    pub fn kill(&mut self) -> bool {
        let was = self.running();
        let _ = self.child.kill();
        self.ended();
        was
    }

    /// SIGTERM, and how long it took to end.
    pub fn terminate(&mut self) -> (ExitStatus, Duration) {
        let began = Instant::now();
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
        wait_until("the service ends when told to", 20, || !self.running());
        (self.ended(), began.elapsed())
    }

    /// Waits for its end, and for all it said.
    pub fn ended(&mut self) -> ExitStatus {
        let status = self.child.wait().unwrap();
        self.readers.drain(..).for_each(|reader| reader.join().unwrap());
        status
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            eprintln!("--- stdout\n{}\n--- stderr\n{}", self.out(), self.err());
        }
    }
}

fn collect(from: impl Read + Send + 'static, into: Arc<Mutex<String>>) -> JoinHandle<()> {
    std::thread::spawn(move || {
        let mut from = BufReader::new(from);
        let mut line = Vec::new();
        while from.read_until(b'\n', &mut line).is_ok_and(|n| n > 0) {
            into.lock().unwrap().push_str(&String::from_utf8_lossy(&line));
            line.clear();
        }
    })
}

/// Settings with a GPS receiver at this path, and its line speed if it need not be found.
pub fn settings(data: &Path, gps: &Path, baud: Option<u32>) {
    let baud = baud.map_or_else(String::new, |baud| format!("baud = {baud}\n"));
    std::fs::write(data.join("gunwale.toml"), format!("boat = \"Osprey\"\n[gps]\nport = {gps:?}\n{baud}"))
        .unwrap();
}

/// A copy of a directory and all in it.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// The regular files under a directory, in order.
pub fn files(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}
