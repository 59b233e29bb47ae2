//! Every dialect of a scale under bytes gone wrong: the frames of `hardware-notes/`, flipped, cut, doubled and run
//! together, in pieces of any size. A target for each dialect; `PROPTEST_CASES` says how long, as in
//! `PROPTEST_CASES=1000000 cargo test --release -p gunwale-protocol --test scale_fuzz`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use gunwale_protocol::scale::{Described, Frames, Pattern, State, Unit, read};
use proptest::prelude::*;
use proptest::sample::Index;

const CAP: usize = 64;

/// The bytes that a page shows.
fn seeds(page: &str) -> Vec<Vec<u8>> {
    let bytes = |row: &str| {
        let hex = row.strip_prefix("| `")?.split('`').next()?;
        hex.split(' ').map(|byte| u8::from_str_radix(byte, 16).ok()).collect()
    };
    page.lines().filter_map(bytes).collect()
}

/// What goes wrong with bytes on a cable.
#[derive(Debug, Clone)]
enum Harm {
    Flip(Index, u8),
    Put(Index, u8),
    Lose(Index),
    Cut(Index),
    Again(Index, Index),
}

impl Harm {
    fn any() -> impl Strategy<Value = Harm> {
        let likely = prop::sample::select(b"0123456789.,:+- ?GNMOUELKSTIkglboz\r\n\x02\x03^_".to_vec());
        prop_oneof![
            (any::<Index>(), 0u8..8).prop_map(|(at, bit)| Harm::Flip(at, bit)),
            (any::<Index>(), prop_oneof![likely, any::<u8>()]).prop_map(|(at, byte)| Harm::Put(at, byte)),
            any::<Index>().prop_map(Harm::Lose),
            any::<Index>().prop_map(Harm::Cut),
            (any::<Index>(), any::<Index>()).prop_map(|(from, to)| Harm::Again(from, to)),
        ]
    }

    fn to(&self, bytes: &mut Vec<u8>) {
        if bytes.is_empty() {
            return;
        }
        let place = |index: &Index| index.index(bytes.len());
        match self {
            Harm::Flip(at, bit) => {
                let at = place(at);
                bytes[at] ^= 1 << bit;
            }
            Harm::Put(at, byte) => bytes.insert(place(at), *byte),
            Harm::Lose(at) => drop(bytes.remove(place(at))),
            Harm::Cut(at) => bytes.truncate(place(at)),
            Harm::Again(from, to) => {
                let (from, to) = (place(from), place(to));
                let piece = bytes[from.min(to)..from.max(to)].to_vec();
                bytes.extend(piece);
            }
        }
    }
}

fn frames(pieces: &[&[u8]]) -> Vec<Option<Vec<u8>>> {
    let (mut frames, mut found) = (Frames::new(CAP), Vec::new());
    for piece in pieces {
        frames.take(piece, |frame| found.push(frame.ok().map(<[u8]>::to_vec)));
    }
    found
}

/// Streams of this page's frames with harm done to them.
fn streams(page: &'static str) -> impl Strategy<Value = (Vec<u8>, Vec<Index>)> {
    let seeds = seeds(page);
    assert!(seeds.len() > 10, "the page has its bytes");
    let stream =
        prop::collection::vec((prop::sample::select(seeds), prop::collection::vec(Harm::any(), 0..4)), 1..6);
    (stream, prop::collection::vec(any::<Index>(), 0..12)).prop_map(|(stream, cuts)| {
        let harmed = stream.into_iter().flat_map(|(mut bytes, harm)| {
            harm.iter().for_each(|harm| harm.to(&mut bytes));
            bytes
        });
        (harmed.collect(), cuts)
    })
}

fn holds(bytes: &[u8], cuts: &[Index]) -> Result<(), TestCaseError> {
    let mut at: Vec<usize> = cuts.iter().map(|cut| cut.index(bytes.len() + 1)).collect();
    at.extend([0, bytes.len()]);
    at.sort_unstable();
    let pieces: Vec<&[u8]> = at.windows(2).map(|cut| &bytes[cut[0]..cut[1]]).collect();
    let found = frames(&pieces);
    prop_assert_eq!(&found, &frames(&[bytes]), "cut elsewhere, the same frames");
    let pattern = Pattern::new(r"(?<sign>[-+]?) *(?<number>[0-9.,]+) *(?<unit>[a-z]+)[#G]*").unwrap();
    let described = Described { pattern: Some(pattern), unit: Some(Unit::Lb) };
    for frame in found.into_iter().flatten() {
        prop_assert!(frame.len() >= 2 && frame.len() <= CAP);
        let Ok(text) = String::from_utf8(frame) else { continue };
        if let Ok(reading) = read(&text) {
            prop_assert!(text.is_ascii(), "{:?}", text);
            let weighs = matches!(reading.state, State::Steady | State::Moving);
            prop_assert_eq!(reading.g.is_some(), weighs, "{:?}", &text);
            prop_assert!(reading.g.is_none_or(|g| g.is_finite()), "{:?}", &text);
            prop_assert!(!weighs || text.bytes().any(|byte| byte.is_ascii_digit()), "{:?}", &text);
        }
        if let Some(plain) = described.plain(&text) {
            prop_assert!(read(&plain).is_ok(), "{:?} made {:?}", text, plain);
        }
    }
    Ok(())
}

macro_rules! target {
    ($name:ident, $page:literal) => {
        proptest! {
            #[test]
            fn $name((bytes, cuts) in streams(include_str!(concat!("../hardware-notes/", $page)))) {
                holds(&bytes, &cuts)?;
            }
        }
    };
}

target!(comma_separated, "scale-commas.md");
target!(sics, "scale-sics.md");
target!(continuous, "scale-continuous.md");
target!(plain, "scale-plain.md");

proptest! {
    #[test]
    fn described(
        pattern in r"[-+.*?|()\[\]{}^$\\a-z0-9<>]{0,30}",
        frame in "[ -~]{0,40}",
    ) {
        for pattern in [pattern.clone(), format!("(?<number>[0-9.]+){pattern}")] {
            let Ok(pattern) = Pattern::new(&pattern) else { continue };
            let described = Described { pattern: Some(pattern), unit: Some(Unit::G) };
            if let Some(plain) = described.plain(&frame) {
                prop_assert!(read(&plain).is_ok(), "{:?} made {:?}", frame, plain);
            }
        }
    }
}
