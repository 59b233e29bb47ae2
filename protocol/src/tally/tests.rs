//! What the crew says and what it becomes.

use serde_json::{Value, json};

use super::*;

mod arbitrary;
mod crew;
mod phrases;
mod support;

fn tally(texts: &[&str]) -> Value {
    serde_json::to_value(read(texts).tally).unwrap()
}

fn check(text: &str, expected: Value) {
    assert_eq!(tally(&[text]), expected, "{text}");
}

/// The tally and the drafts.
fn check_draft(texts: &[&str], expected: Value, drafts: Value) {
    assert_eq!(tally(texts), expected, "{texts:?}");
    assert_eq!(serde_json::to_value(read(texts).drafts).unwrap(), drafts, "drafts of {texts:?}");
}

/// Nothing is counted and nothing is shown as a draft.
fn nothing(text: &str) {
    check_draft(&[text], json!({}), json!({}));
}

#[test]
fn what_a_record_promises_to_take() {
    check("seven crabs, four keepers", json!({"crabs": 7, "keepers": 4}));
    check("7 crabs/4 keepers", json!({"crabs": 7, "keepers": 4}));
    check("7crabs 4keepers", json!({"crabs": 7, "keepers": 4}));
    check("7 Crabs.\n4 KEEPERS.", json!({"crabs": 7, "keepers": 4}));
    check("crabs 7", json!({"crabs": 7}));
    check("crabs: 7; keepers = 4", json!({"crabs": 7, "keepers": 4}));
    check("no crabs", json!({"crabs": 0}));
    check("zero keepers", json!({"keepers": 0}));
    check("seven crabs no keepers", json!({"crabs": 7, "keepers": 0}));
    check("empty", json!({"crabs": 0}));
    check("nothing", json!({"crabs": 0}));
    check("nothing fresh bait", json!({"crabs": 0, "bait_added": true}));
    check("egg bearing", json!({"berried": 1}));
    check("two egg-bearing", json!({"berried": 2}));
    check("bait gone", json!({"bait_left": 0.0}));
    check("half bait", json!({"bait_left": 0.5}));
    check("full bait", json!({"bait_left": 1.0}));
    check("fresh bait", json!({"bait_added": true}));
    check("tie broken", json!({"tie": "broken"}));
    check("broken tie", json!({"tie": "broken"}));
    check("trap 14", json!({}));
    check(
        "trap fourteen seven crabs four keepers bait gone tie broken fresh bait",
        json!({"crabs": 7, "keepers": 4, "bait_left": 0.0, "tie": "broken", "bait_added": true}),
    );
    check("both 0 left handed one", json!({"both": 0, "left_handed": 1}));
    check("both 0 / left handed one", json!({"both": 0, "left_handed": 1}));
    check("left_handed 2, bad breaks 1, both 3", json!({"left_handed": 2, "bad_breaks": 1, "both": 3}));
}

