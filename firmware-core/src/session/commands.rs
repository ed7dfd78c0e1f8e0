//! What each command does. In: what the link end handed over. Out: its answer, with the data it asked for before it.

use super::control_end::ControlEnd;
use super::exchange::{Answer, ToControl, ToLink};
use crate::calibration::CalibrationError;
use crate::link::message::ToBoard;
use crate::link::note::Note;
use crate::link::refusal::Refusal;
use crate::link::state::{ReleaseReason, Source, Streaming};
use crate::motion::{Goal, MAX_SEGMENTS, Segment};
use crate::units::Tick;

/// All of this may be inlined: a board's image then compiles it with its own settings, for size, and this crate's own
/// settings, for speed, are left to the tick.
impl ControlEnd<'_> {
    /// Says what the last tick left to say, and carries out what waits. For the time after each tick's duty has reached
    /// the bridge; what costs more than a tick is only done while the drive is released.
    #[inline]
    pub fn attend(&mut self) {
        self.wait_for_grant();
        self.obey();
    }

    /// Carries out what waits, as far as the answers have room.
    #[inline]
    pub(super) fn obey(&mut self) {
        self.heed_stop();
        while let Some(command) = self.side.next_command() {
            self.take(&command);
            self.heed_stop();
        }
    }

    /// A stop comes before all that waits.
    pub(super) fn heed_stop(&mut self) {
        let stops = self.side.stops();
        if stops != self.own.stops {
            self.own.stops = stops;
            self.stop();
        }
    }

    #[inline]
    fn take(&mut self, command: &ToControl) {
        match *command {
            ToControl::Hello { to } => self.greet(to),
            ToControl::Alive => self.own.lease.extend(self.own.next),
            ToControl::Ask { to, ref message, stops } => {
                // Only a host is a sign of a host: neither noise nor the board's own frames, echoed, may hold the drive.
                self.own.lease.extend(self.own.next);
                let is_overtaken = stops != self.own.stops && !message.may_be_repeated();
                let done = if is_overtaken { Err(Refusal::Overtaken) } else { self.carry_out(message) };
                self.reply(to, done);
            }
            ToControl::LateStop { to } => {
                self.stop();
                self.reply(to, Ok(()));
            }
            ToControl::Saved(result) => self.saved(result),
        }
    }

    #[inline]
    fn reply(&mut self, to: u16, done: Result<(), Refusal>) {
        match done {
            Ok(()) => self.side.outbox.tell(ToLink::Done { to }),
            Err(refusal) => self.side.outbox.answer(Answer::Refused { to, refusal }),
        }
    }

    #[inline]
    fn greet(&mut self, to: u16) {
        self.own.stream.reset(&mut self.side.outbox);
        self.side.outbox.greet();
        self.own.motion.clear();
        self.own.learned = None;
        self.own.keep.restart_numbers();
        self.own.lease.extend(self.own.next);
        self.own.lease.disarm();
        self.own.lease.granted = self.own.next;
        let (settings, next) = (self.own.given.hash(), self.own.next);
        self.side.outbox.answer(Answer::Welcome { settings, next, calibration: self.learned_in() });
        if self.own.activity.source() != Source::Released {
            self.release(self.own.next, ReleaseReason::NewHost);
        }
        self.reply(to, Ok(()));
    }

    #[inline]
    fn carry_out(&mut self, message: &ToBoard) -> Result<(), Refusal> {
        match *message {
            ToBoard::Hello | ToBoard::KeepAlive => Ok(()),
            ToBoard::Grant { until } => self.grant(until),
            ToBoard::Arm { settings } => self.arm(settings),
            ToBoard::Stop => {
                self.stop();
                Ok(())
            }
            ToBoard::ClearLatch => self.clear_latch(),
            ToBoard::Stream(streaming) => self.set_streaming(streaming),
            ToBoard::Settings(ref section) => self.apply_settings(section),
            ToBoard::SetCalibration(ref held) => self.set_calibration(held),
            ToBoard::GetCalibration { setup } => self.get_calibration(setup),
            ToBoard::Store => self.store(),
            ToBoard::MotionClear => self.clear_motion(),
            ToBoard::MotionAppend(ref segments) => self.append_motion(segments),
            ToBoard::StartMotion { start_at, setup, warmth, footing } => {
                self.start_motion(start_at, setup, warmth, footing)
            }
            ToBoard::Engine(demand) => self.follow_engine(demand),
            ToBoard::GetStatus => self.get_status(),
            ToBoard::StartLearn { start_at, ref order, tag } => self.start_learn(start_at, order, tag),
            ToBoard::GetLearnOutcome => self.get_learn_outcome(),
            ToBoard::StartProbe { start_at, ref segment } => self.start_probe(start_at, segment),
        }
    }

    #[inline]
    fn grant(&mut self, until: Tick) -> Result<(), Refusal> {
        // An older grant, come late, does not take back a newer one.
        if until.has_reached(self.own.lease.granted) {
            self.own.lease.granted = until;
        }
        if !self.may_advance(self.own.next) {
            self.side.outbox.tell(ToLink::Note(Note::Waiting { next: self.own.next }));
        }
        Ok(())
    }

    #[inline]
    fn stop(&mut self) {
        if self.own.activity.source() != Source::Released {
            self.release(self.own.next, ReleaseReason::Stopped);
        }
    }

    #[inline]
    fn clear_latch(&mut self) -> Result<(), Refusal> {
        self.own.controller.clear_latch();
        Ok(())
    }

    #[inline]
    fn set_streaming(&mut self, streaming: Streaming) -> Result<(), Refusal> {
        self.own.stream.set(streaming, &mut self.side.outbox);
        Ok(())
    }

    #[inline]
    fn clear_motion(&mut self) -> Result<(), Refusal> {
        self.check_idle()?;
        self.own.motion.clear();
        Ok(())
    }

    #[inline]
    fn append_motion(&mut self, segments: &[Segment]) -> Result<(), Refusal> {
        self.check_idle()?;
        let free = MAX_SEGMENTS.saturating_sub(self.own.motion.segments().len());
        if segments.len() > free {
            return Err(Refusal::MotionFull { max: MAX_SEGMENTS as u16 });
        }
        if segments.iter().any(|segment| !is_finite(&segment.goal)) {
            return Err(Refusal::MotionNotFinite);
        }
        for segment in segments {
            self.own.motion.push(*segment)?;
        }
        Ok(())
    }

    #[inline]
    fn get_status(&mut self) -> Result<(), Refusal> {
        let status = self.status();
        self.side.outbox.answer(Answer::Status(status));
        Ok(())
    }

    #[inline]
    fn get_learn_outcome(&mut self) -> Result<(), Refusal> {
        let outcome = self.own.learned.ok_or(Refusal::NothingLearned)?;
        self.side.outbox.answer(Answer::Learn(outcome));
        Ok(())
    }
}

#[inline]
fn is_finite(goal: &Goal) -> bool {
    match goal {
        Goal::Current(current) => current.is_finite(),
        Goal::Release | Goal::Opening(_) | Goal::Duty(_) => true,
    }
}

impl From<CalibrationError> for Refusal {
    #[inline]
    fn from(error: CalibrationError) -> Self {
        match error {
            CalibrationError::NoSpan { span_counts } => Self::NoSpan { span_counts },
            CalibrationError::Clearance { clearance, max } => Self::Clearance { clearance, max },
            CalibrationError::OtherSetup { learned, wanted } => Self::OtherSetup { learned, wanted },
        }
    }
}
