//! Many notes in one WAV file, one after another, with a marker at the beginning of each.
//!
//! The markers are `cue ` points named by `labl` in a `LIST` of type `adtl`: Microsoft and IBM, Multimedia Programming
//! Interface and Data Specifications 1.0 (1991), chapter on RIFF, from memory. They stand after the sound, whose chunk `hound` writes.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use hound::WavWriter;

use super::layout::{RATE, RIFF_SIZE_AT, SPEC, ascii};
use super::note::sync_folder;
use super::{Result, Sound, WavError};

/// Silence between two notes: 0.8 s.
static SILENCE: [i16; RATE as usize * 8 / 10] = [0; RATE as usize * 8 / 10];
/// Samples at most, within what a WAV file can state: 36 hours less the markers.
const LONGEST: u64 = (1 << 31) - (1 << 27);

/// A collection being written. It has its name only when finished; until then, and if it never is, nothing is there.
pub struct Collection {
    path: PathBuf,
    temporary: PathBuf,
    /// `None` once finished.
    sound: Option<WavWriter<BufWriter<File>>>,
    /// First sample and text of each note.
    markers: Vec<(u32, String)>,
}

impl Collection {
    /// Begins a collection that is to have this name; a file of that name is replaced when it is finished.
    ///
    /// # Errors
    /// As the disk reports.
    pub fn create(path: &Path) -> Result<Collection> {
        let mut temporary = path.as_os_str().to_owned();
        temporary.push(".part");
        let temporary = PathBuf::from(temporary);
        let sound = WavWriter::create(&temporary, SPEC).map_err(|e| WavError::writing(path, e))?;
        Ok(Collection { path: path.into(), temporary, sound: Some(sound), markers: Vec::new() })
    }

    /// Adds a note, with the line of facts that its marker is to show.
    ///
    /// # Errors
    /// [`WavError::Full`], and as [`Sound::open`]: nothing was added then, and the collection can go on. If the disk
    /// fails while a note is read, what could be read of it stays.
    pub fn add(&mut self, note: &Path, fact: &str) -> Result<()> {
        let mut sound = Sound::open(note)?;
        if !self.markers.is_empty() {
            self.write(&SILENCE)?;
        }
        let at = self.sound.as_ref().map_or(0, WavWriter::len);
        self.markers.push((at, ascii(fact)));
        while let Some(piece) = sound.piece()? {
            self.write(piece)?;
        }
        Ok(())
    }

    fn write(&mut self, samples: &[i16]) -> Result<()> {
        let Some(sound) = &mut self.sound else { return Ok(()) };
        if u64::from(sound.len()) + samples.len() as u64 > LONGEST {
            return Err(WavError::Full { path: self.path.clone() });
        }
        let mut batch = sound.get_i16_writer(samples.len() as u32);
        for sample in samples {
            batch.write_sample(*sample);
        }
        batch.flush().map_err(|e| WavError::writing(&self.path, e))
    }

    /// Writes the markers and gives the file its name; how many notes it has.
    ///
    /// # Errors
    /// As the disk reports; the file is not there then.
    pub fn finish(mut self) -> Result<usize> {
        if let Some(sound) = self.sound.take() {
            sound.finalize().map_err(|e| WavError::writing(&self.path, e))?;
        }
        self.mark().map_err(|e| WavError::writing(&self.path, e))?;
        fs::rename(&self.temporary, &self.path)
            .and_then(|()| sync_folder(self.path.parent().unwrap_or(Path::new(""))))
            .map_err(|e| WavError::writing(&self.path, e))?;
        Ok(self.markers.len())
    }

    fn mark(&self) -> io::Result<()> {
        let mut file = OpenOptions::new().write(true).open(&self.temporary)?;
        let sound = file.seek(SeekFrom::End(0))?;
        let chunks = if self.markers.is_empty() { Vec::new() } else { self.chunks() };
        file.write_all(&chunks)?;
        let size = u32::try_from(sound + chunks.len() as u64 - 8).map_err(io::Error::other)?;
        file.write_all_at(&size.to_le_bytes(), RIFF_SIZE_AT as u64)?;
        file.sync_all()
    }

