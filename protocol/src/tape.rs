//! Tapes and journals: JSON Lines, one stamped input a line, and the seal that tells a whole journal line from a torn one.
//!
//! A journal line is a tape line with two more keys at its end: `n`, the ordinal of the tape's line it came from, and
//! `crc`, a checksum of all bytes before it. [`read`] ignores both, as it ignores every key it does not know, so that
//! a journal file can be played as a tape.
//!
//! ```
//! use gunwale_protocol::tape;
//!
//! let mut line = String::new();
//! for stamped in tape::read(r#"{"t":12.14,"scale":"US,GS,+  0.182kg"}"#)? {
//!     tape::write(&stamped, &mut line);
//! }
//! assert_eq!(line, r#"{"t":12.140,"scale":"US,GS,+  0.182kg"}"#);
//! tape::seal(&mut line, Some(7));
//! assert_eq!(line, r#"{"t":12.140,"scale":"US,GS,+  0.182kg","n":7,"crc":"c7baa79d"}"#);
//! assert_eq!(tape::unseal(&line), Some(tape::Sealed { n: Some(7) }));
//! # Ok::<(), tape::Refusal>(())
//! ```

use std::fmt::{self, Write};

use serde::Deserialize;
use serde::de::{IgnoredAny, MapAccess, Visitor};
use serde_json::{Value, error::Category};

use crate::input::{
    Correction, Forgotten, Heard, Input, Run, Stamped, Stated, Statement, TrapPlace, TrapStated, Voice,
};
use crate::time::{Mono, SECOND, Utc};

/// Why a line was refused, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The line does not parse, or more follows the object.
    #[error("not JSON at column {column}: write one whole JSON object a line")]
    NotJson {
        /// Where, counted in bytes from 1.
        column: usize,
    },
    /// JSON, but no object.
    #[error("no JSON object: write each line as {{\"t\":12.031,\"gps\":\"…\"}}")]
    NotAnObject,
    /// One key given twice: which value was meant cannot be known.
    #[error("`{key}` stands twice: keep one of them")]
    Twice {
        /// The key.
        key: &'static str,
    },
    /// A key that must be there is not.
    #[error("no `{key}`: add it, {expected}")]
    Missing {
        /// The key.
        key: &'static str,
        /// What it has to be.
        expected: &'static str,
    },
    /// A value of the wrong kind, or one that cannot be.
    #[error("`{key}` is not as it should be: make it {expected}")]
    Wrong {
        /// The key.
        key: &'static str,
        /// What it has to be.
        expected: &'static str,
    },
    /// None of the kinds of input is in the line.
    #[error(
        "nothing known in the line: give it one of gps, scale, said, note, audio, button, trap, correct, heard, \
         forget, run"
    )]
    NoKind,
}

const SECONDS: &str = "seconds on the file's clock, a number within 4294967295 of zero";
const UTC: &str = "a time in UTC such as \"2027-01-14T13:15:02.400Z\"";
const RUN: &str = "an object with id, boat, timezone, program and schema";
const TEXT: &str = "text";
const SPOKEN: &str = "text with at least one word in it";
const NOTE: &str = "the path of a WAV file";
const SECONDS_IN: &str = "seconds, a number from 0 to 86400";
const HEARD: &str =
    "an object with the note's id as `note`, `text`, and a `confidence` from 0 to 1 if there is one";
const FORGET: &str = "an object with the note's id as `of`";
const BUTTON: &str = "true (down) or false (up)";
const TRAP: &str =
    "an object with the trap's name as `trap`, and `lat` and `lon`, or `pull`, or `retired`: true";
const PLACE: &str = "a place with lat from -90 to 90 and lon from -180 to 180 degrees";
const SET_AT: &str = "a trap whose set_at is a time in UTC such as \"2027-01-14T13:15:02.400Z\"";
const CORRECT: &str =
    "an object with `of`, the pull's or note's id, and `set`, a list of [field, value] pairs";

