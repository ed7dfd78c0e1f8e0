//! A bench that is ready to move: port open, board greeted, settings handed over, drive armed.

use std::path::Path;

use firmware_core::learn::CheckSet;
use firmware_core::link::Pacing;
use firmware_core::link::state::Streaming;
use study::catalogue;
use virtual_rig::board::{self, Board};
use virtual_rig::board_rig::BoardRig;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

use super::log::LogTeller;
use super::target::Target;
use crate::client::{Client, ClientError};
use crate::exit::Failure;
use crate::port::{self, PortSpec, Processor};

/// An open talk with a board, and the rig behind it when it is a virtual one.
pub struct Bench {
    /// The talk.
    pub client: Client,
    rig: Option<RunningRig>,
    /// Ends after the rig, and so tells its last words.
    _log: Option<LogTeller>,
    checked: CheckSet,
    port: String,
}

impl Bench {
    /// Opens the target's port, hands the profile's settings to the board and arms the drive.
    ///
    /// # Errors
    /// Says which port, what was seen, what to try.
    pub fn open(target: &Target) -> Result<Self, Failure> {
        let (path, rig, log, checked) = match &target.port {
            PortSpec::Virtual { unit, pacing, processor } => {
                let (rig, log, checked) = start_virtual(unit, *pacing, *processor, target.seed)?;
                (rig.path().to_owned(), Some(rig), log, checked)
            }
            PortSpec::Device(path) => (path.clone(), None, None, CheckSet::NONE),
        };
        let port = shown(&target.port, &path);
        let line = port::open(&path).map_err(link)?;
        let mut client = Client::connect(line, &port).map_err(link)?;
        client.upload(&target.profile.settings).map_err(link)?;
        client.arm().map_err(link)?;
        client.stream(Streaming::On).map_err(link)?;
        Ok(Self { client, rig, _log: log, checked, port })
    }

    /// The port as messages and records name it.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.port
    }

    /// What looking at the unit would confirm; a virtual unit answers for itself, a real one must be looked at.
    #[must_use]
    pub fn confirmed_by_looking(&self) -> CheckSet {
        self.checked
    }

    /// Takes the virtual rig out of the bench, for whoever wants to pull its plug; nothing on a real one.
    #[must_use]
    pub fn take_rig(&mut self) -> Option<RunningRig> {
        self.rig.take()
    }
}

fn start_virtual(
    unit: &str,
    pacing: Pacing,
    processor: Processor,
    seed: u64,
) -> Result<(RunningRig, Option<LogTeller>, CheckSet), Failure> {
    let case = catalogue::find(unit).map_err(Failure::usage)?.unit(None);
    let mut log = None;
    let running = match processor {
        Processor::Host => {
            RunningRig::start(SimulatedRig::of_case(&case, seed, pacing).map_err(Failure::usage)?)
        }
        Processor::Board | Processor::BoardLogged => {
            let board = Board::start(&board::image()).map_err(Failure::usage)?;
            if processor == Processor::BoardLogged {
                log = Some(LogTeller::start(&board::image(), board.log_path())?);
            }
            RunningRig::start(BoardRig::of_case(board, &case, seed).map_err(Failure::usage)?)
        }
    };
    let running = running
        .map_err(|error| Failure::undetermined(format!("the virtual rig could not start: {error}")))?;
    Ok((running, log, case.checks_passed()))
}

fn shown(port: &PortSpec, path: &Path) -> String {
    match port {
        PortSpec::Virtual { unit, .. } => format!("virtual:{unit}"),
        PortSpec::Device(_) => path.display().to_string(),
    }
}

/// A link that cannot be opened says nothing about the unit; a port that is not there is a wrong option.
fn link(error: ClientError) -> Failure {
    match error {
        ClientError::PortMissing { .. } | ClientError::NotASerialPort { .. } => Failure::usage(error),
        other => Failure::undetermined(other),
    }
}
