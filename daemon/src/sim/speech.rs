//! Speech for what the simulated crew says, put together from a bank of synthetic clips (`clips/README.md`).

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::crew;

/// Samples a second.
pub const RATE: u32 = 16_000;
/// All clips end to end, IMA ADPCM.
static BANK: &[u8] = include_bytes!("clips/bank.ima");
/// Where each lies: its first byte, its bytes, its words.
static INDEX: &str = include_str!("clips/index.txt");

/// Silence between two parts, samples: 0.2 s, well below the pause that ends a note.
const BETWEEN_PARTS: usize = 3_200;
/// Silence between a number's words, samples.
const BETWEEN_WORDS: usize = 480;
/// The most words a clip has.
const LONGEST: usize = 3;

static CLIPS: LazyLock<BTreeMap<&str, &[u8]>> = LazyLock::new(|| {
    let clip = |line: &'static str| {
        let (first, rest) = line.split_once(' ')?;
        let (bytes, text) = rest.split_once(' ')?;
        let first: usize = first.parse().ok()?;
        Some((text, BANK.get(first..first + bytes.parse::<usize>().ok()?)?))
    };
    INDEX.lines().filter_map(clip).collect()
});

/// The speech of a text: 16 kHz mono, its level 20 dB below full scale (root mean square).
///
/// Numbers in figures are spoken as words, from 100 on figure by figure. A word for which there is no clip is skipped.
pub fn speech(text: &str) -> Vec<i16> {
    let (parts, _) = parts(text);
    let mut sound = Vec::new();
    let mut last: Option<&str> = None;
    for part in parts {
        if let Some(last) = last {
            // A word alone goes on with the number before it.
            let joined = !part.contains(' ') && (last.starts_with("trap") || !last.contains(' '));
            let pause = if joined { BETWEEN_WORDS } else { BETWEEN_PARTS };
            sound.extend(std::iter::repeat_n(0, pause));
        }
        decode(CLIPS.get(part).copied().unwrap_or_default(), &mut sound);
        last = Some(part);
    }
    sound
}

/// The clips that say a text, the longest that fits first, and how many of its words are skipped.
fn parts(text: &str) -> (Vec<&'static str>, usize) {
    let words = words(text);
    let (mut parts, mut skipped, mut at) = (Vec::new(), 0, 0);
    while at < words.len() {
        let clip = |n: usize| {
            let said = words.get(at..at + n)?.join(" ");
            CLIPS.get_key_value(said.as_str()).map(|(text, _)| (n, *text))
        };
        match (1..=LONGEST).rev().find_map(clip) {
            Some((n, text)) => {
                parts.push(text);
                at += n;
            }
            None => (skipped, at) = (skipped + 1, at + 1),
        }
    }
    (parts, skipped)
}

/// A text's words, in small letters, its figures spoken.
fn words(text: &str) -> Vec<String> {
    let mut words = Vec::new();
    for word in text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()) {
        if !word.bytes().all(|c| c.is_ascii_digit()) {
            words.push(word.to_lowercase());
        } else if word.len() < 3 {
            words.extend(crew::number(word).split(' ').map(str::to_string));
        } else {
            words.extend(word.chars().map(|figure| crew::number(&figure.to_string())));
        }
    }
    words
}

/// IMA ADPCM's steps, and by how much a code moves on in them (IMA, Recommended Practices for Enhancing Digital Audio
/// Compatibility in Multimedia Systems, revision 3.00, 1992).
const STEPS: [i32; 89] = [
    7, 8, 9, 10, 11, 12, 13, 14, 16, 17, 19, 21, 23, 25, 28, 31, 34, 37, 41, 45, 50, 55, 60, 66, 73, 80, 88,
    97, 107, 118, 130, 143, 157, 173, 190, 209, 230, 253, 279, 307, 337, 371, 408, 449, 494, 544, 598, 658,
    724, 796, 876, 963, 1060, 1166, 1282, 1411, 1552, 1707, 1878, 2066, 2272, 2499, 2749, 3024, 3327, 3660,
    4026, 4428, 4871, 5358, 5894, 6484, 7132, 7845, 8630, 9493, 10442, 11487, 12635, 13899, 15289, 16818,
    18500, 20350, 22385, 24623, 27086, 29794, 32767,
];
const MOVES: [i32; 8] = [-1, -1, -1, -1, 2, 4, 6, 8];

