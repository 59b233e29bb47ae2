//! Says in each note's file when and where it was spoken, once that is known, and again when it is known better.

use std::path::Path;

use gunwale_protocol::finding::{Finding, Spot};
use gunwale_protocol::time::Utc;
use gunwale_protocol::trip::{Found, notes};

use super::wav::{self, Label};

/// Labels the files of what was found. One that cannot be labelled is told and left: its record has all that it would say.
pub fn label(data: &Path, found: &Found) {
    let (pull, spot) = match &found.finding {
        Finding::Stop(stop) => (Some(stop.id.as_str()), stop.position),
        Finding::Loose(loose) => (None, loose.spot),
    };
    for note in notes(found) {
        let Some(sound) = note.sound.as_ref().filter(|sound| super::is_note_file(&sound.file)) else {
            continue;
        };
        let path = data.join(&sound.file);
        let begin = note.at.utc.map(|utc| Utc(utc.0 - sound.speech_us));
        let description = description(&note.id, &found.boat, pull, spot);
        match wav::label(&path, &Label { begin, description: &description }) {
            Ok(_) => {}
            // Where only text is kept, and where a journal came without its notes, there is no file.
            Err(_) if !path.exists() => {}
            Err(trouble) => tracing::warn!("{trouble}"),
        }
    }
}

fn description(note: &str, boat: &str, pull: Option<&str>, spot: Option<Spot>) -> String {
    let pull = pull.map_or("between traps".to_owned(), |pull| format!("pull {pull}"));
    let place = spot.map_or("position not known".to_owned(), |spot| {
        format!("{:.6} {:.6} (WGS 84, sd {:.1} m)", spot.lat, spot.lon, spot.sd_m)
    });
    format!("note {note}; {pull}; {place}; boat {boat}")
}
