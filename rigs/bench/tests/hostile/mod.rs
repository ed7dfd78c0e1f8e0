//! A hostile line: stands between a rig's serial device and the tool, and does to the frames what lines do.
//!
//! ```text
//! tool ── pty ── hostile line ── pty ── rig
//! ```
//!
//! In: a [`Trouble`] with a seed. Out: the path of a device that behaves so. Chance is drawn per frame and
//! direction, never per read, so that on a stepped rig the same seed does the same.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)] // each test file uses its part; a helper that cannot go on fails its test

pub mod frames;
pub mod runs;
pub mod watched;

use std::collections::VecDeque;
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use firmware_core::link::{Content, ToHost};
use nix::fcntl::OFlag;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use virtual_rig::pty::Pty;

use frames::{Framer, Way};

/// What goes wrong on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mishap {
    /// Nothing.
    Clean,
    /// A frame is lost.
    Drop,
    /// A frame comes twice.
    Double,
    /// One bit of a frame is another.
    Flip,
    /// A frame with samples is lost; commands and replies all arrive.
    DropSamples,
    /// The first three frames with samples are lost.
    LoseStart,
    /// The word that the drive was let go is lost, once.
    LoseReleased,
    /// A frame and those behind it come late, up to [`LONGEST_DELAY_MS`].
    Delay,
    /// Nothing passes for up to [`LONGEST_STALL_MS`], then everything.
    Stall,
    /// A run of bytes is gone, across frames.
    Swallow,
    /// One of the last frames comes again, in between.
    Repeat,
    /// Frames of another talk: another program's questions, another board's answers.
    Foreign,
    /// Another program's Stop.
    ForeignStop,
    /// Another program's Hello.
    ForeignHello,
    /// Now and then a frame comes back to its sender.
    Echo,
    /// Every frame comes back to its sender, from the first.
    EchoAlways,
    /// The device vanishes and comes back under the same name.
    Reopen,
    /// The board says that it counts 500 ticks a second.
    TickRate,
}

impl Mishap {
    pub const ALL: [Self; 18] = [
        Self::Clean,
        Self::Drop,
        Self::Double,
        Self::Flip,
        Self::DropSamples,
        Self::LoseStart,
        Self::LoseReleased,
        Self::Delay,
        Self::Stall,
        Self::Swallow,
        Self::Repeat,
        Self::Foreign,
        Self::ForeignStop,
        Self::ForeignHello,
        Self::Echo,
        Self::EchoAlways,
        Self::Reopen,
        Self::TickRate,
    ];

    /// True where going on would be wrong: the drive was let go, the line is another, or its words mean something else.
    pub fn must_stop(self) -> bool {
        match self {
            Self::ForeignStop | Self::ForeignHello | Self::EchoAlways | Self::Reopen | Self::TickRate => true,
            Self::Clean
            | Self::Drop
            | Self::Double
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Delay
            | Self::Stall
            | Self::Swallow
            | Self::Repeat
            | Self::Foreign
            | Self::Echo => false,
        }
    }

    /// True where every word arrives, in order and in time: nothing excuses a run that decides nothing.
    pub fn loses_nothing(self) -> bool {
        match self {
            Self::Clean | Self::Double | Self::Delay | Self::Repeat | Self::Foreign | Self::Echo => true,
            Self::Drop
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Stall
            | Self::Swallow
            | Self::ForeignStop
            | Self::ForeignHello
            | Self::EchoAlways
            | Self::Reopen
            | Self::TickRate => false,
        }
    }

    /// Once in a run, instead of a share of all frames.
    fn is_single(self) -> bool {
        match self {
            Self::Stall | Self::Swallow | Self::ForeignStop | Self::ForeignHello | Self::Reopen => true,
            Self::Clean
            | Self::Drop
            | Self::Double
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Delay
            | Self::Repeat
            | Self::Foreign
            | Self::Echo
            | Self::EchoAlways
            | Self::TickRate => false,
        }
    }
}

/// What makes a mishap harder to see than a line could: each takes one safeguard of the link away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Disguise {
    /// None: what a line can do.
    #[default]
    None,
    /// Foreign frames carry this talk's number and the next sequence number.
    RightTalk,
    /// Repeated frames carry the next sequence number.
    RightNumber,
    /// A flipped bit gets a checksum that fits.
    RightChecksum,
    /// A question asked again never arrives.
    NoSecondAsking,
}

/// What goes wrong, how often, and by which draw.
#[derive(Debug, Clone, Copy)]
pub struct Trouble {
    pub mishap: Mishap,
    /// Share of the frames that it strikes; a single mishap strikes one of the first [`SINGLE_WITHIN`].
    pub share: f64,
    pub seed: u64,
    pub disguise: Disguise,
}

impl Trouble {
    pub const CLEAN: Self = Self { mishap: Mishap::Clean, share: 0.0, seed: 0, disguise: Disguise::None };
}

