//! What people get wrong: settings, trap files and arguments. Each is told in one line that says what to do, and nothing
//! is done by halves.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

mod support;

use support::{fresh, refusal, run, write};

#[test]
fn a_data_directory_that_is_not_there_is_told_and_not_made() {
    let home = fresh();
    let data = home.path().join("mistyped");
    let says = format!(
        "gunwale: there are no records in {} yet: run on the boat, ingest a tape, or give the right --data\n",
        data.display()
    );
    for command in [&["day"][..], &["replay"], &["season"], &["export", "csv"], &["rebuild"], &["note", "x"]]
    {
        assert_eq!(refusal(&data, command), (1, says.clone()), "{command:?}");
    }
    assert!(!data.exists());
}

#[test]
fn a_trap_that_is_not_known_is_told() {
    let data = fresh();
    run(data.path(), &["traps", "add", "7", "24.79", "-81.68"]);
    run(data.path(), &["export", "csv", "--trap", "7"]);
    assert_eq!(
        refusal(data.path(), &["export", "csv", "--trap", "17"]),
        (
            1,
            "gunwale: there is no trap 17, in the register or hauled: `gunwale traps list` shows the register\n".to_owned()
        )
    );
}

/// Root's files would lock the owner out. Only root can make a directory somebody else's.
#[test]
fn root_does_not_write_into_somebody_elses_records() {
    let data = fresh();
    if std::os::unix::fs::chown(data.path(), Some(65534), None).is_err() {
        println!("left out: only root can try it");
        return;
    }
    for command in [&["run"][..], &["traps", "list"], &["check"]] {
        let says = format!(
            "gunwale: {} belongs to user 65534, who could not write what root makes there: do it as that user, \
             `sudo -u '#65534' gunwale …`\n",
            data.path().display()
        );
        assert_eq!(refusal(data.path(), command), (1, says), "{command:?}");
    }
    assert_eq!(std::fs::read_dir(data.path()).unwrap().count(), 0, "nothing was made");
}

#[test]
fn settings_that_are_wrong_are_named_with_their_line() {
    for (toml, says) in [
        (
            "boat = \"Osprey\"\n\n[gps]\nspeed = 9600\n",
            "line 4: unknown field `speed`, expected `port` or `baud`: mend that line or leave it out",
        ),
        (
            "boat = \"Osprey\"\nharbour = \"North\"\n",
            "line 2: unknown field `harbour`, expected one of `boat`, `timezone`, `gps`, `scale`, `sizes`, \
             `mic`, `button`, `cues`, `rules`, `recogniser`, `words`: mend that line or leave it out",
        ),
        (
            "[mic]\nkeep = \"nothing\"\n",
            "line 2: unknown variant `nothing`, expected one of `audio`, `text`, `off`: \
             mend that line or leave it out",
        ),
    ] {
        let data = fresh();
        let path = write(data.path(), "gunwale.toml", toml);
        for command in [&["run"][..], &["export", "csv"], &["note", "x"], &["check"]] {
            let wrong = (1, format!("gunwale: settings {} {says}\n", path.display()));
            assert_eq!(refusal(data.path(), command), wrong, "{command:?}");
        }
        assert_eq!(std::fs::read_dir(data.path()).unwrap().count(), 1, "nothing was made");
    }
    let data = fresh();
    let missing = data.path().join("nowhere.toml");
    assert_eq!(
        refusal(data.path(), &["--config", missing.to_str().unwrap(), "day"]),
        (
            1,
            format!(
                "gunwale: cannot read the settings {}: No such file or directory (os error 2): \
                 check the path and its permissions\n",
                missing.display()
            )
        )
    );
}

