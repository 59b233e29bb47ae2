//! The notes that some recogniser has not heard yet: what the records have, less what was stated. Nothing of it is kept
//! anywhere else, so a restart finds the same.

use std::collections::{BTreeMap, BTreeSet};

use gunwale_protocol::finding::Note;
use gunwale_protocol::input::{Heard, Stated};
use gunwale_protocol::time::Utc;

use crate::voice;

/// A recogniser that failed so often on a note is not asked for it again, until the next start or by command.
const TRIES: u32 = 3;

/// One note to be heard by one recogniser.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// The note's id.
    pub note: String,
    /// Its file, relative to the data directory.
    pub file: String,
    /// Which recogniser, counted from 0.
    pub which: usize,
}

#[derive(Debug)]
struct Waiting {
    file: String,
    /// Who is still to hear it, and how often that failed.
    left: BTreeMap<usize, u32>,
}

/// Notes waiting to be heard.
#[derive(Debug)]
pub struct Queue {
    names: Vec<String>,
    /// By time and id; undated ones are the oldest.
    waiting: BTreeMap<(Option<Utc>, String), Waiting>,
    /// When each of them was.
    at: BTreeMap<String, Option<Utc>>,
    /// Who has heard what.
    heard: BTreeSet<(String, String)>,
    gone: BTreeSet<String>,
}

impl Queue {
    /// An empty one for recognisers of these names.
    pub fn new(names: &[String]) -> Queue {
        Queue {
            names: names.to_vec(),
            waiting: BTreeMap::new(),
            at: BTreeMap::new(),
            heard: BTreeSet::new(),
            gone: BTreeSet::new(),
        }
    }

    /// Takes note of what was stated.
    pub fn stated(&mut self, stated: &Stated) {
        match stated {
            Stated::Heard(heard) => self.heard(heard),
            Stated::Forget(forgotten) => {
                self.gone.insert(forgotten.of.clone());
                self.drop_note(&forgotten.of);
            }
            Stated::Trap(_) | Stated::Correct(_) => {}
        }
    }

    /// Somebody heard a note. A program that gives no name stands for all: what it brought in is not replaced unasked.
    fn heard(&mut self, heard: &Heard) {
        for (which, name) in self.names.clone().into_iter().enumerate() {
            if heard.by.as_ref().is_none_or(|by| *by == name) {
                self.heard.insert((heard.note.clone(), name));
                self.done(&heard.note, which);
            }
        }
    }

    /// Takes a note as it is found, or found again with another time.
    pub fn note(&mut self, note: &Note) {
        let Some(sound) = note.sound.as_ref().filter(|_| note.text.is_none()) else { return };
        if self.gone.contains(&note.id) || !voice::is_note_file(&sound.file) {
            return;
        }
        let key = (note.at.utc, note.id.clone());
        if let Some(before) = self.at.insert(note.id.clone(), note.at.utc) {
            if let Some(waiting) = self.waiting.remove(&(before, note.id.clone())) {
                self.waiting.insert(key, waiting);
            }
            return;
        }
        let unheard = |(which, name): (usize, &String)| {
            (!self.heard.contains(&(note.id.clone(), name.clone()))).then_some((which, 0))
        };
        let left: BTreeMap<usize, u32> = self.names.iter().enumerate().filter_map(unheard).collect();
        if !left.is_empty() {
            self.waiting.insert(key, Waiting { file: sound.file.clone(), left });
        }
    }

    /// The next to be heard by a recogniser that is ready: the newest, those that failed before last.
    pub fn next(&self, ready: impl Fn(usize) -> bool) -> Option<Job> {
        let job = |failed: bool| {
            self.waiting.iter().rev().find_map(|((_, note), waiting)| {
                let fits = |(which, tries): &(&usize, &u32)| (**tries > 0) == failed && ready(**which);
                let (which, _) = waiting.left.iter().find(fits)?;
                Some(Job { note: note.clone(), file: waiting.file.clone(), which: *which })
            })
        };
        job(false).or_else(|| job(true))
    }

    /// This recogniser need not hear the note any more.
    pub fn done(&mut self, note: &str, which: usize) {
        self.change(note, |waiting| {
            waiting.left.remove(&which);
        });
    }

    /// This recogniser failed on the note; says whether it is given up.
    pub fn failed(&mut self, note: &str, which: usize) -> bool {
        let mut given_up = false;
        self.change(note, |waiting| {
            if let Some(tries) = waiting.left.get_mut(&which) {
                *tries += 1;
                given_up = *tries >= TRIES;
            }
            if given_up {
                waiting.left.remove(&which);
            }
        });
        given_up
    }

