//! `correct`: a person's word over what was sensed and said.

use gunwale_protocol::correct::check;
use gunwale_protocol::input::{Correction, Stated};

use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::find;
use crate::io::Io;

/// Corrects a pull or a note.
///
/// # Errors
/// A pull that is not there, a field or value that cannot be; then nothing is changed.
pub fn correct(desk: &Desk, of: &str, fields: &[String], io: &mut Io<'_>) -> Result<()> {
    let mut set = Vec::new();
    for field in fields {
        match field.split_once('=') {
            // A note moves to a pull that may be given in its short form; only the id is written down.
            Some(("pull", to)) => set.push(("pull".to_owned(), find::pull(desk, to)?)),
            Some((name, value)) => set.push((name.trim().to_owned(), value.trim().to_owned())),
            None if field == "undo" => set.push(("undo".to_owned(), String::new())),
            None => {
                return Err(Error::Usage(format!("{field}: write FIELD=VALUE, such as keepers=4, or undo")));
            }
        }
    }
    check(&set)?;
    let moves = set.iter().any(|(field, _)| field == "pull");
    let of =
        if moves { find::note(desk, of)? } else { find::pull(desk, of).or_else(|_| find::note(desk, of))? };
    desk.state(vec![Stated::Correct(Correction { of: of.clone(), set })])?;
    writeln!(io.out, "corrected {of}")?;
    Ok(())
}
