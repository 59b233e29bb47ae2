//! What the tests of the grammar share: arbitrary tallies, the phrases that say them, and arbitrary talk.

use proptest::prelude::*;

use super::super::numbers::tests::spell;
use super::super::*;

/// Reads twice with one answer, and every span lies within its text.
pub fn survives(speech: &Speech, notes: &[Said<'_>], names: &[&str]) {
    let grammar = Grammar::of(speech);
    let reading = grammar.read(notes, names);
    assert_eq!(reading, grammar.read(notes, names));
    for span in &reading.spans {
        assert!(notes[span.text].text.get(span.from..span.to).is_some(), "{span:?} of {notes:?}");
    }
    for key in reading.tally.stated() {
        let shown = reading.spans.iter().any(|span| span.key == key && !span.draft);
        let added = key == "bait_added" && reading.tally.bait_pieces.is_some();
        assert!(shown || added, "{key} of {notes:?} is shown nowhere");
    }
    let json = serde_json::to_string(&reading).unwrap();
    assert_eq!(serde_json::from_str::<Reading>(&json).unwrap(), reading);
}

/// Words and marks of talk.
pub fn talked() -> Vec<&'static str> {
    "crabs|keeper|legal|short|claws|no|not|two|seven|a|an|one|more|off|bait|gone|half|tie|broken|of them|there's|nothing|and|\
    under|pound|pounds|ounces|hundred|last week|last trap|took both|one off him|trap|buoy|number|14|b|B7|Lucky|old tom|make that|\
    scratch that|no wait|for|to|ate|clause|crab's|is he|how many|for the book|about|or|maybe|each|dollars|gallon|us|aboard|\
    to the neighbours|sold|gave|away|on the table|smalls|jumbo|blue crab|wind|front|,|.|..|?|!|:|=|-|/|#|\u{bd}|1/2|3rd|1,204|5-6|9:30|\
    cangrejos|legales|muelas|treinta|y|ciento|mas|ningun|trampa|nueva|carnada|libra|media|no llega|é|🦀|\n|'|\""
        .split('|')
        .collect()
}

/// Tallies that people could state, each key as likely there as not.
pub fn tallies() -> impl Strategy<Value = Tally> {
    let counts = proptest::collection::btree_map(
        proptest::sample::select(super::WORDS.iter().map(|(_, count)| *count).collect::<Vec<_>>()),
        0u32..1000,
        0..6,
    );
    let flag = || proptest::option::of(any::<bool>());
    let bait = (
        proptest::option::of(proptest::sample::select(vec![0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0])),
        flag(),
        proptest::option::of(1u32..20),
        proptest::option::of(proptest::sample::select(vec!["mullet", "pigs feet", "chicken"])),
    );
    let trap = (
        proptest::option::of(proptest::sample::select(vec![Tie::Intact, Tie::Broken, Tie::Missing])),
        any::<bool>(),
        proptest::option::of(proptest::sample::select(vec![Lid::Shut, Lid::Open])),
        any::<bool>(),
        proptest::option::of(proptest::sample::select(vec![
            TrapState::Good,
            TrapState::Damaged,
            TrapState::Fouled,
            TrapState::Moved,
            TrapState::Missing,
        ])),
        any::<bool>(),
        proptest::option::of(proptest::sample::select(vec!["hard", "soft", "grass", "sand", "mud", "rock"])),
    );
    let sizes = proptest::collection::btree_map(
        proptest::sample::select(vec!["jumbo", "large", "medium", "colossal"]).prop_map(str::to_owned),
        0u32..1000,
        0..3,
    );
    let other = proptest::collection::btree_map(
        proptest::sample::select(vec!["blue crab", "conch", "urchin", "octopus"]).prop_map(str::to_owned),
        proptest::option::of(1u32..1000),
        0..3,
    );
    (counts, bait, trap, sizes, other).prop_map(|(mut counts, bait, trap, sizes, other)| {
        // A trap that was not found was not empty.
        counts.retain(|count, n| (*count, *n, trap.4) != (Count::Crabs, 0, Some(TrapState::Missing)));
        let yes = |said: bool| said.then_some(true);
        Tally {
            counts,
            bait_left: bait.0,
            // Pieces that go in are fresh bait.
            bait_added: if bait.2.is_some() || bait.3.is_some() { Some(true) } else { bait.1 },
            bait_pieces: bait.2,
            bait_kind: bait.3.map(str::to_owned),
            tie: trap.0,
            tie_new: yes(trap.1),
            lid: trap.2,
            tampered: yes(trap.3),
            trap_state: trap.4,
            taken_in: yes(trap.5),
            bottom: trap.6.map(str::to_owned),
            sizes,
            other,
        }
    })
}

