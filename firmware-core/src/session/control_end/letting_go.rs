//! How the drive is let go, by whom, and whether it may be armed again without a person.

use super::ControlEnd;
use crate::faults::{Fault, FaultSet};
use crate::learn::LearnRefusal;
use crate::link::note::Note;
use crate::link::state::{Release, ReleaseReason, Source};
use crate::motion::Footing;
use crate::session::activity::Activity;
use crate::session::exchange::ToLink;
use crate::units::Tick;

impl ControlEnd<'_> {
    pub(super) fn let_go_in_silence(&mut self, now: Tick) {
        self.abandon_learn(now, LearnRefusal::HostLost);
        self.release(now, ReleaseReason::HostSilent);
    }

    /// Ends a learn, if there is one, and tells why.
    pub(super) fn abandon_learn(&mut self, now: Tick, why: LearnRefusal) {
        if let Activity::Learn { learner, .. } = &mut self.own.activity
            && let Some(event) = learner.abandon(why).event
        {
            self.own.learned = Some(self.note_learn(now, event));
        }
    }

    /// Lets go where a fault forbids to drive. An engine is followed without the readings that are no longer converted.
    #[inline(never)]
    pub(super) fn let_go_of_faults(&mut self, now: Tick, faults: FaultSet) {
        if faults.contains(Fault::MemoryChanged) {
            self.let_go(now, ReleaseReason::MemoryChanged);
        } else if faults.contains(Fault::BridgeFault) {
            self.abandon_learn(now, LearnRefusal::BridgeFault);
            self.let_go(now, ReleaseReason::BridgeFault);
        } else if faults.contains(Fault::ConverterFrozen) && self.own.activity.source() != Source::Engine {
            self.abandon_learn(now, LearnRefusal::ConverterFrozen);
            self.let_go(now, ReleaseReason::ConverterFrozen);
        }
    }

    /// Lets go of a drive that is used or might be.
    pub(super) fn let_go(&mut self, now: Tick, reason: ReleaseReason) {
        if self.is_armed() || self.own.activity.source() != Source::Released {
            self.release(now, reason);
        }
    }

    /// Lets the drive go, says why, and disarms where only an explicit command may arm again.
    pub(in crate::session) fn release(&mut self, tick: Tick, reason: ReleaseReason) {
        if is_disarming(reason) {
            self.own.lease.disarm();
        }
        self.own.activity = Activity::Released;
        self.own.controller.stand_on(Footing::Accepted);
        let position = self.own.position;
        self.own.released = Release { tick, reason, position };
        self.side.outbox.tell(ToLink::Note(Note::Released { tick, reason, position }));
    }
}

/// After these only a person, who looks again, may arm.
fn is_disarming(reason: ReleaseReason) -> bool {
    match reason {
        ReleaseReason::HostSilent
        | ReleaseReason::NewHost
        | ReleaseReason::TickFault
        | ReleaseReason::MemoryChanged
        | ReleaseReason::BridgeFault
        | ReleaseReason::ConverterFrozen => true,
        ReleaseReason::NotStarted
        | ReleaseReason::Stopped
        | ReleaseReason::MotionEnded
        | ReleaseReason::LearnEnded
        | ReleaseReason::Obstructed
        | ReleaseReason::NoMotion
        | ReleaseReason::HeatLimit
        | ReleaseReason::SupplyRange
        | ReleaseReason::SensorFault
        | ReleaseReason::NotStored
        | ReleaseReason::ProbeMoved
        | ReleaseReason::ProbeReached
        | ReleaseReason::ProbeHeld
        | ReleaseReason::ProbeTimeSpent
        | ReleaseReason::OverCurrent => false,
    }
}
