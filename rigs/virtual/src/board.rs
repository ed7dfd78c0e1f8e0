//! The controller on an emulated board: starts QEMU, hands it samples and link bytes, takes back what it
//! decided.
//!
//! In: the image's path. Out: a [`Board`] that runs ticks in lockstep with whoever holds it. Refused: an image that
//! is not there, a QEMU that does not start, a board that falls silent or restarts; each with a next step.

mod process;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use firmware_core::link::state::StartReason;
use firmware_core::sample::Sample;
use firmware_core::units::Duty;
use lockstep::{
    ANSWER_AT, ASK_AT, Ask, BRIDGE_AT, Drill, ITEM_BYTES, LENGTH_BYTES, MESSAGE_BYTES, STARTED_BELL, Started,
    Stepped, TickDone, Usage, WindowError, decode, encode,
};
use serde::Serialize;

use process::EmulatorProcess;

/// Longest silence before the board counts as lost. An emulated tick takes well under a millisecond; the
/// rest is for a host that is busy with something else.
const PATIENCE: Duration = Duration::from_secs(20);

/// Name of the program that emulates the board.
pub(crate) const EMULATOR: &str = "qemu-system-arm";

/// Names the image's file where it is not the one that [`image`] builds.
pub(crate) const IMAGE_VARIABLE: &str = "VANEBENCH_BOARD_IMAGE";

/// Where `rigs/board/build.sh` leaves the image, seen from the top folder, or what [`IMAGE_VARIABLE`] names.
#[must_use]
pub fn image() -> PathBuf {
    let built = "rigs/board/target/thumbv7em-none-eabihf/release/vanebench-board";
    std::env::var_os(IMAGE_VARIABLE).map_or_else(|| PathBuf::from(built), PathBuf::from)
}

/// What is wrong with the board or its emulator.
#[derive(Debug, thiserror::Error)]
pub enum BoardError {
    /// No image.
    #[error("{}: no board image there; build it with rigs/board/build.sh, or name one in {IMAGE_VARIABLE}", .0.display())]
    NoImage(PathBuf),
    /// No emulator.
    #[error("{EMULATOR} does not start ({0}); install the package qemu-system-arm")]
    NoEmulator(std::io::Error),
    /// The emulator ended.
    #[error("{EMULATOR} ended ({0}); run .ci/run to see whether this image works at all")]
    Ended(String),
    /// The board did not answer.
    #[error("the board gave no answer for {} s; build image and tool from the same sources", PATIENCE.as_secs())]
    Silent,
    /// The board restarted by itself.
    #[error("the board restarted: {0}")]
    Restarted(StartReason),
    /// Image and tool do not speak the same lockstep.
    #[error("{0}")]
    Window(#[from] WindowError),
    /// A socket or file of the emulator failed.
    #[error("talking to the emulator failed: {0}")]
    Talk(#[from] std::io::Error),
}

/// An emulated board that runs.
#[derive(Debug)]
pub struct Board {
    process: EmulatorProcess,
    letter: u8,
    started: StartReason,
}

/// What a step gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// One for each sample.
    pub ticks: Vec<TickDone>,
    /// Bytes that the board put on the link.
    pub link: Vec<u8>,
    /// Where the board stands.
    pub stepped: Stepped,
}

impl Board {
    /// Starts the emulator with the image and waits until the image runs.
    ///
    /// # Errors
    /// [`BoardError`] says what to do.
    pub fn start(image: &Path) -> Result<Self, BoardError> {
        if !image.is_file() {
            return Err(BoardError::NoImage(image.to_owned()));
        }
        let process = EmulatorProcess::start(image)?;
        let mut board = Self { process, letter: STARTED_BELL, started: StartReason::PowerOn };
        board.started = board.wait_for_start()?;
        Ok(board)
    }

    /// Why the image started last.
    #[must_use]
    pub fn started(&self) -> StartReason {
        self.started
    }

    /// File that the board's log is written to, frame by frame.
    #[must_use]
    pub fn log_path(&self) -> &Path {
        self.process.log_path()
    }

    /// Duty that the bridge is told right now, read from its registers.
    ///
    /// # Errors
    /// When the window cannot be read.
    pub fn bridge(&self) -> Result<Duty, BoardError> {
        let mut registers = [0; 12];
        self.process.window_read(BRIDGE_AT, &mut registers)?;
        let [c0, c1, c2, c3, d0, d1, d2, d3, e0, e1, e2, e3] = registers;
        let [compare, direction, enable] =
            [[c0, c1, c2, c3], [d0, d1, d2, d3], [e0, e1, e2, e3]].map(u32::from_le_bytes);
        let magnitude = if enable == 0 { 0.0 } else { f64::from(compare) / f64::from(u16::MAX) };
        let signed = if direction == 0 { -magnitude } else { magnitude };
        Ok(Duty::saturating(signed as f32, Duty::ZERO))
    }

