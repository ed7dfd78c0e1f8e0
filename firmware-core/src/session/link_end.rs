//! The link end: bytes in, frames out. In: any bytes at any time, and what the control end tells. Out: commands for the
//! control end, and bytes for the line. Refused: what [`Refusal`] names of frames, numbers and room.

use super::exchange::{Answer, LinkSide, ToControl, ToLink, WAITING_COMMANDS};
use super::link_memory::{LinkMemory, Order, Taken};
use crate::link::PROTOCOL_VERSION;
use crate::link::codec::{Content, MessageError};
use crate::link::message::{ToBoard, ToHost};
use crate::link::refusal::{Outcome, Refusal};
use crate::link::talk::{Belonging, End, Talk};
use crate::store::StoreResult;

/// One of the two ends of a [`Session`](super::Session): for a main loop, or wherever bytes come and go.
pub struct LinkEnd<'a> {
    own: &'a mut LinkMemory,
    side: LinkSide<'a>,
}

/// All of this may be inlined: a board's image then compiles it with its own settings, for size, and this crate's own
/// settings, for speed, are left to the tick.
impl<'a> LinkEnd<'a> {
    pub(super) fn new(own: &'a mut LinkMemory, side: LinkSide<'a>) -> Self {
        Self { own, side }
    }

    /// Takes one byte from the line; true when something waits for the control end.
    #[inline]
    pub fn hear(&mut self, byte: u8) -> bool {
        match self.own.decoder.push(byte) {
            Some(Ok(content)) => self.handle(&content),
            Some(Err(error)) => self.own.counters.count_error(error),
            None => return false,
        }
        true
    }

    /// How a save has ended that the control end gave away.
    ///
    /// # Errors
    /// The result comes back when it finds no room: say it again.
    #[inline]
    pub fn saved(&mut self, result: StoreResult) -> Result<(), StoreResult> {
        self.side.commands.enqueue(ToControl::Saved(result)).map_err(|_| result)
    }

    #[inline]
    fn handle(&mut self, content: &Content) {
        let (head, asked) = (content.head, content.message::<ToBoard>());
        match (head.belonging(End::Board, self.own.talk), asked) {
            (Belonging::OtherVersion, _) => {
                self.own.counters.count_not_understood();
                self.own.refuse(head.sequence, Refusal::OtherVersion { board: PROTOCOL_VERSION });
            }
            (Belonging::Echo, _) => self.own.counters.count_echoed(),
            (Belonging::OfThisTalk | Belonging::Foreign, Ok(ToBoard::Hello))
                if let Some(talk) = head.talk =>
            {
                self.greet(talk, head.sequence);
            }
            (Belonging::OfThisTalk, asked) => self.answer(head.sequence, asked),
            (Belonging::Foreign, _) if self.own.talk.is_none() => {
                self.own.asked_in = head.talk;
                self.own.refuse(head.sequence, Refusal::NoHello);
            }
            (Belonging::Foreign, asked) => self.overhear(&asked),
        }
    }

    /// What another program says is none of this talk's business, but a stop is obeyed, whoever says it.
    #[inline]
    fn overhear(&mut self, asked: &Result<ToBoard, MessageError>) {
        self.own.counters.count_foreign();
        if matches!(asked, Ok(ToBoard::Stop)) {
            self.side.stop();
        }
    }

    /// A hello that finds no room is counted and dropped: the host says it again until it is welcome.
    #[inline]
    fn greet(&mut self, talk: Talk, sequence: u16) {
        if !self.side.commands.ready() {
            self.own.dropped = self.own.dropped.saturating_add(1);
            return;
        }
        self.forget_reports();
        self.own.greet(talk);
        let _first = self.own.order(sequence);
        self.own.take(sequence);
        let _has_room = self.side.commands.enqueue(ToControl::Hello { to: sequence });
    }

    #[inline]
    fn forget_reports(&mut self) {
        while let Some((_, answer)) = self.side.discard() {
            let is_welcome = matches!(answer, Some(Answer::Welcome { .. }));
            self.own.hellos = self.own.hellos.saturating_sub(u8::from(is_welcome));
        }
    }

    #[inline]
    fn answer(&mut self, sequence: u16, asked: Result<ToBoard, MessageError>) {
        match asked {
            Ok(ToBoard::Stop) => self.stop(sequence),
            Ok(message) => self.hand_over(sequence, message),
            Err(error) => match self.own.order(sequence) {
                Order::Stale { last } => self.own.refuse(sequence, Refusal::Stale { last }),
                Order::Again => self.repeat_reply(sequence),
                Order::New => {
                    let outcome = Outcome::Refused(self.own.unread(error));
                    self.own.taken = Some(Taken { number: sequence, outcome: Some(outcome.clone()) });
                    self.own.answer(sequence, outcome);
                }
            },
        }
    }

