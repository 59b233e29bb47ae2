//! Recognisers that hang, die, lie, flood, eat memory, or are not there: capture goes on, each trouble is one line in the log,
//! the notes stay and are heard once it is mended.

use std::time::{Duration, Instant};

use crate::boat::{Running, wait_until};
use crate::sound::note_files;
use crate::stub::{configure, day, notes, says, settings, texts};
use crate::support::{fresh, run, write};

/// A way to fail, its script, and what the log says of it.
const TROUBLES: [(&str, &str, &str); 9] = [
    ("hangs", "sleep 1000", "it did not answer within 1 s: it was stopped"),
    ("hangs with all it started", "sleep 1000 & wait", "it did not answer within 1 s: it was stopped"),
    (
        "dies",
        "read -r file; echo no memory for that >&2; exit 3",
        "it ended (exit status: 3): no memory for that",
    ),
    ("is killed", "read -r file; kill -9 $$", "it ended (signal: 9 (SIGKILL))"),
    (
        "talks rubbish",
        "while read -r file; do echo seven crabs; done",
        "its answer is no JSON object with \"file\" and \"text\": it was stopped",
    ),
    (
        "answers for another file",
        "while read -r file; do echo '{\"file\":\"/etc/passwd\",\"text\":\"seven crabs\",\"confidence\":1}'; done",
        "it answered for another file: it was stopped",
    ),
    ("floods", "yes crabs | tr -d '\\n'", "its answer has no end: it was stopped"),
    (
        "eats memory",
        "exec python3 -c 'import sys\nsys.stdin.readline()\nx = []\nwhile True: x.append(bytearray(1 << 20))'",
        "MemoryError",
    ),
    (
        "is sure beyond measure",
        "while read -r file; do printf '{\"file\":\"%s\",\"text\":\"x\",\"confidence\":99}\\n' \"$file\"; done",
        "its confidence is not between 0 and 1: it was stopped",
    ),
];

#[test]
fn whatever_a_recogniser_does_notes_stay_and_capture_goes_on() {
    for (name, script, logged) in TROUBLES {
        let data = fresh();
        let data = data.path();
        day(data);
        let path = write(data, "one.sh", script);
        configure(data, settings("one", &path, "patience_s = 1\nmemory_mb = 100"));
        let mut service = Running::service(data);
        // The first failure, and after a pause the second.
        let failures = |service: &mut Running| {
            service
                .err()
                .lines()
                .filter(|line| line.contains("no text from it:"))
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        wait_until(name, 30, || !failures(&mut service).is_empty());
        let began = Instant::now();
        run(data, &["note", "four keepers"]);
        assert!(began.elapsed() < Duration::from_secs(5), "{name}: capture waits");
        wait_until(name, 30, || failures(&mut service).len() >= 2);
        let told = failures(&mut service);
        for (n, line) in told.iter().enumerate() {
            assert!(line.contains(logged) && line.contains(&format!("failed={}", n + 1)), "{name}: {line}");
        }
        assert_eq!((texts(data), note_files(data).len()), (vec!["-".to_owned(); 3], 3), "{name}");
        // Mended, it is used again after its pause: nothing was lost.
        says(data, "one", "seven crabs", 0.95);
        wait_until(name, 40, || texts(data) == ["seven crabs"; 3]);
        assert!(notes(data).iter().any(|note| note["text"] == "four keepers"), "{name}");
        let began = Instant::now();
        assert!(service.terminate().0.success(), "{name}");
        assert!(began.elapsed() < Duration::from_secs(5), "{name}: the service waits for it");
    }
}

#[test]
fn one_that_is_not_installed_is_told_and_a_slow_one_is_waited_for() {
    let data = fresh();
    let data = data.path();
    day(data);
    let slow = says(data, "slow", "seven crabs", 0.95);
    let script = std::fs::read_to_string(&slow).unwrap();
    write(data, "slow.sh", format!("sleep 3\n{script}"));
    let toml = "[[recogniser]]\nname = \"none\"\ncommand = [\"no-such-program\"]\n".to_owned()
        + &settings("slow", &slow, "patience_s = 20");
    configure(data, toml);
    let mut service = Running::service(data);
    wait_until("the slow one has heard all", 40, || texts(data) == ["seven crabs"; 3]);
    let told = "no-such-program is not installed: install it, or mend its command in the settings";
    assert!(service.err().contains(told), "{}", service.err());
    service.terminate();
}

#[test]
fn a_service_that_stops_does_not_wait_for_a_recogniser() {
    let data = fresh();
    let data = data.path();
    day(data);
    let path = write(data, "one.sh", "echo here >&2; sleep 1000");
    configure(data, settings("one", &path, ""));
    let mut service = Running::service(data);
    wait_until("it is asked", 30, || service.err().contains("started recogniser=\"one\""));
    let began = Instant::now();
    assert!(service.terminate().0.success());
    assert!(began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());
    assert!(!service.err().contains("no text from it"), "{}", service.err());
}
