//! Every number, any order, any text: what holds for arbitrary talk.

use proptest::prelude::*;

use super::super::numbers::tests::{spell, spell_spanish};
use super::super::*;
use super::WORDS;
use super::support::{phrase, survives, talked, tallies};

#[test]
fn every_number_counts_before_and_after_every_word() {
    for n in 0..1000 {
        for (word, count) in WORDS {
            for number in [n.to_string(), spell(n, "and "), spell(n, "")] {
                for text in [format!("{number} {word}"), format!("{word} {number}")] {
                    let reading = read(&[&text]);
                    assert_eq!(reading.tally.counts, BTreeMap::from([(count, n)]), "{text}");
                    assert_eq!(reading.drafts, Tally::default(), "{text}");
                }
            }
        }
    }
}

/// Hours of arbitrary talk: `GUNWALE_LONG=1 cargo test --release -p gunwale-protocol a_long_run`.
#[test]
fn a_long_run_of_arbitrary_talk() {
    if std::env::var_os("GUNWALE_LONG").is_none() {
        return;
    }
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig::with_cases(2_000_000));
    let words = proptest::collection::vec(proptest::sample::select(talked()), 0..60);
    let noise = proptest::collection::vec(any::<u8>(), 0..20);
    runner
        .run(&(words, noise, any::<bool>(), any::<bool>()), |(words, noise, heard, spanish)| {
            let text = format!("{} {}", words.join(" "), String::from_utf8_lossy(&noise));
            let language = if spanish { "es" } else { "en" };
            let speech = Speech { language: language.into(), ..Speech::default() };
            let note = Said { text: &text, heard, goes_on: true };
            survives(&speech, &[note, note], &["Lucky"]);
            Ok(())
        })
        .unwrap();
}