/// Reads one line of a tape or journal, without its line end.
///
/// A line may hold several kinds; they come out in the order run, gps, scale, said, note, audio, button, trap, correct,
/// heard, forget. The text
/// of `gps` and `scale` is passed on as it stands.
///
/// # Errors
/// The whole line is refused when any part that is known is not as it should be.
pub fn read(line: &str) -> Result<Vec<Stamped>, Refusal> {
    let parts: Parts = serde_json::from_str(line).map_err(|e| match e.classify() {
        Category::Data => Refusal::NotAnObject,
        _ => Refusal::NotJson { column: e.column() },
    })?;
    if let Some(key) = parts.twice {
        return Err(Refusal::Twice { key });
    }
    let t = match &parts.t {
        Some(t) => stamp(t).ok_or(Refusal::Wrong { key: "t", expected: SECONDS })?,
        None => return Err(Refusal::Missing { key: "t", expected: SECONDS }),
    };
    let mut found = Vec::with_capacity(1);
    let mut add = |input| found.push(Stamped { t, input });
    if let Some(run) = parts.run {
        let run = serde_json::from_value::<Run>(run);
        add(Input::Run(run.map_err(|_| Refusal::Wrong { key: "run", expected: RUN })?));
    }
    if let Some(gps) = parts.gps {
        add(Input::Gps(text("gps", gps)?));
    }
    if let Some(scale) = parts.scale {
        add(Input::Scale(text("scale", scale)?));
    }
    if let Some(said) = parts.said {
        match said {
            Value::String(said) if !said.trim().is_empty() => add(Input::Said(said)),
            _ => return Err(Refusal::Wrong { key: "said", expected: SPOKEN }),
        }
    }
    if let Some(note) = parts.note {
        add(Input::Note(voice(note, parts.seconds, parts.speech)?));
    }
    if let Some(audio) = parts.audio {
        add(Input::Audio(path("audio", audio)?));
    }
    if parts.gone.is_some() {
        add(Input::Gone);
    }
    if let Some(button) = parts.button {
        let down = button.as_bool().ok_or(Refusal::Wrong { key: "button", expected: BUTTON })?;
        add(Input::Button(down));
    }
    if parts.trap.is_some() || parts.correct.is_some() || parts.heard.is_some() || parts.forget.is_some() {
        let at = match parts.at {
            Some(at) => {
                at.as_str().and_then(Utc::parse).ok_or(Refusal::Wrong { key: "at", expected: UTC })?
            }
            None => return Err(Refusal::Missing { key: "at", expected: UTC }),
        };
        if let Some(trap) = parts.trap {
            add(Input::Statement(Statement { at, said: Stated::Trap(trap_stated(trap)?) }));
        }
        if let Some(correct) = parts.correct {
            add(Input::Statement(Statement { at, said: Stated::Correct(correction(correct)?) }));
        }
        if let Some(text) = parts.heard {
            add(Input::Statement(Statement { at, said: Stated::Heard(heard(text)?) }));
        }
        if let Some(forget) = parts.forget {
            let wrong = Refusal::Wrong { key: "forget", expected: FORGET };
            let of = serde_json::from_value::<Forgotten>(forget).ok().filter(|f| !f.of.trim().is_empty());
            add(Input::Statement(Statement { at, said: Stated::Forget(of.ok_or(wrong)?) }));
        }
    }
    if found.is_empty() { Err(Refusal::NoKind) } else { Ok(found) }
}

/// Appends the one canonical line for an input, without checksum and line end: `read` gives the same input back.
pub fn write(stamped: &Stamped, out: &mut String) {
    out.push_str("{\"t\":");
    write_seconds(stamped.t, out);
    match &stamped.input {
        Input::Run(run) => write_json("run", run, out),
        Input::Gps(gps) => write_text("gps", gps, out),
        Input::Scale(scale) => write_text("scale", scale, out),
        Input::Said(said) => write_text("said", said, out),
        Input::Note(voice) => {
            write_text("note", &voice.file, out);
            out.push_str(",\"seconds\":");
            write_seconds(Mono(voice.length_us), out);
            out.push_str(",\"speech\":");
            write_seconds(Mono(voice.speech_us), out);
        }
        Input::Audio(file) => write_text("audio", file, out),
        Input::Gone => out.push_str(",\"gone\":1"),
        Input::Button(down) => write_json("button", down, out),
        Input::Statement(Statement { at, said }) => {
            write_text("at", &utc_text(*at), out);
            match said {
                Stated::Trap(trap) => write_json("trap", trap, out),
                Stated::Correct(correct) => write_json("correct", correct, out),
                Stated::Heard(heard) => write_json("heard", heard, out),
                Stated::Forget(forgotten) => write_json("forget", forgotten, out),
            }
        }
    }
    out.push('}');
}

/// What the seal of a journal line says, once its checksum was found right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sealed {
    /// The ordinal of the tape's line it came from, blank and `#` lines not counted; `None` in a live run.
    pub n: Option<u64>,
}

/// Turns a line of [`write()`] into a journal line: adds `n` if there is one, and the checksum of all that stands before it.
pub fn seal(line: &mut String, n: Option<u64>) {
    line.truncate(line.strip_suffix('}').map_or(line.len(), str::len));
    if let Some(n) = n {
        // Writing to a String cannot fail.
        let _ = write!(line, ",\"n\":{n}");
    }
    let crc = crc32fast::hash(line.as_bytes());
    let _ = write!(line, ",\"crc\":\"{crc:08x}\"}}");
}

