//! The words of the trade as recognisers want them: a JSGF grammar and a dictionary for PocketSphinx, a sentence or two
//! for a model that goes on in the style it is given.
//!
//! All words are the spoken tally's own. A grammar gets the common ones and those of the crew: each word more is one more
//! to be taken for another. With three times as many words, ten in a hundred fields fewer were right.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::BufRead;

use gunwale_protocol::tally::{Grammar, Speech, Vocabulary};

/// What is said of most pulls.
const COUNTED: &str =
    "crabs|keepers|legals|claws|shorts|egg bearers|soft ones|dead ones|jumbos|larges|mediums";
const ONE: &str = "crab|keeper|legal|claw|short|egg bearing|soft|dead|jumbo|large|medium";
const VERDICTS: &str = "keeper|legal|short|egg bearing|soft|dead|female|male";
/// What is said alone, too: long words, for a short one is heard in any noise.
const ALONE: &str = "undersize|sponge crab|berried crab";
const PHRASES: &str = "a hair under|picked clean|nothing home|came up blank|new tie|topping it up|no tie|\
    carrying eggs|does not make it";
const PAIRS: &str =
    "bait gone|bait half gone|bait good|bait hardly touched|tie broken|tie still on|lid open|lid shut";
/// Qualities that are said before their thing.
const PAIRS_TURNED: &str = "full bait|half bait|fresh bait";
const BAITS: &str = "mullet|pigs feet";

/// Words that the dictionary of PocketSphinx lacks, in its phones (those of the CMU pronouncing dictionary).
const SPOKEN: [(&str, &str); 5] = [
    ("berried", "B EH R IY D"),
    ("larges", "L AA R JH IH Z"),
    ("legals", "L IY G AH L Z"),
    ("mediums", "M IY D IY AH M Z"),
    ("undersize", "AH N D ER S AY Z"),
];

const UNITS: &str = "one|two|three|four|five|six|seven|eight|nine";
const TEENS: &str = "ten|eleven|twelve|thirteen|fourteen|fifteen|sixteen|seventeen|eighteen|nineteen";
const TENS: &str = "twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety";

/// What a model of the Whisper family is told to have heard before, so that it goes on in that manner: for the sound as it is,
/// and for the sound without its noise. Sentences, for after a list of words it heard less.
const PROMPTS: [&str; 2] = [
    "Trap seven. Seven crabs, four keepers, six claws, two shorts. Nothing home. No crabs, she's empty. One egg bearing, one \
     soft, one dead. Full bait, half bait, bait gone, fresh bait, fresh mullet. Tie broken, tie still on, lid open. Two jumbos, \
     three larges, one medium. For the book, ten crabs. That one's a keeper. A hair under. Undersize.",
    "Trap seven. Seven crabs, four keepers, six claws, two shorts. No crabs. One egg bearing. Bait gone, fresh bait.",
];

/// The same in Spanish.
const PROMPTS_ES: [&str; 2] = [
    "Trampa siete. Siete cangrejos, cuatro legales, seis muelas, dos chicos. Una hembra con huevos. Carnada fresca, media \
     carnada. Amarre roto, tapa abierta. Diez cangrejos, tres legales.",
    "Trampa siete. Siete cangrejos, cuatro legales, seis muelas, dos chicos. Carnada fresca.",
];

/// Room in a prompt for the crew's own words, characters: a model takes in some hundred words before the sound.
const OWN_MOST: usize = 300;

/// What a model is told in the crew's language, with the crew's own words at the end.
pub(super) fn prompts(speech: &Speech) -> [String; 2] {
    let prompts = if speech.language == "es" { PROMPTS_ES } else { PROMPTS };
    let own = own(speech);
    let counted = own
        .many
        .iter()
        .map(|word| format!(" {} {word}.", if speech.language == "es" { "Dos" } else { "Two" }));
    let said = [own.verdicts, own.phrases, own.baits, own.openers].concat();
    let words: Vec<String> = counted.chain(said.iter().map(|word| format!(" {word}."))).collect();
    prompts.map(|prompt| {
        let mut prompt = prompt.to_owned();
        let most = prompt.len() + OWN_MOST;
        words.iter().for_each(|word| {
            if prompt.len() + word.len() <= most {
                prompt.push_str(word);
            }
        });
        prompt
    })
}