    /// A stop is never too late to be obeyed, and needs no room.
    #[inline]
    fn stop(&mut self, to: u16) {
        self.side.stop();
        let stops = self.side.stops();
        let command = match self.own.order(to) {
            Order::New => {
                self.own.take(to);
                ToControl::Ask { to, message: ToBoard::Stop, stops }
            }
            Order::Again => ToControl::Ask { to, message: ToBoard::Stop, stops },
            Order::Stale { .. } => ToControl::LateStop { to },
        };
        if self.side.commands.enqueue(command).is_err() {
            self.own.remember(to, &Outcome::Done);
            self.own.answer(to, Outcome::Done);
        }
    }

    /// A command that finds no room is refused before its number is taken, so that it can be said again.
    #[inline]
    fn hand_over(&mut self, to: u16, message: ToBoard) {
        if !self.side.commands.ready() {
            self.own.refuse(to, Refusal::TooManyWaiting { max: WAITING_COMMANDS as u8 });
            return;
        }
        let command = match self.own.order(to) {
            Order::Stale { last } => return self.own.refuse(to, Refusal::Stale { last }),
            Order::Again if !message.may_be_repeated() => {
                self.repeat_reply(to);
                ToControl::Alive
            }
            Order::New | Order::Again => {
                self.own.take(to);
                ToControl::Ask { to, message, stops: self.side.stops() }
            }
        };
        let _has_room = self.side.commands.enqueue(command);
    }

    /// Answers the last message again; one that has not been answered yet will be.
    #[inline]
    fn repeat_reply(&mut self, to: u16) {
        if let Some(outcome) = self.own.taken.as_ref().and_then(|taken| taken.outcome.clone()) {
            self.own.answer(to, outcome);
        }
    }

    /// Fills `out` with bytes for the line; gives how many. A frame is made only once the one before it is out, so that
    /// the work follows from the bytes asked for, and the bytes do not depend on how many are asked for at once.
    #[inline]
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        let mut filled = 0usize;
        loop {
            let rest = self.own.wire.get(self.own.sent..).unwrap_or_default();
            let room = out.get_mut(filled..).unwrap_or_default();
            let count = rest.len().min(room.len());
            for (to, from) in room.iter_mut().zip(rest) {
                *to = *from;
            }
            self.own.sent = self.own.sent.saturating_add(count);
            filled = filled.saturating_add(count);
            if filled >= out.len() || !self.next_frame() {
                return filled;
            }
        }
    }

    /// Makes the next frame; false when nothing waits.
    #[inline]
    fn next_frame(&mut self) -> bool {
        while let Some(message) = self.next_message() {
            if let Ok(made) = self.own.encode(&message) {
                self.own.sequence = self.own.sequence.wrapping_add(1);
                self.own.wire = made;
                self.own.sent = 0;
                return true;
            }
        }
        false
    }

    #[inline]
    fn next_message(&mut self) -> Option<ToHost> {
        if self.own.hellos > 0 {
            return self.welcome();
        }
        if let Some((to, outcome)) = self.own.answers.pop_front() {
            return Some(ToHost::Reply { to, outcome });
        }
        loop {
            if let Some(batch) = self.own.packing.next() {
                return Some(ToHost::Samples(batch));
            }
            match self.side.reports.dequeue()? {
                ToLink::Done { to } => return Some(self.own.reply(to, Outcome::Done)),
                ToLink::Note(note) => return Some(note.into()),
                ToLink::Batch(head) => self.own.packing.load(head, self.side.points_of(head)),
                ToLink::Answer => {
                    let answer = self.side.answers.dequeue()?;
                    return Some(self.own.message_of(answer));
                }
            }
        }
    }

    /// What was told before the last welcome belongs to a talk before.
    #[inline]
    fn welcome(&mut self) -> Option<ToHost> {
        loop {
            let (_, answer) = self.side.discard()?;
            if let Some(welcome @ Answer::Welcome { .. }) = answer {
                self.own.hellos = self.own.hellos.saturating_sub(1);
                if self.own.hellos == 0 {
                    return Some(self.own.message_of(welcome));
                }
            }
        }
    }
}