/// Longest delay of one frame, ms: a busy USB hub.
pub const LONGEST_DELAY_MS: u64 = 80;
/// Longest stall, ms: longer than the two seconds after which the tool gives up.
pub const LONGEST_STALL_MS: u64 = 3000;
/// Frames among which a single mishap strikes: the shortest run has more.
const SINGLE_WITHIN: u32 = 250;
/// Longest run of bytes that is swallowed: a few frames.
const LONGEST_SWALLOW: usize = 600;
/// Frames with samples that are lost at the start.
const LOST_AT_START: u32 = 3;
/// Frames that are remembered to come again.
const REMEMBERED: usize = 8;
/// Between two looks at both ends.
const LOOK_AGAIN: Duration = Duration::from_micros(300);

/// A line in service.
pub struct HostileLine {
    path: PathBuf,
    trouble: Arc<Mutex<Option<Trouble>>>,
    struck: Arc<AtomicU32>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl HostileLine {
    /// Begins to stand before the device `rig`, clean at first; the tool's device gets a name in `folder`.
    pub fn before(rig: &Path, folder: &Path) -> Self {
        let rig = OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags((OFlag::O_NONBLOCK | OFlag::O_NOCTTY).bits())
            .open(rig)
            .unwrap();
        let path = folder.join("line");
        let tool = Pty::open().unwrap();
        name(&path, &tool);
        let (trouble, struck, stop) =
            <(Arc<Mutex<Option<Trouble>>>, Arc<AtomicU32>, Arc<AtomicBool>)>::default();
        let mut relay = Relay {
            tool,
            rig,
            name: path.clone(),
            to_rig: Direction::new(Way::ToRig),
            to_tool: Direction::new(Way::ToTool),
            trouble: Trouble::CLEAN,
            dice: Pcg64Mcg::seed_from_u64(0),
            strike_at: None,
            frames: 0,
            struck: Arc::clone(&struck),
        };
        let (orders, asked_to_stop) = (Arc::clone(&trouble), Arc::clone(&stop));
        let thread = thread::spawn(move || {
            while !asked_to_stop.load(Ordering::SeqCst) {
                if let Some(trouble) = orders.lock().unwrap().take() {
                    relay.turn_to(trouble);
                }
                relay.carry();
            }
        });
        Self { path, trouble, struck, stop, thread: Some(thread) }
    }

    /// The device that the tool opens.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Behaves so from the next frame on; counts strikes anew.
    pub fn turn_to(&self, trouble: Trouble) {
        *self.trouble.lock().unwrap() = Some(trouble);
        while self.trouble.lock().unwrap().is_some() {
            thread::sleep(LOOK_AGAIN);
        }
    }

    /// Frames that were struck since.
    pub fn struck(&self) -> u32 {
        self.struck.load(Ordering::SeqCst)
    }
}

impl Drop for HostileLine {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}

/// Gives a pseudo-terminal a name that outlives it, as a system does for a USB adapter.
fn name(path: &Path, pty: &Pty) {
    let fresh = path.with_extension("new");
    let _none_yet = std::fs::remove_file(&fresh);
    std::os::unix::fs::symlink(pty.path(), &fresh).unwrap();
    std::fs::rename(&fresh, path).unwrap();
}

/// One direction of the line.
struct Direction {
    way: Way,
    framer: Framer,
    remembered: VecDeque<Content>,
    /// Added to later sequence numbers where a disguise has put a frame in between.
    shift: u16,
    /// Bytes still to be swallowed.
    swallow: usize,
    due: Instant,
    waiting: VecDeque<(Instant, Vec<u8>)>,
}

impl Direction {
    fn new(way: Way) -> Self {
        Self {
            way,
            framer: Framer::default(),
            remembered: VecDeque::new(),
            shift: 0,
            swallow: 0,
            due: Instant::now(),
            waiting: VecDeque::new(),
        }
    }

    /// Puts bytes in line behind what waits already.
    fn put(&mut self, mut bytes: Vec<u8>) {
        let swallowed = self.swallow.min(bytes.len());
        bytes.drain(..swallowed);
        self.swallow -= swallowed;
        self.waiting.push_back((self.due, bytes));
    }

    fn hold_for(&mut self, span: Duration) {
        self.due = self.due.max(Instant::now() + span);
    }

    /// Takes what is due.
    fn due_bytes(&mut self) -> Vec<u8> {
        let now = Instant::now();
        let mut bytes = Vec::new();
        while let Some((_, frame)) = self.waiting.pop_front_if(|(due, _)| *due <= now) {
            bytes.extend(frame);
        }
        bytes
    }

    fn put_back(&mut self, rest: &[u8]) {
        if !rest.is_empty() {
            self.waiting.push_front((Instant::now(), rest.to_vec()));
        }
    }

