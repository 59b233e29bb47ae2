//! PocketSphinx, spoken to through its batch program: that reads names of files from a pipe and writes what it heard, word
//! by word, as it goes, so its model is loaded once.
//!
//! Nothing is written to the disk for it: grammar, dictionary and the note without its noise are files in memory.

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use gunwale_protocol::tally::Speech;

use super::memory::Memory;
use super::{Heard, grammar};
use crate::error::{Error, Result};

/// Where Debian's pocketsphinx-en-us puts its model and its dictionary.
const MODEL: &str = "/usr/share/pocketsphinx/model/en-us";
const PROGRAM: &str = "pocketsphinx_batch";
const INSTALL: &str = "install it (on Debian, apt-get install pocketsphinx pocketsphinx-en-us)";

/// A running PocketSphinx.
pub(super) struct Sphinx {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    sound: Memory,
    /// As long as it runs.
    _words: [Memory; 2],
}

impl Drop for Sphinx {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Sphinx {
    /// Starts it with the words of the trade and the crew's own.
    ///
    /// # Errors
    /// When it or its model is not installed, or the crew speaks no English.
    pub(super) fn start(speech: &Speech) -> Result<Sphinx> {
        if speech.language != Speech::default().language {
            return Err(Error::OnlyEnglish(speech.language.clone()));
        }
        let dictionary = Path::new(MODEL).join("cmudict-en-us.dict");
        let cmu = File::open(&dictionary).map_err(Error::file("cannot read", &dictionary, INSTALL))?;
        let grammar::Words { rules, dictionary, missing } = grammar::words(speech, BufReader::new(cmu))?;
        if !missing.is_empty() {
            eprintln!("not listened for, since PocketSphinx's dictionary lacks them: {}", missing.join(", "));
        }
        let words = [Memory::of("trade.gram", &rules)?, Memory::of("words.dict", &dictionary)?];
        let sound = Memory::new("note.wav")?;
        let [rules, dictionary] = words.each_ref().map(|memory| memory.path.as_path());
        let mut command = Command::new(PROGRAM);
        command.arg("-hmm").arg(Path::new(MODEL).join("en-us"));
        command.arg("-jsgf").arg(rules).arg("-dict").arg(dictionary);
        // Files as they are named, each a WAV behind its header; what was heard, word by word.
        command.args(["-ctl", "/dev/stdin", "-cepext", "", "-adcin", "yes", "-adchdr", "44"]);
        command.args(["-hypseg", "/dev/stdout", "-logfn", "/dev/null"]);
        command.stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut child = command.spawn().map_err(Error::file("cannot start", PROGRAM, INSTALL))?;
        let pipes = child.stdin.take().zip(child.stdout.take());
        let (to, from) = pipes.ok_or_else(|| std::io::Error::other("no pipes"))?;
        Ok(Sphinx { child, to, from: BufReader::new(from), sound, _words: words })
    }

    /// What it hears in a file once the noise is taken out, and how sure it is.
    ///
    /// # Errors
    /// A file that is no sound; a PocketSphinx that ends.
    pub(super) fn hear(&mut self, file: &Path) -> Result<Heard> {
        self.sound.put_clean(file)?;
        let mut line = String::new();
        let asked = writeln!(self.to, "{}", self.sound.path.display());
        if asked.and_then(|()| self.from.read_line(&mut line)).is_ok_and(|read| read > 0) {
            let (text, confidence) = heard(&line);
            return Ok(Heard { text, also: None, confidence });
        }
        let status = self.child.wait()?;
        Err(std::io::Error::other(format!("{PROGRAM} ended ({status})")).into())
    }
}

/// Words and confidence out of a line of segments:
/// `name S 0 T total A acoustic L language`, then for each word `begin acoustic language word`, then the end, in frames of
/// 10 ms. The confidence is the e-th power of the acoustic score for a frame of speech, a hundredth of it.
fn heard(line: &str) -> (String, f64) {
    let fields: Vec<&str> = line.split_whitespace().collect();
    let Some(first) = fields.iter().position(|field| *field == "L").map(|at| at + 2) else {
        return (String::new(), 0.0);
    };
    let segments = fields.get(first..).unwrap_or_default();
    let (mut words, mut score, mut frames) = (Vec::new(), 0.0, 0.0);
    let number = |text: Option<&&str>| text.and_then(|text| text.parse::<f64>().ok()).unwrap_or_default();
    for (n, segment) in segments.chunks_exact(4).enumerate() {
        let [begin, acoustic, _, word] = segment else { continue };
        let word = word.split_once('(').map_or(*word, |(word, _)| word);
        // Silence, noise and what joins rules.
        if word.is_empty() || word.starts_with(['<', '[']) {
            continue;
        }
        words.push(word);
        score += number(Some(acoustic));
        frames += number(segments.get(4 * (n + 1))) - number(Some(begin));
    }
    let confidence = if frames > 0.0 { (score / frames / 100.0).exp().min(1.0) } else { 0.0 };
    (words.join(" "), (confidence * 1e4).round() / 1e4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_confidence_come_out_of_a_line_of_segments() {
        // Written by pocketsphinx_batch 0.8+5prealpha for a synthetic voice.
        let line = "note S 0 T -5066 A -4729 L -337 0 -114 -337 <sil> 19 -342 0 trap 48 -608 0 seven(2) 87 0 0 (NULL) 88 \
            -1097 0 five 133 -739 0 crabs 180 0 0 (NULL) 181 -871 0 two 212 -958 0 shorts 279\n";
        // 4,615 over 258 frames.
        assert_eq!(heard(line), ("trap seven five crabs two shorts".into(), 0.8362));
        for nothing in ["note S 0 T 0 A 0 L 0 120\n", "note (null)\n", "", "x L", "x L 0 a b c d"] {
            let (text, confidence) = heard(nothing);
            assert!(confidence == 0.0 && text.len() < 2, "{nothing}: {text} {confidence}");
        }
    }
}
