//! Writing: one batch, one transaction over all trees, on the disk before it returns.

use sled::transaction::{ConflictableTransactionError, TransactionError, Transactional, TransactionalTree};

use super::codec::{self, Counts};
use super::db::{COUNTS, damaged, sled_error};
use super::{Batch, Doc, Store, StoreError};

type Step<T> = Result<T, ConflictableTransactionError<Stop>>;

/// Why a transaction ends without a change.
enum Stop {
    /// There was nothing to change. sled would write a few bytes all the same.
    Unchanged,
    Failed(StoreError),
}

impl Store {
    /// Makes all changes of a batch, or none. What would not change a byte is not written.
    ///
    /// The inputs behind it must be synced in the journal before: else a power cut leaves documents of what never was.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] or [`StoreError::Disk`]; the store is then as before or as after, never between.
    pub fn apply(&self, batch: &Batch) -> Result<(), StoreError> {
        let _writing = self.writing();
        self.guarded(|open| {
            let trees = (
                &open.docs,
                &open.by_id,
                &open.by_day,
                &open.by_trap,
                &open.segments,
                &open.statements,
                &open.meta,
            );
            let written = trees.transaction(|(docs, by_id, by_day, by_trap, segments, statements, meta)| {
                let counts = match meta.get(COUNTS)? {
                    Some(value) => codec::decode_counts(COUNTS, &value).or_else(flaw)?,
                    None => Counts::default(),
                };
                let mut all = All { docs, by_id, by_day, by_trap, counts, changed: false };
                for id in &batch.remove {
                    if let Some((key, old)) = all.find(id)? {
                        all.remove(&key, &old)?;
                    }
                }
                for doc in &batch.put {
                    all.put(doc)?;
                }
                for (segment, restart) in &batch.restart {
                    let value = codec::encode_restart(segment.as_bytes(), restart);
                    all.counts.segments += set(segments, segment, value, &mut all.changed)?;
                }
                for (key, body) in &batch.statements {
                    let value = codec::encode_bytes(key.as_bytes(), body);
                    all.counts.statements += set(statements, key, value, &mut all.changed)?;
                }
                if !all.changed {
                    return Err(ConflictableTransactionError::Abort(Stop::Unchanged));
                }
                if all.counts != counts {
                    meta.insert(COUNTS, codec::encode_counts(COUNTS, &all.counts))?;
                }
                Ok(())
            });
            match written {
                Ok(()) => open.sync(),
                Err(TransactionError::Abort(Stop::Unchanged)) => Ok(()),
                Err(TransactionError::Abort(Stop::Failed(e))) => Err(e),
                Err(TransactionError::Storage(e)) => Err(sled_error(e)),
            }
        })
    }
}

/// The trees of documents inside a transaction.
struct All<'a> {
    docs: &'a TransactionalTree,
    by_id: &'a TransactionalTree,
    by_day: &'a TransactionalTree,
    by_trap: &'a TransactionalTree,
    counts: Counts,
    changed: bool,
}

impl All<'_> {
    /// The key and value of the document with this id.
    fn find(&self, id: &str) -> Step<Option<(sled::IVec, sled::IVec)>> {
        let Some(key) = self.by_id.get(id)? else { return Ok(None) };
        match self.docs.get(&key)? {
            Some(value) => Ok(Some((key, value))),
            None => flaw("an id without its document"),
        }
    }

    fn put(&mut self, doc: &Doc) -> Step<()> {
        let key = codec::doc_key(doc.at, &doc.id);
        let value = codec::encode_doc(&key, doc);
        if let Some((old_key, old)) = self.find(&doc.id)? {
            if old_key == key && old == value {
                return Ok(());
            }
            self.remove(&old_key, &old)?;
        }
        self.changed = true;
        self.counts.docs += 1;
        self.docs.insert(key.as_slice(), value)?;
        self.by_id.insert(doc.id.as_bytes(), key.as_slice())?;
        if let Some(day) = &doc.day {
            self.counts.days += 1;
            self.by_day.insert(codec::row(day, &key), &[])?;
        }
        if let Some(trap) = &doc.trap {
            self.counts.traps += 1;
            self.by_trap.insert(codec::row(trap, &key), &[])?;
        }
        Ok(())
    }

    fn remove(&mut self, key: &[u8], value: &[u8]) -> Step<()> {
        let old = codec::decode_doc(key, value).or_else(flaw)?;
        self.changed = true;
        self.docs.remove(key)?;
        self.by_id.remove(old.id.as_bytes())?;
        less(&mut self.counts.docs)?;
        if let Some(day) = &old.day {
            self.by_day.remove(codec::row(day, key))?;
            less(&mut self.counts.days)?;
        }
        if let Some(trap) = &old.trap {
            self.by_trap.remove(codec::row(trap, key))?;
            less(&mut self.counts.traps)?;
        }
        Ok(())
    }
}

/// Writes a value if it differs, and says by how much the tree grew.
fn set(tree: &TransactionalTree, key: &str, value: Vec<u8>, changed: &mut bool) -> Step<u64> {
    let old = tree.get(key)?;
    if old.as_deref() == Some(value.as_slice()) {
        return Ok(0);
    }
    *changed = true;
    tree.insert(key, value)?;
    Ok(u64::from(old.is_none()))
}

fn less(count: &mut u64) -> Step<()> {
    match count.checked_sub(1) {
        Some(less) => {
            *count = less;
            Ok(())
        }
        None => flaw("more removed than counted"),
    }
}

fn flaw<T>(what: &'static str) -> Step<T> {
    Err(ConflictableTransactionError::Abort(Stop::Failed(damaged(what))))
}
