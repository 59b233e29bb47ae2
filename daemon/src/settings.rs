//! The settings file: every key has a default, an unknown key is an error that names it and its line.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use gunwale_protocol::rules::Rules;
use gunwale_protocol::scale::{Described, Pattern, Unit};
use gunwale_protocol::sizes::{SizeError, Sizes};
use gunwale_protocol::tally::{Speech, SpeechError};
use serde::Deserialize;

use crate::device::button::Line;

mod rules;

/// What `gunwale.toml` may hold.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// The boat's name, for the records.
    pub boat: String,
    /// IANA time zone of the boat's day.
    pub timezone: String,
    /// The GPS receiver.
    pub gps: Device,
    /// The scale.
    pub scale: Scale,
    /// The classes of claws by weight: what each begins at; none: those common in the trade.
    pub sizes: Option<BTreeMap<String, String>>,
    /// The microphone.
    pub mic: Mic,
    /// The note button.
    pub button: Button,
    /// The tones that answer the crew.
    pub cues: Cues,
    /// The fishery's rules.
    #[serde(with = "rules::Keys")]
    pub rules: Rules,
    /// The programs that make text of notes: none, one, or a second that confirms what the first hears.
    #[serde(rename = "recogniser")]
    pub recognisers: Vec<Recogniser>,
    /// The crew's language and words of its own, by what they mean.
    pub words: Speech,
}

/// How many recognisers there may be.
pub const RECOGNISERS: usize = 2;

/// A recogniser: a program that is given the path of a sound file a line, and answers each with a line of JSON.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recogniser {
    /// Who it is, as the journal has it: letters, digits, `-` and `_`.
    pub name: String,
    /// The program and its arguments; `gunwale` is this program, whatever its path.
    pub command: Vec<String>,
    /// From this confidence on its text counts by itself, 0…1; above 1: never; none: [`Recogniser::sure`].
    #[serde(default)]
    pub sure: Option<f64>,
    /// How long it may take for a note, seconds; when it has just been started, with all that takes.
    #[serde(default = "Recogniser::patience_s")]
    pub patience_s: u64,
    /// How much memory it may take for itself, megabytes.
    #[serde(default = "Recogniser::memory_mb")]
    pub memory_mb: u64,
}

impl Recogniser {
    /// From which confidence on its text counts by itself: as set, or as measured for those that come with this program
    /// (the benchmark `hearing`), or else a cautious guess.
    pub fn sure(&self) -> f64 {
        let ready = match self.command.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
            [.., "recogniser", "pocketsphinx"] => Some(0.78),
            [_, "recogniser", "whisper", ..] => Some(0.7),
            _ => None,
        };
        self.sure.or(ready).unwrap_or(0.9)
    }

    fn patience_s() -> u64 {
        90
    }

    fn memory_mb() -> u64 {
        1_000
    }

    /// The command, with this program's own path where it names itself.
    pub fn own_command(&self) -> Vec<String> {
        let mut words = self.command.clone();
        if let Some(first) = words.first_mut().filter(|first| *first == "gunwale")
            && let Ok(own) = std::env::current_exe()
        {
            *first = own.to_string_lossy().into_owned();
        }
        words
    }

    /// What is wrong with it, if something is.
    fn problem(&self) -> Option<&'static str> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if !(1..=40).contains(&self.name.len()) || !self.name.chars().all(plain) {
            Some("its name has 1 to 40 letters, digits, - and _")
        } else if self.command.is_empty() {
            Some("its command names no program")
        } else if !(0.0..=2.0).contains(&self.sure()) {
            Some("sure is a confidence, from 0 to 1")
        } else if !(1..=3_600).contains(&self.patience_s) {
            Some("patience_s is from 1 to 3600")
        } else if !(16..=1_000_000).contains(&self.memory_mb) {
            Some("memory_mb is 16 or more")
        } else {
            None
        }
    }
}

/// The microphone: a program that writes raw sound, and what is kept of it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Mic {
    /// The program and its arguments: 16,000 samples a second, one channel, 16 bits little-endian, without a header.
    pub command: Vec<String>,
    /// What is kept of a note.
    pub keep: Keep,
}

/// What is kept of what is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Keep {
    /// The notes' sound.
    #[default]
    Audio,
    /// Only their text: the sound is removed as soon as it has been made text.
    Text,
    /// Nothing: the microphone is not opened.
    Off,
}

