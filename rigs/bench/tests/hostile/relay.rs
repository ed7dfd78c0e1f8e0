//! Carries frames both ways, and strikes them as its trouble says.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread;
use std::time::Duration;

use firmware_core::link::{Content, ToBoard, ToHost};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use virtual_rig::line::LineEnd;
use virtual_rig::pty::Pty;

use super::direction::Direction;
use super::frames::{self, Way};
use super::trouble::{Disguise, Mishap, Trouble};

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
/// Between two looks at both ends.
pub(super) const LOOK_AGAIN: Duration = Duration::from_micros(300);

/// Between the two ends.
pub(super) struct Relay {
    tool: Pty,
    rig: File,
    name: PathBuf,
    to_rig: Direction,
    to_tool: Direction,
    trouble: Trouble,
    dice: Pcg64Mcg,
    strike_at: Option<u32>,
    frames: u32,
    is_started: bool,
    struck: Arc<AtomicU32>,
    struck_driving: Arc<AtomicU32>,
}

impl Relay {
    /// Clean at first.
    pub(super) fn new(
        tool: Pty,
        rig: File,
        name: &Path,
        (struck, struck_driving): (Arc<AtomicU32>, Arc<AtomicU32>),
    ) -> Self {
        Self {
            tool,
            rig,
            name: name.to_owned(),
            to_rig: Direction::new(Way::ToRig),
            to_tool: Direction::new(Way::ToTool),
            trouble: Trouble::CLEAN,
            dice: Pcg64Mcg::seed_from_u64(0),
            strike_at: None,
            frames: 0,
            is_started: false,
            struck,
            struck_driving,
        }
    }

    pub(super) fn turn_to(&mut self, trouble: Trouble) {
        self.trouble = trouble;
        self.dice = Pcg64Mcg::seed_from_u64(trouble.seed);
        self.frames = 0;
        self.strike_at = trouble.mishap.is_single().then(|| self.dice.random_range(1..SINGLE_WITHIN));
        self.is_started = false;
        self.struck.store(0, Ordering::SeqCst);
        self.struck_driving.store(0, Ordering::SeqCst);
    }

    pub(super) fn carry(&mut self) {
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
        self.struck_driving.fetch_add(u32::from(strikes && self.is_started), Ordering::SeqCst);
        self.is_started |= way == Way::ToRig && is_start(content);
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

/// True for the word that lets the unit move.
fn is_start(content: &Content) -> bool {
    matches!(content.message::<ToBoard>(), Ok(ToBoard::StartMotion { .. } | ToBoard::StartLearn { .. }))
}

/// Gives a pseudo-terminal a name that outlives it, as a system does for a USB adapter.
pub(super) fn name(path: &Path, pty: &Pty) {
    let fresh = path.with_extension("new");
    let _none_yet = std::fs::remove_file(&fresh);
    std::os::unix::fs::symlink(pty.path(), &fresh).unwrap();
    std::fs::rename(&fresh, path).unwrap();
}
