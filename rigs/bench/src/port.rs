//! Where a board is reached. In: what the user wrote after `--port`. Out: a [`PortSpec`], or the list of what there
//! is. Refused: a name that means nothing, with what is allowed.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use firmware_core::link::Pacing;
use schemars::JsonSchema;
use serde::Serialize;
use serialport::SerialPortType;

use crate::actuator::{BadVirtualUnit, BuiltInActuator, DEFAULT_CASE, DEMO, VirtualUnit};

/// Where the controller of a virtual rig runs; the same code either way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Processor {
    /// In this program.
    #[default]
    Host,
    /// In its image on an emulated Cortex-M4F board: processor in the loop.
    Board,
    /// As `board`, and show the board's own log.
    BoardLogged,
}

/// A port as the user names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortSpec {
    /// A serial device, by its path or name.
    Device(PathBuf),
    /// The built-in rig with one of its units; `board` where its controller runs on the emulated board.
    Virtual {
        /// Which unit.
        unit: VirtualUnit,
        /// What makes its time pass.
        pacing: Pacing,
        /// Where its controller runs.
        processor: Processor,
    },
}

/// A port name that means nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "port \"{given}\": {problem}. Allowed: a device path such as /dev/ttyUSB0 or COM3, `virtual:CASE` or `virtual:ACTUATOR/CASE`, with `,paced` on wall-clock time, `board:CASE` or `board:ACTUATOR/CASE`; `vanebench ports` lists what there is"
)]
pub struct BadPort {
    given: String,
    problem: String,
}

impl PortSpec {
    /// The actuator that profile and limits are of when nothing else is named.
    pub(crate) fn actuator(&self) -> &'static BuiltInActuator {
        match self {
            Self::Virtual { unit, .. } => unit.actuator,
            Self::Device(_) => &DEMO,
        }
    }

    /// What makes time pass there.
    #[must_use]
    pub fn pacing(&self) -> Pacing {
        match self {
            Self::Virtual { pacing, .. } => *pacing,
            Self::Device(_) => Pacing::Paced,
        }
    }

    /// The same port with the board's log told; nothing where no emulated board stands behind it.
    #[must_use]
    pub fn logged(&self) -> Option<Self> {
        match self {
            Self::Virtual { unit, pacing, processor: Processor::Board | Processor::BoardLogged } => {
                Some(Self::Virtual { unit: unit.clone(), pacing: *pacing, processor: Processor::BoardLogged })
            }
            Self::Virtual { .. } | Self::Device(_) => None,
        }
    }
}

impl FromStr for PortSpec {
    type Err = BadPort;

    fn from_str(given: &str) -> Result<Self, BadPort> {
        let bad = |problem: &str| BadPort { given: given.to_owned(), problem: problem.to_owned() };
        let (kind, rest) = given.split_once(':').unwrap_or((given, DEFAULT_CASE));
        let (unit, pacing, processor) = match (kind, rest.split_once(',')) {
            _ if given.trim().is_empty() => return Err(bad("is empty")),
            ("board", None) => (rest, Pacing::Stepped, Processor::Board),
            ("board", Some(_)) => return Err(bad("nothing may follow the case in `board:…`")),
            ("virtual", None) => (rest, Pacing::Stepped, Processor::Host),
            ("virtual", Some((unit, "paced"))) => (unit, Pacing::Paced, Processor::Host),
            ("virtual", Some((unit, "stepped"))) => (unit, Pacing::Stepped, Processor::Host),
            ("virtual", Some((unit, "emulated"))) => (unit, Pacing::Stepped, Processor::Board),
            ("virtual", Some(_)) => {
                return Err(bad("only `paced`, `stepped` or `emulated` may follow the comma"));
            }
            _ => return Ok(Self::Device(PathBuf::from(given))),
        };
        let unit: VirtualUnit = unit.parse().map_err(|error: BadVirtualUnit| bad(&error.to_string()))?;
        Ok(Self::Virtual { unit, pacing, processor })
    }
}

impl fmt::Display for PortSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Device(path) => write!(f, "{}", path.display()),
            Self::Virtual { unit, processor: Processor::Board | Processor::BoardLogged, .. } => {
                write!(f, "board:{unit}")
            }
            Self::Virtual { unit, pacing: Pacing::Stepped, .. } => write!(f, "virtual:{unit}"),
            Self::Virtual { unit, pacing: Pacing::Paced, .. } => write!(f, "virtual:{unit},paced"),
        }
    }
}

/// A serial port of this machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_of_the_symptom_index_exists_and_stands_there_once() {
        let page = include_str!("../SYMPTOMS.md");
        let named: Vec<&str> = page.split('`').filter(|word| word.starts_with("virtual:")).collect();
        assert!(named.len() >= 25, "{} units", named.len());
        for (at, name) in named.iter().enumerate() {
            let Ok(PortSpec::Virtual { unit, .. }) = name.parse() else { panic!("{name}") };
            assert!(study::catalogue::find(&unit.case).is_ok(), "{name}: no such case");
            assert!(!named[..at].contains(name), "{name} stands there twice");
        }
    }

    #[test]
    fn port_names_read_back_as_they_are_written() {
        for text in [
            "/dev/ttyUSB0",
            "COM3",
            "virtual:sooted-ring",
            "virtual:healthy,paced",
            "board:sooted-ring",
            "virtual:bench-actuator-b/healthy",
            "virtual:bench-actuator-b/healthy,paced",
            "board:bench-actuator-b/rod-off",
        ] {
            assert_eq!(text.parse::<PortSpec>().unwrap().to_string(), text);
        }
        for (text, whole) in [
            ("virtual", "virtual:healthy"),
            ("virtual:healthy,stepped", "virtual:healthy"),
            ("board", "board:healthy"),
            ("virtual:healthy,emulated", "board:healthy"),
            ("virtual:bench-actuator-a/healthy,paced", "virtual:healthy,paced"),
            ("board:bench-actuator-a/rod-off", "board:rod-off"),
        ] {
            assert_eq!(text.parse::<PortSpec>().unwrap().to_string(), whole);
        }
    }

    #[test]
    fn a_port_name_that_means_nothing_says_what_is_allowed() {
        for text in [
            "",
            "virtual:",
            "virtual:healthy,fast",
            "virtual:,paced",
            "board:",
            "board:healthy,paced",
            "virtual:nobody/healthy",
            "board:bench-actuator-b",
        ] {
            let message = text.parse::<PortSpec>().unwrap_err().to_string();
            assert!(message.contains("/dev/ttyUSB0") && message.contains("vanebench ports"), "{message}");
        }
    }
}
