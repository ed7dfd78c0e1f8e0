//! The bench's end of the talk. In: an open line and commands. Out: replies and the stream, in order, with
//! every loss counted and shown. Refused: lines without a board, boards of another version, commands that
//! the board refuses; a line that dies in the middle is an error that says so.
//!
//! On a stepped rig the client grants time itself, in equal steps, and sends commands only while the rig
//! waits: the same commands give the same ticks. On a paced rig it keeps the drive lease alive.

mod error;
mod incoming;
mod obeyed;
mod reassembly;
mod refusal;
mod serial;
mod start;
mod talk;
#[cfg(test)]
mod tests;
mod trouble;

pub use error::ClientError;
pub use refusal::RefusalWords;
pub use serial::{open, open_at};

use std::collections::VecDeque;
use std::io;
use std::time::{Duration, Instant};

use firmware_core::held::Held;
use firmware_core::link::message::{SEGMENTS_PER_MESSAGE, ToBoard};
use firmware_core::link::state::{Status, Streaming};
use firmware_core::link::{Decoder, LinkCounters, Outcome, Pacing, SequenceCheck, Talk, Welcome};
use firmware_core::motion::Segment;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::Tick;

use crate::interrupt;
use crate::rig::StreamItem;
use obeyed::Obeyed;
use reassembly::Reassembly;

/// Speed of the link, baud; eight data bits, no parity, one stop bit, no flow control.
pub const BAUD: u32 = 115_200;

/// A serial line or what stands for one. A read that finds nothing within the line's own short patience
/// gives `TimedOut` or `WouldBlock`; 0 bytes or any other error mean that the line is gone.
pub trait Line: io::Read + io::Write + Send {}
impl<T: io::Read + io::Write + Send> Line for T {}

/// Ticks from now to the start of a motion on a stepped rig, which waits anyway.
const STEPPED_LEAD_TICKS: u32 = 1;
/// The same on a paced rig: longer than a command takes through a USB adapter.
const PACED_LEAD_TICKS: u32 = 100;
/// Longest wait for anything in the middle of a talk: within two seconds the user knows what is wrong.
const GIVE_UP: Duration = Duration::from_millis(1800);

/// Times that the status is asked for where only its reply comes: the frame with it was lost.
const STATUS_TRIES: u32 = 5;

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

/// Ticks that may run, and their frame in case it is lost.
struct Grant {
    until: Tick,
    frame: Vec<u8>,
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
    bytes_heard: u64,
    sequence: u16,
    reply: Option<(u16, Outcome)>,
    status: Option<Status>,
    /// Stepped rigs: where the rig waits; `None` while it runs.
    waiting_at: Option<Tick>,
    /// The grant that runs.
    grant: Option<Grant>,
    /// What the board can take, and what follows for this end.
    obeyed: Obeyed,
    /// Number of the last grant or sign of life: nobody waits for its reply, but a refusal counts.
    unawaited: Option<u16>,
    sent_at: Instant,
    /// When something last came that the talk was waiting for.
    progress_at: Instant,
    /// Replies in a row that took too long.
    slow_replies: u32,
    /// Commands of this talk have been answered.
    is_underway: bool,
    /// The hello ended another talk's motion.
    took_over: bool,
    /// A motion may be running.
    may_drive: bool,
    /// Number of the next event of a learn.
    events_due: u16,
    is_interrupted: fn() -> bool,
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
        talk::connect(line, port, talk, interrupt::asked)
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

    /// Releases the drive: also after an interrupt, and without waiting for a stepped rig to rest.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn stop(&mut self) -> Result<(), ClientError> {
        self.say_stop()
    }

    /// True when the hello ended another talk's motion: a run that was killed, or another program.
    #[must_use]
    pub fn took_over(&self) -> bool {
        self.took_over
    }

    /// Waits until what another talk may have left has run out: one drive lease, while the drive is off.
    ///
    /// # Errors
    /// [`ClientError::OtherHost`] when the other program is alive and greets again.
    pub fn wait_out_lease(&mut self) -> Result<(), ClientError> {
        let asked_at = Instant::now();
        while asked_at.elapsed() < self.obeyed.lease() {
            self.check_interrupt()?;
            self.pump()?;
        }
        Ok(())
    }

    /// Turns the sample stream on or off.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn stream(&mut self, streaming: Streaming) -> Result<(), ClientError> {
        let from = self.rest()?;
        self.reassembly.restart();
        self.line_use = LineUse::default();
        if self.welcome.identity.pacing == Pacing::Stepped {
            self.reassembly.due(from);
        }
        self.command("the sample stream", &ToBoard::Stream(streaming))?;
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

    /// Where the board stands.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn status(&mut self) -> Result<Status, ClientError> {
        self.status = None;
        for _ in 0..STATUS_TRIES {
            self.command("the status", &ToBoard::GetStatus)?;
            if let Some(status) = self.status {
                return Ok(status);
            }
        }
        Err(self.stalled("the status"))
    }

    /// Replaces the board's motion profile.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn load_motion(&mut self, segments: &[Segment]) -> Result<(), ClientError> {
        self.check_segments(segments.len())?;
        self.command("a new motion profile", &ToBoard::MotionClear)?;
        for part in segments.chunks(SEGMENTS_PER_MESSAGE) {
            let segments = part.iter().copied().collect();
            self.command("motion segments", &ToBoard::MotionAppend(segments))?;
        }
        Ok(())
    }

    /// Asks for the outcome of the last learn; it comes as a [`StreamItem::Learn`].
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn ask_learn_outcome(&mut self) -> Result<(), ClientError> {
        self.command("reading the outcome", &ToBoard::GetLearnOutcome)
    }

    /// The next thing that the board tells; lets time pass on a stepped rig, keeps a paced one alive.
    ///
    /// # Errors
    /// [`ClientError`] says why nothing comes any more; what came before stays valid.
    pub fn next_item(&mut self) -> Result<StreamItem, ClientError> {
        let waiting = self.start_waiting();
        loop {
            self.check_interrupt()?;
            if let Some(item) = self.items.pop_front() {
                return Ok(item);
            }
            self.check_due(&waiting, "the next samples")?;
            self.let_time_pass()?;
            self.pump()?;
        }
    }
}

impl Drop for Client {
    /// Lets go of the drive at once instead of leaving it to the lease.
    fn drop(&mut self) {
        self.farewell();
    }
}
