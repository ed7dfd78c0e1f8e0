//! The virtual rig with the controller swapped for the emulated board: processor in the loop.
//!
//! In: a running board, a world and a seed. Out: a rig for [`crate::runner`], byte for byte the one in
//! [`crate::rig`] but for its name.

use firmware_core::link::state::Pacing;
use firmware_core::units::Tick;
use plant::check::BadParameter;
use plant::world::{Diverged, EngineState, World};
use study::catalogue::{Case, Mishaps};

use crate::board::{Board, BoardError, Step};
use crate::runner::TickedRig;

/// Why the rig could not go on.
#[derive(Debug, thiserror::Error)]
pub enum BoardRigFailure {
    /// The board.
    #[error(transparent)]
    Board(#[from] BoardError),
    /// The world.
    #[error(transparent)]
    World(#[from] Diverged),
}

/// An emulated board with a simulated unit on it.
#[derive(Debug)]
pub struct BoardRig {
    board: Board,
    world: World,
    mishaps: Mishaps,
    next: Tick,
    next_may_run: bool,
    failed: Option<BoardError>,
}

impl BoardRig {
    /// A rig that has just been powered, with a unit of the catalogue on it. What happens to the line or the supply
    /// in that case is the virtual rig's business and left out.
    ///
    /// # Errors
    /// Names the world's field that is out of range.
    pub fn of_case(board: Board, case: &Case, seed: u64) -> Result<Self, BadParameter> {
        let mut world = World::new(&case.world, seed)?;
        if let Some(opening) = case.start_opening(None) {
            world.place(opening);
        }
        Ok(Self { board, world, mishaps: case.mishaps, next: Tick(0), next_may_run: false, failed: None })
    }

    /// The board, to look at.
    #[must_use]
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// Moves bytes only. A failure is kept until the next tick, which can tell it.
    fn exchange(&mut self, bytes: &[u8], room: usize) -> Vec<u8> {
        if self.failed.is_some() {
            return Vec::new();
        }
        match self.board.step(bytes, &[], room) {
            Ok(Step { link, stepped, .. }) => {
                self.next_may_run = stepped.next_may_run;
                link
            }
            Err(error) => {
                self.failed = Some(error);
                Vec::new()
            }
        }
    }
}

impl TickedRig for BoardRig {
    type Failure = BoardRigFailure;

    fn pacing(&self) -> Pacing {
        Pacing::Stepped
    }

    fn receive(&mut self, bytes: &[u8]) {
        self.exchange(bytes, 0);
    }

    fn may_advance(&self) -> bool {
        // A failed board is let run into its failure.
        self.next_may_run || self.failed.is_some()
    }

    fn advance(&mut self) -> Result<(), BoardRigFailure> {
        if let Some(failed) = self.failed.take() {
            return Err(failed.into());
        }
        let sample = self.world.sample(self.next);
        let step = self.board.step(&[], &[sample], 0)?;
        self.next_may_run = step.stepped.next_may_run;
        self.next = self.next.after(1);
        for tick in step.ticks {
            let duty = self.mishaps.duty(tick.output.duty, self.world.time_s());
            self.world.step(duty, &EngineState::Standing)?;
        }
        Ok(())
    }

    fn transmit(&mut self, room: &mut [u8]) -> usize {
        let bytes = self.exchange(&[], room.len());
        for (place, byte) in room.iter_mut().zip(&bytes) {
            *place = *byte;
        }
        bytes.len()
    }
}