/// Decodes one clip: four bits a sample, the high half of a byte first, from sample 0 and step 0 on.
fn decode(clip: &[u8], sound: &mut Vec<i16>) {
    let (mut sample, mut index) = (0_i32, 0_i32);
    for code in clip.iter().flat_map(|byte| [byte >> 4, byte & 15]) {
        let size = i32::from(code & 7);
        let step = STEPS.get(index as usize).copied().unwrap_or_default();
        let change = ((2 * size + 1) * step) >> 3;
        sample = if code & 8 == 0 { sample + change } else { sample - change };
        sample = sample.clamp(i16::MIN.into(), i16::MAX.into());
        index = (index + MOVES.get(size as usize).copied().unwrap_or_default()).clamp(0, 88);
        sound.push(sample as i16);
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::super::rng::Rng;
    use super::*;

    fn seconds(sound: &[i16]) -> f64 {
        sound.len() as f64 / f64::from(RATE)
    }

    /// Root mean square, of full scale, in decibels.
    fn level_db(sound: &[i16]) -> f64 {
        let sum: f64 = sound.iter().map(|x| (f64::from(*x) / 32_768.0).powi(2)).sum();
        10.0 * (sum / sound.len() as f64).log10()
    }

    #[test]
    fn a_clip_is_decoded_as_sox_does() {
        // Made with `printf '\x70\x8f\x35\xff' | sox -D -t ima -r 16000 -c 1 - -t s16 - | od -t d2`.
        let mut sound = Vec::new();
        decode(&[0x70, 0x8f, 0x35, 0xff], &mut sound);
        assert_eq!(sound, [13, 15, 14, -10, 14, 48, -21, -171]);
        let mut clipped = Vec::new();
        decode(&[0x77; 40], &mut clipped);
        assert_eq!(clipped.last(), Some(&i16::MAX));
    }

    #[test]
    fn the_bank_is_whole_and_every_clip_equally_loud() {
        assert_eq!(CLIPS.len(), INDEX.lines().count(), "each line is understood and no clip stands twice");
        assert_eq!(CLIPS.values().map(|clip| clip.len()).sum::<usize>(), BANK.len());
        for (text, clip) in CLIPS.iter() {
            let mut sound = Vec::new();
            decode(clip, &mut sound);
            let level = level_db(&sound);
            assert!((-20.1..-19.9).contains(&level), "{text}: {level} dB");
            let peak = sound.iter().map(|x| x.unsigned_abs()).max().unwrap();
            assert!((7_000..20_000).contains(&peak), "{text}: peak {peak}");
            let span = seconds(&sound);
            let words = text.split(' ').count() as f64;
            assert!((0.25..0.3 + 0.6 * words).contains(&span), "{text}: {span} s");
        }
    }

    #[test]
    fn a_text_is_said_with_the_longest_clips_and_what_is_unknown_is_skipped() {
        for (text, said, skipped) in [
            ("seven crabs, four keepers", "seven crabs|four keepers", 0),
            ("Seven crabs four keepers", "seven crabs|four keepers", 0),
            ("one egg bearing", "one egg bearing", 0),
            ("bait gone fresh bait", "bait gone|fresh bait", 0),
            ("trap twenty one", "trap twenty one", 0),
            ("trap forty two", "trap forty|two", 0),
            ("trap 42", "trap forty|two", 0),
            ("trap 104", "trap one|zero|four", 0),
            ("trap 500", "trap five|zero|zero", 0),
            ("about seven crabs, I think", "seven crabs", 3),
            ("thirty seven lobsters", "thirty|seven", 1),
            (" ,; ", "", 0),
        ] {
            let (parts, left) = parts(text);
            assert_eq!((parts.join("|").as_str(), left), (said, skipped), "{text}");
        }
    }

    #[test]
    fn whatever_the_crew_says_has_speech_of_a_plausible_length() {
        let mut rng = Rng::new(3, 0);
        let mut texts = BTreeSet::new();
        for n in 0..2_000 {
            let trap = (n % 500 + 1).to_string();
            let words = crew::words(&trap, false, (10.0, 120.0), true, &mut rng);
            texts.extend(words.said.into_iter().chain(words.late).map(|(_, text)| text));
        }
        assert!(texts.len() > 700, "{} texts", texts.len());
        for text in texts {
            let (parts, skipped) = parts(&text);
            assert_eq!(skipped, 0, "{text}");
            let sound = speech(&text);
            let (span, least) = (seconds(&sound), 0.25 * parts.len() as f64);
            assert!((least..3.9).contains(&span), "{text}: {span} s");
            let pause = sound.split(|x| x.unsigned_abs() > 200).map(<[i16]>::len).max().unwrap_or(0);
            assert!(seconds(&sound[..pause]) <= 0.25, "{text}: silent for {pause} samples");
        }
    }
}