/// What a crew could say to state just this.
pub fn phrase(tally: &Tally) -> String {
    let mut said: Vec<String> = Vec::new();
    for (at, (count, n)) in tally.counts.iter().enumerate() {
        let word = super::WORDS.iter().find(|(_, of)| of == count).unwrap().0;
        said.push(match (at % 3, n) {
            (0, 0) => format!("no {word}"),
            (1, n) => format!("{n} {word}"),
            (_, n) => format!("{} {word}", spell(*n, "and ")),
        });
    }
    let mut say = |text: &str| said.push(text.to_owned());
    match tally.bait_left.map(|left| (left * 100.0) as u32) {
        Some(0) => say("bait's all gone"),
        Some(10) => say("just the head and bones"),
        Some(25) => say("bait's mostly gone"),
        Some(50) => say("half of it's left"),
        Some(75) => say("bait's still good"),
        Some(90) => say("bait's hardly touched"),
        Some(_) => say("full bait"),
        None => {}
    }
    match (tally.bait_added, tally.bait_pieces, &tally.bait_kind) {
        (_, Some(n), Some(kind)) => say(&format!("{} fresh pieces of {kind}", spell(n, ""))),
        (_, Some(n), None) => say(&format!("{n} pieces of bait")),
        (_, None, Some(kind)) => say(&format!("rebaited with {kind}")),
        (Some(true), ..) => say("topping it up"),
        (Some(false), ..) => say("leaving the old bait"),
        (None, ..) => {}
    }
    match tally.tie {
        Some(Tie::Intact) => say("my tie's still on"),
        Some(Tie::Broken) => say("tie was already broken"),
        Some(Tie::Missing) => say("no tie on this one"),
        None => {}
    }
    if tally.tie_new == Some(true) {
        say("new tie on");
    }
    match tally.lid {
        Some(Lid::Shut) => say("lid's shut"),
        Some(Lid::Open) => say("found the lid hanging open"),
        None => {}
    }
    if tally.tampered == Some(true) {
        say("somebody's been in here");
    }
    match tally.trap_state {
        Some(TrapState::Good) => say("trap's fine"),
        Some(TrapState::Damaged) => say("slats are busted"),
        Some(TrapState::Fouled) => say("line's wrapped round something"),
        Some(TrapState::Moved) => say("not where I left it"),
        Some(TrapState::Missing) => say("can't find the buoy"),
        None => {}
    }
    if tally.taken_in == Some(true) {
        say("taking this one home");
    }
    match tally.bottom.as_deref() {
        Some("grass") => say("on the grass edge"),
        Some("rock") => say("on the rocks"),
        Some(word) => say(&format!("{word} bottom here")),
        None => {}
    }
    for (size, n) in &tally.sizes {
        say(&format!("{} {size}s", spell(*n, "")));
    }
    for (animal, n) in &tally.other {
        match n {
            Some(1) => say(&format!("one {animal}")),
            Some(n) => say(&format!("{n} {animal}{}", if animal == "octopus" { "es" } else { "s" })),
            None => say(&format!("{animal} in here")),
        }
    }
    said.join(". ")
}
