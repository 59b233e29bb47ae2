//! gunwale's daemon: everything that touches the world. What the inputs mean is decided in `gunwale-protocol`.
//!
//! Every input takes one path: stamped, journaled ([`journal`]), folded ([`segment`]), kept ([`records`]). The live
//! service ([`capture`], [`service`]), a tape ([`ingest`]) and a rebuild differ only in where the inputs come from.

pub mod args;
pub mod capture;
pub mod clock;
pub mod cmd;
pub mod desk;
pub mod device;
mod error;
pub mod export;
pub mod find;
pub mod ingest;
pub mod io;
pub mod journal;
pub mod lines;
pub mod lock;
pub mod office;
pub mod recognise;
pub mod records;
pub mod replay;
pub mod segment;
pub mod service;
pub mod settings;
pub mod sheet;
pub mod sim;
pub mod socket;
pub mod store;
pub mod trap_file;
pub mod voice;

pub use error::{Error, Result};
