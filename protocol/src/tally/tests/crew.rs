//! A crew's own words, which words gave which figure, and what is said to the microphone.

use serde_json::{Value, json};

use super::super::*;
use super::phrases;

#[test]
fn spans_show_which_words_gave_which_figure() {
    let case = |texts: &[&str], expected: &[(&str, &str)]| {
        let reading = read(texts);
        let shown: Vec<(&str, &str)> = reading
            .spans
            .iter()
            .map(|span| (span.key.as_str(), &texts[span.text][span.from..span.to]))
            .collect();
        assert_eq!(shown, expected, "{texts:?}");
    };
    case(&["Seven crabs, four keepers!"], &[("crabs", "Seven crabs"), ("keepers", "four keepers")]);
    case(&["crabs: seven"], &[("crabs", "crabs: seven")]);
    case(&["seven crabs", "eight crabs"], &[("crabs", "eight crabs")]);
    case(&["seven crabs, no wait, eight"], &[("crabs", "seven crabs"), ("crabs", "no wait, eight")]);
    case(
        &["keeper, short", "another keeper"],
        &[("keepers", "keeper"), ("shorts", "short"), ("keepers", "keeper")],
    );
    case(&["keeper", "keeper", "two keepers"], &[("keepers", "two keepers")]);
    case(&["seven crabs, scratch that"], &[]);
    case(&["trap no. 14: the tie was broken"], &[("trap", "trap no. 14"), ("tie", "tie was broken")]);
    case(&["über, seven crabs"], &[("crabs", "seven crabs")]);
    case(&["about seven crabs"], &[("crabs", "seven crabs")]);
    case(&["182 grams"], &[("weight", "182 grams")]);
    assert!(read(&["about seven crabs"]).spans[0].draft);
    let joined = [Said::heard("we got seven"), Said { goes_on: true, ..Said::heard("crabs") }];
    let reading = Grammar::default().read(&joined, &[]);
    let shown: Vec<_> = reading.spans.iter().map(|span| (span.text, span.from, span.to)).collect();
    assert_eq!(shown, [(0, 7, 12), (1, 0, 5)]);
}

#[test]
fn a_crew_has_words_of_its_own() {
    let speech: Speech = serde_json::from_value(json!({
        "keepers": ["taker", "goods"],
        "crabs": ["rock"],
        "sizes": ["titan"],
        "other": ["sheepshead"],
        "bait_kind": ["racoon fish"],
        "bottom": ["live bottom"],
        "empty": ["water haul again"],
        "opener": ["for the ship"],
        "trap": ["cage"],
        "set": ["down she drops"],
        "mark": ["gold star"],
        "ignore": ["blimey"],
        "never": ["fantasy"],
        "tie=broken": ["popped string"],
        "bait_left=0.25": ["a whiff of bait"],
    }))
    .unwrap();
    speech.check().unwrap();
    let case = |text: &str, expected: &str| {
        let reading = Grammar::of(&speech).read(&[Said::typed(text)], &[]);
        assert_eq!(phrases::outcome(&reading), expected, "{text}");
    };
    case("two takers", "keepers=2");
    case("taker", "keepers=1");
    case("three goods", "keepers=3");
    case("four rocks, blimey", "crabs=4");
    case("two titans", "sizes=titan:2");
    case("a sheepshead", "other=sheepshead:1");
    case("fresh racoon fish", "bait_kind=racoon_fish");
    case("live bottom", "bottom=live_bottom");
    case("water haul again", "crabs=0");
    case("For the ship: seven crabs, my cousin Ned counted", "crabs=7");
    case("cage 14", "trap=14");
    case("down she drops", "set");
    case("gold star", "mark");
    case("fantasy seven crabs", "-");
    case("popped string, a whiff of bait", "bait_left=0.25 tie=broken");
    // The words of English are still there, and those of one crew are not those of another.
    case("seven crabs", "crabs=7");
    assert!(read(&["two takers"]).tally.is_empty());
    let text = serde_json::to_string(&speech).unwrap();
    assert_eq!(serde_json::from_str::<Speech>(&text).unwrap(), speech);
    assert_eq!(serde_json::to_string(&Speech::default()).unwrap(), "{}");
}

#[test]
fn words_that_cannot_be_used_are_named_and_passed_over() {
    let refused = |words: Value, text: &str| {
        let speech: Speech = serde_json::from_value(words).unwrap();
        assert_eq!(speech.check().unwrap_err().to_string(), text);
        let reading = Grammar::of(&speech).read(&[Said::typed("seven crabs")], &[]);
        assert_eq!(reading.tally.count(Count::Crabs), Some(7));
    };
    refused(json!({"language": "fr"}), "language `fr` is not known: use en or es");
    refused(
        json!({"legals": ["takers"]}),
        "`legals` is nothing a word can mean: use a count such as keepers, a state such as \"tie=broken\", or one of sizes, \
         other, bait_kind, bottom, empty, opener, trap, set, visit, mark, ignore, never",
    );
    refused(
        json!({"tie=loose": ["slack"]}),
        "tie=loose cannot be: tie takes intact, broken or missing, or nothing to remove it",
    );
    refused(
        json!({"keepers": ["14"]}),
        "`14` cannot be a word for keepers: use 1 to 60 characters with a letter among them",
    );
}

#[test]
fn the_microphone_is_opened_again_in_so_many_words() {
    for text in ["okay, you can listen", "You can listen now.", "back on the record"] {
        assert!(on_the_record(text), "{text}");
    }
    for text in ["off the record", "listen", "can you listen to that engine", ""] {
        assert!(!on_the_record(text), "{text}");
    }
}