    /// Gives the board link bytes and samples; takes its outputs and at most `room` link bytes.
    ///
    /// # Errors
    /// [`BoardError`]; the board is then out of step and must be started anew, or waited for after a drill.
    pub fn step(&mut self, link: &[u8], samples: &[Sample], room: usize) -> Result<Step, BoardError> {
        let ask = Ask::Step {
            heard: u32::try_from(link.len()).unwrap_or(u32::MAX),
            samples: u16::try_from(samples.len()).unwrap_or(u16::MAX),
            room: u16::try_from(room).unwrap_or(u16::MAX),
        };
        let mut message = WireItems::new();
        message.put(&ask)?;
        for sample in samples {
            message.put(sample)?;
        }
        self.ring(message)?;
        // After the bell, so that the board takes the bytes as they come and its ring never overflows.
        self.process.link.write_all(link)?;
        let answer = self.hear_bell()?;
        let mut items = Items(&answer);
        let ticks = samples.iter().map(|_| items.take()).collect::<Result<_, _>>()?;
        let stepped: Stepped = items.take()?;
        let link = self.process.read_link(usize::from(stepped.sent))?;
        Ok(Step { ticks, link, stepped })
    }

    /// What the board has used of its resources since it started.
    ///
    /// # Errors
    /// [`BoardError`].
    pub fn usage(&mut self) -> Result<Usage, BoardError> {
        let mut message = WireItems::new();
        message.put(&Ask::Usage)?;
        self.ring(message)?;
        let answer = self.hear_bell()?;
        Ok(Items(&answer).take()?)
    }

    /// Lets the board break in its next tick.
    ///
    /// # Errors
    /// [`BoardError`].
    pub fn prepare(&mut self, drill: Drill) -> Result<(), BoardError> {
        let mut message = WireItems::new();
        message.put(&Ask::Drill(drill))?;
        self.ring(message)?;
        self.hear_bell().map(drop)
    }

    fn ring(&mut self, message: WireItems) -> Result<(), BoardError> {
        self.process.window_write(ASK_AT, &message.finish()?)?;
        // Letters of asks are 1 to 255, so that none is taken for the bell of a start.
        self.letter = self.letter.checked_add(1).unwrap_or(1);
        self.process.bell.write_all(&[self.letter])?;
        Ok(())
    }

    /// Waits for the answer to the last bell.
    fn hear_bell(&mut self) -> Result<Vec<u8>, BoardError> {
        let letter = self.process.read_bell(PATIENCE)?;
        let answer = self.answer()?;
        if letter == self.letter {
            return Ok(answer);
        }
        let started: Started = Items(&answer).take()?;
        self.started = started.reason;
        Err(BoardError::Restarted(started.reason))
    }

    fn wait_for_start(&mut self) -> Result<StartReason, BoardError> {
        match self.hear_bell() {
            Err(BoardError::Restarted(reason)) => Ok(reason),
            // Before the first ask the letter is that of a start.
            Ok(answer) => Ok(Items(&answer).take::<Started>()?.reason),
            Err(error) => Err(error),
        }
    }

    fn answer(&self) -> Result<Vec<u8>, BoardError> {
        let mut length = [0; LENGTH_BYTES];
        self.process.window_read(ANSWER_AT, &mut length)?;
        let length = u32::from_le_bytes(length).min(MESSAGE_BYTES) as usize;
        let mut answer = vec![0; length.saturating_sub(LENGTH_BYTES)];
        self.process.window_read(ANSWER_AT + LENGTH_BYTES as u32, &mut answer)?;
        Ok(answer)
    }
}

/// Items on their way to the board.
struct WireItems(Vec<u8>);

impl WireItems {
    fn new() -> Self {
        Self(vec![0; LENGTH_BYTES])
    }

    fn put<T: Serialize>(&mut self, item: &T) -> Result<(), WindowError> {
        let mut bytes = [0; ITEM_BYTES];
        let used = encode(item, &mut bytes)?;
        self.0.extend(bytes.iter().take(used));
        Ok(())
    }

    fn finish(mut self) -> Result<Vec<u8>, WindowError> {
        let length = u32::try_from(self.0.len()).map_err(|_| WindowError::Full)?;
        if length > MESSAGE_BYTES {
            return Err(WindowError::Full);
        }
        self.0.splice(..LENGTH_BYTES, length.to_le_bytes());
        Ok(self.0)
    }
}

/// Items that came from the board.
struct Items<'a>(&'a [u8]);

impl<'a> Items<'a> {
    fn take<T: serde::Deserialize<'a>>(&mut self) -> Result<T, WindowError> {
        let (item, used) = decode(self.0)?;
        self.0 = self.0.get(used..).unwrap_or_default();
        Ok(item)
    }
}
