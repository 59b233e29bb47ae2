//! One file's inputs through the fold and into their journal, of which an earlier play may have written a part.
//!
//! Input by input the file is compared with what stands in the journal; where that ends, the file goes on being written
//! down. A file that differs is another tape that began with the same line: it gets a journal of its own. If the journal
//! has lost lines to damage, it is set aside and made anew from the file.

use std::collections::BTreeSet;
use std::io::Write;

use gunwale_protocol::haul::NotTaken;
use gunwale_protocol::input::{self, JOURNAL_SCHEMA, Run, Stamped};
use gunwale_protocol::time::Mono;

use crate::desk::Desk;
use crate::error::Result;
use crate::journal::{self, Entry, JournalError, Reader, Writer, file_of};
use crate::segment::{News, Segment};

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
    fixes: u64,
    recorded: BTreeSet<String>,
}

/// Where the file's inputs stand.
enum Journal {
    /// In a journal of an earlier play, up to here.
    There(Box<Reader>),
    /// In one that is being written.
    Writing(Box<Writer>),
}

impl<'a> Play<'a> {
    /// A play of the segment with this run line, or with the one its journal has already.
    pub fn begin(desk: &'a Desk, run: Run, run_t: Option<Mono>) -> Result<Play<'a>> {
        if run.schema > JOURNAL_SCHEMA {
            let schema = run.schema.into();
            return Err(JournalError::Newer { path: run.id.into(), schema }.into());
        }
        Ok(Play { desk, run, run_t, fold: None, inputs: 0, fixes: 0, recorded: BTreeSet::new() })
    }

    /// Takes an input from line `n`; false when it is refused.
    pub fn take(&mut self, stamped: Stamped, n: u64, out: &mut dyn Write) -> Result<bool> {
        if journal::fits(&stamped).is_err() {
            return Ok(false);
        }
        let (mut segment, mut journal) = match self.fold.take() {
            Some(fold) => fold,
            None => self.open(self.run_t.unwrap_or(stamped.t))?,
        };
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
                match there.next().transpose()? {
                    Some(entry) if entry.stamped == stamped => segment.journaled(entry.after),
                    Some(_) => {
                        (segment, journal) = self.branch(there.damaged() > 0, &stamped)?;
                        // The new journal has all that came before this input.
                        self.fold = Some((segment, journal));
                        return self.take(stamped, n, out);
                    }
                    None => {
                        let path = file_of(&self.desk.data, &self.run.id)?;
                        journal = Journal::Writing(Box::new(Writer::append_to(&path)?));
                    }
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

    /// The file is at its end: says what was recorded last, and brings the records up to date. Position epochs and
    /// pulls of the file.
    pub fn finish(mut self, out: &mut dyn Write) -> Result<(u64, u64)> {
        if let Some((mut segment, mut journal)) = self.fold.take() {
            // A journal that goes on where this file ends knows better how it ends.
            let longer = match &mut journal {
                Journal::There(there) => there.next().is_some(),
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
                Journal::There(there) => there.next().transpose()?.map_or(0, |entry| entry.after),
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

/// A journal's reader and its run line; `None` when a power cut left no whole line.
fn run_of(path: &std::path::Path) -> Result<Option<(Run, Reader)>> {
    let reader = Reader::open(path, 0)?;
    let run = reader.run().cloned();
    Ok(run.map(|run| (run, reader)))
}
