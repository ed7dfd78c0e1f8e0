//! What each host message does. In: a sound frame. Out: its reply, with the data it asked for before it.

use super::Session;
use super::activity::{Activity, MotionPlace};
use super::port::Order;
use crate::calibration::{Calibration, CalibrationError, Setup};
use crate::learn::{CheckSet, LearnEvent, LearnOrder, Learner};
use crate::link::codec::{Content, MessageError};
use crate::link::message::{ToBoard, ToHost};
use crate::link::note::{LearnNote, Note};
use crate::link::refusal::{Outcome, Refusal};
use crate::link::state::{Capabilities, ReleaseReason, Source, Streaming, Welcome};
use crate::link::{DRIVE_LEASE_TICKS, PROTOCOL_VERSION};
use crate::motion::{Goal, MAX_SEGMENTS, Segment};
use crate::sample::EngineDemand;
use crate::settings::SettingsSection;
use crate::store::Record;
use crate::units::{TICKS_PER_SECOND, Tick};

/// All of this may be inlined: a board's image then compiles it with its own settings, for size, and this crate's own
/// settings, for speed, are left to the tick.
impl Session {
    #[inline]
    pub(super) fn handle(&mut self, content: &Content) {
        let asked = content.message::<ToBoard>();
        match &asked {
            Err(MessageError::OtherVersion) => {
                self.port.count_not_understood();
                self.refuse(content.sequence, Refusal::OtherVersion { board: PROTOCOL_VERSION });
            }
            Ok(ToBoard::Hello) => self.greet(content.sequence),
            _ if !self.port.is_greeted() => self.refuse(content.sequence, Refusal::NoHello),
            _ => self.answer(content.sequence, &asked),
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
            Order::Again if !repeatable => self.port.repeat_reply(),
            Order::Stale { .. } if matches!(asked, Ok(ToBoard::Stop)) => self.stop_late(sequence),
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
        let done = self.stop();
        self.port.reply_in_passing(sequence, done.map_or_else(Outcome::Refused, |()| Outcome::Done));
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
    fn greet(&mut self, sequence: u16) {
        self.port.greet();
        let _first = self.port.order(sequence);
        self.stream.reset();
        self.motion.clear();
        self.learned = None;
        self.lease.extend(self.next);
        self.lease.disarm();
        self.lease.granted = self.next;
        let welcome = Welcome {
            identity: self.identity.clone(),
            capabilities: capabilities(),
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
            ToBoard::Arm => self.arm(),
            ToBoard::Stop => self.stop(),
            ToBoard::ClearLatch => self.clear_latch(),
            ToBoard::Stream(streaming) => self.set_streaming(streaming),
            ToBoard::Settings(ref section) => self.apply_settings(section),
            ToBoard::SetCalibration { ref calibration, unproven } => {
                self.set_calibration(calibration, unproven)
            }
            ToBoard::GetCalibration { setup } => self.get_calibration(setup),
            ToBoard::Store => self.store(),
            ToBoard::MotionClear => self.clear_motion(),
            ToBoard::MotionAppend(ref segments) => self.append_motion(segments),
            ToBoard::StartMotion { start_at, setup } => self.start_motion(start_at, setup),
            ToBoard::Engine(demand) => self.follow_engine(demand),
            ToBoard::GetStatus => self.get_status(),
            ToBoard::StartLearn { start_at, ref order } => self.start_learn(start_at, order),
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
    fn arm(&mut self) -> Result<(), Refusal> {
        self.lease.arm();
        Ok(())
    }

    #[inline]
    fn stop(&mut self) -> Result<(), Refusal> {
        if self.activity.source() != Source::Released {
            self.release(self.next, ReleaseReason::Stopped);
        }
        Ok(())
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
        self.controller.set_calibration(self.record.map(|record| record.calibration));
        Ok(())
    }

    #[inline]
    fn set_calibration(&mut self, calibration: &Calibration, unproven: CheckSet) -> Result<(), Refusal> {
        self.check_idle()?;
        calibration.check_for(calibration.setup).map_err(Refusal::from)?;
        self.use_record(Record::of_full_learn(*calibration, unproven));
        Ok(())
    }

    #[inline]
    fn get_calibration(&mut self, setup: Setup) -> Result<(), Refusal> {
        let calibration = self.calibration_for(setup)?;
        let unproven = self.record.map_or(CheckSet::NONE, |record| record.unproven);
        self.port.tell(&ToHost::Calibration { calibration, unproven });
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
        self.activity = Activity::Motion { start_at, place: MotionPlace::Waiting };
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
    fn start_learn(&mut self, start_at: Tick, order: &LearnOrder) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        self.learned = None;
        let learner = Learner::new(self.controller.settings(), *order);
        self.activity = Activity::Learn { start_at, learner };
        Ok(())
    }

    #[inline]
    fn get_learn_outcome(&mut self) -> Result<(), Refusal> {
        let (tick, outcome) = self.learned.ok_or(Refusal::NothingLearned)?;
        self.port.note_learn(LearnNote { tick, event: LearnEvent::Outcome(outcome) });
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
