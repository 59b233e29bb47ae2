//! The running service: real pseudo-terminals, every command beside it, clients that misbehave, cables that are pulled,
//! and its end.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
mod support;

use std::io::{Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::{Duration, Instant};

use boat::{Cable, Receiver, Running, register, settings, tape, wait_until};
use gunwale::args::{Command, Export, Format, Table};
use gunwale::socket::{Kind, send};
use serde_json::{Value, json};
use support::{attempt, fresh, jsonl, pulls, run, text, write};

/// The day of the receiver's sentences.
const LIVE: &str = "2027-03-02";
/// The day of the simulated tapes.
const PLAYED: &str = "2027-02-09";

/// How many position epochs of today's run there are.
fn fixes(data: &Path) -> usize {
    run(data, &["export", "jsonl", "--table", "track", "--from", LIVE]).lines().count()
}

/// A service with a receiver that tells a place where she lies still.
fn lying(data: &Path) -> (Running, Receiver) {
    let cable = Cable::new(data.join("receiver"));
    settings(data, &cable.link, None);
    let receiver = Receiver::start(cable);
    let service = Running::service(data);
    wait_until("fixes", 20, || fixes(data) >= 3);
    (service, receiver)
}

/// Whether it is from the live run.
fn is_live(pull: &Value) -> bool {
    pull["day"] == LIVE
}

fn has_flag(pull: &Value, flag: &str) -> bool {
    pull["flags"].as_array().unwrap().iter().any(|f| f == flag)
}

/// The lines of `check` that say the same with and without a service.
fn checked(data: &Path) -> Vec<String> {
    let out = text(&attempt(data, &["check"]).stdout);
    let same = |line: &&str| ["settings", "journal", "store"].iter().any(|what| line.starts_with(what));
    out.lines().filter(same).map(str::to_owned).collect()
}

/// What commands answer that only read.
fn answers(data: &Path) -> Vec<String> {
    let mut all: Vec<String> = ["pulls", "notes", "weighings", "track", "traps"]
        .iter()
        .flat_map(|table| ["csv", "jsonl"].map(|format| run(data, &["export", format, "--table", table])))
        .collect();
    all.extend(["geojson", "gpx", "parquet"].map(|format| run(data, &["export", format])));
    all.push(run(data, &["export", "jsonl", "--table", "days"]));
    all.push(run(data, &["export", "csv", "--from", PLAYED, "--to", PLAYED, "--trap", "2"]));
    all.extend([LIVE, PLAYED].map(|day| run(data, &["day", day])));
    all.push(run(data, &["day"]));
    all.push(run(data, &["traps", "list"]));
    all.extend(checked(data));
    all
}

#[test]
fn a_directory_that_a_group_shares_opens_the_service_to_the_group() {
    for (folder, socket) in [(0o2750, 0o660), (0o750, 0o600), (0o2700, 0o600), (0o755, 0o600)] {
        let data = fresh();
        std::fs::set_permissions(data.path(), std::fs::Permissions::from_mode(folder)).unwrap();
        let mut service = Running::service(data.path());
        let mode = std::fs::metadata(data.path().join("socket")).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, socket, "{folder:o}");
        service.terminate();
    }
}