#[test]
fn how_people_talk() {
    check("seven crabs, four keepers, six claws", json!({"crabs": 7, "keepers": 4, "claws": 6}));
    check("there's five, no, make it six", json!({"crabs": 6}));
    check("just the one crab", json!({"crabs": 1}));
    for text in ["she's empty", "nothing home", "came up blank"] {
        check(text, json!({"crabs": 0}));
    }
    check("that makes eight crabs, three legal", json!({"crabs": 8, "keepers": 3}));
    check("five crabs, not a legal one", json!({"crabs": 5, "keepers": 0}));
    check("claws, three, off three crabs", json!({"claws": 3, "keepers": 3}));
    check("for the book: seven crabs, five claws", json!({"crabs": 7, "claws": 5}));
    for text in ["that one's a keeper", "there's another legal one", "he makes the gauge"] {
        check(text, json!({"keepers": 1}));
    }
    for text in ["undersize", "a hair under", "doesn't make it", "another little guy"] {
        check(text, json!({"shorts": 1}));
    }
    check("baby, two of them", json!({"shorts": 2}));
    for text in ["right on the line, leave him", "neither claw makes it"] {
        check(text, json!({"shorts": 1}));
    }
    check("one off her", json!({"keepers": 1, "claws": 1}));
    check("took the big one, left the pincer", json!({"claws": 1, "crushers": 1}));
    check("took both, both legal", json!({"keepers": 1, "both": 1, "claws": 2}));
    check("he dropped it himself", json!({"claws": 1}));
    check("ragged one, tore some meat", json!({"bad_breaks": 1}));
    for text in ["she's carrying eggs", "sponge crab, back she goes"] {
        check(text, json!({"berried": 1}));
    }
    check("female, under", json!({"females": 1, "shorts": 1}));
    check("big male", json!({"males": 1}));
    check("soft one", json!({"soft": 1}));
    check("dead one in the corner", json!({"dead": 1}));
    check("grown-back claw", json!({"regrown": 1}));
    check("lefty", json!({"left_handed": 1}));
    check("crusher's on the right", json!({"right_handed": 1}));
    check("that's a jumbo", json!({"sizes": {"jumbo": 1}}));
    check("two larges and a medium", json!({"sizes": {"large": 2, "medium": 1}}));
    check("bait's hardly touched", json!({"bait_left": 0.9}));
    check("still good bait", json!({"bait_left": 0.75}));
    check("half of it's left", json!({"bait_left": 0.5}));
    check("just the head and bones", json!({"bait_left": 0.1}));
    check("picked clean", json!({"bait_left": 0.0}));
    check("two fresh pieces going in", json!({"bait_added": true, "bait_pieces": 2}));
    check("fresh mullet", json!({"bait_kind": "mullet"}));
    check("topping it up", json!({"bait_added": true}));
    check("leaving the old bait", json!({"bait_added": false}));
    check("my tie's still on", json!({"tie": "intact"}));
    check("tie was already broken", json!({"tie": "broken"}));
    check("no tie on this one", json!({"tie": "missing"}));
    check("new tie on", json!({"tie_new": true}));
    check("found the lid hanging open", json!({"lid": "open"}));
    check("somebody's been in here", json!({"tampered": true}));
    check("not where I left it", json!({"trap_state": "moved"}));
    check("line's wrapped round something", json!({"trap_state": "fouled"}));
    check("slats are busted", json!({"trap_state": "damaged"}));
    check("taking this one home", json!({"taken_in": true}));
    check("hard bottom here", json!({"bottom": "hard"}));
    check("on the grass edge", json!({"bottom": "grass"}));
    check("two blue crabs and a conch", json!({"other": {"blue crab": 2, "conch": 1}}));
    check("urchins all over the outside", json!({"other": {"urchin": null}}));
}

#[test]
fn longer_talk() {
    check(
        "Okay, trap fourteen. We got seven crabs in here, four keepers and two shorts. Bait's all gone, putting fresh bait in.",
        json!({"crabs": 7, "keepers": 4, "shorts": 2, "bait_left": 0.0, "bait_added": true}),
    );
    check(
        "alright seven crabs, four of them legal, six claws total",
        json!({"crabs": 7, "keepers": 4, "claws": 6}),
    );
    check("this trap had seven crabs and three were keepers", json!({"crabs": 7, "keepers": 3}));
    check(
        "three legal two short one soft one dead",
        json!({"keepers": 3, "shorts": 2, "soft": 1, "dead": 1}),
    );
    check("eight crabs but only two legal", json!({"crabs": 8, "keepers": 2}));
    check("seven crabs none of them legal", json!({"crabs": 7, "keepers": 0}));
    check("depth 12 crabs 7 keepers 4", json!({"crabs": 7, "keepers": 4}));
    check("claws: 6 (large 2, medium 4)", json!({"claws": 6, "sizes": {"large": 2, "medium": 4}}));
    check("seventy-one, short", json!({"shorts": 1}));
    check("seven crabs... no wait... eight", json!({"crabs": 8}));
    check("three stone crabs and two spider crabs", json!({"crabs": 3, "other": {"spider crab": 2}}));
    check("tie gone, new tie on", json!({"tie": "missing", "tie_new": true}));
    check("tie wasn't broken, she's not empty", json!({"tie": "intact"}));
    check("bait is three quarters gone", json!({"bait_left": 0.25}));
    check("rebaited with two mullet heads", json!({"bait_added": true, "bait_kind": "mullet heads"}));
    check("trap fifteen is gone", json!({"trap_state": "missing"}));
    check_draft(&["the cooler's empty"], json!({}), json!({"crabs": 0}));
    check_draft(&["lost two crabs over the side"], json!({}), json!({"crabs": 2}));
    check_draft(&["five, six crabs"], json!({}), json!({"crabs": 6}));
}