/// The note button: a pedal or key that the system knows as an input device, or a control line of a serial port.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Button {
    /// The input device, such as one in `/dev/input/by-id`.
    pub input: Option<PathBuf>,
    /// Its key for notes, by the system's name such as `KEY_F13`; none: any key.
    pub key: Option<String>,
    /// Its key that mutes the microphone and opens it again.
    pub mute_key: Option<String>,
    /// The serial port.
    pub port: Option<PathBuf>,
    /// Its line for notes.
    pub line: Line,
    /// Its line that mutes.
    pub mute_line: Option<Line>,
}

/// The tones that answer the crew.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Cues {
    /// The program that plays a WAV file, which is given as its last argument.
    pub player: Vec<String>,
    /// No tones, as for filming.
    pub quiet: bool,
}

impl Default for Button {
    fn default() -> Button {
        Button { input: None, key: None, mute_key: None, port: None, line: Line::Cts, mute_line: None }
    }
}

impl Default for Mic {
    fn default() -> Mic {
        let command = ["arecord", "-q", "-t", "raw", "-f", "S16_LE", "-r", "16000", "-c", "1"];
        Mic { command: command.map(String::from).into(), keep: Keep::default() }
    }
}

impl Default for Cues {
    fn default() -> Cues {
        Cues { player: vec!["aplay".into(), "-q".into()], quiet: false }
    }
}

/// A serial device.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Device {
    /// Where it is; none: there is no such device.
    pub port: Option<PathBuf>,
    /// Its speed, baud; none: found by listening.
    pub baud: Option<u32>,
}

/// The scale: a serial device, and what it takes to be understood.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Scale {
    /// Where it is; none: there is no scale.
    pub port: Option<PathBuf>,
    /// Its speed, baud; none: found by listening.
    pub baud: Option<u32>,
    /// What it is to be asked when it does not send by itself; CR LF is added unless there is a line end in it.
    pub ask: Option<String>,
    /// The unit of frames that name none.
    pub unit: Option<Unit>,
    /// Its frames, where no known dialect fits: a regular expression with named parts.
    pub pattern: Option<Pattern>,
}

impl Scale {
    /// What was told of its frames.
    pub fn described(&self) -> Described {
        Described { pattern: self.pattern.clone(), unit: self.unit }
    }

    /// The bytes it is asked with; none: it is not asked.
    pub fn asks(&self) -> Vec<u8> {
        let ask = self.ask.clone().unwrap_or_default();
        let bare = !ask.is_empty() && !ask.contains(['\r', '\n']);
        (ask + if bare { "\r\n" } else { "" }).into_bytes()
    }
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            boat: "boat".into(),
            timezone: "UTC".into(),
            gps: Device::default(),
            scale: Scale::default(),
            sizes: None,
            mic: Mic::default(),
            button: Button::default(),
            cues: Cues::default(),
            rules: Rules::default(),
            recognisers: Vec::new(),
            words: Speech::default(),
        }
    }
}

/// Why the settings cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// The file cannot be read.
    #[error("cannot read the settings {path}: {source}: check the path and its permissions")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Not TOML, or a key or value that cannot be.
    #[error("settings {path} line {line}: {problem}: mend that line or leave it out")]
    Wrong {
        /// The file.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// Names the key.
        problem: String,
    },
    /// A time zone nobody knows.
    #[error(
        "settings {path}: timezone `{timezone}` is not known: give an IANA name such as America/New_York"
    )]
    Timezone {
        /// The file.
        path: PathBuf,
        /// As given.
        timezone: String,
    },
    /// A recogniser that cannot be.
    #[error("settings {path}: recogniser `{name}`: {problem}: mend it or leave it out")]
    Recogniser {
        /// The file.
        path: PathBuf,
        /// Its name as given.
        name: String,
        /// What is wrong.
        problem: &'static str,
    },
    /// A class of claws that begins nowhere.
    #[error("settings {path}: {problem}")]
    Size {
        /// The file.
        path: PathBuf,
        /// Names the class.
        problem: SizeError,
    },
    /// A pattern for the scale's frames that leaves the unit open.
    #[error(
        "settings {path}: `pattern` in [scale] names no part (?<unit>…): add one, or say the unit as unit = \"kg\""
    )]
    PatternUnit {
        /// The file.
        path: PathBuf,
    },
    /// Words that cannot be used.
    #[error("settings {path}: words: {problem}")]
    Words {
        /// The file.
        path: PathBuf,
        /// Which, and what may be.
        problem: SpeechError,
    },
}

