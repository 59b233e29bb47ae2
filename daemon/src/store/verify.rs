//! A look at everything there is.

use super::codec::{self, Counts, Flaw};
use super::db::{Open, damaged, sled_error};
use super::{Store, StoreError};

impl Store {
    /// Reads every entry: checksums, index rows, and that none is missing or left over. Says how many documents there are.
    ///
    /// Batches may be written meanwhile; only if something does not fit is it read again with batches kept out.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn verify(&self) -> Result<u64, StoreError> {
        self.guarded(|open| {
            let found = scan(open)?;
            if found.is_ok() {
                return found.map_err(damaged);
            }
            let _writing = self.writing();
            scan(open)?.map_err(damaged)
        })
    }
}

/// Every document has its rows, and no tree has more entries than that: so every row has its document too.
fn scan(open: &Open) -> Result<Result<u64, Flaw>, StoreError> {
    let mut expected = Counts::default();
    for entry in open.docs.iter() {
        let (key, value) = entry.map_err(sled_error)?;
        let doc = codec::decode_doc(&key, &value).map_err(damaged)?;
        expected.docs += 1;
        if open.by_id.get(&doc.id).map_err(sled_error)? != Some(key.clone()) {
            return Ok(Err("a document not under its id"));
        }
        if let Some(day) = &doc.day {
            expected.days += 1;
            if !open.by_day.contains_key(codec::row(day, &key)).map_err(sled_error)? {
                return Ok(Err("a document not under its day"));
            }
        }
        if let Some(trap) = &doc.trap {
            expected.traps += 1;
            if !open.by_trap.contains_key(codec::row(trap, &key)).map_err(sled_error)? {
                return Ok(Err("a document not under its trap"));
            }
        }
    }
    for entry in open.segments.iter() {
        let (key, value) = entry.map_err(sled_error)?;
        codec::text(&key).and(codec::decode_restart(&key, &value)).map_err(damaged)?;
        expected.segments += 1;
    }
    for entry in open.statements.iter() {
        let (key, value) = entry.map_err(sled_error)?;
        codec::text(&key).and(codec::decode_bytes(&key, &value)).map_err(damaged)?;
        expected.statements += 1;
    }
    if open.counts()? != expected {
        return Ok(Err("entries missing or left over"));
    }
    for (tree, entries) in
        [(&open.by_id, expected.docs), (&open.by_day, expected.days), (&open.by_trap, expected.traps)]
    {
        let mut found = 0;
        for row in tree.iter() {
            row.map_err(sled_error)?;
            found += 1;
        }
        if found != entries {
            return Ok(Err("index rows missing or left over"));
        }
    }
    Ok(Ok(expected.docs))
}
