//! A note file on a whole disk, one that fails, and one whose power is cut.

use std::cell::RefCell;
use std::rc::Rc;

use super::super::testing::{samples, speech};
use super::super::{about, repair};
use super::*;

/// A disk in memory that remembers what was synced, and fails when told to.
#[derive(Clone, Default)]
struct Memory(Rc<RefCell<State>>);

#[derive(Default)]
struct State {
    file: io::Cursor<Vec<u8>>,
    /// The file as it was when last synced: what a power cut leaves.
    synced: Vec<u8>,
    /// Bytes it takes yet; a write beyond is cut short, the next one fails.
    room: Option<usize>,
    /// Syncs that are to fail. What was not synced is dropped then, as Linux does: the length stays, zeros are read.
    bad_syncs: usize,
}

impl Read for Memory {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.0.borrow_mut().file.read(into)
    }
}

impl Seek for Memory {
    fn seek(&mut self, place: SeekFrom) -> io::Result<u64> {
        self.0.borrow_mut().file.seek(place)
    }
}

impl Write for Memory {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut state = self.0.borrow_mut();
        let takes = state.room.map_or(bytes.len(), |room| room.min(bytes.len()));
        if takes == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        state.room = state.room.map(|room| room - takes);
        state.file.write(&bytes[..takes])
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Disk for Memory {
    fn again(&self) -> io::Result<Memory> {
        Ok(self.clone())
    }

    fn set_len(&mut self, length: u64) -> io::Result<()> {
        self.0.borrow_mut().file.get_mut().resize(length as usize, 0);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        let state = &mut *self.0.borrow_mut();
        let file = state.file.get_mut();
        if state.bad_syncs > 0 {
            state.bad_syncs -= 1;
            let length = file.len();
            file.clone_from(&state.synced);
            file.resize(length, 0);
            return Err(io::ErrorKind::Other.into());
        }
        state.synced.clone_from(file);
        Ok(())
    }
}

impl Memory {
    fn note(&self) -> NoteFile<Memory> {
        NoteFile::on(self.clone(), "a.wav".into(), "of test").unwrap()
    }

    /// Samples that a power cut leaves, by the size in the header.
    fn stated(&self) -> usize {
        u32::from_le_bytes(self.0.borrow().synced[688..692].try_into().unwrap()) as usize / 2
    }

