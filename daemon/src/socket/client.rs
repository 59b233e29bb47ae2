//! The client's side: hands a command to the running service and passes its output on.

use std::fs::File;
use std::io::{self, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;

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

fn open_all(command: &Command) -> Result<Vec<(String, File)>> {
    let open = |path: std::path::PathBuf| {
        let name = path.display().to_string();
        let file = File::open(&path).map_err(Error::file("cannot read", path, "check the name"))?;
        Ok((name, file))
    };
    command.files().into_iter().map(open).collect()
}

fn stream(files: Vec<(String, File)>, service: &mut UnixStream) -> io::Result<()> {
    let mut piece = vec![0; super::FRAME_MAX];
    for (name, mut file) in files {
        send(service, Kind::File, name.as_bytes())?;
        loop {
            let n = file.read(&mut piece)?;
            if n == 0 {
                break;
            }
            send(service, Kind::Data, piece.get(..n).unwrap_or_default())?;
        }
        send(service, Kind::End, b"")?;
    }
    Ok(())
}
