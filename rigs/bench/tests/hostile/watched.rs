//! A paced rig that writes down when its drive goes off and what told it to.

use std::sync::{Arc, Mutex};
use std::time::Instant;

use firmware_core::link::{Decoder, Pacing, ToBoard};
use firmware_core::units::Duty;
use study::catalogue;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::TickedRig;

/// What was seen of the drive and of the host's Stop.
#[derive(Debug, Clone, Copy, Default)]
pub struct Seen {
    /// Ticks run.
    pub ticks: u32,
    /// Whether the drive pushes now.
    pub is_driven: bool,
    /// When it last went off.
    pub off_at: Option<Instant>,
    /// When the last Stop came.
    pub stop_at: Option<Instant>,
}

/// A sound unit on the clock's time.
pub struct Watched {
    rig: SimulatedRig,
    decoder: Decoder,
    seen: Arc<Mutex<Seen>>,
}

impl Watched {
    pub fn new(seed: u64) -> (Self, Arc<Mutex<Seen>>) {
        let case = catalogue::find("healthy").unwrap().unit(None);
        let rig = SimulatedRig::of_case(&case, seed, Pacing::Paced).unwrap();
        let seen = Arc::<Mutex<Seen>>::default();
        (Self { rig, decoder: Decoder::new(), seen: Arc::clone(&seen) }, seen)
    }
}

impl TickedRig for Watched {
    type Failure = <SimulatedRig as TickedRig>::Failure;

    fn pacing(&self) -> Pacing {
        self.rig.pacing()
    }

    fn receive(&mut self, bytes: &[u8]) {
        for byte in bytes {
            if let Some(Ok(content)) = self.decoder.push(*byte)
                && content.message() == Ok(ToBoard::Stop)
            {
                self.seen.lock().unwrap().stop_at = Some(Instant::now());
            }
        }
        self.rig.receive(bytes);
    }

    fn may_advance(&self) -> bool {
        self.rig.may_advance()
    }

    fn advance(&mut self) -> Result<(), Self::Failure> {
        self.rig.advance()?;
        let mut seen = self.seen.lock().unwrap();
        seen.ticks += 1;
        let is_driven = self.rig.duty() != Duty::ZERO;
        if seen.is_driven && !is_driven {
            seen.off_at = Some(Instant::now());
        }
        seen.is_driven = is_driven;
        Ok(())
    }

    fn transmit(&mut self, room: &mut [u8]) -> usize {
        self.rig.transmit(room)
    }
}
