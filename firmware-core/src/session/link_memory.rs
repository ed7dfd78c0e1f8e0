//! What the link end remembers: the talk, the numbers taken and their outcomes, and the frame on its way.

use heapless::{Deque, Vec};

use super::exchange::{Answer, ControlStatus};
use crate::link::batch::Packing;
use crate::link::codec::{Decoder, MAX_MESSAGE, MAX_WIRE, MessageError, TooLong, body, frame};
use crate::link::message::ToHost;
use crate::link::refusal::{Outcome, Refusal};
use crate::link::self_test::SelfTest;
use crate::link::sequence::{Arrival, LinkCounters, SequenceCheck};
use crate::link::state::{Capabilities, Identity, Status, Welcome};
use crate::link::talk::{End, Head, Talk};
use crate::link::{DRIVE_LEASE_TICKS, PROTOCOL_VERSION};
use crate::motion::MAX_SEGMENTS;
use crate::units::TICKS_PER_SECOND;

/// Answers of the link end's own that can wait.
const OWN_ANSWERS: usize = 4;

/// How a host message stands against the ones before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// Not seen before: carry it out.
    New,
    /// The last one again: its reply was lost.
    Again,
    /// Older than the last one.
    Stale {
        /// Last sequence number taken.
        last: u16,
    },
}

/// The last message whose number was taken.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Taken {
    pub(super) number: u16,
    /// What it came to, once the control end has said so.
    pub(super) outcome: Option<Outcome>,
}

/// What the link end remembers.
#[derive(Debug)]
pub(super) struct LinkMemory {
    pub(super) identity: Identity,
    pub(super) self_test: SelfTest,
    pub(super) decoder: Decoder,
    pub(super) check: SequenceCheck,
    pub(super) counters: LinkCounters,
    pub(super) wire: Vec<u8, MAX_WIRE>,
    pub(super) sent: usize,
    pub(super) sequence: u16,
    pub(super) taken: Option<Taken>,
    /// The talk that a hello has opened.
    pub(super) talk: Option<Talk>,
    /// The talk that an answer without a hello belongs to.
    pub(super) asked_in: Option<Talk>,
    /// Hellos that wait for the control end: what is told before the welcome of the last is of a talk before.
    pub(super) hellos: u8,
    pub(super) answers: Deque<(u16, Outcome), OWN_ANSWERS>,
    pub(super) packing: Packing,
    pub(super) dropped: u32,
}

impl LinkMemory {
    #[inline]
    pub(super) fn new(identity: Identity, self_test: SelfTest) -> Self {
        Self {
            identity,
            self_test,
            decoder: Decoder::new(),
            check: SequenceCheck::new(),
            counters: LinkCounters::NONE,
            wire: Vec::new(),
            sent: 0,
            sequence: 0,
            taken: None,
            talk: None,
            asked_in: None,
            hellos: 0,
            answers: Deque::new(),
            packing: Packing::default(),
            dropped: 0,
        }
    }

    /// Starts a talk: counters, sequence numbers and what waits as if just switched on.
    #[inline]
    pub(super) fn greet(&mut self, talk: Talk) {
        self.check = SequenceCheck::new();
        self.counters = LinkCounters::NONE;
        self.wire.clear();
        self.sent = 0;
        self.sequence = 0;
        self.talk = Some(talk);
        self.hellos = self.hellos.saturating_add(1);
        self.answers.clear();
        self.packing = Packing::default();
        self.dropped = 0;
    }

    #[inline]
    pub(super) fn order(&mut self, sequence: u16) -> Order {
        let arrival = self.check.see(sequence);
        self.counters.count_arrival(arrival);
        match (arrival, &self.taken) {
            (Arrival::Expected | Arrival::After { .. }, _) | (Arrival::Repeated, None) => Order::New,
            (Arrival::Repeated, Some(last)) if last.number == sequence => Order::Again,
            (Arrival::Repeated, Some(last)) => Order::Stale { last: last.number },
        }
    }

    /// Takes a number whose outcome is still to come.
    pub(super) fn take(&mut self, number: u16) {
        self.taken = Some(Taken { number, outcome: None });
    }

    /// Answers for the link end itself.
    #[inline]
    pub(super) fn answer(&mut self, to: u16, outcome: Outcome) {
        let is_full = self.answers.push_back((to, outcome)).is_err();
        self.dropped = self.dropped.saturating_add(u32::from(is_full));
    }

    /// Refuses without taking the message's sequence number.
    #[inline]
    pub(super) fn refuse(&mut self, to: u16, refusal: Refusal) {
        self.answer(to, Outcome::Refused(refusal));
    }

    /// Remembers a number's outcome, in case its reply is lost.
    #[inline]
    pub(super) fn remember(&mut self, to: u16, outcome: &Outcome) {
        if let Some(taken) = self.taken.as_mut().filter(|taken| taken.number == to) {
            taken.outcome.get_or_insert_with(|| outcome.clone());
        }
    }

    #[inline]
    pub(super) fn unread(&mut self, error: MessageError) -> Refusal {
        self.counters.count_not_understood();
        match error {
            MessageError::OtherVersion => Refusal::OtherVersion { board: PROTOCOL_VERSION },
            MessageError::UnknownKind => Refusal::UnknownKind,
            MessageError::BadValue => Refusal::BadValue,
        }
    }

    #[inline]
    pub(super) fn encode(&self, message: &ToHost) -> Result<Vec<u8, MAX_WIRE>, TooLong> {
        let mut room = [0; MAX_MESSAGE];
        let head = Head {
            version: PROTOCOL_VERSION,
            talk: self.talk.or(self.asked_in),
            sender: End::Board,
            sequence: self.sequence,
        };
        frame(head, body(message, &mut room)?)
    }

    #[inline]
    pub(super) fn message_of(&mut self, answer: Answer) -> ToHost {
        match answer {
            Answer::Refused { to, refusal } => self.reply(to, Outcome::Refused(refusal)),
            Answer::Welcome { settings, next, calibration } => ToHost::Welcome(Welcome {
                identity: self.identity.clone(),
                capabilities: capabilities(),
                self_test: self.self_test,
                settings,
                next,
                calibration,
            }),
            Answer::Status(ControlStatus { next, state, arming, released, dropped }) => {
                let dropped = dropped.saturating_add(self.dropped);
                ToHost::Status(Status { next, state, arming, released, counters: self.counters, dropped })
            }
            Answer::Calibration(held) => ToHost::Calibration(held),
            Answer::Learn(note) => note.into(),
        }
    }

    #[inline]
    pub(super) fn reply(&mut self, to: u16, outcome: Outcome) -> ToHost {
        self.remember(to, &outcome);
        ToHost::Reply { to, outcome }
    }
}

#[inline]
fn capabilities() -> Capabilities {
    Capabilities {
        ticks_per_second: TICKS_PER_SECOND as u16,
        lease_ticks: DRIVE_LEASE_TICKS as u16,
        motion_segments: MAX_SEGMENTS as u16,
    }
}
