//! Exports as files: whole or not at all, into folders that replace what they hold, with the notes' sound, beside the
//! service and without it. What is in them is judged by other readers: `readers/formats.rs`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/boat.rs"]
mod boat;
#[path = "support/scripts.rs"]
mod scripts;
#[path = "support/sound.rs"]
mod sound;
mod support;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use boat::Running;
use serde_json::Value;
use support::{attempt, fresh, gunwale, journal, later, pulls, refusal, rmc, run, text, write};

/// Two days of a boat: 2027-02-09 and the next.
fn two_days(data: &Path, boat: &str) {
    write(data, "gunwale.toml", format!("boat = {boat:?}\ntimezone = \"America/New_York\"\n"));
    let first = String::from_utf8(boat::tape(11, 3)).unwrap();
    for (name, tape) in [("first.jsonl", first.clone()), ("second.jsonl", later(&first, 1))] {
        let tape = write(data, name, tape);
        run(data, &["ingest", tape.to_str().unwrap()]);
    }
}

/// Every file under a folder, by its path in there, with its content.
fn tree(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = boat::files(folder).into_iter().map(|path| {
        let name = path.strip_prefix(folder).unwrap().to_str().unwrap().to_owned();
        (name, std::fs::read(path).unwrap())
    });
    files.collect()
}

fn export(data: &Path, args: &[&str], out: &Path) {
    let output = gunwale(data).arg("export").args(args).arg("--out").arg(out).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", text(&output.stderr));
    assert_eq!((text(&output.stdout), text(&output.stderr)), (String::new(), String::new()), "{args:?}");
}

#[test]
fn a_file_says_what_stdout_says_and_appears_whole_or_not_at_all() {
    let data = fresh();
    let data = data.path();
    two_days(data, "Osprey");
    let folder = fresh();
    for format in ["csv", "jsonl", "geojson", "gpx", "parquet"] {
        let path = folder.path().join(format);
        std::fs::write(&path, "from before").unwrap();
        let (status, _) =
            refusal(data, &["export", format, "--from", "never", "--out", path.to_str().unwrap()]);
        assert_eq!((status, std::fs::read(&path).unwrap()), (2, b"from before".to_vec()), "{format}");
        export(data, &[format], &path);
        let written = std::fs::read(&path).unwrap();
        assert!(written == attempt(data, &["export", format]).stdout && written.len() > 500, "{format}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 5, "nothing else is left there");
    let nowhere = folder.path().join("no/such/folder.csv");
    let (status, err) = refusal(data, &["export", "csv", "--out", nowhere.to_str().unwrap()]);
    let says = format!(
        "gunwale: cannot write {}: No such file or directory (os error 2): check the path and its permissions\n",
        nowhere.display()
    );
    assert_eq!((status, err), (1, says));
}

#[test]
fn what_a_format_cannot_hold_is_said_before_anything_is_written() {
    let (data, folder) = (fresh(), fresh());
    let folder = folder.path().to_str().unwrap();
    for (args, says) in [
        (
            &["geojson", "--table", "track"][..],
            "geojson holds the pulls only: export this table as csv, jsonl or parquet",
        ),
        (
            &["gpx", "--table", "days"],
            "gpx holds the pulls and the track only: export this table as csv, jsonl or parquet",
        ),
        (
            &["csv", "--out", folder],
            "--out names a folder, and only the pulls as parquet are written as folders: name a file",
        ),
        (
            &["parquet", "--table", "notes", "--out", "new/"],
            "--out names a folder, and only the pulls as parquet are written as folders: name a file",
        ),
    ] {
        let args: Vec<&str> = ["export"].iter().chain(args).copied().collect();
        assert_eq!(refusal(data.path(), &args), (2, format!("gunwale: {says}\n")), "{args:?}");
    }
}

#[test]
fn folders_are_replaced_day_by_day_and_boat_by_boat() {
    let (data, lake) = (fresh(), fresh());
    let (data, lake) = (data.path(), lake.path());
    two_days(data, "a/b=c %20");
    // Another boat's, from another computer.
    let other = write(&folder(lake, "boat=Ann/day=2027-02-09"), "pulls.parquet", "Ann's");
    let kept = write(&folder(lake, "boat=a%2Fb%3Dc%20%2520/day=2027-02-08"), "README", "mine");
    export(data, &["parquet"], lake);
    let [first, second] =
        ["2027-02-09", "2027-02-10"].map(|day| format!("boat=a%2Fb%3Dc%20%2520/day={day}/pulls.parquet"));
    let whole = tree(lake);
    let names: Vec<&str> = whole.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            "boat=Ann/day=2027-02-09/pulls.parquet",
            "boat=a%2Fb%3Dc%20%2520/day=2027-02-08/README",
            &first,
            &second
        ]
    );

    // One day again: no other file is touched.
    let pull = &pulls(data)[0];
    run(data, &["correct", pull["pull"].as_str().unwrap(), "keepers=9"]);
    let before = std::fs::metadata(lake.join(&second)).unwrap().modified().unwrap();
    export(data, &["parquet", "--from", "2027-02-09", "--to", "2027-02-09"], lake);
    let again = tree(lake);
    assert_eq!(std::fs::metadata(lake.join(&second)).unwrap().modified().unwrap(), before);
    assert!(again[&first] != whole[&first] && again[&second] == whole[&second]);
    assert_eq!(again.len(), 4);

    // A day whose pulls are all left out has no file any more; the other day does not depend on it.
    for pull in pulls(data).iter().filter(|pull| pull["day"] == "2027-02-09") {
        run(data, &["correct", pull["pull"].as_str().unwrap(), "drop=true"]);
    }
    export(data, &["parquet", "--from", "2027-02-10"], lake);
    assert!(tree(lake).contains_key(&first), "it was not asked for");
    export(data, &["parquet", "--to", "2027-02-09"], lake);
    let left = tree(lake);
    assert!(!left.contains_key(&first) && !lake.join(&first).parent().unwrap().exists());
    assert!(left.contains_key(&second) && other.exists() && kept.exists());
}

