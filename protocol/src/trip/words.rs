//! What the notes of one pull state: typed words count; of what recognisers heard, that which was heard alike twice, or
//! which one may be taken at its word for. The rest is a draft until somebody confirms it.

use std::collections::{BTreeMap, BTreeSet};

use crate::correct::Corrections;
use crate::finding::{Moment, Note};
use crate::input::Heard;
use crate::record::SpanRecord;
use crate::tally::{self, Grammar, Origin, Reading, Said, Span, Tally, Weight};
use crate::time::SECOND;

/// Characters of a note that are read for counts: nobody says more at one trap, and the grammar's work grows with length.
const READ_CHARS: usize = 2_000;
/// A note that was cut is about as long as a note can be, and the next one's file begins where its file ends: a shorter
/// one had its pause, however soon somebody spoke again.
const LONG: i64 = 28 * SECOND;
const CUT: i64 = SECOND / 2;

/// The words of one pull's notes, read.
#[derive(Default)]
pub(super) struct Words {
    /// All of them together; its spans are those of typed texts.
    pub reading: Reading,
    /// Keys of the tally that only a recogniser gave.
    heard: BTreeSet<String>,
    /// Weights said aloud, each when its note began.
    pub weights: Vec<(Moment, Weight)>,
    /// Every note was heard, and nothing of the trade in any.
    pub chatter: bool,
    /// Note id → which of its words gave which figure.
    pub spans: BTreeMap<String, Vec<SpanRecord>>,
}

/// Of the ways to read what was heard, those by the texts of the notes' own recogniser: as it was, and as heard another way.
const OWN: usize = 2;

/// The notes that have a text of one kind, and what it says.
struct Read {
    /// Which notes, in the order of the reading's texts.
    notes: Vec<usize>,
    reading: Reading,
}

/// What was heard in the notes of one pull, read in as many ways as it was heard.
struct Readings {
    /// By their texts first, then by whatever else was made of them.
    all: Vec<Read>,
    /// Of those whose text may be taken at its word.
    sure: Reading,
    /// Of those heard by one who only confirms and would be, were it alone.
    sure_another: Reading,
}

impl Words {
    /// Reads notes, which must be in order of time, by a crew's grammar; `traps` are the names in the register.
    pub fn of(notes: &[Note], corrections: &Corrections, grammar: &Grammar, traps: &[&str]) -> Words {
        let read = |heard: bool, text: &dyn Fn(&Note) -> Option<String>| -> Read {
            read(notes, heard, text, grammar, traps)
        };
        let spoken = |of: &dyn Fn(&Heard) -> Option<String>, another: bool| {
            read(true, &|note| {
                let heard = match another {
                    false => corrections.heard(&note.id),
                    true => corrections.heard_by_another(&note.id),
                };
                heard.filter(|_| note.text.is_none()).and_then(of)
            })
        };
        let text = |heard: &Heard| Some(heard.text.clone());
        let also = |heard: &Heard| heard.also.clone();
        let sure = |heard: &Heard| Some(heard).filter(|heard| heard.is_sure()).and_then(text);
        let typed = read(false, &|note| note.text.clone());
        let heard = Readings {
            all: vec![spoken(&text, false), spoken(&also, false), spoken(&text, true), spoken(&also, true)],
            sure: spoken(&sure, false).reading,
            sure_another: spoken(&sure, true).reading,
        };
        let mut words = Words::default();
        words.show(notes, &typed, |_| true);
        words.weights = weights(notes, &typed);
        if words.weights.is_empty() {
            let said = |reading: &Reading| -> Vec<(u32, bool)> {
                reading.weights.iter().map(|weight| (weight.g, weight.lot)).collect()
            };
            let counted = heard.counted(|reading| Some(said(reading)).filter(|said| !said.is_empty()));
            let read = heard.all.iter().find(|read| counted.as_ref() == Some(&said(&read.reading)));
            words.weights = read.map_or_else(Vec::new, |read| weights(notes, read));
        }
        words.reading = typed.reading;
        words.add(&heard);
        words.chatter =
            words.is_chatter(heard.all.first().map_or(0, |texts| texts.notes.len()) == notes.len());
        words.show_heard(notes, &heard);
        words
    }

