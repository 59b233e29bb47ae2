//! Opening a serial device; a trait, so that tests can put another in its place.

use std::io::{self, Read, Write};
use std::path::Path;
use std::time::Duration;

use serialport::{ClearBuffer, ErrorKind, SerialPort, TTYPort};

/// How long one read waits for a byte, in real time: the longest that a stop is not heeded.
const READ_WAIT: Duration = Duration::from_millis(100);

/// An open device.
pub trait Port: Read + Write + Send {}

impl<P: Read + Write + Send> Port for P {}

/// A way to open a device.
pub trait Open: Send {
    /// Opens the device at this speed, 8 data bits, no parity, one stop bit, no flow control.
    ///
    /// Its reads and writes wait a short time and then fail with `TimedOut`; 0 bytes read means that it is gone.
    ///
    /// # Errors
    /// `NotFound`, `PermissionDenied`, `ResourceBusy`, or another with the system's words.
    fn open(&mut self, path: &Path, baud: u32) -> io::Result<Box<dyn Port>>;
}

/// Opens real serial devices, for this program alone.
#[derive(Debug, Clone, Copy, Default)]
pub struct Serial;

impl Open for Serial {
    fn open(&mut self, path: &Path, baud: u32) -> io::Result<Box<dyn Port>> {
        let name = path.to_str().ok_or_else(|| io::Error::other("its path is not UTF-8"))?;
        let port = TTYPort::open(&serialport::new(name, baud).timeout(READ_WAIT)).map_err(plain)?;
        // What the system took in before the speed was right would be read as noise.
        port.clear(ClearBuffer::Input).map_err(plain)?;
        Ok(Box::new(port))
    }
}

fn plain(error: serialport::Error) -> io::Error {
    match error.kind {
        ErrorKind::NoDevice => io::ErrorKind::ResourceBusy.into(),
        ErrorKind::Io(kind @ (io::ErrorKind::NotFound | io::ErrorKind::PermissionDenied)) => kind.into(),
        _ => io::Error::other(error.description),
    }
}
