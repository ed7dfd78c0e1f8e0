//! A serial device as a [`Line`]. Refused: ports that are missing, in use, not allowed or no serial line, each with
//! what to try next.

use std::io::{self, Read, Write};
use std::path::Path;
use std::time::Duration;

#[cfg(windows)]
use serialport::COMPort as NativePort;
#[cfg(unix)]
use serialport::TTYPort as NativePort;
use serialport::{ClearBuffer, ErrorKind, SerialPort};

use super::{BAUD, ClientError, Line};

/// Longest wait of one read: short, so that a hang-up or an interrupt is noticed soon.
const READ_PATIENCE: Duration = Duration::from_millis(20);

/// Opens a serial device at the link's speed, for this program alone.
///
/// # Errors
/// [`ClientError`] says what is in the way and what to try.
pub fn open(path: &Path) -> Result<Box<dyn Line>, ClientError> {
    open_at(path, BAUD)
}

/// Opens a serial device at any speed: what a wrongly set adapter would do.
///
/// # Errors
/// [`ClientError`] says what is in the way and what to try.
pub fn open_at(path: &Path, baud: u32) -> Result<Box<dyn Line>, ClientError> {
    let name = path.display().to_string();
    let opened = serialport::new(name.clone(), baud).timeout(READ_PATIENCE).open_native();
    let mut port = opened.map_err(|error| refused(name, &error))?;
    // USB boards send only while this is raised; pseudo-terminals have no such signal and need none.
    let _raised = port.write_data_terminal_ready(true);
    // What an earlier talk left in the buffer is no part of this one.
    let _cleared = port.clear(ClearBuffer::Input);
    Ok(Box::new(SerialLine(port)))
}

/// An open serial device, for this program alone (advisory lock, and exclusive where the system knows that).
struct SerialLine(NativePort);

impl Read for SerialLine {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.0.read(into)
    }
}

impl Write for SerialLine {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

#[cfg(unix)]
impl Drop for SerialLine {
    fn drop(&mut self) {
        // A pseudo-terminal stays exclusive after the close while its other end is held open.
        let _shared = self.0.set_exclusive(false);
    }
}

fn refused(port: String, error: &serialport::Error) -> ClientError {
    match error.kind {
        ErrorKind::Io(io::ErrorKind::NotFound) => ClientError::PortMissing { port },
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => ClientError::PortDenied { port },
        ErrorKind::NoDevice => ClientError::PortBusy { port },
        ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) => {
            ClientError::NotASerialPort { port, system: error.description.clone() }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_port_and_a_file_that_is_no_port_are_told_apart() {
        let missing = open(Path::new("/dev/no-such-port")).err().unwrap();
        assert!(matches!(missing, ClientError::PortMissing { .. }), "{missing}");
        let file = tempfile::NamedTempFile::new().unwrap();
        let wrong = open(file.path()).err().unwrap();
        assert!(matches!(wrong, ClientError::NotASerialPort { .. }), "{wrong}");
    }
}
