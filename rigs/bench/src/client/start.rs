//! What begins at a tick: motions, learns, segments of a probe.
//!
//! In: what to run. Out: its first tick. A board that still saves what it holds refuses to begin: time passes, and it is
//! asked again.

use std::time::Instant;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::OriginTag;
use firmware_core::learn::LearnOrder;
use firmware_core::link::message::ToBoard;
use firmware_core::link::{Pacing, Refusal};
use firmware_core::motion::Footing;
use firmware_core::probe::ProbeSegment;
use firmware_core::units::Tick;

use super::{Client, ClientError, GIVE_UP, PACED_LEAD_TICKS, STEPPED_LEAD_TICKS};

impl Client {
    /// Runs the motion profile; gives its first tick.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn start_motion(
        &mut self,
        setup: Setup,
        warmth: Warmth,
        footing: Footing,
    ) -> Result<Tick, ClientError> {
        self.start("the motion", |start_at| ToBoard::StartMotion { start_at, setup, warmth, footing })
    }

    /// Learns the end stops; gives the first tick of the learn.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn start_learn(&mut self, order: LearnOrder, tag: OriginTag) -> Result<Tick, ClientError> {
        self.events_due = 0;
        self.start("learning", |start_at| ToBoard::StartLearn { start_at, order, tag })
    }

    /// Runs one segment of a probe; gives its first tick.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn start_probe(&mut self, segment: ProbeSegment) -> Result<Tick, ClientError> {
        self.start("a probe", |start_at| ToBoard::StartProbe { start_at, segment })
    }

    fn start(&mut self, what: &'static str, message: impl Fn(Tick) -> ToBoard) -> Result<Tick, ClientError> {
        let asked_at = Instant::now();
        loop {
            let start_at = self.soon()?;
            self.reassembly.due(start_at);
            self.may_drive = true;
            match self.command(what, &message(start_at)) {
                Err(ClientError::Refused { refusal: Refusal::Saving, .. })
                    if asked_at.elapsed() < GIVE_UP =>
                {
                    self.let_time_pass()?;
                    self.pump()?;
                }
                ended => return ended.map(|()| start_at),
            }
        }
    }

    /// A tick that a command sent now surely comes before.
    fn soon(&mut self) -> Result<Tick, ClientError> {
        match self.welcome.identity.pacing {
            Pacing::Stepped => Ok(self.rest()?.after(STEPPED_LEAD_TICKS)),
            Pacing::Paced => Ok(self.status()?.next.after(PACED_LEAD_TICKS)),
        }
    }
}
