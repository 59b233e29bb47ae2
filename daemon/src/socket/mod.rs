//! How a command reaches a running service: one Unix socket in the data directory, and frames on it.
//!
//! The client sends the command, then the contents of the files it names; the service answers with output, messages
//! and an exit status. The service never opens a path that a client gave.

use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

pub mod client;
pub mod server;

/// Longest frame, bytes: bounds what one client can make the service hold.
pub const FRAME_MAX: usize = 64 * 1024;

/// What a frame carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Client: the command, JSON.
    Command,
    /// Client: the next file's name as given.
    File,
    /// Client: the next line names this sound file; its contents follow, then the file before goes on.
    Sound,
    /// Client: a piece of that file.
    Data,
    /// Client: that file is at its end.
    End,
    /// Service: output.
    Out,
    /// Service: a message for stderr.
    Err,
    /// Service: done, one byte of exit status.
    Exit,
}

impl Kind {
    const ALL: [(Kind, u8); 8] = [
        (Kind::Command, b'c'),
        (Kind::File, b'f'),
        (Kind::Sound, b's'),
        (Kind::Data, b'd'),
        (Kind::End, b'e'),
        (Kind::Out, b'o'),
        (Kind::Err, b'r'),
        (Kind::Exit, b'x'),
    ];

    fn byte(self) -> u8 {
        Kind::ALL.iter().find(|(kind, _)| *kind == self).map_or(0, |(_, byte)| *byte)
    }

    fn of(byte: u8) -> Option<Kind> {
        Kind::ALL.iter().find(|(_, b)| *b == byte).map(|(kind, _)| *kind)
    }
}

/// Writes one frame: kind, length (big-endian u32), payload.
pub fn send(to: &mut impl Write, kind: Kind, payload: &[u8]) -> io::Result<()> {
    let mut frame = Vec::with_capacity(5 + payload.len());
    frame.push(kind.byte());
    frame.extend_from_slice(&u32::try_from(payload.len()).map_err(io::Error::other)?.to_be_bytes());
    frame.extend_from_slice(payload);
    to.write_all(&frame)
}

/// Reads one frame.
///
/// # Errors
/// `InvalidData` for an unknown kind or a frame over [`FRAME_MAX`]; else what the socket says.
pub fn receive(from: &mut impl Read) -> io::Result<(Kind, Vec<u8>)> {
    let mut head = [0; 5];
    from.read_exact(&mut head)?;
    let [kind, length @ ..] = head;
    let length = usize::try_from(u32::from_be_bytes(length)).unwrap_or(usize::MAX);
    let kind = Kind::of(kind).filter(|_| length <= FRAME_MAX).ok_or(io::ErrorKind::InvalidData)?;
    let mut payload = vec![0; length];
    from.read_exact(&mut payload)?;
    Ok((kind, payload))
}

/// The socket's path, in a form short enough for the system's limit of 107 bytes; the file handle keeps that form valid.
pub fn path(data: &Path) -> io::Result<(PathBuf, std::fs::File)> {
    use std::os::fd::AsRawFd;
    let folder = std::fs::File::open(data)?;
    let plain = data.join("socket");
    if plain.as_os_str().len() < 100 {
        return Ok((plain, folder));
    }
    Ok((PathBuf::from(format!("/proc/self/fd/{}/socket", folder.as_raw_fd())), folder))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_come_back_as_sent_and_bad_ones_are_refused() {
        let mut wire = Vec::new();
        send(&mut wire, Kind::Data, b"abc").unwrap();
        send(&mut wire, Kind::End, b"").unwrap();
        let mut from = wire.as_slice();
        assert_eq!(receive(&mut from).unwrap(), (Kind::Data, b"abc".to_vec()));
        assert_eq!(receive(&mut from).unwrap(), (Kind::End, Vec::new()));
        let unknown = receive(&mut [b'?', 0, 0, 0, 0].as_slice()).unwrap_err();
        assert_eq!(unknown.kind(), io::ErrorKind::InvalidData);
        let huge = receive(&mut [b'd', 255, 255, 255, 255].as_slice()).unwrap_err();
        assert_eq!(huge.kind(), io::ErrorKind::InvalidData);
    }
}
