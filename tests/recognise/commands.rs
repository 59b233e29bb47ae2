//! Who is asked, what is stated, what counts: recognisers that do as they should.

use std::path::Path;

use serde_json::{Value, json};

use crate::boat::{Running, wait_until};
use crate::sound::note_files;
use crate::stub::{asked, configure, day, notes, says, settings, texts};
use crate::support::{assert_same, attempt, fresh, journal, pulls, records, refusal, run, text, write};

/// The first pull's tally, where it is from, and its drafts.
fn counted(data: &Path) -> [Value; 3] {
    let pull = pulls(data).remove(0);
    [pull["tally"].clone(), pull["tally_from"].clone(), pull["drafts"].clone()]
}

#[test]
fn notes_are_heard_newest_first_once_and_after_a_restart_only_what_was_left() {
    let data = fresh();
    let data = data.path();
    day(data);
    configure(data, settings("one", &says(data, "one", "seven crabs", 0.95), "sure = 0.9"));
    let mut service = Running::service(data);
    wait_until("all heard", 30, || texts(data) == ["seven crabs"; 3]);
    let files: Vec<String> = notes(data)
        .iter()
        .filter_map(|note| Some(data.join(note["file"].as_str()?).display().to_string()))
        .rev()
        .collect();
    assert_eq!(asked(data, "one"), files);
    assert_eq!(
        counted(data),
        [json!({"crabs": 7, "shorts": 2}), json!({"crabs": "heard", "shorts": "typed"}), json!({})]
    );
    assert!(service.terminate().0.success());

    // Another one hears what the first has heard; that one hears nothing twice.
    let both = settings("one", &says(data, "one", "six crabs", 0.95), "")
        + &settings("two", &says(data, "two", "seven crabs", 0.1), "");
    configure(data, both);
    let mut service = Running::service(data);
    wait_until("all heard by the second", 30, || asked(data, "two").len() == 3);
    service.terminate();
    assert_eq!(asked(data, "one").len(), 3);
    let before = records(data);
    run(data, &["rebuild"]);
    assert_same("rebuilt", &records(data), &before);
}

#[test]
fn a_field_counts_when_two_hear_it_alike_or_one_is_sure() {
    for (one, sure_one, two, expected) in [
        (
            "seven crabs, four keepers",
            false,
            Some("seven crabs five keepers"),
            [json!({"crabs": 7, "shorts": 2}), json!({"keepers": 4})],
        ),
        ("seven crabs", true, Some("six crabs"), [json!({"shorts": 2}), json!({"crabs": 7})]),
        ("seven crabs", true, Some("mullet"), [json!({"crabs": 7, "shorts": 2}), json!({})]),
        ("seven crabs", false, None, [json!({"shorts": 2}), json!({"crabs": 7})]),
        ("seven crabs", true, None, [json!({"crabs": 7, "shorts": 2}), json!({})]),
        // What was typed stands above all that is heard.
        ("nine shorts", true, Some("nine shorts"), [json!({"shorts": 2}), json!({})]),
    ] {
        let data = fresh();
        let data = data.path();
        day(data);
        let confidence = if sure_one { 0.8 } else { 0.7 };
        let mut toml = settings("one", &says(data, "one", one, confidence), "sure = 0.75");
        if let Some(two) = two {
            toml += &settings("two", &says(data, "two", two, 1.0), "sure = 0.5");
        }
        configure(data, toml);
        run(data, &["hear", "2027-02-09#1"]);
        let [tally, _, drafts] = counted(data);
        assert_eq!([tally, drafts], expected, "{one} {two:?}");
        // Thresholds that move later move no record: what stands in the journal says what counts.
        configure(data, "");
        run(data, &["rebuild"]);
        let [tally, _, drafts] = counted(data);
        assert_eq!([tally, drafts], expected, "{one} {two:?}, rebuilt");
    }
}

#[test]
fn hear_runs_again_and_leaves_what_a_person_said() {
    let data = fresh();
    let data = data.path();
    day(data);
    let (status, why) = refusal(data, &["hear", "2027-02-09"]);
    let none = "gunwale: no recogniser is set: the README's \"Words from sound\" says how to get one\n";
    assert_eq!((status, why.as_str()), (1, none));

    let says_now = |text: &str| {
        configure(data, settings("one", &says(data, "one", text, 0.95), ""));
    };
    says_now("seven crabs, four keepers");
    let ids: Vec<String> = notes(data).iter().map(|note| note["note"].as_str().unwrap().into()).collect();
    let line = |n: usize, text: &str| format!("{} one 0.950 sure {text}\n", ids[n]);
    let all: String = (0..3).map(|n| line(n, "seven crabs, four keepers")).collect();
    assert_eq!(run(data, &["hear", "2027-02-09"]), all);
    run(data, &["correct", "2027-02-09#1", "keepers=5"]);
    says_now("nine crabs, nine keepers, nine shorts");
    assert_eq!(run(data, &["hear", "2027-02-09#1"]).lines().count(), 3);
    assert_eq!(
        counted(data)[..2],
        [
            json!({"crabs": 9, "keepers": 5, "shorts": 2}),
            json!({"crabs": "heard", "keepers": "corrected", "shorts": "typed"})
        ]
    );
    // The typed note is still what was typed.
    assert_eq!(notes(data)[3]["text"], "two shorts");
    let typed = run(data, &["hear", &ids[3]]);
    assert_eq!(typed, format!("no sound of {}: typed, or only the text was kept\n", ids[3]));

    // Beside the service, the same; one note by its id, and any file.
    let mut service = Running::service(data);
    says_now("one egg bearing");
    service.terminate();
    let mut service = Running::service(data);
    assert_eq!(run(data, &["hear", &ids[0]]), line(0, "one egg bearing"));
    assert_eq!(texts(data)[0], "one egg bearing");
    let tape = data.join("tape/a.wav");
    let before = journal(data);
    let out = run(data, &["hear", tape.to_str().unwrap()]);
    assert_eq!(out, format!("{} one 0.950 sure one egg bearing\n", tape.display()));
    assert_eq!(journal(data).keys().collect::<Vec<_>>(), before.keys().collect::<Vec<_>>());
    // A file that is a note's is heard as that note.
    let own = data.join(notes(data)[1]["file"].as_str().unwrap());
    assert_eq!(run(data, &["hear", own.to_str().unwrap()]), line(1, "one egg bearing"));
    assert_eq!(texts(data)[1], "one egg bearing");
    service.terminate();

    for (what, why) in [
        (
            "2027-02-08",
            "gunwale: there are no notes of 2027-02-08: `gunwale day` shows what there is, `--all` plays talk too\n",
        ),
        (
            "2027-02-09#7",
            "gunwale: there is no pull or note 2027-02-09#7: `gunwale export jsonl` shows their ids\n",
        ),
    ] {
        assert_eq!(refusal(data, &["hear", what]), (1, why.to_owned()));
    }
    let (status, why) = refusal(data, &["hear", "nowhere.wav"]);
    assert!(status == 1 && why.starts_with("gunwale: cannot read nowhere.wav"), "{why}");
    let junk = write(data, "junk.wav", "no sound");
    let (status, why) = refusal(data, &["hear", junk.to_str().unwrap()]);
    assert!(status == 1 && why.contains("junk.wav"), "{why}");
    assert!(!data.join("incoming").exists());
}