impl Settings {
    /// Reads `config`, or `DIR/gunwale.toml` if there is one, or else takes the defaults.
    ///
    /// # Errors
    /// [`SettingsError`] names file, line and key.
    pub fn load(config: Option<&Path>, data: &Path) -> Result<Settings, SettingsError> {
        let default = data.join("gunwale.toml");
        let path = config.unwrap_or(&default);
        match std::fs::read_to_string(path) {
            Ok(text) => Settings::parse(&text, path),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound && config.is_none() => Ok(Settings::default()),
            Err(source) => Err(SettingsError::Unreadable { path: path.into(), source }),
        }
    }

    /// The classes of claws by weight.
    pub fn classes(&self) -> Sizes {
        // Read once already when the settings were.
        self.read_sizes().unwrap_or_default()
    }

    fn read_sizes(&self) -> Result<Sizes, SizeError> {
        let Some(table) = &self.sizes else { return Ok(Sizes::default()) };
        Sizes::of(table.iter().map(|(name, from)| (name.as_str(), from.as_str())))
    }

    fn parse(text: &str, path: &Path) -> Result<Settings, SettingsError> {
        let settings: Settings = toml::from_str(text).map_err(|e| {
            let before = e.span().and_then(|span| text.get(..span.start)).unwrap_or("");
            let line = before.matches('\n').count() + 1;
            SettingsError::Wrong { path: path.into(), line, problem: plain(e.message()) }
        })?;
        if jiff::tz::TimeZone::get(&settings.timezone).is_err() {
            return Err(SettingsError::Timezone { path: path.into(), timezone: settings.timezone });
        }
        for (n, one) in settings.recognisers.iter().enumerate() {
            let twice = settings.recognisers.iter().take(n).any(|other| other.name == one.name);
            let problem = match one.problem() {
                _ if n >= RECOGNISERS => Some("there may be two, one to hear and one to confirm"),
                None if twice => Some("there is another of this name"),
                problem => problem,
            };
            if let Some(problem) = problem {
                let name = one.name.clone();
                return Err(SettingsError::Recogniser { path: path.into(), name, problem });
            }
        }
        settings.read_sizes().map_err(|problem| SettingsError::Size { path: path.into(), problem })?;
        let Scale { pattern, unit, .. } = &settings.scale;
        if unit.is_none() && pattern.as_ref().is_some_and(|pattern| !pattern.has_unit()) {
            return Err(SettingsError::PatternUnit { path: path.into() });
        }
        settings.words.check().map_err(|problem| SettingsError::Words { path: path.into(), problem })?;
        Ok(settings)
    }
}

