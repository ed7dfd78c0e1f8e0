//! What joins the two ends: bounded queues with one writer and one reader each, and the stop, which needs no room.
//!
//! ```text
//! link end ─ ToControl, 3 ─▶ control end ─ ToLink, 48 ─▶ link end
//!          ─ stops ───────▶              ─ answers, 6 ─▶
//!                                        ─ points, 256 ▶
//! ```
//!
//! A full queue loses nothing silently. A command that finds no room is refused at once
//! ([`Refusal::TooManyWaiting`]); one is taken only when its answer has room. Samples that find none become a counted
//! gap; notes that find none are counted in [`Status::dropped`](crate::link::state::Status::dropped). A stop is a count
//! beside the queue: it is heeded whatever the fill, before all that waits.

use core::sync::atomic::{AtomicU32, Ordering};

use heapless::spsc::{Consumer, Producer, Queue};

use crate::held::Held;
use crate::link::batch::BatchHead;
use crate::link::message::ToBoard;
use crate::link::note::{LearnNote, Note};
use crate::link::point::Point;
use crate::link::refusal::Refusal;
use crate::link::state::{Arming, LearnedIn, Release, StreamState};
use crate::settings::SettingsHash;
use crate::store::StoreResult;
use crate::units::Tick;

/// Commands that can wait for the control end.
pub const WAITING_COMMANDS: usize = 3;
/// Points that can wait for the line: a quarter of a second.
pub const WAITING_POINTS: usize = 256;
/// Reports that can wait: a command makes three at most, a tick four, in most ticks none.
const WAITING_REPORTS: usize = 48;
/// Reports that the stream leaves room for.
const STREAM_LEAVES: usize = 16;
/// Room that a command needs before it is taken.
const COMMAND_NEEDS: usize = 4;
/// Answers larger than a note that can wait.
const WAITING_ANSWERS: usize = 6;

/// From the link end to the control end.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ToControl {
    /// A new talk.
    Hello {
        /// Sequence number of the hello.
        to: u16,
    },
    /// The host was heard; it asks for nothing that has not been done.
    Alive,
    /// A command.
    Ask {
        /// Its sequence number.
        to: u16,
        message: ToBoard,
        /// Stops that came before it.
        stops: u32,
    },
    /// A stop with an old number: obeyed and answered, but no sign of life.
    LateStop {
        /// Its sequence number.
        to: u16,
    },
    /// A save has ended.
    Saved(StoreResult),
}

/// From the control end to the link end, in the order in which it is told.
// With a tag of a word, what it holds is copied word by word.
#[repr(u32)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum ToLink {
    /// A command has been carried out.
    Done {
        /// Its sequence number.
        to: u16,
    },
    Note(Note),
    /// The next points are a batch.
    Batch(BatchHead),
    /// The next of the answers stands here.
    Answer,
}

/// What is too large for every place of the queue.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Answer {
    Refused { to: u16, refusal: Refusal },
    Welcome { settings: Option<SettingsHash>, next: Tick, calibration: Option<LearnedIn> },
    Status(ControlStatus),
    Calibration(Held),
    Learn(LearnNote),
}

/// What the control end knows of the board's status.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ControlStatus {
    pub(super) next: Tick,
    pub(super) state: StreamState,
    pub(super) arming: Arming,
    pub(super) released: Release,
    /// Notes and answers that found no room.
    pub(super) dropped: u32,
}

/// The queues. A place of each stays empty.
#[derive(Debug)]
pub(super) struct Exchange {
    commands: Queue<ToControl, { WAITING_COMMANDS + 1 }>,
    reports: Queue<ToLink, { WAITING_REPORTS + 1 }>,
    answers: Queue<Answer, { WAITING_ANSWERS + 1 }>,
    points: Queue<Point, { WAITING_POINTS + 1 }>,
    stops: AtomicU32,
    telling: Telling,
}

/// The control end's own books of what it tells.
#[derive(Debug)]
pub(super) struct Telling {
    /// Nothing is told before a hello.
    is_greeted: bool,
    dropped: u32,
}

impl Exchange {
    pub(super) const fn new() -> Self {
        Self {
            commands: Queue::new(),
            reports: Queue::new(),
            answers: Queue::new(),
            points: Queue::new(),
            stops: AtomicU32::new(0),
            telling: Telling { is_greeted: false, dropped: 0 },
        }
    }

    /// The link end's side and the control end's.
    pub(super) fn split(&mut self) -> (LinkSide<'_>, ControlSide<'_>) {
        let (to_control, commands) = self.commands.split();
        let (to_link, reports) = self.reports.split();
        let (to_answers, answers) = self.answers.split();
        let (to_points, points) = self.points.split();
        let outbox =
            Outbox { reports: to_link, answers: to_answers, points: to_points, telling: &mut self.telling };
        (
            LinkSide { commands: to_control, stops: &self.stops, reports, answers, points },
            ControlSide { commands, stops: &self.stops, outbox },
        )
    }
}