fn folder(at: &Path, name: &str) -> PathBuf {
    std::fs::create_dir_all(at.join(name)).unwrap();
    at.join(name)
}

#[test]
fn a_pull_without_a_date_has_a_folder_of_its_own_until_it_has_one() {
    let (data, lake) = (fresh(), fresh());
    let (data, lake) = (data.path(), lake.path());
    write(data, "gunwale.toml", "boat = \"Osprey\"\n");
    let tape = write(
        data,
        "undated.jsonl",
        "{\"t\":1.0,\"said\":\"trap 3, two crabs\"}\n{\"t\":30.0,\"said\":\"one keeper\"}\n",
    );
    run(data, &["ingest", tape.to_str().unwrap()]);
    let why =
        "gunwale: no record has a date yet, for want of one by GPS: `gunwale export jsonl` shows them\n";
    assert_eq!(refusal(data, &["day"]), (1, why.to_owned()));
    two_days(data, "Osprey");
    let undated = pulls(data).iter().filter(|pull| pull["day"].is_null()).count();
    export(data, &["parquet"], lake);
    let null = "boat=Osprey/day=__HIVE_DEFAULT_PARTITION__/pulls.parquet";
    assert_eq!((undated, tree(lake).len(), tree(lake).contains_key(null)), (1, 3, true));
    // Days were asked for: what has none is left alone.
    write(lake, null, "from before");
    export(data, &["parquet", "--from", "2027-02-09"], lake);
    assert_eq!(tree(lake)[null], b"from before");
}

#[test]
fn exports_beside_the_service_are_those_without_it() {
    let data = fresh();
    let data = data.path();
    two_days(data, "Osprey");
    let take = |what: &str| {
        let folder = folder(data, what);
        for format in ["csv", "jsonl", "geojson", "gpx", "parquet"] {
            export(data, &[format], &folder.join(format));
        }
        for table in ["notes", "weighings", "track", "traps", "days"] {
            export(data, &["parquet", "--table", table], &folder.join(table));
        }
        export(data, &["parquet"], &folder.join("lake/"));
        tree(&folder)
    };
    let alone = take("alone");
    let mut service = Running::service(data);
    boat::wait_until("the service answers", 20, || data.join("socket").exists());
    let beside = take("beside");
    let (status, _) = service.terminate();
    assert!(status.success());
    assert_eq!(alone.len(), 12);
    assert!(alone == beside, "the same files with the same bytes");
}