#[test]
fn a_trap_file_is_imported_whole_or_not_at_all() {
    let geojson = |features: &str| format!("{{\"type\":\"FeatureCollection\",\"features\":[{features}]}}");
    let point = |trap: &str, place: &str| {
        format!(
            "{{\"type\":\"Feature\",\"properties\":{{\"trap\":{trap}}},\"geometry\":{{\"type\":\"Point\",\"coordinates\":{place}}}}}"
        )
    };
    let gpx =
        |points: &str| format!("<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"t\">{points}</gpx>");
    let cases: Vec<(&str, String, &str)> = vec![
        (
            "a.csv",
            "trap,lat,lon\n1,25.2,-80.3\n2,95,-80.3\n".into(),
            "line 3: latitude 95 is not within -90…90: give degrees north, south negative",
        ),
        (
            "b.csv",
            "trap,lat,lon\n1,25.2,-80.3\n2,x,-80.3\n".into(),
            "line 3: lat and lon must be degrees in decimals",
        ),
        ("c.csv", "trap,lat,lon\n1,25.2,-80.3\n,25.2,-80.3\n".into(), "line 3: no trap name"),
        ("d.csv", "trap,lat,lon\n1,25.2,-80.3\n2,25.2\n".into(), "line 3: not a row like the header"),
        ("e.csv", "trap,lat,lon\n1,25.2,-80.3\n1,25.3,-80.3\n".into(), "trap 1 stands there twice"),
        (
            "f.csv",
            "name,lat,lon\n1,25.2,-80.3\n".into(),
            "line 1: the header must have trap,lat,lon (and may have set_at)",
        ),
        (
            "g.csv",
            "trap,lat,lon,set_at\n1,25.2,-80.3,yesterday\n".into(),
            "line 2: set_at `yesterday` is no time such as 2027-02-06T15:10:00Z",
        ),
        ("h.csv", "trap,lat,lon\n".into(), "no trap in it"),
        ("i.csv", String::new(), "line 1: the header must have trap,lat,lon (and may have set_at)"),
        (
            "j.csv",
            "trap,lat,lon\n1,nan,-80.3\n".into(),
            "line 2: latitude NaN is not within -90…90: give degrees north, south negative",
        ),
        ("k.geojson", geojson(&[point("\"1\"", "[-80.3,25.2]"), point("\"2\"", "[-80.3]")].join(",")), ""),
        (
            "l.geojson",
            geojson(&[point("\"1\"", "[-80.3,25.2]"), point("\"2\"", "[-380.3,25.2]")].join(",")),
            "feature 2: longitude -380.3 is not within -360…360: give degrees east, west negative",
        ),
        (
            "m.geojson",
            geojson(&[point("\"1\"", "[-80.3,25.2]"), point("null", "[-80.3,25.2]")].join(",")),
            "feature 2: no trap name",
        ),
        ("n.geojson", "{\"type\":\"FeatureCollection\",\"features\":[".into(), ""),
        (
            "o.gpx",
            gpx("<wpt lat=\"25.2\" lon=\"-80.3\"><name>1</name></wpt><wpt lat=\"25.2\"><name>2</name></wpt>"),
            "waypoint 2: lat and lon must be degrees in decimals",
        ),
        (
            "p.gpx",
            gpx(
                "<wpt lat=\"25.2\" lon=\"-80.3\"><name>1</name></wpt><wpt lat=\"95\" lon=\"1\"><name>2</name></wpt>",
            ),
            "waypoint 2: latitude 95 is not within -90…90: give degrees north, south negative",
        ),
        (
            "q.gpx",
            gpx("<wpt lat=\"25.2\" lon=\"-80.3\"><name>1</name></wpt><wpt lat=\"25\" lon=\"1\"/>"),
            "waypoint 2: no trap name",
        ),
        ("r.gpx", "<gpx><wpt lat=\"25.2\" lon=\"-80.3\"><name>1</name></wpt><wpt".into(), ""),
    ];
    let data = fresh();
    for (name, content, says) in cases {
        let path = write(data.path(), name, content);
        let (status, err) = refusal(data.path(), &["traps", "import", path.to_str().unwrap()]);
        assert_eq!(status, 1, "{name}");
        let head = format!("gunwale: {}: ", path.display());
        let tail = ": nothing of it was imported, mend it and import again\n";
        let inner = err.strip_prefix(&head).and_then(|err| err.strip_suffix(tail));
        let inner = inner.unwrap_or_else(|| panic!("{name}: {err}"));
        assert!(!inner.contains('\n') && !inner.is_empty(), "{name}: {err}");
        if says.is_empty() {
            println!("{name}: {inner}")
        } else {
            assert_eq!(inner, says, "{name}")
        }
        let list = run(data.path(), &["traps", "list", "--format", "csv"]);
        assert_eq!(list.lines().count(), 1, "{name}: {list}");
    }
    // A longitude counted the other way round is the same place, in the register too.
    let path = write(data.path(), "round.csv", "trap,lat,lon\n1,25.2,279.7\n");
    assert_eq!(run(data.path(), &["traps", "import", path.to_str().unwrap()]), "1 traps imported\n");
    run(data.path(), &["traps", "add", "2", "25.2", "279.7"]);
    let list = run(data.path(), &["traps", "list", "--format", "csv"]);
    assert_eq!(list.matches(",25.2,-80.3,").count(), 2, "{list}");
    // A name too long to be written down stops the import before its first row.
    let long = format!("trap,lat,lon\n3,25.2,-80.3\n{},25.2,-80.3\n", "x".repeat(70_000));
    let path = write(data.path(), "long.csv", long);
    let (status, err) = refusal(data.path(), &["traps", "import", path.to_str().unwrap()]);
    assert_eq!(status, 1);
    assert!(err.starts_with("gunwale: an input of 70") && err.lines().count() == 1, "{err}");
    assert_eq!(run(data.path(), &["traps", "list", "--format", "csv"]), list);
    let (status, err) = refusal(data.path(), &["traps", "import", "/nowhere/traps.csv"]);
    assert_eq!(
        (status, err.as_str()),
        (
            1,
            "gunwale: cannot read /nowhere/traps.csv: No such file or directory (os error 2): check the name\n"
        )
    );
}

