//! Any WAV file of plain samples as 16 kHz, mono, 16 bit; a piece at a time.
//!
//! The file's chunks are walked here and `hound` decodes each piece of the sound. Left to walk them itself it does not
//! skip pad bytes, and refuses the sizes of a recording that was never closed.

use std::fs::File;
use std::io::{self, BufReader, ErrorKind, Read};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavReader, WavSpec};

use super::layout::RATE;
use super::resample::{Resampler, sample};
use super::{Result, WavError};

/// Bytes of a file that are read at a time.
const PIECE: usize = 32 * 1024;
/// Longest `fmt ` chunk; the known ones have 16 to 40 bytes.
const FMT_MAX: u32 = 256;

/// Sound being read. A file at 16 kHz, mono, 16 bit comes out sample for sample; channels are averaged, other rates
/// resampled. A file that was cut, or states more than it has, gives what is there.
pub struct Sound<R = BufReader<File>> {
    source: io::Take<R>,
    path: PathBuf,
    spec: WavSpec,
    /// What `hound` is to see before each piece, but for the size at its end.
    head: Vec<u8>,
    /// Bytes of one sample of every channel.
    frame: usize,
    /// `None` when the rate is right.
    resampler: Option<Resampler>,
    bytes: Vec<u8>,
    mono: Vec<f32>,
    out: Vec<i16>,
    ended: bool,
}

impl Sound {
    /// Opens a file.
    ///
    /// # Errors
    /// [`WavError::NotSound`], or what the disk reports.
    pub fn open(path: &Path) -> Result<Sound> {
        let file = File::open(path).map_err(|e| WavError::reading(path, e))?;
        Sound::new(path, BufReader::with_capacity(PIECE, file))
    }
}

impl<R: Read> Sound<R> {
    /// From the beginning of a file that is opened elsewhere; `path` names it in errors.
    ///
    /// # Errors
    /// As [`Sound::open`].
    pub fn new(path: &Path, mut source: R) -> Result<Sound<R>> {
        let not = |why: &str| WavError::NotSound { path: path.into(), why: why.to_owned() };
        let failed = |e: io::Error| match e.kind() {
            ErrorKind::UnexpectedEof => not("it ends before any sound"),
            _ => WavError::reading(path, e),
        };
        let mut riff = [0; 12];
        source.read_exact(&mut riff).map_err(failed)?;
        if !(riff.starts_with(b"RIFF") && riff.ends_with(b"WAVE")) {
            return Err(not("it is no RIFF/WAVE file"));
        }
        let mut head = riff.to_vec();
        let size = loop {
            let mut chunk = [0; 8];
            source.read_exact(&mut chunk).map_err(failed)?;
            let [a, b, c, d, size @ ..] = chunk;
            let size = u32::from_le_bytes(size);
            let padded = u64::from(size) + u64::from(size % 2);
            match &[a, b, c, d] {
                b"data" => break size,
                b"fmt " if size > FMT_MAX => return Err(not("its format cannot be understood")),
                b"fmt " => {
                    head.truncate(riff.len());
                    head.extend(chunk);
                    source.by_ref().take(padded).read_to_end(&mut head).map_err(failed)?;
                }
                _ => drop(io::copy(&mut source.by_ref().take(padded), &mut io::sink()).map_err(failed)?),
            }
        };
        if head.len() == riff.len() {
            return Err(not("its format is not stated before its sound"));
        }
        head.extend(b"data");
        let spec = decoder(&head, &[]).map_err(|e| not(&reason(e)))?.spec();
        // `hound` has checked that this is there, and at least one byte a channel.
        let block =
            head.get(32..34).map_or(0, |at| at.iter().rev().fold(0, |n, byte| n << 8 | usize::from(*byte)));
        let channels = usize::from(spec.channels);
        let resampler = match spec.sample_rate {
            RATE => None,
            rate => {
                Some(Resampler::from(rate).ok_or_else(|| not(&format!("it has {rate} samples a second")))?)
            }
        };
        Ok(Sound {
            source: source.take(u64::from(size)),
            path: path.into(),
            spec,
            head,
            frame: (block / channels.max(1) * channels).max(1),
            resampler,
            bytes: Vec::new(),
            mono: Vec::new(),
            out: Vec::new(),
            ended: false,
        })
    }

    /// The next samples, in all some kilobytes; `None` at the end.
    ///
    /// # Errors
    /// [`WavError::NotSound`] for a form of samples that is not known, or what the disk reports.
    pub fn piece(&mut self) -> Result<Option<&[i16]>> {
        self.out.clear();
        while self.out.is_empty() && !self.ended {
            let wanted = (PIECE / self.frame).max(1) * self.frame;
            self.bytes.clear();
            let read = self.source.by_ref().take(wanted as u64).read_to_end(&mut self.bytes);
            let read = read.map_err(|e| WavError::reading(&self.path, e))?;
            self.ended = read < wanted;
            self.bytes.truncate(read - read % self.frame);
            self.decode().map_err(|e| WavError::NotSound { path: self.path.clone(), why: reason(e) })?;
            match &mut self.resampler {
                None => self.out.extend(self.mono.iter().map(|value| sample(*value))),
                Some(resampler) => {
                    resampler.push(&self.mono, &mut self.out);
                    if self.ended {
                        resampler.finish(&mut self.out);
                    }
                }
            }
        }
        Ok((!self.out.is_empty()).then_some(&self.out))
    }

    /// `bytes` to `mono`, in units of a 16 bit sample.
    fn decode(&mut self) -> hound::Result<()> {
        let mut reader = decoder(&self.head, &self.bytes)?;
        let mut mix = Mix::new(self.spec.channels, &mut self.mono);
        match self.spec.sample_format {
            SampleFormat::Int => {
                let unit = 2f32.powi(16 - i32::from(self.spec.bits_per_sample));
                reader.samples::<i32>().try_for_each(|value| value.map(|value| mix.add(value as f32 * unit)))
            }
            SampleFormat::Float => {
                reader.samples::<f32>().try_for_each(|value| value.map(|value| mix.add(value * 32_768.0)))
            }
        }
    }
}

/// Averages channels.
struct Mix<'a> {
    channels: u16,
    taken: u16,
    sum: f32,
    mono: &'a mut Vec<f32>,
}

impl Mix<'_> {
    fn new(channels: u16, mono: &mut Vec<f32>) -> Mix<'_> {
        mono.clear();
        Mix { channels, taken: 0, sum: 0.0, mono }
    }

    fn add(&mut self, value: f32) {
        // What is no number would spoil the samples around it too.
        self.sum += if value.is_finite() { value } else { 0.0 };
        self.taken += 1;
        if self.taken == self.channels {
            self.mono.push(self.sum / f32::from(self.channels));
            (self.taken, self.sum) = (0, 0.0);
        }
    }
}

/// A decoder of these bytes of sound.
fn decoder<'a>(head: &'a [u8], bytes: &'a [u8]) -> hound::Result<WavReader<impl Read + 'a>> {
    let size = io::Cursor::new((bytes.len() as u32).to_le_bytes());
    WavReader::new(head.chain(size).chain(bytes))
}

/// Why `hound` refuses it.
fn reason(error: hound::Error) -> String {
    match error {
        hound::Error::FormatError(why) => why.to_owned(),
        _ => "its samples are of an unknown form".to_owned(),
    }
}

#[cfg(test)]
#[path = "read_tests.rs"]
mod tests;