#[test]
fn what_counts_nothing() {
    for text in [
        "seventy-one mil",
        "already missing one",
        "absolute whopper",
        "good haul",
        "loaded",
        "not much",
        "pound and a half the lot",
        "cutting the tie",
        "next one, that's our third",
        "the first one was loaded",
        "that one before gave us no legals",
        "last week this one had ten",
        "last week this one had ten crabs",
        "bet there's five in this one",
        "is he legal?",
        "might make it, let's see",
        "you're allowed both if they measure",
        "five minutes for the big ones",
        "that's eighty dollars of claw",
        "same again",
        "three of us aboard",
        "wind's gone north, cold front through",
        "fourteen claws on the table",
        "about half a gallon",
        "smalls, one pound ten",
        "four to the neighbours",
        "back he goes",
        "twenty bucks a pound for claws",
        "limit is five claws",
        "eight claws a pound",
        "I think seven crabs",
        "maybe four keepers",
        "two pounds of claws",
        "two inches short of it",
        "$30 for six claws",
        "seven crabs?",
        "the next trap had nine crabs",
        "ten crabs yesterday, four keepers",
        "three feet of water",
        "3.5 crabs",
        "5-6 crabs",
        "two thousand and five crabs",
        "three and a half crabs",
        "1,204 crabs",
        "seven or eight crabs per trap",
        "crabs",
        "keepers and shorts",
        "",
        "👍",
    ] {
        nothing(text);
    }
}

#[test]
fn what_is_unclear_is_a_draft() {
    check_draft(&["my cousin got twenty crabs"], json!({}), json!({"crabs": 20}));
    check_draft(&["seven or eight crabs"], json!({}), json!({"crabs": 8}));
    check_draft(&["about seven crabs"], json!({}), json!({"crabs": 7}));
    check_draft(&["seven four keepers"], json!({}), json!({"keepers": 4}));
    check_draft(&["71 keeper"], json!({}), json!({"keepers": 71}));
    check_draft(&["four keepers, there's five"], json!({"keepers": 4}), json!({"crabs": 5}));
    check_draft(&["that one's a keeper", "make that five"], json!({"keepers": 1}), json!({"keepers": 5}));
    check_draft(&["seven crabs, two big crabs"], json!({"crabs": 7}), json!({"crabs": 2}));
    check_draft(&["ten crabs, last week"], json!({}), json!({"crabs": 10}));
    check_draft(&["fourteen"], json!({}), json!({}));
    check_draft(&["crabs 7 keepers"], json!({}), json!({}));
    check_draft(&["not a keeper"], json!({}), json!({"keepers": 0}));
}

#[test]
fn later_statements_replace_add_correct_and_undo() {
    let case = |texts: &[&str], expected: Value| assert_eq!(tally(texts), expected, "{texts:?}");
    case(&["seven crabs", "eight crabs"], json!({"crabs": 8}));
    case(&["two keepers", "two more keepers"], json!({"keepers": 4}));
    case(&["two keepers", "another keeper"], json!({"keepers": 3}));
    case(&["two shorts", "add a short"], json!({"shorts": 3}));
    case(&["add two shorts"], json!({"shorts": 2}));
    case(&["seven crabs, four keepers", "make that five"], json!({"crabs": 7, "keepers": 5}));
    case(&["seven crabs, four keepers, no wait, three"], json!({"crabs": 7, "keepers": 3}));
    case(&["seven crabs, no, eight crabs"], json!({"crabs": 8}));
    case(&["seven crabs no eight"], json!({"crabs": 8}));
    case(&["make that five claws"], json!({"claws": 5}));
    case(&["seven crabs, four keepers", "scratch the last one"], json!({"crabs": 7}));
    case(&["took both", "scratch that", "empty"], json!({"crabs": 0}));
    case(&["keeper, no, short"], json!({"shorts": 1}));
    case(&["that one's a keeper", "no, short"], json!({"keepers": 1, "shorts": 1}));
    case(&["Keeper. Took both."], json!({"keepers": 1, "both": 1, "claws": 2}));
    case(&["keeper", "keeper", "short", "keeper"], json!({"keepers": 3, "shorts": 1}));
    case(&["undersize, a hair under"], json!({"shorts": 1}));
    case(&["short, another little guy"], json!({"shorts": 2}));
    case(&["that one's a keeper, took both"], json!({"keepers": 1, "both": 1, "claws": 2}));
    case(&["empty", "one crab"], json!({"crabs": 1}));
    case(&["scratch that", "undo", "make it six"], json!({}));
}

