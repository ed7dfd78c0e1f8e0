//! The bench's end of the talk. In: an open line and commands. Out: replies and the stream, in order, with
//! every loss counted and shown. Refused: lines without a board, boards of another version, commands that
//! the board refuses; a line that dies in the middle is an error that says so.
//!
//! On a stepped rig the client grants time itself, in equal steps, and sends commands only while the rig
//! waits: the same commands give the same ticks. On a paced rig it keeps the drive lease alive.

mod error;
mod incoming;
mod item;
mod refusal;
mod talk;

pub use error::ClientError;
pub use item::{GapCause, StreamItem, StreamSample};
pub use refusal::Reason;

use std::collections::VecDeque;
use std::io;
use std::time::{Duration, Instant};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::LearnOrder;
use firmware_core::link::message::{SEGMENTS_PER_MESSAGE, ToBoard};
use firmware_core::link::state::{Status, Streaming};
use firmware_core::link::{Decoder, LinkCounters, Outcome, Pacing, SequenceCheck, Talk, Welcome};
use firmware_core::motion::{Footing, Segment};
use firmware_core::sample::EngineDemand;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::Tick;

use crate::port::BAUD;
use item::Reassembly;

/// A serial line or what stands for one. A read that finds nothing within the line's own short patience
/// gives `TimedOut` or `WouldBlock`; 0 bytes or any other error mean that the line is gone.
pub trait Line: io::Read + io::Write + Send {}
impl<T: io::Read + io::Write + Send> Line for T {}

/// Ticks granted at once on a stepped rig: eight batches, well inside the drive lease.
const GRANT_TICKS: u32 = 256;
/// Ticks from now to the start of a motion on a stepped rig, which waits anyway.
const STEPPED_LEAD_TICKS: u32 = 1;
/// The same on a paced rig: longer than a command takes through a USB adapter.
const PACED_LEAD_TICKS: u32 = 100;
/// Sign of life on a paced rig, a fifth of the drive lease.
const KEEP_ALIVE_EVERY: Duration = Duration::from_millis(100);
/// Longest time without any frame in the middle of a talk.
const SILENCE_LIMIT: Duration = Duration::from_secs(3);

/// How much of the line the board has used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LineUse {
    /// Bytes from the board since streaming was turned on.
    pub bytes: u64,
    /// Ticks that the stream has covered, gaps included.
    pub ticks: u64,
}

impl LineUse {
    /// Fraction of the line: bytes × 10 bits over what the line carries in these ticks.
    #[must_use]
    pub fn fraction(&self) -> f64 {
        let carried_bits = self.ticks as f64 / 1000.0 * f64::from(BAUD);
        if carried_bits > 0.0 { self.bytes as f64 * 10.0 / carried_bits } else { 0.0 }
    }
}

/// A talk with one board.
pub struct Client {
    line: Box<dyn Line>,
    port: String,
    talk: Talk,
    welcome: Welcome,
    decoder: Decoder,
    check: SequenceCheck,
    counters: LinkCounters,
    sequence: u16,
    reply: Option<(u16, Outcome)>,
    status: Option<Status>,
    held: Option<Held>,
    /// Stepped rigs: where the rig waits; `None` while it runs.
    waiting_at: Option<Tick>,
    /// The grant that runs: its end, and its frame in case it is lost.
    grant: Option<(Tick, Vec<u8>)>,
    sent_at: Instant,
    items: VecDeque<StreamItem>,
    reassembly: Reassembly,
    line_use: LineUse,
}

impl Client {
    /// Says hello until the board answers. The number of the talk keeps this talk's frames apart from any
    /// other's: always the same where runs must repeat, drawn at random where other programs may use the line.
    ///
    /// # Errors
    /// [`ClientError`] tells a dead line from a wrong speed, another talker and another version.
    pub fn connect(line: Box<dyn Line>, port: &str, talk: Talk) -> Result<Self, ClientError> {
        talk::connect(line, port, talk)
    }

    /// What the board said of itself.
    #[must_use]
    pub fn welcome(&self) -> &Welcome {
        &self.welcome
    }

    /// What has been seen on the line.
    #[must_use]
    pub fn counters(&self) -> LinkCounters {
        self.counters
    }

    /// How much of the line the stream has used.
    #[must_use]
    pub fn line_use(&self) -> LineUse {
        self.line_use
    }