    /// `cue ` and `LIST`, whole.
    fn chunks(&self) -> Vec<u8> {
        let (mut cues, mut labels) = ((self.markers.len() as u32).to_le_bytes().to_vec(), b"adtl".to_vec());
        for (id, (at, text)) in (1u32..).zip(&self.markers) {
            // Name, place in the play order, chunk, start of chunk and of block (none: `data` is not within a list), place.
            for field in [id.to_le_bytes(), at.to_le_bytes(), *b"data", [0; 4], [0; 4], at.to_le_bytes()] {
                cues.extend(field);
            }
            labels.extend(chunk(*b"labl", &[&id.to_le_bytes()[..], text.as_bytes(), b"\0"].concat()));
        }
        [chunk(*b"cue ", &cues), chunk(*b"LIST", &labels)].concat()
    }
}

impl Drop for Collection {
    fn drop(&mut self) {
        self.sound = None;
        // Renamed when finished; else of no use to anyone.
        let _ = fs::remove_file(&self.temporary);
    }
}

/// A chunk; one of odd length is followed by a byte that its size does not count.
fn chunk(id: [u8; 4], content: &[u8]) -> Vec<u8> {
    let mut chunk = id.to_vec();
    chunk.extend((content.len() as u32).to_le_bytes());
    chunk.extend(content);
    chunk.resize(chunk.len().next_multiple_of(2), 0);
    chunk
}

#[cfg(test)]
mod tests {
    use super::super::testing::{note, samples, speech};
    use super::*;

    /// The chunks of a file by their sizes; panics unless they end where the file does.
    fn chunks(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
        let size = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(size(4) + 8, bytes.len());
        let (mut at, mut found) = (12, Vec::new());
        while at < bytes.len() {
            let (id, size) = (String::from_utf8_lossy(&bytes[at..at + 4]).into_owned(), size(at + 4));
            found.push((id, bytes[at + 8..at + 8 + size].to_vec()));
            at += 8 + size.next_multiple_of(2);
        }
        assert_eq!(at, bytes.len());
        found
    }

    #[test]
    fn notes_follow_each_other_with_markers() {
        let dir = tempfile::tempdir().unwrap();
        let first = note(&dir.path().join("1.wav"), &speech(100));
        let second = note(&dir.path().join("2.wav"), &speech(40_001));
        let none = note(&dir.path().join("3.wav"), &[]);
        let path = dir.path().join("all.wav");
        std::fs::write(&path, "what was there before").unwrap();
        let mut collection = Collection::create(&path).unwrap();
        collection.add(&first, "trap 14: sure").unwrap();
        let missing = collection.add(&dir.path().join("4.wav"), "").unwrap_err();
        assert!(matches!(missing, WavError::File { .. }), "{missing}");
        collection.add(&second, "Île").unwrap();
        collection.add(&none, "").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"what was there before");
        assert_eq!(collection.finish().unwrap(), 3);
        let silence = vec![0; 12_800];
        assert_eq!(samples(&path), [speech(100), silence.clone(), speech(40_001), silence].concat());
        let chunks = chunks(&std::fs::read(&path).unwrap());
        let ids: Vec<&str> = chunks.iter().map(|(id, _)| id.as_str()).collect();
        assert_eq!(ids, ["fmt ", "data", "cue ", "LIST"]);
        let cue = |id: u8, at: u32| {
            [&[id, 0, 0, 0], &at.to_le_bytes()[..], b"data\0\0\0\0\0\0\0\0", &at.to_le_bytes()].concat()
        };
        let cues = [vec![3, 0, 0, 0], cue(1, 0), cue(2, 12_900), cue(3, 65_701)].concat();
        assert_eq!(chunks[2].1, cues);
        let list: &[u8] = b"adtllabl\x12\0\0\0\x01\0\0\0trap 14: sure\0labl\x08\0\0\0\x02\0\0\0Ile\0labl\x05\0\0\0\x03\0\0\0\0\0";
        assert_eq!(chunks[3].1, list);
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 4);
    }

    #[test]
    fn what_is_not_finished_leaves_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("all.wav");
        drop(Collection::create(&path).unwrap());
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
        assert_eq!(Collection::create(&path).unwrap().finish().unwrap(), 0);
        assert_eq!((samples(&path), chunks(&std::fs::read(&path).unwrap()).len()), (vec![], 2));
    }
}
