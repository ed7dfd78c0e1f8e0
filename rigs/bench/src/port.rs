//! Where a board is reached. In: what the user wrote after `--port`. Out: an open line, or the list of
//! what there is. Refused: ports that are missing, in use, not allowed or no serial line, each with what
//! to try next.

use std::fmt;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use firmware_core::link::Pacing;
use serde::Serialize;
use serialport::{ClearBuffer, ErrorKind, SerialPort, SerialPortType, TTYPort};

use crate::client::{ClientError, Line};

/// Speed of the link, baud; eight data bits, no parity, one stop bit, no flow control.
pub const BAUD: u32 = 115_200;
/// Longest wait of one read: short, so that a hang-up or an interrupt is noticed soon.
const READ_PATIENCE: Duration = Duration::from_millis(20);
/// The unit that `virtual` alone means.
pub const DEFAULT_UNIT: &str = "healthy";

/// Where the controller of a virtual rig runs; the same code either way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Processor {
    /// In this program.
    #[default]
    Host,
    /// In its image on an emulated Cortex-M4F board: processor in the loop.
    Board,
}

/// A port as the user names it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PortSpec {
    /// A serial device, by its path or name.
    Device(PathBuf),
    /// The built-in rig with one of its units.
    Virtual {
        /// Name of the unit.
        unit: String,
        /// What makes its time pass.
        pacing: Pacing,
        /// Where its controller runs.
        processor: Processor,
    },
    /// The first USB serial adapter found.
    Board,
}

/// A port name that means nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "port \"{given}\": {problem}. Allowed: a device path such as /dev/ttyUSB0 or COM3, `board`, `virtual`, `virtual:UNIT`, `virtual:UNIT,paced` or `virtual:UNIT,emulated`; `vanebench ports` lists what there is"
)]
pub struct BadPort {
    given: String,
    problem: &'static str,
}

impl FromStr for PortSpec {
    type Err = BadPort;

    fn from_str(given: &str) -> Result<Self, BadPort> {
        let bad = |problem| BadPort { given: given.to_owned(), problem };
        match given.split_once(':') {
            _ if given.trim().is_empty() => Err(bad("is empty")),
            None if given == "board" => Ok(Self::Board),
            None if given == "virtual" => {
                let unit = DEFAULT_UNIT.to_owned();
                Ok(Self::Virtual { unit, pacing: Pacing::Stepped, processor: Processor::Host })
            }
            Some(("virtual", rest)) => {
                let (unit, pacing, processor) = match rest.split_once(',') {
                    None => (rest, Pacing::Stepped, Processor::Host),
                    Some((unit, "paced")) => (unit, Pacing::Paced, Processor::Host),
                    Some((unit, "stepped")) => (unit, Pacing::Stepped, Processor::Host),
                    Some((unit, "emulated")) => (unit, Pacing::Stepped, Processor::Board),
                    Some(_) => {
                        return Err(bad("only `paced`, `stepped` or `emulated` may follow the comma"));
                    }
                };
                if unit.is_empty() {
                    return Err(bad("names no unit after `virtual:`"));
                }
                Ok(Self::Virtual { unit: unit.to_owned(), pacing, processor })
            }
            _ => Ok(Self::Device(PathBuf::from(given))),
        }
    }
}

impl fmt::Display for PortSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Device(path) => write!(f, "{}", path.display()),
            Self::Virtual { unit, processor: Processor::Board, .. } => write!(f, "virtual:{unit},emulated"),
            Self::Virtual { unit, pacing: Pacing::Stepped, .. } => write!(f, "virtual:{unit}"),
            Self::Virtual { unit, pacing: Pacing::Paced, .. } => write!(f, "virtual:{unit},paced"),
            Self::Board => f.write_str("board"),
        }
    }
}

/// A serial port of this machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FoundPort {
    /// Path or name to give to `--port`.
    pub name: String,
    /// What the system says it is.
    pub kind: &'static str,
    /// Product text of a USB adapter.
    pub product: Option<String>,
}

/// The serial ports of this machine, by name. Pseudo-terminals are never listed; any path can be given.
#[must_use]
pub fn found() -> Vec<FoundPort> {
    // The listing panics on Linux systems without this folder.
    if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    let mut ports: Vec<FoundPort> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|port| {
            let (kind, product) = match port.port_type {
                SerialPortType::UsbPort(usb) => ("usb", usb.product),
                SerialPortType::PciPort => ("built-in", None),
                SerialPortType::BluetoothPort => ("bluetooth", None),
                SerialPortType::Unknown => ("unknown", None),
            };
            FoundPort { name: port.port_name, kind, product }
        })
        .collect();
    ports.sort_by(|a, b| a.name.cmp(&b.name));
    ports
}

/// The first USB serial adapter.
///
/// # Errors
/// When there is none.
pub fn board() -> Result<PathBuf, ClientError> {
    found()
        .into_iter()
        .find(|port| port.kind == "usb")
        .map(|port| PathBuf::from(port.name))
        .ok_or(ClientError::NoBoard)
}

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
struct SerialLine(TTYPort);

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
    fn port_names_read_back_as_they_are_written() {
        for text in ["/dev/ttyUSB0", "COM3", "board", "virtual:sooted-ring", "virtual:healthy,paced"] {
            assert_eq!(text.parse::<PortSpec>().unwrap().to_string(), text);
        }
        assert_eq!("virtual".parse::<PortSpec>().unwrap().to_string(), "virtual:healthy");
    }

    #[test]
    fn a_port_name_that_means_nothing_says_what_is_allowed() {
        for text in ["", "virtual:", "virtual:healthy,fast"] {
            let message = text.parse::<PortSpec>().unwrap_err().to_string();
            assert!(message.contains("/dev/ttyUSB0") && message.contains("vanebench ports"), "{message}");
        }
    }

    #[test]
    fn a_missing_port_and_a_file_that_is_no_port_are_told_apart() {
        let missing = open(Path::new("/dev/no-such-port")).err().unwrap();
        assert!(matches!(missing, ClientError::PortMissing { .. }), "{missing}");
        let file = tempfile::NamedTempFile::new().unwrap();
        let wrong = open(file.path()).err().unwrap();
        assert!(matches!(wrong, ClientError::NotASerialPort { .. }), "{wrong}");
    }
}