#[test]
fn trap_names_are_evidence() {
    let case =
        |texts: &[&str], name: Option<&str>| assert_eq!(read(texts).trap.as_deref(), name, "{texts:?}");
    case(&["trap fourteen"], Some("14"));
    case(&["trap 14 seven crabs"], Some("14"));
    case(&["trap no. 007"], Some("007"));
    case(&["trap 1204, empty"], Some("1204"));
    case(&["number twelve buoy"], Some("12"));
    case(&["buoy 12"], Some("12"));
    case(&["this is trap B14, four keepers"], Some("B14"));
    case(&["trap 14b"], Some("14b"));
    case(&["Trap Lucky, seven crabs"], Some("Lucky"));
    case(&["trap fourteen, no, fifteen"], Some("15"));
    case(&["new trap seven, dropping here"], Some("7"));
    case(&["trap twelve crabs five keepers three"], Some("12"));
    for none in ["next one, that's our third", "trap gone", "is this trap fourteen?", "next is trap fifteen"]
    {
        case(&[none], None);
    }
    case(&["the first one was loaded", "trap seven crabs"], None);
}

#[test]
fn kinds_marks_and_trade_words() {
    let kind = |text: &str, kind: Option<Kind>| assert_eq!(read(&[text]).kind_hint, kind, "{text}");
    for set in
        ["she's back down", "dropping it right here", "going deeper with this one", "new spot, new trap"]
    {
        kind(set, Some(Kind::Set));
    }
    for visit in ["leave that one, let it soak", "can't find the buoy", "buoy's here, trap's gone"] {
        kind(visit, Some(Kind::Visit));
    }
    check("can't find the buoy", json!({"trap_state": "missing"}));
    check("buoy's here, trap's gone", json!({"trap_state": "missing"}));
    kind("seven crabs, she's back down", Some(Kind::Pull));
    kind("lovely morning", None);
    assert!(read(&["mark this one"]).mark && read(&["save that shell"]).mark && !read(&["seven crabs"]).mark);
    for (text, trade) in
        [("seven crabs", true), ("is he legal?", true), ("bait gone", true), ("good haul", false)]
    {
        assert_eq!(read(&[text]).trade, trade, "{text}");
    }
}

#[test]
fn contradictions_are_seen() {
    for (texts, contradictory) in [
        (&["three crabs, four keepers"][..], true),
        (&["four crabs, three keepers, two shorts"], true),
        (&["three keepers, seven claws"], true),
        (&["three keepers, two claws"], true),
        (&["three keepers, one both, four claws"], false),
        (&["three keepers, one both, five claws"], true),
        (&["seven crabs, four keepers, six claws"], false),
        (&["keeper", "keeper", "three keepers"], true),
        (&["keeper", "keeper", "two keepers"], false),
        (&["two keepers", "another keeper"], false),
        (&["empty", "that one's a keeper"], true),
    ] {
        assert_eq!(read(texts).contradictory, contradictory, "{texts:?}");
    }
    assert_eq!(tally(&["keeper", "keeper", "three keepers"]), json!({"keepers": 3}), "the stated total wins");
}