    /// Nobody need hear the note: its sound is gone.
    pub fn drop_note(&mut self, note: &str) {
        self.change(note, |waiting| waiting.left.clear());
    }

    /// Whether somebody still is to hear it.
    pub fn waits(&self, note: &str) -> bool {
        self.at.get(note).is_some_and(|at| self.waiting.contains_key(&(*at, note.to_owned())))
    }

    /// How many notes wait.
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// Whether none does.
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    fn change(&mut self, note: &str, change: impl FnOnce(&mut Waiting)) {
        let Some(at) = self.at.get(note) else { return };
        let key = (*at, note.to_owned());
        if let Some(waiting) = self.waiting.get_mut(&key) {
            change(waiting);
            if waiting.left.is_empty() {
                self.waiting.remove(&key);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use gunwale_protocol::finding::{Moment, Sound};
    use gunwale_protocol::input::Forgotten;
    use gunwale_protocol::time::Mono;

    use super::*;

    fn note(id: &str, at: Option<i64>) -> Note {
        let file = format!("notes/undated/{id}.wav");
        Note {
            id: id.into(),
            at: Moment { t: Mono(0), utc: at.map(Utc) },
            text: None,
            sound: Some(Sound { file, length_us: 1, speech_us: 0 }),
            late: false,
        }
    }

    fn heard(id: &str, by: Option<&str>) -> Stated {
        Stated::Heard(Heard { note: id.into(), by: by.map(Into::into), ..Heard::default() })
    }

    fn queue() -> Queue {
        Queue::new(&["one".into(), "two".into()])
    }

    /// All jobs in their order, as `note recogniser`, each done at once.
    fn order(queue: &mut Queue) -> Vec<String> {
        let mut order = Vec::new();
        while let Some(job) = queue.next(|_| true) {
            queue.done(&job.note, job.which);
            order.push(format!("{} {}", job.note, job.which));
        }
        assert!(queue.is_empty());
        order
    }

    #[test]
    fn the_newest_is_heard_first_and_nothing_twice() {
        let mut queue = queue();
        queue.stated(&heard("b", Some("one")));
        queue.stated(&heard("d", None));
        queue.stated(&heard("e", Some("another")));
        queue.stated(&Stated::Forget(Forgotten { of: "f".into() }));
        for (id, at) in
            [("a", Some(1)), ("b", Some(2)), ("c", None), ("d", Some(3)), ("e", Some(4)), ("f", Some(5))]
        {
            queue.note(&note(id, at));
            queue.note(&note(id, at));
        }
        assert_eq!(order(&mut queue), ["e 0", "e 1", "b 1", "a 0", "a 1", "c 0", "c 1"]);
        queue.note(&note("a", Some(1)));
        assert_eq!(order(&mut queue), [""; 0]);
    }

    #[test]
    fn what_was_typed_or_lies_elsewhere_is_left_alone() {
        let mut queue = queue();
        queue.note(&Note { text: Some("seven crabs".into()), ..note("a", Some(1)) });
        queue.note(&Note { sound: None, ..note("b", Some(1)) });
        let elsewhere = Sound { file: "/etc/passwd".into(), length_us: 1, speech_us: 0 };
        queue.note(&Note { sound: Some(elsewhere), ..note("c", Some(1)) });
        assert!(queue.is_empty());
    }

    #[test]
    fn what_fails_comes_last_and_is_given_up_in_the_end() {
        let mut queue = queue();
        queue.note(&note("a", Some(1)));
        queue.note(&note("b", Some(2)));
        let first = |queue: &Queue| queue.next(|which| which == 0).map(|job| job.note);
        assert!(!queue.failed("b", 0));
        assert_eq!(first(&queue).as_deref(), Some("a"));
        queue.done("a", 0);
        assert_eq!(first(&queue).as_deref(), Some("b"));
        assert!(!queue.failed("b", 0));
        assert!(queue.failed("b", 0));
        assert_eq!(first(&queue), None);
        assert!(queue.waits("b"), "the other one has not heard it");
        queue.drop_note("b");
        assert!(!queue.waits("b"));
    }

    #[test]
    fn a_note_that_is_dated_later_keeps_its_place_by_its_date() {
        let mut queue = queue();
        queue.note(&note("a", None));
        queue.note(&note("b", Some(1)));
        queue.done("a", 0);
        queue.note(&note("a", Some(2)));
        assert_eq!(order(&mut queue), ["a 1", "b 0", "b 1"]);
    }
}