#[test]
fn every_command_works_beside_the_service_and_says_the_same_after_it() {
    let (home, data) = (fresh(), fresh());
    let data = data.path();
    let scale = Cable::new(data.join("balance"));
    let (mut service, receiver) = {
        let cable = Cable::new(data.join("receiver"));
        let toml =
            format!("boat = \"Osprey\"\n[gps]\nport = {:?}\n[scale]\nport = {:?}\n", cable.link, scale.link);
        write(data, "gunwale.toml", toml);
        let receiver = Receiver::start(cable);
        (Running::service(data), receiver)
    };
    wait_until("fixes", 20, || fixes(data) >= 3);
    assert_eq!(std::fs::metadata(data.join("socket")).unwrap().permissions().mode() & 0o777, 0o600);

    let traps = write(home.path(), "traps.csv", register(11, 5));
    assert_eq!(run(data, &["traps", "import", traps.to_str().unwrap()]), "5 traps imported\n");
    assert_eq!(run(data, &["traps", "add", "77", "25.2", "-80.3"]), "trap 77 is in the register\n");
    assert_eq!(run(data, &["traps", "add", "78", "25.3", "-80.3"]), "trap 78 is in the register\n");
    assert_eq!(run(data, &["traps", "retire", "78"]), "trap 78 is out of the register\n");
    let list = run(data, &["traps", "list", "--format", "csv"]);
    assert_eq!(list.lines().count(), 1 + 7, "{list}");
    assert_eq!(list.lines().filter(|line| line.contains("retired")).count(), 1, "{list}");

    let day = write(home.path(), "day.jsonl", tape(11, 5));
    let day = day.to_str().unwrap();
    let said = run(data, &["ingest", day]);
    assert_eq!(said.lines().filter(|line| line.starts_with("recorded ")).count(), 5, "{said}");
    assert!(said.lines().last().unwrap().ends_with(" pulls 5"), "{said}");
    assert_eq!(run(data, &["ingest", day]), said, "a second play adds nothing and says the same");
    let elsewhere = fresh();
    run(elsewhere.path(), &["traps", "import", traps.to_str().unwrap()]);
    assert_eq!(run(elsewhere.path(), &["ingest", day]), said, "nor does it matter where");

    assert_eq!(run(data, &["note", "three", "crabs"]), "");
    let pull = Running::pull_that(data, "the note's pull", is_live);
    assert_eq!((&pull["ended_at"], &pull["tally"]), (&Value::Null, &json!({"crabs": 3})));
    assert_eq!((&pull["trap"], &pull["boat"]), (&json!("77"), &json!("Osprey")));
    let id = pull["pull"].as_str().unwrap();
    assert_eq!(run(data, &["correct", id, "keepers=2"]), format!("corrected {id}\n"));
    let short = format!("{PLAYED}#2");
    run(data, &["correct", &short, "keepers=4", "trap=1"]);
    let second =
        |data: &Path| jsonl(&run(data, &["export", "jsonl", "--from", PLAYED, "--to", PLAYED]))[1].clone();
    let corrected = second(data);
    assert_eq!((&corrected["tally"]["keepers"], &corrected["trap"]), (&json!(4), &json!("1")));
    assert_eq!(corrected["tally_from"]["keepers"], "corrected");
    assert_eq!(corrected["pairing"]["grade"], "corrected");
    run(data, &["correct", &short, "undo"]);
    assert_ne!(second(data)["pairing"]["grade"], "corrected");
    run(data, &["correct", &short, "keepers=5"]);
    run(data, &["traps", "add", "90", "--at", &format!("{PLAYED}#3")]);

    // She gets under way, and all falls silent: from here on nothing changes any more.
    receiver.speed(9.0);
    let pull =
        Running::pull_that(data, "the pull is left", |pull| is_live(pull) && !pull["ended_at"].is_null());
    assert_eq!(pull["tally"], json!({"crabs": 3, "keepers": 2}));
    receiver.silence(true);
    let mut before = 0;
    wait_until("the last fix is in", 10, || {
        std::thread::sleep(Duration::from_millis(1_000));
        std::mem::replace(&mut before, fixes(data)) == before
    });
    // A pull that may still change is brought up to date when something happens, not at every fix; a rebuild has them all.
    run(data, &["correct", id, "keepers=2"]);
    let beside = answers(data);
    let rebuilt = run(data, &["rebuild"]);
    assert_eq!(rebuilt, "6 pulls from the journal\n");
    assert_eq!(answers(data), beside, "after a rebuild beside the service");
    let (status, took) = service.terminate();
    assert!(status.success() && took < Duration::from_secs(5), "{status} after {took:?}\n{}", service.err());
    assert!(!data.join("socket").exists());
    receiver.silence(false);
    assert_eq!(answers(data), beside, "after the service");
    assert_eq!(run(data, &["rebuild"]), rebuilt);
    assert_eq!(answers(data), beside, "after a rebuild");
    assert_eq!(run(data, &["ingest", day]), said);
    assert_eq!(second(data)["tally"]["keepers"], 5);
}

