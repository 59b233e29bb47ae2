//! NMEA 0183: from a line to a position epoch.
//!
//! 1. [`exactly_one`] says whether a line is one sentence with a right checksum; [`salvage`] finds sentences amid junk.
//! 2. [`read`] gives what a sentence says, in our own small types. It goes through the `nmea` crate; what that crate
//!    gets wrong or refuses is put right in `mend`, and nothing of the crate is seen outside this module.
//! 3. [`Epochs`] joins the sentences of one moment and says whether they amount to a position.

mod epoch;
mod fields;
mod framing;
mod mend;
#[cfg(test)]
mod quirks;
mod read;
mod sentence;

pub use epoch::{Epoch, Epochs};
pub use framing::{Fault, exactly_one, salvage};
pub use read::read;
pub use sentence::{Date, Depth, DepthBelow, Fix, Gga, Gll, Gns, Gsa, Gst, LatLon, Rmc, Sentence, Vtg, Zda};
