//! From a paired pull to its record: times as text, numbers rounded once, corrections on top.

use std::collections::BTreeMap;

use super::pair::Paired;
use super::words::Words;
use super::{Found, Pull, flags, said, weight};
use crate::correct::Corrections;
use crate::finding::{Finding, Flag, Moment, Note, SetDown};
use crate::pairing::Grade;
use crate::record::{LooseRecord, NoteRecord, Pairing, Position, Record, SCHEMA, SetRecord, TextFrom, round};
use crate::tally::{Count, Origin, Tally};
use crate::time::{HOUR, Mono, SECOND, Utc};

/// Decimals of a degree that are written: 7 are a centimetre.
const DEGREES: i32 = 7;

pub(super) fn record(
    pull: &Pull<'_>,
    paired: &Paired,
    set_before: Option<Utc>,
    corrections: &Corrections,
) -> Record {
    let stop = pull.stop;
    let (tally, tally_from, drafts) = tally(pull, corrections);
    let soak_h = stop
        .started
        .utc
        .zip(set_before)
        .map(|(start, set)| round((start - set) as f64 / HOUR as f64, 3))
        .filter(|hours| *hours >= 0.0);
    let mut weighings = weight::without_tubs(&stop.weighings, &tares(pull, corrections));
    let mut all_flags = stop.flags.clone();
    all_flags.extend(flags(pull, &tally));
    if stop.weighings.is_empty() {
        weighings = said::weighings(&pull.words.weights);
        all_flags.extend((!weighings.is_empty()).then_some(Flag::WeightSaid));
    }
    let claws = tally.count(Count::Claws);
    let chatter = pull.words.chatter && !pull.notes.is_empty() && weighings.is_empty() && tally.is_empty();
    all_flags.extend(chatter.then_some(Flag::Chatter));
    let agree = claws.is_none_or(|claws| weight::agrees(&weighings, claws));
    all_flags.extend((!agree).then_some(Flag::ClawsDiffer));
    Record {
        schema: SCHEMA.to_owned(),
        pull: stop.id.clone(),
        kind: pull.kind,
        boat: pull.found.boat.clone(),
        day: pull.found.day(),
        started_at: text(stop.started),
        ended_at: stop.ended.and_then(text),
        time_source: stop.time_source,
        position: stop.position.map(|spot| Position {
            lat: round(spot.lat, DEGREES),
            lon: round(spot.lon, DEGREES),
            sd_m: round(spot.sd_m, 2),
            fixes: stop.fixes,
        }),
        trap: paired.trap.clone(),
        pairing: pairing(paired),
        soak_h,
        set: stop.set.as_ref().filter(|_| tally.taken_in != Some(true)).map(set),
        tally,
        tally_from,
        drafts,
        weight: weight::weight(&weighings, claws, &pull.found.sizes),
        depth_m: stop.depth_m.map(|m| round(m, 2)),
        water_c: stop.water_c.map(|c| round(c, 2)),
        notes: pull.notes.iter().map(|n| note(n, &pull.words, corrections)).collect(),
        day_said: pull.words.reading.day.clone(),
        flags: all_flags,
    }
}

/// The record of a note or weighing far from any trap.
pub(super) fn loose(found: &Found, words: &Words, corrections: &Corrections) -> Option<LooseRecord> {
    let Finding::Loose(loose) = &found.finding else { return None };
    let at = loose.note.as_ref().map(|n| n.at).or(loose.weighing.as_ref().map(|w| w.at))?;
    Some(LooseRecord {
        id: loose.id.clone(),
        boat: found.boat.clone(),
        day: found.day(),
        at: text(at),
        time_source: loose.time_source,
        lat: loose.spot.map(|spot| round(spot.lat, DEGREES)),
        lon: loose.spot.map(|spot| round(spot.lon, DEGREES)),
        note: loose.note.as_ref().map(|n| note(n, words, corrections)),
        day_said: words.reading.day.clone(),
        weighing: loose.weighing.as_ref().map(weight::record),
        flags: loose.flags.clone(),
    })
}

/// What is stated, where it is from, and what is to be confirmed; a person's correction settles all three.
fn tally(pull: &Pull<'_>, corrections: &Corrections) -> (Tally, BTreeMap<String, Origin>, Tally) {
    let (mut tally, mut drafts) = (pull.words.reading.tally.clone(), pull.words.reading.drafts.clone());
    let mut from = pull.words.origins();
    for (field, value) in corrections.of(&pull.stop.id) {
        // Fields that are no tally keys (trap, drop, pull) were dealt with; a bad value never got into the journal.
        if tally.set(field, value).is_ok() {
            // The same key, with nothing: a draft tally takes it as the other did.
            let _ = drafts.set(field, "");
            if value.is_empty() {
                from.remove(field);
            } else {
                from.insert(field.clone(), Origin::Corrected);
            }
        }
    }
    (tally, from, drafts)
}

/// When somebody said that a tub was put on.
fn tares(pull: &Pull<'_>, corrections: &Corrections) -> Vec<Mono> {
    let sure = |note: &Note| corrections.heard(&note.id).filter(|heard| heard.is_sure());
    let text = |note: &Note| note.text.clone().or_else(|| Some(sure(note)?.text.clone()));
    let said = pull.notes.iter().filter(|note| text(note).is_some_and(|text| weight::says_tare(&text)));
    said.map(|note| note.at.t).collect()
}

fn pairing(paired: &Paired) -> Pairing {
    let runner_up = paired.runner_up.as_ref().filter(|(_, p)| *p >= 0.0005);
    Pairing {
        grade: if paired.trap.is_none() && paired.grade != Grade::Corrected {
            Grade::None
        } else {
            paired.grade
        },
        probability: round(paired.probability, 4),
        distance_m: paired.distance_m.map(|m| round(m, 1)),
        runner_up: runner_up.map(|(trap, _)| trap.clone()),
        runner_up_probability: runner_up.map(|(_, p)| round(*p, 4)),
    }
}

fn set(set: &SetDown) -> SetRecord {
    SetRecord {
        at: text(set.at),
        lat: round(set.spot.lat, DEGREES),
        lon: round(set.spot.lon, DEGREES),
        sd_m: round(set.spot.sd_m, 2),
    }
}

fn note(note: &Note, words: &Words, corrections: &Corrections) -> NoteRecord {
    let heard = corrections.heard(&note.id).filter(|_| note.text.is_none());
    let text_from = match (&note.text, heard) {
        (Some(_), _) => TextFrom::Typed,
        (None, Some(_)) => TextFrom::Heard,
        (None, None) => TextFrom::None,
    };
    let sound_kept = !corrections.only_text(&note.id);
    NoteRecord {
        note: note.id.clone(),
        at: text(note.at),
        seconds: note.sound.as_ref().map(|sound| round(sound.length_us as f64 / SECOND as f64, 3)),
        file: note.sound.as_ref().filter(|_| sound_kept).map(|sound| sound.file.clone()),
        text: note.text.clone().or_else(|| heard.map(|heard| heard.text.clone())),
        text_from,
        confidence: heard.and_then(|heard| heard.confidence).map(|c| round(c, 3)),
        marked: words.marks(&note.id),
        spans: words.spans.get(&note.id).cloned().unwrap_or_default(),
    }
}

fn text(at: Moment) -> Option<String> {
    at.utc.map(|utc| utc.to_string())
}
