//! Makes a note file whole that a power cut or a kill has left, and reads what a note file says of itself.

use std::fs::{File, OpenOptions};
use std::os::unix::fs::FileExt;
use std::path::Path;

use super::layout::{DATA_AT, DATA_SIZE_AT, Head, RIFF_SIZE_AT, bext};
use super::{Result, WavError};

/// What became of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Repaired {
    /// Samples of sound that are there.
    pub samples: u64,
    /// Whether anything had to be mended.
    pub mended: bool,
}

/// Makes the sizes those of the sound that is there, and cuts off half a sample; on the disk when this returns.
///
/// Done again, it changes nothing.
///
/// # Errors
/// [`WavError::Short`] when it ends inside its header, [`WavError::NotOurs`], or what the disk reports.
pub fn repair(path: &Path) -> Result<Repaired> {
    let file = OpenOptions::new().read(true).write(true).open(path);
    let file = file.map_err(|e| WavError::reading(path, e))?;
    let mut head = Head::read(&file, path)?;
    let length = file.metadata().map_err(|e| WavError::reading(path, e))?.len();
    let bytes = length.saturating_sub(DATA_AT as u64) & !1;
    let whole = DATA_AT as u64 + bytes;
    let (Ok(riff), Ok(data)) = (u32::try_from(whole - 8), u32::try_from(bytes)) else {
        return Err(WavError::NotOurs { path: path.into() });
    };
    let right = length == whole && head.size(RIFF_SIZE_AT) == riff && head.size(DATA_SIZE_AT) == data;
    if !right {
        head.put_size(RIFF_SIZE_AT, riff);
        head.put_size(DATA_SIZE_AT, data);
        file.set_len(whole)
            .and_then(|()| file.write_all_at(head.bytes(), 0))
            .and_then(|()| file.sync_data())
            .map_err(|e| WavError::writing(path, e))?;
    }
    Ok(Repaired { samples: bytes / 2, mended: !right })
}

/// What a note file says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// What it was given as its origin.
    pub reference: String,
    /// Samples of sound: as many as its header states and are there.
    pub samples: u64,
}

/// Reads what a note file says of itself.
///
/// # Errors
/// [`WavError::Short`], [`WavError::NotOurs`], or what the disk reports.
pub fn about(path: &Path) -> Result<About> {
    let file = File::open(path).map_err(|e| WavError::reading(path, e))?;
    let head = Head::read(&file, path)?;
    let length = file.metadata().map_err(|e| WavError::reading(path, e))?.len();
    let bytes = u64::from(head.size(DATA_SIZE_AT)).min(length.saturating_sub(DATA_AT as u64));
    Ok(About { reference: head.text(bext::REFERENCE), samples: bytes / 2 })
}

/// What a note file was given as its origin.
///
/// # Errors
/// As [`about`].
pub fn reference(path: &Path) -> Result<String> {
    about(path).map(|about| about.reference)
}

/// Whether a note file has been labelled: then its record was made.
///
/// # Errors
/// As [`about`].
pub fn is_labelled(path: &Path) -> Result<bool> {
    let file = File::open(path).map_err(|e| WavError::reading(path, e))?;
    Ok(!Head::read(&file, path)?.text(bext::DESCRIPTION).is_empty())
}

#[cfg(test)]
mod tests {
    use super::super::testing::{note, samples, speech};
    use super::*;

    #[test]
    fn a_file_cut_at_any_length_holds_all_whole_samples_before_the_cut() {
        let dir = tempfile::tempdir().unwrap();
        let whole = std::fs::read(note(&dir.path().join("whole.wav"), &speech(50))).unwrap();
        let path = dir.path().join("cut.wav");
        for length in 0..=whole.len() {
            std::fs::write(&path, &whole[..length]).unwrap();
            if length < DATA_AT {
                let error = repair(&path).unwrap_err();
                assert!(matches!(error, WavError::Short { .. }), "{length}: {error}");
                assert_eq!(std::fs::read(&path).unwrap(), &whole[..length]);
                continue;
            }
            let there = (length - DATA_AT) / 2;
            let mended = length != whole.len();
            assert_eq!(repair(&path).unwrap(), Repaired { samples: there as u64, mended }, "{length}");
            assert_eq!(samples(&path), speech(there), "{length}");
            assert_eq!(about(&path).unwrap(), About { reference: "of test".into(), samples: there as u64 });
            let once = std::fs::read(&path).unwrap();
            assert_eq!(repair(&path).unwrap(), Repaired { samples: there as u64, mended: false });
            assert_eq!(std::fs::read(&path).unwrap(), once);
        }
    }

    #[test]
    fn sizes_that_state_anything_are_set_right() {
        let dir = tempfile::tempdir().unwrap();
        let path = note(&dir.path().join("a.wav"), &speech(100));
        let right = std::fs::read(&path).unwrap();
        for (riff, data) in [(0, 0), (u32::MAX, u32::MAX), (884, 0), (0, 200), (885, 201)] {
            let mut wrong = right.clone();
            wrong[4..8].copy_from_slice(&u32::to_le_bytes(riff));
            wrong[688..692].copy_from_slice(&u32::to_le_bytes(data));
            std::fs::write(&path, wrong).unwrap();
            assert_eq!(repair(&path).unwrap(), Repaired { samples: 100, mended: true });
            assert_eq!(std::fs::read(&path).unwrap(), right);
        }
    }

    #[test]
    fn what_is_no_note_is_left_as_it_is() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.wav");
        let mut other = hound::WavWriter::create(&path, super::super::SPEC).unwrap();
        speech(2_000).into_iter().for_each(|sample| other.write_sample(sample).unwrap());
        other.finalize().unwrap();
        let plain = std::fs::read(&path).unwrap();
        for content in [plain, vec![0; 5_000]] {
            std::fs::write(&path, &content).unwrap();
            assert!(matches!(repair(&path), Err(WavError::NotOurs { .. })));
            assert!(matches!(reference(&path), Err(WavError::NotOurs { .. })));
            assert_eq!(std::fs::read(&path).unwrap(), content);
        }
        std::fs::remove_file(&path).unwrap();
        assert!(matches!(repair(&path), Err(WavError::File { .. })));
    }
}