#[test]
fn what_was_summed_is_known() {
    let reading = read(&["seven crabs", "that one's a keeper", "another legal one", "that's a jumbo"]);
    let origins = serde_json::to_value(reading.origins(Origin::Typed)).unwrap();
    assert_eq!(origins, json!({"crabs": "typed", "keepers": "summed", "sizes": "summed"}));
}

#[test]
fn corrections_by_key() {
    let mut tally = Tally::default();
    for (key, value) in [
        ("keepers", "4"),
        ("bait_left", "0.5"),
        ("bait_added", "true"),
        ("bait_pieces", "2"),
        ("bait_kind", "mullet"),
        ("tie", "broken"),
        ("tie_new", "false"),
        ("lid", "open"),
        ("tampered", "true"),
        ("trap_state", "fouled"),
        ("taken_in", "true"),
        ("bottom", "grass edge"),
        ("sizes", "jumbo:1;large:2"),
        ("other", "blue crab:2;urchin:"),
    ] {
        tally.set(key, value).unwrap();
        assert_eq!(tally.get(key).as_deref(), Some(value), "{key}");
    }
    let json = serde_json::to_value(&tally).unwrap();
    assert_eq!(json.get("keepers"), Some(&json!(4)));
    assert_eq!(json.get("other"), Some(&json!({"blue crab": 2, "urchin": null})));
    assert_eq!(serde_json::from_value::<Tally>(json).unwrap(), tally);
    for key in KEYS {
        tally.set(key, " ").unwrap();
    }
    assert!(tally.is_empty());
}

#[test]
fn refused_corrections_say_what_is_allowed() {
    let refused = |key: &str, value: &str, text: &str| {
        let mut tally = Tally::default();
        assert_eq!(tally.set(key, value).unwrap_err().to_string(), text);
        assert!(tally.is_empty(), "{key}");
    };
    refused(
        "keepers",
        "many",
        "keepers=many cannot be: keepers takes a whole number from 0 to 9999, or nothing to remove it",
    );
    refused(
        "crabs",
        "-1",
        "crabs=-1 cannot be: crabs takes a whole number from 0 to 9999, or nothing to remove it",
    );
    refused(
        "bait_left",
        "1.5",
        "bait_left=1.5 cannot be: bait_left takes a number from 0 to 1, or nothing to remove it",
    );
    refused("tie", "cut", "tie=cut cannot be: tie takes intact, broken or missing, or nothing to remove it");
    refused(
        "tampered",
        "yes",
        "tampered=yes cannot be: tampered takes true or false, or nothing to remove it",
    );
    refused(
        "sizes",
        "jumbo",
        "sizes=jumbo cannot be: sizes takes word:count pairs joined by ;, such as jumbo:1;large:2, or nothing to remove it",
    );
    refused(
        "legals",
        "4",
        "no tally key is called legals: use one of crabs, keepers, claws, both, shorts, berried, females, males, soft, \
         dead, regrown, crushers, pincers, left_handed, right_handed, bad_breaks, bait_left, bait_added, bait_pieces, \
         bait_kind, tie, tie_new, lid, tampered, trap_state, taken_in, bottom, sizes, other",
    );
    assert!(Tally::default().set("bait_left", "NaN").is_err());
}

/// Words that take a number, one for each count.
const WORDS: [(&str, Count); 16] = [
    ("crabs", Count::Crabs),
    ("keepers", Count::Keepers),
    ("claws", Count::Claws),
    ("both", Count::Both),
    ("shorts", Count::Shorts),
    ("berried", Count::Berried),
    ("females", Count::Females),
    ("males", Count::Males),
    ("soft", Count::Soft),
    ("dead", Count::Dead),
    ("regrown", Count::Regrown),
    ("crushers", Count::Crushers),
    ("pincers", Count::Pincers),
    ("left handed", Count::LeftHanded),
    ("right handed", Count::RightHanded),
    ("bad breaks", Count::BadBreaks),
];

#[test]
fn off_the_record_is_said_in_so_many_words() {
    for text in ["off the record", "Off the record, Sam.", "right: off-the-record now"] {
        assert!(off_the_record(text), "{text}");
    }
    for text in ["", "for the record", "off the starboard record", "take it off the list"] {
        assert!(!off_the_record(text), "{text}");
    }
}
