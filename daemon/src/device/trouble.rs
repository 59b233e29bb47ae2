//! What can go wrong with a device, in words that say what to do.

use std::io;
use std::path::Path;

/// Why a device is not being read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// No such path.
    #[error("{path} is not there: plug the device in, or correct its path in gunwale.toml")]
    Missing {
        /// The path in the settings.
        path: String,
    },
    /// The user may not open it.
    #[error("{path} may not be opened by this user: add the user to the group dialout, then log in again")]
    Denied {
        /// The path in the settings.
        path: String,
    },
    /// Another program holds it.
    #[error("{path} is in use by another program: stop that program")]
    Busy {
        /// The path in the settings.
        path: String,
    },
    /// It cannot be opened for another reason.
    #[error("{path} cannot be opened ({error}): check that it is a serial device and that it is plugged in")]
    Refused {
        /// The path in the settings.
        path: String,
        /// The system's words.
        error: String,
    },
    /// It went away while open.
    #[error("{path} went away ({error}): check its plug, cable and power")]
    Gone {
        /// The path in the settings.
        path: String,
        /// The system's words.
        error: String,
    },
    /// Open, but no byte came.
    #[error("no byte for 10 s: check that it is switched on and set to send by itself")]
    Silent,
    /// Bytes came, but nothing that can be read.
    #[error(
        "bytes, but nothing that can be read: check its speed (baud), its cable, and that it is the right device"
    )]
    Noise,
}

impl Trouble {
    /// The trouble behind a failed open.
    pub(super) fn opening(path: &Path, error: &io::Error) -> Trouble {
        let path = path.display().to_string();
        match error.kind() {
            io::ErrorKind::NotFound => Trouble::Missing { path },
            io::ErrorKind::PermissionDenied => Trouble::Denied { path },
            io::ErrorKind::ResourceBusy => Trouble::Busy { path },
            _ => Trouble::Refused { path, error: error.to_string() },
        }
    }

    /// The trouble behind a failed read; `None` when the device said the end of file.
    pub(super) fn reading(path: &Path, error: Option<&io::Error>) -> Trouble {
        let error = error.map_or_else(|| "end of file".into(), ToString::to_string);
        Trouble::Gone { path: path.display().to_string(), error }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use io::ErrorKind as E;

    #[test]
    fn the_words_say_what_to_do() {
        for (kind, text) in [
            (E::NotFound, "/dev/x is not there: plug the device in, or correct its path in gunwale.toml"),
            (
                E::PermissionDenied,
                "/dev/x may not be opened by this user: add the user to the group dialout, then log in again",
            ),
            (E::ResourceBusy, "/dev/x is in use by another program: stop that program"),
            (
                E::TimedOut,
                "/dev/x cannot be opened (timed out): check that it is a serial device and that it is plugged in",
            ),
        ] {
            assert_eq!(Trouble::opening(Path::new("/dev/x"), &kind.into()).to_string(), text);
        }
        assert_eq!(
            Trouble::reading(Path::new("/dev/x"), None).to_string(),
            "/dev/x went away (end of file): check its plug, cable and power"
        );
        assert_eq!(
            Trouble::Silent.to_string(),
            "no byte for 10 s: check that it is switched on and set to send by itself"
        );
        assert_eq!(
            Trouble::Noise.to_string(),
            "bytes, but nothing that can be read: check its speed (baud), its cable, and that it is the right device"
        );
    }
}
