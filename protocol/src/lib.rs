//! The pure core of gunwale: bytes and times in, pulls and problems out.
//!
//! Nothing here knows a serial port, a file, a thread, an async runtime, a wall clock or a store. Callers pass
//! stamped inputs and the time; values and typed problems come back, so that the same input gives the same records
//! on any machine, in any year.
//!
//! Two folds make the records. [`haul`] reads one segment (a run or a tape) and finds what happened at each stop;
//! [`trip`] takes all findings in order of time and says which trap each pull was. Everything else serves these two.

#![warn(missing_docs)]

pub mod clock;
pub mod correct;
pub mod finding;
pub mod haul;
pub mod input;
pub mod line;
pub mod listen;
pub mod log;
pub mod nmea;
pub mod pairing;
pub mod place;
pub mod record;
pub mod register;
pub mod rules;
pub mod scale;
pub mod season;
pub mod sizes;
pub mod stop;
pub mod sun;
pub mod tally;
pub mod tape;
pub mod time;
pub mod track;
pub mod trip;
pub mod weigh;
