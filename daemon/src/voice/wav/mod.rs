//! Sound files: notes written as they are spoken, mended after a power cut and labelled afterwards; any WAV read as the
//! pipeline wants it; many notes gathered into one file.
//!
//! A note file is Broadcast WAV (EBU Tech 3285): RIFF, `fmt `, `bext`, `data`, always of this layout, at 16 kHz, mono,
//! 16 bit. All that is written after `data` has begun are the two sizes and fields inside `bext`, in place: the
//! sound itself is only ever appended to.

mod collection;
mod error;
mod label;
mod layout;
mod note;
mod read;
mod repair;
mod resample;
#[cfg(test)]
mod testing;

pub use collection::Collection;
pub use error::WavError;
pub use label::{Label, label, time_reference};
pub use layout::{RATE, SPEC};
pub use note::{Disk, NoteFile};
pub use read::Sound;
pub use repair::{About, Repaired, about, is_labelled, reference, repair};

/// Short for a result with this module's error.
pub type Result<T, E = WavError> = std::result::Result<T, E>;
