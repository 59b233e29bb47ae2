//! A note file while it is spoken.
//!
//! Samples are written as they come, and at least every half second of sound the sizes are set right and all of it is
//! brought to the disk. `hound` writes the samples and the sizes: its `new_append` takes up our header, and its `flush`
//! sets both sizes, with `bext` before `data` too. Its `append` to a path is not used, as it holds samples back in
//! memory, where a kill would lose them.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use hound::WavWriter;

use super::layout::{DATA_AT, Head};
use super::{Result, WavError};

/// Samples after which all is brought to the disk: half a second. What a power cut may lose of a note.
const SYNC_AT: usize = 8_000;
/// Samples that a file holds at most: 18 hours, within what a WAV file can state.
const LONGEST: u64 = 1 << 30;

/// What a note needs of its file. A [`File`] it is; tests put a failing disk in its place.
pub trait Disk: Read + Write + Seek + Sized {
    /// A second handle on the same file and the same position in it.
    ///
    /// # Errors
    /// As the system reports.
    fn again(&self) -> io::Result<Self>;
    /// Cuts the file to a length.
    ///
    /// # Errors
    /// As the system reports.
    fn set_len(&mut self, length: u64) -> io::Result<()>;
    /// Returns when the bytes and the length are on the disk.
    ///
    /// # Errors
    /// As the system reports.
    fn sync(&mut self) -> io::Result<()>;
}

impl Disk for File {
    fn again(&self) -> io::Result<File> {
        self.try_clone()
    }

    fn set_len(&mut self, length: u64) -> io::Result<()> {
        File::set_len(self, length)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// A note file that is being spoken.
///
/// Dropping it without [`NoteFile::close`] is like a kill: the file stays, and [`super::repair`] makes it whole.
pub struct NoteFile<D: Disk = File> {
    path: PathBuf,
    disk: D,
    /// Writes through a second handle on `disk`.
    sound: WavWriter<D>,
    /// What was written since the last sync: half a second at most.
    held: Vec<i16>,
    /// Whether a sync of `held` has failed. The system may have dropped it then and call the next sync a success, so it
    /// is written again.
    doubtful: bool,
}

impl NoteFile {
    /// Makes a note file, and its folder where needed; header and name are on the disk when this returns.
    ///
    /// `reference` is what the file says of its origin until its record is made, at most 32 characters of ASCII
    /// (`OriginatorReference`). [`super::reference`] reads it back.
    ///
    /// # Errors
    /// [`WavError::Exists`], or what the disk reports.
    pub fn create(path: &Path, reference: &str) -> Result<NoteFile> {
        let failed = |e| WavError::writing(path, e);
        let folder = path.parent().unwrap_or(Path::new(""));
        make_folder(folder).map_err(failed)?;
        let file = OpenOptions::new().read(true).write(true).create_new(true).open(path);
        let file = file.map_err(|e| match e.kind() {
            io::ErrorKind::AlreadyExists => WavError::Exists { path: path.into() },
            _ => failed(e),
        })?;
        NoteFile::on(file, path.into(), reference)
            .and_then(|note| sync_folder(folder).map(|()| note).map_err(failed))
            // What only a name would be left of is no note.
            .inspect_err(|_| drop(fs::remove_file(path)))
    }

    /// Removes the file: it was no note.
    ///
    /// # Errors
    /// As the disk reports.
    pub fn remove(self) -> Result<()> {
        fs::remove_file(&self.path).map_err(|e| WavError::writing(&self.path, e))
    }
}

impl<D: Disk> NoteFile<D> {
    /// A note on an empty disk; `path` names it in errors. The header is on the disk when this returns.
    ///
    /// # Errors
    /// As the disk reports.
    pub fn on(mut disk: D, path: PathBuf, reference: &str) -> Result<NoteFile<D>> {
        let failed = |e| WavError::writing(&path, e);
        disk.write_all(Head::new(reference).bytes()).map_err(failed)?;
        disk.sync().map_err(failed)?;
        disk.rewind().map_err(failed)?;
        let second = disk.again().map_err(failed)?;
        let sound = WavWriter::new_append(second).map_err(|e| WavError::writing(&path, e))?;
        Ok(NoteFile { path, disk, sound, held: Vec::with_capacity(SYNC_AT), doubtful: false })
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Samples taken so far.
    pub fn samples(&self) -> u64 {
        u64::from(self.sound.len())
    }

    /// Writes samples at 16 kHz; all but the last half second taken are on the disk.
    ///
    /// # Errors
    /// [`WavError::Full`], or what the disk reports. [`NoteFile::samples`] tells how many were taken. The rest can be
    /// given again, as soon as the disk takes it, without a break in the sound.
    pub fn append(&mut self, samples: &[i16]) -> Result<()> {
        for piece in samples.chunks(SYNC_AT) {
            if self.held.len() + piece.len() > SYNC_AT {
                self.sync()?;
            }
            self.write(piece)?;
        }
        Ok(())
    }

    fn write(&mut self, piece: &[i16]) -> Result<()> {
        if self.samples() + piece.len() as u64 > LONGEST {
            return Err(WavError::Full { path: self.path.clone() });
        }
        // A write or sync that failed half way may have left the position anywhere.
        self.seek(self.samples())?;
        let mut batch = self.sound.get_i16_writer(piece.len() as u32);
        for sample in piece {
            batch.write_sample(*sample);
        }
        batch.flush().map_err(|e| WavError::writing(&self.path, e))?;
        self.held.extend_from_slice(piece);
        Ok(())
    }

    fn sync(&mut self) -> Result<()> {
        self.write_again()?;
        self.doubtful = true;
        self.sound.flush().map_err(|e| WavError::writing(&self.path, e))?;
        self.disk.sync().map_err(|e| WavError::writing(&self.path, e))?;
        self.doubtful = false;
        self.held.clear();
        Ok(())
    }

    fn write_again(&mut self) -> Result<()> {
        if self.doubtful {
            self.seek(self.samples() - self.held.len() as u64)?;
            let bytes: Vec<u8> = self.held.iter().flat_map(|sample| sample.to_le_bytes()).collect();
            self.disk.write_all(&bytes).map_err(|e| WavError::writing(&self.path, e))?;
        }
        Ok(())
    }

    fn seek(&mut self, sample: u64) -> Result<()> {
        let place = SeekFrom::Start(DATA_AT as u64 + 2 * sample);
        self.disk.seek(place).map(drop).map_err(|e| WavError::writing(&self.path, e))
    }

    /// Brings all of it to the disk; how many samples it has.
    ///
    /// # Errors
    /// As the disk reports; the file is then as after a kill.
    pub fn close(mut self) -> Result<u64> {
        self.write_again()?;
        let samples = self.samples();
        let failed = |e| WavError::writing(&self.path, e);
        self.sound.finalize().map_err(|e| WavError::writing(&self.path, e))?;
        // Part of a sample may be behind the sound, from a write that failed.
        self.disk.set_len(DATA_AT as u64 + 2 * samples).map_err(failed)?;
        self.disk.sync().map_err(failed)?;
        Ok(samples)
    }
}

/// Makes a folder and those above it, each name on the disk.
fn make_folder(folder: &Path) -> io::Result<()> {
    if folder.as_os_str().is_empty() || folder.is_dir() {
        return Ok(());
    }
    let above = folder.parent().unwrap_or(Path::new(""));
    make_folder(above)?;
    match fs::create_dir(folder) {
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
        made => made?,
    }
    sync_folder(above)
}

/// Brings the names in a folder to the disk.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    File::open(folder)?.sync_all()
}

#[cfg(test)]
#[path = "note_tests.rs"]
mod tests;
