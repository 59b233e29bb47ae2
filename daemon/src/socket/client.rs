//! The client's side: hands a command to the running service and passes its output on.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};

use gunwale_protocol::input::{Input, Stamped};
use gunwale_protocol::tape;

use super::{Kind, receive, send};
use crate::args::Command;
use crate::error::{Error, Result};

/// A connection to the running service on this data directory, if there is one.
pub fn connect(data: &Path) -> Option<UnixStream> {
    let (path, _folder) = super::path(data).ok()?;
    UnixStream::connect(path).ok()
}

/// Has the service do the command; output goes to `out`, messages to stderr.
///
/// # Errors
/// A file that cannot be opened, an output that cannot be written, a service that goes away.
pub fn ask(mut service: UnixStream, command: &Command, out: &mut dyn Write) -> Result<u8> {
    let files = open_all(command)?;
    let lost = |e: io::Error| Error::Connection(e.to_string());
    let request = serde_json::to_vec(command).map_err(|e| Error::Connection(e.to_string()))?;
    send(&mut service, Kind::Command, &request).map_err(lost)?;
    let mut sending = service.try_clone().map_err(lost)?;
    // The service may answer while files are still on their way, and may stop reading them: then so do we.
    let sender = std::thread::spawn(move || stream(files, &mut sending));
    let status = loop {
        match receive(&mut service).map_err(lost)? {
            (Kind::Out, bytes) => {
                out.write_all(&bytes)?;
                out.flush()?;
            }
            (Kind::Err, bytes) => io::stderr().write_all(&bytes)?,
            (Kind::Exit, status) => break status.first().copied().unwrap_or(1),
            (_, _) => return Err(Error::Connection("it spoke another language".into())),
        }
    };
    drop(service);
    drop(sender);
    Ok(status)
}

/// A file to be sent: its name as given, where it is, and its contents.
type Opened = (String, PathBuf, File);

fn open_all(command: &Command) -> Result<Vec<Opened>> {
    let open = |path: PathBuf| {
        let name = path.display().to_string();
        let file = File::open(&path).map_err(Error::file("cannot read", path.clone(), "check the name"))?;
        Ok((name, path, file))
    };
    command.files().into_iter().map(open).collect()
}

fn stream(files: Vec<Opened>, service: &mut UnixStream) -> io::Result<()> {
    for (name, path, file) in files {
        send(service, Kind::File, name.as_bytes())?;
        send_lines(&crate::io::folder_of(&path), file, service)?;
        send(service, Kind::End, b"")?;
    }
    Ok(())
}

/// Sends a file by lines, before each the sound files it names.
fn send_lines(folder: &Path, file: File, service: &mut UnixStream) -> io::Result<()> {
    let mut file = BufReader::with_capacity(super::FRAME_MAX, file);
    let (mut piece, mut sent) = (Vec::new(), BTreeSet::new());
    loop {
        piece.clear();
        let room = super::FRAME_MAX as u64;
        if (&mut file).take(room).read_until(b'\n', &mut piece)? == 0 {
            return Ok(());
        }
        for name in sounds_in(&piece) {
            if let Some(path) = crate::io::beside(folder, &name).filter(|_| sent.insert(name.clone())) {
                send(service, Kind::Sound, name.as_bytes())?;
                send_whole(&mut File::open(path)?, service)?;
                send(service, Kind::End, b"")?;
            }
        }
        send(service, Kind::Data, &piece)?;
    }
}

/// The sound files that a tape's line names.
fn sounds_in(line: &[u8]) -> Vec<String> {
    let names =
        [&b"\"note\""[..], b"\"audio\""].iter().any(|key| line.windows(key.len()).any(|part| part == *key));
    let text = std::str::from_utf8(line).ok().filter(|_| names).map(str::trim);
    let inputs = text.and_then(|text| tape::read(text).ok()).unwrap_or_default();
    let sound = |stamped: Stamped| match stamped.input {
        Input::Note(voice) => Some(voice.file),
        Input::Audio(file) => Some(file),
        _ => None,
    };
    inputs.into_iter().filter_map(sound).collect()
}

fn send_whole(file: &mut File, service: &mut UnixStream) -> io::Result<()> {
    let mut piece = vec![0; super::FRAME_MAX];
    loop {
        let n = file.read(&mut piece)?;
        if n == 0 {
            return Ok(());
        }
        send(service, Kind::Data, piece.get(..n).unwrap_or_default())?;
    }
}