/// The crew's own words, which the language has not.
fn own(speech: &Speech) -> Vocabulary {
    let all = Grammar::of(speech).vocabulary();
    let plain = Grammar::of(&Speech { language: speech.language.clone(), ..Speech::default() }).vocabulary();
    let own = |all: Vec<String>, plain: &[String]| -> Vec<String> {
        all.into_iter().filter(|word| !plain.contains(word)).collect()
    };
    Vocabulary {
        many: own(all.many, &plain.many),
        one: own(all.one, &plain.one),
        verdicts: own(all.verdicts, &plain.verdicts),
        phrases: own(all.phrases, &plain.phrases),
        pairs: Vec::new(),
        traps: own(all.traps, &plain.traps),
        baits: own(all.baits, &plain.baits),
        openers: own(all.openers, &plain.openers),
        undo: Vec::new(),
    }
}

/// A grammar of the common words and the crew's, and the lines for its words out of a dictionary in the form of the CMU
/// pronouncing dictionary. The crew's words that this lacks are left out of both, and told.
///
/// # Errors
/// When the dictionary cannot be read.
pub(super) fn words(speech: &Speech, cmu: impl BufRead) -> std::io::Result<Words> {
    let mut own = own(speech);
    let known = Dictionary::read(cmu, &wanted(&jsgf(&own)))?;
    let mut missing = Vec::new();
    let rows = [&mut own.many, &mut own.one, &mut own.verdicts, &mut own.phrases];
    for row in rows.into_iter().chain([&mut own.traps, &mut own.baits, &mut own.openers]) {
        let said = |phrase: &String| phrase.split(' ').all(|word| known.words.contains(word));
        missing.extend(row.extract_if(.., |phrase| !said(phrase)));
    }
    missing.sort();
    missing.dedup();
    let rules = jsgf(&own);
    let wanted = wanted(&rules);
    let lines = known.lines.iter().filter(|(word, _)| wanted.contains(word)).map(|(_, line)| line.as_str());
    Ok(Words { dictionary: lines.collect(), rules, missing })
}

/// What PocketSphinx is given.
pub(super) struct Words {
    /// The grammar, in JSGF.
    pub rules: String,
    /// How its words are said.
    pub dictionary: String,
    /// The crew's words that nobody knows how to say.
    pub missing: Vec<String>,
}

/// A grammar of the common words and of these.
fn jsgf(own: &Vocabulary) -> String {
    let Vocabulary { many, one, verdicts, phrases, pairs, baits, .. } = Grammar::default().vocabulary();
    let known = |common: &'static str, of: &[String], own: &[String]| -> String {
        let kept = split(common).filter(|word| of.iter().any(|known| known == word)).map(str::to_owned);
        kept.chain(own.iter().cloned()).collect::<Vec<_>>().join(" | ")
    };
    let said = |(thing, how): &(String, String)| [format!("{thing} {how}"), format!("{how} {thing}")];
    let pairs: Vec<String> = pairs.iter().flat_map(said).collect();
    let plain = |row: &str| row.replace('|', " | ");
    let mut text = String::from("#JSGF V1.0;\ngrammar trade;\npublic <note> = <part>+;\n");
    let mut rule = |name: &str, is: String| {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "<{name}> = {is};");
    };
    rule("part", "/20/ <count> | /4/ <trap> <number> | /3/ <state> | /3/ <verdict> | /2/ <phrase>".into());
    rule("trap", known("trap", &["trap".to_owned()], &own.traps));
    rule("unit", plain(UNITS));
    rule("number", format!("/10/ (<unit> | {}) | /2/ ({}) [<unit>]", plain(TEENS), plain(TENS)));
    rule("count", "[and] (/10/ <number> [more] <many> | /3/ no <many> | /3/ [just the] one <one>)".into());
    rule("many", known(COUNTED, &many, &own.many));
    rule("one", known(ONE, &one, &own.one));
    let states = [known(PAIRS, &pairs, &[]), known(PAIRS_TURNED, &pairs, &[])].join(" | ");
    rule("state", format!("{states} | fresh ({})", known(BAITS, &baits, &own.baits)));
    let phrases = [phrases.as_slice(), verdicts.as_slice()].concat();
    let (alone, verdicts) = (known(ALONE, &verdicts, &[]), known(VERDICTS, &verdicts, &own.verdicts));
    rule("verdict", format!("(another | that one's a | one) ({verdicts}) | {alone}"));
    let phrases = known(PHRASES, &phrases, &own.phrases);
    rule(
        "phrase",
        format!(
            "{phrases} | she's empty | {}",
            known("for the book", &["for the book".to_owned()], &own.openers)
        ),
    );
    text
}

