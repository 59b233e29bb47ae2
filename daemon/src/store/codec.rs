//! Keys and values as bytes. A value carries the version of its form and a checksum over its key and itself.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::{Doc, Restart};

/// Version of the form of all keys and values. A store of another version is made anew.
const SCHEMA: u8 = 1;
/// Schema and checksum.
const HEAD: usize = 5;
/// The time in front of a document's key.
const TIME: usize = 8;

/// What is wrong with bytes that were read.
pub(super) type Flaw = &'static str;

/// How many entries each tree has, written with every change, so that a lost one is missed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Counts {
    pub(super) docs: u64,
    pub(super) days: u64,
    pub(super) traps: u64,
    pub(super) segments: u64,
    pub(super) statements: u64,
}

/// The part of a document's value that is JSON; the body follows after a line feed, as it is.
#[derive(Serialize, Deserialize)]
struct DocHead {
    at: i64,
    id: String,
    segment: String,
    day: Option<String>,
    trap: Option<String>,
}

#[derive(Serialize, Deserialize)]
struct RestartHead {
    offset: u64,
    tail: Vec<String>,
}

/// A document's key: its time so that bytes order as numbers do, then its id.
pub(super) fn doc_key(at: i64, id: &str) -> Vec<u8> {
    let mut key = time_key(at).to_vec();
    key.extend_from_slice(id.as_bytes());
    key
}

/// A time in order-preserving bytes: big-endian, the sign turned.
pub(super) fn time_key(at: i64) -> [u8; TIME] {
    (at ^ i64::MIN).to_be_bytes()
}

/// What all index rows of a name begin with. Its length goes first, so that no name begins with another.
pub(super) fn name_prefix(name: &str) -> Vec<u8> {
    let length = u32::try_from(name.len()).unwrap_or(u32::MAX);
    let mut key = length.to_be_bytes().to_vec();
    key.extend_from_slice(name.as_bytes());
    key
}

/// The index row of a document under a name.
pub(super) fn row(name: &str, doc_key: &[u8]) -> Vec<u8> {
    let mut key = name_prefix(name);
    key.extend_from_slice(doc_key);
    key
}

/// Splits an index row into its name and the document's key.
pub(super) fn split_row(row: &[u8]) -> Result<(&str, &[u8]), Flaw> {
    let (length, rest) = row.split_first_chunk::<4>().ok_or("short index row")?;
    let (name, doc_key) =
        rest.split_at_checked(u32::from_be_bytes(*length) as usize).ok_or("short index row")?;
    Ok((std::str::from_utf8(name).map_err(|_| "index row not text")?, doc_key))
}

pub(super) fn encode_doc(key: &[u8], doc: &Doc) -> Vec<u8> {
    let head = DocHead {
        at: doc.at,
        id: doc.id.clone(),
        segment: doc.segment.clone(),
        day: doc.day.clone(),
        trap: doc.trap.clone(),
    };
    seal(key, &head, &doc.body)
}

pub(super) fn decode_doc(key: &[u8], value: &[u8]) -> Result<Doc, Flaw> {
    let (head, body) = open::<DocHead>(key, value)?;
    let doc = Doc {
        at: head.at,
        id: head.id,
        segment: head.segment,
        day: head.day,
        trap: head.trap,
        body: body.to_vec(),
    };
    if doc_key(doc.at, &doc.id) == key { Ok(doc) } else { Err("document under another key") }
}

pub(super) fn encode_restart(key: &[u8], restart: &Restart) -> Vec<u8> {
    let head = RestartHead { offset: restart.offset, tail: restart.tail.clone() };
    seal(key, &head, restart.state.as_bytes())
}

pub(super) fn decode_restart(key: &[u8], value: &[u8]) -> Result<Restart, Flaw> {
    let (head, state) = open::<RestartHead>(key, value)?;
    let state = std::str::from_utf8(state).map_err(|_| "state not text")?.to_owned();
    Ok(Restart { offset: head.offset, state, tail: head.tail })
}

