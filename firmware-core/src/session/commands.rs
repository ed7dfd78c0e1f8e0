//! What each host message does. In: a sound frame. Out: its reply, with the data it asked for before it.

use super::Session;
use super::activity::Activity;
use super::port::Order;
use crate::calibration::{Calibration, CalibrationError, Setup};
use crate::held::{Held, OriginTag};
use crate::learn::{LearnOrder, Learner};
use crate::link::codec::{Content, MessageError};
use crate::link::message::{ToBoard, ToHost};
use crate::link::note::Note;
use crate::link::refusal::{Outcome, Refusal};
use crate::link::state::{Capabilities, ReleaseReason, Source, Streaming, Welcome};
use crate::link::talk::{Belonging, End, Talk};
use crate::link::{DRIVE_LEASE_TICKS, PROTOCOL_VERSION};
use crate::motion::{Goal, MAX_SEGMENTS, Segment};
use crate::sample::EngineDemand;
use crate::settings::{SettingsHash, SettingsSection};
use crate::units::{TICKS_PER_SECOND, Tick};

/// All of this may be inlined: a board's image then compiles it with its own settings, for size, and this crate's own
/// settings, for speed, are left to the tick.
impl Session {
    #[inline]
    pub(super) fn handle(&mut self, content: &Content) {
        let (head, asked) = (content.head, content.message::<ToBoard>());
        match (head.belonging(End::Board, self.port.talk()), &asked) {
            (Belonging::OtherVersion, _) => {
                self.port.count_not_understood();
                self.refuse(head.sequence, Refusal::OtherVersion { board: PROTOCOL_VERSION });
            }
            (Belonging::Echo, _) => self.port.count_echoed(),
            (Belonging::OfThisTalk | Belonging::Foreign, Ok(ToBoard::Hello))
                if let Some(talk) = head.talk =>
            {
                self.greet(talk, head.sequence);
            }
            (Belonging::OfThisTalk, _) => self.answer(head.sequence, &asked),
            (Belonging::Foreign, _) if !self.port.is_greeted() => {
                self.port.be_asked_in(head.talk);
                self.refuse(head.sequence, Refusal::NoHello);
            }
            (Belonging::Foreign, _) => self.overhear(&asked),
        }
    }

    /// What another program says is none of this talk's business, but a stop is obeyed, whoever says it.
    #[inline]
    fn overhear(&mut self, asked: &Result<ToBoard, MessageError>) {
        self.port.count_foreign();
        if matches!(asked, Ok(ToBoard::Stop)) {
            self.stop();
        }
    }

    #[inline]
    fn answer(&mut self, sequence: u16, asked: &Result<ToBoard, MessageError>) {
        let order = self.port.order(sequence);
        // Only a host is a sign of a host: neither noise nor the board's own frames, echoed, may hold the drive.
        if asked.is_ok() && !matches!(order, Order::Stale { .. }) {
            self.lease.extend(self.next);
        }
        let repeatable = asked.as_ref().is_ok_and(ToBoard::may_be_repeated);
        match order {
            Order::Again | Order::Stale { .. } if matches!(asked, Ok(ToBoard::Stop)) => {
                self.stop_late(sequence);
            }
            Order::Again if !repeatable => self.port.repeat_reply(),
            Order::Stale { last } => self.refuse(sequence, Refusal::Stale { last }),
            Order::New | Order::Again => {
                let done = match asked {
                    Ok(message) => self.carry_out(message),
                    Err(error) => Err(self.unread(*error)),
                };
                self.port.reply(sequence, done.map_or_else(Outcome::Refused, |()| Outcome::Done));
            }
        }
    }

    /// A stop is never too late to be obeyed.
    #[inline]
    fn stop_late(&mut self, sequence: u16) {
        self.stop();
        self.port.reply_in_passing(sequence, Outcome::Done);
    }

