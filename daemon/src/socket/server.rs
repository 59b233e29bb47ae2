//! The service's side: takes commands from clients, each in a thread of its own, within bounds.
//!
//! A client that stalls, floods or talks nonsense loses its connection; capture never notices.

use std::io::{self, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::UnixListener;
use tokio::sync::Semaphore;

use super::{FRAME_MAX, Kind, receive, send};
use crate::args::Command;
use crate::cmd;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::io::Io;
use sent::Sent;

mod sent;

/// Clients served at once; more wait.
const CLIENTS: usize = 16;
/// A client that neither sends nor takes anything for this long is let go.
const IDLE: Duration = Duration::from_secs(30);
/// A client has its command ready when it comes; one that says nothing must not keep others waiting.
const FIRST: Duration = Duration::from_secs(2);

/// The owner's alone; and the group's where the data directory is one that a group shares: it may enter, and the
/// set-group-ID bit says that what is made there is the group's.
fn mode(data: &Path) -> std::io::Result<u32> {
    let shared = std::fs::metadata(data)?.permissions().mode() & 0o2010 == 0o2010;
    Ok(if shared { 0o660 } else { 0o600 })
}

/// Listens on the data directory's socket until dropped.
///
/// # Errors
/// When the socket cannot be made.
pub async fn serve(desk: Desk) -> Result<()> {
    let (path, _folder) = super::path(&desk.data)?;
    // Left by a service that was killed; the lock of the data directory is ours.
    let _ = std::fs::remove_file(&path);
    sent::remove_left(&desk.data);
    let listener = UnixListener::bind(&path)?;
    let _gone_at_the_end = Remove(&path);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode(&desk.data)?))?;
    let places = Arc::new(Semaphore::new(CLIENTS));
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return Ok(()) };
        match listener.accept().await {
            Ok((client, _)) => {
                let desk = desk.clone();
                tokio::task::spawn_blocking(move || {
                    if let Err(gone) = client.into_std().and_then(|client| attend(&desk, client)) {
                        tracing::debug!("a client went away: {gone}");
                    }
                    drop(place);
                });
            }
            Err(trouble) => {
                tracing::warn!("cannot take a client: {trouble}");
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        }
    }
}

struct Remove<'a>(&'a Path);

impl Drop for Remove<'_> {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(self.0);
    }
}

/// Does one client's command.
fn attend(desk: &Desk, mut client: UnixStream) -> io::Result<()> {
    client.set_nonblocking(false)?;
    client.set_read_timeout(Some(FIRST))?;
    client.set_write_timeout(Some(IDLE))?;
    let (Kind::Command, request) = receive(&mut client)? else {
        return Err(io::ErrorKind::InvalidData.into());
    };
    client.set_read_timeout(Some(IDLE))?;
    let command: Command = serde_json::from_slice(&request)?;
    let mut sent = Sent::new(client.try_clone()?, &desk.data);
    let mut out = io::BufWriter::with_capacity(FRAME_MAX, Framed(&client, Kind::Out));
    let mut err = Framed(&client, Kind::Err);
    let mut io = Io { out: &mut out, err: &mut err, watched: false, files: &mut sent };
    let result = cmd::perform(desk, &command, &mut io);
    out.flush()?;
    let status = match result {
        Ok(()) => 0,
        Err(trouble) => {
            if !matches!(trouble, Error::Told) {
                writeln!(err, "gunwale: {trouble}")?;
            }
            trouble.exit_code()
        }
    };
    send(&mut &client, Kind::Exit, &[status])
}

/// Bytes go out as frames of one kind.
struct Framed<'a>(&'a UnixStream, Kind);

impl Write for Framed<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let piece = bytes.get(..bytes.len().min(FRAME_MAX)).unwrap_or(bytes);
        send(&mut self.0, self.1, piece)?;
        Ok(piece.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