    /// The sound in the file, or in what a power cut leaves of it, by the sizes in its header.
    fn sound(&self, synced: bool) -> Vec<i16> {
        let state = self.0.borrow();
        let bytes = if synced { &state.synced } else { state.file.get_ref() };
        hound::WavReader::new(&bytes[..]).unwrap().into_samples().map(Result::unwrap).collect()
    }
}

#[test]
fn a_power_cut_loses_at_most_half_a_second() {
    for piece in [1, 7, 256, 320, 4_000, 7_999, 8_000, 8_001, 20_000] {
        let disk = Memory::default();
        let mut note = disk.note();
        let all = speech(40_000.max(3 * piece));
        let (mut worst, mut left) = (0, 0);
        for piece in all.chunks(piece) {
            note.append(piece).unwrap();
            let stated = disk.stated();
            if stated != left {
                left = stated;
                // A length that says more than the sizes is `repair`'s to find.
                assert!(disk.sound(true) == all[..left]);
            }
            worst = worst.max(note.samples() as usize - left);
        }
        assert!(worst <= 8_000, "{worst} samples lost with pieces of {piece}");
        assert_eq!(note.close().unwrap(), all.len() as u64);
        assert_eq!(disk.sound(true), all);
    }
}

#[test]
fn after_a_full_disk_it_goes_on_without_a_break() {
    let all = speech(30_000);
    for room in [1, 2, 3, 639, 640, 641, 15_999, 16_001, 30_001] {
        let disk = Memory::default();
        let mut note = disk.note();
        disk.0.borrow_mut().room = Some(room);
        let mut failures = 0;
        while note.samples() < 30_000 {
            let from = note.samples() as usize;
            if note.append(&all[from..(from + 320).min(30_000)]).is_err() {
                failures += 1;
                // It stays full for a while.
                disk.0.borrow_mut().room = (failures > 3).then_some(60_000);
                disk.0.borrow_mut().room.get_or_insert(0);
            }
        }
        assert!(failures > 3, "room for {room}");
        assert_eq!(note.close().unwrap(), 30_000);
        assert_eq!(disk.sound(true), all, "room for {room}");
    }
}

#[test]
fn part_of_a_sample_is_not_left_behind_the_sound() {
    let disk = Memory::default();
    let mut note = disk.note();
    note.append(&speech(100)).unwrap();
    disk.0.borrow_mut().room = Some(7);
    let error = note.append(&speech(100)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "cannot write a.wav: no storage space: see that the disk has room and can be written"
    );
    disk.0.borrow_mut().room = None;
    assert_eq!(note.close().unwrap(), 100);
    assert_eq!(disk.0.borrow().synced.len(), DATA_AT + 200);
    assert_eq!(disk.sound(true), speech(100));
}

#[test]
fn what_a_failed_sync_dropped_is_written_again() {
    let all = speech(30_000);
    for fails in 1..4 {
        let disk = Memory::default();
        let mut note = disk.note();
        note.append(&all[..10_000]).unwrap();
        disk.0.borrow_mut().bad_syncs = fails;
        let mut failures = 0;
        while note.samples() < 30_000 {
            let from = note.samples() as usize;
            failures += usize::from(note.append(&all[from..from + 500]).is_err());
        }
        assert_eq!(failures, fails);
        assert_eq!(note.close().unwrap(), 30_000);
        assert_eq!(disk.sound(true), all);
    }
}

#[test]
fn no_file_is_longer_than_its_sizes_can_say() {
    let disk = Memory::default();
    let mut note = disk.note();
    note.append(&[1]).unwrap();
    // Its length is as hound's writer counts it.
    drop(note);
    let header = |state: &mut State, bytes: u32| {
        state.file.get_mut()[688..692].copy_from_slice(&bytes.to_le_bytes());
        state.file.rewind().unwrap();
    };
    header(&mut disk.0.borrow_mut(), (LONGEST as u32 - 1) * 2);
    let sound = WavWriter::new_append(disk.clone()).unwrap();
    let mut note = NoteFile { path: "a.wav".into(), disk, sound, held: Vec::new(), doubtful: false };
    assert!(matches!(note.append(&[1, 2]), Err(WavError::Full { .. })));
    assert_eq!(note.samples(), LONGEST - 1);
}

#[test]
fn a_note_is_written_into_folders_that_are_made() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("notes/2027-02-09/a.wav");
    let mut note = NoteFile::create(&path, "0123456789abcdef 31002000").unwrap();
    assert_eq!(note.path(), path);
    for piece in speech(1_000).chunks(33) {
        note.append(piece).unwrap();
    }
    assert_eq!(note.close().unwrap(), 1_000);
    assert_eq!(samples(&path), speech(1_000));
    assert_eq!(about(&path).unwrap().reference, "0123456789abcdef 31002000");
    assert!(!repair(&path).unwrap().mended);
    let again = NoteFile::create(&path, "b");
    assert!(matches!(again, Err(WavError::Exists { .. })));
    assert_eq!(samples(&path), speech(1_000));
}

#[test]
fn a_note_that_was_none_is_removed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.wav");
    let mut note = NoteFile::create(&path, "a").unwrap();
    note.append(&[1, 2, 3]).unwrap();
    note.remove().unwrap();
    assert!(!path.exists());
}

#[test]
fn a_folder_that_cannot_be_is_told() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("notes"), "a file").unwrap();
    let error = NoteFile::create(&dir.path().join("notes/day/a.wav"), "a").err().unwrap().to_string();
    assert!(error.ends_with(": see that the disk has room and can be written"), "{error}");
}