    fn remember(&mut self, content: &Content) {
        self.remembered.push_back(content.clone());
        if self.remembered.len() > REMEMBERED {
            self.remembered.pop_front();
        }
    }
}

struct Relay {
    tool: Pty,
    rig: File,
    name: PathBuf,
    to_rig: Direction,
    to_tool: Direction,
    trouble: Trouble,
    dice: Pcg64Mcg,
    strike_at: Option<u32>,
    frames: u32,
    struck: Arc<AtomicU32>,
}

impl Relay {
    fn turn_to(&mut self, trouble: Trouble) {
        self.trouble = trouble;
        self.dice = Pcg64Mcg::seed_from_u64(trouble.seed);
        self.frames = 0;
        self.strike_at = trouble.mishap.is_single().then(|| self.dice.random_range(1..SINGLE_WITHIN));
        self.struck.store(0, Ordering::SeqCst);
    }

    fn carry(&mut self) {
        let mut buffer = [0; 4096];
        let from_tool = self.tool.receive(&mut buffer).unwrap_or(0);
        for raw in self.to_rig.framer.frames(&buffer[..from_tool]) {
            self.take(Way::ToRig, raw);
        }
        let from_rig = nothing_yet(self.rig.read(&mut buffer));
        for raw in self.to_tool.framer.frames(&buffer[..from_rig]) {
            self.take(Way::ToTool, raw);
        }
        let sent = self.send();
        if from_tool + from_rig + sent == 0 {
            self.tool.wait_for_bytes(Duration::ZERO);
            thread::sleep(LOOK_AGAIN);
        }
    }

    fn send(&mut self) -> usize {
        let bytes = self.to_rig.due_bytes();
        let to_rig = nothing_yet(self.rig.write(&bytes));
        self.to_rig.put_back(&bytes[to_rig..]);
        let bytes = self.to_tool.due_bytes();
        let to_tool = self.tool.send(&bytes).unwrap_or(0);
        self.to_tool.put_back(&bytes[to_tool..]);
        to_rig + to_tool
    }

    fn direction(&mut self, way: Way) -> &mut Direction {
        match way {
            Way::ToRig => &mut self.to_rig,
            Way::ToTool => &mut self.to_tool,
        }
    }

    fn strikes(&mut self, way: Way, content: &Content) -> bool {
        self.frames += 1;
        let said = (way == Way::ToTool).then(|| content.message::<ToHost>().ok()).flatten();
        let is_samples = matches!(said, Some(ToHost::Samples(_)));
        let before = self.struck.load(Ordering::SeqCst);
        let strikes = match (self.trouble.mishap, self.strike_at) {
            (Mishap::Clean, _) => false,
            (Mishap::EchoAlways, _) => true,
            (Mishap::TickRate, _) => matches!(said, Some(ToHost::Welcome(_))),
            (Mishap::LoseStart, _) => is_samples && before < LOST_AT_START,
            (Mishap::LoseReleased, _) => matches!(said, Some(ToHost::Released { .. })) && before == 0,
            // A flipped bit of a command mostly makes nonsense of it: what a checksum hides are samples.
            (Mishap::Flip, _) if self.trouble.disguise == Disguise::RightChecksum => {
                is_samples && self.dice.random_bool(self.trouble.share)
            }
            (Mishap::DropSamples, _) => is_samples && self.dice.random_bool(self.trouble.share),
            (_, Some(at)) => self.frames == at,
            (_, None) => self.dice.random_bool(self.trouble.share),
        };
        self.struck.fetch_add(u32::from(strikes), Ordering::SeqCst);
        strikes
    }

    fn take(&mut self, way: Way, raw: Vec<u8>) {
        let Some(content) = frames::content(&raw) else {
            // No frame: bytes from before the talk.
            return self.direction(way).put(frames::delimited(&raw));
        };
        if self.trouble.disguise == Disguise::NoSecondAsking && self.is_second_asking(way, &content) {
            return;
        }
        let strikes = self.strikes(way, &content);
        let frame = self.carried(way, &content, &raw);
        if strikes {
            self.strike(way, &content, frame);
        } else {
            self.direction(way).put(frame);
        }
        self.direction(way).remember(&content);
    }

    /// The frame as it goes on: renumbered where a disguise has put frames in between.
    fn carried(&self, way: Way, content: &Content, raw: &[u8]) -> Vec<u8> {
        let (shift, asked_shift) = match way {
            Way::ToRig => (self.to_rig.shift, 0),
            Way::ToTool => (self.to_tool.shift, self.to_rig.shift),
        };
        let number = content.head.sequence.wrapping_add(shift);
        match (shift, asked_shift) {
            (0, 0) => frames::delimited(raw),
            (_, 0) => frames::renumbered(way, content, number),
            (_, asked) => frames::answered(content, number, asked)
                .unwrap_or_else(|| frames::renumbered(way, content, number)),
        }
    }

