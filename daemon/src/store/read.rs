//! Reading: by id, in order of time, by day, by trap.
//!
//! Reads go on while batches are written. Each single read sees whole batches only, but two reads may see different ones;
//! so what does not fit together is looked at once more with batches kept out, before it is called damage.

use std::ops::Range;

use super::codec::{self, Flaw};
use super::db::{Open, damaged, sled_error};
use super::{Doc, Restart, Store, StoreError};

impl Store {
    /// The document with this id.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn get(&self, id: &str) -> Result<Option<Doc>, StoreError> {
        let look = |open: &Open| match open.by_id.get(id).map_err(sled_error)? {
            None => Ok(Looked::Gone),
            Some(key) => {
                let doc = open.docs.get(&key).map_err(sled_error)?;
                let doc = doc.map(|value| codec::decode_doc(&key, &value)).transpose().map_err(damaged)?;
                Ok(doc
                    .filter(|doc| doc.id == id)
                    .map_or(Looked::Torn("an id without its document"), Looked::Found))
            }
        };
        self.guarded(|open| self.settle(open, look))
    }

    /// Documents from one time up to but not including another, in order of time; [`super::UNDATED`] ones come first.
    pub fn range(&self, at: Range<i64>) -> Docs<'_> {
        let (from, to) = (codec::time_key(at.start), codec::time_key(at.end.max(at.start)));
        self.docs(Index::Time, |open| open.docs.range(from..to))
    }

    /// The documents of a day, in order of time.
    pub fn day(&self, day: &str) -> Docs<'_> {
        self.docs(Index::Day, |open| open.by_day.scan_prefix(codec::name_prefix(day)))
    }

    /// The documents of a trap, in order of time.
    pub fn trap(&self, trap: &str) -> Docs<'_> {
        self.docs(Index::Trap, |open| open.by_trap.scan_prefix(codec::name_prefix(trap)))
    }

    /// The last day that has documents.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn last_day(&self) -> Result<Option<String>, StoreError> {
        self.guarded(|open| match open.by_day.last().map_err(sled_error)? {
            Some((row, _)) => Ok(Some(codec::split_row(&row).map_err(damaged)?.0.to_owned())),
            None => Ok(None),
        })
    }

    /// All days that have documents, in order.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn days(&self) -> Result<Vec<String>, StoreError> {
        self.guarded(|open| {
            let mut days = Vec::new();
            let mut from = Vec::new();
            while let Some(found) = open.by_day.range(from..).next() {
                let (row, _) = found.map_err(sled_error)?;
                let (day, _) = codec::split_row(&row).map_err(damaged)?;
                days.push(day.to_owned());
                // Past every row of this day: no id begins with the byte 0xff.
                from = codec::row(day, &[0xff; 9]);
            }
            Ok(days)
        })
    }

    /// Where to go on with a segment; `None` when nothing of it was folded.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn restart(&self, segment: &str) -> Result<Option<Restart>, StoreError> {
        self.guarded(|open| {
            let value = open.segments.get(segment).map_err(sled_error)?;
            let restart = value.map(|value| codec::decode_restart(segment.as_bytes(), &value));
            restart.transpose().map_err(damaged)
        })
    }

    /// All segments and where to go on with them, by id.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn segments(&self) -> Result<Vec<(String, Restart)>, StoreError> {
        self.guarded(|open| all(&open.segments, codec::decode_restart))
    }

    /// All statements, by key.
    ///
    /// # Errors
    /// [`StoreError::Damaged`].
    pub fn statements(&self) -> Result<Vec<(String, Vec<u8>)>, StoreError> {
        self.guarded(|open| all(&open.statements, codec::decode_bytes))
    }

    fn docs(&self, index: Index, rows: impl FnOnce(&Open) -> sled::Iter) -> Docs<'_> {
        match self.guarded(|open| Ok(rows(open))) {
            Ok(rows) => Docs { store: self, index, rows: Some(rows), error: None },
            Err(error) => Docs { store: self, index, rows: None, error: Some(error) },
        }
    }

    /// Looks, and if what was found does not fit together, looks again with batches kept out.
    fn settle(
        &self,
        open: &Open,
        look: impl Fn(&Open) -> Result<Looked, StoreError>,
    ) -> Result<Option<Doc>, StoreError> {
        let mut looked = look(open)?;
        if let Looked::Torn(_) = looked {
            let _writing = self.writing();
            looked = look(open)?;
        }
        match looked {
            Looked::Found(doc) => Ok(Some(doc)),
            Looked::Gone => Ok(None),
            Looked::Torn(flaw) => Err(damaged(flaw)),
        }
    }
}

/// What came of looking for a document.
enum Looked {
    Found(Doc),
    Gone,
    Torn(Flaw),
}

/// By which order documents are read.
#[derive(Clone, Copy)]
enum Index {
    Time,
    Day,
    Trap,
}

/// Documents one after the other, as they are read. After an error it ends.
pub struct Docs<'a> {
    store: &'a Store,
    index: Index,
    rows: Option<sled::Iter>,
    error: Option<StoreError>,
}

impl Docs<'_> {
    fn advance(&mut self) -> Result<Option<Doc>, StoreError> {
        if let Some(error) = self.error.take() {
            return Err(error);
        }
        let Some(rows) = &mut self.rows else { return Ok(None) };
        let (store, index) = (self.store, self.index);
        store.guarded(|open| {
            for row in rows.by_ref() {
                let (key, value) = row.map_err(sled_error)?;
                let doc = match index {
                    Index::Time => {
                        // sled looks at the limit of its cache only after many single reads: without one for each
                        // document, all of a long scan stays in memory.
                        open.docs.contains_key(&key).map_err(sled_error)?;
                        Some(codec::decode_doc(&key, &value).map_err(damaged)?)
                    }
                    Index::Day | Index::Trap => store.settle(open, |open| follow(open, index, &key))?,
                };
                if doc.is_some() {
                    return Ok(doc);
                }
            }
            Ok(None)
        })
    }
}

impl Iterator for Docs<'_> {
    type Item = Result<Doc, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        let next = self.advance();
        if !matches!(next, Ok(Some(_))) {
            self.rows = None;
        }
        next.transpose()
    }
}

/// The document an index row points to; gone when the row is no longer there either.
fn follow(open: &Open, index: Index, row: &[u8]) -> Result<Looked, StoreError> {
    let (name, key) = codec::split_row(row).map_err(damaged)?;
    let doc = open.docs.get(key).map_err(sled_error)?;
    let doc = doc.map(|value| codec::decode_doc(key, &value)).transpose().map_err(damaged)?;
    let (tree, doc) = match index {
        Index::Trap => (&open.by_trap, doc.filter(|doc| doc.trap.as_deref() == Some(name))),
        _ => (&open.by_day, doc.filter(|doc| doc.day.as_deref() == Some(name))),
    };
    Ok(match doc {
        Some(doc) => Looked::Found(doc),
        None if tree.contains_key(row).map_err(sled_error)? => {
            Looked::Torn("an index row without its document")
        }
        None => Looked::Gone,
    })
}

fn all<T>(
    tree: &sled::Tree,
    decode: impl Fn(&[u8], &[u8]) -> Result<T, Flaw>,
) -> Result<Vec<(String, T)>, StoreError> {
    let mut found = Vec::new();
    for entry in tree.iter() {
        let (key, value) = entry.map_err(sled_error)?;
        found.push((codec::text(&key).map_err(damaged)?, decode(&key, &value).map_err(damaged)?));
    }
    Ok(found)
}