    /// Where each key of the tally came from.
    pub fn origins(&self) -> BTreeMap<String, Origin> {
        let mut origins = self.reading.origins(Origin::Typed);
        for (key, origin) in &mut origins {
            if *origin == Origin::Typed && self.heard.contains(key) {
                *origin = Origin::Heard;
            }
        }
        origins
    }

    /// Whether the crew marked this note: where it was said, or, where nobody knows, anywhere.
    pub fn marks(&self, note: &str) -> bool {
        let marked = |spans: &Vec<SpanRecord>| spans.iter().any(|span| span.key == "mark" && !span.draft);
        self.reading.mark && (self.spans.get(note).is_some_and(marked) || !self.spans.values().any(marked))
    }

    /// Whether nothing of use was said, given that all of it was heard.
    fn is_chatter(&self, all_heard: bool) -> bool {
        let Reading { trade, mark, trap, kind_hint, day, .. } = &self.reading;
        let of_use = *trade || *mark || trap.is_some() || kind_hint.is_some() || !day.is_empty();
        all_heard && !of_use && self.weights.is_empty()
    }

    /// Adds what typed words do not state already.
    fn add(&mut self, heard: &Readings) {
        let mine = &mut self.reading;
        for key in tally::KEYS {
            if mine.tally.get(key).is_some() {
                continue;
            }
            // What a tally gives, a tally takes.
            if let Some(value) = heard.counted(|reading| reading.tally.get(key)) {
                let _ = mine.tally.set(key, &value);
                self.heard.insert(key.to_owned());
                // Summed only if nobody heard it as a total.
                let total =
                    |r: &Reading| r.tally.get(key).as_ref() == Some(&value) && !r.summed.contains(key);
                if !heard.readings().any(total) {
                    mine.summed.insert(key.to_owned());
                }
            } else if let Some(value) = heard.drafts(key).filter(|_| mine.drafts.get(key).is_none()) {
                let _ = mine.drafts.set(key, &value);
            }
            // Of another pull it is a draft in any case.
            if mine.before.get(key).is_none()
                && let Some(value) = heard.to_confirm().find_map(|reading| reading.before.get(key))
            {
                let _ = mine.before.set(key, &value);
            }
        }
        let said = |of: fn(&Reading) -> bool| heard.counted(|r| of(r).then_some(())).is_some();
        mine.trap = mine.trap.take().or_else(|| heard.counted(|reading| reading.trap.clone()));
        mine.kind_hint = mine.kind_hint.or_else(|| heard.counted(|reading| reading.kind_hint));
        mine.mark |= said(|reading| reading.mark);
        mine.new_trap |= said(|reading| reading.new_trap);
        mine.contradictory |= said(|reading| reading.contradictory);
        mine.trade |= heard.readings().any(|reading| reading.trade);
        mine.day.fill(|of| heard.counted(|reading| of(&reading.day)));
    }

    /// Keeps the spans of a reading that `shown` lets through.
    fn show(&mut self, notes: &[Note], read: &Read, shown: impl Fn(&mut Span) -> bool) {
        for span in &read.reading.spans {
            let mut span = span.clone();
            let note = read.notes.get(span.text).and_then(|at| notes.get(*at));
            if let Some(note) = note.filter(|_| shown(&mut span)) {
                let Span { from, to, key, draft, .. } = span;
                let spans = self.spans.entry(note.id.clone()).or_default();
                spans.push(SpanRecord { from, to, key, draft });
            }
        }
    }