#[test]
fn the_sound_comes_along_named_by_day_trap_and_time() {
    let (home, data) = (fresh(), fresh());
    let (home, data) = (home.path(), data.path());
    write(data, "gunwale.toml", "boat = \"Osprey\"\ntimezone = \"America/New_York\"\n");
    std::fs::create_dir_all(home.join("clips")).unwrap();
    sound::wav(&home.join("clips/a.wav"), &sound::spoken(3, &[(1, 1.0)]));
    let mut lines = sound::trap_day(180, 0);
    lines.push((85.0, r#"{"t":85.0,"note":"clips/a.wav"}"#.into()));
    lines.push((90.0, r#"{"t":90.0,"said":"seven crabs, four keepers"}"#.into()));
    let tape = write(home, "day.jsonl", sound::tape(lines));
    run(data, &["traps", "add", "a/7", "24.7015", "-81.6"]);
    run(data, &["ingest", tape.to_str().unwrap()]);
    let notes = support::jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
    let spoken: Vec<&Value> = notes.iter().filter(|note| !note["file"].is_null()).collect();
    assert_eq!((spoken.len(), &spoken[0]["trap"]), (1, &Value::from("a/7")), "{notes:?}");
    let note = spoken[0]["note"].as_str().unwrap();
    let file = std::fs::read(data.join(spoken[0]["file"].as_str().unwrap())).unwrap();

    let folder = home.join("sounds");
    let to = folder.to_str().unwrap();
    let csv = run(data, &["export", "csv", "--with-notes", to]);
    assert_eq!(csv, run(data, &["export", "csv"]), "stdout has the table as ever");
    // Noon UTC, when it was said, is seven on the boat.
    let at = spoken[0]["at"].as_str().unwrap();
    assert!(at.starts_with("2027-02-09T12:01:2"), "{at}");
    let name = format!("2027-02-09_trap-a%2F7_07012{}_{note}.wav", &at[18..19]);
    let there = tree(&folder);
    assert_eq!(there.keys().collect::<Vec<_>>(), [&name]);
    assert!(there[&name] == file, "the same sound");
    // Where and when it was spoken stands in the file itself; it begins a second before the speech.
    let begins_s = sound::time_reference(&folder.join(&name)) as f64 / 16_000.0;
    assert!((begins_s - (12.0 * 3_600.0 + 84.88)).abs() < 0.05, "{begins_s}");
    let place = spoken[0]["lat"].as_f64().zip(spoken[0]["lon"].as_f64()).unwrap();
    let says = format!("{:.6} {:.6} (WGS 84", place.0, place.1);
    assert!(text(&file[..700]).contains(&says), "{says}");
    judge_sound(&folder.join(&name), &says);

    // With folders, for a trap, and for days without any.
    std::fs::remove_dir_all(&folder).unwrap();
    let lake = home.join("lake/");
    export(data, &["parquet", "--with-notes", to], &lake);
    assert_eq!((tree(&folder).len(), tree(&lake).len()), (1, 1));
    std::fs::remove_dir_all(&folder).unwrap();
    run(data, &["export", "jsonl", "--with-notes", to, "--trap", "a/7"]);
    assert_eq!(tree(&folder).len(), 1);
    std::fs::remove_dir_all(&folder).unwrap();
    run(data, &["export", "jsonl", "--with-notes", to, "--to", "2027-02-08"]);
    run(data, &["traps", "add", "8", "24.79", "-81.68"]);
    run(data, &["export", "jsonl", "--with-notes", to, "--trap", "8"]);
    assert!(!folder.exists());

    // A file that somebody deleted is missed, and the rest goes on.
    std::fs::remove_file(data.join(spoken[0]["file"].as_str().unwrap())).unwrap();
    let output = attempt(data, &["export", "csv", "--with-notes", to]);
    assert_eq!(text(&output.stderr), "gunwale: 0 notes copied, the sound of 1 is not there\n");
    assert!(output.status.success() && text(&output.stdout) == csv);
}

/// Has a copied note read by wavinfo, soundfile, sox and ffprobe: when and where it was spoken, every sample.
fn judge_sound(path: &Path, says: &str) {
    let Some(mut script) = scripts::reader("sound.py") else { return };
    let mut wav = hound::WavReader::open(path).unwrap();
    let samples: Vec<u8> = wav.samples::<i16>().flat_map(|sample| sample.unwrap().to_le_bytes()).collect();
    assert!(!samples.is_empty());
    let raw = path.parent().unwrap().with_extension("raw");
    std::fs::write(&raw, samples).unwrap();
    let file = std::fs::read(path).unwrap();
    let field = |from: usize, to: usize| text(&file[from..to]).trim_end_matches('\0').to_owned();
    // EBU Tech 3285: the chunk's description, originator, reference, date and time, in so many bytes each.
    let (description, reference, date, time) =
        (field(44, 300), field(332, 364), field(364, 374), field(374, 382));
    assert!(description.contains(says) && description.contains("boat Osprey"), "{description}");
    assert_eq!((date.as_str(), &time[..6]), ("2027-02-09", "12:01:"));
    let expected = serde_json::json!([{
        "path": path, "raw": raw, "programs": true,
        "bext": {
            "description": description, "originator": "gunwale", "originator_ref": reference,
            "originator_date": date, "originator_time": time, "time_reference": sound::time_reference(path), "version": 1,
            "umid": "00".repeat(64), "coding_history": "A=PCM,F=16000,W=16,M=mono,T=gunwale\r\n",
        },
    }]);
    println!("{}", scripts::content(&mut script, &expected.to_string()).trim());
}

#[test]
fn gpx_says_how_many_pulls_it_has_no_waypoint_for() {
    let data = fresh();
    let data = data.path();
    let mut tape = String::new();
    for second in 0..200 {
        let fix = (!(30..160).contains(&second)).then_some((24.7, -81.6 + f64::from(second) * 4e-5));
        tape += &format!("{{\"t\":{second}.2,\"gps\":{:?}}}\n", rmc(43_200 + i64::from(second), fix, 4.0));
        if second == 60 || second == 70 {
            tape += &format!("{{\"t\":{second}.5,\"said\":\"three crabs\"}}\n");
        }
    }
    let tape = write(data, "tape.jsonl", tape);
    run(data, &["ingest", tape.to_str().unwrap()]);
    assert_eq!(pulls(data).iter().map(|pull| pull["position"].is_null()).collect::<Vec<_>>(), [true]);
    let output = attempt(data, &["export", "gpx"]);
    let says = "gunwale: 1 pulls without a position are left out: gpx has no waypoint without one\n";
    assert!(output.status.success());
    assert_eq!(text(&output.stderr), says);
    assert!(!text(&output.stdout).contains("<wpt") && text(&output.stdout).contains("<trkpt"));
}

#[test]
fn what_would_harm_or_mislead_is_refused() {
    let data = fresh();
    let data = data.path();
    two_days(data, "Osprey");
    let before = journal(data);
    let at = |name: &str| data.join(name).to_str().unwrap().to_owned();
    let segment = format!("journal/{}", before.keys().next().unwrap());
    let link = at("elsewhere");
    std::os::unix::fs::symlink(data.join("store"), &link).unwrap();
    let own = "there are the records themselves, or their settings: name another place";
    let (journal_file, settings, inside) = (at(&segment), at("gunwale.toml"), format!("{link}/new/x.csv"));
    let (notes, here, lake) = (at("notes"), at("."), at("lake/"));
    for (args, why) in [
        (vec!["csv", "--out", &journal_file], own),
        (vec!["csv", "--out", &settings], own),
        (vec!["csv", "--out", &inside], own),
        (vec!["csv", "--with-notes", &notes], own),
        (vec!["parquet", "--out", &here], own),
        (
            vec!["parquet", "--trap", "1", "--out", &lake],
            "a file of a folder holds all pulls of its day: leave --trap out, or name a file",
        ),
        (vec!["csv", "--table", "track", "--trap", "1"], "this table is of no trap: leave --trap out"),
        (vec!["csv", "--table", "days", "--trap", "1"], "this table is of no trap: leave --trap out"),
        (
            vec!["csv", "--table", "traps", "--from", "2027-02-09"],
            "this table is the register as it stands: leave --from, --to and --trap out",
        ),
        (
            vec!["csv", "--from", "2027-02-10", "--to", "2027-02-09"],
            "--from 2027-02-10 is after --to 2027-02-09",
        ),
    ] {
        let output = attempt(data, &[&["export"], args.as_slice()].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert_eq!(text(&output.stderr), format!("gunwale: {why}\n"), "{args:?}");
    }
    assert!(journal(data) == before);
    run(data, &["rebuild"]);
}

#[test]
fn a_pipe_is_written_to_and_a_link_is_followed() {
    let data = fresh();
    let data = data.path();
    two_days(data, "Osprey");
    let csv = run(data, &["export", "csv"]);
    let pipe = data.join("pipe");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let reader = std::thread::spawn({
        let pipe = pipe.clone();
        move || std::fs::read_to_string(pipe).unwrap()
    });
    export(data, &["csv"], &pipe);
    assert_eq!(reader.join().unwrap(), csv);
    assert!(!std::fs::metadata(&pipe).unwrap().is_file(), "it is a pipe still");

    let real = write(data, "real.csv", "from before");
    std::fs::set_permissions(&real, std::os::unix::fs::PermissionsExt::from_mode(0o640)).unwrap();
    let link = data.join("link.csv");
    std::os::unix::fs::symlink(&real, &link).unwrap();
    export(data, &["csv"], &link);
    assert!(std::fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(std::fs::read_to_string(&real).unwrap(), csv);
    let mode = std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(&real).unwrap().permissions());
    assert_eq!(mode & 0o777, 0o640);
}