pub(super) fn encode_bytes(key: &[u8], bytes: &[u8]) -> Vec<u8> {
    seal(key, &(), bytes)
}

pub(super) fn decode_bytes(key: &[u8], value: &[u8]) -> Result<Vec<u8>, Flaw> {
    Ok(open::<()>(key, value)?.1.to_vec())
}

pub(super) fn encode_counts(key: &[u8], counts: &Counts) -> Vec<u8> {
    seal(key, counts, b"")
}

pub(super) fn decode_counts(key: &[u8], value: &[u8]) -> Result<Counts, Flaw> {
    Ok(open::<Counts>(key, value)?.0)
}

pub(super) fn text(bytes: &[u8]) -> Result<String, Flaw> {
    Ok(std::str::from_utf8(bytes).map_err(|_| "key not text")?.to_owned())
}

fn seal(key: &[u8], head: &impl Serialize, body: &[u8]) -> Vec<u8> {
    // Heads are text and numbers, for which serde_json has no error; were there one, the value would not open.
    let head = serde_json::to_vec(head).unwrap_or_default();
    let payload = [head.as_slice(), b"\n", body].concat();
    let mut value = Vec::with_capacity(HEAD + payload.len());
    value.push(SCHEMA);
    value.extend_from_slice(&checksum(key, &payload).to_be_bytes());
    value.extend_from_slice(&payload);
    value
}

fn open<'a, H: DeserializeOwned>(key: &[u8], value: &'a [u8]) -> Result<(H, &'a [u8]), Flaw> {
    let (&schema, rest) = value.split_first().ok_or("empty value")?;
    if schema != SCHEMA {
        return Err("value in another form");
    }
    let (crc, payload) = rest.split_first_chunk::<4>().ok_or("short value")?;
    if u32::from_be_bytes(*crc) != checksum(key, payload) {
        return Err("checksum");
    }
    let at = payload.iter().position(|b| *b == b'\n').ok_or("value without its head")?;
    let (head, body) = payload.split_at(at);
    let head = serde_json::from_slice(head).map_err(|_| "head of a value")?;
    Ok((head, body.get(1..).unwrap_or_default()))
}

fn checksum(key: &[u8], payload: &[u8]) -> u32 {
    let mut crc = crc32fast::Hasher::new();
    crc.update(key);
    crc.update(payload);
    crc.finalize()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn keys_order_as_times_and_then_ids_do(a in any::<(i64, String)>(), b in any::<(i64, String)>()) {
            prop_assert_eq!(doc_key(a.0, &a.1).cmp(&doc_key(b.0, &b.1)), (a.0, a.1.as_bytes()).cmp(&(b.0, b.1.as_bytes())));
        }

        #[test]
        fn rows_split_into_what_they_were_made_of(name in any::<String>(), key in any::<Vec<u8>>()) {
            let row = row(&name, &key);
            prop_assert_eq!(split_row(&row), Ok((name.as_str(), key.as_slice())));
        }

        #[test]
        fn values_open_only_whole_and_under_their_key(
            at in any::<i64>(), id in any::<String>(), day in any::<Option<String>>(), body in any::<Vec<u8>>(),
            place in any::<prop::sample::Index>(), bit in 0..8,
        ) {
            let doc = Doc { at, id, segment: "s".into(), day, trap: None, body };
            let key = doc_key(doc.at, &doc.id);
            let mut value = encode_doc(&key, &doc);
            prop_assert_eq!(decode_doc(&key, &value), Ok(doc.clone()));
            prop_assert!(decode_doc(&doc_key(doc.at ^ 1, &doc.id), &value).is_err());
            prop_assert!(decode_doc(&key, &value[..place.index(value.len())]).is_err());
            *place.get_mut(&mut value) ^= 1_u8 << bit;
            prop_assert!(decode_doc(&key, &value).is_err());
        }
    }
}