    /// The words of heard texts that gave a figure: as a draft where it is one only, not at all where another stands.
    fn show_heard(&mut self, notes: &[Note], heard: &Readings) {
        let Some(text) = heard.all.first() else { return };
        let (reading, counts) = (self.reading.clone(), self.heard.clone());
        self.show(notes, text, |span| {
            let key = span.key.as_str();
            let of = |tally: &Tally| tally.get(key);
            if !tally::KEYS.contains(&key) {
                let surely = heard.sure.spans.iter().any(|sure| sure.key == key && !sure.draft);
                span.draft |= !surely && !heard.agrees_on(key);
                return true;
            }
            let said = of(&text.reading.tally).or_else(|| of(&text.reading.drafts));
            span.draft |= !counts.contains(key) || of(&reading.tally) != said;
            !span.draft || (of(&reading.tally).is_none() && of(&reading.drafts) == said)
        });
    }
}

impl Readings {
    fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.all.iter().map(|read| &read.reading)
    }

    /// What counts of something: what was heard alike twice, and nothing else as often; or what was surely heard, if
    /// nothing less sure changes it and it was never heard otherwise.
    fn counted<T: PartialEq + Clone>(&self, of: impl Fn(&Reading) -> Option<T>) -> Option<T> {
        let heard: Vec<T> = self.readings().filter_map(&of).collect();
        let times = |value: &T| heard.iter().filter(|other| *other == value).count();
        let best = heard.iter().max_by_key(|value| times(value))?;
        let twice = times(best) >= 2 && heard.iter().all(|other| other == best || times(other) < times(best));
        let text = self.readings().next().and_then(&of);
        let surely = heard.len() == 1 && text.is_some() && text == of(&self.sure);
        (twice || surely).then(|| best.clone())
    }

    /// Whose drafts are shown. One that confirms hears words of the trade in any noise: what it alone heard, and not
    /// surely, was hardly ever said.
    fn to_confirm(&self) -> impl Iterator<Item = &Reading> {
        self.readings().take(OWN).chain([&self.sure_another])
    }

    /// What of a key is to be confirmed.
    fn drafts(&self, key: &str) -> Option<String> {
        let first = |of: fn(&Reading) -> &Tally| self.to_confirm().find_map(|reading| of(reading).get(key));
        first(|reading| &reading.tally).or_else(|| first(|reading| &reading.drafts))
    }

    /// Whether something that is no key of the tally was heard twice.
    fn agrees_on(&self, key: &str) -> bool {
        let has = |reading: &&Reading| reading.spans.iter().any(|span| span.key == key && !span.draft);
        self.readings().filter(has).count() >= 2
    }
}

/// Reads the notes that have a text of one kind.
fn read(
    notes: &[Note],
    heard: bool,
    text: &dyn Fn(&Note) -> Option<String>,
    grammar: &Grammar,
    traps: &[&str],
) -> Read {
    let texts: Vec<(usize, &Note, String)> =
        notes.iter().enumerate().filter_map(|(at, note)| Some((at, note, text(note)?))).collect();
    let mut said: Vec<Said<'_>> = Vec::new();
    for (n, (at, note, text)) in texts.iter().enumerate() {
        let before = n.checked_sub(1).and_then(|before| texts.get(before));
        let goes_on = before.is_some_and(|(last, before, _)| last + 1 == *at && cut(before, note));
        said.push(Said { text: beginning(text), heard, goes_on });
    }
    Read { reading: grammar.read(&said, traps), notes: texts.iter().map(|(at, ..)| *at).collect() }
}

/// The weights a reading has, each when its note began.
fn weights(notes: &[Note], read: &Read) -> Vec<(Moment, Weight)> {
    let moment = |weight: &Weight| Some((notes.get(*read.notes.get(weight.text)?)?.at, *weight));
    read.reading.weights.iter().filter_map(moment).collect()
}

/// Whether talk went on in the second note where the first one was cut.
fn cut(first: &Note, second: &Note) -> bool {
    let (Some(one), Some(_)) = (&first.sound, &second.sound) else { return false };
    let end = first.from() + one.length_us;
    one.length_us >= LONG && (-CUT..=CUT).contains(&(second.from() - end))
}

/// As much of a text as is read.
fn beginning(text: &str) -> &str {
    text.char_indices().nth(READ_CHARS).and_then(|(end, _)| text.get(..end)).unwrap_or(text)
}

#[cfg(test)]
mod tests;
