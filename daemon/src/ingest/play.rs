//! One file's inputs through the fold and into their journal, of which an earlier play may have written a part.
//!
//! Input by input the file is compared with what stands in the journal; where that ends, the file goes on being written
//! down. A file that differs is another tape that began with the same line: it gets a journal of its own. If the journal
//! has lost lines to damage, it is set aside and made anew from the file.

use std::collections::BTreeSet;
use std::io::Write;

use gunwale_protocol::haul::NotTaken;
use gunwale_protocol::input::{self, Input, JOURNAL_SCHEMA, Run, Stamped, Voice};
use gunwale_protocol::time::Mono;

use crate::desk::Desk;
use crate::error::Result;
use crate::io::Sounds;
use crate::journal::{self, Entry, JournalError, Reader, Writer, file_of};
use crate::segment::{News, Segment};

use super::sound::{Listening, around, note_of};

/// A file being played.
pub(super) struct Play<'a> {
    desk: &'a Desk,
    run: Run,
    /// The run line's own stamp, if the file has one.
    run_t: Option<Mono>,
    /// The segment is boxed, as it is taken out and put back at every line.
    fold: Option<(Box<Segment>, Journal)>,
    /// Inputs that stand in the journal so far.
    inputs: usize,
    /// The sound files the tape names.
    sounds: Sounds,
    listening: Option<Listening>,
    fixes: u64,
    recorded: BTreeSet<String>,
}

/// Where the file's inputs stand.
enum Journal {
    /// In a journal of an earlier play, up to here.
    There(Box<There>),
    /// In one that is being written.
    Writing(Box<Writer>),
}

/// A journal that is there already, with its next entry.
struct There {
    reader: Reader,
    next: Option<Entry>,
}

impl There {
    fn new(mut reader: Reader) -> Result<There> {
        let next = reader.next().transpose()?;
        Ok(There { reader, next })
    }

    /// Gives the next entry.
    fn pass(&mut self) -> Result<Option<Entry>> {
        let next = self.reader.next().transpose()?;
        Ok(std::mem::replace(&mut self.next, next))
    }
}

