//! The records: the store as the fold of the journal, kept up to date, healed when damaged.
//!
//! Findings go into the store first, each beside whatever record it had; then the second fold runs from the first trip
//! that may have changed and rewrites what did; the restart points go in last. Killed anywhere in between, the restart
//! points are still the old ones and the same work is done again, to the same end.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use gunwale_protocol::finding::Note;
use gunwale_protocol::input::{Stated, Statement};
use gunwale_protocol::register::Register;
use gunwale_protocol::time::{HOUR, Utc};
use gunwale_protocol::trip::{Entry, Found, Ledger, notes};
use serde::{Deserialize, Serialize};

use crate::error::Result;
use crate::journal::{self, JournalError, Reader};
use crate::segment::{Folded, Rest, Segment};
use crate::store::{self, Batch, Doc, Restart, Store, StoreError};
use crate::voice;

/// Every document there is.
pub const ALL: std::ops::Range<i64> = store::UNDATED..i64::MAX;
/// Documents written in one transaction.
const CHUNK: usize = 64;
/// A ledger is kept to begin from only where trips are this near the newest record: older ones are seldom touched.
const NEAR: i64 = 48 * HOUR;

/// What a document of the store says: what was found, and what became of it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Kept {
    /// What the first fold found.
    pub found: Found,
    /// What the second fold made of it; `None` until it has.
    pub entry: Option<Entry>,
}

/// The restart point of a segment, as the store keeps it.
#[derive(Debug, Serialize, Deserialize)]
struct Resume {
    rest: Rest,
    seen: u64,
    live: bool,
}

/// The store and the second fold's working state.
pub struct Records {
    data: PathBuf,
    store: Arc<Store>,
    /// A moment between trips near the end, and the ledger as of it.
    begin: Option<(Utc, Ledger)>,
    /// The latest statement that this ledger knows.
    stated: Option<Utc>,
    register: Option<Register>,
    /// The segment that is being written, if this is a service.
    live: Option<String>,
    /// The disk failed while something was taken over: it stands in the journal and not in the store.
    behind: bool,
    /// Who wants to know of every note that comes in.
    to_ears: Option<Sender<Note>>,
}

impl Records {
    /// Opens the store in a data directory; a damaged one is set aside and made anew by [`Records::catch_up`].
    ///
    /// # Errors
    /// When no store can be opened at all.
    pub fn open(data: &std::path::Path) -> Result<Records> {
        let store = match Store::open(data) {
            Err(damage @ StoreError::Damaged(_)) => {
                let aside = store::set_aside(data)?;
                tracing::warn!(%damage, aside = %aside.display(), "store set aside, made anew from the journal");
                Store::open(data)?
            }
            other => other?,
        };
        Ok(Records {
            data: data.to_owned(),
            store: Arc::new(store),
            begin: None,
            stated: None,
            register: None,
            live: None,
            behind: false,
            to_ears: None,
        })
    }

    /// From now on every note that comes in is told here, and again when it is found anew.
    pub fn tell_notes(&mut self) -> Receiver<Note> {
        let (to, from) = channel();
        self.to_ears = Some(to);
        from
    }

    /// From now on this segment is being written, and its open pull is open.
    pub fn writes(&mut self, segment: &str) {
        self.live = Some(segment.to_owned());
    }

    /// The live segment is at its end. How it ends is read from its journal, so that it is the same ever after: the
    /// live fold went on with the clock, past the last line.
    ///
    /// # Errors
    /// As [`Records::catch_up`].
    pub fn ended(&mut self) -> Result<()> {
        self.live = None;
        self.mend()?;
        self.catch_up(None, &mut |_| {})
    }

    /// Takes over from the journal what could not be taken over because the disk failed.
    ///
    /// # Errors
    /// When the disk still fails.
    pub fn mend(&mut self) -> Result<()> {
        if !self.behind {
            return Ok(());
        }
        // A store that the disk has failed once answers with that failure for ever: it has to be opened anew.
        self.store = Arc::new(Store::closed());
        self.begin = None;
        self.register = None;
        self.store = Records::open(&self.data)?.store;
        match self.try_catch_up(None, &mut |_| {}) {
            Err(crate::Error::Store(StoreError::Damaged(_))) => self.make_anew()?,
            other => other?,
        }
        self.behind = false;
        tracing::warn!("the store can be written again: what came in meanwhile is in it");
        Ok(())
    }

    /// A handle for reading, good as long as the store is not healed.
    pub fn store(&self) -> Arc<Store> {
        self.store.clone()
    }

