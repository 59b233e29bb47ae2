//! The words of the trade as lists, for a recogniser that listens for given words only.

use super::lexicon::{Fact, Form, Lexicon, Sense, Slot, State, Subject};

/// What may be said of a pull, by how it stands in a sentence. Small letters, words split by single spaces.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Vocabulary {
    /// After a number: "crabs".
    pub many: Vec<String>,
    /// After "one", "a" or "another": "crab", "keeper".
    pub one: Vec<String>,
    /// Alone, of one crab: "keeper".
    pub verdicts: Vec<String>,
    /// Alone: "a hair under", "picked clean".
    pub phrases: Vec<String>,
    /// A thing and how it is: ("bait", "gone"). Said in either order.
    pub pairs: Vec<(String, String)>,
    /// Before a trap's number: "trap".
    pub traps: Vec<String>,
    /// What bait may be: "mullet".
    pub baits: Vec<String>,
    /// Before what always counts: "for the book".
    pub openers: Vec<String>,
    /// What takes the last statement back: "scratch that".
    pub undo: Vec<String>,
}

/// The words of a lexicon. Sorted; of words for other animals and of what stops a count, none.
pub(super) fn vocabulary(lexicon: &Lexicon) -> Vocabulary {
    let mut all = Vocabulary::default();
    let mut subjects: Vec<(Subject, String)> = Vec::new();
    for (phrase, sense) in lexicon.terms() {
        // What is written with signs is not said so.
        if !phrase.chars().all(|c| c.is_lowercase() || c == ' ') {
            continue;
        }
        let own = phrase.clone();
        match sense {
            Sense::Noun(Slot::Other(_), _) => {}
            Sense::Noun(_, Form::Many) => all.many.push(own),
            Sense::Noun(_, Form::One) => all.one.push(own),
            Sense::Noun(_, Form::Verdict) => {
                all.one.push(own.clone());
                all.verdicts.push(own);
            }
            // Where the boat lies and what becomes of the trap is seen from her track.
            Sense::Says(facts) if !facts.iter().all(|f| matches!(f, Fact::State(State::Kind(_)))) => {
                all.phrases.push(own);
            }
            Sense::Subject(subject) => subjects.push((*subject, own)),
            Sense::Named { set: false, .. } => all.traps.push(own),
            Sense::BaitKind(_) => all.baits.push(own),
            Sense::Opener => all.openers.push(own),
            Sense::Undo => all.undo.push(own),
            _ => {}
        }
    }
    for (subject, quality) in lexicon.pairs() {
        let of = subjects.iter().filter(|(s, _)| *s == subject);
        all.pairs.extend(of.map(|(_, name)| (name.clone(), quality.to_owned())));
    }
    all.pairs.sort();
    all
}

#[cfg(test)]
mod tests {
    use crate::tally::{Grammar, Speech, read};

    #[test]
    fn what_is_listed_is_understood_as_it_stands() {
        let all = Grammar::default().vocabulary();
        let understood = |text: String| {
            let reading = read(&[&text]);
            assert!(reading.trade, "{text}");
        };
        all.many.iter().for_each(|word| understood(format!("four {word}")));
        all.one.iter().for_each(|word| understood(format!("one {word}")));
        all.verdicts.iter().for_each(|word| understood(word.clone()));
        all.phrases.iter().for_each(|word| understood(word.clone()));
        all.pairs.iter().for_each(|(thing, how)| understood(format!("{thing} {how}")));
        all.traps.iter().for_each(|word| understood(format!("{word} twelve")));
        assert!(all.many.iter().any(|word| word == "crabs") && all.baits.iter().any(|word| word == "mullet"));
        assert!(all.pairs.contains(&("bait".into(), "gone".into())));
    }

    #[test]
    fn a_crews_own_words_are_listed_with_the_others() {
        let words = [("keepers".to_owned(), vec!["taker".to_owned()])].into();
        let crew = Grammar::of(&Speech { words, ..Speech::default() }).vocabulary();
        assert!(crew.many.contains(&"takers".to_owned()) && crew.verdicts.contains(&"taker".to_owned()));
        let spanish = Grammar::of(&Speech { language: "es".into(), ..Speech::default() }).vocabulary();
        assert!(spanish.many.contains(&"cangrejos".to_owned()), "{spanish:?}");
    }
}
