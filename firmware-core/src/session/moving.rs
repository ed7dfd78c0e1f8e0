//! A motion in the session: what it commands, and how its end is told.

use super::activity::{Activity, MotionPlace};
use super::control_end::ControlEnd;
use super::exchange::ToLink;
use crate::controller::TickOutput;
use crate::link::note::Note;
use crate::link::state::{MotionEvent, ReleaseReason};
use crate::motion::{Ending, MotionStep, Seen};
use crate::sample::{Request, Sample};
use crate::units::{Opening, Tick};

impl ControlEnd<'_> {
    /// The request of a motion's tick; `before` is where the last one was.
    pub(super) fn motion_tick(&mut self, sample: &Sample, before: MotionPlace) -> Request {
        let now = sample.tick;
        if before == MotionPlace::Waiting {
            let learned = self.own.controller.calibration();
            let here = learned.map_or(Opening::OPEN, |learned| learned.opening(sample.position));
            // An empty profile was refused at the start command.
            let _begun = self.own.motion.rewind(here);
        }
        match self.own.motion.tick() {
            MotionStep::Go(command) => {
                let last = self.own.motion.segments().len().saturating_sub(1);
                self.come_to(now, before, MotionPlace::Segment(self.own.motion.index().min(last)));
                Request::Bench(command)
            }
            MotionStep::Ease(command) => {
                self.come_to(now, before, MotionPlace::Easing);
                Request::Bench(command)
            }
            MotionStep::Done => {
                self.come_to(now, before, MotionPlace::Easing);
                self.release(now, ReleaseReason::MotionEnded);
                Request::Release
            }
            MotionStep::Cut(ending) => {
                self.release(now, ending.into());
                Request::Release
            }
        }
    }

    fn come_to(&mut self, now: Tick, before: MotionPlace, place: MotionPlace) {
        if before == place {
            return;
        }
        let event = match place {
            MotionPlace::Waiting => return,
            MotionPlace::Segment(index) => MotionEvent::Segment(u8::try_from(index).unwrap_or(u8::MAX)),
            MotionPlace::Easing => MotionEvent::Ended,
        };
        self.side.outbox.tell(ToLink::Note(Note::Motion { tick: now, event }));
        self.own.activity.come_to(place);
    }

    /// Shows a motion what its tick came to.
    pub(super) fn watch_motion(&mut self, sample: &Sample, output: &TickOutput) {
        match self.own.activity {
            Activity::Motion { place: MotionPlace::Segment(_) | MotionPlace::Easing, .. } => {}
            Activity::Motion { place: MotionPlace::Waiting, .. }
            | Activity::Released
            | Activity::Engine(_)
            | Activity::Learn { .. }
            | Activity::Probe { .. } => return,
        }
        let seen = Seen {
            position: sample.position,
            supply: sample.supply,
            duty: output.duty,
            target: output.target,
            opening: output.opening,
            faults: output.faults,
            limits: output.limits,
        };
        self.own.motion.see(self.own.controller.settings(), self.own.controller.calibration(), &seen);
    }
}

impl From<Ending> for ReleaseReason {
    fn from(ending: Ending) -> Self {
        match ending {
            Ending::Obstructed => Self::Obstructed,
            Ending::NoMotion => Self::NoMotion,
            Ending::HeatLimit => Self::HeatLimit,
            Ending::SupplyRange => Self::SupplyRange,
            Ending::SensorFault => Self::SensorFault,
        }
    }
}
