//! Cues that wait to be played: few, and the important ones.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::Cue;

/// How many may wait.
const ROOM: usize = 3;

/// The waiting cues, the oldest first.
#[derive(Debug, Default)]
pub struct Queue {
    waiting: Mutex<VecDeque<Cue>>,
    bell: Condvar,
}

impl Queue {
    /// Puts a cue at the end, in place of another when there is no room, or not at all.
    pub fn put(&self, cue: Cue) {
        let mut waiting = self.waiting();
        if waiting.len() >= ROOM {
            // The first of those that weigh least.
            let least = (0..waiting.len()).min_by_key(|&n| waiting.get(n).map(|cue| cue.weight()));
            match least.filter(|&n| waiting.get(n).is_some_and(|out| out.weight() <= cue.weight())) {
                Some(out) => waiting.remove(out),
                None => return,
            };
        }
        waiting.push_back(cue);
        self.bell.notify_one();
    }

    /// Takes the oldest; waits for one, at most so long.
    pub fn next(&self, wait: Duration) -> Option<Cue> {
        let waiting = self.waiting();
        let waited = self.bell.wait_timeout_while(waiting, wait, |waiting| waiting.is_empty());
        waited.unwrap_or_else(PoisonError::into_inner).0.pop_front()
    }

    fn waiting(&self) -> MutexGuard<'_, VecDeque<Cue>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn important_ones_push_out_others() {
        use Cue::*;
        for (put, left) in [
            (&[NoteOpened, NoteKept, PullOpened][..], [NoteOpened, NoteKept, PullOpened]),
            (&[NoteOpened, NoteKept, PullOpened, PullLeft], [NoteKept, PullOpened, PullLeft]),
            (&[PullOpened, NoteKept, PullLeft, NoFix], [PullOpened, PullLeft, NoFix]),
            (&[NoFix, NoMicrophone, DiskNearlyFull, NoteOpened], [NoFix, NoMicrophone, DiskNearlyFull]),
            (&[NoFix, NoMicrophone, DiskNearlyFull, NoFix], [NoMicrophone, DiskNearlyFull, NoFix]),
            (&[Muted, PullLeft, NoFix, NoteKept, Listening, NoteOpened], [Muted, NoFix, Listening]),
        ] {
            let queue = Queue::default();
            put.iter().for_each(|&cue| queue.put(cue));
            let taken: Vec<Cue> = std::iter::from_fn(|| queue.next(Duration::ZERO)).collect();
            assert_eq!(taken, left, "after {put:?}");
        }
    }
}
