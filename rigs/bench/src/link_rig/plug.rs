//! Starts the tool's own virtual rig and plugs it in: behind a pseudo-terminal where the system has them, opened as any
//! serial port; on an in-process cable elsewhere.

use firmware_core::link::Pacing;
use study::catalogue::Case;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::TickedRig;
#[cfg(unix)]
use virtual_rig::{
    board::{self, Board},
    board_rig::BoardRig,
    runner::RunningRig,
};

#[cfg(unix)]
use super::{log::LogTeller, unopened};
use crate::client::Line;
use crate::exit::Failure;
use crate::port::Processor;

/// What a virtual rig keeps alive; the log ends after the rig, and so tells its last words.
pub(super) struct Behind {
    #[cfg(unix)]
    _rig: RunningRig,
    #[cfg(not(unix))]
    _rig: virtual_rig::runner::CabledRig,
    #[cfg(unix)]
    _log: Option<LogTeller>,
}

/// An open line, and what stands at its other end.
pub(super) type Plugged = (Box<dyn Line>, Behind);

/// Starts the case on its processor and opens the line to it.
///
/// # Errors
/// When the case cannot be, the emulated board does not start, or the system refuses what joins the two.
pub(super) fn start(
    case: &Case,
    seed: u64,
    pacing: Pacing,
    processor: Processor,
) -> Result<Plugged, Failure> {
    match processor {
        Processor::Host => plug(SimulatedRig::of_case(case, seed, pacing).map_err(Failure::usage)?),
        Processor::Board | Processor::BoardLogged => start_board(case, seed, processor),
    }
}

#[cfg(unix)]
fn start_board(case: &Case, seed: u64, processor: Processor) -> Result<Plugged, Failure> {
    let board = Board::start(&board::image()).map_err(Failure::usage)?;
    let log = match processor {
        Processor::BoardLogged => Some(LogTeller::start(&board::image(), board.log_path())?),
        Processor::Host | Processor::Board => None,
    };
    let (line, behind) = plug(BoardRig::of_case(board, case, seed).map_err(Failure::usage)?)?;
    Ok((line, Behind { _log: log, ..behind }))
}

#[cfg(not(unix))]
fn start_board(_case: &Case, _seed: u64, _processor: Processor) -> Result<Plugged, Failure> {
    Err(Failure::usage(
        "the emulated board runs on Linux and macOS only. Use --port virtual:CASE: it runs the same controller in this program.",
    ))
}

#[cfg(unix)]
fn plug(rig: impl TickedRig + 'static) -> Result<Plugged, Failure> {
    let rig = RunningRig::start(rig).map_err(|error| not_started(&error))?;
    let line = crate::client::open(rig.path()).map_err(unopened)?;
    Ok((line, Behind { _rig: rig, _log: None }))
}

#[cfg(not(unix))]
fn plug(rig: impl TickedRig + 'static) -> Result<Plugged, Failure> {
    let (rig, line) = virtual_rig::runner::CabledRig::start(rig).map_err(|error| not_started(&error))?;
    Ok((Box::new(line), Behind { _rig: rig }))
}

fn not_started(error: &std::io::Error) -> Failure {
    Failure::undetermined(format!("the virtual rig could not start: {error}"))
}
