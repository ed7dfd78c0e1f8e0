//! Joins the controller's session and the simulated unit, one tick at a time.
//!
//! In: what the unit is and a seed. Out: a rig for [`crate::runner`]. A world that runs away stops the
//! rig with the world's own words; the link then falls silent, as a rig that lost power would.

use firmware_core::link::SelfTest;
use firmware_core::link::state::{Identity, Pacing, StartReason};
use firmware_core::session::Session;
use firmware_core::store::{Kept, LAYOUT_VERSION, StoreResult};
use firmware_core::units::{Duty, Tick};
use plant::check::BadParameter;
use plant::world::{Diverged, EngineState, World, WorldConfig};
use study::catalogue::{Case, Mishaps};

use crate::runner::TickedRig;

/// What the rig says it is; the same on every run so that records repeat.
const MODEL: &str = "virtual rig";
const BOARD: &str = "simulated board";
const SOFTWARE: &str = concat!("vanebench-core ", env!("CARGO_PKG_VERSION"));

/// A simulated unit on a simulated bench, behind the session that a real board runs.
#[derive(Debug)]
pub struct SimulatedRig {
    session: Session,
    world: World,
    mishaps: Mishaps,
    next: Tick,
    pacing: Pacing,
    stored: Option<Kept>,
    duty: Duty,
}

impl SimulatedRig {
    /// A rig that has just been powered, with nothing in its store.
    ///
    /// # Errors
    /// Names the world's field that is out of range.
    pub fn new(world: &WorldConfig, seed: u64, pacing: Pacing) -> Result<Self, BadParameter> {
        Self::of_case(&Case::of(world.clone()), seed, pacing)
    }

    /// A rig with a unit of the catalogue on it, and what happens around that unit.
    ///
    /// # Errors
    /// Names the world's field that is out of range.
    pub fn of_case(case: &Case, seed: u64, pacing: Pacing) -> Result<Self, BadParameter> {
        let mut world = World::new(&case.world, seed)?;
        if let Some(opening) = case.start_opening(None) {
            world.place(opening);
        }
        let session = session(pacing, None);
        Ok(Self {
            session,
            world,
            mishaps: case.mishaps,
            next: Tick(0),
            pacing,
            stored: None,
            duty: Duty::ZERO,
        })
    }

    /// What the board has been told to keep through power-off.
    #[must_use]
    pub fn stored(&self) -> Option<&Kept> {
        self.stored.as_ref()
    }

    /// What the bridge was given in the last tick.
    #[must_use]
    pub fn duty(&self) -> Duty {
        self.duty
    }

    /// The world, for whoever checks the rig against the truth.
    #[must_use]
    pub fn world(&self) -> &World {
        &self.world
    }

    fn host_is_heard(&self) -> bool {
        self.mishaps.host_silent_at_s.is_none_or(|at_s| self.world.time_s() < at_s)
    }

    /// A controller that loses its supply forgets everything but its store, and counts its ticks anew.
    fn restart_when_due(&mut self) {
        if self.mishaps.restart_at_s.is_some_and(|at_s| self.world.time_s() >= at_s) {
            self.mishaps.restart_at_s = None;
            self.session = session(self.pacing, self.stored.as_ref());
            self.next = Tick(0);
        }
    }

    fn put_noise_on_line(&mut self) {
        for count in 0..self.mishaps.garbage_on_line.unwrap_or(0) {
            let mixed = self.next.0.wrapping_mul(NOISE_MULTIPLIER).wrapping_add(count);
            // Never a delimiter: noise between frames, not a cut through them.
            self.session.receive(&[(mixed >> NOISE_SHIFT) as u8 | 1]);
        }
    }
}

impl TickedRig for SimulatedRig {
    type Failure = Diverged;

    fn pacing(&self) -> Pacing {
        self.pacing
    }

    fn receive(&mut self, bytes: &[u8]) {
        if self.host_is_heard() {
            self.session.receive(bytes);
        }
    }

    fn may_advance(&self) -> bool {
        // Time goes on for a board whose host is gone, grant or not.
        self.session.may_advance(self.next) || !self.host_is_heard()
    }

    fn advance(&mut self) -> Result<(), Diverged> {
        self.restart_when_due();
        self.put_noise_on_line();
        if let Some(kept) = self.session.take_save() {
            self.stored = Some(kept);
            self.session.saved(StoreResult::Written);
        }
        let sample = self.world.sample(self.next);
        let output = self.session.tick(&sample);
        self.next = self.next.after(1);
        self.duty = self.mishaps.duty(output.duty, self.world.time_s());
        self.world.step(self.duty, &EngineState::Standing)
    }

    fn transmit(&mut self, room: &mut [u8]) -> usize {
        self.session.transmit(room)
    }
}

/// Any odd number that spreads the tick's bits; from Knuth's multiplicative hashing.
const NOISE_MULTIPLIER: u32 = 2_654_435_761;
/// The product's high bits are the well-mixed ones.
const NOISE_SHIFT: u32 = 24;

fn session(pacing: Pacing, stored: Option<&Kept>) -> Session {
    let identity = Identity {
        model: short(MODEL),
        software: short(SOFTWARE),
        // A part of the tool, not a build of its own: records stay the same bytes from commit to commit.
        build: 0,
        layout: LAYOUT_VERSION,
        board: short(BOARD),
        serial: short(""),
        pacing,
        started: StartReason::PowerOn,
    };
    let mut session = Session::new(identity, SelfTest::NOT_FITTED);
    if let Some(kept) = stored {
        session.restore(kept);
    }
    session
}

/// The link's strings are short; a longer one is cut, never refused.
fn short<const N: usize>(text: &str) -> heapless::String<N> {
    let mut out = heapless::String::new();
    for letter in text.chars() {
        if out.push(letter).is_err() {
            break;
        }
    }
    out
}