/// What is wrong with a value, in one line and without the names of a program's types.
fn plain(problem: &str) -> String {
    let problem = problem.replace('\n', " ");
    let Some((found, expected)) = problem.rsplit_once(", expected ") else { return problem };
    let expected = match expected {
        "u8" => "a whole number from 0 to 255",
        "u16" => "a whole number from 0 to 65535",
        "u32" => "a whole number from 0 to 4294967295",
        "u64" | "usize" => "a whole number from 0",
        "f64" => "a number",
        "a sequence" => "a list in [ ]",
        kind if kind.starts_with("struct ") || kind == "a map" => "keys of its own, each with a value",
        other => other,
    };
    format!("{found}, expected {expected}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is said of settings that are wrong.
    pub(super) fn problem(text: &str) -> String {
        match Settings::parse(text, Path::new("gunwale.toml")) {
            Ok(settings) => format!("{settings:?}"),
            Err(e) => e.to_string(),
        }
    }

    #[test]
    fn every_key_has_a_default() {
        assert_eq!(Settings::parse("", Path::new("x")).unwrap(), Settings::default());
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        assert_eq!(
            problem("boat = \"Osprey\"\n\n[gps]\nspeed = 9600\n"),
            "settings gunwale.toml line 4: unknown field `speed`, expected `port` or `baud`: \
             mend that line or leave it out"
        );
        assert_eq!(
            problem("[gps]\nbaud = \"fast\"\n"),
            "settings gunwale.toml line 2: invalid type: string \"fast\", expected a whole number from 0 to 4294967295: \
             mend that line or leave it out"
        );
        for (toml, expected) in [
            ("gps = 5\n", "invalid type: integer `5`, expected keys of its own, each with a value"),
            ("[rules]\nseason = \"winter\"\n", "invalid type: string \"winter\", expected a list in [ ]"),
            ("[rules]\nclaw_g_per_l = \"some\"\n", "invalid type: string \"some\", expected a number"),
            ("sizes = 5\n", "invalid type: integer `5`, expected keys of its own, each with a value"),
            ("boat = 7\n", "invalid type: integer `7`, expected a string"),
        ] {
            assert!(problem(toml).contains(expected), "{}", problem(toml));
        }
        let recogniser = |name: &str, rest: &str| {
            format!("[[recogniser]]\nname = \"{name}\"\ncommand = [\"cat\"]\n{rest}\n")
        };
        for (text, expected) in [
            (recogniser("a b", ""), "`a b`: its name has 1 to 40 letters, digits, - and _"),
            (recogniser("a", "sure = 3.0"), "`a`: sure is a confidence, from 0 to 1"),
            (recogniser("a", "patience_s = 0"), "`a`: patience_s is from 1 to 3600"),
            (recogniser("a", "memory_mb = 1"), "`a`: memory_mb is 16 or more"),
            (recogniser("a", "") + &recogniser("a", ""), "`a`: there is another of this name"),
            (
                ["a", "b", "c"].map(|name| recogniser(name, "")).concat(),
                "`c`: there may be two, one to hear and one to confirm",
            ),
            ("[[recogniser]]\nname = \"a\"\ncommand = []\n".into(), "`a`: its command names no program"),
        ] {
            let told = format!("settings gunwale.toml: recogniser {expected}: mend it or leave it out");
            assert_eq!(problem(&text), told);
        }
        assert_eq!(
            problem("timezone = \"Bay/Nowhere\"\n"),
            "settings gunwale.toml: timezone `Bay/Nowhere` is not known: \
             give an IANA name such as America/New_York"
        );
        assert_eq!(
            problem("[words]\nlanguage = \"fr\"\n"),
            "settings gunwale.toml: words: language `fr` is not known: use en or es"
        );
        assert_eq!(
            problem("[words]\n\"tie=loose\" = [\"slack tie\"]\n"),
            "settings gunwale.toml: words: tie=loose cannot be: tie takes intact, broken or missing, or nothing to remove it"
        );
    }

    #[test]
    fn a_crew_adds_words_of_its_own() {
        let text = "[words]\nlanguage = \"es\"\nkeepers = [\"buenos\"]\nopener = [\"para el barco\"]\n";
        let words = Settings::parse(text, Path::new("x")).unwrap().words;
        assert_eq!(words.language, "es");
        assert_eq!(words.words["keepers"], ["buenos"]);
        assert_eq!(words.words["opener"], ["para el barco"]);
    }

    #[test]
    fn sizes_are_weights() {
        let sizes = |text: &str| Settings::parse(text, Path::new("x")).unwrap().classes();
        assert_eq!(sizes(""), Sizes::default());
        assert_eq!(sizes("[sizes]\nbig = \"6 oz\"\n").class(182.0), Some("big"));
        assert_eq!(
            problem("[sizes]\nlarge = \"heavy\"\n"),
            "settings gunwale.toml: size large cannot begin at \"heavy\": \
             give a weight with its unit, such as \"3 oz\" or \"85 g\""
        );
    }

    #[test]
    fn a_scale_is_described_in_words_that_are_checked() {
        let settings = Settings::parse(
            "[scale]\nask = \"SIR\"\nunit = \"lb\"\npattern = '(?<number>\\d+)#'\n",
            Path::new("x"),
        );
        let scale = settings.unwrap().scale;
        assert_eq!(scale.asks(), b"SIR\r\n");
        assert_eq!(scale.described().plain("12#").as_deref(), Some("12 lb"));
        for (ask, bytes) in [("", ""), ("Z\r\nSI\r\n", "Z\r\nSI\r\n"), ("W\r", "W\r")] {
            let scale = Scale { ask: Some(ask.into()), ..Scale::default() };
            assert_eq!(scale.asks(), bytes.as_bytes());
        }
        assert!(Scale::default().asks().is_empty());
        assert_eq!(
            problem("boat = \"Osprey\"\n[scale]\npattern = '(?<number>[0-9.]+ kg'\n"),
            "settings gunwale.toml line 3: `pattern` is no regular expression (unclosed group): \
             mend that line or leave it out"
        );
        assert_eq!(
            problem("[scale]\npattern = '[0-9.]+ kg'\n"),
            "settings gunwale.toml line 2: `pattern` names no part (?<number>…): mend that line or leave it out"
        );
        assert_eq!(
            problem("[scale]\npattern = '(?<number>[0-9.]+)'\n"),
            "settings gunwale.toml: `pattern` in [scale] names no part (?<unit>…): add one, or say the unit as \
             unit = \"kg\""
        );
        assert_eq!(
            problem("[scale]\nunit = \"stone\"\n"),
            "settings gunwale.toml line 2: unknown variant `stone`, expected one of `g`, `kg`, `lb`, `oz`: \
             mend that line or leave it out"
        );
    }
}