/// The link end's side.
pub(super) struct LinkSide<'a> {
    pub(super) commands: Producer<'a, ToControl>,
    stops: &'a AtomicU32,
    pub(super) reports: Consumer<'a, ToLink>,
    pub(super) answers: Consumer<'a, Answer>,
    pub(super) points: Consumer<'a, Point>,
}

impl LinkSide<'_> {
    /// Stops so far.
    pub(super) fn stops(&self) -> u32 {
        self.stops.load(Ordering::Relaxed)
    }

    /// One more stop. The link end is its only writer.
    pub(super) fn stop(&self) {
        self.stops.store(self.stops().wrapping_add(1), Ordering::Release);
    }

    /// The points of the batch whose turn it is.
    pub(super) fn points_of(&mut self, head: BatchHead) -> impl Iterator<Item = Point> {
        (0..head.count()).map_while(|_| self.points.dequeue())
    }

    /// Forgets the next report with all that belongs to it; gives it.
    pub(super) fn discard(&mut self) -> Option<(ToLink, Option<Answer>)> {
        let report = self.reports.dequeue()?;
        let answer = match report {
            ToLink::Done { .. } | ToLink::Note(_) => None,
            ToLink::Batch(head) => {
                self.points_of(head).for_each(drop);
                None
            }
            ToLink::Answer => self.answers.dequeue(),
        };
        Some((report, answer))
    }
}

/// The control end's side.
pub(super) struct ControlSide<'a> {
    pub(super) commands: Consumer<'a, ToControl>,
    stops: &'a AtomicU32,
    pub(super) outbox: Outbox<'a>,
}

impl ControlSide<'_> {
    /// Stops so far.
    pub(super) fn stops(&self) -> u32 {
        self.stops.load(Ordering::Acquire)
    }

    /// The next command, once whatever it makes has room.
    #[inline]
    pub(super) fn next_command(&mut self) -> Option<ToControl> {
        let has_room = self.outbox.room() >= COMMAND_NEEDS && self.outbox.answers.ready();
        if has_room { self.commands.dequeue() } else { None }
    }
}

/// The way of everything that the control end tells.
pub(super) struct Outbox<'a> {
    reports: Producer<'a, ToLink>,
    answers: Producer<'a, Answer>,
    points: Producer<'a, Point>,
    telling: &'a mut Telling,
}

impl Outbox<'_> {
    /// A host has greeted: counts begin anew.
    #[inline]
    pub(super) fn greet(&mut self) {
        *self.telling = Telling { is_greeted: true, dropped: 0 };
    }

    pub(super) fn is_greeted(&self) -> bool {
        self.telling.is_greeted
    }

    pub(super) fn dropped(&self) -> u32 {
        self.telling.dropped
    }

    fn room(&self) -> usize {
        self.reports.capacity().saturating_sub(self.reports.len())
    }

    /// Tells a note or that a command is done; one that finds no room is counted and dropped.
    pub(super) fn tell(&mut self, report: ToLink) {
        if self.is_greeted() {
            let is_full = self.reports.enqueue(report).is_err();
            self.count_dropped(is_full);
        }
    }

    /// As [`Outbox::tell`], for what is larger.
    pub(super) fn answer(&mut self, answer: Answer) {
        if self.is_greeted() {
            let is_full = !self.reports.ready() || self.answers.enqueue(answer).is_err();
            if !is_full {
                self.tell(ToLink::Answer);
            }
            self.count_dropped(is_full);
        }
    }

    fn count_dropped(&mut self, is_full: bool) {
        self.telling.dropped = self.telling.dropped.saturating_add(u32::from(is_full));
    }

    /// Tells a note that can be told later.
    ///
    /// # Errors
    /// No room but what other reports need.
    pub(super) fn try_tell(&mut self, note: Note) -> Result<(), NoRoom> {
        if self.room() <= STREAM_LEAVES {
            return Err(NoRoom);
        }
        self.reports.enqueue(ToLink::Note(note)).map_err(|_| NoRoom)
    }

    /// A batch begins only where it, and the gap before it, can be told.
    ///
    /// # Errors
    /// No room but what other reports need.
    pub(super) fn check_room_for_batch(&self) -> Result<(), NoRoom> {
        let has_room = self.points.ready() && self.room() > STREAM_LEAVES.saturating_add(1);
        if has_room { Ok(()) } else { Err(NoRoom) }
    }

    /// Takes a point into the batch that is open.
    ///
    /// # Errors
    /// No room; the point is not taken.
    pub(super) fn push_point(&mut self, point: Point) -> Result<(), NoRoom> {
        self.points.enqueue(point).map_err(|_| NoRoom)
    }

    /// Closes a batch whose points have been taken.
    ///
    /// # Errors
    /// No room: the batch stays open.
    pub(super) fn close_batch(&mut self, head: BatchHead) -> Result<(), NoRoom> {
        if !self.reports.ready() {
            return Err(NoRoom);
        }
        self.reports.enqueue(ToLink::Batch(head)).map_err(|_| NoRoom)
    }
}

/// No room now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NoRoom;
