//! Files in memory, which another program opens by their number in this process: nothing a recogniser is given is
//! written to the disk, and all of it goes with this process.

use std::fs::File;
use std::io::{self, BufWriter, Seek, Write};
use std::os::fd::AsRawFd;
use std::path::{Path, PathBuf};

use gunwale_protocol::listen::clean;

use crate::error::Result;
use crate::voice::wav::{SPEC, Sound};

/// A file in memory.
pub(super) struct Memory {
    file: File,
    /// Where others find it.
    pub path: PathBuf,
}

impl Memory {
    /// An empty one.
    ///
    /// # Errors
    /// When the system has none to give.
    pub fn new(name: &str) -> Result<Memory> {
        let made = rustix::fs::memfd_create(name, rustix::fs::MemfdFlags::CLOEXEC);
        let file = File::from(made.map_err(io::Error::from)?);
        let path = PathBuf::from(format!("/proc/{}/fd/{}", std::process::id(), file.as_raw_fd()));
        Ok(Memory { file, path })
    }

    /// One with this text.
    ///
    /// # Errors
    /// As [`Memory::new`].
    pub fn of(name: &str, text: &str) -> Result<Memory> {
        let mut memory = Memory::new(name)?;
        memory.file.write_all(text.as_bytes())?;
        Ok(memory)
    }

    /// Puts a file's sound here with the noise taken out: a WAV with the plain header of 44 bytes.
    ///
    /// # Errors
    /// A file that is no sound.
    pub fn put_clean(&mut self, file: &Path) -> Result<()> {
        let mut sound = Sound::open(file)?;
        let mut samples = Vec::new();
        while let Some(piece) = sound.piece()? {
            samples.extend_from_slice(piece);
        }
        self.file.set_len(0)?;
        self.file.rewind()?;
        let failed = |e: hound::Error| io::Error::other(e);
        let mut wav = hound::WavWriter::new(BufWriter::new(&mut self.file), SPEC).map_err(failed)?;
        clean(&samples).into_iter().try_for_each(|x| wav.write_sample(x)).map_err(failed)?;
        wav.finalize().map_err(failed)?;
        Ok(())
    }
}
