//! One segment on its way through the first fold: the path that a run, the demo, a tape and a rebuild share.
//!
//! They differ only in where the stamped inputs come from and whether they still have to be journaled. What is found is
//! handed to the records as a [`Folded`], with the point from which the fold can be taken up again.

use gunwale_protocol::finding::Finding;
use gunwale_protocol::haul::{Event, Haul, NotTaken};
use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Run, Stamped, Statement};
use gunwale_protocol::nmea::Epoch;
use gunwale_protocol::sizes::Sizes;
use gunwale_protocol::tally::Speech;
use gunwale_protocol::time::{Mono, Utc};
use gunwale_protocol::trip::Found;
use serde::{Deserialize, Serialize};

use crate::journal::Entry;

/// At rest, a new restart point is kept after this many bytes of journal.
const REST_EVERY: u64 = 4 << 20;

/// Where a fold can be taken up again.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Rest {
    /// The journal's length up to here, bytes.
    pub offset: u64,
    /// The fold's state here; `None` at the very start, when the run line is all there is to know.
    pub haul: Option<Haul>,
}

/// What a stretch of a segment came to.
#[derive(Debug)]
pub struct Folded {
    /// The segment's id.
    pub segment: String,
    /// Everything found, later over earlier of the same id.
    pub found: Vec<Found>,
    /// Those of them that may still change or vanish.
    pub tail: Vec<String>,
    /// What persons stated.
    pub statements: Vec<Statement>,
    /// The restart point.
    pub rest: Rest,
    /// The journal's length that has been folded, bytes.
    pub seen: u64,
    /// The segment is being written: an open pull is open, and cut when it is next read with nobody writing.
    pub live: bool,
}

/// What came of one input, for those who want to tell it.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// A position epoch, as received.
    Fix(Epoch, Option<Utc>),
    /// A stop became a record.
    Opened(String),
    /// The boat left it.
    Left(String),
    /// A record is complete.
    Recorded(String),
}

/// A segment being folded.
#[derive(Debug)]
pub struct Segment {
    haul: Haul,
    rest: Rest,
    seen: u64,
    busy: bool,
    found: Vec<Found>,
    statements: Vec<Statement>,
    news: Vec<News>,
}

impl Segment {
    /// A segment from its beginning: the run line ends at `offset` in the journal.
    pub fn new(run: &Run, t: Mono, offset: u64) -> Segment {
        Segment::resume(Haul::new(run.clone(), t), Rest { offset, haul: None })
    }

    /// A segment read from its journal, which begins with this entry: the run line, unless that is damaged. Then all else
    /// is there, only the boat and its time zone are not known.
    pub fn of_journal(id: &str, first: &Entry) -> Segment {
        let t = first.stamped.t;
        match &first.stamped.input {
            Input::Run(run) => Segment::new(run, t, first.after),
            _ => {
                let (boat, program) = (String::new(), String::new());
                let (timezone, system) = ("UTC".to_owned(), None);
                let (sizes, words) = (Sizes::default(), Speech::default());
                let schema = JOURNAL_SCHEMA;
                let run =
                    Run { id: id.into(), boat, timezone, program, schema, system, rules: None, sizes, words };
                Segment::new(&run, t, 0)
            }
        }
    }

    /// A segment taken up again at a restart point.
    pub fn resume(haul: Haul, rest: Rest) -> Segment {
        Segment {
            haul,
            seen: rest.offset,
            rest,
            busy: false,
            found: Vec::new(),
            statements: Vec::new(),
            news: Vec::new(),
        }
    }

    /// The fold's state.
    pub fn haul(&self) -> &Haul {
        &self.haul
    }

    /// Takes one input whose journal line ends, or will end, at `offset`.
    ///
    /// # Errors
    /// As [`Haul::take`].
    pub fn take(&mut self, input: &Stamped) -> Result<(), NotTaken> {
        let taken = self.haul.take(input);
        self.collect();
        taken
    }

    /// The input just taken stands in the journal up to `offset`.
    pub fn journaled(&mut self, offset: u64) {
        self.seen = offset;
        let rests = self.haul.at_rest();
        if rests && (self.busy || offset - self.rest.offset > REST_EVERY) {
            self.rest = Rest { offset, haul: Some(self.haul.clone()) };
        }
        self.busy = !rests;
    }

    /// Lets time pass on a live segment.
    pub fn advance(&mut self, now: Mono) {
        self.haul.advance(now);
        self.collect();
    }

    /// The segment's input is at its end.
    pub fn finish(&mut self) {
        self.haul.finish();
        self.collect();
    }

    /// What is new since the last call, in order.
    pub fn news(&mut self) -> std::vec::Drain<'_, News> {
        self.news.drain(..)
    }

    /// Hands over what was found since the last call. A live segment's open pull is open; an ended one's is cut.
    pub fn folded(&mut self, live: bool) -> Folded {
        let mut found = std::mem::take(&mut self.found);
        let mut tail = Vec::new();
        for finding in self.haul.provisional(live) {
            let provisional = self.own(finding);
            tail.push(provisional.id().to_owned());
            found.push(provisional);
        }
        Folded {
            segment: self.haul.run().id.clone(),
            found,
            tail,
            statements: std::mem::take(&mut self.statements),
            rest: self.rest.clone(),
            seen: self.seen,
            live,
        }
    }

    fn own(&self, finding: Finding) -> Found {
        let run = self.haul.run();
        let (boat, timezone) = (run.boat.clone(), run.timezone.clone());
        Found {
            boat,
            timezone,
            rules: run.rules.clone(),
            sizes: run.sizes.clone(),
            words: run.words.clone(),
            finding,
        }
    }

    fn collect(&mut self) {
        while let Some(event) = self.haul.poll() {
            match event {
                Event::Fix(epoch, utc) => self.news.push(News::Fix(epoch, utc)),
                Event::Opened(id) => self.news.push(News::Opened(id)),
                Event::Left(id) => self.news.push(News::Left(id)),
                Event::Stated(statement) => self.statements.push(statement),
                Event::Found(finding) => {
                    let found = self.own(finding);
                    if matches!(found.finding, Finding::Stop(_)) {
                        self.news.push(News::Recorded(found.id().to_owned()));
                    }
                    self.found.push(found);
                }
            }
        }
    }
}
