//! What a recogniser answers: one line of JSON a note.

use std::path::Path;

use serde::Deserialize;

/// Longest line of an answer, bytes.
pub const LINE_MAX: usize = 64 * 1024;
/// Longest text of a note, bytes: far more than is said in half a minute.
const TEXT_MAX: usize = 8_000;

/// What a recogniser made of a note.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// What was said, in one line; empty: nothing was understood.
    pub text: String,
    /// What it heard when it listened another way.
    pub also: Option<String>,
    /// How sure it is, 0…1.
    pub confidence: Option<f64>,
}

/// Why a line is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoAnswer {
    /// Not the JSON it should be.
    #[error("its answer is no JSON object with \"file\" and \"text\"")]
    Rubbish,
    /// It speaks of another file.
    #[error("it answered for another file")]
    OtherFile,
    /// A confidence that is none.
    #[error("its confidence is not between 0 and 1")]
    Confidence,
    /// More text than anybody speaks.
    #[error("its text is longer than {TEXT_MAX} bytes")]
    TooLong,
}

/// The line as a recogniser writes it. What else stands in it is for others.
#[derive(Deserialize)]
struct Line {
    file: String,
    text: String,
    #[serde(default)]
    also: Option<String>,
    #[serde(default)]
    confidence: Option<f64>,
}

/// Reads the answer to a request for `file`.
///
/// # Errors
/// [`NoAnswer`] says what is wrong with it.
pub fn read(line: &[u8], file: &Path) -> Result<Answer, NoAnswer> {
    let line: Line = serde_json::from_slice(line).map_err(|_| NoAnswer::Rubbish)?;
    if Path::new(&line.file) != file {
        return Err(NoAnswer::OtherFile);
    }
    if line.confidence.is_some_and(|c| !(0.0..=1.0).contains(&c)) {
        return Err(NoAnswer::Confidence);
    }
    if line.text.len() + line.also.as_ref().map_or(0, String::len) > TEXT_MAX {
        return Err(NoAnswer::TooLong);
    }
    Ok(Answer { text: plain(&line.text), also: line.also.as_deref().map(plain), confidence: line.confidence })
}

/// A text in one line.
fn plain(text: &str) -> String {
    text.replace(char::is_control, " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_answer_is_taken_as_it_is_meant_or_not_at_all() {
        let answer = |text: &str, confidence| Ok(Answer { text: text.into(), also: None, confidence });
        let also = Ok(Answer { also: Some("seven crab".into()), text: "7 crabs".into(), confidence: None });
        let long = format!(r#"{{"file":"/n/a.wav","text":"{}"}}"#, "x".repeat(TEXT_MAX + 1));
        for (line, expected) in [
            (
                r#"{"file":"/n/a.wav","text":"seven crabs","confidence":0.5}"#,
                answer("seven crabs", Some(0.5)),
            ),
            (r#"{"text":" seven\n crabs ","file":"/n/a.wav","words":[1]}"#, answer("seven crabs", None)),
            (r#"{"file":"/n/a.wav","text":"","confidence":null}"#, answer("", None)),
            (r#"{"file":"/n/a.wav","text":"7 crabs","also":" seven crab"}"#, also),
            (r#"{"file":"/n/b.wav","text":"x"}"#, Err(NoAnswer::OtherFile)),
            (r#"{"file":"/n/a.wav"}"#, Err(NoAnswer::Rubbish)),
            (r#"{"file":"/n/a.wav","text":7}"#, Err(NoAnswer::Rubbish)),
            ("loading…", Err(NoAnswer::Rubbish)),
            ("", Err(NoAnswer::Rubbish)),
            (r#"{"file":"/n/a.wav","text":"x","confidence":1.01}"#, Err(NoAnswer::Confidence)),
            (r#"{"file":"/n/a.wav","text":"x","confidence":-0.1}"#, Err(NoAnswer::Confidence)),
            (&long, Err(NoAnswer::TooLong)),
        ] {
            assert_eq!(read(line.as_bytes(), Path::new("/n/a.wav")), expected, "{line}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_without_harm(line in any::<Vec<u8>>()) {
            let _ = read(&line, Path::new("/n/a.wav"));
        }
    }
}