    /// Folds whatever stands in the journals and is not in the store yet, leaving out the segment that is live.
    ///
    /// # Errors
    /// When journal or store cannot be used even after healing.
    pub fn catch_up(&mut self, live: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<()> {
        match self.try_catch_up(live, progress) {
            Err(crate::Error::Store(damage @ StoreError::Damaged(_))) => {
                tracing::warn!(%damage, "store damaged");
                self.heal()?;
                self.try_catch_up(live, progress)
            }
            other => other,
        }
    }

    /// Takes over what was folded from one segment; afterwards the records are those of all journals.
    ///
    /// # Errors
    /// As [`Records::catch_up`].
    pub fn update(&mut self, folded: Folded) -> Result<()> {
        self.mend()?;
        let result = match self.try_update(vec![folded]) {
            // The live segment's journal holds all that was folded.
            Err(crate::Error::Store(StoreError::Damaged(_))) => self.make_anew(),
            other => other,
        };
        // Whatever it was, the journal has it.
        self.behind |= result.is_err();
        result
    }

    /// Sets the store aside and begins with an empty one.
    ///
    /// # Errors
    /// When the directory cannot be renamed or a new store cannot be opened.
    fn heal(&mut self) -> Result<()> {
        // Whoever still reads from the old one reads the old files; they are only renamed.
        let aside = store::set_aside(&self.data)?;
        tracing::warn!(aside = %aside.display(), "store set aside");
        self.store = Arc::new(Store::open(&self.data)?);
        self.begin = None;
        self.register = None;
        Ok(())
    }

    /// Sets the store aside, and fills the new one from every journal.
    ///
    /// # Errors
    /// When journal or store cannot be used.
    pub fn make_anew(&mut self) -> Result<()> {
        self.heal()?;
        self.try_catch_up(None, &mut |_| {})
    }

    /// Makes the store anew from every journal; says how many pulls there are.
    ///
    /// # Errors
    /// When journal or store cannot be used.
    pub fn rebuild(&mut self, progress: &mut dyn FnMut(&str)) -> Result<u64> {
        let aside = store::set_aside(&self.data)?;
        self.begin = None;
        self.register = None;
        self.store = Arc::new(Store::open(&self.data)?);
        self.catch_up(None, progress)?;
        // Only what was made from the journal is deleted, and only now that it has been made again.
        std::fs::remove_dir_all(&aside).map_err(crate::Error::file(
            "cannot remove",
            aside,
            "delete it by hand",
        ))?;
        let mut pulls = 0;
        for doc in self.store.range(ALL) {
            pulls += u64::from(matches!(read(&doc?)?.entry, Some(Entry::Pull(_))));
        }
        Ok(pulls)
    }

    /// The latest moment that records, register and statements speak of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn newest(&mut self) -> Result<Option<Utc>> {
        let mut newest = None;
        if let Some(day) = self.store.last_day()? {
            for doc in self.store.day(&day) {
                newest = newest.max(read(&doc?)?.found.until());
            }
        }
        let mut register = self.register()?;
        register.advance_to_the_end();
        let sets = register.entries().map(|trap| trap.set_at);
        let stated = self.statements()?.into_iter().map(|statement| Some(statement.at));
        Ok(sets.chain(stated).fold(newest, Option::max))
    }

