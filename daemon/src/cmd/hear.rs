//! `hear`: has recognisers listen again. What they hear of a note replaces what they heard before; typed words and
//! corrections stand above it and stay.

use std::io::{self, Read};
use std::path::{Path, PathBuf};

use gunwale_protocol::finding::Note;
use gunwale_protocol::input::{Heard, Stated};
use gunwale_protocol::trip::notes;

use crate::args::is_sound;
use crate::desk::{Desk, random_id};
use crate::error::{Error, Result};
use crate::io::{Io, Named};
use crate::voice::wav::{SPEC, Sound};
use crate::{find, records, voice};

/// The largest file that is listened to, bytes: two hours of sound.
const LARGEST: u64 = 256 << 20;
/// Longest sound that is listened to, samples: a note has at most half a minute.
const LONGEST: usize = 10 * 60 * 16_000;

/// Has each of these days, pulls, notes or files listened to, and tells what was heard.
///
/// # Errors
/// Words that name nothing; a recogniser that gives no answer, once all else was heard.
pub fn hear(desk: &Desk, what: &[String], io: &mut Io<'_>) -> Result<()> {
    if desk.recognisers.names().is_empty() {
        return Err(Error::NoRecogniser);
    }
    let mut failed = None;
    for what in what {
        if is_sound(what) {
            hear_file(desk, io, &mut failed)?;
            continue;
        }
        let notes = notes_of(desk, what)?;
        let mut heard_any = false;
        for note in notes {
            let Some(file) = sound_of(desk, &note) else { continue };
            heard_any = true;
            hear_note(desk, &note.id, &file, io, &mut failed)?;
        }
        if !heard_any {
            writeln!(io.out, "no sound of {what}: typed, or only the text was kept")?;
        }
    }
    failed.map_or(Ok(()), Err)
}

/// All that is known of a day, a pull or a note.
fn notes_of(desk: &Desk, what: &str) -> Result<Vec<Note>> {
    if let Ok(pull) = find::pull(desk, what) {
        let doc = desk.store().get(&pull)?.ok_or_else(|| Error::NoPull(what.to_owned()))?;
        return Ok(notes(&records::read(&doc)?.found).to_vec());
    }
    if let Ok(id) = find::note(desk, what) {
        return find_note(desk, &id);
    }
    let day = match find::day(desk, Some(what)) {
        Ok(day) => day,
        Err(_) => return Err(Error::NoNote(what.to_owned())),
    };
    let mut all = Vec::new();
    for doc in desk.store().day(&day) {
        all.extend_from_slice(notes(&records::read(&doc?)?.found));
    }
    if all.is_empty() { Err(Error::NoNotes(day)) } else { Ok(all) }
}

fn find_note(desk: &Desk, id: &str) -> Result<Vec<Note>> {
    for doc in desk.store().range(records::ALL) {
        let found = records::read(&doc?)?.found;
        if let Some(note) = notes(&found).iter().find(|note| note.id == id) {
            return Ok(vec![note.clone()]);
        }
    }
    Err(Error::NoNote(id.to_owned()))
}

/// The file of a spoken note, if it is there.
fn sound_of(desk: &Desk, note: &Note) -> Option<PathBuf> {
    let sound = note.sound.as_ref().filter(|_| note.text.is_none())?;
    let path = desk.data.join(&sound.file);
    (voice::is_note_file(&sound.file) && path.is_file()).then_some(path)
}

/// Has everybody listen to a note, and writes down what they heard.
fn hear_note(
    desk: &Desk,
    note: &str,
    file: &Path,
    io: &mut Io<'_>,
    failed: &mut Option<Error>,
) -> Result<()> {
    let heard = ask_all(desk, note, note, file, io, failed)?;
    let _nobody_forgets_meanwhile = desk.recognisers.words();
    if !heard.is_empty() && file.exists() {
        // Above what was heard before, whatever the computer's clock says.
        desk.state_last(heard.into_iter().map(Stated::Heard).collect())?;
    }
    Ok(())
}

/// The next file of those that were named: only told. One that is a note of ours is heard as that note.
fn hear_file(desk: &Desk, io: &mut Io<'_>, failed: &mut Option<Error>) -> Result<()> {
    let Some(named) = io.files.next_file()? else { return Ok(()) };
    let name = named.name.clone();
    let id = name.trim_end_matches(".wav").rsplit(['-', '/']).next().unwrap_or_default().to_owned();
    let copied = copy(desk, named)?;
    let own = find_note(desk, &id).ok().and_then(|notes| sound_of(desk, notes.first()?));
    match own {
        Some(file) => hear_note(desk, &id, &file, io, failed),
        None => ask_all(desk, "", &name, &copied.0, io, failed).map(drop),
    }
}

fn ask_all(
    desk: &Desk,
    note: &str,
    what: &str,
    file: &Path,
    io: &mut Io<'_>,
    failed: &mut Option<Error>,
) -> Result<Vec<Heard>> {
    let mut all = Vec::new();
    for (which, name) in desk.recognisers.names().iter().enumerate() {
        match desk.recognisers.ask(which, note, file) {
            Ok(heard) => {
                let confidence = heard.confidence.map_or("     ".into(), |c| format!("{c:.3}"));
                let sure = if heard.is_sure() && !heard.confirms { "sure" } else { "    " };
                writeln!(io.out, "{what} {name} {confidence} {sure} {}", heard.text)?;
                io.out.flush()?;
                all.push(heard);
            }
            Err(trouble) => {
                let unheard = Error::Unheard { name: name.clone(), what: what.to_owned(), trouble };
                failed.get_or_insert(unheard);
            }
        }
    }
    Ok(all)
}

/// A copy of a sound file as recognisers take it, gone when dropped.
struct Copied(PathBuf);

impl Drop for Copied {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
        let _ = self.0.parent().map(std::fs::remove_dir);
    }
}

fn copy(desk: &Desk, named: Named<'_>) -> Result<Copied> {
    let name = PathBuf::from(&named.name);
    let folder = desk.data.join("incoming");
    std::fs::create_dir_all(&folder).map_err(Error::file("cannot write", &folder, "make room"))?;
    let copied = Copied(folder.join(format!("hear-{}.wav", random_id()?)));
    let trouble = |e: hound::Error| Error::Output(io::Error::other(e));
    let mut sound = Sound::new(&name, named.lines.take(LARGEST))?;
    let mut to = hound::WavWriter::create(&copied.0, SPEC).map_err(trouble)?;
    let mut left = LONGEST;
    while let Some(samples) = sound.piece()? {
        for sample in samples.iter().take(left) {
            to.write_sample(*sample).map_err(trouble)?;
        }
        left = left.saturating_sub(samples.len());
    }
    to.finalize().map_err(trouble)?;
    Ok(copied)
}
