//! A scale on a real pseudo-terminal, speaking each dialect in turn to the whole program: the same loads give the same
//! weighings, a unit switched mid-day changes nothing, what nobody knows is counted and shown, and the journal alone
//! says it all again.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
mod support;
#[path = "scale/used.rs"]
mod used;

use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use boat::{Cable, Receiver, Running, wait_until};
use serde_json::Value;
use support::{attempt, fresh, jsonl, run, text, write};

/// Between frames.
const PERIOD: Duration = Duration::from_millis(100);
/// What lies on the pan: until when, seconds, and how much, grams: 0.4 lb and 0.25 lb (NIST SP 811, appendix B).
const LOADS: [(f64, f64); 5] =
    [(3.0, 0.0), (7.0, 181.436_948), (9.5, 0.0), (13.5, 113.398_092_5), (f64::INFINITY, 0.0)];
/// The scale is switched to its second unit here, with a load on it, seconds.
const SWITCHED: f64 = 5.0;

/// Both loads are weighed, seconds.
const OVER_S: u64 = 16;

/// How one scale talks.
struct Talk {
    name: &'static str,
    /// Keys of `[scale]` beside its port.
    settings: &'static str,
    /// Units before and after the switch.
    units: [&'static str; 2],
    /// A frame, from the weight in that unit and the unit.
    frame: fn(f64, &str) -> String,
    /// Parity in the top bit.
    even: bool,
    /// What it must be sent before it says anything.
    asked: &'static str,
    /// What `check` takes it for.
    taken_for: &'static str,
}

const TALKS: [Talk; 10] = [
    Talk {
        name: "commas",
        settings: "",
        units: ["kg", "lb"],
        frame: |value, unit| format!("US,GS,{value:+9.5}{unit}\r\n"),
        even: false,
        asked: "",
        taken_for: "comma-separated (ST,GS)",
    },
    Talk {
        name: "decimal commas, speed set",
        settings: "baud = 9600",
        units: ["kg", "g"],
        frame: |value, unit| format!("US,NT,{value:9.5} {unit}\r\n").replace('.', ","),
        even: false,
        asked: "",
        taken_for: "comma-separated (ST,GS)",
    },
    Talk {
        name: "sics, asked",
        settings: "ask = \"SIR\"",
        units: ["g", "oz"],
        frame: |value, unit| format!("S D {value:10.3} {unit}\r\n"),
        even: false,
        asked: "SIR\r\n",
        taken_for: "SICS replies (S S)",
    },
    Talk {
        name: "plain",
        settings: "",
        units: ["oz", "g"],
        frame: |value, unit| format!("{value:12.4} {unit} ?\r\n"),
        even: false,
        asked: "",
        taken_for: "plain number and unit",
    },
    Talk {
        name: "pounds and ounces",
        settings: "",
        units: ["lb", "kg"],
        frame: |value, unit| match unit {
            "lb" => format!("{}:{:07.4} lb:oz\r\n", value.floor(), value.fract() * 16.0),
            _ => format!("{value:.5} {unit}\r\n"),
        },
        even: false,
        asked: "",
        taken_for: "plain number and unit",
    },
    Talk {
        name: "continuous with unit letters",
        settings: "",
        units: ["kg", "lb"],
        frame: |value, unit| format!("\u{2} {value:7.5}{}GM\r\n", &unit[..1].to_uppercase()),
        even: false,
        asked: "",
        taken_for: "continuous, fixed places (STX)",
    },
    Talk {
        name: "continuous without line ends, 7E1",
        settings: "",
        units: ["kg", "lb"],
        frame: |value, unit| format!("\u{2} {value:7.5}G  - {unit}\u{3}"),
        even: true,
        asked: "",
        taken_for: "continuous, fixed places (STX)",
    },
    Talk {
        name: "continuous without a unit",
        settings: "unit = \"kg\"",
        units: ["kg", "kg"],
        frame: |value, _| format!("\u{2} {value:7.5}G\u{3}"),
        even: false,
        asked: "",
        taken_for: "as the settings describe",
    },
    Talk {
        name: "described",
        settings: r"pattern = 'W(?<stable>=)?;(?<sign>-?)(?<number>\d+\.\d+)(?<unit>kg|lb);(?<over>!)?'",
        units: ["kg", "lb"],
        frame: |value, unit| format!("W;{value:.5}{unit};\r\n"),
        even: false,
        asked: "",
        taken_for: "as the settings describe",
    },
    Talk {
        name: "one dialect, then another",
        settings: "",
        units: ["kg", "lb"],
        frame: |value, unit| match unit {
            "kg" => format!("US,GS,{value:+9.5}kg\r\n"),
            _ => format!("{value:9.5} {unit} ?\r\n"),
        },
        even: false,
        asked: "",
        taken_for: "plain number and unit",
    },
];

impl Talk {
    fn bytes(&self, s: f64) -> Vec<u8> {
        let g = LOADS.iter().find(|(until, _)| s < *until).map_or(0.0, |(_, g)| *g);
        let unit = self.units[usize::from(s >= SWITCHED)];
        let in_unit = match unit {
            "kg" => g / 1_000.0,
            "lb" => g / 453.592_37,
            "oz" => g / 28.349_523_125,
            _ => g,
        };
        let even = |byte: u8| byte | if self.even && byte.count_ones() % 2 == 1 { 0x80 } else { 0 };
        (self.frame)(in_unit, unit).into_bytes().into_iter().map(even).collect()
    }
}

/// A scale that goes through its loads, with a frame nobody knows twice a second.
struct Scale {
    over: Arc<AtomicBool>,
    /// For how long it has talked, whole seconds.
    said: Arc<AtomicU64>,
    thread: Option<JoinHandle<()>>,
}

impl Scale {
    fn start(talk: &'static Talk, cable: Arc<Mutex<Cable>>) -> Scale {
        let (over, said) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let (done, so_far) = (over.clone(), said.clone());
        let thread = std::thread::spawn(move || {
            let mut asked = talk.asked.is_empty();
            let mut began = Instant::now();
            let mut n = 0;
            while !done.load(Ordering::Relaxed) {
                let mut cable = cable.lock().unwrap();
                if !asked {
                    asked = cable.receive().contains(talk.asked);
                    began = Instant::now();
                }
                if asked {
                    so_far.store(began.elapsed().as_secs(), Ordering::Relaxed);
                    let mut bytes = talk.bytes(began.elapsed().as_secs_f64());
                    if n % 5 == 0 {
                        bytes.extend(b"\r\nA7 unheard of\r\n");
                    }
                    n += 1;
                    cable.whole(&bytes);
                }
                drop(cable);
                std::thread::sleep(PERIOD);
            }
        });
        Scale { over, said, thread: Some(thread) }
    }
}

impl Drop for Scale {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn weighings(data: &Path) -> Vec<f64> {
    let table = run(data, &["export", "jsonl", "--table", "weighings"]);
    jsonl(&table).iter().map(|row| row["g"].as_f64().expect("grams")).collect()
}

/// Weighs both loads in this dialect; what the records say.
fn weigh(talk: &'static Talk) -> Vec<f64> {
    let data = fresh();
    let data = data.path();
    let receiver = Receiver::start(Cable::new(data.join("receiver")));
    let cable = Cable::new(data.join("scale"));
    let settings = |scale: &str| {
        let gps = data.join("receiver");
        let toml = format!(
            "[gps]\nport = {gps:?}\n[mic]\nkeep = \"off\"\n[cues]\nquiet = true\n[scale]\nport = {:?}\n{scale}\n",
            data.join("scale")
        );
        write(data, "gunwale.toml", toml);
    };
    settings(talk.settings);
    let mut service = Running::service(data);
    wait_until("fixes", 30, || run(data, &["export", "jsonl", "--table", "track"]).lines().count() >= 3);
    let cable = Arc::new(Mutex::new(cable));
    let scale = Scale::start(talk, cable);
    wait_until(talk.name, 60, || scale.said.load(Ordering::Relaxed) > OVER_S);
    assert!(service.terminate().0.success(), "{}: {}", talk.name, service.err());
    let known = "\"A7 unheard of\" is of no known kind";
    assert!(service.err().contains(known), "{}: {}", talk.name, service.err());
    let found = weighings(data);

    // The scale goes on in its second unit.
    let checked = text(&attempt(data, &["check"]).stdout);
    let said = checked.lines().find(|line| line.starts_with("scale ")).expect("a line for the scale");
    println!("{}: {said}", talk.name);
    assert!(said.starts_with("scale     good  "), "{said}");
    assert!(said.contains(talk.taken_for), "{}: {said}", talk.name);
    assert!(said.contains("not understood: \"A7 unheard of\""), "{said}");
    drop((scale, receiver));

    // The settings are not needed to read the journal.
    let records = run(data, &["export", "jsonl"]);
    settings("");
    run(data, &["rebuild"]);
    assert_eq!(run(data, &["export", "jsonl"]), records, "{}", talk.name);
    let pull: Value = jsonl(&records).remove(0);
    assert!(!pull["flags"].as_array().unwrap().contains(&"overload".into()), "{pull}");
    found
}

#[test]
fn every_dialect_gives_the_same_weighings() {
    let threads: Vec<_> =
        TALKS.iter().map(|talk| (talk.name, std::thread::spawn(move || weigh(talk)))).collect();
    for (name, thread) in threads {
        let found = thread.join().unwrap_or_else(|_| panic!("{name} failed, see above"));
        let [first, second] = found[..] else { panic!("{name}: {found:?}") };
        assert!((first - LOADS[1].1).abs() < 0.1, "{name}: {first} g");
        assert!((second - LOADS[3].1).abs() < 0.1, "{name}: {second} g");
    }
}

#[test]
fn a_scale_nobody_knows_is_shown_by_check() {
    let data = fresh();
    let data = data.path();
    let cable = Arc::new(Mutex::new(Cable::new(data.join("scale"))));
    let toml =
        format!("[mic]\nkeep = \"off\"\n[cues]\nquiet = true\n[scale]\nport = {:?}\n", data.join("scale"));
    static STRANGE: Talk = Talk {
        name: "strange",
        settings: "",
        units: ["g", "g"],
        frame: |_, _| "A1 0182 @\r\n".into(),
        even: false,
        asked: "",
        taken_for: "",
    };
    write(data, "gunwale.toml", toml);
    let _scale = Scale::start(&STRANGE, cable);
    let checked = attempt(data, &["check"]);
    assert_eq!(checked.status.code(), Some(1));
    let checked = text(&checked.stdout);
    let said = checked.lines().find(|line| line.starts_with("scale ")).expect("a line for the scale");
    println!("{said}");
    assert!(said.starts_with("scale     BAD   "), "{said}");
    assert!(
        said.contains(" frames not understood: \"A1 0182 @\" \"A7 unheard of\"; set it to send"),
        "{said}"
    );
}
