//! What can go wrong with a button, in words that say what to do.

use std::io;
use std::path::Path;

/// Why a button cannot be as the settings have it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unusable {
    /// No key has this name.
    #[error(
        "`{name}` is not the name of a key: give one such as KEY_F13, in capitals (evtest shows them), or leave it out"
    )]
    Key {
        /// As given.
        name: String,
    },
    /// One for both.
    #[error("`{name}` cannot be both the note button and the mute button: give another, or leave one out")]
    Same {
        /// As given.
        name: String,
    },
}

/// Why a button is not being watched.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// No such path.
    #[error("{path} is not there: plug the button in, or correct its path in gunwale.toml")]
    Missing {
        /// The path in the settings.
        path: String,
    },
    /// The user may not open it.
    #[error("{path} may not be opened by this user: add the user to the group {group}, then log in again")]
    Denied {
        /// The path in the settings.
        path: String,
        /// The group that owns such devices on Debian.
        group: &'static str,
    },
    /// Another program holds it.
    #[error("{path} is in use by another program: stop that program")]
    Busy {
        /// The path in the settings.
        path: String,
    },
    /// It has no such key.
    #[error("{path} has no {key}: press its keys while evtest shows their names, and correct gunwale.toml")]
    NoKey {
        /// The path in the settings.
        path: String,
        /// The key in the settings.
        key: String,
    },
    /// It is no device of that kind.
    #[error("{path} cannot be used ({error}): check that it is {kind}")]
    Refused {
        /// The path in the settings.
        path: String,
        /// The system's words.
        error: String,
        /// What it should be.
        kind: &'static str,
    },
    /// It went away while open.
    #[error("{path} went away ({error}): check its plug and cable")]
    Gone {
        /// The path in the settings.
        path: String,
        /// The system's words.
        error: String,
    },
}

/// What a device should be, and whose it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kind {
    what: &'static str,
    group: &'static str,
}

pub(super) const PEDAL: Kind = Kind { what: "an input device with keys", group: "input" };
pub(super) const PORT: Kind = Kind { what: "a serial port with control lines", group: "dialout" };

impl Trouble {
    /// The trouble behind a failed open or the first failed look.
    pub(super) fn opening(path: &Path, error: &io::Error, kind: Kind) -> Trouble {
        let path = path.display().to_string();
        match error.kind() {
            io::ErrorKind::NotFound => Trouble::Missing { path },
            io::ErrorKind::PermissionDenied => Trouble::Denied { path, group: kind.group },
            io::ErrorKind::ResourceBusy => Trouble::Busy { path },
            _ => Trouble::Refused { path, error: error.to_string(), kind: kind.what },
        }
    }

    /// The trouble behind a later one.
    pub(super) fn reading(path: &Path, error: &io::Error) -> Trouble {
        Trouble::Gone { path: path.display().to_string(), error: error.to_string() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use io::ErrorKind as E;

    #[test]
    fn the_words_say_what_to_do() {
        for (kind, of, text) in [
            (
                E::NotFound,
                PEDAL,
                "/dev/x is not there: plug the button in, or correct its path in gunwale.toml",
            ),
            (
                E::PermissionDenied,
                PEDAL,
                "/dev/x may not be opened by this user: add the user to the group input, then log in again",
            ),
            (
                E::PermissionDenied,
                PORT,
                "/dev/x may not be opened by this user: add the user to the group dialout, then log in again",
            ),
            (E::ResourceBusy, PORT, "/dev/x is in use by another program: stop that program"),
            (
                E::TimedOut,
                PEDAL,
                "/dev/x cannot be used (timed out): check that it is an input device with keys",
            ),
            (
                E::TimedOut,
                PORT,
                "/dev/x cannot be used (timed out): check that it is a serial port with control lines",
            ),
        ] {
            assert_eq!(Trouble::opening(Path::new("/dev/x"), &kind.into(), of).to_string(), text);
        }
        assert_eq!(
            Trouble::reading(Path::new("/dev/x"), &E::TimedOut.into()).to_string(),
            "/dev/x went away (timed out): check its plug and cable"
        );
        assert_eq!(
            Trouble::NoKey { path: "/dev/x".into(), key: "KEY_F13".into() }.to_string(),
            "/dev/x has no KEY_F13: press its keys while evtest shows their names, and correct gunwale.toml"
        );
        assert_eq!(
            Unusable::Key { name: "F13".into() }.to_string(),
            "`F13` is not the name of a key: give one such as KEY_F13, in capitals (evtest shows them), or leave it out"
        );
        assert_eq!(
            Unusable::Same { name: "cts".into() }.to_string(),
            "`cts` cannot be both the note button and the mute button: give another, or leave one out"
        );
    }
}