    /// The register as of the newest trip.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn register(&mut self) -> Result<Register> {
        if self.register.is_none() {
            self.refold(None, Batch::default())?;
        }
        Ok(self.register.clone().unwrap_or_default())
    }

    fn try_catch_up(&mut self, live: Option<&str>, progress: &mut dyn FnMut(&str)) -> Result<()> {
        let mut all = Vec::new();
        for segment in journal::list(&self.data)? {
            if live == Some(segment.id.as_str()) {
                continue;
            }
            let length = segment.length()?;
            let resume = self.resume(&segment.id)?;
            if resume.as_ref().is_some_and(|resume| resume.seen == length && !resume.live) {
                continue;
            }
            // What was made from lines that are gone must go too.
            if resume.as_ref().is_some_and(|resume| resume.seen > length) {
                return Err(
                    StoreError::Damaged(format!("journal {} is shorter than it was", segment.id)).into()
                );
            }
            progress(&segment.id);
            let is_live = self.live.as_ref() == Some(&segment.id);
            let folded = match fold_journal(&segment, resume.map(|resume| resume.rest), is_live) {
                Err(crate::Error::Journal(lost @ JournalError::NoLineThere { .. })) => {
                    return Err(StoreError::Damaged(lost.to_string()).into());
                }
                folded => folded?,
            };
            all.extend(folded);
        }
        if all.is_empty() { Ok(()) } else { self.try_update(all) }
    }

    fn resume(&self, segment: &str) -> Result<Option<Resume>> {
        let restart = self.store.restart(segment)?;
        // A state that an older version wrote and this one cannot read: fold that segment from its beginning.
        Ok(restart.and_then(|restart| serde_json::from_str(&restart.state).ok()))
    }

    fn try_update(&mut self, all: Vec<Folded>) -> Result<()> {
        let mut changes = Changes::default();
        let mut last = Batch::default();
        let mut said = Vec::new();
        for folded in all {
            let earlier = self.store.restart(&folded.segment)?.map(|r| r.tail).unwrap_or_default();
            let tail: BTreeSet<&String> = folded.tail.iter().collect();
            let refound: BTreeSet<&str> = folded.found.iter().map(Found::id).collect();
            for gone in earlier.iter().filter(|id| !tail.contains(id) && !refound.contains(id.as_str())) {
                self.forget(gone, &mut changes)?;
            }
            for found in &folded.found {
                voice::label::label(&self.data, found);
                self.keep(&folded.segment, found, &mut changes)?;
                if let Some(ears) = &self.to_ears {
                    // Nobody may be listening any more.
                    notes(found).iter().for_each(|note| drop(ears.send(note.clone())));
                }
            }
            said.extend(folded.statements.iter().cloned());
            for statement in &folded.statements {
                let text = serde_json::to_string(statement).map_err(std::io::Error::other)?;
                last.statements.push((text.clone(), text.into_bytes()));
            }
            let resume = Resume { seen: folded.seen, rest: folded.rest, live: folded.live };
            let state = serde_json::to_string(&resume).map_err(std::io::Error::other)?;
            let restart = Restart { offset: resume.rest.offset, state, tail: folded.tail };
            last.restart.push((folded.segment, restart));
        }
        changes.flush(&self.store)?;
        if !last.statements.is_empty() {
            self.store
                .apply(&Batch { statements: std::mem::take(&mut last.statements), ..Batch::default() })?;
        }
        if !said.is_empty() {
            let heard = self.hear(said, &mut changes);
            if !matches!(heard, Ok(true)) {
                changes.stated = true;
                self.begin = None;
            }
            heard?;
        }
        match changes.earliest {
            _ if changes.stated => self.refold(None, last),
            Some(earliest) => self.refold(Some(earliest), last),
            None => Ok(self.store.apply(&last)?),
        }
    }

    /// Takes what recognisers heard of the newest trips' notes into the ledger that those are folded from; false when
    /// anything else was stated, or of older ones: then all is to be folded anew. A note a minute, all of a season each
    /// time, would keep a small computer busy.
    fn hear(&mut self, mut said: Vec<Statement>, changes: &mut Changes) -> Result<bool> {
        let Some((from, ledger)) = &mut self.begin else { return Ok(false) };
        // In the order in which a ledger takes them that is made anew.
        said.sort_by_cached_key(|s| (s.at, serde_json::to_string(&s.said).unwrap_or_default()));
        let mut of: BTreeSet<String> = BTreeSet::new();
        for statement in &said {
            match &statement.said {
                Stated::Heard(heard) if Some(statement.at) > self.stated && ledger.hear(heard) => {
                    of.insert(heard.note.clone());
                }
                _ => return Ok(false),
            }
        }
        self.stated = said.last().map(|statement| statement.at);
        for doc in self.store.range(from.0..i64::MAX) {
            let found = read(&doc?)?.found;
            let mut told = false;
            notes(&found).iter().for_each(|note| told |= of.remove(&note.id));
            if told {
                changes.touch(found.at());
            }
        }
        Ok(of.is_empty())
    }

    fn keep(&self, segment: &str, found: &Found, changes: &mut Changes) -> Result<()> {
        let before = self.store.get(found.id())?;
        let kept = before.as_ref().and_then(|doc| read(doc).ok());
        if kept.as_ref().is_some_and(|kept| kept.found == *found && kept.entry.is_some()) {
            return Ok(());
        }
        if let Some(kept) = &kept {
            changes.touch(kept.found.at());
        }
        changes.touch(found.at());
        let entry = kept.and_then(|kept| kept.entry);
        changes.put(document(segment, found, entry)?, &self.store)
    }

    fn forget(&self, id: &str, changes: &mut Changes) -> Result<()> {
        if let Some(doc) = self.store.get(id)? {
            changes.touch(read(&doc)?.found.at());
            changes.batch.remove.push(id.to_owned());
        }
        Ok(())
    }

    /// Runs the second fold from the trip that holds `from`, or from the beginning. What is in `last`, the restart
    /// points, goes into the store in one transaction with the last records.
    fn refold(&mut self, from: Option<Utc>, last: Batch) -> Result<()> {
        let begin = self.begin.take().filter(|(at, _)| from.is_some_and(|from| from >= *at));
        let (start, mut ledger) = match begin {
            Some((at, ledger)) => (Some(at), ledger),
            None => {
                let statements = self.statements()?;
                self.stated = statements.iter().map(|statement| statement.at).max();
                (None, Ledger::new(statements))
            }
        };
        if ledger.moves_notes() {
            for doc in self.store.range(ALL) {
                ledger.lend(&read(&doc?)?.found);
            }
        }
        let newest = self.store.last_day()?.and_then(|day| Utc::parse(&format!("{day}T12:00:00Z")));
        let mut segments = BTreeMap::new();
        let mut changes = Changes::default();
        for doc in self.store.range(start.map_or(store::UNDATED, |at| at.0)..i64::MAX) {
            let doc = doc?;
            let found = read(&doc)?.found;
            segments.insert(found.id().to_owned(), doc.segment);
            let at = found.at();
            let settled = ledger.settle(at);
            if let (true, Some(at), Some(newest)) = (ledger.between_trips(), at, newest)
                && newest - at < NEAR
            {
                self.begin = Some((at, ledger.clone()));
            }
            for outcome in settled.into_iter().chain(ledger.take(found)) {
                self.put_outcome(&mut segments, outcome, &mut changes)?;
            }
        }
        for outcome in ledger.finish() {
            self.put_outcome(&mut segments, outcome, &mut changes)?;
        }
        changes.batch.restart = last.restart;
        changes.flush(&self.store)?;
        self.register = Some(ledger.register().clone());
        Ok(())
    }

    fn put_outcome(
        &self,
        segments: &mut BTreeMap<String, String>,
        (found, entry): (Found, Entry),
        changes: &mut Changes,
    ) -> Result<()> {
        let segment = segments.remove(found.id()).unwrap_or_default();
        changes.put(document(&segment, &found, Some(entry))?, &self.store)
    }

    fn statements(&self) -> Result<Vec<Statement>> {
        let read = |bytes: Vec<u8>| {
            serde_json::from_slice(&bytes)
                .map_err(|e| StoreError::Damaged(format!("a statement: {e}")).into())
        };
        self.store.statements()?.into_iter().map(|(_, bytes)| read(bytes)).collect()
    }
}