    /// Vouches that hands are clear and that the board has these settings: from here on commands may move the
    /// vanes.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn arm(&mut self, settings: SettingsHash) -> Result<(), ClientError> {
        self.command("arming", &ToBoard::Arm { settings })
    }

    /// Releases the drive.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn stop(&mut self) -> Result<(), ClientError> {
        self.command("the stop", &ToBoard::Stop)
    }

    /// Leaves the over-boost latch.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn clear_latch(&mut self) -> Result<(), ClientError> {
        self.command("clearing the latch", &ToBoard::ClearLatch)
    }

    /// Turns the sample stream on or off.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn stream(&mut self, streaming: Streaming) -> Result<(), ClientError> {
        self.command("the sample stream", &ToBoard::Stream(streaming))?;
        self.reassembly.restart();
        self.line_use = LineUse::default();
        Ok(())
    }

    /// Sends all settings, section by section.
    ///
    /// # Errors
    /// [`ClientError`]; a refusal names the field.
    pub fn upload(&mut self, settings: &Settings) -> Result<(), ClientError> {
        for section in settings.sections() {
            self.command("the settings", &ToBoard::Settings(section))?;
        }
        Ok(())
    }

    /// Puts a calibration into use on the board, with its standing and origin.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn set_calibration(&mut self, held: Held) -> Result<(), ClientError> {
        self.command("the calibration", &ToBoard::SetCalibration(held))
    }

    /// Stores the calibration in use so that it survives power-off.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn store(&mut self) -> Result<(), ClientError> {
        self.command("storing the calibration", &ToBoard::Store)
    }

    /// The board's calibration, which must have been learned in this setup.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn calibration(&mut self, setup: Setup) -> Result<Held, ClientError> {
        self.held = None;
        self.command("reading the calibration", &ToBoard::GetCalibration { setup })?;
        self.held.ok_or_else(|| self.silent())
    }

    /// Where the board stands.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn status(&mut self) -> Result<Status, ClientError> {
        self.status = None;
        self.command("the status", &ToBoard::GetStatus)?;
        self.status.ok_or_else(|| self.silent())
    }

    /// Replaces the board's motion profile.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn load_motion(&mut self, segments: &[Segment]) -> Result<(), ClientError> {
        self.command("a new motion profile", &ToBoard::MotionClear)?;
        for part in segments.chunks(SEGMENTS_PER_MESSAGE) {
            let segments = part.iter().copied().collect();
            self.command("motion segments", &ToBoard::MotionAppend(segments))?;
        }
        Ok(())
    }

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
        let start_at = self.soon()?;
        self.command("the motion", &ToBoard::StartMotion { start_at, setup, warmth, footing })?;
        Ok(start_at)
    }

    /// Learns the end stops; gives the first tick of the learn.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn start_learn(&mut self, order: LearnOrder, tag: OriginTag) -> Result<Tick, ClientError> {
        let start_at = self.soon()?;
        self.command("learning", &ToBoard::StartLearn { start_at, order, tag })?;
        Ok(start_at)
    }

    /// Asks for the outcome of the last learn; it comes as a [`StreamItem::Learn`].
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn ask_learn_outcome(&mut self) -> Result<(), ClientError> {
        self.command("reading the outcome", &ToBoard::GetLearnOutcome)
    }

    /// Hands the vanes to the engine controller, or changes its demand.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn follow_engine(&mut self, demand: EngineDemand) -> Result<(), ClientError> {
        self.command("the engine's demand", &ToBoard::Engine(demand))
    }

    /// The next thing that the board tells; lets time pass on a stepped rig, keeps a paced one alive.
    ///
    /// # Errors
    /// [`ClientError::HungUp`] or [`ClientError::Silent`]; what came before stays valid.
    pub fn next_item(&mut self) -> Result<StreamItem, ClientError> {
        let asked_at = Instant::now();
        loop {
            if let Some(item) = self.items.pop_front() {
                return Ok(item);
            }
            if asked_at.elapsed() > SILENCE_LIMIT {
                return Err(self.silent());
            }
            self.let_time_pass()?;
            self.pump()?;
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

impl Drop for Client {
    /// Lets go of the drive at once instead of leaving it to the lease.
    fn drop(&mut self) {
        self.farewell();
    }
}