impl<'a> Play<'a> {
    /// A play of the segment with this run line, or with the one its journal has already.
    pub fn begin(desk: &'a Desk, run: Run, run_t: Option<Mono>, sounds: Sounds) -> Result<Play<'a>> {
        if run.schema > JOURNAL_SCHEMA {
            let schema = run.schema.into();
            return Err(JournalError::Newer { path: run.id.into(), schema }.into());
        }
        let recorded = BTreeSet::new();
        Ok(Play { desk, run, run_t, fold: None, inputs: 0, sounds, listening: None, fixes: 0, recorded })
    }

    /// Takes an input from line `n`; false when it is refused.
    pub fn take(&mut self, stamped: Stamped, n: u64, out: &mut dyn Write) -> Result<bool> {
        if journal::fits(&stamped).is_err() {
            return Ok(false);
        }
        if self.fold.is_none() {
            self.fold = Some(self.open(self.run_t.unwrap_or(stamped.t))?);
        }
        self.listen_until(Some(stamped.t), out)?;
        match stamped.input {
            Input::Audio(name) => self.listen_to(stamped.t, &name, n, out),
            Input::Note(voice) => match self.note(stamped.t, voice)? {
                Some(input) => self.input(Stamped { t: stamped.t, input }, n, out),
                None => Ok(false),
            },
            _ => self.input(stamped, n, out),
        }
    }

    /// A note that the tape names, as it stands or shall stand in the journal; `None` when it is refused.
    fn note(&mut self, t: Mono, voice: Voice) -> Result<Option<Input>> {
        let named = Stamped { t, input: Input::Note(voice.clone()) };
        let Some((mut segment, mut journal)) = self.fold.take() else { return Ok(None) };
        let mut there = None;
        if let Journal::There(known) = &mut journal {
            self.pass_notes(&mut segment, known, &named)?;
            there = known.next.as_ref().map(|entry| is(entry, &named).then(|| entry.stamped.input.clone()));
        }
        let input = match there {
            // One that could not be taken in when the tape was first played is not slipped in between.
            Some(known) => known,
            None => {
                let around = around(&segment, t);
                note_of(self.desk, &self.run.id, t, &voice, &around, &self.sounds).map(Input::Note)
            }
        };
        self.fold = Some((segment, journal));
        Ok(input)
    }

    fn input(&mut self, stamped: Stamped, n: u64, out: &mut dyn Write) -> Result<bool> {
        let Some((mut segment, mut journal)) = self.fold.take() else { return Ok(false) };
        if let Journal::There(there) = &mut journal {
            self.pass_notes(&mut segment, there, &stamped)?;
        }
        let known = match &journal {
            Journal::There(there) => there.next.as_ref().filter(|entry| is(entry, &stamped)),
            Journal::Writing(_) => None,
        };
        // A note that was forgotten since stays so.
        let stamped = known.map_or(stamped, |entry| entry.stamped.clone());
        let taken = match segment.take(&stamped) {
            Ok(()) => true,
            // A line given twice adds nothing, and is no fault.
            Err(NotTaken::Again) => {
                self.fold = Some((segment, journal));
                return Ok(true);
            }
            Err(NotTaken::Backwards | NotTaken::Audio | NotTaken::Scale(_)) => false,
        };
        if taken {
            if let Journal::There(there) = &mut journal {
                match there.pass()? {
                    Some(entry) if entry.stamped == stamped => segment.journaled(entry.after),
                    Some(_) => {
                        (segment, journal) = self.branch(there.reader.damaged() > 0, &stamped)?;
                        // The new journal has all that came before this input.
                        self.fold = Some((segment, journal));
                        return self.input(stamped, n, out);
                    }
                    None => journal = self.go_on()?,
                }
            }
            if let Journal::Writing(writer) = &mut journal {
                writer.append(&stamped, Some(n))?;
                segment.journaled(writer.offset());
            }
            self.inputs += 1;
        }
        self.tell(&mut segment, &mut journal, out)?;
        self.fold = Some((segment, journal));
        Ok(taken)
    }

    /// Takes over the notes that the journal has at this place and the tape does not state: they were found in its sound.
    fn pass_notes(&mut self, segment: &mut Segment, there: &mut There, before: &Stamped) -> Result<()> {
        while let Some(entry) = &there.next
            && matches!(entry.stamped.input, Input::Note(_) | Input::Gone)
            && !is(entry, before)
        {
            // What the fold refuses now it refused then.
            let _ = segment.take(&entry.stamped);
            segment.journaled(entry.after);
            self.inputs += 1;
            there.pass()?;
        }
        Ok(())
    }

    fn go_on(&self) -> Result<Journal> {
        let path = file_of(&self.desk.data, &self.run.id)?;
        Ok(Journal::Writing(Box::new(Writer::append_to(&path)?)))
    }

    /// Begins to listen to a sound file from `t` on; false when it cannot be read.
    fn listen_to(&mut self, t: Mono, name: &str, n: u64, out: &mut dyn Write) -> Result<bool> {
        self.listen_until(None, out)?;
        self.listening = Listening::begin(self.desk, &self.run.id, t, name, n, &self.sounds);
        Ok(self.listening.is_some())
    }

    /// Hears what the tape's sound has up to this moment, or to its end, and takes the notes found in it.
    fn listen_until(&mut self, until: Option<Mono>, out: &mut dyn Write) -> Result<()> {
        let Some(mut listening) = self.listening.take() else { return Ok(()) };
        loop {
            let at_its_end =
                |journal: &Journal| matches!(journal, Journal::There(there) if there.next.is_none());
            if self.fold.as_ref().is_some_and(|(_, journal)| at_its_end(journal)) {
                let writing = self.go_on()?;
                self.fold = self.fold.take().map(|(segment, _)| (segment, writing));
            }
            let Some((segment, journal)) = &self.fold else { break };
            let replays = matches!(journal, Journal::There(_));
            // Asked, not moved on: what is heard must not change how the lines are taken.
            let around = around(segment, listening.at());
            let Some(notes) = listening.hear(until, &around, replays) else { break };
            for note in notes {
                self.input(note, listening.n, out)?;
            }
        }
        if until.is_some() && !listening.ended() {
            self.listening = Some(listening);
        }
        Ok(())
    }

    /// The file is at its end: says what was recorded last, and brings the records up to date. Position epochs and
    /// pulls of the file.
    pub fn finish(mut self, out: &mut dyn Write) -> Result<(u64, u64)> {
        self.listen_until(None, out)?;
        if let Some((mut segment, mut journal)) = self.fold.take() {
            // A journal that goes on where this file ends knows better how it ends.
            let longer = match &mut journal {
                Journal::There(there) => {
                    if let Some(last) = there.next.as_ref().map(|entry| entry.stamped.clone()) {
                        let after = Stamped { t: last.t, input: Input::Button(false) };
                        self.pass_notes(&mut segment, there, &after)?;
                    }
                    there.next.is_some()
                }
                Journal::Writing(_) => false,
            };
            let folded = segment.folded(false);
            segment.finish();
            self.tell(&mut segment, &mut journal, out)?;
            if let Journal::Writing(writer) = &mut journal {
                writer.sync()?;
            }
            if longer {
                self.desk.catch_up(&mut |_| {})?;
            } else {
                self.desk.records().update(folded)?;
            }
        }
        Ok((self.fixes, self.recorded.len() as u64))
    }

    fn open(&mut self, t: Mono) -> Result<(Box<Segment>, Journal)> {
        let path = file_of(&self.desk.data, &self.run.id)?;
        if path.exists()
            && let Some((run, mut there)) = run_of(&path)?
        {
            let first = there.next().transpose()?;
            let (t, after) = first.map_or((t, 0), |entry| (entry.stamped.t, entry.after));
            self.run = run;
            let there = There::new(there)?;
            return Ok((Box::new(Segment::new(&self.run, t, after)), Journal::There(Box::new(there))));
        }
        let writer = Writer::create(&self.desk.data, &self.run, t)?;
        Ok((Box::new(Segment::new(&self.run, t, writer.offset())), Journal::Writing(Box::new(writer))))
    }

    /// Begins a journal with what this file has in common with the one that is there, up to this input.
    fn branch(&mut self, damaged: bool, differs: &Stamped) -> Result<(Box<Segment>, Journal)> {
        let mut other = file_of(&self.desk.data, &self.run.id)?;
        if damaged {
            other = journal::set_aside(&other)?;
            tracing::warn!(aside = %other.display(), "a damaged journal is made anew from its tape");
        } else {
            let mut line = String::new();
            gunwale_protocol::tape::write(differs, &mut line);
            let id = input::tape_id(format!("{}\n{line}", self.run.id).as_bytes());
            tracing::info!(
                other = self.run.id,
                own = id,
                "a tape that begins like another: taken as its own"
            );
            self.run = Run { id, ..self.run.clone() };
        }
        self.fixes = 0;
        self.recorded.clear();
        let mut common = Reader::open(&other, 0)?;
        let begins = common.next().transpose()?.map_or(differs.t, |entry| entry.stamped.t);
        let (mut segment, mut journal) = self.open(begins)?;
        for entry in common.take(self.inputs) {
            let Entry { stamped, n, .. } = entry?;
            // What the fold refused then it refuses now, and it was not written down.
            let _ = segment.take(&stamped);
            let after = match &mut journal {
                Journal::There(there) => there.pass()?.map_or(0, |entry| entry.after),
                Journal::Writing(writer) => {
                    writer.append(&stamped, n)?;
                    writer.offset()
                }
            };
            segment.journaled(after);
            self.count(&mut segment);
        }
        Ok((segment, journal))
    }

    /// Says what was recorded, once its lines are safe.
    fn tell(&mut self, segment: &mut Segment, journal: &mut Journal, out: &mut dyn Write) -> Result<()> {
        for pull in self.count(segment) {
            if let Journal::Writing(writer) = journal {
                writer.sync()?;
            }
            writeln!(out, "recorded {pull}")?;
            out.flush()?;
        }
        Ok(())
    }

    /// Counts fixes and pulls; gives the pulls that are new.
    fn count(&mut self, segment: &mut Segment) -> Vec<String> {
        let mut new = Vec::new();
        for news in segment.news() {
            match news {
                News::Fix(..) => self.fixes += 1,
                News::Recorded(pull) if self.recorded.insert(pull.clone()) => new.push(pull),
                _ => {}
            }
        }
        new
    }
}

/// Whether a journal's entry is what this input became. A note's file has another name there, and a note may be gone.
fn is(entry: &Entry, input: &Stamped) -> bool {
    let same = match (&entry.stamped.input, &input.input) {
        (Input::Note(_), Input::Note(_)) | (Input::Gone, Input::Note(_) | Input::Said(_)) => true,
        (there, given) => there == given,
    };
    same && entry.stamped.t == input.t
}

/// A journal's reader and its run line; `None` when a power cut left no whole line.
fn run_of(path: &std::path::Path) -> Result<Option<(Run, Reader)>> {
    let reader = Reader::open(path, 0)?;
    let run = reader.run().cloned();
    Ok(run.map(|run| (run, reader)))
}
