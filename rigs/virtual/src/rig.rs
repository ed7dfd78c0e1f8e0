//! Joins the controller's session and the simulated unit, one tick at a time.
//!
//! In: what the unit is and a seed. Out: a rig for [`crate::runner`]. A world that runs away stops the
//! rig with the world's own words; the link then falls silent, as a rig that lost power would.

use firmware_core::calibration::Calibration;
use firmware_core::link::state::{Identity, Pacing};
use firmware_core::session::Session;
use firmware_core::settings::Settings;
use firmware_core::units::Tick;
use host_sim::catalogue::{Case, Mishaps};
use host_sim::check::BadParameter;
use host_sim::world::{Diverged, EngineState, World, WorldConfig};

use crate::runner::TickedRig;

/// What the rig says it is; the same on every run so that records repeat.
const MODEL: &str = "virtual rig";
const SOFTWARE: &str = concat!("vanebench-core ", env!("CARGO_PKG_VERSION"));

/// A simulated unit on a simulated bench, behind the session that a real board runs.
#[derive(Debug)]
pub struct SimulatedRig {
    session: Session,
    world: World,
    next: Tick,
    pacing: Pacing,
    stored: Option<Calibration>,
    mishaps: Mishaps,
}

impl SimulatedRig {
    /// A rig that has just been powered, with nothing in its store.
    ///
    /// # Errors
    /// Names the world's field that is out of range.
    pub fn new(world: &WorldConfig, seed: u64, pacing: Pacing) -> Result<Self, BadParameter> {
        let identity = Identity { model: short(MODEL), software: short(SOFTWARE), pacing };
        Ok(Self {
            session: Session::new(identity, Settings::default(), None),
            world: World::new(world, seed)?,
            next: Tick(0),
            pacing,
            stored: None,
            mishaps: Mishaps::default(),
        })
    }

    /// A rig with a unit of the catalogue on it, its bridge faults included. A silent host or noise on the
    /// line is made at the line, not here.
    ///
    /// # Errors
    /// Names the world's field that is out of range.
    pub fn of_case(case: &Case, seed: u64, pacing: Pacing) -> Result<Self, BadParameter> {
        let mut rig = Self { mishaps: case.mishaps, ..Self::new(&case.world, seed, pacing)? };
        if let Some(opening) = case.start_opening(None) {
            rig.world.place(opening);
        }
        Ok(rig)
    }

    /// What the board has been told to keep through power-off.
    #[must_use]
    pub fn stored(&self) -> Option<&Calibration> {
        self.stored.as_ref()
    }

    /// The world, for whoever checks the rig against the truth.
    #[must_use]
    pub fn world(&self) -> &World {
        &self.world
    }
}

impl TickedRig for SimulatedRig {
    type Failure = Diverged;

    fn pacing(&self) -> Pacing {
        self.pacing
    }

    fn receive(&mut self, bytes: &[u8]) {
        self.session.receive(bytes);
    }

    fn may_advance(&self) -> bool {
        self.session.may_advance(self.next)
    }

    fn advance(&mut self) -> Result<(), Diverged> {
        let sample = self.world.sample(self.next);
        let done = self.session.tick(&sample);
        self.stored = done.store.or(self.stored);
        self.next = self.next.after(1);
        let duty = self.mishaps.duty(done.output.duty, self.world.time_s());
        self.world.step(duty, &EngineState::Standing)
    }

    fn transmit(&mut self, room: &mut [u8]) -> usize {
        self.session.transmit(room)
    }
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