/// Documents on their way into the store, and how far back they reach.
#[derive(Default)]
struct Changes {
    batch: Batch,
    /// The earliest moment that changed; undated counts as before all time.
    earliest: Option<Utc>,
    stated: bool,
}

impl Changes {
    fn touch(&mut self, at: Option<Utc>) {
        let at = at.unwrap_or(Utc(i64::MIN));
        self.earliest = Some(self.earliest.map_or(at, |earliest| earliest.min(at)));
    }

    fn put(&mut self, doc: Doc, store: &Store) -> Result<()> {
        self.batch.put.push(doc);
        if self.batch.put.len() >= CHUNK { self.flush(store) } else { Ok(()) }
    }

    fn flush(&mut self, store: &Store) -> Result<()> {
        store.apply(&std::mem::take(&mut self.batch))?;
        Ok(())
    }
}

/// What a document says.
///
/// # Errors
/// [`StoreError::Damaged`] when it cannot be read.
pub fn read(doc: &Doc) -> Result<Kept, StoreError> {
    serde_json::from_slice(&doc.body).map_err(|e| StoreError::Damaged(format!("document {}: {e}", doc.id)))
}

fn document(segment: &str, found: &Found, entry: Option<Entry>) -> Result<Doc> {
    let trap = match &entry {
        Some(Entry::Pull(record)) => record.trap.clone(),
        _ => None,
    };
    let kept = Kept { found: found.clone(), entry };
    Ok(Doc {
        at: found.at().map_or(store::UNDATED, |at| at.0),
        id: found.id().to_owned(),
        segment: segment.to_owned(),
        day: found.day(),
        trap,
        body: serde_json::to_vec(&kept).map_err(std::io::Error::other)?,
    })
}

/// Folds one journal file from a restart point, or from its beginning, to its end, or as far as a live one goes.
fn fold_journal(segment: &journal::Segment, rest: Option<Rest>, live: bool) -> Result<Option<Folded>> {
    // Without a state there is nothing to go on from, and the run line has to be read again.
    let rest = rest.filter(|rest| rest.haul.is_some());
    let from = rest.as_ref().map_or(0, |rest| rest.offset);
    let reader = Reader::open(&segment.path, from)?;
    let mut fold = match rest {
        Some(Rest { offset, haul: Some(haul) }) => {
            Some(Segment::resume(haul.clone(), Rest { offset, haul: Some(haul) }))
        }
        _ => None,
    };
    for entry in reader {
        let entry = entry?;
        let fold = fold.get_or_insert_with(|| Segment::of_journal(&segment.id, &entry));
        // What the fold refuses now it refused when it was journaled.
        let _ = fold.take(&entry.stamped);
        fold.journaled(entry.after);
        fold.news();
    }
    Ok(fold.map(|mut fold| fold.folded(live)))
}