    #[inline]
    fn unread(&mut self, error: MessageError) -> Refusal {
        self.port.count_not_understood();
        match error {
            MessageError::OtherVersion => Refusal::OtherVersion { board: PROTOCOL_VERSION },
            MessageError::UnknownKind => Refusal::UnknownKind,
            MessageError::BadValue => Refusal::BadValue,
        }
    }

    /// Refuses without taking the message's sequence number.
    #[inline]
    fn refuse(&mut self, sequence: u16, refusal: Refusal) {
        self.port.reply_in_passing(sequence, Outcome::Refused(refusal));
    }

    #[inline]
    fn greet(&mut self, talk: Talk, sequence: u16) {
        self.port.greet(talk);
        let _first = self.port.order(sequence);
        self.stream.reset();
        self.motion.clear();
        self.learned = None;
        self.saves = 0;
        self.lease.extend(self.next);
        self.lease.disarm();
        self.lease.granted = self.next;
        let welcome = Welcome {
            identity: self.identity.clone(),
            capabilities: capabilities(),
            self_test: self.self_test,
            settings: Some(self.controller.settings().hash()),
            next: self.next,
            calibration: self.learned_in(),
        };
        self.port.tell(&ToHost::Welcome(welcome));
        if self.activity.source() != Source::Released {
            self.release(self.next, ReleaseReason::NewHost);
        }
        self.port.reply(sequence, Outcome::Done);
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
            ToBoard::StartMotion { start_at, setup, warmth: _, footing: _ } => {
                self.start_motion(start_at, setup)
            }
            ToBoard::Engine(demand) => self.follow_engine(demand),
            ToBoard::GetStatus => self.get_status(),
            ToBoard::StartLearn { start_at, ref order, tag } => self.start_learn(start_at, order, tag),
            ToBoard::GetLearnOutcome => self.get_learn_outcome(),
        }
    }

    #[inline]
    fn grant(&mut self, until: Tick) -> Result<(), Refusal> {
        // An older grant, come late, does not take back a newer one.
        if until.has_reached(self.lease.granted) {
            self.lease.granted = until;
        }
        if !self.may_advance(self.next) {
            self.port.note(Note::Waiting { next: self.next });
        }
        Ok(())
    }

    #[inline]
    fn arm(&mut self, host: SettingsHash) -> Result<(), Refusal> {
        let board = self.controller.settings().hash();
        if board != host {
            return Err(Refusal::OtherSettings { board, host });
        }
        self.lease.arm();
        Ok(())
    }

    #[inline]
    fn stop(&mut self) {
        if self.activity.source() != Source::Released {
            self.release(self.next, ReleaseReason::Stopped);
        }
    }

    #[inline]
    fn clear_latch(&mut self) -> Result<(), Refusal> {
        self.controller.clear_latch();
        Ok(())
    }

    #[inline]
    fn set_streaming(&mut self, streaming: Streaming) -> Result<(), Refusal> {
        self.stream.set(streaming, &mut self.port);
        Ok(())
    }

    #[inline]
    fn apply_settings(&mut self, section: &SettingsSection) -> Result<(), Refusal> {
        self.check_idle()?;
        self.controller.apply(section).map_err(|error| Refusal::setting(&error))?;
        // A calibration of another actuator waits for the settings that it fits.
        self.controller.set_calibration(self.held.map(|held| held.calibration));
        Ok(())
    }

    #[inline]
    fn set_calibration(&mut self, held: &Held) -> Result<(), Refusal> {
        self.check_idle()?;
        held.calibration.check_for(held.calibration.setup).map_err(Refusal::from)?;
        self.hold(*held);
        Ok(())
    }

    #[inline]
    fn get_calibration(&mut self, setup: Setup) -> Result<(), Refusal> {
        self.calibration_for(setup)?;
        let held = self.held.ok_or(Refusal::NotCalibrated)?;
        self.port.tell(&ToHost::Calibration(held));
        Ok(())
    }

    #[inline]
    fn store(&mut self) -> Result<(), Refusal> {
        self.calibration()?;
        self.is_to_store = true;
        Ok(())
    }

    #[inline]
    fn clear_motion(&mut self) -> Result<(), Refusal> {
        self.check_idle()?;
        self.motion.clear();
        Ok(())
    }

    #[inline]
    fn append_motion(&mut self, segments: &[Segment]) -> Result<(), Refusal> {
        self.check_idle()?;
        let free = MAX_SEGMENTS.saturating_sub(self.motion.segments().len());
        if segments.len() > free {
            return Err(Refusal::MotionFull { max: MAX_SEGMENTS as u16 });
        }
        if segments.iter().any(|segment| !is_finite(&segment.goal)) {
            return Err(Refusal::MotionNotFinite);
        }
        for segment in segments {
            self.motion.push(*segment)?;
        }
        Ok(())
    }

    #[inline]
    fn start_motion(&mut self, start_at: Tick, setup: Setup) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        let moves_by_opening =
            self.motion.segments().iter().any(|segment| matches!(segment.goal, Goal::Opening(_)));
        if moves_by_opening {
            self.calibration_for(setup)?;
        }
        if self.motion.segments().is_empty() {
            return Err(Refusal::MotionEmpty);
        }
        self.activity = Activity::Motion { start_at, segment: None };
        Ok(())
    }

    #[inline]
    fn follow_engine(&mut self, demand: EngineDemand) -> Result<(), Refusal> {
        if self.activity.source() != Source::Engine {
            self.check_ready(self.next)?;
        }
        self.controller.settings().validate_together().map_err(|error| Refusal::setting(&error))?;
        let learned = self.calibration()?.setup;
        // A free lever's openings say nothing of the ring that sets the engine's boost.
        if learned == Setup::Free {
            return Err(Refusal::OtherSetup { learned, wanted: Setup::OnEngine });
        }
        self.activity = Activity::Engine(demand);
        Ok(())
    }

    #[inline]
    fn get_status(&mut self) -> Result<(), Refusal> {
        let status = self.status();
        self.port.tell(&ToHost::Status(status));
        Ok(())
    }

    #[inline]
    fn start_learn(&mut self, start_at: Tick, order: &LearnOrder, tag: OriginTag) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        self.learned = None;
        let learner = Learner::new(self.controller.settings(), *order);
        let settings = self.controller.settings().hash();
        self.activity = Activity::Learn { start_at, learner, tag, settings, told: 0 };
        Ok(())
    }

    #[inline]
    fn get_learn_outcome(&mut self) -> Result<(), Refusal> {
        let outcome = self.learned.ok_or(Refusal::NothingLearned)?;
        self.port.note_learn(outcome);
        Ok(())
    }

    #[inline]
    fn calibration(&self) -> Result<Calibration, Refusal> {
        self.controller.calibration().copied().ok_or(Refusal::NotCalibrated)
    }

    #[inline]
    fn calibration_for(&self, setup: Setup) -> Result<Calibration, Refusal> {
        let calibration = self.calibration()?;
        calibration.check_for(setup).map_err(Refusal::from)?;
        Ok(calibration)
    }

    #[inline]
    fn check_idle(&self) -> Result<(), Refusal> {
        match self.activity.source() {
            Source::Released => Ok(()),
            source => Err(Refusal::Busy { source }),
        }
    }

    #[inline]
    fn check_ready(&self, start_at: Tick) -> Result<(), Refusal> {
        if !self.is_armed() {
            return Err(Refusal::NotArmed);
        }
        self.check_idle()?;
        if start_at.has_reached(self.next) { Ok(()) } else { Err(Refusal::StartInPast { next: self.next }) }
    }
}

#[inline]
fn is_finite(goal: &Goal) -> bool {
    match goal {
        Goal::Current(current) => current.is_finite(),
        Goal::Release | Goal::Opening(_) | Goal::Duty(_) => true,
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