#[test]
fn wrong_usage_is_one_line_and_exit_status_2() {
    let data = fresh();
    for args in [
        &[][..],
        &["fly"],
        &["ingest"],
        &["note"],
        &["export"],
        &["export", "xlsx"],
        &["export", "csv", "--table", "nothing"],
        &["export", "csv", "--from", "yesterdays"],
        &["export", "csv", "--speed", "3"],
        &["day", "2027-13-01"],
        &["day", "2027-02-01", "2027-02-02"],
        &["traps"],
        &["traps", "add"],
        &["traps", "add", "1"],
        &["traps", "add", "1", "25.2"],
        &["traps", "add", "1", "north", "west"],
        &["traps", "add", "1", "95", "0"],
        &["traps", "add", "none", "25", "0"],
        &["traps", "add", "1", "25", "0", "--at", "2027-02-01#1"],
        &["correct"],
        &["correct", "2027-02-01#1"],
        &["correct", "2027-02-01#1", "keepers"],
        &["demo", "--speed", "0"],
        &["demo", "--speed", "nan"],
        &["demo", "--pulls", "0"],
        &["demo", "--pulls", "501"],
        &["run", "now"],
    ] {
        let (status, err) = refusal(data.path(), args);
        assert_eq!(status, 2, "{args:?}: {err}");
        let line = err.strip_suffix('\n').unwrap_or_else(|| panic!("{args:?}: {err}"));
        let rest = line.strip_prefix("gunwale: ").unwrap_or_else(|| panic!("{args:?}: {err}"));
        assert!(!line.contains('\n') && rest.contains(": "), "{args:?}: {err}");
    }
    for (args, says) in [
        (&["fly"][..], "gunwale: unrecognized subcommand 'fly': `gunwale help` shows the commands\n"),
        (&["day", "2027-13-01"], "gunwale: 2027-13-01 is no date: give YYYY-MM-DD, today or yesterday\n"),
        (&["correct", "x", "keepers"], "gunwale: keepers: write FIELD=VALUE, such as keepers=4, or undo\n"),
    ] {
        assert_eq!(refusal(data.path(), args), (2, says.to_owned()), "{args:?}");
    }
}
