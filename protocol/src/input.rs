//! Everything that can come in: the closed set of inputs, stamped with the monotonic clock of their segment.

use serde::{Deserialize, Serialize};

use crate::rules::Rules;
use crate::sizes::Sizes;
use crate::tally::Speech;
use crate::time::{Mono, Utc};

/// An input and when it came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Stamped {
    /// When, on the segment's clock.
    pub t: Mono,
    /// What.
    pub input: Input,
}

/// One thing that came in.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// The first line of a segment that is a run: who, where and by which program.
    Run(Run),
    /// One NMEA 0183 sentence with a right checksum, from its `$` or `!` to its checksum, nothing before or after.
    Gps(String),
    /// One line from the scale, without its line end.
    Scale(String),
    /// A note known as text.
    Said(String),
    /// A voice note: the stamp is the beginning of its file, so it lies before what came in while it was spoken.
    Note(Voice),
    /// A note that stood here and was forgotten: of its words and its sound nothing is left.
    Gone,
    /// What a microphone heard from the stamp on, as a WAV file of a tape. Notes are found in it, and those go on as
    /// [`Input::Note`]; this itself is never journaled.
    Audio(String),
    /// The note button: `true` went down, `false` came up.
    Button(bool),
    /// What a person said about the records, at a desk or on the boat: traps and corrections.
    Statement(Statement),
}

/// A voice note's file, and where the speech lies in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Voice {
    /// The file: in a journal relative to the data directory, in a tape to the tape's folder; or absolute.
    pub file: String,
    /// Length of the file, microseconds; 0 in a tape that does not say.
    pub length_us: i64,
    /// From the file's beginning to the first speech, microseconds, at most the length.
    pub speech_us: i64,
}

/// Who made a run. Its time zone gives the local day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// The segment's id: random for a live run, a hash of the first line for a tape.
    pub id: String,
    /// The boat's name, as in the settings.
    pub boat: String,
    /// IANA time zone of the boat's day.
    pub timezone: String,
    /// Program and version that wrote the segment.
    pub program: String,
    /// Version of the journal's own form.
    pub schema: u32,
    /// What the system clock said at the line's `t`, when the segment is a live run: serves when GPS gives no date.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system: Option<String>,
    /// The fishery's rules as the crew had set them; `None` when nothing was set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rules: Option<Box<Rules>>,
    /// The crew's language and words, which its notes are read by.
    #[serde(default, skip_serializing_if = "Speech::is_default")]
    pub words: Speech,
    /// The crew's classes of claws by weight.
    #[serde(default, skip_serializing_if = "Sizes::is_default")]
    pub sizes: Sizes,
}

/// Version of the journal's form that this program writes and reads.
pub const JOURNAL_SCHEMA: u32 = 1;

/// What a person stated, and when (UTC): applied in order of `at`, whatever file holds it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Statement {
    /// When it was stated.
    pub at: Utc,
    /// What was stated.
    pub said: Stated,
}

/// The kinds of statement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stated {
    /// A trap's place, or its end.
    Trap(TrapStated),
    /// A correction of a pull or a note.
    Correct(Correction),
    /// What a recogniser made of a voice note.
    Heard(Heard),
    /// A note's words and sound were removed everywhere.
    Forget(Forgotten),
}

/// A recogniser this sure of a note is taken at its word when the line itself does not say whether it may be.
const SURE: f64 = 0.9;

/// A voice note's text, by a recogniser.
///
/// Whether the text counts by itself is written down with it, as the settings had it then: records are made of the
/// journal alone, and a threshold that is moved later moves no record.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Heard {
    /// The note's id.
    pub note: String,
    /// What was heard; empty: nothing.
    pub text: String,
    /// What the same recogniser heard when it listened another way, as with the noise taken out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub also: Option<String>,
    /// How sure the recogniser is, 0…1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<f64>,
    /// The recogniser's name. What the same one hears later replaces this; without a name, whatever comes later does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Whether its recogniser may be taken at its word; `None`: from a confidence of 0.9 on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sure: Option<bool>,
    /// It only confirms what another recogniser hears: it is not the note's text as long as there is another's.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub confirms: bool,
    /// The crew keeps text only: the sound was removed when this was written down.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub only_text: bool,
}

impl Heard {
    /// Whether the text counts by itself.
    pub fn is_sure(&self) -> bool {
        self.sure.unwrap_or_else(|| self.confidence.is_some_and(|confidence| confidence >= SURE))
    }
}

/// A note that was forgotten.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Forgotten {
    /// The note's id.
    pub of: String,
}

/// A trap put into the register or taken out of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrapStated {
    /// The trap's name, text: `007` stays `007`.
    pub trap: String,
    /// Where and since when; `None` retires the trap.
    #[serde(flatten)]
    pub place: TrapPlace,
}

/// How a trap statement gives the place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum TrapPlace {
    /// A position; without `set_at` it holds for all time.
    Position {
        /// Degrees north, −90…90.
        lat: f64,
        /// Degrees east, −180…180.
        lon: f64,
        /// When it was set there, if known (RFC 3339).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        set_at: Option<String>,
    },
    /// Where this pull set it.
    Pull {
        /// The pull's id.
        pull: String,
    },
    /// The trap is no longer fished.
    Retired {
        /// Always true.
        retired: bool,
    },
}

/// A person's correction: a pull or note, and fields with their new values as typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// The pull's or the note's id.
    pub of: String,
    /// Field and value, in the order typed: `trap`, a tally key, `drop`, `pull`, or `undo`.
    pub set: Vec<(String, String)>,
}

/// The id of something that happened in a segment: 16 hex digits of SHA-256 (FIPS 180-4) over the segment's id, the
/// kind of thing and the `t` of its line. Never of UTC, place or order, so that it outlives every rebuild.
pub fn id(segment: &str, kind: &str, line_t: Mono) -> String {
    digest(format!("{segment}\n{kind}\n{}", line_t.0).as_bytes())
}

/// The segment id of a tape: of its first line that is not blank, without the line end.
pub fn tape_id(first_line: &[u8]) -> String {
    digest(first_line)
}

fn digest(bytes: &[u8]) -> String {
    use sha2::Digest;
    sha2::Sha256::digest(bytes).iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}
