//! Says in a note's file when it was spoken and what it is about.
//!
//! A note is spoken before its date may be known and always before its record is made, so these fields are filled in
//! later, in place, and again when a record changes.

use std::fs::OpenOptions;
use std::os::unix::fs::FileExt;
use std::path::Path;

use gunwale_protocol::time::{DAY, SECOND, Utc};

use super::layout::{Head, RATE, ascii, bext};
use super::{Result, WavError};

/// What a file is to say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Label<'a> {
    /// Its first sample; `None` while no date is known.
    pub begin: Option<Utc>,
    /// What it is about: 256 characters of it are kept, in plain ASCII.
    pub description: &'a str,
}

/// Puts a label on a note file that has been closed or mended; on the disk when this returns. Whether anything had to
/// be written.
///
/// The sound is not touched. Date and time are UTC, to the second; with them goes `TimeReference`.
///
/// # Errors
/// [`WavError::Short`], [`WavError::NotOurs`], or what the disk reports.
pub fn label(path: &Path, label: &Label<'_>) -> Result<bool> {
    let file = OpenOptions::new().read(true).write(true).open(path);
    let file = file.map_err(|e| WavError::reading(path, e))?;
    let before = Head::read(&file, path)?;
    let mut head = before.clone();
    head.put(bext::DESCRIPTION, ascii(label.description).as_bytes());
    let (date, time, samples) = label.begin.and_then(when).unwrap_or_default();
    head.put(bext::DATE, date.as_bytes());
    head.put(bext::TIME, time.as_bytes());
    head.put(bext::TIME_REFERENCE, &samples.to_le_bytes());
    if head == before {
        return Ok(false);
    }
    // One write within one sector, so that a power cut leaves either label whole; the sizes are not part of it.
    let labelled = bext::DESCRIPTION.start..bext::TIME_REFERENCE.end;
    file.write_all_at(head.get(labelled.clone()), labelled.start as u64)
        .and_then(|()| file.sync_data())
        .map_err(|e| WavError::writing(path, e))?;
    Ok(true)
}

/// Date, time of day, and samples since midnight; `None` outside the years that the date's four digits can state.
fn when(begin: Utc) -> Option<(String, String, u64)> {
    let at = begin.zoned("UTC").filter(|at| at.year() >= 0)?;
    let (date, time) = (at.date(), at.time());
    let time = format!("{:02}:{:02}:{:02}", time.hour(), time.minute(), time.second());
    Some((date.to_string(), time, time_reference(begin, RATE)))
}

/// Whole samples at `rate` a second from midnight UTC to this moment (`TimeReference` of EBU Tech 3285).
///
/// Rounded down, so that it never says another day than the date beside it.
pub fn time_reference(begin: Utc, rate: u32) -> u64 {
    let of_day = begin.0.rem_euclid(DAY).unsigned_abs();
    of_day * u64::from(rate) / SECOND.unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::super::testing::{note, speech};
    use super::*;

    const DATA: usize = super::super::layout::DATA_AT;

    fn utc(text: &str) -> Utc {
        Utc::parse(text).unwrap()
    }

    #[test]
    fn the_time_reference_counts_samples_from_midnight() {
        // The definition in EBU Tech 3285: samples from midnight to the first one, as low and high u32, little-endian.
        for (time, rate, samples, bytes) in [
            ("00:00:00", 16_000, 0, [0, 0, 0, 0, 0, 0, 0, 0]),
            ("13:15:02.400", 16_000, 763_238_400, [0x00, 0x18, 0x7e, 0x2d, 0, 0, 0, 0]),
            ("23:59:59.999", 16_000, 1_382_399_984, [0xf0, 0xbf, 0x65, 0x52, 0, 0, 0, 0]),
            ("12:00:00", 48_000, 2_073_600_000, [0x00, 0xa0, 0x98, 0x7b, 0, 0, 0, 0]),
            ("23:59:59.999", 96_000, 8_294_399_904, [0xa0, 0x7f, 0x62, 0xee, 0x01, 0, 0, 0]),
            ("23:59:59.999999", 16_000, 1_382_399_999, [0xff, 0xbf, 0x65, 0x52, 0, 0, 0, 0]),
        ] {
            for day in ["2027-02-09", "1969-12-31", "2028-02-29"] {
                let reference = time_reference(utc(&format!("{day}T{time}Z")), rate);
                assert_eq!((reference, reference.to_le_bytes()), (samples, bytes), "{day} {time} at {rate}");
            }
        }
    }

    #[test]
    fn a_label_goes_in_place_and_leaves_the_sound() {
        let dir = tempfile::tempdir().unwrap();
        let path = note(&dir.path().join("a.wav"), &speech(500));
        let before = std::fs::read(&path).unwrap();
        let long = "x".repeat(300);
        for (begin, description, date, time, reference) in [
            (
                Some(utc("2027-02-09T13:15:02.400Z")),
                "trap 14, 7 crabs",
                "2027-02-09",
                "13:15:02",
                763_238_400,
            ),
            (Some(utc("2027-02-09T23:59:59.999Z")), "trap 14", "2027-02-09", "23:59:59", 1_382_399_984),
            (None, "", "", "", 0),
            (None, "Île d’Or", "", "", 0),
            (Some(Utc(0)), &long, "1970-01-01", "00:00:00", 0),
            (Utc::midnight(-5, 1, 1), "no such year", "", "", 0),
        ] {
            let said = Label { begin, description };
            // The first is a fresh file's own.
            label(&path, &said).unwrap();
            let after = std::fs::read(&path).unwrap();
            assert!(!label(&path, &said).unwrap(), "{said:?}");
            assert_eq!(std::fs::read(&path).unwrap(), after);
            let head = Head::read(&std::fs::File::open(&path).unwrap(), &path).unwrap();
            let kept = ascii(description).chars().take(256).collect::<String>();
            assert_eq!(head.text(bext::DESCRIPTION), kept);
            assert_eq!((head.text(bext::DATE), head.text(bext::TIME)), (date.into(), time.into()));
            assert_eq!(head.get(bext::TIME_REFERENCE), u64::to_le_bytes(reference));
            assert_eq!(after[DATA..], before[DATA..]);
            assert_eq!((&after[..44], &after[300..364]), (&before[..44], &before[300..364]));
            assert_eq!(after[390..DATA], before[390..DATA]);
        }
    }

    #[test]
    fn it_says_whether_it_wrote() {
        let dir = tempfile::tempdir().unwrap();
        let path = note(&dir.path().join("a.wav"), &speech(5));
        let none = Label { begin: None, description: "" };
        let some = Label { begin: Some(Utc(1)), description: "a" };
        let wrote: Vec<_> =
            [none, some, some, none, none].iter().map(|said| label(&path, said).unwrap()).collect();
        assert_eq!(wrote, [false, true, false, true, false]);
    }

    #[test]
    fn it_labels_nothing_but_notes() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.wav");
        let said = Label { begin: None, description: "a" };
        std::fs::write(&path, [0; 2_000]).unwrap();
        assert!(matches!(label(&path, &said), Err(WavError::NotOurs { .. })));
        std::fs::write(&path, [0; 200]).unwrap();
        assert!(matches!(label(&path, &said), Err(WavError::Short { .. })));
    }
}
