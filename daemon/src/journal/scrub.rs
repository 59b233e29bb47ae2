//! Takes a note's words out of the journal, in place: the line stays, as long as it was, and says that a note is gone.
//!
//! The only change ever made to a line that was written. Offsets stay true, so that restart points hold and a service
//! may go on writing meanwhile.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io;
use std::os::unix::fs::FileExt;
use std::path::Path;

use gunwale_protocol::input::{self, Heard, Input, Stamped, Stated, Statement};
use gunwale_protocol::tape::{self, Sealed};

use super::lines::{Line, Lines};
use super::reader::first_run;
use super::{JournalError, folder};

/// What was taken out.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Scrubbed {
    /// Lines that were changed.
    pub lines: u64,
    /// The notes' files those lines named.
    pub files: Vec<String>,
}

/// Takes these notes out of every journal file, those set aside as damaged too. Doing it again changes nothing.
///
/// # Errors
/// When a file cannot be read or written; some may have been done by then.
pub fn scrub(dir: &Path, notes: &BTreeSet<String>) -> Result<Scrubbed, JournalError> {
    let mut scrubbed = Scrubbed::default();
    let folder = folder(dir);
    let found = match fs::read_dir(&folder) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(scrubbed),
        found => found.map_err(|e| JournalError::io(&folder, e))?,
    };
    for entry in found {
        let path = entry.map_err(|e| JournalError::io(&folder, e))?.path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        if let Some((id, _)) = name.split_once(".jsonl") {
            scrub_file(&path, id, notes, &mut scrubbed)?;
        }
    }
    Ok(scrubbed)
}

fn scrub_file(
    path: &Path,
    id: &str,
    notes: &BTreeSet<String>,
    scrubbed: &mut Scrubbed,
) -> Result<(), JournalError> {
    let io = |e| JournalError::io(path, e);
    let file = OpenOptions::new().read(true).write(true).open(path).map_err(io)?;
    let segment = first_run(path, &file)?.map_or_else(|| id.to_owned(), |run| run.id);
    let mut lines = Lines::new(File::open(path).map_err(io)?, 0);
    let (mut begin, mut changed) = (0, false);
    while let Some(line) = lines.next().map_err(io)? {
        let replaced = match line {
            Line::Good(line, sealed) => replacement(line, sealed, &segment, notes, scrubbed),
            Line::Bad => None,
        };
        if let Some(line) = replaced {
            file.write_all_at(line.as_bytes(), begin).map_err(io)?;
            scrubbed.lines += 1;
            changed = true;
        }
        begin = lines.offset;
    }
    if changed { file.sync_data().map_err(io) } else { Ok(()) }
}

/// The line to stand there instead, of the same length; `None` when it holds nothing of these notes.
fn replacement(
    line: &str,
    sealed: Sealed,
    segment: &str,
    notes: &BTreeSet<String>,
    scrubbed: &mut Scrubbed,
) -> Option<String> {
    // Most lines are sentences: those need not be understood.
    if !["\"said\":", "\"note\":"].iter().any(|key| line.contains(key)) {
        return None;
    }
    let Stamped { t, input } = tape::read(line).ok()?.into_iter().next()?;
    let gone = |kind| notes.contains(&input::id(segment, kind, t)).then_some(Input::Gone);
    let instead = match input {
        Input::Said(_) => gone("note"),
        Input::Note(voice) => gone("sound").inspect(|_| scrubbed.files.push(voice.file)),
        Input::Statement(Statement { at, said: Stated::Heard(heard) }) => {
            let told = notes.contains(&heard.note) && !(heard.text.is_empty() && heard.also.is_none());
            let said = Stated::Heard(Heard { text: String::new(), also: None, confidence: None, ..heard });
            told.then_some(Input::Statement(Statement { at, said }))
        }
        _ => None,
    }?;
    let mut bare = String::new();
    tape::write(&Stamped { t, input: instead }, &mut bare);
    let mut short = bare.clone();
    tape::seal(&mut short, sealed.n);
    let spaces = line.len().checked_sub(short.len())?;
    bare.truncate(bare.len() - 1);
    bare.extend(std::iter::repeat_n(' ', spaces).chain(['}']));
    tape::seal(&mut bare, sealed.n);
    Some(bare)
}

#[cfg(test)]
mod tests {
    use super::super::{Reader, Writer};
    use gunwale_protocol::sizes::Sizes;

    use super::*;
    use gunwale_protocol::input::{JOURNAL_SCHEMA, Run, Voice};
    use gunwale_protocol::time::{Mono, Utc};

    #[test]
    fn words_go_and_lengths_stay() {
        let dir = tempfile::tempdir().unwrap();
        let run = Run {
            id: "a1".into(),
            boat: "boat".into(),
            timezone: "UTC".into(),
            program: "test".into(),
            schema: JOURNAL_SCHEMA,
            system: None,
            rules: None,
            words: Default::default(),
            sizes: Sizes::default(),
        };
        let heard = |text: &str| {
            let note = input::id("a1", "sound", Mono(3));
            let heard = Heard {
                note,
                text: text.into(),
                also: Some(text.into()),
                confidence: Some(0.5),
                ..Heard::default()
            };
            Input::Statement(Statement { at: Utc(5), said: Stated::Heard(heard) })
        };
        let voice = Voice { file: "notes/undated/x.wav".into(), length_us: 7, speech_us: 1 };
        let inputs = [
            Input::Said("x".into()),
            Input::Said("secret \"words\"".into()),
            Input::Note(voice),
            Input::Said("kept".into()),
            heard("secret too"),
        ];
        let mut writer = Writer::create(dir.path(), &run, Mono(0)).unwrap();
        for (t, input) in (1..).zip(inputs) {
            writer.append(&Stamped { t: Mono(t), input }, (t > 2).then_some(t as u64)).unwrap();
        }
        writer.sync().unwrap();
        let aside = super::super::set_aside(writer.path()).unwrap();
        fs::copy(&aside, writer.path()).unwrap();
        let read = || -> Vec<_> { Reader::open(writer.path(), 0).unwrap().map(Result::unwrap).collect() };
        let before = read();

        let all = [("note", 1), ("note", 2), ("sound", 3)].map(|(kind, t)| input::id("a1", kind, Mono(t)));
        let notes: BTreeSet<String> = all.into_iter().collect();
        let scrubbed = scrub(dir.path(), &notes).unwrap();
        assert_eq!((scrubbed.lines, scrubbed.files), (8, vec!["notes/undated/x.wav".to_owned(); 2]));
        let after = read();
        let ends =
            |entries: &[super::super::Entry]| -> Vec<_> { entries.iter().map(|e| (e.after, e.n)).collect() };
        assert_eq!(ends(&after), ends(&before));
        let gone = |t| Stamped { t: Mono(t), input: Input::Gone };
        let now: Vec<Stamped> = after.into_iter().skip(1).map(|entry| entry.stamped).collect();
        let silent = match heard("") {
            Input::Statement(Statement { at, said: Stated::Heard(heard) }) => {
                let said = Stated::Heard(Heard { also: None, confidence: None, ..heard });
                Input::Statement(Statement { at, said })
            }
            other => other,
        };
        let silent = Stamped { t: Mono(5), input: silent };
        assert_eq!(now, [gone(1), gone(2), gone(3), before[4].stamped.clone(), silent]);
        for path in [writer.path(), &aside] {
            let text = fs::read_to_string(path).unwrap();
            assert!(!text.contains("secret") && text.contains("kept"), "{text}");
        }
        assert_eq!(scrub(dir.path(), &notes).unwrap(), Scrubbed::default());
    }
}
