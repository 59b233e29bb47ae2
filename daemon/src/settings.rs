//! The settings file: every key has a default, an unknown key is an error that names it and its line.

use std::path::{Path, PathBuf};

use serde::Deserialize;

/// What `gunwale.toml` may hold.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// The boat's name, for the records.
    pub boat: String,
    /// IANA time zone of the boat's day.
    pub timezone: String,
    /// The GPS receiver.
    pub gps: Device,
    /// The scale.
    pub scale: Device,
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

impl Default for Settings {
    fn default() -> Settings {
        let none = Device::default();
        Settings { boat: "boat".into(), timezone: "UTC".into(), gps: none.clone(), scale: none }
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

    fn parse(text: &str, path: &Path) -> Result<Settings, SettingsError> {
        let settings: Settings = toml::from_str(text).map_err(|e| {
            let before = e.span().and_then(|span| text.get(..span.start)).unwrap_or("");
            let line = before.matches('\n').count() + 1;
            SettingsError::Wrong { path: path.into(), line, problem: e.message().replace('\n', " ") }
        })?;
        if jiff::tz::TimeZone::get(&settings.timezone).is_err() {
            return Err(SettingsError::Timezone { path: path.into(), timezone: settings.timezone });
        }
        Ok(settings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problem(text: &str) -> String {
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
            "settings gunwale.toml line 2: invalid type: string \"fast\", expected u32: \
             mend that line or leave it out"
        );
        assert_eq!(
            problem("timezone = \"Bay/Nowhere\"\n"),
            "settings gunwale.toml: timezone `Bay/Nowhere` is not known: \
             give an IANA name such as America/New_York"
        );
    }
}