/// Every word of a grammar.
fn wanted(grammar: &str) -> BTreeSet<String> {
    let letter = |c: char| c.is_alphabetic() || c == '\'';
    let rules = grammar.lines().skip(2).filter_map(|line| line.split_once('=')).map(|(_, is)| is);
    let plain = rules.map(|is| is.split('<').map(|part| part.split_once('>').map_or(part, |(_, rest)| rest)));
    let words = plain.flatten().flat_map(|part| part.split(|c| !letter(c))).filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

/// How some words are said.
struct Dictionary {
    words: BTreeSet<String>,
    /// Each with its line, in the dictionary's order; words may be said in several ways.
    lines: Vec<(String, String)>,
}

impl Dictionary {
    /// The lines for these words.
    fn read(cmu: impl BufRead, wanted: &BTreeSet<String>) -> std::io::Result<Dictionary> {
        let mut found = Dictionary { words: BTreeSet::new(), lines: Vec::new() };
        for line in cmu.lines() {
            let line = line?;
            let Some((spelled, _)) = line.split_once(' ') else { continue };
            // Other ways to say a word are numbered: `the(2)`.
            let word = spelled.split_once('(').map_or(spelled, |(word, _)| word);
            found.add(word, &line, wanted);
        }
        for (word, phones) in
            SPOKEN.iter().filter(|(word, _)| !found.words.contains(*word)).collect::<Vec<_>>()
        {
            found.add(word, &format!("{word} {phones}"), wanted);
        }
        Ok(found)
    }

    fn add(&mut self, word: &str, line: &str, wanted: &BTreeSet<String>) {
        if wanted.contains(word) {
            self.words.insert(word.to_owned());
            self.lines.push((word.to_owned(), format!("{line}\n")));
        }
    }
}

fn split(row: &'static str) -> impl Iterator<Item = &'static str> {
    row.split('|').map(str::trim)
}

#[cfg(test)]
mod tests {
    use gunwale_protocol::tally::Said;

    use super::*;

    fn speech(json: &str) -> Speech {
        serde_json::from_str(json).unwrap()
    }

    #[test]
    fn the_common_words_are_all_the_tallys_own() {
        let grammar = jsgf(&Vocabulary::default());
        for row in [COUNTED, ONE, VERDICTS, ALONE, PHRASES, PAIRS, PAIRS_TURNED, BAITS] {
            for word in split(row) {
                assert!(grammar.contains(word), "{word} is not in the tally's tables");
            }
        }
        for language in ["en", "es"] {
            let speech = Speech { language: language.into(), ..Speech::default() };
            for prompt in prompts(&speech) {
                let counted = Grammar::of(&speech).read(&[Said::typed(&prompt)], &[]);
                assert!(counted.trade && counted.tally.get("keepers").is_some(), "{prompt}");
            }
        }
    }

    #[test]
    fn the_crews_own_words_are_told_to_both() {
        let speech =
            speech(r#"{"keepers":["taker","xyzzy"],"bait_kind":["pogies"],"opener":["ship's log"]}"#);
        let cmu = "taker T EY K ER\ntakers T EY K ER Z\nship's SH IH P S\nlog L AO G\ntrap T R AE P\nlogs L AO G Z\n";
        let words = words(&speech, cmu.as_bytes()).unwrap();
        assert_eq!(words.missing, ["pogies", "ship is log", "xyzzy", "xyzzys"]);
        assert!(
            words.rules.contains("mediums | takers;") && words.rules.contains("male | taker)"),
            "{}",
            words.rules
        );
        assert!(!words.rules.contains("xyzzy"));
        assert!(words.dictionary.starts_with("taker T EY K ER\ntakers T EY K ER Z\ntrap T R AE P\n"));
        let [prompt, _] = prompts(&speech);
        assert!(prompt.ends_with(" Two takers. Two xyzzys. taker. xyzzy. pogies. ship is log."), "{prompt}");
    }

    #[test]
    fn the_dictionary_has_the_grammars_words_and_no_others() {
        let grammar = "#JSGF V1.0;\ngrammar trade;\npublic <note> = <part>+;\n<part> = /20/ <unit> berried | that one's a;\n";
        let cmu = "a AH\na(2) EY\nabbey AE B IY\none's W AH N Z\npart P AA R T\nthat DH AE T\n";
        let found = Dictionary::read(cmu.as_bytes(), &wanted(grammar)).unwrap();
        let lines: String = found.lines.into_iter().map(|(_, line)| line).collect();
        assert_eq!(lines, "a AH\na(2) EY\none's W AH N Z\nthat DH AE T\nberried B EH R IY D\n");
    }
}