#[test]
fn a_second_service_and_a_note_without_one_are_refused_in_words() {
    let data = fresh();
    let path = data.path().display();
    let refused = |args: &[&str]| {
        let output = attempt(data.path(), args);
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    };
    let no_service = format!(
        "gunwale: no gunwale runs on {path}: start `gunwale run` first, a note needs a boat to be said on\n"
    );
    assert_eq!(refused(&["note", "seven crabs"]), (Some(1), String::new(), no_service.clone()));
    let mut service = Running::service(data.path());
    let running =
        format!("gunwale: a gunwale already runs on {path}: stop it first, or give another --data\n");
    assert_eq!(refused(&["run"]), (Some(1), String::new(), running.clone()));
    assert_eq!(refused(&["demo"]), (Some(1), String::new(), running));
    run(data.path(), &["note", "seven crabs"]);
    assert!(service.terminate().0.success());
    assert_eq!(refused(&["note", "seven crabs"]), (Some(1), String::new(), no_service));
}

#[test]
fn told_to_stop_it_closes_the_open_pull_and_killed_it_starts_again() {
    let data = fresh();
    let data = data.path();
    let (mut service, receiver) = lying(data);
    run(data, &["note", "four crabs"]);
    let open = Running::pull_that(data, "an open pull", is_live);
    assert!(open["ended_at"].is_null() && !has_flag(&open, "cut"), "{open}");
    let (status, took) = service.terminate();
    assert!(status.success() && took < Duration::from_secs(5), "{status} after {took:?}\n{}", service.err());
    let [cut] = &pulls(data)[..] else { panic!("one pull") };
    assert_eq!(cut["pull"], open["pull"]);
    assert!(!cut["ended_at"].is_null() && has_flag(cut, "cut"), "{cut}");
    assert_eq!(cut["tally"], json!({"crabs": 4}));
    let records = run(data, &["export", "jsonl"]);
    run(data, &["rebuild"]);
    assert_eq!(run(data, &["export", "jsonl"]), records);

    // Killed while a pull is open: what was noted is there, closed at the journal's last line, and a new run begins.
    let mut service = Running::service(data);
    let seen = fixes(data);
    wait_until("fixes", 20, || fixes(data) > seen + 2);
    run(data, &["note", "five crabs"]);
    assert!(service.kill());
    assert!(data.join("socket").exists(), "a kill leaves it");
    let [_, killed] = &pulls(data)[..] else { panic!("two pulls") };
    assert!(!killed["ended_at"].is_null() && has_flag(killed, "cut"), "{killed}");
    let records = run(data, &["export", "jsonl"]);
    let mut service = Running::service(data);
    assert_eq!(run(data, &["export", "jsonl"]), records);
    let seen = fixes(data);
    wait_until("fixes", 20, || fixes(data) > seen);
    run(data, &["note", "six crabs"]);
    drop(receiver);
    assert!(service.terminate().0.success());
    let tallies: Vec<u64> = pulls(data).iter().map(|pull| pull["tally"]["crabs"].as_u64().unwrap()).collect();
    assert_eq!(tallies, [4, 5, 6]);
}

/// A client by hand.
fn client(data: &Path) -> UnixStream {
    UnixStream::connect(data.join("socket")).expect("the service listens")
}

fn command(client: &mut UnixStream, command: &Command) {
    send(client, Kind::Command, &serde_json::to_vec(command).unwrap()).unwrap();
}