proptest! {
    #[test]
    fn any_order_and_any_separator(
        pairs in proptest::sample::subsequence(WORDS.to_vec(), 1..=6).prop_shuffle(),
        numbers in proptest::collection::vec(0u32..1000, 6),
        spelled in proptest::collection::vec(0usize..3, 6),
        number_first in any::<bool>(),
        separators in proptest::collection::vec(
            proptest::sample::select(vec![" ", ", ", ",", " and ", "/", " / ", ". ", "\n", "\r\n", "; ", " - ", " + "]), 6),
    ) {
        let mut text = String::new();
        let mut expected = BTreeMap::new();
        for (at, (word, count)) in pairs.iter().enumerate() {
            let n = numbers[at];
            // "7" and "/" and "4" would be a fraction, and "100, 105" a thousand.
            let separator = match separators[at] {
                "," | "/" if !number_first => " , ",
                // "One hundred and five": after a spelled number, "and" may go on with it.
                " and " if !number_first => ", ",
                other => other,
            };
            if at > 0 {
                text.push_str(separator);
            }
            let number = match spelled[at] {
                0 => n.to_string(),
                1 => spell(n, "and "),
                _ => spell(n, ""),
            };
            text.push_str(&if number_first { format!("{number} {word}") } else { format!("{word} {number}") });
            expected.insert(*count, n);
        }
        let reading = read(&[&text]);
        prop_assert_eq!(reading.tally.counts, expected, "{}", text);
    }

    #[test]
    fn any_text_is_survived(texts in proptest::collection::vec(any::<String>(), 0..4)) {
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let reading = read(&texts);
        prop_assert_eq!(reading, read(&texts));
    }

    #[test]
    fn any_words_of_the_trade_are_survived(
        words in proptest::collection::vec(proptest::sample::select(vec![
            "crabs", "keeper", "no", "two", "seven", ",", "a", "trap", "number", "14", "b", "make that", "scratch that",
            "one", "more", "off", "bait", "gone", "half", "tie", "not", "of them", "there's", "nothing", ".", "?", "and",
            "under", "pound", "hundred", "last week", "took both", "'", "-", "#", "1/2", "3rd",
        ]), 0..30),
    ) {
        let text = words.join(" ");
        let reading = read(&[&text]);
        // What is read back from a record is what was read from the words.
        let json = serde_json::to_string(&reading.tally).unwrap();
        prop_assert_eq!(serde_json::from_str::<Tally>(&json).unwrap(), reading.tally);
    }

    #[test]
    fn a_note_twice_changes_no_total(n in 0u32..1000, word in proptest::sample::select(WORDS.to_vec())) {
        let text = format!("{n} {}", word.0);
        let (once, twice) = (read(&[&text]), read(&[&text, &text]));
        prop_assert_eq!((twice.tally, twice.drafts), (once.tally, once.drafts));
    }

    #[test]
    fn every_number_in_spanish_too(n in 0u32..1000, word in proptest::sample::select(vec![
        ("cangrejos", Count::Crabs), ("legales", Count::Keepers), ("muelas", Count::Claws), ("cortos", Count::Shorts),
        ("hembras", Count::Females), ("machos", Count::Males), ("muertos", Count::Dead), ("zurdos", Count::LeftHanded),
    ])) {
        let grammar = Grammar::of(&Speech { language: "es".into(), ..Speech::default() });
        for number in [n.to_string(), spell_spanish(n)] {
            for text in [format!("{number} {}", word.0), format!("{} {number}", word.0)] {
                let reading = grammar.read(&[Said::typed(&text)], &[]);
                prop_assert_eq!(&reading.tally.counts, &BTreeMap::from([(word.1, n)]), "{}", text);
                prop_assert_eq!(&reading.drafts, &Tally::default(), "{}", text);
            }
        }
    }

    /// Arbitrary bytes as text, typed and heard, in both languages, with names of every kind: nothing panics, and every
    /// span lies within its text.
    #[test]
    fn any_bytes_are_survived(
        texts in proptest::collection::vec((proptest::collection::vec(any::<u8>(), 0..200), any::<bool>(), any::<bool>()), 0..4),
        names in proptest::collection::vec(any::<String>(), 0..3),
        spanish in any::<bool>(),
    ) {
        let texts: Vec<_> =
            texts.iter().map(|(bytes, heard, goes_on)| (String::from_utf8_lossy(bytes), *heard, *goes_on)).collect();
        let notes: Vec<Said<'_>> =
            texts.iter().map(|(text, heard, goes_on)| Said { text, heard: *heard, goes_on: *goes_on }).collect();
        let language = if spanish { "es" } else { "en" };
        let speech = Speech { language: language.into(), ..Speech::default() };
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        survives(&speech, &notes, &names);
    }

    /// The same with words of the trade in any order.
    #[test]
    fn any_talk_is_survived(
        words in proptest::collection::vec(proptest::sample::select(talked()), 0..40),
        cuts in proptest::collection::vec(0usize..40, 0..3),
        heard in any::<bool>(),
        spanish in any::<bool>(),
    ) {
        let mut texts = vec![String::new()];
        for (at, word) in words.iter().enumerate() {
            if cuts.contains(&at) {
                texts.push(String::new());
            }
            let text = texts.last_mut().unwrap();
            text.push_str(word);
            text.push(' ');
        }
        let notes: Vec<Said<'_>> = texts.iter().map(|text| Said { text, heard, goes_on: true }).collect();
        let language = if spanish { "es" } else { "en" };
        survives(&Speech { language: language.into(), ..Speech::default() }, &notes, &["Lucky", "Old Tom"]);
    }

    #[test]
    fn what_a_tally_says_it_says_again(tally in tallies()) {
        let phrase = phrase(&tally);
        let reading = read(&[&phrase]);
        prop_assert_eq!(&reading.tally, &tally, "{}", phrase);
        prop_assert!(reading.drafts.is_empty(), "{}", phrase);
        let heard = Grammar::default().read(&[Said::heard(&phrase)], &[]);
        prop_assert_eq!(&heard.tally, &tally, "heard: {}", phrase);
    }

    #[test]
    fn corrections_of_any_text_are_survived(key in proptest::sample::select(KEYS.to_vec()), value in any::<String>()) {
        let mut tally = Tally::default();
        if tally.set(key, &value).is_ok()
            && let Some(text) = tally.get(key)
        {
            let mut again = Tally::default();
            again.set(key, &text).unwrap();
            prop_assert_eq!(again, tally);
        }
    }
}