    fn is_second_asking(&self, way: Way, content: &Content) -> bool {
        way == Way::ToRig && self.to_rig.remembered.back().is_some_and(|last| last.head == content.head)
    }

    fn strike(&mut self, way: Way, content: &Content, mut frame: Vec<u8>) {
        match self.trouble.mishap {
            Mishap::Clean => self.direction(way).put(frame),
            Mishap::Drop | Mishap::DropSamples | Mishap::LoseStart | Mishap::LoseReleased => {}
            Mishap::Double => {
                self.direction(way).put(frame.clone());
                self.direction(way).put(frame);
            }
            Mishap::Flip => {
                self.flip(&mut frame);
                self.direction(way).put(frame);
            }
            Mishap::Delay => {
                let span = Duration::from_millis(self.dice.random_range(1..LONGEST_DELAY_MS));
                self.direction(way).hold_for(span);
                self.direction(way).put(frame);
            }
            Mishap::Stall => {
                let span = Duration::from_millis(self.dice.random_range(100..LONGEST_STALL_MS));
                self.to_rig.hold_for(span);
                self.to_tool.hold_for(span);
                self.direction(way).put(frame);
            }
            Mishap::Swallow => {
                let kept = self.dice.random_range(0..frame.len());
                let swallowed = self.dice.random_range(1..LONGEST_SWALLOW);
                frame.truncate(kept);
                self.direction(way).put(frame);
                self.direction(way).swallow = swallowed;
            }
            Mishap::Repeat => {
                self.direction(way).put(frame);
                self.put_again(way, content);
            }
            Mishap::Foreign => {
                self.direction(way).put(frame);
                self.put_foreign(way, content);
            }
            Mishap::ForeignStop => {
                self.to_rig.put(frames::foreign_stop());
                self.direction(way).put(frame);
            }
            Mishap::ForeignHello => {
                self.to_rig.put(frames::foreign_hello());
                self.direction(way).put(frame);
            }
            Mishap::Echo | Mishap::EchoAlways => {
                self.direction(way).put(frame.clone());
                self.direction(way.back()).put(frame);
            }
            Mishap::Reopen => self.reopen(),
            Mishap::TickRate => {
                self.direction(way).put(frames::with_tick_rate(way, content, 500).unwrap_or(frame));
            }
        }
    }

    /// Flips a bit that is no delimiter's and makes none.
    fn flip(&mut self, frame: &mut Vec<u8>) {
        let at = self.dice.random_range(1..frame.len() - 1);
        let bit = 1_u8 << self.dice.random_range(0..8_u32);
        if self.trouble.disguise == Disguise::RightChecksum {
            *frame = frames::flipped_with_checksum(frame, at, bit);
        } else if frame[at] != bit {
            frame[at] ^= bit;
        }
    }

    fn put_again(&mut self, way: Way, newest: &Content) {
        let count = self.direction(way).remembered.len();
        if count == 0 {
            return;
        }
        let pick = self.dice.random_range(0..count);
        let old = self.direction(way).remembered[pick].clone();
        let disguised = self.trouble.disguise == Disguise::RightNumber;
        let direction = self.direction(way);
        if disguised {
            direction.shift = direction.shift.wrapping_add(1);
        }
        let number = if disguised {
            newest.head.sequence.wrapping_add(direction.shift)
        } else {
            old.head.sequence.wrapping_add(direction.shift)
        };
        direction.put(frames::renumbered(way, &old, number));
    }

    /// A frame of another talk; in disguise those two that end a learn with a calibration of another unit.
    fn put_foreign(&mut self, way: Way, newest: &Content) {
        let draw = self.dice.random_range(0..frames::FOREIGN_KINDS);
        let disguised = self.trouble.disguise == Disguise::RightTalk && way == Way::ToTool;
        let direction = self.direction(way);
        let number = newest.head.sequence.wrapping_add(direction.shift);
        if disguised {
            for (ahead, kind) in (1..).zip(frames::END_OF_A_LEARN) {
                let frame = frames::foreign(way, newest.head.talk, number.wrapping_add(ahead), kind, newest);
                direction.put(frame.unwrap());
                direction.shift = direction.shift.wrapping_add(1);
            }
        } else if let Some(frame) = frames::foreign(way, None, number.wrapping_add(draw.into()), draw, newest)
        {
            direction.put(frame);
        }
    }

    fn reopen(&mut self) {
        self.tool = Pty::open().unwrap();
        name(&self.name, &self.tool);
        self.to_rig.waiting.clear();
        self.to_tool.waiting.clear();
    }
}

fn nothing_yet(moved: io::Result<usize>) -> usize {
    // A rig that is gone says nothing any more.
    moved.unwrap_or(0)
}