/// Verifies a journal line, without its line end; `None` when it is not exactly as [`seal`] made it.
pub fn unseal(line: &str) -> Option<Sealed> {
    let (body, crc) = line.strip_suffix("\"}")?.split_at_checked(line.len().checked_sub(10)?)?;
    let body = body.strip_suffix(",\"crc\":\"")?;
    if crc.bytes().any(|b| !matches!(b, b'0'..=b'9' | b'a'..=b'f'))
        || u32::from_str_radix(crc, 16) != Ok(crc32fast::hash(body.as_bytes()))
    {
        return None;
    }
    // A quotation mark inside a string is always escaped, so this can only be the key itself.
    let n = body.rsplit_once(",\"n\":").and_then(|(_, n)| n.parse().ok());
    Some(Sealed { n })
}

/// The journal schema that a `run` line names, whatever else of it can be read; `None` when it is no run line.
pub fn schema(line: &str) -> Option<u64> {
    #[derive(Deserialize)]
    struct Line {
        run: Head,
    }
    #[derive(Deserialize)]
    struct Head {
        schema: u64,
    }
    serde_json::from_str::<Line>(line).ok().map(|line| line.run.schema)
}

/// The known keys of a line as they stood, before any of them is judged.
#[derive(Default)]
struct Parts {
    t: Option<Value>,
    at: Option<Value>,
    run: Option<Value>,
    gps: Option<Value>,
    scale: Option<Value>,
    said: Option<Value>,
    button: Option<Value>,
    trap: Option<Value>,
    correct: Option<Value>,
    note: Option<Value>,
    seconds: Option<Value>,
    speech: Option<Value>,
    audio: Option<Value>,
    gone: Option<Value>,
    heard: Option<Value>,
    forget: Option<Value>,
    twice: Option<&'static str>,
}

#[derive(Deserialize)]
#[serde(field_identifier, rename_all = "lowercase")]
enum Key {
    T,
    At,
    Run,
    Gps,
    Scale,
    Said,
    Button,
    Trap,
    Correct,
    Note,
    Seconds,
    Speech,
    Audio,
    Gone,
    Heard,
    Forget,
    #[serde(other)]
    Unknown,
}

impl<'de> Deserialize<'de> for Parts {
    fn deserialize<D: serde::Deserializer<'de>>(line: D) -> Result<Parts, D::Error> {
        line.deserialize_map(PartsVisitor)
    }
}

struct PartsVisitor;

impl<'de> Visitor<'de> for PartsVisitor {
    type Value = Parts;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Parts, A::Error> {
        let mut parts = Parts::default();
        while let Some(key) = map.next_key::<Key>()? {
            let (name, slot) = match key {
                Key::T => ("t", &mut parts.t),
                Key::At => ("at", &mut parts.at),
                Key::Run => ("run", &mut parts.run),
                Key::Gps => ("gps", &mut parts.gps),
                Key::Scale => ("scale", &mut parts.scale),
                Key::Said => ("said", &mut parts.said),
                Key::Button => ("button", &mut parts.button),
                Key::Trap => ("trap", &mut parts.trap),
                Key::Correct => ("correct", &mut parts.correct),
                Key::Note => ("note", &mut parts.note),
                Key::Seconds => ("seconds", &mut parts.seconds),
                Key::Speech => ("speech", &mut parts.speech),
                Key::Audio => ("audio", &mut parts.audio),
                Key::Gone => ("gone", &mut parts.gone),
                Key::Heard => ("heard", &mut parts.heard),
                Key::Forget => ("forget", &mut parts.forget),
                Key::Unknown => {
                    map.next_value::<IgnoredAny>()?;
                    continue;
                }
            };
            if slot.replace(map.next_value()?).is_some() {
                parts.twice = Some(name);
            }
        }
        Ok(parts)
    }
}

fn stamp(t: &Value) -> Option<Mono> {
    let seconds = t.as_f64().filter(|s| s.abs() <= Mono::LIMIT_S)?;
    Mono::from_s(seconds)
}

fn text(key: &'static str, value: Value) -> Result<String, Refusal> {
    match value {
        Value::String(text) => Ok(text),
        _ => Err(Refusal::Wrong { key, expected: TEXT }),
    }
}

fn path(key: &'static str, value: Value) -> Result<String, Refusal> {
    match value {
        Value::String(path) if !path.trim().is_empty() => Ok(path),
        _ => Err(Refusal::Wrong { key, expected: NOTE }),
    }
}