#[test]
fn where_only_text_is_kept_the_sound_stays_until_all_have_heard_it() {
    let data = fresh();
    let data = data.path();
    day(data);
    let gate = data.join("gate");
    let waits = format!("while [ ! -e {gate:?} ]; do sleep 0.1; done\n");
    let two = says(data, "two", "seven crabs", 0.2);
    let script = std::fs::read_to_string(&two).unwrap();
    write(data, "two.sh", waits + &script);
    let toml = "[mic]\nkeep = \"text\"\ncommand = [\"sleep\", \"9999\"]\n".to_owned()
        + &settings("one", &says(data, "one", "seven crabs", 0.2), "")
        + &settings("two", &two, "");
    write(data, "gunwale.toml", toml);
    let mut service = Running::service(data);
    wait_until("the first has heard one", 30, || !asked(data, "one").is_empty());
    std::thread::sleep(std::time::Duration::from_secs(1));
    assert_eq!((note_files(data).len(), texts(data)), (3, vec!["-".to_owned(); 3]));
    write(data, "gate", "");
    wait_until("only text is left", 30, || note_files(data).is_empty());
    assert_eq!(texts(data), ["seven crabs"; 3]);
    service.terminate();
    assert_eq!(counted(data)[0], json!({"crabs": 7, "shorts": 2}));
    assert!(notes(data).iter().all(|note| note["file"].is_null()));
}

#[test]
fn what_is_forgotten_while_it_is_heard_is_not_written_down() {
    let data = fresh();
    let data = data.path();
    day(data);
    let one = says(data, "one", "secret words", 0.9);
    let slow = std::fs::read_to_string(&one).unwrap().replace("printf", "sleep 2; printf");
    write(data, "one.sh", slow);
    configure(data, settings("one", &one, ""));
    let mut service = Running::service(data);
    wait_until("one is being heard", 30, || asked(data, "one").len() == 1);
    for note in notes(data).iter().take(3) {
        run(data, &["forget", note["note"].as_str().unwrap()]);
    }
    std::thread::sleep(std::time::Duration::from_secs(4));
    service.terminate();
    assert_eq!(asked(data, "one").len(), 1);
    for (name, lines) in journal(data) {
        assert!(!text(&lines).contains("secret"), "{name}");
    }
}

#[test]
fn check_has_each_listen_to_words_it_knows() {
    let data = fresh();
    let data = data.path();
    let line = |out: &str| out.lines().find(|line| line.starts_with("words")).unwrap_or_default().to_owned();
    let checked = |toml: &str| {
        write(data, "gunwale.toml", format!("[mic]\nkeep = \"off\"\n[cues]\nquiet = true\n{toml}"));
        line(&text(&attempt(data, &["check"]).stdout))
    };
    assert_eq!(
        checked(""),
        "words     good  notes stay sound: the README's \"Words from sound\" tells how to get text"
    );
    let one = settings("one", &says(data, "one", "7 crabs, five keepers, six claws", 0.5), "");
    let told = checked(&one);
    let begin =
        "words     good  one heard \"7 crabs, five keepers, six claws\" (2 of 3 counts, confidence 0.50) in ";
    assert!(told.starts_with(begin), "{told}");
    // Those that come with the program say what they lack.
    let ready = "[[recogniser]]\nname = \"w\"\ncommand = [\"gunwale\", \"recogniser\", \"whisper\", \"python3\", \"/nowhere\"]\n";
    let told = checked(ready);
    let lacks = [
        "install it (pip install faster-whisper)",
        "no model.bin in /nowhere: give the folder of a faster-whisper model",
    ];
    assert!(told.contains("BAD") && lacks.iter().any(|lack| told.ends_with(lack)), "{told}");
    let missing = "[[recogniser]]\nname = \"two\"\ncommand = [\"no-such-program\"]\n";
    let told = checked(&(one + missing));
    let end = "; two: no-such-program is not installed: install it, or mend its command in the settings";
    assert!(told.starts_with("words     BAD   one heard") && told.ends_with(end), "{told}");
}
