//! What the tests of sound files share.

use std::path::{Path, PathBuf};

use super::{NoteFile, SPEC};

/// Samples that differ from their neighbours and are the same every time.
pub fn speech(samples: usize) -> Vec<i16> {
    (0..samples as u64).map(|n| (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48) as u16 as i16).collect()
}

/// A closed note file.
pub fn note(path: &Path, sound: &[i16]) -> PathBuf {
    let mut note = NoteFile::create(path, "of test").unwrap();
    note.append(sound).unwrap();
    assert_eq!(note.close().unwrap(), sound.len() as u64);
    path.to_path_buf()
}

/// The samples of a note as `hound` alone reads them.
pub fn samples(path: &Path) -> Vec<i16> {
    let reader = hound::WavReader::open(path).unwrap();
    assert_eq!(reader.spec(), SPEC);
    reader.into_samples().map(Result::unwrap).collect()
}
