//! A bench that is ready to move: port open, board greeted, settings handed over, drive armed.

use std::hash::{BuildHasher, RandomState};
use std::path::Path;
use std::process;

use firmware_core::calibration::Setup;
use firmware_core::learn::CheckSet;
use firmware_core::link::state::Streaming;
use firmware_core::link::{Pacing, Talk};
use study::catalogue;
use virtual_rig::board::{self, Board};
use virtual_rig::board_rig::BoardRig;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

use super::log::LogTeller;
use super::stop::RunStop;
use super::target::Target;
use crate::caution::Acknowledged;
use crate::client::{Client, ClientError};
use crate::exit::Failure;
use crate::interrupt::{self, Watch};
use crate::port::{self, PortSpec, Processor};
use crate::record::BoardId;
use crate::{caution, console};

/// An open talk with a board, and the rig behind it when it is a virtual one.
pub struct Bench {
    /// The talk.
    pub client: Client,
    rig: Option<RunningRig>,
    /// Ends after the rig, and so tells its last words.
    _log: Option<LogTeller>,
    checked: CheckSet,
    port: String,
    cautions: Acknowledged,
    readiness: Readiness,
    /// A signal brings the bench to rest instead of ending the program.
    _watch: Watch,
}

/// Whether the unit may be moved by what is planned.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Readiness {
    /// Armed, and nothing has gone wrong since a person said that hands are clear.
    Armed,
    /// A run was cut short, for this reason. Counts are kept, motion is not: a person is asked first.
    Stopped(String),
}

impl Bench {
    /// Opens the target's port, hands the profile's settings to the board and arms the drive: only once the cautions
    /// were acknowledged.
    ///
    /// # Errors
    /// Says which port, what was seen, what to try.
    pub fn open(target: &Target, cautions: Acknowledged) -> Result<Self, Failure> {
        let watch = interrupt::watch();
        let (path, rig, log, checked) = match &target.port {
            PortSpec::Virtual { unit, pacing, processor } => {
                let (rig, log, checked) = start_virtual(unit, *pacing, *processor, target)?;
                (rig.path().to_owned(), Some(rig), log, checked)
            }
            PortSpec::Device(path) => (path.clone(), None, None, CheckSet::NONE),
        };
        let port = shown(&target.port, &path);
        let line = port::open(&path).map_err(link)?;
        let mut client = Client::connect(line, &port, talk_on(&target.port)).map_err(link)?;
        client.upload(&target.profile.settings).map_err(link)?;
        if client.took_over() {
            console::say(&format!(
                "port {port}: an earlier run was still driving and was let go; waiting until its lease is over"
            ));
            client.wait_out_lease().map_err(link)?;
        }
        client.arm(target.profile.settings.hash()).map_err(link)?;
        client.stream(Streaming::On).map_err(link)?;
        let readiness = Readiness::Armed;
        Ok(Self { client, rig, _log: log, checked, port, cautions, readiness, _watch: watch })
    }

    /// The board that answered.
    #[must_use]
    pub fn board(&self) -> BoardId {
        BoardId::of(&self.client.welcome().identity)
    }

    /// What was done about the cautions.
    #[must_use]
    pub fn cautions(&self) -> Acknowledged {
        self.cautions
    }

    /// Ends what is running and notes why: nothing moves on this bench before a person has said so again.
    pub(super) fn let_go(&mut self, stop: &RunStop) {
        // A line that is gone leaves it to the lease.
        let _released = self.client.stop();
        self.readiness = Readiness::Stopped(stop.to_string());
    }

    /// Makes sure that a planned motion may begin. After a stop of any kind the drive stays off while a person
    /// reads the cautions and types yes; a virtual unit goes on by itself.
    pub(super) fn be_ready(&mut self, target: &Target) -> Result<(), RunStop> {
        if let Readiness::Stopped(why) = &self.readiness {
            caution::confirm_again(target.motion(), why).map_err(RunStop::NotResumed)?;
            self.client.arm(target.profile.settings.hash())?;
            self.readiness = Readiness::Armed;
        }
        Ok(())
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
    target: &Target,
) -> Result<(RunningRig, Option<LogTeller>, CheckSet), Failure> {
    let (seed, attached) = (target.seed, catalogue::find(unit).map_err(Failure::usage)?.unit(None));
    // A free setup is the actuator alone: off the ring it comes, as a person would take it off.
    let case = match target.setup {
        Setup::Free => attached.off_the_ring(),
        Setup::Attached | Setup::OnEngine => attached,
    };
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

/// A stepped rig is this tool's own and its runs repeat to the byte; on any other line an earlier talk's frames may
/// still be about.
fn talk_on(port: &PortSpec) -> Talk {
    match port {
        PortSpec::Virtual { pacing: Pacing::Stepped, .. } => Talk::FIRST,
        PortSpec::Virtual { pacing: Pacing::Paced, .. } | PortSpec::Device(_) => {
            // The standard library's hash keys are drawn from the system's randomness.
            let drawn = RandomState::new().hash_one(process::id());
            u16::try_from(drawn % u64::from(Talk::LAST.number()))
                .ok()
                .and_then(|below| Talk::try_new(below + 1))
                .unwrap_or(Talk::FIRST)
        }
    }
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
        ClientError::Interrupted => Failure::interrupted(error),
        other => Failure::undetermined(other),
    }
}