#[test]
fn clients_that_misbehave_are_let_go_and_nobody_else_notices() {
    let (home, data) = (fresh(), fresh());
    let data = data.path();
    let (mut service, _receiver) = lying(data);
    let day = write(home.path(), "day.jsonl", tape(12, 6));
    run(data, &["ingest", day.to_str().unwrap()]);
    let memory = service.memory_kb();
    let answers = |what: &str| {
        let began = Instant::now();
        run(data, &["note", what]);
        let (notes, took) = (run(data, &["export", "csv", "--table", "notes"]), began.elapsed());
        assert!(notes.contains(what), "{what}: {notes}");
        assert!(took < Duration::from_secs(10), "{what}: {took:?}");
        let seen = fixes(data);
        wait_until(what, 10, || fixes(data) > seen);
        println!("{what}: {took:?}");
    };
    // Garbage, a header that promises four gigabytes, a command that is none, an answer's kind: let go at once.
    for bytes in [
        &b"GET / HTTP/1.1\r\n\r\n"[..],
        &[0xff; 4_096],
        b"c\xff\xff\xff\xff",
        b"c\x00\x01\x00\x01",
        b"c\x00\x00\x00\x04nope",
        b"c\x00\x00\x00\x05\"Run\"",
        b"x\x00\x00\x00\x01\x00",
        b"d\x00\x00\x00\x00",
    ] {
        let mut client = client(data);
        let _ = client.write_all(bytes);
        client.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
        let mut answer = Vec::new();
        // It may close before it has read all; that is an end too.
        match client.read_to_end(&mut answer) {
            Ok(_) => {}
            Err(e) => assert_eq!(e.kind(), std::io::ErrorKind::ConnectionReset, "{}", bytes.escape_ascii()),
        }
        assert!(answer.len() < 1_000, "{}", answer.escape_ascii());
    }
    answers("after garbage");
    // More than it serves at once that say nothing, or half a command.
    let silent: Vec<UnixStream> = (0..20)
        .map(|n| {
            let mut client = client(data);
            client.write_all(&b"c\x00\x00\x00\x40{\"Ex"[..n % 9]).unwrap();
            client
        })
        .collect();
    answers("beside silent ones");
    drop(silent);
    // Gone in the middle of a file, and of a frame.
    for ended in [false, true] {
        let mut client = client(data);
        command(&mut client, &Command::Ingest { files: vec!["x".into()] });
        send(&mut client, Kind::File, b"x").unwrap();
        send(&mut client, Kind::Data, b"{\"t\":1,\"said\":\"half a file\"}\n{\"t\":2,").unwrap();
        if !ended {
            client.write_all(b"d\x00\x00\x10\x00abc").unwrap();
        }
    }
    assert!(run(data, &["ingest", day.to_str().unwrap()]).ends_with(" pulls 6\n"));
    answers("after half a file");
    // Never reads what it asked for.
    let track = Command::Export(Export {
        format: Format::Jsonl,
        table: Table::Track,
        from: None,
        to: None,
        trap: None,
        out: None,
        with_notes: None,
        folder: false,
    });
    let deaf: Vec<UnixStream> = (0..6)
        .map(|_| {
            let mut client = client(data);
            command(&mut client, &track);
            client
        })
        .collect();
    answers("beside deaf ones");
    assert_eq!(run(data, &["rebuild"]).lines().count(), 1);
    answers("after a rebuild beside deaf ones");
    let after = service.memory_kb();
    println!("{memory} kB before, {after} kB after");
    assert!(after < memory + 32 * 1024, "{memory} kB before, {after} kB after");
    // Not even its end waits for them.
    let (status, took) = service.terminate();
    assert!(status.success() && took < Duration::from_secs(5), "{status} after {took:?}\n{}", service.err());
    drop(deaf);
}

#[test]
fn a_cable_pulled_and_put_back_costs_only_the_fixes_between() {
    let data = fresh();
    let data = data.path();
    let (mut service, receiver) = lying(data);
    run(data, &["note", "two crabs"]);
    receiver.cable.lock().unwrap().pull_out();
    wait_until("the log says that it went away", 10, || service.err().contains("went away"));
    // Long enough without fixes to be a gap.
    let began = Instant::now();
    run(data, &["note", "without a position"]);
    wait_until("a gap", 20, || began.elapsed() > Duration::from_secs(11));
    let seen = fixes(data);
    // Another pseudo-terminal, as another USB port is: the link leads there now.
    receiver.cable.lock().unwrap().put_in();
    wait_until("fixes again", 25, || fixes(data) > seen + 3);
    run(data, &["note", "one keeper"]);
    let [pull] = &pulls(data)[..] else { panic!("one pull") };
    assert!(pull["ended_at"].is_null() && has_flag(pull, "gps-gap"), "{pull}");
    assert_eq!(pull["tally"], json!({"crabs": 2, "keepers": 1}));
    assert_eq!(pull["notes"].as_array().unwrap().len(), 3, "{pull}");
    assert!(service.terminate().0.success());
    let [pull] = &pulls(data)[..] else { panic!("one pull") };
    assert!(has_flag(pull, "gps-gap") && has_flag(pull, "cut"), "{pull}");
}