fn voice(file: Value, seconds: Option<Value>, speech: Option<Value>) -> Result<Voice, Refusal> {
    let span = |key, value: Option<Value>| match value {
        None => Ok(0),
        Some(value) => value
            .as_f64()
            .filter(|s| (0.0..=86_400.0).contains(s))
            .and_then(Mono::from_s)
            .map(|span| span.0)
            .ok_or(Refusal::Wrong { key, expected: SECONDS_IN }),
    };
    let length_us = span("seconds", seconds)?;
    let speech_us = span("speech", speech)?.min(length_us);
    Ok(Voice { file: path("note", file)?, length_us, speech_us })
}

fn heard(value: Value) -> Result<Heard, Refusal> {
    let sure = |heard: &Heard| heard.confidence.is_none_or(|c| (0.0..=1.0).contains(&c));
    serde_json::from_value::<Heard>(value)
        .ok()
        .filter(|heard| !heard.note.trim().is_empty() && sure(heard))
        .ok_or(Refusal::Wrong { key: "heard", expected: HEARD })
}

fn trap_stated(value: Value) -> Result<TrapStated, Refusal> {
    let wrong = |expected| Refusal::Wrong { key: "trap", expected };
    let stated = serde_json::from_value::<TrapStated>(value).map_err(|_| wrong(TRAP))?;
    let named = !stated.trap.trim().is_empty();
    match &stated.place {
        _ if !named => Err(wrong(TRAP)),
        TrapPlace::Position { lat, lon, .. } if !(lat.abs() <= 90.0 && lon.abs() <= 180.0) => {
            Err(wrong(PLACE))
        }
        TrapPlace::Position { set_at: Some(at), .. } if Utc::parse(at).is_none() => Err(wrong(SET_AT)),
        TrapPlace::Pull { pull } if pull.trim().is_empty() => Err(wrong(TRAP)),
        TrapPlace::Retired { retired: false } => Err(wrong(TRAP)),
        _ => Ok(stated),
    }
}

fn correction(value: Value) -> Result<Correction, Refusal> {
    serde_json::from_value::<Correction>(value)
        .ok()
        .filter(|c| {
            !c.of.trim().is_empty()
                && !c.set.is_empty()
                && c.set.iter().all(|(field, _)| !field.trim().is_empty())
        })
        .ok_or(Refusal::Wrong { key: "correct", expected: CORRECT })
}

/// Seconds with three decimals, or as many as it takes, at most six.
fn write_seconds(t: Mono, out: &mut String) {
    if t.0 < 0 {
        out.push('-');
    }
    let (whole, micros) = (t.0.unsigned_abs() / SECOND as u64, t.0.unsigned_abs() % SECOND as u64);
    let _ = write!(out, "{whole}.{micros:06}");
    for _ in 0..3 {
        if out.ends_with('0') {
            out.pop();
        }
    }
}

/// RFC 3339 with milliseconds, or microseconds when it takes them. [`Utc`]'s own text would round.
fn utc_text(at: Utc) -> String {
    match jiff::Timestamp::from_microsecond(at.0) {
        Ok(exact) if at.0 % 1_000 != 0 => format!("{exact:.6}"),
        _ => at.to_string(),
    }
}

fn write_json(key: &str, value: &impl serde::Serialize, out: &mut String) {
    // Only text, numbers and flat objects with text keys come here: serde_json has no error for those.
    let _ = write!(out, ",\"{key}\":{}", serde_json::to_string(value).unwrap_or_default());
}

/// The text before and from the first character that must be escaped. These are ASCII, so that bytes will do.
fn first_escaped(text: &str) -> Option<(&str, &str)> {
    text.split_at_checked(text.bytes().position(|b| b < b' ' || b == b'"' || b == b'\\')?)
}

/// A string by RFC 8259, section 7: nothing is escaped that need not be, and in the shortest way.
fn write_text(key: &str, text: &str, out: &mut String) {
    out.push_str(",\"");
    out.push_str(key);
    out.push_str("\":\"");
    let mut rest = text;
    while let Some((plain, escaped)) = first_escaped(rest) {
        out.push_str(plain);
        let mut chars = escaped.chars();
        match chars.next() {
            Some('"') => out.push_str("\\\""),
            Some('\\') => out.push_str("\\\\"),
            Some('\u{8}') => out.push_str("\\b"),
            Some('\t') => out.push_str("\\t"),
            Some('\n') => out.push_str("\\n"),
            Some('\u{c}') => out.push_str("\\f"),
            Some('\r') => out.push_str("\\r"),
            Some(control) => {
                let _ = write!(out, "\\u{:04x}", control as u32);
            }
            None => {}
        }
        rest = chars.as_str();
    }
    out.push_str(rest);
    out.push('"');
}

#[cfg(test)]
mod tests;
